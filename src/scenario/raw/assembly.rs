//! `[assembly]` as typed.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawAssembly {
    /// Radius of the circle the screws stand on.
    #[schemars(range(max = 10000.0), extend("exclusiveMinimum" = 0.0), example = 55.0)]
    pub screw_circle_radius_mm: f64,
    /// Advance of a screw in one turn.
    #[schemars(range(max = 20.0), extend("exclusiveMinimum" = 0.0), example = 0.5)]
    pub pitch_mm_per_turn: f64,
    /// What a clockwise turn does to a screw, facing its head.
    #[serde(default)]
    #[schemars(example = &"lengthens")]
    pub clockwise: RawClockwise,
    /// Shortest and longest a screw may be, from its nominal length; the first at most 0, the second at least 0.
    #[schemars(inner(range(min = -1000.0, max = 1000.0)), example = [-0.35, 0.35], extend("x-default" = "no limit"))]
    pub travel_mm: Option<[f64; 2]>,
    /// Play of a screw when its direction is reversed.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 5.0), example = 0.02)]
    pub backlash_turns: f64,
    /// The screws, standing at three different azimuths at least.
    #[schemars(length(min = 3, max = 24))]
    pub screws: Vec<RawScrew>,
    /// What a tilt of the unit does to the star, typed in or learned.
    pub response: Option<RawResponse>,
    /// The surfaces of the unit, to derive the response from; cannot be used yet.
    pub prescription: Option<RawPrescription>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawClockwise {
    #[default]
    Lengthens,
    Shortens,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawScrew {
    /// What the owner calls it: letters, digits, hyphens and underscores.
    #[schemars(length(min = 1, max = 16), example = &"A")]
    pub name: String,
    /// Where it stands.
    #[schemars(range(min = -360.0, max = 360.0), example = 90.0)]
    pub azimuth_deg: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawResponse {
    /// Coma RMS per arcmin of tilt.
    #[schemars(range(min = -1e5, max = 1e5), example = 62.0)]
    pub coma_nm_per_arcmin: f64,
    /// Astigmatism RMS per square arcmin of tilt.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.4)]
    pub astigmatism_nm_per_arcmin2: f64,
    /// Astigmatism RMS per arcmin of tilt and mm of field.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.0)]
    pub astigmatism_nm_per_arcmin_mm: f64,
    /// How far the image moves per arcmin of tilt.
    #[schemars(range(min = -1e5, max = 1e5), example = 29.0)]
    pub image_shift_um_per_arcmin: f64,
    /// Sensor offset per mm of piston.
    #[schemars(range(min = -1e5, max = 1e5), example = 1000.0)]
    pub focus_um_per_mm: f64,
    /// 1 when the sensor rides on the unit, 0 when it does not.
    #[schemars(range(min = -2.0, max = 2.0), example = 1.0, extend("x-unit" = "ratio"))]
    pub sensor_tilt_per_tilt: f64,
}

/// Surfaces of the unit; any table, since nothing reads it yet.
#[derive(Debug, Clone, Deserialize)]
pub(in crate::scenario) struct RawPrescription {}

impl JsonSchema for RawPrescription {
    fn schema_name() -> Cow<'static, str> {
        "Prescription".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "object", "x-default": "none" })
    }
}
