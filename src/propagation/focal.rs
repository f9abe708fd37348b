//! Transforms a pupil field to the sensor and adds up its light in square cells.
//!
//! Two passes of one-dimensional zoomed transforms, rows then columns; the columns' light is added up in cells before it is
//! stored, so the full sub-sampled irradiance never exists. Rows and columns are independent of each other: the result does
//! not depend on the number of threads.

use super::field::Field;
use super::integrate::{MARGIN, box_weights};
use crate::math::{ChirpTransform, Planner, Real, sinc};
use ndarray::Array2;
use num_complex::Complex;
use rayon::prelude::*;

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
}

impl Window {
    fn pitch_m(&self) -> f64 {
        self.cell_m / self.sub_samples as f64
    }

    /// Place of sample `j` along an axis (0: x, 1: y), margin included.
    fn sample_m(&self, axis: usize, j: usize) -> f64 {
        self.corner_m[axis] + (j as f64 + 0.5 - MARGIN as f64) * self.pitch_m()
    }
}

/// Share of the light in each cell of a window, element `[[row, column]]`.
///
/// # Accuracy
/// Against a written-out transform at higher sampling: see `tests/twins.rs`.
pub fn irradiance<T: Real>(field: &Field<T>, window: &Window, portable: bool) -> Array2<f64> {
    let transform = |axis: usize, cells: usize| {
        let samples = cells * window.sub_samples + 2 * MARGIN;
        axis_transform(field, window, axis, samples, portable)
    };
    let along_x = transform(0, window.columns);
    let along_y = transform(1, window.rows);
    let half = first_pass(field, &along_x);
    let open: Vec<usize> = (0..half.nrows())
        .filter(|&row| !field.rows[row].1.is_empty())
        .collect();
    let (first, last) = (
        open.first().copied().unwrap_or(0),
        open.last().map_or(0, |l| l + 1),
    );
    let light = second_pass(&half, first..last, &along_y, window, field);
    add_columns(&light, window)
}

fn axis_transform<T: Real>(
    field: &Field<T>,
    window: &Window,
    axis: usize,
    samples: usize,
    portable: bool,
) -> ChirpTransform<T> {
    let per_metre = field.grid.cell_m / (field.wavelength_m * field.focal_length_m);
    let step = per_metre * window.pitch_m();
    let start = per_metre * window.sample_m(axis, 0);
    ChirpTransform::new(
        field.grid.count,
        samples,
        step,
        start,
        &mut Planner::new(portable),
    )
}

/// Rows of the pupil → the same rows at the window's x samples.
fn first_pass<T: Real>(field: &Field<T>, along_x: &ChirpTransform<T>) -> Array2<Complex<T>> {
    let mut half = Array2::from_elem(
        (field.grid.count, along_x.outputs()),
        Complex::new(T::zero(), T::zero()),
    );
    half.outer_iter_mut()
        .into_par_iter()
        .zip(&field.rows)
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

/// Columns → light per row of cells, for every x sample: element `[[x sample, row of cells]]`.
fn second_pass<T: Real>(
    half: &Array2<Complex<T>>,
    rows: std::ops::Range<usize>,
    along_y: &ChirpTransform<T>,
    window: &Window,
    field: &Field<T>,
) -> Array2<f64> {
    const PANEL: usize = 8; // columns gathered at once: a cache line of f64 pairs and more
    let weights: Vec<T> = box_weights(window.sub_samples)
        .iter()
        .map(|w| T::narrow(*w))
        .collect();
    let undim: Vec<Vec<f64>> = (0..2)
        .map(|axis| undimming(field, window, axis, [half.ncols(), along_y.outputs()][axis]))
        .collect();
    let undim_y: Vec<T> = undim[1].iter().map(|v| T::narrow(*v)).collect();
    let scale = light_scale(field, window);
    let mut light = Array2::zeros((half.ncols(), window.rows));
    let height = rows.len();
    light
        .axis_chunks_iter_mut(ndarray::Axis(0), PANEL)
        .into_par_iter()
        .enumerate()
        .for_each_init(
            || {
                (
                    Work::new(along_y),
                    vec![Complex::new(T::zero(), T::zero()); PANEL * height],
                    vec![T::zero(); along_y.outputs()],
                )
            },
            |(work, panel, power), (number, mut target)| {
                let columns = number * PANEL..(number * PANEL + target.nrows());
                for (j, row) in rows.clone().enumerate() {
                    for (i, column) in columns.clone().enumerate() {
                        panel[i * height + j] = half[[row, column]];
                    }
                }
                for (i, column) in columns.enumerate() {
                    along_y.run(
                        rows.start,
                        &panel[i * height..(i + 1) * height],
                        &mut work.buffer,
                        &mut work.scratch,
                    );
                    for ((p, u), correction) in power.iter_mut().zip(&work.buffer).zip(&undim_y) {
                        *p = u.norm_sqr() * *correction;
                    }
                    let factor = scale * undim[0][column];
                    for (row, sum) in target.row_mut(i).iter_mut().enumerate() {
                        let from = row * window.sub_samples;
                        let cell: T = power[from..]
                            .iter()
                            .zip(&weights)
                            .fold(T::zero(), |s, (p, w)| s + *p * *w);
                        *sum = factor * cell.widen();
                    }
                }
            },
        );
    light
}

/// 1/sinc²(x/P) at every sample of an axis: takes out what averaging the field over its cells did.
fn undimming<T: Real>(field: &Field<T>, window: &Window, axis: usize, samples: usize) -> Vec<f64> {
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

/// Adds the x samples of each cell.
fn add_columns(light: &Array2<f64>, window: &Window) -> Array2<f64> {
    let weights = box_weights(window.sub_samples);
    Array2::from_shape_fn((window.rows, window.columns), |(row, column)| {
        let from = column * window.sub_samples;
        weights
            .iter()
            .enumerate()
            .map(|(i, w)| w * light[[from + i, row]])
            .sum()
    })
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
