//! Files of frames: a NumPy archive or array a shard, a FITS file an item.

use super::error::SetError;
use super::fits_cards::counts_cards;
use super::known::known_arrays;
use super::recipe::FrameFiles;
use super::set::{Item, Set, title};
use crate::axes::FramePx;
use crate::frame::Frame;
use crate::image_io::fits::{self, Card, CardValue, Cards};
use crate::image_io::npz::{NpyArray, NpyValues, npy, npz};
use crate::scenario::Scenario;
use ndarray::Array2;

/// The files of frames of a shard, in order.
pub(super) fn frame_files(
    set: &Set,
    items: &[Item],
    stem: &str,
    base: &str,
) -> Result<Vec<(String, Vec<u8>)>, SetError> {
    let mut files = Vec::new();
    for kind in &set.recipe.files {
        match kind {
            FrameFiles::Npz => files.push((format!("{base}.npz"), archive(set, items)?)),
            FrameFiles::Npy => files.push((format!("{base}.npy"), npy(&frames(set, items)))),
            FrameFiles::FitsCube => {
                let first = items.first().map_or(0, |item| item.number);
                let counts = items
                    .iter()
                    .flat_map(|item| item.frame.counts_adu.iter().copied());
                let cube = cube_file(set, first, &counts.collect::<Vec<u16>>())?;
                files.push((format!("{base}.{}", kind.ending()), cube));
            }
            FrameFiles::Fits => {
                for item in items {
                    let name = format!("{stem}.{:010}.fits", item.number);
                    files.push((name, fits_file(set, item)?));
                }
            }
        }
    }
    Ok(files)
}

/// The FITS file of an item.
pub(super) fn fits_file(set: &Set, item: &Item) -> Result<Vec<u8>, SetError> {
    let cards = cards(set, item.number, &item.scenario, item.truth.star_px);
    Ok(fits::counts(&item.frame, &cards)?)
}

/// All frames of a shard in one FITS file, with the cards that hold for all items of the first case.
pub(super) fn cube_file(set: &Set, first: u64, counts_adu: &[u16]) -> Result<Vec<u8>, SetError> {
    let mut cards = counts_cards(&set.cases[0].base);
    if set.cases.len() > 1 {
        // what differs between telescopes is not told for one of them
        cards = Cards {
            pixel_m: cards.pixel_m,
            focal_length_m: cards.focal_length_m,
            ..Cards::default()
        };
    }
    cards.title.clone_from(&set.recipe.title);
    cards.extra.push(Card {
        keyword: "ITEM".into(),
        value: CardValue::Integer(first as i64),
        comment: "number of the first frame".into(),
    });
    Ok(fits::counts_cube(set.frame_px(), counts_adu, &cards)?)
}

/// The counts of a file that [`cube_file`] wrote, found from its end: 16 bits, the highest first, 32768 less.
pub(super) fn cube_counts(set: &Set, frames: usize, bytes: &[u8]) -> Option<Vec<u16>> {
    let [columns, rows] = set.frame_px();
    let length = 2 * frames * columns * rows;
    let from = bytes.len().checked_sub(length.next_multiple_of(BLOCK))?;
    let data = bytes.get(from..from + length)?;
    let (pairs, _) = data.as_chunks::<2>();
    Some(
        pairs
            .iter()
            .map(|pair| u16::from_be_bytes(*pair) ^ 0x8000)
            .collect(),
    )
}

/// Length of a block of FITS.
const BLOCK: usize = 2880;

/// The same of counts that were read.
pub(super) fn fits_of_counts(
    set: &Set,
    number: u64,
    scenario: &Scenario,
    counts_adu: Array2<u16>,
    star_px: FramePx,
) -> Result<Vec<u8>, SetError> {
    let frame = Frame {
        counts_adu,
        pixel_m: scenario.instrument.camera.pixel_m,
        saturation_adu: u16::MAX,
        saturated_px: 0,
    };
    Ok(fits::counts(
        &frame,
        &cards(set, number, scenario, star_px),
    )?)
}

/// Counts of all frames: item, row (0 at the bottom), column.
fn frames(set: &Set, items: &[Item]) -> NpyArray {
    let [columns, rows] = set.frame_px();
    let mut counts = Vec::with_capacity(items.len() * rows * columns);
    for item in items {
        counts.extend(item.frame.counts_adu.iter().copied());
    }
    NpyArray {
        shape: vec![items.len(), rows, columns],
        values: NpyValues::Counts(counts),
    }
}

/// Electrons to expect in all frames, in the same order.
pub(super) fn expected_frames(set: &Set, items: &[Item]) -> Vec<u8> {
    let [columns, rows] = set.frame_px();
    let all = items.iter().flat_map(|item| item.expected.iter().copied());
    npy(&NpyArray {
        shape: vec![items.len(), rows, columns],
        values: NpyValues::Real(all.collect()),
    })
}

fn archive(set: &Set, items: &[Item]) -> Result<Vec<u8>, SetError> {
    let numbers = items.iter().map(|item| item.number as i64).collect();
    let item = NpyArray {
        shape: vec![items.len()],
        values: NpyValues::Whole(numbers),
    };
    let mut arrays = vec![
        ("frames".to_owned(), frames(set, items)),
        ("item".to_owned(), item),
    ];
    arrays.extend(known_arrays(set, items));
    let named: Vec<(&str, NpyArray)> = arrays
        .iter()
        .map(|(name, array)| (name.as_str(), array.clone()))
        .collect();
    Ok(npz(&named)?)
}

/// Cards of a FITS file. They hold what the owner of a camera knows, and of a sealed set nothing else.
fn cards(set: &Set, number: u64, scenario: &Scenario, star_px: FramePx) -> Cards {
    let cards = Cards {
        title: title(number),
        ..counts_cards(scenario)
    };
    if set.sealed() {
        cards
    } else {
        Cards {
            star_px: star_px.xy(),
            ..cards
        }
    }
}

/// Flats of the cameras whose pixels differ, by the ending of their files: one for each scenario of the set, or of its cases.
pub fn flat_files(set: &Set) -> Vec<(String, Vec<u8>)> {
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    for (at, case) in set.cases.iter().enumerate() {
        let Some(flat) = set.flat(at) else {
            continue;
        };
        let ending = match &case.name {
            None => "flat.npy".to_owned(),
            Some(_) => format!("case-{}.flat.npy", at + 1),
        };
        let (rows, columns) = flat.dim();
        let array = NpyArray {
            shape: vec![rows, columns],
            values: NpyValues::Real(flat.into_iter().collect()),
        };
        files.push((ending, npy(&array)));
    }
    files
}
