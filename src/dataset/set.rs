//! A recipe joined with its scenario: from here on every item can be made, in any order and on any machine.

use super::distribution::Draws;
use super::error::SetError;
use super::given::GivenTables;
use super::joined::{SetCase, cases_of, counts_possible};
use super::recipe::{Fineness, Recipe};
use super::value::{Drawn, ValueKind};
use crate::frame::Frame;
use crate::predict::Settings;
use crate::propagation::Accuracy;
use crate::rng::{Chance, FrameChance, Seed, SetSeed};
use crate::scenario::hex;
use crate::scenario::{self, Scenario};
use crate::scene::Scene;
use crate::simulate::{Truth, flat};
use ndarray::Array2;
use rand::RngExt;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;

/// What the shell read for a recipe.
#[derive(Clone, Default)]
pub struct ScenarioSource {
    /// Text of the scenario; empty where every case has its own.
    pub scenario: String,
    /// Its name for messages.
    pub label: String,
    /// The drawing of its mask, where it has one.
    pub drawing: Option<Vec<u8>>,
    /// The scenarios of the cases that name their own, in the order of the cases.
    pub cases: Vec<Option<CaseSource>>,
    /// Files of the tables that laws look into, by their names in the recipe.
    pub tables: BTreeMap<String, Vec<u8>>,
    /// Whether the truth is withheld.
    pub sealed: bool,
    /// The secret of a sealed set; a sealed set without it can be checked, but not made.
    pub secret: Option<[u8; 16]>,
    /// The same bytes on all processors, more slowly.
    pub portable: bool,
}

/// The scenario of one case.
#[derive(Debug, Clone, Default)]
pub struct CaseSource {
    /// Its text.
    pub scenario: String,
    /// Its name for messages.
    pub label: String,
    /// The drawing of its mask, where it has one.
    pub drawing: Option<Vec<u8>>,
}

/// A recipe that can be made.
pub struct Set {
    /// The recipe.
    pub recipe: Recipe,
    /// Its cases; one without a name where it is no mixture.
    pub cases: Vec<SetCase>,
    /// SHA-256 of recipe, scenarios, drawings and tables: sets with the same one can be merged.
    pub sha256: String,
    source: ScenarioSource,
    tables: GivenTables,
    seed: SetSeed,
}

/// One item: what was drawn, the frame, the truth.
pub struct Item {
    /// Its number.
    pub number: u64,
    /// Its case, by its place in [`Set::cases`].
    pub case: usize,
    /// What was drawn for it.
    pub drawn: Vec<Drawn>,
    /// Its scenario.
    pub scenario: Scenario,
    /// Its frame.
    pub frame: Frame,
    /// Electrons to expect in each pixel, before any chance.
    pub expected: Array2<f64>,
    /// Its truth.
    pub truth: Truth,
}

impl Set {
    /// Joins a recipe with its scenario.
    ///
    /// # Errors
    /// The scenario with the recipe's changes is refused, gives no counts, or does not fit what is to be drawn; the cases of a mixture
    /// do not go together.
    pub fn new(recipe: Recipe, source: ScenarioSource) -> Result<Set, SetError> {
        let tables = GivenTables::read(&source.tables)?;
        let cases = cases_of(&recipe, &source, &tables)?;
        let mut hash = Sha256::new();
        let mut part = |bytes: &[u8]| {
            hash.update((bytes.len() as u64).to_le_bytes());
            hash.update(bytes);
        };
        part(recipe.text.as_bytes());
        for case in &cases {
            part(case.source.scenario.as_bytes());
            part(case.source.drawing.as_deref().unwrap_or_default());
        }
        for bytes in source.tables.values() {
            part(bytes);
        }
        if source.portable {
            // other bytes than without it: the two kinds of frames belong to two sets
            hash.update(b"portable");
        }
        Ok(Set {
            seed: SetSeed {
                seed: recipe.seed,
                secret: source.secret,
            },
            sha256: hex(&hash.finalize()),
            recipe,
            cases,
            source,
            tables,
        })
    }

    /// Texts of its scenarios with the ending of their files: one, and those of the cases that have their own.
    pub fn scenario_texts(&self) -> Vec<(String, &str)> {
        let mut texts = Vec::new();
        if self.recipe.scenario.is_some() {
            texts.push(("scenario.toml".to_owned(), self.source.scenario.as_str()));
        }
        for (number, case) in self.source.cases.iter().enumerate() {
            if let Some(case) = case {
                texts.push((
                    format!("case-{}.scenario.toml", number + 1),
                    case.scenario.as_str(),
                ));
            }
        }
        texts
    }

    /// The files of its tables, by their names in the recipe.
    pub fn table_files(&self) -> &BTreeMap<String, Vec<u8>> {
        &self.source.tables
    }

    /// Whether the truth is withheld.
    pub fn sealed(&self) -> bool {
        self.source.sealed
    }

    /// Whether its bytes are the same on all processors.
    pub fn portable(&self) -> bool {
        self.source.portable
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

    /// What is drawn for the items of a case under which key.
    pub fn values(&self, case: usize) -> Vec<(String, ValueKind)> {
        let values = self.cases[case].values(&self.tables).into_iter();
        values.map(|(key, kind, _)| (key, kind)).collect()
    }

    /// What is handed out with every frame, by its key.
    pub fn known(&self) -> Vec<(String, ValueKind)> {
        // every case hands out the same (`joined`)
        let values = self.cases[0].values(&self.tables).into_iter();
        values
            .filter(|(.., known)| *known)
            .map(|(key, kind, _)| (key, kind))
            .collect()
    }

    /// What is peculiar to the pixels of a case's camera, the same in all frames of its scenario.
    fn camera(&self, case: usize) -> Chance {
        let own = &self.cases[case].source.scenario;
        let first = self
            .cases
            .iter()
            .position(|other| other.source.scenario == *own);
        Chance::Key(self.published().key("camera", first.unwrap_or(case) as u64))
    }

    /// The flat of a case's camera, rows (0 at the bottom) and columns; `None` where all of its pixels are alike.
    pub fn flat(&self, case: usize) -> Option<Array2<f64>> {
        let electronics = self.cases[case]
            .base
            .instrument
            .camera
            .electronics
            .as_ref()?;
        let [columns, rows] = self.frame_px();
        let uneven = electronics.pixel_response_rms > 0.0;
        uneven.then(|| flat(electronics, [rows, columns], self.camera(case)))
    }

    /// Columns and rows of every frame.
    pub fn frame_px(&self) -> [usize; 2] {
        self.cases[0].frame_px()
    }

    /// The case of an item.
    pub fn case(&self, number: u64) -> usize {
        self.case_by(&self.seed, number)
    }

    fn case_by(&self, seed: &SetSeed, number: u64) -> usize {
        if self.cases.len() == 1 {
            return 0;
        }
        let mut left = seed.stream("case", number).random::<f64>();
        for (at, case) in self.cases.iter().enumerate() {
            if left < case.share {
                return at;
            }
            left -= case.share;
        }
        self.cases.len() - 1
    }

    /// What is drawn for an item, and the scenario that it leads to.
    ///
    /// # Errors
    /// [`SetError::Item`] when the scenario does not allow a value, [`SetError::Limits`] and [`SetError::Size`].
    pub fn scenario(&self, number: u64) -> Result<(Scenario, Vec<Drawn>), SetError> {
        self.scenario_from(&self.seed, self.case(number), number)
    }

    /// Seed of an item's noise.
    pub fn noise_seed(&self, number: u64) -> u64 {
        noise_seed(&self.seed, number)
    }

    /// What is drawn for an item.
    ///
    /// # Errors
    /// [`SetError::Limits`].
    pub fn drawn(&self, number: u64) -> Result<Vec<Drawn>, SetError> {
        self.drawn_from(&self.seed, self.case(number), number)
    }

    fn drawn_from(&self, seed: &SetSeed, case: usize, number: u64) -> Result<Vec<Drawn>, SetError> {
        let case = &self.cases[case];
        let scores = self.recipe.correlations.scores(seed, number);
        let with = Draws {
            screws: &case.screws,
            scores: &scores,
            tables: Some(&self.tables),
        };
        let mut drawn = Vec::new();
        for varied in &case.vary {
            let values = varied.draw(seed, number, &with);
            drawn.extend(values.ok_or_else(|| SetError::Limits {
                item: number,
                key: varied.key.clone(),
            })?);
        }
        Ok(drawn)
    }

    fn scenario_from(
        &self,
        seed: &SetSeed,
        case: usize,
        number: u64,
    ) -> Result<(Scenario, Vec<Drawn>), SetError> {
        let drawn = self.drawn_from(seed, case, number)?;
        let case = &self.cases[case];
        let drawn_too = |argument: &&String| {
            let key = |drawn: &Drawn| argument.starts_with(&format!("{}=", drawn.key));
            !drawn.iter().any(key)
        };
        let set = case.set.iter();
        let mut arguments: Vec<String> = set.filter(drawn_too).cloned().collect();
        arguments.extend(drawn.iter().map(Drawn::argument));
        let read = scenario::read(&case.source.scenario, &case.source.label, &arguments);
        let mut scenario = read.map_err(|source| SetError::Item {
            item: number,
            source,
        })?;
        scenario.put_drawing(case.source.drawing.as_deref().unwrap_or_default())?;
        let camera = &scenario.instrument.camera;
        let found = [camera.width_px, camera.height_px];
        if found != self.frame_px() {
            return Err(SetError::Size {
                item: number,
                found,
                expected: self.frame_px(),
            });
        }
        counts_possible(&scenario, &case.source.label)?;
        Ok((scenario, drawn))
    }

    /// Makes an item.
    ///
    /// # Errors
    /// As [`Set::scenario`], and [`SetError::Scene`].
    pub fn make(&self, number: u64) -> Result<Item, SetError> {
        self.make_from(&self.seed, self.case(number), number, self.settings())
    }

    /// Makes an item by the published seed alone: of a set that is not sealed the item itself, of a sealed one something like
    /// it that tells nothing. For columns and cards, which anybody must be able to make again.
    ///
    /// # Errors
    /// As [`Set::make`].
    pub fn example(&self, number: u64, settings: Settings) -> Result<Item, SetError> {
        let published = self.published();
        let case = self.case_by(&published, number);
        self.make_from(&published, case, number, settings)
    }

    /// The same of an item that is of a case, whether or not it is.
    ///
    /// # Errors
    /// As [`Set::make`].
    pub fn example_of(
        &self,
        case: usize,
        number: u64,
        settings: Settings,
    ) -> Result<Item, SetError> {
        self.make_from(&self.published(), case, number, settings)
    }

    fn published(&self) -> SetSeed {
        SetSeed {
            secret: None,
            ..self.seed.clone()
        }
    }

    fn make_from(
        &self,
        seed: &SetSeed,
        case: usize,
        number: u64,
        settings: Settings,
    ) -> Result<Item, SetError> {
        let (scenario, drawn) = self.scenario_from(seed, case, number)?;
        let noise = noise_seed(seed, number);
        let chance = FrameChance {
            noise: match seed.secret {
                // 53 bits can be tried out, a key from the whole secret cannot
                Some(_) => Chance::Key(seed.key("noise", number)),
                None => Chance::Seed(Seed(noise)),
            },
            camera: self.camera(case),
        };
        let simulation = Scene::of(scenario.clone())
            .and_then(|scene| {
                scene
                    .with_settings(settings)
                    .with_title(title(number))
                    .with_seed(noise)
                    .with_chance(chance)
                    .star()
            })
            .map_err(|source| SetError::Scene {
                item: number,
                source,
            })?;
        let Some(frame) = simulation.frame else {
            return Err(SetError::NoCounts {
                label: self.cases[case].source.label.clone(),
                missing: "a frame",
            });
        };
        Ok(Item {
            number,
            case,
            drawn,
            scenario,
            frame,
            expected: simulation.expected.image,
            truth: simulation.truth,
        })
    }
}

fn noise_seed(seed: &SetSeed, number: u64) -> u64 {
    seed.stream("noise", number).random::<u64>() >> 11
}

/// Title of an item: its number, which tells nothing.
pub fn title(number: u64) -> String {
    format!("item {number}")
}
