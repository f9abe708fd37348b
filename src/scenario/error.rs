//! Why a scenario was refused: the file, the line, the key, the value, what is allowed, and what to do next.
//!
//! [`ScenarioError`] prints the sentence that follows `error: `; [`ScenarioError::hint`] is the next step, for a line of
//! its own. Nothing here decides anything: the reading stages make these values, callers show them.

use std::fmt;

/// A scenario that was refused, or an instrument and a state made in code (then without a file's name and without a line).
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{}{problem}", prefix(.label, .place))]
pub struct ScenarioError {
    /// Name of the file, as it was handed in.
    pub label: String,
    /// Where in the file, or on the command line.
    pub place: Place,
    /// What is wrong.
    pub problem: Box<Problem>,
    hint: String,
}

impl ScenarioError {
    /// An error with its next step.
    pub(crate) fn new(
        label: &str,
        place: Place,
        problem: Problem,
        hint: impl Into<String>,
    ) -> Self {
        ScenarioError {
            label: label.to_owned(),
            place,
            problem: Box::new(problem),
            hint: hint.into(),
        }
    }

    /// What to do next.
    pub fn hint(&self) -> &str {
        &self.hint
    }

    /// Line in the file, from 1; `None` for a key set on the command line and for a text refused as a whole.
    pub fn line(&self) -> Option<usize> {
        match self.place {
            Place::Line { line, .. } => Some(line),
            _ => None,
        }
    }

    /// Column in that line, in characters from 1.
    pub fn column(&self) -> Option<usize> {
        match self.place {
            Place::Line { column, .. } => Some(column),
            _ => None,
        }
    }

    /// Path of the key, such as `telescope.vanes[0].width_mm`; `None` when the text could not be read that far.
    pub fn key(&self) -> Option<&str> {
        self.problem.key()
    }

    /// The refused value as text.
    pub fn value(&self) -> Option<&str> {
        self.problem.value()
    }

    /// What would have been allowed.
    pub fn allowed(&self) -> Option<&str> {
        self.problem.allowed()
    }
}

/// Where a refused key or value was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// In the file; both count from 1, the column in characters.
    Line {
        /// Line.
        line: usize,
        /// Column.
        column: usize,
    },
    /// On the command line, as `--set KEY=VALUE`.
    Argument {
        /// The option, `--set` or the one that gave a series.
        option: String,
        /// Its text.
        text: String,
    },
    /// The text as a whole.
    Whole,
    /// In no text: the value was made in code, and the path of its key says which one it is.
    Code,
}

impl fmt::Display for Place {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Line { line, column } => write!(out, "line {line}, column {column}"),
            Place::Argument { option, text } => write!(out, "{option} {}", shortened(text)),
            Place::Whole => write!(out, "the whole text"),
            Place::Code => write!(out, "a value made in code"),
        }
    }
}

/// What is wrong with a scenario.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)] // the sentences say what each field holds
pub enum Problem {
    /// The text is longer than any scenario needs to be.
    #[error("the text is {bytes} bytes long, but must be at most {limit} bytes")]
    TooLong { bytes: usize, limit: usize },
    /// The bytes are not text.
    #[error("this is not UTF-8 text: byte {offset} cannot be read")]
    NotUtf8 { offset: usize },
    /// Nothing but white space and comments.
    #[error("the text holds no key")]
    Empty,
    /// The TOML reader refused the text.
    #[error("this is not TOML: {message}")]
    NotToml { message: String },
    /// A key or a section that stands there twice.
    #[error("{key} is given twice")]
    GivenTwice { key: String },
    /// A key that no scenario has.
    #[error("{key} is not a key of {section}")]
    UnknownKey {
        key: String,
        section: String,
        nearest: Option<String>,
    },
    /// A key that must be there.
    #[error("{key} is missing{}", needed(.needed_for))]
    MissingKey {
        key: String,
        needed_for: Option<String>,
    },
    /// A value of the wrong type.
    #[error("{key} is {value}, but must be {expected}")]
    WrongType {
        key: String,
        value: String,
        expected: String,
    },
    /// A value outside its range, or at odds with another one.
    #[error("{key} is {value}, but must be {allowed}")]
    OutOfRange {
        key: String,
        value: String,
        allowed: String,
    },
    /// A key of a table of Zernike modes that is no Noll index.
    #[error("{table} has the key {found}, but its keys must be {allowed}")]
    BadNollIndex {
        table: String,
        found: String,
        allowed: String,
    },
    /// Two keys that exclude each other.
    #[error("{first} ({first_place}) and {second} ({second_place}) exclude each other")]
    ExcludeEachOther {
        first: String,
        first_place: Place,
        second: String,
        second_place: Place,
    },
    /// A key that has no meaning without another one.
    #[error("{key} is given, but must be left out {condition}")]
    NoMeaning { key: String, condition: String },
    /// Surfaces that make no telescope.
    #[error("{key} is no telescope: {reason}")]
    NoTelescope { key: String, reason: String },
    /// A file that is named, but whose content the value does not hold.
    #[error("{key} names {file}, but that file has not been read")]
    NotRead { key: String, file: String },
    /// A value that the file format has no words for.
    #[error("{key} is {value}, which no scenario file can say")]
    NoWords { key: String, value: String },
    /// A key that is planned, but that this version cannot use.
    #[error("{what} cannot be used yet by this version")]
    NotYet { key: String, what: String },
    /// A `--set` or a series that does not read as KEY=VALUE.
    #[error("{reason}")]
    BadArgument { reason: String },
}

impl Problem {
    fn key(&self) -> Option<&str> {
        match self {
            Problem::GivenTwice { key }
            | Problem::UnknownKey { key, .. }
            | Problem::MissingKey { key, .. }
            | Problem::WrongType { key, .. }
            | Problem::OutOfRange { key, .. }
            | Problem::NoMeaning { key, .. }
            | Problem::NoTelescope { key, .. }
            | Problem::NotRead { key, .. }
            | Problem::NoWords { key, .. }
            | Problem::NotYet { key, .. } => Some(key),
            Problem::BadNollIndex { table, .. } => Some(table),
            Problem::ExcludeEachOther { second, .. } => Some(second),
            Problem::TooLong { .. }
            | Problem::NotUtf8 { .. }
            | Problem::Empty
            | Problem::NotToml { .. }
            | Problem::BadArgument { .. } => None,
        }
    }

    fn value(&self) -> Option<&str> {
        match self {
            Problem::WrongType { value, .. }
            | Problem::OutOfRange { value, .. }
            | Problem::NoWords { value, .. } => Some(value),
            Problem::NotRead { file, .. } => Some(file),
            Problem::BadNollIndex { found, .. } => Some(found),
            _ => None,
        }
    }

    fn allowed(&self) -> Option<&str> {
        match self {
            Problem::WrongType { expected, .. } => Some(expected),
            Problem::OutOfRange { allowed, .. } | Problem::BadNollIndex { allowed, .. } => {
                Some(allowed)
            }
            _ => None,
        }
    }
}

/// A number as a message shows it: at most six significant digits that are not just noise, powers of ten only at the extremes.
pub(crate) fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
    let size = rounded.abs();
    if rounded == 0.0 {
        "0".to_owned()
    } else if rounded.is_nan() {
        "nan".to_owned()
    } else if !size.is_finite() || (1e-4..1e9).contains(&size) {
        format!("{rounded}")
    } else {
        format!("{rounded:e}")
    }
}

/// Most characters of a user's text in a message.
const LONGEST: usize = 60;

/// Text cut to what a message can carry, on one line.
pub(crate) fn shortened(text: &str) -> String {
    let plain = text
        .chars()
        .map(|c| if c.is_control() { '\u{fffd}' } else { c });
    if text.chars().count() <= LONGEST {
        plain.collect()
    } else {
        plain.take(LONGEST - 1).chain(['…']).collect()
    }
}

/// Text in quotes, cut to what a message can carry.
pub(crate) fn quoted(text: &str) -> String {
    let cut: String = text.chars().take(LONGEST).collect();
    let dots = if cut.len() < text.len() { "…" } else { "" };
    format!("{:?}", cut + dots)
}

fn prefix(label: &str, place: &Place) -> String {
    let file = if label.is_empty() {
        String::new()
    } else {
        format!("{label}:")
    };
    match place {
        Place::Line { line, column } => format!("{file}{line}:{column}: "),
        Place::Argument { .. } if file.is_empty() => format!("{place}: "),
        Place::Argument { .. } => format!("{file} {place}: "),
        Place::Whole | Place::Code if file.is_empty() => String::new(),
        Place::Whole | Place::Code => format!("{file} "),
    }
}

fn needed(reason: &Option<String>) -> String {
    reason
        .as_ref()
        .map_or(String::new(), |text| format!(", but needed since {text}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn range_problem() -> Problem {
        Problem::OutOfRange {
            key: "telescope.obstruction.diameter_mm".into(),
            value: "210".into(),
            allowed: "smaller than telescope.aperture_mm (190)".into(),
        }
    }

    #[test]
    fn the_sentence_has_the_pinned_form() {
        let place = Place::Line { line: 9, column: 1 };
        let error =
            ScenarioError::new("scenarios/hidden-coma.toml", place, range_problem(), "next");
        assert_eq!(
            error.to_string(),
            "scenarios/hidden-coma.toml:9:1: telescope.obstruction.diameter_mm is 210, \
             but must be smaller than telescope.aperture_mm (190)"
        );
        assert_eq!(
            (error.line(), error.column(), error.hint()),
            (Some(9), Some(1), "next")
        );
        assert_eq!(error.key(), Some("telescope.obstruction.diameter_mm"));
        assert_eq!(error.value(), Some("210"));
        assert_eq!(
            error.allowed(),
            Some("smaller than telescope.aperture_mm (190)")
        );
    }

    #[test]
    fn a_key_from_the_command_line_names_the_option() {
        let place = Place::Argument {
            option: "--set".into(),
            text: "telescope.obstruction.diameter_mm=210".into(),
        };
        let error = ScenarioError::new("a.toml", place, range_problem(), "");
        assert!(
            error
                .to_string()
                .starts_with("a.toml: --set telescope.obstruction.diameter_mm=210: telescope.")
        );
        assert_eq!(error.line(), None);
    }

    #[test]
    fn numbers_are_shown_without_noise() {
        let shown: Vec<String> = [0.1 + 0.2, -0.0, 1e300, 210.0, -3e-7, 0.05, -f64::NAN]
            .map(number)
            .into();
        assert_eq!(shown, ["0.3", "0", "1e300", "210", "-3e-7", "0.05", "nan"]);
    }

    #[test]
    fn long_text_is_cut_at_a_character() {
        let cut = shortened(&"ä".repeat(500));
        assert_eq!(cut.chars().count(), 60);
        assert!(cut.ends_with('…'));
        assert_eq!(quoted("a\n\"b"), "\"a\\n\\\"b\"");
        assert_eq!(quoted(&"ä".repeat(500)).chars().count(), 63);
        assert_eq!(shortened("a\u{1b}[31m\nb"), "a\u{fffd}[31m\u{fffd}b");
    }
}
