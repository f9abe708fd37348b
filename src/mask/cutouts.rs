//! What is cut out of a plate beside its slots and its round hole: a square hole's corners, room for plugs, a slit for cables.
//!
//! Everything here is a rectangle in the mask's own axes. Light passes through all of it, where nothing else is in its way, and so it is part
//! of the pupil; cables that lie in the slit are typed as vanes. No slot comes nearer to a cutout than its strip of solid plate.

use super::layouts::regions;
use crate::geometry::outline::{Fill, Outline, convex_piece};
use crate::geometry::{Piece, Primitive};
use crate::instrument::MaskDesign;
use std::f64::consts::{PI, TAU};

/// A rectangle, and the same with the solid plate round it.
struct Cutout {
    open: Vec<[f64; 2]>,
    solid: Vec<[f64; 2]>,
}

/// The openings beside slots and round hole, as far as the plate reaches, in the mask's own axes. They do not overlap.
pub fn cutouts(design: &MaskDesign) -> Vec<Piece> {
    let about_centre = |diameter_m: f64| Primitive::Disc {
        centre: [0.0; 2],
        radius: 0.5 * diameter_m,
    };
    let mut taken: Vec<Vec<Primitive>> = Vec::new();
    if design.inner_diameter_m > 0.0 {
        taken.push(vec![about_centre(design.inner_diameter_m)]);
    }
    let mut pieces = Vec::new();
    for cutout in all(design) {
        let mut piece = convex_piece(&cutout.open);
        let sides = piece.keep.clone();
        piece.keep.push(about_centre(design.outer_diameter_m));
        piece.blocks = taken.clone();
        taken.push(sides);
        pieces.push(piece);
    }
    pieces
}

/// Where no slot may be, for the sake of the cutouts: each a convex area, in the mask's own axes.
pub(super) fn kept_solid(design: &MaskDesign) -> Vec<Vec<Primitive>> {
    let strips = all(design);
    strips
        .iter()
        .map(|cutout| convex_piece(&cutout.solid).keep)
        .collect()
}

/// The area that is cut out of the plate, in the mask's own axes, and the same with the solid plate round it.
pub(super) fn cut_area(design: &MaskDesign) -> [Outline; 2] {
    let list = all(design);
    let of = |corners: fn(&Cutout) -> Vec<[f64; 2]>| {
        let contours: Vec<Vec<[f64; 2]>> = list.iter().map(corners).collect();
        Outline::filled(&contours, Fill::NonZero)
    };
    [of(|c| c.open.clone()), of(|c| c.solid.clone())]
}

/// The slit with `more_m` on either side, from the middle to beyond the plate; empty without a slit.
pub(super) fn slit_strip(design: &MaskDesign, more_m: f64) -> Outline {
    let Some(slit) = &design.slit else {
        return Outline::default();
    };
    let half_m = 0.5 * slit.width_m + more_m;
    let corners = rectangle(slit_in_mask_rad(design), [0.0, reach_m(design)], half_m);
    Outline::filled(&[corners], Fill::NonZero)
}

/// Azimuth of the slit, in pupil axes: where it was typed, or on the rib through every zone that lies nearest to where the cables are: at the
/// plugs, or at the ring's gap, or else straight down. `None` without a slit.
pub fn slit_azimuth_rad(design: &MaskDesign) -> Option<f64> {
    let slit = design.slit.as_ref()?;
    if slit.azimuth_rad.is_some() {
        return slit.azimuth_rad;
    }
    let plugs = design.camera.as_ref().and_then(|c| c.plugs.as_ref());
    let near = plugs
        .map(|p| p.azimuth_rad)
        .or(design.grip.as_ref().and_then(|g| g.notch).map(|n| n.0))
        .unwrap_or(1.5 * PI);
    let ribs = ribs_rad(design);
    let away = |azimuth: &f64| apart(azimuth + design.rotation_rad, near);
    let rib = ribs.iter().min_by(|a, b| away(a).total_cmp(&away(b)));
    Some(rib.map_or(near, |rib| rib + design.rotation_rad))
}

/// The borders between regions that run through every zone, in the mask's own axes; none for round holes, drawings, and regions without them.
pub fn ribs_rad(design: &MaskDesign) -> Vec<f64> {
    let all = regions(design);
    let inside = |azimuth: f64| {
        all.iter().any(|region| {
            let [from, to] = region.azimuth_rad;
            let along = (azimuth - from).rem_euclid(TAU);
            let width = to - from;
            width < TAU - 1e-9 && along > 1e-9 && along < width - 1e-9 && along < TAU - 1e-9
        })
    };
    let mut ribs: Vec<f64> = all
        .iter()
        .filter(|region| region.azimuth_rad[1] - region.azimuth_rad[0] < TAU - 1e-9)
        .flat_map(|region| region.azimuth_rad)
        .filter(|azimuth| !inside(*azimuth))
        .map(|azimuth| azimuth.rem_euclid(TAU))
        .collect();
    ribs.sort_by(f64::total_cmp);
    ribs.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    ribs
}

fn all(design: &MaskDesign) -> Vec<Cutout> {
    let mut list = Vec::new();
    if let Some(body) = &design.camera {
        let half_m = 0.5 * design.inner_diameter_m;
        if body.square && half_m > 0.0 {
            let turned = body.turned_rad - design.rotation_rad;
            let grown_m = half_m + design.inner_rim_m;
            list.push(Cutout {
                open: rectangle(turned, [-half_m, half_m], half_m),
                solid: rectangle(turned, [-grown_m, grown_m], grown_m),
            });
        }
        if let Some(plugs) = &body.plugs {
            let azimuth = plugs.azimuth_rad - design.rotation_rad;
            let end_m = 0.5 * body.diameter_m + plugs.reach_m + body.air_m;
            let half_m = 0.5 * plugs.width_m + body.air_m;
            let rim_m = design.inner_rim_m;
            list.push(Cutout {
                open: rectangle(azimuth, [0.0, end_m], half_m),
                solid: rectangle(azimuth, [0.0, end_m + rim_m], half_m + rim_m),
            });
        }
    }
    if let Some(slit) = &design.slit {
        let azimuth = slit_in_mask_rad(design);
        let (along, half_m) = ([0.0, reach_m(design)], 0.5 * slit.width_m);
        list.push(Cutout {
            open: rectangle(azimuth, along, half_m),
            solid: rectangle(azimuth, along, half_m + slit.cheek_m),
        });
    }
    list
}

fn slit_in_mask_rad(design: &MaskDesign) -> f64 {
    slit_azimuth_rad(design).unwrap_or_default() - design.rotation_rad
}

/// Beyond everything that is drawn.
fn reach_m(design: &MaskDesign) -> f64 {
    let ring_m = design.grip.as_ref().map_or(0.0, |grip| grip.outer_m());
    let tabs_m = design.tabs.as_ref().map_or(0.0, |tabs| tabs.reach_m);
    2.0 * (design.outer_diameter_m.max(2.0 * ring_m) + tabs_m)
}

/// The corners of a rectangle that lies along an azimuth from the origin, counter-clockwise.
fn rectangle(azimuth_rad: f64, [from_m, to_m]: [f64; 2], half_m: f64) -> Vec<[f64; 2]> {
    let (sin, cos) = (libm::sin(azimuth_rad), libm::cos(azimuth_rad));
    [
        (from_m, -half_m),
        (to_m, -half_m),
        (to_m, half_m),
        (from_m, half_m),
    ]
    .map(|(along, across)| [along * cos - across * sin, along * sin + across * cos])
    .to_vec()
}

/// The angle between two azimuths.
pub(super) fn apart(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(TAU);
    turn.min(TAU - turn)
}
