//! The file of a learned response: text ↔ [`LearnedResponse`].
//!
//! It is a small TOML file of its own, format 1, written by `skewstar learn` and read by whoever measures. It is as strict as a
//! scenario: unknown keys, wrong types and values outside their limits are refused with their line. Like the rest of this room
//! it handles text only.
//!
//! ```toml
//! format = 1
//! flags = ["recentred"]                     # optional
//!
//! [response]
//! coma_nm_per_arcmin = 61.8
//! coma_sigma_nm_per_arcmin = 0.4
//! image_shift_um_per_arcmin = 29.2          # optional, and its sigma
//! image_shift_sigma_um_per_arcmin = 0.1
//!
//! [camera]
//! rotation_deg = 40.2
//! rotation_sigma_deg = 0.3
//! mirrored = true
//!
//! [[screws]]
//! name = "A"
//! coma_nm_per_turn = [3.0, 1930.0]          # Noll 8, Noll 7
//! coma_sigma_nm_per_turn = 9.0
//! ```

use super::document::{Document, Node, Origin, Value};
use super::error::{Problem, ScenarioError, number};
use super::findings::Findings;
use super::nearest::nearest;
use super::path::joined;
use crate::measure::{Doubted, LearnedResponse, LearnedScrew};
use crate::units::{ARCMIN, DEG, NM, UM};
use std::collections::BTreeMap;
use std::fmt::Write;

/// What a key may hold.
#[derive(Debug, Clone, Copy)]
enum Allowed {
    /// A number between these.
    Number(f64, f64),
    /// Two numbers between these.
    Pair(f64, f64),
    Flag,
    Text,
    /// Any number of texts.
    Texts,
    /// A table with these keys.
    Table(&'static [Key]),
    /// One table or more.
    Tables(&'static [Key]),
}

/// Name, what it may hold, whether it must be there.
type Key = (&'static str, Allowed, bool);

const SIZE: f64 = 1e5;
const MATRIX_SIZE: f64 = 1e8;

const RESPONSE: &[Key] = &[
    ("coma_nm_per_arcmin", Allowed::Number(-SIZE, SIZE), true),
    ("coma_sigma_nm_per_arcmin", Allowed::Number(0.0, SIZE), true),
    (
        "image_shift_um_per_arcmin",
        Allowed::Number(-SIZE, SIZE),
        false,
    ),
    (
        "image_shift_sigma_um_per_arcmin",
        Allowed::Number(0.0, SIZE),
        false,
    ),
];
const CAMERA: &[Key] = &[
    ("rotation_deg", Allowed::Number(-360.0, 360.0), true),
    ("rotation_sigma_deg", Allowed::Number(0.0, 360.0), true),
    ("mirrored", Allowed::Flag, true),
];
const SCREW: &[Key] = &[
    ("name", Allowed::Text, true),
    (
        "coma_nm_per_turn",
        Allowed::Pair(-MATRIX_SIZE, MATRIX_SIZE),
        true,
    ),
    (
        "coma_sigma_nm_per_turn",
        Allowed::Number(0.0, MATRIX_SIZE),
        true,
    ),
];
const FILE: &[Key] = &[
    ("format", Allowed::Number(1.0, 1.0), true),
    ("flags", Allowed::Texts, false),
    ("response", Allowed::Table(RESPONSE), true),
    ("camera", Allowed::Table(CAMERA), true),
    ("screws", Allowed::Tables(SCREW), true),
];

impl LearnedResponse {
    /// Reads the text of a response file; `name` is the file's name for messages.
    ///
    /// # Errors
    /// [`ScenarioError`] for the first key or value that cannot be meant.
    ///
    /// ```
    /// use skewstar::measure::LearnedResponse;
    /// let error = LearnedResponse::read("format = 1\n[camera]\nmirored = true\n", "garden.response.toml").unwrap_err();
    /// assert_eq!(error.to_string(), "garden.response.toml:3:1: camera.mirored is not a key of [camera]");
    /// assert_eq!(error.hint(), "did you mean camera.mirrored?");
    /// ```
    pub fn read(text: &str, name: &str) -> Result<LearnedResponse, ScenarioError> {
        let document = Document::parse(text, name).map_err(|error| match *error.problem {
            Problem::Empty => ScenarioError::new(
                name,
                error.place,
                Problem::Empty,
                "`skewstar learn` writes such a file",
            ),
            _ => error,
        })?;
        let mut findings = Findings::of(&document);
        check_table(&document.root, FILE, "", &mut findings);
        findings.finish()?;
        let read = Read(&document.root);
        let (response, camera) = (read.at("response"), read.at("camera"));
        let shift = response.optional("image_shift_um_per_arcmin", UM / ARCMIN);
        Ok(LearnedResponse {
            coma_m_per_rad: Doubted {
                value: response.number("coma_nm_per_arcmin", NM / ARCMIN),
                sigma: response.optional("coma_sigma_nm_per_arcmin", NM / ARCMIN),
            },
            image_shift_m_per_rad: shift.map(|value| Doubted {
                value,
                sigma: response.optional("image_shift_sigma_um_per_arcmin", UM / ARCMIN),
            }),
            rotation_rad: Doubted {
                value: camera.number("rotation_deg", DEG),
                sigma: camera.optional("rotation_sigma_deg", DEG),
            },
            mirrored: matches!(camera.value("mirrored"), Some(Value::Flag(true))),
            screws: read.items("screws").map(screw).collect(),
            flags: read
                .items("flags")
                .map(|flag| text_of(&flag.0.value))
                .collect(),
        })
    }

    /// The text of the response file, which [`LearnedResponse::read`] reads.
    pub fn to_toml(&self) -> String {
        let coma = |m_per_rad: f64| number(m_per_rad * ARCMIN / NM);
        let shift = |m_per_rad: f64| number(m_per_rad * ARCMIN / UM);
        let mut text = String::from(
            "# What this telescope's screws do, learned from trial turns.\nformat = 1\n",
        );
        let mut line = |words: String| writeln!(text, "{words}").unwrap_or_default();
        if !self.flags.is_empty() {
            line(format!("flags = {:?}", self.flags));
        }
        line("\n[response]".into());
        line(format!(
            "coma_nm_per_arcmin = {}",
            coma(self.coma_m_per_rad.value)
        ));
        let sigma = self.coma_m_per_rad.sigma.unwrap_or(0.0);
        line(format!("coma_sigma_nm_per_arcmin = {}", coma(sigma)));
        if let Some(moved) = self.image_shift_m_per_rad {
            line(format!(
                "image_shift_um_per_arcmin = {}",
                shift(moved.value)
            ));
            if let Some(sigma) = moved.sigma {
                line(format!(
                    "image_shift_sigma_um_per_arcmin = {}",
                    shift(sigma)
                ));
            }
        }
        line("\n[camera]".into());
        line(format!(
            "rotation_deg = {}",
            number(self.rotation_rad.value / DEG)
        ));
        let sigma = self.rotation_rad.sigma.unwrap_or(0.0);
        line(format!("rotation_sigma_deg = {}", number(sigma / DEG)));
        line(format!("mirrored = {}", self.mirrored));
        for screw in &self.screws {
            let [x, y] = screw.coma_m_per_turn.map(|c| number(c / NM));
            line(format!("\n[[screws]]\nname = {:?}", screw.name));
            line(format!("coma_nm_per_turn = [{x}, {y}]  # Noll 8, Noll 7"));
            line(format!(
                "coma_sigma_nm_per_turn = {}",
                number(screw.sigma_m_per_turn / NM)
            ));
        }
        text
    }
}

/// Values of a checked table.
#[derive(Clone, Copy)]
struct Read<'d>(&'d Node);

impl<'d> Read<'d> {
    fn node(&self, key: &str) -> Option<&'d Node> {
        match &self.0.value {
            Value::Table(table) => table.get(key),
            _ => None,
        }
    }

    fn at(&self, key: &str) -> Read<'d> {
        Read(self.node(key).unwrap_or(self.0))
    }

    fn value(&self, key: &str) -> Option<&'d Value> {
        self.node(key).map(|node| &node.value)
    }

    fn optional(&self, key: &str, unit: f64) -> Option<f64> {
        self.value(key).and_then(Value::number).map(|v| v * unit)
    }

    /// A number that the check found to be there.
    fn number(&self, key: &str, unit: f64) -> f64 {
        self.optional(key, unit).unwrap_or(0.0)
    }

    fn items(&self, key: &str) -> impl Iterator<Item = Read<'d>> + use<'d> {
        match self.value(key) {
            Some(Value::List(items)) => items.iter().map(Read as fn(_) -> _),
            _ => [].iter().map(Read as fn(_) -> _),
        }
    }
}

fn screw(read: Read<'_>) -> LearnedScrew {
    let mut parts = read.items("coma_nm_per_turn").map(|p| p.0.value.number());
    let mut part = || parts.next().flatten().unwrap_or(0.0) * NM;
    LearnedScrew {
        name: read.value("name").map(text_of).unwrap_or_default(),
        coma_m_per_turn: [part(), part()],
        sigma_m_per_turn: read.number("coma_sigma_nm_per_turn", NM),
    }
}

fn text_of(value: &Value) -> String {
    match value {
        Value::Text(text) => text.clone(),
        other => other.shown(),
    }
}

fn check_table<'d>(node: &'d Node, keys: &'static [Key], path: &str, findings: &mut Findings<'d>) {
    let Value::Table(table) = &node.value else {
        wrong_type(node, path, Allowed::Table(keys), findings);
        return;
    };
    for (key, inner) in table {
        let path_of_key = joined(path, key);
        match keys.iter().find(|known| known.0 == key) {
            Some((_, allowed, _)) => check_value(inner, *allowed, &path_of_key, findings),
            None => unknown(inner.origin, path, key, keys, findings),
        }
    }
    missing(node, table, keys, path, findings);
}

fn check_value<'d>(node: &'d Node, allowed: Allowed, path: &str, findings: &mut Findings<'d>) {
    match (allowed, &node.value) {
        (Allowed::Table(keys), _) => check_table(node, keys, path, findings),
        (Allowed::Tables(keys), Value::List(items)) if !items.is_empty() => {
            for (index, item) in items.iter().enumerate() {
                check_table(item, keys, &format!("{path}[{index}]"), findings);
            }
        }
        (Allowed::Number(least, most), value) if is_number(value) => {
            let inside = value.number().is_some_and(|v| (least..=most).contains(&v));
            if !inside {
                out_of_range(node, path, allowed, findings);
            }
        }
        (Allowed::Pair(least, most), Value::List(items)) if items.len() == 2 => {
            for (index, item) in items.iter().enumerate() {
                let path = format!("{path}[{index}]");
                check_value(item, Allowed::Number(least, most), &path, findings);
            }
        }
        (Allowed::Texts, Value::List(items)) => {
            for (index, item) in items.iter().enumerate() {
                check_value(item, Allowed::Text, &format!("{path}[{index}]"), findings);
            }
        }
        (Allowed::Flag, Value::Flag(_)) | (Allowed::Text, Value::Text(_)) => {}
        _ => wrong_type(node, path, allowed, findings),
    }
}

fn is_number(value: &Value) -> bool {
    matches!(
        value,
        Value::Whole(_) | Value::Number(_) | Value::Oversized(_)
    )
}

impl Allowed {
    fn words(self) -> String {
        match self {
            Allowed::Number(least, most) if least == most => number(least),
            Allowed::Number(least, most) => {
                format!("a number from {} to {}", number(least), number(most))
            }
            Allowed::Pair(least, most) => format!(
                "a list of 2 numbers, each from {} to {}",
                number(least),
                number(most)
            ),
            Allowed::Flag => "true or false".into(),
            Allowed::Text => "text in quotes".into(),
            Allowed::Texts => "a list of texts in quotes".into(),
            Allowed::Table(_) => "a table".into(),
            Allowed::Tables(_) => "a list of at least 1 table".into(),
        }
    }
}

const LEARN_AGAIN: &str = "`skewstar learn` writes this file; learn again rather than mend it";

fn wrong_type<'d>(node: &'d Node, path: &str, allowed: Allowed, findings: &mut Findings<'d>) {
    let problem = Problem::WrongType {
        key: path.to_owned(),
        value: node.value.shown(),
        expected: allowed.words(),
    };
    findings.wrong(node.origin, move || (problem, LEARN_AGAIN.into()));
}

fn out_of_range<'d>(node: &'d Node, path: &str, allowed: Allowed, findings: &mut Findings<'d>) {
    let problem = Problem::OutOfRange {
        key: path.to_owned(),
        value: node.value.shown(),
        allowed: allowed.words(),
    };
    let hint = match path {
        "format" => "this version reads format 1 only",
        _ => LEARN_AGAIN,
    };
    findings.wrong(node.origin, move || (problem, hint.into()));
}

fn unknown(
    origin: Origin,
    path: &str,
    key: &str,
    keys: &'static [Key],
    findings: &mut Findings<'_>,
) {
    let guess = nearest(key, keys.iter().map(|known| known.0)).map(|near| joined(path, near));
    let names: Vec<&str> = keys.iter().map(|known| known.0).collect();
    let hint = match &guess {
        Some(guess) => format!("did you mean {guess}?"),
        None => format!("keys here: {}", names.join(", ")),
    };
    let problem = Problem::UnknownKey {
        key: joined(path, key),
        section: section(path),
        nearest: guess,
    };
    findings.wrong(origin, move || (problem, hint));
}

fn missing<'d>(
    node: &'d Node,
    table: &BTreeMap<String, Node>,
    keys: &'static [Key],
    path: &str,
    findings: &mut Findings<'d>,
) {
    for (name, allowed, required) in keys {
        if !required || table.contains_key(*name) {
            continue;
        }
        let whole = matches!(allowed, Allowed::Table(_) | Allowed::Tables(_));
        let problem = Problem::MissingKey {
            key: joined(path, name),
            needed_for: None,
        };
        findings.missing(node.origin, whole, move || (problem, LEARN_AGAIN.into()));
    }
}

/// How a section starts in the file.
fn section(path: &str) -> String {
    match path.split_once('[') {
        None if path.is_empty() => "a response file".into(),
        None => format!("[{path}]"),
        Some((list, _)) => format!("[[{list}]]"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn learned() -> LearnedResponse {
        let doubted = |value, sigma| Doubted {
            value,
            sigma: Some(sigma),
        };
        LearnedResponse {
            coma_m_per_rad: doubted(61.75 * NM / ARCMIN, 0.25 * NM / ARCMIN),
            image_shift_m_per_rad: Some(doubted(-29.5 * UM / ARCMIN, 0.125 * UM / ARCMIN)),
            rotation_rad: doubted(-139.5 * DEG, 0.5 * DEG),
            mirrored: true,
            screws: vec![LearnedScrew {
                name: "A \"top\"".into(),
                coma_m_per_turn: [-3.5 * NM, 1930.0 * NM],
                sigma_m_per_turn: 9.0 * NM,
            }],
            flags: vec!["trials_disagree".into()],
        }
    }

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-8 * a.abs()
    }

    #[test]
    fn what_is_written_is_read() {
        let written = learned();
        let read = LearnedResponse::read(&written.to_toml(), "x.response.toml").expect("readable");
        assert!(close(
            read.coma_m_per_rad.value,
            written.coma_m_per_rad.value
        ));
        assert!(close(read.rotation_rad.value, written.rotation_rad.value));
        let shifts = [&read, &written].map(|r| r.image_shift_m_per_rad.expect("a shift"));
        assert!(close(shifts[0].value, shifts[1].value));
        assert!(close(shifts[0].sigma.unwrap(), shifts[1].sigma.unwrap()));
        assert!(close(read.screws[0].coma_m_per_turn[0], -3.5 * NM));
        assert!(close(read.screws[0].coma_m_per_turn[1], 1930.0 * NM));
        assert_eq!(read.screws[0].name, written.screws[0].name);
        assert_eq!((read.mirrored, &read.flags), (true, &written.flags));
        let plain = LearnedResponse {
            image_shift_m_per_rad: None,
            flags: Vec::new(),
            ..written
        };
        let again = LearnedResponse::read(&plain.to_toml(), "x").expect("readable");
        assert!(again.image_shift_m_per_rad.is_none() && again.flags.is_empty());
    }

    /// Every refusal names file, line, key, value and what is allowed.
    #[test]
    fn what_cannot_be_meant_is_refused() {
        let text = learned().to_toml();
        let refused = |from: &str, to: &str| {
            assert!(text.contains(from), "{from}");
            let changed = text.replace(from, to);
            LearnedResponse::read(&changed, "r.toml")
                .unwrap_err()
                .to_string()
        };
        assert_eq!(
            refused("rotation_deg = -139.5", "rotation_deg = 400"),
            "r.toml:12:1: camera.rotation_deg is 400, but must be a number from -360 to 360"
        );
        assert_eq!(
            refused("mirrored = true", "mirrored = 1"),
            "r.toml:14:1: camera.mirrored is 1, but must be true or false"
        );
        assert_eq!(
            refused("[-3.5, 1930]", "[-3.5]"),
            "r.toml:18:1: screws[0].coma_nm_per_turn is a list of 1 value, but must be a list of 2 numbers, \
             each from -100000000 to 100000000"
        );
        assert_eq!(
            refused("coma_nm_per_arcmin = 61.75", "coma_nm = 61.75"),
            "r.toml:6:1: response.coma_nm is not a key of [response]"
        );
        assert_eq!(
            refused("mirrored = true\n", ""),
            "r.toml:11:2: camera.mirrored is missing"
        );
        assert_eq!(
            refused("format = 1", "format = 2"),
            "r.toml:2:1: format is 2, but must be 1"
        );
        assert_eq!(
            refused("= 61.75", "= nan"),
            "r.toml:6:1: response.coma_nm_per_arcmin is nan, but must be a number from -100000 to 100000"
        );
        let empty = LearnedResponse::read("# nothing\n", "r.toml").unwrap_err();
        assert_eq!(empty.hint(), "`skewstar learn` writes such a file");
        for odd in [
            "format = 1\nscrews = []",
            "x",
            "format = 1\nresponse = 3",
            "screws = [1]",
        ] {
            assert!(LearnedResponse::read(odd, "r.toml").is_err(), "{odd}");
        }
    }
}
