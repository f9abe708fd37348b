//! An observer of masked stars that sees pixels only, and knows of the mask what a maker prints on it: how the slots run, and their pitch.
//!
//! Nothing of the prediction is used: each spike is a straight strip at right angles to its slots, a Gauss bell over a slanted background is
//! fitted to its pixels by least squares, and the middle spike is compared with the crossing of the two that lean. Its own error of
//! judgement is added to each reading.

use ndarray::Array2;
use rand::RngExt;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, Normal};

/// A third of all that is known of an ordinary eye: how much brighter than its surroundings a spike must be.
pub const CONTRAST: f64 = 0.25;
/// A shift of so many pixels is told in three of four trials without noise.
pub const EYE_PX: f64 = 0.3;
/// The quartile of the normal law.
const QUARTILE: f64 = 0.674_489_750_2;

/// What is printed on a mask about one triplet.
#[derive(Debug, Clone, Copy)]
pub struct Printed {
    /// Direction along the middle slots, degrees, frame axes.
    pub slot_deg: f64,
    /// How far the others lean, degrees.
    pub slant_deg: f64,
    /// First order of the two ends of the passband, pixels: middle slots, slanted slots.
    pub order_px: [[f64; 2]; 2],
}

/// A strip of pixels about a spike.
struct Strip {
    pixels: Vec<(usize, usize)>,
    /// For each tried place the bell, made free of a level and a slope, over its square; and its square.
    tried: Vec<(f64, Vec<f64>, f64)>,
    across_px: Vec<f64>,
    sigma_px: f64,
}

const STEP_PX: f64 = 0.05;

impl Strip {
    fn new(clean: &Array2<f64>, slot_deg: f64, order_px: [f64; 2], width_px: f64) -> Strip {
        let half_px = 1.6 * width_px + 0.8;
        let (sin, cos) = slot_deg.to_radians().sin_cos();
        let middle = 0.5 * (clean.ncols() as f64 - 1.0);
        let (mut pixels, mut across_px) = (Vec::new(), Vec::new());
        for row in 0..clean.nrows() {
            for column in 0..clean.ncols() {
                let (x, y) = (column as f64 - middle, row as f64 - middle);
                let across = x * cos + y * sin;
                let along = (y * cos - x * sin).abs();
                if across.abs() < half_px && along > order_px[0] - 0.7 && along < order_px[1] + 0.7
                {
                    pixels.push((row, column));
                    across_px.push(across);
                }
            }
        }
        let learned = (4..=30).map(|k| 0.1 * f64::from(k)).map(|sigma_px| {
            let own = Strip::tried(&pixels, &across_px, sigma_px, half_px);
            let found = own.fit(clean);
            (own, found.1)
        });
        // many looks at the star have taught how wide the spike is
        learned
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .expect("widths")
            .0
    }

    fn tried(pixels: &[(usize, usize)], across_px: &[f64], sigma_px: f64, half_px: f64) -> Strip {
        let reach = (0.75 * half_px / STEP_PX) as i64;
        let tried = (-reach..=reach)
            .map(|k| {
                let place = k as f64 * STEP_PX;
                let bell: Vec<f64> = across_px
                    .iter()
                    .map(|t| (-0.5 * ((t - place) / sigma_px).powi(2)).exp())
                    .collect();
                let bell = free_of_line(&bell, across_px);
                let square = bell.iter().map(|b| b * b).sum::<f64>();
                (place, bell, square)
            })
            .collect();
        Strip {
            pixels: pixels.to_vec(),
            tried,
            across_px: across_px.to_vec(),
            sigma_px,
        }
    }

    /// Place, how much the bell explains, and how much brighter than its surroundings the spike is.
    fn fit(&self, frame: &Array2<f64>) -> (f64, f64, f64) {
        let values: Vec<f64> = self.pixels.iter().map(|at| frame[*at]).collect();
        let explained: Vec<f64> = self
            .tried
            .iter()
            .map(|(_, bell, square)| {
                let height: f64 = bell.iter().zip(&values).map(|(b, v)| b * v).sum();
                if height > 0.0 {
                    height * height / square
                } else {
                    0.0
                }
            })
            .collect();
        let best = (0..explained.len())
            .max_by(|a, b| explained[*a].total_cmp(&explained[*b]))
            .unwrap_or(0);
        let (place, bell, square) = &self.tried[best];
        let mut found = *place;
        if best > 0 && best + 1 < explained.len() {
            let [a, b, c] = [explained[best - 1], explained[best], explained[best + 1]];
            let bend = a - 2.0 * b + c;
            found += if bend < 0.0 {
                0.5 * STEP_PX * (a - c) / bend
            } else {
                0.0
            };
        }
        let height = bell.iter().zip(&values).map(|(b, v)| b * v).sum::<f64>() / square;
        let over = |t: &f64| (-0.5 * ((t - place) / self.sigma_px).powi(2)).exp();
        let (mut around, mut count) = (0.0, 0.0);
        for (t, v) in self.across_px.iter().zip(&values) {
            if (t - place).abs() < 2.0 * self.sigma_px {
                (around, count) = (around + v - height * over(t), count + 1.0);
            }
        }
        (
            found,
            explained[best],
            height / (around / f64::max(count, 1.0)).max(1e-12),
        )
    }
}

/// What is left of values when a straight line over `x` is taken off.
fn free_of_line(values: &[f64], x: &[f64]) -> Vec<f64> {
    let n = values.len() as f64;
    let (mx, mv) = (x.iter().sum::<f64>() / n, values.iter().sum::<f64>() / n);
    let sxx: f64 = x.iter().map(|x| (x - mx).powi(2)).sum();
    let sxv: f64 = x.iter().zip(values).map(|(x, v)| (x - mx) * (v - mv)).sum();
    values
        .iter()
        .zip(x)
        .map(|(v, x)| v - mv - sxv / sxx * (x - mx))
        .collect()
}

/// One triplet that an observer has learned to look at.
pub struct Looker {
    strips: [Strip; 3],
    lean_cos: f64,
}

impl Looker {
    /// Learns from a star without noise and error.
    pub fn new(clean: &Array2<f64>, printed: &Printed, width_px: f64) -> Looker {
        let lean = [0.0, printed.slant_deg, -printed.slant_deg];
        Looker {
            strips: [0, 1, 2].map(|n| {
                Strip::new(
                    clean,
                    printed.slot_deg + lean[n],
                    printed.order_px[n.min(1)],
                    width_px,
                )
            }),
            lean_cos: printed.slant_deg.to_radians().cos(),
        }
    }

    /// The middle spike against the crossing of the others; `None` where one of them does not stand out.
    pub fn reading_px(&self, frame: &Array2<f64>) -> Option<f64> {
        let [middle, left, right] = [0, 1, 2].map(|n| self.strips[n].fit(frame));
        let seen = [middle, left, right].iter().all(|f| f.2 >= CONTRAST);
        seen.then(|| middle.0 - 0.5 * (left.0 + right.0) / self.lean_cos)
    }

    /// The same with the eye's own error.
    fn judged_px(&self, frame: &Array2<f64>, draw: &mut ChaCha8Rng) -> Option<f64> {
        let own = Normal::new(0.0, EYE_PX / (2f64.sqrt() * QUARTILE)).expect("a width");
        Some(self.reading_px(frame)? + own.sample(draw))
    }

    /// Only the pixels that are looked at, with the camera's noise.
    fn exposed(
        &self,
        clean: &Array2<f64>,
        read_e: f64,
        full_e: f64,
        draw: &mut ChaCha8Rng,
    ) -> Array2<f64> {
        let mut frame = clean.clone();
        for strip in &self.strips {
            for at in &strip.pixels {
                let electrons = clean[*at];
                let noise =
                    Normal::new(0.0, (electrons + read_e * read_e).sqrt()).expect("a width");
                frame[*at] = (electrons + noise.sample(draw)).min(full_e);
            }
        }
        frame
    }

    /// How many of `count` trials are right: which of two frames has the error, told by the direction in which the reading moves.
    pub fn right(
        &self,
        [without, with]: [&Array2<f64>; 2],
        direction: f64,
        count: usize,
        camera: [f64; 2],
        draw: &mut ChaCha8Rng,
    ) -> usize {
        (0..count)
            .filter(|_| {
                let [a, b] = [without, with].map(|clean| {
                    let frame = self.exposed(clean, camera[0], camera[1], draw);
                    self.judged_px(&frame, draw)
                });
                match (a, b) {
                    (Some(a), Some(b)) => direction * (b - a) > 0.0,
                    // nothing to judge by: a guess
                    _ => draw.random_bool(0.5),
                }
            })
            .count()
    }
}

/// The amount at which three of four trials are right: the steepness of a normal law through one half at nothing, of greatest likelihood.
/// `None` where trials are hardly better than guesses.
pub fn three_of_four(amounts_nm: &[f64], right: &[usize], count: usize) -> Option<f64> {
    let likelihood = |threshold_nm: f64| -> f64 {
        amounts_nm
            .iter()
            .zip(right)
            .map(|(amount, right)| {
                let p = normal(QUARTILE * amount / threshold_nm).clamp(1e-9, 1.0 - 1e-9);
                *right as f64 * p.ln() + (count - *right) as f64 * (1.0 - p).ln()
            })
            .sum()
    };
    let middle = amounts_nm.iter().sum::<f64>() / amounts_nm.len() as f64;
    let tried = (0..400).map(|k| middle * 10f64.powf(-1.5 + 3.0 * f64::from(k) / 399.0));
    let best = tried.max_by(|a, b| likelihood(*a).total_cmp(&likelihood(*b)))?;
    (best < 8.0 * middle).then_some(best)
}

/// The normal law, by its integral in steps (Simpson's rule).
fn normal(z: f64) -> f64 {
    let density = |x: f64| (-0.5 * x * x).exp() / (2.0 * std::f64::consts::PI).sqrt();
    let h = z / 64.0;
    let sum: f64 = (0..64)
        .map(|k| {
            let x = f64::from(k) * h;
            density(x) + 4.0 * density(x + 0.5 * h) + density(x + h)
        })
        .sum();
    0.5 + sum * h / 6.0
}
