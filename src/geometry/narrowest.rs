//! How narrow a filled outline gets: bars, rims and tongues.

use super::outline::{Contour, Outline, place_m};
use std::collections::HashMap;

/// A border with the filled side to its left, and how far along it each corner lies.
struct Border {
    corners: Vec<[f64; 2]>,
    along_m: Vec<f64>,
    length_m: f64,
}

impl Border {
    fn new(contour: &Contour, outer: bool) -> Border {
        let mut corners: Vec<[f64; 2]> = contour.iter().map(place_m).collect();
        let pairs = corners.iter().zip(corners.iter().cycle().skip(1));
        let twice_area: f64 = pairs.map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum();
        if (twice_area > 0.0) != outer {
            corners.reverse();
        }
        let mut length_m = 0.0;
        let ends = corners.iter().cycle().skip(1);
        let along_m = corners.iter().zip(ends).map(|(a, b)| {
            let here = length_m;
            length_m += (b[0] - a[0]).hypot(b[1] - a[1]);
            here
        });
        Border {
            along_m: along_m.collect(),
            corners,
            length_m,
        }
    }

    /// The way along the border from one corner to the nearer end of an edge.
    fn way_m(&self, corner: usize, edge: usize) -> f64 {
        let next = (edge + 1) % self.corners.len();
        let between = |a: usize, b: usize| {
            let apart = (self.along_m[a] - self.along_m[b]).abs();
            apart.min(self.length_m - apart)
        };
        between(corner, edge).min(between(corner, next))
    }
}

/// A border that comes back to itself over a way of less than this many distances only turns a corner there.
const CORNER_WAYS: f64 = 4.0;

/// The least width of what is filled: between two borders, or between two stretches of one (a tongue). `look_m` is returned
/// where nothing is narrower.
pub fn narrowest_m(filled: &Outline, look_m: f64) -> f64 {
    let cell = look_m;
    let key = |v: f64| (v / cell).floor() as i32;
    let borders: Vec<Border> = filled
        .shapes
        .iter()
        .flat_map(|shape| shape.iter().enumerate())
        .map(|(number, contour)| Border::new(contour, number == 0))
        .collect();
    let mut cells: HashMap<(i32, i32), Vec<(usize, usize)>> = HashMap::new();
    for (number, border) in borders.iter().enumerate() {
        let ends = border.corners.iter().cycle().skip(1);
        for (edge, (a, b)) in border.corners.iter().zip(ends).enumerate() {
            let steps = ((b[0] - a[0]).hypot(b[1] - a[1]) / (0.5 * cell))
                .ceil()
                .max(1.0) as usize;
            let mut last = None;
            for k in 0..=steps {
                let t = k as f64 / steps as f64;
                let at = (key(a[0] + t * (b[0] - a[0])), key(a[1] + t * (b[1] - a[1])));
                if last != Some(at) {
                    cells.entry(at).or_default().push((number, edge));
                    last = Some(at);
                }
            }
        }
    }
    let mut least = cell;
    for (number, border) in borders.iter().enumerate() {
        for (corner, p) in border.corners.iter().enumerate() {
            let (x, y) = (key(p[0]), key(p[1]));
            for near in (x - 1..=x + 1).flat_map(|i| (y - 1..=y + 1).map(move |j| (i, j))) {
                for &(other, edge) in cells.get(&near).into_iter().flatten() {
                    let corners = &borders[other].corners;
                    let (a, b) = (corners[edge], corners[(edge + 1) % corners.len()]);
                    let apart = distance_to_segment(*p, a, b);
                    let filled_between = other != number
                        || (left_of(*p, a, b) && border.way_m(corner, edge) > CORNER_WAYS * apart);
                    if apart < least && filled_between {
                        least = apart;
                    }
                }
            }
        }
    }
    least
}

fn left_of(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> bool {
    (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) > 0.0
}

/// Distance of a place from a straight stretch, in the unit of both. Only square roots: every processor gives the same.
pub fn distance_to_segment(place: [f64; 2], from: [f64; 2], to: [f64; 2]) -> f64 {
    let run = [to[0] - from[0], to[1] - from[1]];
    let squared = run[0] * run[0] + run[1] * run[1];
    let along = (place[0] - from[0]) * run[0] + (place[1] - from[1]) * run[1];
    let share = if squared > 0.0 {
        (along / squared).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let [x, y] = [0, 1].map(|axis| from[axis] + share * run[axis] - place[axis]);
    (x * x + y * y).sqrt()
}

#[cfg(test)]
mod tests {
    use super::super::outline::Fill;
    use super::*;

    fn plate(holes: &[Vec<[f64; 2]>]) -> Outline {
        let square = vec![[-0.05, -0.05], [0.05, -0.05], [0.05, 0.05], [-0.05, 0.05]];
        let holes = Outline::filled(holes, Fill::NonZero);
        Outline::filled(&[square], Fill::NonZero).minus(&holes)
    }

    fn box_of(x: [f64; 2], y: [f64; 2]) -> Vec<[f64; 2]> {
        vec![[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]]
    }

    #[test]
    fn a_bar_between_two_holes_and_a_tongue_within_one_are_found() {
        let look_m = 3.2e-3;
        let solid = plate(&[]);
        assert_eq!(narrowest_m(&solid, look_m), look_m);
        // a slot is narrow, but not filled
        let slot = plate(&[box_of([-0.03, 0.03], [0.0, 5e-4])]);
        assert_eq!(narrowest_m(&slot, look_m), look_m);
        let bar = plate(&[
            box_of([-0.03, -2e-4], [-0.02, 0.02]),
            box_of([2e-4, 0.03], [-0.02, 0.02]),
        ]);
        assert!((narrowest_m(&bar, look_m) - 4e-4).abs() < 2e-7);
        // a U round a tongue 0.3 mm wide and 30 mm long
        let tongue = plate(&[vec![
            [-0.02, -0.02],
            [0.02, -0.02],
            [0.02, 0.02],
            [1.5e-4, 0.02],
            [1.5e-4, -0.01],
            [-1.5e-4, -0.01],
            [-1.5e-4, 0.02],
            [-0.02, 0.02],
        ]]);
        assert!((narrowest_m(&tongue, look_m) - 3e-4).abs() < 2e-7);
        // a rim at the outer edge
        let rim = plate(&[box_of([-0.03, 0.03], [0.0, 0.0493])]);
        assert!((narrowest_m(&rim, look_m) - 7e-4).abs() < 2e-7);
    }

    #[test]
    fn a_round_edge_is_not_narrow() {
        let circle: Vec<[f64; 2]> = (0..720)
            .map(|k| std::f64::consts::TAU * f64::from(k) / 720.0)
            .map(|a| [0.04 * a.cos(), 0.04 * a.sin()])
            .collect();
        let disc = Outline::filled(&[circle], Fill::NonZero);
        assert_eq!(narrowest_m(&disc, 3.2e-3), 3.2e-3);
    }
}
