//! Numerics without a domain word: the real types we compute in, phases, the one-dimensional zoomed transform, and linear
//! least squares.

mod gridding;
mod jacobi_svd;
mod least_squares;
mod phase;
mod real;
mod simd;

pub use gridding::{LANES, Lanes, Panel, ZoomTransform, no_lanes};
pub use jacobi_svd::{Singular, jacobi_svd};
pub use least_squares::LeastSquares;
pub use phase::{WAVES_AT_ONCE, cis_turns, sinc, sinc_relative_slope, sinc_slope, waves};
pub use real::{Planner, Real};
pub use simd::vectorised;
