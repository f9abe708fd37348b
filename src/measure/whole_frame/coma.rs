//! The coma node from the asymmetry of the stars.
//!
//! Rays of a defocused star with coma have the third moment ⟨|r|² r⟩ = (q D² + p |C|²) C, with D the blur's radius and
//! C = −2N √8 · (Noll 8, Noll 7) the coma's: derived by averaging over the ring of the pupil (`sums`). Blurs that are alike on
//! both sides leave it as it is. Coma grows linearly from the node, so that three unknowns describe the field: the growth and the
//! two coordinates of the node. A star's third moment is summed within a circle, which holds a share of that of all rays.

use super::super::settings::WholeFrameSettings;
use super::descent::{Fit, descend};
use crate::axes::FieldM;
use crate::math::LeastSquares;
use crate::math::robust::median;

/// One star for the node.
#[derive(Debug, Clone, Copy)]
pub(super) struct Skewed {
    /// Place on the sensor from its centre, pupil axes.
    pub field_m: FieldM,
    /// Third moment, pupil axes.
    pub third_m3: [f64; 2],
    /// Standard deviation of either component.
    pub sigma_m3: f64,
    /// Sensor offset at the star.
    pub offset_m: f64,
    /// Blur's radius by defocus, |offset|/(2N).
    pub blur_m: f64,
    /// Share of the third moment of all rays that the circle of summation holds.
    pub share: f64,
}

/// Factors of the third moment, from averages over the ring of the pupil.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RingSums {
    /// Factor of D² C.
    pub q: f64,
    /// Factor of |C|² C.
    pub p: f64,
}

/// The field.
#[derive(Debug, Clone)]
pub(super) struct NodeFit {
    /// Growth in metres RMS per metre, node x and y in metres from the sensor's centre, pupil axes.
    pub fit: Fit,
    /// Standard deviation of the residuals over what was expected.
    pub scale: f64,
    /// Stars that took part.
    pub used: usize,
}

/// The rays of a telescope, as far as coma asks for them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct RingRays {
    /// Averages over its pupil.
    pub sums: RingSums,
    /// Length C of a ray for a metre RMS of coma: −2N √8.
    pub m_per_rms: f64,
}

/// Rounds of leaving out stars that lie far from the law, at most.
const ROUNDS: usize = 3;
/// Median of the length of a vector whose two components are normal with standard deviation 1: √(2 ln 2).
const MEDIAN_OF_LENGTH: f64 = 1.1774;
/// Steps of the node that matter to the descent, as a share of the frame's half diagonal.
const NODE_STEP_SHARE: f64 = 0.3;

/// Averages over a pupil with this linear obstruction.
pub(super) fn sums(obstruction_ratio: f64) -> RingSums {
    let e2 = obstruction_ratio * obstruction_ratio;
    let mean_square = 0.5 * (1.0 + e2);
    let mean_fourth = (1.0 + e2 + e2 * e2) / 3.0;
    // the mean ray: x² over the ring is half of ρ²
    let taken_off = 6.0 * mean_square;
    // the integrand is a cubic in s: enough for a millionth
    let steps = 400;
    let p = (0..steps)
        .map(|i| {
            // evenly over the area, s = ρ²
            let s = e2 + (1.0 - e2) * (f64::from(i) + 0.5) / f64::from(steps);
            let a = 3.0 * s - taken_off;
            a * a * a + 9.0 * a * a * s + 45.0 * a * s * s + 81.0 * s * s * s
        })
        .sum::<f64>()
        / f64::from(steps);
    RingSums {
        q: 15.0 * mean_fourth - 12.0 * mean_square * mean_square,
        p,
    }
}

/// Fits growth and node; `None` with too few stars or no sign of growth.
pub(super) fn fit(
    stars: &[Skewed],
    rays: RingRays,
    half_m: f64,
    settings: &WholeFrameSettings,
) -> Option<NodeFit> {
    let enough = |stars: &[Skewed]| stars.len() >= settings.node_stars_at_least;
    if !enough(stars) {
        return None;
    }
    let mut kept = stars.to_vec();
    let mut found = descend_from_line(&kept, rays, half_m)?;
    for _ in 0..ROUNDS {
        let apart = |star: &Skewed| {
            let [x, y] = residual(star, &found.values, rays);
            x.hypot(y)
        };
        let mut all: Vec<f64> = kept.iter().map(apart).collect();
        let scale = (median(&mut all) / MEDIAN_OF_LENGTH).max(1.0);
        let close: Vec<Skewed> = kept
            .iter()
            .copied()
            .filter(|star| apart(star) <= settings.outlier_sigma * scale)
            .collect();
        if close.len() == kept.len() {
            break;
        }
        kept = close;
        if !enough(&kept) {
            return None;
        }
        found = descend_from_line(&kept, rays, half_m)?;
    }
    let degrees = (2 * kept.len()).saturating_sub(3).max(1) as f64;
    Some(NodeFit {
        scale: (found.chi_square / degrees).sqrt().max(1.0),
        fit: found,
        used: kept.len(),
    })
}

/// Coma at a place for growth and node, metres RMS.
pub(super) fn coma_m(values: &[f64], field_m: FieldM) -> [f64; 2] {
    [0, 1].map(|axis| values[0] * (field_m[axis] - values[1 + axis]))
}

/// Third moment of all rays of a star with this coma.
pub(super) fn third_m3(star: &Skewed, coma_m: [f64; 2], rays: RingRays) -> [f64; 2] {
    let RingSums { q, p } = rays.sums;
    let ray_m = coma_m.map(|c| rays.m_per_rms * c);
    let square = ray_m[0] * ray_m[0] + ray_m[1] * ray_m[1];
    let factor = q * star.blur_m * star.blur_m + p * square;
    ray_m.map(|ray| factor * ray)
}

fn residual(star: &Skewed, values: &[f64], rays: RingRays) -> [f64; 2] {
    let all = third_m3(star, coma_m(values, star.field_m), rays);
    [0, 1].map(|axis| (star.third_m3[axis] - star.share * all[axis]) / star.sigma_m3)
}

/// Growth and node by descent on the third moments; it starts from the straight line through the coma that each star shows by itself.
fn descend_from_line(stars: &[Skewed], rays: RingRays, half_m: f64) -> Option<Fit> {
    let (mut columns, mut data) = (vec![Vec::new(); 3], Vec::new());
    for star in stars {
        let own = own_coma(star, rays);
        for axis in [0, 1] {
            columns[0].push(own.weight * star.field_m[axis]);
            columns[1].push(if axis == 0 { own.weight } else { 0.0 });
            columns[2].push(if axis == 1 { own.weight } else { 0.0 });
            data.push(own.weight * own.coma_m[axis]);
        }
    }
    let line = LeastSquares::new(columns, &[0.0; 3]).solve(&data);
    if line[0] == 0.0 || !line.iter().all(|v| v.is_finite()) {
        return None;
    }
    let start = [line[0], -line[1] / line[0], -line[2] / line[0]];
    let step_m = NODE_STEP_SHARE * half_m;
    let scales = [line[0].abs(), step_m, step_m];
    let residuals = |p: &[f64]| -> Vec<f64> {
        stars
            .iter()
            .flat_map(|star| residual(star, p, rays))
            .collect()
    };
    Some(descend(&start, &scales, &residuals))
}

struct OwnComa {
    coma_m: [f64; 2],
    weight: f64,
}

/// The coma that gives this third moment: the one root of (q D² + p c²) c = |T|, by Newton from above.
fn own_coma(star: &Skewed, rays: RingRays) -> OwnComa {
    let (ring, ray_per_rms) = (rays.sums, rays.m_per_rms);
    let size = star.third_m3[0].hypot(star.third_m3[1]) / star.share;
    let linear = ring.q * star.blur_m * star.blur_m;
    let mut root = libm::cbrt(size / ring.p);
    for _ in 0..40 {
        let slope = linear + 3.0 * ring.p * root * root;
        if slope <= 0.0 {
            break;
        }
        root -= ((linear + ring.p * root * root) * root - size) / slope;
    }
    let slope = linear + 3.0 * ring.p * root * root;
    let per = if size > 0.0 {
        root / (size * star.share) / ray_per_rms
    } else {
        0.0
    };
    OwnComa {
        coma_m: star.third_m3.map(|t| per * t),
        weight: slope * ray_per_rms.abs() / star.sigma_m3,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The averages against a plain sum over rays of W = D ρ²/2 and coma, 400 × 400 of them.
    #[test]
    fn the_sums_are_those_of_rays() {
        for obstruction in [0.0, 0.43] {
            for (d, c) in [(1.0, 1e-3), (0.0, 1.0), (0.7, 0.4)] {
                let rays: Vec<[f64; 2]> = (0..160_000)
                    .map(|i| {
                        [f64::from(i % 400), f64::from(i / 400)].map(|k| (k + 0.5) / 200.0 - 1.0)
                    })
                    .filter(|[x, y]| x.hypot(*y) < 1.0 && x.hypot(*y) > obstruction)
                    .map(|[x, y]| {
                        let square = x * x + y * y;
                        [
                            d * x + c * (3.0 * square - 2.0 + 6.0 * x * x),
                            d * y + c * 6.0 * x * y,
                        ]
                    })
                    .collect();
                let count = rays.len() as f64;
                let mean = [0, 1].map(|axis| rays.iter().map(|r| r[axis]).sum::<f64>() / count);
                let third = rays
                    .iter()
                    .map(|r| {
                        let [x, y] = [r[0] - mean[0], r[1] - mean[1]];
                        (x * x + y * y) * x
                    })
                    .sum::<f64>()
                    / count;
                let ring = sums(obstruction);
                let expected = (ring.q * d * d + ring.p * c * c) * c;
                assert!(
                    (third / expected - 1.0).abs() < 0.02,
                    "{third} against {expected}"
                );
            }
        }
    }
}
