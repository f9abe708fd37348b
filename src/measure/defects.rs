//! Pixels that are not to be trusted: hot, dead, or full.
//!
//! A hot pixel stands alone: its neighbours, taken together, hold nothing above *their* neighbours. A focused star, even one
//! narrower than a pixel, lights its neighbours too, and is left alone. Two hot pixels side by side are not recognised.

use super::background::Background;
use super::settings::DefectSettings;
use crate::math::robust::{median, sigma_of};
use ndarray::Array2;
use std::collections::HashSet;

/// Pixels that are not to be trusted, as `[column, row]`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Defects {
    /// Far above all around, alone.
    pub hot_px: Vec<[usize; 2]>,
    /// Far below all around, alone.
    pub dead_px: Vec<[usize; 2]>,
    /// At the ceiling, or within [`DefectSettings::nearly_full_share`] of it.
    pub full_px: Vec<[usize; 2]>,
    /// The value at which pixels are full: as given, or where values pile up at the top; `None` if neither.
    pub ceiling: Option<f64>,
}

/// Finds them.
pub(super) fn find(
    values: &Array2<f64>,
    background: &Background,
    ceiling: Option<f64>,
    settings: &DefectSettings,
) -> Defects {
    let seen = piled_up(values, background, settings)
        .or_else(|| piled_up_with_noise(values, background, settings));
    let nearly = |ceiling: f64| ceiling - settings.nearly_full_share * (ceiling - background.level);
    // a well may be full below what was told
    let ceiling = match (ceiling, seen) {
        (Some(told), Some(seen)) if seen < nearly(told) => Some(seen),
        (told, seen) => told.or(seen),
    };
    let mut defects = Defects {
        ceiling,
        ..Defects::default()
    };
    let full = ceiling.map(nearly);
    for ((row, column), value) in values.indexed_iter() {
        if full.is_some_and(|full| *value >= full) {
            defects.full_px.push([column, row]);
        }
        match alone(values, [row, column], background.sigma, settings) {
            Some(above) if above > 0.0 => defects.hot_px.push([column, row]),
            Some(_) => defects.dead_px.push([column, row]),
            None => {}
        }
    }
    defects
}

/// Gives hot and dead pixels the median of their good neighbours.
pub(super) fn patch(light: &mut Array2<f64>, defects: &Defects) {
    let bad: Vec<[usize; 2]> = [&defects.hot_px[..], &defects.dead_px[..]].concat();
    // a picture of few grey levels may have a million of them
    let looked_up: HashSet<[usize; 2]> = bad.iter().copied().collect();
    let patches: Vec<f64> = bad
        .iter()
        .map(|[column, row]| {
            let mut good: Vec<f64> = ring(light, [*row, *column], 1)
                .filter(|(at, _)| !looked_up.contains(&[at[1], at[0]]))
                .map(|(_, value)| value)
                .collect();
            median(&mut good)
        })
        .collect();
    for ([column, row], value) in bad.iter().zip(patches) {
        light[[*row, *column]] = value;
    }
}

/// How far a pixel stands from its surroundings, if it does so alone.
fn alone(
    values: &Array2<f64>,
    at: [usize; 2],
    sigma: f64,
    settings: &DefectSettings,
) -> Option<f64> {
    let value = values[at];
    let (lowest, highest) = ring(values, at, 1)
        .fold((f64::MAX, f64::MIN), |(low, high), (_, v)| {
            (low.min(v), high.max(v))
        });
    // most pixels are among their neighbours and need no closer look
    let clearly = settings.alone_sigma * 0.5 * sigma;
    if value <= highest + clearly && value >= lowest - clearly {
        return None;
    }
    let mut outer: Vec<f64> = ring(values, at, 2).map(|(_, v)| v).collect();
    let around = median(&mut outer);
    let mut apart: Vec<f64> = ring(values, at, 1)
        .chain(ring(values, at, 2))
        .map(|(_, v)| (v - around).abs())
        .collect();
    let spread = sigma_of(&mut apart).max(sigma);
    let above = value - around;
    let (neighbours, count) = ring(values, at, 1).fold((0.0, 0.0f64), |(sum, n), (_, v)| {
        (sum + v - around, n + 1.0)
    });
    let limit = (settings.neighbours_sigma * spread * count.sqrt())
        .max(settings.neighbours_share * above.abs());
    (above.abs() > settings.alone_sigma * spread && neighbours.abs() < limit).then_some(above)
}

/// Pixels on the square ring at a distance, as far as the frame reaches: `[row, column]` and value.
fn ring(
    values: &Array2<f64>,
    [row, column]: [usize; 2],
    distance: usize,
) -> impl Iterator<Item = ([usize; 2], f64)> {
    let reach = distance as i64;
    let (rows, columns) = (values.nrows() as i64, values.ncols() as i64);
    (-reach..=reach)
        .flat_map(move |j| (-reach..=reach).map(move |i| [j, i]))
        .filter(move |[j, i]| j.abs().max(i.abs()) == reach)
        .map(move |[j, i]| [row as i64 + j, column as i64 + i])
        .filter(move |[y, x]| (0..rows).contains(y) && (0..columns).contains(x))
        .map(|[y, x]| {
            let at = [y as usize, x as usize];
            (at, values[at])
        })
}

/// The highest value, if many pixels share it and few lie just below: a converter or well that is full.
fn piled_up(
    values: &Array2<f64>,
    background: &Background,
    settings: &DefectSettings,
) -> Option<f64> {
    let highest = values.iter().copied().fold(f64::MIN, f64::max);
    let above = highest - background.level;
    let near = highest - (settings.below_ceiling_share * above).max(settings.below_ceiling_adu);
    let at_top = values.iter().filter(|v| **v == highest).count();
    let below = values
        .iter()
        .filter(|v| **v >= near && **v < highest)
        .count();
    let stands_out = above > settings.alone_sigma * background.sigma;
    let piled = at_top >= settings.ceiling_px_at_least && at_top > settings.ceiling_factor * below;
    (stands_out && piled).then_some(highest)
}

/// The middle of the highest values, if many pixels lie there within the noise of readout and few just below: a well that is full, with the
/// noise of readout on top. It is looked for only where the noise of photons would be wider by far: σ² of the background is more than that
/// of readout, and counts are taken for no more than four electrons.
fn piled_up_with_noise(
    values: &Array2<f64>,
    background: &Background,
    settings: &DefectSettings,
) -> Option<f64> {
    let most = values.iter().copied().fold(f64::MIN, f64::max);
    // what lies lower is no ceiling, and a large frame has millions of it
    let lowest = background.level + settings.ceiling_above_share * (most - background.level);
    let mut highest: Vec<f64> = values.iter().copied().filter(|v| *v > lowest).collect();
    highest.sort_by(|a, b| b.total_cmp(a));
    let band = settings.ceiling_band_sigma * background.sigma;
    // single hot pixels may stand above
    let top = highest.iter().copied().find(|top| {
        let within = highest.iter().filter(|v| **v <= *top && **v > *top - band);
        within.take(settings.ceiling_px_at_least).count() == settings.ceiling_px_at_least
    })?;
    let above = top - background.level;
    let count = |from: f64, to: f64| highest.iter().filter(|v| **v > from && **v <= to).count();
    let (at_top, below) = (count(top - band, top), count(top - 3.0 * band, top - band));
    let photons_are_wider = above > settings.ceiling_photons_factor * background.sigma.powi(2);
    let piled = at_top >= settings.ceiling_px_at_least && at_top > settings.ceiling_factor * below;
    (photons_are_wider && piled).then_some(top - 0.5 * band)
}
