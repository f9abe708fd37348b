//! What the air does to a star: airmass, long-exposure seeing, drift.
//!
//! Long exposures only: a transfer function, no chance. Drift over the exposure is a blur of the same kind.

mod blur;
mod seeing;

pub use blur::{Blur, Spectrum, Transformed, remembered_map, transfer_map};
pub use seeing::{airmass, fried_m, seeing_cutoff, seeing_fwhm_rad, transfer, transfer_slope};
