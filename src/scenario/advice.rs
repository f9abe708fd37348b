//! The words of the first check of a scenario: the next step for a key that is wrong, and the key that was meant.
//!
//! A [`Told`] is a problem and its hint. These functions are only called for the finding that is told.

use super::check::Words;
use super::document::{Node, Value};
use super::error::Problem;
use super::keys::{KeyDoc, key_table};
use super::path::{joined, shown_key};
use super::raw::{HIGHEST_NOLL, LOWEST_NOLL, noll_index};
use super::rules::{Rule, ValueShape, rules};
use crate::math::nearest;

/// A problem and its hint.
pub(crate) type Told = (Problem, String);

/// A key is missing; `needed_for` says which question needs it where not every question does.
pub(super) fn missing(key: &str, needed_for: Option<&str>) -> Told {
    let needed_for = needed_for.map(str::to_owned);
    (
        Problem::MissingKey {
            key: key.to_owned(),
            needed_for,
        },
        how_to_write(key),
    )
}

/// The words of a scenario.
pub(super) struct OfScenario;

impl Words for OfScenario {
    fn wrong_type(&self, rule: &Rule, node: &Node, key: &str) -> String {
        match (&rule.shape, &node.value) {
            (ValueShape::List { item, .. }, Value::Table(_))
                if matches!(item.shape, ValueShape::Table(_)) =>
            {
                format!("a list of tables is written with double brackets, [[{key}]]")
            }
            (ValueShape::Table(_) | ValueShape::Map { .. }, Value::List(_)) => {
                format!("a table is written with single brackets, [{key}]")
            }
            (ValueShape::Number(_) | ValueShape::Whole { .. }, Value::Text(_)) => {
                "write the number without quotes".to_owned()
            }
            (ValueShape::Whole { .. }, Value::Number(_)) => {
                "write the number without a point or an exponent".to_owned()
            }
            (ValueShape::Number(_), Value::Table(_)) => {
                "a point inside a key starts a table; is there one too many?".to_owned()
            }
            _ => meaning(rule),
        }
    }

    fn out_of_range(&self, rule: &Rule, node: &Node, _key: &str) -> String {
        meant(rule, node).unwrap_or_else(|| meaning(rule))
    }

    fn missing(&self, key: &str) -> String {
        how_to_write(key)
    }

    fn unknown(&self, rule: &Rule, section: &str, key: &str) -> Told {
        unknown(&rule.names(), section, key)
    }
}

/// The one of several words that a text was probably meant to be, as a question.
pub(super) fn meant(rule: &Rule, node: &Node) -> Option<String> {
    match (&rule.shape, &node.value) {
        (ValueShape::Text { choices, .. }, Value::Text(word)) => {
            let choice = nearest(word, choices.iter().map(String::as_str))?;
            Some(format!("did you mean \"{choice}\"?"))
        }
        _ => None,
    }
}

/// A key of a table of modes is no Noll index.
pub(super) fn no_noll_index(table: &str, key: &str) -> Told {
    let plain = key.trim_start_matches('0');
    let hint = if plain != key && noll_index(plain).is_some() {
        format!("write {plain}, without leading zeros")
    } else if key == "1" {
        "Noll index 1 is piston, which changes no image; tilts are 2 and 3, focus is 4".to_owned()
    } else {
        "for example `7 = 120.0` for 120 nm RMS of coma".to_owned()
    };
    let allowed = format!("Noll indices from {LOWEST_NOLL} to {HIGHEST_NOLL} in plain digits");
    (
        Problem::BadNollIndex {
            table: table.to_owned(),
            found: shown_key(key),
            allowed,
        },
        hint,
    )
}

/// A key is not known in its section of a small file, whose keys are not looked for anywhere else; `what` is the file.
pub(crate) fn unknown_here(names: &[&str], what: &str, section: &str, key: &str) -> Told {
    let guess = nearest(key, names.iter().copied()).map(|near| joined(section, near));
    let hint = match &guess {
        Some(guess) => format!("did you mean {guess}?"),
        None => keys_here(names),
    };
    (unknown_key(what, section, key, guess), hint)
}

/// A key is not known in its section of a scenario.
fn unknown(names: &[&str], section: &str, key: &str) -> Told {
    let guess = guess_key(key, section, names);
    let hint = match guess
        .as_deref()
        .map(|guess| (guess, guess.rsplit_once('.').unwrap_or(("", guess))))
    {
        Some((guess, (home, _))) if home == section => format!("did you mean {guess}?"),
        Some((_, ("", name))) => {
            format!("did you mean {name}, at the top before the first [section]?")
        }
        Some((_, (home, name))) => format!("did you mean {name} under {}?", header(home)),
        None => keys_here(names),
    };
    (unknown_key("a scenario", section, key, guess), hint)
}

fn unknown_key(what: &str, section: &str, key: &str, nearest: Option<String>) -> Problem {
    let place = if section.is_empty() {
        what.to_owned()
    } else {
        header(section)
    };
    Problem::UnknownKey {
        key: joined(section, key),
        section: place,
        nearest,
    }
}

fn keys_here(names: &[&str]) -> String {
    format!("keys here: {}", names.join(", "))
}

/// The line to write for a key, where, and what it means.
fn how_to_write(key: &str) -> String {
    let pattern = without_indices(key);
    let (section, name) = key.rsplit_once('.').unwrap_or(("", key));
    let place = if section.is_empty() {
        "at the top".to_owned()
    } else {
        format!("under {}", header(section))
    };
    let table = key_table();
    if let Some(doc) = table
        .iter()
        .find(|doc| doc.path == pattern && !doc.example.is_empty())
    {
        return format!("write `{name} = {}` {place}: {}", doc.example, doc.meaning);
    }
    if matches!(
        rules_at(&pattern).map(|rule| &rule.shape),
        Some(ValueShape::List { .. })
    ) {
        return format!("write `{name} = [ … ]` {place}, or one [[{pattern}]] after another");
    }
    let fields = rules_at(&pattern).map_or(&[][..], Rule::fields);
    let needed: Vec<&str> = fields
        .iter()
        .filter(|field| field.required)
        .map(|field| field.name.as_str())
        .collect();
    match needed.as_slice() {
        [] => format!("add a section [{key}]"),
        keys => format!("add a section [{key}] with {}", keys.join(", ")),
    }
}

/// How a section starts in the file: `[camera]`, or `[[telescope.vanes]]` for an item of a list.
fn header(section: &str) -> String {
    match section.rsplit_once('[') {
        Some((list, index)) if index.ends_with(']') => format!("[[{list}]]"),
        _ => format!("[{section}]"),
    }
}

fn meaning(rule: &Rule) -> String {
    match (rule.meaning.as_str(), &rule.example) {
        ("", Some(example)) => format!("for example {example}"),
        ("", None) => "`skewstar schema` lists every key with its limits".to_owned(),
        (meaning, Some(example)) => format!("{meaning} For example {example}"),
        (meaning, None) => meaning.to_owned(),
    }
}

/// The path of the key that was probably meant: a slip of the fingers here, the same word in another section, or a key
/// here whose unit was forgotten.
fn guess_key(key: &str, section: &str, names: &[&str]) -> Option<String> {
    let here = |name: &str| joined(section, name);
    let elsewhere = || {
        let docs = key_table().into_iter();
        let same = |doc: &KeyDoc| doc.path.rsplit('.').next() == Some(key);
        docs.filter(same)
            .map(|doc| doc.path.replace("[]", "[0]"))
            .next()
    };
    let longer = || {
        names.iter().find(|name| {
            name.strip_prefix(key)
                .is_some_and(|rest| rest.starts_with('_'))
        })
    };
    nearest(key, names.iter().copied())
        .map(here)
        .or_else(elsewhere)
        .or_else(|| longer().map(|name| here(name)))
}

fn rules_at(pattern: &str) -> Option<&'static Rule> {
    let mut names = pattern.split('.').map(|name| name.trim_end_matches("[]"));
    names.try_fold(rules(), |rule, name| {
        rule.field(name).map(|field| &field.rule)
    })
}

/// `telescope.vanes[3].width_mm` as the key table writes it: `telescope.vanes[].width_mm`.
fn without_indices(key: &str) -> String {
    let mut parts = key.split('[');
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |text, part| {
        format!(
            "{text}[{}",
            part.trim_start_matches(|c: char| c.is_ascii_digit())
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn indices_are_taken_out_of_paths() {
        assert_eq!(
            without_indices("telescope.vanes[13].width_mm"),
            "telescope.vanes[].width_mm"
        );
        assert_eq!(without_indices("seed"), "seed");
    }

    #[test]
    fn sections_are_shown_as_they_are_typed() {
        assert_eq!(header("telescope.vanes[13]"), "[[telescope.vanes]]");
        assert_eq!(header("camera"), "[camera]");
    }

    #[test]
    fn a_slip_is_found_here_or_in_another_section() {
        let fields = rules_at("telescope").expect("a section").fields();
        let names: Vec<&str> = fields.iter().map(|field| field.name.as_str()).collect();
        let guess = |key| guess_key(key, "telescope", &names);
        assert_eq!(
            guess("apertur_mm").as_deref(),
            Some("telescope.aperture_mm")
        );
        assert_eq!(guess("aperture").as_deref(), Some("telescope.aperture_mm"));
        assert_eq!(guess("pixel_um").as_deref(), Some("camera.pixel_um"));
        assert_eq!(guess("seed").as_deref(), Some("seed"));
        assert_eq!(guess("colour_of_the_tube"), None);
    }

    #[test]
    fn the_hint_for_a_missing_section_names_what_it_needs() {
        assert_eq!(
            missing("camera", None).1,
            "add a section [camera] with pixel_um, width_px, height_px"
        );
        assert_eq!(
            missing("star.magnitude", None).1,
            "write `magnitude = 2.3` under [star]: Johnson V magnitude above the atmosphere."
        );
        assert_eq!(
            missing("mask.holes", None).1,
            "write `holes = [ … ]` under [mask], or one [[mask.holes]] after another"
        );
    }
}
