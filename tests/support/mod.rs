//! Helpers shared by the integration tests.

pub mod direct;
pub mod lens;
pub mod masked_errors;
pub mod npy;
pub mod place;
