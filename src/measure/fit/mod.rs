//! Fitting the whole model to one star: in one frame, in a pair, in the colours of a filter array.
//!
//! Few wavelengths are spent far from the minimum, all of them near it. Pixels are weighed by the photons that the model predicts.
//! Single pixels that nothing explains are left out. Where the model does not explain the star within its noise, it is taken to be
//! off by a share of each pixel's light (the model error), which lowers the weight of bright pixels and widens every σ.

mod asked;
mod dimension;
mod leftover;
mod levenberg;
mod problem;
mod suspects;
mod tiles;
mod unknown;
mod view;

pub use dimension::{Dimension, apply_all};
pub use suspects::HIGHER_ORDER_MODES;
pub use unknown::{Neighbour, TrialState, Unknown};
pub use view::{FrameView, Look, Recorded, Stage};

use super::settings::{FitSettings, Pace};
use crate::instrument::Instrument;
use crate::math::LeastSquares;
use crate::math::robust::sigma_of;
use crate::predict::PredictError;
use levenberg::{Minimum, Patience, minimise};
use problem::{FitPixel, StarProblem};
use std::collections::HashMap;

/// What a fit found.
#[derive(Debug, Clone)]
pub struct Fitted {
    /// Unknowns and values.
    pub trial: TrialState,
    /// Standard deviation of each unknown; `None` where the frames do not determine it.
    pub sigmas: Vec<Option<f64>>,
    /// Covariance of the unknowns, row and column in their order; meaningful only between unknowns that have a standard deviation.
    pub covariance: Vec<Vec<f64>>,
    /// Sum of squared residuals per degree of freedom, before any model error was allowed for.
    pub chi_square: f64,
    /// Share of a pixel's light by which the model is off, typically; 0 where noise explains the residuals.
    pub model_error: f64,
    /// Share of the light (root of the sum of squares) that neither model nor noise explains; 0 where that is less than noise.
    pub unexplained: f64,
    /// Pixels left out because nothing explains them.
    pub left_out_px: usize,
    /// Whether the last derivatives promised no further fall of the sum of squares that counts.
    pub settled: bool,
}

impl Fitted {
    /// Value and standard deviation of an unknown.
    pub fn get(&self, unknown: Unknown) -> Option<(f64, Option<f64>)> {
        let at = self.trial.position(unknown)?;
        Some((self.trial.values[at], self.sigmas[at]))
    }

    /// The fit of the twin: all of W negated, as the same picture is explained by a pupil that is half a turn further. Values and
    /// covariances of modes and sensor offsets change their sign.
    pub fn with_wavefront_negated(mut self) -> Fitted {
        let negated =
            |unknown: &Unknown| matches!(unknown, Unknown::Mode(_) | Unknown::SensorOffset(_));
        let sign: Vec<f64> = self
            .trial
            .unknowns
            .iter()
            .map(|unknown| if negated(unknown) { -1.0 } else { 1.0 })
            .collect();
        for (value, sign) in self.trial.values.iter_mut().zip(&sign) {
            *value *= sign;
        }
        for (row, own) in self.covariance.iter_mut().zip(&sign) {
            row.iter_mut().zip(&sign).for_each(|(c, s)| *c *= own * s);
        }
        self
    }

    /// Standard deviation of a sum of unknowns (column, factor); `None` where one of them is not determined.
    pub fn sigma_along(&self, parts: &[(usize, f64)]) -> Option<f64> {
        let known = |(column, _): &(usize, f64)| self.sigmas[*column].is_some();
        let one = |(j, a): &(usize, f64)| -> f64 {
            let with = parts.iter().map(|(k, b)| b * self.covariance[*j][*k]);
            a * with.sum::<f64>()
        };
        let variance: f64 = parts.iter().map(one).sum();
        parts.iter().all(known).then(|| variance.max(0.0).sqrt())
    }
}

/// Variance of a normal distribution whose largest hundredth part (by size) is cut off, over that of the whole (worked out by hand).
const TRIMMED_VARIANCE: f64 = 0.92476;
/// The largest squares are one in this many: what [`TRIMMED_VARIANCE`] is for.
const ONE_TRIMMED_IN: usize = 100;
/// An approach ends when a set of derivatives lowers the sum of squares by less than this …
const APPROACH_DECREASE: f64 = 1.0;
/// … or by less than this share of it: starts are compared, not fitted to the end.
const APPROACH_DECREASE_SHARE: f64 = 0.01;
/// The fit to the end takes no more sets of derivatives than this in one round.
const LAST_LINEARISATIONS: usize = 6;
/// It ends when a set of derivatives lowers the sum of squares by less than this, a tenth of what chance does to it …
const LAST_DECREASE: f64 = 0.1;
/// … or by less than this share of it.
const LAST_DECREASE_SHARE: f64 = 1e-5;
/// Rounds of the fit to the end, at most: the first weighs by noise alone, the next ones leave pixels out and allow for a wrong
/// model. One more for each suspect that is freed.
const LAST_ROUNDS: usize = 3;

/// Fits with few wavelengths, from far away; for choosing among starts. Returns where it came to, and the mean squared residual per
/// pixel there, the model being taken to be off by the pace's share.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn approach(
    views: &mut [FrameView],
    start: TrialState,
    instrument: &Instrument,
    settings: &FitSettings,
    pace: Pace,
) -> Result<(TrialState, f64), PredictError> {
    views.iter_mut().for_each(|v| v.set_stage(Stage::Coarse));
    let patience = Patience {
        linearisations: pace.linearisations,
        decrease: APPROACH_DECREASE,
        share: APPROACH_DECREASE_SHARE,
    };
    let prior = &settings.prior;
    let model_error = pace.model_error_share;
    loop {
        let mut problem = StarProblem::new(views, start.clone(), instrument, prior, model_error)?;
        let found = minimise(&mut problem, start.values.clone(), patience)?;
        let near = problem.trial.at(&found.unknowns);
        let per_pixel = found.sum / problem.pixels().len().max(1) as f64;
        let there = StarProblem::new(views, near.clone(), instrument, prior, model_error)?;
        let hot = lone_pixels(there.pixels(), settings);
        if hot.is_empty() {
            return Ok((near, per_pixel));
        }
        // a hot pixel in the star draws the whole fit to itself: once more without it
        leave_out(views, &hot);
    }
}

/// Fits to the end, from nearby, with what of the typed and the assumed the star shows to be otherwise: `fit/asked.rs`.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn finish(
    views: &mut [FrameView],
    start: TrialState,
    instrument: &Instrument,
    settings: &FitSettings,
) -> Result<Fitted, PredictError> {
    views.iter_mut().for_each(|v| v.set_stage(Stage::Fine));
    let patience = Patience {
        linearisations: LAST_LINEARISATIONS,
        decrease: LAST_DECREASE,
        share: LAST_DECREASE_SHARE,
    };
    let prior = &settings.prior;
    let mut trial = start;
    let mut model_error = 0.0;
    let mut chi_square = None;
    let (mut rounds, mut rounds_at_most) = (0, LAST_ROUNDS);
    let (mut asked, mut levelled) = (0, false);
    loop {
        let mut problem = StarProblem::new(views, trial.clone(), instrument, prior, model_error)?;
        let found = minimise(&mut problem, trial.values.clone(), patience)?;
        trial = trial.at(&found.unknowns);
        let ask = asked == rounds && asked < settings.asked_rounds;
        let more = match ask {
            true => asked::freed(&mut problem, &found, settings)?,
            false => None,
        };
        rounds += 1;
        let mut pixels = StarProblem::new(views, trial.clone(), instrument, prior, model_error)?
            .pixels()
            .to_vec();
        // light that is freed now must not be taken for noise of dark pixels
        if !levelled && more.is_none() {
            levelled = true;
            for (number, view) in views.iter_mut().enumerate() {
                let floor_e2 = view.recorded.floor_e2;
                view.recorded.floor_e2 += level_noise(&mut pixels, number, floor_e2, settings);
            }
        }
        if let Some(more) = more {
            trial = more;
            rounds_at_most += 1;
            asked = rounds;
            continue;
        }
        let outliers = outliers(&pixels, model_error, settings);
        let stands_out = |p: &FitPixel| outliers.contains(&(p.view, p.place));
        let kept: Vec<FitPixel> = pixels.iter().copied().filter(|p| !stands_out(p)).collect();
        let spread = spread(&kept, model_error, trial.values.len());
        chi_square.get_or_insert(spread);
        let too_far = model_error == 0.0 && spread > settings.model_error_from_chi_square;
        if rounds >= rounds_at_most || (outliers.is_empty() && !too_far) {
            let settled = found.settled;
            for pixel in pixels.iter_mut().filter(|p| stands_out(p)) {
                pixel.off_e = 0.0;
            }
            let (sigmas, covariance) = uncertainties(found, spread, &pixels, model_error, settings);
            return Ok(Fitted {
                trial,
                sigmas,
                covariance,
                chi_square: chi_square.unwrap_or(spread),
                model_error,
                unexplained: unexplained(&kept, settings.unexplained_from_sigma),
                left_out_px: views.iter().map(FrameView::left_out_px).sum(),
                settled,
            });
        }
        if too_far {
            model_error = explaining(&kept, trial.values.len());
        }
        leave_out(views, &outliers);
    }
}

/// Sum of the squared residuals of a trial in these views, weighed by its own photons.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn sum_of_squares(
    views: &mut [FrameView],
    trial: &TrialState,
    instrument: &Instrument,
    settings: &FitSettings,
) -> Result<f64, PredictError> {
    let problem = StarProblem::new(views, trial.clone(), instrument, &settings.prior, 0.0)?;
    Ok(problem
        .pixels()
        .iter()
        .map(|p| p.residual(0.0).powi(2))
        .sum())
}

/// Leaves pixels (view, place) out from now on.
fn leave_out(views: &mut [FrameView], unwanted: &[(usize, [usize; 2])]) {
    for (number, view) in views.iter_mut().enumerate() {
        let own = unwanted.iter().filter(|o| o.0 == number);
        view.leave_out(&own.map(|o| o.1).collect::<Vec<_>>());
    }
}

/// Pixels whose residual stands far above the typical one and alone: no neighbour has a share of it, as misfits of a star would.
fn lone_pixels(pixels: &[FitPixel], settings: &FitSettings) -> Vec<(usize, [usize; 2])> {
    let by_place: HashMap<_, f64> = pixels
        .iter()
        .map(|p| ((p.view, p.place), p.residual(0.0).abs()))
        .collect();
    let mut sizes: Vec<f64> = by_place.values().copied().collect();
    let limit = settings.lone_pixel_sigma * sigma_of(&mut sizes).max(1.0);
    let beside = |(view, [row, column]): (usize, [usize; 2])| {
        (0..9)
            .filter(|k| *k != 4)
            .filter_map(|k| {
                Some([
                    (row + k / 3).checked_sub(1)?,
                    (column + k % 3).checked_sub(1)?,
                ])
            })
            .filter_map(|place| by_place.get(&(view, place)).copied())
            .fold(0.0, f64::max)
    };
    pixels
        .iter()
        .map(|p| (p.view, p.place))
        .filter(|at| {
            let size = by_place[at];
            size > limit && size > settings.lone_pixel_factor * beside(*at)
        })
        .collect()
}

/// Sum of squared residuals per degree of freedom.
fn spread(pixels: &[FitPixel], model_error: f64, unknowns: usize) -> f64 {
    let sum: f64 = pixels.iter().map(|p| p.residual(model_error).powi(2)).sum();
    sum / pixels.len().saturating_sub(unknowns).max(1) as f64
}

/// Root of the sum of squares of what is off beyond noise, over that of the light; 0 where it is within so many standard deviations
/// of noise.
fn unexplained(pixels: &[FitPixel], from_sigma: f64) -> f64 {
    let sum = |of: fn(&FitPixel) -> f64| pixels.iter().map(of).sum::<f64>();
    let beyond = sum(|p| p.off_e * p.off_e - p.noise_e2);
    // the square of a normal draw scatters by √2 times its variance
    let scatter = (2.0 * sum(|p| p.noise_e2 * p.noise_e2)).sqrt();
    let light = sum(|p| p.star_e * p.star_e);
    if beyond > from_sigma * scatter && light > 0.0 {
        (beyond / light).sqrt()
    } else {
        0.0
    }
}

/// Sets the noise of a view's dark pixels to their own scatter; returns what the variance gains.
///
/// The scatter round a star is not quite that of the sky: its faint wings were taken for noise, or a patch of sky is uneven.
fn level_noise(pixels: &mut [FitPixel], view: usize, floor_e2: f64, settings: &FitSettings) -> f64 {
    let is_dark = |p: &&FitPixel| p.view == view && p.star_e.abs() < settings.dark_share * floor_e2;
    let mut squares: Vec<f64> = pixels
        .iter()
        .filter(is_dark)
        .map(|p| p.off_e * p.off_e)
        .collect();
    if squares.len() < settings.dark_px_at_least {
        return 0.0;
    }
    // the largest hundredth part is left out with its share of a normal distribution's variance: hot pixels
    squares.sort_unstable_by(f64::total_cmp);
    let kept = &squares[..squares.len() - squares.len() / ONE_TRIMMED_IN];
    let scatter = kept.iter().sum::<f64>() / kept.len() as f64 / TRIMMED_VARIANCE;
    let [least, most] = settings.dark_variance_factor.map(|f| f * floor_e2);
    let gain = scatter.min(most).max(least) - floor_e2;
    for pixel in pixels.iter_mut().filter(|p| p.view == view) {
        pixel.noise_e2 += gain;
    }
    gain
}

/// Standard deviations and covariance from the last derivatives, larger where the residuals are larger than the noise, and where the model
/// is wrong and the tiles of the picture disagree.
fn uncertainties(
    found: Minimum,
    spread: f64,
    pixels: &[FitPixel],
    model_error: f64,
    settings: &FitSettings,
) -> (Vec<Option<f64>>, Vec<Vec<f64>>) {
    let floors = vec![0.0; found.columns.len()];
    let fit = LeastSquares::new(found.columns.clone(), &floors);
    let mut covariance = fit.covariance();
    let along = settings.tiles_along;
    let wider = match model_error > 0.0 {
        true => tiles::wider(
            &found.columns,
            pixels,
            model_error,
            &covariance,
            spread,
            along,
        ),
        false => vec![1.0; covariance.len()],
    };
    let factors: Vec<f64> = wider.iter().map(|f| f * spread.max(1.0).sqrt()).collect();
    for (row, own) in covariance.iter_mut().zip(&factors) {
        row.iter_mut()
            .zip(&factors)
            .for_each(|(shared, other)| *shared *= own * other);
    }
    let larger = |(sigma, factor): (Option<f64>, &f64)| sigma.map(|s| s * factor);
    let sigmas = fit.sigmas().into_iter().zip(&factors).map(larger);
    (sigmas.collect(), covariance)
}

/// Pixels whose residual stands out by far from those of the whole; empty where there are too many to be chance.
fn outliers(
    pixels: &[FitPixel],
    model_error: f64,
    settings: &FitSettings,
) -> Vec<(usize, [usize; 2])> {
    let residuals: Vec<f64> = pixels.iter().map(|p| p.residual(model_error)).collect();
    let at = |number: usize| (pixels[number].view, pixels[number].place);
    strays(&residuals, settings).into_iter().map(at).collect()
}

/// Numbers of the residuals that stand out by far from the others; none where there are too many to be chance.
fn strays(residuals: &[f64], settings: &FitSettings) -> Vec<usize> {
    let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let limit = settings.outlier_sigma * sigma_of(&mut sizes).max(1.0);
    let found: Vec<usize> = (0..residuals.len())
        .filter(|at| residuals[*at].abs() > limit)
        .collect();
    let few = (settings.outlier_share_at_most * residuals.len() as f64)
        .max(settings.outliers_always_allowed_px);
    if found.len() as f64 > few {
        Vec::new()
    } else {
        found
    }
}

/// Halvings of 0 to 1: the model error comes out to a millionth.
const HALVINGS: usize = 20;

/// The model error that brings the residuals down to the noise, by halving.
fn explaining(pixels: &[FitPixel], unknowns: usize) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if spread(pixels, middle, unknowns) > 1.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
