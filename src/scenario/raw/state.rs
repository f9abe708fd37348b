//! `[state]`, `[star]`, `[sky]` and `[exposure]` as typed.

use std::borrow::Cow;
use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;

use super::NollTable;

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub(in crate::scenario) struct RawState {
    /// How far the sensor sits beyond best focus (outside); at most a tenth of the focal length either way.
    #[schemars(range(min = -1e8, max = 1e8), example = 330.0, extend("default" = 0.0))]
    pub sensor_offset_um: f64,
    /// Whether the screws' piston times assembly.response.focus_um_per_mm is added to the sensor offset; false: the offset is the total.
    #[schemars(example = true, extend("default" = false))]
    pub piston_moves_focus: bool,
    /// Whether the frame follows the star.
    #[schemars(example = true, extend("default" = true))]
    pub recentred: bool,
    /// How far the star stands aside in the frame (x, y): from its middle where it is recentred, else besides the image shift.
    #[schemars(inner(range(min = -1e4, max = 1e4)), extend("examples" = [[2.5, -1.0]]), extend("default" = [0.0, 0.0]))]
    pub place_px: [f64; 2],
    /// Where the star is on the sensor (x, y), from its centre; at most a fifth of the focal length.
    #[schemars(inner(range(min = -1e5, max = 1e5)), extend("examples" = [[0.0, 0.0]]), extend("default" = [0.0, 0.0]))]
    pub field_mm: [f64; 2],
    /// Whether the mask is on the telescope.
    #[schemars(example = true, extend("x-default" = "true where there is a [mask]"))]
    pub mask_on: Option<bool>,
    /// Turns of each screw from its nominal length; positive lengthens.
    pub turns: Option<Turns>,
    /// How far the unit sits aside (x, y), in pupil axes.
    #[schemars(inner(range(min = -100.0, max = 100.0)), extend("examples" = [[0.3, 0.0]]), extend("default" = [0.0, 0.0]))]
    pub decentre_mm: [f64; 2],
    /// How the sensor is tilted against the unit (x, y), in pupil axes: points at the edge that lies farther beyond focus.
    #[schemars(inner(range(min = -1200.0, max = 1200.0)), extend("examples" = [[1.5, -0.5]]), extend("default" = [0.0, 0.0]))]
    pub sensor_tilt_arcmin: [f64; 2],
    /// How much too far from the corrector the sensor stands, refocused; negative: too near.
    #[schemars(range(min = -1000.0, max = 1000.0), example = 0.4, extend("default" = 0.0))]
    pub spacing_mm: f64,
    /// Azimuth, in pupil axes, of the edge of the telescope next to the ground; only [assembly.flexure] asks for it.
    #[schemars(range(min = -360.0, max = 360.0), example = -90.0, extend("default" = -90.0))]
    pub down_deg: f64,
    /// Any other aberration: Zernike modes over the full circle of the aperture.
    pub modes_nm: NollTable,
    /// Any other aberration: Zernike modes over the annulus between a round obstruction and the edge of the aperture.
    pub modes_annular_nm: NollTable,
    /// Any other aberration in Seidel's terms.
    pub seidel_waves: Option<RawSeidel>,
}

impl Default for RawState {
    /// An aligned telescope in focus.
    fn default() -> Self {
        RawState {
            sensor_offset_um: 0.0,
            piston_moves_focus: false,
            recentred: true,
            place_px: [0.0; 2],
            field_mm: [0.0; 2],
            mask_on: None,
            turns: None,
            decentre_mm: [0.0; 2],
            sensor_tilt_arcmin: [0.0; 2],
            spacing_mm: 0.0,
            down_deg: super::downwards(),
            modes_nm: NollTable::default(),
            modes_annular_nm: NollTable::default(),
            seidel_waves: None,
        }
    }
}

/// Turns as typed: name of the screw → turns.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(transparent)]
pub(in crate::scenario) struct Turns(pub BTreeMap<String, f64>);

impl JsonSchema for Turns {
    fn schema_name() -> Cow<'static, str> {
        "Turns".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "object",
            "additionalProperties": { "type": "number", "minimum": -1e3, "maximum": 1e3, "examples": [-0.1] },
            "x-keys": "name of a screw",
            "x-unit": "turns",
            "x-default": "0 for every screw not named",
        })
    }
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawSeidel {
    /// Length of the waves that the other keys count.
    #[schemars(range(min = 200.0, max = 2500.0), example = 550.0)]
    pub reference_wavelength_nm: f64,
    /// W020 at the edge of the pupil.
    #[serde(default)]
    #[schemars(range(min = -1e3, max = 1e3), example = 0.0, extend("x-unit" = "waves"))]
    pub defocus: f64,
    /// W040 at the edge of the pupil.
    #[serde(default)]
    #[schemars(range(min = -1e3, max = 1e3), example = 0.25, extend("x-unit" = "waves"))]
    pub spherical: f64,
    /// W131 at the edge of the pupil.
    #[serde(default)]
    #[schemars(range(min = -1e3, max = 1e3), example = 0.5, extend("x-unit" = "waves"))]
    pub coma: f64,
    /// Azimuth of the coma.
    #[serde(default)]
    #[schemars(range(min = -360.0, max = 360.0), example = 30.0)]
    pub coma_deg: f64,
    /// W222 at the edge of the pupil.
    #[serde(default)]
    #[schemars(range(min = -1e3, max = 1e3), example = 0.5, extend("x-unit" = "waves"))]
    pub astigmatism: f64,
    /// Azimuth of the astigmatism.
    #[serde(default)]
    #[schemars(range(min = -360.0, max = 360.0), example = 45.0)]
    pub astigmatism_deg: f64,
    /// W111 at the edge of the pupil.
    #[serde(default)]
    #[schemars(range(min = -1e3, max = 1e3), example = 0.0, extend("x-unit" = "waves"))]
    pub tilt: f64,
    /// Azimuth of the tilt.
    #[serde(default)]
    #[schemars(range(min = -360.0, max = 360.0), example = 0.0)]
    pub tilt_deg: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawStar {
    /// Johnson V magnitude above the atmosphere.
    #[schemars(range(min = -30.0, max = 30.0), example = 2.3, extend("x-unit" = "mag"))]
    pub magnitude: f64,
    /// Temperature of its Planck spectrum.
    #[schemars(range(min = 1000.0, max = 100000.0), example = 6200.0)]
    pub temperature_k: f64,
    /// Altitude above the horizon.
    #[serde(default = "overhead")]
    #[schemars(range(min = 1.0, max = 90.0), example = 57.0)]
    pub altitude_deg: f64,
}

#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub(in crate::scenario) struct RawSky {
    /// Long-exposure FWHM at the zenith and 500 nm; 0 for no seeing.
    #[schemars(range(min = 0.0, max = 60.0), example = 2.1, extend("x-default" = "no seeing"))]
    pub seeing_arcsec: Option<f64>,
    /// Wind speed, for how fast the seeing averages out.
    #[schemars(range(min = 0.0, max = 200.0), example = 10.0, extend("x-default" = "none"))]
    pub wind_m_per_s: Option<f64>,
    /// Surface brightness in V.
    #[schemars(range(min = -5.0, max = 40.0), example = 19.0, extend("x-default" = "a black sky"))]
    pub brightness_mag_per_arcsec2: Option<f64>,
    /// Starlight lost per airmass.
    #[schemars(range(min = 0.0, max = 10.0), example = 0.2, extend("default" = 0.0))]
    pub extinction_mag_per_airmass: f64,
    /// Drift of the star over the exposure (x, y), frame axes.
    #[schemars(inner(range(min = -1e4, max = 1e4)), extend("examples" = [[0.0, 0.0]]), extend("default" = [0.0, 0.0]))]
    pub tracking_drift_px: [f64; 2],
    /// Whether the star's light scintillates from exposure to exposure, where counts are drawn: by Young's law, which needs a star and an exposure.
    #[schemars(example = true, extend("default" = false))]
    pub scintillation: bool,
    /// Height of the site above sea level, for how strongly the light scintillates.
    #[schemars(range(min = -500.0, max = 9000.0), example = 250.0, extend("default" = 0.0))]
    pub site_height_m: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawExposure {
    /// Duration of the exposure.
    #[schemars(range(max = 86400.0), extend("exclusiveMinimum" = 0.0), example = 0.5)]
    pub time_s: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawStarField {
    /// How many stars are drawn, evenly over the sensor.
    #[schemars(range(min = 1, max = 100000), example = 400, extend("x-default" = "needed unless stars are listed"))]
    pub count: Option<u32>,
    /// Magnitudes of the brightest and the faintest star drawn, Johnson V.
    #[schemars(inner(range(min = -30.0, max = 30.0)), extend("examples" = [[5.0, 12.0]]), extend("x-unit" = "mag", "x-default" = "needed unless stars are listed"))]
    pub magnitudes: Option<[f64; 2]>,
    /// The number of stars brighter than m grows as 10^(slope m).
    #[serde(default = "slope")]
    #[schemars(range(min = 0.0, max = 2.0), example = 0.35, extend("x-unit" = "per mag"))]
    pub slope_per_magnitude: f64,
    /// The stars one by one, in place of drawn ones.
    #[schemars(length(min = 1, max = 100000))]
    pub stars: Option<Vec<RawFieldStar>>,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawFieldStar {
    /// Where the star is on the sensor (x, y), from its centre; at most a fifth of the focal length.
    #[schemars(inner(range(min = -1e5, max = 1e5)), extend("examples" = [[3.0, -1.5]]))]
    pub field_mm: [f64; 2],
    /// Johnson V magnitude above the atmosphere.
    #[schemars(range(min = -30.0, max = 30.0), example = 7.5, extend("x-unit" = "mag"))]
    pub magnitude: f64,
    /// Temperature of its Planck spectrum.
    #[schemars(range(min = 1000.0, max = 100000.0), example = 4800.0, extend("x-default" = "star.temperature_k"))]
    pub temperature_k: Option<f64>,
}

fn slope() -> f64 {
    0.35
}

fn overhead() -> f64 {
    90.0
}
