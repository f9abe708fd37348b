//! Words on a picture, in a subset of DejaVu Sans that is part of the program: no fonts of the system are used, so the same
//! words give the same pixels everywhere.
//!
//! The subset holds ASCII, Latin-1 (é, ü, °, ±, ², µ, ×), Greek letters, −, ≈, ≤, ≥, dashes, quotation marks, ′ and ″, and arrows.
//! Any other character is drawn as an empty box. The font's licence lies beside it in `font/`.

use super::canvas::{BLACK, Canvas, PALE, Rgb, Viewport};
use ab_glyph::{Font, FontRef, Glyph, GlyphId, Point, PxScale, ScaleFont, point};
use std::collections::BTreeMap;
use std::sync::LazyLock;

/// Which part of the words is put at the given place, left to right. Up and down it is always the middle of the capitals.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// Their left end.
    Left,
    /// Their middle.
    Centre,
    /// Their right end.
    Right,
}

/// How words are drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TextStyle {
    /// Size of the font (one em) in canvas pixels; capitals are 0.73 of it.
    pub size_px: f64,
    /// Colour.
    pub colour: Rgb,
    /// Which part is put at the place.
    pub anchor: Anchor,
}

impl TextStyle {
    /// Pale, 14 pixels, put by its left end.
    pub const CAPTION: TextStyle = TextStyle {
        size_px: 14.0,
        colour: PALE,
        anchor: Anchor::Left,
    };

    /// The same style in another colour.
    pub fn with_colour(self, colour: Rgb) -> TextStyle {
        TextStyle { colour, ..self }
    }

    /// The same style in another size.
    pub fn with_size_px(self, size_px: f64) -> TextStyle {
        TextStyle { size_px, ..self }
    }

    /// The same style put by another part.
    pub fn with_anchor(self, anchor: Anchor) -> TextStyle {
        TextStyle { anchor, ..self }
    }
}

impl Canvas {
    /// Writes one line of words at a place of the frame, with a dark rim so that they stay legible over a star.
    ///
    /// Control characters, line ends among them, are written as blanks. Letters are cut off at the panel's edge.
    pub fn text(&mut self, view: &Viewport, place_px: [f64; 2], words: &str, style: &TextStyle) {
        let [x, y] = view.to_canvas(place_px);
        if !(x.abs() < FAR_PX && y.abs() < FAR_PX && (1.0..=MAX_SIZE_PX).contains(&style.size_px)) {
            return;
        }
        let width = text_width_px(words, style.size_px);
        let left = match style.anchor {
            Anchor::Left => x,
            Anchor::Centre => x - 0.5 * width,
            Anchor::Right => x - width,
        };
        // Whole pixels: letters of one line all look alike, and stems stay sharp.
        let place = [left.round(), (y - 0.5 * CAPITALS * style.size_px).round()];
        let spots = rasterise(words, style.size_px, place);
        for ([column, row], darkness) in rim(&spots) {
            self.mix_inside(view, [column, row], BLACK, darkness);
        }
        for (spot, coverage) in &spots {
            self.mix_inside(view, *spot, style.colour, *coverage);
        }
    }

    fn mix_inside(&mut self, view: &Viewport, place: [i64; 2], colour: Rgb, opacity: f64) {
        if let [Ok(column), Ok(row)] = place.map(usize::try_from) {
            let inside = |axis: usize, index: usize| {
                (view.first_px[axis]..view.end_px[axis]).contains(&index)
            };
            if inside(0, column) && inside(1, row) {
                self.mix(column, row, colour, opacity);
            }
        }
    }
}

/// Width of a line of words in canvas pixels.
pub fn text_width_px(words: &str, size_px: f64) -> f64 {
    layout(words, size_px).1
}

/// The words, or as many of them as fit into `width_px` with `…` behind.
pub fn shorten(words: &str, size_px: f64, width_px: f64) -> String {
    if text_width_px(words, size_px) <= width_px {
        return words.to_owned();
    }
    let ends: Vec<usize> = words.char_indices().map(|(index, _)| index).collect();
    let cut = |end: usize| format!("{}…", words[..end].trim_end());
    let fitting = ends.partition_point(|end| text_width_px(&cut(*end), size_px) <= width_px);
    cut(fitting.checked_sub(1).map_or(0, |index| ends[index]))
}

static FONT: LazyLock<FontRef<'static>> = LazyLock::new(|| {
    FontRef::try_from_slice(include_bytes!("font/dejavu-sans-subset.ttf"))
        .expect("the font is part of the program")
});

/// Height of capitals over the size of the font, from the font's own table.
const CAPITALS: f64 = 0.729;
/// Words farther away than this are not drawn.
const FAR_PX: f64 = 1e6;
/// Largest letters that are drawn.
const MAX_SIZE_PX: f64 = 400.0;
/// How far the dark rim reaches beyond the letters, and how dark it is.
const RIM_PX: i64 = 3;
const RIM_OPACITY: f64 = 0.75;

/// Glyphs of a line with the x at which each begins, and the line's width.
fn layout(words: &str, size_px: f64) -> (Vec<(GlyphId, f64)>, f64) {
    let font = FONT.as_scaled(scale(size_px));
    let mut glyphs: Vec<(GlyphId, f64)> = Vec::new();
    let mut x = 0.0;
    for character in words.chars() {
        let glyph = font.glyph_id(if character.is_control() {
            ' '
        } else {
            character
        });
        if let Some((before, _)) = glyphs.last() {
            x += f64::from(font.kern(*before, glyph));
        }
        glyphs.push((glyph, x));
        x += f64::from(font.h_advance(glyph));
    }
    (glyphs, x)
}

/// The scale at which one em is `size_px`; the font library counts from the lowest to the highest stroke instead.
fn scale(size_px: f64) -> PxScale {
    let em = FONT.units_per_em().unwrap_or(1.0);
    PxScale::from(size_px as f32 * FONT.height_unscaled() / em)
}

/// Canvas pixels touched by a line that begins at `place` on its base line, with the share of each that is covered.
fn rasterise(words: &str, size_px: f64, place: [f64; 2]) -> Vec<([i64; 2], f64)> {
    let mut spots = Vec::new();
    for (id, x) in layout(words, size_px).0 {
        let position: Point = point((place[0] + x) as f32, 0.0);
        let Some(outline) = FONT.outline_glyph(Glyph {
            id,
            scale: scale(size_px),
            position,
        }) else {
            continue;
        };
        let corner = outline.px_bounds().min;
        outline.draw(|right, down, coverage| {
            // The library counts rows downwards from the base line.
            let column = corner.x as i64 + i64::from(right);
            let row = place[1] as i64 - 1 - (corner.y as i64 + i64::from(down));
            if coverage > 0.0 {
                spots.push(([column, row], f64::from(coverage).min(1.0)));
            }
        });
    }
    spots
}

/// Pixels about the letters and how dark each becomes: darkest beside a letter, fading to nothing within a few pixels.
fn rim(spots: &[([i64; 2], f64)]) -> BTreeMap<[i64; 2], f64> {
    let mut rim = BTreeMap::new();
    for ([column, row], coverage) in spots {
        for across in -RIM_PX..=RIM_PX {
            for up in -RIM_PX..=RIM_PX {
                let distance = ((across * across + up * up) as f64).sqrt();
                let fade = (1.5 - distance / RIM_PX as f64).clamp(0.0, 1.0);
                let darkness: &mut f64 = rim.entry([column + across, row + up]).or_insert(0.0);
                *darkness = darkness.max(RIM_OPACITY * fade * coverage);
            }
        }
    }
    rim
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn canvas() -> (Canvas, Viewport) {
        let canvas = Canvas::new(240, 60, BLACK).unwrap();
        let view = Viewport::whole(&canvas);
        (canvas, view)
    }

    /// First and last column and row with light in them.
    fn extent(canvas: &Canvas) -> [usize; 4] {
        let mut extent = [usize::MAX, 0, usize::MAX, 0];
        for row in 0..canvas.height_px() {
            for column in 0..canvas.width_px() {
                if canvas.pixel(column, row).unwrap().0[0] > 60 {
                    extent = [
                        extent[0].min(column),
                        extent[1].max(column),
                        extent[2].min(row),
                        extent[3].max(row),
                    ];
                }
            }
        }
        extent
    }

    #[test]
    fn every_character_that_is_promised_has_a_shape() {
        let promised = (' '..='~')
            .chain('¡'..='ÿ')
            .chain(('Α'..='Ω').filter(|letter| *letter != '\u{3a2}'))
            .chain('α'..='ω')
            .chain("°±²µ×−≈≤≥–—‘’“”…′″←↑→↓".chars());
        for character in promised {
            assert_ne!(
                FONT.glyph_id(character),
                GlyphId(0),
                "{character:?} is missing"
            );
        }
    }

    #[test]
    fn capitals_are_centred_on_the_place_and_as_high_as_stated() {
        for (anchor, left, right) in [
            (Anchor::Left, 101, 125),
            (Anchor::Right, 75, 99),
            (Anchor::Centre, 88, 112),
        ] {
            let (mut canvas, view) = canvas();
            canvas.text(
                &view,
                [100.0, 30.0],
                "HH",
                &TextStyle {
                    size_px: 20.0,
                    colour: PALE,
                    anchor,
                },
            );
            let [first, last, bottom, top] = extent(&canvas);
            assert!(
                first.abs_diff(left) <= 3 && last.abs_diff(right) <= 3,
                "{anchor:?}: columns {first} to {last}"
            );
            assert!(
                (bottom as f64 + top as f64 - 60.0).abs() <= 2.0,
                "rows {bottom} to {top}"
            );
            assert!(
                (top + 1 - bottom).abs_diff(15) <= 1,
                "0.729 × 20 = 14.6 pixels high"
            );
        }
    }

    #[test]
    fn letters_stand_upright() {
        let (mut canvas, view) = canvas();
        canvas.text(
            &view,
            [50.0, 30.0],
            "L",
            &TextStyle {
                size_px: 30.0,
                ..TextStyle::CAPTION
            },
        );
        let [_, _, bottom, top] = extent(&canvas);
        let light = |row: usize| {
            (0..240)
                .filter(|column| canvas.pixel(*column, row).unwrap().0[0] > 60)
                .count()
        };
        assert!(
            light(bottom + 1) > 2 * light(top - 1),
            "the foot of an L is at the bottom"
        );
    }

    #[test]
    fn width_grows_with_words_and_size_and_kerning_is_used() {
        assert_relative_eq!(
            text_width_px("Noll 8", 28.0),
            2.0 * text_width_px("Noll 8", 14.0),
            max_relative = 1e-5
        );
        assert!(
            text_width_px("AV", 100.0)
                < text_width_px("A", 100.0) + text_width_px("V", 100.0) - 3.0
        );
        assert_eq!(text_width_px("", 14.0), 0.0);
    }

    #[test]
    fn long_words_are_shortened_to_fit() {
        let title = "Prime-focus unit pulled down at screw B";
        assert_eq!(shorten(title, 14.0, 1000.0), title);
        let short = shorten(title, 14.0, 120.0);
        assert!(short.ends_with('…') && title.starts_with(short.trim_end_matches('…')));
        assert!(text_width_px(&short, 14.0) <= 120.0 && text_width_px(&short, 14.0) > 90.0);
        assert_eq!(shorten("Ωμέγα", 14.0, 0.0), "…");
    }

    #[test]
    fn any_words_anywhere_are_drawn_without_a_panic() {
        let (mut canvas, view) = canvas();
        for place in [
            [-50.0, 3.0],
            [239.0, 59.0],
            [f64::NAN, 0.0],
            [1e300, -1e300],
        ] {
            for words in ["", "\n\t\u{7f}", "星の像", "e\u{301}", "µm ± 0.5°"] {
                for size_px in [-1.0, 0.0, 9.0, 1e9, f64::NAN] {
                    canvas.text(
                        &view,
                        place,
                        words,
                        &TextStyle {
                            size_px,
                            ..TextStyle::CAPTION
                        },
                    );
                }
            }
        }
        assert_ne!(extent(&canvas)[0], usize::MAX);
    }
}
