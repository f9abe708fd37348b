//! Conversion constants.
//!
//! Inside the library every quantity is in SI units (metres, radians, seconds) or in electrons and pixels. Files, reports
//! and the command line use millimetres, micrometres, nanometres, degrees, arcminutes and arcseconds; multiply by one of
//! these constants on the way in, divide on the way out.

/// Metres in one millimetre.
pub const MM: f64 = 1e-3;
/// Metres in one micrometre.
pub const UM: f64 = 1e-6;
/// Metres in one nanometre.
pub const NM: f64 = 1e-9;
/// Radians in one degree.
pub const DEG: f64 = std::f64::consts::PI / 180.0;
/// Radians in one arcminute.
pub const ARCMIN: f64 = DEG / 60.0;
/// Radians in one arcsecond.
pub const ARCSEC: f64 = DEG / 3600.0;
/// Wavelength at which seeing is quoted (500 nm, the usual reference), in metres.
pub const SEEING_REFERENCE_M: f64 = 500.0 * NM;
