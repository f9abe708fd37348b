//! A recipe joined with its scenario: from here on every item can be made, in any order and on any machine.

use super::distribution::{Distribution, Drawn};
use super::error::SetError;
use super::recipe::{Fineness, Recipe};
use crate::frame::Frame;
use crate::predict::Settings;
use crate::propagation::Accuracy;
use crate::rng::SetSeed;
use crate::scenario::hex;
use crate::scenario::{self, Scenario};
use crate::scene::Scene;
use crate::simulate::Truth;
use rand::RngExt;
use sha2::{Digest, Sha256};

/// What the shell read for a recipe.
#[derive(Clone, Default)]
pub struct ScenarioSource {
    /// Text of the scenario.
    pub scenario: String,
    /// Its name for messages.
    pub label: String,
    /// The drawing of its mask, where it has one.
    pub drawing: Option<Vec<u8>>,
    /// Whether the truth is withheld.
    pub sealed: bool,
    /// The secret of a sealed set; a sealed set without it can be checked, but not made.
    pub secret: Option<[u8; 16]>,
    /// The same bytes on all processors, more slowly.
    pub portable: bool,
}

/// A recipe that can be made.
pub struct Set {
    /// The recipe.
    pub recipe: Recipe,
    /// The scenario before anything is drawn.
    pub base: Scenario,
    /// The scenario's text.
    pub scenario_text: String,
    /// SHA-256 of recipe, scenario and drawing: sets with the same one can be merged.
    pub sha256: String,
    source: ScenarioSource,
    seed: SetSeed,
    screws: Vec<String>,
}

/// One item: what was drawn, the frame, the truth.
pub struct Item {
    /// Its number.
    pub number: u64,
    /// What was drawn for it.
    pub drawn: Vec<Drawn>,
    /// Its scenario.
    pub scenario: Scenario,
    /// Its frame.
    pub frame: Frame,
    /// Its truth.
    pub truth: Truth,
}

impl Set {
    /// Joins a recipe with its scenario.
    ///
    /// # Errors
    /// The scenario with the recipe's changes is refused, gives no counts, or does not fit what is to be drawn.
    pub fn new(recipe: Recipe, source: ScenarioSource) -> Result<Set, SetError> {
        let mut base = scenario::read(&source.scenario, &source.label, &recipe.set)?;
        put_drawing(&mut base, source.drawing.as_deref())?;
        counts_possible(&base, &source.label)?;
        let screws: Vec<String> = base
            .instrument
            .assembly
            .iter()
            .flat_map(|assembly| &assembly.screws)
            .map(|screw| screw.name.clone())
            .collect();
        turns_possible(&recipe, screws.len())?;
        let mut hash = Sha256::new();
        for part in [recipe.text.as_bytes(), source.scenario.as_bytes()] {
            hash.update((part.len() as u64).to_le_bytes());
            hash.update(part);
        }
        hash.update(source.drawing.as_deref().unwrap_or_default());
        if source.portable {
            // other bytes than without it: the two kinds of frames belong to two sets
            hash.update(b"portable");
        }
        Ok(Set {
            seed: SetSeed {
                seed: recipe.seed,
                secret: source.secret,
            },
            scenario_text: source.scenario.clone(),
            sha256: hex(&hash.finalize()),
            recipe,
            base,
            source,
            screws,
        })
    }

    /// Whether the truth is withheld.
    pub fn sealed(&self) -> bool {
        self.source.sealed
    }

    /// The secret of a sealed set.
    pub fn secret(&self) -> Option<[u8; 16]> {
        self.seed.secret
    }

    /// How items are computed.
    pub fn settings(&self) -> Settings {
        let fast = self.recipe.accuracy == Fineness::Fast;
        Settings {
            accuracy: if fast {
                Accuracy::fast()
            } else {
                Accuracy::default()
            },
            single_precision: fast,
            portable: self.source.portable,
            bound: self.recipe.photon_bound,
            sampling_check: self.recipe.sampling_check,
            ..Settings::default()
        }
    }

    /// Columns and rows of every frame.
    pub fn frame_px(&self) -> [usize; 2] {
        let camera = &self.base.instrument.camera;
        [camera.width_px, camera.height_px]
    }

    /// What is drawn for an item, and the scenario that it leads to.
    ///
    /// # Errors
    /// [`SetError::Item`] when the scenario does not allow a value, [`SetError::Limits`] and [`SetError::Size`].
    pub fn scenario(&self, number: u64) -> Result<(Scenario, Vec<Drawn>), SetError> {
        self.scenario_from(&self.seed, number)
    }

    fn scenario_from(
        &self,
        seed: &SetSeed,
        number: u64,
    ) -> Result<(Scenario, Vec<Drawn>), SetError> {
        let mut drawn = Vec::new();
        for varied in &self.recipe.vary {
            let values = varied.draw(seed, number, &self.screws);
            drawn.extend(values.ok_or_else(|| SetError::Limits {
                item: number,
                key: varied.key.clone(),
            })?);
        }
        let drawn_too = |argument: &&String| {
            let key = |drawn: &Drawn| argument.starts_with(&format!("{}=", drawn.key));
            !drawn.iter().any(key)
        };
        let set = self.recipe.set.iter();
        let mut arguments: Vec<String> = set.filter(drawn_too).cloned().collect();
        arguments.extend(drawn.iter().map(Drawn::argument));
        let read = scenario::read(&self.source.scenario, &self.source.label, &arguments);
        let mut scenario = read.map_err(|source| SetError::Item {
            item: number,
            source,
        })?;
        put_drawing(&mut scenario, self.source.drawing.as_deref())?;
        let camera = &scenario.instrument.camera;
        let found = [camera.width_px, camera.height_px];
        if found != self.frame_px() {
            return Err(SetError::Size {
                item: number,
                found,
                expected: self.frame_px(),
            });
        }
        counts_possible(&scenario, &self.source.label)?;
        Ok((scenario, drawn))
    }

    /// Makes an item.
    ///
    /// # Errors
    /// As [`Set::scenario`], and [`SetError::Scene`].
    pub fn make(&self, number: u64) -> Result<Item, SetError> {
        self.make_from(&self.seed, number, self.settings())
    }

    /// Makes an item by the published seed alone: of a set that is not sealed the item itself, of a sealed one something like
    /// it that tells nothing. For columns and cards, which anybody must be able to make again.
    ///
    /// # Errors
    /// As [`Set::make`].
    pub fn example(&self, number: u64, settings: Settings) -> Result<Item, SetError> {
        let published = SetSeed {
            secret: None,
            ..self.seed.clone()
        };
        self.make_from(&published, number, settings)
    }

    fn make_from(&self, seed: &SetSeed, number: u64, settings: Settings) -> Result<Item, SetError> {
        let (scenario, drawn) = self.scenario_from(seed, number)?;
        let noise = seed.stream("noise", number).random::<u64>() >> 11;
        let simulation = Scene::of(scenario.clone())
            .and_then(|scene| {
                scene
                    .with_settings(settings)
                    .with_title(title(number))
                    .with_seed(noise)
                    .star()
            })
            .map_err(|source| SetError::Scene {
                item: number,
                source,
            })?;
        let Some(frame) = simulation.frame else {
            return Err(SetError::NoCounts {
                label: self.source.label.clone(),
                missing: "a frame",
            });
        };
        Ok(Item {
            number,
            drawn,
            scenario,
            frame,
            truth: simulation.truth,
        })
    }
}

/// Title of an item: its number, which tells nothing.
pub fn title(number: u64) -> String {
    format!("item {number}")
}

fn put_drawing(scenario: &mut Scenario, bytes: Option<&[u8]>) -> Result<(), SetError> {
    Ok(scenario.put_drawing(bytes.unwrap_or_default())?)
}

fn counts_possible(scenario: &Scenario, label: &str) -> Result<(), SetError> {
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

fn turns_possible(recipe: &Recipe, screws: usize) -> Result<(), SetError> {
    for varied in &recipe.vary {
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
