//! Practice: a hidden misalignment to put right, with the costs and the quirks of a real push–pull cell.
//!
//! | file | what it holds |
//! |---|---|
//! | `level.rs` | what each level hides, drawn from a seed |
//! | `action.rs` | what can be done, what it costs, why it may be refused |
//! | `quirks.rs` | in what a unit and a hand differ from what their owner believes |
//! | `as_camera.rs` | frames as a capture program writes them |
//! | `cell.rs` | screws with play, travel, binding, and the small shift when a partner is tightened |
//! | `session.rs` | [`Session`]: actions in, costs, rounds; replayed from its actions, so that it can be kept as text |
//! | `sight.rs` | what an eye reads off the star, rounded as an eye rounds |
//! | `coach.rs` | the same in words, and the next step that follows from what was seen alone |
//! | `reckon.rs` | the tilt that looks tell |
//! | `orientation.rs` | how the camera is turned, from trial turns |
//! | `lesson.rs` | "show me": why the dark centre moves, and where the screws are from the front |
//! | `report.rs` | at the end: turns against the shortest way, the error round by round |
//! | `question.rs` | one picture, three questions, partial credit |
//! | `beginner.rs` | somebody who follows the printed words alone, and somebody who does not |
//! | `eye.rs` | pictures, from a few models that are kept |
//! | `record.rs` | a session as text, the hidden part sealed |
//!
//! No files and no clock here: what is hidden follows from the seed, what is seen from the actions. Nothing in the coach's words
//! uses what is hidden: it reasons from sights and from the owner's own numbers.

mod action;
mod as_camera;
mod beginner;
mod cell;
mod coach;
mod eye;
mod lesson;
mod level;
mod orientation;
mod question;
mod quirks;
mod reckon;
mod record;
mod report;
mod session;
mod sight;

pub use crate::mechanics::{FrontScrew, front_screws};
pub use action::{Action, Done, Refusal};
pub use as_camera::{Shot, camera_frame};
pub use beginner::{Attempt, Player, play};
pub use cell::moved_back;
pub use coach::{Step, Suggestion};
pub use eye::{Eye, Moment, Picture};
pub use lesson::{Cautions, lesson};
pub use level::{Hidden, Level, SetupError, coma_per_turn_m};
pub use question::{Grade, Guess, Question};
pub use quirks::Quirks;
pub use record::{BYTES_AT_MOST, RecordError, read, write};
pub use report::{DrillReport, RoundRecord, action_words};
pub use session::{ACTIONS_AT_MOST, Round, Session};
pub use sight::{Sight, SightShape, sight};

use crate::frame::Frame;
use crate::instrument::Instrument;
use crate::units::MM;

/// The telescope to practise on when none is named.
pub const BENCH: &str = include_str!("bench.toml");

/// Places of corner stars on the sensor, from its middle (common practice, no source).
pub const CORNER_M: [f64; 2] = [8.0 * MM, 6.0 * MM];

/// What is measured for somebody who asks "measure it for me".
#[derive(Debug, Clone, Copy)]
pub struct MeasureRequest<'a> {
    /// The frame.
    pub frame: &'a Frame,
    /// The instrument as the owner knows it.
    pub owner: &'a Instrument,
    /// Whether the mask is on.
    pub mask_on: bool,
    /// Whether the sensor is inside focus.
    pub inside: bool,
    /// Whether the owner knows how the camera is turned: without, no frame says which screw it is.
    pub camera_known: bool,
}

/// Measures a frame and returns plain words; handed in by the shell, so that practice need not know how.
pub type Measurer = dyn Fn(&MeasureRequest<'_>) -> Result<String, String> + Send + Sync;
