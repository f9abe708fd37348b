//! Mixtures: the `[[case]]` of a recipe. A case has a share of the items, and changes and laws of its own beside those of the recipe; it
//! may have another scenario, which makes a set of several telescopes.

use super::distribution::Varied;
use super::read_vary::read_vary;
use super::recipe::{ScenarioText, fixed, scenario_text};
use super::section::Section;
use crate::scenario::ScenarioError;
use crate::scenario::document::Document;

/// One kind of items of a mixture.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Its name, in the column `case` of the truth.
    pub name: String,
    /// How many of the items, relative to the other cases.
    pub share: f64,
    /// Its own scenario; `None` for the recipe's.
    pub scenario: Option<ScenarioText>,
    /// Changes that hold for its items, over those of the recipe.
    pub set: Vec<String>,
    /// What is drawn for its items, over what the recipe draws.
    pub vary: Vec<Varied>,
}

/// Keys of a case.
pub(super) const CASE_KEYS: [&str; 5] = ["name", "share", "scenario", "set", "vary"];
const LARGEST_SHARE: f64 = 1e9;
/// Smaller shares than this of the whole are never drawn in a set of any size.
const SMALLEST_SHARE: f64 = 1e-9;

/// Reads all cases of a recipe; none where it is no mixture.
pub(super) fn read_cases(
    document: &Document,
    top: &Section<'_>,
) -> Result<Vec<Case>, ScenarioError> {
    let mut cases: Vec<Case> = Vec::new();
    for (_, section) in top.tables("case")? {
        section.known(&CASE_KEYS)?;
        let name = section.text("name", None)?;
        if cases.iter().any(|case| case.name == name) {
            let (node, path) = section.required("name", "give each case a name")?;
            let hint = "the truth table tells the cases apart by their names";
            return Err(section.out_of_range(node, &path, "another name for each case", hint));
        }
        cases.push(Case {
            name,
            share: section.number("share", Some(1.0), SMALLEST_SHARE, LARGEST_SHARE)?,
            scenario: scenario_text(&section)?,
            set: fixed(document, &section)?,
            vary: read_vary(document, &section)?,
        });
    }
    Ok(cases)
}

/// A list of values by key, where those of the second list take the place of the first one's.
pub(super) fn laid_over<T: Clone>(below: &[T], above: &[T], key: impl Fn(&T) -> String) -> Vec<T> {
    let over: Vec<String> = above.iter().map(&key).collect();
    let kept = below.iter().filter(|value| !over.contains(&key(value)));
    kept.chain(above).cloned().collect()
}
