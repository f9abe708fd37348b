//! The normal law: how much of it lies below a number, and the other way round.

use std::f64::consts::SQRT_2;

/// Share of the standard normal law below a number.
pub(super) fn below(z: f64) -> f64 {
    0.5 * libm::erfc(-z / SQRT_2)
}

/// The number below which so much of the standard normal law lies, by halving; good to 1e-12 between 1e-300 and 1 − 1e-16.
fn quantile(share: f64) -> f64 {
    // the lower half, where shares have all their digits
    if share > 0.5 {
        return -quantile(1.0 - share);
    }
    let (mut low, mut high) = (-40.0, 1.0);
    for _ in 0..64 {
        let middle = 0.5 * (low + high);
        if below(middle) < share {
            low = middle;
        } else {
            high = middle;
        }
    }
    0.5 * (low + high)
}

/// A normal number within limits by its score: as much of the cut law lies below it as of the whole one below the score.
pub(super) fn within(mean: f64, sigma: f64, limits: Option<[f64; 2]>, score: f64) -> f64 {
    let Some([low, high]) = limits.filter(|_| sigma > 0.0) else {
        return mean + sigma * score;
    };
    let [from, to] = [low, high].map(|limit| (limit - mean) / sigma);
    // counted from the side on which the law is thinner
    let z = if from > 0.0 {
        let (near, far) = (below(-from), below(-to));
        -quantile(far + (near - far) * below(-score))
    } else {
        let (near, far) = (below(from), below(to));
        quantile(near + (far - near) * below(score))
    };
    (mean + sigma * z).clamp(low, high)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tables of the normal law (Abramowitz and Stegun, table 26.1, from memory).
    #[test]
    fn shares_and_quantiles_are_those_of_tables() {
        for (z, share) in [
            (0.0, 0.5),
            (1.0, 0.841_344_746_068_543),
            (-1.644_853_626_951_472, 0.05),
            (2.326_347_874_040_841, 0.99),
        ] {
            assert!((below(z) - share).abs() < 1e-14, "{z}");
            assert!((quantile(share) - z).abs() < 1e-12, "{share}");
        }
    }

    #[test]
    fn a_cut_law_keeps_its_limits_and_its_middle() {
        let value = |score| within(3.0, 2.0, Some([2.0, 4.0]), score);
        assert!((value(0.0) - 3.0).abs() < 1e-12);
        assert!((value(-9.0) - 2.0).abs() < 1e-9 && (value(9.0) - 4.0).abs() < 1e-9);
        // far out on either side, where shares are tiny: half of what is left lies below the median
        let far = within(0.0, 1.0, Some([10.0, 11.0]), 0.0);
        let near = within(0.0, 1.0, Some([-11.0, -10.0]), 0.0);
        let half = 0.5 * (below(-10.0) + below(-11.0));
        assert!((below(-far) / half - 1.0).abs() < 1e-9 && (far + near).abs() < 1e-9);
        assert_eq!(within(3.0, 2.0, None, 1.5), 6.0);
        assert_eq!(within(3.0, 0.0, Some([2.0, 4.0]), 1.5), 3.0);
    }
}
