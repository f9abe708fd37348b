//! Edges and levels in a row of light through a doughnut.
//!
//! At the geometrical edge of a shadow the light is a quarter of its level beside it (Fresnel's integral for a straight edge).
//! The level is a straight line fitted over the ring, so that fringes average out and a doughnut may be brighter on one side.

use super::bench::Bench;
use super::curve::passes;

/// What a row through the middle of a doughnut shows; places in metres, irradiance in 1/m².
#[derive(Debug, Clone, Copy)]
pub struct Cut {
    /// Outer edge, left and right.
    pub rim_m: [f64; 2],
    /// Edge of the hole, left and right.
    pub hole_m: [f64; 2],
    /// Level of the ring at its outer edge, left and right.
    pub level: [f64; 2],
}

impl Cut {
    /// Middle of the outer edge.
    pub fn rim_centre_m(&self) -> f64 {
        0.5 * (self.rim_m[0] + self.rim_m[1])
    }

    /// Middle of the hole.
    pub fn hole_centre_m(&self) -> f64 {
        0.5 * (self.hole_m[0] + self.hole_m[1])
    }
}

/// Renders a row of square pixels through the star and finds the edges near the radii that rays give.
pub fn cut(star: &Bench, pixel_m: f64, rim_m: f64, hole_m: f64) -> Cut {
    let half = (1.3 * rim_m / pixel_m).ceil() as usize;
    let light = star.frame([0.0; 2], pixel_m, [2 * half + 1, 1]);
    let right: Vec<f64> = (0..=half).map(|i| light[[0, half + i]]).collect();
    let left: Vec<f64> = (0..=half).map(|i| light[[0, half - i]]).collect();
    let [a, b] = [left, right].map(|side| Side::new(&side, rim_m / pixel_m, hole_m / pixel_m));
    let metres = |px: f64| px * pixel_m;
    let per_area = pixel_m * pixel_m;
    Cut {
        rim_m: [-metres(a.rim), metres(b.rim)],
        hole_m: [-metres(a.hole), metres(b.hole)],
        level: [a.level_at_rim / per_area, b.level_at_rim / per_area],
    }
}

/// One half of the row, outwards from the star.
struct Side {
    rim: f64,
    hole: f64,
    level_at_rim: f64,
}

impl Side {
    fn new(samples: &[f64], rim_px: f64, hole_px: f64) -> Self {
        let mut found = Side {
            rim: rim_px,
            hole: hole_px,
            level_at_rim: 0.0,
        };
        // the ring between the edges is not known until they are: twice more settles it
        for _ in 0..3 {
            let width = found.rim - found.hole;
            let line = Line::through(samples, found.hole + 0.12 * width, found.rim - 0.12 * width);
            found.level_at_rim = line.at(found.rim);
            let middle = (0.5 * (found.rim + found.hole)) as usize;
            found.rim = crossing(samples, middle, 1, 0.25 * found.level_at_rim);
            found.hole = crossing(samples, middle, -1, 0.25 * line.at(found.hole));
        }
        found
    }
}

/// The first place from `start` on where the samples fall below a level.
fn crossing(samples: &[f64], start: usize, step: isize, level: f64) -> f64 {
    let mut at = start;
    while samples[at] > level {
        at = at.checked_add_signed(step).expect("an edge");
    }
    passes(samples, level, at)
}

/// A straight line in the least-squares sense.
struct Line {
    middle: f64,
    level: f64,
    slope: f64,
}

impl Line {
    fn through(samples: &[f64], from: f64, to: f64) -> Self {
        let range = from.ceil() as usize..=to.floor() as usize;
        let count = range.clone().count() as f64;
        let middle = range.clone().map(|i| i as f64).sum::<f64>() / count;
        let level = range.clone().map(|i| samples[i]).sum::<f64>() / count;
        let (mut xx, mut xy) = (0.0, 0.0);
        for i in range {
            let x = i as f64 - middle;
            (xx, xy) = (xx + x * x, xy + x * samples[i]);
        }
        Line {
            middle,
            level,
            slope: xy / xx,
        }
    }

    fn at(&self, place: f64) -> f64 {
        self.level + self.slope * (place - self.middle)
    }
}
