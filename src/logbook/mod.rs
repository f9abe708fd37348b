//! The session of a night on disk, and the folder that the camera writes into.
//!
//! [`Logbook`] keeps a [`Night`] and its file in step: what somebody tells is checked, written down, and then holds. [`Folder`] says which files
//! are whole and new.

mod book;
mod file;
mod folder;

pub use book::{Beginning, Logbook, LogbookError, now};
pub use file::{NightFile, NightFileError};
pub use folder::{Arrival, Folder, named_file};

#[cfg(doc)]
use crate::night::Night;
