//! Cuts a [`Piece`] into trapezoids whose left and right sides are lines or arcs, and gives its area in closed form.
//!
//! Between two neighbouring critical heights (where two borders cross, or a circle has its top, bottom or middle) the order
//! of the borders along x does not change; so one look at the middle of each slab tells which gaps are open in all of it.

use super::shape::{Piece, Primitive};

/// One side of a trapezoid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SweepSide {
    /// x = at_zero + slope · y.
    Line {
        /// x at y = 0.
        at_zero: f64,
        /// dx/dy.
        slope: f64,
    },
    /// x = centre x + sign · √(radius² − (y − centre y)²).
    Arc {
        /// Centre of the circle.
        centre: [f64; 2],
        /// Its radius.
        radius: f64,
        /// +1 for the right half, −1 for the left half.
        sign: f64,
    },
}

/// The points between two sides and two heights.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trapezoid {
    /// Lower height.
    pub low: f64,
    /// Upper height.
    pub high: f64,
    /// Left side.
    pub left: SweepSide,
    /// Right side.
    pub right: SweepSide,
}

/// All trapezoids of a piece, from bottom to top.
pub fn trapezoids(piece: &Piece) -> Vec<Trapezoid> {
    let Some(piece) = piece.pruned() else {
        return Vec::new();
    };
    let heights = critical_heights(&piece);
    let mut found = Vec::new();
    let mut crossings: Vec<(f64, SweepSide)> = Vec::new();
    for pair in heights.windows(2) {
        let middle = 0.5 * (pair[0] + pair[1]);
        sides_at(&piece, middle, &mut crossings);
        let mut left: Option<SweepSide> = None;
        for gap in crossings.windows(2) {
            let open = piece.contains(0.5 * (gap[0].0 + gap[1].0), middle);
            match (open, left) {
                (true, None) => left = Some(gap[0].1),
                (false, Some(side)) => {
                    found.push(Trapezoid {
                        low: pair[0],
                        high: pair[1],
                        left: side,
                        right: gap[0].1,
                    });
                    left = None;
                }
                _ => {}
            }
        }
        if let (Some(side), Some(last)) = (left, crossings.last()) {
            found.push(Trapezoid {
                low: pair[0],
                high: pair[1],
                left: side,
                right: last.1,
            });
        }
    }
    found
}

/// Open area of a piece, in closed form.
///
/// # Accuracy
/// Relative 1e-12 for discs, annuli, strips and their cuts (`geometry::sweep::tests`).
pub fn area(piece: &Piece) -> f64 {
    trapezoids(piece)
        .iter()
        .map(|t| t.right.integral(t.low, t.high) - t.left.integral(t.low, t.high))
        .sum()
}

impl SweepSide {
    /// x of the side at a height.
    pub fn x(&self, y: f64) -> f64 {
        match *self {
            SweepSide::Line { at_zero, slope } => at_zero + slope * y,
            SweepSide::Arc {
                centre,
                radius,
                sign,
            } => {
                let dy = y - centre[1];
                centre[0] + sign * ((radius - dy) * (radius + dy)).max(0.0).sqrt()
            }
        }
    }

    /// Integral of x over a range of heights.
    fn integral(&self, low: f64, high: f64) -> f64 {
        match *self {
            SweepSide::Line { at_zero, slope } => {
                (high - low) * (at_zero + 0.5 * slope * (low + high))
            }
            SweepSide::Arc {
                centre,
                radius,
                sign,
            } => {
                let primitive = |y: f64| {
                    let dy = (y - centre[1]).clamp(-radius, radius);
                    let half_chord = ((radius - dy) * (radius + dy)).sqrt();
                    0.5 * (dy * half_chord + radius * radius * libm::atan2(dy, half_chord))
                };
                centre[0] * (high - low) + sign * (primitive(high) - primitive(low))
            }
        }
    }
}

/// The sides that cross height `y`, from left to right, the bounds' own sides at both ends.
fn sides_at(piece: &Piece, y: f64, crossings: &mut Vec<(f64, SweepSide)>) {
    crossings.clear();
    let [left, _, right, _] = piece.bounds;
    let mut push = |x: f64, side: SweepSide| {
        if x > left && x < right {
            crossings.push((x, side));
        }
    };
    for primitive in piece.primitives() {
        match *primitive {
            Primitive::HalfPlane { normal, limit } => {
                if normal[0].abs() > 1e-14 {
                    let side = SweepSide::Line {
                        at_zero: limit / normal[0],
                        slope: -normal[1] / normal[0],
                    };
                    push(side.x(y), side);
                }
            }
            Primitive::Disc { centre, radius } => {
                if (y - centre[1]).abs() < radius {
                    for sign in [-1.0, 1.0] {
                        let side = SweepSide::Arc {
                            centre,
                            radius,
                            sign,
                        };
                        push(side.x(y), side);
                    }
                }
            }
        }
    }
    for x in [left, right] {
        crossings.push((
            x,
            SweepSide::Line {
                at_zero: x,
                slope: 0.0,
            },
        ));
    }
    crossings.sort_by(|a, b| a.0.total_cmp(&b.0));
}

/// Heights at which the order of the sides may change, within the bounds, ascending, each once.
fn critical_heights(piece: &Piece) -> Vec<f64> {
    let [x_min, low, x_max, high] = piece.bounds;
    let mut heights = vec![low, high];
    let mut all: Vec<Primitive> = piece.primitives().copied().collect();
    for (normal, limit) in [([1.0, 0.0], x_min), ([1.0, 0.0], x_max)] {
        all.push(Primitive::HalfPlane { normal, limit });
    }
    for (i, a) in all.iter().enumerate() {
        if let Primitive::Disc { centre, radius } = a {
            heights.extend([centre[1] - radius, centre[1], centre[1] + radius]);
        }
        if let Primitive::HalfPlane { normal, limit } = a
            && normal[0].abs() <= 1e-14
        {
            heights.push(limit / normal[1]);
        }
        for b in &all[i + 1..] {
            crossing_heights(a, b, &mut heights);
        }
    }
    heights.retain(|y| *y >= low && *y <= high);
    heights.sort_by(f64::total_cmp);
    let step = 1e-13 * (high - low).max(x_max - x_min);
    heights.dedup_by(|next, kept| *next - *kept <= step);
    heights
}

/// Heights at which two borders cross.
fn crossing_heights(a: &Primitive, b: &Primitive, heights: &mut Vec<f64>) {
    use Primitive::{Disc, HalfPlane};
    match (*a, *b) {
        (
            HalfPlane {
                normal: n,
                limit: c,
            },
            HalfPlane {
                normal: p,
                limit: d,
            },
        ) => {
            let determinant = n[0] * p[1] - n[1] * p[0];
            if determinant.abs() > 1e-14 {
                heights.push((n[0] * d - p[0] * c) / determinant);
            }
        }
        (HalfPlane { normal, limit }, Disc { centre, radius })
        | (Disc { centre, radius }, HalfPlane { normal, limit }) => {
            let distance = limit - normal[0] * centre[0] - normal[1] * centre[1];
            let half_chord = ((radius - distance) * (radius + distance)).sqrt();
            if half_chord.is_finite() {
                let foot = centre[1] + normal[1] * distance;
                heights.extend([foot - normal[0] * half_chord, foot + normal[0] * half_chord]);
            }
        }
        (
            Disc {
                centre: p,
                radius: r,
            },
            Disc {
                centre: q,
                radius: s,
            },
        ) => {
            let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
            let gap = (dx * dx + dy * dy).sqrt();
            let along = (gap * gap + r * r - s * s) / (2.0 * gap);
            let half_chord = ((r - along) * (r + along)).sqrt();
            if gap > 0.0 && half_chord.is_finite() {
                let foot = p[1] + along * dy / gap;
                heights.extend([foot - half_chord * dx / gap, foot + half_chord * dx / gap]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use std::f64::consts::PI;

    #[test]
    fn annulus_with_decentred_hole() {
        let mut piece = Piece::disc([0.01, -0.02], 0.095);
        piece.blocks.push(vec![Primitive::Disc {
            centre: [0.012, 0.003],
            radius: 0.0405,
        }]);
        assert_relative_eq!(
            area(&piece),
            PI * (0.095f64.powi(2) - 0.0405f64.powi(2)),
            max_relative = 1e-12
        );
    }

    #[test]
    fn lens_of_two_discs() {
        let (r, d) = (1.0f64, 0.7f64);
        let mut piece = Piece::disc([0.0, 0.0], r);
        piece.keep.push(Primitive::Disc {
            centre: [d * 0.6, d * 0.8],
            radius: r,
        });
        let expected =
            2.0 * r * r * (d / (2.0 * r)).acos() - 0.5 * d * (4.0 * r * r - d * d).sqrt();
        assert_relative_eq!(area(&piece), expected, max_relative = 1e-12);
    }

    #[test]
    fn disc_segment_beyond_a_slanted_line() {
        let (r, c) = (0.8f64, 0.31f64);
        let mut piece = Piece::disc([0.2, 0.1], r);
        let normal = [0.6, -0.8];
        piece.keep.push(Primitive::HalfPlane {
            normal,
            limit: normal[0] * 0.2 + normal[1] * 0.1 - c,
        });
        let expected = r * r * (c / r).acos() - c * (r * r - c * c).sqrt();
        assert_relative_eq!(area(&piece), expected, max_relative = 1e-12);
    }

    #[test]
    fn square_hole_and_crossing_strips_count_shared_area_once() {
        let strip = |azimuth: f64, half: f64| {
            let a = Primitive::left_of(azimuth, [0.0, 0.0], half);
            let b = Primitive::left_of(azimuth + PI, [0.0, 0.0], half);
            vec![a, b]
        };
        let mut piece = Piece::disc([0.0, 0.0], 10.0);
        piece.keep = vec![];
        piece.bounds = [-1.0, -1.0, 1.0, 1.0];
        piece.blocks = vec![strip(0.0, 0.1), strip(PI / 2.0, 0.2)];
        let expected = 4.0 - (2.0 * 0.2 + 2.0 * 0.4 - 0.2 * 0.4);
        assert_relative_eq!(area(&piece), expected, max_relative = 1e-12);
    }
}
