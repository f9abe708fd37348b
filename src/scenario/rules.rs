//! The rules of a file, read off its typed structs: which keys there are, of which type, within which limits.
//!
//! For a scenario [`raw`](super::raw) is the only source. Its JSON Schema is turned into a tree of [`Rule`]s once (by
//! [`schema`](super::schema)); the checks, the key table and the messages all read that tree, so they cannot disagree
//! with the structs or with each other.

use std::fmt;
use std::sync::OnceLock;

use super::error::number;
use super::path::{KeyPath, PathStep};
use super::raw::RawScenario;
use super::schema;

/// What may stand at one place of the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Rule {
    /// One sentence saying what the key means.
    pub meaning: String,
    /// Unit, where the name of the key does not carry it.
    pub unit: Option<String>,
    /// What holds where the key is left out.
    pub default: Option<String>,
    /// A sensible value, as TOML.
    pub example: Option<String>,
    /// Type and limits.
    pub shape: ValueShape,
}

/// Type and limits of a value.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum ValueShape {
    /// A table with these keys and no others; the required ones first.
    Table(Vec<KeyRule>),
    /// A table whose keys are the user's own, with values that obey one rule.
    Map { keys: MapKeys, value: Box<Rule> },
    /// A list whose items obey one rule.
    List {
        item: Box<Rule>,
        least: usize,
        most: usize,
    },
    /// Any number.
    Number(Range),
    /// A whole number, one of `only` where that is not empty.
    Whole { range: Range, only: Vec<i64> },
    /// Text, one of `choices` where that is not empty.
    Text {
        choices: Vec<String>,
        shortest: usize,
        longest: usize,
    },
    /// true or false.
    Flag,
    /// Whatever one of these allows.
    Either(Vec<Rule>),
    /// A table that is not looked into.
    Unread,
}

/// What the keys of a [`ValueShape::Map`] are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum MapKeys {
    /// Noll indices.
    Noll,
    /// Names of screws.
    Screws,
}

/// One key of a table.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct KeyRule {
    /// The key.
    pub name: String,
    /// Whether it must be there.
    pub required: bool,
    /// What it may hold.
    pub rule: Rule,
}

/// Limits of a number; both inclusive but for `above`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Range {
    /// Smallest value.
    pub least: f64,
    /// Whether the smallest value itself is excluded.
    pub above: bool,
    /// Largest value.
    pub most: f64,
}

impl Range {
    /// Whether a value obeys the limits; NaN never does.
    pub fn holds(&self, value: f64) -> bool {
        let low_enough = value <= self.most;
        let high_enough = if self.above {
            value > self.least
        } else {
            value >= self.least
        };
        low_enough && high_enough
    }
}

impl fmt::Display for Range {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (least, most) = (limit(self.least), limit(self.most));
        if self.above {
            write!(out, "more than {least} and at most {most}")
        } else {
            write!(out, "from {least} to {most}")
        }
    }
}

impl Rule {
    /// The rule of a key of a table, `None` for an unknown key.
    pub fn field(&self, name: &str) -> Option<&KeyRule> {
        self.fields().iter().find(|field| field.name == name)
    }

    /// The keys of a table; none for anything else.
    pub fn fields(&self) -> &[KeyRule] {
        match &self.shape {
            ValueShape::Table(fields) => fields,
            _ => &[],
        }
    }

    /// The names of the keys of a table.
    pub fn names(&self) -> Vec<&str> {
        self.fields().iter().map(|f| f.name.as_str()).collect()
    }

    /// What is allowed, as it reads after "must be".
    pub fn allowed(&self) -> String {
        match &self.shape {
            ValueShape::Number(range) if range.least == range.most => limit(range.least),
            ValueShape::Number(range) => format!("a number {range}"),
            ValueShape::Whole { only, .. } if !only.is_empty() => one_of(only),
            ValueShape::Whole { range, .. } => format!("a whole number {range}"),
            ValueShape::Text {
                choices,
                shortest,
                longest,
            } if choices.is_empty() => match count(*shortest, *longest) {
                None => "text in quotes".to_owned(),
                Some(count) => format!("text in quotes of {count} characters"),
            },
            ValueShape::Text { choices, .. } => one_of(
                &choices
                    .iter()
                    .map(|word| format!("{word:?}"))
                    .collect::<Vec<_>>(),
            ),
            ValueShape::Flag => "true or false".to_owned(),
            ValueShape::List { item, least, most } => {
                let count =
                    count(*least, *most).map_or_else(String::new, |count| format!(" {count}"));
                let items = each(item);
                let one = *least == 1 && *most == usize::MAX;
                let items = items.strip_suffix('s').filter(|_| one).unwrap_or(&items);
                format!("a list of{count}{items}")
            }
            ValueShape::Table(_) | ValueShape::Unread => "a table".to_owned(),
            ValueShape::Map {
                keys: MapKeys::Noll,
                ..
            } => "a table of Noll index = number".to_owned(),
            ValueShape::Map {
                keys: MapKeys::Screws,
                ..
            } => "a table of screw = turns".to_owned(),
            ValueShape::Either(rules) => rules
                .iter()
                .map(Rule::allowed)
                .collect::<Vec<_>>()
                .join(", or "),
        }
    }
}

/// The rules of a scenario.
pub(super) fn rules() -> &'static Rule {
    static RULES: OnceLock<Rule> = OnceLock::new();
    RULES.get_or_init(|| schema::rule(&schema::schema_value::<RawScenario>()))
}

/// Numbers that a key of a scenario holds: as many as its list has, where that is settled, else 1.
pub(crate) fn numbers_of(key: &str) -> usize {
    let steps = KeyPath::parse(key).map(|path| path.0).unwrap_or_default();
    let found = steps.iter().try_fold(rules(), |rule, step| match step {
        PathStep::Key(name) => rule.field(name).map(|field| &field.rule),
        PathStep::Index(_) => None,
    });
    match found.map(|rule| &rule.shape) {
        Some(ValueShape::List { item, least, most }) => {
            let numbers = matches!(item.shape, ValueShape::Number(_)) && least == most;
            if numbers { *least } else { 1 }
        }
        _ => 1,
    }
}

/// A limit as people write it: powers of ten as such, everything else in full.
fn limit(value: f64) -> String {
    if value.fract() == 0.0 && value.abs() < 1e16 {
        format!("{value}")
    } else {
        number(value)
    }
}

/// "a", "a or b", "a, b or c".
pub(super) fn one_of<T: fmt::Display>(choices: &[T]) -> String {
    let words: Vec<String> = choices.iter().map(T::to_string).collect();
    match words.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// How many; `None` where any number will do.
fn count(least: usize, most: usize) -> Option<String> {
    match (least, most) {
        (0, usize::MAX) => None,
        (_, usize::MAX) => Some(format!("at least {least}")),
        _ if least == most => Some(format!("{least}")),
        _ => Some(format!("{least} to {most}")),
    }
}

fn each(item: &Rule) -> String {
    match &item.shape {
        ValueShape::Number(range) => format!(" numbers, each {range}"),
        ValueShape::Table(_) => " tables".to_owned(),
        ValueShape::Text { .. } => " texts in quotes".to_owned(),
        _ => " values".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(path: &str) -> Rule {
        path.split('.').fold(rules().clone(), |rule, name| {
            rule.field(name).expect(path).rule.clone()
        })
    }

    #[test]
    fn limits_are_read_off_the_structs() {
        assert_eq!(
            at("telescope.aperture_mm").allowed(),
            "a number from 1 to 20000"
        );
        assert_eq!(
            at("camera.width_px").allowed(),
            "a whole number from 1 to 16384"
        );
        assert_eq!(
            at("camera.gain_e_per_adu").allowed(),
            "a number more than 0 and at most 1000"
        );
        assert_eq!(
            at("telescope.focus_law").allowed(),
            "\"sine\" or \"paraboloid\""
        );
        assert_eq!(
            at("seed").allowed(),
            "a whole number from 0 to 9007199254740991"
        );
        assert_eq!(at("mask.sense").allowed(), "-1 or 1");
        assert_eq!(
            at("camera.passband_nm").allowed(),
            "a list of 2 numbers, each from 200 to 2500"
        );
        assert_eq!(at("assembly.screws").allowed(), "a list of 3 to 24 tables");
    }

    #[test]
    fn required_keys_and_defaults_are_those_of_the_contract() {
        // Nothing can be shown without these: format, title, aperture, focal length, pixel size and frame size.
        let required = |rule: &Rule| -> Vec<String> {
            rule.fields()
                .iter()
                .filter(|field| field.required)
                .map(|field| field.name.clone())
                .collect()
        };
        assert_eq!(
            required(rules()),
            ["format", "title", "telescope", "camera"]
        );
        assert_eq!(
            required(&at("telescope")),
            ["aperture_mm", "focal_length_mm"]
        );
        assert_eq!(
            required(&at("camera")),
            ["pixel_um", "width_px", "height_px"]
        );
        assert_eq!(at("telescope.reflections").default.as_deref(), Some("1"));
        assert_eq!(
            at("telescope.focus_law").default.as_deref(),
            Some("\"sine\"")
        );
        assert_eq!(at("star.altitude_deg").default.as_deref(), Some("90.0"));
        assert_eq!(at("state.recentred").default.as_deref(), Some("true"));
    }

    #[test]
    fn a_range_knows_which_of_its_ends_belong_to_it() {
        let closed = Range {
            least: 1.0,
            above: false,
            most: 3.0,
        };
        assert!(
            closed.holds(1.0) && closed.holds(3.0) && !closed.holds(0.999) && !closed.holds(3.001)
        );
        let open = Range {
            least: 1.0,
            above: true,
            most: 3.0,
        };
        assert!(!open.holds(1.0) && open.holds(1.001));
        assert!(!closed.holds(f64::NAN) && !closed.holds(f64::INFINITY));
    }

    #[test]
    fn every_key_is_limited_and_read() {
        fn visit(rule: &Rule, path: &str) {
            let finite = |range: &Range| range.least.is_finite() && range.most.is_finite();
            match &rule.shape {
                ValueShape::Table(fields) => fields
                    .iter()
                    .for_each(|f| visit(&f.rule, &format!("{path}.{}", f.name))),
                ValueShape::Map { value, .. } => visit(value, &format!("{path}.*")),
                ValueShape::List { item, most, .. } => {
                    assert!(*most < usize::MAX, "{path} is a list without an end");
                    visit(item, &format!("{path}[]"));
                }
                ValueShape::Number(range) | ValueShape::Whole { range, .. } => {
                    assert!(finite(range), "{path} has no limit")
                }
                ValueShape::Text {
                    choices, longest, ..
                } => {
                    assert!(
                        !choices.is_empty() || *longest < usize::MAX,
                        "{path} is text without an end"
                    );
                }
                ValueShape::Either(rules) => rules.iter().for_each(|rule| visit(rule, path)),
                ValueShape::Flag => {}
                ValueShape::Unread => panic!("{path} is not read"),
            }
        }
        visit(rules(), "");
    }
}
