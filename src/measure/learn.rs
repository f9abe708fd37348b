//! From trial turns to what a tilt of the unit does to the star, and to how the camera sits.
//!
//! A trial is a star measured before and after the turn of one screw. A turn tilts the unit by a known t; the coma in *frame*
//! axes then changes by M·R(−rotation)·k·t, with M the camera's mirroring. What was measured is in pupil axes of the hold that it was
//! measured with, so it is turned back into frame axes first, and a camera that was typed wrong does no harm. As complex numbers:
//! change = k·exp(−i·rotation)·t where the camera is not mirrored, and −conj(change) in its place where it is.
//!
//! What a frame adds: a hand errs in its turns, and tightening shifts the unit, so that a change is known less well than both frames
//! ([`LearningSettings`]). What the trials leave open is said, not guessed:
//! - One screw (or two in one line with the centre) fits both mirror images: both are kept, each with its own rotation and its weight.
//! - The sign of k and a half turn of the camera cannot be told apart, and turns do not depend on which of them it is. The sign is
//!   taken as typed, and the rotation is the way round in which a response of that sign explains the frames.
//! - Piston changes focus, which is not learned.
//!
//! Cards held over the rim and a file's word on how the sky lies in it are no trials, but say which mirror image it is ([`Lesson`]).

mod agreement;
mod belief;
mod fit;
mod grid;
mod laid_over;
mod report;

pub use report::{HoldReport, LearnReport, ScrewReport};

use super::Measurement;
use super::measurement::aligned_modes;
use super::orientation::{CardSeen, HoldCase};
use super::settings::{LearningSettings, MeasureSettings};
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::instrument::{Assembly, Hold, Instrument, TurnsError};
use crate::math::Uncertain;
use crate::pupil::axes_of;
use crate::state::Coma;
use crate::units::{ARCMIN, NM};
pub use belief::{Belief, Outlook};
use fit::{Beside, HoldFit, TurnSeen, fit, weighed};
use num_complex::Complex64;
use thiserror::Error;

/// What a trial needs of a measured star.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sighting {
    /// Its coma, in pupil axes of `hold`. Where it is not determined, nothing is learned from it.
    pub coma: Coma,
    /// How the camera was held in the measurement.
    pub hold: Hold,
    /// Place of the star, frame pixels.
    pub star_px: FramePx,
    /// Its place in the field, pupil axes of `hold`.
    pub field_m: FieldM,
}

/// A turn of one screw between two frames.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialTurn {
    /// Name of the screw.
    pub screw: String,
    /// Its turns; positive lengthens.
    pub turns: f64,
    /// The star before.
    pub before: Sighting,
    /// The star after.
    pub after: Sighting,
}

/// What is learned from: trial turns, and what frames say beside them of mirroring.
#[derive(Debug, Clone, Copy, Default)]
pub struct Lesson<'a> {
    /// Turns, in any order.
    pub trials: &'a [TrialTurn],
    /// Cards that frames show over the rim at screws, all on one side of focus.
    pub cards: &'a [CardSeen],
    /// Whether the camera mirrors by what a frame's file says of the sky in it ([`Picture::camera_mirrors`](super::Picture::camera_mirrors)).
    pub by_header: Option<bool>,
}

/// The telescope's own response.
#[derive(Debug, Clone, PartialEq)]
pub struct LearnedResponse {
    /// Coma per tilt; metres RMS per radian.
    pub coma_m_per_rad: Uncertain,
    /// Image shift per tilt; `None` where the frames followed the star.
    pub image_shift_m_per_rad: Option<Uncertain>,
    /// Azimuth of the sensor's columns in pupil axes, −π to π, as turns of screws see it.
    pub rotation_rad: Uncertain,
    /// Whether the columns are flipped.
    pub mirrored: bool,
    /// Every way of holding the camera that the trials leave open, the heaviest first: the one above, and perhaps its mirror image.
    pub holds: Vec<HoldCase>,
    /// What each screw that was tried did.
    pub screws: Vec<LearnedScrew>,
    /// The turns that it was learned from, in frame axes.
    pub trials: Vec<ToldTurn>,
    /// Cards that frames showed.
    pub cards: Vec<LearnedCard>,
    /// Whether the camera mirrors by what a frame's file said of the sky in it.
    pub by_header: Option<bool>,
    /// What the trials leave open.
    pub flags: Flags,
}

/// A told turn and what frames showed before and after it.
#[derive(Debug, Clone, PartialEq)]
pub struct ToldTurn {
    /// Name of the screw.
    pub screw: String,
    /// Its turns; positive lengthens.
    pub turns: f64,
    /// Coma before, less what the aligned telescope has at the star's place; frame axes, metres RMS.
    pub before_m: [f64; 2],
    /// The same after.
    pub after_m: [f64; 2],
    /// Standard deviation that the frames give the change in either direction.
    pub sigma_m: f64,
}

impl ToldTurn {
    /// How much coma grew, beyond what its frames leave open; `None` where it did not.
    pub fn grew_m(&self) -> Option<f64> {
        let grew = complex(self.after_m).norm() - complex(self.before_m).norm();
        (grew > GREW_SIGMAS * self.sigma_m).then_some(grew)
    }
}

/// A card that a frame showed.
#[derive(Debug, Clone, PartialEq)]
pub struct LearnedCard {
    /// Name of the screw at whose place it was held.
    pub screw: String,
    /// Direction of the bite from the middle of the ring, frame axes.
    pub direction_rad: f64,
}

/// A row of the response matrix.
#[derive(Debug, Clone, PartialEq)]
pub struct LearnedScrew {
    /// Name of the screw.
    pub name: String,
    /// Change of coma in one turn, in pupil axes of the camera as learned.
    pub coma_per_turn: Coma,
}

/// Why nothing is learned, or what was learned does not fit.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LearnError {
    /// Nothing was tried.
    #[error("there is no trial to learn from")]
    NoTrial,
    /// There is nothing to turn.
    #[error("the instrument has no [assembly]: which screws there are is not known")]
    NoScrews,
    /// No such screw.
    #[error(transparent)]
    UnknownScrew(#[from] TurnsError),
    /// A turn that is none.
    #[error(
        "the trial turn of screw {screw} is {turns}, but must be a number from -{most} to {most} and not 0",
        most = TURNS_AT_MOST
    )]
    NoTurn {
        /// The screw.
        screw: String,
        /// What was typed.
        turns: f64,
    },
    /// The turn was too small to be seen.
    #[error(
        "{turns} turns of screw {screw} changed coma by {:.1} nm with a sigma of {:.1} nm: less than {seen_sigma} sigma, that is no change seen",
        change_m / NM,
        sigma_m / NM
    )]
    NoChange {
        /// The screw.
        screw: String,
        /// Its turns.
        turns: f64,
        /// Change of coma.
        change_m: f64,
        /// Its standard deviation.
        sigma_m: f64,
        /// How many standard deviations are asked for.
        seen_sigma: f64,
    },
    /// The trials contradict one another.
    #[error(
        "the trials contradict one another: together they say that an arcminute of tilt makes {:.0} nm of coma, and they lie {spread:.1} times farther from that than hands and frames explain",
        coma_m_per_rad * ARCMIN / NM
    )]
    Contradiction {
        /// Coma per tilt that fits them best.
        coma_m_per_rad: f64,
        /// How many times farther than expected they lie from it.
        spread: f64,
    },
}

impl LearnError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            LearnError::NoTrial => {
                "measure a star, turn one screw, measure again: --trial BEFORE,AFTER,A=0.125"
            }
            LearnError::NoScrews => "describe the screws in [assembly]",
            LearnError::UnknownScrew(error) => error.hint(),
            LearnError::NoTurn { .. } => "0.125 is an eighth of a turn that lengthens the screw",
            LearnError::NoChange { .. } => {
                "try a turn about four times as large, or a longer exposure; was it the screw that was turned?"
            }
            LearnError::Contradiction { .. } => {
                "was each turn made with the screw and in the direction that was typed (positive lengthens), and were its frames named in their order?"
            }
        }
    }
}

/// Coma that grew by less, in standard deviations of the two frames, may have stayed as it was.
const GREW_SIGMAS: f64 = 3.0;
/// No change of coma is taken to have a smaller standard deviation, so that no weight is infinite where a frame has no noise.
const LEAST_SIGMA_M: f64 = 1e-6 * NM;
/// A trial turn is no larger: no screw of a unit is turned so far, so that more is a slip of the hand.
const TURNS_AT_MOST: f64 = 100.0;

impl Sighting {
    /// What a measurement says; `None` where it does not determine coma.
    pub fn of(measurement: &Measurement) -> Option<Sighting> {
        let coma = measurement.coma()?;
        coma.sigma_per_axis_m()?;
        Some(Sighting {
            coma,
            hold: measurement.hold,
            star_px: measurement.star_px,
            field_m: measurement.field_m,
        })
    }

    /// Coma in frame axes, less what the aligned telescope has at the star's place; metres RMS.
    pub fn in_frame_m(&self, instrument: &Instrument) -> [f64; 2] {
        let aligned = aligned_modes(instrument, self.field_m);
        let coma = self.coma.less(&Coma::of(&aligned));
        axes_of(self.hold).forward(coma.xy_m())
    }
}

/// Learns from trials, in any order.
///
/// A trial whose change was not seen teaches nothing and is left out, unless there is no other. Of four trials and more, one that lies
/// far from all others is left out too (`trials_disagree`). Errors of trials that share a frame are taken as independent.
///
/// # Errors
/// [`LearnError`] where there is nothing to learn from, for turns whose effect is not seen, and for trials that contradict one another.
///
/// # Accuracy
/// `tests/cli/learning.rs` learns from simulated frames of a camera that is turned and mirrored.
pub fn learn(
    instrument: &Instrument,
    lesson: &Lesson,
    all_settings: &MeasureSettings,
) -> Result<LearnedResponse, LearnError> {
    let beside = Beside::of(lesson, &instrument.camera, all_settings);
    let settings = &all_settings.learning;
    let assembly = instrument.assembly.as_ref().ok_or(LearnError::NoScrews)?;
    let (trials, changes) = seen_changes(instrument, assembly, lesson.trials, settings)?;
    let expected_m = assembly.response.as_ref().map(|r| r.coma_m_per_rad);
    let fits = |changes: &[TurnSeen]| {
        [false, true].map(|mirrored| fit(changes, mirrored, expected_m, settings))
    };
    let (trials, changes, left_out) = without_the_odd_one(trials, changes, &fits, settings);
    let typed = &instrument.camera;
    let turns_told: Vec<ToldTurn> = trials.iter().map(|t| told_turn(instrument, t)).collect();
    let believed = Belief::of_told(&turns_told, &beside, instrument, all_settings)
        .map_or([0.5; 2], |belief| belief.images_believed());
    let holds = weighed(fits(&changes), believed, expected_m, settings);
    let (best, fit) = &holds[0];
    let spread = fit.spread(changes.len());
    if spread > settings.contradiction_spread {
        return Err(LearnError::Contradiction {
            coma_m_per_rad: best.coma_m_per_rad,
            spread,
        });
    }
    let mirror_open = holds.len() > 1;
    let shift = shift_of(&changes, &best.hold, typed.pixel_m, settings);
    let (image_shift_m_per_rad, shift_flag) = shift;
    let disagree = left_out || spread > settings.disagree_factor;
    let told = [
        (mirror_open, Flag::MirrorOpen),
        (disagree, Flag::TrialsDisagree),
    ];
    let flags = told
        .into_iter()
        .filter(|t| t.0)
        .map(|t| t.1)
        .chain(shift_flag);
    let sigma = fit.sigma * spread.max(1.0);
    Ok(LearnedResponse {
        coma_m_per_rad: Uncertain {
            value: best.coma_m_per_rad,
            sigma: Some(sigma),
        },
        image_shift_m_per_rad,
        rotation_rad: Uncertain {
            value: best.hold.rotation_rad,
            sigma: Some(sigma / fit.product.norm()),
        },
        mirrored: best.hold.mirrored,
        screws: matrix(assembly, &trials, &changes, &best.hold, settings),
        holds: holds.iter().map(|h| h.0).collect(),
        flags: flags.collect(),
        trials: turns_told,
        cards: lesson
            .cards
            .iter()
            .map(|card| LearnedCard {
                screw: assembly.screws[card.screw].name.clone(),
                direction_rad: card.direction_rad,
            })
            .collect(),
        by_header: lesson.by_header,
    })
}

/// The trials whose change was seen; an error where a trial cannot be meant, or where none was seen.
fn seen_changes(
    instrument: &Instrument,
    assembly: &Assembly,
    trials: &[TrialTurn],
    settings: &LearningSettings,
) -> Result<(Vec<TrialTurn>, Vec<TurnSeen>), LearnError> {
    let (mut kept, mut changes, mut unseen) = (Vec::new(), Vec::new(), None);
    for trial in trials {
        match change_of(instrument, assembly, trial, settings) {
            Ok(change) => {
                kept.push(trial.clone());
                changes.push(change);
            }
            Err(error @ LearnError::NoChange { .. }) => unseen = unseen.or(Some(error)),
            Err(error) => return Err(error),
        }
    }
    match (changes.is_empty(), unseen) {
        (true, Some(error)) => Err(error),
        (true, None) => Err(LearnError::NoTrial),
        _ => Ok((kept, changes)),
    }
}

/// Of four trials and more, those that are left when one that lies far from all others is taken out; and whether one was.
fn without_the_odd_one(
    trials: Vec<TrialTurn>,
    changes: Vec<TurnSeen>,
    fits: &impl Fn(&[TurnSeen]) -> [HoldFit; 2],
    settings: &LearningSettings,
) -> (Vec<TrialTurn>, Vec<TurnSeen>, bool) {
    let spread = |changes: &[TurnSeen]| {
        let both = fits(changes).map(|fit| fit.spread(changes.len()));
        both[0].min(both[1])
    };
    let all = spread(&changes);
    if changes.len() < 4 || all <= settings.disagree_factor {
        return (trials, changes, false);
    }
    let without = |odd: usize| -> Vec<TurnSeen> {
        let others = changes.iter().enumerate().filter(|(k, _)| *k != odd);
        others.map(|(_, change)| *change).collect()
    };
    let best = (0..changes.len())
        .map(|odd| (odd, spread(&without(odd))))
        .min_by(|a, b| a.1.total_cmp(&b.1));
    match best {
        Some((odd, left)) if left <= settings.agree_factor => {
            let changes = without(odd);
            let others = trials.into_iter().enumerate().filter(|(k, _)| *k != odd);
            (others.map(|(_, trial)| trial).collect(), changes, true)
        }
        _ => (trials, changes, false),
    }
}

/// What a trial changed.
///
/// # Errors
/// [`LearnError`] for a turn that is none, and where no change was seen.
fn change_of(
    instrument: &Instrument,
    assembly: &Assembly,
    trial: &TrialTurn,
    settings: &LearningSettings,
) -> Result<TurnSeen, LearnError> {
    let seen_sigma = settings.change_seen_sigma;
    let screw = assembly.screw(&trial.screw)?;
    let within = (0.0..=TURNS_AT_MOST).contains(&trial.turns.abs());
    if trial.turns == 0.0 || !within {
        return Err(LearnError::NoTurn {
            screw: trial.screw.clone(),
            turns: trial.turns,
        });
    }
    let told = told_turn(instrument, trial);
    let coma = complex(told.after_m) - complex(told.before_m);
    let seen = (seen_sigma * told.sigma_m..f64::INFINITY).contains(&coma.norm());
    if !seen || coma.norm() == 0.0 {
        return Err(LearnError::NoChange {
            screw: trial.screw.clone(),
            turns: trial.turns,
            change_m: coma.norm(),
            sigma_m: told.sigma_m,
            seen_sigma,
        });
    }
    let shift_px = complex((trial.after.star_px - trial.before.star_px).xy());
    Ok(TurnSeen {
        shift_px,
        ..TurnSeen::of(assembly, screw, trial.turns, coma, told.sigma_m, settings)
    })
}

/// Standard deviation of a change in either direction, with what a hand, backlash and the spread of tightening add to that of the frames.
fn with_the_hand(
    frames_m: f64,
    change_m: f64,
    turns: f64,
    backlash_turns: f64,
    settings: &LearningSettings,
) -> f64 {
    let backlash = 0.5 * backlash_turns / turns.abs();
    let hand = settings
        .hand_share
        .hypot(settings.hand_turns / turns.abs())
        .hypot(backlash);
    frames_m
        .hypot(settings.lock_spread_m / 2f64.sqrt())
        .hypot(hand * change_m)
        .max(LEAST_SIGMA_M)
}

/// A trial in frame axes, less what the star's way across the field of the aligned telescope explains.
fn told_turn(instrument: &Instrument, trial: &TrialTurn) -> ToldTurn {
    let sigma = |sighting: &Sighting| sighting.coma.sigma_per_axis_m().unwrap_or(f64::INFINITY);
    let (before, after) = (&trial.before, &trial.after);
    ToldTurn {
        screw: trial.screw.clone(),
        turns: trial.turns,
        before_m: before.in_frame_m(instrument),
        after_m: after.in_frame_m(instrument),
        sigma_m: sigma(before).hypot(sigma(after)),
    }
}

/// Image shift per tilt, and what is to be said of it.
fn shift_of(
    changes: &[TurnSeen],
    camera: &Hold,
    pixel_m: f64,
    settings: &LearningSettings,
) -> (Option<Uncertain>, Option<Flag>) {
    if changes
        .iter()
        .all(|c| c.shift_px.norm() <= settings.followed_px)
    {
        return (None, Some(Flag::Recentred));
    }
    let turn = Complex64::cis(camera.rotation_rad);
    let seen: Vec<(Complex64, Complex64)> = changes
        .iter()
        .map(|c| {
            (
                c.tilt,
                unmirrored(c.shift_px, camera.mirrored) * turn * pixel_m,
            )
        })
        .collect();
    let tilts: f64 = seen.iter().map(|(tilt, _)| tilt.norm_sqr()).sum();
    let per_tilt = seen.iter().map(|(t, s)| (t.conj() * s).re).sum::<f64>() / tilts;
    let rest: f64 = seen
        .iter()
        .map(|(t, s)| (s - t * per_tilt).norm_sqr())
        .sum();
    let all: f64 = seen.iter().map(|(_, s)| s.norm_sqr()).sum();
    let freedom = (2 * seen.len() - 1) as f64;
    let shift = Uncertain {
        value: per_tilt,
        sigma: Some((rest / freedom / tilts).sqrt()),
    };
    let unsteady = (rest / all).sqrt() > settings.shift_scatter_share;
    (Some(shift), unsteady.then_some(Flag::ShiftUnsteady))
}

/// The effect of each screw that was tried; several trials of one are averaged by their weights.
fn matrix(
    assembly: &Assembly,
    trials: &[TrialTurn],
    changes: &[TurnSeen],
    camera: &Hold,
    settings: &LearningSettings,
) -> Vec<LearnedScrew> {
    let turn = Complex64::cis(camera.rotation_rad);
    // where tightening pushes is unknown here
    let weight = |c: &TurnSeen| {
        let push_m2 = settings.push_m2();
        (c.sigma_m * c.sigma_m + push_m2).recip()
    };
    let row = |name: &String| {
        let own: Vec<(&TrialTurn, &TurnSeen)> = trials
            .iter()
            .zip(changes)
            .filter(|(trial, _)| trial.screw == *name)
            .collect();
        let squares: f64 = own.iter().map(|(t, c)| weight(c) * t.turns.powi(2)).sum();
        let sum: Complex64 = own
            .iter()
            .map(|(t, c)| c.coma_unmirrored(camera.mirrored) * turn * t.turns * weight(c))
            .sum();
        (!own.is_empty()).then(|| LearnedScrew {
            name: name.clone(),
            coma_per_turn: Coma::along_axes([sum.re / squares, sum.im / squares])
                .with_sigma(squares.sqrt().recip()),
        })
    };
    assembly
        .screws
        .iter()
        .filter_map(|s| row(&s.name))
        .collect()
}

fn complex(vector: [f64; 2]) -> Complex64 {
    Complex64::new(vector[0], vector[1])
}

/// A vector in frame axes (x + iy) as a camera that does not mirror would show it.
fn unmirrored(vector: Complex64, mirrored: bool) -> Complex64 {
    if mirrored { -vector.conj() } else { vector }
}

#[cfg(test)]
mod tests;
