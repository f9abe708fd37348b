//! Half-flux diameter of a star by its rays: what squares that are added up leave out.
//!
//! Blur, coma and astigmatism add in squares for the mean square of the rays only. Half of the light lies within a circle that
//! takes less of coma's tail the wider the doughnut is, so the sizes of a field with coma on one side and none on the other
//! look like a tilt. Here the rays are laid down one by one, with a normal spread for air and pixels, and counted.

use crate::math::robust::median;
use crate::state::Modes;
use crate::wavefront::ZernikeSum;
use std::f64::consts::TAU;

/// Rays of a star. Their places are the same for every star, so what is left of chance is common to all.
pub(super) struct Rays {
    /// Place in the pupil, of its radius, and where the air throws the ray, standard deviations.
    rays: Vec<([f64; 2], [f64; 2])>,
    focal_ratio: f64,
}

/// Diameters come out to a hundredth (`tests::many_more_rays_give_the_same_diameter`).
const RAYS: usize = 1500;
/// Half-flux diameter of a normal spread over its standard deviation, 2√(2 ln 2).
const NORMAL_DIAMETER: f64 = 2.354_820_045;
/// Root of x⁵ = x + 1: multiples of its powers fill four dimensions evenly (worked out by hand).
const EVEN: f64 = 1.167_303_978_261_418_7;

impl Rays {
    /// Rays through a ring.
    pub fn new(obstruction_ratio: f64, focal_ratio: f64) -> Self {
        Rays::of(RAYS, obstruction_ratio, focal_ratio)
    }

    fn of(count: usize, obstruction_ratio: f64, focal_ratio: f64) -> Self {
        let even = |ray: usize, power: i32| (0.5 + (ray + 1) as f64 * EVEN.powi(-power)).fract();
        let dark = obstruction_ratio * obstruction_ratio;
        let disc = |radius: f64, share: f64| {
            [
                radius * libm::cos(TAU * share),
                radius * libm::sin(TAU * share),
            ]
        };
        let rays = (0..count).map(|ray| {
            let height = (dark + (1.0 - dark) * even(ray, 1)).sqrt();
            let thrown = (-2.0 * libm::log(even(ray, 3).max(1e-12))).sqrt();
            (disc(height, even(ray, 2)), disc(thrown, even(ray, 4)))
        });
        Rays {
            rays: rays.collect(),
            focal_ratio,
        }
    }

    /// Diameter of the circle round the centroid that holds half of the rays, metres.
    pub fn half_flux_diameter_m(&self, offset_m: f64, modes: &Modes, in_focus_m: f64) -> f64 {
        let wavefront = ZernikeSum::new(modes);
        let sigma_m = in_focus_m / NORMAL_DIAMETER;
        let landed: Vec<[f64; 2]> = self
            .rays
            .iter()
            .map(|([x, y], thrown)| {
                let slope = wavefront.value_slope(*x, *y).slope;
                [0, 1].map(|axis| {
                    let blur_m = offset_m * [x, y][axis] / (2.0 * self.focal_ratio);
                    sigma_m * thrown[axis] - blur_m - 2.0 * self.focal_ratio * slope[axis]
                })
            })
            .collect();
        let mean = |axis: usize| landed.iter().map(|p| p[axis]).sum::<f64>() / landed.len() as f64;
        let centroid = [mean(0), mean(1)];
        let mut apart: Vec<f64> = landed
            .iter()
            .map(|p| (p[0] - centroid[0]).hypot(p[1] - centroid[1]))
            .collect();
        2.0 * median(&mut apart)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{NM, UM};
    use approx::assert_relative_eq;

    /// Without aberrations: a normal spread in focus, and far outside focus the circle that holds half of a ring's area.
    #[test]
    fn a_point_and_a_ring_have_the_diameters_of_textbooks() {
        let none = Modes::default();
        let (obstruction, ratio) = (0.42, 2.3);
        let rays = Rays::new(obstruction, ratio);
        let point = rays.half_flux_diameter_m(0.0, &none, 6.0 * UM);
        assert_relative_eq!(point, 6.0 * UM, max_relative = 1e-2);
        let ring = rays.half_flux_diameter_m(400.0 * UM, &none, 0.0);
        let half = (0.5 * (1.0 + obstruction * obstruction) as f64).sqrt();
        assert_relative_eq!(ring, 400.0 * UM / ratio * half, max_relative = 1e-2);
    }

    #[test]
    fn many_more_rays_give_the_same_diameter() {
        let modes: Modes = [(8, 150.0 * NM), (7, -60.0 * NM), (6, 40.0 * NM)]
            .into_iter()
            .collect();
        for offset_m in [-60.0 * UM, 10.0 * UM, 60.0 * UM] {
            let of = |count: usize| {
                Rays::of(count, 0.42, 2.3).half_flux_diameter_m(offset_m, &modes, 5.5 * UM)
            };
            assert_relative_eq!(of(RAYS), of(60_000), max_relative = 1e-2);
        }
    }
}
