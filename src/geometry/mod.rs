//! Plane shapes in metres and their exact area in every cell of a grid.
//!
//! `shape.rs` says what is open, `sweep.rs` cuts it into pieces with two smooth sides, `coverage.rs` adds these up in the
//! cells. Nothing here is sampled: a bar thinner than a cell keeps its full area. `outline.rs` unites and subtracts shapes on a
//! fine grid of whole numbers; `narrowest.rs` looks how narrow what is left gets; `thinned.rs` leaves out corners that no printer shows.

mod arcs;
mod coverage;
mod narrowest;
pub mod outline;
mod shape;
mod sweep;
mod thinned;

pub use coverage::{CellGrid, Coverage, RadialMap, cover};
pub use narrowest::{distance_to_segment, narrowest_m};
pub use shape::{Frame2, Piece, Primitive};
pub use sweep::{SweepSide, Trapezoid, area, trapezoids};
