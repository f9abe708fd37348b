//! SVG in millimetres: opens at true size, the plate filled, letters and ring as lines that a reader ignores.

use super::{all_contours, text};
use crate::geometry::outline::{GRID_M, Outline};
use crate::mask::plate::Plate;
use crate::units::MM;
use std::fmt::Write;

/// Blank margin about the plate, grid units.
const MARGIN: i64 = 50_000;

/// The drawing, seen from the sky side; the page's middle is the mask's centre.
pub fn write(plate: &Plate, title: &str) -> String {
    let half = (plate.outer_radius_m / GRID_M).ceil() as i64 + MARGIN;
    let side = text(2 * half);
    let middle = text(half);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{side}mm\" height=\"{side}mm\" viewBox=\"0 0 {side} {side}\">\n\
         <title>{}</title>\n\
         <desc>Seen from the sky side. Lengths in mm. Plate {:.3} mm thick. A mask is no solar filter.</desc>\n\
         <g transform=\"translate({middle} {middle})\">\n\
         <path id=\"plate\" fill=\"#303030\" fill-rule=\"evenodd\" d=\"",
        escaped(title),
        plate.heights_m[0] / MM
    );
    path(&plate.plate, &mut out);
    out.push_str("\"/>\n");
    line("engraving", "#ff8800", &plate.letters, &mut out);
    line("grip-ring-below", "#808080", &plate.ring, &mut out);
    out.push_str("</g>\n</svg>\n");
    out
}

fn line(id: &str, colour: &str, outline: &Outline, out: &mut String) {
    if outline.is_empty() {
        return;
    }
    let _ = write!(
        out,
        "<path id=\"{id}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"0.1\" d=\""
    );
    path(outline, out);
    out.push_str("\"/>\n");
}

/// An outline as the `d` of a path, in mm from the mask's centre, +y down, seen from the sky side; filled by the even-odd rule.
pub fn path_of(outline: &Outline) -> String {
    let mut out = String::new();
    path(outline, &mut out);
    out
}

fn path(outline: &Outline, out: &mut String) {
    for contour in all_contours(outline) {
        for (n, p) in contour.iter().enumerate() {
            let letter = if n == 0 { 'M' } else { 'L' };
            let _ = write!(
                out,
                "{letter}{} {}",
                text(p.x.into()),
                text(-i64::from(p.y))
            );
        }
        out.push('Z');
    }
}

/// Text for XML.
pub(super) fn escaped(words: &str) -> String {
    words
        .chars()
        .filter(|c| !c.is_control())
        .fold(String::new(), |mut out, c| {
            match c {
                '&' => out.push_str("&amp;"),
                '<' => out.push_str("&lt;"),
                '>' => out.push_str("&gt;"),
                '"' => out.push_str("&quot;"),
                c => out.push(c),
            }
            out
        })
}
