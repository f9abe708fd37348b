//! Reading the truth: the table of a set, or the truth file of one rendered star.

use super::error::ScoreError;
use super::quantity::{Axis, Quantity};
use crate::flag::{Flag, Flags, UnknownFlag};
use serde::Deserialize;
use serde_json::Value as Json;
use std::collections::BTreeMap;
use std::str::FromStr;

/// The truth of one item, as far as it can be answered, and what an error is compared with.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TruthRow {
    /// Number of the item.
    pub item: u64,
    /// What is true.
    pub values: BTreeMap<Quantity, f64>,
    /// Cramér–Rao bound of each mode, nm.
    pub photon_nm: BTreeMap<u32, f64>,
    /// The same with the star's place known, nm.
    pub photon_place_known_nm: BTreeMap<u32, f64>,
    /// Groups that the item is of, by the columns `case` and `side`.
    pub groups: Vec<(&'static str, String)>,
    /// What the atmosphere adds to each mode, nm.
    pub seeing_nm: BTreeMap<u32, f64>,
    /// Electrons of the star.
    pub electrons: Option<f64>,
    /// Seeing.
    pub seeing_arcsec: Option<f64>,
}

impl TruthRow {
    /// Size of the misalignment: root of the sum of squares of Noll 5 to 11, nm.
    pub fn misalignment_nm(&self) -> f64 {
        let modes = (5..=11).filter_map(|noll| self.values.get(&Quantity::Mode(noll)));
        modes.map(|v| v * v).sum::<f64>().sqrt()
    }

    /// Takes a number by its column's name; whether the column is one that scores look at.
    fn put(&mut self, name: &str, value: f64) -> bool {
        let mode = |prefix: &str| name.strip_prefix(prefix).and_then(|noll| noll.parse().ok());
        if let Ok(quantity) = name.parse() {
            self.values.insert(quantity, value);
        } else if let Some(noll) = mode("sigma_photon_nm.") {
            self.photon_nm.insert(noll, value);
        } else if let Some(noll) = mode("sigma_photon_place_known_nm.") {
            self.photon_place_known_nm.insert(noll, value);
        } else if let Some(noll) = mode("sigma_seeing_nm.") {
            self.seeing_nm.insert(noll, value);
        } else if name == "electrons" {
            self.electrons = Some(value);
        } else if name == "seeing_arcsec" {
            self.seeing_arcsec = Some(value);
        } else {
            return false;
        }
        true
    }
}

/// Columns by which items are grouped.
const GROUPS: [&str; 2] = ["case", "side"];

/// Reads a truth table.
///
/// # Errors
/// [`ScoreError`] with the line, for a flag that is none too; columns that cannot be answered are not looked at.
pub fn read_truth_table(bytes: &[u8]) -> Result<Vec<TruthRow>, ScoreError> {
    let mut reader = csv::Reader::from_reader(bytes);
    let names = reader
        .headers()
        .map_err(|error| ScoreError::NoTruth(error.to_string()))?
        .clone();
    let item = names.iter().position(|name| name == "item");
    let flags = names.iter().position(|name| name == "flags");
    let (Some(item_column), Some(flags_column)) = (item, flags) else {
        return Err(ScoreError::NoTruth(
            "it has no columns item and flags".into(),
        ));
    };
    let mut rows = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| ScoreError::NoTruth(error.to_string()))?;
        let line = record.position().map_or(0, |place| place.line());
        let item = record.get(item_column).unwrap_or_default();
        let item = item.parse().map_err(|_| ScoreError::Line {
            line,
            reason: format!("item is {item:?}, but must be a whole number"),
        })?;
        known_flags(record.get(flags_column).unwrap_or_default())
            .map_err(|reason| ScoreError::Line { line, reason })?;
        let mut row = TruthRow {
            item,
            ..TruthRow::default()
        };
        for (name, cell) in names.iter().zip(&record) {
            let column = GROUPS.into_iter().find(|column| *column == name);
            if let Some(column) = column.filter(|_| !cell.is_empty()) {
                row.groups.push((column, cell.to_owned()));
                continue;
            }
            match cell.parse().ok().filter(|value: &f64| value.is_finite()) {
                Some(value) => {
                    row.put(name, value);
                }
                None if cell.is_empty() || !TruthRow::default().put(name, 0.0) => {}
                None => {
                    return Err(ScoreError::Line {
                        line,
                        reason: format!("{name} is {cell:?}, but must be a number, or empty"),
                    });
                }
            }
        }
        rows.push(row);
    }
    Ok(rows)
}

/// The flags of one row, with semicolons between.
fn known_flags(cell: &str) -> Result<Flags, String> {
    let names = cell.split(';').filter(|name| !name.is_empty());
    let flags: Result<Flags, UnknownFlag> = names.map(Flag::from_str).collect();
    flags.map_err(|unknown| format!("flags: {unknown}"))
}

/// Reads the truth file of one rendered star; it is item 0.
///
/// # Errors
/// [`ScoreError::NoTruth`].
pub fn read_truth_json(bytes: &[u8]) -> Result<TruthRow, ScoreError> {
    let truth: Json =
        serde_json::from_slice(bytes).map_err(|error| ScoreError::NoTruth(error.to_string()))?;
    match truth["format"].as_str() {
        Some("skewstar-truth/2") => {}
        Some("skewstar-truth/1") => {
            return Err(ScoreError::NoTruth(
                "it is skewstar-truth/1, written before 0.2.0; render the scenario again for skewstar-truth/2".into(),
            ));
        }
        _ => {
            return Err(ScoreError::NoTruth(
                "its format is not skewstar-truth/2".into(),
            ));
        }
    }
    Flags::deserialize(&truth["flags"]).map_err(|reason| {
        ScoreError::NoTruth(format!("its flags are not those of a truth: {reason}"))
    })?;
    let mut row = TruthRow::default();
    for key in [
        "modes_nm",
        "turns",
        "undo_turns",
        "sigma_photon_nm",
        "sigma_photon_place_known_nm",
        "sigma_seeing_nm",
    ] {
        for (inner, value) in truth[key].as_object().into_iter().flatten() {
            if let Some(value) = value.as_f64() {
                row.put(&format!("{key}.{inner}"), value);
            }
        }
    }
    for key in ["sensor_offset_um", "electrons"] {
        if let Some(value) = truth[key].as_f64() {
            row.put(key, value);
        }
    }
    for (at, axis) in [Axis::X, Axis::Y].into_iter().enumerate() {
        if let Some(value) = truth["doughnut"]["dark_shift_px"][at].as_f64() {
            row.values.insert(Quantity::DarkShift(axis), value);
        }
    }
    for spike in truth["spikes"].as_array().into_iter().flatten() {
        if let (Some(region), Some(value)) = (spike["region"].as_u64(), spike["shift_px"].as_f64())
        {
            row.values.insert(Quantity::Spike(region as u32), value);
        }
    }
    Ok(row)
}
