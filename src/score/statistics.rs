//! The few statistics that a score is made of. All take lists without NaN; an empty list has none of them.

use crate::math::robust::SIGMA_PER_MEDIAN;

/// Mean.
pub(super) fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Root of the mean square.
pub(super) fn rms(values: &[f64]) -> Option<f64> {
    let squares: Vec<f64> = values.iter().map(|v| v * v).collect();
    mean(&squares).map(f64::sqrt)
}

/// The value below which a fraction of a list lies, linear between neighbours (the first is at 0, the last at 1): lists of errors
/// may be short, and the percentiles of `math::robust`, which are always one of the values, would jump.
pub(super) fn quantile(values: &[f64], fraction: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let place = fraction * (sorted.len().checked_sub(1)?) as f64;
    let (below, above) = (place.floor() as usize, place.ceil() as usize);
    Some(sorted[below] + (place - place.floor()) * (sorted[above] - sorted[below]))
}

/// Errors further than this from the median, in robust standard deviations, are outliers.
const OUTLIER_SIGMAS: f64 = 5.0;

/// Which of a list are outliers: more than 5 robust standard deviations (1.4826 × median absolute deviation) from the median.
pub(super) fn outliers(values: &[f64]) -> Vec<bool> {
    let median = quantile(values, 0.5).unwrap_or(0.0);
    let apart: Vec<f64> = values.iter().map(|v| (v - median).abs()).collect();
    let limit = OUTLIER_SIGMAS * SIGMA_PER_MEDIAN * quantile(&apart, 0.5).unwrap_or(0.0);
    apart.iter().map(|v| *v > limit && limit > 0.0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand.
    #[test]
    fn statistics_of_short_lists() {
        assert_eq!(
            (mean(&[]), rms(&[]), quantile(&[], 0.5)),
            (None, None, None)
        );
        assert_eq!(mean(&[1.0, 2.0, 6.0]), Some(3.0));
        assert_eq!(rms(&[3.0, -4.0]), Some(12.5f64.sqrt()));
        assert_eq!(quantile(&[4.0, 1.0, 2.0], 0.5), Some(2.0));
        assert_eq!(quantile(&[0.0, 10.0], 0.683), Some(6.83));
        assert_eq!(quantile(&[7.0], 0.95), Some(7.0));
        let found = outliers(&[0.0, 1.0, -1.0, 0.5, 40.0]);
        assert_eq!(found, [false, false, false, false, true]);
    }
}
