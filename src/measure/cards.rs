//! Frames that show a card held over the rim at a screw's place.

use super::error::MeasureError;
use super::measurement::{MeasureOptions, edges_of};
use super::orientation::CardSeen;
use super::picture::Picture;
use crate::instrument::Instrument;

/// A card that was held over the rim.
#[derive(Debug, Clone)]
pub struct CardFrame<'a> {
    /// Name of the screw at whose place it was held.
    pub screw: String,
    /// The frame that shows it; `None` where it is the frame at hand, in which then no star is measured.
    pub picture: Option<&'a Picture>,
}

/// Where each card is seen; `at_hand` is the frame of those that name none. Where no card is in it, it is what the others are held against:
/// the same star at the same focus.
///
/// # Errors
/// As [`card_over_rim`], and [`MeasureError::ThirdCard`].
pub fn cards_seen(
    cards: &[CardFrame],
    at_hand: &Picture,
    instrument: &Instrument,
    options: &MeasureOptions,
) -> Result<[Option<CardSeen>; 2], MeasureError> {
    let mut seen = [None; 2];
    if cards.len() > seen.len() {
        let count = cards.len();
        return Err(MeasureError::ThirdCard { count });
    }
    let clear = cards.iter().all(|card| card.picture.is_some());
    let clear = clear.then_some(at_hand);
    for (seen, card) in seen.iter_mut().zip(cards) {
        let picture = card.picture.unwrap_or(at_hand);
        *seen = Some(card_over_rim(
            picture,
            clear,
            instrument,
            &card.screw,
            options,
        )?);
    }
    Ok(seen)
}

/// Where a frame shows a card that is held over the rim at a screw's place: by what it lacks against a frame of the same star without any, or
/// alone where there is none or it does not match.
///
/// # Errors
/// [`MeasureError`] where there is no such screw, no ring, or no single dark bite in it.
pub fn card_over_rim(
    picture: &Picture,
    clear: Option<&Picture>,
    instrument: &Instrument,
    screw: &str,
    options: &MeasureOptions,
) -> Result<CardSeen, MeasureError> {
    let settings = &options.settings;
    let assembly = instrument.assembly.as_ref();
    let number = assembly.and_then(|assembly| assembly.screw(screw).ok());
    let (Some(assembly), Some(number)) = (assembly, number) else {
        return Err(MeasureError::NoSuchScrew {
            screw: screw.into(),
            screws: assembly.map_or(Vec::new(), |assembly| {
                assembly.screws.iter().map(|s| s.name.clone()).collect()
            }),
        });
    };
    let none = MeasureError::NoCard {
        screw: screw.into(),
    };
    let at = (number, assembly.screws[number].azimuth_rad);
    let star = picture.star(instrument, false, options.at_px, &settings.finding)?;
    if let Some(clear) = clear {
        let without = clear.star(instrument, false, options.at_px, &settings.finding)?;
        let edges = edges_of(&without, &settings.ring)?;
        let lights = [&without.light_adu, &star.light_adu];
        return CardSeen::against(lights, &edges, at, &settings.orientation).ok_or(none);
    }
    let edges = edges_of(&star, &settings.ring)?;
    CardSeen::in_ring(&star.light_adu, &edges, at, &settings.orientation).ok_or(none)
}
