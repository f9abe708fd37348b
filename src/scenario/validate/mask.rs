//! `[mask]`.

use crate::instrument::{
    Drawing, DrawingFills, HoleSpec, KeyUse, LayoutKey, LayoutName, MaskDesign, MaskLayout,
    Printer, RegionSpec, SlotLayout,
};
use crate::scenario::advice::missing;
use crate::scenario::error::{Problem, number};
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{RawFills, RawHole, RawMask, RawPrint, RawRegion, RawTelescope};
use crate::scenario::rules::one_of;
use crate::units::{DEG, MM};

use super::mask_fit::{self as fit, Sizes};
use super::telescope::check_centre;
use super::{pair, scaled};

/// Slack of azimuths in degrees: 17.2 + 360 is not exactly 377.2.
const ROUNDING_DEG: f64 = 1e-9;
/// Slack of lengths in mm that were typed as decimals: 23.3 + 0.7 is not exactly 24.
const ROUNDING_MM: f64 = 1e-9;

pub(super) fn check(mask: &RawMask, telescope: &RawTelescope, findings: &mut Contradictions<'_>) {
    check_layout(mask, findings);
    fit::check(mask, findings);
    match Sizes::of(mask, telescope) {
        Ok(sizes) => check_sizes(mask, &sizes, findings),
        Err(lacking) => {
            let (key, reason) = lacking.key_and_reason();
            findings.missing_from("mask", move || missing(key, Some(reason)));
        }
    }
    if mask.print.engraving_mm >= mask.thickness_mm {
        findings.out_of_range(
            "mask.print.engraving_mm",
            number(mask.print.engraving_mm),
            format!(
                "smaller than mask.thickness_mm ({})",
                number(mask.thickness_mm)
            ),
            "it is the depth of the letters, 0 for none",
        );
    }
    check_centre(
        "mask.offset_mm",
        mask.offset_mm,
        telescope.aperture_mm,
        findings,
    );
}

/// What the sizes of the plate mean for one another, and for holes and regions on it.
fn check_sizes(mask: &RawMask, sizes: &Sizes, findings: &mut Contradictions<'_>) {
    check_plate(mask, sizes, findings);
    check_slots(mask, sizes, findings);
    for (index, hole) in mask.holes.iter().flatten().enumerate() {
        check_hole(hole, sizes, &format!("mask.holes[{index}]"), findings);
    }
    for (index, region) in mask.regions.iter().flatten().enumerate() {
        check_region(region, sizes, &format!("mask.regions[{index}]"), findings);
    }
}

/// Converts a checked mask; sizes that were left out are worked out from the telescope.
pub(super) fn build(mask: &RawMask, telescope: &RawTelescope) -> MaskDesign {
    let sizes = Sizes::of(mask, telescope).unwrap_or_default();
    MaskDesign {
        layout: layout(mask),
        slot_pitch_m: mask.slot_pitch_mm.map_or(Vec::new(), |pitch| {
            pitch.list_mm().iter().map(|mm| mm * MM).collect()
        }),
        open_fraction: mask.open_fraction.unwrap_or(0.0),
        slant_rad: mask.slant_deg.unwrap_or(0.0) * DEG,
        sense: f64::from(mask.sense),
        outer_diameter_m: sizes.outer_diameter_mm * MM,
        inner_diameter_m: sizes.inner_diameter_mm * MM,
        outer_rim_m: sizes.outer_rim_mm * MM,
        inner_rim_m: sizes.inner_rim_mm * MM,
        rib_m: mask.rib_mm * MM,
        zone_radius_m: mask.zone_radius_mm.map(|radius_mm| radius_mm * MM),
        thickness_m: mask.thickness_mm * MM,
        rotation_rad: mask.rotation_deg * DEG,
        offset_m: scaled(mask.offset_mm, MM),
        distance_m: mask.distance_mm * MM,
        grip: mask.grip.as_ref().map(fit::grip),
        camera: mask.camera.as_ref().map(fit::camera),
        slit: mask.cable_slit.as_ref().map(fit::slit),
        tabs: mask.tabs.as_ref().map(fit::tabs),
        printer: printer(&mask.print),
    }
}

fn printer(print: &RawPrint) -> Printer {
    Printer {
        nozzle_m: print.nozzle_mm * MM,
        bed_m: scaled(print.bed_mm, MM),
        least_bar_m: print.least_bar_mm * MM,
        density_kg_per_m3: print.density_g_per_cm3 * 1000.0,
        flow_m3_per_s: print.flow_mm3_per_s * MM * MM * MM,
        engraving_m: print.engraving_mm * MM,
    }
}

/// The keys that the layout cannot do without, and those that it would not look at.
fn check_layout(mask: &RawMask, findings: &mut Contradictions<'_>) {
    for key in LayoutKey::ALL {
        let path = format!("mask.{}", key.word());
        match (mask.layout.0.use_of(key), is_given(mask, key)) {
            (KeyUse::Needed, false) => need(&path, mask, findings),
            (KeyUse::Idle, true) => {
                let others = words(key.layouts());
                let hint = format!("take {path} out, or write layout = {others}");
                let condition = format!("with layout {:?}", mask.layout.0.word());
                let problem = Problem::NoMeaning {
                    key: path.clone(),
                    condition,
                };
                findings.wrong_key(&path, problem, &hint);
            }
            _ => {}
        }
    }
}

/// Whether a key of the layouts is there; a key with a default is there where it is not at its default.
fn is_given(mask: &RawMask, key: LayoutKey) -> bool {
    match key {
        LayoutKey::SlotPitch => mask.slot_pitch_mm.is_some(),
        LayoutKey::OpenFraction => mask.open_fraction.is_some(),
        LayoutKey::Slant => mask.slant_deg.is_some(),
        LayoutKey::Sense => mask.sense != 1,
        LayoutKey::ZoneRadius => mask.zone_radius_mm.is_some(),
        LayoutKey::Holes => mask.holes.is_some(),
        LayoutKey::Regions => mask.regions.is_some(),
        LayoutKey::Drawing => mask.drawing.is_some(),
        LayoutKey::DrawingFills => mask.drawing_fills != RawFills::Plate,
        LayoutKey::DrawingCentre => mask.drawing_centre_mm.is_some(),
        LayoutKey::DrawingUnit => mask.drawing_mm_per_unit.is_some(),
    }
}

/// The words of layouts as they read after "layout =".
fn words(layouts: impl Iterator<Item = LayoutName>) -> String {
    let quoted: Vec<String> = layouts.map(|name| format!("{:?}", name.word())).collect();
    one_of(&quoted)
}

fn need(key: &str, mask: &RawMask, findings: &mut Contradictions<'_>) {
    let reason = format!("mask.layout is {:?}", mask.layout.0.word());
    let key = key.to_owned();
    findings.missing_from("mask", move || missing(&key, Some(&reason)));
}

fn check_plate(mask: &RawMask, sizes: &Sizes, findings: &mut Contradictions<'_>) {
    if sizes.inner_diameter_mm >= sizes.outer_diameter_mm {
        findings.out_of_range(
            "mask.inner_diameter_mm",
            number(sizes.inner_diameter_mm),
            format!(
                "smaller than mask.outer_diameter_mm ({})",
                number(sizes.outer_diameter_mm)
            ),
            "it is the diameter of the hole in the middle of the plate",
        );
        return;
    }
    let plate_mm = 0.5 * (sizes.outer_diameter_mm - sizes.inner_diameter_mm);
    if sizes.outer_rim_mm >= plate_mm {
        let allowed = format!(
            "smaller than the plate from hole to edge ({} mm)",
            number(plate_mm)
        );
        findings.out_of_range(
            "mask.outer_rim_mm",
            number(sizes.outer_rim_mm),
            allowed,
            RIM_HINT,
        );
    } else if sizes.inner_rim_mm >= plate_mm - sizes.outer_rim_mm {
        let allowed = format!(
            "smaller than what mask.outer_rim_mm leaves ({} mm)",
            number(plate_mm - sizes.outer_rim_mm)
        );
        findings.out_of_range(
            "mask.inner_rim_mm",
            number(sizes.inner_rim_mm),
            allowed,
            RIM_HINT,
        );
    } else if mask.rib_mm >= sizes.outer_diameter_mm / 2.0 {
        let allowed = format!(
            "smaller than the radius of the plate ({} mm)",
            number(sizes.outer_diameter_mm / 2.0)
        );
        findings.out_of_range("mask.rib_mm", number(mask.rib_mm), allowed, RIM_HINT);
    }
}

const RIM_HINT: &str = "rims and ribs are solid; slots need room between them";

fn check_slots(mask: &RawMask, sizes: &Sizes, findings: &mut Contradictions<'_>) {
    let [inner_mm, outer_mm] = between_rims_mm(sizes);
    let pitches_mm = mask
        .slot_pitch_mm
        .map_or(Vec::new(), |pitch| pitch.list_mm());
    let slots = mask.layout.0.slots();
    if pitches_mm.len() == 2 && slots.is_some_and(|layout| !layout.has_two_pitches()) {
        let allowed = format!(
            "one number, since the layout {:?} has one pitch",
            mask.layout.0.word()
        );
        let two = SlotLayout::all().filter(|layout| layout.has_two_pitches());
        let hint = format!(
            "two pitches (outer, inner) go with layout = {}",
            words(two.map(LayoutName::Slots))
        );
        findings.out_of_range(
            "mask.slot_pitch_mm",
            pair([pitches_mm[0], pitches_mm[1]]),
            allowed,
            &hint,
        );
    }
    if let Some(pitch_mm) = pitches_mm
        .iter()
        .find(|pitch_mm| **pitch_mm > 0.5 * sizes.outer_diameter_mm + ROUNDING_MM)
    {
        let allowed = format!(
            "at most the radius of the plate ({} mm)",
            number(0.5 * sizes.outer_diameter_mm)
        );
        findings.out_of_range(
            "mask.slot_pitch_mm",
            number(*pitch_mm),
            allowed,
            "it is the distance from slot to slot",
        );
    }
    if let Some(radius_mm) = mask.zone_radius_mm
        && slots.is_some_and(SlotLayout::has_zones)
        && !(inner_mm < radius_mm && radius_mm < outer_mm)
    {
        let allowed = format!(
            "between the rims, more than {} and less than {}",
            number(inner_mm),
            number(outer_mm)
        );
        findings.out_of_range(
            "mask.zone_radius_mm",
            number(radius_mm),
            allowed,
            "about 0.75 of the aperture's radius is a good start",
        );
    }
}

fn check_hole(hole: &RawHole, sizes: &Sizes, path: &str, findings: &mut Contradictions<'_>) {
    let [inner_mm, outer_mm] = between_rims_mm(sizes);
    let half_mm = 0.5 * hole.diameter_mm;
    let no_inner_edge = sizes.inner_diameter_mm == 0.0 && sizes.inner_rim_mm == 0.0;
    let clear_of_hole = no_inner_edge || hole.radius_mm - half_mm >= inner_mm - ROUNDING_MM;
    if hole.radius_mm + half_mm > outer_mm + ROUNDING_MM || !clear_of_hole {
        let allowed = format!(
            "small enough to lie between the rims, {} to {} mm from the centre",
            number(inner_mm),
            number(outer_mm)
        );
        let hint = "a hole reaches from radius_mm - diameter_mm / 2 to radius_mm + diameter_mm / 2";
        findings.out_of_range(
            &format!("{path}.diameter_mm"),
            number(hole.diameter_mm),
            allowed,
            hint,
        );
    }
}

fn check_region(region: &RawRegion, sizes: &Sizes, path: &str, findings: &mut Contradictions<'_>) {
    let [from_deg, to_deg] = region.azimuth_deg;
    if !(from_deg < to_deg && to_deg - from_deg <= 360.0 + ROUNDING_DEG) {
        findings.out_of_range(
            &format!("{path}.azimuth_deg"),
            pair(region.azimuth_deg),
            "two ascending azimuths at most 360 degrees apart",
            "a region across 0 is written like [330, 390]",
        );
    }
    let (inner_mm, outer_mm) = (0.5 * sizes.inner_diameter_mm, 0.5 * sizes.outer_diameter_mm);
    let [from_mm, to_mm] = region.radius_mm;
    if !(from_mm < to_mm && from_mm >= inner_mm - ROUNDING_MM && to_mm <= outer_mm + ROUNDING_MM) {
        findings.out_of_range(
            &format!("{path}.radius_mm"),
            pair(region.radius_mm),
            format!(
                "two ascending radii on the plate, {} to {}",
                number(inner_mm),
                number(outer_mm)
            ),
            "the plate reaches from inner_diameter_mm / 2 to outer_diameter_mm / 2",
        );
    }
}

/// Radii between which slots and holes have room.
fn between_rims_mm(sizes: &Sizes) -> [f64; 2] {
    [
        0.5 * sizes.inner_diameter_mm + sizes.inner_rim_mm,
        0.5 * sizes.outer_diameter_mm - sizes.outer_rim_mm,
    ]
}

fn layout(mask: &RawMask) -> MaskLayout {
    match mask.layout.0 {
        LayoutName::Slots(layout) => MaskLayout::Slots(layout),
        LayoutName::Holes => MaskLayout::Holes(mask.holes.iter().flatten().map(hole).collect()),
        LayoutName::Regions => {
            MaskLayout::Regions(mask.regions.iter().flatten().map(region).collect())
        }
        LayoutName::Drawing => MaskLayout::Drawing(Drawing {
            file: mask.drawing.clone().unwrap_or_default(),
            fills: match mask.drawing_fills {
                RawFills::Plate => DrawingFills::Plate,
                RawFills::Openings => DrawingFills::Openings,
                RawFills::Dark => DrawingFills::Dark,
                RawFills::Light => DrawingFills::Light,
            },
            unit_m: mask.drawing_mm_per_unit.map(|mm| mm * MM),
            centre_m: mask.drawing_centre_mm.map(|mm| scaled(mm, MM)),
            openings_m: Vec::new(),
            left_out: Vec::new(),
        }),
    }
}

fn hole(hole: &RawHole) -> HoleSpec {
    HoleSpec {
        radius_m: hole.radius_mm * MM,
        azimuth_rad: hole.azimuth_deg * DEG,
        diameter_m: hole.diameter_mm * MM,
    }
}

fn region(region: &RawRegion) -> RegionSpec {
    RegionSpec {
        azimuth_rad: scaled(region.azimuth_deg, DEG),
        radius_m: scaled(region.radius_mm, MM),
        slot_rad: region.slot_deg * DEG,
        pitch_m: region.pitch_mm * MM,
        open_fraction: region.open_fraction,
    }
}
