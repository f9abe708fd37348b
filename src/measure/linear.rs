//! Whether the values of a star are in proportion to its light: a photon transfer curve of one frame.
//!
//! Photons come by Poisson's law, so that in a linear file the variance of a pixel grows in proportion to its light (EMVA 1288,
//! section 2). A curve that was laid over the values, as programs do to show faint things, stretches the dark and presses the bright: the variance
//! grows by less and less, or not at all. Noise is read by a filter that sees single pixels and no slope or bend (J. Immerkær, Comput.
//! Vis. Image Underst. 64, 300 (1996), from memory). Fine structure of the star adds to what is read and takes nothing away, and it does so
//! most where the light is brightest; a stretch does the opposite.

use super::settings::LinearitySettings;
use crate::math::robust::{median, percentile, sigma_of};
use ndarray::Array2;

/// Levels of light that are told apart, beside the dark.
const LEVELS: usize = 6;
/// The brightest of them are the last ones from here, …
const BRIGHT_FROM: usize = 4;
/// … the fainter ones those in between; the first is the edge of the star, whose steps are not noise.
const FAINT: std::ops::Range<usize> = 1..BRIGHT_FROM;
/// Variance of a variance that is read from a median of absolute deviations, over that of one from all squares: 1/0.37 (from memory).
const OF_MEDIAN: f64 = 2.7;

/// What is known of a pixel without starlight, in electrons as typed.
#[derive(Debug, Clone, Copy)]
pub struct DarkPixel {
    /// Its value, with whatever bias the file has.
    pub level_e: f64,
    /// Noise of readout.
    pub read_e: f64,
}

/// Whether the noise of a star (electrons as typed above the background; element `[[row, column]]`, row 0 at the bottom) is that of
/// photons, as far as it can be told.
pub fn is_linear(
    image_e: &Array2<f64>,
    usable: &Array2<bool>,
    dark: DarkPixel,
    settings: &LinearitySettings,
) -> bool {
    let Some((dark_e2, growth)) = growth(image_e, usable, settings) else {
        return true;
    };
    let mean = |levels: &[(f64, f64)]| {
        let count = levels.len() as f64;
        let variance: f64 = levels.iter().map(|level| level.1 * level.1).sum();
        let sum: f64 = levels.iter().map(|level| level.0).sum();
        (sum / count, variance.sqrt() / count)
    };
    let (bright, bright_sigma) = mean(&growth[BRIGHT_FROM..]);
    let (faint, faint_sigma) = mean(&growth[FAINT]);
    let most = bright + settings.sigma * bright_sigma;
    let least_of_faint = faint - settings.sigma * faint_sigma;
    let mut all: Vec<f64> = growth[1..].iter().map(|level| level.0).collect();
    let none = most < settings.none_below;
    let bent = most < settings.bent_below * faint && bright < settings.bent_below * least_of_faint;
    let typical = median(&mut all);
    // the sky scatters by its own light, which is no more than its level, and by readout; where its level was taken off nobody knows
    let gain = typical.max(1.0);
    let most_of_dark_e2 = gain * dark.level_e + (gain * dark.read_e).powi(2);
    let stretched_dark =
        dark.level_e > dark_e2.sqrt() && dark_e2 > settings.dark_at_most * most_of_dark_e2;
    !(none || bent || stretched_dark || typical > settings.at_most)
}

/// Variance of the dark, and what it gains for each unit of light, with its standard deviation, from faint to bright; `None` where the star
/// is too small or too faint to tell.
fn growth(
    image_e: &Array2<f64>,
    usable: &Array2<bool>,
    settings: &LinearitySettings,
) -> Option<(f64, [(f64, f64); LEVELS])> {
    let mut pixels = single_pixels(image_e, usable);
    let mut light: Vec<f64> = pixels.iter().map(|pixel| pixel.0).collect();
    let brightest = percentile(&mut light, 0.99);
    pixels.sort_by(|a, b| a.0.total_cmp(&b.0));
    let dark = pixels.partition_point(|(light, _)| *light < settings.dark_share * brightest);
    let (dark, lit) = pixels.split_at(dark);
    if dark.len() < settings.pixels_at_least || lit.len() < LEVELS * settings.pixels_at_least {
        return None;
    }
    let (dark_e2, dark_sigma_e2) = variance(dark);
    if brightest < settings.light_at_least_sigma * dark_e2.sqrt() {
        return None;
    }
    let mut levels = [(0.0, 0.0); LEVELS];
    for (number, level) in levels.iter_mut().enumerate() {
        let from = number * lit.len() / LEVELS;
        let own = &lit[from..(number + 1) * lit.len() / LEVELS];
        let (variance_e2, sigma_e2) = variance(own);
        let light_e = own[own.len() / 2].0;
        *level = (
            (variance_e2 - dark_e2) / light_e,
            sigma_e2.hypot(dark_sigma_e2) / light_e,
        );
    }
    Some((dark_e2, levels))
}

/// Variance of pixels whose differences from their neighbours these are, and its standard deviation.
fn variance(pixels: &[(f64, f64)]) -> (f64, f64) {
    let mut sizes: Vec<f64> = pixels.iter().map(|pixel| pixel.1.abs()).collect();
    let variance = sigma_of(&mut sizes).powi(2);
    let share = (2.0 * OF_MEDIAN / pixels.len() as f64).sqrt();
    (variance, variance * share)
}

/// For every pixel whose neighbours are good: the light around it, and what it alone has more than its eight neighbours make of it, with
/// the variance of a pixel.
fn single_pixels(image_e: &Array2<f64>, usable: &Array2<bool>) -> Vec<(f64, f64)> {
    const WEIGHTS: [f64; 3] = [1.0, -2.0, 1.0];
    // the squares of their products
    const SQUARES: f64 = 36.0;
    let around = |at: usize| at - 1..=at + 1;
    let (rows, columns) = image_e.dim();
    let mut found = Vec::new();
    for row in 1..rows.saturating_sub(1) {
        for column in 1..columns.saturating_sub(1) {
            let (mut light, mut alone, mut good) = (0.0, 0.0, true);
            for (j, down) in around(row).zip(WEIGHTS) {
                for (i, across) in around(column).zip(WEIGHTS) {
                    light += image_e[[j, i]] / 9.0;
                    alone += down * across * image_e[[j, i]];
                    good &= usable[[j, i]];
                }
            }
            if good {
                found.push((light, alone / SQUARES.sqrt()));
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::{Purpose, Seed};
    use rand_distr::{Distribution, Poisson};

    /// A soft ring on a sky of 40 e with 3 e of readout, each pixel drawn by Poisson's law; then changed by `of`, and without its sky.
    fn ring(brightest_e: f64, seed: u64, of: impl Fn(f64) -> f64) -> (Array2<f64>, f64) {
        let mut stream = Seed(seed).stream(Purpose::Read, 1);
        let drawn = Array2::from_shape_fn((80, 80), |(row, column)| {
            let radius = (row as f64 - 40.0).hypot(column as f64 - 40.0);
            let share = (-((radius - 16.0) / 7.0).powi(2)).exp();
            let mean_e = 49.0 + brightest_e * share;
            Poisson::new(mean_e).expect("a mean").sample(&mut stream)
        });
        let changed = drawn.mapv(of);
        let mut sky: Vec<f64> = changed.iter().copied().collect();
        let level = percentile(&mut sky, 0.1);
        (changed.mapv(|v| v - level), level)
    }

    fn is_linear((image, level_e): &(Array2<f64>, f64)) -> bool {
        let usable = Array2::from_elem(image.dim(), true);
        let dark = DarkPixel {
            level_e: *level_e,
            read_e: 3.0,
        };
        super::is_linear(image, &usable, dark, &LinearitySettings::default())
    }

    /// Also with a gain that is typed three times too large or small (values in electrons as typed grow in proportion).
    #[test]
    fn a_linear_file_is_linear_whatever_the_gain() {
        for seed in 1..6 {
            for factor in [1.0, 3.0, 1.0 / 3.0] {
                for brightest_e in [60.0, 900.0, 2e4] {
                    let image = ring(brightest_e, seed, |v| factor * v);
                    assert!(is_linear(&image), "{seed} {factor} {brightest_e}");
                }
            }
        }
    }

    /// Powers and an inverse hyperbolic sine over the range of the file, rounded to eight or sixteen bits.
    #[test]
    fn a_stretched_file_is_not() {
        let white = 2.2e4;
        let power =
            |gamma: f64, top: f64| move |v: f64| (top * (v / white).powf(1.0 / gamma)).round();
        let asinh =
            |k: f64| move |v: f64| (65535.0 * (k * v / white).asinh() / f64::asinh(k)).round();
        for seed in 1..6 {
            assert!(!is_linear(&ring(2e4, seed, power(2.2, 255.0))), "8 bits");
            assert!(!is_linear(&ring(2e4, seed, power(2.2, 65535.0))), "16 bits");
            assert!(!is_linear(&ring(2e4, seed, asinh(20.0))), "asinh");
            assert!(!is_linear(&ring(2e4, seed, power(1.5, 52000.0))), "weak");
        }
    }
}
