//! Derivatives of the irradiance: where the field U changes by dU, |U|² changes by 2 Re(U* dU).
//!
//! They are the derivatives of what is computed, sampling included, so that a fit which steps along them lands where the
//! model says. The factor that the zoomed transform leaves out depends on the output alone and drops out of the product.

use super::field::Field;
use super::focal::{Window, first_pass, narrow};
use crate::math::{ChirpTransform, Real, sinc_relative_slope};
use ndarray::Array2;
use num_complex::Complex;
use std::f64::consts::TAU;

/// What the light in a window is differentiated by.
pub enum Change<T: Real> {
    /// The star's place along an axis (0: x, 1: y): the change per metre.
    Place(usize),
    /// Anything that changes the field: the derivative of the field.
    Field(Field<T>),
}

/// The derivative of a field after the first pass.
pub(super) struct Layer<T: Real> {
    /// Rows of the pupil at the window's x samples.
    pub half: Array2<Complex<T>>,
    undimming: Undimming<T>,
}

/// How the correction for the pupil's cells changes: it is centred on the star and moves with it.
enum Undimming<T: Real> {
    Stays,
    /// Relative change at every x sample.
    MovesAlongX(Vec<T>),
    /// Relative change at every y sample.
    MovesAlongY(Vec<T>),
}

impl<T: Real> Layer<T> {
    /// Takes a derivative through the first pass; `base` is the field itself after it.
    pub fn new(
        change: &Change<T>,
        field: &Field<T>,
        base: &Array2<Complex<T>>,
        [along_x, along_y]: [&ChirpTransform<T>; 2],
        window: &Window,
    ) -> Self {
        match change {
            Change::Field(slope) => Layer {
                half: first_pass(&slope.rows, along_x),
                undimming: Undimming::Stays,
            },
            Change::Place(0) => Layer {
                half: first_pass(&tilted_along_x(field), along_x),
                undimming: Undimming::MovesAlongX(moved(field, window, 0, along_x.outputs())),
            },
            Change::Place(_) => Layer {
                half: tilted_along_y(field, base),
                undimming: Undimming::MovesAlongY(moved(field, window, 1, along_y.outputs())),
            },
        }
    }

    /// 2 Re(U* dU) down one column of x samples, and what the moved correction adds.
    pub fn products(
        &self,
        base: &[Complex<T>],
        slope: &[Complex<T>],
        column: usize,
        out: &mut [T],
    ) {
        let two = T::one() + T::one();
        for ((p, u), du) in out.iter_mut().zip(base).zip(slope) {
            *p = two * (u.re * du.re + u.im * du.im);
        }
        match &self.undimming {
            Undimming::Stays => {}
            Undimming::MovesAlongX(change) => {
                for (p, u) in out.iter_mut().zip(base) {
                    *p = *p + u.norm_sqr() * change[column];
                }
            }
            Undimming::MovesAlongY(change) => {
                for ((p, u), c) in out.iter_mut().zip(base).zip(change) {
                    *p = *p + u.norm_sqr() * *c;
                }
            }
        }
    }
}

/// Derivative of the field by a move of the star along x: a tilt, exp(+2πi·σ·δ/(λf)).
fn tilted_along_x<T: Real>(field: &Field<T>) -> Vec<(usize, Vec<Complex<T>>)> {
    let tilt = |(first, values): &(usize, Vec<Complex<T>>)| {
        let columns = (*first..).zip(values);
        columns
            .map(|(column, v)| quarter_turn(*v, tilt_factor(field, column)))
            .collect()
    };
    field.rows.iter().map(|row| (row.0, tilt(row))).collect()
}

/// The same along y: the first pass is done already, a row only takes a factor.
fn tilted_along_y<T: Real>(field: &Field<T>, base: &Array2<Complex<T>>) -> Array2<Complex<T>> {
    let mut half = base.clone();
    for (row, mut line) in half.outer_iter_mut().enumerate() {
        let factor = tilt_factor(field, row);
        line.mapv_inplace(|v| quarter_turn(v, factor));
    }
    half
}

fn tilt_factor<T: Real>(field: &Field<T>, index: usize) -> T {
    let spread = field.wavelength_m * field.focal_length_m;
    T::narrow(TAU * field.grid.centre_m(index) / spread)
}

/// i × factor × value.
fn quarter_turn<T: Real>(value: Complex<T>, factor: T) -> Complex<T> {
    Complex::new(-value.im * factor, value.re * factor)
}

/// Relative change of 1/sinc²(x/P) per metre that the star moves.
fn moved<T: Real>(field: &Field<T>, window: &Window, axis: usize, samples: usize) -> Vec<T> {
    let period = field.wavelength_m * field.focal_length_m / field.grid.cell_m;
    let change = |j: usize| {
        let x = window.sample_m(axis, j) / period;
        2.0 * sinc_relative_slope(x) / period
    };
    narrow(&(0..samples).map(change).collect::<Vec<f64>>())
}
