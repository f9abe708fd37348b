//! Plane outlines on a grid of 0.1 µm, for what is printed and cut: exact unions and differences, no cracks.
//!
//! All corners are whole numbers on one absolute grid, so that neighbours stay distinct in a printer's 32-bit file and two
//! solids that share an edge share its very corners. Shapes of `shape.rs` are flattened with [`SAG_M`]; a flattened
//! circle keeps the circle's area. The engine works with those exact shapes; only a drawing, which is an outline from the
//! start, comes to it as convex parts of one.

use super::shape::{Piece, Primitive};
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{IntOverlayOptions, Overlay};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::i_float::int::angle::Angle;
use i_overlay::i_float::int::point::IntPoint;
use i_overlay::mesh::int::arc::ArcOptions;
use i_overlay::mesh::int::outline::offset::IntOutlineOffset;
use i_overlay::mesh::int::style::{IntLineJoin, IntOutlineStyle};
use std::f64::consts::TAU;

/// The grid: 0.1 µm.
pub const GRID_M: f64 = 1e-7;
/// Largest distance between a curve and its flattened outline.
pub const SAG_M: f64 = 2e-6;

/// A corner, in units of the grid.
pub type Corner = IntPoint<i32>;
/// A closed line of corners.
pub type Contour = Vec<Corner>;

/// An area: shapes, each its outer contour (counter-clockwise) and then its holes (clockwise).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Outline {
    /// The shapes; they do not overlap.
    pub shapes: Vec<Vec<Contour>>,
}

/// Which side of nested contours is filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    /// Every second nesting.
    EvenOdd,
    /// Wherever contours wind about.
    NonZero,
}

impl Outline {
    /// The area inside some contours.
    pub fn filled(contours: &[Vec<[f64; 2]>], fill: Fill) -> Self {
        let rule = match fill {
            Fill::EvenOdd => FillRule::EvenOdd,
            Fill::NonZero => FillRule::NonZero,
        };
        let contours: Vec<Contour> = contours
            .iter()
            .map(|c| c.iter().map(|p| corner(*p)).collect())
            .collect();
        let none: Vec<Contour> = Vec::new();
        Self::combined(
            &contours,
            &none,
            OverlayRule::Subject,
            rule,
            IntOverlayOptions::ogc(),
        )
    }

    /// A disc, flattened, with the disc's own area.
    pub fn disc(centre: [f64; 2], radius_m: f64) -> Self {
        Self::filled(&[circle(centre, radius_m)], Fill::NonZero)
    }

    /// Between two radii about the origin; the whole disc for an inner radius of 0.
    pub fn ring(inner_m: f64, outer_m: f64) -> Self {
        let outer = Self::disc([0.0; 2], outer_m);
        if inner_m > 0.0 {
            outer.minus(&Self::disc([0.0; 2], inner_m))
        } else {
            outer
        }
    }

    /// What either covers.
    pub fn plus(&self, other: &Self) -> Self {
        self.with(other, OverlayRule::Union)
    }

    /// What this covers and the other does not.
    pub fn minus(&self, other: &Self) -> Self {
        self.with(other, OverlayRule::Difference)
    }

    /// What both cover.
    pub fn common(&self, other: &Self) -> Self {
        self.with(other, OverlayRule::Intersect)
    }

    /// What this covers and the other, strictly inside or strictly outside it, does not: every corner is kept as it is.
    pub fn pierced(&self, other: &Self) -> Self {
        let keep = IntOverlayOptions::keep_all_points();
        Self::combined(
            &self.shapes,
            &other.shapes,
            OverlayRule::Difference,
            FillRule::NonZero,
            keep,
        )
    }

    fn with(&self, other: &Self, rule: OverlayRule) -> Self {
        let options = IntOverlayOptions::ogc();
        Self::combined(
            &self.shapes,
            &other.shapes,
            rule,
            FillRule::NonZero,
            options,
        )
    }

    fn combined<S, C>(
        subject: &S,
        clip: &C,
        rule: OverlayRule,
        fill: FillRule,
        options: IntOverlayOptions<u64>,
    ) -> Self
    where
        S: i_overlay::i_shape::source::int::resource::IntShapeResource<i32> + ?Sized,
        C: i_overlay::i_shape::source::int::resource::IntShapeResource<i32> + ?Sized,
    {
        let mut overlay =
            Overlay::<i32>::from_subj_and_clip_custom(subject, clip, options, Default::default());
        Outline {
            shapes: overlay.overlay(rule, fill),
        }
    }

    /// The same with its borders moved outwards by a distance (inwards where it is below 0), round at convex corners.
    /// An outline that reaches beyond the grid, 100 m away, is returned as it is.
    pub fn grown(&self, by_m: f64) -> Self {
        let by = (by_m / GRID_M).round() as i32;
        let round = ArcOptions {
            max_step: Angle::from_bits(1 << 25), // 2.8 degrees
            ..ArcOptions::default()
        };
        let style = IntOutlineStyle::new(by).line_join(IntLineJoin::Round(round));
        let grown = self.shapes.outline(&style);
        Outline {
            shapes: grown.unwrap_or_else(|_| self.shapes.clone()),
        }
    }

    /// Whether it covers nothing.
    pub fn is_empty(&self) -> bool {
        self.shapes.is_empty()
    }

    /// All contours, outer ones and holes.
    pub fn contours(&self) -> impl Iterator<Item = &Contour> {
        self.shapes.iter().flatten()
    }

    /// Area in square metres, exact for the outline.
    pub fn area_m2(&self) -> f64 {
        let twice: i128 = self.contours().map(|c| twice_area(c)).sum();
        0.5 * twice as f64 * GRID_M * GRID_M
    }

    /// The smallest box that holds it: [x min, y min, x max, y max] in metres; all 0 when it covers nothing.
    pub fn bounds_m(&self) -> [f64; 4] {
        let mut points = self.contours().flatten();
        let Some(first) = points.next() else {
            return [0.0; 4];
        };
        let mut b = [first.x, first.y, first.x, first.y];
        for p in points {
            b = [b[0].min(p.x), b[1].min(p.y), b[2].max(p.x), b[3].max(p.y)];
        }
        b.map(|v| f64::from(v) * GRID_M)
    }

    /// The same turned over left-right where it is seen from behind.
    pub fn seen(&self, mirrored: bool) -> Self {
        if !mirrored {
            return self.clone();
        }
        let turned = |contour: &Contour| {
            contour
                .iter()
                .rev()
                .map(|p| IntPoint::new(-p.x, p.y))
                .collect()
        };
        let shapes = self
            .shapes
            .iter()
            .map(|shape| shape.iter().map(turned).collect());
        Outline {
            shapes: shapes.collect(),
        }
    }

    /// The largest distance of a corner from the origin; 0 when it covers nothing.
    pub fn farthest_m(&self) -> f64 {
        let away = |p: &Corner| f64::from(p.x).hypot(f64::from(p.y)) * GRID_M;
        self.contours().flatten().map(away).fold(0.0, f64::max)
    }

    /// Joins corners that only touch by a small dot, since no printer can make such a joint; says how many there were.
    pub fn bridged(self) -> (Self, usize) {
        let mut outline = self;
        let mut bridges = 0;
        for _ in 0..6 {
            let mut seen = std::collections::BTreeMap::new();
            for p in outline.contours().flatten() {
                *seen.entry((p.x, p.y)).or_insert(0_usize) += 1;
            }
            let twice: Vec<[f64; 2]> = seen
                .iter()
                .filter(|(_, count)| **count > 1)
                .map(|((x, y), _)| [f64::from(*x) * GRID_M, f64::from(*y) * GRID_M])
                .collect();
            if twice.is_empty() {
                break;
            }
            bridges += twice.len();
            let dots: Vec<Vec<[f64; 2]>> = twice
                .iter()
                .map(|[x, y]| {
                    let r = 5e-5;
                    vec![[x - r, *y], [*x, y - r], [x + r, *y], [*x, y + r]]
                })
                .collect();
            outline = outline.plus(&Outline::filled(&dots, Fill::NonZero));
        }
        (outline, bridges)
    }
}

/// A corner in metres.
pub fn place_m(corner: &Corner) -> [f64; 2] {
    [f64::from(corner.x) * GRID_M, f64::from(corner.y) * GRID_M]
}

/// The corners of a flattened circle that keeps the circle's area.
pub fn circle(centre: [f64; 2], radius_m: f64) -> Vec<[f64; 2]> {
    let step = 2.0 * libm::acos((1.0 - SAG_M / radius_m.max(SAG_M)).max(0.0));
    let count = (TAU / step.max(1e-4)).ceil().max(16.0) as usize;
    let angle = TAU / count as f64;
    let radius = radius_m * (angle / libm::sin(angle)).sqrt();
    (0..count)
        .map(|k| {
            let azimuth = (k as f64 + 0.5) * angle;
            [
                centre[0] + radius * libm::cos(azimuth),
                centre[1] + radius * libm::sin(azimuth),
            ]
        })
        .collect()
}

/// The outline of pieces that do not overlap.
pub fn outline_of(pieces: &[&Piece]) -> Outline {
    let mut whole = Outline::default();
    let mut rest = pieces;
    while let Some(first) = rest.first() {
        let alike = rest
            .iter()
            .take_while(|p| discs(&p.keep).eq(discs(&first.keep)) && p.blocks == first.blocks)
            .count();
        let (batch, later) = rest.split_at(alike);
        let cut: Vec<Vec<[f64; 2]>> = batch
            .iter()
            .map(|p| clipped_box(p.bounds, &p.keep))
            .filter(|c| c.len() >= 3)
            .collect();
        let mut part = Outline::filled(&cut, Fill::NonZero);
        for (centre, radius) in discs(&first.keep) {
            part = part.common(&Outline::disc(centre, radius));
        }
        for block in &first.blocks {
            part = part.minus(&block_outline(block, part.bounds_m()));
        }
        whole = if whole.is_empty() {
            part
        } else {
            whole.plus(&part)
        };
        rest = later;
    }
    whole
}

fn block_outline(block: &[Primitive], within: [f64; 4]) -> Outline {
    const ROOM_M: f64 = 1e-3;
    let [x0, y0, x1, y1] = within;
    let room = [x0 - ROOM_M, y0 - ROOM_M, x1 + ROOM_M, y1 + ROOM_M];
    let mut outline = Outline::filled(&[clipped_box(room, block)], Fill::NonZero);
    for (centre, radius) in discs(block) {
        outline = outline.common(&Outline::disc(centre, radius));
    }
    outline
}

fn discs(primitives: &[Primitive]) -> impl Iterator<Item = ([f64; 2], f64)> + '_ {
    primitives.iter().filter_map(|p| match *p {
        Primitive::Disc { centre, radius } => Some((centre, radius)),
        Primitive::HalfPlane { .. } => None,
    })
}

/// A box cut to the half-planes of a list.
fn clipped_box(bounds: [f64; 4], sides: &[Primitive]) -> Vec<[f64; 2]> {
    let [x0, y0, x1, y1] = bounds;
    let mut outline = vec![[x0, y0], [x1, y0], [x1, y1], [x0, y1]];
    for side in sides {
        outline = clipped(&outline, side);
    }
    outline
}

/// A convex outline cut to one side of a half-plane (Sutherland and Hodgman's method); a disc cuts nothing.
pub fn clipped(outline: &[[f64; 2]], side: &Primitive) -> Vec<[f64; 2]> {
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

fn corner(p: [f64; 2]) -> Corner {
    let whole = |v: f64| (v / GRID_M).round().clamp(-1.0e9, 1.0e9) as i32;
    IntPoint::new(whole(p[0]), whole(p[1]))
}

fn twice_area(contour: &[Corner]) -> i128 {
    let next = contour.iter().cycle().skip(1);
    contour
        .iter()
        .zip(next)
        .map(|(a, b)| i128::from(a.x) * i128::from(b.y) - i128::from(b.x) * i128::from(a.y))
        .sum()
}

/// The convex parts of an outline, as corners in metres, counter-clockwise.
pub fn convex_parts(outline: &Outline) -> Vec<Vec<[f64; 2]>> {
    use i_triangle::int::triangulatable::IntTriangulatable;
    outline
        .shapes
        .iter()
        .flat_map(|shape| shape.triangulate().into_delaunay().to_convex_polygons())
        .map(|contour| contour.iter().map(place_m).collect())
        .collect()
}

/// A convex polygon (counter-clockwise) as a piece.
pub fn convex_piece(corners: &[[f64; 2]]) -> Piece {
    let mut bounds = [
        f64::INFINITY,
        f64::INFINITY,
        f64::NEG_INFINITY,
        f64::NEG_INFINITY,
    ];
    let mut keep = Vec::new();
    for (k, a) in corners.iter().enumerate() {
        let b = corners[(k + 1) % corners.len()];
        bounds = [
            bounds[0].min(a[0]),
            bounds[1].min(a[1]),
            bounds[2].max(a[0]),
            bounds[3].max(a[1]),
        ];
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let length = dx.hypot(dy);
        if length > 0.0 {
            let normal = [dy / length, -dx / length];
            let limit = normal[0] * a[0] + normal[1] * a[1];
            keep.push(Primitive::HalfPlane { normal, limit });
        }
    }
    Piece {
        keep,
        blocks: Vec::new(),
        bounds,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::area;
    use approx::assert_relative_eq;
    use std::f64::consts::PI;

    #[test]
    fn a_flattened_ring_keeps_its_area() {
        let ring = Outline::ring(0.0415, 0.0937);
        let closed_form = PI * (0.0937_f64.powi(2) - 0.0415_f64.powi(2));
        assert_relative_eq!(ring.area_m2(), closed_form, max_relative = 1e-7);
        assert_eq!(ring.shapes.len(), 1);
    }

    /// A strip inside a disc and outside another: the closed form of the sweep against the outline.
    #[test]
    fn a_piece_and_its_outline_have_the_same_area() {
        let mut piece = Piece::disc([0.003, -0.002], 0.0937);
        piece
            .keep
            .push(Primitive::left_of(0.37, [0.001, 0.02], 0.0));
        piece
            .keep
            .push(Primitive::left_of(0.37 + PI, [0.001, 0.0217], 0.0));
        piece.blocks.push(vec![Primitive::Disc {
            centre: [0.0, 0.01],
            radius: 0.031,
        }]);
        assert_relative_eq!(
            outline_of(&[&piece]).area_m2(),
            area(&piece),
            max_relative = 5e-5
        );
    }

    #[test]
    fn two_squares_that_touch_at_a_corner_are_joined() {
        let square =
            |x: f64, y: f64| vec![[x, y], [x + 0.01, y], [x + 0.01, y + 0.01], [x, y + 0.01]];
        let touching = Outline::filled(&[square(0.0, 0.0), square(0.01, 0.01)], Fill::NonZero);
        assert_eq!(touching.shapes.len(), 2);
        let (joined, bridges) = touching.bridged();
        assert_eq!((joined.shapes.len(), bridges), (1, 1));
    }

    #[test]
    fn convex_parts_have_the_outlines_area() {
        let outline = Outline::ring(0.01, 0.02).minus(&Outline::disc([0.015, 0.0], 0.002));
        let sum: f64 = convex_parts(&outline)
            .iter()
            .map(|c| area(&convex_piece(c)))
            .sum();
        assert_relative_eq!(sum, outline.area_m2(), max_relative = 1e-9);
    }
}
