//! What was seen, in words, and the next step that follows from it.
//!
//! The coach is as blind as whoever practises: it reasons from the sights and wrench turns so far and from the owner's own
//! numbers, never from what is hidden. A sight is linear in the tilt (the dark centre goes by the coma, a spike by the
//! slope), so two or three numbers give the tilt; the screw that is farthest out comes first, in steps of five degrees of the wrench.

use super::level::Level;
use super::orientation::moves;
use super::reckon::estimate;
use super::session::{Round, Session, focus_goal_m};
use super::sight::SightShape;
use crate::axes::FramePx;
use crate::frame::hour;
use crate::instrument::{Assembly, Instrument, WRENCH_STEP_DEG, end, turn_in_words, way};
use crate::math::robust::median;
use crate::measure::settings::AdviceSettings;
use crate::measure::{Deed, NextStep};
use crate::mechanics::{Plane, turns_for};
use crate::simulate::clock;
use crate::state::ScrewTurns;
use crate::units::{ARCMIN, DEG, UM};

/// What to do next.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    /// Turn a screw.
    Turn {
        /// Its name.
        screw: String,
        /// Clockwise facing the head, in turns.
        clockwise_turns: f64,
        /// Whether it is only to see which way the star goes.
        trial: bool,
    },
    /// Move the focuser outwards.
    Focus {
        /// By this much.
        outward_um: f64,
    },
    /// Bring the star back to the middle.
    Recentre,
    /// Nothing is left to do.
    Finish,
}

/// Words after a look.
#[derive(Debug, Clone, PartialEq)]
pub struct Suggestion {
    /// What is seen.
    pub seen: String,
    /// What it means from the front of the telescope, where it is known how the camera is turned.
    pub means: Option<String>,
    /// Azimuth of the raised edge as seen from the front, where it is known.
    pub raised_front_deg: Option<f64>,
    /// The next step.
    pub step: Step,
}

impl Suggestion {
    /// Advice on the latest look of a session.
    pub fn new(session: &Session) -> Option<Suggestion> {
        let assembly = session.owner().assembly.as_ref()?;
        let latest = session.rounds().last()?;
        let tilt = estimate(session, assembly);
        // what an earlier look told is not said of this one
        let told = tilt.filter(|_| !latest.sight.shape.numbers().is_empty());
        Some(Suggestion {
            seen: seen_words(&latest.sight.shape),
            means: told.and_then(|t| means_words(session.owner(), t)),
            raised_front_deg: told.and_then(|t| raised_front_deg(session.owner(), t)),
            step: step(session, assembly, latest, tilt),
        })
    }

    /// The step for programs, as a measurement's `next`: turns positive lengthen, degrees are the wrench's in fives.
    pub fn next(&self, owner: &Instrument) -> NextStep {
        let words = owner
            .assembly
            .as_ref()
            .map_or(String::new(), |a| step_words(&self.step, a));
        let plain = |deed| NextStep::new(deed, words.clone(), self.seen.clone());
        match &self.step {
            Step::Turn {
                screw,
                clockwise_turns,
                trial,
            } => {
                let deed = if *trial { Deed::Trial } else { Deed::Turn };
                let turned = owner.assembly.as_ref().and_then(|assembly| {
                    let turns = assembly.clockwise.sign() * clockwise_turns;
                    let number = assembly.screw(screw).ok()?;
                    let settings = AdviceSettings::default();
                    NextStep::of_screw(deed, owner, number, turns, &settings, &self.seen)
                });
                turned.unwrap_or_else(|| plain(deed))
            }
            Step::Focus { outward_um } => NextStep {
                focus_um: Some(*outward_um),
                ..plain(Deed::Refocus)
            },
            Step::Recentre => plain(Deed::Recentre),
            Step::Finish => plain(Deed::Finish),
        }
    }

    /// All of it, one line a thought; the last line starts with "Try:".
    pub fn words(&self, assembly: &Assembly) -> String {
        let mut lines = vec![self.seen.clone()];
        lines.extend(self.means.clone());
        lines.push(step_words(&self.step, assembly));
        lines.join("\n")
    }
}

/// Steps of the wrench that are advised, a turn: five degrees each.
const WRENCH_PARTS: f64 = 360.0 / WRENCH_STEP_DEG as f64;
/// A trial turn.
pub(super) const TRIAL_TURNS: f64 = 2.0 / WRENCH_PARTS;

fn step(session: &Session, assembly: &Assembly, latest: &Round, tilt: Option<[f64; 2]>) -> Step {
    if let Some(step) = into_the_frame(session.owner(), latest) {
        return step;
    }
    let Some(tilt_rad) = tilt else {
        return spread(session, latest).unwrap_or_else(|| trial(session, assembly));
    };
    let coma_per_rad = assembly.response.as_ref().map_or(0.0, |r| r.coma_m_per_rad);
    let coma_m = (coma_per_rad * tilt_rad[0].hypot(tilt_rad[1])).abs();
    if coma_m <= 0.7 * session.goal_coma_m() {
        return focus_or_finish(session, latest);
    }
    let wanted = wanted_turns(assembly, tilt_rad);
    let (index, turns) = farthest(&wanted);
    let play = play_to_add(session, index, turns, assembly);
    let parts = (turns.abs() * WRENCH_PARTS).round().max(1.0) + (play * WRENCH_PARTS).ceil();
    let size = (parts / WRENCH_PARTS).min(0.25 + play);
    turn_step(assembly, index, size.copysign(turns), false)
}

/// Turns that take a tilt away with the least turning: the piston is free, so the middle one of the screws may stay as it is.
pub(super) fn wanted_turns(assembly: &Assembly, tilt_rad: [f64; 2]) -> ScrewTurns {
    let plane = Plane {
        piston_m: 0.0,
        tilt_rad: tilt_rad.map(|t| -t),
    };
    let turns = turns_for(assembly, &plane);
    let middle = median(&mut turns.to_vec());
    turns.map(|t| t - middle)
}

fn farthest(turns: &[f64]) -> (usize, f64) {
    let mut found = (0, 0.0);
    for (index, turn) in turns.iter().enumerate() {
        if turn.abs() > f64::abs(found.1) {
            found = (index, *turn);
        }
    }
    found
}

/// The play is lost when a screw is turned the other way than the last time.
fn play_to_add(session: &Session, index: usize, turns: f64, assembly: &Assembly) -> f64 {
    let last = moves(session)
        .into_iter()
        .rev()
        .map(|m| m.wrench[index])
        .find(|w| *w != 0.0);
    match last {
        Some(before) if before * turns < 0.0 => assembly.backlash_turns,
        _ => 0.0,
    }
}

fn turn_step(assembly: &Assembly, index: usize, turns: f64, trial: bool) -> Step {
    Step::Turn {
        screw: assembly.screws[index].name.clone(),
        clockwise_turns: assembly.clockwise.sign() * turns,
        trial,
    }
}

/// What spreads a star again that is too near to focus to tell anything; `None` where it is spread.
fn spread(session: &Session, latest: &Round) -> Option<Step> {
    let SightShape::Spot {
        diameter_px,
        inside,
    } = latest.sight.shape
    else {
        return None;
    };
    let owner = session.owner();
    let half_px = 0.5 * owner.camera.width_px.min(owner.camera.height_px) as f64;
    let wider_px = 2.0 * WELL_INSIDE * half_px - diameter_px;
    let further_um = (wider_px * owner.camera.pixel_m * owner.telescope.focal_ratio() / UM).round();
    Some(Step::Focus {
        outward_um: if inside { -further_um } else { further_um },
    })
}

/// A screw that was not tried yet.
fn trial(session: &Session, assembly: &Assembly) -> Step {
    let tried = moves(session);
    let untried = (0..assembly.screws.len())
        .find(|index| tried.iter().all(|m| m.wrench[*index] == 0.0))
        .unwrap_or(0);
    turn_step(assembly, untried, TRIAL_TURNS, true)
}

/// A ring that is larger than this part of the frame is brought nearer to focus: no pointing brings it into the frame …
const FITS: f64 = 0.95;
/// … to this part of it.
const WELL_INSIDE: f64 = 0.7;

/// What brings a star into the frame that is cut off, or may be soon; `None` where it is whole.
fn into_the_frame(owner: &Instrument, latest: &Round) -> Option<Step> {
    let camera = &owner.camera;
    let half_px = 0.5 * camera.width_px.min(camera.height_px) as f64;
    let shape = &latest.sight.shape;
    let (radius_px, inside) = match (shape.spread(), shape) {
        (Some((diameter_px, inside)), _) => (0.5 * diameter_px, Some(inside)),
        (None, SightShape::Gone) => return Some(Step::Recentre),
        (None, _) => (0.5 * half_px, None),
    };
    let [x, y] = latest.sight.aside_px.xy();
    if x.abs().max(y.abs()) + radius_px <= half_px {
        return None;
    }
    let Some(inside) = inside.filter(|_| radius_px > FITS * half_px) else {
        return Some(Step::Recentre);
    };
    let nearer_px = 2.0 * (radius_px - WELL_INSIDE * half_px);
    let nearer_um = (nearer_px * camera.pixel_m * owner.telescope.focal_ratio() / UM).round();
    Some(Step::Focus {
        outward_um: if inside { nearer_um } else { -nearer_um },
    })
}

fn focus_or_finish(session: &Session, latest: &Round) -> Step {
    if session.level() != Level::ThreeWithFocus {
        return Step::Finish;
    }
    let Some((diameter_px, inside)) = latest.sight.shape.spread() else {
        return Step::Finish;
    };
    let owner = session.owner();
    let offset_m = diameter_px * owner.camera.pixel_m * owner.telescope.focal_ratio();
    if offset_m <= 0.7 * focus_goal_m(owner) {
        return Step::Finish;
    }
    let outward_um = (offset_m / UM).round();
    Step::Focus {
        outward_um: if inside { outward_um } else { -outward_um },
    }
}

fn seen_words(shape: &SightShape) -> String {
    match shape {
        SightShape::Doughnut {
            shift_px,
            diameter_px,
            inside,
            ..
        } => {
            let side = if *inside { "inside" } else { "outside" };
            let moved = shift_px.length();
            let place = if moved < 0.1 {
                "Its dark centre is in the middle.".to_owned()
            } else {
                format!(
                    "Its dark centre is {moved:.1} px off towards {}: the ring is thin there.",
                    clock(*shift_px)
                )
            };
            format!("Seen: a doughnut {diameter_px:.0} px across, {side} focus. {place}")
        }
        SightShape::Spikes {
            shifts_px,
            along,
            splits_px,
        } => {
            let one = |(shift, direction): (&f64, &FramePx)| {
                let name = format!("slots towards {}:", clock(*direction));
                if shift.abs() < 0.1 {
                    return format!("{name} through the crossing");
                }
                let way = clock(*direction * shift.signum());
                format!("{name} {:.1} px off towards {way}", shift.abs())
            };
            let all: Vec<String> = shifts_px.iter().zip(along).map(one).collect();
            let split = splits_px.iter().fold(0.0f64, |most, s| most.max(s.abs()));
            let focus = if split < VISIBLE_SPLIT_PX {
                String::new()
            } else {
                format!(
                    " The middle spikes are double, {split:.1} px apart: the star is out of focus."
                )
            };
            format!(
                "Seen: a star behind the mask. In each group of three spikes, the middle one against the point where the other two cross: {}.{focus}",
                all.join("; ")
            )
        }
        SightShape::Spot {
            diameter_px,
            inside,
        } => {
            let side = if *inside { "inside" } else { "outside" };
            let size = if *diameter_px < 1.0 {
                "a point in focus".to_owned()
            } else {
                format!("a small star, about {diameter_px:.0} px across, {side} focus")
            };
            format!("Seen: {size}. There is no dark centre to judge by.")
        }
        SightShape::Gone => "Seen: no star in the frame.".into(),
    }
}

/// A spike that is split by less looks like one.
const VISIBLE_SPLIT_PX: f64 = 0.3;
/// Tilts below this cannot be seen.
const VISIBLE_ARCMIN: f64 = 0.05;

/// Azimuth of the raised edge as somebody in front sees it; `None` for a tilt too small to see.
fn raised_front_deg(owner: &Instrument, tilt_rad: [f64; 2]) -> Option<f64> {
    let azimuth_rad = libm::atan2(tilt_rad[1], tilt_rad[0]);
    let visible = tilt_rad[0].hypot(tilt_rad[1]) >= VISIBLE_ARCMIN * ARCMIN;
    visible.then(|| owner.telescope.front_rad(azimuth_rad) / DEG)
}

fn means_words(owner: &Instrument, tilt_rad: [f64; 2]) -> Option<String> {
    let front_deg = raised_front_deg(owner, tilt_rad)?;
    let hour = hour(front_deg);
    let tilt_arcmin = tilt_rad[0].hypot(tilt_rad[1]) / ARCMIN;
    Some(format!(
        "So the unit is tipped: seen from the front of the telescope its edge at {hour} o'clock stands too far out, by about {tilt_arcmin:.1} arcmin (sixtieths of a degree)."
    ))
}

/// The step as a line that starts with "Try:".
fn step_words(step: &Step, assembly: &Assembly) -> String {
    match step {
        Step::Turn {
            screw,
            clockwise_turns,
            trial,
        } => {
            let way = way(*clockwise_turns);
            let end = end(assembly.clockwise.sign() * clockwise_turns);
            let why = if *trial {
                " for a trial, and watch which way the dark centre goes".to_owned()
            } else {
                let first = match assembly.kind.gives_way() {
                    Some("others") => "; loosen the others first".to_owned(),
                    Some(partner) => format!("; loosen its {partner} first"),
                    None => String::new(),
                };
                format!(", which {end} it{first}")
            };
            format!(
                "Try: turn screw {screw} {way} by {}{why}.",
                turn_in_words(*clockwise_turns)
            )
        }
        Step::Focus { outward_um } if *outward_um < 0.0 => {
            format!("Try: focus inwards by {:.0} um.", -outward_um)
        }
        Step::Focus { outward_um } => format!("Try: focus outwards by {outward_um:.0} um."),
        Step::Recentre => "Try: recentre the star, before the frame cuts it.".into(),
        Step::Finish => "Try: finish. What is left does not show in a picture.".into(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::plane_of;

    #[test]
    fn the_middle_screw_may_stay() {
        let assembly = crate::testing::fast_unit().assembly.unwrap();
        let turns = ScrewTurns::named(&assembly, [("B", 0.1)]).unwrap();
        let plane = plane_of(&assembly, &turns);
        let wanted = wanted_turns(&assembly, plane.tilt_rad);
        assert!((wanted[1] + 0.1).abs() < 1e-12, "{wanted:?}");
        assert!(wanted[0].abs() < 1e-12 && wanted[2].abs() < 1e-12);
    }
}
