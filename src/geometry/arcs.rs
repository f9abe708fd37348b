//! Splits the sides of a trapezoid into chords, each with the sliver between chord and curve: lines into one, curves into
//! chords of about half a cell.

use super::coverage::{CellGrid, RadialMap};
use super::sweep::{SweepSide, Trapezoid};

/// A straight stretch of the border, walked with the opening on the left, and the area between it and the true curve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Chord {
    pub from: [f64; 2],
    pub to: [f64; 2],
    /// Area to add to the opening beyond the chord (negative: to take away).
    pub sliver: f64,
}

/// Hands every chord of a trapezoid's border to `take`. Horizontal stretches are left out where they add nothing.
pub(super) fn chords(
    trapezoid: &Trapezoid,
    map: RadialMap,
    grid: &CellGrid,
    take: &mut impl FnMut(Chord),
) {
    let Trapezoid {
        low,
        high,
        left,
        right,
    } = *trapezoid;
    match map {
        RadialMap::Identity => {
            straight_or_arc(&right, low, high, grid, take);
            straight_or_arc(&left, high, low, grid, take);
        }
        RadialMap::Paraboloid { .. } => {
            let corner = |side: &SweepSide, y: f64| [side.x(y), y];
            bent(
                map,
                grid,
                |t| lerp(corner(&left, low), corner(&right, low), t),
                take,
            );
            bent(map, grid, |t| along(&right, low, high, t), take);
            bent(
                map,
                grid,
                |t| lerp(corner(&right, high), corner(&left, high), t),
                take,
            );
            bent(map, grid, |t| along(&left, high, low, t), take);
        }
    }
}

/// The unmapped side from height `from` to height `to`: one chord for a line, one a cell for an arc.
fn straight_or_arc(
    side: &SweepSide,
    from: f64,
    to: f64,
    grid: &CellGrid,
    take: &mut impl FnMut(Chord),
) {
    let SweepSide::Arc { centre, radius, .. } = *side else {
        take(Chord {
            from: [side.x(from), from],
            to: [side.x(to), to],
            sliver: 0.0,
        });
        return;
    };
    let mut heights = vec![from, to];
    grid.rows_between(from, to, |y| heights.push(y));
    grid.columns_between(side.x(from), side.x(to), |x| {
        let dx = x - centre[0];
        let reach = ((radius - dx) * (radius + dx)).max(0.0).sqrt();
        // the sweep cuts circles at mid height, so one half is enough
        let up = if 0.5 * (from + to) >= centre[1] {
            1.0
        } else {
            -1.0
        };
        let y = centre[1] + up * reach;
        heights.push(y.clamp(from.min(to), from.max(to)));
    });
    heights.sort_by(f64::total_cmp);
    if to < from {
        heights.reverse();
    }
    for pair in heights.windows(2) {
        let (a, b) = ([side.x(pair[0]), pair[0]], [side.x(pair[1]), pair[1]]);
        if a != b {
            take(Chord {
                from: a,
                to: b,
                sliver: circular_sliver(a, b, centre, radius),
            });
        }
    }
}

/// Area between an arc and its chord, positive when the arc runs counter-clockwise about its centre.
fn circular_sliver(a: [f64; 2], b: [f64; 2], centre: [f64; 2], radius: f64) -> f64 {
    let (ax, ay, bx, by) = (
        a[0] - centre[0],
        a[1] - centre[1],
        b[0] - centre[0],
        b[1] - centre[1],
    );
    let cross = ax * by - ay * bx;
    let chord = (b[0] - a[0]).hypot(b[1] - a[1]);
    let angle = 2.0 * libm::asin((0.5 * chord / radius).min(1.0));
    let excess = if angle < 0.1 {
        let square = angle * angle;
        angle * square * (1.0 / 6.0 - square * (1.0 / 120.0 - square / 5040.0))
    } else {
        angle - libm::sin(angle)
    };
    0.5 * radius * radius * excess * cross.signum()
}

/// A curve bent by the paraboloid's law, cut into stretches of at most half a cell, each as chord and parabolic sliver.
fn bent(
    map: RadialMap,
    grid: &CellGrid,
    curve: impl Fn(f64) -> [f64; 2],
    take: &mut impl FnMut(Chord),
) {
    let length = {
        let (a, m, b) = (curve(0.0), curve(0.5), curve(1.0));
        (m[0] - a[0]).hypot(m[1] - a[1]) + (b[0] - m[0]).hypot(b[1] - m[1])
    };
    let RadialMap::Paraboloid { focal_length_m } = map else {
        return;
    };
    let step = (0.5 * grid.cell_m).min(1e-3 * focal_length_m); // the parabola's error falls as step⁴
    let stretches = (length / step).ceil().max(1.0) as usize;
    let mut from = map.forward(curve(0.0));
    for i in 0..stretches {
        let middle = map.forward(curve((i as f64 + 0.5) / stretches as f64));
        let to = map.forward(curve((i + 1) as f64 / stretches as f64));
        let cross =
            (to[0] - from[0]) * (middle[1] - from[1]) - (to[1] - from[1]) * (middle[0] - from[0]);
        take(Chord {
            from,
            to,
            sliver: -2.0 / 3.0 * cross,
        });
        from = to;
    }
}

/// Point at fraction `t` of a side; an arc is walked at even steps of angle, so that its ends are smooth too.
fn along(side: &SweepSide, from: f64, to: f64, t: f64) -> [f64; 2] {
    match *side {
        SweepSide::Line { .. } => {
            let y = from + (to - from) * t;
            [side.x(y), y]
        }
        SweepSide::Arc {
            centre,
            radius,
            sign,
        } => {
            let angle = |y: f64| libm::asin(((y - centre[1]) / radius).clamp(-1.0, 1.0));
            let here = angle(from) + (angle(to) - angle(from)) * t;
            [
                centre[0] + sign * radius * libm::cos(here),
                centre[1] + radius * libm::sin(here),
            ]
        }
    }
}

fn lerp(a: [f64; 2], b: [f64; 2], t: f64) -> [f64; 2] {
    [a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t]
}
