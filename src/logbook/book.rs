//! A night and its file in step.

use super::file::{NightFile, NightFileError};
use crate::files::{self, FileError, ReadPicture};
use crate::measure::Side;
use crate::measure::learn::LearnedResponse;
use crate::night::{
    Event, FORMAT, FileSeen, Happening, Head, Instant, Looked, Night, NotMeant, Sight,
};
use crate::scenario::ScenarioError;
use std::path::Path;
use std::time::{SystemTime, UNIX_EPOCH};

/// A night, and the file that keeps it.
#[derive(Debug)]
pub struct Logbook {
    file: NightFile,
    night: Night,
}

/// How a night begins.
#[derive(Debug, Clone, Default)]
pub struct Beginning<'a> {
    /// The side of focus, where it is known.
    pub side: Option<Side>,
    /// How long after a told turn nothing swings any more.
    pub settle_s: f64,
    /// What an earlier night learned.
    pub response: Option<&'a Path>,
}

/// Why something cannot be done in a night.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// The session's file.
    #[error(transparent)]
    File(#[from] NightFileError),
    /// The instrument or the response cannot be read.
    #[error(transparent)]
    Read(#[from] FileError),
    /// The response in the session is refused.
    #[error(transparent)]
    Response(#[from] ScenarioError),
    /// What was told cannot be meant.
    #[error(transparent)]
    NotMeant(#[from] NotMeant),
}

impl LogbookError {
    /// What to do next.
    pub fn hint(&self) -> &str {
        match self {
            LogbookError::File(error) => error.hint(),
            LogbookError::Read(error) => error.hint(),
            LogbookError::Response(error) => error.hint(),
            LogbookError::NotMeant(error) => &error.hint,
        }
    }
}

/// The moment that the system's clock shows.
pub fn now() -> Instant {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    Instant::of_seconds(since.unwrap_or_default().as_secs_f64())
}

impl Logbook {
    /// Begins a night with an instrument file.
    ///
    /// # Errors
    /// [`LogbookError`]; a session that is there already is never replaced.
    pub fn begin(
        session: &Path,
        instrument: &Path,
        beginning: &Beginning,
    ) -> Result<Logbook, LogbookError> {
        let bytes = files::text_bytes(instrument)?;
        files::scenario_of(&bytes, instrument, &[])?;
        let response = beginning.response.map(|path| {
            files::response(path)?;
            files::text_bytes(path)
        });
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let whole_path = std::path::absolute(instrument).unwrap_or(instrument.to_owned());
        let head = Head {
            format: FORMAT.into(),
            started: now(),
            settle_s: beginning.settle_s,
            side: beginning.side,
            instrument_file: whole_path.display().to_string(),
            instrument: text(&bytes),
            response: response.transpose()?.map(|bytes| text(&bytes)),
        };
        NightFile::create(session, &head)?;
        Logbook::open(session)
    }

    /// Goes on with a night.
    ///
    /// # Errors
    /// [`LogbookError`].
    pub fn open(session: &Path) -> Result<Logbook, LogbookError> {
        let (file, events) = NightFile::open(session)?;
        let head = file.head().clone();
        let path = Path::new(&head.instrument_file);
        let scenario = files::scenario_of(head.instrument.as_bytes(), path, &[])?;
        let name = session.display().to_string();
        let response = head.response.as_ref();
        let before = response.map(|text| LearnedResponse::read(text, &name));
        let night = Night::new(head, scenario, before.transpose()?, events);
        Ok(Logbook { file, night })
    }

    /// The night as it stands.
    pub fn night(&self) -> &Night {
        &self.night
    }

    /// Reads what others have added. Returns those events.
    ///
    /// # Errors
    /// [`LogbookError`].
    pub fn refresh(&mut self) -> Result<Vec<Event>, LogbookError> {
        let news = self.file.news()?;
        self.night.take(news.iter().cloned());
        Ok(news)
    }

    /// Writes down what somebody tells.
    ///
    /// # Errors
    /// [`LogbookError::NotMeant`] where it cannot be meant; nothing is written then.
    pub fn told(&mut self, what: Happening) -> Result<(), LogbookError> {
        self.refresh()?;
        self.night.check(&what)?;
        self.add(what)
    }

    /// Measures a frame and writes it down. One that was looked at before is skipped, and the session stays as it is: it is no second look.
    ///
    /// # Errors
    /// [`LogbookError`] of the session's file; a frame that is of no use is [`Looked::Skipped`].
    pub fn look(&mut self, file: FileSeen, read: &ReadPicture) -> Result<Looked, LogbookError> {
        self.refresh()?;
        if let Some(earlier) = self.night.looked_at(&file) {
            let reason = format!("it was looked at before, as {earlier}");
            return Ok(self.night.skip(file, reason).looked);
        }
        let sight = self.night.look(file, read);
        self.kept(sight)
    }

    /// Writes down a frame that is of no use.
    ///
    /// # Errors
    /// [`LogbookError`] of the session's file.
    pub fn skip(&mut self, file: FileSeen, reason: String) -> Result<Looked, LogbookError> {
        let sight = self.night.skip(file, reason);
        self.kept(sight)
    }

    fn kept(&mut self, sight: Sight) -> Result<Looked, LogbookError> {
        self.add(sight.what)?;
        Ok(sight.looked)
    }

    fn add(&mut self, what: Happening) -> Result<(), LogbookError> {
        let added = self.file.append(now(), what)?;
        self.night.take(added);
        Ok(())
    }
}
