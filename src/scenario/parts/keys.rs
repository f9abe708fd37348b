//! Values of the domain as values of the file: the tables of a scenario made up key by key, SI units divided out.
//!
//! What is divided is rounded to 15 significant digits. A decimal of at most 15 digits that was multiplied by its unit
//! comes back as it was typed, so that a value at a limit stays at the limit; everything else moves by less than 5e-15 of
//! itself. Values without a unit are taken over as they are.

use std::collections::BTreeMap;

use crate::scenario::document::{Node, Value};
use crate::state::Modes;
use crate::units::NM;

/// A table that is being made up.
#[derive(Debug, Default)]
pub(super) struct Keys(BTreeMap<String, Node>);

impl Keys {
    /// Puts a value under a key.
    pub fn put(&mut self, key: &str, value: Value) {
        self.0.insert(key.to_owned(), Node::of_code(value));
    }

    /// Puts a value under a key where there is one.
    pub fn put_some(&mut self, key: &str, value: Option<Value>) {
        if let Some(value) = value {
            self.put(key, value);
        }
    }

    /// The table as a value.
    pub fn table(self) -> Value {
        Value::Table(self.0)
    }

    /// The table as the top of a document.
    pub fn top(self) -> BTreeMap<String, Node> {
        self.0
    }
}

/// A value in SI units, in a unit of the file.
pub(super) fn in_unit(value: f64, unit: f64) -> Value {
    Value::Number(to_15_digits(value / unit))
}

/// A pair of values in SI units, in a unit of the file.
pub(super) fn pair(values: [f64; 2], unit: f64) -> Value {
    list(values.map(|value| in_unit(value, unit)))
}

/// A pair of values that have the file's unit.
pub(super) fn plain_pair(values: [f64; 2]) -> Value {
    list(values.map(Value::Number))
}

/// Values one after the other.
pub(super) fn list(items: impl IntoIterator<Item = Value>) -> Value {
    Value::List(items.into_iter().map(Node::of_code).collect())
}

/// A whole number; one that no key can hold is kept as text, as the reader of files keeps it.
pub(super) fn whole<N: TryInto<i64> + ToString + Copy>(count: N) -> Value {
    count
        .try_into()
        .map_or_else(|_| Value::Oversized(count.to_string()), Value::Whole)
}

/// One of the file's words, or any other text.
pub(super) fn text(words: &str) -> Value {
    Value::Text(words.to_owned())
}

/// A table of Zernike modes; `None` where there are none.
pub(super) fn modes(modes: &Modes) -> Option<Value> {
    let mut table = Keys::default();
    for (noll, rms_m) in modes.iter() {
        table.put(&noll.to_string(), in_unit(rms_m, NM));
    }
    (!table.0.is_empty()).then(|| table.table())
}

fn to_15_digits(value: f64) -> f64 {
    format!("{value:.14e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{ARCMIN, DEG, MM};
    use proptest::prelude::*;

    proptest! {
        /// The claim at the top of the file: what was typed comes back, whatever its unit.
        #[test]
        fn a_typed_decimal_comes_back(digits in 1..10_i64.pow(15), power in -12..12_i32) {
            let typed: f64 = format!("{digits}e{power}").parse().expect("a number");
            for unit in [MM, NM, DEG, ARCMIN, NM / MM] {
                prop_assert_eq!(in_unit(typed * unit, unit).number(), Some(typed), "{}", unit);
            }
        }
    }

    #[test]
    fn what_is_no_number_stays_none() {
        assert!(matches!(in_unit(f64::NAN, MM), Value::Number(n) if n.is_nan()));
        assert_eq!(
            in_unit(f64::NEG_INFINITY, MM).number(),
            Some(f64::NEG_INFINITY)
        );
    }

    #[test]
    fn counts_beyond_every_key_are_kept_as_text() {
        assert_eq!(whole(3_usize).shown(), "3");
        assert_eq!(whole(u64::MAX).shown(), u64::MAX.to_string());
        assert_eq!(whole(u64::MAX).number(), None);
    }
}
