//! Whether a mask goes onto the telescope and off again: its seat, the camera's room, the slit for cables, tabs and feet. Limits are common
//! practice, no source.

use super::{Finding, Limit, PrintRule, told};
use crate::geometry::outline::{GRID_M, outline_of};
use crate::geometry::{Piece, area};
use crate::instrument::{Instrument, LEDGE_M, MaskDesign, Seat};
use crate::mask::cutouts::{ribs_rad, slit_azimuth_rad};
use crate::mask::openings;
use crate::mask::plate::Plate;
use crate::pupil::Pupil;
use crate::state::State;
use crate::units::{DEG, MM};
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// So much of a region's light may be lost to the slit and its cheeks, percent.
const MOST_LOST_PERCENT: f64 = 15.0;
/// So much of the light may pass through the slit, percent: a spike of its own.
const MOST_THROUGH_PERCENT: f64 = 2.0;

pub(super) fn rules(instrument: &Instrument, design: &MaskDesign, plate: &Plate) -> Vec<Finding> {
    let mut list = Vec::new();
    list.extend(ring_in_the_beam(instrument, design));
    list.extend(ledge(design, plate));
    list.extend(feet(design, plate));
    list.extend(camera(design));
    list.extend(slit(instrument, design));
    list.extend(tabs(instrument, design, plate));
    list
}

/// The wall of a ring inside the tube.
fn ring_in_the_beam(instrument: &Instrument, design: &MaskDesign) -> Option<Finding> {
    let inside_m = design.grip.as_ref()?.inside_m()?;
    let blocked = 0.5 * instrument.telescope.aperture_m - inside_m;
    let rule = PrintRule {
        what: "ring inside the beam",
        value: blocked.max(0.0) / MM,
        limit: 0.0,
        unit: "mm",
        bound: Limit::AtMost,
        kept: blocked <= 0.0,
        serious: false,
    };
    Some(rule.says(
        "the wall of the ring stands in the light",
        "choose fit = \"over-tube\", or a thinner mask.grip.wall_mm",
    ))
}

/// How far a plate whose ring goes into the tube lies on the tube's end, all round.
fn ledge(design: &MaskDesign, plate: &Plate) -> Option<Finding> {
    let grip = design.grip.as_ref().filter(|g| g.seat == Seat::IntoTube)?;
    let value = plate.outer_radius_m - 0.5 * grip.tube_diameter_m;
    let rule = PrintRule {
        what: "ledge on the tube",
        value: value / MM,
        limit: LEDGE_M / MM,
        unit: "mm",
        bound: Limit::AtLeast,
        kept: value >= LEDGE_M - 2.0 * GRID_M,
        serious: true,
    };
    Some(rule.says(
        "how far the plate reaches over the tube's end, all round; a plate that is no larger than the bore falls into the tube",
        "leave mask.outer_diameter_mm out, or widen it to the bore (mask.grip.tube_diameter_mm) and 6 mm more",
    ))
}

/// Feet that found room.
fn feet(design: &MaskDesign, plate: &Plate) -> Option<Finding> {
    let grip = design.grip.as_ref().filter(|g| g.feet_m > 0.0)?;
    let value = plate.feet.shapes.len() as f64;
    let rule = PrintRule {
        what: "feet",
        value,
        limit: 3.0,
        unit: "",
        bound: Limit::AtLeast,
        kept: value >= 3.0,
        serious: false,
    };
    Some(rule.says(
        format!("feet of {:.1} mm between plate and tube, on the tube's end; three stand without rocking", grip.feet_m / MM),
        "widen mask.outer_diameter_mm and mask.outer_rim_mm, so that solid plate lies over the tube's end",
    ))
}

/// Room round the camera, and how far it stands out of the mask.
fn camera(design: &MaskDesign) -> Vec<Finding> {
    let Some(body) = &design.camera else {
        return Vec::new();
    };
    let away = design.offset_m[0].hypot(design.offset_m[1]);
    let value = 0.5 * (design.inner_diameter_m - body.diameter_m) - away;
    let stands_out = body.stands_out_m > 0.0;
    let rule = PrintRule {
        what: "room round the camera",
        value: value / MM,
        limit: body.air_m / MM,
        unit: "mm",
        bound: Limit::AtLeast,
        kept: value >= body.air_m - 2.0 * GRID_M,
        // a camera that ends behind the plate does not have to go through it
        serious: value < 0.0 && body.stands_out_m >= 0.0,
    };
    let mut list = vec![rule.says(
        "between camera and hole, on the narrow side; where it is below 0 the camera is larger than the hole and the mask does not go on",
        "leave mask.inner_diameter_mm out, or widen it to the camera (mask.camera.diameter_mm) and twice its air",
    )];
    if stands_out {
        list.push(told(
            "camera in front of the mask",
            body.stands_out_m / MM,
            "mm",
            "so far the camera stands out of the plate: put the mask on along the tube's axis, and never lay it on its sky side while the camera is in it",
        ));
    }
    list
}

/// What the slit for cables costs: slots cut in two, light of its neighbours, and a spike of its own.
fn slit(instrument: &Instrument, design: &MaskDesign) -> Vec<Finding> {
    let Some(azimuth) = slit_azimuth_rad(design) else {
        return Vec::new();
    };
    let at_deg = azimuth.rem_euclid(TAU) / DEG;
    let bare = MaskDesign {
        slit: None,
        ..design.clone()
    };
    let (with, without) = (areas(design), areas(&bare));
    let lost = without
        .iter()
        .map(|(region, own)| 100.0 * (1.0 - with.get(region).copied().unwrap_or(0.0) / own))
        .fold(0.0, f64::max);
    let cut = slots_cut(design, &bare);
    let through = through_slit(instrument, &bare);
    vec![
        PrintRule {
            what: "slots cut in two by the slit",
            value: cut as f64,
            limit: 0.0,
            unit: "",
            bound: Limit::AtMost,
            kept: cut == 0,
            serious: false,
        }
        .says(
            format!("the slit for cables lies at {at_deg:.1} degrees; on a rib it only shortens slots that end there anyway"),
            turn_hint(design, azimuth),
        ),
        PrintRule {
            what: "light lost to the slit",
            value: lost,
            limit: MOST_LOST_PERCENT,
            unit: "%",
            bound: Limit::AtMost,
            kept: lost <= MOST_LOST_PERCENT,
            serious: false,
        }
        .says(
            "what the slit and the solid plate beside it take from the region that loses most: its spike gets fainter than its partners",
            "narrow mask.cable_slit.width_mm or mask.cable_slit.cheek_mm, or widen mask.rib_mm, so that all regions lose alike",
        ),
        PrintRule {
            what: "light through the slit",
            value: through,
            limit: MOST_THROUGH_PERCENT,
            unit: "%",
            bound: Limit::AtMost,
            kept: through <= MOST_THROUGH_PERCENT,
            serious: false,
        }
        .says(
            "of the light that passes the mask; an open slit makes a faint spike across itself, and the star that is rendered has it. What lies in it and is typed as [[telescope.vanes]] shades it",
            "narrow mask.cable_slit.width_mm, lay it where the cables are and type them as [[telescope.vanes]], or cover it with tape once the cables are in",
        ),
    ]
}

/// Open area of each region, square metres.
fn areas(design: &MaskDesign) -> BTreeMap<usize, f64> {
    let mut sums = BTreeMap::new();
    for (region, piece) in openings(design) {
        *sums.entry(region).or_insert(0.0) += area(&piece);
    }
    sums.retain(|_, sum| *sum > 0.0);
    sums
}

/// Slots of which the slit leaves two parts.
fn slots_cut(design: &MaskDesign, bare: &MaskDesign) -> usize {
    let parts = |piece: &Piece| outline_of(&[piece]).shapes.len();
    openings(design)
        .iter()
        .zip(&openings(bare))
        // most slots are far from the slit, and lose nothing
        .filter(|((_, with), (_, without))| area(with) < area(without) - 1e-12)
        .filter(|((_, with), (_, without))| parts(with) > parts(without))
        .count()
}

/// Light that passes the mask through the slit, percent.
fn through_slit(instrument: &Instrument, bare: &MaskDesign) -> f64 {
    let worn = State {
        mask_on: true,
        ..State::default()
    };
    let whole = Pupil::new(instrument, &worn);
    let mut covered = instrument.clone();
    // the same slots, the slit filled in
    covered.mask = Some(bare.clone());
    let slots = |pupil: &Pupil, design: &MaskDesign| -> f64 {
        let regions = openings(design).iter().map(|o| o.0 + 1).max().unwrap_or(0);
        let pieces = (0..regions).flat_map(|region| pupil.pieces_of_region(region));
        pieces.map(area).sum()
    };
    let design = instrument.mask.as_ref().unwrap_or(bare);
    let covered = Pupil::new(&covered, &worn);
    let beside = |pupil: &Pupil, design: &MaskDesign| pupil.open_area_m2() - slots(pupil, design);
    let through = beside(&whole, design) - beside(&covered, bare);
    100.0 * through.max(0.0) / whole.open_area_m2().max(f64::MIN_POSITIVE)
}

/// How a slit that lies over slots comes onto a rib.
fn turn_hint(design: &MaskDesign, azimuth: f64) -> String {
    let slit = azimuth - design.rotation_rad;
    let signed = |rib: &f64| (slit - rib + 0.5 * TAU).rem_euclid(TAU) - 0.5 * TAU;
    let nearest = ribs_rad(design)
        .into_iter()
        .min_by(|a, b| signed(a).abs().total_cmp(&signed(b).abs()));
    match nearest {
        Some(rib) => format!(
            "leave mask.cable_slit.azimuth_deg out, or turn the mask so that a rib lies there: mask.rotation_deg = {:.1}",
            (design.rotation_rad + signed(&rib)) / DEG
        ),
        None => {
            "this layout has no rib from hole to edge; narrow mask.cable_slit.width_mm".to_owned()
        }
    }
}

/// Tabs are to stand outside the beam.
fn tabs(instrument: &Instrument, design: &MaskDesign, plate: &Plate) -> Option<Finding> {
    design.tabs.as_ref()?;
    let away = design.offset_m[0].hypot(design.offset_m[1]);
    let shaded = 0.5 * instrument.telescope.aperture_m - (plate.outer_radius_m - away);
    let rule = PrintRule {
        what: "tabs inside the beam",
        value: shaded.max(0.0) / MM,
        limit: 0.0,
        unit: "mm",
        bound: Limit::AtMost,
        kept: shaded <= 0.0,
        serious: false,
    };
    Some(rule.says(
        "tabs begin at the plate's edge; where that lies inside the aperture they shade light that the star's picture does not know of",
        "widen mask.outer_diameter_mm to the aperture, or take [mask.tabs] out",
    ))
}
