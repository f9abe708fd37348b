//! From trial turns to what a tilt of the unit does to the star, and to how the camera sits.
//!
//! A trial is a star measured before and after the turn of one screw. A turn tilts the unit by a known t; the coma in *frame*
//! axes then changes by M·R(−rotation)·k·t, with M the camera's mirroring. What was measured is in pupil axes of the camera as it
//! was typed, so it is turned back into frame axes first, and a camera that was typed wrong does no harm. As complex numbers:
//! change = k·exp(−i·rotation)·t where the camera is not mirrored, and −conj(change) in its place where it is.
//!
//! What the trials leave open is said, not guessed:
//! - One screw (or two in one line with the centre) fits both mirror images exactly: `mirror_open`, and the mirroring stays as typed.
//! - The sign of k and a half turn of the camera cannot be told apart. The rotation nearest to the typed one is taken
//!   (`half_turn_open` where that is a close call). Turns of screws that take coma away do not depend on it; shadows of vanes,
//!   masks and the azimuths that are reported do.
//! - Piston changes focus, which is not learned.
//!
//! Frames that were taken with vanes or a mask and a badly typed rotation fit poorly; doughnuts of a round pupil do not care.

use super::Measurement;
use super::measurement::aligned_modes;
use super::settings::LearningSettings;
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::instrument::{Assembly, Instrument, Response, TurnsError};
use crate::math::Uncertain;
use crate::mechanics::{plane_of, turned};
use crate::pupil::frame_axes;
use crate::state::Coma;
use crate::units::{ARCMIN, NM};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};
use thiserror::Error;

/// What a trial needs of a measured star.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sighting {
    /// Its coma, in pupil axes of the camera as typed. Where it is not determined, nothing is learned from it.
    pub coma: Coma,
    /// Place of the star, frame pixels.
    pub star_px: FramePx,
    /// Its place in the field, pupil axes of the camera as typed.
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
    /// Azimuth of the sensor's columns in pupil axes, −π to π.
    pub rotation_rad: Uncertain,
    /// Whether the columns are flipped.
    pub mirrored: bool,
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
        "the trials contradict one another: together they say that an arcminute of tilt makes {:.0} nm of coma, give or take {:.0} nm",
        coma_m_per_rad * ARCMIN / NM,
        sigma_m_per_rad * ARCMIN / NM
    )]
    Contradiction {
        /// Coma per tilt that fits them best.
        coma_m_per_rad: f64,
        /// Its standard deviation.
        sigma_m_per_rad: f64,
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
            star_px: measurement.star_px,
            field_m: measurement.field_m,
        })
    }
}

/// Learns from trials.
///
/// Errors of trials that share a frame are taken as independent. A turn that was made less exactly than the frames were
/// measured shows, from two trials on, in `trials_disagree` and in every sigma.
///
/// # Errors
/// [`LearnError`] where there is nothing to learn from, for a turn whose effect is not seen, and for trials that contradict one another.
///
/// # Accuracy
/// `tests/cli/learning.rs` learns from simulated frames of a camera that is turned and mirrored.
pub fn learn(
    instrument: &Instrument,
    trials: &[TrialTurn],
    settings: &LearningSettings,
) -> Result<LearnedResponse, LearnError> {
    let assembly = instrument.assembly.as_ref().ok_or(LearnError::NoScrews)?;
    let changes = trials
        .iter()
        .map(|trial| ComaChange::of(instrument, assembly, trial, settings.change_seen_sigma))
        .collect::<Result<Vec<_>, _>>()?;
    if changes.is_empty() {
        return Err(LearnError::NoTrial);
    }
    let typed = &instrument.camera;
    let (fit, mirror_open) = choose(&changes, typed.mirrored, settings.mirror_chi_square);
    let (size, rotation_rad) = nearest_rotation(fit.product, typed.rotation_rad);
    let spread = fit.spread(changes.len());
    let camera = CameraHold {
        rotation_rad,
        mirrored: fit.mirrored,
    };
    let shift = shift_of(&changes, &camera, typed.pixel_m, settings);
    let (image_shift_m_per_rad, shift_flag) = shift;
    let far = wrapped(rotation_rad - typed.rotation_rad).abs() > settings.half_turn_clear_rad;
    let told = [
        (mirror_open, Flag::MirrorOpen),
        (far, Flag::HalfTurnOpen),
        (spread > settings.disagree_factor, Flag::TrialsDisagree),
    ];
    let flags = told
        .into_iter()
        .filter(|t| t.0)
        .map(|t| t.1)
        .chain(shift_flag);
    let sigma = fit.sigma * spread.max(1.0);
    if sigma > settings.contradiction_share * size.abs() {
        return Err(LearnError::Contradiction {
            coma_m_per_rad: size,
            sigma_m_per_rad: sigma,
        });
    }
    Ok(LearnedResponse {
        coma_m_per_rad: Uncertain {
            value: size,
            sigma: Some(sigma),
        },
        image_shift_m_per_rad,
        rotation_rad: Uncertain {
            value: rotation_rad,
            sigma: Some(sigma / size.abs()),
        },
        mirrored: fit.mirrored,
        screws: matrix(assembly, trials, &changes, &camera),
        flags: flags.collect(),
    })
}

/// What a trial changed, in frame axes.
struct ComaChange {
    tilt: Complex64,
    coma: Complex64,
    sigma_m: f64,
    shift_px: Complex64,
}

/// How a camera sits.
struct CameraHold {
    rotation_rad: f64,
    mirrored: bool,
}

/// The best product k·exp(−i·rotation) for one of the mirror images.
struct HoldFit {
    mirrored: bool,
    product: Complex64,
    sigma: f64,
    chi_square: f64,
}

impl ComaChange {
    fn of(
        instrument: &Instrument,
        assembly: &Assembly,
        trial: &TrialTurn,
        seen_sigma: f64,
    ) -> Result<ComaChange, LearnError> {
        let turns = turned(assembly, assembly.screw(&trial.screw)?, trial.turns);
        let within = (0.0..=TURNS_AT_MOST).contains(&trial.turns.abs());
        if trial.turns == 0.0 || !within {
            return Err(LearnError::NoTurn {
                screw: trial.screw.clone(),
                turns: trial.turns,
            });
        }
        let change = coma_change(instrument, trial);
        let coma = complex(frame_axes(instrument).forward(change.xy_m()));
        let sigma_m = change.sigma_per_axis_m().unwrap_or(f64::INFINITY);
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
            sigma_m: sigma_m.max(LEAST_SIGMA_M),
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

/// Change of coma, less what the star's way across the field of the aligned telescope explains.
fn coma_change(instrument: &Instrument, trial: &TrialTurn) -> Coma {
    let own = |sighting: &Sighting| {
        let aligned = aligned_modes(instrument, sighting.field_m);
        sighting.coma.less(&Coma::of(&aligned))
    };
    own(&trial.after).less(&own(&trial.before))
}

/// The better of the two fits, camera mirrored or not, and whether the other one is nearly as good; then the typed one is taken. `clear`
/// is by how much χ² must differ, in units of the better one's spread.
fn choose(changes: &[ComaChange], typed_mirrored: bool, clear: f64) -> (HoldFit, bool) {
    let (as_typed, other) = (fit(changes, typed_mirrored), fit(changes, !typed_mirrored));
    let better = as_typed.chi_square.min(other.chi_square);
    let freedom = freedom(changes.len()).max(1) as f64;
    let scale = (better / freedom).max(1.0);
    let lead = as_typed.chi_square - other.chi_square;
    if lead.abs() <= clear * scale {
        (as_typed, true)
    } else if lead > 0.0 {
        (other, false)
    } else {
        (as_typed, false)
    }
}

fn fit(changes: &[ComaChange], mirrored: bool) -> HoldFit {
    let sum_of_squares: f64 = changes.iter().map(|c| c.weight() * c.tilt.norm_sqr()).sum();
    let product = changes
        .iter()
        .map(|c| c.coma_unmirrored(mirrored) * c.tilt.conj() * c.weight())
        .sum::<Complex64>()
        / sum_of_squares;
    let rest = |c: &ComaChange| (c.coma_unmirrored(mirrored) - product * c.tilt).norm_sqr();
    HoldFit {
        mirrored,
        product,
        sigma: sum_of_squares.sqrt().recip(),
        chi_square: changes.iter().map(|c| c.weight() * rest(c)).sum(),
    }
}

impl HoldFit {
    /// How many times farther the trials lie from the fit than their frames explain; 0 where nothing tells.
    fn spread(&self, trials: usize) -> f64 {
        match freedom(trials) {
            0 => 0.0,
            freedom => (self.chi_square / freedom as f64).sqrt(),
        }
    }
}

/// Degrees of freedom: two components of coma a trial, less the two of the product that is fitted.
fn freedom(trials: usize) -> usize {
    2 * trials - 2
}

/// The response k and the camera's rotation from their product k·exp(−i·rotation): of the two that make it, the rotation nearest to
/// the typed one, radians.
fn nearest_rotation(product: Complex64, typed_rad: f64) -> (f64, f64) {
    let (size, rotation) = (product.norm(), -libm::atan2(product.im, product.re));
    if wrapped(rotation - typed_rad).abs() <= PI / 2.0 {
        (size, wrapped(rotation))
    } else {
        (-size, wrapped(rotation + PI))
    }
}

/// An angle between −π and π.
fn wrapped(angle_rad: f64) -> f64 {
    angle_rad - TAU * (angle_rad / TAU).round()
}

/// Image shift per tilt, and what is to be said of it.
fn shift_of(
    changes: &[ComaChange],
    camera: &CameraHold,
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
    camera: &CameraHold,
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

impl LearnedResponse {
    /// Lays what was learned over what was typed. Returns what is still open: what the trials left so ([`Flag::ResponseMirrorOpen`]:
    /// then no turns should be advised, [`NoAdvice::MirrorOpen`](super::NoAdvice::MirrorOpen)), and, where no response had been
    /// typed, what the advice cannot tell ([`Flag::FocusResponseUnknown`], [`Flag::ImageShiftUnknown`]).
    ///
    /// # Errors
    /// [`LearnError::NoScrews`] and [`LearnError::UnknownScrew`] where it was learned on another assembly.
    pub fn apply(&self, instrument: &mut Instrument) -> Result<Flags, LearnError> {
        let assembly = instrument.assembly.as_mut().ok_or(LearnError::NoScrews)?;
        for screw in &self.screws {
            assembly.screw(&screw.name)?;
        }
        let shift = self.image_shift_m_per_rad.map(|s| s.value);
        let mut lacking = self.open();
        match &mut assembly.response {
            Some(response) => {
                response.coma_m_per_rad = self.coma_m_per_rad.value;
                if let Some(shift) = shift {
                    response.image_shift_m_per_rad = shift;
                }
            }
            none => {
                lacking.raise(Flag::FocusResponseUnknown);
                if shift.is_none() {
                    lacking.raise(Flag::ImageShiftUnknown);
                }
                *none = Some(Response {
                    coma_m_per_rad: self.coma_m_per_rad.value,
                    astigmatism_m_per_rad2: 0.0,
                    astigmatism_m_per_rad_m: 0.0,
                    image_shift_m_per_rad: shift.unwrap_or(0.0),
                    focus_m_per_m: 0.0,
                    sensor_tilt_per_tilt: 0.0,
                });
            }
        }
        instrument.camera.rotation_rad = self.rotation_rad.value;
        instrument.camera.mirrored = self.mirrored;
        Ok(lacking)
    }

    /// What the trials left open, as flags of a measurement.
    fn open(&self) -> Flags {
        [
            (Flag::MirrorOpen, Flag::ResponseMirrorOpen),
            (Flag::HalfTurnOpen, Flag::ResponseHalfTurnOpen),
            (Flag::TrialsDisagree, Flag::ResponseTrialsDisagree),
        ]
        .into_iter()
        .filter(|(learned, _)| self.flags.has(*learned))
        .map(|(_, of_measurement)| of_measurement)
        .collect()
    }
}

#[cfg(test)]
mod tests;
