//! Where the rays of each region of the mask land on the average, by the fitted wavefront: the same quantity as a truth's `shift_px`.
//!
//! The light of a spike is not where its mean ray is: regions with parallel slots share it, and a window sees the middle of it
//! better than its tails. The fit knows all of that, so its mean rays are compared with a truth, and what the light itself
//! shows stays beside them ([`FoundSpike`](super::FoundSpike)).

use super::fit::{Fitted, Recorded, TrialState, Unknown, apply_all};
use super::settings::PriorSettings;
use crate::instrument::Instrument;
use crate::math::Uncertain;
use crate::predict::spikes;
use crate::pupil::frame_axes;
use crate::state::State;
use crate::units::{NM, UM};
use crate::wavefront::Wavefront;

/// The mean ray of a region.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionRay {
    /// Number of the region.
    pub region: usize,
    /// Azimuth of its middle, pupil axes.
    pub azimuth_rad: f64,
    /// Direction along its slots, pupil axes.
    pub slot_rad: f64,
    /// Place of its mean ray from the star's place, along +slot direction, frame pixels.
    pub shift_px: Uncertain,
}

/// Mean rays of a masked star that was fitted, with the standard deviations that its unknowns have together.
pub(super) fn region_rays(
    fitted: &Fitted,
    recorded: &Recorded,
    instrument: &Instrument,
    wavelength_m: f64,
    prior: &PriorSettings,
) -> Vec<RegionRay> {
    let trial = &fitted.trial;
    let traced = |trial: &TrialState| traced(trial, recorded, instrument, wavelength_m);
    let here = traced(trial);
    let slopes: Vec<(usize, Vec<f64>)> = trial
        .unknowns
        .iter()
        .enumerate()
        .filter_map(|(column, unknown)| {
            let step = step(*unknown, instrument, prior)?;
            let mut aside = trial.clone();
            aside.values[column] += step;
            let there = traced(&aside);
            let slope =
                |(a, b): (&RegionRay, &RegionRay)| (a.shift_px.value - b.shift_px.value) / step;
            Some((column, there.iter().zip(&here).map(slope).collect()))
        })
        .collect();
    let mut rays = here;
    for (number, ray) in rays.iter_mut().enumerate() {
        let along: Vec<(usize, f64)> = slopes.iter().map(|(c, s)| (*c, s[number])).collect();
        ray.shift_px.sigma = fitted.sigma_along(&along);
    }
    rays
}

/// Step of the difference that stands for the derivative by an unknown, in that unknown's unit; `None` for unknowns that move no ray.
fn step(unknown: Unknown, instrument: &Instrument, prior: &PriorSettings) -> Option<f64> {
    match unknown {
        Unknown::Mode(_) => Some(NM),
        Unknown::SensorOffset(_) => Some(UM),
        Unknown::Dimension(dimension) => Some(dimension.step(instrument, prior)),
        _ => None,
    }
}

fn traced(
    trial: &TrialState,
    recorded: &Recorded,
    instrument: &Instrument,
    wavelength_m: f64,
) -> Vec<RegionRay> {
    let mut held = instrument.clone();
    apply_all(&trial.dimensions(), &mut held);
    let state = State {
        mask_on: true,
        field_m: recorded.field_m,
        ..State::default()
    };
    let offset_m = trial.get(Unknown::SensorOffset(0)).unwrap_or(0.0);
    let mut modes = trial.modes();
    modes.add_scaled(&recorded.known, 1.0);
    let frame = frame_axes(&held);
    let wavefront = Wavefront::new(&held.telescope, &modes, offset_m, wavelength_m, frame);
    spikes(&held, &state, &wavefront)
        .into_iter()
        .map(|spike| RegionRay {
            region: spike.region,
            azimuth_rad: spike.azimuth_rad,
            slot_rad: spike.slot_rad,
            shift_px: Uncertain {
                value: spike.shift_m / held.camera.pixel_m,
                sigma: None,
            },
        })
        .collect()
}
