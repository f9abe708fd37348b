//! A night at a real telescope: frames come from the camera, hands tell what they turned, and after each there is one next step.
//!
//! Nothing here prints, watches a clock or moves a telescope. Whoever follows a folder hands frames in; the page and the command line ask
//! the same [`Night`].
//!
//! | file | what it does |
//! |---|---|
//! | `event.rs` | what can happen |
//! | `record.rs`, `file.rs` | events as lines of a text, and on disk |
//! | `story.rs` | events → states of the unit, the frames that show each, the turns between them |
//! | `look.rs` | a frame in the light of all that was seen and told |
//! | `lead.rs` | the one next step, from the first star to the end |
//! | `knows.rs` | what is known of camera and screws by now |
//! | `folder.rs` | which files of a folder are whole and new |
//! | `page.rs` | the night as a page to keep, and a card of the telescope |

mod event;
mod file;
mod folder;
mod knows;
mod lead;
mod look;
mod page;
mod record;
mod story;

pub use event::{Event, FileSeen, Focusing, FrameSeen, Happening, Instant, StarSeen};
pub use file::{NightFile, NightFileError};
pub use folder::{Arrival, Folder};
pub use knows::{Knows, ScrewArrow};
pub use lead::{Lead, big_line};
pub use look::{Beginning, Looked, Night, NightError, NightReport, SkippedReport};
pub use page::{card, page};
pub use record::{FORMAT, Head, RecordError};
pub use story::{Change, Story, ToldByHand, UnitState};
