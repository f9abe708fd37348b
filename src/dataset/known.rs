//! What is handed out with the frames: the case where that is known, and the keys that a recipe draws with `known = true`, each as the
//! kind of value that it is.

use super::error::SetError;
use super::set::{Item, Set};
use super::table::cells_of;
use super::value::{Drawn, TypedValue, ValueKind};
use crate::image_io::npz::{NpyArray, NpyValues};

/// Known values as arrays along the items, by their keys.
pub(super) fn known_arrays(set: &Set, items: &[Item]) -> Vec<(String, NpyArray)> {
    let drawn: Vec<(usize, &[Drawn])> = items
        .iter()
        .map(|item| (item.case, item.drawn.as_slice()))
        .collect();
    let mut arrays = Vec::new();
    if set.recipe.case_known {
        arrays.push(("case".to_owned(), known_array(set, "case", None, &drawn)));
    }
    for (key, kind) in set.known() {
        let array = known_array(set, &key, Some(kind), &drawn);
        arrays.push((key, array));
    }
    arrays
}

/// One of them, from each item's case and what was drawn for it; without a kind the names of the cases.
pub(super) fn known_array(
    set: &Set,
    key: &str,
    kind: Option<ValueKind>,
    items: &[(usize, &[Drawn])],
) -> NpyArray {
    let found = |drawn: &[Drawn]| drawn.iter().find(|d| d.key == key).map(Drawn::typed);
    let typed = items.iter().map(|(_, drawn)| found(drawn));
    let each = match kind {
        Some(ValueKind::Numbers(count)) => Some(count),
        _ => None,
    };
    let values = match kind {
        None => NpyValues::Text(
            items
                .iter()
                .map(|(case, _)| case_name(set, *case))
                .collect(),
        ),
        Some(ValueKind::Numbers(count)) => {
            let of = |value| match value {
                Some(TypedValue::Numbers(list)) => list,
                _ => vec![f64::NAN; count],
            };
            NpyValues::Real(typed.flat_map(of).collect())
        }
        Some(ValueKind::Flag) => NpyValues::Flags(
            typed
                .map(|value| value == Some(TypedValue::Flag(true)))
                .collect(),
        ),
        Some(ValueKind::Text | ValueKind::Mixed) => {
            let of = |value| match value {
                Some(TypedValue::Text(text) | TypedValue::Other(text)) => text,
                _ => String::new(),
            };
            NpyValues::Text(typed.map(of).collect())
        }
        Some(ValueKind::Number) => {
            let of = |value| match value {
                Some(TypedValue::Number(value)) => value,
                _ => f64::NAN,
            };
            NpyValues::Real(typed.map(of).collect())
        }
    };
    NpyArray {
        shape: std::iter::once(items.len()).chain(each).collect(),
        values,
    }
}

/// The same as a table, for frames in files that hold no other arrays; `None` where nothing is known.
pub(super) fn known_table(set: &Set, items: &[Item]) -> Result<Option<Vec<u8>>, SetError> {
    if set.known().is_empty() && !set.recipe.case_known {
        return Ok(None);
    }
    let failed = |error: csv::Error| SetError::Table(error.to_string());
    let mut writer = csv::Writer::from_writer(Vec::new());
    for (at, item) in items.iter().enumerate() {
        let line = known_line(set, item.number, item.case, &item.drawn);
        if at == 0 {
            writer
                .write_record(line.iter().map(|(name, _)| name))
                .map_err(failed)?;
        }
        writer
            .write_record(line.iter().map(|(_, cell)| cell))
            .map_err(failed)?;
    }
    let bytes = writer.into_inner();
    bytes
        .map(Some)
        .map_err(|error| SetError::Table(error.to_string()))
}

/// Names and cells of one row of that table.
pub(super) fn known_line(
    set: &Set,
    number: u64,
    case: usize,
    drawn: &[Drawn],
) -> Vec<(String, String)> {
    let mut line = vec![("item".to_owned(), number.to_string())];
    if set.recipe.case_known {
        line.push(("case".to_owned(), case_name(set, case)));
    }
    for (key, kind) in set.known() {
        let found = drawn.iter().find(|drawn| drawn.key == key);
        for (part, cell) in cells_of(kind, found) {
            line.push((format!("{key}{part}"), cell.text()));
        }
    }
    line
}

fn case_name(set: &Set, case: usize) -> String {
    set.cases[case].name.clone().unwrap_or_default()
}
