//! Where the stars are: points, doughnuts, and the spikes of a masked star, each as one source.
//!
//! A pixel belongs to a source when the mean of a square around it stands out of the noise, for squares of 1, 3, 7 and 15
//! pixels: small ones keep the outline sharp, large ones find a wide faint ring. What is found at one size is left out at the
//! next, and the noise of each size is read from what lies below the middle, so that neighbouring pixels may be alike (JPEG,
//! interpolated colours). Pieces that almost touch are joined and what they enclose is part of them: a ring with a dark middle
//! is one source. It refuses to guess what a source is; that is for those who fit it.

use super::background::Background;
use super::frame_error::FrameError;
use super::regions::{BoxSums, Regions, corners, grown, with_holes};
use super::settings::{FindingSettings, SearchSettings};
use crate::instrument::Instrument;
use crate::math::robust::{half_way, median, sigma_of};
use crate::spectrum::edges;
use ndarray::Array2;
use serde::Serialize;

/// How stars are looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Search {
    /// Gaps up to about this wide are bridged: the shadow of a vane, the dark between the orders of a spike.
    pub join_px: f64,
    /// Whether the star stands behind a mask: it may then be long and in pieces, and nothing is said about overlap.
    pub behind_mask: bool,
    /// By which numbers a star is told from noise.
    pub settings: FindingSettings,
}

impl Default for Search {
    /// For stars without a mask, with the default settings.
    fn default() -> Self {
        Search::plain(&FindingSettings::default())
    }
}

impl Search {
    /// For stars without a mask, from focus to wide doughnuts.
    pub fn plain(settings: &FindingSettings) -> Search {
        Search {
            join_px: settings.search.join_px,
            behind_mask: false,
            settings: *settings,
        }
    }

    /// For a star behind the instrument's mask: bridges some orders of its finest slots, λf/pitch each.
    pub fn masked(instrument: &Instrument, settings: &FindingSettings) -> Search {
        let own = &settings.search;
        let [_, longest_m] = edges(&instrument.camera.passband);
        let pitches = instrument.mask.iter().flat_map(|mask| &mask.slot_pitch_m);
        let finest_m = pitches.copied().fold(f64::INFINITY, f64::min);
        let order_px =
            longest_m * instrument.telescope.focal_length_m / finest_m / instrument.camera.pixel_m;
        Search {
            join_px: (own.masked_join_orders * order_px)
                .min(own.masked_join_px_at_most)
                .max(own.join_px),
            behind_mask: true,
            ..Search::plain(settings)
        }
    }
}

/// One source of light.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Source {
    /// Centre of its light.
    pub centre_px: [f64; 2],
    /// Its light above the background, in the frame's own unit.
    pub flux: f64,
    /// Standard deviation of the flux that the background's noise alone makes.
    pub flux_sigma: f64,
    /// Radius of the circle about its centre that holds half of the light.
    pub half_flux_radius_px: f64,
    /// Lowest and highest column and row of the pixels that stand out.
    pub box_px: [[usize; 2]; 2],
    /// Highest pixel above the background.
    pub peak: f64,
    /// Pixels that are full.
    pub saturated_px: usize,
    /// Whether it stands out in the outermost pixels of the frame: part of it may be missing.
    pub touches_edge: bool,
    /// Whether it looks like two, or like one that moved: two peaks, two dark middles, or long. Not judged where
    /// spikes are expected or the edge cuts it.
    pub overlaps: bool,
}

/// All sources of a frame, brightest first, with what lies behind them.
#[derive(Debug, Clone, PartialEq)]
pub struct Stars {
    /// At least one.
    sources: Vec<Source>,
    /// Level and noise.
    pub background: Background,
    /// The frame above the background, hot and dead pixels patched; element `[[row, column]]`, row 0 at the bottom.
    pub light: Array2<f64>,
}

impl Stars {
    /// Finds the sources of a frame. `ceiling` is the value at which a pixel is full, where it is known.
    ///
    /// # Errors
    /// [`FrameError`]: too small, blank, without numbers, nothing above the noise, or a star too large for the frame.
    ///
    /// # Accuracy
    /// Centres of lone stars, focused and as doughnuts, are as good as their photons allow, and 97 % of the light is found
    /// (`measure::stars::tests::centres_and_fluxes_are_those_that_were_put_in`).
    pub fn find(
        values: &Array2<f64>,
        ceiling: Option<f64>,
        search: &Search,
    ) -> Result<Stars, FrameError> {
        let own = &search.settings.search;
        let background = Background::of(values, ceiling, &search.settings)?;
        let light = background.cleaned(values);
        let (height_px, width_px) = values.dim();
        let fills = FrameError::FillsFrame {
            width_px,
            height_px,
        };
        if much_below(&light, &background, own) {
            return Err(fills);
        }
        let (found, best) = standing_out(&light, background.sigma, own);
        let fills_it = |found: &[Source]| {
            !search.behind_mask && fills_frame(&found[0], [width_px, height_px], own.filled_share)
        };
        let mut sources = sources(&light, &found, &background, search);
        if !sources.is_empty() && fills_it(&sources) {
            // the faint wings of a bright star may reach the edges of a small frame; its body must not
            let bodies = without_wings(&light, &found, own);
            sources = self::sources(&light, &bodies, &background, search);
        }
        if sources.is_empty() {
            return Err(FrameError::NothingFound {
                // what stood out was too small to be a star
                best_sigma: best.0.min(own.limit_sigma),
                limit_sigma: own.limit_sigma,
                place_px: best.1,
            });
        }
        if fills_it(&sources) {
            return Err(fills);
        }
        Ok(Stars {
            sources,
            background,
            light,
        })
    }

    /// All sources, brightest first.
    pub fn all(&self) -> &[Source] {
        &self.sources
    }

    /// The source with the most light.
    pub fn brightest(&self) -> &Source {
        &self.sources[0]
    }

    /// The source whose centre is nearest to a place.
    ///
    /// # Errors
    /// [`FrameError::PlaceOutside`] for a place that is not on the frame.
    pub fn nearest(&self, place_px: [f64; 2]) -> Result<&Source, FrameError> {
        let (height_px, width_px) = self.light.dim();
        let inside = |p: f64, side: usize| p >= -0.5 && p <= side as f64 - 0.5;
        if !inside(place_px[0], width_px) || !inside(place_px[1], height_px) {
            return Err(FrameError::PlaceOutside {
                place_px,
                width_px,
                height_px,
            });
        }
        let distance = |source: &Source| {
            (source.centre_px[0] - place_px[0]).hypot(source.centre_px[1] - place_px[1])
        };
        let nearest = |a: &'_ &Source, b: &'_ &Source| distance(a).total_cmp(&distance(b));
        Ok(self
            .sources
            .iter()
            .min_by(nearest)
            .unwrap_or(self.brightest()))
    }
}

/// Whether a good part of a small frame lies below its background: then a star was taken for it.
fn much_below(light: &Array2<f64>, background: &Background, settings: &SearchSettings) -> bool {
    let (rows, columns) = light.dim();
    if rows.min(columns) >= settings.below_sky_up_to_px {
        return false;
    }
    let sums = BoxSums::new(light);
    let below = light.indexed_iter().filter(|((row, column), _)| {
        let (sum, count) = sums.around([*row, *column], 2);
        sum < -settings.below_sky_sigma * background.sigma * (count as f64).sqrt()
    });
    below.count() as f64 > settings.below_sky_share * light.len() as f64
}

/// Pixels that stand out at any size of square; and how far the best one does, with its place.
fn standing_out(
    light: &Array2<f64>,
    sigma: f64,
    settings: &SearchSettings,
) -> (Array2<bool>, (f64, [f64; 2])) {
    let mut found = Array2::from_elem(light.dim(), false);
    let mut best = (f64::MIN, [0.0; 2]);
    for half_px in settings.squares_half_px {
        let rest = ndarray::Zip::from(light)
            .and(&found)
            .map_collect(|value, is| if *is { 0.0 } else { *value });
        let sums = BoxSums::new(&rest);
        let counts = BoxSums::new(&found.mapv(|is| f64::from(u8::from(!is))));
        let full = (2 * half_px + 1).pow(2) as f64;
        let mut above = Array2::from_shape_fn(light.dim(), |(row, column)| {
            let count = counts.around([row, column], half_px).0.round();
            if found[[row, column]] || count < settings.square_share_at_least * full {
                return f64::NAN;
            }
            sums.around([row, column], half_px).0 / (sigma * count.sqrt())
        });
        normalise(&mut above, settings.not_sky_sigma);
        for ((row, column), value) in above.indexed_iter() {
            // a single pixel is judged with its neighbours
            if half_px > 0 && *value > best.0 {
                best = (*value, [column as f64, row as f64]);
            }
            if *value > settings.limit_sigma {
                found[[row, column]] = true;
            }
        }
    }
    (found, best)
}

/// Takes the middle of the sky's squares off, and divides by their spread where that is larger than the noise of single pixels promises:
/// neighbouring pixels may be alike.
fn normalise(above: &mut Array2<f64>, not_sky_sigma: f64) {
    // a star may fill most of a small frame: what is plainly star says nothing about the sky's middle
    let is_sky = |v: &f64| v.is_finite() && *v < not_sky_sigma;
    let mut known: Vec<f64> = above.iter().copied().filter(is_sky).collect();
    if known.is_empty() {
        return;
    }
    let middle = median(&mut known);
    let mut below: Vec<f64> = known
        .iter()
        .filter(|v| **v < middle)
        .map(|v| middle - v)
        .collect();
    let spread = sigma_of(&mut below).max(1.0);
    above.mapv_inplace(|v| (v - middle) / spread);
}

fn sources(
    light: &Array2<f64>,
    found: &Array2<bool>,
    background: &Background,
    search: &Search,
) -> Vec<Source> {
    let own_settings = &search.settings.search;
    let half_join_px = (0.5 * search.join_px).ceil() as usize;
    let regions = Regions::of(&grown(found, half_join_px));
    let measured = with_holes(&grown(found, own_settings.margin_px));
    let mut full = Array2::from_elem(light.dim(), false);
    for [column, row] in &background.defects.full_px {
        full[[*row, *column]] = true;
    }
    let mut sources: Vec<Source> = regions
        .pixels
        .iter()
        .zip(&regions.holes_px)
        .filter_map(|(pixels, holes_px)| {
            let own: Vec<[usize; 2]> = pixels.iter().copied().filter(|at| found[*at]).collect();
            let all: Vec<[usize; 2]> = pixels.iter().copied().filter(|at| measured[*at]).collect();
            let source = source(light, &own, &all, background.sigma, &full)?;
            let enough = own.len() >= own_settings.px_at_least
                && source.flux > own_settings.limit_sigma * source.flux_sigma;
            enough.then(|| Source {
                overlaps: !search.behind_mask
                    && !source.touches_edge
                    && looks_double(light, &all, holes_px, own_settings),
                ..source
            })
        })
        .collect();
    sources.sort_by(|a, b| b.flux.total_cmp(&a.flux));
    sources
}

/// One source from the pixels that stand out (`own`) and those it is measured on.
fn source(
    light: &Array2<f64>,
    own: &[[usize; 2]],
    all: &[[usize; 2]],
    sigma: f64,
    full: &Array2<bool>,
) -> Option<Source> {
    let [low, high] = corners(own)?;
    let flux: f64 = all.iter().map(|at| light[*at]).sum();
    if flux <= 0.0 {
        return None;
    }
    let mean = |axis: usize| {
        let sum: f64 = all.iter().map(|at| light[*at] * at[axis] as f64).sum();
        (sum / flux).clamp(low[axis] as f64, high[axis] as f64)
    };
    let centre_px = [mean(1), mean(0)];
    let (rows, columns) = light.dim();
    let peak = own.iter().map(|at| light[*at]).fold(f64::MIN, f64::max);
    Some(Source {
        centre_px,
        flux,
        flux_sigma: sigma * (all.len() as f64).sqrt(),
        half_flux_radius_px: half_flux_radius(light, all, centre_px, flux),
        box_px: [[low[1], low[0]], [high[1], high[0]]],
        peak,
        saturated_px: own.iter().filter(|at| full[**at]).count(),
        touches_edge: low[0] == 0 || low[1] == 0 || high[0] + 1 == rows || high[1] + 1 == columns,
        overlaps: false,
    })
}

/// Sources of up to this many pixels have each pixel's light spread over 5 × 5 places of its square, so that radii of a pixel or
/// two come out; it only costs time in larger ones.
const SPREAD_FINELY_UP_TO_PX: usize = 800;
/// Sources of up to this many pixels have it spread over 2 × 2 places; in larger ones it stands in the pixel's middle.
const SPREAD_UP_TO_PX: usize = 8000;

/// Radius of the circle that holds half of the light; small sources have their pixels spread over their squares.
fn half_flux_radius(
    light: &Array2<f64>,
    pixels: &[[usize; 2]],
    centre_px: [f64; 2],
    flux: f64,
) -> f64 {
    let parts = if pixels.len() <= SPREAD_FINELY_UP_TO_PX {
        5
    } else if pixels.len() <= SPREAD_UP_TO_PX {
        2
    } else {
        1
    };
    let lit = pixels.iter().map(|at| {
        let [y, x] = [at[0] as f64 - centre_px[1], at[1] as f64 - centre_px[0]];
        ([x, y], light[*at] / (parts * parts) as f64)
    });
    half_way(spread(lit, parts), flux).unwrap_or(0.0)
}

/// Distance from the origin and light of the parts of pixels, `parts` a side; every part gets the light that stands with its pixel.
pub(super) fn spread(
    pixels: impl Iterator<Item = ([f64; 2], f64)>,
    parts: usize,
) -> Vec<(f64, f64)> {
    let step = |k: usize| (k as f64 + 0.5) / parts as f64 - 0.5;
    let mut rays = Vec::with_capacity(pixels.size_hint().0 * parts * parts);
    for ([x, y], light) in pixels {
        for j in 0..parts {
            rays.extend((0..parts).map(|i| ((x + step(i)).hypot(y + step(j)), light)));
        }
    }
    rays
}

/// Whether a source is longer than one star would be, has two dark middles, or two peaks.
fn looks_double(
    light: &Array2<f64>,
    pixels: &[[usize; 2]],
    holes_px: &[usize],
    settings: &SearchSettings,
) -> bool {
    let small = pixels.len() <= settings.large_from_px;
    let limit = if small {
        settings.long_small_factor
    } else {
        settings.long_large_factor
    };
    let share = |hole_px: &&usize| **hole_px as f64 / pixels.len() as f64;
    let dark_middles = holes_px
        .iter()
        .filter(|hole_px| share(hole_px) > settings.dark_middle_share)
        .count();
    long_over_wide(pixels) > limit
        || dark_middles > 1
        || (small && has_two_peaks(light, pixels, settings))
}

/// Ratio of the standard deviations of a footprint along and across.
fn long_over_wide(pixels: &[[usize; 2]]) -> f64 {
    let count = pixels.len() as f64;
    let mean = |f: &dyn Fn(f64, f64) -> f64| {
        pixels
            .iter()
            .map(|at| f(at[1] as f64, at[0] as f64))
            .sum::<f64>()
            / count
    };
    let [cx, cy] = [mean(&|x, _| x), mean(&|_, y| y)];
    let xx = mean(&|x, _| (x - cx).powi(2)) + 1.0 / 12.0;
    let yy = mean(&|_, y| (y - cy).powi(2)) + 1.0 / 12.0;
    let xy = mean(&|x, y| (x - cx) * (y - cy));
    let half_gap = (0.5 * (xx - yy)).hypot(xy);
    let middle = 0.5 * (xx + yy);
    ((middle + half_gap) / (middle - half_gap).max(f64::MIN_POSITIVE)).sqrt()
}

/// Two maxima of the smoothed light with a dip between them, and no ring through both.
fn has_two_peaks(light: &Array2<f64>, pixels: &[[usize; 2]], settings: &SearchSettings) -> bool {
    let (rows, columns) = light.dim();
    let smooth = |row: i64, column: i64| -> f64 {
        let values = (-1..=1).flat_map(|j| (-1..=1).map(move |i| (row + j, column + i)));
        values
            .filter(|(y, x)| (0..rows as i64).contains(y) && (0..columns as i64).contains(x))
            .map(|(y, x)| light[[y as usize, x as usize]])
            .sum()
    };
    let near = |place: [f64; 2]| smooth(place[0].round() as i64, place[1].round() as i64);
    let lit: Vec<([f64; 2], f64)> = pixels
        .iter()
        .map(|at| (at.map(|p| p as f64), smooth(at[0] as i64, at[1] as i64)))
        .collect();
    let Some((first, highest)) = lit.iter().max_by(|a, b| a.1.total_cmp(&b.1)) else {
        return false;
    };
    lit.iter()
        .filter(|(_, value)| *value > settings.second_peak_share * highest)
        .any(|(second, value)| {
            let along = [second[0] - first[0], second[1] - first[1]];
            let middle = [0, 1].map(|axis| 0.5 * (first[axis] + second[axis]));
            let aside = [1.0, -1.0].map(|side| {
                near([
                    middle[0] + side * 0.5 * along[1],
                    middle[1] - side * 0.5 * along[0],
                ])
            });
            let dip = near(middle) < settings.dip_share * value;
            let ring = aside.iter().all(|lit| *lit > settings.ring_share * value);
            along[0].hypot(along[1]) >= settings.peaks_apart_px && dip && !ring
        })
}

/// Pixels that stand out less those that are faint beside the brightest part, taken in squares of 3 × 3.
fn without_wings(
    light: &Array2<f64>,
    found: &Array2<bool>,
    settings: &SearchSettings,
) -> Array2<bool> {
    let sums = BoxSums::new(light);
    let mean = |(row, column): (usize, usize)| {
        let (sum, count) = sums.around([row, column], 1);
        sum / count as f64
    };
    let means = Array2::from_shape_fn(light.dim(), mean);
    let mut sorted = means.iter().copied().collect::<Vec<f64>>();
    let place = (settings.bright_percentile * (sorted.len() - 1) as f64) as usize;
    let bright = *sorted.select_nth_unstable_by(place, f64::total_cmp).1;
    let mut bodies = found.clone();
    ndarray::Zip::from(&mut bodies)
        .and(&means)
        .for_each(|body, mean| *body &= *mean > settings.wing_share * bright);
    bodies
}

fn fills_frame(source: &Source, [width_px, height_px]: [usize; 2], filled_share: f64) -> bool {
    let [low, high] = source.box_px;
    let across = low[0] == 0 && high[0] + 1 == width_px;
    let along = low[1] == 0 && high[1] + 1 == height_px;
    let area = (high[0] - low[0] + 1) * (high[1] - low[1] + 1);
    (across || along) && area as f64 > filled_share * (width_px * height_px) as f64
}

#[cfg(test)]
mod tests;
