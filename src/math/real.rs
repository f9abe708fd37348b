//! The two real types the engine computes in, and where its Fourier plans come from.

use rustfft::{Fft, FftNum, FftPlanner, FftPlannerScalar, num_traits::Float};
use std::sync::Arc;

/// `f32` or `f64`.
pub trait Real: FftNum + Float {
    /// Cells that an input of a zoomed transform is spread over.
    const SPREAD_CELLS: usize;
    /// Rounds a double to this type.
    fn narrow(value: f64) -> Self;
    /// Widens to a double.
    fn widen(self) -> f64;
    /// Σ `coefficients[k]` x^k; single precision takes the first nine only.
    fn horner(x: Self, coefficients: &[f64; 12]) -> Self;
    /// The same for a short range, x ≤ (π/2)²: single precision takes the first seven only.
    fn horner_quarter(x: Self, coefficients: &[f64; 12]) -> Self;
}

impl Real for f32 {
    const SPREAD_CELLS: usize = 8;
    #[inline(always)]
    fn narrow(value: f64) -> Self {
        value as f32
    }
    #[inline(always)]
    fn widen(self) -> f64 {
        f64::from(self)
    }
    #[inline(always)]
    fn horner(x: Self, c: &[f64; 12]) -> Self {
        let mut sum = c[8] as f32;
        for k in (0..8).rev() {
            sum = sum * x + c[k] as f32;
        }
        sum
    }
    #[inline(always)]
    fn horner_quarter(x: Self, c: &[f64; 12]) -> Self {
        let mut sum = c[6] as f32;
        for k in (0..6).rev() {
            sum = sum * x + c[k] as f32;
        }
        sum
    }
}

impl Real for f64 {
    const SPREAD_CELLS: usize = 18;
    #[inline(always)]
    fn narrow(value: f64) -> Self {
        value
    }
    #[inline(always)]
    fn widen(self) -> f64 {
        self
    }
    #[inline(always)]
    fn horner(x: Self, c: &[f64; 12]) -> Self {
        let mut sum = c[11];
        for k in (0..11).rev() {
            sum = sum * x + c[k];
        }
        sum
    }
    #[inline(always)]
    fn horner_quarter(x: Self, c: &[f64; 12]) -> Self {
        Self::horner(x, c)
    }
}

/// Makes Fourier plans: the fastest this processor has, or the same arithmetic everywhere.
pub enum Planner<T: Real> {
    /// Chosen by the processor's instruction sets: fastest.
    Native(FftPlanner<T>),
    /// No special instructions: the same bytes on all processors, more slowly.
    Portable(FftPlannerScalar<T>),
}

impl<T: Real> Planner<T> {
    /// A planner of either kind.
    pub fn new(portable: bool) -> Self {
        if portable {
            Planner::Portable(FftPlannerScalar::new())
        } else {
            Planner::Native(FftPlanner::new())
        }
    }

    /// A forward transform (kernel exp(−2πi·jk/n), not normalised).
    pub fn forward(&mut self, length: usize) -> Arc<dyn Fft<T>> {
        match self {
            Planner::Native(planner) => planner.plan_fft_forward(length),
            Planner::Portable(planner) => planner.plan_fft_forward(length),
        }
    }

    /// An inverse transform (kernel exp(+2πi·jk/n), not normalised).
    pub fn inverse(&mut self, length: usize) -> Arc<dyn Fft<T>> {
        match self {
            Planner::Native(planner) => planner.plan_fft_inverse(length),
            Planner::Portable(planner) => planner.plan_fft_inverse(length),
        }
    }
}
