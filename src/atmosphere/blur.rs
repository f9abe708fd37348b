//! Blurs an image in the frequency domain: wavelengths are added there, and only the sum is transformed back.

use super::seeing::transfer;
use crate::math::{Planner, sinc};
use ndarray::{Array2, Axis};
use num_complex::Complex;
use rayon::prelude::*;
use rustfft::Fft;
use std::sync::Arc;

/// How one wavelength is blurred.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blur {
    /// Fried's length in metres; infinite without seeing.
    pub fried_m: f64,
    /// Wavelength × focal length: turns cycles per metre on the sensor into a baseline.
    pub baseline_per_frequency_m2: f64,
    /// Drift on the sensor over the exposure, frame axes.
    pub drift_m: [f64; 2],
}

impl Blur {
    /// Transfer at a spatial frequency in cycles per metre on the sensor.
    pub fn transfer(&self, frequency: [f64; 2]) -> f64 {
        let along = frequency[0] * self.drift_m[0] + frequency[1] * self.drift_m[1];
        let smear = sinc(along);
        if self.fried_m.is_finite() {
            let size = (frequency[0] * frequency[0] + frequency[1] * frequency[1]).sqrt();
            smear * transfer(self.baseline_per_frequency_m2 * size, self.fried_m)
        } else {
            smear
        }
    }
}

/// Sum of blurred images, kept as a spectrum. The image is periodic here: the caller leaves a guard round it.
pub struct Spectrum {
    sum: Array2<Complex<f64>>,
    cell_m: f64,
    portable: bool,
}

impl Spectrum {
    /// An empty sum for images of `rows` × `columns` cells.
    pub fn new(rows: usize, columns: usize, cell_m: f64, portable: bool) -> Self {
        Spectrum {
            sum: Array2::zeros((rows, columns)),
            cell_m,
            portable,
        }
    }

    /// Adds `weight` times an image, blurred.
    pub fn add(&mut self, image: &Array2<f64>, blur: &Blur, weight: f64) {
        let mut spectrum = image.mapv(|v| Complex::new(v, 0.0));
        let mut planner = Planner::new(self.portable);
        transform(
            &mut spectrum,
            &planner.forward(image.ncols()),
            &planner.forward(image.nrows()),
        );
        let (rows, columns) = image.dim();
        let cell_m = self.cell_m;
        self.sum
            .outer_iter_mut()
            .into_par_iter()
            .zip(spectrum.outer_iter())
            .enumerate()
            .for_each(|(row, (mut target, source))| {
                let fy = frequency(row, rows, cell_m);
                for (column, (sum, value)) in target.iter_mut().zip(source).enumerate() {
                    *sum +=
                        *value * (weight * blur.transfer([frequency(column, columns, cell_m), fy]));
                }
            });
    }

    /// The summed image.
    pub fn into_image(mut self) -> Array2<f64> {
        let (rows, columns) = self.sum.dim();
        let mut planner = Planner::new(self.portable);
        transform(
            &mut self.sum,
            &planner.inverse(columns),
            &planner.inverse(rows),
        );
        let scale = 1.0 / (rows * columns) as f64;
        self.sum.mapv(|v| v.re * scale)
    }
}

/// Frequency of element `index` of a transform of `count` samples `cell_m` apart, cycles per metre.
fn frequency(index: usize, count: usize, cell_m: f64) -> f64 {
    let signed = if 2 * index < count {
        index as f64
    } else {
        index as f64 - count as f64
    };
    signed / (count as f64 * cell_m)
}

/// Two-dimensional transform in place: rows, then columns in panels of eight gathered ones.
fn transform(
    data: &mut Array2<Complex<f64>>,
    along_x: &Arc<dyn Fft<f64>>,
    along_y: &Arc<dyn Fft<f64>>,
) {
    data.axis_iter_mut(Axis(0)).into_par_iter().for_each_init(
        || vec![Complex::default(); along_x.get_inplace_scratch_len()],
        |scratch, mut row| {
            if let Some(row) = row.as_slice_mut() {
                along_x.process_with_scratch(row, scratch);
            }
        },
    );
    let rows = data.nrows();
    data.axis_chunks_iter_mut(Axis(1), 8)
        .into_par_iter()
        .for_each_init(
            || {
                (
                    vec![Complex::default(); 8 * rows],
                    vec![Complex::default(); along_y.get_inplace_scratch_len()],
                )
            },
            |(buffer, scratch), mut panel| {
                for ((row, column), value) in panel.indexed_iter() {
                    buffer[column * rows + row] = *value;
                }
                along_y.process_with_scratch(&mut buffer[..panel.ncols() * rows], scratch);
                for ((row, column), value) in panel.indexed_iter_mut() {
                    *value = buffer[column * rows + row];
                }
            },
        );
}
