//! The moments of a star that its rays make, blurred by a normal spread and weighed by the window that the frame's own star was weighed by.
//!
//! Every ray lands somewhere and is blurred into a Gaussian; a Gaussian under a Gaussian window is a Gaussian again, whose moments are
//! known. So the moments of the star are sums over rays in closed form, whatever the blur. Lengths in metres, pupil axes.

use super::super::weighed::Weighed;
use crate::instrument::FocusLaw;
use crate::math::gauss_between;
use crate::state::Modes;
use crate::wavefront::ZernikeSum;
use std::f64::consts::TAU;

/// What the star's light does at its place in the field, beyond the design's own aberrations.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Light {
    /// Sensor beyond focus.
    pub offset_m: f64,
    /// [Noll 8, Noll 7].
    pub coma_m: [f64; 2],
    /// [Noll 6, Noll 5].
    pub astigmatism_m: [f64; 2],
    /// Noll 11.
    pub spherical_m: f64,
    /// Variance of the core of the blur along either axis.
    pub blur_m2: f64,
    /// Share of the light in the halo of the blur, whose variance is [`HALO_VARIANCES`] times as large.
    pub halo_share: f64,
    /// What is added to it: half of the difference of the variances along and across, by doubled angle.
    pub drift_m2: [f64; 2],
}

/// Moments as they are compared: pupil axes, metres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Moments {
    /// ⟨|r|²⟩, ⟨x²⟩ − ⟨y²⟩, 2⟨xy⟩, ⟨|r|² x⟩, ⟨|r|² y⟩, ⟨|r|⁴⟩.
    pub values: [f64; 6],
}

struct Ray {
    place: [f64; 2],
    weight: f64,
    /// tan u over ρ/(2N).
    steeper: f64,
    /// Slope of the design's own wavefront.
    design: [f64; 2],
}

/// The rays of a telescope.
pub(super) struct PupilRays {
    rays: Vec<Ray>,
    focal_ratio: f64,
}

/// Variance of the halo of a long exposure's blur over that of its core: two Gaussians laid through Kolmogorov's law within three widths of
/// it, weighed as the window weighs (fitted once with scipy; a share of 0.27 in the halo).
pub(super) const HALO_VARIANCES: f64 = 4.3;
/// The share of the halo that goes with it.
pub(super) const USUAL_HALO: f64 = 0.27;
const RINGS: usize = 5;
const SPOKES: usize = 16;
/// Rounds in which the window finds its centre.
const ROUNDS: usize = 12;
const AT_REST_SHARE: f64 = 1e-6;

impl PupilRays {
    /// Rays over the ring of a pupil, with the aberrations that the aligned telescope has on its axis.
    pub fn new(obstruction_ratio: f64, focal_ratio: f64, law: FocusLaw, design: &Modes) -> Self {
        let wavefront = ZernikeSum::new(design);
        let mut rays = Vec::with_capacity(RINGS * SPOKES);
        for (ring, (square, weight)) in gauss_between(obstruction_ratio.powi(2), 1.0, RINGS)
            .into_iter()
            .enumerate()
        {
            let rho = square.sqrt();
            let steeper = steeper(law, rho, focal_ratio);
            for spoke in 0..SPOKES {
                // every other ring stands between the spokes of its neighbours
                let angle = TAU * (spoke as f64 + 0.5 * (ring % 2) as f64) / SPOKES as f64;
                let place = [rho * libm::cos(angle), rho * libm::sin(angle)];
                rays.push(Ray {
                    place,
                    weight,
                    steeper,
                    design: wavefront.value_slope(place[0], place[1]).slope,
                });
            }
        }
        PupilRays { rays, focal_ratio }
    }

    /// Focal ratio of the telescope.
    pub fn focal_ratio(&self) -> f64 {
        self.focal_ratio
    }

    /// Where the rays land.
    fn landed(&self, light: &Light) -> Vec<([f64; 2], f64)> {
        let n2 = 2.0 * self.focal_ratio;
        let ([c8, c7], [a6, a5]) = (light.coma_m, light.astigmatism_m);
        let (r8, r6, r5) = (8f64.sqrt(), 6f64.sqrt(), 5f64.sqrt());
        let land = |ray: &Ray| {
            let [x, y] = ray.place;
            let square = x * x + y * y;
            let spherical = r5 * light.spherical_m * (24.0 * square - 12.0);
            let slope = [
                ray.design[0]
                    + r8 * (c8 * (9.0 * x * x + 3.0 * y * y - 2.0) + c7 * 6.0 * x * y)
                    + 2.0 * r6 * (a6 * x + a5 * y)
                    + spherical * x,
                ray.design[1]
                    + r8 * (c8 * 6.0 * x * y + c7 * (3.0 * x * x + 9.0 * y * y - 2.0))
                    + 2.0 * r6 * (a5 * x - a6 * y)
                    + spherical * y,
            ];
            let blur = light.offset_m * ray.steeper / n2;
            (
                [-n2 * slope[0] - blur * x, -n2 * slope[1] - blur * y],
                ray.weight,
            )
        };
        self.rays.iter().map(land).collect()
    }

    /// The moments under a window of this standard deviation.
    pub fn moments(&self, light: &Light, window_m: f64) -> Moments {
        let landed = self.landed(light);
        let w2 = window_m * window_m;
        let halo = light.halo_share.clamp(0.0, 0.9);
        let parts = [(1.0 - halo, 1.0), (halo, HALO_VARIANCES)]
            .map(|(share, wider)| Blur::of(light, wider, share, w2));
        let mut centre = mean(&landed);
        let mut sums = Sums::default();
        for _ in 0..ROUNDS {
            sums = Sums::default();
            for ([x, y], weight) in &landed {
                let place = [x - centre[0], y - centre[1]];
                for blur in &parts {
                    let [x, y] = place;
                    let [xx, xy, yy] = blur.inverse;
                    let pulled = [xx * x + xy * y, xy * x + yy * y];
                    let square = x * pulled[0] + y * pulled[1];
                    let weight = weight * blur.weight * libm::exp(-0.5 * square);
                    sums.add(weight, pulled.map(|p| w2 * p), blur.together);
                }
            }
            let step = sums.first.map(|s| s / sums.weight);
            let trace = (sums.second[0] + sums.second[2]) / sums.weight;
            let gain = 1.0 / (1.0 - 0.5 * trace / w2).clamp(0.3, 1.0);
            if step[0].hypot(step[1]) < AT_REST_SHARE * window_m {
                break;
            }
            centre = [centre[0] + gain * step[0], centre[1] + gain * step[1]];
        }
        sums.moments()
    }
}

/// Tangent of the angle at which the light of a height comes in, over what it is near the axis.
fn steeper(law: FocusLaw, rho: f64, focal_ratio: f64) -> f64 {
    match law {
        FocusLaw::Sine => {
            let sine = 0.5 * rho / focal_ratio;
            1.0 / (1.0 - sine * sine).sqrt()
        }
        FocusLaw::Paraboloid => {
            let half = 0.25 * rho / focal_ratio;
            1.0 / (1.0 - half * half)
        }
    }
}

/// A Gaussian of the blur under the window.
struct Blur {
    /// Its share of the light over what the window spreads it to.
    weight: f64,
    /// Inverse of the variances of window and blur added: xx, xy, yy.
    inverse: [f64; 3],
    /// Variances of the product of both.
    together: [f64; 3],
}

impl Blur {
    fn of(light: &Light, wider: f64, share: f64, w2: f64) -> Blur {
        let [along, across] = light.drift_m2;
        // no blur is less than nothing, however the fit tries
        let least = 1e-3 * w2;
        let blur_m2 = wider * light.blur_m2;
        let (xx, yy) = ((blur_m2 + along).max(least), (blur_m2 - along).max(least));
        let most = 0.99 * (xx * yy).sqrt();
        let xy = across.clamp(-most, most);
        let (sxx, syy) = (w2 + xx, w2 + yy);
        let determinant = sxx * syy - xy * xy;
        let inverse = [syy / determinant, -xy / determinant, sxx / determinant];
        Blur {
            weight: share * w2 / determinant.sqrt(),
            // blur · (window + blur)⁻¹ · window²
            together: [
                w2 * (xx * inverse[0] + xy * inverse[1]),
                w2 * (xx * inverse[1] + xy * inverse[2]),
                w2 * (xy * inverse[1] + yy * inverse[2]),
            ],
            inverse,
        }
    }
}

fn mean(landed: &[([f64; 2], f64)]) -> [f64; 2] {
    let weight: f64 = landed.iter().map(|ray| ray.1).sum();
    [0, 1].map(|axis| landed.iter().map(|ray| ray.0[axis] * ray.1).sum::<f64>() / weight)
}

#[derive(Default)]
struct Sums {
    weight: f64,
    first: [f64; 2],
    second: [f64; 3],
    third: [f64; 2],
    fourth: f64,
}

impl Sums {
    /// Adds a Gaussian with this mean and these variances.
    fn add(&mut self, weight: f64, [x, y]: [f64; 2], [xx, xy, yy]: [f64; 3]) {
        let square = x * x + y * y;
        self.weight += weight;
        self.first = [self.first[0] + weight * x, self.first[1] + weight * y];
        self.second[0] += weight * (x * x + xx);
        self.second[1] += weight * (x * y + xy);
        self.second[2] += weight * (y * y + yy);
        self.third[0] += weight * (x * (square + 3.0 * xx + yy) + 2.0 * y * xy);
        self.third[1] += weight * (y * (square + 3.0 * yy + xx) + 2.0 * x * xy);
        let trace = xx + yy;
        self.fourth += weight
            * ((square + trace).powi(2)
                + 2.0 * (xx * xx + 2.0 * xy * xy + yy * yy)
                + 4.0 * (x * x * xx + 2.0 * x * y * xy + y * y * yy));
    }

    fn moments(&self) -> Moments {
        let [xx, xy, yy] = self.second.map(|s| s / self.weight);
        Moments {
            values: [
                xx + yy,
                xx - yy,
                2.0 * xy,
                self.third[0] / self.weight,
                self.third[1] / self.weight,
                self.fourth / self.weight,
            ],
        }
    }
}

impl Moments {
    /// Those of a star of the frame, in metres and in axes whose unit vectors along x and y of the frame are `x` and `y`.
    pub fn of_frame(weighed: &Weighed, pixel_m: f64, [x, y]: [[f64; 2]; 2]) -> Moments {
        let [xx, xy, yy] = weighed.second_px2.map(|s| s * pixel_m * pixel_m);
        let turned = |a: usize, b: usize| {
            xx * x[a] * x[b] + xy * (x[a] * y[b] + y[a] * x[b]) + yy * y[a] * y[b]
        };
        let cube = pixel_m.powi(3);
        let third = |a: usize| cube * (weighed.third_px3[0] * x[a] + weighed.third_px3[1] * y[a]);
        Moments {
            values: [
                turned(0, 0) + turned(1, 1),
                turned(0, 0) - turned(1, 1),
                2.0 * turned(0, 1),
                third(0),
                third(1),
                weighed.fourth_px4 * pixel_m.powi(4),
            ],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{NM, UM};

    /// Against a plain sum over 200 000 rays, each thrown aside by the blur, weighed about the centre that makes the first moment vanish.
    #[test]
    fn the_moments_are_those_of_many_rays_thrown_one_by_one() {
        let rays = PupilRays::new(0.43, 2.4, FocusLaw::Sine, &Modes::none());
        let light = Light {
            offset_m: 31.0 * UM,
            coma_m: [140.0 * NM, -90.0 * NM],
            astigmatism_m: [60.0 * NM, 45.0 * NM],
            spherical_m: 20.0 * NM,
            blur_m2: (2.6 * UM).powi(2),
            halo_share: 0.0,
            drift_m2: [2.0 * UM * UM, -UM * UM],
        };
        let window_m = 6.0 * UM;
        let fine = PupilRays::new(0.43, 2.4, FocusLaw::Sine, &Modes::none());
        let base = fine.landed(&light);
        // the blur as a normal spread at Gauss-Hermite-like points: an even grid of quantiles of two independent directions
        let (xx, yy, xy) = (
            light.blur_m2 + light.drift_m2[0],
            light.blur_m2 - light.drift_m2[0],
            light.drift_m2[1],
        );
        let root = [xx.sqrt(), xy / xx.sqrt(), (yy - xy * xy / xx).sqrt()];
        let mut thrown = Vec::new();
        for step_x in -25..=25 {
            for step_y in -25..=25 {
                let (u, v) = (0.16 * f64::from(step_x), 0.16 * f64::from(step_y));
                let weight = (-0.5 * (u * u + v * v)).exp();
                for ([x, y], w) in &base {
                    thrown.push(([x + root[0] * u, y + root[1] * u + root[2] * v], w * weight));
                }
            }
        }
        let mut centre = mean(&thrown);
        let mut sums = Sums::default();
        for _ in 0..60 {
            sums = Sums::default();
            for ([x, y], w) in &thrown {
                let place = [x - centre[0], y - centre[1]];
                let window =
                    (-0.5 * (place[0].powi(2) + place[1].powi(2)) / window_m.powi(2)).exp();
                sums.add(w * window, place, [0.0; 3]);
            }
            centre = [0, 1].map(|axis| centre[axis] + 1.5 * sums.first[axis] / sums.weight);
        }
        let (found, wanted) = (rays.moments(&light, window_m).values, sums.moments().values);
        for (k, (found, wanted)) in found.into_iter().zip(wanted).enumerate() {
            let size = [2, 2, 2, 3, 3, 4][k];
            let scale = (5.0 * UM).powi(size);
            assert!(
                (found - wanted).abs() < 2e-3 * scale,
                "{k}: {found} {wanted}"
            );
        }
    }
}
