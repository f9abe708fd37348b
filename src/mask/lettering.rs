//! Words for the rim of a mask as outlines, from the font that is part of the program.

use super::drawing::curve;
use crate::geometry::outline::{Fill, Outline};
use ab_glyph::{Font, FontRef, OutlineCurve};
use std::f64::consts::FRAC_PI_2;

/// Height of a capital over the font's em.
const CAPITAL: f64 = 0.729;
/// Thickness of a stem over the height of a capital.
pub(super) const STEM_OVER_CAPITAL: f64 = 0.134;
const SAG_M: f64 = 3e-6;

static FONT: &[u8] = include_bytes!("../image_io/font/dejavu-sans-subset.ttf");

/// Words bent along a circle about the origin, read clockwise, their middle at `azimuth_rad`; and the angle they take up.
/// A letter the font does not have is left out, and so is everything if the font cannot be read.
pub(super) fn bent(words: &str, capital_m: f64, radius_m: f64, azimuth_rad: f64) -> (Outline, f64) {
    let Ok(font) = FontRef::try_from_slice(FONT) else {
        return (Outline::default(), 0.0);
    };
    let units = f64::from(font.units_per_em().unwrap_or(1000.0));
    let scale = capital_m / CAPITAL / units;
    let glyphs: Vec<_> = words.chars().map(|c| font.glyph_id(c)).collect();
    let advance = |id| f64::from(font.h_advance_unscaled(id)) * scale;
    let width: f64 = glyphs.iter().map(|id| advance(*id)).sum();
    let mut contours = Vec::new();
    let mut left = -0.5 * width;
    for id in glyphs {
        let middle = left + 0.5 * advance(id);
        let azimuth = azimuth_rad - middle / radius_m;
        let turn = azimuth - FRAC_PI_2;
        let (sin, cos) = (libm::sin(turn), libm::cos(turn));
        let place = |p: ab_glyph::Point| {
            let x = f64::from(p.x) * scale - 0.5 * advance(id);
            let y = f64::from(p.y) * scale - 0.5 * capital_m + radius_m;
            [cos * x - sin * y, sin * x + cos * y]
        };
        if let Some(outline) = font.outline(id) {
            contours.extend(closed(&outline.curves, &place));
        }
        left += advance(id);
    }
    (Outline::filled(&contours, Fill::NonZero), width / radius_m)
}

fn closed(
    curves: &[OutlineCurve],
    place: &impl Fn(ab_glyph::Point) -> [f64; 2],
) -> Vec<Vec<[f64; 2]>> {
    let mut contours: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut last = None;
    for piece in curves {
        let (from, control, to) = match piece {
            OutlineCurve::Line(a, b) => (*a, Vec::new(), *b),
            OutlineCurve::Quad(a, c, b) => (*a, vec![place(*c)], *b),
            OutlineCurve::Cubic(a, c, d, b) => (*a, vec![place(*c), place(*d)], *b),
        };
        if last != Some(from) {
            contours.push(Vec::new());
        }
        if let Some(contour) = contours.last_mut() {
            curve(place(from), &control, place(to), SAG_M, contour);
        }
        last = Some(to);
    }
    contours
}
