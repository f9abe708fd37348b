//! Derivatives of the irradiance: where the field U changes by dU, |U|² changes by 2 Re(U* dU).
//!
//! They are the derivatives of what is computed, sampling included, so that a fit which steps along them lands where the
//! model says. What the zoomed transform's spreading leaves to be divided out depends on the output alone: both factors of the
//! product have it, and the correction of |U|² takes it out.

use super::field::{CellAverages, Field, LengthMap};
use super::focal::{Window, narrow};
use crate::math::{Real, sinc_relative_slope};
use num_complex::Complex;
use std::f64::consts::TAU;

/// What the light in a window is differentiated by.
pub enum Change<'a> {
    /// The star's place along an axis (0: x, 1: y): the change per metre.
    Place(usize),
    /// An addition to W, per unit of its amount; with the field that it is added to.
    Length(&'a CellAverages<'a>, &'a LengthMap),
}

/// How a derivative differs from the field itself on its way to the sensor.
pub(super) struct SlopeLayer<'a, T: Real> {
    change: &'a Change<'a>,
    /// Factor ×i of every column of the pupil, or of every row.
    tilt: Vec<T>,
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

impl<'a, T: Real> SlopeLayer<'a, T> {
    /// Prepares a derivative.
    pub fn new(change: &'a Change<'a>, field: &Field<T>, window: &Window) -> Self {
        let (tilt, undimming) = match change {
            Change::Length(..) => (Vec::new(), Undimming::Stays),
            Change::Place(0) => (
                tilt_factors(field),
                Undimming::MovesAlongX(moved(field, window, 0)),
            ),
            Change::Place(_) => (
                tilt_factors(field),
                Undimming::MovesAlongY(moved(field, window, 1)),
            ),
        };
        SlopeLayer {
            change,
            tilt,
            undimming,
        }
    }

    /// Whether its rows differ from the field's own; if not, [`row_factor`](Self::row_factor) is all there is to it.
    pub fn has_rows(&self) -> bool {
        !matches!(self.change, Change::Place(1))
    }

    /// The field whose dimming changes with it.
    pub fn averages(&self) -> Option<&CellAverages<'a>> {
        match self.change {
            Change::Length(field, _) => Some(field),
            Change::Place(_) => None,
        }
    }

    /// Turns a row of the field, from column `first` on, into the same row of the derivative; `dimming` are the slopes of
    /// the row's dimming.
    pub fn differentiate(
        &self,
        row: usize,
        first: usize,
        dimming: &[[f64; 2]],
        values: &mut [Complex<T>],
    ) {
        match self.change {
            Change::Length(field, addition) => field.differentiate(addition, row, dimming, values),
            // a tilt, exp(+2πi·σ·δ/(λf))
            Change::Place(_) => {
                for (value, factor) in values.iter_mut().zip(&self.tilt[first..]) {
                    *value = Complex::new(-value.im * *factor, value.re * *factor);
                }
            }
        }
    }

    /// What a row is multiplied with after the first pass, besides i, where its rows are the field's own.
    pub fn row_factor(&self, row: usize) -> T {
        self.tilt[row]
    }

    /// 2 Re(U* dU) down one column of x samples, and what the moved correction adds.
    #[inline(always)]
    pub fn products(
        &self,
        base: &[Complex<T>],
        slope: &[Complex<T>],
        column: usize,
        first_row: usize,
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
                for ((p, u), c) in out.iter_mut().zip(base).zip(&change[first_row..]) {
                    *p = *p + u.norm_sqr() * *c;
                }
            }
        }
    }
}

/// A move of the star by δ along an axis is a tilt, exp(+2πi·σ·δ/(λf)): its derivative is i times this.
fn tilt_factors<T: Real>(field: &Field<T>) -> Vec<T> {
    let spread = field.wavelength_m * field.focal_length_m;
    (0..field.grid.count)
        .map(|index| T::narrow(TAU * field.grid.centre_m(index) / spread))
        .collect()
}

/// Relative change of 1/sinc²(x/P) per metre that the star moves.
fn moved<T: Real>(field: &Field<T>, window: &Window, axis: usize) -> Vec<T> {
    let period = field.wavelength_m * field.focal_length_m / field.grid.cell_m;
    let change = |j: usize| {
        let x = window.sample_m(axis, j) / period;
        2.0 * sinc_relative_slope(x) / period
    };
    narrow(&(0..window.samples(axis)).map(change).collect::<Vec<f64>>())
}
