//! Helpers shared by the integration tests.

pub mod bench;
pub mod cell;
pub mod checks;
pub mod curve;
pub mod direct;
pub mod doughnut;
pub mod lens;
pub mod light;
pub mod masked_errors;
pub mod mechanic;
pub mod npy;
pub mod place;
pub mod third_order;
