//! A night that a page shows and tells while its camera's folder is followed.
//!
//! Two readers of one session: the *eyes* measure frames, which takes a while; the *hands* tell, and show how it stands meanwhile. They meet in the
//! session's file, under its lock, as two programs do.

use super::book::{Logbook, LogbookError, now};
use super::folder::sent_file;
use super::watch::Watch;
use crate::files;
use crate::measure::Picture;
use crate::night::{
    Board, Desk, DeskError, Happening, LastFrame, Looked, Night, StarCut, as_asked, big_of,
    step_asked, told,
};
use std::io;
use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

/// What is done with each frame that was measured, such as drawing its star beside the session.
pub type Seen = dyn Fn(&Picture, &Looked) + Send + Sync;

/// A night for a page. See the head of this file.
pub struct NightDesk {
    hands: Mutex<Logbook>,
    eyes: Mutex<Watch>,
    last: Mutex<LastFrame>,
    seen: Box<Seen>,
}

impl NightDesk {
    /// Opens a session twice, and follows a folder for it.
    ///
    /// # Errors
    /// [`LogbookError`] of the session; inside, what the system says where the folder cannot be read.
    pub fn open(
        session: &Path,
        folder: &Path,
        seen: Box<Seen>,
    ) -> Result<io::Result<NightDesk>, LogbookError> {
        let hands = Logbook::open(session)?;
        let watch = Watch::of(Logbook::open(session)?, folder);
        Ok(watch.map(|eyes| NightDesk {
            hands: Mutex::new(hands),
            eyes: Mutex::new(eyes),
            last: Mutex::default(),
            seen,
        }))
    }

    /// Looks at the next whole new file of the folder; `false` where there was none.
    ///
    /// # Errors
    /// [`LogbookError`] of the session's file.
    pub fn step(&self) -> Result<bool, LogbookError> {
        let mut eyes = locked(&self.eyes);
        eyes.news()?;
        let Some(arrival) = eyes.arrival(SystemTime::now()) else {
            return Ok(false);
        };
        let (looked, picture) = eyes.look(arrival)?;
        self.keep(&looked, picture.as_ref());
        Ok(true)
    }

    fn keep(&self, looked: &Looked, picture: Option<&Picture>) {
        let star = match (looked, picture) {
            (Looked::Seen(report), Some(picture)) => {
                (self.seen)(picture, looked);
                Some(StarCut::of(&picture.values_adu, report))
            }
            _ => None,
        };
        locked(&self.last).take(looked, star);
    }

    fn told(
        &self,
        choose: impl Fn(&Night, &LastFrame) -> Result<Happening, DeskError>,
    ) -> Result<String, DeskError> {
        let mut hands = locked(&self.hands);
        hands.refresh().map_err(|error| refused(&error))?;
        let what = choose(hands.night(), &locked(&self.last))?;
        let words = told(&what, hands.night());
        hands.told(what).map_err(|error| refused(&error))?;
        Ok(words)
    }
}

impl Desk for NightDesk {
    fn board(&self) -> Result<Board, DeskError> {
        let mut hands = locked(&self.hands);
        hands.refresh().map_err(|error| refused(&error))?;
        Ok(Board::of(hands.night(), &locked(&self.last), now()))
    }

    fn star(&self) -> Option<StarCut> {
        locked(&self.last).star.clone()
    }

    fn tell(&self, what: Happening) -> Result<String, DeskError> {
        self.told(|_, _| Ok(what.clone()))
    }

    fn tell_as_asked(&self, big: Option<&str>) -> Result<String, DeskError> {
        self.told(|night, last| {
            let asked = step_asked(night, last);
            if let Some((seen, next)) = big.zip(asked)
                && seen != big_of(last, next)
            {
                return Err(DeskError {
                    what: format!("\"{seen}\" is no longer what is asked for: a frame came"),
                    hint: "look at the page again, and tell what was done by its own name".into(),
                });
            }
            asked.and_then(as_asked).ok_or_else(|| DeskError {
                what: "nothing is asked for that could be told as done".into(),
                hint: "let a frame come, or tell what was done by its own name".into(),
            })
        })
    }

    fn frame(
        &self,
        name: &str,
        written_ms: Option<u64>,
        bytes: &[u8],
    ) -> Result<Looked, DeskError> {
        let file = sent_file(name, written_ms, SystemTime::now(), bytes);
        let mut eyes = locked(&self.eyes);
        eyes.news().map_err(|error| refused(&error))?;
        let read = files::picture_from(bytes, name, eyes.night().instrument());
        let mut read = read.map_err(|error| refused(&LogbookError::from(error)))?;
        let late = eyes.night().began_before_a_change(&read);
        if written_ms.is_none() {
            // when it was written is not known, and so not how far the camera's clock is off either
            read.began_s = None;
        }
        let (looked, picture) = match late {
            Some(reason) => (eyes.book().skip(file, reason), None),
            None => (eyes.book().look(file, &read), Some(&read.picture)),
        };
        let looked = looked.map_err(|error| refused(&error))?;
        self.keep(&looked, picture);
        Ok(looked)
    }
}

fn refused(error: &LogbookError) -> DeskError {
    DeskError {
        what: error.to_string(),
        hint: error.hint().to_owned(),
    }
}

/// What a lock guards, also after a thread panicked while it held it: every event is on disk before it is in memory.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
