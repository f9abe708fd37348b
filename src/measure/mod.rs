//! From a frame back to how far out of line the telescope is, and which screw to turn.
//!
//! Measuring is blind: it is handed frames and an [`Instrument`](crate::instrument::Instrument), never a state or a truth. The
//! trial states of its fits are its own.

mod doughnut;
pub mod fit;
mod harmonics;
mod ring;

pub use doughnut::{DoughnutFit, Side, SideFrom, measure_doughnut, measure_pair};
pub use ring::{Ring, SECTORS, Sector, Shadow, ring};
