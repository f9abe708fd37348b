//! A folder that a camera writes into: which files are pictures, new and whole.
//!
//! The folder is read again and again rather than waited on: notices of the system do not come from network shares. A file counts by what is in
//! it, so that one that is renamed or moved is no new one, and one that is written over is.

use crate::night::{Event, FileSeen};
use sha2::{Digest, Sha256};
use std::collections::{HashMap, HashSet};
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

/// What a folder has to offer.
#[derive(Debug)]
pub enum Arrival {
    /// A whole new file: who it is, and its bytes.
    Whole(FileSeen, Vec<u8>),
    /// A file that stayed unreadable.
    Unreadable(FileSeen, String),
}

/// A folder that is followed.
#[derive(Debug)]
pub struct Folder {
    root: PathBuf,
    /// Older files are not looked at.
    since: SystemTime,
    /// Contents that were dealt with.
    known: HashSet<String>,
    /// Files that were dealt with, by name, length and time: they need not be read again.
    done: HashMap<PathBuf, Stamp>,
    /// Files that are being written.
    open: HashMap<PathBuf, (Stamp, SystemTime, SystemTime)>,
}

/// Length and last change of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Stamp {
    bytes: u64,
    written_ms: u64,
}

/// A file whose kind does not say how long it will be is whole after this long without a change …
const UNCHANGED: Duration = Duration::from_secs(2);
/// … and given up after this long where it cannot be read.
const GIVEN_UP: Duration = Duration::from_secs(10);
/// Longer files are no frames of a camera.
const BYTES_AT_MOST: u64 = 1 << 31;
/// Folders in folders, by date or by target, down to this depth.
const DEPTH: usize = 6;
const ENDINGS: [&str; 9] = [
    "fits", "fit", "fts", "fz", "gz", "tif", "tiff", "png", "jpg",
];

impl Folder {
    /// Follows a folder from a moment on; what events of the night deal with is not offered again.
    pub fn new(root: &Path, since: SystemTime, events: &[Event]) -> Folder {
        let mut folder = Folder {
            root: root.to_owned(),
            since,
            known: HashSet::new(),
            done: HashMap::new(),
            open: HashMap::new(),
        };
        for event in events {
            if let Some(file) = event.what.file() {
                folder.known.insert(file.sha256.clone());
                let stamp = Stamp {
                    bytes: file.bytes,
                    written_ms: file.written_ms,
                };
                folder.done.insert(root.join(&file.file), stamp);
            }
        }
        folder
    }

    /// The next new file, the oldest first; `None` where there is none just now.
    ///
    /// # Errors
    /// Where the folder itself cannot be read.
    pub fn next(&mut self, now: SystemTime) -> io::Result<Option<Arrival>> {
        let mut all = Vec::new();
        pictures(&self.root, DEPTH, &mut all)?;
        let mut waiting: Vec<(u64, PathBuf, Stamp)> = Vec::new();
        for path in all {
            let Some(stamp) = Stamp::of(&path) else {
                continue;
            };
            let is_new =
                stamp.written_ms >= millis(self.since) && self.done.get(&path) != Some(&stamp);
            if is_new {
                waiting.push((stamp.written_ms, path, stamp));
            }
        }
        waiting.sort_by(|a, b| (a.0, &a.1).cmp(&(b.0, &b.1)));
        for (_, path, stamp) in waiting {
            if let Some(arrival) = self.offered(&path, stamp, now) {
                return Ok(Some(arrival));
            }
        }
        Ok(None)
    }

    /// A file that is whole, or given up.
    fn offered(&mut self, path: &Path, stamp: Stamp, now: SystemTime) -> Option<Arrival> {
        let (seen, changed, first) = *self
            .open
            .entry(path.to_owned())
            .or_insert((stamp, now, now));
        let changed = if seen == stamp { changed } else { now };
        self.open.insert(path.to_owned(), (stamp, changed, first));
        let since = |then: SystemTime| now.duration_since(then).unwrap_or_default();
        let rested = since(changed) >= UNCHANGED;
        let given_up = since(changed) >= GIVEN_UP;
        let bytes = match read(path) {
            Ok(bytes) => bytes,
            Err(_) if !given_up => return None,
            Err(error) => {
                let file = self.named(path, stamp, "");
                self.settle(path, stamp);
                return Some(Arrival::Unreadable(
                    file,
                    format!("it cannot be read: {error}"),
                ));
            }
        };
        let whole = match wholeness(&bytes) {
            Some(whole) => whole,
            None => rested,
        };
        let own = bytes.len() as u64;
        if own != stamp.bytes || (!given_up && (!whole || bytes.is_empty())) {
            return None;
        }
        let digest = hex16(&Sha256::digest(&bytes));
        let file = self.named(path, stamp, &digest);
        self.settle(path, stamp);
        if bytes.is_empty() {
            return Some(Arrival::Unreadable(file, "it is empty".into()));
        }
        if !self.known.insert(digest) {
            return None;
        }
        Some(Arrival::Whole(file, bytes))
    }

    fn settle(&mut self, path: &Path, stamp: Stamp) {
        self.open.remove(path);
        self.done.insert(path.to_owned(), stamp);
    }

    fn named(&self, path: &Path, stamp: Stamp, digest: &str) -> FileSeen {
        let below = path.strip_prefix(&self.root).unwrap_or(path);
        FileSeen {
            file: below.display().to_string(),
            bytes: stamp.bytes,
            written_ms: stamp.written_ms,
            sha256: digest.to_owned(),
        }
    }
}

/// A file that somebody names, by its bytes.
pub fn named_file(path: &Path, bytes: &[u8]) -> FileSeen {
    FileSeen {
        file: path.display().to_string(),
        bytes: bytes.len() as u64,
        written_ms: Stamp::of(path).map_or(0, |stamp| stamp.written_ms),
        sha256: hex16(&Sha256::digest(bytes)),
    }
}

/// A file that somebody sends, by its bytes; without a word about when it was written last, at the moment it came.
pub fn sent_file(name: &str, written_ms: Option<u64>, now: SystemTime, bytes: &[u8]) -> FileSeen {
    FileSeen {
        file: name.to_owned(),
        bytes: bytes.len() as u64,
        written_ms: written_ms.unwrap_or_else(|| millis(now)),
        sha256: hex16(&Sha256::digest(bytes)),
    }
}

impl Stamp {
    fn of(path: &Path) -> Option<Stamp> {
        let about = fs::metadata(path).ok()?;
        Some(Stamp {
            bytes: about.len(),
            written_ms: millis(about.modified().ok()?),
        })
    }
}

fn millis(time: SystemTime) -> u64 {
    time.duration_since(UNIX_EPOCH)
        .unwrap_or_default()
        .as_millis() as u64
}

/// The files below a folder that are named like pictures; hidden ones and those of a folder that cannot be read are left out.
fn pictures(folder: &Path, depth: usize, all: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let Ok(entry) = entry else { continue };
        let name = entry.file_name();
        let name = name.to_string_lossy();
        if name.starts_with('.') {
            continue;
        }
        match entry.file_type() {
            Ok(kind) if kind.is_dir() && depth > 0 => {
                let _ = pictures(&entry.path(), depth - 1, all);
            }
            Ok(kind) if !kind.is_dir() && is_picture(&name) => all.push(entry.path()),
            _ => {}
        }
    }
    Ok(())
}

fn is_picture(name: &str) -> bool {
    let ending = name
        .rsplit_once('.')
        .map(|(_, ending)| ending.to_ascii_lowercase());
    ending.is_some_and(|ending| ending == "jpeg" || ENDINGS.contains(&ending.as_str()))
}

fn read(path: &Path) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?
        .take(BYTES_AT_MOST)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Whether a file is whole by what its kind says of its length; `None` where its kind does not say it.
pub(super) fn wholeness(bytes: &[u8]) -> Option<bool> {
    match bytes {
        _ if bytes.starts_with(b"SIMPLE  =") => fits_is_whole(bytes),
        // the last chunk of a PNG and the last marker of a JPEG
        _ if bytes.starts_with(b"\x89PNG") => Some(bytes.ends_with(b"IEND\xaeB`\x82")),
        _ if bytes.starts_with(b"\xff\xd8\xff") => Some(bytes.ends_with(b"\xff\xd9")),
        _ => None,
    }
}

const BLOCK: usize = 2880;
const CARD: usize = 80;

/// FITS standard 4.0, sections 3.3 and 4.4.1: headers of 36 cards a block, data of |BITPIX|·GCOUNT·(PCOUNT + ΠNAXISn)/8 bytes, filled up to
/// whole blocks. Whole where the header that promises the last data is followed by them; a last block without its filling counts.
fn fits_is_whole(bytes: &[u8]) -> Option<bool> {
    let mut at = 0;
    while at < bytes.len() {
        let Some((header_bytes, data_bytes)) = fits_unit(&bytes[at..]) else {
            return Some(false);
        };
        let data_at = at + header_bytes;
        let end = data_at.checked_add(data_bytes)?;
        if bytes.len() < end {
            return Some(false);
        }
        at = data_at + data_bytes.div_ceil(BLOCK) * BLOCK;
        // what follows an extension's place need not be one
        if bytes.len() > at && !bytes[at..].starts_with(b"XTENSION") {
            break;
        }
    }
    Some(true)
}

/// Bytes of a header, and of the data behind it; `None` where the header is not whole or makes no sense.
fn fits_unit(bytes: &[u8]) -> Option<(usize, usize)> {
    let (mut bits, mut axes, mut parameters, mut groups) = (0usize, Vec::new(), 0usize, 1usize);
    for (number, card) in bytes.chunks_exact(CARD).enumerate() {
        let card = String::from_utf8_lossy(card);
        let keyword = card.get(..8)?.trim_end();
        let whole = || -> Option<i64> {
            let value = card.get(10..)?.split('/').next()?;
            value.trim().parse().ok()
        };
        match keyword {
            "BITPIX" => bits = usize::try_from(whole()?.abs()).ok()?,
            "PCOUNT" => parameters = usize::try_from(whole()?).ok()?,
            "GCOUNT" => groups = usize::try_from(whole()?).ok()?,
            "NAXIS" => {}
            "END" => {
                let header = ((number + 1) * CARD).div_ceil(BLOCK) * BLOCK;
                let pixels = match axes.is_empty() {
                    true => 0,
                    false => axes
                        .iter()
                        .try_fold(1usize, |all, axis| all.checked_mul(*axis))?,
                };
                let values = groups.checked_mul(parameters.checked_add(pixels)?)?;
                return Some((header, values.checked_mul(bits / 8)?));
            }
            _ if keyword
                .strip_prefix("NAXIS")
                .is_some_and(|n| n.parse::<u8>().is_ok()) =>
            {
                axes.push(usize::try_from(whole()?).ok()?);
            }
            _ => {}
        }
    }
    None
}

/// The first 16 hexadecimal digits.
fn hex16(digest: &[u8]) -> String {
    digest[..8]
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

#[cfg(test)]
mod tests;
