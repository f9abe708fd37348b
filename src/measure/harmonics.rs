//! A smooth closed curve round a middle: a radius, or a brightness, by direction, as a sum of its first few harmonics.

use crate::math::LeastSquares;
use crate::math::robust::sigma_of;
use std::f64::consts::TAU;

/// A function of direction, c0 + Σ (a_k cos kθ + b_k sin kθ); coefficients in the order c0, a_1, b_1, a_2, b_2, …
#[derive(Debug, Clone, PartialEq)]
pub struct Harmonics {
    coefficients: Vec<f64>,
}

/// Rounds of leaving out points that lie far from the course and drawing it anew, at most.
const ROUNDS: usize = 4;
/// There are at least this many points for each coefficient, so that what is left out does not decide.
const POINTS_PER_COEFFICIENT: usize = 4;
/// Points that lie closer to the course than this are never left out: it only keeps the typical distance of exact points above zero.
const NO_DISTANCE: f64 = 1e-9;

impl Harmonics {
    /// The course through most of the points (direction in radians, value), with harmonics up to `order`. Points farther from it
    /// than `far_sigma` typical distances are left out. `None` for fewer than four points a coefficient.
    pub fn robust(points: &[(f64, f64)], order: usize, far_sigma: f64) -> Option<Self> {
        let mut kept: Vec<(f64, f64)> = points.to_vec();
        let mut course = Harmonics::through(&kept, order)?;
        for _ in 0..ROUNDS {
            let mut distances: Vec<f64> = kept
                .iter()
                .map(|(a, v)| (v - course.value(*a)).abs())
                .collect();
            let typical = sigma_of(&mut distances).max(NO_DISTANCE);
            let near =
                |point: &&(f64, f64)| (point.1 - course.value(point.0)).abs() < far_sigma * typical;
            let next: Vec<(f64, f64)> = points.iter().filter(near).copied().collect();
            if next.len() == kept.len() {
                break;
            }
            course = Harmonics::through(&next, order)?;
            kept = next;
        }
        Some(course)
    }

    /// The course through all points, by least squares; `None` for fewer than four points a coefficient.
    pub fn through(points: &[(f64, f64)], order: usize) -> Option<Self> {
        let count = 2 * order + 1;
        if points.len() < POINTS_PER_COEFFICIENT * count {
            return None;
        }
        let columns: Vec<Vec<f64>> = (0..count)
            .map(|k| points.iter().map(|(angle, _)| wave(k, *angle)).collect())
            .collect();
        let values: Vec<f64> = points.iter().map(|p| p.1).collect();
        let coefficients = LeastSquares::new(columns, &vec![0.0; count]).solve(&values);
        Some(Harmonics { coefficients })
    }

    /// Value in a direction.
    pub fn value(&self, angle: f64) -> f64 {
        let terms = self.coefficients.iter().enumerate();
        terms.map(|(k, c)| c * wave(k, angle)).sum()
    }

    /// Amplitudes of cos kθ and sin kθ; zero beyond the last harmonic.
    pub fn pair(&self, k: usize) -> [f64; 2] {
        [2 * k - 1, 2 * k].map(|at| self.coefficients.get(at).copied().unwrap_or(0.0))
    }

    /// Centroid of the area inside the curve, from the middle that radii are counted from, and that area.
    pub fn centroid_and_area(&self) -> ([f64; 2], f64) {
        /// Directions over which the area is summed; the curve has a few harmonics only, so that the sum is exact to rounding.
        const STEPS: usize = 720;
        let (mut area, mut x, mut y) = (0.0, 0.0, 0.0);
        for i in 0..STEPS {
            let angle = TAU * (i as f64 + 0.5) / STEPS as f64;
            let radius = self.value(angle).max(0.0);
            area += 0.5 * radius * radius;
            x += radius.powi(3) * libm::cos(angle) / 3.0;
            y += radius.powi(3) * libm::sin(angle) / 3.0;
        }
        let step = TAU / STEPS as f64;
        ([x / area, y / area], area * step)
    }
}

/// The function that belongs to coefficient `k`: 1, cos θ, sin θ, cos 2θ, sin 2θ, …
fn wave(k: usize, angle: f64) -> f64 {
    let order = k.div_ceil(2) as f64;
    if k % 2 == 1 {
        libm::cos(order * angle)
    } else if k == 0 {
        1.0
    } else {
        libm::sin(order * angle)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// A circle of radius 20 seen from a point 3 aside of its centre has its centroid 3 aside, whatever few spokes are spoilt.
    #[test]
    fn an_eccentric_circle_keeps_its_centre_and_area() {
        let points: Vec<(f64, f64)> = (0..180)
            .map(|i| TAU * f64::from(i) / 180.0)
            .map(|a: f64| {
                let along = 3.0 * a.cos();
                let radius = along + (along * along + 400.0 - 9.0).sqrt();
                let spoilt = (1.0..1.2).contains(&a);
                (a, if spoilt { 4.0 } else { radius })
            })
            .collect();
        let course = Harmonics::robust(&points, 3, 3.5).unwrap();
        let (centre, area) = course.centroid_and_area();
        assert_abs_diff_eq!(centre[0], 3.0, epsilon = 0.01);
        assert_abs_diff_eq!(centre[1], 0.0, epsilon = 0.01);
        assert_abs_diff_eq!(area, TAU * 200.0, epsilon = 0.5);
        assert!(Harmonics::robust(&points[..20], 3, 3.5).is_none());
    }
}
