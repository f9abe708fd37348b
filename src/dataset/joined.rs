//! The cases of a recipe joined with their scenarios: what holds for the items of each, and that they go together in one set.

use super::case::laid_over;
use super::distribution::{Distribution, Varied};
use super::error::SetError;
use super::given::GivenTables;
use super::recipe::Recipe;
use super::set::{CaseSource, ScenarioSource};
use super::value::ValueKind;
use crate::scenario::{self, Scenario};

/// Half the side of the square in which stars stand where a recipe does not say where, px.
pub const PLACE_PX: f64 = 3.0;
/// The key of a star's place.
pub(super) const PLACE: &str = "state.place_px";

/// One kind of items, ready to be drawn.
pub struct SetCase {
    /// Its name; `None` where the set is no mixture.
    pub name: Option<String>,
    /// Its share of the items, 0 to 1.
    pub share: f64,
    /// Its scenario before anything is drawn.
    pub base: Scenario,
    /// Changes that hold for its items, as `--set` takes them.
    pub set: Vec<String>,
    /// What is drawn for its items.
    pub vary: Vec<Varied>,
    /// Names of its screws.
    pub screws: Vec<String>,
    /// What is known of where its stars stand.
    pub place: StarPlace,
    pub(super) source: CaseSource,
}

/// What a set says of where in the frame its stars stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StarPlace {
    /// Drawn since the recipe says nothing of it, and not handed out.
    DrawnByDefault,
    /// Drawn by the recipe, and not handed out.
    Drawn,
    /// Drawn and handed out.
    HandedOut,
    /// The same in every frame, so that whoever has seen a few knows it.
    TheSame,
}

impl SetCase {
    /// Columns and rows of its frames.
    pub fn frame_px(&self) -> [usize; 2] {
        let camera = &self.base.instrument.camera;
        [camera.width_px, camera.height_px]
    }

    /// What is drawn for its items under which key, and whether it is handed out.
    pub(super) fn values(&self, tables: &GivenTables) -> Vec<(String, ValueKind, bool)> {
        let of = |varied: &Varied| {
            let values = varied.values(&self.screws, Some(tables)).into_iter();
            let known = varied.known;
            values
                .map(move |(key, kind)| (key, kind, known))
                .collect::<Vec<_>>()
        };
        self.vary.iter().flat_map(of).collect()
    }
}

/// The cases of a recipe; one without a name where it is no mixture.
pub(super) fn cases_of(
    recipe: &Recipe,
    source: &ScenarioSource,
    tables: &GivenTables,
) -> Result<Vec<SetCase>, SetError> {
    let shared = CaseSource {
        scenario: source.scenario.clone(),
        label: source.label.clone(),
        drawing: source.drawing.clone(),
    };
    if recipe.cases.is_empty() {
        let set = recipe.set.clone();
        let case = joined(None, 1.0, shared, set, recipe.vary.clone(), recipe, tables)?;
        return Ok(vec![case]);
    }
    let total: f64 = recipe.cases.iter().map(|case| case.share).sum();
    let mut cases = Vec::new();
    for (at, case) in recipe.cases.iter().enumerate() {
        let own = source.cases.get(at).cloned().flatten();
        let set = laid_over(&recipe.set, &case.set, |argument| {
            key_of(argument).to_owned()
        });
        let vary = laid_over(&recipe.vary, &case.vary, |varied| varied.key.clone());
        // what a case settles is not drawn for it
        let settled = |key: &str| case.set.iter().any(|argument| key_of(argument) == key);
        let drawn = |key: &str| case.vary.iter().any(|varied| varied.key == key);
        let vary = vary
            .into_iter()
            .filter(|varied| drawn(&varied.key) || !settled(&varied.key));
        let name = Some(case.name.clone());
        let from = own.unwrap_or_else(|| shared.clone());
        let share = case.share / total;
        cases.push(joined(
            name,
            share,
            from,
            set,
            vary.collect(),
            recipe,
            tables,
        )?);
    }
    of_one_shape(&cases)?;
    of_one_knowledge(&cases, tables)?;
    Ok(cases)
}

fn joined(
    name: Option<String>,
    share: f64,
    source: CaseSource,
    set: Vec<String>,
    mut vary: Vec<Varied>,
    recipe: &Recipe,
    tables: &GivenTables,
) -> Result<SetCase, SetError> {
    let mut base = scenario::read(&source.scenario, &source.label, &set)?;
    base.put_drawing(source.drawing.as_deref().unwrap_or_default())?;
    counts_possible(&base, &source.label)?;
    let units = base.instrument.assembly.iter();
    let screws: Vec<String> = units
        .flat_map(|assembly| &assembly.screws)
        .map(|screw| screw.name.clone())
        .collect();
    let place = place_of(&source.scenario, &set, &mut vary);
    turns_possible(&vary, screws.len())?;
    tables_there(&vary, tables)?;
    correlations_possible(name.as_deref(), &vary, recipe)?;
    let case = SetCase {
        name,
        share,
        base,
        set,
        vary,
        screws,
        place,
        source,
    };
    let mixed = |(_, kind, known): &&(String, ValueKind, bool)| *known && *kind == ValueKind::Mixed;
    match case.values(tables).iter().find(mixed) {
        None => Ok(case),
        Some((key, ..)) => Err(SetError::KnownMixed { key: key.clone() }),
    }
}

/// The key of a `KEY=VALUE`.
pub(super) fn key_of(argument: &str) -> &str {
    argument.split_once('=').map_or(argument, |(key, _)| key)
}

/// Where the stars stand; drawn where neither recipe nor scenario say anything of it.
fn place_of(scenario: &str, set: &[String], vary: &mut Vec<Varied>) -> StarPlace {
    let of_place = |key: &str| key.starts_with(PLACE);
    if let Some(varied) = vary.iter().find(|varied| of_place(&varied.key)) {
        return if varied.known {
            StarPlace::HandedOut
        } else {
            StarPlace::Drawn
        };
    }
    if set.iter().any(|argument| of_place(key_of(argument))) || says_place(scenario) {
        return StarPlace::TheSame;
    }
    vary.push(Varied {
        components: 2,
        ..Varied::new(
            PLACE,
            Distribution::Uniform {
                low: -PLACE_PX,
                high: PLACE_PX,
            },
        )
    });
    StarPlace::DrawnByDefault
}

/// Whether the text of a scenario, which was read before, gives the place.
fn says_place(scenario: &str) -> bool {
    let table: toml::Table = scenario.parse().unwrap_or_default();
    let state = table.get("state").and_then(|state| state.as_table());
    state.is_some_and(|state| state.contains_key("place_px"))
}

/// All frames of a set have one shape.
fn of_one_shape(cases: &[SetCase]) -> Result<(), SetError> {
    let expected = cases[0].frame_px();
    match cases.iter().find(|case| case.frame_px() != expected) {
        None => Ok(()),
        Some(other) => Err(SetError::CaseSize {
            case: other.name.clone().unwrap_or_default(),
            found: other.frame_px(),
            first: cases[0].name.clone().unwrap_or_default(),
            expected,
        }),
    }
}

/// What is handed out is handed out of every item, as the same kind of value.
fn of_one_knowledge(cases: &[SetCase], tables: &GivenTables) -> Result<(), SetError> {
    let known = |case: &SetCase| -> Vec<(String, ValueKind)> {
        let values = case.values(tables).into_iter();
        values
            .filter(|(.., known)| *known)
            .map(|(key, kind, _)| (key, kind))
            .collect()
    };
    for case in cases {
        for other in cases {
            let theirs = known(other);
            if let Some((key, _)) = known(case)
                .into_iter()
                .find(|value| !theirs.contains(value))
            {
                return Err(SetError::KnownOfSome {
                    key,
                    case: case.name.clone().unwrap_or_default(),
                    other: other.name.clone().unwrap_or_default(),
                });
            }
        }
    }
    Ok(())
}

fn tables_there(vary: &[Varied], tables: &GivenTables) -> Result<(), SetError> {
    for varied in vary {
        if let Distribution::Table { file, column } = &varied.distribution
            && tables.kind(file, column).is_none()
        {
            return Err(SetError::Given {
                file: file.clone(),
                reason: format!(
                    "has no column {column:?}; its columns are {}",
                    tables.columns(file)
                ),
            });
        }
    }
    Ok(())
}

fn correlations_possible(
    case: Option<&str>,
    vary: &[Varied],
    recipe: &Recipe,
) -> Result<(), SetError> {
    for key in recipe.correlations.keys() {
        let drawn = vary.iter().find(|varied| varied.key == *key);
        let reason = match drawn {
            None => "is not drawn",
            Some(varied) if !varied.distribution.is_continuous() => "has no continuous law",
            Some(varied) if varied.components != 1 => "is a list of numbers",
            Some(_) => continue,
        };
        let place = case.map_or(String::new(), |name| format!(" in the case {name:?}"));
        return Err(SetError::Correlated {
            key: key.clone(),
            reason: format!("{reason}{place}"),
        });
    }
    Ok(())
}

/// Whether a scenario gives counts.
pub(super) fn counts_possible(scenario: &Scenario, label: &str) -> Result<(), SetError> {
    let needed = [
        (scenario.state.star.is_some(), "[star]"),
        (scenario.state.exposure.is_some(), "[exposure]"),
        (
            scenario.instrument.camera.electronics.is_some(),
            "the camera's gain",
        ),
    ];
    match needed.into_iter().find(|(there, _)| !there) {
        None => Ok(()),
        Some((_, missing)) => Err(SetError::NoCounts {
            label: label.to_owned(),
            missing,
        }),
    }
}

fn turns_possible(vary: &[Varied], screws: usize) -> Result<(), SetError> {
    for varied in vary {
        let Distribution::Turns { correlation, .. } = varied.distribution else {
            continue;
        };
        if screws == 0 {
            return Err(SetError::NoScrews);
        }
        let least = -1.0 / (screws as f64 - 1.0);
        if correlation < least - 1e-12 {
            return Err(SetError::Correlation {
                correlation,
                least,
                screws,
            });
        }
    }
    Ok(())
}
