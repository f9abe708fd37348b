//! How a night stands, for whoever looks at it from a page: the step that is asked for or the frame that is waited for, the star, coma against
//! rounds, and whether hands are at the telescope.

use super::cut::StarCut;
use super::event::{Event, Happening, Instant};
use super::lead::big_line;
use super::look::{Looked, Night, NightReport};
use super::page::sentence;
use super::story::{PathPoint, standing};
use super::words::told;
use crate::measure::{Deed, NextStep, Side, StarDrawing};
use crate::mechanics::{FrontScrew, front_screws};
use serde::Serialize;
use std::collections::BTreeMap;

/// The last frame that came: what it showed, and its star.
#[derive(Debug, Clone, Default)]
pub struct LastFrame {
    /// The report of the last frame that was measured.
    pub report: Option<NightReport>,
    /// Its star.
    pub star: Option<StarCut>,
    /// Why a frame after it was not used.
    pub skipped: Option<String>,
    /// What is next by that frame, where it says it.
    pub next: Option<NextStep>,
    /// The file that says so.
    pub next_from: String,
    /// Grows with every frame.
    pub number: usize,
}

/// What is waited for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Awaited {
    /// Hands: the step that is asked for.
    Step,
    /// The camera: a frame.
    Frame,
}

/// What is to be heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// Coma became less.
    Better,
    /// Coma grew.
    Worse,
    /// Touch the screws no more.
    Stop,
}

/// How a night stands.
#[derive(Debug, Clone, Serialize)]
pub struct Board {
    /// Another text whenever anything has changed.
    pub stamp: String,
    /// Number of turns told so far.
    pub round: usize,
    /// What is waited for.
    pub awaits: Awaited,
    /// The big line: a few characters, to be read from across the room.
    pub big: String,
    /// The same in a sentence.
    pub words: String,
    /// Why.
    pub why: String,
    /// What the hands do, in their order.
    pub hands: Option<String>,
    /// What kind of step is asked for; `None` while a frame is waited for.
    #[serde(rename = "do")]
    pub deed: Option<Deed>,
    /// The screw that it is about.
    pub screw: Option<String>,
    /// How far, degrees of the wrench, clockwise facing the head of the screw.
    pub degrees: Option<i32>,
    /// Whether "done" would tell something.
    pub can_be_done: bool,
    /// Whether something is being turned, shaded or masked: the mount must not move.
    pub hands_in: bool,
    /// What the last frame sounds like.
    pub tone: Option<Tone>,
    /// The verdict of the last frame.
    pub verdict: Option<&'static str>,
    /// Whether the last frame can be acted on.
    pub sound: Option<bool>,
    /// The last frame that was measured.
    pub file: Option<String>,
    /// Why a frame after it was not used.
    pub skipped: Option<String>,
    /// How many frames show the unit as it is.
    pub frames: usize,
    /// Coma of each state of the unit, nm RMS.
    pub path: Vec<PathPoint>,
    /// What is drawn over the star of the last frame.
    pub star: Option<StarDrawing>,
    /// The screws from the front.
    pub screws: Vec<FrontScrew>,
    /// How far the dark centre goes by an eighth of a turn of a screw, clockwise facing its head, frame pixels.
    pub arrows: BTreeMap<String, [f64; 2]>,
    /// Whether the instrument has a mask.
    pub mask: bool,
    /// Whether it is on, where it was told.
    pub mask_on: Option<bool>,
    /// The side of focus that was told.
    pub side: Option<Side>,
    /// Screws that cannot be turned.
    pub barred: Vec<String>,
    /// Seconds until nothing swings any more after the last change.
    pub settles_in_s: f64,
    /// What was told and seen last, the newest last.
    pub lines: Vec<String>,
}

/// So many lines of what happened are shown.
const LINES: usize = 8;
/// Where the page does not know the last frame.
const ELSEWHERE: &str = "The last frame was looked at in another window, or before this page was served. Let a frame come: it tells what is next.";
/// Where no frame came yet.
const FIRST: &str = "Spread a star to a ring of 40 to 120 pixels, in the middle of the frame, and let a frame come.";

impl Board {
    /// How a night stands at a moment.
    pub fn of(night: &Night, last: &LastFrame, at: Instant) -> Board {
        let story = night.story();
        let stands = standing(night.events());
        let report = last.report.as_ref();
        let since = told_since_frame(&stands, last.next.is_some());
        let asked = step_asked(night, last);
        let settled_s = story.last_change.map_or(0.0, Instant::seconds) + night.head().settle_s;
        let (big, words, why) = match (asked, since) {
            (Some(next), _) => (big_of(last, next), next.words.clone(), next.why.clone()),
            (None, Some(event)) => (
                "frame".to_owned(),
                format!("{} Let a frame come.", told(&event.what, night)),
                "the frame after a change tells what it did".to_owned(),
            ),
            (None, None) => {
                let words = match newest_seen(&stands, false) {
                    Some(_) => ELSEWHERE,
                    None => FIRST,
                };
                ("frame".to_owned(), words.to_owned(), String::new())
            }
        };
        Board {
            stamp: format!("{}-{}", night.events().len(), last.number),
            round: story.round(),
            awaits: match asked.is_some_and(|next| as_asked(next).is_some()) {
                true => Awaited::Step,
                false => Awaited::Frame,
            },
            big,
            words,
            why,
            hands: asked.and_then(|next| next.hands.clone()),
            deed: asked.map(|next| next.deed),
            screw: asked.and_then(|next| next.screw.clone()),
            degrees: asked.and_then(|next| next.degrees),
            can_be_done: asked.is_some_and(|next| as_asked(next).is_some()),
            hands_in: story.mask_on == Some(true)
                || story.card_at.is_some()
                || asked.is_some_and(|next| hands_at_the_unit(next.deed)),
            tone: match (&last.next, &last.skipped) {
                (Some(next), _) => tone(next.deed, None),
                // a frame that was not used sounds like nothing
                (None, Some(_)) => None,
                (None, None) => {
                    report.and_then(|report| tone(report.measured.next.deed, report.worse))
                }
            },
            verdict: report.map(|report| report.measured.verdict),
            sound: report.map(|report| report.measured.sound),
            file: report.map(|report| report.file.clone()),
            skipped: last.skipped.clone(),
            frames: story.now().stars.len() + story.now().masked.len(),
            path: story.path(night.instrument()),
            star: last
                .star
                .as_ref()
                .zip(report)
                .map(|(star, report)| star.drawing(report, night.instrument())),
            screws: front_screws(night.instrument()),
            arrows: report.map_or_else(BTreeMap::new, |report| {
                let screws = report.knows.screws.iter();
                screws
                    .map(|(name, arrow)| (name.clone(), arrow.px_per_eighth))
                    .collect()
            }),
            mask: night.instrument().mask.is_some(),
            mask_on: story.mask_on,
            side: story.side,
            barred: story.barred.clone(),
            settles_in_s: (settled_s - at.seconds()).max(0.0),
            lines: lines(&stands),
        }
    }
}

/// The step that is asked for now, for whoever tells that it was done; `None` where the newest frame of the session is another one than the last
/// that is known here.
pub fn step_asked<'a>(night: &Night, last: &'a LastFrame) -> Option<&'a NextStep> {
    let stands = standing(night.events());
    let newest = newest_seen(&stands, last.next.is_some()).and_then(|at| stands[at].what.file());
    let own = match &last.next {
        Some(_) => Some(&last.next_from),
        None => last.report.as_ref().map(|report| &report.file),
    };
    if newest.map(|file| &file.file) != own {
        return None;
    }
    let since = told_since_frame(&stands, last.next.is_some());
    let measured = last.report.as_ref().map(|report| &report.measured.next);
    last.next.as_ref().or(measured).filter(|_| since.is_none())
}

/// The big line of the step that is asked for.
pub fn big_of(last: &LastFrame, next: &NextStep) -> String {
    let own = last.report.as_ref().filter(|_| last.next.is_none());
    own.map_or_else(|| big_line(next), |report| report.big.clone())
}

/// The place of the last frame that showed a star or a card, or that it shows a point and no ring any more.
fn newest_seen(stands: &[&Event], a_point_counts: bool) -> Option<usize> {
    stands.iter().rposition(|event| match event.what {
        Happening::Frame(_) | Happening::CardSeen { .. } => true,
        Happening::Skipped { .. } => a_point_counts,
        _ => false,
    })
}

/// The last thing that was told after that frame.
fn told_since_frame<'a>(stands: &[&'a Event], a_point_counts: bool) -> Option<&'a Event> {
    let after = newest_seen(stands, a_point_counts).map_or(0, |at| at + 1);
    let later = stands[after..].iter().rev();
    later.copied().find(|event| event.what.is_told())
}

fn lines(stands: &[&Event]) -> Vec<String> {
    let from = stands.len().saturating_sub(LINES);
    stands[from..].iter().map(|event| sentence(event)).collect()
}

/// Whether somebody stands at the telescope while a step is done.
fn hands_at_the_unit(deed: Deed) -> bool {
    matches!(
        deed,
        Deed::Turn | Deed::Trial | Deed::Lock | Deed::Card | Deed::MaskOn | Deed::MaskOff
    )
}

/// What a frame sounds like: a stop before all else, then whether the last change helped.
fn tone(deed: Deed, worse: Option<bool>) -> Option<Tone> {
    match (deed, worse) {
        (Deed::Stop | Deed::Finish | Deed::Lock, _) => Some(Tone::Stop),
        (_, Some(true)) => Some(Tone::Worse),
        (_, Some(false)) => Some(Tone::Better),
        (_, None) => None,
    }
}

/// What is told by "done": the step as it was asked for. `None` for a step that only the next frame answers.
pub fn as_asked(next: &NextStep) -> Option<Happening> {
    Some(match next.deed {
        Deed::Turn | Deed::Trial => Happening::Turned {
            screw: next.screw.clone()?,
            clockwise_turns: f64::from(next.degrees?) / 360.0,
        },
        Deed::Recentre => Happening::Recentred,
        Deed::Refocus => Happening::Focused {
            by: super::event::Focusing::Um(next.focus_um?.round()),
        },
        Deed::Lock => Happening::Locked { screw: None },
        Deed::Card => Happening::Card {
            screw: next.screw.clone()?,
        },
        Deed::MaskOn => Happening::Mask { on: true },
        Deed::MaskOff => Happening::Mask { on: false },
        Deed::Expose
        | Deed::Wait
        | Deed::ClearBeam
        | Deed::Corners
        | Deed::Finish
        | Deed::Stop
        | Deed::LookAgain => return None,
    })
}

impl LastFrame {
    /// Takes up what came of a frame; `star` is its star where it was measured.
    pub fn take(&mut self, looked: &Looked, star: Option<StarCut>) {
        self.number += 1;
        match looked {
            Looked::Seen(report) => {
                self.report = Some(report.as_ref().clone());
                self.star = star;
                self.skipped = None;
                self.next = None;
            }
            Looked::Skipped(report) => {
                self.skipped = Some(format!("{}: {}", report.file, report.skipped));
                self.next = report.next.as_deref().cloned();
                self.next_from.clone_from(&report.file);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(deed: Deed) -> NextStep {
        NextStep {
            screw: Some("B".into()),
            degrees: Some(-45),
            focus_um: Some(-120.4),
            ..NextStep::new(deed, "do it", "it helps")
        }
    }

    /// An eighth anticlockwise is −45 degrees; what nobody can tell is told by nothing.
    #[test]
    fn done_tells_what_was_asked() {
        let turned = Happening::Turned {
            screw: "B".into(),
            clockwise_turns: -0.125,
        };
        assert_eq!(as_asked(&step(Deed::Turn)), Some(turned.clone()));
        assert_eq!(as_asked(&step(Deed::Trial)), Some(turned));
        let focused = Happening::Focused {
            by: super::super::event::Focusing::Um(-120.0),
        };
        assert_eq!(as_asked(&step(Deed::Refocus)), Some(focused));
        assert_eq!(
            as_asked(&step(Deed::MaskOff)),
            Some(Happening::Mask { on: false })
        );
        for deed in [Deed::Wait, Deed::Stop, Deed::LookAgain, Deed::Expose] {
            assert_eq!(as_asked(&step(deed)), None, "{deed:?}");
        }
        let nameless = NextStep::new(Deed::Turn, "turn a little", "");
        assert_eq!(as_asked(&nameless), None);
    }

    #[test]
    fn hands_are_in_only_while_something_is_turned_shaded_or_masked() {
        for deed in [
            Deed::Turn,
            Deed::Trial,
            Deed::Lock,
            Deed::Card,
            Deed::MaskOn,
        ] {
            assert!(hands_at_the_unit(deed), "{deed:?}");
        }
        for deed in [Deed::Wait, Deed::Stop, Deed::Recentre, Deed::Refocus] {
            assert!(!hands_at_the_unit(deed), "{deed:?}");
        }
    }
}
