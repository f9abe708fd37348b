//! A night at a real telescope: frames come from the camera, hands tell what they turned, and after each there is one next step.
//!
//! Nothing here prints, looks at a clock, opens a file or moves a telescope: [`logbook`](crate::logbook) keeps the session on disk and follows the
//! camera's folder.
//!
//! | file | what it does |
//! |---|---|
//! | `event.rs` | what can happen |
//! | `record.rs` | events as lines of a text |
//! | `story.rs` | events → states of the unit, the frames that show each, the turns between them |
//! | `look.rs` | a frame in the light of all that was seen and told |
//! | `lead.rs` | the one next step, from the first star to the end |
//! | `knows.rs` | what is known of camera and screws by now |
//! | `words.rs` | what is said of what is told, and before the first frame |
//! | `cut.rs` | the part of a frame about its star, and what is drawn over it |
//! | `board.rs` | how a night stands, for a page |
//! | `desk.rs` | where a page tells and asks |
//! | `page.rs` | the night as a page to keep, and a card of the telescope |

mod board;
mod cut;
mod desk;
mod event;
mod knows;
mod lead;
mod look;
mod page;
mod record;
mod story;
mod words;

pub use board::{Awaited, Board, LastFrame, Tone, as_asked, big_of, step_asked};
pub use cut::StarCut;
pub use desk::{Desk, DeskError};
pub use event::{Event, FileSeen, Focusing, FrameSeen, Happening, Instant, StarSeen};
pub use knows::{Knows, ScrewArrow};
pub use lead::{Lead, big_line};
pub use look::{Looked, Night, NightReport, NotMeant, Sight, SkippedReport};
pub use page::{card, page};
pub use record::{FORMAT, Head, RecordError, events, line};
pub use story::{Change, PathPoint, Story, ToldByHand, UnitState};
pub use words::{BEFORE, told};
