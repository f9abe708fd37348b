//! The truth of a set as a table: one row an item, the same columns for all. An empty cell is something that cannot be known,
//! with its reason in `flags`; there is never a NaN.
//!
//! A column has the name under which an answer gives the same quantity (`score::answers`), so the two can be laid side by side.

use super::error::SetError;
use super::regions::regions_differ;
use super::set::{Item, Set};
use super::value::{Drawn, TypedValue, ValueKind};
use crate::mask;
use crate::simulate::{DoughnutRecord, Numbered, Truth};
use crate::units::ARCSEC;
use serde_json::{Value as Json, json};

/// One column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Name, with its unit.
    pub name: String,
    /// What kind of values.
    pub kind: ColumnKind,
    /// One sentence.
    pub meaning: String,
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ColumnKind {
    /// Numbers.
    Number,
    /// Whole numbers.
    Whole,
    /// Text.
    Text,
}

/// One value.
#[derive(Debug, Clone, PartialEq)]
pub enum TableCell {
    /// Not known.
    Empty,
    /// A number.
    Number(f64),
    /// A whole number.
    Whole(u64),
    /// Text.
    Text(String),
}

/// The columns of a set.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// In order.
    pub columns: Vec<Column>,
    layout: Layout,
}

/// What decides the columns besides the recipe's keys.
#[derive(Debug, Clone, PartialEq)]
struct Layout {
    /// Names of the cases; empty where the set is no mixture.
    cases: Vec<String>,
    /// Whether noise can be drawn again by the seed of a row.
    seeds: bool,
    screws: Vec<String>,
    last_mode: u32,
    regions: usize,
    /// Whether regions lie elsewhere from item to item.
    regions_differ: bool,
    drawn: Vec<(String, ValueKind)>,
}

/// A row under construction: columns and cells grow together, so that they cannot fall apart.
#[derive(Default)]
struct Row {
    columns: Vec<Column>,
    cells: Vec<TableCell>,
}

impl Table {
    /// The columns of a set: those of all of its cases.
    ///
    /// # Errors
    /// Item 0 cannot be made.
    pub fn of(set: &Set) -> Result<Table, SetError> {
        let mut layout = Layout {
            cases: set
                .cases
                .iter()
                .filter_map(|case| case.name.clone())
                .collect(),
            seeds: !set.sealed(),
            screws: Vec::new(),
            last_mode: 0,
            regions: 0,
            regions_differ: set.cases.iter().any(regions_differ),
            drawn: Vec::new(),
        };
        let settings = crate::predict::Settings {
            bound: false,
            sampling_check: false,
            ..set.settings()
        };
        let mut first = None;
        for (at, case) in set.cases.iter().enumerate() {
            let item = set.example_of(at, 0, settings)?;
            let mask = case.base.instrument.mask.as_ref();
            layout.regions = layout
                .regions
                .max(mask.map_or(0, |m| mask::regions(m).len()));
            layout.last_mode = layout.last_mode.max(last_mode(&item.truth));
            for screw in &case.screws {
                if !layout.screws.contains(screw) {
                    layout.screws.push(screw.clone());
                }
            }
            for (key, kind) in set.values(at) {
                match layout.drawn.iter_mut().find(|(own, _)| *own == key) {
                    None => layout.drawn.push((key, kind)),
                    Some(there) if there.1 != kind => there.1 = ValueKind::Mixed,
                    Some(_) => {}
                }
            }
            first.get_or_insert(item);
        }
        let columns = first
            .map(|item| row(&layout, &item).columns)
            .unwrap_or_default();
        Ok(Table { columns, layout })
    }

    /// What is drawn under which key, in the order of its columns.
    pub fn drawn(&self) -> &[(String, ValueKind)] {
        &self.layout.drawn
    }

    /// The row of an item.
    ///
    /// # Errors
    /// [`SetError::Mode`] for a mode without a column.
    pub fn row(&self, item: &Item) -> Result<Vec<TableCell>, SetError> {
        let noll = last_mode(&item.truth);
        if noll > self.layout.last_mode {
            return Err(SetError::Mode {
                item: item.number,
                noll,
                last: self.layout.last_mode,
            });
        }
        Ok(row(&self.layout, item).cells)
    }

    /// Rows as CSV with a line of names, line ends `\n`; numbers have all their digits.
    ///
    /// # Errors
    /// None in practice: everything is written to memory.
    pub fn csv(&self, rows: &[Vec<TableCell>]) -> Result<Vec<u8>, SetError> {
        let failed = |error: csv::Error| SetError::Table(error.to_string());
        let mut writer = csv::Writer::from_writer(Vec::new());
        let names = self.columns.iter().map(|column| column.name.as_str());
        writer.write_record(names).map_err(failed)?;
        for row in rows {
            writer
                .write_record(row.iter().map(TableCell::text))
                .map_err(failed)?;
        }
        writer
            .into_inner()
            .map_err(|error| SetError::Table(error.to_string()))
    }

    /// Rows of a CSV table that [`Table::csv`] wrote.
    ///
    /// # Errors
    /// [`SetError::Table`] where a cell is none of its column.
    #[cfg(feature = "parquet")]
    pub(super) fn rows_of_csv(&self, bytes: &[u8]) -> Result<Vec<Vec<TableCell>>, SetError> {
        let failed = |error: csv::Error| SetError::Table(error.to_string());
        let mut reader = csv::Reader::from_reader(bytes);
        let cell = |(column, text): (&Column, &str)| {
            let wrong = || SetError::Table(format!("{} is {text:?}", column.name));
            match column.kind {
                ColumnKind::Text => Ok(TableCell::Text(text.to_owned())),
                _ if text.is_empty() => Ok(TableCell::Empty),
                ColumnKind::Number => text.parse().map(TableCell::Number).map_err(|_| wrong()),
                ColumnKind::Whole => text.parse().map(TableCell::Whole).map_err(|_| wrong()),
            }
        };
        let row = |record: Result<csv::StringRecord, csv::Error>| {
            let record = record.map_err(failed)?;
            self.columns.iter().zip(&record).map(cell).collect()
        };
        reader.records().map(row).collect()
    }

    /// JSON Schema of a row, as an object from name to value.
    pub fn schema(&self) -> String {
        let properties: serde_json::Map<String, Json> = self
            .columns
            .iter()
            .map(|column| {
                let kind = match column.kind {
                    ColumnKind::Number => json!(["number", "null"]),
                    ColumnKind::Whole => json!(["integer", "null"]),
                    ColumnKind::Text => json!("string"),
                };
                (
                    column.name.clone(),
                    json!({ "type": kind, "description": column.meaning }),
                )
            })
            .collect();
        let required: Vec<&String> = self.columns.iter().map(|column| &column.name).collect();
        let schema = json!({
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": "A row of the truth table: an empty cell of the CSV file is null",
            "type": "object",
            "properties": properties,
            "required": required,
            "additionalProperties": false,
        });
        format!("{schema:#}\n")
    }
}

impl TableCell {
    /// The value as CSV shows it.
    pub fn text(&self) -> String {
        match self {
            TableCell::Empty => String::new(),
            TableCell::Number(value) => format!("{value}"),
            TableCell::Whole(value) => value.to_string(),
            TableCell::Text(text) => text.clone(),
        }
    }
}

fn last_mode(truth: &Truth) -> u32 {
    truth.modes_nm.0.keys().next_back().copied().unwrap_or(0)
}

impl Row {
    fn push(&mut self, name: impl Into<String>, kind: ColumnKind, meaning: &str, cell: TableCell) {
        self.columns.push(Column {
            name: name.into(),
            kind,
            meaning: meaning.to_owned(),
        });
        self.cells.push(cell);
    }

    fn number(&mut self, name: impl Into<String>, meaning: &str, value: Option<f64>) {
        let finite = value.filter(|v| v.is_finite());
        self.push(
            name,
            ColumnKind::Number,
            meaning,
            finite.map_or(TableCell::Empty, TableCell::Number),
        );
    }

    fn place(&mut self, name: &str, meaning: &str, value: Option<[f64; 2]>) {
        for (axis, letter) in ["x", "y"].into_iter().enumerate() {
            self.number(format!("{name}.{letter}"), meaning, value.map(|v| v[axis]));
        }
    }
}

fn row(layout: &Layout, item: &Item) -> Row {
    let truth = &item.truth;
    let mut row = Row::default();
    row.push(
        "item",
        ColumnKind::Whole,
        "Number of the item.",
        TableCell::Whole(item.number),
    );
    if !layout.cases.is_empty() {
        let name = layout.cases.get(item.case).cloned();
        row.push(
            "case",
            ColumnKind::Text,
            "Case of the recipe that the item is of.",
            TableCell::Text(name.unwrap_or_default()),
        );
    }
    if layout.seeds {
        row.push(
            "seed",
            ColumnKind::Whole,
            "Seed of the frame's noise, as `render` takes it.",
            item.truth.seed.map_or(TableCell::Empty, TableCell::Whole),
        );
    }
    row.number(
        "sensor_offset_um",
        "How far the sensor sits beyond best focus; below 0: inside.",
        Some(truth.sensor_offset_um),
    );
    row.push(
        "side",
        ColumnKind::Text,
        "inside, outside or focus: the sign of the sensor offset.",
        TableCell::Text(truth.side.to_owned()),
    );
    screws(&mut row, layout, truth);
    modes(&mut row, layout, truth);
    light(&mut row, truth);
    shapes(&mut row, layout, truth);
    limits(&mut row, truth);
    let seeing = item.scenario.state.sky.seeing_rad;
    row.number(
        "seeing_arcsec",
        "Long-exposure width (FWHM) of the seeing at the zenith and 500 nm.",
        Some(seeing.unwrap_or(0.0) / ARCSEC),
    );
    drawn(&mut row, layout, item);
    let flags: Vec<String> = truth.flags.iter().map(|flag| flag.to_string()).collect();
    row.push(
        "flags",
        ColumnKind::Text,
        "What is special, and why cells are empty; separated by semicolons.",
        TableCell::Text(flags.join(";")),
    );
    row
}

fn screws(row: &mut Row, layout: &Layout, truth: &Truth) {
    for (name, turns, meaning) in [
        (
            "turns",
            &truth.turns,
            "Turns of this screw; above 0 it is longer than it should be.",
        ),
        ("undo_turns", &truth.undo_turns, "Turns that put it right."),
    ] {
        for screw in &layout.screws {
            row.number(
                format!("{name}.{screw}"),
                meaning,
                turns.get(screw).copied(),
            );
        }
    }
    row.place(
        "tilt_arcmin",
        "Tilt of the unit; points at the edge that was raised, pupil axes.",
        Some(truth.tilt_arcmin),
    );
    row.place(
        "decentre_mm",
        "How far the unit sits aside, pupil axes.",
        Some(truth.decentre_mm),
    );
    row.place(
        "sensor_tilt_arcmin",
        "Tilt of the sensor against the unit; points at the edge farther beyond focus, pupil axes.",
        Some(truth.sensor_tilt_arcmin),
    );
    row.number(
        "spacing_mm",
        "How much too far from the corrector the sensor stands; below 0 too near.",
        Some(truth.spacing_mm),
    );
    row.number(
        "piston_um",
        "Height of the unit at the centre of its screws.",
        Some(truth.piston_um),
    );
    row.place(
        "image_shift_px",
        "How far tilt and decentre move the star on a fixed sensor, frame axes.",
        Some(truth.image_shift_px.xy()),
    );
}

fn modes(row: &mut Row, layout: &Layout, truth: &Truth) {
    row.number(
        "reference_wavelength_nm",
        "Photon-weighted mean wavelength, for which the modes hold.",
        Some(truth.reference_wavelength_nm),
    );
    for noll in 2..=layout.last_mode {
        let value = truth.modes_nm.0.get(&noll).copied().unwrap_or(0.0);
        row.number(
            format!("modes_nm.{noll}"),
            "Zernike mode by its Noll index, RMS over the full aperture; exact defocus not included.",
            Some(value),
        );
    }
    for noll in [4, 11, 22] {
        row.number(
            format!("modes_with_focus_nm.{noll}"),
            "The same with the exact defocus projected on it.",
            truth.modes_with_focus_nm.0.get(&noll).copied(),
        );
    }
}

fn light(row: &mut Row, truth: &Truth) {
    row.place(
        "star_px",
        "Where a flat wave would focus, frame axes.",
        Some(truth.star_px.xy()),
    );
    row.place(
        "place_px",
        "How far that is aside of the frame's middle (of where the image shift has it, where the frame is not recentred), frame axes.",
        Some(truth.place_px.xy()),
    );
    row.number(
        "electrons",
        "Electrons of the star on an unlimited sensor.",
        truth.electrons,
    );
    row.number(
        "light_in_frame",
        "Share of the star's light inside the frame.",
        Some(truth.light_in_frame),
    );
    let saturated = truth
        .saturated_px
        .map_or(TableCell::Empty, |n| TableCell::Whole(n as u64));
    row.push(
        "saturated_px",
        ColumnKind::Whole,
        "Saturated pixels.",
        saturated,
    );
    row.number(
        "sampling_error",
        "Relative change of the frame when every sampling is 1.5 times as fine.",
        truth.sampling_error,
    );
}

fn shapes(row: &mut Row, layout: &Layout, truth: &Truth) {
    let doughnut: Option<&DoughnutRecord> = truth.doughnut.as_ref();
    row.place(
        "outer_centre_px",
        "Centre of the area inside the doughnut's outer edge, by traced rays.",
        doughnut.map(|d| d.outer_centre_px.xy()),
    );
    row.number(
        "outer_radius_px",
        "Radius of the circle of that area.",
        doughnut.map(|d| d.outer_radius_px),
    );
    row.number(
        "inner_radius_px",
        "The same of the dark centre.",
        doughnut.and_then(|d| d.inner_radius_px),
    );
    row.place(
        "dark_shift_px",
        "Dark centre minus outer centre, frame axes.",
        doughnut.and_then(|d| d.dark_shift_px).map(|s| s.xy()),
    );
    for region in 0..layout.regions {
        let spike = truth.spikes.iter().find(|s| s.region == region);
        row.number(
            format!("spike_shift_px.{region}"),
            "Place of this region's spike from star_px, along +slot direction as turned into the frame.",
            spike.map(|s| s.shift_px),
        );
        if layout.regions_differ {
            row.number(
                format!("spike_azimuth_deg.{region}"),
                "Azimuth of the middle of this region, pupil axes.",
                spike.map(|s| s.azimuth_deg),
            );
            row.number(
                format!("spike_slot_deg.{region}"),
                "Direction along this region's slots, pupil axes.",
                spike.map(|s| s.slot_deg),
            );
        }
    }
}

fn limits(row: &mut Row, truth: &Truth) {
    let photon = truth.sigma_photon_nm.as_ref();
    for noll in 4..=11 {
        row.number(
            format!("sigma_photon_nm.{noll}"),
            "Cramér–Rao bound of this mode: no unbiased measurement of the frame scatters less where nothing else is known, the star's place neither.",
            photon.and_then(|n: &Numbered<Option<f64>>| n.0.get(&noll).copied().flatten()),
        );
    }
    let given = truth.sigma_photon_place_known_nm.as_ref();
    for noll in 4..=11 {
        row.number(
            format!("sigma_photon_place_known_nm.{noll}"),
            "The same for whoever knows where in the frame the star stands.",
            given.and_then(|n| n.0.get(&noll).copied().flatten()),
        );
    }
    let seeing = truth.sigma_seeing_nm.as_ref();
    for noll in 4..=11 {
        row.number(
            format!("sigma_seeing_nm.{noll}"),
            "What the atmosphere itself adds to this mode in one exposure.",
            seeing.and_then(|n| n.0.get(&noll).copied()),
        );
    }
}

fn drawn(row: &mut Row, layout: &Layout, item: &Item) {
    for (key, kind) in &layout.drawn {
        let found = item.drawn.iter().find(|drawn| &drawn.key == key);
        for (part, cell) in cells_of(*kind, found) {
            let (kind, meaning) = match kind {
                ValueKind::Number | ValueKind::Numbers(_) => {
                    (ColumnKind::Number, "What the recipe drew for this key.")
                }
                _ => (
                    ColumnKind::Text,
                    "What the recipe drew for this key, as text.",
                ),
            };
            row.push(format!("drawn.{key}{part}"), kind, meaning, cell);
        }
    }
}

/// The cells of a value, each with what follows the key in its column's name; all empty where there is no value.
pub(super) fn cells_of(kind: ValueKind, found: Option<&Drawn>) -> Vec<(String, TableCell)> {
    let typed = found.map(Drawn::typed);
    let single = |cell: Option<TableCell>| vec![(String::new(), cell.unwrap_or(TableCell::Empty))];
    match (kind, typed) {
        (ValueKind::Number, Some(TypedValue::Number(value))) => {
            single(Some(TableCell::Number(value)))
        }
        (ValueKind::Numbers(count), typed) => {
            let list = match typed {
                Some(TypedValue::Numbers(list)) => list,
                _ => Vec::new(),
            };
            let name = |at: usize| match (count, at) {
                (2, 0) => ".x".to_owned(),
                (2, 1) => ".y".to_owned(),
                _ => format!("[{at}]"),
            };
            let cell = |at: usize| {
                list.get(at)
                    .copied()
                    .map_or(TableCell::Empty, TableCell::Number)
            };
            (0..count).map(|at| (name(at), cell(at))).collect()
        }
        (_, Some(TypedValue::Text(text))) => single(Some(TableCell::Text(text))),
        (_, Some(_)) => single(found.map(|drawn| TableCell::Text(drawn.value.clone()))),
        (ValueKind::Number, None) => single(None),
        (_, None) => single(Some(TableCell::Text(String::new()))),
    }
}
