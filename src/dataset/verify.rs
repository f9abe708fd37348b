//! Whether a set is whole: every item of a range once, every file as its record says, nothing that does not belong.
//!
//! The shell reads the files and hands their bytes in, one after the other, so that no more than one file is in memory. The
//! checksum of the content does not depend on how the range was cut into shards, or on who made which part.

use super::set::Set;
use super::shard::{
    FileRecord, RECORD_FORMAT, Shard, ShardRecord, cells_sha256, commitment, frame_sha256,
};
use crate::image_io::npz::{NpyValues, read_npz};
use crate::scenario::hex;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
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
}

/// Collects what was found, record after record.
pub struct Verifier<'a> {
    set: &'a Set,
    range: Range<u64>,
    runs: Vec<Shard>,
    damaged: Vec<String>,
    belonging: BTreeSet<String>,
    content: Sha256,
    commitments_checked: u64,
}

impl<'a> Verifier<'a> {
    /// Begins with a range of items.
    pub fn new(set: &'a Set, range: Range<u64>) -> Verifier<'a> {
        Verifier {
            set,
            range,
            runs: Vec::new(),
            damaged: Vec::new(),
            belonging: BTreeSet::new(),
            content: Sha256::new(),
            commitments_checked: 0,
        }
    }

    /// A file that all parts of the set share; `found` is `None` where it is not there.
    pub fn shared(&mut self, name: &str, wanted: &[u8], found: Option<&[u8]>) {
        self.belonging.insert(name.to_owned());
        match found {
            None => self.damaged.push(format!("{name} is missing")),
            Some(bytes) if bytes != wanted => self
                .damaged
                .push(format!("{name} is not what the recipe gives")),
            Some(_) => {}
        }
    }

    /// The record of a shard; returns it when it is one of this set. Hand them in in order of their names.
    pub fn record(&mut self, name: &str, bytes: &[u8]) -> Option<ShardRecord> {
        self.belonging.insert(name.to_owned());
        let read: Result<ShardRecord, _> = serde_json::from_slice(bytes);
        let record = match read {
            Ok(record) if record.format == RECORD_FORMAT => record,
            Ok(record) => {
                self.damaged
                    .push(format!("{name} has the format {:?}", record.format));
                return None;
            }
            Err(error) => {
                self.damaged.push(format!("{name} cannot be read: {error}"));
                return None;
            }
        };
        if record.set_sha256 != self.set.sha256 {
            self.damaged
                .push(format!("{name} belongs to another recipe or scenario"));
            return None;
        }
        let items = record.items;
        let apart = items.last.checked_sub(items.first);
        let count = apart.and_then(|apart| apart.checked_add(1));
        if count != Some(record.frame_sha256.len() as u64) {
            self.damaged.push(format!(
                "{name} lists another number of frames than of items"
            ));
            return None;
        }
        // a record is a stranger's file: it may name files of the set only, none elsewhere
        let stem = name.strip_suffix(".shard.json");
        let set = stem.and_then(|stem| stem.rsplit_once('.')).map(|two| two.0);
        let is_own = |file: &str| {
            let of_set = set.and_then(|set| file.strip_prefix(set));
            of_set.is_some_and(|rest| rest.starts_with('.')) && !file.contains(['/', '\\'])
        };
        if let Some(other) = record.files.iter().find(|file| !is_own(&file.name)) {
            self.damaged.push(format!(
                "{name} names {:?}, which is no file of the set",
                other.name
            ));
            return None;
        }
        self.runs.push(items);
        for (number, frame) in (items.first..).zip(&record.frame_sha256) {
            self.content.update(number.to_le_bytes());
            self.content.update(frame);
            let row = record.truth_sha256.get((number - items.first) as usize);
            self.content.update(row.map_or("", String::as_str));
        }
        Some(record)
    }

    /// One of a record's files; `found` is `None` where it is not there.
    pub fn file(&mut self, record: &ShardRecord, file: &FileRecord, found: Option<&[u8]>) {
        self.belonging.insert(file.name.clone());
        let wrong = match found {
            None => Some("is missing".to_owned()),
            Some(bytes) if bytes.len() as u64 != file.bytes => Some(format!(
                "has {} bytes, its record says {}",
                bytes.len(),
                file.bytes
            )),
            Some(bytes) if hex(&Sha256::digest(bytes)) != file.sha256 => {
                Some("does not fit its checksum".to_owned())
            }
            Some(bytes) if file.name.ends_with(".npz") => archive_fault(record, bytes),
            Some(bytes) if file.name.ends_with(".truth.csv") => table_fault(record, bytes),
            Some(_) => None,
        };
        self.damaged
            .extend(wrong.map(|what| format!("{} {what}", file.name)));
    }

    /// The withheld truth of a sealed shard, once the secret is known.
    pub fn withheld(
        &mut self,
        name: &str,
        record: &ShardRecord,
        secret: &[u8; 16],
        truth: Option<&[u8]>,
    ) {
        let wrong = match (truth, &record.truth_commitment) {
            (_, None) => Some("belongs to a shard that is not sealed"),
            (None, _) => Some("is missing"),
            (Some(truth), Some(promised)) if commitment(secret, truth) != *promised => {
                Some("is not the truth that was committed to")
            }
            _ => table_fault(record, truth.unwrap_or_default())
                .map(|_| "does not hold the shard's items"),
        };
        match wrong {
            Some(what) => self.damaged.push(format!("{name} {what}")),
            None => self.commitments_checked += 1,
        }
    }

    /// Sums up. `names` are all files of the folder.
    pub fn finish(mut self, names: &[String]) -> VerifyReport {
        let foreign: Vec<String> = names
            .iter()
            .filter(|name| !self.belonging.contains(*name))
            .cloned()
            .collect();
        self.runs.sort();
        let coverage = RangeCoverage::of(&self.runs, &self.range);
        let wanted = self.range.end - self.range.start;
        let complete = coverage.gaps.is_empty()
            && coverage.duplicates.is_empty()
            && coverage.beyond.is_empty()
            && self.damaged.is_empty()
            && foreign.is_empty();
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
            content_sha256: complete.then(|| hex(&self.content.finalize())),
            commitments_checked: self.commitments_checked,
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

/// What is wrong inside an archive whose bytes are as recorded.
fn archive_fault(record: &ShardRecord, bytes: &[u8]) -> Option<String> {
    let arrays = match read_npz(bytes) {
        Ok(arrays) => arrays,
        Err(error) => return Some(format!("cannot be read: {error}")),
    };
    let array = |name: &str| arrays.iter().find(|(own, _)| own == name).map(|(_, a)| a);
    let wanted: Vec<i64> = (record.items.first..=record.items.last)
        .map(|item| item as i64)
        .collect();
    match (array("item").map(|a| &a.values), array("frames")) {
        (Some(NpyValues::Whole(found)), Some(frames)) if *found == wanted => {
            let NpyValues::Counts(counts) = &frames.values else {
                return Some("holds frames that are not counts".into());
            };
            let size = (counts.len() / wanted.len()).max(1);
            let found = counts
                .chunks(size)
                .map(|frame| frame_sha256(frame.iter().copied()));
            let same = found.eq(record.frame_sha256.iter().cloned());
            (!same).then(|| "holds other frames than its record lists".into())
        }
        _ => Some("does not hold the items of its record".into()),
    }
}

/// What is wrong inside a truth table whose bytes are as recorded.
fn table_fault(record: &ShardRecord, bytes: &[u8]) -> Option<String> {
    let mut reader = csv::Reader::from_reader(bytes);
    let mut wanted = record.items.first;
    for (number, row) in reader.records().enumerate() {
        let Ok(row) = row else {
            return Some(format!("cannot be read at row {}", number + 1));
        };
        if row.get(0) != Some(wanted.to_string().as_str()) {
            return Some(format!("has no row for item {wanted} where it should be"));
        }
        let listed = record.truth_sha256.get(number);
        if listed.is_some_and(|sha256| *sha256 != cells_sha256(row.iter())) {
            return Some(format!(
                "has another row for item {wanted} than its record lists"
            ));
        }
        wanted += 1;
    }
    (wanted != record.items.last + 1).then(|| format!("ends before item {wanted}"))
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
