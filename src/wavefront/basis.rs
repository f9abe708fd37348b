//! Other ways to name an aberration, converted exactly to Noll modes over the full circle: annular Zernikes and Seidel sums.
//!
//! Source: V. N. Mahajan, J. Opt. Soc. Am. 71, 75 (1981), annular polynomials by Gram-Schmidt over the annulus;
//! Seidel terms after J. C. Wyant and K. Creath, Basic Wavefront Aberration Theory (1992), from memory.

use super::zernike::{noll_index, noll_n_m, noll_norm};
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
/// `obstruction_ratio` is the inner over the outer diameter, 0 included. Piston is dropped.
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

/// Coefficients of ρ^m, ρ^(m+2), … ρ^n of the annular radial polynomial with Noll's norm included.
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

/// The annular polynomial (n, m) as pairs of (full-circle order, coefficient of the Noll polynomial).
fn annular_in_full(n: u32, m: u32, obstruction_ratio: f64) -> Vec<(u32, f64)> {
    let mut rest = annular_radial(n, m, obstruction_ratio);
    let mut parts = Vec::new();
    for k in (0..rest.len()).rev() {
        let order = m + 2 * k as u32;
        let full: Vec<f64> = full_radial(order, m)
            .iter()
            .map(|c| c * noll_norm(order, m as i32))
            .collect();
        let weight = rest[k] / full[k];
        for (target, value) in rest.iter_mut().zip(&full) {
            *target -= weight * value;
        }
        parts.push((order, weight));
    }
    parts
}

/// Coefficients of ρ^m, ρ^(m+2), … ρ^n of R_n^m (Noll, eq. 2), lowest first.
fn full_radial(n: u32, m: u32) -> Vec<f64> {
    let factorial = |n: u32| (1..=n).map(f64::from).product::<f64>();
    (0..=(n - m) / 2)
        .rev()
        .map(|s| {
            let sign = if s % 2 == 0 { 1.0 } else { -1.0 };
            sign * factorial(n - s)
                / (factorial(s) * factorial((n + m) / 2 - s) * factorial((n - m) / 2 - s))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wavefront::ZernikeSum;
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
}
