//! Helpers shared by the integration tests.

pub mod direct;
pub mod place;
