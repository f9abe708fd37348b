//! Least squares of a model that is not linear in its few unknowns: damped Gauss–Newton steps with derivatives by differences.
//!
//! The fit of one star has a way of its own (`fit/levenberg.rs`): it spares derivatives, which cost next to nothing here, and it
//! comes to rest too early in the long bent valleys of these sums.

use crate::math::LeastSquares;

/// Where the descent ended.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    /// The unknowns.
    pub values: Vec<f64>,
    /// Their standard deviations for residuals of standard deviation 1; `None` where the data do not determine one.
    pub sigmas: Vec<Option<f64>>,
    /// Sum of the squared residuals.
    pub chi_square: f64,
}

/// Steps of a descent, at most.
const STEPS: usize = 60;
/// Damping that a descent starts with, relative to the square of each column.
const FIRST_DAMPING: f64 = 1e-2;
/// After a step that was accepted the damping is multiplied by this …
const DAMPING_AFTER_SUCCESS: f64 = 0.2;
/// … and after one that was not, by this.
const DAMPING_AFTER_FAILURE: f64 = 8.0;
/// The damping is never smaller than the first; beyond the second no step leads down, and the descent ends.
const DAMPING_RANGE: [f64; 2] = [1e-9, 1e9];
/// The descent has come to rest when a step lowers the sum of squares by less than this share of it.
const AT_REST_SHARE: f64 = 1e-9;

/// Descends from `start`. `scales` has a typical size for each unknown; `residuals` gives, for values of the unknowns, one residual a
/// datum in standard deviations.
pub(super) fn descend(
    start: &[f64],
    scales: &[f64],
    residuals: &dyn Fn(&[f64]) -> Vec<f64>,
) -> Fit {
    let square = |r: &[f64]| r.iter().map(|v| v * v).sum::<f64>();
    let mut values = start.to_vec();
    let mut here = residuals(&values);
    let mut damping = FIRST_DAMPING;
    for _ in 0..STEPS {
        let columns = slopes(&values, scales, &here, residuals);
        let wanted: Vec<f64> = here.iter().map(|residual| -residual).collect();
        let step = damped(&columns, &wanted, damping);
        let trial: Vec<f64> = values
            .iter()
            .zip(&step)
            .zip(scales)
            .map(|((v, s), scale)| v + s * scale)
            .collect();
        let there = residuals(&trial);
        let (before, after) = (square(&here), square(&there));
        if after.is_finite() && after <= before {
            (values, here) = (trial, there);
            damping = (DAMPING_AFTER_SUCCESS * damping).max(DAMPING_RANGE[0]);
            if before - after < AT_REST_SHARE * before {
                break;
            }
        } else {
            damping *= DAMPING_AFTER_FAILURE;
            if damping > DAMPING_RANGE[1] {
                break;
            }
        }
    }
    let columns = slopes(&values, scales, &here, residuals);
    let floors = vec![0.0; scales.len()];
    let sigmas = LeastSquares::new(columns, &floors).sigmas();
    Fit {
        chi_square: square(&here),
        sigmas: sigmas
            .iter()
            .zip(scales)
            .map(|(s, scale)| s.map(|s| s * scale))
            .collect(),
        values,
    }
}

/// Derivatives of the residuals by the unknowns, per scale.
fn slopes(
    values: &[f64],
    scales: &[f64],
    here: &[f64],
    residuals: &dyn Fn(&[f64]) -> Vec<f64>,
) -> Vec<Vec<f64>> {
    /// Step of the differences, as a part of an unknown's scale.
    const PART: f64 = 1e-4;
    (0..values.len())
        .map(|k| {
            let mut moved = values.to_vec();
            moved[k] += PART * scales[k];
            let there = residuals(&moved);
            there
                .iter()
                .zip(here)
                .map(|(a, b)| (a - b) / PART)
                .collect()
        })
        .collect()
}

/// A Gauss–Newton step, each unknown held back by `damping` of its own column.
pub(super) fn damped(columns: &[Vec<f64>], data: &[f64], damping: f64) -> Vec<f64> {
    let count = columns.len();
    let longer: Vec<Vec<f64>> = columns
        .iter()
        .enumerate()
        .map(|(k, column)| {
            let square: f64 = column.iter().map(|v| v * v).sum();
            let mut tail = vec![0.0; count];
            tail[k] = (damping * square).sqrt();
            column.iter().copied().chain(tail).collect()
        })
        .collect();
    let mut data = data.to_vec();
    data.resize(data.len() + count, 0.0);
    LeastSquares::new(longer, &vec![0.0; count]).solve(&data)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// y = a·exp(−b·x) from exact values: both unknowns, from a start far off.
    #[test]
    fn an_exponential_is_found() {
        let (a, b) = (3.7, 0.42);
        let residuals = |p: &[f64]| -> Vec<f64> {
            (0..17)
                .map(|i| {
                    let x = 0.5 * f64::from(i);
                    p[0] * (-p[1] * x).exp() - a * (-b * x).exp()
                })
                .collect()
        };
        let fit = descend(&[1.0, 1.5], &[1.0, 0.1], &residuals);
        assert!(
            (fit.values[0] - a).abs() < 1e-5 && (fit.values[1] - b).abs() < 1e-5,
            "{fit:?}"
        );
        assert!(fit.sigmas.iter().all(Option::is_some));
    }
}
