//! What lies behind the stars: bias, sky and dark current together, as a smooth surface with the noise about it.
//!
//! The level is found where the smoothed frame piles up most, not by a median: a doughnut may fill most of a small frame. Then
//! a plane (a second-order surface on frames of 256 pixels and more) is fitted, again and again, to what stays within three
//! standard deviations and does not stand out when averaged over 5 × 5 pixels. Stars only add light, so that only what lies
//! above is suspected. It refuses to tell bias from sky: one frame does not say.

use super::defects::{self, Defects};
use super::frame_error::FrameError;
use super::regions::BoxSums;
use super::settings::{BackgroundSettings, FindingSettings};
use crate::math::LeastSquares;
use crate::math::robust::{median, sigma_of};
use ndarray::Array2;

/// Level, slope and noise of the frame behind the stars; and which pixels are not to be trusted.
#[derive(Debug, Clone, PartialEq)]
pub struct Background {
    /// Level in the middle of the frame.
    pub level: f64,
    /// Standard deviation of a pixel about the surface; above 0.
    pub sigma: f64,
    /// Pixels that are hot, dead or full.
    pub defects: Defects,
    /// Share of the pixels that the surface was fitted to.
    pub share: f64,
    /// Coefficients of [`TERMS`].
    terms: Vec<f64>,
    /// Columns and rows.
    size_px: [usize; 2],
}

/// Terms of the surface over the frame scaled to −1 … 1: level, slopes, then second order.
const TERMS: [fn(f64, f64) -> f64; 6] = [
    |_, _| 1.0,
    |x, _| x,
    |_, y| y,
    |x, _| x * x,
    |x, y| x * y,
    |_, y| y * y,
];
/// Pixels whose residual is larger than this many standard deviations are not taken for background. The next two constants hold for
/// three standard deviations only, so that none of the three can be changed alone.
const CLIP_SIGMA: f64 = 3.0;
/// Standard deviation of a normal distribution over the median of |x| of what is left of it within three standard deviations: that
/// median is 0.6720 standard deviations of the whole (worked out by hand).
const SIGMA_PER_CLIPPED_MEDIAN: f64 = 1.0 / 0.672;
/// Standard deviation of what is left of a normal distribution within three standard deviations, over that of the whole (worked
/// out by hand).
const CLIPPED_SIGMA_SHARE: f64 = 0.9866;
/// Where counts are coarse, this share of the root mean square stands for the standard deviation that the median misses; less than
/// 1, so that the median decides wherever it can.
const ROOT_MEAN_SQUARE_SHARE: f64 = 0.9;
/// Rounds of choosing the background's pixels and fitting the surface to them, at most.
const ROUNDS: usize = 12;
/// The rounds end when the standard deviation changes by less than this share of itself.
const SIGMA_AT_REST_SHARE: f64 = 1e-3;

impl Background {
    /// Reads the background of a frame. `ceiling` is the value at which a pixel is full, where it is known.
    ///
    /// # Errors
    /// [`FrameError::TooSmall`], [`FrameError::NotFinite`] and [`FrameError::Blank`].
    ///
    /// # Accuracy
    /// The level of frames with doughnuts 30 to 110 pixels wide in 128 is within half a standard deviation of a pixel
    /// (`measure::background::tests::the_level_is_found_behind_a_large_doughnut`).
    pub fn of(
        values: &Array2<f64>,
        ceiling: Option<f64>,
        settings: &FindingSettings,
    ) -> Result<Background, FrameError> {
        refuse(values)?;
        let (height_px, width_px) = values.dim();
        let size_px = [width_px, height_px];
        let own = &settings.background;
        let (level, width) = starting_level(values, own);
        let least_sigma = least_sigma(values);
        let mut background = Background {
            level,
            sigma: sigma_of_steps(values, own).max(width).max(least_sigma),
            defects: Defects::default(),
            share: 1.0,
            terms: vec![level],
            size_px,
        };
        for _ in 0..ROUNDS {
            let before = background.sigma;
            background.refit(values, least_sigma, own);
            if (background.sigma - before).abs() < SIGMA_AT_REST_SHARE * before {
                break;
            }
        }
        background.level = background.at([
            0.5 * (width_px as f64 - 1.0),
            0.5 * (height_px as f64 - 1.0),
        ]);
        background.defects = defects::find(values, &background, ceiling, &settings.defects);
        Ok(background)
    }

    /// Level of the background at a place of the frame.
    pub fn at(&self, place_px: [f64; 2]) -> f64 {
        let [x, y] = [0, 1].map(|axis| scaled(place_px[axis], self.size_px[axis]));
        self.terms
            .iter()
            .zip(TERMS)
            .map(|(factor, term)| factor * term(x, y))
            .sum()
    }

    /// Rise of the background along x and y, in the middle of the frame, per pixel.
    pub fn slope_per_px(&self) -> [f64; 2] {
        [1, 2].map(|term| {
            let per_half = self.terms.get(term).copied().unwrap_or(0.0);
            2.0 * per_half / (self.size_px[term - 1].max(2) - 1) as f64
        })
    }

    /// The frame less the background, pixels as they are.
    pub fn subtracted(&self, values: &Array2<f64>) -> Array2<f64> {
        Array2::from_shape_fn(values.dim(), |(row, column)| {
            values[[row, column]] - self.at([column as f64, row as f64])
        })
    }

    /// The frame less the background, with each hot or dead pixel replaced by the median of its good neighbours; which ones those
    /// are stands in [`Background::defects`].
    pub fn cleaned(&self, values: &Array2<f64>) -> Array2<f64> {
        let mut light = self.subtracted(values);
        defects::patch(&mut light, &self.defects);
        light
    }

    /// One round: who belongs to the background, the surface through them, and their spread.
    fn refit(&mut self, values: &Array2<f64>, least_sigma: f64, settings: &BackgroundSettings) {
        let residuals = self.subtracted(values);
        let accepted = self.accepted(&residuals, settings.averaged_half_px);
        let share_px = (settings.fitted_share_at_least * values.len() as f64) as usize;
        let enough = share_px.max(settings.fitted_px_at_least);
        if accepted.len() < enough {
            return;
        }
        self.share = accepted.len() as f64 / values.len() as f64;
        let stride = accepted.len().div_ceil(settings.fitted_px_at_most);
        let used: Vec<[usize; 2]> = accepted.into_iter().step_by(stride).collect();
        let count = self.terms_for(&used, settings);
        let places: Vec<[f64; 2]> = used
            .iter()
            .map(|[row, column]| {
                [
                    scaled(*column as f64, self.size_px[0]),
                    scaled(*row as f64, self.size_px[1]),
                ]
            })
            .collect();
        let columns: Vec<Vec<f64>> = TERMS[..count]
            .iter()
            .map(|term| places.iter().map(|[x, y]| term(*x, *y)).collect())
            .collect();
        let offset = self.terms[0];
        let data: Vec<f64> = used.iter().map(|at| values[*at] - offset).collect();
        self.terms = LeastSquares::new(columns, &vec![0.0; count]).solve(&data);
        self.terms[0] += offset;
        let mut apart: Vec<f64> = used
            .iter()
            .map(|[row, column]| {
                (values[[*row, *column]] - self.at([*column as f64, *row as f64])).abs()
            })
            .collect();
        self.sigma = (SIGMA_PER_CLIPPED_MEDIAN * median(&mut apart))
            .max(root_mean_square_floor(&apart, self.sigma))
            .max(least_sigma);
    }

    /// Pixels `[row, column]` that lie within the noise, alone and averaged over their neighbourhood.
    fn accepted(&self, residuals: &Array2<f64>, averaged_half_px: usize) -> Vec<[usize; 2]> {
        let sums = BoxSums::new(residuals);
        let limit = CLIP_SIGMA * self.sigma;
        residuals
            .indexed_iter()
            .filter(|((row, column), residual)| {
                let (sum, count) = sums.around([*row, *column], averaged_half_px);
                residual.abs() <= limit && sum <= limit * (count as f64).sqrt()
            })
            .map(|((row, column), _)| [row, column])
            .collect()
    }

    /// How many terms these pixels determine: slopes only if every quarter of the frame has some of them.
    fn terms_for(&self, used: &[[usize; 2]], settings: &BackgroundSettings) -> usize {
        let [width_px, height_px] = self.size_px;
        let mut quarters = [0usize; 4];
        for [row, column] in used {
            quarters
                [2 * usize::from(2 * row >= height_px) + usize::from(2 * column >= width_px)] += 1;
        }
        let share = |count: &usize| *count as f64 / used.len() as f64;
        let spread = quarters
            .iter()
            .all(|count| share(count) >= settings.quarter_share_at_least);
        match (spread, width_px.min(height_px) >= settings.curved_from_px) {
            (true, true) => 6,
            (true, false) => 3,
            (false, _) => 1,
        }
    }
}

/// Frames without numbers, without size, or with one value only.
fn refuse(values: &Array2<f64>) -> Result<(), FrameError> {
    let (height_px, width_px) = values.dim();
    if height_px.min(width_px) < FrameError::LEAST_SIDE_PX {
        return Err(FrameError::TooSmall {
            width_px,
            height_px,
        });
    }
    let mut without = values
        .indexed_iter()
        .filter(|(_, value)| !value.is_finite());
    if let Some(((row, column), _)) = without.next() {
        return Err(FrameError::NotFinite {
            count: 1 + without.count(),
            first_px: [column, row],
        });
    }
    let value = values[[0, 0]];
    if values.iter().all(|other| *other == value) {
        return Err(FrameError::Blank { value });
    }
    Ok(())
}

fn scaled(place_px: f64, side_px: usize) -> f64 {
    2.0 * place_px / (side_px.max(2) - 1) as f64 - 1.0
}

/// Where the smoothed frame piles up: middle and width of the narrowest interval that holds the densest share of it.
fn starting_level(values: &Array2<f64>, settings: &BackgroundSettings) -> (f64, f64) {
    let sums = BoxSums::new(values);
    let stride = values.len().div_ceil(settings.fitted_px_at_most);
    let width_px = values.ncols();
    let mut smooth: Vec<f64> = (0..values.len())
        .step_by(stride)
        .map(|at| {
            let (sum, count) =
                sums.around([at / width_px, at % width_px], settings.averaged_half_px);
            sum / count as f64
        })
        .collect();
    smooth.sort_by(f64::total_cmp);
    let held = ((smooth.len() as f64 * settings.densest_share) as usize).clamp(1, smooth.len() - 1);
    let width = |from: usize| smooth[from + held] - smooth[from];
    let narrowest = (0..smooth.len() - held)
        .min_by(|a, b| width(*a).total_cmp(&width(*b)))
        .unwrap_or(0);
    (smooth[narrowest + held / 2], width(narrowest))
}

/// Spread of single pixels, from the steps between neighbours: slopes and outlines hardly count.
fn sigma_of_steps(values: &Array2<f64>, settings: &BackgroundSettings) -> f64 {
    let width_px = values.ncols();
    let stride = values.len().div_ceil(settings.fitted_px_at_most);
    let mut steps: Vec<f64> = (0..values.len())
        .step_by(stride)
        .filter(|at| at % width_px + 1 < width_px)
        .map(|at| {
            let (row, column) = (at / width_px, at % width_px);
            (values[[row, column + 1]] - values[[row, column]]).abs()
        })
        .collect();
    sigma_of(&mut steps) / std::f64::consts::SQRT_2
}

/// Noise that no frame is below: the steps of whole counts (1/√12), or rounding.
fn least_sigma(values: &Array2<f64>) -> f64 {
    let (lowest, highest) = values.iter().fold((f64::MAX, f64::MIN), |(low, high), v| {
        (low.min(*v), high.max(*v))
    });
    let whole = values.iter().all(|value| value.fract() == 0.0);
    let steps = if whole { 1.0 / 12f64.sqrt() } else { 0.0 };
    steps.max(1e-9 * (highest - lowest)).max(f64::MIN_POSITIVE)
}

/// Where counts are coarse the median of |x| says little: the root mean square of the accepted, unless it grows.
fn root_mean_square_floor(apart: &[f64], before: f64) -> f64 {
    let square = apart.iter().map(|v| v * v).sum::<f64>() / apart.len().max(1) as f64;
    (ROOT_MEAN_SQUARE_SHARE * square.sqrt() / CLIPPED_SIGMA_SHARE).min(before)
}

#[cfg(test)]
mod tests;
