//! What a key of a scenario is drawn from, and how. A draw depends on the set's seed, the key and the item, on nothing else:
//! another key in the recipe, another range of items or another number of threads does not change it.

use crate::rng::SetSeed;
use rand::RngExt;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution as _, StandardNormal};

/// What a key is drawn from.
#[derive(Debug, Clone, PartialEq)]
pub enum Distribution {
    /// Every number between two limits alike; the upper one is not reached.
    Uniform {
        /// Smallest number.
        low: f64,
        /// Limit above.
        high: f64,
    },
    /// Every ratio alike: the logarithm is uniform.
    LogUniform {
        /// Smallest number, above 0.
        low: f64,
        /// Limit above.
        high: f64,
    },
    /// The normal law, drawn again where it leaves `within`.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation.
        sigma: f64,
        /// Limits, both inclusive.
        within: Option<[f64; 2]>,
    },
    /// One of several values, written as TOML.
    Choice {
        /// The values.
        values: Vec<String>,
        /// How often each, relative to the others.
        weights: Vec<f64>,
    },
    /// The turns of all screws together: each normal with the same spread, every pair with the same correlation.
    Turns {
        /// Standard deviation of each screw.
        sigma_turns: f64,
        /// Correlation of two screws, from −1/(screws − 1), where the piston stays 0, to 1, where the tilt does.
        correlation: f64,
        /// Largest turn of any screw; all are drawn again where one is beyond.
        within_turns: Option<f64>,
    },
}

/// A key and what it is drawn from.
#[derive(Debug, Clone, PartialEq)]
pub struct Varied {
    /// Path of the key, as in `--set`.
    pub key: String,
    /// What it is drawn from.
    pub distribution: Distribution,
    /// Whether the value is handed out with the frames, as something an owner knows.
    pub known: bool,
}

/// A value that was drawn for a key, as TOML.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Path of the key.
    pub key: String,
    /// The value.
    pub value: String,
}

impl Drawn {
    /// What `--set` would take.
    pub fn argument(&self) -> String {
        format!("{}={}", self.key, self.value)
    }

    /// The value as a number; `None` for text and lists.
    pub fn number(&self) -> Option<f64> {
        self.value.parse().ok()
    }
}

/// Draws again so often before giving up; a recipe that needs more is refused when it is read.
const ATTEMPTS: usize = 10_000;

impl Varied {
    /// Draws this key for an item. `screws` are the names of the unit's screws.
    ///
    /// `None` when the limits were not met in 10,000 attempts.
    pub fn draw(&self, seed: &SetSeed, item: u64, screws: &[String]) -> Option<Vec<Drawn>> {
        let mut stream = seed.stream(&format!("vary:{}", self.key), item);
        let one = |value: String| {
            Some(vec![Drawn {
                key: self.key.clone(),
                value,
            }])
        };
        match &self.distribution {
            Distribution::Uniform { low, high } => one(number(uniform(&mut stream, *low, *high))),
            Distribution::LogUniform { low, high } => {
                let logarithm = uniform(&mut stream, libm::log(*low), libm::log(*high));
                one(number(libm::exp(logarithm).clamp(*low, *high)))
            }
            Distribution::Normal {
                mean,
                sigma,
                within,
            } => {
                let value = (0..ATTEMPTS)
                    .map(|_| mean + sigma * normal(&mut stream))
                    .find(|v| within.is_none_or(|[low, high]| (low..=high).contains(v)))?;
                one(number(value))
            }
            Distribution::Choice { values, weights } => {
                one(values[chosen(&mut stream, weights)].clone())
            }
            Distribution::Turns {
                sigma_turns,
                correlation,
                within_turns,
            } => {
                let limit = within_turns.unwrap_or(f64::INFINITY);
                let turns = (0..ATTEMPTS)
                    .map(|_| together(&mut stream, screws.len(), *sigma_turns, *correlation))
                    .find(|turns| turns.iter().all(|t| t.abs() <= limit))?;
                let named = screws.iter().zip(turns);
                Some(
                    named
                        .map(|(screw, turn)| Drawn {
                            key: format!("{}.{screw}", self.key),
                            value: number(turn),
                        })
                        .collect(),
                )
            }
        }
    }
}

fn uniform(stream: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * stream.random::<f64>()
}

fn normal(stream: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(stream)
}

/// Number of the value that a draw by these weights falls on.
fn chosen(stream: &mut ChaCha8Rng, weights: &[f64]) -> usize {
    let mut left = uniform(stream, 0.0, weights.iter().sum());
    for (number, weight) in weights.iter().enumerate() {
        if left < *weight {
            return number;
        }
        left -= weight;
    }
    weights.len() - 1
}

/// Equally spread, equally correlated normal numbers: their mean and what is left of it are drawn with variances of their own.
///
/// With z independent and unit, x = √(1 − r)·(z − z̄) + √(1 + (n − 1)r)·z̄ has unit variance and correlation r.
fn together(stream: &mut ChaCha8Rng, count: usize, sigma: f64, correlation: f64) -> Vec<f64> {
    let drawn: Vec<f64> = (0..count).map(|_| normal(stream)).collect();
    let mean = drawn.iter().sum::<f64>() / count as f64;
    let apart = (1.0 - correlation).max(0.0).sqrt();
    let common = (1.0 + (count as f64 - 1.0) * correlation).max(0.0).sqrt();
    drawn
        .iter()
        .map(|z| sigma * (apart * (z - mean) + common * mean))
        .collect()
}

/// A number as TOML, exactly.
pub(super) fn number(value: f64) -> String {
    format!("{value:?}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Seed;

    fn seed() -> SetSeed {
        SetSeed {
            seed: Seed(20417),
            secret: None,
        }
    }

    fn varied(distribution: Distribution) -> Varied {
        Varied {
            key: "a.b".into(),
            distribution,
            known: false,
        }
    }

    fn many(distribution: Distribution, count: u64) -> Vec<f64> {
        let varied = varied(distribution);
        (0..count)
            .map(|item| {
                varied.draw(&seed(), item, &[]).unwrap()[0]
                    .number()
                    .unwrap()
            })
            .collect()
    }

    #[test]
    fn a_number_survives_its_text() {
        for value in [0.1 + 0.2, -1e-9, 1e22, 300.0] {
            assert_eq!(number(value).parse::<f64>(), Ok(value));
            assert!(
                format!("x = {}", number(value))
                    .parse::<toml::Table>()
                    .is_ok()
            );
        }
    }

    #[test]
    fn limits_are_kept() {
        for v in many(
            Distribution::Uniform {
                low: -2.0,
                high: 3.0,
            },
            4000,
        ) {
            assert!((-2.0..3.0).contains(&v));
        }
        let tight = Distribution::Normal {
            mean: 1.0,
            sigma: 2.0,
            within: Some([0.5, 4.0]),
        };
        assert!(many(tight, 4000).iter().all(|v| (0.5..=4.0).contains(v)));
        let impossible = varied(Distribution::Turns {
            sigma_turns: 1.0,
            correlation: 0.0,
            within_turns: Some(1e-9),
        });
        assert_eq!(impossible.draw(&seed(), 0, &["A".into(), "B".into()]), None);
    }

    #[test]
    fn another_item_another_draw_and_the_same_again() {
        let varied = varied(Distribution::Uniform {
            low: 0.0,
            high: 1.0,
        });
        let first = varied.draw(&seed(), 5, &[]);
        assert_eq!(first, varied.draw(&seed(), 5, &[]));
        assert_ne!(first, varied.draw(&seed(), 6, &[]));
    }

    /// Equal correlation of −1/(n − 1) leaves no piston, of 1 no tilt.
    #[test]
    fn the_extremes_of_correlation_are_pure_tilt_and_pure_piston() {
        let mut stream = seed().stream("t", 0);
        let tilt = together(&mut stream, 3, 0.2, -0.5);
        assert!(tilt.iter().sum::<f64>().abs() < 1e-15 && tilt[0].abs() > 1e-4);
        let piston = together(&mut stream, 3, 0.2, 1.0);
        assert!((piston[0] - piston[1]).abs() < 1e-15 && piston[0] == piston[2]);
    }
}
