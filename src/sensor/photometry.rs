//! Photon rates of a star and of the sky.
//!
//! Zero point: a V = 0 star sends 9.955e7 photons/(s m² nm) above the atmosphere, taken at the pivot wavelength 547.91 nm of the same
//! table (check values `photometry.vega_v_photon_flux` and `photometry.vega_v_pivot_nm`).

use crate::instrument::Passband;
use crate::spectrum::{edges, planck_photons, transmission};
use crate::units::NM;

/// Photons per second, square metre and nanometre from V = 0 above the atmosphere.
pub const ZERO_POINT_PHOTONS: f64 = 9.955e7;
/// Where the zero point holds.
pub const ZERO_POINT_WAVELENGTH_M: f64 = 547.909_921_013 * NM;

/// Photons per second through `area_m2` and a passband split into `bins` bins, above the atmosphere.
pub fn star_photons_per_s(
    magnitude: f64,
    temperature_k: f64,
    area_m2: f64,
    passband: &Passband,
    bins: usize,
) -> f64 {
    let shape = |wavelength_m: f64| {
        planck_photons(wavelength_m, temperature_k)
            / planck_photons(ZERO_POINT_WAVELENGTH_M, temperature_k)
    };
    ZERO_POINT_PHOTONS * magnitudes(magnitude) * area_m2 * band_nm(passband, bins, shape)
}

/// Photons per second from a patch of sky through `area_m2`, equal photons per nanometre.
pub fn sky_photons_per_s(
    mag_per_arcsec2: f64,
    patch_arcsec2: f64,
    area_m2: f64,
    passband: &Passband,
    bins: usize,
) -> f64 {
    ZERO_POINT_PHOTONS
        * magnitudes(mag_per_arcsec2)
        * patch_arcsec2
        * area_m2
        * band_nm(passband, bins, |_| 1.0)
}

/// Share of the light that the atmosphere lets through.
pub fn extinction_factor(mag_per_airmass: f64, airmass: f64) -> f64 {
    magnitudes(mag_per_airmass * airmass)
}

fn magnitudes(magnitude: f64) -> f64 {
    libm::pow(10.0, -0.4 * magnitude)
}

/// ∫ transmission × shape over wavelength in nanometres, by the centres of equal bins.
fn band_nm(passband: &Passband, bins: usize, shape: impl Fn(f64) -> f64) -> f64 {
    let [from, to] = edges(passband);
    let width = (to - from) / bins as f64;
    let sum: f64 = (0..bins)
        .map(|i| from + width * (i as f64 + 0.5))
        .map(|wavelength| transmission(passband, wavelength) * shape(wavelength))
        .sum();
    sum * width / NM
}
