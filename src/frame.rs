//! A [`Frame`]: counts as a camera delivers them, with what is needed to read them. Shared by simulation, files and measurement.
//!
//! Row 0 is the bottom row; +x right, +y up; pixel (0, 0) has its centre at (0, 0).

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
}

impl Frame {
    /// Number of pixels at or above saturation.
    pub fn saturated_px(&self) -> usize {
        self.counts_adu
            .iter()
            .filter(|&&adu| adu >= self.saturation_adu)
            .count()
    }
}
