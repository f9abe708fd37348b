//! The check values of `tests/data/published/values.toml`, and the one way to compare with them.
//!
//! A value from that table is never typed into a test: it is asked for by its id. [`agrees`] allows the check's own tolerance
//! plus what the test says its sampling costs, and prints every comparison (`cargo test published -- --nocapture`).

use std::collections::BTreeMap;
use std::sync::OnceLock;
use toml::{Table, Value};

/// The table, by id.
pub struct Checks(BTreeMap<String, Table>);

/// How closely a direct evaluation has to agree.
#[derive(Debug, Clone, Copy)]
pub enum Tolerance {
    /// In the value's own unit.
    Abs(f64),
    /// As a fraction of the value.
    Rel(f64),
}

/// A number, a list or a list of rows; of a check's value or of one of its inputs.
#[derive(Debug, Clone, Copy)]
pub struct Given<'a>(&'a Value);

/// The table, read once.
pub fn checks() -> &'static Checks {
    static TABLE: OnceLock<Checks> = OnceLock::new();
    TABLE.get_or_init(|| {
        let text = include_str!("../data/published/values.toml");
        let file: Table = text.parse().expect("values.toml is TOML");
        let list = file["check"].as_array().expect("a list of checks");
        let entries = list.iter().map(|entry| {
            let check = entry.as_table().expect("a table").clone();
            (check["id"].as_str().expect("an id").to_owned(), check)
        });
        Checks(entries.collect())
    })
}

/// The value of a check that is one number.
pub fn number(id: &str) -> f64 {
    checks().value(id).number()
}

/// The value of a check that is a list of numbers.
pub fn list(id: &str) -> Vec<f64> {
    checks().value(id).list()
}

/// The value of a check that is a list of rows.
pub fn rows(id: &str) -> Vec<Vec<f64>> {
    checks().value(id).rows()
}

/// One input of a check.
pub fn input(id: &str, key: &str) -> Given<'static> {
    checks().inputs(id, key)
}

impl Checks {
    /// Every id, in alphabetical order.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }

    /// What the check says the answer is.
    pub fn value(&self, id: &str) -> Given<'_> {
        Given(&self.entry(id)["value"])
    }

    /// One of the things the answer depends on.
    pub fn inputs(&self, id: &str, key: &str) -> Given<'_> {
        let inputs = &self.entry(id)["inputs"];
        Given(
            inputs
                .get(key)
                .unwrap_or_else(|| panic!("{id} has no input {key}")),
        )
    }

    /// How closely a direct evaluation has to agree.
    pub fn tolerance(&self, id: &str) -> Tolerance {
        let tolerance = &self.entry(id)["tolerance"];
        let part = |key: &str| tolerance.get(key).map(plain);
        match (part("abs"), part("rel")) {
            (Some(abs), None) => Tolerance::Abs(abs),
            (None, Some(rel)) => Tolerance::Rel(rel),
            _ => panic!("{id} must state one tolerance"),
        }
    }

    fn entry(&self, id: &str) -> &Table {
        self.0
            .get(id)
            .unwrap_or_else(|| panic!("no check is called {id}"))
    }
}

impl Tolerance {
    /// The largest deviation from a value.
    pub fn of(self, value: f64) -> f64 {
        match self {
            Tolerance::Abs(abs) => abs,
            Tolerance::Rel(rel) => rel * value.abs(),
        }
    }
}

impl Given<'_> {
    /// As one number.
    pub fn number(&self) -> f64 {
        plain(self.0)
    }

    /// As a list of numbers.
    pub fn list(&self) -> Vec<f64> {
        self.items().iter().map(plain).collect()
    }

    /// As a list of rows.
    pub fn rows(&self) -> Vec<Vec<f64>> {
        self.items().iter().map(|row| Given(row).list()).collect()
    }

    /// As a list of words.
    pub fn words(&self) -> Vec<String> {
        let word = |item: &Value| item.as_str().expect("a word").to_owned();
        self.items().iter().map(word).collect()
    }

    fn items(&self) -> &[Value] {
        self.0.as_array().expect("a list")
    }
}

fn plain(value: &Value) -> f64 {
    match value {
        Value::Integer(whole) => *whole as f64,
        Value::Float(float) => *float,
        other => panic!("{other} is not a number"),
    }
}

/// Compares what the engine gave with one number of a check, prints the comparison, and fails beyond tolerance + `sampling`.
///
/// `place` says which of the check's numbers it is; `sampling` is in the value's own unit.
pub fn agrees(id: &str, place: &str, value: f64, found: f64, sampling: f64) {
    let allowed = checks().tolerance(id).of(value) + sampling;
    let deviation = found - value;
    println!(
        "{id:<40} {place:<28} value {value:>19.12e} found {found:>19.12e} off {deviation:>10.2e} allowed {allowed:>9.2e}"
    );
    assert!(
        deviation.abs() <= allowed,
        "{id} {place}: {found} is off {value} by {deviation:e}, allowed {allowed:e}"
    );
}
