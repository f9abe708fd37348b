//! What each level hides. The amounts are those that give 160 to 340 nm of coma: clearly seen, and a few turns of a wrench away. Where the
//! ring of the start is so small that this would fold it, they are less.

use super::quirks::Quirks;
use super::session::FRAME_AT_MOST_PX;
use crate::instrument::{Assembly, Instrument, Response};
use crate::mechanics::plane_of;
use crate::predict::ComaScale;
use crate::predict::dark_shift_per_coma;
use crate::rng::{Purpose, Seed};
use crate::state::{ScrewTurns, State};
use crate::units::{NM, UM};
use rand::RngExt;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// How hard a drill is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// One screw is out.
    OneScrew,
    /// Two screws are out.
    TwoScrews,
    /// Three screws are out, and the star has to be focused at the end.
    ThreeWithFocus,
    /// Two screws are out, and the atmosphere moves.
    Seeing,
    /// Two screws are out; the star stands in focus, behind the mask.
    Mask,
    /// Two screws are out, and nobody knows how the camera is turned, or whether it mirrors.
    Camera,
    /// A night indoors: as [`Camera`](Level::Camera), and the unit, the hand and the atmosphere are as they are ([`Quirks`]).
    Night,
}

impl Level {
    /// Every level, the easiest first.
    pub const ALL: [Level; 7] = [
        Level::OneScrew,
        Level::TwoScrews,
        Level::ThreeWithFocus,
        Level::Seeing,
        Level::Mask,
        Level::Camera,
        Level::Night,
    ];
    /// The levels that the coach leads through. A night indoors is led by what leads a real one, from frames that are measured.
    pub const DRILLS: [Level; 6] = [
        Level::OneScrew,
        Level::TwoScrews,
        Level::ThreeWithFocus,
        Level::Seeing,
        Level::Mask,
        Level::Camera,
    ];

    /// Whether nobody knows how the camera is held.
    pub fn hides_camera(self) -> bool {
        matches!(self, Level::Camera | Level::Night)
    }

    /// The word for it in files and on the command line.
    pub fn word(self) -> &'static str {
        match self {
            Level::OneScrew => "one-screw",
            Level::TwoScrews => "two-screws",
            Level::ThreeWithFocus => "three-with-focus",
            Level::Seeing => "seeing",
            Level::Mask => "mask",
            Level::Camera => "camera",
            Level::Night => "night",
        }
    }

    /// What it asks for, in a sentence.
    pub fn sentence(self) -> &'static str {
        match self {
            Level::OneScrew => {
                "One screw is out. Find it and bring the dark centre back to the middle."
            }
            Level::TwoScrews => "Two screws are out. Work on the worse one first.",
            Level::ThreeWithFocus => {
                "Three screws are out, and at the end the star has to be focused as well."
            }
            Level::Seeing => {
                "Two screws are out, and the atmosphere moves. Longer exposures calm the star."
            }
            Level::Mask => "Two screws are out. The star is in focus, behind the slotted mask.",
            Level::Camera => {
                "Two screws are out, and the camera may be turned or mirrored: find out by trial."
            }
            Level::Night => {
                "Two screws are out, the camera is held in a way that nobody knows, and hand and atmosphere err as real ones do. No hints here: `skewstar night` leads, from the frames."
            }
        }
    }

    /// The level of a word.
    pub fn of_word(word: &str) -> Option<Level> {
        Level::ALL.into_iter().find(|level| level.word() == word)
    }
}

/// Why nothing can be practised on a telescope.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SetupError {
    /// Nothing can be turned.
    #[error("there is no [assembly]: no screws to turn")]
    NoScrews,
    /// What a turn does is not known.
    #[error(
        "[assembly.response] is missing, or a tilt makes no coma: a turn would change nothing that can be seen"
    )]
    NoResponse,
    /// There is no dark centre.
    #[error("there is no [telescope.obstruction]: the doughnut has no dark centre to watch")]
    NoObstruction,
    /// The level needs a mask that the eye can read.
    #[error("the level needs a [mask] whose triplets show coma, such as layout \"two-zone\"")]
    NoMask,
    /// The screws cannot go far enough.
    #[error(
        "the travel of the screws (assembly.travel_mm) is too short for a misalignment worth practising on"
    )]
    TooLittleTravel,
    /// The mask lies in another file.
    #[error("a mask from a drawing cannot be kept in a session file")]
    Drawing,
}

impl SetupError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            SetupError::NoScrews | SetupError::NoResponse => {
                "`skewstar new NAME` writes a scenario that has both; without a scenario the practice bench is used"
            }
            SetupError::NoObstruction => {
                "choose another telescope, or leave the scenario out to use the practice bench"
            }
            SetupError::NoMask => {
                "choose another level, or leave the scenario out to use the practice bench"
            }
            SetupError::TooLittleTravel => {
                "give the screws travel either way of their nominal length, or practise on the bench"
            }
            SetupError::Drawing => {
                "take the [mask] out of the scenario, or give it a layout by name"
            }
        }
    }
}

/// What is hidden from whoever practises.
#[derive(Debug, Clone, PartialEq)]
pub struct Hidden {
    /// Height of each screw, in turns.
    pub turns: ScrewTurns,
    /// Where in its play each screw stands, −0.5 to 0.5 of the play.
    pub play: Vec<f64>,
    /// Sensor offset with the screws as they stand.
    pub sensor_offset_m: f64,
    /// How the camera is really turned, added to what the owner believes.
    pub rotation_rad: f64,
    /// Whether it mirrors where the owner believes it does not.
    pub mirrored: bool,
    /// In what unit and hand differ from what their owner believes.
    pub quirks: Option<Quirks>,
}

/// Least and most coma at the start.
const START_COMA_M: [f64; 2] = [160.0 * NM, 340.0 * NM];
/// The dark centre's way at the start at most, as a share of the ring's thickness.
const CLEAR_OF_THICKNESS: f64 = 0.7;
/// Across the ring at the start at most, as a share of the frame, where it is spread on purpose.
const RING_OF_FRAME: f64 = 0.7;
/// The goal is never finer than this part of a turn of one screw.
const GOAL_TURNS: f64 = 1.0 / 40.0;

impl Hidden {
    /// Draws what a level hides.
    ///
    /// # Errors
    /// [`SetupError`] when nothing can be practised on this telescope.
    pub fn draw(
        instrument: &Instrument,
        state: &State,
        level: Level,
        seed: Seed,
    ) -> Result<Self, SetupError> {
        let (assembly, response) = parts(instrument)?;
        let mut stream = seed.stream(Purpose::Drill, 0);
        let count = assembly.screws.len();
        let mut turns = ScrewTurns::zero(assembly);
        let wrong = match level {
            Level::OneScrew => 1,
            Level::ThreeWithFocus => 3,
            _ => 2,
        };
        let first: usize = stream.random_range(0..count);
        let mut sign = if stream.random() { 1.0 } else { -1.0 };
        for k in 0..wrong.min(count) {
            let size: f64 = 0.6 + stream.random::<f64>();
            turns[(first + k) % count] = sign * size;
            // three screws turned the same way by the same amount would not tilt at all: alternate
            sign = -sign;
        }
        let share: f64 = stream.random();
        let start = start_offset_m(instrument, state);
        let clear_m = match level {
            // behind a mask no ring can fold
            Level::Mask => f64::INFINITY,
            _ => clear_coma_m(instrument, start),
        };
        scale(&mut turns, (instrument, state), share, clear_m)?;
        let play = (0..count)
            .map(|_| if stream.random() { 0.5 } else { -0.5 })
            .collect();
        let focus: f64 = 0.8 + 0.4 * stream.random::<f64>();
        let (rotation, flip): (f64, bool) = (stream.random(), stream.random());
        let unknown = level.hides_camera();
        Ok(Hidden {
            turns,
            play,
            sensor_offset_m: match level {
                Level::Mask => 0.0,
                Level::ThreeWithFocus => focus * start,
                _ => start,
            },
            rotation_rad: if unknown { TAU * rotation } else { 0.0 },
            mirrored: unknown && flip,
            quirks: (level == Level::Night).then(|| Quirks::draw(assembly, response, seed)),
        })
    }
}

/// Coma beyond which the ring of the start folds on its thin side, on a telescope whose ring is small for its coma: the dark centre then
/// goes by most of the ring's thickness (`dark_shift_per_coma`).
fn clear_coma_m(instrument: &Instrument, offset_m: f64) -> f64 {
    let (ratio, hole) = (
        instrument.telescope.focal_ratio(),
        instrument.telescope.obstruction_ratio(),
    );
    let thickness_m = 0.5 * offset_m.abs() / ratio * (1.0 - hole);
    CLEAR_OF_THICKNESS * thickness_m / dark_shift_per_coma(ratio, hole)
}

/// Brings the coma of the tilt to a share of its range, and every screw within its travel; refused where that leaves less than
/// twice what counts as aligned.
fn scale(
    turns: &mut ScrewTurns,
    (instrument, state): (&Instrument, &State),
    share: f64,
    clear_m: f64,
) -> Result<(), SetupError> {
    let (assembly, response) = parts(instrument)?;
    let [x, y] = plane_of(assembly, turns).tilt_rad;
    let coma_m = (response.coma_m_per_rad * x.hypot(y)).abs();
    let most_m = START_COMA_M[1].min(clear_m);
    let worth_m = 2.2 * goal_coma_m(instrument, state);
    let least_m = START_COMA_M[0].min(0.5 * most_m).max(worth_m.min(most_m));
    let wanted_m = least_m + share * (most_m - least_m);
    let farthest = turns.iter().fold(0.0f64, |most, t| most.max(t.abs()));
    let factor = (wanted_m / coma_m).min(reach(assembly) / farthest);
    if factor * coma_m < 2.0 * goal_coma_m(instrument, state) {
        return Err(SetupError::TooLittleTravel);
    }
    turns.iter_mut().for_each(|turn| *turn *= factor);
    Ok(())
}

/// The screws and their response, where both are there.
pub(super) fn parts(instrument: &Instrument) -> Result<(&Assembly, &Response), SetupError> {
    let assembly = instrument.assembly.as_ref().ok_or(SetupError::NoScrews)?;
    let response = assembly.response.as_ref().ok_or(SetupError::NoResponse)?;
    if coma_per_turn_m(assembly, response) < 0.1 * NM {
        return Err(SetupError::NoResponse);
    }
    if instrument.telescope.obstruction.is_none() {
        return Err(SetupError::NoObstruction);
    }
    Ok((assembly, response))
}

/// Coma RMS of one turn of one screw.
pub fn coma_per_turn_m(assembly: &Assembly, response: &Response) -> f64 {
    let mut turns = ScrewTurns::zero(assembly);
    if let Some(first) = turns.first_mut() {
        *first = 1.0;
    }
    let [x, y] = plane_of(assembly, &turns).tilt_rad;
    (response.coma_m_per_rad * x.hypot(y)).abs()
}

/// Coma RMS below which the goal is reached: where it begins to show in a picture (the scale of [`ComaScale`]), but nothing finer than a
/// hand can set, and in the worst air half of what a drill begins with.
pub(super) fn goal_coma_m(instrument: &Instrument, state: &State) -> f64 {
    let shows_m = ComaScale::of(instrument, state.sky.seeing_rad).shows_nm * NM;
    let of_hand_m = parts(instrument).map_or(0.0, |(assembly, response)| {
        GOAL_TURNS * coma_per_turn_m(assembly, response)
    });
    shows_m.min(0.5 * START_COMA_M[0]).max(of_hand_m)
}

/// How far a screw may go from its nominal length either way, in turns.
fn reach(assembly: &Assembly) -> f64 {
    let limits = super::cell::travel_turns(assembly);
    0.8 * limits[1].min(-limits[0]).max(0.0)
}

/// The scenario's own defocus where it makes a doughnut, or one that is 180 µm across for every unit of the focal ratio; farther out where the
/// coma of a drill would fold that ring, as far as the frame holds it.
fn start_offset_m(instrument: &Instrument, state: &State) -> f64 {
    let ratio = instrument.telescope.focal_ratio();
    let least = 60.0 * UM * ratio;
    let own = state.sensor_offset_m;
    let size = if own.abs() >= least {
        own.abs()
    } else {
        3.0 * least
    };
    let clear = size * (START_COMA_M[1] / clear_coma_m(instrument, size)).max(1.0);
    let camera = &instrument.camera;
    let frame_px = camera.width_px.min(camera.height_px).min(FRAME_AT_MOST_PX);
    let fits = RING_OF_FRAME * frame_px as f64 * camera.pixel_m * ratio;
    let farthest = size.max(clear.min(fits));
    if own > 0.0 { farthest } else { -farthest }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::fast_unit;

    #[test]
    fn every_level_is_far_from_its_goal_and_repeats() {
        let instrument = fast_unit();
        let (assembly, response) = parts(&instrument).unwrap();
        for level in Level::ALL {
            for seed in 0..100 {
                let draw =
                    || Hidden::draw(&instrument, &State::default(), level, Seed(seed)).unwrap();
                let hidden = draw();
                assert_eq!(hidden, draw());
                let [x, y] = plane_of(assembly, &hidden.turns).tilt_rad;
                let coma_m = response.coma_m_per_rad * x.hypot(y);
                assert!(
                    coma_m > 2.0 * goal_coma_m(&instrument, &State::default()),
                    "{level:?} {seed}"
                );
                let out = hidden.turns.iter().filter(|t| **t != 0.0).count();
                let expected = match level {
                    Level::OneScrew => 1,
                    Level::ThreeWithFocus => 3,
                    _ => 2,
                };
                assert_eq!(out, expected);
            }
        }
    }

    #[test]
    fn what_cannot_be_practised_is_said() {
        let refused = |change: &dyn Fn(&mut Instrument)| {
            let mut instrument = fast_unit();
            change(&mut instrument);
            Hidden::draw(&instrument, &State::default(), Level::OneScrew, Seed(1)).unwrap_err()
        };
        assert_eq!(refused(&|i| i.assembly = None), SetupError::NoScrews);
        assert_eq!(
            refused(&|i| i.telescope.obstruction = None),
            SetupError::NoObstruction
        );
        assert_eq!(
            refused(&|i| i.assembly.as_mut().unwrap().response = None),
            SetupError::NoResponse
        );
    }

    #[test]
    fn words_and_levels_go_both_ways() {
        for level in Level::ALL {
            assert_eq!(Level::of_word(level.word()), Some(level));
            let json = serde_json::to_string(&level).unwrap();
            assert_eq!(json, format!("\"{}\"", level.word()));
        }
        assert_eq!(Level::of_word("four-screws"), None);
    }
}
