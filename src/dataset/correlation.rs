//! Keys that go together: `[[correlate]]` of a recipe. Each key keeps its own law; what is correlated are their normal scores, so
//! that a correlation means the same for every law (a Gaussian copula).

use super::distribution::standard;
use super::section::Section;
use crate::rng::SetSeed;
use crate::scenario::ScenarioError;
use crate::scenario::document::Document;
use crate::scenario::error::Problem;

/// The correlated keys, and what makes their scores of independent ones.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Correlations {
    /// The pairs as they were typed.
    pub pairs: Vec<(String, String, f64)>,
    keys: Vec<String>,
    /// Lower triangle of Cholesky's factor, row by row.
    factor: Vec<Vec<f64>>,
}

const HINT: &str = "a pair is [[correlate]] with keys = [\"sky.seeing_arcsec\", \"sky.wind_m_per_s\"] and correlation = 0.4";
const CONTRADICTION: &str = "three keys of which two go together cannot both be the opposite of the third: bring the correlations nearer to 0";

impl Correlations {
    /// The keys.
    pub fn keys(&self) -> &[String] {
        &self.keys
    }

    /// Normal scores of all keys for an item.
    pub fn scores(&self, seed: &SetSeed, item: u64) -> Vec<(String, f64)> {
        let independent: Vec<f64> = self
            .keys
            .iter()
            .map(|key| standard(&mut seed.stream(&format!("vary:{key}"), item)))
            .collect();
        let score = |row: &Vec<f64>| row.iter().zip(&independent).map(|(f, z)| f * z).sum();
        let scores: Vec<f64> = self.factor.iter().map(score).collect();
        self.keys.iter().cloned().zip(scores).collect()
    }

    /// Reads all `[[correlate]]` of a recipe.
    pub(super) fn read(
        document: &Document,
        top: &Section<'_>,
    ) -> Result<Correlations, ScenarioError> {
        let mut found = Correlations::default();
        for (node, section) in top.tables("correlate")? {
            section.known(&["keys", "correlation"])?;
            let keys = section.texts("keys")?;
            let [first, second] = keys.as_slice() else {
                let (node, path) = section.required("keys", HINT)?;
                return Err(section.wrong_type(node, &path, "a list of 2 keys of [vary]"));
            };
            let correlation = section.number("correlation", None, -0.999, 0.999)?;
            let same = |(a, b, _): &(String, String, f64)| {
                (a, b) == (first, second) || (a, b) == (second, first)
            };
            if first == second || found.pairs.iter().any(same) {
                let (node, path) = section.required("keys", HINT)?;
                return Err(section.out_of_range(
                    node,
                    &path,
                    "two different keys, and each pair once",
                    HINT,
                ));
            }
            found
                .pairs
                .push((first.clone(), second.clone(), correlation));
            if !found.factorise() {
                let problem = Problem::BadArgument {
                    reason: "these correlations contradict each other: no numbers have them all"
                        .into(),
                };
                return Err(document.error(node.origin, problem, CONTRADICTION));
            }
        }
        Ok(found)
    }

    /// Cholesky's factor of the matrix of the pairs; `false` where there is none.
    fn factorise(&mut self) -> bool {
        self.keys = Vec::new();
        for (a, b, _) in &self.pairs {
            for key in [a, b] {
                if !self.keys.contains(key) {
                    self.keys.push(key.clone());
                }
            }
        }
        let of = |i: usize, j: usize| -> f64 {
            let (a, b) = (&self.keys[i], &self.keys[j]);
            let pair = self
                .pairs
                .iter()
                .find(|(x, y, _)| (x, y) == (a, b) || (x, y) == (b, a));
            pair.map_or(f64::from(u8::from(i == j)), |(_, _, r)| *r)
        };
        let count = self.keys.len();
        let mut factor: Vec<Vec<f64>> = Vec::with_capacity(count);
        for i in 0..count {
            let mut row: Vec<f64> = Vec::with_capacity(i + 1);
            for (j, known) in factor.iter().enumerate() {
                let sum: f64 = row.iter().zip(known).map(|(a, b)| a * b).sum();
                row.push((of(i, j) - sum) / known[j]);
            }
            let left = 1.0 - row.iter().map(|v| v * v).sum::<f64>();
            if left < 1e-9 {
                return false;
            }
            row.push(left.sqrt());
            factor.push(row);
        }
        self.factor = factor;
        true
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(pairs: &[(&str, &str, f64)]) -> Option<Correlations> {
        let mut all = Correlations {
            pairs: pairs
                .iter()
                .map(|(a, b, r)| ((*a).into(), (*b).into(), *r))
                .collect(),
            ..Correlations::default()
        };
        all.factorise().then_some(all)
    }

    #[test]
    fn the_factor_times_itself_is_the_matrix() {
        let all = of(&[("a", "b", 0.6), ("c", "a", -0.3), ("b", "c", 0.2)]).unwrap();
        assert_eq!(all.keys(), ["a", "b", "c"]);
        let wanted = [[1.0, 0.6, -0.3], [0.6, 1.0, 0.2], [-0.3, 0.2, 1.0]];
        for (i, row) in wanted.iter().enumerate() {
            for (j, r) in row.iter().enumerate() {
                let sum: f64 = all.factor[i]
                    .iter()
                    .zip(&all.factor[j])
                    .map(|(x, y)| x * y)
                    .sum();
                assert!((sum - r).abs() < 1e-14, "{i} {j}: {sum}");
            }
        }
    }

    #[test]
    fn what_no_numbers_have_is_refused() {
        assert_eq!(
            of(&[("a", "b", 0.9), ("b", "c", 0.9), ("a", "c", -0.9)]),
            None
        );
    }
}
