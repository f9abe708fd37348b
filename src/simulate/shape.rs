//! Size and elongation of a star's light, without noise.
//!
//! Half-flux diameter: of the circle about the centroid that holds half of the light in the stamp. Elongation: the square root
//! of the ratio of the second moments along and across, within twice that circle's radius, so that far wings do not rule it.

use crate::math::robust::half_way;
use ndarray::Array2;

/// Size and elongation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ImageShape {
    /// Centre of the light.
    pub centroid_px: [f64; 2],
    /// Diameter of the circle that holds half of it.
    pub half_flux_diameter_px: f64,
    /// Long over short, 1 for a round star.
    pub elongation: f64,
    /// Azimuth of the long side in the frame, −90 to 90 degrees.
    pub elongation_rad: f64,
}

/// A pixel is cut into this many parts a side where the circle runs through it.
const PARTS: usize = 5;

/// Measures the light of one star on its stamp.
pub fn shape(light: &Array2<f64>) -> ImageShape {
    let total: f64 = light.sum();
    let mean = |f: &dyn Fn(f64, f64) -> f64| {
        light
            .indexed_iter()
            .map(|((y, x), l)| l * f(x as f64, y as f64))
            .sum::<f64>()
            / total
    };
    let centroid_px = [mean(&|x, _| x), mean(&|_, y| y)];
    let radius = half_flux_radius(light, centroid_px, total);
    let (mut weight, mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0, 0.0);
    for ((row, column), l) in light.indexed_iter() {
        let (x, y) = (column as f64 - centroid_px[0], row as f64 - centroid_px[1]);
        if x.hypot(y) <= 2.0 * radius {
            (weight, xx, xy, yy) = (weight + l, xx + l * x * x, xy + l * x * y, yy + l * y * y);
        }
    }
    let (xx, xy, yy) = (xx / weight, xy / weight, yy / weight);
    let half_gap = (0.5 * (xx - yy)).hypot(xy);
    let middle = 0.5 * (xx + yy);
    let ratio = (middle + half_gap) / (middle - half_gap).max(f64::MIN_POSITIVE);
    ImageShape {
        centroid_px,
        half_flux_diameter_px: 2.0 * radius,
        elongation: ratio.sqrt(),
        elongation_rad: 0.5 * libm::atan2(2.0 * xy, xx - yy),
    }
}

/// Radius of the circle that holds half of the light; pixels are spread evenly over their squares. The truth spreads them by itself,
/// so that it does not change when measuring does.
fn half_flux_radius(light: &Array2<f64>, centre: [f64; 2], total: f64) -> f64 {
    let mut parts: Vec<(f64, f64)> = Vec::with_capacity(light.len() * PARTS * PARTS);
    for ((row, column), l) in light.indexed_iter() {
        for j in 0..PARTS {
            for i in 0..PARTS {
                let place = |p: usize, k: usize, c: f64| {
                    p as f64 + (k as f64 + 0.5) / PARTS as f64 - 0.5 - c
                };
                let (x, y) = (place(column, i, centre[0]), place(row, j, centre[1]));
                parts.push((x.hypot(y), l / (PARTS * PARTS) as f64));
            }
        }
    }
    half_way(parts, total).unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// A Gaussian of standard deviations a and b turned by an angle: half of a round one lies within 1.1774 sigma.
    fn gaussian(a: f64, b: f64, turn: f64) -> Array2<f64> {
        Array2::from_shape_fn((61, 64), |(row, column)| {
            let (x, y) = (column as f64 - 30.3, row as f64 - 29.6);
            let (u, v) = (
                x * turn.cos() + y * turn.sin(),
                y * turn.cos() - x * turn.sin(),
            );
            (-0.5 * (u * u / (a * a) + v * v / (b * b))).exp()
        })
    }

    /// Parts of pixels are a fifth of a pixel wide: the radius is known to about a tenth of that.
    #[test]
    fn a_round_gaussian_has_the_size_of_the_textbook() {
        let found = shape(&gaussian(3.3, 3.3, 0.0));
        assert_abs_diff_eq!(
            found.half_flux_diameter_px,
            2.0 * 3.3 * (2.0 * 2f64.ln()).sqrt(),
            epsilon = 0.05
        );
        assert_abs_diff_eq!(found.elongation, 1.0, epsilon = 0.01);
        assert_abs_diff_eq!(found.centroid_px[0], 30.3, epsilon = 1e-6);
    }

    #[test]
    fn a_long_star_points_where_it_is_long() {
        let found = shape(&gaussian(4.0, 2.9, 0.7));
        assert!(
            found.elongation > 1.15 && found.elongation < 4.0 / 2.9,
            "{found:?}"
        );
        assert_abs_diff_eq!(found.elongation_rad, 0.7, epsilon = 0.02);
    }
}
