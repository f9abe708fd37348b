//! Which screw to try, and how far: the turn that tells most about how the camera is held and does least harm if the guess is wrong.

use super::orientation::{FoundTilt, HoldCase};
use super::settings::AdviceSettings;
use crate::instrument::{Assembly, Instrument};
use crate::mechanics::tilt_per_turn;

impl AdviceSettings {
    /// The most that is turned to see what a turn does: fast beams show less of it at once, and sooner.
    pub fn trial_turns_of(&self, instrument: &Instrument) -> f64 {
        match instrument.telescope.focal_ratio() <= self.fast_up_to_focal_ratio {
            true => self.trial_turns_fast,
            false => self.trial_turns,
        }
    }
}

/// The turn of a screw.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trial {
    /// Number of the screw.
    pub screw: usize,
    /// Its turns; positive lengthens.
    pub turns: f64,
}

/// Two screws whose tilts make a smaller angle than this with one line (sine) are in one line: the second tells nothing new.
const IN_LINE_SINE: f64 = 0.2;

/// The trial, where `tilt` explains what was found and `likely` is the likeliest way things may be.
///
/// It is of a screw that has not been tried and is not opposite to one that has; of these, of the one that takes most away if the guess
/// is right. It is never more than `most_turns`, nor more than a share of what would be right ([`AdviceSettings::trial_share`]): so
/// a turn the wrong way leaves less than twice of what was there.
pub fn trial(
    tilt: Option<(FoundTilt, HoldCase)>,
    assembly: &Assembly,
    tried: &[usize],
    most_turns: f64,
    settings: &AdviceSettings,
) -> Trial {
    let per_turn = |screw: usize| tilt_per_turn(assembly, screw);
    let fresh = fresh_screws(assembly, tried);
    let open = match fresh.is_empty() {
        true => (0..assembly.screws.len()).collect(),
        false => fresh,
    };
    let Some((found, likely)) = tilt else {
        return Trial {
            screw: open[0],
            turns: most_turns,
        };
    };
    let tilt_rad = found.in_case(&likely);
    let right = |screw: usize| {
        let own = per_turn(screw);
        -dot(own, tilt_rad) / dot(own, own)
    };
    let taken = |screw: usize| {
        let own = per_turn(screw);
        right(screw).abs() * dot(own, own).sqrt()
    };
    let screw = open
        .into_iter()
        .max_by(|a, b| taken(*a).total_cmp(&taken(*b)))
        .unwrap_or(0);
    let wanted = settings.trial_share * right(screw);
    Trial {
        screw,
        turns: wanted.clamp(-most_turns, most_turns),
    }
}

/// Screws that say something new of how the camera is held: not those that were seen already, and none that is opposite to one of them.
pub fn fresh_screws(assembly: &Assembly, seen: &[usize]) -> Vec<usize> {
    let is_new = |screw: &usize| {
        let own = tilt_per_turn(assembly, *screw);
        seen.iter()
            .all(|other| sine(own, tilt_per_turn(assembly, *other)) > IN_LINE_SINE)
    };
    (0..assembly.screws.len()).filter(is_new).collect()
}

fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// Sine of the angle between two vectors, as lines.
fn sine(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] * b[1] - a[1] * b[0]).abs() / (dot(a, a) * dot(b, b)).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::Hold;
    use crate::mechanics::plane_of;
    use crate::state::ScrewTurns;
    use crate::testing::fast_unit;
    use crate::units::ARCMIN;

    fn likely() -> HoldCase {
        HoldCase {
            hold: Hold {
                rotation_rad: 0.0,
                mirrored: false,
            },
            coma_m_per_rad: 1.0,
            weight: 0.9,
        }
    }

    fn found(tilt_arcmin: [f64; 2]) -> Option<(FoundTilt, HoldCase)> {
        let tilt = FoundTilt {
            tilt_rad: tilt_arcmin.map(|t| t * ARCMIN),
            as_if: likely(),
        };
        Some((tilt, likely()))
    }

    /// Whichever way the guess is wrong, less than twice of what was there is left, and the second trial is of another line.
    #[test]
    fn a_wrong_guess_stays_below_twice_the_start() {
        let assembly = fast_unit().assembly.unwrap();
        let settings = AdviceSettings::default();
        let length = |v: [f64; 2]| v[0].hypot(v[1]);
        for tilt in [[0.3, 0.0], [-1.0, 2.0], [6.0, -5.0]] {
            let one = trial(found(tilt), &assembly, &[], 1.0 / 16.0, &settings);
            let mut turns = ScrewTurns::zero(&assembly);
            turns[one.screw] = one.turns;
            let added = plane_of(&assembly, &turns).tilt_rad.map(|t| t / ARCMIN);
            assert!(one.turns.abs() <= 1.0 / 16.0);
            assert!(length(added) <= 0.75 * length(tilt) + 1e-12, "{one:?}");
            let as_guessed = [0, 1].map(|k| tilt[k] + added[k]);
            assert!(length(as_guessed) < length(tilt));
            let next = trial(found(tilt), &assembly, &[one.screw], 1.0 / 16.0, &settings);
            assert_ne!(next.screw, one.screw);
        }
        let blind = trial(None, &assembly, &[0], 0.125, &settings);
        assert_eq!((blind.screw, blind.turns), (1, 0.125));
    }
}
