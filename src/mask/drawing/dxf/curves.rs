//! The way that one entity takes, as chords, in drawing units.

use super::super::{DrawingError, limited};
use super::at;
use super::pairs::{Entity, Pair};
use std::f64::consts::{PI, TAU};

/// A way and whether it is closed.
type Drawn = (Vec<[f64; 2]>, bool);
/// Most chords of one curve.
const CHORDS_AT_MOST: f64 = 20_000.0;

/// The way of an entity in at most so many corners and one curve more; `None` for one that has no way that could be read.
pub(super) fn way(
    entity: &Entity<'_>,
    sag: f64,
    room: usize,
) -> Result<Option<Drawn>, DrawingError> {
    let turned = turned_over(entity)?;
    let drawn = match entity.kind {
        "LINE" => line(entity)?,
        "CIRCLE" => seen(arc(entity, [0.0, TAU], sag)?, turned, true),
        "ARC" => {
            let [from, to] = [entity.needed(50)?, entity.needed(51)?].map(f64::to_radians);
            let angle = positive(to - from);
            let full = is_full(angle);
            seen(arc(entity, [from, from + angle], sag)?, turned, full)
        }
        "ELLIPSE" => ellipse(entity, turned, sag)?,
        "LWPOLYLINE" => light_polyline(entity, turned, sag, room)?,
        "POLYLINE" => polyline(entity, turned, sag, room)?,
        "SPLINE" => spline(entity, sag, room)?,
        _ => return Ok(None),
    };
    if drawn.0.len() < 2 {
        let hint = "take it out, or draw it again";
        return Err(at(entity, format!("{} has no length", entity.kind), hint));
    }
    Ok(Some(drawn))
}

/// Whether the entity is seen from below (its normal is −z), which turns x over; any other normal is refused.
fn turned_over(entity: &Entity<'_>) -> Result<bool, DrawingError> {
    let mut normal = [0.0, 0.0, 1.0];
    for (place, code) in normal.iter_mut().zip([210, 220, 230]) {
        *place = entity.number(code)?.unwrap_or(*place);
    }
    let flat =
        normal[0].abs() < 1e-6 && normal[1].abs() < 1e-6 && (normal[2].abs() - 1.0).abs() < 1e-6;
    if !flat {
        let hint = "flatten the drawing into the plane before it is exported";
        return Err(at(
            entity,
            format!("{} lies in another plane", entity.kind),
            hint,
        ));
    }
    Ok(normal[2] < 0.0)
}

fn seen(mut points: Vec<[f64; 2]>, turned: bool, closed: bool) -> Drawn {
    if turned {
        for p in &mut points {
            p[0] = -p[0];
        }
    }
    (points, closed)
}

fn line(entity: &Entity<'_>) -> Result<Drawn, DrawingError> {
    let from = [entity.needed(10)?, entity.needed(20)?];
    let to = [entity.needed(11)?, entity.needed(21)?];
    let height = |code| Ok::<f64, DrawingError>(entity.number(code)?.unwrap_or(0.0));
    if (height(30)? - height(31)?).abs() > 1e-6 {
        let hint = "flatten the drawing into the plane before it is exported";
        return Err(at(entity, "LINE leaves the plane", hint));
    }
    Ok((vec![from, to], false))
}

/// Chords of an arc of a circle or an ellipse's parameter.
fn steps(angle: f64, radius: f64, sag: f64) -> usize {
    let step = 2.0 * libm::acos((1.0 - sag / radius.max(sag)).max(0.0));
    let count = (angle.abs() / step.max(1e-9)).ceil();
    count.clamp(if angle.abs() > PI { 16.0 } else { 2.0 }, CHORDS_AT_MOST) as usize
}

fn arc(entity: &Entity<'_>, [from, to]: [f64; 2], sag: f64) -> Result<Vec<[f64; 2]>, DrawingError> {
    let centre = [entity.needed(10)?, entity.needed(20)?];
    let radius = entity.needed(40)?;
    if radius <= 0.0 {
        let hint = "give it a radius above 0, or take it out";
        return Err(at(
            entity,
            format!("{} has a radius of {radius}", entity.kind),
            hint,
        ));
    }
    let full = is_full(to - from);
    let count = steps(to - from, radius, sag);
    let last = if full { count - 1 } else { count };
    Ok((0..=last)
        .map(|k| {
            let angle = from + (to - from) * k as f64 / count as f64;
            [
                centre[0] + radius * libm::cos(angle),
                centre[1] + radius * libm::sin(angle),
            ]
        })
        .collect())
}

fn ellipse(entity: &Entity<'_>, turned: bool, sag: f64) -> Result<Drawn, DrawingError> {
    let centre = [entity.needed(10)?, entity.needed(20)?];
    let major = [entity.needed(11)?, entity.needed(21)?];
    let ratio = entity.needed(40)?;
    let length = major[0].hypot(major[1]);
    if length <= 0.0 || ratio <= 0.0 {
        let hint = "give it two axes above 0, or take it out";
        return Err(at(entity, "ELLIPSE has an axis of 0", hint));
    }
    let from = entity.number(41)?.unwrap_or(0.0);
    let to = entity.number(42)?.unwrap_or(TAU);
    let span = if is_full((to - from).abs()) {
        TAU
    } else {
        positive(to - from)
    };
    let full = is_full(span);
    let side = if turned { -1.0 } else { 1.0 };
    let minor = [-major[1] * ratio * side, major[0] * ratio * side];
    let count = steps(span, length.max(length * ratio), sag);
    let last = if full { count - 1 } else { count };
    let points = (0..=last)
        .map(|k| {
            let angle = from + span * k as f64 / count as f64;
            let (sin, cos) = (libm::sin(angle), libm::cos(angle));
            [0, 1].map(|i| centre[i] + major[i] * cos + minor[i] * sin)
        })
        .collect();
    Ok((points, full))
}

/// Whether an angle goes all round.
fn is_full(angle: f64) -> bool {
    angle >= TAU - 1e-9
}

fn positive(angle: f64) -> f64 {
    let turn = angle.rem_euclid(TAU);
    if turn < 1e-12 { TAU } else { turn }
}

fn light_polyline(
    entity: &Entity<'_>,
    turned: bool,
    sag: f64,
    room: usize,
) -> Result<Drawn, DrawingError> {
    no_width(entity, &entity.pairs)?;
    let mut corners: Vec<[f64; 3]> = Vec::new();
    for pair in &entity.pairs {
        match (pair.code, corners.last_mut()) {
            (10, _) => corners.push([pair.number()?, 0.0, 0.0]),
            (20, Some(corner)) => corner[1] = pair.number()?,
            (42, Some(corner)) => corner[2] = pair.number()?,
            _ => {}
        }
    }
    let closed = flags(entity)? & 1 == 1;
    bulged(entity, &corners, closed, turned, sag, room)
}

/// A line with a width has edges of its own beside it.
fn no_width(entity: &Entity<'_>, pairs: &[Pair<'_>]) -> Result<(), DrawingError> {
    for pair in pairs {
        if [40, 41, 43].contains(&pair.code) && pair.number()? > 0.0 {
            let hint = "set its width to 0, or draw both of its edges";
            let what = format!("{} has a width of {}", entity.kind, pair.value);
            return Err(at(entity, what, hint));
        }
    }
    Ok(())
}

fn polyline(
    entity: &Entity<'_>,
    turned: bool,
    sag: f64,
    room: usize,
) -> Result<Drawn, DrawingError> {
    let own = flags(entity)?;
    // one in space has its places in the drawing's own axes, whatever its normal
    let turned = turned && own & 8 == 0;
    no_width(entity, &entity.pairs)?;
    if own & (16 | 64) != 0 {
        let hint = "explode the mesh into plain outlines";
        return Err(at(entity, "POLYLINE is a mesh", hint));
    }
    let first = |pairs: &[Pair<'_>], code: i32| -> Result<Option<f64>, DrawingError> {
        pairs
            .iter()
            .find(|p| p.code == code)
            .map(Pair::number)
            .transpose()
    };
    let mut corners = Vec::new();
    let mut heights: Vec<f64> = Vec::new();
    for pairs in &entity.vertices {
        no_width(entity, pairs)?;
        // control points of a curve that was fitted stand beside the points of the curve
        let kind = first(pairs, 70)?.unwrap_or(0.0) as i64;
        let (Some(x), Some(y)) = (first(pairs, 10)?, first(pairs, 20)?) else {
            continue;
        };
        if kind & 16 == 0 {
            corners.push([x, y, first(pairs, 42)?.unwrap_or(0.0)]);
            heights.push(first(pairs, 30)?.unwrap_or(0.0));
        }
    }
    if heights.iter().any(|z| (z - heights[0]).abs() > 1e-6) {
        let hint = "flatten the drawing into the plane before it is exported";
        return Err(at(entity, "POLYLINE leaves the plane", hint));
    }
    bulged(entity, &corners, own & 1 == 1, turned, sag, room)
}

fn flags(entity: &Entity<'_>) -> Result<i64, DrawingError> {
    Ok(entity.number(70)?.unwrap_or(0.0) as i64)
}

/// Corners (x, y, bulge): the bulge is the tangent of a quarter of the arc's angle to the next corner, above 0 counter-clockwise.
fn bulged(
    entity: &Entity<'_>,
    corners: &[[f64; 3]],
    closed: bool,
    turned: bool,
    sag: f64,
    room: usize,
) -> Result<Drawn, DrawingError> {
    if corners.len() < 2 {
        let hint = "take it out, or draw it again";
        return Err(at(
            entity,
            format!("{} has {} corners", entity.kind, corners.len()),
            hint,
        ));
    }
    let mut points = Vec::new();
    let count = if closed {
        corners.len()
    } else {
        corners.len() - 1
    };
    for (k, [x, y, bulge]) in corners.iter().enumerate().take(count) {
        let [to_x, to_y, _] = corners[(k + 1) % corners.len()];
        points.push([*x, *y]);
        let chord = (to_x - x).hypot(to_y - y);
        // a bulge of a rounding error has its centre so far away that sines of its angle are lost
        if 0.5 * chord * bulge.abs() < sag {
            continue;
        }
        limited("corners", points.len() as u64, room as u64)?;
        let angle = 4.0 * libm::atan(*bulge);
        let radius = 0.5 * chord / libm::sin(0.5 * angle).abs();
        let count = steps(angle, radius, sag);
        // the centre lies to the left of the chord by its distance from it
        let away = 0.5 * chord / libm::tan(0.5 * angle);
        let middle = [0.5 * (x + to_x), 0.5 * (y + to_y)];
        let left = [-(to_y - y) / chord, (to_x - x) / chord];
        let centre = [middle[0] + away * left[0], middle[1] + away * left[1]];
        let start = libm::atan2(y - centre[1], x - centre[0]);
        points.extend((1..count).map(|n| {
            let at = start + angle * n as f64 / count as f64;
            [
                centre[0] + radius * libm::cos(at),
                centre[1] + radius * libm::sin(at),
            ]
        }));
    }
    if !closed {
        let [x, y, _] = corners[corners.len() - 1];
        points.push([x, y]);
    }
    Ok(seen(points, turned, closed))
}

/// A spline by its knots, control points and weights (de Boor's method).
fn spline(entity: &Entity<'_>, sag: f64, room: usize) -> Result<Drawn, DrawingError> {
    let bad = |what: String| {
        at(
            entity,
            what,
            "turn the spline into a polyline, or export the drawing again",
        )
    };
    let degree = entity.needed(71)? as usize;
    let (xs, ys) = (entity.numbers(10)?, entity.numbers(20)?);
    let knots = entity.numbers(40)?;
    if !(1..=8).contains(&degree) || xs.len() != ys.len() || xs.len() <= degree {
        return Err(bad(format!(
            "SPLINE of degree {degree} has {} control points",
            xs.len()
        )));
    }
    if knots.len() != xs.len() + degree + 1 || knots.windows(2).any(|k| k[1] < k[0]) {
        return Err(bad(format!(
            "SPLINE has {} knots, but must have {} in ascending order",
            knots.len(),
            xs.len() + degree + 1
        )));
    }
    let weights = entity.numbers(41)?;
    let weights = if weights.is_empty() {
        vec![1.0; xs.len()]
    } else {
        weights
    };
    if weights.len() != xs.len() || weights.iter().any(|w| *w <= 0.0) {
        return Err(bad(
            "SPLINE has a weight of 0 or less, or too few weights".to_owned()
        ));
    }
    let control: Vec<[f64; 3]> = (0..xs.len())
        .map(|k| [xs[k] * weights[k], ys[k] * weights[k], weights[k]])
        .collect();
    let curve = Spline {
        degree,
        knots,
        control,
    };
    let [begins, ends] = curve.span();
    if begins >= ends {
        return Err(bad(format!(
            "SPLINE has no length: its knots from {begins} to {ends}"
        )));
    }
    let mut points = vec![curve.at(begins)];
    for span in degree..curve.control.len() {
        let [from, to] = [curve.knots[span], curve.knots[span + 1]];
        limited("corners", points.len() as u64, room as u64)?;
        if to > from {
            curve.chords([from, to], sag, 0, &mut points);
        }
    }
    let (first, last) = (points[0], points[points.len() - 1]);
    let closed = (first[0] - last[0]).hypot(first[1] - last[1]) < sag;
    if closed {
        points.pop();
    }
    Ok((points, closed))
}

struct Spline {
    degree: usize,
    knots: Vec<f64>,
    /// Places times weights, and weights.
    control: Vec<[f64; 3]>,
}

impl Spline {
    fn span(&self) -> [f64; 2] {
        [self.knots[self.degree], self.knots[self.control.len()]]
    }

    fn at(&self, place: f64) -> [f64; 2] {
        let last = self.control.len() - 1;
        // the last span of some length that begins at the place or before it
        let begun = self.knots[self.degree..=last].partition_point(|knot| *knot <= place);
        let mut span = self.degree + begun.saturating_sub(1);
        while span > self.degree && self.knots[span] >= self.knots[span + 1] {
            span -= 1;
        }
        let mut level: Vec<[f64; 3]> = (0..=self.degree)
            .map(|k| self.control[k + span - self.degree])
            .collect();
        for round in 1..=self.degree {
            for k in (round..=self.degree).rev() {
                let low = self.knots[k + span - self.degree];
                let high = self.knots[k + 1 + span - round];
                let share = if high > low {
                    (place - low) / (high - low)
                } else {
                    0.0
                };
                level[k] =
                    [0, 1, 2].map(|i| level[k - 1][i] + share * (level[k][i] - level[k - 1][i]));
            }
        }
        let [x, y, weight] = level[self.degree];
        [x / weight, y / weight]
    }

    /// Chords between two places, the first point left out: halved until the curve lies within the sag.
    fn chords(&self, [from, to]: [f64; 2], sag: f64, depth: u32, points: &mut Vec<[f64; 2]>) {
        let (a, b) = (self.at(from), self.at(to));
        let off = [0.25, 0.5, 0.75].map(|share| {
            let p = self.at(from + share * (to - from));
            let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
            let length = dx.hypot(dy);
            if length > 0.0 {
                ((p[0] - a[0]) * dy - (p[1] - a[1]) * dx).abs() / length
            } else {
                (p[0] - a[0]).hypot(p[1] - a[1])
            }
        });
        if depth < 2 || (depth < 14 && off.into_iter().fold(0.0, f64::max) > sag) {
            let middle = 0.5 * (from + to);
            self.chords([from, middle], sag, depth + 1, points);
            self.chords([middle, to], sag, depth + 1, points);
        } else {
            points.push(b);
        }
    }
}
