//! The deterministic half of a camera: how many electrons a pixel is expected to collect, before chance and counts.
//!
//! photons above the atmosphere → extinction → open area of the pupil → transmission and throughput → quantum efficiency →
//! electrons. `photometry.rs` has the rates, `noise.rs` how much a pixel scatters and when it is full. The draws, gain and
//! rounding are in `simulate::readout`.

mod noise;
mod photometry;

pub use noise::{saturation_e, variance_e2};
pub use photometry::{
    ZERO_POINT_PHOTONS, ZERO_POINT_WAVELENGTH_M, extinction_factor, sky_photons_per_s,
    star_photons_per_s,
};
