//! Telescopes that the page works with: the one it was started with, and those whose text was handed in. A text is read whole or refused with
//! its line; names are the first digits of its checksum, so that the same text has the same name.

use super::rooms::locked;
use crate::instrument::Instrument;
use crate::practice::{Level, Session, front_screws};
use crate::rng::Seed;
use crate::scenario::{self, Scenario, ScenarioError};
use crate::units::{MM, UM};
use lru::LruCache;
use serde_json::{Value, json};
use std::num::NonZeroUsize;
use std::sync::{Arc, Mutex};

/// Telescopes held at most beside the page's own; the one not used for longest gives way, and the page hands its text in again.
const LOADED_AT_MOST: NonZeroUsize = NonZeroUsize::new(16).unwrap();
/// Digits of a name.
const NAME_DIGITS: usize = 16;

/// A telescope and the text it was read from.
pub struct Telescope {
    /// Short, and the same for the same text.
    pub name: String,
    /// As it was read.
    pub scenario: Scenario,
    /// Its text.
    pub text: String,
}

/// All that are held.
pub struct Telescopes {
    own: Arc<Telescope>,
    loaded: Mutex<LruCache<String, Arc<Telescope>>>,
}

impl Telescopes {
    /// The page's own alone.
    pub fn new(scenario: Scenario, text: String) -> Self {
        Telescopes {
            own: Arc::new(Telescope::new(scenario, text)),
            loaded: Mutex::new(LruCache::new(LOADED_AT_MOST)),
        }
    }

    /// Reads a text; without one, the page's own telescope.
    ///
    /// # Errors
    /// [`ScenarioError`] with line and key.
    pub fn load(&self, text: Option<String>) -> Result<Arc<Telescope>, ScenarioError> {
        let Some(text) = text else {
            return Ok(self.own.clone());
        };
        let read = scenario::read(&text, "telescope", &[])?;
        let loaded = Arc::new(Telescope::new(read, text));
        locked(&self.loaded).put(loaded.name.clone(), loaded.clone());
        Ok(loaded)
    }

    /// The telescope of a name; without one, the page's own.
    pub fn find(&self, name: Option<&str>) -> Option<Arc<Telescope>> {
        match name {
            None => Some(self.own.clone()),
            Some(name) if name == self.own.name => Some(self.own.clone()),
            Some(name) => locked(&self.loaded).get(name).cloned(),
        }
    }
}

impl Telescope {
    /// A telescope with its text.
    pub fn new(scenario: Scenario, text: String) -> Self {
        Telescope {
            name: scenario.sha256.chars().take(NAME_DIGITS).collect(),
            scenario,
            text,
        }
    }

    /// What the page shows of it: everything that its owner typed, nothing of its state.
    pub fn view(&self) -> Value {
        let instrument = &self.scenario.instrument;
        json!({
            "telescope": self.name,
            "title": self.scenario.title,
            "numbers": numbers(instrument),
            "text": self.text,
            "levels": levels(&self.scenario),
            "screws": front_screws(instrument),
            "mask": instrument.mask.is_some(),
            "camera_known": instrument.camera.orientation == crate::instrument::Orientation::Known,
        })
    }
}

/// The levels of practice, with their tasks, and why a telescope cannot have one.
fn levels(scenario: &Scenario) -> Vec<Value> {
    let levels = Level::DRILLS.iter();
    levels
        .map(|level| {
            let tried = Session::new(&scenario.instrument, &scenario.state, *level, Seed(1));
            let why_not = tried.err().map(|error| error.to_string());
            json!({ "word": level, "task": level.sentence(), "why_not": why_not })
        })
        .collect()
}

/// Key numbers in a few words.
fn numbers(instrument: &Instrument) -> String {
    let telescope = &instrument.telescope;
    let aperture_mm = 2.0 * telescope.aperture_radius_m() / MM;
    let mut said = vec![format!(
        "{aperture_mm:.0} mm, f/{:.1}",
        telescope.focal_ratio()
    )];
    if let Some(disc) = &telescope.obstruction {
        said.push(format!("obstruction {:.0} mm", disc.diameter_m / MM));
    }
    said.push(format!("pixels {:.2} µm", instrument.camera.pixel_m / UM));
    let screws = instrument.assembly.as_ref().map_or(0, |a| a.screws.len());
    said.push(match screws {
        0 => "no screws named".to_owned(),
        count => format!("{count} screws"),
    });
    said.join(" · ")
}
