//! The one next step of a night: turns until it is good enough, then the screws tight, the focus, the mask, the corners, and the end.

use super::look::something_in_front;
use super::story::{Change, Story, UnitState};
use crate::diagnosis::Diagnosis;
use crate::instrument::{AssemblyKind, Instrument, fraction};
use crate::measure::{Deed, LearnError, NextStep, SideFrom, Verdict};
use crate::predict::critical_focus_m;
use crate::units::{NM, UM};

/// A step, and its few characters.
#[derive(Debug, Clone, PartialEq)]
pub struct Lead {
    /// The step.
    pub next: NextStep,
    /// The same in a few characters, to be read from across the room and aloud.
    pub big: String,
}

/// What a step is chosen by, beside the frame.
pub(super) struct Told<'a> {
    pub story: &'a Story,
    pub instrument: &'a Instrument,
}

/// Frames of one state after which a longer exposure is asked for instead of another frame.
const FRAMES_BEFORE_LONGER: usize = 4;

/// What to do after a frame.
pub(super) fn lead(
    told: &Told,
    found: &Diagnosis,
    jumped: bool,
    lesson: Option<&LearnError>,
) -> Lead {
    let mut next = match (jumped, found.verdict()) {
        _ if something_in_front(found) => stand_clear(found),
        (true, _) => untold(told),
        (false, Verdict::Stop) if told.story.mask_on == Some(true) => unmasked(told),
        (false, Verdict::Stop) => enough(told, found),
        (false, _) => onwards(told, found),
    };
    if next.deed == Deed::Trial {
        let instead = cards_instead(told).or_else(|| side_instead(told));
        next.words += &instead.unwrap_or_default();
    }
    if matches!(next.deed, Deed::Turn | Deed::Trial) {
        if told.story.worse(told.instrument) == Some(true) {
            next.why = format!("the last turn made it worse; {}", next.why);
        }
        if let Some(error) = lesson {
            next.why = format!("{}; of the turns so far: {error}", next.why);
        }
    }
    let big = match (next.deed, next.focus_um) {
        (Deed::Refocus, Some(um)) if !side_is_known(found) => format!("focus {:.0} um", um.abs()),
        _ => big_line(&next),
    };
    Lead { big, next }
}

/// "B ↻ 1/8": a step in a few characters.
pub fn big_line(next: &NextStep) -> String {
    match (next.deed, &next.screw, next.degrees) {
        (Deed::Turn | Deed::Trial, Some(screw), Some(degrees)) => {
            let way = if degrees < 0 { '↺' } else { '↻' };
            format!("{screw} {way} {}", size(degrees.abs()))
        }
        (Deed::Turn | Deed::Trial, ..) => "turn a little".into(),
        (Deed::Recentre, ..) => "recentre".into(),
        (Deed::Refocus, ..) => match next.focus_um {
            Some(um) if um < 0.0 => format!("focus in {:.0} um", -um),
            Some(um) => format!("focus out {um:.0} um"),
            None => "focus".into(),
        },
        (Deed::Lock, ..) => "tighten".into(),
        (Deed::Wait, ..) => "wait".into(),
        (Deed::Expose, ..) => "longer".into(),
        (Deed::Card, screw, _) => format!("card at {}", screw.as_deref().unwrap_or("a screw")),
        (Deed::ClearBeam, ..) => "stand clear".into(),
        (Deed::MaskOn, ..) => "mask on".into(),
        (Deed::MaskOff, ..) => "mask off".into(),
        (Deed::Corners, ..) => "corners".into(),
        (Deed::Finish | Deed::Stop, ..) => "STOP".into(),
        (Deed::LookAgain, ..) => "again".into(),
    }
}

/// An eighth of a turn and its multiples as a fraction, all else in degrees.
fn size(degrees: i32) -> String {
    match degrees % 45 {
        0 => fraction(f64::from(degrees) / 360.0),
        _ => format!("{degrees}°"),
    }
}

fn stand_clear(found: &Diagnosis) -> NextStep {
    let strip = found.star().and_then(|star| {
        let mut all = star.differs.iter();
        all.find(|difference| difference.what == "strip")
    });
    NextStep::new(
        Deed::ClearBeam,
        "Something is in front: stand clear of the beam, and let the next frame come.",
        strip.map_or_else(
            || "the star has a shadow that the instrument does not have".to_owned(),
            |strip| strip.words.trim_end_matches('.').to_owned(),
        ),
    )
}

/// Coma changed, and nobody said that anything was turned.
fn untold(told: &Told) -> NextStep {
    let now = told.story.now();
    let size = |state: &[super::event::StarSeen]| {
        state.last().map_or(0.0, |star| {
            let [x, y] = star.sighting().in_frame_m(told.instrument);
            x.hypot(y) / NM
        })
    };
    NextStep::new(
        Deed::LookAgain,
        "Was a screw turned? Tell it (night turned B 1/8); if not, say skip, or let another frame come.",
        format!(
            "coma was {:.0} nm in the frames before and is {:.0} nm in this one, and no turn was told",
            size(&now.stars),
            size(&now.jumped)
        ),
    )
}

/// Turns, trials and looks, as the diagnosis has them; while frames are few, another one instead of a longer exposure.
fn onwards(told: &Told, found: &Diagnosis) -> NextStep {
    let next = found.next();
    let frames = told.story.now().stars.len();
    let masked = told.story.mask_on == Some(true);
    if next.deed == Deed::Expose && frames < FRAMES_BEFORE_LONGER && !masked {
        return NextStep {
            time_s: None,
            ..NextStep::new(
                Deed::Wait,
                "Turn nothing yet: let another frame come.",
                next.why,
            )
        };
    }
    next
}

/// What follows a frame that shows a card: another card, or the star without any.
pub(super) fn after_card(told: &Told) -> NextStep {
    let carded = &told.story.cards;
    let screws = told.instrument.assembly.iter().flat_map(|a| &a.screws);
    let fresh = screws
        .map(|screw| &screw.name)
        .find(|name| carded.iter().all(|(other, _)| other != *name));
    match fresh.filter(|_| carded.len() < 2) {
        Some(screw) => NextStep {
            screw: Some(screw.clone()),
            ..NextStep::new(
                Deed::Card,
                format!(
                    "Hold the card over the rim at screw {screw} instead, say card {screw}, and let a frame come."
                ),
                "one card does not tell whether the picture is mirrored",
            )
        },
        None => NextStep::new(
            Deed::ClearBeam,
            "Take the card away, stand clear, and let a frame come.",
            "two cards say how the camera is held",
        ),
    }
}

/// What spares trials: cards over the rim, while nothing was turned and none was held.
fn cards_instead(told: &Told) -> Option<String> {
    let story = told.story;
    let screws = &told.instrument.assembly.as_ref()?.screws;
    let asked = story.round() == 0 && story.cards.is_empty() && screws.len() > 1;
    asked.then(|| {
        format!(
            " Or first hold a card as wide as a hand over the rim at screw {0}, a third of the ring's width into the beam, and say card {0}: two such frames spare turns.",
            screws[0].name
        )
    })
}

/// What else spares the trial once two cards were seen: the side of focus, if somebody knows it.
fn side_instead(told: &Told) -> Option<String> {
    let story = told.story;
    let asked = story.round() == 0 && story.cards.len() == 2 && story.side.is_none();
    asked.then(|| {
        " Or, if you know it, say side inside (the sensor is too near the optics) or side outside, and let a frame come: with the two cards that settles it."
            .into()
    })
}

/// Coma is good enough: tighten, look again, then the focus.
fn enough(told: &Told, found: &Diagnosis) -> NextStep {
    let story = told.story;
    let kind = told.instrument.assembly.as_ref().map(|a| a.kind);
    let why = found.next().why;
    if let Some(kind) = kind.filter(|kind| kind.is_locked())
        && !story.is_locked()
        && !story.skipped
        && has_turned(&story.states)
    {
        return NextStep::new(
            Deed::Lock,
            format!(
                "Good enough. {} Then say locked, and let a frame come: tightening may have moved it.",
                tighten(kind)
            ),
            why,
        );
    }
    match story.offset_um() {
        Some(offset_um) if story.focused == 0 => focus(told, found, offset_um, &why),
        Some(offset_um) if offset_um.abs() * UM > still_a_ring_m(told.instrument) => {
            match story.offset_before_um() {
                Some(before_um) if offset_um.abs() > GROWN * before_um.abs() => {
                    grown(offset_um, &why)
                }
                _ => focus(told, found, offset_um, &why),
            }
        }
        _ => in_focus(told),
    }
}

/// A ring that is so much larger than before the focus was moved has grown, whatever the frames' noise.
const GROWN: f64 = 1.1;

/// Farther from focus than this a star is no point: W at the edge is half a wave off, twice the critical focus.
fn still_a_ring_m(instrument: &Instrument) -> f64 {
    const GREEN_M: f64 = 550e-9;
    2.0 * critical_focus_m(GREEN_M, instrument.telescope.focal_ratio())
}

/// The ring has grown: the sensor is on the other side of focus than was believed, and as far as the ring says.
fn grown(offset_um: f64, why: &str) -> NextStep {
    let way = if offset_um > 0.0 {
        "outwards"
    } else {
        "inwards"
    };
    NextStep {
        focus_um: Some(offset_um),
        ..NextStep::new(
            Deed::Refocus,
            format!(
                "The ring has grown: it is the other way. Focus: move the sensor {:.0} um {way}. Then say focused.",
                offset_um.abs()
            ),
            format!("{why}; the frame was taken on the other side of focus than was believed"),
        )
    }
}

/// The way back to focus: how far the ring tells, which way only where the side is known.
fn focus(told: &Told, found: &Diagnosis, offset_um: f64, why: &str) -> NextStep {
    let way = match (side_is_known(found), offset_um > 0.0) {
        (true, true) => "inwards",
        (true, false) => "outwards",
        (false, _) => {
            "the way that makes the ring smaller; if it grows, turn back and go the other way"
        }
    };
    let side = match found.star().and_then(|star| star.side) {
        Some((_, SideFrom::Vanes)) => "and its shadows say on which side",
        Some((_, SideFrom::Told)) => "and on which side is as it was told",
        _ => "but not on which side",
    };
    let steps = told.story.um_per_step().map_or(String::new(), |um| {
        format!(" (about {:.0} steps of the motor)", (offset_um / um).abs())
    });
    NextStep {
        focus_um: Some(-offset_um),
        ..NextStep::new(
            Deed::Refocus,
            format!(
                "The screws are right: touch them no more. Focus: move the sensor {:.0} um{steps} {way}. Then say focused.",
                offset_um.abs(),
            ),
            format!("{why}; the ring says how far it is, {side}"),
        )
    }
}

/// Whether it was told or seen on which side of focus the frame was taken.
fn side_is_known(found: &Diagnosis) -> bool {
    let side = found.star().and_then(|star| star.side);
    side.is_some_and(|(_, from)| from != SideFrom::Assumed)
}

/// Whether anything was turned at all.
fn has_turned(states: &[UnitState]) -> bool {
    states
        .iter()
        .any(|state| matches!(state.by, Change::Turn(_) | Change::Untold))
}

/// The order in which the screws are made tight.
fn tighten(kind: AssemblyKind) -> &'static str {
    match kind {
        AssemblyKind::LockNut => {
            "Hold each screw with its wrench and bring its nut home gently, a little at each in turn."
        }
        AssemblyKind::Pivot => "Bring each screw home gently, a little at each in turn.",
        _ => {
            "Bring each pair home gently, pull screws a little at each in turn; force none, and take none right out: they hold the camera."
        }
    }
}

/// The star is a point: the mask where there is one, else the end.
pub(super) fn in_focus(told: &Told) -> NextStep {
    match told.instrument.mask.is_some() && told.story.mask_on.is_none() {
        true => NextStep::new(
            Deed::MaskOn,
            "Put the mask on: tether it, its slit over the cable, its letters at the screws; nobody's hands or ladder at the tube while the mount moves. Then say mask on.",
            "the screws are right by the ring, and the mask tells the focus and coma more sharply",
        ),
        false => the_end(),
    }
}

/// With the mask on, all is right.
fn unmasked(told: &Told) -> NextStep {
    let now = told.story.now();
    let offset_um = now.masked.last().and_then(|star| star.offset_um);
    let focus = offset_um.map_or(String::new(), |um| {
        format!("; focus is right to {:.0} um", um.abs().max(1.0))
    });
    NextStep::new(
        Deed::MaskOff,
        "All three close. Take the mask off before the mount moves, count wrench, mask and cap, and look at the corners. Then say mask off.",
        format!("the spikes say that what is left is not worth a turn{focus}"),
    )
}

fn the_end() -> NextStep {
    NextStep::new(
        Deed::Stop,
        "Stop here: screws tight, star in focus. Write the temperature down, count wrench, mask and cap before the mount moves, and look again after it turns over.",
        "nothing that is left is worth a turn",
    )
}
