//! The first check: every key is known, has the right type, lies within its limits, and none is missing.
//!
//! What one value means for another is left to [`validate`](super::validate).

use std::collections::BTreeMap;

use super::advice;
use super::document::{Document, Node, Origin, Value};
use super::error::{Problem, ScenarioError};
use super::findings::Findings;
use super::path::joined;
use super::raw::noll_index;
use super::rules::{MapKeys, Rule, Shape, rules};

/// Checks a document against the rules of the file.
pub(super) fn check(document: &Document) -> Result<(), ScenarioError> {
    check_format(document)?;
    let mut findings = Findings::of(document);
    check_node(rules(), &document.root, "", &mut findings);
    findings.finish()
}

/// Another format would make every further message misleading, so it is looked at first.
fn check_format(document: &Document) -> Result<(), ScenarioError> {
    let Value::Table(table) = &document.root.value else {
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
            Err(document.error(node.origin, problem, "this version reads format 1 only"))
        }
        None => {
            let problem = Problem::MissingKey {
                key,
                needed_for: None,
            };
            Err(document.error(
                Origin::Byte(0),
                problem,
                "a scenario starts with the line `format = 1`",
            ))
        }
    }
}

fn check_node<'d>(rule: &'d Rule, node: &'d Node, path: &str, findings: &mut Findings<'d>) {
    let key = path.to_owned();
    if !same_type(rule, &node.value) {
        findings.wrong(node.origin, move || advice::wrong_type(rule, node, &key));
        return;
    }
    if !within(&rule.shape, &node.value) {
        findings.wrong(node.origin, move || advice::out_of_range(rule, node, &key));
    }
    match (&rule.shape, &node.value) {
        (Shape::Table(_), Value::Table(table)) => check_table(rule, node, table, path, findings),
        (Shape::Map { keys, value }, Value::Table(table)) => {
            check_map(*keys, value, table, path, findings)
        }
        (Shape::List { item, .. }, Value::List(items)) => {
            for (index, node) in items.iter().enumerate() {
                check_node(item, node, &format!("{path}[{index}]"), findings);
            }
        }
        (Shape::Either(choices), value) => {
            if let Some(choice) = choices.iter().find(|choice| same_type(choice, value)) {
                check_node(choice, node, path, findings);
            }
        }
        _ => {}
    }
}

fn check_table<'d>(
    rule: &'d Rule,
    node: &'d Node,
    table: &'d BTreeMap<String, Node>,
    path: &str,
    findings: &mut Findings<'d>,
) {
    for (key, inner) in table {
        match rule.field(key) {
            Some(field) => check_node(&field.rule, inner, &joined(path, key), findings),
            None => {
                let section = path.to_owned();
                findings.wrong(inner.origin, move || advice::unknown(rule, &section, key));
            }
        }
    }
    for field in rule
        .fields()
        .iter()
        .filter(|field| field.required && !table.contains_key(&field.name))
    {
        let key = joined(path, &field.name);
        let section = matches!(field.rule.shape, Shape::Table(_));
        findings.missing(node.origin, section, move || advice::missing(&key, None));
    }
}

fn check_map<'d>(
    keys: MapKeys,
    value: &'d Rule,
    table: &'d BTreeMap<String, Node>,
    path: &str,
    findings: &mut Findings<'d>,
) {
    for (key, node) in table {
        if keys == MapKeys::Noll && noll_index(key).is_none() {
            let table = path.to_owned();
            findings.wrong(node.origin, move || advice::no_noll_index(&table, key));
        } else {
            check_node(value, node, &joined(path, key), findings);
        }
    }
}

fn same_type(rule: &Rule, value: &Value) -> bool {
    match &rule.shape {
        Shape::Table(_) | Shape::Map { .. } | Shape::Unread => matches!(value, Value::Table(_)),
        Shape::List { .. } => matches!(value, Value::List(_)),
        Shape::Number(_) => matches!(
            value,
            Value::Number(_) | Value::Whole(_) | Value::Oversized(_)
        ),
        Shape::Whole { .. } => matches!(value, Value::Whole(_) | Value::Oversized(_)),
        Shape::Text { .. } => matches!(value, Value::Text(_)),
        Shape::Flag => matches!(value, Value::Flag(_)),
        Shape::Either(choices) => choices.iter().any(|choice| same_type(choice, value)),
    }
}

fn within(shape: &Shape, value: &Value) -> bool {
    match (shape, value) {
        (Shape::Number(range), value) => value.number().is_some_and(|number| range.holds(number)),
        (Shape::Whole { range, only }, Value::Whole(whole)) => {
            range.holds(*whole as f64) && (only.is_empty() || only.contains(whole))
        }
        (Shape::Whole { .. }, _) => false,
        (
            Shape::Text {
                choices,
                shortest,
                longest,
            },
            Value::Text(text),
        ) if choices.is_empty() => (*shortest..=*longest).contains(&text.chars().count()),
        (Shape::Text { choices, .. }, Value::Text(text)) => choices.contains(text),
        (Shape::List { least, most, .. }, Value::List(items)) => {
            (*least..=*most).contains(&items.len())
        }
        _ => true,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::path::Step;

    #[test]
    fn every_example_obeys_its_own_rule() {
        fn visit(rule: &Rule, path: &str) {
            if let Some(example) = &rule.example {
                let document =
                    Document::parse(&format!("x = {example}"), path).expect("an example in TOML");
                let node = document.root.child(&Step::Key("x".to_owned())).expect("x");
                let mut findings = Findings::of(&document);
                check_node(rule, node, path, &mut findings);
                assert_eq!(findings.finish(), Ok(()), "{path}");
            }
            match &rule.shape {
                Shape::Table(fields) => fields
                    .iter()
                    .for_each(|f| visit(&f.rule, &joined(path, &f.name))),
                Shape::List { item, .. } if matches!(item.shape, Shape::Table(_)) => {
                    visit(item, path)
                }
                Shape::Map { value, .. } => visit(value, path),
                Shape::Unread => {}
                _ => assert!(rule.example.is_some(), "{path} has no example"),
            }
        }
        visit(rules(), "");
    }
}
