//! The star of a night as it is drawn anew at each frame: its thin side shaded, and at the rim a lettered arrow for each screw that was turned.

use super::marks;
use crate::image_io::PictureError;
use crate::image_io::canvas::{AMBER, Canvas, PALE, Rgb, Stroke, TextStyle, Viewport};
use crate::image_io::stretch::{Stretch, display};
use crate::night::{NightReport, StarCut};
use crate::units::DEG;
use ndarray::Array2;

/// Half of the angle over which the thin side is shaded.
const THIN_DEG: f64 = 28.0;

/// Draws the star of a frame.
///
/// # Errors
/// [`PictureError`] when the magnified picture would be too large.
pub fn draw(values: &Array2<f64>, report: &NightReport) -> Result<Canvas, PictureError> {
    let measured = &report.measured;
    let ring = measured.doughnut.as_ref();
    let star = StarCut::of(values, report);
    let gray = display(&star.values_adu, &Stretch::of(&star.values_adu));
    let (mut canvas, view) = marks::page(&gray, &captions(report))?;
    let shown = Shown {
        view: &view,
        centre: [0, 1].map(|axis| star.centre_px[axis] - star.corner_px[axis] as f64),
        radius_px: star.radius_px,
    };
    if let Some(ring) = ring {
        shown.thin_side(&mut canvas, ring.thin_side_deg * DEG);
        for (name, arrow) in &report.knows.screws {
            shown.screw(&mut canvas, name, arrow.px_per_eighth);
        }
    }
    Ok(canvas)
}

fn captions(report: &NightReport) -> Vec<(String, Rgb)> {
    // the letters of pictures have no turning arrows
    let big = report
        .big
        .replace('↺', "anticlockwise")
        .replace('↻', "clockwise");
    let mut lines = vec![(big, AMBER)];
    if let Some(undone) = report.undone_nm {
        let stop = report.measured.stop_nm.map_or(String::new(), |stop| {
            format!("; good enough below {:.0} nm", stop.stop)
        });
        lines.push((
            format!(
                "coma that the screws can take away: {:.0} ± {:.0} nm RMS{stop}",
                undone.value,
                undone.sigma.unwrap_or(0.0)
            ),
            PALE,
        ));
    }
    if report.measured.doughnut.is_some() {
        lines.push(("arc: the thin side".into(), PALE));
    }
    if !report.knows.screws.is_empty() {
        lines.push((
            "letters: where the dark centre goes by 1/8 turn of a screw, clockwise facing its head"
                .into(),
            PALE,
        ));
    }
    lines
}

struct Shown<'a> {
    view: &'a Viewport,
    centre: [f64; 2],
    radius_px: f64,
}

impl Shown<'_> {
    fn place(&self, radii: f64, azimuth_rad: f64) -> [f64; 2] {
        let (sin, cos) = (libm::sin(azimuth_rad), libm::cos(azimuth_rad));
        let r = radii * self.radius_px;
        [self.centre[0] + r * cos, self.centre[1] + r * sin]
    }

    /// Three arcs beside the ring where it is thin.
    fn thin_side(&self, canvas: &mut Canvas, azimuth_rad: f64) {
        for radii in [1.06, 1.10, 1.14] {
            let arc: Vec<[f64; 2]> = (-14..=14)
                .map(|k| self.place(radii, azimuth_rad + THIN_DEG * DEG * f64::from(k) / 14.0))
                .collect();
            canvas.polyline(self.view, &arc, &Stroke::AMBER);
        }
    }

    /// An arrow at the rim, as long as the dark centre's way, but never too short to be seen nor out of the picture.
    fn screw(&self, canvas: &mut Canvas, name: &str, px: [f64; 2]) {
        let length = (px[0].hypot(px[1]) / self.radius_px).clamp(0.12, 0.3);
        let azimuth_rad = libm::atan2(px[1], px[0]);
        let [from, to] = [
            self.place(1.2, azimuth_rad),
            self.place(1.2 + length, azimuth_rad),
        ];
        canvas.arrow(self.view, from, to, &Stroke::STEEL);
        let letter = self.place(1.27 + length, azimuth_rad);
        canvas.text(
            self.view,
            letter,
            name,
            &TextStyle::CAPTION.with_colour(PALE),
        );
    }
}
