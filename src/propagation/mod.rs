//! From the pupil to the irradiance on the sensor.
//!
//! U(x) = Σ A(σ) exp(−2πi·W/λ) exp(−2πi·σ·x/(λf)) dσ², over sine-space heights σ = f sin u; the share of the light that
//! falls on an area is |U|²/((λf)²·open area). `plan.rs` decides the sampling as plain data, `field.rs` makes A·exp(…) as
//! true averages over cells, `focal.rs` transforms it and adds up the light in square cells of the sensor.
//!
//! What falls beyond the computed window is lost to it, never folded back: the transform is a zoom, not a periodic one, and
//! what the pupil's own sampling would fold in is kept small by the plan (see [`Plan`]).

mod field;
mod focal;
mod integrate;
mod passes;
mod plan;
mod slopes;

pub use field::{CellAverages, Field, FieldMaps, LengthMap, PhaseTurns, PupilRows, Sampling};
pub use focal::{CellSum, Propagator, Window};
pub use integrate::box_weights;
pub use plan::{Accuracy, Demand, Plan};
pub use slopes::Change;
