//! What the atmosphere does to a star: airmass, long-exposure seeing, drift.
//!
//! Long exposures are a transfer function, without chance; drift over the exposure is a blur of the same kind. Short ones look
//! through a [`Screen`] drawn from a seed.

mod blur;
mod screen;
mod seeing;

pub use blur::{Blur, Spectrum, Transformed, remembered_map, transfer_map};
pub use screen::{Atmosphere, Layer, RING_STEP, ScaleRange, Screen, ScreenOnGrid};
pub use seeing::{airmass, fried_m, seeing_cutoff, seeing_fwhm_rad, transfer, transfer_slope};
