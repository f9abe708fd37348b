#![forbid(unsafe_code)]
//! Physical optics of a misaligned star.

pub mod frame;
pub mod instrument;
pub mod scenario;
pub mod state;
pub mod units;
pub mod wavefront;
