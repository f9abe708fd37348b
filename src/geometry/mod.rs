//! Plane shapes in metres and their exact area in every cell of a grid.
//!
//! `shape.rs` says what is open, `sweep.rs` cuts it into pieces with two smooth sides, `coverage.rs` adds these up in the
//! cells. Nothing here is sampled: a bar thinner than a cell keeps its full area.

mod arcs;
mod coverage;
pub mod outline;
mod shape;
mod sweep;

pub use coverage::{CellGrid, Coverage, RadialMap, cover};
pub use shape::{Frame2, Piece, Primitive};
pub use sweep::{Side, Trapezoid, area, trapezoids};
