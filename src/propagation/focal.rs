//! Transforms a pupil field to the sensor and adds up its light in square cells.
//!
//! Two passes of one-dimensional zoomed transforms, rows then columns; the columns' light is added up in cells before it is
//! stored, so the full sub-sampled irradiance never exists. Rows and columns are independent of each other: the result does
//! not depend on the number of threads. Derivatives (`slopes.rs`) take the same two passes.

use super::field::{Field, Sampling};
use super::integrate::{MARGIN, box_weights};
use super::slopes::{Change, Layer};
use crate::math::{ChirpTransform, Planner, Real, sinc, vectorised};
use ndarray::{Array2, Array3, ArrayView2, ArrayViewMut1, Axis};
use num_complex::Complex;
use rayon::prelude::*;
use std::ops::Range;
use std::sync::Arc;

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
    /// The integral over the cell, exact for band-limited light.
    Integral,
    /// The plain sum of the samples inside.
    Plain,
}

impl Window {
    fn pitch_m(&self) -> f64 {
        self.cell_m / self.sub_samples as f64
    }

    /// Place of sample `j` along an axis (0: x, 1: y), margin included.
    pub(super) fn sample_m(&self, axis: usize, j: usize) -> f64 {
        self.corner_m[axis] + (j as f64 + 0.5 - self.margin() as f64) * self.pitch_m()
    }

    /// Samples beyond each end of a cell that its light needs.
    fn margin(&self) -> usize {
        match self.sum {
            CellSum::Integral => MARGIN,
            CellSum::Plain => 0,
        }
    }

    /// Weights of a cell's samples, margin included.
    fn weights(&self) -> Vec<f64> {
        match self.sum {
            CellSum::Integral => box_weights(self.sub_samples),
            CellSum::Plain => vec![1.0; self.sub_samples],
        }
    }
}

/// Share of the light in each cell of a window, element `[[row, column]]`.
///
/// # Accuracy
/// Against a written-out transform at higher sampling: see `tests/twins.rs`.
pub fn irradiance<T: Real>(field: &Field<T>, window: &Window, portable: bool) -> Array2<f64> {
    irradiance_and_slopes(field, &[], window, portable).swap_remove(0)
}

/// Share of the light in each cell of a window, then its derivative by each change.
///
/// # Accuracy
/// Derivatives of what [`irradiance`] computes, sampling included: they equal its central differences to 1e-5 and better
/// (`predict::jacobian::tests`).
pub fn irradiance_and_slopes<T: Real>(
    field: &Field<T>,
    changes: &[Change<T>],
    window: &Window,
    portable: bool,
) -> Vec<Array2<f64>> {
    let mut planner = Planner::new(portable);
    let along_x = Arc::new(axis_transform(field, window, 0, &mut planner));
    let square = window.columns == window.rows && window.corner_m[0] == window.corner_m[1];
    let along_y = if square {
        along_x.clone()
    } else {
        Arc::new(axis_transform(field, window, 1, &mut planner))
    };
    let half = first_pass(&field.rows, &along_x);
    let slopes: Vec<Layer<T>> = changes
        .iter()
        .map(|change| Layer::new(change, field, &half, [&along_x, &along_y], window))
        .collect();
    let light = second_pass(&half, &slopes, &along_y, window, field);
    (0..=changes.len())
        .map(|layer| add_columns(&light.index_axis(Axis(1), layer), window))
        .collect()
}

fn axis_transform<T: Real>(
    field: &Field<T>,
    window: &Window,
    axis: usize,
    planner: &mut Planner<T>,
) -> ChirpTransform<T> {
    let cells = [window.columns, window.rows][axis];
    let samples = cells * window.sub_samples + 2 * window.margin();
    let per_metre = field.grid.cell_m / (field.wavelength_m * field.focal_length_m);
    let step = per_metre * window.pitch_m();
    let start = per_metre * window.sample_m(axis, 0);
    ChirpTransform::new(field.grid.count, samples, step, start, planner)
}

/// Rows of the pupil → the same rows at the window's x samples.
pub(super) fn first_pass<T: Real>(
    rows: &[(usize, Vec<Complex<T>>)],
    along_x: &ChirpTransform<T>,
) -> Array2<Complex<T>> {
    let mut half = Array2::from_elem(
        (rows.len(), along_x.outputs()),
        Complex::new(T::zero(), T::zero()),
    );
    half.outer_iter_mut()
        .into_par_iter()
        .zip(rows)
        .for_each_init(
            || Work::new(along_x),
            |work, (mut line, (first, values))| {
                if !values.is_empty() {
                    along_x.run(*first, values, &mut work.buffer, &mut work.scratch);
                    line.iter_mut()
                        .zip(&work.buffer)
                        .for_each(|(target, value)| *target = *value);
                }
            },
        );
    half
}

/// Columns → light per row of cells and its derivatives: element `[[x sample, layer, row of cells]]`, layer 0 the light.
fn second_pass<T: Real>(
    half: &Array2<Complex<T>>,
    slopes: &[Layer<T>],
    along_y: &ChirpTransform<T>,
    window: &Window,
    field: &Field<T>,
) -> Array3<f64> {
    const PANEL: usize = 8; // columns gathered at once: a cache line of f64 pairs and more
    let weights: Vec<T> = narrow(&window.weights());
    let undim_x = undimming(field, window, 0, half.ncols());
    let undim_y: Vec<T> = narrow(&undimming(field, window, 1, along_y.outputs()));
    let scale = light_scale(field, window);
    let mut light = Array3::zeros((half.ncols(), slopes.len() + 1, window.rows));
    light
        .axis_chunks_iter_mut(Axis(0), PANEL)
        .into_par_iter()
        .enumerate()
        .for_each_init(
            || PanelWork::new(along_y, PANEL, field.open_rows()),
            |work, (number, mut target)| {
                let columns = number * PANEL..(number * PANEL + target.len_of(Axis(0)));
                let mut store = |i: usize, layer: usize, power: &[T]| {
                    let factor = scale * undim_x[columns.start + i];
                    let mut column = target.index_axis_mut(Axis(0), i);
                    let cells = column.index_axis_mut(Axis(0), layer);
                    add_rows(power, &weights, window.sub_samples, factor, cells);
                };
                work.gather(half, columns.clone());
                for i in 0..columns.len() {
                    work.transform(along_y, i);
                    store(i, 0, work.light(i, &undim_y));
                }
                for (number, slope) in slopes.iter().enumerate() {
                    work.gather(&slope.half, columns.clone());
                    for (i, column) in columns.clone().enumerate() {
                        work.transform(along_y, i);
                        store(i, number + 1, work.slope(i, slope, column, &undim_y));
                    }
                }
            },
        );
    light
}

/// Adds the samples of each cell along a column.
fn add_rows<T: Real>(
    power: &[T],
    weights: &[T],
    sub_samples: usize,
    factor: f64,
    mut cells: ArrayViewMut1<f64>,
) {
    for (row, sum) in cells.iter_mut().enumerate() {
        let cell: T = power[row * sub_samples..]
            .iter()
            .zip(weights)
            .fold(T::zero(), |s, (p, w)| s + *p * *w);
        *sum = factor * cell.widen();
    }
}

/// 1/sinc²(x/P) at every sample of an axis: takes out what averaging the field over its cells did.
fn undimming<T: Real>(field: &Field<T>, window: &Window, axis: usize, samples: usize) -> Vec<f64> {
    if field.sampling == Sampling::Samples {
        return vec![1.0; samples];
    }
    let period = field.wavelength_m * field.focal_length_m / field.grid.cell_m;
    (0..samples)
        .map(|j| sinc(window.sample_m(axis, j) / period).powi(-2))
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

/// Buffers of one thread.
struct Work<T: Real> {
    buffer: Vec<Complex<T>>,
    scratch: Vec<Complex<T>>,
}

impl<T: Real> Work<T> {
    fn new(transform: &ChirpTransform<T>) -> Self {
        let zero = Complex::new(T::zero(), T::zero());
        Work {
            buffer: vec![zero; transform.buffer_len()],
            scratch: vec![zero; transform.scratch_len()],
        }
    }
}

/// Buffers of one thread for a panel of columns.
struct PanelWork<T: Real> {
    one: Work<T>,
    /// Open rows of the panel, one column after the other.
    panel: Vec<Complex<T>>,
    open: Range<usize>,
    /// The field itself in each column of the panel, transformed.
    base: Vec<Complex<T>>,
    power: Vec<T>,
}

impl<T: Real> PanelWork<T> {
    fn new(along_y: &ChirpTransform<T>, columns: usize, open: Range<usize>) -> Self {
        let zero = Complex::new(T::zero(), T::zero());
        PanelWork {
            one: Work::new(along_y),
            panel: vec![zero; columns * open.len()],
            open,
            base: vec![zero; columns * along_y.outputs()],
            power: vec![T::zero(); along_y.outputs()],
        }
    }

    fn gather(&mut self, half: &Array2<Complex<T>>, columns: Range<usize>) {
        let height = self.open.len();
        for (j, row) in self.open.clone().enumerate() {
            for (i, column) in columns.clone().enumerate() {
                self.panel[i * height + j] = half[[row, column]];
            }
        }
    }

    /// Transforms column `i` of the panel.
    fn transform(&mut self, along_y: &ChirpTransform<T>, i: usize) {
        let height = self.open.len();
        let column = &self.panel[i * height..(i + 1) * height];
        let Work { buffer, scratch } = &mut self.one;
        along_y.run(self.open.start, column, buffer, scratch);
    }

    /// |U|² of column `i`, which is kept for the products with its derivatives.
    fn light(&mut self, i: usize, undim_y: &[T]) -> &[T] {
        let outputs = self.power.len();
        self.base[i * outputs..(i + 1) * outputs].copy_from_slice(&self.one.buffer[..outputs]);
        let Self { power, one, .. } = self;
        vectorised(|| {
            for ((p, u), correction) in power.iter_mut().zip(&one.buffer).zip(undim_y) {
                *p = u.norm_sqr() * *correction;
            }
        });
        &self.power
    }

    /// The derivative of the same.
    fn slope(&mut self, i: usize, slope: &Layer<T>, column: usize, undim_y: &[T]) -> &[T] {
        let outputs = self.power.len();
        let base = &self.base[i * outputs..(i + 1) * outputs];
        slope.products(base, &self.one.buffer, column, &mut self.power);
        for (p, correction) in self.power.iter_mut().zip(undim_y) {
            *p = *p * *correction;
        }
        &self.power
    }
}
