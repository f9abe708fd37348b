//! The session on disk: events are added under a lock, one whole line each, and are on disk before anybody is told.

use crate::night::{Event, Happening, Head, Instant, RecordError, events, line};
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

/// A session file, and how far it was read.
#[derive(Debug)]
pub struct NightFile {
    path: PathBuf,
    head: Head,
    /// Bytes up to the end of the last event that was read.
    read_to: u64,
    /// Lines before that.
    lines: usize,
    events: usize,
}

/// Longer sessions are refused before they are read.
const BYTES_AT_MOST: u64 = 1 << 28;

/// Why a session cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum NightFileError {
    /// The system does not hand it over.
    #[error("cannot {what} the session {}: {source}", path.display())]
    System {
        /// What was wanted.
        what: &'static str,
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// There is one already.
    #[error("the session {} is there already", path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// Its text is none of a night.
    #[error("{}: {source}", path.display())]
    Record {
        /// The file.
        path: PathBuf,
        /// Why.
        source: RecordError,
    },
}

impl NightFileError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            NightFileError::System { what: "read", .. } => {
                "is the path right? `skewstar night start --instrument FILE --session FILE` begins a night"
            }
            NightFileError::System { .. } => {
                "is there room on the disk, and may the file be written?"
            }
            NightFileError::Exists { .. } => {
                "go on with it (`skewstar night watch FOLDER --session` and this file), or name another file"
            }
            NightFileError::Record { source, .. } => source.hint(),
        }
    }
}

impl NightFile {
    /// Begins a session; a file of that name is never replaced.
    ///
    /// # Errors
    /// [`NightFileError`].
    pub fn create(path: &Path, head: &Head) -> Result<NightFile, NightFileError> {
        let text = head.text().map_err(|source| of_record(path, source))?;
        let folder = path
            .parent()
            .filter(|folder| !folder.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new("."));
        let write = || {
            std::fs::create_dir_all(folder)?;
            let mut new = tempfile::NamedTempFile::new_in(folder)?;
            new.write_all(text.as_bytes())?;
            new.as_file().sync_data()?;
            new.persist_noclobber(path).map_err(|error| error.error)
        };
        match write() {
            Ok(_) => NightFile::open(path).map(|(file, _)| file),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
                Err(NightFileError::Exists {
                    path: path.to_owned(),
                })
            }
            Err(source) => Err(of_system("write", path, source)),
        }
    }

    /// Opens a session and reads its events.
    ///
    /// # Errors
    /// [`NightFileError`].
    pub fn open(path: &Path) -> Result<(NightFile, Vec<Event>), NightFileError> {
        let mut file = File::open(path).map_err(|e| of_system("read", path, e))?;
        let text = text_from(&mut file, 0).map_err(|e| of_system("read", path, e))?;
        let (head, ends) = Head::read(&text).map_err(|source| of_record(path, source))?;
        let mut night = NightFile {
            path: path.to_owned(),
            head,
            read_to: ends as u64,
            lines: text[..ends].lines().count(),
            events: 0,
        };
        let events = night.take(&text[ends..])?;
        Ok((night, events))
    }

    /// What it starts with.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// Where it lies.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Events that others have added since it was read last.
    ///
    /// # Errors
    /// [`NightFileError`].
    pub fn news(&mut self) -> Result<Vec<Event>, NightFileError> {
        let read = || {
            let mut file = File::open(&self.path)?;
            match file.metadata()?.len() > self.read_to {
                true => text_from(&mut file, self.read_to),
                false => Ok(String::new()),
            }
        };
        let text = read().map_err(|e| of_system("read", &self.path, e))?;
        self.take(&text)
    }

    /// Adds an event. Returns what others have added before it, and then it: all of it is on disk.
    ///
    /// # Errors
    /// [`NightFileError`]; nothing was added then.
    pub fn append(&mut self, at: Instant, what: Happening) -> Result<Vec<Event>, NightFileError> {
        self.append_as(at, |_| what)
    }

    /// The same with an event that is chosen by what others have added before it; nobody adds anything in between.
    ///
    /// # Errors
    /// [`NightFileError`]; nothing was added then.
    pub fn append_as(
        &mut self,
        at: Instant,
        choose: impl FnOnce(&[Event]) -> Happening,
    ) -> Result<Vec<Event>, NightFileError> {
        let path = self.path.clone();
        let system = |source| of_system("write", &path, source);
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .open(&path)
            .map_err(system)?;
        file.lock().map_err(system)?;
        let text = text_from(&mut file, self.read_to).map_err(system)?;
        let mut all = self.take(&text)?;
        let what = choose(&all);
        let event = Event { at, what };
        let added = line(self.events + 1, &event).map_err(|source| of_record(&path, source))?;
        let mut add = || {
            // a line that was cut off by a kill ends here
            file.set_len(self.read_to)?;
            file.seek(SeekFrom::Start(self.read_to))?;
            file.write_all(added.as_bytes())?;
            file.sync_data()
        };
        add().map_err(system)?;
        self.read_to += added.len() as u64;
        self.lines += 1;
        self.events += 1;
        all.push(event);
        Ok(all)
    }

    /// The events of whole lines, and how far they go.
    fn take(&mut self, text: &str) -> Result<Vec<Event>, NightFileError> {
        let new = events(text, self.lines + 1).map_err(|source| of_record(&self.path, source))?;
        self.read_to += text.len() as u64;
        self.lines += text.lines().count();
        self.events += new.len();
        Ok(new)
    }
}

/// The rest of a file as text, up to its last line break: what is behind it is not whole.
fn text_from(file: &mut File, start: u64) -> io::Result<String> {
    file.seek(SeekFrom::Start(start))?;
    let mut bytes = Vec::new();
    file.take(BYTES_AT_MOST).read_to_end(&mut bytes)?;
    if bytes.len() as u64 == BYTES_AT_MOST {
        let long = format!("it has more than {BYTES_AT_MOST} bytes");
        return Err(io::Error::new(io::ErrorKind::InvalidData, long));
    }
    let whole = bytes.iter().rposition(|byte| *byte == b'\n');
    bytes.truncate(whole.map_or(0, |newline| newline + 1));
    String::from_utf8(bytes)
        .map_err(|_| io::Error::new(io::ErrorKind::InvalidData, "it is no UTF-8 text"))
}

fn of_system(what: &'static str, path: &Path, source: io::Error) -> NightFileError {
    NightFileError::System {
        what,
        path: path.to_owned(),
        source,
    }
}

fn of_record(path: &Path, source: RecordError) -> NightFileError {
    NightFileError::Record {
        path: path.to_owned(),
        source,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::night::FORMAT;

    fn started(folder: &Path) -> NightFile {
        let head = Head {
            format: FORMAT.into(),
            started: Instant::of_seconds(1.796e9),
            settle_s: 5.0,
            side: None,
            instrument_file: "garden.toml".into(),
            instrument: "format = 1\n".into(),
            response: None,
        };
        NightFile::create(&folder.join("night.toml"), &head).unwrap()
    }

    fn turned(k: usize) -> Happening {
        Happening::Turned {
            screw: "A".into(),
            clockwise_turns: k as f64 / 64.0,
        }
    }

    /// A kill leaves a part of a line, wherever it comes: what was told before is all there, and the next event is added whole.
    #[test]
    fn a_line_that_was_cut_off_anywhere_loses_nothing_else() {
        let folder = tempfile::tempdir().unwrap();
        let mut night = started(folder.path());
        for k in 1..4 {
            night.append(Instant::of_seconds(1.8e9), turned(k)).unwrap();
        }
        let whole = std::fs::read(night.path()).unwrap();
        let last = whole[..whole.len() - 1]
            .iter()
            .rposition(|byte| *byte == b'\n')
            .unwrap();
        for cut in last + 1..whole.len() {
            std::fs::write(night.path(), &whole[..cut]).unwrap();
            let (mut again, events) = NightFile::open(night.path()).unwrap();
            assert_eq!(events.len(), 2, "cut at {cut}");
            again.append(Instant::of_seconds(1.8e9), turned(9)).unwrap();
            let (_, events) = NightFile::open(night.path()).unwrap();
            let last = events.last().unwrap();
            assert_eq!((events.len(), &last.what), (3, &turned(9)), "cut at {cut}");
        }
    }

    /// Eight hands write at the same time: every line is there once, and each writer has seen all others' in the same order.
    #[test]
    fn many_hands_may_write_at_the_same_time() {
        let folder = tempfile::tempdir().unwrap();
        let path = started(folder.path()).path().to_owned();
        let seen: Vec<Vec<Event>> = std::thread::scope(|scope| {
            let hands: Vec<_> = (0..8)
                .map(|hand| {
                    let path = &path;
                    scope.spawn(move || {
                        let (mut night, mut seen) = NightFile::open(path).unwrap();
                        for k in 0..20 {
                            let at = Instant::of_seconds(1.8e9 + f64::from(k));
                            seen.extend(night.append(at, turned(1 + hand)).unwrap());
                        }
                        seen
                    })
                })
                .collect();
            hands.into_iter().map(|hand| hand.join().unwrap()).collect()
        });
        let (_, all) = NightFile::open(&path).unwrap();
        assert_eq!(all.len(), 160);
        for own in seen {
            assert_eq!(own, all[..own.len()]);
        }
    }

    #[test]
    fn a_session_is_never_replaced() {
        let folder = tempfile::tempdir().unwrap();
        let night = started(folder.path());
        let error = NightFile::create(night.path(), night.head()).unwrap_err();
        assert!(matches!(error, NightFileError::Exists { .. }));
    }
}
