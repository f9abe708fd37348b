//! How much a pixel scatters about what it is expected to collect, and when it is full.

use crate::instrument::Electronics;

/// Variance of a pixel in electrons²: that of a Poisson law for photons and dark electrons, read noise squared, and gain²/12 for rounding
/// to counts (the variance of a uniform law one count wide). Textbook sum of independent errors.
///
/// The different sensitivity of the pixels is not in it, because whoever measures can take it off by flat frames.
pub fn variance_e2(expected_e: f64, electronics: &Electronics) -> f64 {
    let gain = electronics.gain_e_per_adu;
    expected_e.max(0.0) + electronics.read_noise_e * electronics.read_noise_e + gain * gain / 12.0
}

/// Electrons beyond which a pixel's count no longer grows: the full well, or the converter's largest count less bias, times gain, where
/// that is lower.
pub fn saturation_e(electronics: &Electronics) -> f64 {
    let limit_adu = f64::from((1u32 << electronics.bits) - 1) - electronics.bias_adu;
    electronics
        .full_well_e
        .min(limit_adu * electronics.gain_e_per_adu)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn electronics(full_well_e: f64) -> Electronics {
        Electronics {
            quantum_efficiency: 1.0,
            gain_e_per_adu: 4.0,
            bias_adu: 100.0,
            read_noise_e: 3.0,
            dark_e_per_s: 0.0,
            full_well_e,
            bits: 12,
            pixel_response_rms: 0.0,
        }
    }

    /// Check value `detector.saturation_e`.
    #[test]
    fn saturates_at_the_lower_of_two_limits() {
        assert_abs_diff_eq!(saturation_e(&electronics(15_000.0)), 15_000.0);
        assert_abs_diff_eq!(saturation_e(&electronics(50_000.0)), 15_980.0);
    }

    #[test]
    fn variance_is_the_sum_of_three() {
        let expected = 70.0 + 9.0 + 16.0 / 12.0;
        assert_abs_diff_eq!(
            variance_e2(70.0, &electronics(1e4)),
            expected,
            epsilon = 1e-12
        );
    }
}
