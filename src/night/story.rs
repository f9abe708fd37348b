//! What the events of a night add up to: which frames show the unit in one state, what was done between two states, and what was told.

use super::event::{Event, FileSeen, Focusing, FrameSeen, Happening, Instant, StarSeen};
use crate::instrument::Instrument;
use crate::measure::{Side, Sighting, TrialTurn, together};
use crate::units::{DEG, NM};

/// A night up to now.
#[derive(Debug, Clone, Default)]
pub struct Story {
    /// States of the unit, the present one last; there is always one.
    pub states: Vec<UnitState>,
    /// The side of focus that was told last.
    pub side: Option<Side>,
    /// Whether the mask is on; `None` where nobody said it.
    pub mask_on: Option<bool>,
    /// Names of the screws that cannot be turned.
    pub barred: Vec<String>,
    /// The screw at whose place a card is held, before a frame showed it.
    pub card_at: Option<String>,
    /// Frames in which that card was not seen.
    card_missed: usize,
    /// Cards that frames showed: screw, and direction in the frame.
    pub cards: Vec<(String, f64)>,
    /// When a screw was last turned or tightened, the mask moved or the focus changed.
    pub last_change: Option<Instant>,
    /// How often the focus was moved since the last turn.
    pub focused: usize,
    /// Whether the step that was asked for is left out.
    pub skipped: bool,
    /// Told turns, in their order.
    pub turns: Vec<ToldByHand>,
    /// Steps of a motor that no frame has shown yet, and the sensor offset before them, µm.
    before_focus: Option<(f64, f64)>,
    /// What motor steps did: how many, and how far the focus moved by frames before and after, µm.
    pub steps: Vec<(f64, f64)>,
}

/// The unit between two changes, and the frames that show it.
#[derive(Debug, Clone, Default)]
pub struct UnitState {
    /// What led to it.
    pub by: Change,
    /// Frames without a mask that showed a star to be trusted.
    pub stars: Vec<StarSeen>,
    /// Frames with the mask.
    pub masked: Vec<StarSeen>,
    /// Frames that are too far from the others to be chance.
    pub jumped: Vec<StarSeen>,
}

/// What leads from one state of the unit to the next.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum Change {
    /// The night begins.
    #[default]
    Start,
    /// A told turn.
    Turn(ToldByHand),
    /// Screws were tightened.
    Lock,
    /// Nobody knows what.
    Untold,
}

/// Coma in one state of the unit, less that of the aligned telescope, nm RMS.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct PathPoint {
    /// Its size.
    pub coma_nm: f64,
    /// Standard deviation of either component.
    pub sigma_nm: f64,
    /// Below which it is good enough.
    pub stop_nm: f64,
}

/// A turn as it was told.
#[derive(Debug, Clone, PartialEq)]
pub struct ToldByHand {
    /// Name of the screw.
    pub screw: String,
    /// Clockwise, facing its head.
    pub clockwise_turns: f64,
    /// Positive lengthens.
    pub turns: f64,
}

/// A frame is too far from the others where coma is so many standard deviations from their mean …
const JUMP_SIGMAS: f64 = 5.0;
/// … and at least so far: a screw that moved coma by less is not asked about.
const JUMP_AT_LEAST_NM: f64 = 25.0;

impl Story {
    /// The story of events, in their order; those that were taken back are left out.
    pub fn of(events: &[Event], instrument: &Instrument, told: Option<Side>) -> Story {
        let mut story = Story {
            side: told,
            states: vec![UnitState::default()],
            ..Story::default()
        };
        for event in standing(events) {
            story.goes_on(event, instrument);
        }
        story
    }

    /// One more event, which takes nothing back.
    pub(super) fn goes_on(&mut self, event: &Event, instrument: &Instrument) {
        match &event.what {
            Happening::Frame(frame) => {
                self.see(frame, instrument);
            }
            Happening::Turned {
                screw,
                clockwise_turns,
            } => self.turned(screw, *clockwise_turns, instrument),
            Happening::Locked { .. } => self.change(Change::Lock),
            Happening::Focused { by } => {
                self.focused += 1;
                self.before_focus = match by {
                    Focusing::Steps(steps) => self.offset_um().map(|from| (*steps, from)),
                    _ => None,
                };
            }
            Happening::Card { screw } => {
                self.card_at = Some(screw.clone());
                self.card_missed = 0;
            }
            Happening::CardSeen {
                screw,
                direction_deg,
                ..
            } => self.card(screw, *direction_deg),
            Happening::Side { side } => self.side = Some(*side),
            Happening::Mask { on } => self.mask_on = Some(*on),
            Happening::Cannot { screw } => self.barred.push(screw.clone()),
            Happening::Skip => self.skip(),
            Happening::Skipped { .. } => self.missed(),
            Happening::Recentred | Happening::Undo => {}
        }
        if event.what.moves_the_star() {
            self.last_change = Some(event.at);
            self.skipped = false;
        }
    }

    /// How many turns were told: the number of the round.
    pub fn round(&self) -> usize {
        self.turns.len()
    }

    /// The unit as it is.
    pub fn now(&self) -> &UnitState {
        // there is always one: `of` begins with it, and none is ever taken away
        &self.states[self.states.len() - 1]
    }

    /// Whether screws were tightened since the last turn, and nothing was turned after.
    pub fn is_locked(&self) -> bool {
        self.now().by == Change::Lock
    }

    /// Micrometres of focus in one step of the motor, outwards positive on the side that was told; `None` before frames told it.
    pub fn um_per_step(&self) -> Option<f64> {
        let (steps, um) = self.steps.iter().fold((0.0, 0.0), |sum, (steps, um)| {
            (sum.0 + steps * steps, sum.1 + steps * um)
        });
        (steps > 0.0).then(|| um / steps)
    }

    /// The turns whose effect frames show: each of one screw, with the stars of the states before and after put together.
    pub fn trials(&self, instrument: &Instrument) -> Vec<TrialTurn> {
        let (mut trials, mut before) = (Vec::new(), None::<Sighting>);
        let mut between: Vec<&ToldByHand> = Vec::new();
        for state in &self.states {
            match &state.by {
                Change::Turn(told) => between.push(told),
                Change::Start => {}
                // what it did is not known: it teaches nothing
                Change::Lock | Change::Untold => before = None,
            }
            let Some(after) = state.sighting(instrument) else {
                continue;
            };
            let turns: f64 = between.iter().map(|told| told.turns).sum();
            let one = between
                .windows(2)
                .all(|pair| pair[0].screw == pair[1].screw);
            if let (Some(before), Some(told), true) = (before, between.first(), one)
                && turns != 0.0
            {
                trials.push(TrialTurn {
                    screw: told.screw.clone(),
                    turns,
                    before,
                    after,
                });
            }
            before = Some(after);
            between.clear();
        }
        trials
    }

    /// Coma state by state, as far as frames show it.
    pub fn path(&self, instrument: &Instrument) -> Vec<PathPoint> {
        let point = |state: &UnitState| {
            let star = state.sighting(instrument)?;
            let [x, y] = star.in_frame_m(instrument);
            Some(PathPoint {
                coma_nm: x.hypot(y) / NM,
                sigma_nm: star.coma.sigma_per_axis_m()? / NM,
                stop_nm: state.stars.last()?.stop_nm,
            })
        };
        self.states.iter().filter_map(point).collect()
    }

    /// Whether coma grew or became less by the last change, beyond what frames leave open; `None` where they do not tell.
    pub fn worse(&self, instrument: &Instrument) -> Option<bool> {
        let now = self.now().sighting(instrument)?;
        let earlier = self.states[..self.states.len() - 1].iter().rev();
        let before = earlier
            .filter_map(|state| state.sighting(instrument))
            .next()?;
        let size = |seen: &Sighting| {
            let [x, y] = seen.in_frame_m(instrument);
            (
                x.hypot(y),
                seen.coma.sigma_per_axis_m().unwrap_or(f64::INFINITY),
            )
        };
        let ((was, was_sigma), (is, is_sigma)) = (size(&before), size(&now));
        let grew = is - was;
        (grew.abs() > SEEN_SIGMAS * was_sigma.hypot(is_sigma)).then_some(grew > 0.0)
    }

    /// Sensor beyond focus by the last frame that showed it, µm.
    pub fn offset_um(&self) -> Option<f64> {
        self.now()
            .stars
            .iter()
            .rev()
            .find_map(|star| star.offset_um)
    }

    /// The same by the frame before that one, of the same state of the unit, µm.
    pub fn offset_before_um(&self) -> Option<f64> {
        let stars = self.now().stars.iter().rev();
        stars.filter_map(|star| star.offset_um).nth(1)
    }

    /// Adds a frame. Whether it is too far from the others of its state to show the same.
    pub(super) fn see(&mut self, frame: &FrameSeen, instrument: &Instrument) -> bool {
        let Some(star) = frame.star else { return false };
        let end = self.states.len() - 1;
        let now = &mut self.states[end];
        if frame.mask {
            now.masked.push(star);
            return false;
        }
        if let (Some((steps, from_um)), Some(to_um)) = (self.before_focus.take(), star.offset_um) {
            self.steps.push((steps, to_um - from_um));
        }
        let far = now.is_far_from(&star, instrument);
        match far {
            true => now.jumped.push(star),
            false => now.stars.push(star),
        }
        far
    }

    /// A frame of no use: a card that two frames did not show is waited for no longer.
    fn missed(&mut self) {
        self.card_missed += 1;
        if self.card_missed > 1 {
            self.card_at = None;
        }
    }

    /// A card that a frame showed; of two at one screw the later counts, and no more than two are kept.
    pub(super) fn card(&mut self, screw: &str, direction_deg: f64) {
        self.card_at = None;
        self.cards.retain(|(other, _)| other != screw);
        self.cards.push((screw.to_owned(), direction_deg * DEG));
        if self.cards.len() > 2 {
            self.cards.remove(0);
        }
    }

    fn turned(&mut self, screw: &str, clockwise_turns: f64, instrument: &Instrument) {
        let clockwise = instrument.assembly.as_ref().map(|a| a.clockwise.sign());
        let told = ToldByHand {
            screw: screw.to_owned(),
            clockwise_turns,
            turns: clockwise_turns * clockwise.unwrap_or(1.0),
        };
        self.turns.push(told.clone());
        self.focused = 0;
        self.change(Change::Turn(told));
    }

    fn change(&mut self, by: Change) {
        self.states.push(UnitState {
            by,
            ..UnitState::default()
        });
    }

    /// The step is left out; where frames had jumped, they are how things are now.
    fn skip(&mut self) {
        self.skipped = true;
        let end = self.states.len() - 1;
        let jumped = std::mem::take(&mut self.states[end].jumped);
        if !jumped.is_empty() {
            self.skipped = false;
            self.states.push(UnitState {
                by: Change::Untold,
                stars: jumped,
                ..UnitState::default()
            });
        }
    }
}

/// A change is seen where it is so many standard deviations.
const SEEN_SIGMAS: f64 = 3.0;

impl UnitState {
    /// The star by all frames of the state without a mask; `None` where there is none.
    pub fn sighting(&self, instrument: &Instrument) -> Option<Sighting> {
        let all: Vec<Sighting> = self.stars.iter().map(StarSeen::sighting).collect();
        let atmosphere_m = self.stars.last()?.atmosphere_nm * NM;
        together(&all, atmosphere_m, instrument)
    }

    /// Whether a star is too far from those of the state to be another look at the same.
    fn is_far_from(&self, star: &StarSeen, instrument: &Instrument) -> bool {
        let Some(mean) = self.sighting(instrument) else {
            return false;
        };
        let own = star.sighting();
        let [a, b] = [&own, &mean].map(|seen| seen.in_frame_m(instrument));
        let apart_nm = (a[0] - b[0]).hypot(a[1] - b[1]) / NM;
        let sigma = mean.coma.sigma_per_axis_m().unwrap_or(f64::INFINITY) / NM;
        let sigma_nm = sigma
            .hypot(star.sigma_nm)
            .hypot(star.atmosphere_nm / 2f64.sqrt());
        apart_nm > JUMP_AT_LEAST_NM && apart_nm > JUMP_SIGMAS * sigma_nm
    }
}

impl Happening {
    /// Whether frames that are being exposed while it happens are of no use.
    pub fn moves_the_star(&self) -> bool {
        matches!(
            self,
            Happening::Turned { .. }
                | Happening::Locked { .. }
                | Happening::Focused { .. }
                | Happening::Recentred
                | Happening::Mask { .. }
        )
    }

    /// The file that it is about.
    pub fn file(&self) -> Option<&FileSeen> {
        match self {
            Happening::Frame(FrameSeen { file, .. })
            | Happening::CardSeen { file, .. }
            | Happening::Skipped { file, .. } => Some(file),
            _ => None,
        }
    }

    /// Whether somebody told it, so that it can be taken back.
    pub fn is_told(&self) -> bool {
        !matches!(
            self,
            Happening::Frame(_)
                | Happening::Skipped { .. }
                | Happening::CardSeen { .. }
                | Happening::Undo
        )
    }
}

/// The events that stand: every `undo` takes back the last told one that stands before it.
pub fn standing(events: &[Event]) -> Vec<&Event> {
    let mut standing: Vec<&Event> = Vec::new();
    for event in events {
        match event.what {
            Happening::Undo => {
                let told = standing.iter().rposition(|event| event.what.is_told());
                if let Some(told) = told {
                    standing.remove(told);
                }
            }
            _ => standing.push(event),
        }
    }
    standing
}

#[cfg(test)]
mod tests;
