//! Coma (or the tilt of the focal plane) → the tilt of the unit → turns of its screws.
//!
//! Screws are moved as little as possible for the tilt that is asked for; the piston is held, unless a screw would leave its
//! travel, which is counted from the screws' nominal length because nobody says where they stand. What cannot be reached is
//! reached as far as the travel goes, and said.

use super::measurement::aligned_modes;
use super::settings::AdviceSettings;
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::instrument::{Assembly, AssemblyKind, Instrument, Response};
use crate::math::Uncertain;
use crate::mechanics::{Plane, plane_of, turns_for};
use crate::pupil::shift_px;
use crate::state::{Coma, ScrewTurns};

/// What the screws are to put right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Aim {
    /// Coma at the star.
    #[default]
    Coma,
    /// The tilt of the focal plane.
    Tilt,
    /// Both, as far as they agree.
    Both,
}

impl Aim {
    /// Its name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Aim::Coma => "coma",
            Aim::Tilt => "tilt",
            Aim::Both => "both",
        }
    }
}

/// Turns of the screws and what they do.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// What is aimed at.
    pub aim: Aim,
    /// Tilt of the unit that was found and is to be undone, pupil axes, radians.
    pub found_rad: [f64; 2],
    /// Tilt to add to the unit, pupil axes, radians.
    pub tilt_rad: [f64; 2],
    /// Turns of every screw; positive lengthens.
    pub turns: ScrewTurns,
    /// The one screw that helps most when turned alone, its turns, and the coma it leaves; where coma is aimed at, and `None` on a pivot,
    /// where no screw can be turned alone.
    pub one_screw: Option<OneScrew>,
    /// Coma that the turns take away, metres RMS; the coma that field and design would leave with all screws right is not in it. `None`
    /// where no star was measured, or where the travel allows a part of the turns only. The verdict goes by its uncertainty, which [`Coma`] defines.
    pub undone_m: Option<Uncertain>,
    /// Numbers of the screws that cannot be turned.
    pub barred: Vec<usize>,
    /// How far the star will move on the sensor, frame pixels.
    pub image_shift_px: FramePx,
    /// How much farther out the sensor will stand after the turns, metres; negative for farther in.
    pub focus_change_m: f64,
    /// Coma that is left when the turns are made exactly, metres RMS: what the turns do not reach, and the errors of both
    /// components of what was measured, as the root of the sum of their squares; `None` where it was not measured.
    pub remaining_coma_m: Option<f64>,
    /// Tilt of the sensor against the focal plane that is left after the turns, as a tilt of the unit, radians; `None` where it is not known.
    pub remaining_plane_rad: Option<f64>,
    /// Share of the wanted tilt that the travel of the screws allows; 1 where all of it is allowed.
    pub reach: f64,
    /// What the owner should know of the turns.
    pub flags: Flags,
    /// The settings that it was worked out with, by which its verdict and its words decide too.
    pub settings: AdviceSettings,
}

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Nothing: it is good enough, or finer than a hand can set.
    Stop,
    /// Turn the screws.
    Turn,
    /// Turn one screw a little and look what it does: what a turn does is not known well enough.
    Trial,
    /// Take a better frame: this one does not tell whether there is something to turn.
    LookAgain,
}

impl Verdict {
    /// Its name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Verdict::Stop => "stop",
            Verdict::Turn => "turn",
            Verdict::Trial => "trial",
            Verdict::LookAgain => "look-again",
        }
    }
}

impl Advice {
    /// The same advice for somebody who cannot turn some of the screws. One screw less is no loss: the same length added to all screws tilts
    /// nothing.
    pub fn without(self, barred: &[usize], instrument: &Instrument) -> Advice {
        let parts = instrument.assembly.as_ref();
        let parts = parts.and_then(|assembly| Some((assembly, assembly.response.as_ref()?)));
        let Some((assembly, response)) = parts.filter(|_| !barred.is_empty()) else {
            return self;
        };
        let tilt_rad = self.tilt_rad.map(|tilt| -tilt / self.reach);
        let alone = self.one_screw.map(|_| tilt_rad);
        Advice {
            one_screw: alone.and_then(|tilt| best_screw(assembly, response, tilt, barred)),
            barred: barred.to_vec(),
            ..self
        }
    }

    /// What to do, where coma below `stop_m` is good enough.
    pub fn verdict(&self, stop_m: f64) -> Verdict {
        let settings = &self.settings;
        let no_turn = self
            .turns
            .iter()
            .copied()
            .chain(self.one_screw.map(|one| one.turns))
            .all(|turns| turns.abs() < settings.least_turns);
        let Some(Uncertain { value, sigma }) = self.undone_m else {
            return if no_turn {
                Verdict::Stop
            } else {
                Verdict::Turn
            };
        };
        let sigma = sigma.unwrap_or(f64::INFINITY);
        if value < stop_m {
            let known = sigma <= settings.known_to_share_of_stop * stop_m || value + sigma < stop_m;
            return if known {
                Verdict::Stop
            } else {
                Verdict::LookAgain
            };
        }
        match value > settings.coma_seen_sigma * sigma {
            true if no_turn => Verdict::Stop,
            true => Verdict::Turn,
            false => Verdict::LookAgain,
        }
    }
}

/// A single turn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneScrew {
    /// Number of the screw.
    pub screw: usize,
    /// Its turns.
    pub turns: f64,
    /// Coma that is left, metres RMS.
    pub leaves_m: f64,
    /// How much farther out the sensor will stand: one screw alone moves the middle of the unit too.
    pub focus_change_m: f64,
}

/// What was measured, as far as it is known.
#[derive(Debug, Clone, Copy, Default)]
pub struct Misaligned {
    /// Coma at the star, total.
    pub coma: Option<Coma>,
    /// Place of the star in the field.
    pub field_m: FieldM,
    /// Tilt of the unit that puts the coma node of a whole frame where it is, pupil axes; where no single star says it.
    pub node_tilt_rad: Option<[f64; 2]>,
    /// Tilt of the unit that would make the slope of the focal plane, pupil axes.
    pub plane_tilt_rad: Option<[f64; 2]>,
}

/// Why there is no advice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoAdvice {
    /// There is nothing to turn.
    #[error("the instrument has no [assembly]")]
    NoScrews,
    /// What a tilt does is not known.
    #[error(
        "the instrument has neither [assembly.response] nor [assembly.prescription]: what a turn does is not known"
    )]
    NoResponse,
    /// What is aimed at was not measured.
    #[error("what is aimed at was not measured")]
    NotMeasured,
    /// A card stands in the beam, to show where a screw is.
    #[error("a card is over the rim: this frame tells how the camera is held, and nothing of coma")]
    CardOverRim,
}

impl NoAdvice {
    /// What to try next.
    pub fn hint(self) -> &'static str {
        match self {
            NoAdvice::NoScrews => "describe the screws in [assembly]",
            NoAdvice::NoResponse => {
                "learn it from two trial turns (skewstar learn), or type it in as [assembly.response]"
            }
            NoAdvice::CardOverRim => "take the card away, and measure a frame without it",
            NoAdvice::NotMeasured => "coma needs a star, the focal plane needs --whole-frame",
        }
    }
}

/// Works out the turns.
///
/// # Errors
/// [`NoAdvice`] where screws, response or measurement are missing.
pub fn advise(
    instrument: &Instrument,
    found: &Misaligned,
    aim: Aim,
    settings: &AdviceSettings,
) -> Result<Advice, NoAdvice> {
    let assembly = instrument.assembly.as_ref().ok_or(NoAdvice::NoScrews)?;
    let response = assembly.response.as_ref().ok_or(NoAdvice::NoResponse)?;
    let unwanted = found.coma.map(|coma| {
        let aligned = aligned_modes(instrument, found.field_m);
        coma.less(&Coma::of(&aligned))
    });
    let by_star = unwanted.and_then(|coma| tilt_of_coma(response, &coma));
    let by_coma = by_star.or(found.node_tilt_rad);
    let tilt = wanted_tilt(aim, by_coma, found.plane_tilt_rad).ok_or(NoAdvice::NotMeasured)?;
    let undo = tilt.map(|t| -t);
    let (turns, reach, mut flags) = within_travel(assembly, undo);
    if assembly.travel_m.is_some() {
        flags.raise(Flag::ScrewPositionsAssumed);
    }
    let plane = plane_of(assembly, &turns);
    let left =
        |now: Option<[f64; 2]>| now.map(|now| [0, 1].map(|axis| now[axis] + plane.tilt_rad[axis]));
    // the standard deviations of both components, added in squares: either of them may be left
    let uncertainty_m = found
        .coma
        .and_then(|coma| coma.sigma_per_axis_m())
        .map_or(0.0, |sigma_m| sigma_m * 2f64.sqrt());
    let whole = reach > settings.whole_reach_share;
    let undone_m = by_star.filter(|_| whole).map(|_| Uncertain {
        value: (response.coma_m_per_rad * length(plane.tilt_rad)).abs(),
        sigma: unwanted.and_then(|coma| coma.size_m().sigma),
    });
    let coma_left_m = left(by_coma).map(|t| (response.coma_m_per_rad * length(t)).abs());
    let shift_m = FieldM::new(plane.tilt_rad.map(|t| t * response.image_shift_m_per_rad));
    Ok(Advice {
        aim,
        found_rad: tilt,
        tilt_rad: plane.tilt_rad,
        one_screw: by_coma
            .filter(|_| aim == Aim::Coma && assembly.kind != AssemblyKind::Pivot)
            .and_then(|tilt| best_screw(assembly, response, tilt, &[])),
        barred: Vec::new(),
        undone_m,
        image_shift_px: shift_px(instrument, shift_m),
        focus_change_m: plane.piston_m * response.focus_m_per_m,
        remaining_coma_m: coma_left_m.map(|coma_m| coma_m.hypot(uncertainty_m)),
        remaining_plane_rad: left(found.plane_tilt_rad).map(length),
        turns,
        reach,
        flags,
        settings: *settings,
    })
}

fn length(vector: [f64; 2]) -> f64 {
    vector[0].hypot(vector[1])
}

/// The tilt that explains the coma beyond that of the aligned telescope.
fn tilt_of_coma(response: &Response, unwanted: &Coma) -> Option<[f64; 2]> {
    let per_rad = response.coma_m_per_rad;
    (per_rad != 0.0).then(|| unwanted.xy_m().map(|c| c / per_rad))
}

fn wanted_tilt(
    aim: Aim,
    by_coma: Option<[f64; 2]>,
    by_plane: Option<[f64; 2]>,
) -> Option<[f64; 2]> {
    match aim {
        Aim::Coma => by_coma,
        Aim::Tilt => by_plane,
        Aim::Both => {
            let (a, b) = (by_coma?, by_plane?);
            Some([0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])])
        }
    }
}

/// Turns for a tilt with the piston held; where a screw would leave its travel, with the piston that brings all back in, and
/// where none does, with as much of the tilt as there is room for.
fn within_travel(assembly: &Assembly, tilt_rad: [f64; 2]) -> (ScrewTurns, f64, Flags) {
    let turns = |share: f64, piston_m: f64| {
        let plane = Plane {
            piston_m,
            tilt_rad: tilt_rad.map(|t| t * share),
        };
        turns_for(assembly, &plane)
    };
    let plain = turns(1.0, 0.0);
    let Some([low_m, high_m]) = assembly.travel_m else {
        return (plain, 1.0, Flags::default());
    };
    let pitch = assembly.pitch_m_per_turn;
    let reach = |turns: &[f64]| {
        let lengths = turns.iter().map(|t| t * pitch);
        let least = lengths.clone().fold(f64::INFINITY, f64::min);
        (least, lengths.fold(f64::NEG_INFINITY, f64::max))
    };
    let (least, most) = reach(&plain);
    if least >= low_m && most <= high_m {
        return (plain, 1.0, Flags::default());
    }
    let share = ((high_m - low_m) / (most - least)).min(1.0);
    let piston_m = (low_m - share * least).max(0.0) + (high_m - share * most).min(0.0);
    let flags = Flags::from([Flag::TravelLimits]);
    (turns(share, piston_m), share, flags)
}

/// The screw that, turned alone, leaves least coma; of those that can be turned.
fn best_screw(
    assembly: &Assembly,
    response: &Response,
    tilt_rad: [f64; 2],
    barred: &[usize],
) -> Option<OneScrew> {
    let count = assembly.screws.len();
    (0..count)
        .filter(|screw| !barred.contains(screw))
        .map(|screw| {
            let mut one = ScrewTurns::zero(assembly);
            one[screw] = 1.0;
            let per_turn_m = plane_of(assembly, &one).piston_m * response.focus_m_per_m;
            let per_turn = plane_of(assembly, &one).tilt_rad;
            let dot = per_turn[0] * tilt_rad[0] + per_turn[1] * tilt_rad[1];
            let turns = -dot / length(per_turn).powi(2);
            let left = [0, 1].map(|axis| tilt_rad[axis] + turns * per_turn[axis]);
            OneScrew {
                screw,
                turns,
                leaves_m: (response.coma_m_per_rad * length(left)).abs(),
                focus_change_m: turns * per_turn_m,
            }
        })
        .min_by(|a, b| a.leaves_m.total_cmp(&b.leaves_m))
}

#[cfg(test)]
mod tests;
