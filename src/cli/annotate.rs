//! `--annotate`: the star's geometry drawn on its picture, with a few words under it.

use super::marks::{self, Caption, LEAST_ARROW_PX, is_push};
use crate::image_io::PictureError;
use crate::image_io::canvas::{AMBER, Canvas, DIM, STEEL, Stroke, Viewport};
use crate::instrument::Instrument;
use crate::pupil::frame_direction;
use crate::simulate::{Truth, clock};
use crate::units::DEG;
use ndarray::Array2;

/// Draws the ring's edges, the push of the dark centre and the spikes over the displayed star.
///
/// # Errors
/// [`PictureError`] when the magnified picture would be too large.
pub fn draw(
    instrument: &Instrument,
    truth: &Truth,
    gray: &Array2<u8>,
) -> Result<Canvas, PictureError> {
    let (mut canvas, view) = marks::page(gray, &captions(truth))?;
    ring(&mut canvas, &view, truth);
    for spike in &truth.spikes {
        let slot = frame_direction(instrument, spike.slot_deg * DEG).xy();
        let (star_px, shift_px) = (truth.star_px.xy(), spike.shift_px);
        marks::spike(&mut canvas, &view, star_px, slot, shift_px, &Stroke::AMBER);
    }
    Ok(canvas)
}

fn ring(canvas: &mut Canvas, view: &Viewport, truth: &Truth) {
    let Some(ring) = truth.doughnut.as_ref().filter(|_| truth.spikes.is_empty()) else {
        canvas.cross(view, truth.star_px.xy(), 8.0, &Stroke::PALE);
        return;
    };
    let to = 1.38 * ring.outer_radius_px;
    let ring = marks::RingMark {
        outer: (ring.outer_centre_px.xy(), ring.outer_radius_px),
        dark: ring
            .dark_centre_px
            .map(|dark| dark.xy())
            .zip(ring.inner_radius_px),
        shift_px: ring.dark_shift_px.map(|shift| shift.xy()),
        arrow_px: [(1.08 * ring.outer_radius_px).min(to - LEAST_ARROW_PX), to],
    };
    marks::ring(canvas, view, &ring);
}

fn captions(truth: &Truth) -> Vec<Caption> {
    let mut words = vec![(truth.title.clone(), DIM)];
    if let Some(ring) = truth.doughnut.as_ref().filter(|_| truth.spikes.is_empty()) {
        words.push((
            format!("solid: outer edge, radius {:.1} px", ring.outer_radius_px),
            AMBER,
        ));
        if let (Some(radius), Some(shift)) = (ring.inner_radius_px, ring.dark_shift_px) {
            let push = shift.length();
            let towards = if is_push(shift.xy()) {
                format!(" towards {}", clock(shift))
            } else {
                String::new()
            };
            words.push((
                format!("dashed: dark centre, radius {radius:.1} px, pushed {push:.2} px{towards}"),
                STEEL,
            ));
        }
    }
    if !truth.spikes.is_empty() {
        words.push(("lines at the border: where each spike runs".into(), AMBER));
    }
    words
}
