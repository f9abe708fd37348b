//! How well the photons of one frame allow anything to be measured: the Cramér–Rao bound.
//!
//! Fisher's information is Σ dμ_i dμ_j / var over the pixels, var = expected electrons + read noise² + gain²/12 (rounding to
//! counts). Full pixels are left out: they say nothing about small changes. No unbiased fit of the same free parameters
//! scatters less, and a good one comes close to it. What the frame does not determine is `None`, never infinite.
//!
//! The bound is local: it knows the slope of the frame at the true state, not a second solution further away.

use super::jacobian::{Jacobian, Parameter};
use crate::instrument::Electronics;
use crate::math::LeastSquares;
use crate::sensor::{saturation_e, variance_e2};

/// Standard deviations that no unbiased measurement of the same free parameters can beat.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    /// The parameters that were free, all at once.
    pub parameters: Vec<Parameter>,
    /// For each, its standard deviation in its own unit; `None` where the frame does not determine it.
    pub sigmas: Vec<Option<f64>>,
    /// Pixels that were not full.
    pub used_px: usize,
}

/// A column smaller than this share of the steepest there can be is taken for zero.
const FLOOR: f64 = 1e-6;

impl Bound {
    /// The bound for a frame in electrons.
    pub fn new(jacobian: &Jacobian, electronics: &Electronics) -> Self {
        let limit_e = saturation_e(electronics);
        let expected = &jacobian.expected.image;
        let weights: Vec<f64> = expected
            .iter()
            .map(|e| match variance_e2(*e, electronics) {
                variance if *e < limit_e && variance > 0.0 => 1.0 / variance.sqrt(),
                _ => 0.0,
            })
            .collect();
        let weighed = |image: &ndarray::Array2<f64>| -> Vec<f64> {
            image.iter().zip(&weights).map(|(v, w)| v * w).collect()
        };
        let star: f64 = weighed(&jacobian.star).iter().map(|v| v * v).sum();
        let floors: Vec<f64> = jacobian
            .steepest
            .iter()
            .map(|steepest| FLOOR * steepest * star.sqrt())
            .collect();
        let columns = jacobian.columns.iter().map(weighed).collect();
        Bound {
            parameters: jacobian.parameters.clone(),
            sigmas: LeastSquares::new(columns, &floors).sigmas(),
            used_px: weights.iter().filter(|w| **w > 0.0).count(),
        }
    }

    /// Standard deviation of one parameter; `None` where it was not free or is not determined.
    pub fn sigma(&self, parameter: Parameter) -> Option<f64> {
        let at = self.parameters.iter().position(|p| *p == parameter)?;
        self.sigmas[at]
    }
}
