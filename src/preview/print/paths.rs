//! The nozzle's ways over an outline: loops along its borders, and solid lines to and fro inside it.

use super::motion::Way;
use crate::geometry::outline::{Outline, place_m};
use std::f64::consts::FRAC_1_SQRT_2;

/// One loop along each border.
pub(super) fn loops(outline: &Outline, speed: f64) -> Vec<Way> {
    outline
        .contours()
        .filter_map(|contour| {
            let mut points: Vec<[f64; 2]> = contour.iter().map(place_m).collect();
            let first = *points.first()?;
            points.push(first);
            (points.len() > 3).then_some(Way { points, speed })
        })
        .collect()
}

/// A stretch of one line inside the outline, and whether the next line went on from it.
struct Run {
    from: f64,
    to: f64,
    way: usize,
    followed: bool,
}

/// Lines at 45 degrees (turned by a right angle more), each stretch joined to one beside it on the line before, to and fro.
pub(super) fn hatch(outline: &Outline, turned: usize, apart_m: f64, speed: f64) -> Vec<Way> {
    let (cos, sin) = (
        FRAC_1_SQRT_2,
        if turned == 0 {
            FRAC_1_SQRT_2
        } else {
            -FRAC_1_SQRT_2
        },
    );
    let borders: Vec<Vec<[f64; 2]>> = outline
        .contours()
        .map(|contour| {
            let turn = |[x, y]: [f64; 2]| [cos * x + sin * y, cos * y - sin * x];
            contour.iter().map(place_m).map(turn).collect()
        })
        .collect();
    let mut crossings = crossings_by_line(&borders, apart_m);
    let mut ways: Vec<Way> = Vec::new();
    let mut before: Vec<Run> = Vec::new();
    let mut last_line = i64::MIN;
    for (line, places) in &mut crossings {
        if *line != last_line + 1 {
            before.clear();
        }
        last_line = *line;
        places.sort_by(f64::total_cmp);
        let y = *line as f64 * apart_m;
        let mut now = Vec::new();
        for pair in places.chunks_exact(2) {
            // a line ends half its width before the border
            let (from, to) = (pair[0] + 0.5 * apart_m, pair[1] - 0.5 * apart_m);
            if to <= from {
                continue;
            }
            let beside = before
                .iter_mut()
                .find(|run| !run.followed && run.from < to + apart_m && from < run.to + apart_m);
            let way = match beside {
                Some(run) => {
                    run.followed = true;
                    run.way
                }
                None => {
                    ways.push(Way {
                        points: Vec::new(),
                        speed,
                    });
                    ways.len() - 1
                }
            };
            let points = &mut ways[way].points;
            let near_end = points
                .last()
                .is_none_or(|last| (last[0] - from).abs() <= (last[0] - to).abs());
            let ends = if near_end { [from, to] } else { [to, from] };
            points.extend(ends.map(|x| [x, y]));
            now.push(Run {
                from,
                to,
                way,
                followed: false,
            });
        }
        before = now;
    }
    for point in ways.iter_mut().flat_map(|way| &mut way.points) {
        let [x, y] = *point;
        *point = [cos * x - sin * y, cos * y + sin * x];
    }
    ways
}

/// Where borders cross the lines y = n · apart, by n.
fn crossings_by_line(
    borders: &[Vec<[f64; 2]>],
    apart_m: f64,
) -> std::collections::BTreeMap<i64, Vec<f64>> {
    let mut found = std::collections::BTreeMap::new();
    for border in borders {
        for (a, b) in border.iter().zip(border.iter().cycle().skip(1)) {
            let (low, high) = (a[1].min(b[1]), a[1].max(b[1]));
            let first = (low / apart_m).floor() as i64 + 1;
            for line in first..=(high / apart_m).floor() as i64 {
                let y = line as f64 * apart_m;
                let x = a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]);
                found.entry(line).or_insert_with(Vec::new).push(x);
            }
        }
    }
    found
}
