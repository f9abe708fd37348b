//! What lessons have in common: values by their handles' order, what they do to a star, what a telescope needs for them.

use super::lesson::Star;
use super::scale::Scale;
use crate::instrument::Instrument;
use crate::practice::Sight;
use crate::pupil::frame_direction;
use crate::state::{Modes, ScrewTurns};
use crate::units::DEG;
use rand::RngExt;
use rand::rngs::ChaCha8Rng;

/// Answers as they are shown.
pub fn words(all: &[&str]) -> Vec<String> {
    all.iter().map(|word| (*word).to_owned()).collect()
}

/// A value that a handle gives; nothing where there is none.
pub fn value(values: &[f64], number: usize) -> f64 {
    at(values, number, 0.0)
}

/// A value that a handle or a question gives, or another where there is none.
pub fn at(values: &[f64], number: usize, otherwise: f64) -> f64 {
    values.get(number).copied().unwrap_or(otherwise)
}

/// The first two values and one behind them.
pub fn with(values: &[f64], last: f64) -> Vec<f64> {
    [&values[..values.len().min(2)], &[last]].concat()
}

/// A direction, degrees.
pub fn all_round(dice: &mut ChaCha8Rng) -> f64 {
    dice.random_range(0.0..360.0)
}

/// Coma in parts of what is clearly seen, towards an azimuth of the pupil.
pub fn coma(scale: &Scale, star: &mut Star, size: f64, azimuth_deg: f64) {
    let [x, y] = [libm::cos(azimuth_deg * DEG), libm::sin(azimuth_deg * DEG)];
    let modes: &mut Modes = &mut star.state.modes;
    modes.add(8, scale.coma_m * size * x);
    modes.add(7, scale.coma_m * size * y);
}

/// The azimuth of the pupil that is seen in a direction of the picture, degrees.
pub fn pupil_deg(scale: &Scale, frame_deg: f64) -> f64 {
    let seen_deg = |pupil_deg: f64| {
        let [x, y] = frame_direction(&scale.instrument, pupil_deg * DEG).xy();
        libm::atan2(y, x) / DEG
    };
    let from_deg = seen_deg(0.0);
    let mirrored = (seen_deg(90.0) - from_deg).rem_euclid(360.0) > 180.0;
    match mirrored {
        true => from_deg - frame_deg,
        false => frame_deg - from_deg,
    }
}

/// Each value turns one screw clockwise.
pub fn turn_each(scale: &Scale, values: &[f64], star: &mut Star) {
    let (Some(assembly), Some(clear)) = (&scale.instrument.assembly, scale.turns) else {
        return;
    };
    star.state.turns = ScrewTurns::zero(assembly);
    for (turns, value) in star.state.turns.iter_mut().zip(values) {
        *turns = value * clear * assembly.clockwise.sign();
    }
}

/// The letters of the screws, in the order of the file.
pub fn screw_names(scale: &Scale) -> Vec<String> {
    let screws = scale.instrument.assembly.iter().flat_map(|a| &a.screws);
    screws.map(|screw| screw.name.clone()).collect()
}

/// The quarter of the clock that the thin side is nearest to: 12, 3, 6, 9.
pub fn quarter_of_the_clock(sights: &[Sight]) -> usize {
    let ring = sights.first().and_then(|seen| seen.drawing()?.ring);
    let clockwise_deg = ring.map_or(0.0, |ring| 90.0 - ring.thin_deg);
    (clockwise_deg / 90.0).round().rem_euclid(4.0) as usize
}

/// Every telescope can show it.
pub fn any(_: &Instrument) -> bool {
    true
}

/// Whether the star out of focus has a dark centre.
pub fn has_ring(instrument: &Instrument) -> bool {
    instrument.telescope.obstruction.is_some()
}

/// Whether it is known what a turn of a screw does.
pub fn has_screws(instrument: &Instrument) -> bool {
    let assembly = instrument.assembly.as_ref();
    assembly.is_some_and(|a| !a.screws.is_empty())
        && Scale::of(instrument, &crate::state::State::default())
            .turns
            .is_some()
}

/// Whether the spikes of its mask, or of the one that it is lent, show coma.
pub fn reads_coma(instrument: &Instrument) -> bool {
    instrument.mask.as_ref().is_none_or(|mask| {
        let layout = mask.layout.slots();
        layout.is_some_and(|layout| layout.crossing_shows.contains(&"coma"))
    })
}
