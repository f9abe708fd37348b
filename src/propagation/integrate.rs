//! Weights that add sub-samples of an irradiance to its integral over a square cell, right to sixth order in frequency.
//!
//! The plain sum over sub-samples of width d is the integral times (πdν)/sin(πdν) at spatial frequency ν. The series
//! sin(θ)/θ with z = sin θ, z/asin z = 1 − z²/6 − 17z⁴/360 − 367z⁶/15120 …, and z² = −δ²/4 (δ² the second difference)
//! takes that factor out again with three neighbours on each side.

/// Neighbours on each side of a cell that its integral needs.
pub const MARGIN: usize = 3;

/// Weights of sub-samples −3 … count+2 for the integral over `count` sub-samples, in units of one sub-sample's width.
///
/// # Accuracy
/// Of a cosine's amplitude, with one sub-sample a cell: 2e-5 at a quarter of the sampling limit, 3e-3 at half of it, 0.15 at the
/// limit itself (`propagation::integrate::tests`). A star's light near the limit is small: its spectrum falls to zero there.
pub fn box_weights(count: usize) -> Vec<f64> {
    // 1 + δ²/24 − 17δ⁴/5760 + 367δ⁶/967680
    let (a, b, c) = (1.0 / 24.0, -17.0 / 5760.0, 367.0 / 967_680.0);
    let taps = [
        c,
        b - 6.0 * c,
        a - 4.0 * b + 15.0 * c,
        1.0 - 2.0 * a + 6.0 * b - 20.0 * c,
        a - 4.0 * b + 15.0 * c,
        b - 6.0 * c,
        c,
    ];
    let mut weights = vec![0.0; count + 2 * MARGIN];
    for start in 0..count {
        for (offset, tap) in taps.iter().enumerate() {
            weights[start + offset] += tap;
        }
    }
    weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    #[test]
    fn cosines_are_integrated_the_better_the_slower_they_are() {
        for (count, cycles_per_sample, allowed) in [
            (8, 0.02, 1e-9),
            (8, 0.125, 2e-5),
            (3, 0.25, 3e-3),
            (1, 0.25, 3e-3),
            (1, 0.5, 0.15),
        ] {
            for phase in [0.0, 0.9, 2.2] {
                let wave = |x: f64| (2.0 * PI * cycles_per_sample * x + phase).cos();
                let sum: f64 = box_weights(count)
                    .iter()
                    .enumerate()
                    .map(|(i, w)| w * wave(i as f64 - MARGIN as f64 + 0.5))
                    .sum();
                let k = 2.0 * PI * cycles_per_sample;
                let exact = ((k * count as f64 + phase).sin() - phase.sin()) / k;
                assert!(
                    (sum - exact).abs() < allowed,
                    "{count} {cycles_per_sample} {phase}: {sum} {exact}"
                );
            }
        }
    }
}
