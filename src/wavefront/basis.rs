//! Other ways to name an aberration, converted exactly to Noll modes over the full circle: annular Zernikes and Seidel sums.
//!
//! Source: V. N. Mahajan, J. Opt. Soc. Am. 71, 75 (1981), annular polynomials by Gram-Schmidt over the annulus;
//! Seidel terms after J. C. Wyant and K. Creath, Basic Wavefront Aberration Theory (1992), from memory.

use super::zernike::{ZernikeSum, noll_index, noll_n_m};
use crate::math::gauss_between;
use crate::state::Modes;

/// Peak coefficients at the pupil edge, in metres; directions are azimuths in pupil axes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Seidel {
    /// W020 ρ².
    pub defocus_m: f64,
    /// W040 ρ⁴.
    pub spherical_m: f64,
    /// W131 ρ³ cos(θ − azimuth).
    pub coma_m: f64,
    /// Direction of the coma.
    pub coma_azimuth_rad: f64,
    /// W222 ρ² cos²(θ − azimuth).
    pub astigmatism_m: f64,
    /// Direction of the astigmatism.
    pub astigmatism_azimuth_rad: f64,
    /// W111 ρ cos(θ − azimuth).
    pub tilt_m: f64,
    /// Direction of the tilt.
    pub tilt_azimuth_rad: f64,
}

/// The same wavefront in Noll modes (piston dropped).
///
/// ```
/// use skewstar::wavefront::{seidel_to_noll, Seidel};
/// let coma = seidel_to_noll(&Seidel { coma_m: 1e-6, ..Seidel::default() });
/// assert!((coma.get(8) - 1e-6 / 72f64.sqrt()).abs() < 1e-18);
/// assert!((coma.get(2) - 1e-6 / 3.0).abs() < 1e-18); // a Seidel coma also carries tilt
/// ```
pub fn seidel_to_noll(seidel: &Seidel) -> Modes {
    let mut modes = Modes::none();
    modes.add(4, seidel.defocus_m / (2.0 * 3f64.sqrt()));
    modes.add(11, seidel.spherical_m / (6.0 * 5f64.sqrt()));
    modes.add(4, seidel.spherical_m / (2.0 * 3f64.sqrt()));
    let (sin, cos) = seidel.coma_azimuth_rad.sin_cos();
    for (noll, part) in [(8, cos), (7, sin)] {
        modes.add(noll, part * seidel.coma_m / (3.0 * 8f64.sqrt()));
    }
    for (noll, part) in [(2, cos), (3, sin)] {
        modes.add(noll, part * seidel.coma_m / 3.0);
    }
    let (sin, cos) = (2.0 * seidel.astigmatism_azimuth_rad).sin_cos();
    modes.add(4, seidel.astigmatism_m / (4.0 * 3f64.sqrt()));
    modes.add(6, cos * seidel.astigmatism_m / (2.0 * 6f64.sqrt()));
    modes.add(5, sin * seidel.astigmatism_m / (2.0 * 6f64.sqrt()));
    let (sin, cos) = seidel.tilt_azimuth_rad.sin_cos();
    modes.add(2, cos * seidel.tilt_m / 2.0);
    modes.add(3, sin * seidel.tilt_m / 2.0);
    modes
}

/// Annular Zernike modes (mean square 1 over the annulus, ρ = 1 at the outer edge) as full-circle Noll modes.
///
/// An annular polynomial is an exact sum of the full-circle ones of the same azimuthal frequency and no higher order.
/// `obstruction_ratio` is the inner over the outer diameter, 0 included. Piston is dropped. Up to [`HIGHEST_ANNULAR`], the mean
/// square over the annulus is 1 within 1e-7 for any obstruction up to 0.95 (`annular_modes_keep_their_norm`).
pub fn annular_to_noll(annular: &Modes, obstruction_ratio: f64) -> Modes {
    let mut modes = Modes::none();
    for (noll, coefficient) in annular.iter() {
        let (n, m) = noll_n_m(noll);
        for (order, weight) in annular_in_full(n, m.unsigned_abs(), obstruction_ratio) {
            modes.add(noll_index(order, m), coefficient * weight);
        }
    }
    modes
}

/// Coefficients of ρ^m, ρ^(m+2), … ρ^n of the annular radial polynomial with Noll's norm included: for reading beside printed
/// tables; powers lose digits with the order, so values are made by [`annular_to_noll`].
pub fn annular_radial(n: u32, m: u32, obstruction_ratio: f64) -> Vec<f64> {
    let angular = if m == 0 { 1.0 } else { 0.5 }; // mean of cos² over azimuth
    let inner = |a: &[f64], b: &[f64]| {
        let mut sum = 0.0;
        for (i, x) in a.iter().enumerate() {
            for (j, y) in b.iter().enumerate() {
                sum += x * y * mean_power(2 * m + 2 * (i + j) as u32, obstruction_ratio);
            }
        }
        angular * sum
    };
    let mut basis: Vec<Vec<f64>> = Vec::new();
    for k in 0..=((n - m) / 2) as usize {
        let mut next = vec![0.0; k + 1];
        next[k] = 1.0;
        for _ in 0..2 {
            // twice: Gram-Schmidt loses digits on monomials, the second pass gives them back
            for lower in &basis {
                let overlap = inner(&next, lower);
                for (target, value) in next.iter_mut().zip(lower) {
                    *target -= overlap * value;
                }
            }
        }
        let norm = inner(&next, &next).sqrt();
        next.iter_mut().for_each(|value| *value /= norm);
        basis.push(next);
    }
    basis.pop().unwrap_or_default()
}

/// Mean of ρ^p over the annulus.
fn mean_power(p: u32, obstruction_ratio: f64) -> f64 {
    let e = obstruction_ratio;
    let q = p as i32 + 2;
    2.0 * (1.0 - e.powi(q)) / (f64::from(q) * (1.0 - e * e))
}

/// Highest annular mode: beyond it a polynomial that is tame over a thin annulus is so wild in the dark middle that its parts
/// on the full circle cancel beyond double precision.
pub const HIGHEST_ANNULAR: u32 = 66;

/// The annular polynomial (n, m) as pairs of (full-circle order, coefficient of the Noll polynomial).
///
/// In t = ρ² it is a polynomial of degree (n − m)/2, orthogonal under the weight t^m between ε² and 1: found by Stieltjes'
/// recurrence on Gauss points, which loses no digits, and projected on the full circle's polynomials at Gauss points of 0..1.
fn annular_in_full(n: u32, m: u32, obstruction_ratio: f64) -> Vec<(u32, f64)> {
    let degree = ((n - m) / 2) as usize;
    let angular = if m == 0 { 1.0 } else { 0.5 }; // mean of cos² over azimuth
    let dark = obstruction_ratio * obstruction_ratio;
    let points = degree + m as usize / 2 + 2;
    let over_annulus: Vec<(f64, f64)> = gauss_between(dark, 1.0, points)
        .into_iter()
        .map(|(t, w)| (t, angular * w * t.powi(m as i32) / (1.0 - dark)))
        .collect();
    let steps = stieltjes(&over_annulus, degree);
    let over_disc = gauss_between(0.0, 1.0, points);
    (0..=degree)
        .map(|k| {
            let order = m + 2 * k as u32;
            let full = ZernikeSum::new(&[(noll_index(order, m as i32), 1.0)].into_iter().collect());
            let full = |rho: f64| {
                if order == 0 {
                    1.0
                } else {
                    full.value(rho, 0.0)
                }
            }; // modes hold no piston
            let weight: f64 = over_disc
                .iter()
                .map(|(t, w)| {
                    let rho = t.sqrt();
                    angular * w * steps.value(*t) * rho.powi(m as i32) * full(rho)
                })
                .sum();
            (order, weight)
        })
        .collect()
}

/// A polynomial of mean square 1, by the recurrence that makes it.
struct Recurrence {
    /// a and b of p_{k+1} = (t − a) p_k − b p_{k−1}.
    steps: Vec<[f64; 2]>,
    norm: f64,
}

impl Recurrence {
    fn value(&self, t: f64) -> f64 {
        let (mut before, mut here) = (0.0, 1.0);
        for [a, b] in &self.steps {
            (before, here) = (here, (t - a) * here - b * before);
        }
        here / self.norm
    }
}

/// The orthogonal polynomial of a degree for weighted points. Source: W. Gautschi, Orthogonal Polynomials (2004), 2.2, from memory.
fn stieltjes(points: &[(f64, f64)], degree: usize) -> Recurrence {
    let mut steps = Vec::new();
    let (mut before, mut here) = (vec![0.0; points.len()], vec![1.0; points.len()]);
    let square = |values: &[f64], moment: i32| -> f64 {
        let terms = points.iter().zip(values);
        terms.map(|((t, w), v)| w * v * v * t.powi(moment)).sum()
    };
    let mut last_norm = f64::INFINITY;
    for _ in 0..degree {
        let norm = square(&here, 0);
        let (a, b) = (square(&here, 1) / norm, norm / last_norm);
        let next = (0..points.len()).map(|i| (points[i].0 - a) * here[i] - b * before[i]);
        (before, here) = (here.clone(), next.collect());
        steps.push([a, b]);
        last_norm = norm;
    }
    Recurrence {
        steps,
        norm: square(&here, 0).sqrt(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    #[test]
    fn seidel_sum_equals_its_definition_at_a_point() {
        let seidel = Seidel {
            defocus_m: 0.7,
            spherical_m: -0.4,
            coma_m: 0.9,
            coma_azimuth_rad: 0.6,
            astigmatism_m: -0.3,
            astigmatism_azimuth_rad: 1.9,
            tilt_m: 0.25,
            tilt_azimuth_rad: -2.2,
        };
        let sum = ZernikeSum::new(&seidel_to_noll(&seidel));
        let direct = |rho: f64, theta: f64| {
            seidel.defocus_m * rho.powi(2)
                + seidel.spherical_m * rho.powi(4)
                + seidel.coma_m * rho.powi(3) * (theta - seidel.coma_azimuth_rad).cos()
                + seidel.astigmatism_m
                    * rho.powi(2)
                    * (theta - seidel.astigmatism_azimuth_rad).cos().powi(2)
                + seidel.tilt_m * rho * (theta - seidel.tilt_azimuth_rad).cos()
        };
        let piston = sum.value(0.0, 0.0); // direct is 0 at the centre
        for (rho, theta) in [(0.35f64, 0.2f64), (0.8, 2.7), (1.0, -1.1)] {
            let got = sum.value(rho * theta.cos(), rho * theta.sin()) - piston;
            assert_abs_diff_eq!(got, direct(rho, theta), epsilon = 1e-13);
        }
    }

    #[test]
    fn annular_conversion_keeps_every_value_up_to_piston() {
        let e = 0.43;
        let (x, y) = (0.3f64, 0.6f64);
        for noll in 2..=22 {
            let (n, m) = noll_n_m(noll);
            let a = m.unsigned_abs();
            let radial: f64 = annular_radial(n, a, e)
                .iter()
                .enumerate()
                .map(|(k, c)| c * x.hypot(y).powi((a as usize + 2 * k) as i32))
                .sum();
            let angle = f64::from(a) * y.atan2(x);
            let direct = radial * if m < 0 { angle.sin() } else { angle.cos() };
            let sum = ZernikeSum::new(&annular_to_noll(&[(noll, 1.0)].into_iter().collect(), e));
            let piston: f64 = annular_in_full(n, a, e)
                .iter()
                .filter(|p| p.0 == 0)
                .map(|p| p.1)
                .sum();
            assert_abs_diff_eq!(sum.value(x, y) + piston, direct, epsilon = 1e-11);
        }
    }

    /// Their mean square over the annulus, by Gauss points in ρ² and even azimuths, and their products with one another.
    #[test]
    fn annular_modes_keep_their_norm() {
        for (ratio, allowed) in [
            (0.0, 1e-12),
            (0.2, 1e-12),
            (0.43, 1e-12),
            (0.8, 1e-10),
            (0.95, 1e-7),
        ] {
            let mut worst = 0.0f64;
            let sums: Vec<ZernikeSum> = (2..=HIGHEST_ANNULAR)
                .map(|noll| {
                    ZernikeSum::new(&annular_to_noll(
                        &[(noll, 1.0)].into_iter().collect(),
                        ratio,
                    ))
                })
                .collect();
            let mut points = Vec::new();
            for (t, w) in gauss_between(ratio * ratio, 1.0, 14) {
                for spoke in 0..32 {
                    let angle = std::f64::consts::TAU * f64::from(spoke) / 32.0;
                    let (x, y) = (t.sqrt() * angle.cos(), t.sqrt() * angle.sin());
                    points.push((x, y, w / (1.0 - ratio * ratio) / 32.0));
                }
            }
            let mean = |a: &[f64], b: &[f64]| -> f64 {
                let terms = points.iter().zip(a).zip(b);
                terms.map(|((p, a), b)| p.2 * a * b).sum()
            };
            let ones = vec![1.0; points.len()];
            let values: Vec<Vec<f64>> = sums
                .iter()
                .map(|sum| points.iter().map(|p| sum.value(p.0, p.1)).collect())
                .map(|values: Vec<f64>| {
                    let piston = mean(&values, &ones); // it was dropped
                    values.iter().map(|v| v - piston).collect()
                })
                .collect();
            for (i, a) in values.iter().enumerate() {
                for (j, b) in values[..=i].iter().enumerate() {
                    let expected = if i == j { 1.0 } else { 0.0 };
                    worst = worst.max((mean(a, b) - expected).abs());
                }
            }
            println!("obstruction {ratio}: {worst:.1e}");
            assert!(worst < allowed, "obstruction {ratio}: {worst:.1e}");
        }
    }
}
