//! What a mask hides of how the camera is held: a mask that is its own mirror image hides mirroring, one that repeats itself hides
//! that turn.

use super::super::settings::OrientationSettings;
use super::answers::{OrientationAnswer, OrientationPrior, Tried, answers_near_focus};
use super::profile::{Candidate, Profile, candidates};
use crate::instrument::{Hold, Instrument, Orientation, wrapped};
use crate::mask::{Region, regions};
use crate::pupil::axes_of;
use crate::units::DEG;
use ndarray::Array2;
use std::f64::consts::PI;

/// Directions that differ by less are the same for a star's spikes.
const SAME_RAD: f64 = 1.0 * DEG;
/// Radii and pitches that differ by a smaller share are the same.
const SAME_SHARE: f64 = 0.02;

/// One region as the frame sees it.
struct SeenRegion {
    middle_rad: f64,
    slot_rad: f64,
    lengths_m: [f64; 3],
}

/// Between these shares of the half width of the cut-out the spikes of a masked star are read.
const READ_BETWEEN: [f64; 2] = [0.2, 0.9];
/// A masked star is fitted in so many ways at most: each costs as much as the whole measurement.
const TRIED_AT_MOST: usize = 2;

/// Holds of the camera that are worth a fit for a masked star, one for each way that the star could tell from the others; the typed one
/// alone where its spikes lie as typed. `aligned_e` is the star that the aligned telescope would give with the camera held as typed.
pub fn holds_of_spikes(
    prior: &OrientationPrior,
    instrument: &Instrument,
    light: &Array2<f64>,
    aligned_e: &Array2<f64>,
    core_px: [f64; 2],
) -> Vec<Hold> {
    let typed = prior.typed;
    if prior.known == Some(Orientation::Known) {
        return vec![typed];
    }
    let (rows, columns) = light.dim();
    let half_px = 0.5 * rows.min(columns) as f64;
    let radii_px = READ_BETWEEN.map(|share| share * half_px);
    let expected = Profile::of_spikes(aligned_e, core_px, radii_px);
    let flipped = expected.flipped();
    let seen = Profile::of_spikes(light, core_px, radii_px);
    let both = [(typed, expected), (typed.flipped(), flipped)];
    let found = candidates(&seen, &both, &prior.settings);
    one_of_each(instrument, &found, typed, &prior.settings)
}

/// Of the turns that spikes speak for, those that a star could tell from one another.
fn one_of_each(
    instrument: &Instrument,
    candidates: &[Candidate],
    typed: Hold,
    settings: &OrientationSettings,
) -> Vec<Hold> {
    let within = settings.apart_rad;
    if candidates.is_empty() || candidates.iter().any(|c| c.hold.is_near(typed, within)) {
        return vec![typed];
    }
    let mut kept: Vec<Hold> = Vec::new();
    for one in candidates {
        let known = kept.iter().any(|other| {
            let alike = holds_alike(instrument, *other);
            // with all of W negated the twin gives the same picture
            let twins = alike.iter().map(|hold| hold.turned(PI));
            let mut same = alike.iter().copied().chain(twins);
            same.any(|hold| hold.is_near(one.hold, within))
        });
        if !known && kept.len() < TRIED_AT_MOST {
            kept.push(one.hold);
        }
    }
    kept
}

/// Answers of a masked star that fits with the camera held so: every hold in which its mask lies the same in the frame.
pub fn answers_of_masked(
    prior: &OrientationPrior,
    instrument: &Instrument,
    hold: Hold,
) -> Vec<OrientationAnswer> {
    let alike: Vec<Tried> = holds_alike(instrument, hold)
        .into_iter()
        .map(|hold| (hold, 0.0))
        .collect();
    answers_near_focus(prior, &alike)
}

/// Holds of the camera in which the regions of the mask lie in the frame as they do in this one, which is the first. A drawing has no
/// regions: its mirror image is then not told from it.
pub fn holds_alike(instrument: &Instrument, hold: Hold) -> Vec<Hold> {
    let Some(design) = &instrument.mask else {
        return vec![hold];
    };
    let regions = regions(design);
    let Some(first) = regions.first() else {
        return vec![hold, hold.flipped()];
    };
    let here = seen(&regions, design.rotation_rad, hold);
    let mut alike = vec![hold];
    for start in [hold, hold.flipped()] {
        let own = seen_one(first, design.rotation_rad, start).middle_rad;
        for other in &here {
            let turned = start.showing_turned(other.middle_rad - own);
            let known = alike.iter().any(|a| a.is_near(turned, SAME_RAD));
            if !known && all_same(&here, &seen(&regions, design.rotation_rad, turned)) {
                alike.push(turned);
            }
        }
    }
    alike
}

fn seen(regions: &[Region], mask_rad: f64, hold: Hold) -> Vec<SeenRegion> {
    regions
        .iter()
        .map(|r| seen_one(r, mask_rad, hold))
        .collect()
}

fn seen_one(region: &Region, mask_rad: f64, hold: Hold) -> SeenRegion {
    let direction = |azimuth: f64| {
        let ahead = [libm::cos(azimuth), libm::sin(azimuth)];
        let [x, y] = axes_of(hold).forward(ahead);
        libm::atan2(y, x)
    };
    SeenRegion {
        middle_rad: direction(region.middle_rad() + mask_rad),
        slot_rad: direction(region.slot_rad + mask_rad),
        lengths_m: [region.radius_m[0], region.radius_m[1], region.pitch_m],
    }
}

fn all_same(here: &[SeenRegion], there: &[SeenRegion]) -> bool {
    here.iter().all(|a| there.iter().any(|b| same_region(a, b)))
}

fn same_region(a: &SeenRegion, b: &SeenRegion) -> bool {
    let along = wrapped(a.slot_rad - b.slot_rad).abs();
    let lengths = a.lengths_m.iter().zip(&b.lengths_m);
    wrapped(a.middle_rad - b.middle_rad).abs() < SAME_RAD
        && (along < SAME_RAD || (PI - along) < SAME_RAD)
        && lengths
            .into_iter()
            .all(|(a, b)| (a - b).abs() <= SAME_SHARE * a.abs())
}
