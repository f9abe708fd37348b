//! The mask as the tables of `[mask]`.
//!
//! A [`MaskDesign`] has a pitch, an open fraction, a slant and a sense whatever its layout; a file has them only where the
//! layout looks at them. Where it does not, they are left out, unless they are no numbers: nothing may hide there.

use super::keys::{Keys, in_unit, list, pair, text, whole};
use super::mask_fit;
use crate::instrument::{
    Drawing, DrawingFills, HoleSpec, KeyUse, LayoutKey, MaskDesign, MaskLayout, Printer, RegionSpec,
};
use crate::scenario::document::Value;
use crate::units::{DEG, MM};

pub(super) fn mask(design: &MaskDesign) -> Value {
    let MaskDesign {
        layout,
        slot_pitch_m,
        open_fraction,
        slant_rad,
        sense,
        outer_diameter_m,
        inner_diameter_m,
        outer_rim_m,
        inner_rim_m,
        rib_m,
        zone_radius_m,
        thickness_m,
        rotation_rad,
        offset_m,
        distance_m,
        grip,
        camera,
        slit,
        tabs,
        printer,
    } = design;
    let mut keys = Keys::default();
    put_layout(layout, &mut keys);
    let looks_at = |key| layout.name().use_of(key) != KeyUse::Idle;
    let told = |key, value: &f64| looks_at(key) || !value.is_finite();
    if looks_at(LayoutKey::SlotPitch) || !slot_pitch_m.iter().all(|pitch| pitch.is_finite()) {
        keys.put("slot_pitch_mm", pitches(slot_pitch_m));
    }
    let open = Some(*open_fraction).filter(|open| told(LayoutKey::OpenFraction, open));
    keys.put_some("open_fraction", open.map(Value::Number));
    let slant = Some(*slant_rad).filter(|slant| told(LayoutKey::Slant, slant));
    keys.put_some("slant_deg", slant.map(|rad| in_unit(rad, DEG)));
    let hand = Some(*sense).filter(|sense| told(LayoutKey::Sense, sense));
    keys.put_some("sense", hand.map(sign));
    keys.put("outer_diameter_mm", in_unit(*outer_diameter_m, MM));
    keys.put("inner_diameter_mm", in_unit(*inner_diameter_m, MM));
    keys.put("outer_rim_mm", in_unit(*outer_rim_m, MM));
    keys.put("inner_rim_mm", in_unit(*inner_rim_m, MM));
    keys.put("rib_mm", in_unit(*rib_m, MM));
    keys.put_some("zone_radius_mm", zone_radius_m.map(|m| in_unit(m, MM)));
    keys.put("thickness_mm", in_unit(*thickness_m, MM));
    keys.put("rotation_deg", in_unit(*rotation_rad, DEG));
    keys.put("offset_mm", pair(*offset_m, MM));
    keys.put("distance_mm", in_unit(*distance_m, MM));
    keys.put_some("grip", grip.as_ref().map(mask_fit::grip));
    keys.put_some("camera", camera.as_ref().map(mask_fit::camera));
    keys.put_some("cable_slit", slit.as_ref().map(mask_fit::slit));
    keys.put_some("tabs", tabs.as_ref().map(mask_fit::tabs));
    keys.put("print", print(printer));
    keys.table()
}

/// The layout's word, and the list or the file that belongs to it.
fn put_layout(layout: &MaskLayout, keys: &mut Keys) {
    keys.put("layout", text(layout.name().word()));
    match layout {
        MaskLayout::Slots(_) => {}
        MaskLayout::Holes(holes) => keys.put("holes", list(holes.iter().map(hole))),
        MaskLayout::Regions(regions) => keys.put("regions", list(regions.iter().map(region))),
        MaskLayout::Drawing(drawing) => put_drawing(drawing, keys),
    }
}

/// What the scenario says of a drawing; its openings come from the file.
fn put_drawing(drawing: &Drawing, keys: &mut Keys) {
    let Drawing {
        file,
        fills,
        centre_m,
        unit_m,
        openings_m: _,
        left_out: _,
    } = drawing;
    let fills = match fills {
        DrawingFills::Plate => "plate",
        DrawingFills::Openings => "openings",
        DrawingFills::Dark => "dark",
        DrawingFills::Light => "light",
    };
    keys.put("drawing", text(file));
    keys.put("drawing_fills", text(fills));
    keys.put_some("drawing_centre_mm", centre_m.map(|m| pair(m, MM)));
    keys.put_some("drawing_mm_per_unit", unit_m.map(|m| in_unit(m, MM)));
}

/// One pitch as a number, any other count of them as a list.
fn pitches(pitches_m: &[f64]) -> Value {
    match pitches_m {
        [pitch_m] => in_unit(*pitch_m, MM),
        several => list(several.iter().map(|pitch_m| in_unit(*pitch_m, MM))),
    }
}

/// A sign is a whole number in the file; anything else is told as it is.
fn sign(sense: f64) -> Value {
    if sense.fract() == 0.0 && sense.abs() < 1e15 {
        whole(sense as i64)
    } else {
        Value::Number(sense)
    }
}

fn hole(hole: &HoleSpec) -> Value {
    let HoleSpec {
        radius_m,
        azimuth_rad,
        diameter_m,
    } = hole;
    let mut keys = Keys::default();
    keys.put("radius_mm", in_unit(*radius_m, MM));
    keys.put("azimuth_deg", in_unit(*azimuth_rad, DEG));
    keys.put("diameter_mm", in_unit(*diameter_m, MM));
    keys.table()
}

fn region(region: &RegionSpec) -> Value {
    let RegionSpec {
        azimuth_rad,
        radius_m,
        slot_rad,
        pitch_m,
        open_fraction,
    } = region;
    let mut keys = Keys::default();
    keys.put("azimuth_deg", pair(*azimuth_rad, DEG));
    keys.put("radius_mm", pair(*radius_m, MM));
    keys.put("slot_deg", in_unit(*slot_rad, DEG));
    keys.put("pitch_mm", in_unit(*pitch_m, MM));
    keys.put("open_fraction", Value::Number(*open_fraction));
    keys.table()
}

fn print(printer: &Printer) -> Value {
    let Printer {
        nozzle_m,
        bed_m,
        least_bar_m,
        density_kg_per_m3,
        flow_m3_per_s,
        engraving_m,
    } = printer;
    let mut keys = Keys::default();
    keys.put("nozzle_mm", in_unit(*nozzle_m, MM));
    keys.put("bed_mm", pair(*bed_m, MM));
    keys.put("least_bar_mm", in_unit(*least_bar_m, MM));
    keys.put("density_g_per_cm3", in_unit(*density_kg_per_m3, 1000.0));
    keys.put("flow_mm3_per_s", in_unit(*flow_m3_per_s, MM * MM * MM));
    keys.put("engraving_mm", in_unit(*engraving_m, MM));
    keys.table()
}
