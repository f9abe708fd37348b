//! A [`Frame`]: counts as a camera delivers them, with what is needed to read them. Shared by simulation, files and measurement.
//!
//! Row 0 is the bottom row; +x right, +y up; pixel (0, 0) has its centre at (0, 0).

use crate::axes::FramePx;
use crate::units::DEG;
use ndarray::Array2;

/// Counts of a camera, 16 bits a pixel.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Counts, element `[[row, column]]`, row 0 at the bottom.
    pub counts_adu: Array2<u16>,
    /// Pixel pitch in metres.
    pub pixel_m: f64,
    /// Counts at which a pixel is full: the lower of full well and converter limit.
    pub saturation_adu: u16,
    /// Number of pixels that were full, or beyond the converter's limit; read noise hides some of them in the counts.
    pub saturated_px: usize,
}

/// Direction of a frame vector as on a clock face, and in degrees counter-clockwise from right.
///
/// ```
/// use skewstar::{axes::FramePx, frame::clock};
/// assert_eq!(clock(FramePx::new([0.0, 1.0])), "12 o'clock (90 degrees)");
/// assert_eq!(clock(FramePx::new([-1.0, 0.0])), "9 o'clock (180 degrees)");
/// assert_eq!(clock(FramePx::new([1.0, -0.001])), "3 o'clock (0 degrees)");
/// ```
pub fn clock(direction: FramePx) -> String {
    let degrees = (libm::atan2(direction[1], direction[0]) / DEG).rem_euclid(360.0);
    format!(
        "{} o'clock ({} degrees)",
        hour(degrees),
        degrees.round() % 360.0
    )
}

/// Hour on a clock face of a direction in degrees counter-clockwise from right.
pub fn hour(degrees: f64) -> u32 {
    let hours = ((90.0 - degrees) / 30.0).round().rem_euclid(12.0) as u32;
    if hours == 0 { 12 } else { hours }
}
