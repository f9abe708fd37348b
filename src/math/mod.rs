//! Numerics without a domain word: the real types we compute in, phases, and the one-dimensional zoomed transform.

mod chirp;
mod phase;
mod real;

pub use chirp::ChirpTransform;
pub use phase::{cis_turns, sinc};
pub use real::{Planner, Real};
