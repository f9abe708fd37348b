//! Answers: what a measuring program must write to be judged. CSV with a line of names, one JSON object a line, or a JSON array of them.
//!
//! Only `item` must be there. A quantity that is left out (an empty cell, a missing key, null) is one that the program does not
//! answer. In CSV the columns have the names of quantities (`modes_nm.7`), with `sigma.` before them for their uncertainty.

use super::error::ScoreError;
use super::measured::from_measure;
use super::quantity::{Axis, Quantity};
use schemars::{JsonSchema, schema_for};
use serde::Deserialize;
use std::collections::BTreeMap;

/// What was answered about one item. Values may be NaN: the score counts them.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Answer {
    /// Number of the item.
    pub item: u64,
    /// What was answered.
    pub values: BTreeMap<Quantity, f64>,
    /// Standard deviations that the program claims.
    pub sigmas: BTreeMap<Quantity, f64>,
    /// Whether the program says that the answer is not to be trusted.
    pub flagged: bool,
}

/// All answers of a file, in its order.
pub type Answers = Vec<Answer>;

/// A line of answers.
#[derive(Deserialize, JsonSchema, Default)]
#[serde(deny_unknown_fields)]
#[schemars(title = "skewstar answer, one a line")]
struct AnswerLine {
    /// Number of the item.
    #[serde(deserialize_with = "item_number")]
    item: u64,
    /// Zernike modes: Noll index → nm RMS.
    #[serde(default, deserialize_with = "or_nothing")]
    modes_nm: BTreeMap<String, Option<Number>>,
    /// How far the sensor sits beyond focus; below 0: inside.
    sensor_offset_um: Option<Number>,
    /// Turns of each screw, above 0 where it is too long.
    #[serde(default, deserialize_with = "or_nothing")]
    turns: BTreeMap<String, Option<Number>>,
    /// Turns that put it right.
    #[serde(default, deserialize_with = "or_nothing")]
    undo_turns: BTreeMap<String, Option<Number>>,
    /// Dark centre minus outer centre of a doughnut, frame axes.
    dark_shift_px: Option<[Option<Number>; 2]>,
    /// Region → place of its spike along +slot direction.
    #[serde(default, alias = "streak_shift_px", deserialize_with = "or_nothing")]
    spike_shift_px: BTreeMap<String, Option<Number>>,
    /// Standard deviations of the same quantities.
    sigma: Option<Sigma>,
    /// Whether the answer is not to be trusted.
    #[serde(default)]
    flagged: bool,
    /// Instead of all these: what `skewstar measure --json` printed.
    measured: Option<serde_json::Value>,
}

impl AnswerLine {
    fn tables(&self) -> [NamedTable<'_>; 4] {
        [
            ("modes_nm", &self.modes_nm),
            ("turns", &self.turns),
            ("undo_turns", &self.undo_turns),
            ("spike_shift_px", &self.spike_shift_px),
        ]
    }

    /// The first key with an answer of the line's own.
    fn own_key(&self) -> Option<&'static str> {
        let tables = self.tables().map(|(key, table)| (key, !table.is_empty()));
        let others = [
            ("sensor_offset_um", self.sensor_offset_um.is_some()),
            ("dark_shift_px", self.dark_shift_px.is_some()),
            ("sigma", self.sigma.is_some()),
        ];
        let mut keys = tables.into_iter().chain(others);
        keys.find(|(_, is_there)| *is_there).map(|(key, _)| key)
    }
}

/// Standard deviations.
#[derive(Deserialize, JsonSchema, Default)]
#[serde(deny_unknown_fields)]
struct Sigma {
    /// Of modes.
    #[serde(default, deserialize_with = "or_nothing")]
    modes_nm: BTreeMap<String, Option<Number>>,
    /// Of the sensor offset.
    sensor_offset_um: Option<Number>,
    /// Of turns.
    #[serde(default, deserialize_with = "or_nothing")]
    turns: BTreeMap<String, Option<Number>>,
    /// Of turns that put it right.
    #[serde(default, deserialize_with = "or_nothing")]
    undo_turns: BTreeMap<String, Option<Number>>,
    /// Of the dark centre.
    dark_shift_px: Option<[Option<Number>; 2]>,
    /// Of spikes.
    #[serde(default, alias = "streak_shift_px", deserialize_with = "or_nothing")]
    spike_shift_px: BTreeMap<String, Option<Number>>,
}

/// The number of an item, also where a table had it as floating point.
fn item_number<'de, D: serde::Deserializer<'de>>(read: D) -> Result<u64, D::Error> {
    let number = serde_json::Number::deserialize(read)?;
    let whole = whole(&number.to_string());
    whole.ok_or_else(|| serde::de::Error::custom("item must be a whole number from 0"))
}

/// A whole number, as `3` or as tables with gaps write it: `3.0`, `3e0`.
fn whole(text: &str) -> Option<u64> {
    const LARGEST: f64 = (1u64 << 53) as f64;
    let real = || {
        let value: f64 = text.parse().ok()?;
        let is_whole = value.fract() == 0.0 && (0.0..=LARGEST).contains(&value);
        is_whole.then_some(value as u64)
    };
    text.parse().ok().or_else(real)
}

/// A table, or `null` for an empty one.
fn or_nothing<'de, D: serde::Deserializer<'de>>(
    read: D,
) -> Result<BTreeMap<String, Option<Number>>, D::Error> {
    Ok(Option::deserialize(read)?.unwrap_or_default())
}

/// A number; "NaN" and the like are read so that they can be counted.
#[derive(Deserialize, JsonSchema, Clone)]
#[serde(untagged)]
enum Number {
    Real(f64),
    Word(String),
}

impl Number {
    fn value(&self) -> Option<f64> {
        match self {
            Number::Real(value) => Some(*value),
            Number::Word(word) => word.parse().ok().filter(|value: &f64| !value.is_finite()),
        }
    }
}

/// JSON Schema (draft 2020-12) of one line of answers, indented.
pub fn schema() -> String {
    format!("{:#}", schema_for!(AnswerLine).to_value())
}

/// Reads answers in CSV.
///
/// # Errors
/// [`ScoreError`] with the line.
pub fn read_csv(bytes: &[u8]) -> Result<Answers, ScoreError> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let names = reader.headers().map_err(csv_error)?.clone();
    let columns = names
        .iter()
        .map(|name| AnswerColumn::read(name.trim_start_matches('\u{feff}')))
        .collect::<Result<Vec<AnswerColumn>, ScoreError>>()?;
    if !columns.contains(&AnswerColumn::Item) {
        return Err(ScoreError::NoItem);
    }
    for (at, name) in names.iter().enumerate() {
        if columns[..at].contains(&columns[at]) {
            return Err(ScoreError::ColumnTwice { name: name.into() });
        }
    }
    let mut answers = Vec::new();
    for record in reader.records() {
        let record = record.map_err(csv_error)?;
        let line = record.position().map_or(0, |place| place.line());
        let mut answer = Answer::default();
        for ((column, name), cell) in columns.iter().zip(&names).zip(&record) {
            column
                .put(&mut answer, cell)
                .map_err(|expected| ScoreError::Line {
                    line,
                    reason: format!("{name} is {cell:?}, but must be {expected}"),
                })?;
        }
        answers.push(answer);
    }
    Ok(answers)
}

fn csv_error(error: csv::Error) -> ScoreError {
    ScoreError::Line {
        line: error.position().map_or(1, |place| place.line()),
        reason: error.to_string(),
    }
}

/// A column of answers.
#[derive(Debug, Clone, PartialEq)]
enum AnswerColumn {
    Item,
    Flagged,
    Value(Quantity),
    Sigma(Quantity),
}

impl AnswerColumn {
    fn read(name: &str) -> Result<AnswerColumn, ScoreError> {
        let quantity = |text: &str| {
            text.parse::<Quantity>().map_err(|()| ScoreError::Column {
                name: name.to_owned(),
            })
        };
        match name {
            "item" => Ok(AnswerColumn::Item),
            "flagged" => Ok(AnswerColumn::Flagged),
            _ => match name.strip_prefix("sigma.") {
                Some(rest) => quantity(rest).map(AnswerColumn::Sigma),
                None => quantity(name).map(AnswerColumn::Value),
            },
        }
    }

    /// Puts a cell into an answer, or says what it must be.
    fn put(&self, answer: &mut Answer, cell: &str) -> Result<(), &'static str> {
        let number = || cell.parse::<f64>().map_err(|_| "a number, or empty");
        match self {
            AnswerColumn::Item => {
                answer.item = whole(cell).ok_or("a whole number from 0")?;
            }
            AnswerColumn::Flagged => {
                answer.flagged = match cell.to_ascii_lowercase().as_str() {
                    "" | "0" | "false" => false,
                    "1" | "true" => true,
                    _ => return Err("true or false"),
                }
            }
            _ if cell.is_empty() => {}
            AnswerColumn::Value(quantity) => {
                answer.values.insert(quantity.clone(), number()?);
            }
            AnswerColumn::Sigma(quantity) => {
                answer.sigmas.insert(quantity.clone(), number()?);
            }
        }
        Ok(())
    }
}

/// Reads answers as JSON: one a line, empty lines skipped, or all of them in an array.
///
/// # Errors
/// [`ScoreError::Line`]; in an array the line is counted as its entries are.
pub fn read_json(bytes: &[u8]) -> Result<Answers, ScoreError> {
    let text = String::from_utf8_lossy(bytes);
    if text.trim_start().starts_with('[') {
        return read_array(&text);
    }
    let lines = text
        .lines()
        .enumerate()
        .filter(|(_, line)| !line.trim().is_empty());
    lines
        .map(|(number, line)| {
            read_line(line).map_err(|reason| ScoreError::Line {
                line: number as u64 + 1,
                reason,
            })
        })
        .collect()
}

fn read_array(text: &str) -> Result<Answers, ScoreError> {
    let read: Vec<AnswerLine> = parsed(text).map_err(|error| ScoreError::Line {
        line: error.line() as u64,
        reason: error.to_string(),
    })?;
    let entry = |(number, line)| {
        answer_of(line).map_err(|reason| ScoreError::Line {
            line: number as u64 + 1,
            reason,
        })
    };
    read.into_iter().enumerate().map(entry).collect()
}

/// Reads JSON. Some writers put a bare NaN into it, which is none: it is read so that it can be counted.
fn parsed<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, serde_json::Error> {
    serde_json::from_str(text).or_else(|error| {
        let mended = quote_not_numbers(text);
        if mended == text {
            Err(error)
        } else {
            serde_json::from_str(&mended)
        }
    })
}

fn read_line(text: &str) -> Result<Answer, String> {
    answer_of(parsed(text).map_err(|error| error.to_string())?)
}

fn answer_of(line: AnswerLine) -> Result<Answer, String> {
    if let Some(measured) = &line.measured {
        if let Some(key) = line.own_key() {
            return Err(format!(
                "{key} stands beside measured, which already answers"
            ));
        }
        let mut answer = from_measure(measured, line.item)?;
        answer.flagged |= line.flagged;
        return Ok(answer);
    }
    let values = named(line.tables(), &line.sensor_offset_um, &line.dark_shift_px)?;
    let sigma = line.sigma.unwrap_or_default();
    Ok(Answer {
        item: line.item,
        values,
        sigmas: named(
            [
                ("modes_nm", &sigma.modes_nm),
                ("turns", &sigma.turns),
                ("undo_turns", &sigma.undo_turns),
                ("spike_shift_px", &sigma.spike_shift_px),
            ],
            &sigma.sensor_offset_um,
            &sigma.dark_shift_px,
        )?,
        flagged: line.flagged,
    })
}

type NamedTable<'a> = (&'static str, &'a BTreeMap<String, Option<Number>>);

fn named(
    tables: [NamedTable<'_>; 4],
    sensor_offset_um: &Option<Number>,
    dark_shift_px: &Option<[Option<Number>; 2]>,
) -> Result<BTreeMap<Quantity, f64>, String> {
    let mut found = BTreeMap::new();
    let mut put = |quantity: Quantity, number: &Option<Number>| {
        let Some(number) = number else {
            return Ok::<(), String>(());
        };
        let value = number
            .value()
            .ok_or_else(|| format!("{quantity} must be a number or null"))?;
        found.insert(quantity, value);
        Ok(())
    };
    for (table, entries) in tables {
        for (key, number) in entries {
            let name = format!("{table}.{key}");
            let quantity = name
                .parse()
                .map_err(|()| format!("{name} is nothing that can be answered"))?;
            put(quantity, number)?;
        }
    }
    put(Quantity::SensorOffset, sensor_offset_um)?;
    if let Some([x, y]) = dark_shift_px {
        put(Quantity::DarkShift(Axis::X), x)?;
        put(Quantity::DarkShift(Axis::Y), y)?;
    }
    Ok(found)
}

/// Puts quotes round NaN and Infinity outside text.
fn quote_not_numbers(text: &str) -> String {
    let (mut out, mut rest, mut inside) = (String::new(), text, false);
    while let Some(letter) = rest.chars().next() {
        let word = ["NaN", "-Infinity", "Infinity"]
            .into_iter()
            .find(|word| !inside && rest.starts_with(word));
        if let Some(word) = word {
            out.push_str(&format!("\"{word}\""));
            rest = &rest[word.len()..];
            continue;
        }
        inside ^= letter == '"';
        out.push(letter);
        rest = &rest[letter.len_utf8()..];
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_forms_say_the_same() {
        let csv = b"item, modes_nm.7,sigma.modes_nm.7,dark_shift_px.x,turns.A,flagged\n3,12.5,0.4,-1.25,,true\n4,nan,,,0.1,\n";
        let json = b"{\"item\": 3, \"modes_nm\": {\"7\": 12.5}, \"sigma\": {\"modes_nm\": {\"7\": 0.4}}, \"dark_shift_px\": [-1.25, null], \"flagged\": true}\n\n{\"item\": 4, \"modes_nm\": {\"7\": NaN}, \"turns\": {\"A\": 0.1}}\n";
        let (csv, json) = (read_csv(csv).unwrap(), read_json(json).unwrap());
        assert_eq!(csv.len(), 2);
        assert_eq!(csv[0], json[0]);
        assert!(csv[1].values[&Quantity::Mode(7)].is_nan());
        assert!(json[1].values[&Quantity::Mode(7)].is_nan());
        assert_eq!(json[1].values[&Quantity::Turns("A".into())], 0.1);
    }

    /// As pandas writes a column with gaps, and a list of records.
    #[test]
    fn an_item_may_be_written_as_floating_point_and_all_in_an_array() {
        let csv = read_csv(b"item,modes_nm.7\n3.0,1\n4e0,2\n").unwrap();
        let array = b"[{\"item\": 3.0, \"modes_nm\": {\"7\": 1}},\n {\"item\": 4, \"modes_nm\": {\"7\": NaN}}]";
        let array = read_json(array).unwrap();
        assert_eq!((csv[0].item, csv[1].item, array[0].item), (3, 4, 3));
        assert_eq!(array[0], csv[0]);
        assert!(array[1].values[&Quantity::Mode(7)].is_nan());
        for wrong in ["3.5", "-1", "1e300", "x"] {
            let told = read_csv(format!("item\n{wrong}\n").as_bytes()).unwrap_err();
            assert!(
                told.to_string().contains("must be a whole number from 0"),
                "{told}"
            );
        }
        let told = read_json(b"[{\"item\": 1},\n{\"item\": 2, \"coma\": 3}]").unwrap_err();
        assert!(
            told.to_string().starts_with("line 2: unknown field `coma`"),
            "{told}"
        );
    }

    #[test]
    fn what_cannot_be_read_is_named_with_its_line() {
        let refused = |text: &str| read_csv(text.as_bytes()).unwrap_err().to_string();
        assert_eq!(
            refused("item,coma\n1,2\n"),
            "\"coma\" is no column of answers"
        );
        assert_eq!(refused("modes_nm.7\n2\n"), "there is no column `item`");
        assert_eq!(
            refused("item,modes_nm.7,modes_nm.7\n1,2,3\n"),
            "the column \"modes_nm.7\" is there twice"
        );
        assert_eq!(
            refused("item,modes_nm.7\n1,2\n2,n/a\n"),
            "line 3: modes_nm.7 is \"n/a\", but must be a number, or empty"
        );
        let refused = |text: &str| read_json(text.as_bytes()).unwrap_err().to_string();
        assert!(
            refused("{\"item\": 1}\n{\"item\": 2, \"coma\": 3}")
                .starts_with("line 2: unknown field `coma`")
        );
        assert!(
            refused("{\"item\": 1, \"modes_nm\": {\"07\": 3}}").contains("modes_nm.07 is nothing")
        );
    }
}
