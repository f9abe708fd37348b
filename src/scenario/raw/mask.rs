//! `[mask]` as typed.

use std::borrow::Cow;
use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize};

use crate::instrument::LayoutName;

use super::mask_fit::{RawCableSlit, RawCameraBody, RawGrip, RawTabs};

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawMask {
    /// How the slots are arranged.
    #[schemars(example = &"three-triplet")]
    pub layout: RawLayout,
    /// Distance from slot to slot; two values (outer, inner) where a layout has zones.
    #[schemars(extend("x-default" = "none; needed by layouts with slots of their own"))]
    pub slot_pitch_mm: Option<RawPitch>,
    /// Slot width over slot pitch.
    #[schemars(range(min = 0.05, max = 0.95), example = 0.5, extend("x-unit" = "fraction", "x-default" = "none; needed by layouts with slots of their own"))]
    pub open_fraction: Option<f64>,
    /// Angle between the straight and the slanted slots.
    #[schemars(range(min = -60.0, max = 60.0), example = 20.0, extend("x-default" = "none; needed by layouts with slots that lean"))]
    pub slant_deg: Option<f64>,
    /// Which way the slanted slots lean: 1 or -1.
    #[serde(default = "plus")]
    #[schemars(range(min = -1, max = 1), example = 1, extend("enum" = [-1, 1], "x-unit" = "sign"))]
    pub sense: i32,
    /// Outer diameter of the plate.
    #[schemars(range(max = 20000.0), extend("exclusiveMinimum" = 0.0, "x-default" = "what the tube of mask.grip asks for; needed without mask.grip"), example = 188.0)]
    pub outer_diameter_mm: Option<f64>,
    /// Diameter of the hole in its middle (the side, when mask.camera.shape is "square"); smaller than the plate; 0 for none.
    #[schemars(range(min = 0.0, max = 20000.0), extend("x-default" = "what mask.camera and its air ask for; needed without mask.camera"), example = 84.0)]
    pub inner_diameter_mm: Option<f64>,
    /// Solid rim at the outer edge.
    #[schemars(range(min = 0.0, max = 1000.0), extend("x-default" = "0; where mask.outer_diameter_mm is left out, up to the clear aperture"), example = 4.0)]
    pub outer_rim_mm: Option<f64>,
    /// Solid rim at the hole.
    #[schemars(range(min = 0.0, max = 1000.0), extend("x-default" = "0; where mask.inner_diameter_mm is left out, up to the obstruction's edge"), example = 3.0)]
    pub inner_rim_mm: Option<f64>,
    /// Width of the solid strips along the borders between regions.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 1000.0), example = 2.0)]
    pub rib_mm: f64,
    /// Border between the outer and the inner zone; between the rims.
    #[schemars(range(max = 10000.0), extend("exclusiveMinimum" = 0.0, "x-default" = "none; needed by layouts with zones"), example = 71.0)]
    pub zone_radius_mm: Option<f64>,
    /// Thickness of the plate.
    #[schemars(range(max = 100.0), extend("exclusiveMinimum" = 0.0), example = 2.4)]
    pub thickness_mm: f64,
    /// Turn of the whole mask about its own centre.
    #[serde(default)]
    #[schemars(range(min = -360.0, max = 360.0), example = 0.0)]
    pub rotation_deg: f64,
    /// Where its centre really sits (x, y), inside the aperture.
    #[serde(default)]
    #[schemars(inner(range(min = -10000.0, max = 10000.0)), extend("examples" = [[0.0, 0.0]]))]
    pub offset_mm: [f64; 2],
    /// Distance ahead of the pupil.
    #[serde(default)]
    #[schemars(range(min = 0.0, max = 20000.0), example = 0.0)]
    pub distance_mm: f64,
    /// The holes of the layout "holes".
    #[schemars(length(min = 1, max = 1000))]
    pub holes: Option<Vec<RawHole>>,
    /// The regions of the layout "regions".
    #[schemars(length(min = 1, max = 200))]
    pub regions: Option<Vec<RawRegion>>,
    /// The SVG or DXF file of the layout "drawing", as seen from the sky side; beside the scenario.
    #[schemars(length(min = 1, max = 1000), example = &"mask.svg", extend("x-default" = "none"))]
    pub drawing: Option<String>,
    /// What of the drawing is the plate: what is filled ("plate"), what is not ("openings"), or where it has both shades what is "dark" or "light".
    #[serde(default)]
    #[schemars(example = &"plate")]
    pub drawing_fills: RawFills,
    /// Where the mask's centre is in the drawing: right and down from the top left corner of an SVG, right and up from the origin of a DXF.
    #[schemars(inner(range(min = -20000.0, max = 20000.0)), extend("examples" = [[100.0, 100.0]]), extend("x-default" = "the middle of the page, the origin of a DXF"))]
    pub drawing_centre_mm: Option<[f64; 2]>,
    /// Millimetres in a unit of the drawing: in a pixel of an SVG without units of length, in a unit of a DXF that names none.
    #[schemars(range(min = 1e-6, max = 1e6), example = 0.2646, extend("x-unit" = "mm per unit", "x-default" = "what the drawing says"))]
    pub drawing_mm_per_unit: Option<f64>,
    /// The ring that holds the mask on the tube.
    pub grip: Option<RawGrip>,
    /// The camera that looks out through the plate's hole.
    pub camera: Option<RawCameraBody>,
    /// The slit through which the camera's cables leave, from the hole to the edge.
    pub cable_slit: Option<RawCableSlit>,
    /// Tabs beyond the plate's edge that a hand takes it by.
    pub tabs: Option<RawTabs>,
    /// What the mask is printed with.
    #[serde(default)]
    pub print: RawPrint,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub(in crate::scenario) enum RawFills {
    #[default]
    Plate,
    Openings,
    Dark,
    Light,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub(in crate::scenario) struct RawPrint {
    /// Width of the nozzle.
    #[schemars(range(min = 0.05, max = 5.0), example = 0.4)]
    pub nozzle_mm: f64,
    /// The bed, width and depth.
    #[schemars(inner(range(min = 20.0, max = 20000.0)), extend("examples" = [[220.0, 220.0]]))]
    pub bed_mm: [f64; 2],
    /// Bars narrower than this are reported.
    #[schemars(range(min = 0.05, max = 50.0), example = 0.8)]
    pub least_bar_mm: f64,
    /// Density of the plastic.
    #[schemars(range(min = 0.1, max = 20.0), example = 1.24)]
    pub density_g_per_cm3: f64,
    /// The most plastic that is laid down per second; it slows the fastest lines.
    #[schemars(range(min = 0.1, max = 200.0), example = 10.0)]
    pub flow_mm3_per_s: f64,
    /// Depth of the letters on the sky side; 0 for none.
    #[schemars(range(min = 0.0, max = 20.0), example = 0.6)]
    pub engraving_mm: f64,
}

impl Default for RawPrint {
    fn default() -> Self {
        RawPrint {
            nozzle_mm: 0.4,
            bed_mm: [220.0, 220.0],
            least_bar_mm: 0.8,
            density_g_per_cm3: 1.24,
            flow_mm3_per_s: 10.0,
            engraving_mm: 0.6,
        }
    }
}

/// A word at `mask.layout`, out of the table of layouts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::scenario) struct RawLayout(pub LayoutName);

impl<'de> Deserialize<'de> for RawLayout {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let word = String::deserialize(from)?;
        let unknown = || D::Error::custom(format!("unknown layout {word:?}"));
        LayoutName::find(&word).map(RawLayout).ok_or_else(unknown)
    }
}

impl JsonSchema for RawLayout {
    fn schema_name() -> Cow<'static, str> {
        "Layout".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        let words: Vec<&str> = LayoutName::all().map(LayoutName::word).collect();
        let meanings: BTreeMap<&str, String> = LayoutName::all()
            .map(|name| (name.word(), name.words()))
            .collect();
        json_schema!({ "type": "string", "enum": words, "x-meanings": meanings })
    }
}

/// One pitch, or one a zone.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(untagged)]
pub(in crate::scenario) enum RawPitch {
    Same(f64),
    OuterInner([f64; 2]),
}

impl RawPitch {
    /// The pitches in the order outer, inner.
    pub fn list_mm(self) -> Vec<f64> {
        match self {
            RawPitch::Same(pitch_mm) => vec![pitch_mm],
            RawPitch::OuterInner(pitches_mm) => pitches_mm.to_vec(),
        }
    }
}

impl JsonSchema for RawPitch {
    fn schema_name() -> Cow<'static, str> {
        "Pitch".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "anyOf": [
                { "type": "number", "minimum": 0.1, "maximum": 1000.0 },
                {
                    "type": "array",
                    "items": { "type": "number", "minimum": 0.1, "maximum": 1000.0 },
                    "minItems": 2,
                    "maxItems": 2,
                },
            ],
            "examples": [3.4],
        })
    }
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawHole {
    /// Distance of the hole's centre from the mask's.
    #[schemars(range(min = 0.0, max = 10000.0), example = 70.0)]
    pub radius_mm: f64,
    /// Azimuth of the hole's centre.
    #[schemars(range(min = -360.0, max = 360.0), example = 90.0)]
    pub azimuth_deg: f64,
    /// Diameter of the hole.
    #[schemars(range(max = 10000.0), extend("exclusiveMinimum" = 0.0), example = 20.0)]
    pub diameter_mm: f64,
}

#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(in crate::scenario) struct RawRegion {
    /// First and last azimuth; the last is the larger, by at most 360.
    #[schemars(inner(range(min = -720.0, max = 720.0)), extend("examples" = [[60.0, 120.0]]))]
    pub azimuth_deg: [f64; 2],
    /// Inner and outer radius, on the plate.
    #[schemars(inner(range(min = 0.0, max = 10000.0)), extend("examples" = [[45.0, 90.0]]))]
    pub radius_mm: [f64; 2],
    /// Direction along the slots.
    #[schemars(range(min = -360.0, max = 360.0), example = 90.0)]
    pub slot_deg: f64,
    /// Distance from slot to slot.
    #[schemars(range(min = 0.1, max = 1000.0), example = 3.4)]
    pub pitch_mm: f64,
    /// Slot width over slot pitch.
    #[schemars(range(min = 0.05, max = 0.95), example = 0.5, extend("x-unit" = "fraction"))]
    pub open_fraction: f64,
}

fn plus() -> i32 {
    1
}
