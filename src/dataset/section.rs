//! Reading one table of a recipe: known keys, types, limits, and the words when something is wrong.

use crate::scenario::ScenarioError;
use crate::scenario::advice::unknown_here;
use crate::scenario::document::{Document, Node, Origin, Value};
use crate::scenario::error::{Problem, number};
use crate::scenario::path::{KeyPath, PathStep, joined};
use std::collections::BTreeMap;

/// One table and where it stands.
pub(super) struct Section<'d> {
    pub document: &'d Document,
    path: String,
    origin: Origin,
    table: &'d BTreeMap<String, Node>,
}

type Found<'d> = (&'d Node, String);

impl<'d> Section<'d> {
    /// The top of a document.
    pub fn top(document: &'d Document) -> Result<Section<'d>, ScenarioError> {
        Section::of(document, &document.root, "")
    }

    /// The table of a node.
    pub fn of(
        document: &'d Document,
        node: &'d Node,
        path: &str,
    ) -> Result<Section<'d>, ScenarioError> {
        match &node.value {
            Value::Table(table) => Ok(Section {
                document,
                path: path.to_owned(),
                origin: node.origin,
                table,
            }),
            _ => {
                let problem = Problem::WrongType {
                    key: path.to_owned(),
                    value: node.value.shown(),
                    expected: "a table".into(),
                };
                Err(document.error(node.origin, problem, format!("write it as [{path}]")))
            }
        }
    }

    /// Path of one of its keys.
    pub fn path(&self, key: &str) -> String {
        joined(&self.path, key)
    }

    /// Its keys in order of their names.
    pub fn entries(&self) -> impl Iterator<Item = (&'d String, &'d Node)> + use<'d> {
        self.table.iter()
    }

    /// Refuses keys that are not in this list.
    pub fn known(&self, keys: &[&str]) -> Result<(), ScenarioError> {
        let unknown = self
            .entries()
            .filter(|(key, _)| !keys.contains(&key.as_str()));
        let Some((key, node)) = unknown.min_by_key(|(_, node)| node.origin) else {
            return Ok(());
        };
        let (problem, hint) = unknown_here(keys, "a recipe", &self.path, key);
        Err(self.document.error(node.origin, problem, hint))
    }

    /// A key that may be left out.
    pub fn optional(&self, key: &str) -> Option<Found<'d>> {
        self.table.get(key).map(|node| (node, self.path(key)))
    }

    /// A key that must be there.
    pub fn required(&self, key: &str, hint: &str) -> Result<Found<'d>, ScenarioError> {
        self.optional(key).ok_or_else(|| {
            let problem = Problem::MissingKey {
                key: self.path(key),
                needed_for: None,
            };
            self.document.error(self.origin, problem, hint)
        })
    }

    /// A table inside this one.
    pub fn table(&self, key: &str) -> Result<Option<Section<'d>>, ScenarioError> {
        self.optional(key)
            .map(|(node, path)| Section::of(self.document, node, &path))
            .transpose()
    }

    /// A list of tables, `[[key]]`: each with where it stands; none when left out.
    pub fn tables(&self, key: &str) -> Result<Vec<(&'d Node, Section<'d>)>, ScenarioError> {
        let Some((node, path)) = self.optional(key) else {
            return Ok(Vec::new());
        };
        let Value::List(items) = &node.value else {
            return Err(self.wrong_type(node, &path, &format!("tables, each as [[{path}]]")));
        };
        let section = |(number, item)| {
            let path = format!("{path}[{number}]");
            Ok((item, Section::of(self.document, item, &path)?))
        };
        items.iter().enumerate().map(section).collect()
    }

    /// A line of text.
    pub fn text(&self, key: &str, default: Option<&str>) -> Result<String, ScenarioError> {
        let allowed = "text in quotes of 1 to 200 characters, on one line";
        match (self.optional(key), default) {
            (Some((node, path)), _) => match &node.value {
                Value::Text(text) if is_line(text) => Ok(text.clone()),
                _ => Err(self.wrong_type(node, &path, allowed)),
            },
            (None, Some(default)) => Ok(default.to_owned()),
            (None, None) => {
                let found = self.required(key, &format!("add a line such as {key} = \"…\""))?;
                Err(self.wrong_type(found.0, &found.1, allowed))
            }
        }
    }

    /// A list of lines of text; empty when left out.
    pub fn texts(&self, key: &str) -> Result<Vec<String>, ScenarioError> {
        let Some((node, path)) = self.optional(key) else {
            return Ok(Vec::new());
        };
        let expected = "a list of lines of text, each of 1 to 200 characters";
        let Value::List(items) = &node.value else {
            return Err(self.wrong_type(node, &path, expected));
        };
        let texts = items.iter().map(|item| match &item.value {
            Value::Text(text) if is_line(text) => Ok(text.clone()),
            _ => Err(self.wrong_type(item, &path, expected)),
        });
        texts.collect()
    }

    /// A whole number within limits.
    pub fn whole(
        &self,
        key: &str,
        default: Option<u64>,
        least: u64,
        most: u64,
    ) -> Result<u64, ScenarioError> {
        let allowed = format!("a whole number from {least} to {most}");
        match (self.optional(key), default) {
            (Some((node, path)), _) => match node.value {
                Value::Whole(value) => u64::try_from(value)
                    .ok()
                    .filter(|v| (least..=most).contains(v))
                    .ok_or_else(|| {
                        self.out_of_range(node, &path, &allowed, "choose another number")
                    }),
                _ => Err(self.wrong_type(node, &path, &allowed)),
            },
            (None, Some(default)) => Ok(default),
            (None, None) => {
                let found = self.required(key, &format!("add a line such as {key} = 20417"))?;
                Err(self.wrong_type(found.0, &found.1, &allowed))
            }
        }
    }

    /// A number within limits.
    pub fn number(
        &self,
        key: &str,
        default: Option<f64>,
        least: f64,
        most: f64,
    ) -> Result<f64, ScenarioError> {
        let allowed = format!("a number from {} to {}", number(least), number(most));
        match (self.optional(key), default) {
            (Some((node, path)), _) => match node.value.number() {
                Some(value) if (least..=most).contains(&value) => Ok(value),
                Some(_) => Err(self.out_of_range(node, &path, &allowed, "choose another number")),
                None => Err(self.wrong_type(node, &path, &allowed)),
            },
            (None, Some(default)) => Ok(default),
            (None, None) => {
                let found = self.required(key, &format!("it is {allowed}"))?;
                Err(self.wrong_type(found.0, &found.1, &allowed))
            }
        }
    }

    /// true or false.
    pub fn flag(&self, key: &str, default: bool) -> Result<bool, ScenarioError> {
        match self.optional(key) {
            None => Ok(default),
            Some((node, path)) => match node.value {
                Value::Flag(flag) => Ok(flag),
                _ => Err(self.wrong_type(node, &path, "true or false")),
            },
        }
    }

    /// A key of this table that is the path of a scenario's key; a table that grew from dots without quotes is refused.
    pub fn key_path(&self, key: &str, node: &Node) -> Result<String, ScenarioError> {
        let hint = "put the whole key in quotes: \"state.sensor_offset_um\" = …";
        let parsed = KeyPath::parse(key).map_err(|reason| {
            let problem = Problem::BadArgument {
                reason: format!("{}: {reason}", self.path(key)),
            };
            self.document.error(node.origin, problem, hint)
        })?;
        let bare = matches!(parsed.0.as_slice(), [PathStep::Key(_)]);
        if bare && matches!(node.value, Value::Table(_)) && !SINGLE_KEYS.contains(&key) {
            let problem = Problem::BadArgument {
                reason: format!(
                    "{} is a section of a scenario, not one of its keys",
                    self.path(key)
                ),
            };
            return Err(self.document.error(node.origin, problem, hint));
        }
        Ok(parsed.to_string())
    }

    /// The error for a value of the wrong type.
    pub fn wrong_type(&self, node: &Node, key: &str, expected: &str) -> ScenarioError {
        let problem = Problem::WrongType {
            key: key.to_owned(),
            value: node.value.shown(),
            expected: expected.to_owned(),
        };
        self.document.error(
            node.origin,
            problem,
            "`skewstar schema recipe` lists every key",
        )
    }

    /// The error for a value outside its range.
    pub fn out_of_range(&self, node: &Node, key: &str, allowed: &str, hint: &str) -> ScenarioError {
        let problem = Problem::OutOfRange {
            key: key.to_owned(),
            value: node.value.shown(),
            allowed: allowed.to_owned(),
        };
        self.document.error(node.origin, problem, hint)
    }
}

/// Keys at the top of a scenario that are values, not sections.
const SINGLE_KEYS: [&str; 3] = ["format", "title", "seed"];

fn is_line(text: &str) -> bool {
    (1..=200).contains(&text.chars().count()) && !text.chars().any(char::is_control)
}
