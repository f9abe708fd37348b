//! A pen that draws as SVG: a plain file of lines, dots and words on white, in the fonts that the reader has.

use super::score_plots::{Ink, Pen};
use crate::image_io::canvas::Anchor;
use std::fmt::Write as _;

/// Words stand with their middle at their place; SVG puts their foot there.
const HALF_A_LETTER: f64 = 4.0;

/// The picture under construction.
pub struct SvgPen {
    out: String,
    height: f64,
}

impl SvgPen {
    /// A white sheet of this width and height.
    pub fn new([wide, tall]: [f64; 2]) -> SvgPen {
        let mut out = String::new();
        let _ = writeln!(
            out,
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {wide} {tall}\" font-family=\"sans-serif\" font-size=\"11\">\n\
             <rect width=\"{wide}\" height=\"{tall}\" fill=\"#ffffff\"/>"
        );
        SvgPen { out, height: tall }
    }

    /// The file.
    pub fn finish(mut self) -> String {
        self.out.push_str("</svg>\n");
        self.out
    }
}

/// Colours that differ in lightness as well, so that a grey print tells them apart.
fn colour(ink: Ink) -> &'static str {
    match ink {
        Ink::Title => "#111111",
        Ink::Words => "#444444",
        Ink::Edge => "#888888",
        Ink::Dots => "#7fa3b5",
        Ink::Error => "#b35900",
        Ink::Photon => "#111111",
        Ink::Atmosphere => "#3e62ad",
    }
}

fn dashes(ink: Ink) -> &'static str {
    match ink {
        Ink::Photon => " stroke-dasharray=\"6 3\"",
        Ink::Atmosphere => " stroke-dasharray=\"2 3\"",
        _ => "",
    }
}

impl Pen for SvgPen {
    fn words(&mut self, [x, y]: [f64; 2], words: &str, ink: Ink, anchor: Anchor) {
        let anchor = match anchor {
            Anchor::Left => "start",
            Anchor::Centre => "middle",
            Anchor::Right => "end",
        };
        let plain = words.replace('&', "&amp;").replace('<', "&lt;");
        let _ = writeln!(
            self.out,
            "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\" fill=\"{}\">{plain}</text>",
            self.height - y + HALF_A_LETTER,
            colour(ink)
        );
    }

    fn frame(&mut self, [x, y]: [f64; 2], [wide, tall]: [f64; 2]) {
        let _ = writeln!(
            self.out,
            "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"{wide}\" height=\"{tall}\" fill=\"none\" stroke=\"{}\"/>",
            self.height - y - tall,
            colour(Ink::Edge)
        );
    }

    fn dot(&mut self, [x, y]: [f64; 2]) {
        let _ = writeln!(
            self.out,
            "<circle cx=\"{x:.1}\" cy=\"{:.1}\" r=\"1\" fill=\"{}\"/>",
            self.height - y,
            colour(Ink::Dots)
        );
    }

    fn line(&mut self, places: &[[f64; 2]], ink: Ink) {
        let mut points = String::new();
        for [x, y] in places {
            let _ = write!(points, "{x:.1},{:.1} ", self.height - y);
        }
        let width = if ink == Ink::Edge { 1.0 } else { 1.6 };
        let _ = writeln!(
            self.out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{}\" stroke-width=\"{width}\"{}/>",
            points.trim_end(),
            colour(ink),
            dashes(ink)
        );
    }
}
