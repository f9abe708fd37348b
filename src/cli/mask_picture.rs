//! The pictures of `mask preview` and `mask tune`, made for a phone's width: two columns, large letters.

use super::mask_preview::{coma_sentence, error_words, nanometres};
use crate::image_io::PictureError;
use crate::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, PALE, Rgb, STEEL, Stroke, TextStyle, Viewport,
    shorten, text_width_px,
};
use crate::mask::plate::Plate;
use crate::preview::visible::panels::Panel;
use crate::scene::MaskPreview;
use ndarray::Array2;

/// Three times the width of a common phone, so that letters of [`WORDS_PX`] are twelve pixels high there.
const WIDE_PX: usize = 1170;
const GAP_PX: usize = 20;
const LINE_PX: usize = 46;
const WORDS_PX: f64 = 36.0;
const PANEL_PX: usize = (WIDE_PX - 3 * GAP_PX) / 2;

/// The plate beside the least errors, then each star, and beside it what to look at.
pub(super) fn draw(preview: &MaskPreview) -> Result<Canvas, PictureError> {
    let row_px = PANEL_PX + LINE_PX + 2 * GAP_PX;
    let head_px = PANEL_PX.max((preview.sees.len() + 2) * LINE_PX) + LINE_PX + 2 * GAP_PX;
    let foot = foot(preview);
    let height = head_px + preview.panels.len() * row_px + (foot.len() + 1) * LINE_PX;
    let mut canvas = Canvas::new(WIDE_PX, height, BLACK)?;
    let mut top = height;
    words(&mut canvas, [GAP_PX, top - LINE_PX], &preview.title, AMBER);
    if let Some(plate) = &preview.plate {
        put_plate(
            &mut canvas,
            plate,
            [GAP_PX, top - LINE_PX - GAP_PX - PANEL_PX],
        );
    }
    let left = PANEL_PX + 2 * GAP_PX;
    let mut y = top - 2 * LINE_PX;
    words(&mut canvas, [left, y], "smallest error you would see", DIM);
    for row in &preview.sees {
        y -= LINE_PX;
        words(&mut canvas, [left, y], &error_words(row), PALE);
        let colour = if row.smallest_nm.is_some() {
            AMBER
        } else {
            DIM
        };
        put(
            &mut canvas,
            [WIDE_PX - GAP_PX, y],
            &nanometres(row.smallest_nm),
            Anchor::Right,
            colour,
        );
    }
    top -= head_px;
    for panel in &preview.panels {
        star_row(&mut canvas, panel, top);
        top -= row_px;
    }
    for line in foot {
        top -= LINE_PX;
        words(&mut canvas, [GAP_PX, top], &line, DIM);
    }
    Ok(canvas)
}

/// What the picture's numbers mean, in lines that fit.
fn foot(preview: &MaskPreview) -> Vec<String> {
    let c = &preview.conditions;
    let seeing = c
        .seeing_arcsec
        .map_or("no seeing".to_owned(), |s| format!("seeing {s:.1} arcsec"));
    let mut text = coma_sentence(preview).unwrap_or_default();
    text += &format!(
        " {seeing}; exposed for the spikes, the core is full; gray straight from the sky to 1.25 times the brightest spike. Left the star, right where its spikes lie: amber is read against the others. A mask is no solar filter. Take it off before slewing."
    );
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.len() - 1;
        let longer = format!("{} {word}", lines[last]).trim().to_owned();
        if text_width_px(&longer, WORDS_PX) <= (WIDE_PX - 2 * GAP_PX) as f64 {
            lines[last] = longer;
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

fn put_plate(canvas: &mut Canvas, plate: &Plate, corner_px: [usize; 2]) {
    let gray = plate
        .picture(PANEL_PX)
        .mapv(|covered| (40.0 + 170.0 * covered) as u8);
    let view = canvas.gray(&gray, corner_px, 1);
    canvas.edge(&view, EDGE);
}

/// One star, and beside it the same star dimmed with what to look at.
pub(super) fn star_row(canvas: &mut Canvas, panel: &Panel, top: usize) {
    let caption = format!("{}: {}", panel.caption, panel.words);
    words(canvas, [GAP_PX, top - LINE_PX], &caption, AMBER);
    let bottom = top - LINE_PX - GAP_PX - PANEL_PX;
    for (column, share) in [(0, 255.0), (1, 120.0)] {
        let (gray, star_px) = middle_of(panel, share);
        let magnification = (PANEL_PX / gray.ncols()).max(1);
        let room = PANEL_PX - magnification * gray.ncols();
        let left = GAP_PX + column * (PANEL_PX + GAP_PX) + room / 2;
        let view = canvas.gray(&gray, [left, bottom + room / 2], magnification);
        canvas.edge(&view, EDGE);
        if column == 1 {
            put_marks(canvas, panel, &view, star_px);
        }
    }
}

/// The star's picture in grays, cut to what a panel holds.
fn middle_of(panel: &Panel, share: f64) -> (Array2<u8>, [f64; 2]) {
    let (rows, columns) = panel.gray.dim();
    let cut = |count: usize| count.saturating_sub(PANEL_PX) / 2;
    let (below, left) = (cut(rows), cut(columns));
    let size = (rows - 2 * below, columns - 2 * left);
    let gray = Array2::from_shape_fn(size, |(row, column)| {
        (panel.gray[[row + below, column + left]] * share) as u8
    });
    (
        gray,
        [
            panel.star_px[0] - left as f64,
            panel.star_px[1] - below as f64,
        ],
    )
}

fn put_marks(canvas: &mut Canvas, panel: &Panel, view: &Viewport, star_px: [f64; 2]) {
    for spike in &panel.look {
        let (colour, width_px) = if spike.judged {
            (AMBER, 5.0)
        } else {
            (STEEL, 3.0)
        };
        let stroke = Stroke {
            colour,
            ..Stroke::AMBER.with_width_px(width_px)
        };
        let at =
            |out_px: f64| [0, 1].map(|i| star_px[i] + spike.foot_px[i] + out_px * spike.along[i]);
        let end = 1.15 * spike.reach_px[1];
        canvas.line(view, at(-end), at(end), &stroke);
    }
}

fn words(canvas: &mut Canvas, place: [usize; 2], text: &str, colour: Rgb) {
    let room = (WIDE_PX - place[0]) as f64;
    put(
        canvas,
        place,
        &shorten(text, WORDS_PX, room),
        Anchor::Left,
        colour,
    );
}

fn put(canvas: &mut Canvas, place: [usize; 2], text: &str, anchor: Anchor, colour: Rgb) {
    let style = TextStyle::CAPTION
        .with_size_px(WORDS_PX)
        .with_anchor(anchor)
        .with_colour(colour);
    let whole = Viewport::whole(canvas);
    canvas.text(&whole, place.map(|p| p as f64), text, &style);
}

/// Each mask's stars under its name: one mask below the other.
pub(super) fn masks(list: &[(String, Vec<Panel>)]) -> Result<Canvas, PictureError> {
    let row_px = PANEL_PX + LINE_PX + 2 * GAP_PX;
    let rows: usize = list.iter().map(|m| m.1.len()).sum();
    let height = rows * row_px + list.len() * LINE_PX + GAP_PX;
    let mut canvas = Canvas::new(WIDE_PX, height, BLACK)?;
    let mut top = height;
    for (label, panels) in list {
        top -= LINE_PX;
        words(&mut canvas, [GAP_PX, top], label, PALE);
        for panel in panels {
            star_row(&mut canvas, panel, top);
            top -= row_px;
        }
    }
    Ok(canvas)
}
