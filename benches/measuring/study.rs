//! Judging: many worlds measured, against the truth and against the photon bound.

use super::world::{Climate, Kind, World};
use rayon::prelude::*;
use serde::Serialize;
use skewstar::measure::{MeasureOptions, Measurement, Side, measure, measure_two};
use skewstar::predict::{Bound, Expected, Jacobian, Model, Parameter, Settings};
use skewstar::sensor::variance_e2;
use skewstar::units::NM;

/// What a study of one climate found.
#[derive(Debug, Clone, Serialize)]
pub struct Tally {
    pub name: String,
    pub worlds: usize,
    /// Root of the mean squared length of the error of coma (Noll 7 and 8), nm, of what was not flagged as failed.
    pub coma_error_nm: f64,
    /// The worst.
    pub worst_nm: f64,
    /// The same for the photon bound; null where it was not worked out.
    pub bound_nm: Option<f64>,
    pub error_over_bound: Option<f64>,
    /// Root mean square of error over σ.
    pub pulls: f64,
    /// Seeds that were flagged as failed or refused.
    pub failed: Vec<u64>,
    /// Seeds that were off by more than 60 nm without a flag.
    pub silent: Vec<u64>,
    /// The same error by the spikes' slopes alone, where they say anything about coma.
    pub slopes_only_nm: Option<f64>,
    pub slopes_said: usize,
    pub mean_model_error: f64,
}

/// How worlds are measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    One,
    Pair,
}

struct One {
    seed: u64,
    off_nm: [f64; 2],
    sigma_nm: [f64; 2],
    bound_nm: Option<[f64; 2]>,
    slopes_off_nm: Option<[f64; 2]>,
    model_error: f64,
    sound: bool,
}

/// Measures worlds of seeds 1 to `count`.
pub fn study(name: &str, climate: Climate, way: Way, count: u64, bound: bool) -> Tally {
    let found: Vec<Result<One, u64>> = (1..=count)
        .into_par_iter()
        .map(|seed| one(climate, way, seed, bound).ok_or(seed))
        .collect();
    tally(name, &found)
}

/// What an owner who turned the focus knob knows.
pub fn side_of(world: &World) -> Side {
    if world.state.sensor_offset_m > 0.0 {
        Side::Outside
    } else {
        Side::Inside
    }
}

fn one(climate: Climate, way: Way, seed: u64, bound: bool) -> Option<One> {
    let world = World::new(climate, seed);
    let options = MeasureOptions {
        side: Some(side_of(&world)),
        temperature_k: world
            .state
            .star
            .as_ref()
            .filter(|_| !climate.mismatched)
            .map(|s| s.temperature_k),
        ..MeasureOptions::default()
    };
    let options = MeasureOptions {
        mask_on: Some(matches!(climate.kind, Kind::Masked(_))),
        ..options
    };
    let picture = world.picture();
    let found = match way {
        Way::One => measure(&picture, &world.typed, &options),
        Way::Pair => measure_two(
            [&picture, &world.other_side().picture()],
            &world.typed,
            &options,
        ),
    }
    .ok()?;
    let truth = world.coma_nm();
    let off = |of: &dyn Fn(usize) -> Option<f64>| -> Option<[f64; 2]> {
        Some([of(0)? / NM - truth[0], of(1)? / NM - truth[1]])
    };
    let mode = |found: &Measurement, i: usize| found.mode_m([7, 8][i]);
    let by_slopes = |i: usize| {
        let modes = &found.slopes.as_ref()?.modes_m;
        modes.iter().find(|m| m.0 == [7, 8][i]).map(|m| m.1)
    };
    Some(One {
        seed,
        off_nm: off(&|i| mode(&found, i).map(|m| m.value))?,
        sigma_nm: [0, 1].map(|i| mode(&found, i).and_then(|m| m.sigma).unwrap_or(0.0) / NM),
        bound_nm: bound.then(|| photon_bound_nm(&world, &climate)).flatten(),
        slopes_off_nm: off(&by_slopes),
        model_error: found.fitted.model_error,
        sound: found.is_sound(),
    })
}

/// The Cramér–Rao bound of Noll 7 and 8 with the usual 13 parameters free.
fn photon_bound_nm(world: &World, climate: &Climate) -> Option<[f64; 2]> {
    let settings = Settings {
        accuracy: skewstar::measure::settings::FitSettings::default().accuracy,
        ..Settings::default()
    };
    let model = Model::new(&world.real, &world.state, settings).ok()?;
    let mut jacobian = Jacobian::new(&model, &Parameter::standard()).ok()?;
    let (electrons, background_e) = (climate.electrons, 24.0);
    for (parameter, column) in jacobian.parameters.iter().zip(&mut jacobian.columns) {
        if *parameter != Parameter::Background {
            *column *= electrons;
        }
    }
    jacobian.star *= electrons;
    let image = jacobian.star.mapv(|v| v + background_e);
    jacobian.expected = Expected {
        image,
        in_electrons: true,
        ..jacobian.expected
    };
    let electronics = super::world::electronics();
    debug_assert!(variance_e2(background_e, &electronics) > background_e);
    let bound = Bound::new(&jacobian, &electronics);
    let sigma = |noll| bound.sigma(Parameter::Mode(noll)).map(|s| s / NM);
    Some([sigma(7)?, sigma(8)?])
}

fn tally(name: &str, found: &[Result<One, u64>]) -> Tally {
    let sound: Vec<&One> = found.iter().flatten().filter(|one| one.sound).collect();
    let count = sound.len().max(1) as f64;
    let length = |v: [f64; 2]| v[0].hypot(v[1]);
    let rms = |values: Vec<f64>| -> Option<f64> {
        let count = values.len();
        (count > 0).then(|| (values.iter().map(|v| v * v).sum::<f64>() / count as f64).sqrt())
    };
    let error = rms(sound.iter().map(|o| length(o.off_nm)).collect()).unwrap_or(0.0);
    let bound = rms(sound
        .iter()
        .filter_map(|o| o.bound_nm.map(length))
        .collect());
    let pull = |o: &&One| [0, 1].map(|i| o.off_nm[i] / o.sigma_nm[i].max(1e-9));
    let slopes: Vec<f64> = sound
        .iter()
        .filter_map(|o| o.slopes_off_nm.map(length))
        .collect();
    let mut failed: Vec<u64> = found
        .iter()
        .filter_map(|f| f.as_ref().err().copied())
        .collect();
    failed.extend(found.iter().flatten().filter(|o| !o.sound).map(|o| o.seed));
    Tally {
        name: name.into(),
        worlds: found.len(),
        coma_error_nm: error,
        worst_nm: sound.iter().map(|o| length(o.off_nm)).fold(0.0, f64::max),
        bound_nm: bound,
        error_over_bound: bound.map(|b| error / b),
        pulls: rms(sound.iter().flat_map(pull).collect()).unwrap_or(0.0),
        silent: sound
            .iter()
            .filter(|o| length(o.off_nm) > 60.0)
            .map(|o| o.seed)
            .collect(),
        failed,
        slopes_said: slopes.len(),
        slopes_only_nm: rms(slopes),
        mean_model_error: sound.iter().map(|o| o.model_error).sum::<f64>() / count,
    }
}
