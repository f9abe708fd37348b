//! The part of a frame about its star, and what is drawn over it.

use super::look::NightReport;
use crate::axes::FramePx;
use crate::instrument::Instrument;
use crate::measure::{RingDrawing, SpikeDrawing, StarDrawing};
use crate::pupil::frame_direction;
use crate::units::DEG;
use ndarray::{Array2, Axis, Slice};

/// The part of a frame about its star.
#[derive(Debug, Clone)]
pub struct StarCut {
    /// Its pixels, row 0 at the bottom.
    pub values_adu: Array2<f64>,
    /// The pixel of the frame that its first one is.
    pub corner_px: [usize; 2],
    /// The middle of the ring, or the star, in the frame.
    pub centre_px: [f64; 2],
    /// Radius of the ring; of a star without one, what is shown about it.
    pub radius_px: f64,
}

/// The share of the ring's radius that is shown about its middle: room for the arrows of the screws.
const SHOWN_RADII: f64 = 1.7;
/// Shown about a star that is no ring.
const POINT_RADIUS_PX: f64 = 24.0;

impl StarCut {
    /// Cuts the star of a report out of its frame.
    pub fn of(values_adu: &Array2<f64>, report: &NightReport) -> StarCut {
        let measured = &report.measured;
        let ring = measured.doughnut.as_ref();
        let (rows, columns) = values_adu.dim();
        let centre_px = ring
            .map(|ring| ring.outer_centre_px.xy())
            .or(measured.star_px.map(|star| star.xy()))
            .unwrap_or([0.5 * columns as f64, 0.5 * rows as f64]);
        let radius_px = ring.map_or(POINT_RADIUS_PX, |ring| ring.outer_radius_px);
        let half_px = (SHOWN_RADII * radius_px).ceil().clamp(16.0, 300.0) as usize;
        let span = |middle: f64, most: usize| {
            let low = (middle as isize - half_px as isize).clamp(0, most as isize) as usize;
            let high = (middle as isize + half_px as isize + 1).clamp(0, most as isize) as usize;
            low..high.max(low + 1).min(most)
        };
        let (across, up) = (span(centre_px[0], columns), span(centre_px[1], rows));
        let corner_px = [across.start, up.start];
        let part = values_adu.slice_axis(Axis(0), Slice::from(up));
        StarCut {
            values_adu: part.slice_axis(Axis(1), Slice::from(across)).to_owned(),
            corner_px,
            centre_px,
            radius_px,
        }
    }

    /// What is drawn over it.
    pub fn drawing(&self, report: &NightReport, instrument: &Instrument) -> StarDrawing {
        let (rows, columns) = self.values_adu.dim();
        let size = [columns, rows];
        let middle = FramePx::new(
            [0, 1].map(|axis| self.corner_px[axis] as f64 + (size[axis] as f64 - 1.0) / 2.0),
        );
        let from_middle = |place: FramePx| (place - middle).xy();
        let measured = &report.measured;
        let ring = measured.doughnut.as_ref().map(|ring| RingDrawing {
            centre_px: from_middle(ring.outer_centre_px),
            outer_px: ring.outer_radius_px,
            dark_px: ring.dark_centre_px.map(from_middle),
            inner_px: ring.inner_radius_px,
            thin_deg: ring.thin_side_deg,
        });
        let mut held = instrument.clone();
        held.camera.rotation_rad = report.knows.rotation_deg * DEG;
        held.camera.mirrored = report.knows.mirrored;
        let spikes = measured.spikes.iter().flatten().map(|spike| {
            // light leaves slots across them, and errors move it along them
            let [x, y] = frame_direction(&held, spike.slot_deg * DEG).xy();
            let shift = spike.light_px.unwrap_or(spike.shift_px);
            SpikeDrawing {
                along: [-y, x],
                aside_px: Some([shift * x, shift * y]),
            }
        });
        StarDrawing {
            star_px: measured.star_px.map_or([0.0; 2], from_middle),
            ring,
            spikes: spikes.collect(),
        }
    }
}
