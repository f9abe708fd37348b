//! `[camera]` as typed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawCamera {
    /// Pixel pitch; the pixels are square.
    #[schemars(range(min = 0.1, max = 100.0), example = 3.8)]
    pub pixel_um: f64,
    /// Number of columns; with the rows at most 40 million pixels.
    #[schemars(range(min = 1, max = 16384), example = 160)]
    pub width_px: usize,
    /// Number of rows.
    #[schemars(range(min = 1, max = 16384), example = 160)]
    pub height_px: usize,
    /// Azimuth of the sensor's +x (columns) in pupil axes.
    #[serde(default)]
    #[schemars(range(min = -360.0, max = 360.0), example = 0.0)]
    pub rotation_deg: f64,
    /// Whether the columns are flipped, after the rotation.
    #[serde(default)]
    #[schemars(example = false)]
    pub mirrored: bool,
    /// Whether rotation and mirroring were checked: `known`; or only typed: `assumed`. What was only typed is a prior for `measure`.
    #[serde(default)]
    #[schemars(example = &"assumed")]
    pub orientation: RawOrientation,
    /// Shortest and longest wavelength that is let through, fully in between.
    #[schemars(inner(range(min = 200.0, max = 2500.0)), extend("examples" = [[480.0, 620.0]]), extend("x-default" = "[500, 600] where there is no passband_table; with a colour pattern, from the shortest to the longest of its passbands"))]
    pub passband_nm: Option<[f64; 2]>,
    /// Transmission against wavelength, ascending; linear in between, zero outside.
    #[schemars(length(min = 2, max = 5000))]
    pub passband_table: Option<Vec<RawPassbandPoint>>,
    /// Number of wavelengths: centres of bins of equal width.
    #[schemars(range(min = 1, max = 200), example = 7, extend("x-default" = "chosen by the plan"))]
    pub wavelengths: Option<usize>,
    /// Electrons per photon.
    #[schemars(range(max = 1.0), extend("exclusiveMinimum" = 0.0, "x-unit" = "fraction", "x-default" = "none; needed for counts"), example = 0.8)]
    pub quantum_efficiency: Option<f64>,
    /// Transmission of optics and filter; applies to star and sky.
    #[serde(default = "all_of_it")]
    #[schemars(range(max = 1.0), extend("exclusiveMinimum" = 0.0, "x-unit" = "fraction"), example = 0.8)]
    pub throughput: f64,
    /// Electrons per count.
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0.0, "x-default" = "none; needed for counts"), example = 0.8)]
    pub gain_e_per_adu: Option<f64>,
    /// Counts added to every pixel; below the largest count of the converter.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 65535.0), example = 500.0)]
    pub bias_adu: f64,
    /// Read noise RMS.
    #[schemars(range(min = 0.0, max = 1000.0), example = 1.6, extend("x-default" = "none; needed for counts"))]
    pub read_noise_e: Option<f64>,
    /// Dark current of a pixel.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1e6), example = 0.01)]
    pub dark_e_per_s: f64,
    /// Electrons a pixel holds.
    #[schemars(range(min = 1.0, max = 1e9), example = 50000.0, extend("x-default" = "no limit"))]
    pub full_well_e: Option<f64>,
    /// Bits of the converter.
    #[serde(default = "sixteen")]
    #[schemars(range(min = 1, max = 16), example = 16)]
    pub bits: u32,
    /// Spread of the pixels' sensitivity, RMS.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 0.5), example = 0.0, extend("x-unit" = "fraction"))]
    pub pixel_response_rms: f64,
    /// Colour filters of two by two pixels, read from row 0, the bottom, from left to right: one R, two G, one B.
    #[schemars(length(min = 4, max = 4), example = &"RGGB", extend("x-default" = "none"))]
    pub colour_pattern: Option<String>,
    /// Passbands of the colour filters; the camera's own, where it is given, is a filter before them all.
    pub passbands: Option<RawPassbands>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawOrientation {
    #[default]
    Assumed,
    Known,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawPassbandPoint {
    /// Wavelength.
    #[schemars(range(min = 200.0, max = 2500.0), example = 480.0, extend("x-unit" = "nm"))]
    pub nm: f64,
    /// Transmission at this wavelength.
    #[schemars(range(min = 0.0, max = 1.0), example = 0.9, extend("x-unit" = "fraction"))]
    pub transmission: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawPassbands {
    /// Passband of the red filter.
    pub red: RawPassband,
    /// Passband of the green filters.
    pub green: RawPassband,
    /// Passband of the blue filter.
    pub blue: RawPassband,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawPassband {
    /// Shortest and longest wavelength that is let through, fully in between.
    #[schemars(inner(range(min = 200.0, max = 2500.0)), extend("examples" = [[500.0, 600.0]]), extend("x-default" = "none; this or passband_table"))]
    pub passband_nm: Option<[f64; 2]>,
    /// Transmission against wavelength, ascending; linear in between, zero outside.
    #[schemars(length(min = 2, max = 5000))]
    pub passband_table: Option<Vec<RawPassbandPoint>>,
}

fn all_of_it() -> f64 {
    1.0
}

fn sixteen() -> u32 {
    16
}
