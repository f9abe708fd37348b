//! What annotated pictures share: a magnified frame over its captions, the ring, its arrow, and lines along spikes.

use crate::image_io::PictureError;
use crate::image_io::canvas::{BLACK, Canvas, EDGE, Rgb, Stroke, TextStyle, Viewport, shorten};
use ndarray::Array2;

/// The picture is magnified to about this many canvas pixels.
const SIDE_PX: usize = 640;
const MARGIN_PX: usize = 16;
const LINE_PX: usize = 20;

/// A line under the picture and its colour.
pub(super) type Caption = (String, Rgb);

/// The displayed frame, magnified, with room for captions under it.
///
/// # Errors
/// [`PictureError`] when the magnified picture would be too large.
pub(super) fn page(
    gray: &Array2<u8>,
    captions: &[Caption],
) -> Result<(Canvas, Viewport), PictureError> {
    let (height, width) = gray.dim();
    let magnification = (SIDE_PX / height.max(width)).max(1);
    let below = MARGIN_PX * 2 + LINE_PX * captions.len();
    let canvas_width = (width * magnification).max(600) + 2 * MARGIN_PX;
    let canvas_height = height * magnification + below + MARGIN_PX;
    let mut canvas = Canvas::new(canvas_width, canvas_height, BLACK)?;
    let view = canvas.gray(gray, [MARGIN_PX, below], magnification);
    canvas.edge(&view, EDGE);
    let page = Viewport::whole(&canvas);
    let room = (canvas_width - 2 * MARGIN_PX) as f64;
    for (number, (line, colour)) in captions.iter().rev().enumerate() {
        let place = [
            MARGIN_PX as f64,
            (MARGIN_PX + LINE_PX * number + LINE_PX / 2) as f64,
        ];
        let line = shorten(line, TextStyle::CAPTION.size_px, room);
        let style = TextStyle::CAPTION.with_colour(*colour);
        canvas.text(&page, place, &line, &style);
    }
    Ok((canvas, view))
}

/// A doughnut: the outer edge, the dark centre where it is seen, and which way that was pushed.
pub(super) struct RingMark {
    /// Centre and radius of the outer edge.
    pub outer: ([f64; 2], f64),
    /// The same of the dark centre.
    pub dark: Option<([f64; 2], f64)>,
    /// From the outer centre to the dark one.
    pub shift_px: Option<[f64; 2]>,
    /// Where the arrow starts and ends, from the outer centre.
    pub arrow_px: [f64; 2],
}

/// Draws a doughnut. The arrow stands outside the ring, where it hides nothing, and stays in the frame.
pub(super) fn ring(canvas: &mut Canvas, view: &Viewport, ring: &RingMark) {
    let (centre, radius) = ring.outer;
    canvas.circle(view, centre, radius, &Stroke::AMBER);
    canvas.cross(view, centre, 7.0, &Stroke::AMBER);
    let Some((dark, dark_radius)) = ring.dark else {
        return;
    };
    canvas.circle(view, dark, dark_radius, &Stroke::STEEL);
    canvas.cross(view, dark, 7.0, &Stroke::STEEL);
    if let Some(shift) = ring.shift_px.filter(|s| is_push(*s)) {
        let size = shift[0].hypot(shift[1]);
        let along = [shift[0] / size, shift[1] / size];
        let [from, to] = within(view, centre, along, ring.arrow_px);
        let at = |r: f64| [centre[0] + r * along[0], centre[1] + r * along[1]];
        canvas.arrow(view, at(from), at(to), &Stroke::STEEL);
    }
}

/// Whether a dark centre was pushed far enough to be spoken of.
pub(super) fn is_push(shift_px: [f64; 2]) -> bool {
    shift_px[0].hypot(shift_px[1]) >= 0.3
}

/// Least length of an arrow that is drawn back, in frame pixels.
pub(super) const LEAST_ARROW_PX: f64 = 4.0;

/// Start and end of an arrow along a way from a place, drawn back where it would not end in the frame.
fn within(view: &Viewport, place: [f64; 2], along: [f64; 2], [from, to]: [f64; 2]) -> [f64; 2] {
    let edge = way_to_edge(view.frame_px(), place, along);
    if to <= edge {
        [from, to]
    } else {
        [from.min(edge - LEAST_ARROW_PX), edge]
    }
}

/// How far it is from a place to the edge of the picture, in frame pixels.
fn way_to_edge(frame_px: [f64; 2], from: [f64; 2], along: [f64; 2]) -> f64 {
    frame_px
        .into_iter()
        .enumerate()
        .filter(|(axis, _)| along[*axis] != 0.0)
        .map(|(axis, side)| {
            let edge = if along[axis] > 0.0 { side - 1.0 } else { 0.0 };
            (edge - from[axis]) / along[axis]
        })
        .fold(f64::INFINITY, f64::min)
}

/// A line along a spike, at right angles to its slots and `shift_px` along them from the star; it starts beside the star and
/// leaves the bright middle free.
pub(super) fn spike(
    canvas: &mut Canvas,
    view: &Viewport,
    star_px: [f64; 2],
    slot: [f64; 2],
    shift_px: f64,
    stroke: &Stroke,
) {
    let [width, height] = view.frame_px();
    let reach = 0.48 * width.min(height);
    let foot = [0, 1].map(|axis| star_px[axis] + shift_px * slot[axis]);
    for side in [-1.0, 1.0] {
        let at = |r: f64| [foot[0] - side * r * slot[1], foot[1] + side * r * slot[0]];
        let stroke = stroke.with_width_px(1.5);
        canvas.line(view, at(0.72 * reach), at(reach), &stroke);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_arrow_ends_in_the_frame() {
        let canvas = &mut Canvas::new(200, 200, BLACK).expect("a canvas");
        let view = canvas.gray(&Array2::zeros((30, 40)), [5, 5], 2);
        let arrow = |along| within(&view, [20.0, 11.0], along, [10.5, 13.0]);
        assert_eq!(arrow([1.0, 0.0]), [10.5, 13.0], "there is room");
        assert_eq!(arrow([0.0, -1.0]), [7.0, 11.0], "down there is not");
        assert_eq!(way_to_edge([40.0, 30.0], [20.0, 11.0], [0.6, 0.8]), 22.5);
    }
}
