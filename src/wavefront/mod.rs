//! Placeholder for the wavefront module: only the two conversions that the scenario reader calls.

use crate::state::Modes;

/// Seidel coefficients at the edge of the pupil, metres of wavefront, with their azimuths.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seidel {
    /// W020.
    pub defocus_m: f64,
    /// W040.
    pub spherical_m: f64,
    /// W131.
    pub coma_m: f64,
    /// Azimuth of the coma.
    pub coma_azimuth_rad: f64,
    /// W222.
    pub astigmatism_m: f64,
    /// Azimuth of the astigmatism.
    pub astigmatism_azimuth_rad: f64,
    /// W111.
    pub tilt_m: f64,
    /// Azimuth of the tilt.
    pub tilt_azimuth_rad: f64,
}

/// Annular Zernike modes as full-circle modes.
pub fn annular_to_noll(_annular: &Modes, _obstruction_ratio: f64) -> Modes {
    todo!()
}

/// Seidel terms as full-circle modes.
pub fn seidel_to_noll(_seidel: &Seidel) -> Modes {
    todo!()
}
