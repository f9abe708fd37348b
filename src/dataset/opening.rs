//! From the name of a recipe to a set that can be made: recipe, scenario, the drawing of its mask, and the secret of a sealed set.

use super::case::laid_over;
use super::error::SetError;
use super::joined::key_of;
use super::recipe::{ScenarioText, read};
use super::set::{CaseSource, ScenarioSource, Set};
use crate::files;
use crate::scenario;
use std::path::Path;

/// How a set is opened.
#[derive(Debug, Clone, Copy, Default)]
pub struct Opening {
    /// Whether the truth is withheld.
    pub sealed: bool,
    /// The secret of a sealed set; without it the set can be checked, but not made.
    pub secret: Option<[u8; 16]>,
    /// The same bytes on all processors, more slowly.
    pub portable: bool,
}

impl Set {
    /// Reads a recipe and the scenario that it names, which is looked for from the recipe's folder.
    ///
    /// # Errors
    /// [`SetError::File`] where a file cannot be used; as [`Set::new`].
    pub fn open(recipe: &Path, opening: &Opening) -> Result<Set, SetError> {
        Set::of_recipe(&files::text_bytes(recipe)?, recipe, opening)
    }

    /// The same of a recipe that was read before; `path` is its name for messages, and its folder is where files are looked for.
    ///
    /// # Errors
    /// As [`Set::open`].
    pub fn of_recipe(bytes: &[u8], path: &Path, opening: &Opening) -> Result<Set, SetError> {
        let label = path.display().to_string();
        let recipe = read(bytes, &label)?;
        let folder = path.parent().unwrap_or(Path::new(""));
        let mut source = ScenarioSource {
            sealed: opening.sealed,
            secret: opening.secret,
            portable: opening.portable,
            ..ScenarioSource::default()
        };
        if let Some(scenario) = &recipe.scenario {
            let found = case_source(scenario, folder, &label, &recipe.set)?;
            source.scenario = found.scenario;
            source.label = found.label;
            source.drawing = found.drawing;
        }
        for (number, case) in recipe.cases.iter().enumerate() {
            let set = laid_over(&recipe.set, &case.set, |argument| {
                key_of(argument).to_owned()
            });
            let label = format!("{label} case[{number}]");
            let own = case.scenario.as_ref();
            let found = own.map(|scenario| case_source(scenario, folder, &label, &set));
            source.cases.push(found.transpose()?);
        }
        for file in recipe.tables() {
            let bytes = files::image_bytes(&folder.join(file))?;
            source.tables.insert(file.to_owned(), bytes);
        }
        Set::new(recipe, source)
    }
}

/// Reads a scenario that a recipe names, with the drawing of its mask.
fn case_source(
    scenario: &ScenarioText,
    folder: &Path,
    label: &str,
    set: &[String],
) -> Result<CaseSource, SetError> {
    let mut source = CaseSource::default();
    let mut scenario_folder = folder.to_owned();
    match scenario {
        ScenarioText::Inline(text) => {
            source.scenario.clone_from(text);
            source.label = format!("{label} [scenario]");
        }
        ScenarioText::File(file) => {
            let path = folder.join(file);
            let bytes = files::text_bytes(&path)?;
            source.label = path.display().to_string();
            scenario_folder = path.parent().unwrap_or(Path::new("")).to_owned();
            // refused with its own words when it is no text
            if std::str::from_utf8(&bytes).is_err() {
                scenario::read_bytes(&bytes, &source.label, &[])?;
            }
            source.scenario = String::from_utf8_lossy(&bytes).into_owned();
        }
    }
    let base = scenario::read(&source.scenario, &source.label, set)?;
    source.drawing = files::drawing_of(&base, &scenario_folder)?.map(|(_, bytes)| bytes);
    Ok(source)
}

/// Reads the secret of a sealed set: one line of 32 hexadecimal digits.
///
/// # Errors
/// [`SetError::File`], and [`SetError::Secret`] for anything else.
pub fn read_secret(path: &Path) -> Result<[u8; 16], SetError> {
    let text = String::from_utf8_lossy(&files::text_bytes(path)?)
        .trim()
        .to_owned();
    let digits: Option<Vec<u8>> = (0..16)
        .map(|i| {
            text.get(2 * i..2 * i + 2)
                .and_then(|two| u8::from_str_radix(two, 16).ok())
        })
        .collect();
    let secret: Option<[u8; 16]> = digits.and_then(|bytes| bytes.try_into().ok());
    if secret == Some([0; 16]) {
        return Err(SetError::Secret {
            path: path.to_owned(),
            reason: "holds nothing but zeros, which anybody would try first",
        });
    }
    secret
        .filter(|_| text.len() == 32)
        .ok_or_else(|| SetError::Secret {
            path: path.to_owned(),
            reason: "holds no secret",
        })
}
