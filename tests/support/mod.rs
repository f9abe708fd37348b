//! Helpers shared by the integration tests.

pub mod direct;
pub mod masked_errors;
pub mod place;
