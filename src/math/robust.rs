//! Statistics that a few wild values do not move: median, percentile, the median of weighted values, and the standard deviation that a median tells.
//!
//! Those of plain lists reorder what they are given and answer 0 where there is nothing; values count in their total order, so NaN stands last.

/// Standard deviation of a normal law over the median of its absolute deviations: 1/Φ⁻¹(3/4).
pub const SIGMA_PER_MEDIAN: f64 = 1.482_602_218_505_602;

/// The middle value, of an even number the upper of the two in the middle.
pub fn median(values: &mut [f64]) -> f64 {
    nth(values, values.len() / 2)
}

/// The first value, counted upwards, up to which half of the total lies; `weighted` has values and what lies at each. `None` where
/// the sum never comes that far.
pub fn half_way(mut weighted: Vec<(f64, f64)>, total: f64) -> Option<f64> {
    weighted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut sum = 0.0;
    let reached = |(_, weight): &(f64, f64)| {
        sum += weight;
        sum >= 0.5 * total
    };
    weighted.into_iter().find(reached).map(|(value, _)| value)
}

/// The value that a share of the others, 0 to 1, lies at or below: 0 is the least, 1 the largest; between two, the lower.
pub fn percentile(values: &mut [f64], share: f64) -> f64 {
    let last = values.len().saturating_sub(1);
    nth(values, ((share * last as f64) as usize).min(last))
}

/// Standard deviation of the normal law whose absolute deviations have the median of these.
pub fn sigma_of(deviations: &mut [f64]) -> f64 {
    SIGMA_PER_MEDIAN * median(deviations)
}

fn nth(values: &mut [f64], place: usize) -> f64 {
    if values.is_empty() {
        return 0.0;
    }
    *values.select_nth_unstable_by(place, f64::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_short_lists_by_hand() {
        assert_eq!(median(&mut [7.0, -1.0, 3.0]), 3.0);
        assert_eq!(
            median(&mut [4.0, 1.0, 2.0, 3.0]),
            3.0,
            "the upper of the two"
        );
        assert_eq!(median(&mut [5.0, 1.0, f64::NAN]), 5.0, "NaN stands last");
        let list = [9.0, 2.0, 4.0, 6.0, 8.0];
        let at = |share| percentile(&mut list.clone(), share);
        assert_eq!(
            [0.0, 0.5, 0.74, 0.75, 1.0, 3.0].map(at),
            [2.0, 6.0, 6.0, 8.0, 9.0, 9.0]
        );
        assert_eq!(
            [median(&mut []), percentile(&mut [], 0.5), sigma_of(&mut [])],
            [0.0; 3]
        );
    }

    #[test]
    fn half_of_the_weight_by_hand() {
        let list = || vec![(9.0, 1.0), (2.0, 3.0), (4.0, 0.5), (7.0, 2.5)];
        assert_eq!(half_way(list(), 7.0), Some(4.0), "3.5 of 7");
        assert_eq!(half_way(list(), 7.5), Some(7.0));
        assert_eq!(half_way(list(), 15.0), None);
        assert_eq!(half_way(Vec::new(), 1.0), None);
    }

    /// Three quarters of a normal law lie below its upper quartile; Φ by Simpson's rule.
    #[test]
    fn the_scale_is_that_of_a_normal_law() {
        let density = |x: f64| (-0.5 * x * x).exp() / std::f64::consts::TAU.sqrt();
        let (steps, end) = (200, 1.0 / SIGMA_PER_MEDIAN);
        let width = end / f64::from(steps);
        let below: f64 = (0..=steps)
            .map(|k| {
                let weight = match k {
                    0 => 1.0,
                    k if k == steps => 1.0,
                    k if k % 2 == 1 => 4.0,
                    _ => 2.0,
                };
                weight * density(width * f64::from(k)) * width / 3.0
            })
            .sum();
        assert!((below - 0.25).abs() < 1e-11, "{below}");
    }

    #[test]
    fn wild_values_do_not_move_it() {
        let deviations: Vec<f64> = (1..=99).map(f64::from).collect();
        let mut wild = deviations.clone();
        wild[98] = 1e12;
        assert_eq!(sigma_of(&mut wild), 50.0 * SIGMA_PER_MEDIAN);
    }
}
