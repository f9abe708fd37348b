//! `measure --annotate`: what was found, drawn on the frame, in the look of the other annotated pictures.

use crate::image_io::PictureError;
use crate::image_io::canvas::{AMBER, BLACK, Canvas, DIM, EDGE, STEEL, Stroke, TextStyle, View};
use crate::image_io::stretch::{Stretch, display};
use crate::instrument::Instrument;
use crate::measure::Measurement;
use crate::pupil::frame_axes;
use crate::units::NM;
use ndarray::{Array2, Axis, Slice};

/// The picture is magnified to about this many canvas pixels.
const SIDE_PX: usize = 640;
const MARGIN_PX: usize = 16;
const LINE_PX: usize = 20;

/// Draws edges and push of a doughnut, or the streaks of a masked star, over the part of the frame that was fitted.
///
/// # Errors
/// [`PictureError`] when the magnified picture would be too large.
pub fn draw(
    values: &Array2<f64>,
    found: &Measurement,
    instrument: &Instrument,
) -> Result<Canvas, PictureError> {
    let [corner, size] = found.cut_px;
    let span = |axis: usize| Slice::from(corner[axis]..corner[axis] + size[axis]);
    let part = values.slice_axis(Axis(0), span(1));
    let part = part.slice_axis(Axis(1), span(0)).to_owned();
    let gray = display(&part, &Stretch::of(&part));
    let magnification = (SIDE_PX / size[0].max(size[1])).max(1);
    let words = captions(found);
    let below = MARGIN_PX * 2 + LINE_PX * words.len();
    let width = (size[0] * magnification).max(600) + 2 * MARGIN_PX;
    let mut canvas = Canvas::new(width, size[1] * magnification + below + MARGIN_PX, BLACK)?;
    let view = canvas.gray(&gray, [MARGIN_PX, below], magnification);
    canvas.edge(&view, EDGE);
    let inside = |place: [f64; 2]| [0, 1].map(|axis| place[axis] - corner[axis] as f64);
    ring(&mut canvas, &view, found, &inside);
    streaks(&mut canvas, &view, found, instrument, inside(found.star_px));
    let page = View::whole(&canvas);
    for (number, (line, colour)) in words.iter().rev().enumerate() {
        let place = [
            MARGIN_PX as f64,
            (MARGIN_PX + LINE_PX * number + LINE_PX / 2) as f64,
        ];
        canvas.text(&page, place, line, &TextStyle::CAPTION.with_colour(*colour));
    }
    Ok(canvas)
}

fn ring(
    canvas: &mut Canvas,
    view: &View,
    found: &Measurement,
    inside: &dyn Fn([f64; 2]) -> [f64; 2],
) {
    let Some(ring) = &found.ring else {
        canvas.cross(view, inside(found.star_px), 8.0, &Stroke::PALE);
        return;
    };
    let outer = inside(ring.outer_centre_px);
    canvas.circle(view, outer, ring.outer_radius_px, &Stroke::AMBER);
    canvas.cross(view, outer, 7.0, &Stroke::AMBER);
    let (Some(dark), Some(radius)) = (ring.dark_centre_px, ring.inner_radius_px) else {
        return;
    };
    canvas.circle(view, inside(dark), radius, &Stroke::STEEL);
    canvas.cross(view, inside(dark), 7.0, &Stroke::STEEL);
    if let Some(shift) = ring.dark_shift_px().filter(|s| s[0].hypot(s[1]) >= 0.3) {
        let size = shift[0].hypot(shift[1]);
        let at = |r: f64| [0, 1].map(|axis| outer[axis] + r * shift[axis] / size);
        let (from, to) = (1.04 * ring.outer_radius_px, 1.18 * ring.outer_radius_px);
        canvas.arrow(view, at(from), at(to), &Stroke::STEEL);
    }
}

/// Pale: where the aligned telescope would put a streak; amber: where it is.
fn streaks(
    canvas: &mut Canvas,
    view: &View,
    found: &Measurement,
    instrument: &Instrument,
    star_px: [f64; 2],
) {
    let axes = frame_axes(instrument);
    let reach = 0.48 * found.cut_px[1][0].min(found.cut_px[1][1]) as f64;
    for streak in &found.streaks {
        let slot = axes.forward([libm::cos(streak.slot_rad), libm::sin(streak.slot_rad)]);
        for (shift, stroke) in [(Some(0.0), Stroke::PALE), (streak.shift_px, Stroke::AMBER)] {
            let Some(shift) = shift else { continue };
            for side in [-1.0, 1.0] {
                let at = |r: f64| {
                    [
                        star_px[0] + shift * slot[0] - side * r * slot[1],
                        star_px[1] + shift * slot[1] + side * r * slot[0],
                    ]
                };
                canvas.line(
                    view,
                    at(0.72 * reach),
                    at(reach),
                    &stroke.with_width_px(1.5),
                );
            }
        }
    }
}

type Caption = (String, crate::image_io::canvas::Rgb);

fn captions(found: &Measurement) -> Vec<Caption> {
    let mut words: Vec<Caption> = Vec::new();
    if let (Some(x), Some(y)) = (found.mode_m(8), found.mode_m(7)) {
        let size = x.value.hypot(y.value) / NM;
        let doubt = x.sigma.unwrap_or(0.0).hypot(y.sigma.unwrap_or(0.0)) / NM;
        words.push((format!("coma {size:.1} ± {doubt:.1} nm RMS"), DIM));
    }
    if let Some(ring) = &found.ring {
        words.push((
            format!("solid: outer edge, radius {:.1} px", ring.outer_radius_px),
            AMBER,
        ));
        if let (Some(radius), Some(shift)) = (ring.inner_radius_px, ring.dark_shift_px()) {
            let size = shift[0].hypot(shift[1]);
            words.push((
                format!("dashed: dark centre, radius {radius:.1} px, pushed {size:.2} px"),
                STEEL,
            ));
        }
    }
    if !found.streaks.is_empty() {
        words.push((
            "at the border: pale where each streak should run".into(),
            DIM,
        ));
        words.push(("solid where it runs".into(), AMBER));
    }
    words
}
