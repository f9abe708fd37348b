//! Photon rates of a star and of the sky.
//!
//! Zero point: a star of V = 0 sends 9.955e7 photons/(s m² nm) above the atmosphere, here taken to hold at the band's pivot wavelength,
//! 547.91 nm (check values `photometry.vega_v_photon_flux` and `photometry.vega_v_pivot_nm` of
//! `tests/data/published/values.toml`, which names their source).

use crate::instrument::Passband;
use crate::spectrum::{edges, planck_photons, transmission};
use crate::units::NM;

/// Photons per second, square metre and nanometre from a star of V = 0 above the atmosphere, at [`ZERO_POINT_WAVELENGTH_M`].
pub const ZERO_POINT_PHOTONS: f64 = 9.955e7;
/// Wavelength at which the zero point is taken to hold: the pivot wavelength of the V band.
pub const ZERO_POINT_WAVELENGTH_M: f64 = 547.909_921_013 * NM;

/// Photons per second of a star through `area_m2` and a passband, above the atmosphere. Its spectrum is Planck's law in photons at
/// `temperature_k`, scaled to `magnitude` (Johnson V) at the zero point's wavelength; the passband is summed in `bins` equal bins.
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

/// Photons per second of a patch of sky (`patch_arcsec2` square arcseconds) through `area_m2` and a passband; its spectrum has equal
/// photons per nanometre.
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

/// Share of the light that the atmosphere lets through: 10^(−0.4 × magnitudes per airmass × airmass).
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
