//! What a lesson is made of.

use super::scale::Scale;
use crate::instrument::Instrument;
use crate::practice::Sight;
use crate::state::State;
use rand::rngs::ChaCha8Rng;

/// Something that is moved by hand.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Handle {
    /// What it does.
    pub words: String,
    /// Least value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
    /// A step.
    pub step: f64,
    /// Where it stands at the beginning.
    pub start: f64,
}

impl Handle {
    /// From nothing to clearly seen.
    pub fn amount(words: &str, start: f64) -> Handle {
        Handle {
            words: words.to_owned(),
            low: 0.0,
            high: 1.0,
            step: 0.05,
            start,
        }
    }

    /// From one side of nothing to the other.
    pub fn either_way(words: &str, start: f64) -> Handle {
        Handle {
            low: -1.0,
            ..Handle::amount(words, start)
        }
    }

    /// All round, degrees.
    pub fn direction(words: &str) -> Handle {
        Handle {
            words: words.to_owned(),
            low: 0.0,
            high: 360.0,
            step: 15.0,
            start: 60.0,
        }
    }
}

/// What is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shown {
    /// One star without a mask.
    Star,
    /// One star behind the mask.
    Masked,
    /// Stars in the middle and the corners of the sensor.
    Corners,
}

/// A star as values set it.
#[derive(Debug, Clone)]
pub struct Star {
    /// The telescope.
    pub instrument: Instrument,
    /// Whether the telescope is another one than the scale's.
    pub changed: bool,
    /// What is wrong with it.
    pub state: State,
    /// When the exposure begins.
    pub start_s: f64,
}

/// A lesson. Values are those of its handles, in their order; a question may add values behind them.
pub struct Lesson {
    /// Its address.
    pub word: &'static str,
    /// Its name.
    pub title: &'static str,
    /// What it says, a thought a paragraph.
    pub words: &'static [&'static str],
    /// What is looked at.
    pub shown: Shown,
    /// Whether arrows of the screws are pointed out.
    pub arrows: bool,
    /// Whether a telescope can show it.
    pub can: fn(&Instrument) -> bool,
    /// What is moved.
    pub handles: fn(&Scale) -> Vec<Handle>,
    /// The values of each star that is shown beside each other.
    pub tiles: fn(&[f64]) -> Vec<Vec<f64>>,
    /// What values do to a star.
    pub set: fn(&Scale, &[f64], &mut Star),
    /// What is asked.
    pub asks: &'static str,
    /// The answers that can be given.
    pub choices: fn(&Scale) -> Vec<String>,
    /// Draws the stars of a question.
    pub draw: fn(&Scale, &mut ChaCha8Rng) -> Vec<Vec<f64>>,
    /// Which choice is right, by what is hidden and by what is to be seen of each star.
    pub right: fn(&Scale, &[Vec<f64>], &[Sight]) -> usize,
    /// What is said of each choice when it is the right one.
    pub because: &'static [&'static str],
}

/// One star, as the handles stand.
pub fn one_tile(values: &[f64]) -> Vec<Vec<f64>> {
    vec![values.to_vec()]
}
