//! Helpers shared by the integration tests.

pub mod direct;
pub mod lens;
pub mod npy;
pub mod place;
