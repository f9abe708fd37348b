//! Half-flux diameter and asymmetry of a star by its rays: what squares that are added up and moments of all rays leave out.
//!
//! Only the mean square of the rays' lengths is a sum of squares of blur, coma and astigmatism; the half-flux diameter is not. The
//! wider the doughnut, the less of coma's tail lies in the circle that holds half of its light: a field with coma on one side and
//! none on the other would look tilted by the law of squares. The circle in which asymmetry is summed cuts off part of the
//! tail too. Here the rays are laid down one by one, with a normal spread for atmosphere and pixels, and counted.

use crate::math::robust::median;
use crate::state::Modes;
use crate::wavefront::ZernikeSum;
use std::f64::consts::TAU;

/// Rays of a star. Their places are the same for every star, so what is left of chance is common to all.
pub(super) struct FieldRays {
    /// For each ray: its place in the pupil, in units of the pupil's radius, and where atmosphere and pixels throw it, in standard
    /// deviations of their spread.
    rays: Vec<([f64; 2], [f64; 2])>,
    focal_ratio: f64,
}

/// Rays of a star: enough for diameters good to a hundredth (`tests::many_more_rays_give_the_same_diameter`).
const RAYS: usize = 2500;
/// Rounds in which the circle of the asymmetry finds its centre.
const CIRCLE_ROUNDS: usize = 4;
/// Half-flux diameter of a normal spread over its standard deviation, 2√(2 ln 2).
const NORMAL_DIAMETER: f64 = 2.354_820_045;
/// Root of x⁵ = x + 1: multiples of its powers fill four dimensions evenly (worked out by hand).
const EVEN: f64 = 1.167_303_978_261_418_7;

impl FieldRays {
    /// Rays through a ring.
    pub fn new(obstruction_ratio: f64, focal_ratio: f64) -> Self {
        FieldRays::of(RAYS, obstruction_ratio, focal_ratio)
    }

    /// That many rays.
    pub fn of(count: usize, obstruction_ratio: f64, focal_ratio: f64) -> Self {
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
        FieldRays {
            rays: rays.collect(),
            focal_ratio,
        }
    }

    /// Diameter of the circle round the centroid that holds half of the rays, metres.
    pub fn half_flux_diameter_m(&self, offset_m: f64, modes: &Modes, in_focus_m: f64) -> f64 {
        let landed = self.landed(offset_m, modes, in_focus_m);
        2.0 * half_radius_m(&landed, centre_m(&landed))
    }

    /// Mean of |r|²·(x, y) in the circle of some half-flux radii round its own centre, metres cubed.
    pub fn asymmetry_m3(
        &self,
        offset_m: f64,
        modes: &Modes,
        in_focus_m: f64,
        radii: f64,
    ) -> [f64; 2] {
        let landed = self.landed(offset_m, modes, in_focus_m);
        let mut centre = centre_m(&landed);
        let mut inside = Vec::new();
        for _ in 0..CIRCLE_ROUNDS {
            let reach_m = radii * half_radius_m(&landed, centre);
            let near = |p: &&[f64; 2]| (p[0] - centre[0]).hypot(p[1] - centre[1]) < reach_m;
            inside = landed.iter().filter(near).copied().collect();
            centre = centre_m(&inside);
        }
        let mut sum = [0.0; 2];
        for place in &inside {
            let [x, y] = [place[0] - centre[0], place[1] - centre[1]];
            let square = x * x + y * y;
            sum = [sum[0] + square * x, sum[1] + square * y];
        }
        sum.map(|s| s / inside.len().max(1) as f64)
    }

    /// Where the rays land, from the star's place.
    fn landed(&self, offset_m: f64, modes: &Modes, in_focus_m: f64) -> Vec<[f64; 2]> {
        let wavefront = ZernikeSum::new(modes);
        let sigma_m = in_focus_m / NORMAL_DIAMETER;
        let land = |([x, y], thrown): &([f64; 2], [f64; 2])| {
            let slope = wavefront.value_slope(*x, *y).slope;
            [0, 1].map(|axis| {
                let blur_m = offset_m * [x, y][axis] / (2.0 * self.focal_ratio);
                sigma_m * thrown[axis] - blur_m - 2.0 * self.focal_ratio * slope[axis]
            })
        };
        self.rays.iter().map(land).collect()
    }
}

fn centre_m(places: &[[f64; 2]]) -> [f64; 2] {
    let count = places.len().max(1) as f64;
    [0, 1].map(|axis| places.iter().map(|p| p[axis]).sum::<f64>() / count)
}

/// Radius of the circle round a centre that holds half of the places.
fn half_radius_m(places: &[[f64; 2]], centre: [f64; 2]) -> f64 {
    let apart = |p: &[f64; 2]| (p[0] - centre[0]).hypot(p[1] - centre[1]);
    median(&mut places.iter().map(apart).collect::<Vec<f64>>())
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
        let rays = FieldRays::new(obstruction, ratio);
        let point = rays.half_flux_diameter_m(0.0, &none, 6.0 * UM);
        assert_relative_eq!(point, 6.0 * UM, max_relative = 1e-2);
        let ring = rays.half_flux_diameter_m(400.0 * UM, &none, 0.0);
        let half = f64::sqrt(0.5 * (1.0 + obstruction * obstruction));
        assert_relative_eq!(ring, 400.0 * UM / ratio * half, max_relative = 1e-2);
    }

    #[test]
    fn many_more_rays_give_the_same_diameter() {
        let modes: Modes = [(8, 150.0 * NM), (7, -60.0 * NM), (6, 40.0 * NM)]
            .into_iter()
            .collect();
        for offset_m in [-60.0 * UM, 10.0 * UM, 60.0 * UM] {
            let of = |count: usize| {
                FieldRays::of(count, 0.42, 2.3).half_flux_diameter_m(offset_m, &modes, 5.5 * UM)
            };
            assert_relative_eq!(of(RAYS), of(60_000), max_relative = 1e-2);
        }
    }
}
