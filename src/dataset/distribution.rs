//! What a key of a scenario is drawn from, and how. A draw depends on the set's seed, the key and the item, on nothing else:
//! another key in the recipe, another range of items or another number of threads does not change it.
//!
//! A continuous law has a quantile function; keys that are correlated are drawn through it from normal scores (`correlation`).

use super::given::GivenTables;
use super::normal;
use super::value::{Drawn, ValueKind};
use crate::rng::SetSeed;
use crate::units::DEG;
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
    /// The logarithm is normal; drawn again where it leaves `within`.
    LogNormal {
        /// Half of the draws are below.
        median: f64,
        /// Standard deviation of the natural logarithm.
        sigma_ln: f64,
        /// Limits, both inclusive.
        within: Option<[f64; 2]>,
    },
    /// Weibull's law, by which speeds of the wind are usually described.
    Weibull {
        /// 63.2 percent of the draws are below.
        scale: f64,
        /// 2 for Rayleigh's law, larger for steadier values.
        shape: f64,
    },
    /// An angle in degrees whose sine is uniform: altitudes of stars that are spread evenly over the sky.
    UniformSine {
        /// Smallest angle, from −90.
        low_deg: f64,
        /// Largest angle, up to 90.
        high_deg: f64,
    },
    /// Magnitudes of stars: the number of those brighter than m grows as 10^(slope·m).
    StarCounts {
        /// Brightest magnitude.
        bright: f64,
        /// Faintest magnitude.
        faint: f64,
        /// How fast the number grows.
        slope_per_magnitude: f64,
    },
    /// A column of a table of one's own: each item takes a row, every row as likely, and the same for all keys of one table.
    Table {
        /// The file, from the recipe's folder.
        file: String,
        /// Its column.
        column: String,
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
    /// Numbers that the key holds: 1, or as many as its list has, each drawn from the same law by itself.
    pub components: usize,
    /// Whether the value is handed out with the frames, as something an owner knows.
    pub known: bool,
}

/// What draws need besides seed and item.
#[derive(Debug, Clone, Copy, Default)]
pub struct Draws<'a> {
    /// Names of the unit's screws.
    pub screws: &'a [String],
    /// Normal scores of the keys that are correlated.
    pub scores: &'a [(String, f64)],
    /// Tables of one's own.
    pub tables: Option<&'a GivenTables>,
}

/// Draws again so often before giving up; a recipe that needs more is refused when it is read.
const ATTEMPTS: usize = 10_000;

impl Varied {
    /// A single number, or what else one value of the key is, that is not handed out.
    pub fn new(key: impl Into<String>, distribution: Distribution) -> Varied {
        Varied {
            key: key.into(),
            distribution,
            components: 1,
            known: false,
        }
    }

    /// Draws this key for an item.
    ///
    /// `None` when the limits were not met in 10,000 attempts, or the table is not there.
    pub fn draw(&self, seed: &SetSeed, item: u64, with: &Draws<'_>) -> Option<Vec<Drawn>> {
        let mut stream = seed.stream(&format!("vary:{}", self.key), item);
        let one = |value: String| {
            Some(vec![Drawn {
                key: self.key.clone(),
                value,
            }])
        };
        match &self.distribution {
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
                    .map(|_| together(&mut stream, with.screws.len(), *sigma_turns, *correlation))
                    .find(|turns| turns.iter().all(|t| t.abs() <= limit))?;
                let named = with.screws.iter().zip(turns);
                let drawn = named.map(|(screw, turn)| Drawn {
                    key: format!("{}.{screw}", self.key),
                    value: number(turn),
                });
                Some(drawn.collect())
            }
            Distribution::Table { file, column } => {
                let mut row = seed.stream(&format!("table:{file}"), item);
                one(with.tables?.value(file, column, row.random::<f64>())?)
            }
            law => {
                let score = with.scores.iter().find(|(key, _)| *key == self.key);
                let numbers = (0..self.components)
                    .map(|_| match score {
                        Some((_, score)) => law.of_score(*score),
                        None => law.single(&mut stream),
                    })
                    .collect::<Option<Vec<f64>>>()?;
                one(match numbers.as_slice() {
                    [single] => number(*single),
                    list => {
                        let items: Vec<String> = list.iter().copied().map(number).collect();
                        format!("[{}]", items.join(", "))
                    }
                })
            }
        }
    }

    /// What is drawn under which key: one for every screw where these are turns.
    pub fn values(
        &self,
        screws: &[String],
        tables: Option<&GivenTables>,
    ) -> Vec<(String, ValueKind)> {
        let kind = match &self.distribution {
            Distribution::Choice { values, .. } => ValueKind::of_all(values),
            Distribution::Table { file, column } => tables
                .and_then(|tables| tables.kind(file, column))
                .unwrap_or(ValueKind::Mixed),
            Distribution::Turns { .. } => {
                let of_screw = |screw| (format!("{}.{screw}", self.key), ValueKind::Number);
                return screws.iter().map(of_screw).collect();
            }
            _ if self.components > 1 => ValueKind::Numbers(self.components),
            _ => ValueKind::Number,
        };
        vec![(self.key.clone(), kind)]
    }
}

impl Distribution {
    /// Whether it has a quantile function, so that it can be correlated with others.
    pub fn is_continuous(&self) -> bool {
        !matches!(
            self,
            Distribution::Choice { .. } | Distribution::Turns { .. } | Distribution::Table { .. }
        )
    }

    /// One number by itself; `None` where the limits are not met.
    fn single(&self, stream: &mut ChaCha8Rng) -> Option<f64> {
        let mut normal_within = |mean: f64, sigma: f64, within: Option<[f64; 2]>| {
            (0..ATTEMPTS)
                .map(|_| mean + sigma * standard(stream))
                .find(|v| within.is_none_or(|[low, high]| (low..=high).contains(v)))
        };
        match self {
            Distribution::Normal {
                mean,
                sigma,
                within,
            } => normal_within(*mean, *sigma, *within),
            Distribution::LogNormal {
                median,
                sigma_ln,
                within,
            } => {
                let logarithm = normal_within(
                    libm::log(*median),
                    *sigma_ln,
                    within.map(|w| w.map(libm::log)),
                )?;
                Some(cut(libm::exp(logarithm), *within))
            }
            law => law.quantile(stream.random::<f64>()),
        }
    }

    /// The number that a normal score stands for: as much of the law lies below it as of the normal law below the score.
    fn of_score(&self, score: f64) -> Option<f64> {
        match self {
            Distribution::Normal {
                mean,
                sigma,
                within,
            } => Some(normal::within(*mean, *sigma, *within, score)),
            Distribution::LogNormal {
                median,
                sigma_ln,
                within,
            } => {
                let limits = within.map(|w| w.map(libm::log));
                let logarithm = normal::within(libm::log(*median), *sigma_ln, limits, score);
                Some(cut(libm::exp(logarithm), *within))
            }
            law => law.quantile(normal::below(score)),
        }
    }

    /// The number below which so much of the law lies; `None` for laws without one in closed form.
    fn quantile(&self, share: f64) -> Option<f64> {
        let between = |low: f64, high: f64| low + (high - low) * share;
        match self {
            Distribution::Uniform { low, high } => Some(between(*low, *high)),
            Distribution::LogUniform { low, high } => {
                let logarithm = between(libm::log(*low), libm::log(*high));
                Some(libm::exp(logarithm).clamp(*low, *high))
            }
            Distribution::Weibull { scale, shape } => {
                let left = -libm::log1p(-share.min(1.0 - f64::EPSILON));
                Some(scale * libm::pow(left, 1.0 / shape))
            }
            Distribution::UniformSine { low_deg, high_deg } => {
                let sine = |deg: f64| libm::sin(deg * DEG);
                let angle = libm::asin(between(sine(*low_deg), sine(*high_deg)));
                Some((angle / DEG).clamp(*low_deg, *high_deg))
            }
            Distribution::StarCounts {
                bright,
                faint,
                slope_per_magnitude,
            } => {
                let rate = slope_per_magnitude * std::f64::consts::LN_10;
                let span = faint - bright;
                let deep = if rate * span < 1e-9 {
                    share * span
                } else {
                    libm::log1p(share * libm::expm1(rate * span)) / rate
                };
                Some((bright + deep).clamp(*bright, *faint))
            }
            _ => None,
        }
    }
}

/// Puts what rounding moved beyond a limit back on it.
fn cut(value: f64, within: Option<[f64; 2]>) -> f64 {
    within.map_or(value, |[low, high]| value.clamp(low, high))
}

fn uniform(stream: &mut ChaCha8Rng, low: f64, high: f64) -> f64 {
    low + (high - low) * stream.random::<f64>()
}

/// A standard normal number.
pub(super) fn standard(stream: &mut ChaCha8Rng) -> f64 {
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
    let drawn: Vec<f64> = (0..count).map(|_| standard(stream)).collect();
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
        Varied::new("a.b", distribution)
    }

    fn many(distribution: Distribution, count: u64) -> Vec<f64> {
        let varied = varied(distribution);
        (0..count)
            .map(|item| {
                varied.draw(&seed(), item, &Draws::default()).unwrap()[0]
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
        let screws = ["A".to_owned(), "B".to_owned()];
        let with = Draws {
            screws: &screws,
            ..Draws::default()
        };
        assert_eq!(impossible.draw(&seed(), 0, &with), None);
    }

    #[test]
    fn another_item_another_draw_and_the_same_again() {
        let varied = varied(Distribution::Uniform {
            low: 0.0,
            high: 1.0,
        });
        let draw = |item| varied.draw(&seed(), item, &Draws::default());
        let first = draw(5);
        assert_eq!(first, draw(5));
        assert_ne!(first, draw(6));
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
