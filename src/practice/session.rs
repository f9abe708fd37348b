//! A session: what is hidden, and everything that was done about it.
//!
//! The whole of a session follows from its telescope, its level, its seed and its list of actions: [`Session::act`] is the only
//! way to change it, so a kept list replays to the same session.

use super::action::{Action, Done, Refusal};
use super::cell::{BINDS_AT_TURNS, Cell};
use super::eye::Moment;
use super::level::{Hidden, Level, SetupError, goal_coma_m, parts};
use super::sight::{Sight, sight};
use crate::axes::{FieldM, FramePx};
use crate::instrument::{
    Assembly, AssemblyKind, ClockwiseTurn, Instrument, MaskLayout, Response, turn_in_words, way,
};
use crate::mask;
use crate::mechanics::plane_of;
use crate::predict::{dark_shift_per_coma, seeing_sigma_m};
use crate::rng::{Purpose, Seed};
use crate::state::{Exposure, ScrewTurns, State};
use crate::units::{NM, SEEING_REFERENCE_M, UM};
use rand_distr::{Distribution, StandardNormal};

/// The star after an action.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// What was done; `None` for the first look.
    pub action: Option<Action>,
    /// What is seen.
    pub sight: Sight,
    /// Turns of each wrench since the start, positive lengthens: what whoever turned them knows.
    pub wrench_turns: ScrewTurns,
    pub(super) coma_m: f64,
    pub(super) sensor_offset_m: f64,
}

/// Drills show the middle of a larger sensor: one star fits, and a picture of a whole sensor would only be waited for.
pub const FRAME_AT_MOST_PX: usize = 256;
/// A ring so many times as wide as the frame shows nothing any more, and takes long to draw.
const RING_OF_FRAME_AT_MOST: f64 = 2.5;

/// Actions beyond this are refused.
pub const ACTIONS_AT_MOST: usize = 400;

/// A session. See the head of this file.
#[derive(Debug, Clone)]
pub struct Session {
    level: Level,
    seed: Seed,
    owner: Instrument,
    real: Instrument,
    base: State,
    hidden: Hidden,
    cell: Cell,
    wrench_turns: ScrewTurns,
    focuser_m: f64,
    pointing_m: FieldM,
    mask_on: bool,
    atmosphere_moves: bool,
    time_s: f64,
    cost_min: f64,
    log: Vec<Action>,
    rounds: Vec<Round>,
    back: Vec<Action>,
    finished: bool,
}

impl Session {
    /// Starts a drill.
    ///
    /// # Errors
    /// [`SetupError`] when the level cannot be practised on this telescope.
    pub fn new(
        instrument: &Instrument,
        state: &State,
        level: Level,
        seed: Seed,
    ) -> Result<Self, SetupError> {
        let hidden = Hidden::draw(instrument, state, level, seed)?;
        check_mask(instrument, level)?;
        let (assembly, response) = parts(instrument)?;
        let mut owner = instrument.clone();
        if level != Level::Night {
            owner.camera.width_px = owner.camera.width_px.min(FRAME_AT_MOST_PX);
            owner.camera.height_px = owner.camera.height_px.min(FRAME_AT_MOST_PX);
        }
        let mut real = owner.clone();
        real.camera.rotation_rad += hidden.rotation_rad;
        real.camera.mirrored ^= hidden.mirrored;
        if let Some(quirks) = &hidden.quirks {
            quirks.put_into(&mut real);
        }
        let (unit, _) = parts(&real)?;
        let plane = plane_of(unit, &hidden.turns);
        let mut session = Session {
            level,
            seed,
            owner,
            real,
            base: state.clone(),
            cell: Cell::new(assembly, &hidden.turns, &hidden.play, seed),
            wrench_turns: ScrewTurns::zero(assembly),
            focuser_m: hidden.sensor_offset_m - response.focus_m_per_m * plane.piston_m,
            pointing_m: FieldM::new(plane.tilt_rad.map(|t| t * response.image_shift_m_per_rad)),
            mask_on: level == Level::Mask,
            atmosphere_moves: matches!(level, Level::Seeing | Level::Night),
            time_s: state.exposure.as_ref().map_or(0.5, |e| e.time_s),
            cost_min: 0.0,
            log: Vec::new(),
            rounds: Vec::new(),
            back: Vec::new(),
            finished: false,
            hidden,
        };
        session.look(None);
        Ok(session)
    }

    /// Does something.
    ///
    /// # Errors
    /// [`Refusal`]; nothing has changed then.
    pub fn act(&mut self, action: &Action) -> Result<Done, Refusal> {
        if self.finished {
            return Err(Refusal::Finished);
        }
        if self.log.len() >= ACTIONS_AT_MOST {
            return Err(Refusal::TooLong(ACTIONS_AT_MOST));
        }
        let words = match action {
            Action::Undo => {
                let inverse = self.back.pop().ok_or(Refusal::NothingToUndo)?;
                match self.carry_out(&inverse) {
                    Ok((words, _)) => format!("Taken back: {words}"),
                    Err(refusal) => {
                        self.back.push(inverse);
                        return Err(refusal);
                    }
                }
            }
            _ => {
                let (words, inverse) = self.carry_out(action)?;
                self.back.extend(inverse);
                words
            }
        };
        let cost_min = action.cost_min();
        self.cost_min += cost_min;
        self.log.push(action.clone());
        let only_words = matches!(
            action,
            Action::Corners | Action::Measure | Action::ShowMe | Action::Finish
        );
        if !only_words {
            self.look(Some(action.clone()));
        }
        Ok(Done { words, cost_min })
    }

    /// Does it; returns what happened and what would take it back.
    fn carry_out(&mut self, action: &Action) -> Result<(String, Option<Action>), Refusal> {
        match action {
            Action::Turn {
                screw,
                clockwise_turns,
            } => self.turn(screw, *clockwise_turns),
            Action::Focus { outward_um } => {
                in_range(
                    "outward_um",
                    *outward_um,
                    20_000.0,
                    "between -20000 and 20000, and not 0",
                )?;
                self.check_focus(outward_um * UM)?;
                self.focuser_m += outward_um * UM;
                let way = if *outward_um < 0.0 {
                    "inwards"
                } else {
                    "outwards"
                };
                let inverse = Action::Focus {
                    outward_um: -outward_um,
                };
                Ok((
                    format!("Focus moved {:.0} um {way}.", outward_um.abs()),
                    Some(inverse),
                ))
            }
            Action::Recentre => {
                self.pointing_m = self.shift_of_tilt_m();
                Ok(("The star is in the middle again.".into(), None))
            }
            Action::Mask { on } => self.set_mask(*on),
            Action::Expose { time_s } => {
                if !(1e-3..=60.0).contains(time_s) {
                    return Err(Refusal::Range {
                        what: "time_s",
                        value: *time_s,
                        allowed: "between 0.001 and 60",
                    });
                }
                self.time_s = *time_s;
                Ok((format!("The exposure is {time_s} s."), None))
            }
            Action::Atmosphere { moves } => {
                if matches!(self.level, Level::Seeing | Level::Night) && !moves {
                    return Err(Refusal::Fixed {
                        what: "the atmosphere moves",
                    });
                }
                self.atmosphere_moves = *moves;
                Ok((
                    if *moves {
                        "The atmosphere moves."
                    } else {
                        "The atmosphere is still."
                    }
                    .into(),
                    None,
                ))
            }
            Action::Look => Ok(("Another look.".into(), None)),
            Action::Corners => Ok(("Stars in the corners of the sensor.".into(), None)),
            Action::Measure => Ok(("Measured.".into(), None)),
            Action::ShowMe => Ok(("Explained.".into(), None)),
            Action::Undo => Err(Refusal::NothingToUndo),
            Action::Finish => {
                self.finished = true;
                Ok(("Finished.".into(), None))
            }
        }
    }

    fn turn(
        &mut self,
        name: &str,
        clockwise_turns: f64,
    ) -> Result<(String, Option<Action>), Refusal> {
        let (index, clockwise) = self.screw(name)?;
        in_range(
            "clockwise_turns",
            clockwise_turns,
            100.0,
            "a number of turns, and not 0",
        )?;
        if clockwise_turns.abs() > BINDS_AT_TURNS {
            return Err(Refusal::Binds {
                turns: clockwise_turns.abs(),
                limit: BINDS_AT_TURNS,
            });
        }
        let sign = clockwise.sign();
        let mut tried = self.cell.clone();
        let asked = sign * clockwise_turns;
        let turned = match &self.hidden.quirks {
            None => tried.turn(index, asked),
            Some(quirks) => {
                let (hand, lock) = quirks.hand(self.seed, tried.turns_made(), index, asked);
                let mut turned = tried.turn(index, hand);
                tried.drawn_by(&lock);
                if !turned.at_end {
                    // nobody knows how far a hand really went
                    turned.wrench_turns = asked;
                }
                turned
            }
        };
        if turned.at_end && turned.wrench_turns.abs() < 1e-9 {
            return Err(Refusal::AtEnd {
                name: name.to_owned(),
            });
        }
        self.cell = tried;
        self.wrench_turns[index] += turned.wrench_turns;
        let way = way(clockwise_turns);
        let size = turn_in_words(turned.wrench_turns);
        let kind = self.owner.assembly.as_ref().map(|a| a.kind);
        let mut words = match kind.and_then(AssemblyKind::gives_way) {
            Some(partner) => {
                format!("Screw {name}: {partner} loosened, {way} by {size}, {partner} tightened.")
            }
            None => format!("Screw {name}: {way} by {size}."),
        };
        if turned.at_end {
            words += " It stopped at the end of its travel.";
        }
        let inverse = Action::Turn {
            screw: name.to_owned(),
            clockwise_turns: -sign * turned.wrench_turns,
        };
        Ok((words, Some(inverse)))
    }

    /// Refuses to go so far from focus that the frame shows a small part of the ring; towards focus one may always go.
    fn check_focus(&self, outward_m: f64) -> Result<(), Refusal> {
        let offset_m = self.state().sensor_offset_m;
        let camera = &self.owner.camera;
        let frame_px = camera.width_px.min(camera.height_px) as f64;
        let ratio = self.owner.telescope.focal_ratio();
        let ring_px = (offset_m + outward_m).abs() / ratio / camera.pixel_m;
        let farther = (offset_m + outward_m).abs() > offset_m.abs();
        match farther && ring_px > RING_OF_FRAME_AT_MOST * frame_px {
            true => Err(Refusal::RingBeyondFrame { ring_px, frame_px }),
            false => Ok(()),
        }
    }

    /// Coma below which the drill is won, nm RMS.
    pub fn goal_nm(&self) -> f64 {
        self.goal_coma_m() / NM
    }

    fn set_mask(&mut self, on: bool) -> Result<(String, Option<Action>), Refusal> {
        if self.owner.mask.is_none() {
            return Err(Refusal::NoMask);
        }
        if self.mask_on == on {
            let what = if on {
                "the mask is on"
            } else {
                "the mask is off"
            };
            return Err(Refusal::Already { what });
        }
        self.mask_on = on;
        let words = if on {
            "The mask is on, and tethered."
        } else {
            "The mask is off."
        };
        Ok((words.into(), Some(Action::Mask { on: !on })))
    }

    /// Number of a screw, and what clockwise does to it.
    pub(super) fn screw(&self, name: &str) -> Result<(usize, ClockwiseTurn), Refusal> {
        let screws = self.owner.assembly.iter().flat_map(|a| &a.screws);
        let names: Vec<&str> = screws.map(|s| s.name.as_str()).collect();
        let clockwise = self.owner.assembly.as_ref().map(|a| a.clockwise);
        match (names.iter().position(|n| *n == name), clockwise) {
            (Some(index), Some(clockwise)) => Ok((index, clockwise)),
            _ => Err(Refusal::NoSuchScrew {
                name: name.to_owned(),
                known: names.join(", "),
            }),
        }
    }

    /// Whether there is a screw of this name.
    ///
    /// # Errors
    /// [`Refusal::NoSuchScrew`] with the names of those that there are.
    pub fn named(&self, screw: &str) -> Result<(), Refusal> {
        self.screw(screw).map(|_| ())
    }

    fn look(&mut self, action: Option<Action>) {
        let state = self.state();
        let sight = sight(
            &self.real,
            &state,
            self.atmosphere_px(self.rounds.len() as u64),
        );
        let coma_m = self.tilt_coma_m();
        self.rounds.push(Round {
            action,
            sight,
            wrench_turns: self.wrench_turns.clone(),
            coma_m,
            sensor_offset_m: state.sensor_offset_m,
        });
    }

    /// What the atmosphere does to the place of the dark centre in one exposure.
    fn atmosphere_px(&self, round: u64) -> FramePx {
        let (telescope, state) = (&self.owner.telescope, self.state());
        let ratio = telescope.obstruction_ratio();
        let reach = dark_shift_per_coma(telescope.focal_ratio(), ratio);
        let sigma_m = seeing_sigma_m(telescope, &state, SEEING_REFERENCE_M, 8).unwrap_or(0.0);
        let sigma_px = reach * sigma_m / self.owner.camera.pixel_m;
        let mut stream = self.seed.stream(Purpose::Drill, 1 + round);
        FramePx::new([0, 1].map(|_| {
            let drawn: f64 = StandardNormal.sample(&mut stream);
            sigma_px * drawn
        }))
    }

    /// The telescope as it stands, for a picture.
    pub fn state(&self) -> State {
        let mut state = self.base.clone();
        let piston_m = self.plane().piston_m;
        state.sensor_offset_m =
            self.focuser_m + self.response().map_or(0.0, |r| r.focus_m_per_m) * piston_m;
        state.piston_moves_focus = false; // it is in the sum above
        state.recentred = false;
        state.aside_m = -self.pointing_m;
        state.mask_on = self.mask_on;
        state.turns = self.cell.heights().clone();
        if !self.atmosphere_moves {
            state.sky.seeing_rad = None;
        }
        state.exposure = Some(Exposure {
            time_s: self.time_s,
        });
        state
    }

    /// When a picture of this round is taken: each round a while after the last one, and `later_s` beyond that. Its noise follows
    /// from the milliseconds since the session began.
    pub fn moment(&self, later_s: f64) -> Moment {
        /// From one round to the next (common practice, no source).
        const ROUND_S: f64 = 45.0;
        let start_s = later_s + ROUND_S * self.rounds.len() as f64;
        let draw = (start_s * 1e3) as u64;
        Moment {
            start_s,
            atmosphere: self.seed,
            noise: Seed(self.seed.0.wrapping_add(draw)),
        }
    }

    /// The telescope with the camera as it really stands, for a picture.
    pub fn instrument(&self) -> &Instrument {
        &self.real
    }

    /// The telescope as its owner knows it.
    pub fn owner(&self) -> &Instrument {
        &self.owner
    }

    /// The level.
    pub fn level(&self) -> Level {
        self.level
    }

    /// The seed: it gives away what is hidden.
    pub fn seed(&self) -> Seed {
        self.seed
    }

    /// What was done, in order.
    pub fn actions(&self) -> &[Action] {
        &self.log
    }

    /// What was seen, in order; the first look is there from the start.
    pub fn rounds(&self) -> &[Round] {
        &self.rounds
    }

    /// Minutes spent.
    pub fn cost_min(&self) -> f64 {
        self.cost_min
    }

    /// Whether it is over.
    pub fn is_finished(&self) -> bool {
        self.finished
    }

    /// Whether the mask is on, and whether the atmosphere moves.
    pub fn mask_and_atmosphere(&self) -> [bool; 2] {
        [self.mask_on, self.atmosphere_moves]
    }

    /// The exposure.
    pub fn time_s(&self) -> f64 {
        self.time_s
    }

    /// What is hidden.
    pub(super) fn hidden(&self) -> &Hidden {
        &self.hidden
    }

    /// Whether the goal is reached: the coma of the tilt, and on the level that asks for it the focus.
    pub fn goal_reached(&self) -> bool {
        let focused = |[off, goal]: [f64; 2]| off.abs() <= goal;
        self.goal_coma_m() >= self.tilt_coma_m() && self.focus_asked_m().is_none_or(focused)
    }

    /// Distance from focus and what counts as focused, on the level that asks for it.
    pub(super) fn focus_asked_m(&self) -> Option<[f64; 2]> {
        (self.level == Level::ThreeWithFocus)
            .then(|| [self.state().sensor_offset_m, focus_goal_m(&self.owner)])
    }

    /// Coma below which the goal is reached.
    pub(super) fn goal_coma_m(&self) -> f64 {
        goal_coma_m(&self.owner, &self.state())
    }

    pub(super) fn tilt_coma_m(&self) -> f64 {
        let [x, y] = self.plane().tilt_rad;
        self.response()
            .map_or(0.0, |r| (r.coma_m_per_rad * x.hypot(y)).abs())
    }

    fn plane(&self) -> crate::mechanics::Plane {
        let plane = |a: &Assembly| plane_of(a, self.cell.heights());
        self.real.assembly.as_ref().map(plane).unwrap_or_default()
    }

    fn shift_of_tilt_m(&self) -> FieldM {
        let per_rad = self.response().map_or(0.0, |r| r.image_shift_m_per_rad);
        FieldM::new(self.plane().tilt_rad.map(|t| t * per_rad))
    }

    fn response(&self) -> Option<&Response> {
        self.real
            .assembly
            .as_ref()
            .and_then(|a| a.response.as_ref())
    }
}

/// Distance from focus that still counts as focused: W at the edge within half a wave, 4λN² (common practice, no source).
pub(super) fn focus_goal_m(instrument: &Instrument) -> f64 {
    let ratio = instrument.telescope.focal_ratio();
    4.0 * SEEING_REFERENCE_M * ratio * ratio
}

fn in_range(
    what: &'static str,
    value: f64,
    limit: f64,
    allowed: &'static str,
) -> Result<(), Refusal> {
    // a comparison with what is not a number is false, and refused
    if value.abs() <= limit && value != 0.0 {
        Ok(())
    } else {
        Err(Refusal::Range {
            what,
            value,
            allowed,
        })
    }
}

fn check_mask(instrument: &Instrument, level: Level) -> Result<(), SetupError> {
    let design = instrument.mask.as_ref();
    if design.is_some_and(|d| matches!(d.layout, MaskLayout::Drawing(_))) {
        return Err(SetupError::Drawing);
    }
    let shows_coma = |d: &crate::instrument::MaskDesign| {
        let layout = d.layout.slots();
        layout.is_some_and(|l| l.crossing_shows.contains(&"coma")) && !mask::triplets(d).is_empty()
    };
    if level == Level::Mask && !design.is_some_and(shows_coma) {
        return Err(SetupError::NoMask);
    }
    Ok(())
}
