//! Shards: a run of items, their frames, their rows of the truth table, and a record that seals them with checksums.
//!
//! Where a shard begins and ends depends on the items' numbers alone: a range of items is cut at the multiples of the recipe's
//! `shard_items`. A range that begins or ends in the middle of one gets the part that is in it.

use super::error::SetError;
use super::frames::{expected_frames, frame_files};
use super::known::known_table;
use super::set::{Item, Set};
use super::table::{Table, TableCell};
use crate::scenario::hex;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::ops::Range;
use std::sync::atomic::{AtomicBool, Ordering};

/// A run of items, both ends included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Shard {
    /// First item.
    pub first: u64,
    /// Last item.
    pub last: u64,
}

/// Cuts a range of items at the multiples of `shard_items`.
///
/// ```
/// use skewstar::dataset::shards;
/// // A range that begins inside a shard gets the rest of that shard first.
/// let runs: Vec<_> = shards(7..21, 10).map(|shard| (shard.first, shard.last)).collect();
/// assert_eq!(runs, [(7, 9), (10, 19), (20, 20)]);
/// ```
pub fn shards(range: Range<u64>, shard_items: u64) -> impl Iterator<Item = Shard> {
    let (mut next, end) = (range.start, range.end);
    std::iter::from_fn(move || {
        let first = next;
        next = (first / shard_items + 1)
            .saturating_mul(shard_items)
            .min(end);
        (first < end).then(|| Shard {
            first,
            last: next - 1,
        })
    })
}

/// What a shard's files are, written last: where it lies, the shard is complete.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShardRecord {
    /// `skewstar-shard/1`.
    pub format: String,
    /// Version of the program.
    pub version: String,
    /// [`Set::sha256`].
    pub set_sha256: String,
    /// The items.
    pub items: Shard,
    /// Its files.
    pub files: Vec<FileRecord>,
    /// SHA-256 of each frame's counts (16 bits each, little-endian, row 0 first), in order of the items.
    pub frame_sha256: Vec<String>,
    /// SHA-256 of each row of the truth table; empty for a sealed set.
    pub truth_sha256: Vec<String>,
    /// For a sealed set: the published checksum of its secret, so that shards of another secret are told before the opening.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub secret_sha256: Option<String>,
    /// For a sealed set: SHA-256 of its secret followed by the shard's truth table.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub truth_commitment: Option<String>,
}

impl ShardRecord {
    /// The bytes of its file.
    ///
    /// # Errors
    /// None in practice: everything is written to memory.
    pub fn text(&self) -> Result<Vec<u8>, SetError> {
        let text = serde_json::to_vec_pretty(self);
        let mut text = text.map_err(|error| SetError::Table(error.to_string()))?;
        text.push(b'\n');
        Ok(text)
    }
}

/// One file of a shard.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileRecord {
    /// Its name.
    pub name: String,
    /// Its length.
    pub bytes: u64,
    /// SHA-256 of its bytes.
    pub sha256: String,
}

/// What is published of the secret of a sealed set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Seal {
    format: String,
    /// [`secret_sha256`].
    pub secret_sha256: String,
}

impl Seal {
    /// The seal of a secret.
    pub fn of(secret: &[u8; 16]) -> Seal {
        Seal {
            format: SEAL_FORMAT.into(),
            secret_sha256: secret_sha256(secret),
        }
    }

    /// Whether it is one of this program.
    pub fn is_one(&self) -> bool {
        let digits = self.secret_sha256.bytes().all(|b| b.is_ascii_hexdigit());
        self.format == SEAL_FORMAT && self.secret_sha256.len() == 64 && digits
    }
}

const SEAL_FORMAT: &str = "skewstar-seal/1";

/// `skewstar-shard/1`.
pub const RECORD_FORMAT: &str = "skewstar-shard/1";

/// Files of a shard, in the order in which they are to be written.
pub struct ShardFiles {
    /// Frames, and the truth unless it is sealed; the record last.
    pub public: Vec<(String, Vec<u8>)>,
    /// The truth of a sealed set.
    pub withheld: Vec<(String, Vec<u8>)>,
}

/// What names of files begin with.
pub fn shard_stem(stem: &str, shard: Shard) -> String {
    format!("{stem}.{:010}-{:010}", shard.first, shard.last)
}

/// The items of a shard by the name of its record; `None` for any other file.
pub fn shard_of_record(file: &str, stem: &str) -> Option<Shard> {
    let items = file.strip_prefix(stem)?.strip_prefix('.')?;
    let (first, last) = items.strip_suffix(".shard.json")?.split_once('-')?;
    Some(Shard {
        first: first.parse().ok()?,
        last: last.parse().ok()?,
    })
}

/// Makes a shard.
///
/// `step` is told of every item that is done. Items are made on all threads; the bytes do not depend on how many.
///
/// # Errors
/// As [`Set::make`]; [`SetError::Stopped`] once the flag is raised.
pub fn build(
    set: &Set,
    table: &Table,
    stem: &str,
    shard: Shard,
    stop: &AtomicBool,
    step: &(dyn Fn() + Sync),
) -> Result<ShardFiles, SetError> {
    let items: Vec<Item> = (shard.first..=shard.last)
        .into_par_iter()
        .map(|number| {
            if stop.load(Ordering::SeqCst) {
                return Err(SetError::Stopped);
            }
            let item = set.make(number);
            step();
            item
        })
        .collect::<Result<_, _>>()?;
    let rows = items
        .iter()
        .map(|item| table.row(item))
        .collect::<Result<Vec<Vec<TableCell>>, SetError>>()?;
    let base = shard_stem(stem, shard);
    let mut truth = truth_files(table, &rows, &base)?;
    if set.recipe.expected {
        truth.push((format!("{base}.expected.npy"), expected_frames(set, &items)));
    }
    let mut public = frame_files(set, &items, stem, &base)?;
    if let Some(known) = known_table(set, &items)? {
        public.push((format!("{base}.known.csv"), known));
    }
    let sealed = set.secret();
    let truth_sha256 = match sealed {
        Some(_) => Vec::new(),
        None => rows.iter().map(|row| row_sha256(row)).collect(),
    };
    let truth_commitment = sealed.map(|secret| commitment(&secret, &truth[0].1));
    let mut withheld = Vec::new();
    if sealed.is_some() {
        withheld = truth;
    } else {
        public.extend(truth);
    }
    let record = ShardRecord {
        format: RECORD_FORMAT.into(),
        version: env!("CARGO_PKG_VERSION").into(),
        set_sha256: set.sha256.clone(),
        items: shard,
        files: public
            .iter()
            .map(|(name, bytes)| file_record(name, bytes))
            .collect(),
        frame_sha256: items
            .iter()
            .map(|item| frame_sha256(item.frame.counts_adu.iter().copied()))
            .collect(),
        truth_sha256,
        secret_sha256: sealed.map(|secret| secret_sha256(&secret)),
        truth_commitment,
    };
    public.push((format!("{base}.shard.json"), record.text()?));
    Ok(ShardFiles { public, withheld })
}

/// What binds the maker of a sealed set to its truth, without telling it.
pub fn commitment(secret: &[u8; 16], truth: &[u8]) -> String {
    let mut hash = Sha256::new();
    hash.update(b"skewstar-seal/1\0");
    hash.update(secret);
    hash.update(truth);
    hex(&hash.finalize())
}

/// The published checksum of a secret.
pub fn secret_sha256(secret: &[u8; 16]) -> String {
    let mut hash = Sha256::new();
    hash.update(b"skewstar-secret/1\0");
    hash.update(secret);
    hex(&hash.finalize())
}

/// Checksum of one frame.
pub fn frame_sha256(counts_adu: impl Iterator<Item = u16>) -> String {
    let bytes: Vec<u8> = counts_adu.flat_map(|adu| adu.to_le_bytes()).collect();
    hex(&Sha256::digest(bytes))
}

/// Checksum of one row: its cells as in the CSV file, each followed by a line end.
pub fn row_sha256(row: &[TableCell]) -> String {
    let cells: Vec<String> = row.iter().map(TableCell::text).collect();
    cells_sha256(cells.iter().map(String::as_str))
}

/// The same of cells as text.
pub(super) fn cells_sha256<'a>(cells: impl Iterator<Item = &'a str>) -> String {
    let mut hash = Sha256::new();
    for cell in cells {
        hash.update(cell);
        hash.update(b"\n");
    }
    hex(&hash.finalize())
}

fn file_record(name: &str, bytes: &[u8]) -> FileRecord {
    FileRecord {
        name: name.to_owned(),
        bytes: bytes.len() as u64,
        sha256: hex(&Sha256::digest(bytes)),
    }
}

/// The CSV table, and with the feature `parquet` the same as Parquet.
fn truth_files(
    table: &Table,
    rows: &[Vec<TableCell>],
    base: &str,
) -> Result<Vec<(String, Vec<u8>)>, SetError> {
    let mut files = vec![(format!("{base}.truth.csv"), table.csv(rows)?)];
    #[cfg(feature = "parquet")]
    files.push((
        format!("{base}.truth.parquet"),
        super::parquet_table::write(table, rows)?,
    ));
    files.shrink_to_fit();
    Ok(files)
}
