//! Instrument + State → the frame to expect, before any chance.
//!
//! [`Model`] is prepared once (pupil, sampling, spectrum) and can then be asked for the light in every pixel, also for other
//! wavefronts over the same pupil. It opens no file and draws no random number.

mod expected;
mod model;

pub use expected::Expected;
pub use model::{Model, PredictError, Settings};
