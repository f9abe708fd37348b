//! `--card-at SCREW[=IMAGE]`: frames that show a card held over the rim at a screw's place.

use super::console::Console;
use super::error::CliError;
use super::image_of;
use super::learn::NotLearned;
use crate::instrument::Instrument;
use crate::measure::{CardFrame, CardSeen, MeasureOptions, Picture, cards_seen};
use std::path::Path;

/// What was typed, with the images that were named.
#[derive(Default)]
pub struct TypedCards {
    cards: Vec<(String, Option<Picture>)>,
}

impl TypedCards {
    /// Reads the images that are named.
    pub fn read(
        typed: &[String],
        instrument: &Instrument,
        console: &Console,
    ) -> Result<TypedCards, CliError> {
        let mut read = TypedCards::default();
        for typed in typed {
            let (screw, path) = match typed.split_once('=') {
                None => (typed.as_str(), None),
                Some((screw, path)) => (screw, Some(path.trim())),
            };
            let mut picture = None;
            if let Some(path) = path {
                // a card is dark in files that are not linear too: their flags are no reason against what it says
                picture = Some(image_of(Path::new(path), instrument, console)?.0);
            }
            read.cards.push((screw.trim().to_owned(), picture));
        }
        Ok(read)
    }

    /// The frames, for a diagnosis.
    pub fn frames(&self) -> Vec<CardFrame<'_>> {
        self.cards
            .iter()
            .map(|(screw, picture)| CardFrame {
                screw: screw.clone(),
                picture: picture.as_ref(),
            })
            .collect()
    }

    /// Where each card is seen; all are in frames of their own, and `clear` is one of the same star without a card.
    pub fn seen(
        &self,
        clear: &Picture,
        instrument: &Instrument,
        options: &MeasureOptions,
    ) -> Result<Vec<CardSeen>, NotLearned> {
        let frames = self.frames();
        let seen = cards_seen(&frames, clear, instrument, options).map_err(NotLearned::Card)?;
        Ok(seen.into_iter().flatten().collect())
    }

    /// The first screw that is named without an image.
    pub fn without_image(&self) -> Option<&str> {
        let missing = self.cards.iter().find(|(_, picture)| picture.is_none());
        missing.map(|(screw, _)| screw.as_str())
    }
}
