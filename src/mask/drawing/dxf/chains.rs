//! Ways that meet end to end, put together to closed outlines.

use super::super::DrawingError;
use super::Loop;
use std::collections::{HashMap, HashSet};

/// The way of one entity.
#[derive(Debug, Clone)]
pub(super) struct Stroke {
    pub line: u32,
    pub kind: String,
    pub points: Vec<[f64; 2]>,
    pub closed: bool,
}

/// What was drawn twice.
type Twice = Vec<(u32, String, &'static str, Vec<[f64; 2]>)>;

const MEND: &str = "close the outline: its lines have to meet end to end, within 0.02 mm";

/// The closed outlines, and what was drawn twice and is left out once.
pub(super) fn close(strokes: Vec<Stroke>, near: f64) -> Result<(Vec<Loop>, Twice), DrawingError> {
    let mut seen: HashSet<Vec<[i64; 2]>> = HashSet::new();
    let mut twice = Vec::new();
    let mut open = Vec::new();
    let mut loops = Vec::new();
    for mut stroke in strokes {
        if !seen.insert(fingerprint(&stroke, near)) {
            twice.push((stroke.line, stroke.kind, "drawn twice", stroke.points));
            continue;
        }
        let (first, last) = (stroke.points[0], stroke.points[stroke.points.len() - 1]);
        if !stroke.closed && stroke.points.len() > 3 && apart(first, last) <= near {
            stroke.points.pop();
            stroke.closed = true;
        }
        if stroke.closed {
            loops.push(Loop {
                line: stroke.line,
                points: stroke.points,
            });
        } else if stroke
            .points
            .windows(2)
            .map(|w| apart(w[0], w[1]))
            .sum::<f64>()
            > near
        {
            open.push(stroke);
        } else {
            twice.push((
                stroke.line,
                stroke.kind,
                "shorter than 0.02 mm",
                stroke.points,
            ));
        }
    }
    chain(open, near, &mut loops)?;
    loops.sort_by_key(|found| found.line);
    Ok((loops, twice))
}

/// The same for a way and for the way back, and wherever a closed one begins.
fn fingerprint(stroke: &Stroke, near: f64) -> Vec<[i64; 2]> {
    let mut places: Vec<[i64; 2]> = stroke
        .points
        .iter()
        .map(|p| p.map(|v| (v / (0.5 * near)).round() as i64))
        .collect();
    if stroke.closed {
        places.sort_unstable();
    } else if places.first() > places.last() {
        places.reverse();
    }
    places
}

/// Follows open ways from end to end until each comes back to its beginning.
fn chain(open: Vec<Stroke>, near: f64, loops: &mut Vec<Loop>) -> Result<(), DrawingError> {
    let cell = |p: [f64; 2]| p.map(|v| (v / near).floor() as i64);
    let end = |stroke: usize, last: bool| {
        let points = &open[stroke].points;
        if last {
            points[points.len() - 1]
        } else {
            points[0]
        }
    };
    let mut ends: HashMap<[i64; 2], Vec<(usize, bool)>> = HashMap::new();
    for stroke in 0..open.len() {
        for last in [false, true] {
            ends.entry(cell(end(stroke, last)))
                .or_default()
                .push((stroke, last));
        }
    }
    let around = |place: [f64; 2]| {
        let [x, y] = cell(place);
        let cells = (-1..=1).flat_map(move |i| (-1..=1).map(move |j| [x + i, y + j]));
        let found = cells.filter_map(|key| ends.get(&key)).flatten();
        found
            .copied()
            .filter(|(stroke, last)| apart(end(*stroke, *last), place) <= near)
            .collect::<Vec<_>>()
    };
    let mut used = vec![false; open.len()];
    for start in 0..open.len() {
        if used[start] {
            continue;
        }
        let mut points = Vec::new();
        let (mut stroke, mut forward) = (start, true);
        loop {
            used[stroke] = true;
            let own = &open[stroke].points;
            let kept = own.len() - 1;
            if forward {
                points.extend(&own[..kept]);
            } else {
                points.extend(own[1..].iter().rev());
            }
            let place = end(stroke, forward);
            let others: Vec<(usize, bool)> = around(place)
                .into_iter()
                .filter(|found| *found != (stroke, forward))
                .collect();
            let shown = format!("({:.3}, {:.3})", place[0], place[1]);
            let line = open[stroke].line;
            match others[..] {
                [] => {
                    return Err(DrawingError::Dxf {
                        line,
                        what: format!(
                            "{} ends at {shown}, where no other begins",
                            open[stroke].kind
                        ),
                        hint: MEND,
                    });
                }
                [(next, _)] if used[next] && next == start => break,
                [(next, last)] if !used[next] => (stroke, forward) = (next, !last),
                _ => {
                    return Err(DrawingError::Dxf {
                        line,
                        what: format!("{} meets more than one other at {shown}", open[stroke].kind),
                        hint: "take branches and doubled lines out, so that every end meets one other",
                    });
                }
            }
        }
        loops.push(Loop {
            line: open[start].line,
            points,
        });
    }
    Ok(())
}

fn apart(a: [f64; 2], b: [f64; 2]) -> f64 {
    (b[0] - a[0]).hypot(b[1] - a[1])
}
