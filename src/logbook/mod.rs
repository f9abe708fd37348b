//! The session of a night on disk, and the folder that the camera writes into.
//!
//! [`Logbook`] keeps a [`Night`] and its file in step: what somebody tells is checked, written down, and then holds. [`Folder`] says which files
//! are whole and new; [`Watch`] looks at each of them once, and [`NightDesk`] does the same for a page that tells and asks meanwhile.

mod book;
mod desk;
mod file;
mod folder;
mod watch;

pub use book::{Beginning, Logbook, LogbookError, now};
pub use desk::NightDesk;
pub use file::{NightFile, NightFileError};
pub use folder::{Arrival, Folder, named_file, sent_file};
pub use watch::{LOOK_EVERY, Watch};

#[cfg(doc)]
use crate::night::Night;
