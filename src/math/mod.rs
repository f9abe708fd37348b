//! Numerics without a domain word: the real types we compute in, phases, the one-dimensional zoomed transform, linear least
//! squares, integrals from few points, values with their standard deviation, statistics that wild values do not move, and the
//! word nearest to another.

mod gridding;
mod jacobi_svd;
mod least_squares;
mod nearest;
mod phase;
mod quadrature;
mod real;
pub mod robust;
mod simd;
mod uncertain;

pub use gridding::{LANES, Lanes, Panel, ZoomTransform, no_lanes};
pub use jacobi_svd::{Singular, jacobi_svd};
pub use least_squares::LeastSquares;
pub(crate) use nearest::nearest;
pub use phase::{WAVES_AT_ONCE, cis_turns, sinc, sinc_relative_slope, sinc_slope, waves};
pub use quadrature::{gauss_between, gauss_legendre};
pub use real::{Planner, Real};
pub use simd::vectorised;
pub use uncertain::Uncertain;
