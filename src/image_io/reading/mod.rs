//! A stranger's file → pixel values to measure: FITS, PNG, TIFF and JPEG, told apart by what they contain, not by their names.
//!
//! Values are as the file has them, row 0 at the bottom. Nothing is stretched, averaged over colours or made up: of three planes the
//! green one is taken, which measuring then takes to have passed the green filter where the camera has a filter array, and a flag says
//! so. Pixels that hold no number are listed, to be left out. What makes a picture less than a measurement (lossy packing, eight bits,
//! colours filled in) is flagged; what makes it none (stacks, tables, numbers missing by half, cut-off files) is refused. Sizes are
//! checked against the file's length before any array is made. DEVELOPERS.md, "Image files", lists what becomes of which file.

mod error;
mod looks;
mod missing;
mod picture;
mod planes;
mod tiff;

pub use error::ReadingError;

use super::fits::{self, Planes};
use crate::flag::{Flag, Flags};
use looks::{Format, Looks};
use ndarray::Array2;

/// What is read of a file.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Pixel values, all finite; element `[[row, column]]`, row 0 at the bottom.
    pub values: Array2<f64>,
    /// Pixels that hold no number in the file, `[column, row]`; in `values` they have the median of the numbers around them.
    pub missing_px: Vec<[usize; 2]>,
    /// Whether the file has colours, of which `values` are the green ones.
    pub colour: bool,
    /// Bits of a stored value.
    pub bits: u32,
    /// Largest value that 8 or 16 bits can hold, scaled as the values are; `None` for wider ones, which no camera fills.
    pub ceiling: Option<f64>,
    /// Pixel pitch, where the file says it.
    pub pixel_m: Option<f64>,
    /// Focal length, where the file says it.
    pub focal_length_m: Option<f64>,
    /// Exposure, where the file says it.
    pub exposure_s: Option<f64>,
    /// When the exposure began by the camera's clock, seconds since 1970-01-01 UTC, where the file says it.
    pub began_s: Option<f64>,
    /// Electrons per count, where the file says it.
    pub gain_e_per_adu: Option<f64>,
    /// Colour filter array, as the file's card writes it; its colours are still mixed in `values`.
    pub colour_card: Option<String>,
    /// The same as the pattern from row 0 of `values` upwards; `None` where the card is no pattern.
    pub colour_pattern: Option<String>,
    /// Whether the sky is mirrored in `values`, where the file says how the sky lies in it.
    pub sky_mirrored: Option<bool>,
    /// What a measurement must know.
    pub flags: Flags,
    /// What looked wrong but did not stop the reading, one sentence each.
    pub warnings: Vec<String>,
}

impl Reading {
    /// Values of which nothing else is known.
    fn of(values: Array2<f64>) -> Reading {
        Reading {
            values,
            missing_px: Vec::new(),
            colour: false,
            bits: 0,
            ceiling: None,
            pixel_m: None,
            focal_length_m: None,
            exposure_s: None,
            began_s: None,
            gain_e_per_adu: None,
            colour_card: None,
            colour_pattern: None,
            sky_mirrored: None,
            flags: Flags::default(),
            warnings: Vec::new(),
        }
    }

    /// The same with the pixels that hold no number listed and filled, flagged and told.
    fn without_missing(mut self, name: &str) -> Result<Reading, ReadingError> {
        let Some(missing_px) = missing::fill(&mut self.values) else {
            return Err(ReadingError::NotFinite {
                name: name.into(),
                count: self.values.iter().filter(|v| !v.is_finite()).count(),
                pixels: self.values.len(),
            });
        };
        if !missing_px.is_empty() {
            self.flags.raise(Flag::PixelsLeftOut);
            self.warnings.push(format!(
                "{} of {} pixels hold no number; they are left out",
                missing_px.len(),
                self.values.len()
            ));
        }
        self.missing_px = missing_px;
        Ok(self)
    }
}

/// Reads an image file. `name` is used in messages, and to tell a picture from a raw file that begins in the same way.
///
/// # Errors
/// [`ReadingError`] for everything that is no single image of numbers; see there. No input makes this panic
/// (`reading::tests::changed_bytes_never_panic`).
pub fn read_image(bytes: &[u8], name: &str) -> Result<Reading, ReadingError> {
    let reading = match Looks::of(bytes) {
        Looks::Fits => from_fits(bytes, name)?,
        Looks::Picture(Format::Tiff) => tiff::read(bytes, name)?,
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
    large_enough(reading, name)
}

/// Takes values that a program holds as a file of whole numbers of so many bits would give them. `name` is used in messages.
///
/// # Errors
/// [`ReadingError::TooSmall`], and [`ReadingError::NotFinite`] where half of the pixels hold no number.
pub fn take_values(
    values: Array2<f64>,
    bits: u32,
    ceiling: Option<f64>,
    name: &str,
) -> Result<Reading, ReadingError> {
    let mut flags = Flags::default();
    if bits == 8 {
        flags.raise(Flag::EightBits);
    }
    large_enough(
        Reading {
            bits,
            ceiling,
            flags,
            ..Reading::of(values)
        },
        name,
    )
}

/// The reading, its missing pixels filled, where it is large enough to be a frame.
fn large_enough(reading: Reading, name: &str) -> Result<Reading, ReadingError> {
    let (height_px, width_px) = reading.values.dim();
    if height_px < 2 || width_px < 2 {
        return Err(ReadingError::TooSmall {
            name: name.into(),
            width_px,
            height_px,
        });
    }
    reading.without_missing(name)
}

fn from_fits(bytes: &[u8], name: &str) -> Result<Reading, ReadingError> {
    let image = fits::read(bytes).map_err(|reason| ReadingError::Fits {
        name: name.into(),
        reason,
    })?;
    let mut flags = Flags::default();
    if image.bits == 8 {
        flags.raise(Flag::EightBits);
    }
    if image.lossy {
        flags.raise(Flag::Lossy);
    }
    let colour = image.planes == Some(Planes::Colours);
    match image.planes {
        Some(Planes::Colours) => flags.extend([Flag::InterpolatedColour]),
        Some(Planes::Grey) => flags.extend([Flag::GreySavedAsColour]),
        None if image.colour_card.is_some() => flags.extend([Flag::ColourFilterArray]),
        None => {}
    }
    // colours that were filled in have no pattern any more, whatever the card still says
    let mosaic = image.planes.is_none();
    Ok(Reading {
        colour,
        bits: image.bits,
        ceiling: image.ceiling,
        pixel_m: image.pixel_m,
        focal_length_m: image.focal_length_m,
        exposure_s: image.exposure_s,
        began_s: image.began_s,
        gain_e_per_adu: image.gain_e_per_adu,
        colour_card: image.colour_card.filter(|_| mosaic),
        colour_pattern: image.colour_pattern.filter(|_| mosaic),
        sky_mirrored: image.sky_mirrored,
        flags,
        warnings: image.warnings,
        ..Reading::of(image.pixels)
    })
}

#[cfg(test)]
mod tests;
