//! `--annotate`: the star's geometry drawn on its picture, with a few words under it.

use crate::image_io::PictureError;
use crate::image_io::canvas::{
    AMBER, BLACK, Canvas, DIM, EDGE, STEEL, Stroke, TextStyle, View, shorten,
};
use crate::instrument::Instrument;
use crate::simulate::{Truth, clock};
use crate::units::DEG;
use ndarray::Array2;

/// The picture is magnified to about this many canvas pixels.
const SIDE_PX: usize = 640;
const MARGIN_PX: usize = 16;
const LINE_PX: usize = 20;

/// Draws the ring's edges, the push of the dark centre and the streaks over the displayed star.
///
/// # Errors
/// [`PictureError`] when the magnified picture would be too large.
pub fn draw(
    instrument: &Instrument,
    truth: &Truth,
    gray: &Array2<u8>,
) -> Result<Canvas, PictureError> {
    let (height, width) = gray.dim();
    let magnification = (SIDE_PX / height.max(width)).max(1);
    let words = captions(truth);
    let below = MARGIN_PX * 2 + LINE_PX * words.len();
    let canvas_width = (width * magnification).max(600) + 2 * MARGIN_PX;
    let mut canvas = Canvas::new(
        canvas_width,
        height * magnification + below + MARGIN_PX,
        BLACK,
    )?;
    let view = canvas.gray(gray, [MARGIN_PX, below], magnification);
    canvas.edge(&view, EDGE);
    ring(&mut canvas, &view, truth);
    streaks(&mut canvas, &view, instrument, truth);
    write_words(&mut canvas, &words, canvas_width);
    Ok(canvas)
}

fn ring(canvas: &mut Canvas, view: &View, truth: &Truth) {
    let Some(ring) = truth.doughnut.as_ref().filter(|_| truth.streaks.is_empty()) else {
        canvas.cross(view, truth.star_px, 8.0, &Stroke::PALE);
        return;
    };
    canvas.circle(
        view,
        ring.outer_centre_px,
        ring.outer_radius_px,
        &Stroke::AMBER,
    );
    canvas.cross(view, ring.outer_centre_px, 7.0, &Stroke::AMBER);
    let (Some(dark), Some(radius)) = (ring.dark_centre_px, ring.inner_radius_px) else {
        return;
    };
    canvas.circle(view, dark, radius, &Stroke::STEEL);
    canvas.cross(view, dark, 7.0, &Stroke::STEEL);
    if let Some(shift) = ring.dark_shift_px.filter(|s| s[0].hypot(s[1]) >= 0.3) {
        // the arrow stands outside the ring, where it hides nothing, and points where the dark centre was pushed
        let size = shift[0].hypot(shift[1]);
        let along = [shift[0] / size, shift[1] / size];
        let at = |r: f64| {
            [
                ring.outer_centre_px[0] + r * along[0],
                ring.outer_centre_px[1] + r * along[1],
            ]
        };
        let from = 1.08 * ring.outer_radius_px;
        let to = (1.38 * ring.outer_radius_px).min(way_to_edge(view, ring.outer_centre_px, along));
        canvas.arrow(view, at(from.min(to - 4.0)), at(to), &Stroke::STEEL);
    }
}

/// How far it is from a place to the edge of the picture, in frame pixels.
fn way_to_edge(view: &View, from: [f64; 2], along: [f64; 2]) -> f64 {
    view.frame_px()
        .into_iter()
        .enumerate()
        .filter(|(axis, _)| along[*axis] != 0.0)
        .map(|(axis, side)| {
            let edge = if along[axis] > 0.0 { side - 1.0 } else { 0.0 };
            (edge - from[axis]) / along[axis]
        })
        .fold(f64::INFINITY, f64::min)
}

/// A line along each streak, at right angles to its slots; it starts beside the star and leaves the bright middle free.
fn streaks(canvas: &mut Canvas, view: &View, instrument: &Instrument, truth: &Truth) {
    let axes = crate::pupil::frame_axes(instrument);
    let reach = 0.48 * instrument.camera.width_px.min(instrument.camera.height_px) as f64;
    for streak in &truth.streaks {
        let angle = streak.slot_deg * DEG;
        let slot = axes.forward([angle.cos(), angle.sin()]);
        let foot = [
            truth.star_px[0] + streak.shift_px * slot[0],
            truth.star_px[1] + streak.shift_px * slot[1],
        ];
        for side in [-1.0, 1.0] {
            let at = |r: f64| [foot[0] - side * r * slot[1], foot[1] + side * r * slot[0]];
            canvas.line(
                view,
                at(0.72 * reach),
                at(reach),
                &Stroke::AMBER.with_width_px(1.5),
            );
        }
    }
}

fn captions(truth: &Truth) -> Vec<(String, bool)> {
    let mut words = vec![(truth.title.clone(), true)];
    if let Some(ring) = truth.doughnut.as_ref().filter(|_| truth.streaks.is_empty()) {
        words.push((
            format!("solid: outer edge, radius {:.1} px", ring.outer_radius_px),
            true,
        ));
        if let (Some(radius), Some(shift)) = (ring.inner_radius_px, ring.dark_shift_px) {
            let push = shift[0].hypot(shift[1]);
            let towards = if push >= 0.3 {
                format!(" towards {}", clock(shift))
            } else {
                String::new()
            };
            words.push((
                format!("dashed: dark centre, radius {radius:.1} px, pushed {push:.2} px{towards}"),
                false,
            ));
        }
    }
    if !truth.streaks.is_empty() {
        words.push(("lines at the border: where each streak runs".into(), true));
    }
    words
}

fn write_words(canvas: &mut Canvas, words: &[(String, bool)], width_px: usize) {
    let page = View::whole(canvas);
    let room = (width_px - 2 * MARGIN_PX) as f64;
    for (number, (line, first)) in words.iter().rev().enumerate() {
        let colour = match (number + 1 == words.len(), first) {
            (true, _) => DIM,
            (_, true) => AMBER,
            _ => STEEL,
        };
        let place = [
            MARGIN_PX as f64,
            (MARGIN_PX + LINE_PX * number + LINE_PX / 2) as f64,
        ];
        let line = shorten(line, TextStyle::CAPTION.size_px, room);
        canvas.text(&page, place, &line, &TextStyle::CAPTION.with_colour(colour));
    }
}
