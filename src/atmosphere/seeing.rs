//! Long-exposure Kolmogorov seeing.
//!
//! Sources: D. L. Fried, J. Opt. Soc. Am. 56, 1372 (1966), transfer function exp(−3.44 (b/r0)^(5/3)); airmass by F. Kasten and
//! A. T. Young, Applied Optics 28, 4735 (1989); both through the check values `seeing.*` and `airmass.kasten_young`.

use crate::units::{DEG, SEEING_REFERENCE_M};

/// FWHM of the long-exposure image over λ/r0, for 3.44 in the transfer function (check value `seeing.fwhm_constant`).
const FWHM_OVER_LAMBDA_R0: f64 = 0.975_533_613_391;

/// Airmass at an apparent altitude (0.9997 at the zenith: the fit's own value).
pub fn airmass(altitude_rad: f64) -> f64 {
    let degrees = altitude_rad / DEG;
    1.0 / (libm::sin(altitude_rad) + 0.50572 * libm::pow(degrees + 6.07995, -1.6364))
}

/// FWHM at a wavelength and airmass from the one at the zenith and 500 nm: it grows as airmass^0.6 and λ^−0.2, which follows from
/// r0 ∝ λ^1.2 airmass^−0.6 for Kolmogorov turbulence and FWHM ∝ λ/r0.
pub fn seeing_fwhm_rad(zenith_rad: f64, airmass: f64, wavelength_m: f64) -> f64 {
    zenith_rad * libm::pow(airmass, 0.6) * libm::pow(wavelength_m / SEEING_REFERENCE_M, -0.2)
}

/// Fried's length r0 of a seeing FWHM at a wavelength.
pub fn fried_m(fwhm_rad: f64, wavelength_m: f64) -> f64 {
    FWHM_OVER_LAMBDA_R0 * wavelength_m / fwhm_rad
}

/// Transfer at baseline b (wavelength × angular frequency): exp(−3.44 (b/r0)^(5/3)).
pub fn transfer(baseline_m: f64, fried_m: f64) -> f64 {
    libm::exp(exponent(baseline_m, fried_m))
}

/// Angular frequency, cycles per radian, at which the transfer of a seeing FWHM is down to 1e-3.
pub fn seeing_cutoff(fwhm_rad: f64) -> f64 {
    let baseline_over_fried = libm::pow(1e3f64.ln() / 3.44, 0.6);
    baseline_over_fried * FWHM_OVER_LAMBDA_R0 / fwhm_rad
}

/// −3.44 (b/r0)^(5/3), through x^(5/3) = x·(x²)^(1/3).
fn exponent(baseline_m: f64, fried_m: f64) -> f64 {
    let ratio = baseline_m / fried_m;
    -3.44 * ratio * libm::cbrt(ratio * ratio)
}

/// Derivative of [`transfer`] by the natural logarithm of the width (of 1/r0).
pub fn transfer_slope(baseline_m: f64, fried_m: f64) -> f64 {
    let exponent = exponent(baseline_m, fried_m);
    5.0 / 3.0 * exponent * libm::exp(exponent)
}
