//! A star behind a slotted mask, near focus: spikes, then modes by their slopes as far as these say, then the whole model.
//!
//! The fit starts from several guesses, on the middle of the star with few wavelengths, and goes on with the best one. A mask
//! that was put on slightly turned and a focal length that was typed in slightly wrong are free; a mask looks different from
//! its two ends, so the sign of even modes is not open.

use super::doughnut::FREE_MODES;
use super::fit::{self, Dimension, Fitted, FrameView, Look, Recorded, TrialState, Unknown};
use super::settings::{MeasureSettings, Pace};
use super::spikes::{FoundSpike, FoundTriplet, SlopeModes, Spikes};
use crate::instrument::Instrument;
use crate::mask::regions;
use crate::predict::PredictError;
use ndarray::Array2;

/// A masked star measured.
#[derive(Debug, Clone)]
pub struct MaskedFit {
    /// What the fit found.
    pub fitted: Fitted,
    /// The spikes against the aligned telescope.
    pub spikes: Vec<FoundSpike>,
    /// What each triplet shows: its middle spike against the crossing of its two partners, as an eye would judge it.
    pub triplets: Vec<FoundTriplet>,
    /// Modes by the slope equations; `None` where there are too few spikes.
    pub slopes: Option<SlopeModes>,
}

/// Fits a masked star whose core is at `core_px`.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn measure_masked(
    view: &mut FrameView,
    core_px: [f64; 2],
    instrument: &Instrument,
    look: Look,
    settings: &MeasureSettings,
) -> Result<MaskedFit, PredictError> {
    let job = MaskedJob {
        instrument,
        look,
        settings,
    };
    let aligned = job.trial(view, core_px, 0.0);
    let wavelength_m = {
        view.image(0, &aligned)?;
        view.reference_m(0).ok_or(PredictError::NoBand(0))?
    };
    let spikes = Spikes::new(instrument, wavelength_m, &settings.spikes);
    let mut found = Vec::new();
    let (mut triplets, mut slopes) = (Vec::new(), None);
    if let Some(spikes) = &spikes {
        let aligned_e = aligned_frame(view, &aligned)?;
        let seeing_m = settings.fit.prior.seeing_rad * instrument.telescope.focal_length_m;
        found = spikes.find(&view.recorded, &aligned_e, core_px, seeing_m);
        triplets = spikes.triplets(&found);
        slopes = spikes.modes(&found);
    }
    let untouched = view.recorded.clone();
    let near = job.approached(view, core_px, slopes.as_ref())?;
    let mut fitted = job.finished(view, near)?;
    for near in job.one_zone_turned(&untouched, core_px, &fitted.trial)? {
        let mut again = job.view(untouched.clone());
        let other = job.finished(&mut again, near)?;
        if other.chi_square < fitted.chi_square {
            (fitted, *view) = (other, again);
        }
    }
    Ok(MaskedFit {
        fitted,
        spikes: found,
        triplets,
        slopes,
    })
}

/// The star that the aligned telescope would give in focus, electrons; element `[[row, column]]`, row 0 at the bottom.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn aligned_star(
    view: &mut FrameView,
    core_px: [f64; 2],
    instrument: &Instrument,
    look: Look,
    settings: &MeasureSettings,
) -> Result<Array2<f64>, PredictError> {
    let job = MaskedJob {
        instrument,
        look,
        settings,
    };
    let aligned = job.trial(view, core_px, 0.0);
    aligned_frame(view, &aligned)
}

/// The frame that the trial predicts, colours in their own pixels.
fn aligned_frame(view: &mut FrameView, trial: &TrialState) -> Result<Array2<f64>, PredictError> {
    let mut frame = Array2::zeros(view.recorded.image_e.dim());
    for plane in 0..view.planes() {
        let light = view.image(plane, trial)?;
        let flux = trial.get(Unknown::Flux(0, plane)).unwrap_or(1.0);
        for place in view.pixels(plane) {
            frame[*place] = flux * light[*place];
        }
    }
    Ok(frame)
}

/// What all starts of one masked star share.
struct MaskedJob<'a> {
    instrument: &'a Instrument,
    look: Look,
    settings: &'a MeasureSettings,
}

impl MaskedJob<'_> {
    fn view(&self, recorded: Recorded) -> FrameView {
        FrameView::new(0, recorded, self.instrument, self.look)
    }

    fn approach(
        &self,
        views: &mut [FrameView],
        start: TrialState,
        pace: Pace,
    ) -> Result<(TrialState, f64), PredictError> {
        fit::approach(views, start, self.instrument, &self.settings.fit, pace)
    }

    fn finished(&self, view: &mut FrameView, near: TrialState) -> Result<Fitted, PredictError> {
        let views = std::slice::from_mut(view);
        fit::finish(views, near, self.instrument, &self.settings.fit)
    }

    /// The best of several starts, tried on the middle of the star.
    fn approached(
        &self,
        view: &FrameView,
        core_px: [f64; 2],
        slopes: Option<&SlopeModes>,
    ) -> Result<TrialState, PredictError> {
        let (middle, corner) = self.middle_of(&view.recorded, core_px);
        let mut small = [self.view(middle)];
        let core = [core_px[0] - corner[0] as f64, core_px[1] - corner[1] as f64];
        let own = &self.settings.masked;
        let mut starts: Vec<TrialState> = own
            .tried_offsets_m
            .iter()
            .map(|offset| self.trial(&small[0], core, *offset))
            .collect();
        if let Some(slopes) = slopes {
            let mut start = self.trial(&small[0], core, 0.0);
            if let Some((offset, _)) = slopes.sensor_offset_m {
                start.set(Unknown::SensorOffset(0), offset);
            }
            for (noll, value, _) in &slopes.modes_m {
                start.set(Unknown::Mode(*noll), *value);
            }
            starts.insert(0, start);
        }
        let mut best: Option<(TrialState, f64)> = None;
        for start in starts {
            let found = self.approach(&mut small, start, self.settings.fit.start)?;
            let good = found.1 < own.good_start_per_px;
            if best.as_ref().is_none_or(|b| found.1 < b.1) {
                best = Some(found);
            }
            if good {
                break;
            }
        }
        let (near, _) = best.ok_or(PredictError::Dark)?;
        let near = self.better_twin(&mut small, near)?;
        Ok(moved(near, corner.map(|c| c as f64)))
    }

    /// Other starts for a mask with slots in two zones (rings of different height).
    ///
    /// The spikes of one zone look nearly the same on both sides of focus. Sensor offset and primary spherical aberration together
    /// can put one zone on the right side and the other on the wrong one: a false minimum. Where the fit found spherical
    /// aberration beyond the design's, it is therefore begun once more for each zone, with the defocus that this zone had and
    /// the design's spherical aberration. Where the first steps from there lead to another spherical aberration than the one found, the
    /// trial that they lead to is returned.
    fn one_zone_turned(
        &self,
        recorded: &Recorded,
        core_px: [f64; 2],
        found: &TrialState,
    ) -> Result<Vec<TrialState>, PredictError> {
        let (spherical, offset) = (Unknown::Mode(11), Unknown::SensorOffset(0));
        let of = |trial: &TrialState| trial.get(spherical).unwrap_or(0.0);
        let seen_m = self.settings.masked.spherical_seen_m;
        let designed = self.instrument.telescope.design.get(11);
        let zones = zones(self.instrument);
        if zones.len() < 2 || (of(found) - designed).abs() < seen_m {
            return Ok(Vec::new());
        }
        let (middle, corner) = self.middle_of(recorded, core_px);
        let corner = corner.map(|c| c as f64);
        let mut small = [self.view(middle)];
        let mut elsewhere = Vec::new();
        for height_squared in zones {
            let mut start = moved(found.clone(), corner.map(|c| -c));
            let as_focus =
                focus_of_spherical(self.instrument, height_squared) * (of(found) - designed);
            start.set(spherical, designed);
            start.set(offset, found.get(offset).unwrap_or(0.0) + as_focus);
            let (near, _) = self.approach(&mut small, start, self.settings.fit.start)?;
            if (of(&near) - of(found)).abs() > seen_m {
                elsewhere.push(moved(near, corner));
            }
        }
        Ok(elsewhere)
    }

    /// Near focus the even modes of the other sign are a second minimum, not quite as deep: both are tried.
    fn better_twin(
        &self,
        small: &mut [FrameView],
        near: TrialState,
    ) -> Result<TrialState, PredictError> {
        let mut twin = near.clone();
        let even = [5, 6, 11].map(Unknown::Mode);
        for unknown in even.into_iter().chain([Unknown::SensorOffset(0)]) {
            let value = twin.get(unknown).unwrap_or(0.0);
            twin.set(unknown, -value);
        }
        let near = self.approach(small, near, self.settings.fit.near)?;
        let twin = self.approach(small, twin, self.settings.fit.near)?;
        Ok(if twin.1 < near.1 { twin.0 } else { near.0 })
    }

    /// The middle of a recorded star, and column and row of its corner. Both are even, so that the filter pattern begins with the same
    /// colour.
    fn middle_of(&self, recorded: &Recorded, core_px: [f64; 2]) -> (Recorded, [usize; 2]) {
        let half_px = self.settings.masked.middle_half_px;
        let (rows, columns) = recorded.image_e.dim();
        let span = |place: f64, count: usize| {
            let middle = place.round().clamp(0.0, count as f64 - 1.0) as usize;
            let first = middle.saturating_sub(half_px) / 2 * 2;
            (first, (middle + half_px + 1).min(count))
        };
        let (left, right) = span(core_px[0], columns);
        let (low, high) = span(core_px[1], rows);
        let middle = Recorded {
            image_e: cut(&recorded.image_e, [low, high], [left, right]),
            usable: cut(&recorded.usable, [low, high], [left, right]),
            ..recorded.clone()
        };
        (middle, [left, low])
    }

    /// A trial of the aligned telescope: the design's modes, dimensions as typed, the sensor at an offset (metres beyond focus).
    fn trial(&self, view: &FrameView, core_px: [f64; 2], offset_m: f64) -> TrialState {
        let design = &self.instrument.telescope.design;
        let mut trial = TrialState {
            unknowns: Vec::new(),
            values: Vec::new(),
            fixed: design.clone(),
        };
        trial.push(Unknown::Place(0, 0), core_px[0]);
        trial.push(Unknown::Place(0, 1), core_px[1]);
        trial.push(Unknown::SensorOffset(0), offset_m);
        trial.push(
            Unknown::Seeing(0),
            libm::log(self.settings.fit.prior.seeing_rad),
        );
        trial.push(Unknown::Slope(0, 0), 0.0);
        trial.push(Unknown::Slope(0, 1), 0.0);
        for plane in 0..view.planes() {
            trial.push(Unknown::Flux(0, plane), view.light_e(plane));
            trial.push(Unknown::Background(0, plane), 0.0);
        }
        for noll in FREE_MODES {
            trial.push(Unknown::Mode(noll), design.get(noll));
        }
        for dimension in [Dimension::MaskRotation, Dimension::FocalLength] {
            trial.push(Unknown::Dimension(dimension), dimension.neutral());
        }
        trial
    }
}

/// The same trial in a cut-out whose corner lies elsewhere.
fn moved(mut trial: TrialState, by_px: [f64; 2]) -> TrialState {
    for (axis, by) in by_px.into_iter().enumerate() {
        let place = trial.get(Unknown::Place(0, axis)).unwrap_or(0.0);
        trial.set(Unknown::Place(0, axis), place + by);
    }
    trial
}

/// Zones whose mean squared heights differ by less than this, over the squared radius of the aperture, are the same one.
const SAME_ZONE: f64 = 1e-3;

/// Mean squared height of each zone of slots, over the squared radius of the aperture.
fn zones(instrument: &Instrument) -> Vec<f64> {
    let aperture_m2 = instrument.telescope.aperture_radius_m().powi(2);
    let mut zones: Vec<f64> = Vec::new();
    for region in instrument.mask.iter().flat_map(regions) {
        let [inner, outer] = region.radius_m.map(|r| r * r / aperture_m2);
        let mean = 0.5 * (inner + outer);
        if zones.iter().all(|zone| (zone - mean).abs() > SAME_ZONE) {
            zones.push(mean);
        }
    }
    zones
}

/// Sensor offset that slopes the wavefront as a metre RMS of Noll 11 does at a squared height: √5(24r³ − 12r) against r/(4N²).
fn focus_of_spherical(instrument: &Instrument, height_squared: f64) -> f64 {
    let ratio = instrument.telescope.focal_ratio();
    4.0 * ratio * ratio * 5f64.sqrt() * (24.0 * height_squared - 12.0)
}

/// The part of an image (element `[[row, column]]`) from the first of `rows` and `columns` up to, and without, the last.
pub(super) fn cut<T: Clone>(image: &Array2<T>, rows: [usize; 2], columns: [usize; 2]) -> Array2<T> {
    Array2::from_shape_fn((rows[1] - rows[0], columns[1] - columns[0]), |(r, c)| {
        image[[rows[0] + r, columns[0] + c]].clone()
    })
}
