//! `measure --annotate`: what was found, drawn on the frame, in the look of the other annotated pictures.

use super::marks::{self, Caption};
use crate::image_io::PictureError;
use crate::image_io::canvas::{AMBER, Canvas, DIM, STEEL, Stroke, Viewport};
use crate::image_io::stretch::{Stretch, display};
use crate::instrument::Instrument;
use crate::measure::Measurement;
use crate::pupil::frame_axes;
use crate::units::NM;
use ndarray::{Array2, Axis, Slice};

/// Draws edges and push of a doughnut, or the spikes of a masked star, over the part of the frame that was fitted.
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
    let (mut canvas, view) = marks::page(&gray, &captions(found))?;
    let inside = |place: [f64; 2]| [0, 1].map(|axis| place[axis] - corner[axis] as f64);
    ring(&mut canvas, &view, found, &inside);
    spikes(&mut canvas, &view, found, instrument, inside(found.star_px));
    Ok(canvas)
}

fn ring(
    canvas: &mut Canvas,
    view: &Viewport,
    found: &Measurement,
    inside: &dyn Fn([f64; 2]) -> [f64; 2],
) {
    let Some(ring) = &found.ring else {
        canvas.cross(view, inside(found.star_px), 8.0, &Stroke::PALE);
        return;
    };
    let ring = marks::RingMark {
        outer: (inside(ring.outer_centre_px), ring.outer_radius_px),
        dark: ring.dark_centre_px.map(inside).zip(ring.inner_radius_px),
        shift_px: ring.dark_shift_px(),
        arrow_px: [1.04, 1.18].map(|radii| radii * ring.outer_radius_px),
    };
    marks::ring(canvas, view, &ring);
}

/// Pale: where the aligned telescope would put a spike; amber: where it is.
fn spikes(
    canvas: &mut Canvas,
    view: &Viewport,
    found: &Measurement,
    instrument: &Instrument,
    star_px: [f64; 2],
) {
    let axes = frame_axes(instrument);
    for spike in &found.spikes {
        let slot = axes.forward([libm::cos(spike.slot_rad), libm::sin(spike.slot_rad)]);
        for (shift, stroke) in [(Some(0.0), Stroke::PALE), (spike.shift_px, Stroke::AMBER)] {
            if let Some(shift) = shift {
                marks::spike(canvas, view, star_px, slot, shift, &stroke);
            }
        }
    }
}

fn captions(found: &Measurement) -> Vec<Caption> {
    let mut words: Vec<Caption> = Vec::new();
    if let (Some(x), Some(y)) = (found.mode_m(8), found.mode_m(7)) {
        let size = x.value.hypot(y.value) / NM;
        let sigma = x.sigma.unwrap_or(0.0).hypot(y.sigma.unwrap_or(0.0)) / NM;
        words.push((format!("coma {size:.1} ± {sigma:.1} nm RMS"), DIM));
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
    if !found.spikes.is_empty() {
        words.push((
            "at the border: pale where each spike should run".into(),
            DIM,
        ));
        words.push(("solid where it runs".into(), AMBER));
    }
    words
}
