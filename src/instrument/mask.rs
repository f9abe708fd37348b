//! The slotted mask as its owner describes it: layout, dimensions, the ring that holds it, the printer.

use super::layouts::SlotLayout;
use super::mask_fit::{CableSlit, CameraBody, Grip, Tabs};
use crate::units::{DEG, MM};

/// A slotted mask: an opaque plate between two diameters, open in its slots only.
#[derive(Debug, Clone, PartialEq)]
pub struct MaskDesign {
    /// How the slots are arranged.
    pub layout: MaskLayout,
    /// Distance from slot to slot: one value, or two where the layout looks at a second one (outer zone, inner zone).
    pub slot_pitch_m: Vec<f64>,
    /// Slot width over slot pitch.
    pub open_fraction: f64,
    /// Angle between the straight and the slanted slots.
    pub slant_rad: f64,
    /// +1 or -1: which way the slanted slots lean.
    pub sense: f64,
    /// Outer diameter of the plate.
    pub outer_diameter_m: f64,
    /// Diameter of the plate's hole.
    pub inner_diameter_m: f64,
    /// Solid rim at the outer edge.
    pub outer_rim_m: f64,
    /// Solid rim at the hole.
    pub inner_rim_m: f64,
    /// Width of the solid strips centred on the borders between regions.
    pub rib_m: f64,
    /// Border between the zones, for layouts that have two.
    pub zone_radius_m: Option<f64>,
    /// Thickness of the plate.
    pub thickness_m: f64,
    /// Turn of the whole mask about its own centre.
    pub rotation_rad: f64,
    /// Where its centre really sits.
    pub offset_m: [f64; 2],
    /// Distance ahead of the pupil.
    pub distance_m: f64,
    /// The ring that holds it; `None` for a bare plate.
    pub grip: Option<Grip>,
    /// The camera that looks out through its hole; `None` where nothing does, or nothing is known of it.
    pub camera: Option<CameraBody>,
    /// The slit through which the camera's cables leave, from the hole to the edge.
    pub slit: Option<CableSlit>,
    /// What a hand takes it by.
    pub tabs: Option<Tabs>,
    /// What it is printed with.
    pub printer: Printer,
}

impl MaskDesign {
    /// A mask for a telescope that has none yet: slots in two zones, from its obstruction to beyond its aperture.
    pub fn covering(telescope: &super::Telescope) -> Self {
        /// Beyond the aperture on either side.
        const OVERHANG_M: f64 = 4.0 * MM;
        const PITCH_M: f64 = 6.0 * MM;
        let obstruction = telescope.obstruction.as_ref().map_or(0.0, |o| o.diameter_m);
        let inner = if obstruction > 0.0 {
            obstruction + OVERHANG_M
        } else {
            0.0
        };
        let outer = telescope.aperture_m + 2.0 * OVERHANG_M;
        MaskDesign {
            outer_rim_m: 1.5 * OVERHANG_M,
            inner_rim_m: 3.0 * MM,
            rib_m: 2.0 * MM,
            zone_radius_m: Some(0.25 * (inner + outer)),
            ..MaskDesign::new(MaskLayout::TWO_ZONE, PITCH_M, inner, outer)
        }
    }

    /// A plate between two diameters, half open, without rims or ribs, slanted slots at 20 degrees, 2 mm thick.
    pub fn new(
        layout: MaskLayout,
        slot_pitch_m: f64,
        inner_diameter_m: f64,
        outer_diameter_m: f64,
    ) -> Self {
        MaskDesign {
            layout,
            slot_pitch_m: vec![slot_pitch_m],
            open_fraction: 0.5,
            slant_rad: 20.0 * DEG,
            sense: 1.0,
            outer_diameter_m,
            inner_diameter_m,
            outer_rim_m: 0.0,
            inner_rim_m: 0.0,
            rib_m: 0.0,
            zone_radius_m: None,
            thickness_m: 2.0 * MM,
            rotation_rad: 0.0,
            offset_m: [0.0; 2],
            distance_m: 0.0,
            grip: None,
            camera: None,
            slit: None,
            tabs: None,
            printer: Printer::default(),
        }
    }
}

/// How the slots of a mask are arranged. Each layout made of slots is a constant, such as [`TWO_ZONE`](Self::TWO_ZONE).
#[derive(Debug, Clone, PartialEq)]
pub enum MaskLayout {
    /// One of the table of layouts made of slots.
    Slots(&'static SlotLayout),
    /// Round holes.
    Holes(Vec<HoleSpec>),
    /// The owner's own list of regions.
    Regions(Vec<RegionSpec>),
    /// An SVG or DXF file, drawn as seen from the sky side.
    Drawing(Drawing),
}

/// A mask from a drawing. The scenario names the file; whoever reads that file fills in the openings
/// ([`drawing::read`](crate::mask::drawing::read)).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Drawing {
    /// The file, as the scenario names it.
    pub file: String,
    /// What of it is the plate.
    pub fills: DrawingFills,
    /// Where the mask's centre is in the drawing: of an SVG from its top left corner, right and down, `None` for the page's middle; of a DXF
    /// from its origin, right and up, `None` for the origin.
    pub centre_m: Option<[f64; 2]>,
    /// Length of the drawing's unit (an SVG's pixel); `None` for what the file says.
    pub unit_m: Option<f64>,
    /// The openings between the plate's two diameters as convex polygons, counter-clockwise, mask axes; empty until read.
    pub openings_m: Vec<Vec<[f64; 2]>>,
    /// What of the file is no part of the mask, in the order of its lines; empty until read.
    pub left_out: Vec<LeftOut>,
}

/// What of a drawing is the plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum DrawingFills {
    /// What is filled, in one shade.
    #[default]
    Plate,
    /// What is not filled: the openings are.
    Openings,
    /// What is dark; light is painted over it, or lies beside it.
    Dark,
    /// What is light, such as white on black.
    Light,
}

/// Something in a drawing that is no part of the mask.
#[derive(Debug, Clone, PartialEq)]
pub struct LeftOut {
    /// Its line in the file.
    pub line: u32,
    /// What it is.
    pub what: String,
    /// Why it was left out.
    pub why: String,
    /// Where it runs, in mask axes; empty where that is not known.
    pub ways_m: Vec<Vec<[f64; 2]>>,
}

impl Default for Printer {
    /// A common desktop printer: nozzle 0.4 mm, bed 220 × 220 mm (common practice, no source).
    fn default() -> Self {
        Printer {
            nozzle_m: 0.4e-3,
            bed_m: [0.22, 0.22],
            least_bar_m: 0.8e-3,
            density_kg_per_m3: 1240.0,
            flow_m3_per_s: 10e-9,
            engraving_m: 0.6e-3,
        }
    }
}

/// The printer, and what the estimates assume.
#[derive(Debug, Clone, PartialEq)]
pub struct Printer {
    /// Width of the nozzle.
    pub nozzle_m: f64,
    /// The bed, width and depth.
    pub bed_m: [f64; 2],
    /// Bars narrower than this are not printed well.
    pub least_bar_m: f64,
    /// Density of the plastic.
    pub density_kg_per_m3: f64,
    /// The most plastic that it lays down per second.
    pub flow_m3_per_s: f64,
    /// Depth of the letters; 0 for none.
    pub engraving_m: f64,
}

/// A round hole of a mask.
#[derive(Debug, Clone, PartialEq)]
pub struct HoleSpec {
    /// Distance of its centre from the mask's.
    pub radius_m: f64,
    /// Azimuth of its centre.
    pub azimuth_rad: f64,
    /// Diameter.
    pub diameter_m: f64,
}

/// An annular wedge of parallel slots, before rims and ribs are taken off.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionSpec {
    /// First and last azimuth; the second is the larger, by at most a full turn.
    pub azimuth_rad: [f64; 2],
    /// Inner and outer radius.
    pub radius_m: [f64; 2],
    /// Direction along the slots.
    pub slot_rad: f64,
    /// Distance from slot to slot.
    pub pitch_m: f64,
    /// Slot width over pitch.
    pub open_fraction: f64,
}
