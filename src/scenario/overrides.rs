//! Values from the command line: `KEY=VALUE` laid over the file, and `KEY=V1,V2,…` as a series of such steps.
//!
//! A value set here takes the place of the file's before anything is checked, so it meets the same limits; messages then
//! name the argument instead of a line. A key that exists nowhere is not refused here but with all unknown keys. `KEY=null` takes a key
//! out that the file has, which TOML has no value for. Nothing can be appended to a list, and the same key is not set twice.

use super::document::{Document, Node, Origin, Value};
use super::error::{Place, Problem, ScenarioError};
use super::path::{KeyPath, PathStep, shown_key};

/// Lays arguments of the form `KEY=VALUE` over a document, in order.
pub(super) fn apply(document: &mut Document, arguments: &[String]) -> Result<(), ScenarioError> {
    let mut paths: Vec<KeyPath> = Vec::new();
    for (index, argument) in arguments.iter().enumerate() {
        document.arguments.push(argument.clone());
        let origin = Origin::Argument(index);
        let refuse = |document: &Document, reason: String, hint: &str| {
            Err(document.error(origin, Problem::BadArgument { reason }, hint))
        };
        let (path, value) = match read_argument(argument, origin) {
            Ok(read) => read,
            Err(refusal) => return refuse(document, refusal.reason, refusal.hint),
        };
        if paths.contains(&path) {
            return refuse(
                document,
                format!("{path} is set twice"),
                "give each key once",
            );
        }
        let done = match value {
            Some(value) => place_at(&mut document.root, &path, Node { origin, value }),
            None => take_out(&mut document.root, &path),
        };
        if let Err(refusal) = done {
            return refuse(document, refusal.reason, refusal.hint);
        }
        paths.push(path);
    }
    Ok(())
}

/// Turns a series into its steps: each step is what [`read`](super::read) takes as `overrides`.
///
/// `KEY=V1,V2,V3` gives three steps. Keys joined by `&` move together: `KEY1=V1,V2&KEY2=W1,W2` and, with the same values
/// for both, `KEY1&KEY2=V1,V2` give two. Commas inside quotes, brackets and braces belong to a value. `option` is the name of the
/// option that gave the series, such as `--rows`, for messages.
///
/// # Errors
/// A part that is no `KEY=VALUE`, a value that is not TOML, a key given twice, or joined keys with unequal numbers of values.
/// Whether a key exists and its value is allowed is only known when the scenario is read.
pub fn steps(option: &str, series: &str) -> Result<Vec<Vec<String>>, ScenarioError> {
    let refuse = |refusal: OverrideRefusal| {
        let place = Place::Argument {
            option: option.to_owned(),
            text: series.to_owned(),
        };
        ScenarioError::new(
            "",
            place,
            Problem::BadArgument {
                reason: refusal.reason,
            },
            refusal.hint,
        )
    };
    let columns = columns(series).map_err(refuse)?;
    let count = columns.first().map_or(0, |(_, values)| values.len());
    Ok((0..count)
        .map(|step| {
            columns
                .iter()
                .map(|(key, values)| format!("{key}={}", values[step]))
                .collect()
        })
        .collect())
}

/// Why an argument was refused, and what to do.
#[derive(Debug, PartialEq)]
struct OverrideRefusal {
    reason: String,
    hint: &'static str,
}

const FORM_HINT: &str = "write KEY=VALUE, for example telescope.vanes[0].width_mm=5";
const VALUE_HINT: &str = "the right side is a TOML value: 5, 0.5, true, [1, 2], or text in double quotes (and all of it in single quotes for the shell)";
const LIST_HINT: &str =
    "lists count from 0; an item is set, not appended: give the whole list instead";
const KEY_HINT: &str = "`skewstar schema` lists every key";
const SERIES_HINT: &str =
    "write KEY=V1,V2,V3; keys joined by & move together and need as many values each";

/// The key and its value; `None` where the key is to be taken out.
fn read_argument(
    argument: &str,
    origin: Origin,
) -> Result<(KeyPath, Option<Value>), OverrideRefusal> {
    let form = |reason| OverrideRefusal {
        reason,
        hint: FORM_HINT,
    };
    let (path, rest) = KeyPath::parse_front(argument.trim_start()).map_err(form)?;
    let Some(text) = rest.trim_start().strip_prefix('=') else {
        return Err(form(format!("no = after the key {path}")));
    };
    if text.trim() == "null" {
        return Ok((path, None));
    }
    let value = Value::of_argument(text.trim(), origin).map_err(|message| OverrideRefusal {
        reason: format!("the value of {path} is not TOML: {message}"),
        hint: VALUE_HINT,
    })?;
    Ok((path, Some(value)))
}

/// Takes a key out of the table that holds it.
fn take_out(root: &mut Node, path: &KeyPath) -> Result<(), OverrideRefusal> {
    let missing = || OverrideRefusal {
        reason: format!("{path} is not in the file, so it cannot be taken out"),
        hint: "KEY=null takes out a key that the file has",
    };
    let Some((PathStep::Key(last), before)) = path.0.split_last() else {
        return Err(missing());
    };
    let mut node = root;
    for step in before {
        node = match (&mut node.value, step) {
            (Value::Table(table), PathStep::Key(key)) => table.get_mut(key),
            (Value::List(items), PathStep::Index(index)) => items.get_mut(*index),
            _ => None,
        }
        .ok_or_else(missing)?;
    }
    let Value::Table(table) = &mut node.value else {
        return Err(missing());
    };
    table.remove(last).map(|_| ()).ok_or_else(missing)
}

/// Puts a node where the path leads; tables on the way are made where they are missing.
fn place_at(root: &mut Node, path: &KeyPath, new: Node) -> Result<(), OverrideRefusal> {
    let mut node = root;
    for (depth, step) in path.0.iter().enumerate() {
        let here = KeyPath(path.0[..depth].to_vec());
        let refusal = |reason: String, hint| OverrideRefusal {
            reason: format!("{here}{reason}"),
            hint,
        };
        node = match (&mut node.value, step) {
            (Value::Table(table), PathStep::Key(key)) => {
                table.entry(key.clone()).or_insert_with(|| Node {
                    origin: new.origin,
                    value: Value::Table(Default::default()),
                })
            }
            (Value::List(items), PathStep::Index(index)) => {
                let last = items.len() as i64 - 1;
                let reason = || {
                    if last < 0 {
                        " is an empty list".to_owned()
                    } else {
                        format!("[{index}] does not exist: the list ends at [{last}]")
                    }
                };
                items
                    .get_mut(*index)
                    .ok_or_else(|| refusal(reason(), LIST_HINT))?
            }
            (Value::Table(table), PathStep::Index(_)) if table.is_empty() => {
                return Err(refusal(
                    " does not exist, so it has no items".to_owned(),
                    LIST_HINT,
                ));
            }
            (other, PathStep::Key(key)) => {
                let reason = format!(" is {}, which has no key {}", other.shown(), shown_key(key));
                return Err(refusal(reason, KEY_HINT));
            }
            (other, PathStep::Index(_)) => {
                return Err(refusal(
                    format!(" is {}, which has no items", other.shown()),
                    KEY_HINT,
                ));
            }
        };
    }
    *node = new;
    Ok(())
}

/// The keys of a series, each with its values; all of the same length.
fn columns(series: &str) -> Result<Vec<(String, Vec<String>)>, OverrideRefusal> {
    let form = |reason: String| OverrideRefusal {
        reason,
        hint: SERIES_HINT,
    };
    let mut columns: Vec<(String, Vec<String>)> = Vec::new();
    let mut waiting: Vec<String> = Vec::new();
    for part in split(series, '&') {
        let (path, rest) =
            KeyPath::parse_front(part.trim()).map_err(|reason| form(reason.clone()))?;
        let known =
            |key: &String| columns.iter().any(|(other, _)| other == key) || waiting.contains(key);
        let key = path.to_string();
        if known(&key) {
            return Err(form(format!("{key} is given twice")));
        }
        waiting.push(key);
        if rest.trim().is_empty() {
            continue;
        }
        let values = series_values(&path, rest.trim_start())?;
        columns.extend(waiting.drain(..).map(|key| (key, values.clone())));
    }
    if let Some(key) = waiting.first() {
        return Err(form(format!("{key} has no values")));
    }
    match columns
        .iter()
        .find(|(_, values)| values.len() != columns[0].1.len())
    {
        Some((key, values)) => Err(form(format!(
            "{} has {} values, but {key} has {}",
            columns[0].0,
            columns[0].1.len(),
            values.len()
        ))),
        None => Ok(columns),
    }
}

fn series_values(path: &KeyPath, rest: &str) -> Result<Vec<String>, OverrideRefusal> {
    let Some(list) = rest.strip_prefix('=') else {
        return Err(OverrideRefusal {
            reason: format!("no = after the key {path}"),
            hint: SERIES_HINT,
        });
    };
    let values: Vec<String> = split(list, ',')
        .into_iter()
        .map(|value| value.trim().to_owned())
        .collect();
    for value in &values {
        Value::of_argument(value, Origin::Argument(0)).map_err(|message| OverrideRefusal {
            reason: format!("the value {value:?} of {path} is not TOML: {message}"),
            hint: VALUE_HINT,
        })?;
    }
    Ok(values)
}

/// Splits at a separator that stands outside quotes, brackets and braces.
fn split(text: &str, separator: char) -> Vec<&str> {
    let mut parts = Vec::new();
    let (mut start, mut depth) = (0, 0_usize);
    let mut quote = None;
    let mut escaped = false;
    for (at, letter) in text.char_indices() {
        match quote {
            Some(_) if escaped => escaped = false,
            Some('"') if letter == '\\' => escaped = true,
            Some(open) if letter == open => quote = None,
            Some(_) => {}
            None => match letter {
                '"' | '\'' => quote = Some(letter),
                '[' | '{' => depth += 1,
                ']' | '}' => depth = depth.saturating_sub(1),
                _ if letter == separator && depth == 0 => {
                    parts.push(&text[start..at]);
                    start = at + letter.len_utf8();
                }
                _ => {}
            },
        }
    }
    parts.push(&text[start..]);
    parts
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laid_over(text: &str, arguments: &[&str]) -> Result<Document, ScenarioError> {
        let mut document = Document::parse(text, "t.toml")?;
        let arguments: Vec<String> = arguments
            .iter()
            .map(|argument| argument.to_string())
            .collect();
        apply(&mut document, &arguments)?;
        Ok(document)
    }

    fn plain(text: &str, arguments: &[&str]) -> String {
        let document = laid_over(text, arguments).expect("valid arguments");
        toml::to_string(&document.root.value.plain()).expect("plain TOML")
    }

    #[test]
    fn a_value_replaces_the_files_and_missing_tables_are_made() {
        assert_eq!(plain("a = 1", &["a=2.5"]), "a = 2.5\n");
        assert_eq!(
            plain("[[a.b]]\nc = 1\n[[a.b]]\nc = 2", &["a.b[1].c = 7"]),
            "[[a.b]]\nc = 1\n\n[[a.b]]\nc = 7\n"
        );
        assert_eq!(
            plain("a = 1", &["b.c.d=\"x=y\""]),
            "a = 1\n\n[b.c]\nd = \"x=y\"\n"
        );
        assert_eq!(plain("a = [1, 2]", &["a[0]=9"]), "a = [9, 2]\n");
    }

    #[test]
    fn only_the_argument_becomes_the_place_of_what_it_set() {
        let document = laid_over("a = 1\nb = 2", &["b={ c = 3 }"]).expect("valid argument");
        assert_eq!(
            document.place(document.origin("a")),
            Place::Line { line: 1, column: 1 }
        );
        let argument = Place::Argument {
            option: "--set".into(),
            text: "b={ c = 3 }".into(),
        };
        assert_eq!(document.place(document.origin("b.c")), argument);
    }

    #[test]
    fn bad_arguments_say_what_is_wrong() {
        let message = |argument: &str| {
            laid_over("a = 1\nl = [1]", &[argument])
                .expect_err(argument)
                .to_string()
        };
        assert!(message("a").contains("no = after the key a"));
        assert!(message("=1").contains("a part of the key is empty"));
        assert!(message("a=paraboloid").contains("the value of a is not TOML"));
        assert!(message("a=").contains("the value of a is not TOML"));
        assert!(message("a=1\nb=2").contains("not TOML"));
        assert!(message("a.b=1").contains("a is 1, which has no key b"));
        assert!(message("l[1]=1").contains("l[1] does not exist: the list ends at [0]"));
        assert!(message("z[0]=1").contains("z does not exist"));
        assert!(message("a[0]=1").contains("a is 1, which has no items"));
        let twice = laid_over("a = 1", &["a=2", "a=3"])
            .expect_err("set twice")
            .to_string();
        assert_eq!(twice, "t.toml: --set a=3: a is set twice");
    }

    #[test]
    fn a_series_is_split_outside_quotes_and_brackets() {
        let one = steps("--rows", "mask.layout=\"a,b\",'c&d'").expect("a series");
        assert_eq!(one, [["mask.layout=\"a,b\""], ["mask.layout='c&d'"]]);
        let pairs = steps("--rows", "state.field_mm=[0, 0],[1, 2]").expect("a series");
        assert_eq!(
            pairs,
            [["state.field_mm=[0, 0]"], ["state.field_mm=[1, 2]"]]
        );
    }

    #[test]
    fn joined_keys_move_together() {
        let own = steps("--rows", "a=1,2&b=3,4").expect("a series");
        assert_eq!(own, [["a=1", "b=3"], ["a=2", "b=4"]]);
        let shared = steps("--rows", "a&b=1,2").expect("a series");
        assert_eq!(shared, [["a=1", "b=1"], ["a=2", "b=2"]]);
    }

    #[test]
    fn a_bad_series_names_its_option() {
        let message = |series: &str| steps("--rows", series).expect_err(series).to_string();
        assert_eq!(
            message("a=1,2&b=3"),
            "--rows a=1,2&b=3: a has 2 values, but b has 1"
        );
        assert!(message("a").contains("a has no values"));
        assert!(message("a=1,,2").contains("not TOML"));
        assert!(message("a=1&a=2").contains("a is given twice"));
        assert!(message("").contains("a part of the key is empty"));
    }

    #[test]
    fn null_takes_a_key_out_that_is_there() {
        let text = "a = 1\n[mask]\nzone = 2\nkept = 3\n[[list]]\nb = 4\n";
        let left = |argument: &str| {
            let document = laid_over(text, &[argument]).unwrap_or_else(|e| panic!("{e}"));
            let Value::Table(root) = document.root.value else {
                panic!("a table")
            };
            root.keys().cloned().collect::<Vec<_>>()
        };
        assert!(!left("a=null").contains(&"a".to_owned()));
        assert!(left("mask.zone = null").contains(&"mask".to_owned()));
        assert!(laid_over(text, &["list[0].b=null"]).is_ok());
        for missing in [
            "b=null",
            "mask.none=null",
            "none.zone=null",
            "list[1].b=null",
            "list[0]=null",
        ] {
            let Err(error) = laid_over(text, &[missing]) else {
                panic!("{missing} was taken out");
            };
            let error = error.to_string();
            assert!(error.contains("cannot be taken out"), "{missing}: {error}");
        }
    }
}
