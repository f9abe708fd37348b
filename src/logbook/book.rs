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

/// Why a frame counts no more that was being measured while something was told.
const OVERTAKEN: &str = "something was told while it was being measured, and it shows the unit before that; the next frame counts";

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

    /// Writes down a frame that is of no use; one that was looked at before is in the session already.
    ///
    /// # Errors
    /// [`LogbookError`] of the session's file.
    pub fn skip(&mut self, file: FileSeen, reason: String) -> Result<Looked, LogbookError> {
        self.refresh()?;
        let known = self.night.looked_at(&file).is_some();
        let sight = self.night.skip(file, reason);
        match known {
            true => Ok(sight.looked),
            false => self.kept(sight),
        }
    }

    /// Writes down what came of a frame. Measuring takes a while: where something was told meanwhile that changes what a frame shows, this one shows
    /// the unit before it, and is of no use any more.
    fn kept(&mut self, sight: Sight) -> Result<Looked, LogbookError> {
        let overtaken = |file: &FileSeen| self.night.skip(file.clone(), OVERTAKEN.into());
        let late = sight.what.file().map(overtaken);
        let (mut what, mut looked) = (sight.what, sight.looked);
        let added = self.file.append_as(now(), |news| {
            let changed =
                |event: &Event| event.what.moves_the_star() || event.what == Happening::Undo;
            if let Some(late) = late.filter(|_| news.iter().any(changed)) {
                (what, looked) = (late.what, late.looked);
            }
            what
        })?;
        self.night.take(added);
        Ok(looked)
    }

    fn add(&mut self, what: Happening) -> Result<(), LogbookError> {
        let added = self.file.append(now(), what)?;
        self.night.take(added);
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const INSTRUMENT: &str = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/scenarios/night-fast-unit.toml"
    );

    fn seen(name: &str) -> FileSeen {
        FileSeen {
            file: name.into(),
            bytes: 7,
            written_ms: 0,
            sha256: name.into(),
        }
    }

    /// What came of a card's frame, not yet written down.
    fn card(book: &Logbook, name: &str) -> Sight {
        Sight {
            what: Happening::CardSeen {
                file: seen(name),
                screw: "A".into(),
                direction_deg: 12.0,
            },
            ..book.night.skip(seen(name), "as an example".into())
        }
    }

    /// A turn that another program writes down while a frame is measured makes the frame one of before; telling the side does not.
    #[test]
    fn what_is_told_during_a_measurement_comes_before_its_frame() {
        let folder = tempfile::tempdir().expect("a folder");
        let session = folder.path().join("s.toml");
        let mut eyes =
            Logbook::begin(&session, Path::new(INSTRUMENT), &Beginning::default()).expect("begun");
        let mut hands = Logbook::open(&session).expect("open");
        let measured = card(&eyes, "first.fits");
        hands
            .told(Happening::Side { side: Side::Inside })
            .expect("told");
        eyes.kept(measured).expect("kept");
        assert!(matches!(
            eyes.night.events().last().map(|event| &event.what),
            Some(Happening::CardSeen { .. })
        ));
        for what in [
            Happening::Turned {
                screw: "B".into(),
                clockwise_turns: 0.125,
            },
            Happening::Undo,
        ] {
            let measured = card(&eyes, &format!("{what:?}"));
            hands.told(what).expect("told");
            let looked = eyes.kept(measured).expect("kept");
            assert!(matches!(looked, Looked::Skipped(report) if report.skipped == OVERTAKEN));
            assert!(matches!(
                eyes.night.events().last().map(|event| &event.what),
                Some(Happening::Skipped { reason, .. }) if reason == OVERTAKEN
            ));
        }
        let events = Logbook::open(&session).expect("open");
        assert_eq!(events.night.events().len(), 6);
    }

    /// A frame of no use is in the session once, however often it is handed in.
    #[test]
    fn the_same_useless_frame_is_written_down_once() {
        let folder = tempfile::tempdir().expect("a folder");
        let session = folder.path().join("s.toml");
        let mut book =
            Logbook::begin(&session, Path::new(INSTRUMENT), &Beginning::default()).expect("begun");
        for _ in 0..3 {
            book.skip(seen("cloud.fits"), "no star".into())
                .expect("kept");
        }
        assert_eq!(book.night.events().len(), 1);
    }
}
