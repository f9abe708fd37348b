//! The first check: every key is known, has the right type, lies within its limits, and none is missing.
//!
//! It serves every file that is described by [`Rule`]s, the scenario and the learned response; the next step it proposes is
//! the file's own ([`Words`]). What one value means for another is left to [`validate`](super::validate).

use std::collections::BTreeMap;

use super::advice::{self, Told};
use super::document::{Document, Node, Origin, Value};
use super::error::{Problem, ScenarioError};
use super::findings::Contradictions;
use super::path::joined;
use super::raw::noll_index;
use super::rules::{MapKeys, Rule, ValueShape};

/// What a file says about a finding.
pub(super) trait Words {
    /// The hint for a value of the wrong type.
    fn wrong_type(&self, rule: &Rule, node: &Node, key: &str) -> String;
    /// The hint for a value outside its range.
    fn out_of_range(&self, rule: &Rule, node: &Node, key: &str) -> String;
    /// The hint for a key that is missing.
    fn missing(&self, key: &str) -> String;
    /// The problem of an unknown key, which may name the one that was meant, and its hint.
    fn unknown(&self, rule: &Rule, section: &str, key: &str) -> Told;
}

/// Checks a document against the rules of its file.
pub(super) fn check(
    document: &Document,
    rules: &Rule,
    words: &dyn Words,
) -> Result<(), ScenarioError> {
    let mut findings = Contradictions::of(document);
    Checker { words }.node(rules, &document.root, "", &mut findings);
    findings.finish()
}

impl Document {
    /// Refuses every format but 1; `what` is the kind of file. Another format would make every further message misleading,
    /// so it is looked at first.
    pub fn check_format(&self, what: &str) -> Result<(), ScenarioError> {
        let Value::Table(table) = &self.root.value else {
            return Ok(());
        };
        let key = "format".to_owned();
        match table.get("format") {
            Some(Node {
                value: Value::Whole(1),
                ..
            }) => Ok(()),
            Some(node) => {
                let problem = Problem::OutOfRange {
                    key,
                    value: node.value.shown(),
                    allowed: "1".into(),
                };
                Err(self.error(node.origin, problem, ONLY_FORMAT))
            }
            None => {
                let problem = Problem::MissingKey {
                    key,
                    needed_for: None,
                };
                let hint = format!("{what} starts with the line `format = 1`");
                Err(self.error(Origin::Byte(0), problem, hint))
            }
        }
    }
}

/// The hint for another format.
pub(super) const ONLY_FORMAT: &str = "this version reads format 1 only";

#[derive(Clone, Copy)]
struct Checker<'d> {
    words: &'d dyn Words,
}

impl<'d> Checker<'d> {
    fn node(self, rule: &'d Rule, node: &'d Node, path: &str, findings: &mut Contradictions<'d>) {
        if !same_type(rule, &node.value) {
            self.wrong_type(rule, node, path, findings);
            return;
        }
        if !within(&rule.shape, &node.value) {
            self.out_of_range(rule, node, path, findings);
        }
        match (&rule.shape, &node.value) {
            (ValueShape::Table(_), Value::Table(table)) => {
                self.table(rule, node, table, path, findings)
            }
            (ValueShape::Map { keys, value }, Value::Table(table)) => {
                self.map(*keys, value, table, path, findings)
            }
            (ValueShape::List { item, .. }, Value::List(items)) => {
                for (index, node) in items.iter().enumerate() {
                    self.node(item, node, &format!("{path}[{index}]"), findings);
                }
            }
            (ValueShape::Either(choices), value) => {
                if let Some(choice) = choices.iter().find(|choice| same_type(choice, value)) {
                    self.node(choice, node, path, findings);
                }
            }
            _ => {}
        }
    }

    fn table(
        self,
        rule: &'d Rule,
        node: &'d Node,
        table: &'d BTreeMap<String, Node>,
        path: &str,
        findings: &mut Contradictions<'d>,
    ) {
        for (key, inner) in table {
            match rule.field(key) {
                Some(field) => self.node(&field.rule, inner, &joined(path, key), findings),
                None => {
                    let section = path.to_owned();
                    let tell = move || self.words.unknown(rule, &section, key);
                    findings.wrong(inner.origin, tell);
                }
            }
        }
        for field in rule
            .fields()
            .iter()
            .filter(|field| field.required && !table.contains_key(&field.name))
        {
            let key = joined(path, &field.name);
            let section = matches!(field.rule.shape, ValueShape::Table(_));
            findings.missing(node.origin, section, move || {
                let hint = self.words.missing(&key);
                let needed_for = None;
                (Problem::MissingKey { key, needed_for }, hint)
            });
        }
    }

    fn map(
        self,
        keys: MapKeys,
        value: &'d Rule,
        table: &'d BTreeMap<String, Node>,
        path: &str,
        findings: &mut Contradictions<'d>,
    ) {
        for (key, node) in table {
            if keys == MapKeys::Noll && noll_index(key).is_none() {
                let table = path.to_owned();
                findings.wrong(node.origin, move || advice::no_noll_index(&table, key));
            } else {
                self.node(value, node, &joined(path, key), findings);
            }
        }
    }

    fn wrong_type(
        self,
        rule: &'d Rule,
        node: &'d Node,
        path: &str,
        findings: &mut Contradictions<'d>,
    ) {
        let key = path.to_owned();
        findings.wrong(node.origin, move || {
            let hint = self.words.wrong_type(rule, node, &key);
            let problem = Problem::WrongType {
                key,
                value: with_its_point(&node.value),
                expected: rule.allowed(),
            };
            (problem, hint)
        });
    }

    fn out_of_range(
        self,
        rule: &'d Rule,
        node: &'d Node,
        path: &str,
        findings: &mut Contradictions<'d>,
    ) {
        let key = path.to_owned();
        findings.wrong(node.origin, move || {
            let hint = self.words.out_of_range(rule, node, &key);
            let problem = Problem::OutOfRange {
                key,
                value: node.value.shown(),
                allowed: rule.allowed(),
            };
            (problem, hint)
        });
    }
}

/// A value as a message shows it, 3.0 with its point: where a type is wrong, the point is what is wrong.
fn with_its_point(value: &Value) -> String {
    match value {
        Value::Number(number) if number.fract() == 0.0 && number.abs() < 1e15 => {
            format!("{number:.1}")
        }
        _ => value.shown(),
    }
}

fn same_type(rule: &Rule, value: &Value) -> bool {
    match &rule.shape {
        ValueShape::Table(_) | ValueShape::Map { .. } | ValueShape::Unread => {
            matches!(value, Value::Table(_))
        }
        ValueShape::List { .. } => matches!(value, Value::List(_)),
        ValueShape::Number(_) => matches!(
            value,
            Value::Number(_) | Value::Whole(_) | Value::Oversized(_)
        ),
        ValueShape::Whole { .. } => matches!(value, Value::Whole(_) | Value::Oversized(_)),
        ValueShape::Text { .. } => matches!(value, Value::Text(_)),
        ValueShape::Flag => matches!(value, Value::Flag(_)),
        ValueShape::Either(choices) => choices.iter().any(|choice| same_type(choice, value)),
    }
}

fn within(shape: &ValueShape, value: &Value) -> bool {
    match (shape, value) {
        (ValueShape::Number(range), value) => {
            value.number().is_some_and(|number| range.holds(number))
        }
        (ValueShape::Whole { range, only }, Value::Whole(whole)) => {
            range.holds(*whole as f64) && (only.is_empty() || only.contains(whole))
        }
        (ValueShape::Whole { .. }, _) => false,
        (
            ValueShape::Text {
                choices,
                shortest,
                longest,
            },
            Value::Text(text),
        ) if choices.is_empty() => (*shortest..=*longest).contains(&text.chars().count()),
        (ValueShape::Text { choices, .. }, Value::Text(text)) => choices.contains(text),
        (ValueShape::List { least, most, .. }, Value::List(items)) => {
            (*least..=*most).contains(&items.len())
        }
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::super::rules::rules;
    use super::*;
    use crate::scenario::path::PathStep;

    #[test]
    fn every_example_obeys_its_own_rule() {
        fn visit(rule: &Rule, path: &str) {
            if let Some(example) = &rule.example {
                let document =
                    Document::parse(&format!("x = {example}"), path).expect("an example in TOML");
                let node = document
                    .root
                    .child(&PathStep::Key("x".to_owned()))
                    .expect("x");
                let mut findings = Contradictions::of(&document);
                let words = &advice::OfScenario;
                Checker { words }.node(rule, node, path, &mut findings);
                assert_eq!(findings.finish(), Ok(()), "{path}");
            }
            match &rule.shape {
                ValueShape::Table(fields) => fields
                    .iter()
                    .for_each(|f| visit(&f.rule, &joined(path, &f.name))),
                ValueShape::List { item, .. } if matches!(item.shape, ValueShape::Table(_)) => {
                    visit(item, path)
                }
                ValueShape::Map { value, .. } => visit(value, path),
                ValueShape::Unread => {}
                _ => assert!(rule.example.is_some(), "{path} has no example"),
            }
        }
        visit(rules(), "");
    }
}
