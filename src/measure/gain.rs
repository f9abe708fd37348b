//! The gain that is typed against the noise of the frame itself.
//!
//! A background of S counts above the bias scatters by σ² = S/g + (r/g)² counts² (electrons by Poisson's law, read noise r in electrons,
//! gain g in electrons per count; EMVA 1288, section 2, the same law), so that a frame whose bias and read noise are known says
//! g = (S + √(S² + 4 σ² r²)) / (2 σ²). The bias is taken as known where one is typed; else S may be anything from nothing to all of the
//! level. The noise is read twice, about the background's surface and from pixel to pixel; the two are the ends of what it may be.
//!
//! It never puts another gain in the place of the typed one, and says nothing of frames whose noise is less than half a count.

use super::background::Background;
use super::settings::{FindingSettings, GainSettings};
use crate::instrument::Electronics;
use ndarray::Array2;

/// What the background of a frame says about the gain.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GainRange {
    /// Least and largest electrons per count; the largest is infinite where nothing bounds it.
    pub e_per_adu: [f64; 2],
    /// Noise of a pixel of the background.
    pub sigma_adu: f64,
    /// Level of the background above the bias that is typed.
    pub above_bias_adu: f64,
    factor: f64,
}

impl GainRange {
    /// Reads it off a frame, if its background can be found. Pixels two columns apart are compared, which have the same colour in a mosaic.
    ///
    /// # Accuracy
    /// For gains from 0.2 to 8 electrons a count the range holds the true one within the factor by which a typed gain is told to be off
    /// (`measure::gain::tests::the_true_gain_is_never_refused`).
    pub fn of(
        values: &Array2<f64>,
        electronics: &Electronics,
        settings: &FindingSettings,
    ) -> Option<GainRange> {
        let own = &settings.gain;
        let part = middle(values, own.side_px_at_most);
        let background = Background::of(&part, None, settings).ok()?;
        let sigma2 = [
            step_variance(&part, &background, own)?,
            background.sigma.powi(2),
        ];
        let [low2, high2] = [sigma2[0].min(sigma2[1]), sigma2[0].max(sigma2[1])];
        if high2 < own.noise_adu_at_least.powi(2) {
            return None;
        }
        let level_adu = background.level - electronics.bias_adu;
        let off_bias = own.bias_sigma * background.sigma;
        let signal_adu = if electronics.bias_adu > 0.0 && level_adu > -off_bias {
            [
                (level_adu - own.bias_slack_adu).max(0.0),
                level_adu.max(0.0) + own.bias_slack_adu,
            ]
        } else {
            [0.0, background.level.max(0.0)]
        };
        let read_e = electronics.read_noise_e;
        let uneven_adu2 = (electronics.pixel_response_rms * signal_adu[1]).powi(2);
        let own_adu2 = low2 - ROUNDING_ADU2 - uneven_adu2;
        let largest = if own_adu2 > ROUNDING_ADU2 && read_e > 0.0 {
            gain(signal_adu[1], own_adu2, read_e)
        } else {
            f64::INFINITY
        };
        Some(GainRange {
            e_per_adu: [gain(signal_adu[0], high2, read_e), largest],
            sigma_adu: background.sigma,
            above_bias_adu: level_adu,
            factor: own.off_factor,
        })
    }

    /// Whether a gain is off by more than the factor of the settings.
    pub fn excludes(&self, gain_e_per_adu: f64) -> bool {
        let [least, most] = self.e_per_adu;
        gain_e_per_adu * self.factor < least || gain_e_per_adu > self.factor * most
    }

    /// The range in words.
    pub fn words(&self) -> String {
        let [least, most] = self.e_per_adu;
        if most.is_finite() {
            format!("from {least:.2} to {most:.2}")
        } else {
            format!("at least {least:.2}")
        }
    }
}

/// Columns between pixels that are compared.
const APART_PX: usize = 2;
/// Variance of rounding to whole counts.
const ROUNDING_ADU2: f64 = 1.0 / 12.0;

/// The gain at which a signal and a read noise scatter so.
fn gain(signal_adu: f64, sigma_adu2: f64, read_e: f64) -> f64 {
    let root = (signal_adu.powi(2) + 4.0 * sigma_adu2 * read_e.powi(2)).sqrt();
    (signal_adu + root) / (2.0 * sigma_adu2)
}

/// The middle of a large frame, from an even row and column, so that a filter array stays in step.
fn middle(values: &Array2<f64>, side_px_at_most: usize) -> Array2<f64> {
    let (rows, columns) = values.dim();
    let [height, width] = [rows, columns].map(|side| side.min(side_px_at_most));
    let [first_row, first_column] = [(rows - height) / 4 * 2, (columns - width) / 4 * 2];
    Array2::from_shape_fn((height, width), |(row, column)| {
        values[[first_row + row, first_column + column]]
    })
}

/// Variance of a pixel from the steps between pixels of the background in the same row.
fn step_variance(
    values: &Array2<f64>,
    background: &Background,
    settings: &GainSettings,
) -> Option<f64> {
    let limit = settings.clip_sigma * background.sigma;
    let dark = background.subtracted(values).mapv(|v| v.abs() <= limit);
    let (mut sum, mut count) = (0.0, 0usize);
    for ((row, column), value) in values.indexed_iter() {
        if column < APART_PX || !dark[[row, column]] || !dark[[row, column - APART_PX]] {
            continue;
        }
        sum += (value - values[[row, column - APART_PX]]).powi(2);
        count += 1;
    }
    (count >= settings.steps_at_least).then(|| sum / (2.0 * count as f64 * CLIPPED_VARIANCE_SHARE))
}

/// Variance of what is left of a normal distribution within three standard deviations, as a share of the whole (worked out by hand;
/// `clip_sigma` is three).
const CLIPPED_VARIANCE_SHARE: f64 = 0.9733;

#[cfg(test)]
mod tests;
