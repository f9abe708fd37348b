//! Fitting the whole model to one star: in one frame, in a pair, in the colours of a filter array.
//!
//! The way: few wavelengths first, then all; weights from the model's own photons; pixels that nothing explains are left out;
//! what the model cannot explain at all becomes a model error, so that σ stays honest. Trial states are the fit's own.

mod higher_order;
mod levenberg;
mod problem;
mod unknown;
mod view;

pub use higher_order::HIGHER_ORDER_MODES;
pub use unknown::{Dimension, TrialState, Unknown};
pub use view::{FIT_ACCURACY, FrameView, Look, Recorded, SLOTTED_FIT_ACCURACY, Stage};

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
    /// How they vary together; of use where all that take part have a standard deviation.
    pub covariance: Vec<Vec<f64>>,
    /// Sum of squared residuals per degree of freedom, before any model error was allowed for.
    pub chi_square: f64,
    /// Share of a pixel's light by which the model is off.
    pub model_error: f64,
    /// Share of the light (root of the sum of squares) that neither model nor noise explains; 0 where that is less than noise.
    pub unexplained: f64,
    /// Pixels left out because nothing explains them.
    pub left_out_px: usize,
    /// Whether it came to rest.
    pub settled: bool,
}

impl Fitted {
    /// Value and standard deviation of an unknown.
    pub fn get(&self, unknown: Unknown) -> Option<(f64, Option<f64>)> {
        let at = self.trial.position(unknown)?;
        Some((self.trial.values[at], self.sigmas[at]))
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

/// A residual beyond this many σ is not chance.
const OUTLIER_SIGMAS: f64 = 6.0;
/// A spike stands this far above the typical residual, and this many times above its neighbours.
const SPIKE_SIGMAS: f64 = 15.0;
const SPIKE_ALONE: f64 = 4.0;
/// Outliers are single pixels; more than this share of the frame is a wrong model.
const OUTLIERS_AT_MOST: f64 = 0.005;
/// A pixel is dark where the star adds less than this share of the noise.
const DARK_SHARE: f64 = 0.2;
/// Fewer dark pixels say nothing about their noise.
const DARK_PX: usize = 150;
/// Variance of a normal distribution without its largest hundredth part, over the whole (worked out by hand).
const TRIMMED_VARIANCE: f64 = 0.92476;
/// Residuals this much larger than noise call for a model error.
const EXPLAINED: f64 = 1.15;

/// How an approach goes.
#[derive(Debug, Clone, Copy)]
pub struct Pace {
    /// Sets of derivatives, at most.
    pub linearisations: usize,
    /// Share of the light by which the model is taken to be off: far away, bright pixels must not decide alone.
    pub model_error: f64,
}

impl Pace {
    /// From a first guess.
    pub const FAR: Pace = Pace {
        linearisations: 8,
        model_error: 0.1,
    };
    /// From a guess nearby.
    pub const START: Pace = Pace {
        linearisations: 5,
        model_error: 0.1,
    };
    /// A look at another guess.
    pub const TRY: Pace = Pace {
        linearisations: 3,
        model_error: 0.1,
    };
    /// Between two minima.
    pub const NEAR: Pace = Pace {
        linearisations: 3,
        model_error: 0.02,
    };
}

/// Fits with few wavelengths, from far away; for choosing among starts.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn approach(
    views: &mut [FrameView],
    start: TrialState,
    instrument: &Instrument,
    Pace {
        linearisations,
        model_error,
    }: Pace,
) -> Result<(TrialState, f64), PredictError> {
    views.iter_mut().for_each(|v| v.set_stage(Stage::Coarse));
    let patience = Patience {
        linearisations,
        decrease: 1.0,
        share: 0.01,
    };
    loop {
        let mut problem = StarProblem::new(views, start.clone(), instrument, model_error)?;
        let found = minimise(&mut problem, start.values.clone(), patience)?;
        let near = problem.trial.at(&found.unknowns);
        let per_pixel = found.sum / problem.pixels().len().max(1) as f64;
        let spikes =
            spikes(StarProblem::new(views, near.clone(), instrument, model_error)?.pixels());
        if spikes.is_empty() {
            return Ok((near, per_pixel));
        }
        // a hot pixel in the star draws the whole fit to itself: once more without it
        leave_out(views, &spikes);
    }
}

/// Fits to the end, from nearby; where a star without a mask shows them, with [`HIGHER_ORDER_MODES`] too.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn finish(
    views: &mut [FrameView],
    start: TrialState,
    instrument: &Instrument,
) -> Result<Fitted, PredictError> {
    views.iter_mut().for_each(|v| v.set_stage(Stage::Fine));
    let patience = Patience {
        linearisations: 6,
        decrease: 0.1,
        share: 1e-5,
    };
    let mut trial = start;
    let mut model_error = 0.0;
    let mut chi_square = None;
    let (mut rounds, mut rounds_at_most) = (0, 3);
    // the few slots of a mask do not tell higher-order modes from dimensions that are slightly wrong
    let open = views.iter().all(|view| !view.recorded.mask_on);
    loop {
        let mut problem = StarProblem::new(views, trial.clone(), instrument, model_error)?;
        let found = minimise(&mut problem, trial.values.clone(), patience)?;
        trial = trial.at(&found.unknowns);
        let more = match rounds {
            0 if open => higher_order::shown(&mut problem, &found)?,
            _ => None,
        };
        rounds += 1;
        let mut pixels = StarProblem::new(views, trial.clone(), instrument, model_error)?
            .pixels()
            .to_vec();
        if rounds == 1 {
            for (number, view) in views.iter_mut().enumerate() {
                view.recorded.floor_e2 += level_noise(&mut pixels, number, view.recorded.floor_e2);
            }
            if let Some(more) = more {
                trial = more;
                rounds_at_most += 1;
                continue;
            }
        }
        let outliers = outliers(&pixels, model_error);
        let kept: Vec<FitPixel> = pixels
            .into_iter()
            .filter(|p| !outliers.contains(&(p.view, p.place)))
            .collect();
        let spread = spread(&kept, model_error, trial.values.len());
        chi_square.get_or_insert(spread);
        let too_far = model_error == 0.0 && spread > EXPLAINED;
        if rounds >= rounds_at_most || (outliers.is_empty() && !too_far) {
            let settled = found.settled;
            let (sigmas, covariance) = uncertainties(found, spread);
            return Ok(Fitted {
                trial,
                sigmas,
                covariance,
                chi_square: chi_square.unwrap_or(spread),
                model_error,
                unexplained: unexplained(&kept),
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
) -> Result<f64, PredictError> {
    let problem = StarProblem::new(views, trial.clone(), instrument, 0.0)?;
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
fn spikes(pixels: &[FitPixel]) -> Vec<(usize, [usize; 2])> {
    let by_place: HashMap<_, f64> = pixels
        .iter()
        .map(|p| ((p.view, p.place), p.residual(0.0).abs()))
        .collect();
    let mut sizes: Vec<f64> = by_place.values().copied().collect();
    let limit = SPIKE_SIGMAS * sigma_of(&mut sizes).max(1.0);
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
        .filter(|at| by_place[at] > limit && by_place[at] > SPIKE_ALONE * beside(*at))
        .collect()
}

/// Sum of squared residuals per degree of freedom.
fn spread(pixels: &[FitPixel], model_error: f64, unknowns: usize) -> f64 {
    let sum: f64 = pixels.iter().map(|p| p.residual(model_error).powi(2)).sum();
    sum / pixels.len().saturating_sub(unknowns).max(1) as f64
}

/// Root of the squares of what is off beyond noise, over that of the light; 0 where it is within four deviations of noise.
fn unexplained(pixels: &[FitPixel]) -> f64 {
    let sum = |of: fn(&FitPixel) -> f64| pixels.iter().map(of).sum::<f64>();
    let beyond = sum(|p| p.off_e * p.off_e - p.noise_e2);
    // the square of a normal draw scatters by √2 times its variance
    let scatter = (2.0 * sum(|p| p.noise_e2 * p.noise_e2)).sqrt();
    let light = sum(|p| p.star_e * p.star_e);
    if beyond > 4.0 * scatter && light > 0.0 {
        (beyond / light).sqrt()
    } else {
        0.0
    }
}

/// Sets the noise of a view's dark pixels to their own scatter; returns what the variance gains.
///
/// The scatter round a star is not quite that of the sky: its faint wings were taken for noise, or a patch of sky is uneven.
fn level_noise(pixels: &mut [FitPixel], view: usize, floor_e2: f64) -> f64 {
    let is_dark = |p: &&FitPixel| p.view == view && p.star_e.abs() < DARK_SHARE * floor_e2;
    let mut squares: Vec<f64> = pixels
        .iter()
        .filter(is_dark)
        .map(|p| p.off_e * p.off_e)
        .collect();
    if squares.len() < DARK_PX {
        return 0.0;
    }
    // the largest hundredth part is left out with its share of a normal distribution's variance: hot pixels
    squares.sort_unstable_by(f64::total_cmp);
    let kept = &squares[..squares.len() - squares.len() / 100];
    let scatter = kept.iter().sum::<f64>() / kept.len() as f64 / TRIMMED_VARIANCE;
    let gain = scatter.clamp(0.25 * floor_e2, 4.0 * floor_e2) - floor_e2;
    for pixel in pixels.iter_mut().filter(|p| p.view == view) {
        pixel.noise_e2 += gain;
    }
    gain
}

/// Standard deviations and covariance from the last derivatives, larger where the residuals are larger than the noise.
fn uncertainties(found: Minimum, spread: f64) -> (Vec<Option<f64>>, Vec<Vec<f64>>) {
    let inflate = spread.max(1.0);
    let floors = vec![0.0; found.columns.len()];
    let fit = LeastSquares::new(found.columns, &floors);
    let larger = |sigma: Option<f64>| sigma.map(|s| s * inflate.sqrt());
    let mut covariance = fit.covariance();
    covariance
        .iter_mut()
        .flatten()
        .for_each(|shared| *shared *= inflate);
    (fit.sigmas().into_iter().map(larger).collect(), covariance)
}

/// Pixels whose residual stands out by far from those of the whole; empty where there are too many to be chance.
fn outliers(pixels: &[FitPixel], model_error: f64) -> Vec<(usize, [usize; 2])> {
    let residuals: Vec<f64> = pixels.iter().map(|p| p.residual(model_error)).collect();
    let at = |number: usize| (pixels[number].view, pixels[number].place);
    strays(&residuals).into_iter().map(at).collect()
}

/// Numbers of the residuals that stand out by far from the others; none where there are too many to be chance.
fn strays(residuals: &[f64]) -> Vec<usize> {
    let mut sizes: Vec<f64> = residuals.iter().map(|r| r.abs()).collect();
    let limit = OUTLIER_SIGMAS * sigma_of(&mut sizes).max(1.0);
    let found: Vec<usize> = (0..residuals.len())
        .filter(|at| residuals[*at].abs() > limit)
        .collect();
    let few = (OUTLIERS_AT_MOST * residuals.len() as f64).max(3.0);
    if found.len() as f64 > few {
        Vec::new()
    } else {
        found
    }
}

/// The model error that brings the residuals down to the noise, by halving.
fn explaining(pixels: &[FitPixel], unknowns: usize) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..20 {
        let middle = 0.5 * (low + high);
        if spread(pixels, middle, unknowns) > 1.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
