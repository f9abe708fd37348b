//! The slots of a mask as [`Piece`]s.

use super::layouts::{Region, regions};
use crate::geometry::{Frame2, Piece, Primitive};
use crate::instrument::{MaskDesign, MaskLayout};
use std::f64::consts::{PI, TAU};

/// Every opening of the plate, in the mask's own axes (its centre at the origin), each with the number of its region.
///
/// The openings do not overlap as long as [`overlapping`](super::overlapping) finds nothing. Light that passes beside the
/// plate is not in the list.
pub fn openings(design: &MaskDesign) -> Vec<(usize, Piece)> {
    if let MaskLayout::Holes(holes) = &design.layout {
        return holes
            .iter()
            .enumerate()
            .map(|(index, hole)| {
                let centre = [
                    hole.radius_m * libm::cos(hole.azimuth_rad),
                    hole.radius_m * libm::sin(hole.azimuth_rad),
                ];
                (index, Piece::disc(centre, 0.5 * hole.diameter_m))
            })
            .collect();
    }
    let mut found = Vec::new();
    for (index, region) in regions(design).iter().enumerate() {
        found.extend(
            slots_of(design, region)
                .into_iter()
                .map(|slot| (index, slot)),
        );
    }
    found
}

/// The same opening in pupil axes: turned and moved with the mask.
pub fn to_pupil(piece: &Piece, rotation_rad: f64, centre_m: [f64; 2]) -> Piece {
    let turned = piece.in_frame(&Frame2::new(-rotation_rad, false));
    let [dx, dy] = centre_m;
    let shifted = |p: &Primitive| match *p {
        Primitive::HalfPlane { normal, limit } => Primitive::HalfPlane {
            normal,
            limit: limit + normal[0] * dx + normal[1] * dy,
        },
        Primitive::Disc { centre, radius } => Primitive::Disc {
            centre: [centre[0] + dx, centre[1] + dy],
            radius,
        },
    };
    let [x0, y0, x1, y1] = turned.bounds;
    Piece {
        keep: turned.keep.iter().map(shifted).collect(),
        blocks: turned
            .blocks
            .iter()
            .map(|b| b.iter().map(shifted).collect())
            .collect(),
        bounds: [x0 + dx, y0 + dy, x1 + dx, y1 + dy],
    }
}

fn slots_of(design: &MaskDesign, region: &Region) -> Vec<Piece> {
    let [inner, outer] = open_radii(design, region);
    if outer <= inner {
        return Vec::new();
    }
    let (keep_sides, block_sides) = borders(region, 0.5 * design.rib_m);
    let half_width = 0.5 * region.open_fraction * region.pitch_m;
    let reach = (outer / region.pitch_m).ceil() as i64;
    let mut slots = Vec::new();
    for number in -reach..=reach {
        let across = number as f64 * region.pitch_m;
        let strip = strip(region.slot_rad, across, half_width);
        let mut outline = strip_corners(region.slot_rad, across, half_width, outer);
        for side in &keep_sides {
            outline = clipped(&outline, side);
        }
        if outline.len() < 3 {
            continue;
        }
        let mut keep = strip.to_vec();
        keep.extend(&keep_sides);
        keep.push(Primitive::Disc {
            centre: [0.0, 0.0],
            radius: outer,
        });
        let mut blocks = block_sides.clone();
        if inner > 0.0 {
            blocks.push(vec![Primitive::Disc {
                centre: [0.0, 0.0],
                radius: inner,
            }]);
        }
        slots.push(Piece {
            keep,
            blocks,
            bounds: bounds_of(&outline),
        });
    }
    slots
}

/// Radii between which the slots of a region are open: rims at the plate's edges, half a rib at any other border.
fn open_radii(design: &MaskDesign, region: &Region) -> [f64; 2] {
    let half_rib = 0.5 * design.rib_m;
    let (plate_inner, plate_outer) = (0.5 * design.inner_diameter_m, 0.5 * design.outer_diameter_m);
    let tolerance = 1e-9 * plate_outer;
    let at_hole = region.radius_m[0] <= plate_inner + tolerance;
    let at_edge = region.radius_m[1] >= plate_outer - tolerance;
    let inner = if at_hole {
        plate_inner
    } else {
        region.radius_m[0] + half_rib
    };
    let outer = if at_edge {
        plate_outer
    } else {
        region.radius_m[1] - half_rib
    };
    [
        inner.max(plate_inner + design.inner_rim_m),
        outer.min(plate_outer - design.outer_rim_m),
    ]
}

/// The two radial borders, half a rib inside the region: as limits to keep, or for a region wider than half a turn as one
/// wedge that is blocked.
fn borders(region: &Region, half_rib: f64) -> (Vec<Primitive>, Vec<Vec<Primitive>>) {
    let [from, to] = region.azimuth_rad;
    let width = to - from;
    if width >= TAU - 1e-9 {
        return (Vec::new(), Vec::new());
    }
    let after_first = Primitive::left_of(from, [0.0, 0.0], -half_rib);
    let before_last = Primitive::left_of(to + PI, [0.0, 0.0], -half_rib);
    if width <= PI + 1e-9 {
        (vec![after_first, before_last], Vec::new())
    } else {
        (
            Vec::new(),
            vec![vec![after_first.flipped(), before_last.flipped()]],
        )
    }
}

fn strip(slot_rad: f64, across: f64, half_width: f64) -> [Primitive; 2] {
    // the strip's middle lies `across` to the left of the slot's direction
    let left = [-libm::sin(slot_rad), libm::cos(slot_rad)];
    [
        Primitive::HalfPlane {
            normal: left,
            limit: across + half_width,
        },
        Primitive::HalfPlane {
            normal: [-left[0], -left[1]],
            limit: half_width - across,
        },
    ]
}

fn strip_corners(slot_rad: f64, across: f64, half_width: f64, reach: f64) -> Vec<[f64; 2]> {
    let (cos, sin) = (libm::cos(slot_rad), libm::sin(slot_rad));
    [(-reach, -1.0), (reach, -1.0), (reach, 1.0), (-reach, 1.0)]
        .iter()
        .map(|&(along, side)| {
            let over = across + side * half_width;
            [along * cos - over * sin, along * sin + over * cos]
        })
        .collect()
}

/// A convex outline cut to one side of a half-plane (Sutherland and Hodgman's method).
fn clipped(outline: &[[f64; 2]], side: &Primitive) -> Vec<[f64; 2]> {
    let Primitive::HalfPlane { normal, limit } = *side else {
        return outline.to_vec();
    };
    let beyond = |p: &[f64; 2]| normal[0] * p[0] + normal[1] * p[1] - limit;
    let mut result = Vec::new();
    for (i, a) in outline.iter().enumerate() {
        let b = &outline[(i + 1) % outline.len()];
        let (da, db) = (beyond(a), beyond(b));
        if da <= 0.0 {
            result.push(*a);
        }
        if (da < 0.0) != (db < 0.0) && da != db {
            let t = da / (da - db);
            result.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
        }
    }
    result
}

fn bounds_of(outline: &[[f64; 2]]) -> [f64; 4] {
    let mut bounds = [
        f64::INFINITY,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NEG_INFINITY,
    ];
    for p in outline {
        bounds = [
            bounds[0].min(p[0]),
            bounds[1].min(p[1]),
            bounds[2].max(p[0]),
            bounds[3].max(p[1]),
        ];
    }
    bounds
}
