//! The frames of one star as a problem of least squares: residuals over the photons' noise, and what an owner believes
//! beforehand as a few more data.

use super::super::settings::PriorSettings;
use super::levenberg::{Linear, Problem};
use super::suspects::HIGHER_ORDER_MODES;
use super::unknown::{TrialState, Unknown};
use super::view::{FrameView, PlaneSlopes};
use crate::instrument::Instrument;
use crate::predict::PredictError;

/// No variance is taken to be smaller, in squared electrons: it keeps weights finite where a frame has no noise at all.
const LEAST_VARIANCE_E2: f64 = 1e-12;

/// A fit of one star in one or more views.
pub struct StarProblem<'a> {
    /// The views.
    pub views: &'a mut [FrameView],
    /// Unknowns and the values that weights were made with.
    pub trial: TrialState,
    /// The instrument as typed.
    pub instrument: &'a Instrument,
    /// What is believed beforehand.
    pub prior: &'a PriorSettings,
    /// Share of the light of a pixel by which the model itself is believed to be off.
    pub model_error: f64,
    /// 1/σ of the used pixels, view by view, plane by plane.
    weights: Vec<f64>,
    /// The used pixels as the trial has them.
    pixels: Vec<FitPixel>,
}

/// A used pixel against the model that made the weights.
#[derive(Debug, Clone, Copy)]
pub struct FitPixel {
    /// Number of the view.
    pub view: usize,
    /// Row and column.
    pub place: [usize; 2],
    /// Data minus model.
    pub off_e: f64,
    /// Starlight of the model.
    pub star_e: f64,
    /// Variance of chance alone.
    pub noise_e2: f64,
}

impl FitPixel {
    /// (data − model)/σ when the model itself is off by a share of the light.
    pub fn residual(&self, model_error: f64) -> f64 {
        self.off_e / variance(self.noise_e2, self.star_e, model_error).sqrt()
    }
}

fn variance(noise_e2: f64, star_e: f64, model_error: f64) -> f64 {
    (noise_e2 + (model_error * star_e).powi(2)).max(LEAST_VARIANCE_E2)
}

impl<'a> StarProblem<'a> {
    /// Sets the problem up with the weights that the trial gives.
    ///
    /// # Errors
    /// As [`FrameView::light`].
    pub fn new(
        views: &'a mut [FrameView],
        trial: TrialState,
        instrument: &'a Instrument,
        prior: &'a PriorSettings,
        model_error: f64,
    ) -> Result<Self, PredictError> {
        let mut problem = StarProblem {
            views,
            trial,
            instrument,
            prior,
            model_error,
            weights: Vec::new(),
            pixels: Vec::new(),
        };
        problem.weigh()?;
        Ok(problem)
    }

    /// Weights as the trial gives them: photons of the star, the floor, and the model's own error.
    fn weigh(&mut self) -> Result<(), PredictError> {
        let mut pixels = Vec::new();
        for (v, p) in planes(self.views) {
            let light = self.views[v].light(p, &self.trial)?;
            let flux = self.trial.get(Unknown::Flux(v, p)).unwrap_or(0.0);
            let sky = SkyPlane::of(&self.trial, v, p);
            let view = &self.views[v];
            let size = view.recorded.image_e.dim();
            pixels.extend(view.pixels(p).iter().zip(light).map(|(place, share)| {
                let star_e = flux * share;
                FitPixel {
                    view: v,
                    place: *place,
                    off_e: view.recorded.image_e[*place] - sky.at(*place, size) - star_e,
                    star_e,
                    noise_e2: view.recorded.floor_e2 + star_e.max(0.0),
                }
            }));
        }
        let weight = |p: &FitPixel| 1.0 / variance(p.noise_e2, p.star_e, self.model_error).sqrt();
        self.weights = pixels.iter().map(weight).collect();
        self.pixels = pixels;
        Ok(())
    }

    /// The used pixels against the model of the trial.
    pub fn pixels(&self) -> &[FitPixel] {
        &self.pixels
    }

    /// (data − model)/σ from the light of every plane.
    fn compare(&self, trial: &TrialState, light: &[Vec<f64>]) -> Vec<f64> {
        let mut residuals = Vec::with_capacity(self.weights.len() + trial.unknowns.len());
        let mut weights = self.weights.iter();
        for ((v, p), shares) in planes(self.views).into_iter().zip(light) {
            let flux = trial.get(Unknown::Flux(v, p)).unwrap_or(0.0);
            let background = SkyPlane::of(trial, v, p);
            let view = &self.views[v];
            let size = view.recorded.image_e.dim();
            let pixels = view.pixels(p).iter().zip(shares).zip(weights.by_ref());
            residuals.extend(pixels.map(|((place, share), weight)| {
                let sky = background.at(*place, size);
                (view.recorded.image_e[*place] - sky - flux * share) * weight
            }));
        }
        residuals.extend(self.beliefs(trial).into_iter().map(|b| b.2));
        residuals
    }

    /// Derivatives of all data by modes that are not free: one column a mode.
    ///
    /// # Errors
    /// As [`FrameView::slopes_by`].
    pub fn columns_of(
        &mut self,
        modes: &[u32],
        here: &TrialState,
    ) -> Result<Vec<Vec<f64>>, PredictError> {
        let mut more = here.clone();
        for noll in modes {
            more.push(Unknown::Mode(*noll), here.fixed.get(*noll));
        }
        let wanted =
            |unknown: &Unknown| matches!(unknown, Unknown::Mode(noll) if modes.contains(noll));
        self.columns_by(here, modes.len(), |view, plane| {
            let slopes = view.slopes_by(plane, &more, wanted)?;
            Ok(slopes.into_iter().map(|(_, values)| values).collect())
        })
    }

    /// Columns over all data from derivatives of the light of each plane, its rows first the used pixels, then the priors of what is free
    /// (zero there).
    ///
    /// # Errors
    /// Those of the derivatives.
    pub fn columns_by(
        &mut self,
        here: &TrialState,
        count: usize,
        mut slopes: impl FnMut(&mut FrameView, usize) -> Result<Vec<Vec<f64>>, PredictError>,
    ) -> Result<Vec<Vec<f64>>, PredictError> {
        let rows = self.weights.len() + self.beliefs(here).len();
        let mut columns = vec![vec![0.0; rows]; count];
        let mut first = 0;
        for (v, p) in planes(self.views) {
            let flux = here.get(Unknown::Flux(v, p)).unwrap_or(0.0);
            let slopes = slopes(&mut self.views[v], p)?;
            for (column, values) in columns.iter_mut().zip(&slopes) {
                let rows = column[first..].iter_mut().zip(&self.weights[first..]);
                for ((row, weight), value) in rows.zip(values) {
                    *row = flux * value * weight;
                }
            }
            first += self.views[v].pixels(p).len();
        }
        Ok(columns)
    }

    /// The priors as further data, one row each: column of the unknown, 1/width, and (expected − value)/width.
    fn beliefs(&self, trial: &TrialState) -> Vec<(usize, f64, f64)> {
        let prior = self.prior;
        trial
            .unknowns
            .iter()
            .zip(&trial.values)
            .enumerate()
            .filter_map(|(column, (unknown, value))| {
                let (expected, width) = match unknown {
                    Unknown::Mode(noll) if HIGHER_ORDER_MODES.contains(noll) => {
                        (trial.fixed.get(*noll), prior.higher_order_m)
                    }
                    Unknown::Mode(noll) => (trial.fixed.get(*noll), prior.mode_m),
                    Unknown::Seeing(_) => (libm::log(prior.seeing_rad), prior.seeing_ln),
                    Unknown::Dimension(d) => (d.neutral(), d.prior_width(self.instrument, prior)),
                    Unknown::Drift(..) => (0.0, prior.drift_px),
                    Unknown::NeighbourShare => (0.0, prior.neighbour_share),
                    _ => return None,
                };
                Some((column, 1.0 / width, (expected - value) / width))
            })
            .collect()
    }

    /// Columns over all data, from the slopes of every plane.
    fn columns(&self, trial: &TrialState, slopes: &[PlaneSlopes]) -> Vec<Vec<f64>> {
        let beliefs = self.beliefs(trial);
        let total = self.weights.len() + beliefs.len();
        let mut columns = vec![vec![0.0; total]; trial.unknowns.len()];
        let mut first = 0;
        for ((v, p), own) in planes(self.views).into_iter().zip(slopes) {
            let count = own.light.len();
            let weights = &self.weights[first..first + count];
            let flux = trial.get(Unknown::Flux(v, p)).unwrap_or(0.0);
            let mut put = |unknown: Unknown, factor: f64, values: &[f64]| {
                if let Some(at) = trial.position(unknown) {
                    let target = &mut columns[at][first..first + count];
                    for ((t, value), weight) in target.iter_mut().zip(values).zip(weights) {
                        *t = factor * value * weight;
                    }
                }
            };
            for (unknown, column) in &own.columns {
                put(*unknown, flux, column);
            }
            put(Unknown::Flux(v, p), 1.0, &own.light);
            put(Unknown::Background(v, p), 1.0, &vec![1.0; count]);
            let size = self.views[v].recorded.image_e.dim();
            for axis in 0..2 {
                let across = self.views[v]
                    .pixels(p)
                    .iter()
                    .map(|at| across(*at, size)[axis]);
                put(Unknown::Slope(v, axis), 1.0, &across.collect::<Vec<_>>());
            }
            first += count;
        }
        for (row, (column, inverse, _)) in beliefs.iter().enumerate() {
            columns[*column][first + row] = *inverse;
        }
        columns
    }
}

/// What a plane has behind the star.
struct SkyPlane {
    level_e: f64,
    rise_e: [f64; 2],
}

impl SkyPlane {
    fn of(trial: &TrialState, view: usize, plane: usize) -> SkyPlane {
        let value = |unknown| trial.get(unknown).unwrap_or(0.0);
        SkyPlane {
            level_e: value(Unknown::Background(view, plane)),
            rise_e: [0, 1].map(|axis| value(Unknown::Slope(view, axis))),
        }
    }

    fn at(&self, place: [usize; 2], size: (usize, usize)) -> f64 {
        let [x, y] = across(place, size);
        self.level_e + self.rise_e[0] * x + self.rise_e[1] * y
    }
}

/// Place of a pixel from the middle of the cut-out, over its width and height.
fn across([row, column]: [usize; 2], (rows, columns): (usize, usize)) -> [f64; 2] {
    let share = |at: usize, count: usize| (at as f64 + 0.5) / count as f64 - 0.5;
    [share(column, columns), share(row, rows)]
}

/// Every view and plane.
fn planes(views: &[FrameView]) -> Vec<(usize, usize)> {
    views
        .iter()
        .enumerate()
        .flat_map(|(v, view)| (0..view.planes()).map(move |p| (v, p)))
        .collect()
}

impl Problem for StarProblem<'_> {
    type Error = PredictError;

    fn residuals(&mut self, unknowns: &[f64]) -> Result<Vec<f64>, PredictError> {
        let trial = self.trial.at(unknowns);
        let mut light = Vec::new();
        for (v, p) in planes(self.views) {
            match self.views[v].light(p, &trial) {
                Ok(shares) => light.push(shares),
                // a step so wild that no memory holds it is worse than anything
                Err(PredictError::TooLarge { .. }) => return Ok(vec![f64::INFINITY]),
                Err(error) => return Err(error),
            }
        }
        Ok(self.compare(&trial, &light))
    }

    fn linearised(&mut self, unknowns: &[f64]) -> Result<Linear, PredictError> {
        let trial = self.trial.at(unknowns);
        let mut slopes = Vec::new();
        for (v, p) in planes(self.views) {
            slopes.push(self.views[v].slopes(p, &trial)?);
        }
        let columns = self.columns(&trial, &slopes);
        let light: Vec<Vec<f64>> = slopes.into_iter().map(|s| s.light).collect();
        Ok(Linear {
            residuals: self.compare(&trial, &light),
            columns,
        })
    }

    fn bounded(&self, mut unknowns: Vec<f64>) -> Vec<f64> {
        let prior = self.prior;
        for (unknown, value) in self.trial.unknowns.iter().zip(&mut unknowns) {
            let [low, high] = match unknown {
                Unknown::Seeing(_) => prior.seeing_range_rad.map(libm::log),
                Unknown::Mode(_) => [-prior.mode_m_at_most, prior.mode_m_at_most],
                Unknown::SensorOffset(_) => {
                    let start = self.trial.get(*unknown).unwrap_or(0.0).abs();
                    let most = (2.0 * start + prior.offset_room_m).min(prior.offset_m_at_most);
                    [-most, most]
                }
                Unknown::Flux(..) => [1.0, f64::MAX],
                Unknown::Dimension(d) => d.range(self.instrument, prior),
                Unknown::Drift(..) => {
                    let room = prior.dimension_room_widths * prior.drift_px;
                    [-room, room]
                }
                Unknown::NeighbourShare => [0.0, prior.neighbour_share_at_most],
                Unknown::NeighbourAside(axis) => {
                    let (rows, columns) = self.views[0].recorded.image_e.dim();
                    let room = [columns, rows][*axis] as f64;
                    [-room, room]
                }
                Unknown::Place(view, axis) => {
                    let (rows, columns) = self.views[*view].recorded.image_e.dim();
                    let room = prior.place_room_px;
                    [-room, [columns, rows][*axis] as f64 + room]
                }
                Unknown::Background(..) | Unknown::Slope(..) => [f64::MIN, f64::MAX],
            };
            *value = value.clamp(low, high);
        }
        unknowns
    }
}
