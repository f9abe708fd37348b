//! `[assembly]` as typed.

use crate::mechanics::glass::Glass;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawAssembly {
    /// How the screws hold the unit, which gives the order of the hands: "push-pull" (a screw that pushes and one that pulls at each
    /// place), "spring" (each screw against a spring), "pivot" (all screws against a pivot in the middle) or "lock-nut" (each held by a nut).
    #[serde(default)]
    #[schemars(example = &"push-pull")]
    pub kind: RawKind,
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
    #[schemars(inner(range(min = -1000.0, max = 1000.0)), extend("examples" = [[-0.35, 0.35]]), extend("x-default" = "no limit"))]
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
    /// The telescope's surfaces, to trace the response from; takes the place of [assembly.response].
    pub prescription: Option<RawPrescription>,
    /// How the unit leans under its own weight.
    pub flexure: Option<RawFlexure>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawKind {
    #[default]
    PushPull,
    Spring,
    Pivot,
    LockNut,
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
    #[serde(default)]
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
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 29.0)]
    pub image_shift_um_per_arcmin: f64,
    /// Sensor offset per mm of piston.
    #[serde(default)]
    #[schemars(range(min = -1e6, max = 1e6), example = 1000.0)]
    pub focus_um_per_mm: f64,
    /// 1 when the sensor rides on the unit, 0 when it does not; for a secondary, what is traced for it.
    #[serde(default)]
    #[schemars(range(min = -1000.0, max = 1000.0), example = 1.0, extend("x-unit" = "ratio"))]
    pub sensor_tilt_per_tilt: f64,
    /// Coma RMS per mm that the unit sits aside.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 17.0)]
    pub decentre_coma_nm_per_mm: f64,
    /// How far the image moves per mm that the unit sits aside; -1000 where the sensor moves with it and nothing else does.
    #[serde(default)]
    #[schemars(range(min = -1e6, max = 1e6), example = -1000.0)]
    pub decentre_image_shift_um_per_mm: f64,
    /// Astigmatism RMS of a unit that sits aside and is tilted, per mm aside and arcmin.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.0)]
    pub astigmatism_nm_per_mm_arcmin: f64,
    /// Astigmatism RMS per square mm that the unit sits aside.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.0)]
    pub decentre_astigmatism_nm_per_mm2: f64,
    /// Astigmatism RMS per mm that the unit sits aside and mm of field.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.0)]
    pub decentre_astigmatism_nm_per_mm_mm: f64,
    /// Spherical aberration (Noll 11) RMS per mm that the sensor stands too far from the corrector.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 4.0)]
    pub spacing_spherical_nm_per_mm: f64,
    /// Astigmatism RMS per mm that the sensor stands too far from the corrector and square mm of field.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.6)]
    pub spacing_astigmatism_nm_per_mm_mm2: f64,
    /// Secondary coma (Noll 16, 17) RMS per arcmin of tilt.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 1.5)]
    pub secondary_coma_nm_per_arcmin: f64,
    /// Secondary coma (Noll 16, 17) RMS per mm that the unit sits aside.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.4)]
    pub decentre_secondary_coma_nm_per_mm: f64,
    /// Sensor offset per square arcmin of tilt.
    #[serde(default)]
    #[schemars(range(min = -1e6, max = 1e6), example = 0.05)]
    pub focus_um_per_arcmin2: f64,
    /// Sensor offset of a unit that sits aside and is tilted, per mm aside and arcmin.
    #[serde(default)]
    #[schemars(range(min = -1e6, max = 1e6), example = 0.0)]
    pub focus_um_per_mm_arcmin: f64,
    /// Sensor offset per square mm that the unit sits aside.
    #[serde(default)]
    #[schemars(range(min = -1e6, max = 1e6), example = 0.0)]
    pub decentre_focus_um_per_mm2: f64,
    /// How much the sensor leans against the focal plane per mm that the unit sits aside.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.7)]
    pub decentre_sensor_tilt_arcmin_per_mm: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawPrescription {
    /// "paraboloid" (one mirror of telescope.focal_length_mm), "two-mirror" (concave primary, convex secondary) or "lens"; not with surfaces.
    #[schemars(example = &"two-mirror", extend("x-default" = "needed without surfaces"))]
    pub kind: Option<RawOptics>,
    /// What the screws hold: "primary", "secondary" or "lens"; the name of a group with surfaces.
    #[schemars(length(min = 1, max = 64), example = &"secondary", extend("x-default" = "the secondary of two mirrors, else the only element or group"))]
    pub unit: Option<String>,
    /// How far behind the unit's vertex, that of its first surface in the light, the middle of the screw circle lies: 0 for the vertex, the depth of the cell for its back.
    #[schemars(range(min = -20000.0, max = 20000.0), example = 18.0)]
    pub pivot_mm: f64,
    /// Radius of curvature of the primary, of two mirrors.
    #[schemars(range(min = 1.0, max = 2e6), example = 900.0, extend("x-default" = "needed for two mirrors"))]
    pub primary_radius_mm: Option<f64>,
    /// Conic constant of the primary: 0 for a sphere, -1 for a paraboloid.
    #[schemars(range(min = -1000.0, max = 1000.0), example = -1.0, extend("x-unit" = "ratio", "x-default" = "needed for two mirrors"))]
    pub primary_conic: Option<f64>,
    /// Radius of curvature of the convex secondary.
    #[schemars(range(min = 1.0, max = 2e6), example = 300.0, extend("x-default" = "needed for two mirrors"))]
    pub secondary_radius_mm: Option<f64>,
    /// Conic constant of the secondary.
    #[schemars(range(min = -1000.0, max = 1000.0), example = -3.1, extend("x-unit" = "ratio", "x-default" = "needed for two mirrors"))]
    pub secondary_conic: Option<f64>,
    /// From the primary's vertex to the secondary's.
    #[schemars(range(min = 1.0, max = 1e6), example = 340.0, extend("x-default" = "needed for two mirrors"))]
    pub spacing_mm: Option<f64>,
    /// A thin aspheric corrector plate in front of two mirrors.
    pub corrector: Option<RawCorrector>,
    /// The surfaces in the order in which the light meets them, in place of kind.
    #[serde(default)]
    #[schemars(length(max = 64))]
    pub surfaces: Vec<RawSurface>,
    /// The group that the sensor belongs to, with surfaces.
    #[schemars(length(min = 1, max = 64), example = &"camera unit", extend("x-default" = "none: it stands by itself"))]
    pub sensor_group: Option<String>,
    /// Where the unit goes when its screws are lengthened, with surfaces.
    #[schemars(example = &"to-sky", extend("x-default" = "where its first surface faces, if a mirror; else to-sky"))]
    pub unit_moves: Option<RawAway>,
    /// Radius of the lens's face towards the sky; positive where its centre lies towards the sensor.
    #[schemars(range(min = -2e6, max = 2e6), example = 610.0, extend("x-default" = "needed for a lens"))]
    pub front_radius_mm: Option<f64>,
    /// Radius of the lens's face towards the sensor; positive where its centre lies towards the sensor.
    #[schemars(range(min = -2e6, max = 2e6), example = -3800.0, extend("x-default" = "needed for a lens"))]
    pub back_radius_mm: Option<f64>,
    /// Refractive index of the lens.
    #[schemars(range(min = 1.01, max = 4.5), example = 1.52, extend("x-unit" = "ratio", "x-default" = "needed for a lens"))]
    pub index: Option<f64>,
    /// Thickness of the lens at its vertex; 0 for a thin lens.
    #[schemars(range(min = 0.0, max = 1000.0), example = 0.0, extend("x-default" = "0"))]
    pub thickness_mm: Option<f64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawOptics {
    Paraboloid,
    TwoMirror,
    Lens,
}

#[derive(Debug, Clone, Copy, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawAway {
    ToSky,
    FromSky,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawSurface {
    /// What it is called in messages.
    #[schemars(length(min = 1, max = 64), example = &"field lens, front")]
    pub name: String,
    /// Radius of curvature; positive where the centre lies towards the sky, 0 for a flat one.
    #[schemars(range(min = -2e6, max = 2e6), example = 912.0)]
    pub radius_mm: f64,
    /// Conic constant: 0 for a sphere, -1 for a paraboloid; from -100 to 2.
    #[serde(default)]
    #[schemars(range(min = -1000.0, max = 1000.0), example = -1.0, extend("x-unit" = "ratio"))]
    pub conic: f64,
    /// Coefficients of r^4, r^6, r^8 and so on, positive towards the sky.
    #[serde(default)]
    #[schemars(length(max = 8), inner(range(min = -1.0, max = 1.0)), extend("examples" = [[1.3e-9]], "x-unit" = "mm^-3, mm^-5 and so on"))]
    pub even_asphere: Vec<f64>,
    /// Where its vertex lies on the axis; the sky is at large z, and light comes from there along -z.
    #[schemars(range(min = -1e6, max = 1e6), example = 0.0)]
    pub z_mm: f64,
    /// What comes after it: "mirror" (it reflects), "air", the name of a glass, or { index = 1.52 }.
    pub after: RawAfter,
    /// Diameter of its edge.
    #[schemars(range(max = 40000.0), extend("exclusiveMinimum" = 0.0, "x-default" = "no edge"), example = 190.0)]
    pub diameter_mm: Option<f64>,
    /// Diameter of the hole in its middle.
    #[schemars(range(max = 40000.0), extend("exclusiveMinimum" = 0.0, "x-default" = "no hole"), example = 60.0)]
    pub inner_diameter_mm: Option<f64>,
    /// Whether its edge is the aperture stop, which telescope.aperture_mm is the image of.
    #[schemars(example = true, extend("x-default" = "true for the first surface where no other one is the stop"))]
    pub stop: Option<bool>,
    /// The rigid body that it belongs to.
    #[schemars(length(min = 1, max = 64), example = &"camera unit", extend("x-default" = "none: it stays"))]
    pub group: Option<String>,
}

/// What comes after a surface.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
pub(in crate::scenario) enum RawAfter {
    Word(String),
    Index(RawIndex),
}

#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawIndex {
    pub index: f64,
}

impl JsonSchema for RawAfter {
    fn schema_name() -> Cow<'static, str> {
        "After".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let glasses: Vec<&str> = Glass::names().collect();
        json_schema!({
            "anyOf": [
                { "type": "string", "minLength": 1, "maxLength": 64, "x-glasses": glasses },
                {
                    "type": "object",
                    "properties": {
                        "index": {
                            "description": "Refractive index, the same at all wavelengths.",
                            "type": "number", "minimum": 1.01, "maximum": 4.5, "examples": [1.52], "x-unit": "ratio",
                        },
                    },
                    "required": ["index"],
                    "additionalProperties": false,
                },
            ],
            "examples": ["N-BK7"],
        })
    }
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawCorrector {
    /// Refractive index of the plate.
    #[schemars(range(min = 1.01, max = 4.5), example = 1.52, extend("x-unit" = "ratio"))]
    pub plate_index: f64,
    /// Thickness of the plate.
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0.0), example = 4.0)]
    pub plate_thickness_mm: f64,
    /// From the plate's inner face to the secondary's vertex.
    #[schemars(range(max = 1e6), extend("exclusiveMinimum" = 0.0), example = 10.0)]
    pub gap_mm: f64,
    /// Height of the inner face's r⁴ term at the edge of the aperture, positive towards the sensor.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 69.1)]
    pub r4_um: f64,
    /// Height of its r⁶ term at the edge of the aperture.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.47)]
    pub r6_um: f64,
    /// Height of its r⁸ term at the edge of the aperture.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 0.003)]
    pub r8_um: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawFlexure {
    /// Tilt of the unit with the telescope level, towards the edge next to the ground; grows as the cosine of the altitude.
    #[schemars(range(min = -600.0, max = 600.0), example = 1.5)]
    pub level_tilt_arcmin: f64,
    /// Altitude at which the screws were set, where turns of 0 mean no tilt.
    #[schemars(range(min = 0.0, max = 90.0), example = 60.0)]
    pub set_at_altitude_deg: f64,
    /// Azimuth, in pupil axes, of the edge next to the ground when the screws were set.
    #[serde(default = "downwards")]
    #[schemars(range(min = -360.0, max = 360.0), example = -90.0)]
    pub set_at_down_deg: f64,
}

/// Straight down in pupil axes.
pub(in crate::scenario) fn downwards() -> f64 {
    -90.0
}
