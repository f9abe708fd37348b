//! The window on the sensor, and the light in its cells.
//!
//! Two passes of one-dimensional zoomed transforms (`passes.rs`), rows then columns; the columns' light is added up in
//! cells before it is stored, so the full sub-sampled irradiance never exists. Derivatives (`slopes.rs`) take the same two
//! passes.

use super::field::{Field, Sampling};
use super::integrate::{MARGIN, box_weights};
use super::passes::{Passes, WorkPool};
use super::slopes::{Change, SlopeLayer};
use crate::math::{Lanes, Planner, Real, ZoomTransform, sinc};
use ndarray::{Array2, ArrayView2, Axis};
use rayon::prelude::*;
use std::collections::HashMap;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// The part of the sensor to compute: `columns` × `rows` square cells, each of `sub_samples`² samples of the irradiance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Cells along x.
    pub columns: usize,
    /// Cells along y.
    pub rows: usize,
    /// Width of a cell.
    pub cell_m: f64,
    /// Samples of the irradiance along a cell.
    pub sub_samples: usize,
    /// Lower left corner of the window from the star's place, frame axes.
    pub corner_m: [f64; 2],
    /// How the samples of a cell are added.
    pub sum: CellSum,
}

/// How the samples of the irradiance in a cell become the cell's light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CellSum {
    /// The integral over the cell ([`box_weights`](super::integrate::box_weights)).
    Integral,
    /// The plain sum of the samples inside.
    Plain,
}

impl Window {
    /// Width of a sub-sample.
    fn pitch_m(&self) -> f64 {
        self.cell_m / self.sub_samples as f64
    }

    /// Place of sample `j` along an axis (0: x, 1: y), margin included.
    pub(super) fn sample_m(&self, axis: usize, j: usize) -> f64 {
        self.corner_m[axis] + (j as f64 + 0.5 - self.margin() as f64) * self.pitch_m()
    }

    /// Samples along an axis, margin included.
    pub(super) fn samples(&self, axis: usize) -> usize {
        [self.columns, self.rows][axis] * self.sub_samples + 2 * self.margin()
    }

    /// Samples beyond each end of a cell that its light needs.
    fn margin(&self) -> usize {
        match self.sum {
            CellSum::Integral => MARGIN,
            CellSum::Plain => 0,
        }
    }

    /// Weights of a cell's samples, margin included.
    pub(super) fn weights(&self) -> Vec<f64> {
        match self.sum {
            CellSum::Integral => box_weights(self.sub_samples),
            CellSum::Plain => vec![1.0; self.sub_samples],
        }
    }
}

/// Propagates fields of any wavelength; keeps its plans and its room from one to the next.
pub struct Propagator<T: Real> {
    planner: Mutex<Planner<T>>,
    /// Prepared transforms, by number of inputs and outputs, step and start.
    transforms: Mutex<HashMap<[u64; 4], Arc<ZoomTransform<T>>>>,
    /// Room for what stands between the two passes, as many as are at work at once.
    halves: Mutex<Vec<Vec<Lanes<T>>>>,
    works: WorkPool<T>,
}

impl<T: Real> Propagator<T> {
    /// Nothing planned yet; `portable` computes the same bytes on all processors, more slowly.
    pub fn new(portable: bool) -> Self {
        Propagator {
            planner: Mutex::new(Planner::new(portable)),
            transforms: Mutex::default(),
            halves: Mutex::default(),
            works: WorkPool::new(),
        }
    }

    /// Share of the light in each cell of a window, element `[[row, column]]`.
    ///
    /// # Accuracy
    /// Against a written-out transform at higher sampling: see `tests/twins.rs`.
    pub fn irradiance(&self, field: &Field<T>, window: &Window) -> Array2<f64> {
        self.irradiance_and_slopes(field, &[], window)
            .swap_remove(0)
    }

    /// Share of the light in each cell of a window, then its derivative by each change.
    ///
    /// # Accuracy
    /// Derivatives of what [`irradiance`](Self::irradiance) computes, sampling included: they equal its central differences
    /// to 1e-5 and better (`predict::jacobian::tests`).
    pub fn irradiance_and_slopes(
        &self,
        field: &Field<T>,
        changes: &[Change],
        window: &Window,
    ) -> Vec<Array2<f64>> {
        let [along_x, along_y] = [0, 1].map(|axis| self.axis_transform(field, window, axis));
        let scale = light_scale(field, window);
        let rows = field.open_rows();
        let layers = changes.iter();
        let passes = Passes {
            field,
            layers: layers.map(|c| SlopeLayer::new(c, field, window)).collect(),
            correction_x: correction(field, window, 0, &along_x)
                .iter()
                .map(|c| c * scale)
                .collect(),
            correction_y: narrow(&correction(field, window, 1, &along_y)),
            rows,
            along_x: &along_x,
            along_y: &along_y,
            window,
        };
        let mut half = locked(&self.halves).pop().unwrap_or_default();
        let light = passes.light(&mut half, &self.works);
        locked(&self.halves).push(half);
        (0..=changes.len())
            .map(|layer| add_columns(&light.index_axis(Axis(1), layer), window))
            .collect()
    }

    fn axis_transform(
        &self,
        field: &Field<T>,
        window: &Window,
        axis: usize,
    ) -> Arc<ZoomTransform<T>> {
        let per_metre = field.grid.cell_m / (field.wavelength_m * field.focal_length_m);
        let step = per_metre * window.pitch_m();
        let start = per_metre * window.sample_m(axis, 0);
        let (inputs, samples) = (field.grid.count, window.samples(axis));
        let key = [
            inputs as u64,
            samples as u64,
            step.to_bits(),
            start.to_bits(),
        ];
        if let Some(prepared) = locked(&self.transforms).get(&key) {
            return prepared.clone();
        }
        let length = ZoomTransform::<T>::length_for(samples);
        let fft = locked(&self.planner).forward(length);
        let made = Arc::new(ZoomTransform::new(inputs, samples, step, start, fft));
        let mut transforms = locked(&self.transforms);
        if transforms.len() >= KEPT_TRANSFORMS {
            transforms.clear();
        }
        transforms.insert(key, made.clone());
        made
    }
}

/// Transforms that are kept for the next field: two a wavelength.
const KEPT_TRANSFORMS: usize = 64;

/// The value behind a lock; a thread that panicked cannot have left it half changed.
pub(super) fn locked<V>(mutex: &Mutex<V>) -> MutexGuard<'_, V> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// What |U|² is multiplied with at every sample of an axis: 1/sinc²(x/P) takes out what averaging the field over its cells
/// did, 1/loss² what spreading them did.
fn correction<T: Real>(
    field: &Field<T>,
    window: &Window,
    axis: usize,
    along: &ZoomTransform<T>,
) -> Vec<f64> {
    let period = field.wavelength_m * field.focal_length_m / field.grid.cell_m;
    let dimming = |j: usize| match field.sampling {
        Sampling::Samples => 1.0,
        Sampling::Averages => sinc(window.sample_m(axis, j) / period),
    };
    let losses = along.losses().iter().enumerate();
    losses
        .map(|(j, loss)| (loss * dimming(j)).powi(-2))
        .collect()
}

/// |Σ field|² → share of the light per sample.
fn light_scale<T: Real>(field: &Field<T>, window: &Window) -> f64 {
    let cell_area = field.grid.cell_m * field.grid.cell_m;
    let spread = field.wavelength_m * field.focal_length_m;
    let pitch = window.pitch_m();
    cell_area * cell_area * pitch * pitch / (spread * spread * field.open_area_m2)
}

/// Adds the x samples of each cell: whole columns of cells at a time, so that memory is read in order.
fn add_columns(light: &ArrayView2<f64>, window: &Window) -> Array2<f64> {
    let weights = window.weights();
    let mut by_column = Array2::zeros((window.columns, window.rows));
    by_column
        .outer_iter_mut()
        .into_par_iter()
        .enumerate()
        .for_each(|(column, mut cells)| {
            let samples = light.outer_iter().skip(column * window.sub_samples);
            for (line, weight) in samples.zip(&weights) {
                cells.zip_mut_with(&line, |cell, v| *cell += weight * v);
            }
        });
    by_column.reversed_axes().as_standard_layout().into_owned()
}

pub(super) fn narrow<T: Real>(values: &[f64]) -> Vec<T> {
    values.iter().map(|v| T::narrow(*v)).collect()
}
