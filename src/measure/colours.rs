//! Which pixel of a filter array has which colour, as far as a frame tells by itself.
//!
//! The light of the brightest star is added up for each of the four pixels of the array. Two of them are green and must agree; a pattern
//! whose greens do not is none that the frame allows. Where the two others differ from green, that settles a picture that was turned
//! over: RGGB upside down is GBRG, whose greens are the other two. Red is told from blue only where no star of any temperature would give
//! the light that was found through the passbands that are typed; a half turn, RGGB to BGGR, therefore often stays open.
//!
//! It refuses to choose between patterns that the frame allows alike, and to judge stars of a pixel or two, which give each pixel of the
//! array another share of their light.

use super::background::Background;
use super::settings::{ColourSettings, FindingSettings};
use super::stars::{Search, Source, Stars};
use crate::flag::{Flag, Flags};
use crate::instrument::{Colour, ColourArray};
use crate::math::robust::median;
use crate::spectrum::{edges, planck_photons, transmission};
use ndarray::Array2;

/// The four customary patterns: greens on a diagonal.
const CUSTOMARY: [&str; 4] = ["RGGB", "BGGR", "GRBG", "GBRG"];

/// Which pattern a frame is to be measured with, and what is to be said of it.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedPattern {
    /// The pattern, from row 0 upwards.
    pub pattern: [Colour; 4],
    /// What is to be known.
    pub flags: Flags,
    /// The same with the patterns' names, in sentences.
    pub warnings: Vec<String>,
}

/// Judges the pattern that is typed and the one of the file's card, where there is one, by the frame and by each other.
///
/// `full_adu` is the value at which a pixel is full, `gain_e_per_adu` the electrons of a count; element `[[row, column]]` of `values` has
/// row 0 at the bottom. Where card and typed differ, the one that the frame alone allows is used and said; where it allows both, or
/// neither, the flag that is raised makes the measurement one to look at again.
///
/// # Accuracy
/// Over stars of five temperatures behind all four patterns no true pattern is refused, and a picture that was turned over always is,
/// unless red and blue are alike as two greens are (`measure::colours::tests::a_picture_that_was_turned_over_is_seen`).
pub fn judge_pattern(
    values: &Array2<f64>,
    card: Option<[Colour; 4]>,
    array: &ColourArray,
    full_adu: Option<f64>,
    gain_e_per_adu: f64,
    settings: &FindingSettings,
) -> JudgedPattern {
    let light = Stars::find(values, full_adu, &Search::plain(settings))
        .ok()
        .and_then(|stars| CellLight::of(values, &stars, gain_e_per_adu, &settings.colours));
    let allows = |pattern: &[Colour; 4]| {
        light
            .as_ref()
            .is_none_or(|light| light.allows(pattern, array, &settings.colours))
    };
    let typed = array.pattern;
    let card = card.filter(|card| *card != typed);
    let judged = |pattern, flag: Option<Flag>, warning: Option<String>| JudgedPattern {
        pattern,
        flags: flag.into_iter().collect(),
        warnings: warning.into_iter().collect(),
    };
    let differ = card.map(|card| {
        format!(
            "its card gives the filters as {} from the bottom row up, camera.colour_pattern is {}",
            Colour::letters(&card),
            Colour::letters(&typed)
        )
    });
    match (card, differ) {
        (Some(card), Some(differ)) => match (allows(&typed), allows(&card)) {
            (true, false) | (false, true) => {
                let used = if allows(&typed) { typed } else { card };
                let letters = Colour::letters(&used);
                let warning =
                    format!("{differ}; the light of its star fits {letters}, which is used");
                judged(used, Some(Flag::ColourPatternDiffers), Some(warning))
            }
            (true, true) => {
                let warning = format!("{differ}; its light fits both");
                judged(typed, Some(Flag::ColourPatternOpen), Some(warning))
            }
            (false, false) => {
                let warning = format!("{differ}; {}", fitting(allows));
                judged(typed, Some(Flag::ColourPatternOffFrame), Some(warning))
            }
        },
        _ if allows(&typed) => judged(typed, None, None),
        _ => {
            let letters = Colour::letters(&typed);
            let warning = format!("camera.colour_pattern is {letters}; {}", fitting(allows));
            judged(typed, Some(Flag::ColourPatternOffFrame), Some(warning))
        }
    }
}

/// Which of the customary patterns the light fits, in words.
fn fitting(allows: impl Fn(&[Colour; 4]) -> bool) -> String {
    let fits = |letters: &&str| Colour::pattern(letters).is_some_and(|pattern| allows(&pattern));
    let fitting: Vec<&str> = CUSTOMARY.into_iter().filter(fits).collect();
    if fitting.is_empty() {
        return "the light of its star fits no customary pattern".to_owned();
    }
    format!(
        "the light of its star fits {}, from the bottom row up",
        fitting.join(" or ")
    )
}

/// Light of a star in the four pixels of the array, from (row 0, column 0) to (1, 1).
#[derive(Debug, Clone, Copy, PartialEq)]
struct CellLight {
    sums_adu: [f64; 4],
    /// Standard deviation of each sum.
    sigmas_adu: [f64; 4],
}

impl CellLight {
    /// Adds up the light of the brightest star over whole arrays, those with a full, hot or dead pixel left out; `None` where the star
    /// is too small or too little is left of it.
    fn of(
        values: &Array2<f64>,
        stars: &Stars,
        gain_e_per_adu: f64,
        settings: &ColourSettings,
    ) -> Option<CellLight> {
        let star = stars.brightest();
        if star.half_flux_radius_px < settings.half_flux_radius_px_at_least {
            return None;
        }
        let background = &stars.background;
        let levels_adu = sky_of_cells(values, stars, settings);
        let usable = usable(values, background);
        let (mut sums_adu, mut arrays) = ([0.0; 4], 0usize);
        for corner in corners_of_arrays(star, values.dim(), settings.margin_px) {
            let places = places_of_array(corner);
            if !places.iter().all(|at| usable[*at]) {
                continue;
            }
            arrays += 1;
            for (cell, at) in places.into_iter().enumerate() {
                let level = background.at([at[1] as f64, at[0] as f64]) + levels_adu[cell];
                sums_adu[cell] += values[at] - level;
            }
        }
        let sky_adu2 = arrays as f64 * background.sigma.powi(2);
        let sigmas_adu = sums_adu.map(|sum| (sky_adu2 + sum.max(0.0) / gain_e_per_adu).sqrt());
        let bright = (0..4).all(|cell| sums_adu[cell] > settings.light_sigma * sigmas_adu[cell]);
        (arrays >= settings.arrays_at_least && bright).then_some(CellLight {
            sums_adu,
            sigmas_adu,
        })
    }

    /// Whether the light could be that of a star behind this pattern.
    fn allows(
        &self,
        pattern: &[Colour; 4],
        array: &ColourArray,
        settings: &ColourSettings,
    ) -> bool {
        self.greens_agree(pattern, settings) && self.some_star_gives_it(pattern, array, settings)
    }

    fn greens_agree(&self, pattern: &[Colour; 4], settings: &ColourSettings) -> bool {
        let greens: Vec<usize> = (0..4)
            .filter(|cell| pattern[*cell] == Colour::Green)
            .collect();
        greens.windows(2).all(|two| {
            let [a, b] = [two[0], two[1]];
            let apart = (self.sums_adu[a] - self.sums_adu[b]).abs();
            let noise = self.sigmas_adu[a].hypot(self.sigmas_adu[b]);
            let mean = 0.5 * (self.sums_adu[a] + self.sums_adu[b]);
            apart <= settings.greens_sigma * noise + settings.greens_share * mean
        })
    }

    /// Whether a black body of some temperature gives such shares of red and blue to green through the passbands.
    fn some_star_gives_it(
        &self,
        pattern: &[Colour; 4],
        array: &ColourArray,
        settings: &ColourSettings,
    ) -> bool {
        let mean = |colour: Colour| {
            let own = (0..4).filter(|cell| pattern[*cell] == colour);
            let (sum, count) = own.fold((0.0, 0.0), |(sum, count), cell| {
                (sum + self.sums_adu[cell], count + 1.0)
            });
            sum / f64::max(count, 1.0)
        };
        let found = Colour::ALL.map(mean);
        TEMPERATURES_K.into_iter().any(|temperature_k| {
            let given = [0, 1, 2].map(|number| photons(array, number, temperature_k));
            [0, 2].into_iter().all(|number| {
                let off = (found[number] / found[1]) / (given[number] / given[1]);
                // passbands that let nothing through say nothing
                !off.is_finite() || off.max(1.0 / off) < settings.colour_factor
            })
        })
    }
}

/// Temperatures of stars from the reddest to the bluest, each a quarter hotter than the one before.
const TEMPERATURES_K: [f64; 13] = [
    2500.0, 3100.0, 3900.0, 4900.0, 6100.0, 7600.0, 9500.0, 11_900.0, 14_900.0, 18_600.0, 23_300.0,
    29_100.0, 36_400.0,
];
/// Bins of a passband: its light needs to be known to a few per cent.
const BINS: usize = 12;

/// Photons of a black body through the passband of a colour, in a unit of its own.
fn photons(array: &ColourArray, number: usize, temperature_k: f64) -> f64 {
    let passband = &array.passbands[number];
    let [from_m, to_m] = edges(passband);
    let width_m = (to_m - from_m) / BINS as f64;
    (0..BINS)
        .map(|bin| from_m + width_m * (bin as f64 + 0.5))
        .map(|at_m| transmission(passband, at_m) * planck_photons(at_m, temperature_k) * width_m)
        .sum()
}

/// How far the sky lies above the background's surface in each pixel of the array, read where no star is.
fn sky_of_cells(values: &Array2<f64>, stars: &Stars, settings: &ColourSettings) -> [f64; 4] {
    let mut dark = Array2::from_elem(values.dim(), true);
    for source in stars.all() {
        for corner in corners_of_arrays(source, values.dim(), settings.sky_from_px) {
            for at in places_of_array(corner) {
                dark[at] = false;
            }
        }
    }
    let stride = values.len().div_ceil(settings.sky_px_at_most);
    let mut cells: [Vec<f64>; 4] = Default::default();
    let sky = values.indexed_iter().filter(|(at, _)| dark[*at]);
    for (number, ((row, column), value)) in sky.enumerate() {
        if (number / 2) % stride == 0 {
            let level = stars.background.at([column as f64, row as f64]);
            cells[2 * (row % 2) + column % 2].push(value - level);
        }
    }
    cells.map(|mut sky| {
        if sky.len() < settings.sky_px_at_least {
            0.0
        } else {
            median(&mut sky)
        }
    })
}

fn usable(values: &Array2<f64>, background: &Background) -> Array2<bool> {
    let mut usable = Array2::from_elem(values.dim(), true);
    let defects = &background.defects;
    let bad = [&defects.hot_px, &defects.dead_px, &defects.full_px];
    for [column, row] in bad.into_iter().flatten() {
        usable[[*row, *column]] = false;
    }
    usable
}

/// Even rows and columns of a source's box, widened by a margin, as far as whole arrays reach.
fn corners_of_arrays(
    source: &Source,
    (rows, columns): (usize, usize),
    margin_px: usize,
) -> Vec<[usize; 2]> {
    let [low, high] = source.box_px;
    let span = |axis: usize, count: usize| {
        let first = low[axis].saturating_sub(margin_px) / 2;
        let last = (high[axis] + margin_px).min(count.saturating_sub(2)) / 2;
        (first..=last).map(|array| 2 * array)
    };
    if rows < 2 || columns < 2 {
        return Vec::new();
    }
    span(1, rows)
        .flat_map(|row| span(0, columns).map(move |column| [row, column]))
        .collect()
}

/// `[row, column]` of the four pixels of an array.
fn places_of_array([row, column]: [usize; 2]) -> [[usize; 2]; 4] {
    [
        [row, column],
        [row, column + 1],
        [row + 1, column],
        [row + 1, column + 1],
    ]
}

#[cfg(test)]
mod tests;
