//! `[mask.grip]`, `[mask.camera]`, `[mask.cable_slit]` and `[mask.tabs]` as typed: how a mask gets onto the telescope and off again.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::telescope::RawShape;

#[derive(Debug, Clone, Copy, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawFit {
    OverTube,
    IntoTube,
    DewShield,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawGrip {
    /// Whether the ring goes over the tube ("over-tube"), into it ("into-tube"), or on both sides of a dew shield's mouth ("dew-shield").
    #[schemars(example = &"over-tube")]
    pub fit: RawFit,
    /// Diameter of the tube where the ring touches it: outside for over-tube and dew-shield, inside (the bore) for into-tube.
    #[schemars(range(max = 20000.0), extend("exclusiveMinimum" = 0.0), example = 204.0)]
    pub tube_diameter_mm: f64,
    /// Free room all round between ring and tube.
    #[serde(default = "clearance")]
    #[schemars(range(min = 0.0, max = 20.0), example = 0.5)]
    pub clearance_mm: f64,
    /// Thickness of the ring's wall.
    #[serde(default = "wall")]
    #[schemars(range(min = 0.2, max = 100.0), example = 2.0)]
    pub wall_mm: f64,
    /// Height of the ring.
    #[serde(default = "height")]
    #[schemars(range(min = 0.5, max = 500.0), example = 12.0)]
    pub height_mm: f64,
    /// Azimuth of the middle of a gap for cables.
    #[schemars(range(min = -360.0, max = 360.0), example = 208.0, extend("x-default" = "no gap"))]
    pub notch_azimuth_deg: Option<f64>,
    /// Width of the gap for cables.
    #[schemars(range(min = 0.5, max = 1000.0), example = 14.0, extend("x-default" = "10 where there is a gap"))]
    pub notch_width_mm: Option<f64>,
    /// Thickness of the dew shield's wall.
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0, "x-default" = "none; needed by dew-shield"), example = 1.5)]
    pub shield_wall_mm: Option<f64>,
    /// Height of three feet between plate and tube, which leave air; 0 for none.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 100.0), example = 3.0)]
    pub feet_mm: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawCameraBody {
    /// Diameter of the camera, as seen from the front; the side, when it is square.
    #[schemars(range(max = 10000.0), extend("exclusiveMinimum" = 0.0), example = 81.0)]
    pub diameter_mm: f64,
    /// Whether the camera, and the plate's hole with it, is round or square.
    #[serde(default)]
    #[schemars(example = &"round")]
    pub shape: RawShape,
    /// Azimuth of the middle of a side, for a square camera.
    #[serde(default)]
    #[schemars(range(min = -360.0, max = 360.0), example = 30.0)]
    pub turned_deg: f64,
    /// Free room all round between camera, or its plugs, and the hole's edge.
    #[serde(default = "air")]
    #[schemars(range(min = 0.0, max = 100.0), example = 1.0)]
    pub air_mm: f64,
    /// How far the camera stands out of the tube, beyond the plate; below 0 it ends behind the plate.
    #[serde(default)]
    #[schemars(range(min = -10000.0, max = 10000.0), example = 35.0)]
    pub stands_out_mm: f64,
    /// Azimuth of the middle of the plugs at the camera's side.
    #[schemars(range(min = -360.0, max = 360.0), example = 208.0, extend("x-default" = "no plugs"))]
    pub plugs_azimuth_deg: Option<f64>,
    /// Width of the plugs together.
    #[schemars(range(min = 0.5, max = 1000.0), example = 24.0, extend("x-default" = "20 where there are plugs"))]
    pub plugs_width_mm: Option<f64>,
    /// How far plugs and the bend of their cables stand out of the camera's side.
    #[schemars(range(min = 0.5, max = 1000.0), example = 15.0, extend("x-default" = "15 where there are plugs"))]
    pub plugs_reach_mm: Option<f64>,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawCableSlit {
    /// Azimuth of the slit.
    #[schemars(range(min = -360.0, max = 360.0), example = 210.0, extend("x-default" = "the rib nearest to mask.camera.plugs_azimuth_deg, or to mask.grip.notch_azimuth_deg, or to 270"))]
    pub azimuth_deg: Option<f64>,
    /// Width of the slit; cables, not plugs, pass through it.
    #[schemars(range(min = 0.5, max = 200.0), example = 6.0)]
    pub width_mm: f64,
    /// Solid plate on either side of the slit.
    #[serde(default = "cheek")]
    #[schemars(range(min = 0.0, max = 100.0), example = 2.5)]
    pub cheek_mm: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawTabs {
    /// Azimuths of the middles of the tabs.
    #[schemars(length(min = 1, max = 12), inner(range(min = -360.0, max = 360.0)), extend("examples" = [[0.0, 180.0]]))]
    pub azimuth_deg: Vec<f64>,
    /// Width of a tab.
    #[serde(default = "tab_width")]
    #[schemars(range(min = 4.0, max = 200.0), example = 22.0)]
    pub width_mm: f64,
    /// How far a tab stands out of the plate's edge.
    #[serde(default = "tab_reach")]
    #[schemars(range(min = 2.0, max = 200.0), example = 14.0)]
    pub reach_mm: f64,
    /// Diameter of a hole for a tether in the first tab; 0 for none.
    #[serde(default = "tether_hole")]
    #[schemars(range(min = 0.0, max = 100.0), example = 4.0)]
    pub tether_hole_mm: f64,
}

fn clearance() -> f64 {
    0.5
}

fn wall() -> f64 {
    2.0
}

fn height() -> f64 {
    12.0
}

fn air() -> f64 {
    1.0
}

fn cheek() -> f64 {
    2.5
}

fn tab_width() -> f64 {
    22.0
}

fn tab_reach() -> f64 {
    14.0
}

fn tether_hole() -> f64 {
    4.0
}
