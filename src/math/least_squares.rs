//! Linear least squares that says which unknowns the data do not determine.
//!
//! Columns are brought to unit length, reduced to a small triangle, and that is decomposed: the result does not depend on
//! the units of the unknowns. Directions that the data hardly see make the unknowns that take part in them `None`; nothing
//! is ever infinite or NaN. Weights are the caller's: divide columns and data by their standard deviation first.

use super::jacobi_svd::{Singular, dot, jacobi_svd};

/// A prepared problem: the columns belong to the unknowns, their elements to the data.
#[derive(Debug, Clone)]
pub struct LeastSquares {
    /// Length of each column; 0 for one that was ruled out.
    lengths: Vec<f64>,
    /// Columns at right angles and of unit length: data → the triangle's space.
    basis: Vec<Vec<f64>>,
    singular: Singular,
}

/// A direction of unit-length columns with a singular value below this is not seen at all.
const UNSEEN: f64 = 1e-8;
/// An unknown is lost when what unseen directions may add to its variance exceeds this share of it.
const SHARE: f64 = 1e-4;

impl LeastSquares {
    /// Prepares a problem. A column not longer than its `floor`, or with an element that is no number, counts as zero.
    ///
    /// # Panics
    /// If there are not as many floors as columns.
    pub fn new(mut columns: Vec<Vec<f64>>, floors: &[f64]) -> Self {
        assert_eq!(columns.len(), floors.len(), "a floor for each column");
        let lengths: Vec<f64> = columns
            .iter_mut()
            .zip(floors)
            .map(|(column, floor)| {
                let length = dot(column, column).sqrt();
                if length.is_finite() && length > *floor {
                    column.iter_mut().for_each(|v| *v /= length);
                    length
                } else {
                    column.fill(0.0); // not times 0, which leaves what is no number
                    0.0
                }
            })
            .collect();
        let triangle = orthogonalise(&mut columns);
        LeastSquares {
            lengths,
            basis: columns,
            singular: jacobi_svd(triangle),
        }
    }

    /// Standard deviation of each unknown for data of standard deviation 1; `None` where the data do not determine it.
    pub fn sigmas(&self) -> Vec<Option<f64>> {
        (0..self.lengths.len())
            .map(|k| {
                let variance = self.seen_variance(k);
                let lost = self.lengths[k] == 0.0 || self.unseen_variance(k) > SHARE * variance;
                (!lost).then(|| variance.sqrt() / self.lengths[k])
            })
            .collect()
    }

    /// Covariance of the unknowns for data of standard deviation 1, by the directions that the data see; the diagonal is the square
    /// of [`sigmas`](Self::sigmas) where these are known.
    pub fn covariance(&self) -> Vec<Vec<f64>> {
        let count = self.lengths.len();
        let known = |j: usize, k: usize| self.lengths[j] > 0.0 && self.lengths[k] > 0.0;
        let shared = |j: usize, k: usize| -> f64 {
            self.directions()
                .filter(|&i| self.is_seen(i))
                .map(|i| {
                    let direction = &self.singular.vectors[i];
                    direction[j] * direction[k] / self.singular.values[i].powi(2)
                })
                .sum()
        };
        (0..count)
            .map(|j| {
                (0..count)
                    .map(|k| match known(j, k) {
                        true => shared(j, k) / (self.lengths[j] * self.lengths[k]),
                        false => 0.0,
                    })
                    .collect()
            })
            .collect()
    }

    /// Number of directions that the data see, and how much better the best is seen than the worst of them (0 for none).
    pub fn rank_and_condition(&self) -> (usize, f64) {
        let seen: Vec<f64> = self
            .directions()
            .filter(|&i| self.is_seen(i))
            .map(|i| self.singular.values[i])
            .collect();
        let largest = seen.iter().copied().fold(0.0, f64::max);
        let smallest = seen.iter().copied().fold(f64::INFINITY, f64::min);
        let condition = if seen.is_empty() {
            0.0
        } else {
            largest / smallest
        };
        (seen.len(), condition)
    }

    /// Unknowns that fit the data best; unseen directions stay at zero.
    pub fn solve(&self, data: &[f64]) -> Vec<f64> {
        let reduced: Vec<f64> = self.basis.iter().map(|q| dot(q, data)).collect();
        let mut unknowns = vec![0.0; self.lengths.len()];
        for i in self.directions().filter(|&i| self.is_seen(i)) {
            let square = self.singular.values[i] * self.singular.values[i];
            let amount = dot(&self.singular.images[i], &reduced) / square;
            for (unknown, part) in unknowns.iter_mut().zip(&self.singular.vectors[i]) {
                *unknown += amount * part;
            }
        }
        unknowns
            .iter()
            .zip(&self.lengths)
            .map(|(v, length)| if *length > 0.0 { v / length } else { 0.0 })
            .collect()
    }

    fn directions(&self) -> std::ops::Range<usize> {
        0..self.singular.values.len()
    }

    fn is_seen(&self, direction: usize) -> bool {
        self.singular.values[direction] > UNSEEN
    }

    /// Variance of a unit-length column's unknown from the directions that are seen.
    fn seen_variance(&self, unknown: usize) -> f64 {
        self.directions()
            .filter(|&i| self.is_seen(i))
            .map(|i| (self.singular.vectors[i][unknown] / self.singular.values[i]).powi(2))
            .sum()
    }

    /// The least that the unseen directions would add.
    fn unseen_variance(&self, unknown: usize) -> f64 {
        self.directions()
            .filter(|&i| !self.is_seen(i))
            .map(|i| (self.singular.vectors[i][unknown] / UNSEEN).powi(2))
            .sum()
    }
}

/// Modified Gram-Schmidt, in place; returns the columns of the triangle R with A = Q·R.
fn orthogonalise(columns: &mut [Vec<f64>]) -> Vec<Vec<f64>> {
    let count = columns.len();
    let mut triangle = vec![vec![0.0; count]; count];
    for (k, sums) in triangle.iter_mut().enumerate() {
        let (done, rest) = columns.split_at_mut(k);
        let column = &mut rest[0];
        for _ in 0..2 {
            // twice: the second pass takes out what rounding left of the first
            for (i, unit) in done.iter().enumerate() {
                let overlap = dot(unit, column);
                sums[i] += overlap;
                column
                    .iter_mut()
                    .zip(unit)
                    .for_each(|(v, u)| *v -= overlap * u);
            }
        }
        let length = dot(column, column).sqrt();
        sums[k] = length;
        if length > 0.0 {
            column.iter_mut().for_each(|v| *v /= length);
        }
    }
    triangle
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn columns() -> Vec<Vec<f64>> {
        let f: [fn(f64) -> f64; 3] = [|_| 1.3, |x| 0.4 * x - 2.0, |x| (0.3 * x).sin()];
        f.iter()
            .map(|g| (0..23).map(|i| g(f64::from(i))).collect())
            .collect()
    }

    /// Slow twin: the inverse of the 2 × 2 normal matrix written out.
    /// The inverse of a small normal matrix, by hand: columns (1, 1, 0) and (0, 1, 2) give [2 1; 1 5], inverse [5 −1; −1 2]/9.
    #[test]
    fn the_covariance_is_the_inverse_of_the_normal_matrix() {
        let columns = vec![vec![1.0, 1.0, 0.0], vec![0.0, 1.0, 2.0], vec![0.0; 3]];
        let fit = LeastSquares::new(columns, &[0.0; 3]);
        let found = fit.covariance();
        let by_hand = [[5.0, -1.0, 0.0], [-1.0, 2.0, 0.0], [0.0; 3]];
        for (row, want) in found.iter().zip(by_hand) {
            for (value, want) in row.iter().zip(want) {
                assert!((value - want / 9.0).abs() < 1e-12, "{value} for {want} / 9");
            }
        }
        assert!((fit.sigmas()[1].unwrap() - found[1][1].sqrt()).abs() < 1e-12);
    }

    #[test]
    fn sigmas_equal_the_inverse_of_the_normal_matrix() {
        let a = &columns()[..2];
        let (aa, ab, bb) = (dot(&a[0], &a[0]), dot(&a[0], &a[1]), dot(&a[1], &a[1]));
        let determinant = aa * bb - ab * ab;
        let got = LeastSquares::new(a.to_vec(), &[0.0; 2]).sigmas();
        assert_relative_eq!(
            got[0].unwrap(),
            (bb / determinant).sqrt(),
            max_relative = 1e-12
        );
        assert_relative_eq!(
            got[1].unwrap(),
            (aa / determinant).sqrt(),
            max_relative = 1e-12
        );
    }

    #[test]
    fn solves_for_the_unknowns_the_data_were_made_from_at_any_scale() {
        let (scale, truth) = ([1e9, 1.0, 1e-9], [0.7, -1.9, 0.25]);
        let scaled: Vec<Vec<f64>> = columns()
            .iter()
            .zip(scale)
            .map(|(c, s)| c.iter().map(|v| v * s).collect())
            .collect();
        let data: Vec<f64> = (0..23)
            .map(|i| (0..3).map(|k| columns()[k][i] * truth[k]).sum())
            .collect();
        let plain = LeastSquares::new(columns(), &[0.0; 3]).sigmas();
        let problem = LeastSquares::new(scaled, &[0.0; 3]);
        for k in 0..3 {
            assert_relative_eq!(
                problem.solve(&data)[k] * scale[k],
                truth[k],
                max_relative = 1e-11
            );
            let sigma = problem.sigmas()[k].unwrap() * scale[k];
            assert_relative_eq!(sigma, plain[k].unwrap(), max_relative = 1e-11);
        }
    }

    /// Two unknowns that act alike are lost, a third that acts differently is not; nothing is NaN.
    #[test]
    fn says_which_unknowns_are_not_determined() {
        let mut all = columns();
        all.push(all[1].iter().map(|v| -3.0 * v).collect());
        all.push(vec![0.0; 23]);
        all.push(vec![1e-7; 23]);
        let floors = [0.0, 0.0, 0.0, 0.0, 0.0, 1e-3];
        let problem = LeastSquares::new(all, &floors);
        let got = problem.sigmas();
        let determined: Vec<bool> = got.iter().map(Option::is_some).collect();
        assert_eq!(determined, [true, false, true, false, false, false]);
        let (rank, condition) = problem.rank_and_condition();
        assert_eq!(rank, 3);
        assert!(condition > 1.0 && condition < 100.0);
        assert_eq!(
            LeastSquares::new(vec![], &[]).rank_and_condition(),
            (0, 0.0)
        );
        let alone = LeastSquares::new(columns(), &[0.0; 3]).sigmas();
        assert_relative_eq!(got[0].unwrap(), alone[0].unwrap(), max_relative = 1e-9);
        assert!(problem.solve(&[0.3; 23]).iter().all(|v| v.is_finite()));
    }
}
