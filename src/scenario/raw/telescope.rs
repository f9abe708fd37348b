//! `[telescope]` as typed.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::NollTable;

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawTelescope {
    /// Diameter of the clear opening.
    #[schemars(range(min = 1.0, max = 20000.0), example = 190.0)]
    pub aperture_mm: f64,
    /// Focal length; the focal ratio must be 1 to 100 (0.8 to 100 with the paraboloid's law).
    #[schemars(range(min = 1.0, max = 2e6), example = 456.0)]
    pub focal_length_mm: f64,
    /// Number of mirrors the light meets; odd: a person in front sees the pupil as it is, even: mirrored.
    #[serde(default = "one")]
    #[schemars(range(min = 0, max = 20), example = 1)]
    pub reflections: u32,
    /// How pupil height maps to beam angle: "sine" for well-corrected units, "paraboloid" for a bare paraboloid.
    #[serde(default)]
    #[schemars(example = &"sine")]
    pub focus_law: RawFocusLaw,
    /// The opaque part in the middle of the aperture.
    pub obstruction: Option<RawObstruction>,
    /// Spider vanes and cables: straight strips with square ends.
    #[serde(default)]
    #[schemars(length(max = 64))]
    pub vanes: Vec<RawVane>,
    /// Aberrations of the aligned telescope on axis.
    #[serde(default)]
    pub design_nm: NollTable,
    /// Focus and modes against wavelength, ascending; linear in between, constant outside.
    #[serde(default)]
    #[schemars(length(max = 200))]
    pub chromatic: Vec<RawChromaticPoint>,
    /// How aberrations grow across the field; left out with an [assembly.prescription], it is traced.
    pub field: Option<RawField>,
    /// A second round opening in the beam, which cuts stars off the axis.
    pub vignetting: Option<RawVignetting>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawFocusLaw {
    #[default]
    Sine,
    Paraboloid,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawObstruction {
    /// Diameter of the disc, or the side when the shape is square; smaller than the aperture; 0 for none.
    #[schemars(range(min = 0.0, max = 20000.0), example = 81.0)]
    pub diameter_mm: f64,
    /// Where its centre really sits (x, y), inside the aperture.
    #[serde(default)]
    #[schemars(inner(range(min = -10000.0, max = 10000.0)), extend("examples" = [[0.0, 0.0]]))]
    pub offset_mm: [f64; 2],
    /// Outline: "round", or "square" with sides along x and y.
    #[serde(default)]
    #[schemars(example = &"round")]
    pub shape: RawShape,
    /// Distance ahead of the pupil; its shadow moves by distance × field / focal length.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 20000.0), example = 0.0)]
    pub distance_mm: f64,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawShape {
    #[default]
    Round,
    Square,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawVane {
    /// Azimuth of the radial line it lies along.
    #[schemars(range(min = -360.0, max = 360.0), example = 208.0)]
    pub azimuth_deg: f64,
    /// Full width; smaller than the aperture.
    #[schemars(range(max = 1000.0), extend("exclusiveMinimum" = 0.0), example = 6.0)]
    pub width_mm: f64,
    /// Where it starts, measured along the strip.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 20000.0), example = 40.5)]
    pub inner_radius_mm: f64,
    /// Where it ends, measured along the strip.
    #[schemars(range(max = 20000.0), extend("exclusiveMinimum" = 0.0, "x-default" = "the radius of the aperture"), example = 95.0)]
    pub outer_radius_mm: Option<f64>,
    /// Sideways displacement (counter-clockwise) from the radial line.
    #[serde(default)]
    #[schemars(range(min = -10000.0, max = 10000.0), example = 0.0)]
    pub offset_mm: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawChromaticPoint {
    /// Wavelength of this point.
    #[schemars(range(min = 200.0, max = 2500.0), example = 480.0)]
    pub wavelength_nm: f64,
    /// How far its best focus lies beyond the reference wavelength's.
    #[serde(default)]
    #[schemars(range(min = -1e5, max = 1e5), example = 4.0)]
    pub focus_um: f64,
    /// Higher-order modes at this wavelength.
    #[serde(default)]
    pub modes_nm: NollTable,
}

#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawField {
    /// Where the axis meets the sensor (x, y), from its centre; at most a fifth of the focal length.
    #[serde(default)]
    #[schemars(inner(range(min = -1e5, max = 1e5)), extend("examples" = [[0.0, 0.0]]))]
    pub axis_mm: [f64; 2],
    /// Coma RMS per mm of field.
    #[serde(default)]
    #[schemars(range(min = -1e4, max = 1e4), example = 9.0)]
    pub coma_nm_per_mm: f64,
    /// Secondary coma (Noll 16, 17) RMS per mm of field.
    #[serde(default)]
    #[schemars(range(min = -1e4, max = 1e4), example = 0.2)]
    pub secondary_coma_nm_per_mm: f64,
    /// Astigmatism RMS per square mm of field.
    #[serde(default)]
    #[schemars(range(min = -1e4, max = 1e4), example = 1.1)]
    pub astigmatism_nm_per_mm2: f64,
    /// Medial field curvature: sensor offset per square mm of field.
    #[serde(default)]
    #[schemars(range(min = -1e3, max = 1e3), example = 0.02)]
    pub curvature_um_per_mm2: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawVignetting {
    /// Diameter of the opening as the star on the axis sees it over the aperture.
    #[schemars(range(max = 40000.0), extend("exclusiveMinimum" = 0.0), example = 200.0)]
    pub diameter_mm: f64,
    /// Distance ahead of the pupil; it is seen displaced by distance × field / focal length, for negative ones the other way.
    #[schemars(range(min = -1e6, max = 1e6), example = 900.0)]
    pub distance_mm: f64,
}

fn one() -> u32 {
    1
}
