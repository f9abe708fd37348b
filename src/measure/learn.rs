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

mod fit;
mod laid_over;
mod report;

pub use report::{HoldReport, LearnReport, ScrewReport};

use super::Measurement;
use super::measurement::aligned_modes;
use super::orientation::HoldCase;
use super::settings::LearningSettings;
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::instrument::{Assembly, Hold, Instrument, TurnsError};
use crate::math::Uncertain;
use crate::mechanics::{plane_of, turned};
use crate::pupil::axes_of;
use crate::state::Coma;
use crate::units::{ARCMIN, NM};
use fit::{HoldFit, fit, weighed};
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
    /// What the trials leave open.
    pub flags: Flags,
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
    trials: &[TrialTurn],
    settings: &LearningSettings,
) -> Result<LearnedResponse, LearnError> {
    let assembly = instrument.assembly.as_ref().ok_or(LearnError::NoScrews)?;
    let (trials, changes) = seen_changes(instrument, assembly, trials, settings)?;
    let expected_m = assembly.response.as_ref().map(|r| r.coma_m_per_rad);
    let fits = |changes: &[ComaChange]| {
        [false, true].map(|mirrored| fit(changes, mirrored, expected_m, settings))
    };
    let (trials, changes, left_out) = without_the_odd_one(trials, changes, &fits, settings);
    let typed = &instrument.camera;
    let holds = weighed(fits(&changes), typed, expected_m, settings);
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
        screws: matrix(assembly, &trials, &changes, &best.hold),
        holds: holds.iter().map(|h| h.0).collect(),
        flags: flags.collect(),
    })
}

/// The trials whose change was seen; an error where a trial cannot be meant, or where none was seen.
fn seen_changes(
    instrument: &Instrument,
    assembly: &Assembly,
    trials: &[TrialTurn],
    settings: &LearningSettings,
) -> Result<(Vec<TrialTurn>, Vec<ComaChange>), LearnError> {
    let (mut kept, mut changes, mut unseen) = (Vec::new(), Vec::new(), None);
    for trial in trials {
        match ComaChange::of(instrument, assembly, trial, settings) {
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
    changes: Vec<ComaChange>,
    fits: &impl Fn(&[ComaChange]) -> [HoldFit; 2],
    settings: &LearningSettings,
) -> (Vec<TrialTurn>, Vec<ComaChange>, bool) {
    let spread = |changes: &[ComaChange]| {
        let both = fits(changes).map(|fit| fit.spread(changes.len()));
        both[0].min(both[1])
    };
    let all = spread(&changes);
    if changes.len() < 4 || all <= settings.disagree_factor {
        return (trials, changes, false);
    }
    let without = |odd: usize| -> Vec<ComaChange> {
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

/// What a trial changed, in frame axes.
#[derive(Debug, Clone, Copy)]
struct ComaChange {
    tilt: Complex64,
    coma: Complex64,
    sigma_m: f64,
    shift_px: Complex64,
}

impl ComaChange {
    fn of(
        instrument: &Instrument,
        assembly: &Assembly,
        trial: &TrialTurn,
        settings: &LearningSettings,
    ) -> Result<ComaChange, LearnError> {
        let seen_sigma = settings.change_seen_sigma;
        let turns = turned(assembly, assembly.screw(&trial.screw)?, trial.turns);
        let within = (0.0..=TURNS_AT_MOST).contains(&trial.turns.abs());
        if trial.turns == 0.0 || !within {
            return Err(LearnError::NoTurn {
                screw: trial.screw.clone(),
                turns: trial.turns,
            });
        }
        let (coma, sigma_m) = coma_change(instrument, trial);
        let seen = (seen_sigma * sigma_m..f64::INFINITY).contains(&coma.norm());
        if !seen || coma.norm() == 0.0 {
            return Err(LearnError::NoChange {
                screw: trial.screw.clone(),
                turns: trial.turns,
                change_m: coma.norm(),
                sigma_m,
                seen_sigma,
            });
        }
        Ok(ComaChange {
            tilt: complex(plane_of(assembly, &turns).tilt_rad),
            coma,
            sigma_m: with_the_hand(sigma_m, coma.norm(), trial.turns, settings),
            shift_px: complex((trial.after.star_px - trial.before.star_px).xy()),
        })
    }

    fn weight(&self) -> f64 {
        self.sigma_m.powi(-2)
    }

    /// The coma as an unmirrored camera at the same rotation would have it.
    fn coma_unmirrored(&self, mirrored: bool) -> Complex64 {
        unmirrored(self.coma, mirrored)
    }
}

/// Standard deviation of a change, in either direction, with what a hand and tightening add to that of the frames.
fn with_the_hand(frames_m: f64, change_m: f64, turns: f64, settings: &LearningSettings) -> f64 {
    let hand = settings.hand_share.hypot(settings.hand_turns / turns.abs());
    frames_m
        .hypot(settings.lock_shift_m / 2f64.sqrt())
        .hypot(hand * change_m)
        .max(LEAST_SIGMA_M)
}

/// Change of coma in frame axes, less what the star's way across the field of the aligned telescope explains; and the standard
/// deviation that the frames give it in either direction.
fn coma_change(instrument: &Instrument, trial: &TrialTurn) -> (Complex64, f64) {
    let own = |sighting: &Sighting| {
        let aligned = aligned_modes(instrument, sighting.field_m);
        let coma = sighting.coma.less(&Coma::of(&aligned));
        complex(axes_of(sighting.hold).forward(coma.xy_m()))
    };
    let sigma = |sighting: &Sighting| sighting.coma.sigma_per_axis_m().unwrap_or(f64::INFINITY);
    let (before, after) = (&trial.before, &trial.after);
    (own(after) - own(before), sigma(before).hypot(sigma(after)))
}

/// Image shift per tilt, and what is to be said of it.
fn shift_of(
    changes: &[ComaChange],
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
    changes: &[ComaChange],
    camera: &Hold,
) -> Vec<LearnedScrew> {
    let turn = Complex64::cis(camera.rotation_rad);
    let row = |name: &String| {
        let own: Vec<(&TrialTurn, &ComaChange)> = trials
            .iter()
            .zip(changes)
            .filter(|(trial, _)| trial.screw == *name)
            .collect();
        let squares: f64 = own.iter().map(|(t, c)| c.weight() * t.turns.powi(2)).sum();
        let sum: Complex64 = own
            .iter()
            .map(|(t, c)| c.coma_unmirrored(camera.mirrored) * turn * t.turns * c.weight())
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
