//! Numerics without a domain word: the real types we compute in, phases, the one-dimensional zoomed transform, and linear
//! least squares.

mod chirp;
mod jacobi_svd;
mod least_squares;
mod phase;
mod real;
mod simd;

pub use chirp::ChirpTransform;
pub use jacobi_svd::{Singular, jacobi_svd};
pub use least_squares::LeastSquares;
pub use phase::{cis_turns, sinc, sinc_relative_slope, sinc_slope, waves};
pub use real::{Planner, Real};
pub use simd::vectorised;
