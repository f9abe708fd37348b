//! Levenberg and Marquardt's way to the least sum of squares, for a model whose derivatives cost several frames.
//!
//! One set of derivatives serves several steps as long as they pay; only the residuals decide what is accepted. Slightly wrong
//! derivatives (fewer wavelengths) therefore cost steps, never the place of the minimum. It knows nothing about stars.
//!
//! Source: K. Levenberg, Q. Appl. Math. 2, 164 (1944); D. W. Marquardt, J. SIAM 11, 431 (1963); damping scaled by the lengths
//! of the columns as in J. J. Moré, Lect. Notes Math. 630, 105 (1978), all from memory.

use crate::math::{Singular, jacobi_svd};

/// Something to be fitted.
pub trait Problem {
    /// What can go wrong while the model is computed.
    type Error;

    /// (data − model)/σ for every datum.
    fn residuals(&mut self, unknowns: &[f64]) -> Result<Vec<f64>, Self::Error>;

    /// The residuals, and for each unknown the derivative of model/σ.
    fn linearised(&mut self, unknowns: &[f64]) -> Result<Linear, Self::Error>;

    /// The nearest unknowns that make sense.
    fn bounded(&self, unknowns: Vec<f64>) -> Vec<f64>;
}

/// A problem near one place.
#[derive(Debug, Clone)]
pub struct Linear {
    /// (data − model)/σ.
    pub residuals: Vec<f64>,
    /// d(model/σ) per unit of each unknown.
    pub columns: Vec<Vec<f64>>,
}

/// When to stop.
#[derive(Debug, Clone, Copy)]
pub struct Patience {
    /// Sets of derivatives, at most.
    pub linearisations: usize,
    /// A decrease of the sum of squares below this counts as none.
    pub decrease: f64,
    /// So does a decrease below this share of the sum.
    pub share: f64,
}

impl Patience {
    /// The least decrease from a sum that counts.
    fn least(&self, sum: f64) -> f64 {
        self.decrease.max(self.share * sum)
    }
}

/// Where it stopped.
#[derive(Debug, Clone)]
pub struct Minimum {
    /// The unknowns.
    pub unknowns: Vec<f64>,
    /// Sum of squared residuals there.
    pub sum: f64,
    /// Whether the last derivatives showed no way further down.
    pub settled: bool,
    /// The last derivatives.
    pub columns: Vec<Vec<f64>>,
}

/// One set of derivatives serves at most this many steps.
const STEPS_EACH: usize = 6;
/// A further step with old derivatives is tried while the last one lowered the sum of squares by at least this share of what the
/// derivatives promised.
const PAYS: f64 = 0.2;

/// Damping that a descent starts with, relative to the normal matrix of columns of unit length: nearly a full Gauss–Newton step.
const FIRST_DAMPING: f64 = 1e-3;
/// After a step that was accepted the damping is multiplied by this …
const DAMPING_AFTER_SUCCESS: f64 = 0.1;
/// … and after one that was not, by this; no power of the other, so that the same damping is not tried twice.
const DAMPING_AFTER_FAILURE: f64 = 12.0;
/// The damping stays in this range: smaller ones are a full step, larger ones no step at all.
const DAMPING_RANGE: [f64; 2] = [1e-9, 1e9];

/// Finds the least sum of squares downhill from `start`.
///
/// # Errors
/// The problem's own.
pub fn minimise<P: Problem>(
    problem: &mut P,
    start: Vec<f64>,
    patience: Patience,
) -> Result<Minimum, P::Error> {
    let mut unknowns = problem.bounded(start);
    let mut damping = FIRST_DAMPING;
    let [least, most] = DAMPING_RANGE;
    let (mut sum, mut columns) = (f64::INFINITY, Vec::new());
    for _ in 0..patience.linearisations {
        let linear = problem.linearised(&unknowns)?;
        columns = linear.columns;
        let mut residuals = linear.residuals;
        let normal = Normal::new(&columns);
        let before = square(&residuals);
        sum = before;
        let (mut accepted, mut at_rest) = (false, false);
        for _ in 0..STEPS_EACH {
            let slope = normal.slope(&columns, &residuals);
            let step = normal.step(&slope, damping);
            let moved = unknowns.iter().zip(&step).map(|(u, s)| u + s).collect();
            let moved = problem.bounded(moved);
            let promised = normal.promised(&slope, &unknowns, &moved);
            let there = problem.residuals(&moved)?;
            let found = square(&there);
            if found.is_finite() && found < sum {
                let gained = sum - found;
                (unknowns, residuals, sum) = (moved, there, found);
                accepted = true;
                damping = (damping * DAMPING_AFTER_SUCCESS).max(least);
                at_rest = gained < patience.least(found);
                if at_rest || gained < PAYS * promised {
                    break;
                }
            } else if accepted {
                // old derivatives lead no further down
                at_rest = promised < patience.least(sum);
                break;
            } else {
                damping = (damping * DAMPING_AFTER_FAILURE).min(most);
            }
        }
        if at_rest || before - sum < patience.least(before) {
            return Ok(Minimum {
                unknowns,
                sum,
                settled: true,
                columns,
            });
        }
    }
    Ok(Minimum {
        unknowns,
        sum,
        settled: false,
        columns,
    })
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn square(values: &[f64]) -> f64 {
    dot(values, values)
}

/// The normal matrix of columns brought to unit length, decomposed once for every damping.
struct Normal {
    /// Length of each column; 1 for one that is zero.
    lengths: Vec<f64>,
    /// Overlaps of the unit columns.
    matrix: Vec<Vec<f64>>,
    singular: Singular,
}

impl Normal {
    fn new(columns: &[Vec<f64>]) -> Self {
        let length = |column: &Vec<f64>| match square(column).sqrt() {
            length if length > 0.0 => length,
            _ => 1.0,
        };
        let lengths: Vec<f64> = columns.iter().map(length).collect();
        let count = columns.len();
        let mut matrix = vec![vec![0.0; count]; count];
        for i in 0..count {
            for j in 0..=i {
                let overlap = dot(&columns[i], &columns[j]) / (lengths[i] * lengths[j]);
                (matrix[i][j], matrix[j][i]) = (overlap, overlap);
            }
        }
        Normal {
            lengths,
            singular: jacobi_svd(matrix.clone()),
            matrix,
        }
    }

    /// Half the slope of the sum of squares, downhill, per unit length of each column.
    fn slope(&self, columns: &[Vec<f64>], residuals: &[f64]) -> Vec<f64> {
        columns
            .iter()
            .zip(&self.lengths)
            .map(|(column, length)| dot(column, residuals) / length)
            .collect()
    }

    /// The damped step, in the unknowns' own units.
    fn step(&self, slope: &[f64], damping: f64) -> Vec<f64> {
        let mut step = vec![0.0; slope.len()];
        for (value, vector) in self.singular.values.iter().zip(&self.singular.vectors) {
            let amount = dot(vector, slope) / (value + damping);
            step.iter_mut()
                .zip(vector)
                .for_each(|(s, v)| *s += amount * v);
        }
        step.iter().zip(&self.lengths).map(|(s, l)| s / l).collect()
    }

    /// How much the linear model promises that the sum of squares falls.
    fn promised(&self, slope: &[f64], from: &[f64], to: &[f64]) -> f64 {
        let step: Vec<f64> = from
            .iter()
            .zip(to)
            .zip(&self.lengths)
            .map(|((a, b), length)| (b - a) * length)
            .collect();
        let curved: f64 = self
            .matrix
            .iter()
            .zip(&step)
            .map(|(row, s)| dot(row, &step) * s)
            .sum();
        2.0 * dot(slope, &step) - curved
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Two unknowns of y = a·exp(−b·t); the published minimum of such small problems is not needed: data without noise.
    struct Decay {
        times: Vec<f64>,
        values: Vec<f64>,
        /// What the derivatives are multiplied with, to show that wrong ones still end at the minimum.
        wrong: f64,
        sets: usize,
    }

    impl Problem for Decay {
        type Error = std::convert::Infallible;

        fn residuals(&mut self, u: &[f64]) -> Result<Vec<f64>, Self::Error> {
            let model = |t: &f64| u[0] * (-u[1] * t).exp();
            let pairs = self.times.iter().zip(&self.values);
            Ok(pairs.map(|(t, v)| v - model(t)).collect())
        }

        fn linearised(&mut self, u: &[f64]) -> Result<Linear, Self::Error> {
            self.sets += 1;
            let amplitude = self.times.iter().map(|t| (-u[1] * t).exp()).collect();
            let rate = |t: &f64| -u[0] * t * (-u[1] * t).exp() * self.wrong;
            let columns = vec![amplitude, self.times.iter().map(rate).collect()];
            Ok(Linear {
                residuals: self.residuals(u)?,
                columns,
            })
        }

        fn bounded(&self, unknowns: Vec<f64>) -> Vec<f64> {
            unknowns
        }
    }

    fn decay(wrong: f64) -> Decay {
        let times: Vec<f64> = (0..23).map(|i| 0.13 * f64::from(i)).collect();
        let values = times.iter().map(|t| 3.7 * (-1.9 * t).exp()).collect();
        Decay {
            times,
            values,
            wrong,
            sets: 0,
        }
    }

    #[test]
    fn finds_the_minimum_also_with_slightly_wrong_derivatives() {
        for wrong in [1.0, 0.93, 1.1] {
            let mut problem = decay(wrong);
            let patience = Patience {
                linearisations: 30,
                decrease: 1e-18,
                share: 0.0,
            };
            let found = minimise(&mut problem, vec![1.0, 0.2], patience).unwrap();
            assert!(found.settled);
            assert_relative_eq!(found.unknowns[0], 3.7, max_relative = 1e-6);
            assert_relative_eq!(found.unknowns[1], 1.9, max_relative = 1e-6);
        }
    }

    #[test]
    fn impatience_is_not_called_settled() {
        let patience = Patience {
            linearisations: 1,
            decrease: 1e-18,
            share: 0.0,
        };
        let found = minimise(&mut decay(1.0), vec![1.0, 0.2], patience).unwrap();
        assert!(!found.settled);
    }
}
