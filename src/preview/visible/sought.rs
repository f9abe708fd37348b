//! Spikes that are looked for in the star itself: of a drawing, whose openings say nothing about regions.
//!
//! A spike is a line through the star along which light lies far out on both sides. The picture's light is added up along lines at every
//! half degree, between five widths of the core and the edge of the frame; a direction that rises over its surroundings by half is a
//! spike. It reaches where the light along it is at least half of its largest.

use super::lines::SpikeLine;
use ndarray::Array2;
use std::f64::consts::{FRAC_PI_2, PI};

const DIRECTIONS: usize = 360;
/// A direction counts that is brighter than the lowest within ten degrees on both sides by this much.
const RISE: f64 = 1.5;
const BESIDE: usize = 20;

/// The spikes of a picture, by their directions.
pub(super) fn lines_of(light: &Array2<f64>, star_px: [f64; 2]) -> Vec<SpikeLine> {
    let (rows, columns) = light.dim();
    let edge_px = 0.5 * (rows.min(columns) as f64 - 1.0) - 1.0;
    let core_px = core_width_px(light, star_px);
    let inner_px = 5.0 * core_px;
    if inner_px + 4.0 > edge_px {
        return Vec::new();
    }
    let strength: Vec<f64> = (0..DIRECTIONS)
        .map(|n| {
            along(light, star_px, direction(n), [inner_px, edge_px])
                .iter()
                .sum()
        })
        .collect();
    let around = |n: usize, step: i64| {
        let at = |k: i64| strength[(n as i64 + step * k).rem_euclid(DIRECTIONS as i64) as usize];
        (1..=BESIDE as i64).map(at).fold(f64::INFINITY, f64::min)
    };
    let next =
        |n: usize, step: i64| strength[(n as i64 + step).rem_euclid(DIRECTIONS as i64) as usize];
    let strongest = strength.iter().copied().fold(0.0, f64::max);
    (0..DIRECTIONS)
        .filter(|n| {
            let own = strength[*n];
            let crest = (1..=4).all(|k| own >= next(*n, k) && own > next(*n, -k));
            crest && own > RISE * around(*n, 1).max(around(*n, -1)) && own > 0.05 * strongest
        })
        .enumerate()
        .map(|(number, n)| line(light, star_px, n, [inner_px, edge_px], core_px, number))
        .collect()
}

fn direction(n: usize) -> [f64; 2] {
    let angle = n as f64 * PI / DIRECTIONS as f64;
    [libm::cos(angle), libm::sin(angle)]
}

fn line(
    light: &Array2<f64>,
    star_px: [f64; 2],
    n: usize,
    reach: [f64; 2],
    core_px: f64,
    number: usize,
) -> SpikeLine {
    let d = direction(n);
    let run = along(light, star_px, d, reach);
    let most = run.iter().copied().fold(0.0, f64::max);
    let lit: Vec<usize> = (0..run.len()).filter(|k| run[*k] >= 0.5 * most).collect();
    let at = |k: Option<&usize>| reach[0] + k.map_or(0.0, |k| *k as f64 * 0.5);
    let angle = n as f64 * PI / DIRECTIONS as f64 - FRAC_PI_2;
    SpikeLine {
        regions: vec![number],
        along: d,
        across: [libm::cos(angle), libm::sin(angle)],
        reach_px: [at(lit.first()), at(lit.last())],
        width_px: core_px,
    }
}

/// Light at every half pixel along a direction, both sides together.
fn along(light: &Array2<f64>, star_px: [f64; 2], d: [f64; 2], reach: [f64; 2]) -> Vec<f64> {
    let count = ((reach[1] - reach[0]) / 0.5).floor() as usize;
    (0..count)
        .map(|k| {
            let r = reach[0] + 0.5 * k as f64;
            [r, -r]
                .iter()
                .map(|r| between(light, [star_px[0] + r * d[0], star_px[1] + r * d[1]]))
                .sum()
        })
        .collect()
}

/// Straight between four pixels; 0 outside.
fn between(light: &Array2<f64>, place_px: [f64; 2]) -> f64 {
    let [x, y] = place_px;
    let (column, row) = (x.floor(), y.floor());
    let (fx, fy) = (x - column, y - row);
    let pixel = |dr: f64, dc: f64| {
        let (r, c) = (row + dr, column + dc);
        let inside = r >= 0.0 && c >= 0.0;
        inside
            .then(|| light.get([r as usize, c as usize]).copied())
            .flatten()
            .unwrap_or(0.0)
    };
    (1.0 - fy) * ((1.0 - fx) * pixel(0.0, 0.0) + fx * pixel(0.0, 1.0))
        + fy * ((1.0 - fx) * pixel(1.0, 0.0) + fx * pixel(1.0, 1.0))
}

/// Diameter within which the mean brightness is above half of the brightest pixel.
fn core_width_px(light: &Array2<f64>, star_px: [f64; 2]) -> f64 {
    let most = light.iter().copied().fold(0.0, f64::max);
    let near = light.indexed_iter().filter(|((row, column), value)| {
        let from = (*column as f64 - star_px[0]).hypot(*row as f64 - star_px[1]);
        from < 12.0 && **value > 0.5 * most
    });
    2.0 * (near.count() as f64 / PI).sqrt().max(0.6)
}
