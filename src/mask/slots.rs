//! The slots of a mask as [`Piece`]s.

use super::cutouts::kept_solid;
use super::layouts::{Region, regions};
use crate::geometry::outline::{SAG_M, clipped, convex_piece};
use crate::geometry::{Frame2, Piece, Primitive};
use crate::instrument::{MaskDesign, MaskLayout};
use std::f64::consts::{PI, TAU};

/// Every opening of the plate, in the mask's own axes (its centre at the origin), each with the number of its region.
///
/// The openings do not overlap as long as [`overlapping`](super::overlapping) finds nothing, and none reaches beyond the
/// plate's edges, not even a hole drilled across one. Light that passes beside the plate is not in the list.
pub fn openings(design: &MaskDesign) -> Vec<(usize, Piece)> {
    let mut found = without_cutouts(design);
    let solid = kept_solid(design);
    for (_, piece) in &mut found {
        piece.blocks.extend(solid.iter().cloned());
    }
    found
}

/// The openings as if camera and cables took no room.
fn without_cutouts(design: &MaskDesign) -> Vec<(usize, Piece)> {
    if let MaskLayout::Holes(holes) = &design.layout {
        return holes
            .iter()
            .enumerate()
            .map(|(index, hole)| {
                let centre = [
                    hole.radius_m * libm::cos(hole.azimuth_rad),
                    hole.radius_m * libm::sin(hole.azimuth_rad),
                ];
                let mut opening = Piece::disc(centre, 0.5 * hole.diameter_m);
                opening
                    .keep
                    .push(about_centre(0.5 * design.outer_diameter_m));
                if design.inner_diameter_m > 0.0 {
                    let within = about_centre(0.5 * design.inner_diameter_m);
                    opening.blocks.push(vec![within]);
                }
                (index, opening)
            })
            .collect();
    }
    if let MaskLayout::Drawing(drawing) = &design.layout {
        let parts = drawing.openings_m.iter();
        return parts.map(|corners| (0, convex_piece(corners))).collect();
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
    let (keep_sides, mut blocks) = borders(region, 0.5 * design.rib_m);
    if inner > 0.0 {
        blocks.push(vec![about_centre(inner)]);
    }
    let half_width = 0.5 * region.open_fraction * region.pitch_m;
    let reach = (outer / region.pitch_m).ceil() as i64;
    let mut slots = Vec::new();
    for number in -reach..=reach {
        let across = number as f64 * region.pitch_m;
        let strip = strip(region.slot_rad, across, half_width);
        // a flattened circle bulges a little beyond the circle: a slot that ended at the latter would leave a sliver of plastic
        let mut outline = strip_corners(region.slot_rad, across, half_width, outer + 2.0 * SAG_M);
        for side in &keep_sides {
            outline = clipped(&outline, side);
        }
        if outline.len() < 3 {
            continue;
        }
        let mut keep = strip.to_vec();
        keep.extend(&keep_sides);
        keep.push(about_centre(outer));
        slots.push(Piece {
            keep,
            blocks: blocks.clone(),
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

/// The two radial borders: as limits to keep, or for a region wider than half a turn as one wedge that is blocked; and the
/// ribs along them, which begin at the mask's centre and are blocked.
fn borders(region: &Region, half_rib: f64) -> (Vec<Primitive>, Vec<Vec<Primitive>>) {
    let [from, to] = region.azimuth_rad;
    let width = to - from;
    if width >= TAU - 1e-9 {
        return (Vec::new(), Vec::new());
    }
    let after_first = Primitive::left_of(from, [0.0, 0.0], 0.0);
    let before_last = Primitive::left_of(to + PI, [0.0, 0.0], 0.0);
    let mut blocks = Vec::new();
    if half_rib > 0.0 {
        blocks.extend([from, to].map(|azimuth| rib(azimuth, half_rib)));
    }
    if width <= PI + 1e-9 {
        (vec![after_first, before_last], blocks)
    } else {
        blocks.push(vec![after_first.flipped(), before_last.flipped()]);
        (Vec::new(), blocks)
    }
}

/// The solid strip centred on a radial border, from the mask's centre outwards.
fn rib(azimuth_rad: f64, half_rib: f64) -> Vec<Primitive> {
    let mut sides = strip(azimuth_rad, 0.0, half_rib).to_vec();
    sides.push(Primitive::left_of(azimuth_rad - 0.5 * PI, [0.0, 0.0], 0.0));
    sides
}

fn about_centre(radius: f64) -> Primitive {
    Primitive::Disc {
        centre: [0.0, 0.0],
        radius,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::area;
    use crate::instrument::{HoleSpec, RegionSpec};
    use crate::testing;
    use crate::units::{DEG, MM};
    use approx::assert_relative_eq;

    #[test]
    fn a_hole_across_the_edge_of_the_plate_opens_only_what_lies_in_the_plate() {
        // two circles of radii R and r at distance R: the lens r² acos(r/2R) + R² acos(1 − r²/2R²) − (r/2)√(4R² − r²)
        let (outer, r) = (94.0 * MM, 10.0 * MM);
        let hole = HoleSpec {
            radius_m: outer,
            azimuth_rad: 0.7,
            diameter_m: 2.0 * r,
        };
        let lens = r * r * (r / (2.0 * outer)).acos()
            + outer * outer * (1.0 - r * r / (2.0 * outer * outer)).acos()
            - 0.5 * r * (4.0 * outer * outer - r * r).sqrt();
        let found = openings(&testing::mask(MaskLayout::Holes(vec![hole])));
        assert_relative_eq!(area(&found[0].1), lens, max_relative = 1e-9);
    }

    /// Borders 2 degrees apart: a rib that ran on behind the centre would cut the slots on the other side.
    #[test]
    fn ribs_end_at_the_centre_of_the_mask() {
        let region = |azimuth_deg: [f64; 2]| RegionSpec {
            azimuth_rad: azimuth_deg.map(|a| a * DEG),
            radius_m: [42.0 * MM, 94.0 * MM],
            slot_rad: 90.0 * DEG,
            pitch_m: 3.4 * MM,
            open_fraction: 0.5,
        };
        let opens = |azimuth_deg: [f64; 2], x_mm: f64, y_mm: f64| {
            let mask = testing::mask(MaskLayout::Regions(vec![region(azimuth_deg)]));
            openings(&mask)
                .iter()
                .any(|o| o.1.contains(x_mm * MM, y_mm * MM))
        };
        for y_mm in [-0.9, -0.05, 0.05, 0.7] {
            assert!(opens([1.0, 359.0], -15.0 * 3.4, y_mm));
            assert!(!opens([1.0, 359.0], 15.0 * 3.4, y_mm));
        }
        assert!(opens([0.0, 179.0], 15.0 * 3.4, 1.3));
        assert!(!opens([0.0, 179.0], 15.0 * 3.4, 0.7));
        assert!(
            !opens([0.0, 179.0], -15.0 * 3.4, 1.3),
            "under the rib at 179 degrees"
        );
    }
}
