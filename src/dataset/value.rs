//! A value that was drawn, and what kind of value it is.

use crate::scenario::document::{Origin, Value};

/// A value that was drawn for a key, as TOML.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawn {
    /// Path of the key.
    pub key: String,
    /// The value.
    pub value: String,
}

/// A value by its type.
#[derive(Debug, Clone, PartialEq)]
pub enum TypedValue {
    /// A number.
    Number(f64),
    /// A list of numbers.
    Numbers(Vec<f64>),
    /// true or false.
    Flag(bool),
    /// Text.
    Text(String),
    /// Anything else, as TOML.
    Other(String),
}

/// What kind of values a key is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ValueKind {
    /// Numbers.
    Number,
    /// Lists of so many numbers.
    Numbers(usize),
    /// true or false.
    Flag,
    /// Text.
    Text,
    /// More than one kind, or tables and lists of other things.
    Mixed,
}

impl Drawn {
    /// What `--set` would take.
    pub fn argument(&self) -> String {
        format!("{}={}", self.key, self.value)
    }

    /// The value as a number; `None` for text and lists.
    pub fn number(&self) -> Option<f64> {
        self.value.parse().ok()
    }

    /// The value by its type.
    pub fn typed(&self) -> TypedValue {
        typed(&self.value)
    }
}

fn typed(text: &str) -> TypedValue {
    let other = || TypedValue::Other(text.to_owned());
    let Ok(value) = Value::of_argument(text, Origin::Code) else {
        return other();
    };
    match value {
        Value::Text(text) => TypedValue::Text(text),
        Value::Flag(flag) => TypedValue::Flag(flag),
        Value::List(items) => {
            let numbers: Option<Vec<f64>> = items.iter().map(|item| item.value.number()).collect();
            numbers.map_or_else(other, TypedValue::Numbers)
        }
        value => value.number().map_or_else(other, TypedValue::Number),
    }
}

impl ValueKind {
    /// The kind of one value.
    pub fn of(text: &str) -> ValueKind {
        match typed(text) {
            TypedValue::Number(_) => ValueKind::Number,
            TypedValue::Numbers(list) => ValueKind::Numbers(list.len()),
            TypedValue::Flag(_) => ValueKind::Flag,
            TypedValue::Text(_) => ValueKind::Text,
            TypedValue::Other(_) => ValueKind::Mixed,
        }
    }

    /// The kind of values that should be alike.
    pub fn of_all<T: AsRef<str>>(values: &[T]) -> ValueKind {
        let mut kinds = values.iter().map(|value| ValueKind::of(value.as_ref()));
        let first = kinds.next().unwrap_or(ValueKind::Mixed);
        if kinds.all(|kind| kind == first) {
            first
        } else {
            ValueKind::Mixed
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_have_kinds() {
        let kind = |values: &[&str]| ValueKind::of_all(values);
        assert_eq!(kind(&["3", "4.5", "-1e3"]), ValueKind::Number);
        assert_eq!(kind(&["[1.0, 2]", "[0.5, 3.0]"]), ValueKind::Numbers(2));
        assert_eq!(kind(&["true", "false"]), ValueKind::Flag);
        assert_eq!(kind(&["\"a\"", "\"3\""]), ValueKind::Text);
        for mixed in [
            &["3", "true"][..],
            &["[1.0]", "[1.0, 2.0]"],
            &["[true]"],
            &["{ a = 1 }"],
            &[],
        ] {
            assert_eq!(kind(mixed), ValueKind::Mixed, "{mixed:?}");
        }
        assert_eq!(typed("\"3\""), TypedValue::Text("3".into()));
        assert_eq!(typed("[1, 2.5]"), TypedValue::Numbers(vec![1.0, 2.5]));
    }
}
