//! A camera's folder that is followed for a night: each whole new file is looked at once.

use super::book::{Logbook, LogbookError};
use super::folder::{Arrival, Folder};
use crate::files;
use crate::measure::Picture;
use crate::night::{Event, Looked, Night};
use std::io;
use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// The folder is read again after this long.
pub const LOOK_EVERY: Duration = Duration::from_millis(200);

/// A night, and the folder that its camera writes into.
#[derive(Debug)]
pub struct Watch {
    book: Logbook,
    camera: Folder,
}

impl Watch {
    /// Follows a folder from the beginning of the night on.
    ///
    /// # Errors
    /// A folder that cannot be read: one that is not there from the start is a slip of the hand.
    pub fn of(book: Logbook, folder: &Path) -> io::Result<Watch> {
        folder.read_dir()?;
        let night = book.night();
        let since = UNIX_EPOCH + Duration::from_secs_f64(night.head().started.seconds());
        let camera = Folder::new(folder, since, night.events());
        Ok(Watch { book, camera })
    }

    /// The night as it stands.
    pub fn night(&self) -> &Night {
        self.book.night()
    }

    /// Events that others have added.
    ///
    /// # Errors
    /// [`LogbookError`].
    pub fn news(&mut self) -> Result<Vec<Event>, LogbookError> {
        self.book.refresh()
    }

    /// The next whole new file; `None` where there is none just now, or where the folder is gone for a while, as a network share is.
    pub fn arrival(&mut self, now: SystemTime) -> Option<Arrival> {
        self.camera.next(now).ok().flatten()
    }

    /// Looks at a file that arrived, and writes down what came of it; the picture of one that was measured comes along. A frame whose exposure
    /// overlaps a change, or the time that it takes to settle, is not used.
    ///
    /// # Errors
    /// [`LogbookError`] of the session's file.
    pub fn look(&mut self, arrival: Arrival) -> Result<(Looked, Option<Picture>), LogbookError> {
        let (file, bytes) = match arrival {
            Arrival::Whole(file, bytes) => (file, bytes),
            Arrival::Unreadable(file, reason) => return Ok((self.book.skip(file, reason)?, None)),
        };
        self.book.refresh()?;
        let night = self.book.night();
        let read = match files::picture_from(&bytes, &file.file, night.instrument()) {
            Ok(read) => read,
            Err(error) => {
                let reason = format!("{error}; {}", error.hint());
                return Ok((self.book.skip(file, reason)?, None));
            }
        };
        if let Some(reason) = night.overlaps_a_change(&file, &read) {
            return Ok((self.book.skip(file, reason)?, None));
        }
        let looked = self.book.look(file, &read)?;
        Ok((looked, Some(read.picture)))
    }

    /// The book itself, for a frame that did not come through the folder.
    pub(super) fn book(&mut self) -> &mut Logbook {
        &mut self.book
    }
}
