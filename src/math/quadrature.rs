//! Integrals of smooth functions from few points: Gauss and Legendre.

/// Nodes and weights on −1..1, exact for polynomials of degree 2 `count` − 1, by Newton's iteration on the polynomial.
/// Source: Abramowitz and Stegun, 25.4.29 and 25.4.30.
pub fn gauss_legendre(count: usize) -> Vec<(f64, f64)> {
    let degree = count as f64;
    (0..count)
        .map(|number| {
            let mut x = libm::cos(std::f64::consts::PI * (number as f64 + 0.75) / (degree + 0.5));
            let mut slope = 1.0;
            for _ in 0..20 {
                let (mut before, mut here) = (1.0, x);
                for k in 2..=count {
                    let k = k as f64;
                    (before, here) = (here, ((2.0 * k - 1.0) * x * here - (k - 1.0) * before) / k);
                }
                slope = degree * (x * here - before) / (x * x - 1.0);
                x -= here / slope;
            }
            (x, 2.0 / ((1.0 - x * x) * slope * slope))
        })
        .collect()
}

/// The same on `low`..`high`.
pub fn gauss_between(low: f64, high: f64, count: usize) -> Vec<(f64, f64)> {
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
    let nodes = gauss_legendre(count).into_iter();
    nodes.map(|(x, w)| (middle + half * x, half * w)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Powers against ∫ x^p dx = (b^(p+1) − a^(p+1))/(p + 1).
    #[test]
    fn powers_are_exact_up_to_twice_the_points() {
        for count in [1usize, 2, 7, 32] {
            for power in 0..2 * count as i32 {
                let (a, b) = (0.2f64, 1.1f64);
                let exact = (b.powi(power + 1) - a.powi(power + 1)) / f64::from(power + 1);
                let sum: f64 = gauss_between(a, b, count)
                    .iter()
                    .map(|(x, w)| w * x.powi(power))
                    .sum();
                assert_abs_diff_eq!(sum, exact, epsilon = 1e-13 * b.powi(power + 1));
            }
        }
    }
}
