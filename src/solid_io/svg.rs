//! SVG in millimetres: opens at true size, the plate filled, letters and ring as lines that a reader ignores.

use super::{all_contours, text};
use crate::geometry::outline::{Contour, GRID_M, Outline};
use crate::instrument::LeftOut;
use crate::mask::plate::Plate;
use crate::mask::sheet::Sheet;
use crate::units::MM;
use std::fmt::Write;

/// Blank margin about the plate, grid units.
const MARGIN: i64 = 50_000;

/// The drawing, seen from the sky side; the page's middle is the mask's centre.
pub fn write(plate: &Plate, title: &str) -> String {
    let half = (plate.reach_m / GRID_M).ceil() as i64 + MARGIN;
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

/// A sheet for a laser cutter: hairlines without a fill, one group each for openings (cut first), edge (cut last) and engraving.
pub fn write_sheet(sheet: &Sheet, title: &str) -> String {
    let half = (sheet.reach_m / GRID_M).ceil() as i64 + MARGIN;
    let side = text(2 * half);
    let middle = text(half);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{side}mm\" height=\"{side}mm\" viewBox=\"0 0 {side} {side}\">\n\
         <title>{}</title>\n\
         <desc>Seen from the sky side. Lengths in mm. Lines lie half a kerf of {:.3} mm outside what is left. A mask is no solar filter.</desc>\n\
         <g transform=\"translate({middle} {middle})\">\n",
        escaped(title),
        sheet.kerf_m / MM
    );
    let letters: Vec<&Contour> = all_contours(&sheet.plate.letters).collect();
    group("cut-openings", "#0000ff", sheet.openings(), &mut out);
    group("cut-edge", "#ff0000", sheet.edges(), &mut out);
    group("engraving", "#00a000", letters.into_iter(), &mut out);
    out.push_str("</g>\n</svg>\n");
    out
}

/// What was understood of a drawing: the plate filled, and in red what is no part of it, each with its line and why.
pub fn write_understood(plate: &Plate, left_out: &[LeftOut], mirrored: bool) -> String {
    const LINE_MM: i64 = 5;
    let half = (plate.reach_m / GRID_M).ceil() as i64 + MARGIN;
    let list_mm = LINE_MM * (left_out.len() as i64 + 2);
    let (side, middle) = (text(2 * half), text(half));
    let page = text(2 * half + list_mm * 10_000);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{side}mm\" height=\"{page}mm\" viewBox=\"0 0 {side} {page}\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#ffffff\"/>\n\
         <g transform=\"translate({middle} {middle})\">\n<path fill=\"#303030\" fill-rule=\"evenodd\" d=\"{}\"/>\n",
        path_of(&plate.plate)
    );
    for left in left_out {
        for way in &left.ways_m {
            out.push_str(
                "<polyline fill=\"none\" stroke=\"#d00000\" stroke-width=\"0.4\" points=\"",
            );
            for [x, y] in way {
                let x = if mirrored { -x } else { *x };
                let _ = write!(out, "{:.3},{:.3} ", x / MM, -y / MM);
            }
            out.push_str("\"/>\n");
            if let Some([x, y]) = way.first() {
                let x = if mirrored { -x } else { *x };
                let _ = writeln!(
                    out,
                    "<text x=\"{:.3}\" y=\"{:.3}\" font-family=\"sans-serif\" font-size=\"3\" fill=\"#d00000\">{}</text>",
                    x / MM,
                    -y / MM,
                    left.line
                );
            }
        }
    }
    out.push_str("</g>\n");
    let words = left_out
        .iter()
        .map(|left| format!("left out: line {}: {}, {}", left.line, left.what, left.why));
    let first = format!(
        "understood: what is dark is the plate; {} left out",
        left_out.len()
    );
    for (n, words) in std::iter::once(first).chain(words).enumerate() {
        let y = text(2 * half + LINE_MM * 10_000 * (n as i64 + 1));
        let _ = writeln!(
            out,
            "<text x=\"4\" y=\"{y}\" font-family=\"sans-serif\" font-size=\"3.6\" fill=\"#a00000\">{}</text>",
            escaped(&words)
        );
    }
    out.push_str("</svg>\n");
    out
}

fn group<'a>(id: &str, colour: &str, lines: impl Iterator<Item = &'a Contour>, out: &mut String) {
    let _ = writeln!(
        out,
        "<g id=\"{id}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"0.05\">"
    );
    for contour in lines {
        out.push_str("<path d=\"");
        contour_path(contour, out);
        out.push_str("\"/>\n");
    }
    out.push_str("</g>\n");
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
        contour_path(contour, out);
    }
}

fn contour_path(contour: &Contour, out: &mut String) {
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
