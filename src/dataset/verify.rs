//! Whether a set is whole: every item of a range once, every record and file as the recipe makes it, nothing that does not belong.
//!
//! The shell reads the files and hands their bytes in, one after the other, so that no more than one file is in memory. The
//! checksum of the content does not depend on how the range was cut into shards, or on who made which part. What a record says is
//! believed nowhere: it is held against the recipe, its files, what can be drawn again without a frame (cases, values, seeds), and, for
//! the items that [`Verifier::remade`] is handed, against the item made again.

use super::error::SetError;
use super::recipe::FrameFiles;
use super::set::Set;
use super::shard::{
    FileRecord, RECORD_FORMAT, Shard, ShardRecord, commitment, frame_sha256, row_sha256,
    secret_sha256, shard_stem,
};
use super::table::Table;
use super::verify_files::{
    Drawing, archive_fault, array_fault, cube_fault, expected_fault, fits_fault, known_fault,
    table_fault,
};
use crate::scenario::hex;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

/// What was found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct VerifyReport {
    /// `skewstar-set/1`.
    pub format: &'static str,
    /// Whether nothing is wrong.
    pub complete: bool,
    /// Items that should be there.
    pub items_wanted: u64,
    /// Items that are there, each counted once.
    pub items_found: u64,
    /// Runs of items that are missing.
    pub gaps: Vec<Shard>,
    /// Runs of items that are there more than once.
    pub duplicates: Vec<Shard>,
    /// Runs of items outside the range.
    pub beyond: Vec<Shard>,
    /// What is wrong with files, one sentence each.
    pub damaged: Vec<String>,
    /// Files that are not of this set.
    pub foreign: Vec<String>,
    /// SHA-256 over all frames and rows in order of the items; `None` unless complete.
    pub content_sha256: Option<String>,
    /// Shards whose withheld truth was checked against its commitment.
    pub commitments_checked: u64,
    /// Items that were made again.
    pub remade: Vec<u64>,
    /// Shards that are there.
    pub shards: u64,
    /// Bytes of their files.
    pub bytes: u64,
}

/// Collects what was found, record after record.
pub struct Verifier<'a> {
    set: &'a Set,
    table: &'a Table,
    stem: &'a str,
    range: Range<u64>,
    /// Checksum of the set's secret, as far as it is published.
    seal: Option<String>,
    runs: Vec<Shard>,
    damaged: Vec<String>,
    belonging: BTreeSet<String>,
    /// Frame and row of every item by its checksum.
    content: BTreeMap<u64, String>,
    commitments_checked: u64,
    remade: Vec<u64>,
    bytes: u64,
}

impl<'a> Verifier<'a> {
    /// Begins with a range of items; `stem` is what names of files begin with.
    pub fn new(set: &'a Set, table: &'a Table, stem: &'a str, range: Range<u64>) -> Verifier<'a> {
        Verifier {
            set,
            table,
            stem,
            range,
            seal: set.secret().map(|secret| secret_sha256(&secret)),
            runs: Vec::new(),
            damaged: Vec::new(),
            belonging: BTreeSet::new(),
            content: BTreeMap::new(),
            commitments_checked: 0,
            remade: Vec::new(),
            bytes: 0,
        }
    }

    /// A file that all parts of the set share; `found` is `None` where it is not there.
    pub fn shared(&mut self, name: &str, wanted: &[u8], found: Option<&[u8]>) {
        self.belonging.insert(name.to_owned());
        match found {
            None => self.fault(name, "is missing"),
            Some(bytes) if bytes != wanted => self.fault(name, "is not what the recipe gives"),
            Some(_) => {}
        }
    }

    /// The published seal of a set whose secret is not known.
    pub fn seal(&mut self, name: &str, found: Option<&[u8]>) {
        self.belonging.insert(name.to_owned());
        let seal: Option<super::shard::Seal> =
            found.and_then(|bytes| serde_json::from_slice(bytes).ok());
        match seal.filter(super::shard::Seal::is_one) {
            Some(seal) => self.seal = Some(seal.secret_sha256),
            None => self.fault(name, "is no seal"),
        }
    }

    /// A file that belongs to the set and is looked at elsewhere.
    pub fn belongs(&mut self, name: &str) {
        self.belonging.insert(name.to_owned());
    }

    fn fault(&mut self, name: &str, what: &str) {
        self.damaged.push(format!("{name} {what}"));
    }

    /// The record of a shard; returns it when it is one of this set.
    pub fn record(&mut self, name: &str, bytes: &[u8]) -> Option<ShardRecord> {
        self.belonging.insert(name.to_owned());
        let record: ShardRecord = match serde_json::from_slice(bytes) {
            Ok(record) => record,
            Err(error) => {
                self.fault(name, &format!("cannot be read: {error}"));
                return None;
            }
        };
        if let Some(fault) = self.record_fault(name, &record) {
            self.fault(name, &fault);
            return None;
        }
        if record.text().ok().as_deref() != Some(bytes) {
            self.fault(name, "is not written as this program writes it");
        }
        self.runs.push(record.items);
        for (number, frame) in (record.items.first..).zip(&record.frame_sha256) {
            let row = record
                .truth_sha256
                .get((number - record.items.first) as usize);
            let row = row.map_or("", String::as_str);
            self.content.insert(number, format!("{frame}{row}"));
        }
        Some(record)
    }

    /// The first field of a record that is not as it should be.
    fn record_fault(&self, name: &str, record: &ShardRecord) -> Option<String> {
        if record.format != RECORD_FORMAT {
            return Some(format!("has the format {:?}", record.format));
        }
        if record.set_sha256 != self.set.sha256 {
            return Some("belongs to another recipe or scenario".into());
        }
        let version = env!("CARGO_PKG_VERSION");
        if record.version != version {
            return Some(format!(
                "was made by version {:?}, this is {version}: other versions make other bytes",
                record.version
            ));
        }
        let items = record.items;
        let apart = items.last.checked_sub(items.first);
        let count = apart.and_then(|apart| apart.checked_add(1));
        if count != Some(record.frame_sha256.len() as u64) {
            return Some("lists another number of frames than of items".into());
        }
        if name != format!("{}.shard.json", shard_stem(self.stem, items)) {
            return Some(format!(
                "says that it holds the items {} to {}",
                items.first, items.last
            ));
        }
        let rows = if self.set.sealed() {
            0
        } else {
            record.frame_sha256.len()
        };
        if record.truth_sha256.len() != rows {
            return Some(format!(
                "lists {} rows, not {rows}",
                record.truth_sha256.len()
            ));
        }
        if record.secret_sha256 != self.seal {
            return Some(match (&record.secret_sha256, &self.seal) {
                (None, _) => "is not sealed".into(),
                (_, None) => "is sealed, unlike this set".into(),
                _ => "is a shard of another secret".into(),
            });
        }
        if record.truth_commitment.is_some() != self.set.sealed() {
            return Some("does not commit to a truth as the set does".into());
        }
        let is_hex = |sum: &String| sum.len() == 64 && sum.bytes().all(|b| b.is_ascii_hexdigit());
        if !record.truth_commitment.iter().all(is_hex) {
            return Some("commits to nothing that is a checksum".into());
        }
        let names: Vec<&str> = record.files.iter().map(|file| file.name.as_str()).collect();
        let wanted = self.wanted_files(items);
        let without = |list: &[&str]| -> Vec<String> {
            // builds with and without that feature make parts of one set
            let kept = list.iter().filter(|file| !file.ends_with(".truth.parquet"));
            kept.map(|file| (*file).to_owned()).collect()
        };
        let wanted: Vec<&str> = wanted.iter().map(String::as_str).collect();
        if let Some(other) = names.iter().find(|own| !wanted.contains(own)) {
            return Some(format!("names {other:?}, which is no file of the shard"));
        }
        if without(&names) != without(&wanted) {
            return Some("does not name the files of the shard, each once and in order".into());
        }
        None
    }

    /// Files of a shard in order, the record left out.
    fn wanted_files(&self, items: Shard) -> Vec<String> {
        let base = shard_stem(self.stem, items);
        let mut files = Vec::new();
        for kind in &self.set.recipe.files {
            match kind {
                FrameFiles::Fits => files.extend(
                    (items.first..=items.last).map(|item| format!("{}.{item:010}.fits", self.stem)),
                ),
                other => files.push(format!("{base}.{}", other.ending())),
            }
        }
        if !self.set.known().is_empty() || self.set.recipe.case_known {
            files.push(format!("{base}.known.csv"));
        }
        if !self.set.sealed() {
            files.push(format!("{base}.truth.csv"));
            files.push(format!("{base}.truth.parquet"));
            if self.set.recipe.expected {
                files.push(format!("{base}.expected.npy"));
            }
        }
        files
    }

    /// One of a record's files; `found` is `None` where it is not there.
    pub fn file(&mut self, record: &ShardRecord, file: &FileRecord, found: Option<&[u8]>) {
        self.belonging.insert(file.name.clone());
        let fault = match found {
            None => Some("is missing".to_owned()),
            Some(bytes) if bytes.len() as u64 != file.bytes => Some(format!(
                "has {} bytes, its record says {}",
                bytes.len(),
                file.bytes
            )),
            Some(bytes) if hex(&Sha256::digest(bytes)) != file.sha256 => {
                Some("does not fit its checksum".to_owned())
            }
            Some(bytes) => {
                self.bytes += bytes.len() as u64;
                self.inside(record, &file.name, bytes)
            }
        };
        self.damaged
            .extend(fault.map(|what| format!("{} {what}", file.name)));
    }

    /// What is wrong inside a file whose bytes are as recorded.
    fn inside(&self, record: &ShardRecord, name: &str, bytes: &[u8]) -> Option<String> {
        // of a sealed set whose secret is not known nothing can be drawn again
        let drawing = Drawing {
            set: self.set,
            table: self.table,
            drawn: !self.set.sealed() || self.set.secret().is_some(),
        };
        if name.ends_with(".npz") {
            archive_fault(&drawing, record, bytes)
        } else if name.ends_with(".expected.npy") {
            expected_fault(&drawing, record, bytes)
        } else if name.ends_with(".npy") {
            array_fault(record, bytes)
        } else if name.ends_with(".cube.fits") {
            cube_fault(&drawing, record, bytes)
        } else if name.ends_with(".fits") {
            fits_fault(&drawing, record, name, bytes)
        } else if name.ends_with(".known.csv") {
            known_fault(&drawing, record, bytes)
        } else if name.ends_with(".truth.csv") {
            table_fault(&drawing, record, bytes)
        } else {
            None // a Parquet table, which `beside` holds against its CSV table
        }
    }

    /// A Parquet table and the CSV table beside it.
    #[cfg(feature = "parquet")]
    pub fn beside(&mut self, name: &str, csv: &[u8], found: &[u8]) {
        if let Some(fault) = super::verify_files::parquet_fault(self.table, csv, found) {
            self.fault(name, &fault);
        }
    }

    /// The withheld truth of a sealed shard, once the secret is known.
    pub fn withheld(
        &mut self,
        name: &str,
        record: &ShardRecord,
        secret: &[u8; 16],
        truth: Option<&[u8]>,
    ) {
        let drawing = Drawing {
            set: self.set,
            table: self.table,
            drawn: true,
        };
        let wrong = match (truth, &record.truth_commitment) {
            (_, None) => Some("belongs to a shard that is not sealed".to_owned()),
            (None, _) => Some("is missing".to_owned()),
            (Some(truth), Some(promised)) if commitment(secret, truth) != *promised => {
                Some("is not the truth that was committed to".to_owned())
            }
            (Some(truth), _) => table_fault(&drawing, record, truth),
        };
        match wrong {
            Some(what) => self.fault(name, &what),
            None => self.commitments_checked += 1,
        }
    }

    /// Makes an item of a record again and compares it: the frame, its row, and its FITS file where there is one. Frames to expect are
    /// not compared.
    ///
    /// # Errors
    /// As [`Set::make`].
    pub fn remade(&mut self, record: &ShardRecord, number: u64) -> Result<(), SetError> {
        let item = self.set.make(number)?;
        self.remade.push(number);
        let at = (number - record.items.first) as usize;
        let base = shard_stem(self.stem, record.items);
        let frame = frame_sha256(item.frame.counts_adu.iter().copied());
        if record.frame_sha256.get(at) != Some(&frame) {
            let what = format!("lists another frame for item {number} than the recipe makes");
            self.fault(&format!("{base}.shard.json"), &what);
        }
        let row = row_sha256(&self.table.row(&item)?);
        if record
            .truth_sha256
            .get(at)
            .is_some_and(|listed| *listed != row)
        {
            let what = format!("has another row for item {number} than the recipe makes");
            self.fault(&format!("{base}.truth.csv"), &what);
        }
        let name = format!("{}.{number:010}.fits", self.stem);
        if let Some(file) = record.files.iter().find(|file| file.name == name) {
            let bytes = super::frames::fits_file(self.set, &item)?;
            if hex(&Sha256::digest(&bytes)) != file.sha256 {
                self.fault(&name, "is not the file that the recipe makes");
            }
        }
        Ok(())
    }

    /// Sums up. `names` are all files of the folder.
    pub fn finish(mut self, names: &[String]) -> VerifyReport {
        let strange = names.iter().filter(|name| !self.belonging.contains(*name));
        let foreign: Vec<String> = strange.cloned().collect();
        self.runs.sort();
        let coverage = RangeCoverage::of(&self.runs, &self.range);
        let wanted = self.range.end - self.range.start;
        let complete = coverage.gaps.is_empty()
            && coverage.duplicates.is_empty()
            && coverage.beyond.is_empty()
            && self.damaged.is_empty()
            && foreign.is_empty();
        let mut content = Sha256::new();
        for (number, sums) in &self.content {
            content.update(number.to_le_bytes());
            content.update(sums);
        }
        self.remade.sort_unstable();
        VerifyReport {
            format: "skewstar-set/1",
            complete,
            items_wanted: wanted,
            items_found: wanted - coverage.gaps.iter().map(length).sum::<u64>(),
            gaps: coverage.gaps,
            duplicates: coverage.duplicates,
            beyond: coverage.beyond,
            damaged: self.damaged,
            foreign,
            content_sha256: complete.then(|| hex(&content.finalize())),
            commitments_checked: self.commitments_checked,
            remade: self.remade,
            shards: self.runs.len() as u64,
            bytes: self.bytes,
        }
    }
}

fn length(run: &Shard) -> u64 {
    run.last - run.first + 1
}

/// How sorted runs of items cover a range.
#[derive(Debug, Default, PartialEq, Eq)]
struct RangeCoverage {
    gaps: Vec<Shard>,
    duplicates: Vec<Shard>,
    beyond: Vec<Shard>,
}

impl RangeCoverage {
    fn of(runs: &[Shard], range: &Range<u64>) -> RangeCoverage {
        let mut coverage = RangeCoverage::default();
        let push = |runs: &mut Vec<Shard>, first: u64, end: u64| {
            if first < end {
                runs.push(Shard {
                    first,
                    last: end - 1,
                });
            }
        };
        let mut next = range.start;
        let mut covered_to = 0;
        for run in runs {
            let (first, end) = (run.first, run.last.saturating_add(1));
            push(&mut coverage.duplicates, first, end.min(covered_to));
            push(&mut coverage.beyond, first, end.min(range.start));
            push(&mut coverage.beyond, first.max(range.end), end);
            push(&mut coverage.gaps, next, first.min(range.end));
            next = next.max(end);
            covered_to = covered_to.max(end);
        }
        push(&mut coverage.gaps, next, range.end);
        coverage
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(first: u64, last: u64) -> Shard {
        Shard { first, last }
    }

    #[test]
    fn gaps_duplicates_and_items_beyond_are_named() {
        let whole = RangeCoverage::of(&[run(0, 4), run(5, 9)], &(0..10));
        assert_eq!(whole, RangeCoverage::default());
        let found = RangeCoverage::of(&[run(0, 4), run(3, 6), run(9, 12)], &(1..11));
        assert_eq!(found.gaps, [run(7, 8)]);
        assert_eq!(found.duplicates, [run(3, 4)]);
        assert_eq!(found.beyond, [run(0, 0), run(11, 12)]);
        assert_eq!(RangeCoverage::of(&[], &(3..5)).gaps, [run(3, 4)]);
        let inside = RangeCoverage::of(&[run(0, 9), run(2, 3)], &(0..10));
        assert_eq!(inside.duplicates, [run(2, 3)]);
        assert!(inside.gaps.is_empty());
        let apart = RangeCoverage::of(&[run(20, 29)], &(0..10));
        assert_eq!(
            (apart.gaps, apart.beyond),
            (vec![run(0, 9)], vec![run(20, 29)])
        );
    }
}
