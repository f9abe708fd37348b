//! Blurs an image in the frequency domain: wavelengths are added there, and only the sum is transformed back.

use super::seeing::{transfer, transfer_slope};
use crate::math::{Planner, sinc};
use ndarray::{Array2, Axis};
use num_complex::Complex;
use rayon::prelude::*;
use rustfft::Fft;
use std::cell::RefCell;
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

    /// Derivative of [`transfer`](Self::transfer) by the natural logarithm of the seeing's width; 0 without seeing.
    pub fn transfer_slope(&self, frequency: [f64; 2]) -> f64 {
        if !self.fried_m.is_finite() {
            return 0.0;
        }
        let along = frequency[0] * self.drift_m[0] + frequency[1] * self.drift_m[1];
        let size = (frequency[0] * frequency[0] + frequency[1] * frequency[1]).sqrt();
        sinc(along) * transfer_slope(self.baseline_per_frequency_m2 * size, self.fried_m)
    }
}

/// Sum of blurred images, kept as a spectrum: element `[[row, column]]` is the frequency of that row and column in the order of a fast
/// Fourier transform, zero first. Images are periodic here: the caller leaves a guard of dark cells round them.
///
/// Every transfer function here is real and even, so an image blurred is real: two images ride in one spectrum, the
/// second as imaginary part.
pub struct Spectrum {
    sum: Array2<Complex<f64>>,
    cell_m: f64,
    portable: bool,
}

/// The spectrum of one image, or of two: the second one is the imaginary part of what was transformed. Order as in [`Spectrum`].
pub struct Transformed(Array2<Complex<f64>>);

impl Transformed {
    /// Transforms an image, and a second one of the same size along with it.
    pub fn new(first: &Array2<f64>, second: Option<&Array2<f64>>, portable: bool) -> Self {
        let mut spectrum = first.mapv(|v| Complex::new(v, 0.0));
        if let Some(second) = second {
            spectrum.zip_mut_with(second, |s, v| s.im = *v);
        }
        let mut planner = Planner::new(portable);
        transform(
            &mut spectrum,
            &planner.forward(first.ncols()),
            &planner.forward(first.nrows()),
        );
        Transformed(spectrum)
    }
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
        let spectrum = Transformed::new(image, None, self.portable);
        let (rows, columns) = image.dim();
        let transfer = remembered_map(rows, columns, self.cell_m, blur);
        self.add_product(&spectrum, &transfer, weight);
    }

    /// Adds `weight` times a transformed image times a [`transfer_map`] of the same size.
    pub fn add_product(&mut self, image: &Transformed, transfer: &Array2<f64>, weight: f64) {
        ndarray::Zip::from(&mut self.sum)
            .and(&image.0)
            .and(transfer)
            .par_for_each(|sum, value, factor| *sum += *value * (weight * *factor));
    }

    /// The summed image.
    pub fn into_image(mut self) -> Array2<f64> {
        let scale = self.back();
        self.sum.mapv(|v| v.re * scale)
    }

    /// Both summed images of spectra that hold two.
    pub fn into_images(mut self) -> [Array2<f64>; 2] {
        let scale = self.back();
        [
            self.sum.mapv(|v| v.re * scale),
            self.sum.mapv(|v| v.im * scale),
        ]
    }

    /// Transforms back in place; returns the factor still to be applied.
    fn back(&mut self) -> f64 {
        let (rows, columns) = self.sum.dim();
        let mut planner = Planner::new(self.portable);
        transform(
            &mut self.sum,
            &planner.inverse(columns),
            &planner.inverse(rows),
        );
        1.0 / (rows * columns) as f64
    }
}

/// Maps that a thread remembers: stars of one field are blurred alike, one after the other.
const REMEMBERED: usize = 8;
/// Larger maps are made anew each time.
const REMEMBERED_CELLS: usize = 1 << 18;

thread_local! {
    static MAPS: RefCell<Vec<(MapKey, Arc<Array2<f64>>)>> = const { RefCell::new(Vec::new()) };
}

/// What a map depends on.
type MapKey = (usize, usize, f64, Blur);

/// The [`transfer_map`] of a blur: the one made before for exactly the same values, or a new one. Remembering saves time and changes no
/// result.
pub fn remembered_map(rows: usize, columns: usize, cell_m: f64, blur: &Blur) -> Arc<Array2<f64>> {
    let key: MapKey = (rows, columns, cell_m, *blur);
    let known = MAPS.with_borrow(|maps| maps.iter().find(|m| m.0 == key).map(|m| m.1.clone()));
    if let Some(map) = known {
        return map;
    }
    let map = Arc::new(if blur.drift_m == [0.0; 2] && rows == columns {
        round_map(rows, cell_m, |f| blur.transfer(f))
    } else {
        transfer_map(rows, columns, cell_m, |f| blur.transfer(f))
    });
    if rows * columns <= REMEMBERED_CELLS {
        MAPS.with_borrow_mut(|maps| {
            if maps.len() == REMEMBERED {
                maps.remove(0);
            }
            maps.push((key, map.clone()));
        });
    }
    map
}

/// A real, even transfer function at every frequency of an image of `rows` × `columns` cells of `cell_m`, in the order of [`Spectrum`];
/// `transfer` is handed frequencies [x, y] in cycles per metre.
///
/// The last frequency of an even count stands for both signs; the mean of the two keeps the map even.
pub fn transfer_map(
    rows: usize,
    columns: usize,
    cell_m: f64,
    transfer: impl Fn([f64; 2]) -> f64 + Sync,
) -> Array2<f64> {
    let mut map = Array2::zeros((rows, columns));
    let (mut upper, mut lower) = map.view_mut().split_at(Axis(0), rows / 2 + 1);
    upper
        .outer_iter_mut()
        .into_par_iter()
        .enumerate()
        .for_each(|(row, mut line)| {
            let fy = frequency(row, rows, cell_m);
            for (column, value) in line.iter_mut().enumerate() {
                let fx = frequency(column, columns, cell_m);
                *value = if 2 * row == rows || 2 * column == columns {
                    0.5 * (transfer([fx, fy]) + transfer([-fx, fy]))
                } else {
                    transfer([fx, fy])
                };
            }
        });
    // the same at the opposite frequency
    for (offset, mut line) in lower.outer_iter_mut().enumerate() {
        let opposite = upper.row(rows - (rows / 2 + 1 + offset));
        for (column, value) in line.iter_mut().enumerate() {
            *value = opposite[(columns - column) % columns];
        }
    }
    map
}

/// The same for a square image and a transfer function that depends on the size of the frequency alone: one eighth of the map is
/// computed, the rest are copies of it, equal to [`transfer_map`] to the last bit.
fn round_map(count: usize, cell_m: f64, transfer: impl Fn([f64; 2]) -> f64) -> Array2<f64> {
    let half = count / 2 + 1;
    let mut eighth = Array2::zeros((half, half));
    for row in 0..half {
        for column in 0..=row {
            let value = transfer([
                frequency(column, count, cell_m),
                frequency(row, count, cell_m),
            ]);
            eighth[[row, column]] = value;
            eighth[[column, row]] = value;
        }
    }
    let fold = |index: usize| index.min(count - index);
    Array2::from_shape_fn((count, count), |(row, column)| {
        eighth[[fold(row), fold(column)]]
    })
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_eighth_of_a_round_map_is_the_whole_map() {
        for count in [12, 13] {
            let blur = Blur {
                fried_m: 0.05,
                baseline_per_frequency_m2: 2.2e-7,
                drift_m: [0.0; 2],
            };
            let whole = transfer_map(count, count, 9e-7, |f| blur.transfer(f));
            assert_eq!(round_map(count, 9e-7, |f| blur.transfer(f)), whole);
        }
    }
}
