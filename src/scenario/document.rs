//! The text as a tree of values that remember where they were typed.
//!
//! Positions are kept as byte offsets and turned into line and column only for a message, so that a large or hostile text
//! costs no more than reading it. Values set on the command line sit in the same tree and remember their argument instead.

use std::collections::BTreeMap;

use toml::de::{DeTable, DeValue};

use super::error::{Place, Problem, ScenarioError, number, quoted, shortened};
use super::path::{KeyPath, PathStep};

/// Longest text that is read at all.
pub(crate) const LONGEST_TEXT: usize = 1 << 20;

/// A scenario's text as a tree, with the arguments that were laid over it.
#[derive(Debug, Clone)]
pub(crate) struct Document {
    label: String,
    text: String,
    /// The `KEY=VALUE` arguments laid over the text so far.
    pub arguments: Vec<String>,
    /// The top table.
    pub root: Node,
}

/// A value and where its key was typed (an item of a list: where the item starts).
#[derive(Debug, Clone)]
pub(crate) struct Node {
    /// Where.
    pub origin: Origin,
    /// What.
    pub value: Value,
}

/// Where a value was typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Origin {
    /// Byte offset in the text.
    Byte(usize),
    /// Number of the argument.
    Argument(usize),
    /// Nowhere: the value was made in code.
    Code,
}

/// A TOML value.
#[derive(Debug, Clone)]
pub(crate) enum Value {
    /// A table.
    Table(BTreeMap<String, Node>),
    /// A list.
    List(Vec<Node>),
    /// A whole number.
    Whole(i64),
    /// A number as typed, whole or not, that is too large for any key.
    Oversized(String),
    /// A number with a point or an exponent.
    Number(f64),
    /// Text.
    Text(String),
    /// true or false.
    Flag(bool),
    /// A date or a time, which no key wants.
    Date(String),
}

impl Document {
    /// Reads a text.
    pub fn parse(text: &str, label: &str) -> Result<Self, ScenarioError> {
        let refuse =
            |place, problem, hint: &str| Err(ScenarioError::new(label, place, problem, hint));
        if text.len() > LONGEST_TEXT {
            let problem = Problem::TooLong {
                bytes: text.len(),
                limit: LONGEST_TEXT,
            };
            return refuse(
                Place::Whole,
                problem,
                "a scenario is a short text; is this the right file?",
            );
        }
        let table = match DeTable::parse(text) {
            Ok(table) => table.into_inner(),
            Err(error) => {
                let place = error
                    .span()
                    .map_or(Place::Whole, |span| line_and_column(text, span.start));
                let (problem, hint) = syntax_problem(&error, text);
                return refuse(place, problem, hint);
            }
        };
        if table.is_empty() {
            return refuse(
                Place::Whole,
                Problem::Empty,
                "`skewstar new NAME` writes a scenario to fill in",
            );
        }
        let root = Node {
            origin: Origin::Byte(0),
            value: table_value(table, Origin::Byte),
        };
        Ok(Document {
            label: label.to_owned(),
            text: text.to_owned(),
            arguments: Vec::new(),
            root,
        })
    }

    /// The same tree for values that were made in code: there is no text, and no message has a line.
    pub fn of_code(root: BTreeMap<String, Node>) -> Self {
        Document {
            label: String::new(),
            text: String::new(),
            arguments: Vec::new(),
            root: Node::of_code(Value::Table(root)),
        }
    }

    /// The place of an origin, for a message.
    pub fn place(&self, origin: Origin) -> Place {
        match origin {
            Origin::Byte(offset) => line_and_column(&self.text, offset),
            Origin::Argument(index) => Place::Argument {
                option: "--set".to_owned(),
                text: self.arguments.get(index).cloned().unwrap_or_default(),
            },
            Origin::Code => Place::Code,
        }
    }

    /// Where the value at a path was typed; for a path that is not there, where the nearest table around it was.
    pub fn origin(&self, path: &str) -> Origin {
        self.node(path).origin
    }

    /// The same for a key that the user named, in the table at a path.
    pub fn origin_in(&self, table: &str, key: &str) -> Origin {
        let table = self.node(table);
        table
            .child(&PathStep::Key(key.to_owned()))
            .unwrap_or(table)
            .origin
    }

    fn node(&self, path: &str) -> &Node {
        let mut node = &self.root;
        for step in KeyPath::parse(path).map(|path| path.0).unwrap_or_default() {
            match node.child(&step) {
                Some(child) => node = child,
                None => break,
            }
        }
        node
    }

    /// An error of this document.
    pub fn error(
        &self,
        origin: Origin,
        problem: Problem,
        hint: impl Into<String>,
    ) -> ScenarioError {
        ScenarioError::new(&self.label, self.place(origin), problem, hint)
    }
}

impl Node {
    /// A value that was made in code.
    pub fn of_code(value: Value) -> Self {
        Node {
            origin: Origin::Code,
            value,
        }
    }

    /// What a step leads to.
    pub fn child(&self, step: &PathStep) -> Option<&Node> {
        match (&self.value, step) {
            (Value::Table(table), PathStep::Key(key)) => table.get(key),
            (Value::List(items), PathStep::Index(index)) => items.get(*index),
            _ => None,
        }
    }
}

impl Value {
    /// Reads a TOML value typed on the command line; everything in it gets one origin.
    pub fn of_argument(text: &str, origin: Origin) -> Result<Value, String> {
        let value = DeValue::parse(text).map_err(|error| shortened(error.message()))?;
        Ok(value_of(value.into_inner(), |_| origin))
    }

    /// The number, if it is one that fits.
    pub fn number(&self) -> Option<f64> {
        match self {
            Value::Number(value) => Some(*value),
            Value::Whole(value) => Some(*value as f64),
            _ => None,
        }
    }

    /// The value as a message shows it.
    pub fn shown(&self) -> String {
        match self {
            Value::Table(_) => "a table".to_owned(),
            Value::List(items) => match items.len() {
                1 => "a list of 1 value".to_owned(),
                count => format!("a list of {count} values"),
            },
            Value::Whole(value) => value.to_string(),
            Value::Oversized(typed) => shortened(typed),
            Value::Number(value) => number(*value),
            Value::Text(text) => quoted(text),
            Value::Flag(flag) => flag.to_string(),
            Value::Date(date) => shortened(date),
        }
    }

    /// The plain value, for the typed structs.
    pub fn plain(&self) -> toml::Value {
        match self {
            Value::Table(table) => toml::Value::Table(
                table
                    .iter()
                    .map(|(key, node)| (key.clone(), node.value.plain()))
                    .collect(),
            ),
            Value::List(items) => {
                toml::Value::Array(items.iter().map(|node| node.value.plain()).collect())
            }
            Value::Whole(value) => toml::Value::Integer(*value),
            Value::Oversized(_) => toml::Value::Float(f64::INFINITY),
            Value::Number(value) => toml::Value::Float(*value),
            Value::Text(text) | Value::Date(text) => toml::Value::String(text.clone()),
            Value::Flag(flag) => toml::Value::Boolean(*flag),
        }
    }
}

/// What the TOML reader refused. A key that is given twice is named, since the reader only points at it.
fn syntax_problem(error: &toml::de::Error, text: &str) -> (Problem, &'static str) {
    let pointed_at = error
        .span()
        .and_then(|span| text.get(span))
        .map(str::trim)
        .filter(|key| !key.is_empty());
    match pointed_at {
        Some(key) if error.message().contains("duplicate key") => {
            let problem = Problem::GivenTwice {
                key: shortened(key),
            };
            (
                problem,
                "each key stands once in its section, and each [section] once in the file",
            )
        }
        _ => (
            Problem::NotToml {
                message: shortened(&error.message().replace('\n', "; ")),
            },
            if at_decimal_comma(error, text) {
                "a number has a decimal point, not a comma: 190.5"
            } else {
                SYNTAX_HINT
            },
        ),
    }
}

/// Whether the reader stopped at a comma between two digits.
fn at_decimal_comma(error: &toml::de::Error, text: &str) -> bool {
    let Some(at) = error.span().map(|span| span.start) else {
        return false;
    };
    let digit = |place: Option<usize>| {
        let byte = place.and_then(|place| text.as_bytes().get(place));
        byte.is_some_and(u8::is_ascii_digit)
    };
    text.as_bytes().get(at) == Some(&b',') && digit(at.checked_sub(1)) && digit(Some(at + 1))
}

const SYNTAX_HINT: &str =
    "a line is `key = value`, a section starts with `[name]`, text stands in \"quotes\"";

/// Line and column, both from 1, of a byte offset; a column is a character.
fn line_and_column(text: &str, offset: usize) -> Place {
    let bytes = text.as_bytes();
    let before = &bytes[..offset.min(bytes.len())];
    let line_start = before
        .iter()
        .rposition(|&byte| byte == b'\n')
        .map_or(0, |at| at + 1);
    let line = 1 + before.iter().filter(|&&byte| byte == b'\n').count();
    let starts_character = |byte: &&u8| **byte & 0xC0 != 0x80;
    Place::Line {
        line,
        column: 1 + before[line_start..].iter().filter(starts_character).count(),
    }
}

fn table_value(table: DeTable<'_>, origin: impl Fn(usize) -> Origin + Copy) -> Value {
    let nodes = table.into_iter().map(|(key, value)| {
        let node = Node {
            origin: origin(key.span().start),
            value: value_of(value.into_inner(), origin),
        };
        (key.into_inner().into_owned(), node)
    });
    Value::Table(nodes.collect())
}

fn value_of(value: DeValue<'_>, origin: impl Fn(usize) -> Origin + Copy) -> Value {
    match value {
        DeValue::Table(table) => table_value(table, origin),
        DeValue::Array(items) => {
            let nodes = items.into_iter().map(|item| {
                let start = item.span().start;
                Node {
                    origin: origin(start),
                    value: value_of(item.into_inner(), origin),
                }
            });
            Value::List(nodes.collect())
        }
        DeValue::Integer(integer) => {
            let read = i64::from_str_radix(integer.as_str(), integer.radix());
            read.map_or_else(|_| Value::Oversized(integer.to_string()), Value::Whole)
        }
        DeValue::Float(float) => {
            let (typed, read) = (float.as_str(), float.as_str().parse().unwrap_or(f64::NAN));
            if f64::is_infinite(read) && !typed.contains("inf") {
                Value::Oversized(typed.to_owned())
            } else {
                Value::Number(read)
            }
        }
        DeValue::String(text) => Value::Text(text.into_owned()),
        DeValue::Boolean(flag) => Value::Flag(flag),
        DeValue::Datetime(date) => Value::Date(date.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place_of(text: &str, path: &str) -> (usize, usize) {
        let document = Document::parse(text, "t.toml").expect("valid TOML");
        match document.place(document.origin(path)) {
            Place::Line { line, column } => (line, column),
            other => panic!("{other}"),
        }
    }

    #[test]
    fn keys_remember_their_line_and_column() {
        let text = "a = 1\n[b]\n  c = [1, 22]\nd.e = { f = \"ä\", g = 2 }\n[[h.i]]\nj = 0\n[[h.i]]\nj = 1\n";
        assert_eq!(place_of(text, "a"), (1, 1));
        assert_eq!(place_of(text, "b"), (2, 2));
        assert_eq!(place_of(text, "b.c"), (3, 3));
        assert_eq!(place_of(text, "b.c[1]"), (3, 11));
        assert_eq!(place_of(text, "b.d.e.g"), (4, 18)); // a column is a character, not a byte
        assert_eq!(place_of(text, "h.i[1].j"), (8, 1));
        assert_eq!(place_of(text, "h.i[1].missing"), (7, 1)); // the table it should be in
        assert_eq!(place_of(text, "nothing.here"), (1, 1));
    }

    #[test]
    fn windows_line_ends_count_once() {
        assert_eq!(place_of("a = 1\r\nb = 2\r\n", "b"), (2, 1));
    }

    #[test]
    fn numbers_that_nothing_can_hold_stay_as_typed() {
        let document = Document::parse(
            "a = 99999999999999999999\nb = 0x10\nc = 1_000.5\nd = -1e999",
            "t",
        )
        .expect("valid TOML");
        let Value::Table(table) = &document.root.value else {
            panic!("no table")
        };
        assert_eq!(table["a"].value.shown(), "99999999999999999999");
        assert_eq!(table["a"].value.number(), None);
        assert_eq!(table["d"].value.shown(), "-1e999");
        assert_eq!(table["b"].value.number(), Some(16.0));
        assert_eq!(table["c"].value.number(), Some(1000.5));
    }
}
