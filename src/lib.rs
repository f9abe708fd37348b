#![forbid(unsafe_code)]
//! Physical optics of a misaligned star.

pub mod cli;
pub mod frame;
pub mod image_io;
pub mod instrument;
pub mod state;
pub mod units;
