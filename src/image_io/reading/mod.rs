//! A stranger's file → pixel values to measure: FITS, PNG, TIFF and JPEG, told apart by what they contain, not by their names.
//!
//! Values are as the file has them, row 0 at the bottom. Nothing is stretched, averaged over colours or made up: of a colour
//! picture the green plane is taken and a flag says so. What makes a picture less than a measurement (lossy packing, eight bits,
//! colours filled in) is flagged; what makes it none (cubes, tables, missing numbers, cut-off files) is refused. Sizes are
//! checked against the file's length before any array is made.

mod error;
mod looks;
mod picture;

pub use error::ReadingError;

use super::fits;
use crate::flag::{Flag, Flags};
use looks::Looks;
use ndarray::Array2;

/// What is read of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Pixel values, all finite; element `[[row, column]]`, row 0 at the bottom.
    pub values: Array2<f64>,
    /// Whether the file has colours, of which `values` are the green ones.
    pub colour: bool,
    /// Bits of a stored value.
    pub bits: u32,
    /// Largest value that 8 or 16 bits can hold, scaled as the values are; `None` for wider ones, which no camera fills.
    pub ceiling: Option<f64>,
    /// Pixel pitch, where the file says it.
    pub pixel_m: Option<f64>,
    /// Exposure, where the file says it.
    pub exposure_s: Option<f64>,
    /// Electrons per count, where the file says it.
    pub gain_e_per_adu: Option<f64>,
    /// Colour filter array, as the file writes it; its colours are still mixed in `values`.
    pub colour_pattern: Option<String>,
    /// What a measurement must know.
    pub flags: Flags,
    /// What looked wrong but did not stop the reading, one sentence each.
    pub warnings: Vec<String>,
}

/// Reads an image file. `name` is used in messages, and to tell a picture from a raw file that begins in the same way.
///
/// # Errors
/// [`ReadingError`] for everything that is no single image of finite numbers; see there. No input makes this panic
/// (`reading::tests::changed_bytes_never_panic`).
pub fn read_image(bytes: &[u8], name: &str) -> Result<Reading, ReadingError> {
    let reading = match Looks::of(bytes) {
        Looks::Fits => from_fits(bytes, name)?,
        Looks::Picture(format) => picture::read(bytes, name, format)?,
        Looks::Nothing => {
            return Err(ReadingError::Empty { name: name.into() });
        }
        Looks::Other(what) => {
            return Err(ReadingError::Unknown {
                name: name.into(),
                what,
            });
        }
    };
    let (height_px, width_px) = reading.values.dim();
    if height_px < 2 || width_px < 2 {
        return Err(ReadingError::TooSmall {
            name: name.into(),
            width_px,
            height_px,
        });
    }
    Ok(reading)
}

fn from_fits(bytes: &[u8], name: &str) -> Result<Reading, ReadingError> {
    let image = fits::read(bytes).map_err(|reason| ReadingError::Fits {
        name: name.into(),
        reason,
    })?;
    if image.not_finite_px > 0 {
        return Err(ReadingError::NotFinite {
            name: name.into(),
            count: image.not_finite_px,
            pixels: image.pixels.len(),
        });
    }
    let mut flags = Flags::default();
    if image.bits == 8 {
        flags.raise(Flag::EightBits);
    }
    if image.colour_pattern.is_some() {
        flags.raise(Flag::ColourFilterArray);
    }
    Ok(Reading {
        values: image.pixels,
        colour: false,
        bits: image.bits,
        ceiling: image.ceiling,
        pixel_m: image.pixel_m,
        exposure_s: image.exposure_s,
        gain_e_per_adu: image.gain_e_per_adu,
        colour_pattern: image.colour_pattern,
        flags,
        warnings: image.warnings,
    })
}

#[cfg(test)]
mod tests;
