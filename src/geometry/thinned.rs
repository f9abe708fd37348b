//! Outlines with fewer corners: those that lie on a straight line, nearly, are left out.

use super::outline::{Contour, Corner, GRID_M, Outline};

impl Outline {
    /// The same with corners left out that lie within a distance of the line between those that stay (Douglas and Peucker's method), so that no
    /// border moves by more than that distance.
    pub fn thinned(&self, within_m: f64) -> Self {
        let within = within_m / GRID_M;
        let thin = |contour: &Contour| thin(contour, within);
        let shapes = self.shapes.iter();
        Outline {
            shapes: shapes
                .map(|shape| shape.iter().map(thin).collect())
                .collect(),
        }
    }
}

/// A closed contour; one that would become a line is kept as it is.
fn thin(contour: &Contour, within: f64) -> Contour {
    let opposite = match contour.as_slice() {
        [first, _, _, _, ..] => farthest(contour, *first),
        _ => return contour.clone(),
    };
    let mut stays = vec![false; contour.len()];
    stays[0] = true;
    stays[opposite] = true;
    // a stretch runs from a corner that stays to another; the corner behind the last is the first
    let mut stretches = vec![[0, opposite], [opposite, contour.len()]];
    while let Some([from, to]) = stretches.pop() {
        let ends = [contour[from], contour[to % contour.len()]];
        let apart = |at: &usize| distance(contour[*at], ends);
        let Some(most) = (from + 1..to).max_by(|a, b| apart(a).total_cmp(&apart(b))) else {
            continue;
        };
        if apart(&most) > within {
            stays[most] = true;
            stretches.extend([[from, most], [most, to]]);
        }
    }
    let left: Contour = contour
        .iter()
        .zip(&stays)
        .filter_map(|(corner, stays)| stays.then_some(*corner))
        .collect();
    if left.len() < 3 {
        contour.clone()
    } else {
        left
    }
}

fn farthest(contour: &Contour, from: Corner) -> usize {
    let away = |at: &usize| distance(contour[*at], [from, from]);
    let most = (0..contour.len()).max_by(|a, b| away(a).total_cmp(&away(b)));
    most.unwrap_or(0)
}

/// From a corner to a stretch of line, in steps of the grid.
fn distance(corner: Corner, [a, b]: [Corner; 2]) -> f64 {
    let place = |p: Corner| [f64::from(p.x), f64::from(p.y)];
    let ([x, y], [ax, ay], [bx, by]) = (place(corner), place(a), place(b));
    let (dx, dy) = (bx - ax, by - ay);
    let square = dx * dx + dy * dy;
    let along = match square > 0.0 {
        true => (((x - ax) * dx + (y - ay) * dy) / square).clamp(0.0, 1.0),
        false => 0.0,
    };
    (x - ax - along * dx).hypot(y - ay - along * dy)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use std::f64::consts::TAU;

    /// A circle that is flattened to a sag s has about 2π·√(r/8s) corners; its area changes by less than its length times s.
    #[test]
    fn a_ring_keeps_its_shape_with_few_corners() {
        let ring = Outline::ring(0.03, 0.09);
        let thinned = ring.thinned(10e-6);
        for (contour, radius_m) in thinned.shapes[0].iter().zip([0.09f64, 0.03]) {
            let expected = TAU * (radius_m / 8.0 / 10e-6).sqrt();
            let share = contour.len() as f64 / expected;
            assert!(
                (0.9..2.1).contains(&share),
                "{} of {expected}",
                contour.len()
            );
        }
        let most_m2 = TAU * (0.09 + 0.03) * 10e-6;
        assert!((thinned.area_m2() - ring.area_m2()).abs() < most_m2);
        assert!(thinned.minus(&ring.grown(11e-6)).is_empty());
        assert!(ring.minus(&thinned.grown(11e-6)).is_empty());
    }

    #[test]
    fn corners_that_matter_stay() {
        let square = Outline::ring(0.0, 1.0).common(&Outline::filled(
            &[vec![[0.0, 0.0], [0.02, 0.0], [0.02, 0.01], [0.0, 0.01]]],
            super::super::outline::Fill::NonZero,
        ));
        assert_eq!(square.thinned(10e-6).shapes, square.shapes);
        assert_relative_eq!(square.thinned(1.0).area_m2(), square.area_m2());
        assert!(Outline::default().thinned(1e-5).is_empty());
    }
}
