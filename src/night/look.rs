//! A frame in the light of all that was seen and told in a night.

use super::event::{Event, FileSeen, Focusing, FrameSeen, Happening, StarSeen};
use super::knows::Knows;
use super::lead::{Lead, Told, lead};
use super::record::Head;
use super::story::Story;
use crate::diagnosis::{Diagnosis, DiagnosisError, DiagnosisOptions};
use crate::files::ReadPicture;
use crate::instrument::Instrument;
use crate::measure::learn::LearnedResponse;
use crate::measure::{
    CardFrame, CardSeen, Deed, LearnError, Lesson, MeasureError, MeasureOptions, MeasureReport,
    MeasureSettings, NextStep, learn,
};
use crate::scenario::Scenario;
use crate::units::{ARCSEC, DEG, NM, UM};
use serde::Serialize;

/// A night: its instrument and all that happened.
#[derive(Debug, Clone)]
pub struct Night {
    head: Head,
    events: Vec<Event>,
    instrument: Instrument,
    /// Whether the response was traced from a prescription.
    traced: bool,
    exposure_s: Option<f64>,
    before: Option<LearnedResponse>,
    story: Story,
}

/// What was told and cannot be meant.
#[derive(Debug, thiserror::Error)]
#[error("{what}")]
pub struct NotMeant {
    /// What is wrong with it.
    pub what: String,
    /// What to do next.
    pub hint: String,
}

/// What came of a frame.
#[derive(Debug)]
pub enum Looked {
    /// It was measured.
    Seen(Box<NightReport>),
    /// It is of no use, and why.
    Skipped(SkippedReport),
}

/// A measured frame of a night, as it is written: the measure report, and what only a night knows.
#[derive(Debug, Clone, Serialize)]
pub struct NightReport {
    /// The measurement; `next` is the night's.
    #[serde(flatten)]
    pub measured: MeasureReport,
    /// Number of turns told so far.
    pub round: usize,
    /// The file.
    pub file: String,
    /// What is known by now.
    pub knows: Knows,
    /// Whether coma grew by the last change; `None` where frames do not tell.
    pub worse: Option<bool>,
    /// Coma that the screws could take away, by all frames of the state: nm RMS and its uncertainty.
    pub undone_nm: Option<crate::math::Uncertain>,
    /// How many frames of the state were put together.
    pub frames: usize,
    /// What to do in a few characters.
    pub big: String,
}

/// A frame that was not used.
#[derive(Debug, Clone, Serialize)]
pub struct SkippedReport {
    /// The file.
    pub file: String,
    /// Why.
    pub skipped: String,
    /// Number of turns told so far.
    pub round: usize,
    /// What is next, where that the frame is of no use says it: the ring has become a point.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<Box<NextStep>>,
}

/// A frame that was looked at: what is to be written down, and what is said.
#[derive(Debug)]
pub struct Sight {
    /// What happened.
    pub what: Happening,
    /// What came of it.
    pub looked: Looked,
}

impl Night {
    /// A night by its head, the events so far, and what the head's texts say.
    pub fn new(
        head: Head,
        scenario: Scenario,
        before: Option<LearnedResponse>,
        events: Vec<Event>,
    ) -> Night {
        Night {
            story: Story::of(&events, &scenario.instrument, head.side),
            exposure_s: scenario.state.exposure.as_ref().map(|e| e.time_s),
            traced: scenario.traced.is_some(),
            instrument: scenario.instrument,
            before,
            events,
            head,
        }
    }

    /// The instrument as it was typed.
    pub fn instrument(&self) -> &Instrument {
        &self.instrument
    }

    /// What the events add up to.
    pub fn story(&self) -> &Story {
        &self.story
    }

    /// Everything that happened, in its order.
    pub fn events(&self) -> &[Event] {
        &self.events
    }

    /// What it began with.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// Takes up what was written down.
    pub fn take(&mut self, events: impl IntoIterator<Item = Event>) {
        for event in events {
            let takes_back = event.what == Happening::Undo;
            if !takes_back {
                self.story.goes_on(&event, &self.instrument);
            }
            self.events.push(event);
            if takes_back {
                self.story = Story::of(&self.events, &self.instrument, self.head.side);
            }
        }
    }

    /// What trial turns of this night taught, else what an earlier night did. The error says why this night's teach nothing.
    pub fn learned(&self) -> (Option<LearnedResponse>, Option<LearnError>) {
        self.learned_from(&self.story)
    }

    fn learned_from(&self, story: &Story) -> (Option<LearnedResponse>, Option<LearnError>) {
        let trials = story.trials(&self.instrument);
        if trials.is_empty() {
            return (self.before.clone(), None);
        }
        let cards: Vec<CardSeen> = self.cards().into_iter().flatten().collect();
        let lesson = Lesson {
            trials: &trials,
            cards: &cards,
            ..Lesson::default()
        };
        match learn(&self.instrument, &lesson, &MeasureSettings::default()) {
            Ok(learned) => (Some(learned), None),
            Err(error) => (self.before.clone(), Some(error)),
        }
    }

    /// The name under which the same content was looked at before.
    pub fn looked_at(&self, file: &FileSeen) -> Option<&str> {
        let mut files = self.events.iter().filter_map(|event| event.what.file());
        let same = files.find(|seen| seen.sha256 == file.sha256 && seen.bytes == file.bytes);
        same.map(|seen| seen.file.as_str())
    }

    /// What is known by now.
    pub fn knows(&self) -> Knows {
        self.known(self.learned().0.as_ref(), &self.story)
    }

    fn known(&self, learned: Option<&LearnedResponse>, story: &Story) -> Knows {
        Knows {
            um_per_step: story.um_per_step(),
            ..Knows::of(&self.instrument, learned, self.traced)
        }
    }

    /// Measures a frame and says what is next. Nothing is kept yet: the event is to be written down, and then taken up.
    pub fn look(&self, file: FileSeen, read: &ReadPicture) -> Sight {
        if let Some(screw) = &self.story.card_at {
            return self.look_at_card(file, read, screw);
        }
        let (before, _) = self.learned();
        let mask_on = self.story.mask_on.unwrap_or(false);
        let earlier: Vec<_> = self
            .story
            .now()
            .stars
            .iter()
            .map(StarSeen::sighting)
            .collect();
        let barred = self.barred();
        let options = DiagnosisOptions {
            measure: MeasureOptions {
                mask_on: Some(mask_on),
                side: self.story.side,
                cards: self.cards(),
                ..MeasureOptions::default()
            },
            response: before.as_ref(),
            same_state: (!mask_on).then_some(earlier.as_slice()),
            barred: &barred,
            exposure_s: self.exposure_s,
            flags: read.flags.clone(),
            ..DiagnosisOptions::default()
        };
        let found = match Diagnosis::of(&read.picture, &self.instrument, &options) {
            Ok(found) => found,
            Err(error) => return self.unmeasured(file, &error),
        };
        let sound = found.star().is_some_and(|star| star.is_sound());
        let mut frame = FrameSeen {
            began_s: read.began_s,
            exposure_s: read.picture.exposure_s.or(self.exposure_s),
            mask: mask_on,
            verdict: found.verdict().name().into(),
            star: seen(&found).filter(|_| sound),
            file: file.clone(),
        };
        // what the last turn did, this frame is the first to tell
        let mut story = self.story.clone();
        let jumped = story.see(&frame, &self.instrument);
        let (learned, lesson_error) = self.learned_from(&story);
        let options = DiagnosisOptions {
            response: learned.as_ref(),
            ..options
        };
        let found = match found.again(&read.picture, &self.instrument, &options) {
            Ok(found) => found,
            Err(error) => return self.unmeasured(file, &error),
        };
        frame.verdict = found.verdict().name().into();
        let mut measured = found.report();
        if jumped {
            // the frame does not belong to those that it was put together with
            measured.verdict = "look-again";
            measured.sound = false;
        }
        let told = Told {
            story: &story,
            instrument: &self.instrument,
        };
        let Lead { next, big } = lead(&told, &found, jumped, lesson_error.as_ref());
        measured.next = next;
        let report = NightReport {
            undone_nm: found
                .advice()
                .ok()
                .and_then(|advice| advice.undone_m)
                .map(|coma| coma.in_units_of(NM)),
            measured,
            round: story.round(),
            file: file.file,
            knows: self.known(learned.as_ref(), &story),
            worse: story.worse(&self.instrument),
            frames: story.now().stars.len().max(1),
            big,
        };
        Sight {
            what: Happening::Frame(frame),
            looked: Looked::Seen(Box::new(report)),
        }
    }

    /// A frame that is of no use.
    pub fn skip(&self, file: FileSeen, reason: String) -> Sight {
        let report = SkippedReport {
            file: file.file.clone(),
            skipped: reason.clone(),
            round: self.story.round(),
            next: None,
        };
        Sight {
            what: Happening::Skipped { file, reason },
            looked: Looked::Skipped(report),
        }
    }

    /// Why a frame is of no use whose exposure overlaps something that moved the star, or began before it had settled; `None` where it does not.
    /// Files say when their exposure began by the camera's clock; how far that is off is read off the first file. Where a file says nothing,
    /// it was written when its exposure ended.
    pub fn overlaps_a_change(&self, file: &FileSeen, read: &ReadPicture) -> Option<String> {
        let exposure_s = read.picture.exposure_s.or(self.exposure_s).unwrap_or(0.0);
        let ended_s = file.written_ms as f64 / 1e3;
        let began_s = self.began_s(read).unwrap_or(ended_s - exposure_s);
        self.not_settled(began_s, self.head.settle_s)
    }

    /// Why a frame that somebody hands in is of no use: its file says that its exposure began before the last change. `None` where it began
    /// later, or where its file does not say it: whoever hands it in knows what it shows.
    pub fn began_before_a_change(&self, read: &ReadPicture) -> Option<String> {
        self.not_settled(self.began_s(read)?, 0.0)
    }

    /// When an exposure began by this computer's clock, where its file says it and the camera's clock is known.
    fn began_s(&self, read: &ReadPicture) -> Option<f64> {
        Some(read.began_s? - self.camera_ahead_s()?)
    }

    fn not_settled(&self, began_s: f64, settle_s: f64) -> Option<String> {
        let changed_s = self.story.last_change?.seconds();
        (began_s < changed_s + settle_s).then(|| {
            format!(
                "its exposure began {:.1} s {} the last change was told, and it takes {:.0} s to settle; the next frame counts",
                (began_s - changed_s).abs(),
                if began_s < changed_s { "before" } else { "after" },
                self.head.settle_s
            )
        })
    }

    /// How far the camera's clock is ahead of this one, by the first file that says when its exposure began.
    fn camera_ahead_s(&self) -> Option<f64> {
        self.events.iter().find_map(|event| match &event.what {
            Happening::Frame(frame) => {
                let ended_s = frame.began_s? + frame.exposure_s?;
                Some(ended_s - frame.file.written_ms as f64 / 1e3)
            }
            _ => None,
        })
    }

    /// A frame that shows a card over the rim at a screw.
    fn look_at_card(&self, file: FileSeen, read: &ReadPicture, screw: &str) -> Sight {
        let card = CardFrame {
            screw: screw.to_owned(),
            picture: None,
        };
        let options = DiagnosisOptions {
            measure: MeasureOptions {
                mask_on: Some(false),
                side: self.story.side,
                cards: self.cards(),
                ..MeasureOptions::default()
            },
            cards: vec![card],
            flags: read.flags.clone(),
            ..DiagnosisOptions::default()
        };
        let found = match Diagnosis::of(&read.picture, &self.instrument, &options) {
            Ok(found) => found,
            Err(error) => return self.unmeasured(file, &error),
        };
        let Some(direction_rad) = found.cards().first().map(|card| card.direction_rad) else {
            return self.skip(file, "it shows no card".into());
        };
        let mut story = self.story.clone();
        story.card(screw, direction_rad / DEG);
        let told = Told {
            story: &story,
            instrument: &self.instrument,
        };
        let next = super::lead::after_card(&told);
        let report = NightReport {
            undone_nm: None,
            big: super::lead::big_line(&next),
            measured: MeasureReport {
                next,
                ..found.report()
            },
            round: story.round(),
            file: file.file.clone(),
            knows: self.knows(),
            worse: None,
            frames: story.now().stars.len(),
        };
        Sight {
            what: Happening::CardSeen {
                file,
                screw: screw.to_owned(),
                direction_deg: direction_rad / DEG,
            },
            looked: Looked::Seen(Box::new(report)),
        }
    }

    /// The cards that frames showed, as the assembly has the screws.
    fn cards(&self) -> [Option<CardSeen>; 2] {
        let mut all = self.story.cards.iter().filter_map(|(name, direction_rad)| {
            let assembly = self.instrument.assembly.as_ref()?;
            CardSeen::at_screw(assembly, name, *direction_rad)
        });
        [all.next(), all.next()]
    }

    /// A frame without a star that can be measured. With the focus being sought that is no surprise: the ring has become a point.
    fn unmeasured(&self, file: FileSeen, error: &DiagnosisError) -> Sight {
        let is_a_point = matches!(error, DiagnosisError::Measure(MeasureError::NoRing { .. }))
            && self.story.is_locked();
        let next = is_a_point.then(|| self.in_focus());
        let reason = match &next {
            Some(next) => format!("{error}: {}", next.words),
            None => format!("{error}; {}", error.hint()),
        };
        let mut sight = self.skip(file, reason);
        if let Looked::Skipped(report) = &mut sight.looked {
            report.next = next.map(Box::new);
        }
        sight
    }

    /// What follows once the star is in focus and the screws are right.
    pub fn in_focus(&self) -> NextStep {
        super::lead::in_focus(&Told {
            story: &self.story,
            instrument: &self.instrument,
        })
    }

    fn barred(&self) -> Vec<usize> {
        let assembly = self.instrument.assembly.as_ref();
        let number = |name: &String| assembly?.screw(name).ok();
        self.story.barred.iter().filter_map(number).collect()
    }

    /// Whether something can be meant that somebody tells.
    ///
    /// # Errors
    /// [`NotMeant`].
    pub fn check(&self, what: &Happening) -> Result<(), NotMeant> {
        let refuse = |what: String, hint: &str| {
            Err(NotMeant {
                what,
                hint: hint.to_owned(),
            })
        };
        match what {
            Happening::Turned {
                screw,
                clockwise_turns,
            } => {
                self.check_screw(screw)?;
                match (1e-3..=MOST_TURNS).contains(&clockwise_turns.abs()) {
                    true => Ok(()),
                    false => refuse(
                        format!(
                            "a turn of {clockwise_turns} was told, but must be from 0.001 to {MOST_TURNS} turns either way"
                        ),
                        "1/8 is an eighth of a turn clockwise facing the screw's head, -1/8 anticlockwise",
                    ),
                }
            }
            Happening::Focused {
                by: Focusing::Um(amount) | Focusing::Steps(amount),
            } if !FOCUS_AMOUNTS.contains(&amount.abs()) => refuse(
                format!(
                    "a focus move of {amount} was told, but must be from {} to {} either way",
                    FOCUS_AMOUNTS.start(),
                    FOCUS_AMOUNTS.end()
                ),
                "tell micrometres of the sensor, or steps of the motor; outwards is above 0",
            ),
            Happening::Cannot { screw }
            | Happening::Card { screw }
            | Happening::Locked { screw: Some(screw) } => self.check_screw(screw),
            Happening::Mask { on: true } if self.instrument.mask.is_none() => refuse(
                "the instrument has no [mask]".into(),
                "describe the mask in the instrument file and start a new session with it",
            ),
            Happening::Undo
                if super::story::standing(&self.events)
                    .iter()
                    .all(|e| !e.what.is_told()) =>
            {
                refuse(
                    "nothing was told that could be taken back".into(),
                    "frames stay",
                )
            }
            _ => Ok(()),
        }
    }

    fn check_screw(&self, name: &str) -> Result<(), NotMeant> {
        let refuse = |what: String, hint: &str| NotMeant {
            what,
            hint: hint.to_owned(),
        };
        let Some(assembly) = &self.instrument.assembly else {
            return Err(refuse(
                "the instrument has no [assembly]: which screws there are is not known".into(),
                "describe the screws in the instrument file and start a new session with it",
            ));
        };
        assembly
            .screw(name)
            .map(|_| ())
            .map_err(|error| refuse(error.to_string(), error.hint()))
    }
}

/// More is a slip of the tongue.
const MOST_TURNS: f64 = 4.0;
/// Focus moves that can be meant, micrometres or steps.
const FOCUS_AMOUNTS: std::ops::RangeInclusive<f64> = 0.1..=1e6;

/// What is kept of a frame's star.
fn seen(found: &Diagnosis) -> Option<StarSeen> {
    let star = found.star()?;
    let own = crate::measure::Sighting::of(star)?;
    let stop = found.stop_level();
    Some(StarSeen {
        atmosphere_nm: stop.atmosphere_m.unwrap_or(0.0) / NM,
        stop_nm: stop.stop_m / NM,
        offset_um: star.sensor_offset_m().map(|offset| offset.value / UM),
        ring_px: star.ring.as_ref().map(|ring| 2.0 * ring.outer_radius_px),
        seeing_arcsec: star.seeing_rad().map(|seeing| seeing / ARCSEC),
        ..StarSeen::of(&own)?
    })
}

impl Looked {
    /// Whether the frame is to be taken again.
    pub fn is_sound(&self) -> bool {
        match self {
            Looked::Seen(report) => report.measured.sound,
            Looked::Skipped(_) => false,
        }
    }

    /// The deed that is asked for.
    pub fn deed(&self) -> Option<Deed> {
        match self {
            Looked::Seen(report) => Some(report.measured.next.deed),
            Looked::Skipped(_) => None,
        }
    }
}

/// Whether the star has a shadow that the instrument does not have, in a frame that cannot be acted on.
pub(super) fn something_in_front(found: &Diagnosis) -> bool {
    found.star().is_some_and(|star| {
        let strip = star.differs.iter().any(|differs| differs.what == "strip");
        strip && !star.is_sound()
    })
}
