//! Zernike polynomials in Noll's order: index, value and slope of a sum of them, by a recurrence that is stable at any order.
//!
//! Normalisation: mean square 1 over the unit disc, so that a coefficient is an RMS. Even indices are cosines, odd ones
//! sines; the azimuth runs from +x towards +y. This file knows the full circle only; see `basis.rs` for annular ones.
//!
//! Source: R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), eqs. (1)-(3); radial part as a Jacobi polynomial,
//! R_n^m(ρ) = ρ^m P_k^(0,m)(2ρ² − 1) with k = (n − m)/2, and its three-term recurrence (Abramowitz and Stegun 22.7.1).

use crate::state::Modes;

/// Radial order and azimuthal frequency of a Noll index.
///
/// `m > 0` is cos(mθ), `m < 0` is sin(|m|θ).
///
/// ```
/// use skewstar::wavefront::noll_n_m;
/// assert_eq!(noll_n_m(7), (3, -1)); // odd index: the sine term, coma along y
/// assert_eq!(noll_n_m(8), (3, 1));
/// ```
///
/// # Panics
/// If `noll` is 0: the order starts at 1.
pub fn noll_n_m(noll: u32) -> (u32, i32) {
    assert!(noll >= 1, "Noll's order starts at 1");
    let mut n = 0;
    while (n + 1) * (n + 2) / 2 < noll {
        n += 1;
    }
    let place = noll - n * (n + 1) / 2; // 1 ..= n + 1
    let m = if n % 2 == 0 {
        2 * (place / 2)
    } else {
        2 * place.div_ceil(2) - 1
    } as i32;
    (n, if noll.is_multiple_of(2) { m } else { -m })
}

/// The Noll index of a radial order and a signed azimuthal frequency; the inverse of [`noll_n_m`].
pub fn noll_index(n: u32, m: i32) -> u32 {
    let first = n * (n + 1) / 2 + 1;
    (first..=first + n)
        .find(|&noll| noll_n_m(noll) == (n, m))
        .unwrap_or(first)
}

/// Noll's normalisation factor: √(n + 1) for m = 0, √(2(n + 1)) otherwise.
pub fn noll_norm(n: u32, m: i32) -> f64 {
    f64::from(if m == 0 { n + 1 } else { 2 * (n + 1) }).sqrt()
}

/// A sum of Zernike terms prepared for evaluation at many points.
#[derive(Debug, Clone, Default)]
pub struct ZernikeSum {
    groups: Vec<AzimuthalTerms>,
}

/// All terms of one azimuthal frequency.
#[derive(Debug, Clone)]
struct AzimuthalTerms {
    m: u32,
    /// Coefficients of cos(mθ) and sin(mθ), times the norm, by k = (n − m)/2.
    weights: Vec<[f64; 2]>,
    /// P_k = (a u + b) P_{k−1} − c P_{k−2}, for k = 2, 3, …
    recurrence: Vec<[f64; 3]>,
}

/// Value and slope of a function on the unit disc.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ValueSlope {
    /// The value.
    pub value: f64,
    /// Derivative along x and y, per pupil radius.
    pub slope: [f64; 2],
}

impl ZernikeSum {
    /// Prepares the sum of `modes`, in the unit of their coefficients.
    pub fn new(modes: &Modes) -> Self {
        let mut groups: Vec<AzimuthalTerms> = Vec::new();
        for (noll, coefficient) in modes.iter() {
            let (n, m) = noll_n_m(noll);
            let weight = coefficient * noll_norm(n, m);
            let (frequency, k) = (m.unsigned_abs(), ((n - m.unsigned_abs()) / 2) as usize);
            let at = match groups.iter().position(|g| g.m == frequency) {
                Some(at) => at,
                None => {
                    groups.push(AzimuthalTerms {
                        m: frequency,
                        weights: Vec::new(),
                        recurrence: Vec::new(),
                    });
                    groups.len() - 1
                }
            };
            groups[at].add(k, weight, m < 0);
        }
        ZernikeSum { groups }
    }

    /// Value at (x, y) in pupil radii. Points outside the unit disc continue the polynomial.
    pub fn value(&self, x: f64, y: f64) -> f64 {
        self.groups.iter().map(|group| group.value(x, y)).sum()
    }

    /// Value and slope at (x, y) in pupil radii.
    pub fn value_slope(&self, x: f64, y: f64) -> ValueSlope {
        let mut total = ValueSlope::default();
        for group in &self.groups {
            let part = group.value_slope(x, y);
            total.value += part.value;
            total.slope[0] += part.slope[0];
            total.slope[1] += part.slope[1];
        }
        total
    }
}

impl AzimuthalTerms {
    fn add(&mut self, k: usize, weight: f64, is_sine: bool) {
        if self.weights.len() <= k {
            self.weights.resize(k + 1, [0.0; 2]);
        }
        while self.recurrence.len() + 1 < self.weights.len() {
            self.recurrence
                .push(jacobi_step(self.recurrence.len() + 2, f64::from(self.m)));
        }
        self.weights[k][usize::from(is_sine)] += weight;
    }

    fn value(&self, x: f64, y: f64) -> f64 {
        let u = 2.0 * (x * x + y * y) - 1.0;
        let (mut cosine, mut sine) = (self.weights[0][0], self.weights[0][1]);
        let (mut before, mut now) = (0.0, 1.0);
        for k in 1..self.weights.len() {
            let [a, b, c] = self.step(k);
            (before, now) = (now, (a * u + b) * now - c * before);
            cosine += self.weights[k][0] * now;
            sine += self.weights[k][1] * now;
        }
        let (re, im) = complex_power(x, y, self.m);
        cosine * re + sine * im
    }

    fn value_slope(&self, x: f64, y: f64) -> ValueSlope {
        let u = 2.0 * (x * x + y * y) - 1.0;
        let [mut cosine, mut sine] = self.weights[0];
        let [mut cosine_du, mut sine_du] = [0.0; 2];
        let (mut before, mut now, mut before_du, mut now_du) = (0.0, 1.0, 0.0, 0.0);
        for k in 1..self.weights.len() {
            let [a, b, c] = self.step(k);
            let next_du = a * now + (a * u + b) * now_du - c * before_du;
            (before, now) = (now, (a * u + b) * now - c * before);
            (before_du, now_du) = (now_du, next_du);
            cosine += self.weights[k][0] * now;
            sine += self.weights[k][1] * now;
            cosine_du += self.weights[k][0] * now_du;
            sine_du += self.weights[k][1] * now_du;
        }
        let (re, im) = complex_power(x, y, self.m);
        let radial_du = cosine_du * re + sine_du * im;
        let m = f64::from(self.m);
        let (re1, im1) = if self.m == 0 {
            (0.0, 0.0)
        } else {
            complex_power(x, y, self.m - 1)
        };
        ValueSlope {
            value: cosine * re + sine * im,
            slope: [
                4.0 * x * radial_du + m * (cosine * re1 + sine * im1),
                4.0 * y * radial_du + m * (sine * re1 - cosine * im1),
            ],
        }
    }

    fn step(&self, k: usize) -> [f64; 3] {
        if k == 1 {
            let half = 0.5 * (f64::from(self.m) + 2.0);
            [half, 1.0 - half, 0.0]
        } else {
            self.recurrence[k - 2]
        }
    }
}

/// Coefficients of P_k^(0,m) = (a u + b) P_{k−1} − c P_{k−2}, k ≥ 2.
fn jacobi_step(k: usize, m: f64) -> [f64; 3] {
    let k = k as f64;
    let s = 2.0 * k + m;
    let scale = 1.0 / (2.0 * k * (k + m) * (s - 2.0));
    [
        (s - 1.0) * s * (s - 2.0) * scale,
        -(s - 1.0) * m * m * scale,
        2.0 * (k - 1.0) * (k + m - 1.0) * s * scale,
    ]
}

/// Real and imaginary part of (x + iy)^m, that is ρ^m cos(mθ) and ρ^m sin(mθ).
fn complex_power(x: f64, y: f64, m: u32) -> (f64, f64) {
    let (mut re, mut im) = (1.0, 0.0);
    for _ in 0..m {
        (re, im) = (re * x - im * y, re * y + im * x);
    }
    (re, im)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn single(noll: u32) -> ZernikeSum {
        ZernikeSum::new(&[(noll, 1.0)].into_iter().collect())
    }

    #[test]
    fn index_and_its_inverse_agree() {
        for noll in 1..=861 {
            let (n, m) = noll_n_m(noll);
            assert_eq!(noll_index(n, m), noll);
        }
    }

    /// Slow twin: the explicit factorial sum for R_n^m (Noll, eq. 2), good to n = 12 in double precision.
    #[test]
    fn recurrence_equals_factorial_sum() {
        let factorial = |n: u32| (1..=n).map(f64::from).product::<f64>();
        let (rho, theta) = (0.83f64, 2.1f64);
        for noll in 2..=91 {
            let (n, m) = noll_n_m(noll);
            let a = m.unsigned_abs();
            let radial: f64 = (0..=(n - a) / 2)
                .map(|s| {
                    let sign = if s % 2 == 0 { 1.0 } else { -1.0 };
                    sign * factorial(n - s)
                        / (factorial(s) * factorial((n + a) / 2 - s) * factorial((n - a) / 2 - s))
                        * rho.powi((n - 2 * s) as i32)
                })
                .sum();
            let angle = f64::from(a) * theta;
            let expected = noll_norm(n, m) * radial * if m < 0 { angle.sin() } else { angle.cos() };
            let got = single(noll).value(rho * theta.cos(), rho * theta.sin());
            assert_abs_diff_eq!(got, expected, epsilon = 1e-10 * f64::from(noll));
        }
    }

    /// |R_n^m(1)| = 1 for every order: a recurrence that lost digits would not keep it at n = 40.
    #[test]
    fn stays_exact_at_the_edge_for_high_orders() {
        for noll in [700, 750, 800, 861] {
            let (n, m) = noll_n_m(noll);
            let theta = 0.3f64;
            let angle = f64::from(m.unsigned_abs()) * theta;
            let expected = noll_norm(n, m) * if m < 0 { angle.sin() } else { angle.cos() };
            assert_abs_diff_eq!(
                single(noll).value(theta.cos(), theta.sin()),
                expected,
                epsilon = 1e-9
            );
        }
    }

    #[test]
    fn slope_equals_central_difference() {
        let modes: Modes = (2..=30)
            .map(|noll| (noll, 0.1 * f64::from(noll % 7) - 0.25))
            .collect();
        let sum = ZernikeSum::new(&modes);
        let (x, y, h) = (0.41, -0.57, 1e-6);
        let got = sum.value_slope(x, y);
        assert_abs_diff_eq!(got.value, sum.value(x, y), epsilon = 1e-12);
        assert_abs_diff_eq!(
            got.slope[0],
            (sum.value(x + h, y) - sum.value(x - h, y)) / (2.0 * h),
            epsilon = 1e-7
        );
        assert_abs_diff_eq!(
            got.slope[1],
            (sum.value(x, y + h) - sum.value(x, y - h)) / (2.0 * h),
            epsilon = 1e-7
        );
    }
}
