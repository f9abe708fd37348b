//! Why a file is not read, in words for whoever handed it in.

use super::super::fits::{FitsError, MAX_PIXELS};
use thiserror::Error;

/// Why a file is not read.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ReadingError {
    /// No bytes.
    #[error("{name}: the file is empty")]
    Empty {
        /// The file.
        name: String,
    },
    /// Not an image of a known kind.
    #[error("{name}: this is {what}, not a FITS, PNG, TIFF or JPEG image")]
    Unknown {
        /// The file.
        name: String,
        /// What it looks like.
        what: &'static str,
    },
    /// FITS, but not a single image.
    #[error("{name}: {reason}")]
    Fits {
        /// The file.
        name: String,
        /// What is wrong.
        reason: FitsError,
    },
    /// Half of the pixels or more hold no number; fewer are left out with a flag.
    #[error("{name}: {count} of {pixels} pixels hold no number; less than half may be without one")]
    NotFinite {
        /// The file.
        name: String,
        /// How many.
        count: usize,
        /// Of how many.
        pixels: usize,
    },
    /// Not a frame.
    #[error("{name}: the image has {width_px} × {height_px} pixels, too few for a star")]
    TooSmall {
        /// The file.
        name: String,
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
    },
    /// More pixels than are read.
    #[error(
        "{name}: the image has {width_px} × {height_px} pixels; at most {} million are read",
        MAX_PIXELS / 1_000_000
    )]
    TooLarge {
        /// The file.
        name: String,
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
    },
    /// The file is too short for its pixels, however they are packed.
    #[error(
        "{name}: the file is cut short: {width_px} × {height_px} pixels cannot be in {present_bytes} bytes"
    )]
    CutShort {
        /// The file.
        name: String,
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
        /// Bytes of the file.
        present_bytes: usize,
    },
    /// The decoder refused.
    #[error("{name}: the {format} file could not be read: {reason}")]
    Broken {
        /// The file.
        name: String,
        /// PNG, TIFF or JPEG.
        format: &'static str,
        /// What the decoder found.
        reason: String,
    },
    /// A TIFF picture of samples that are not read.
    #[error(
        "{name}: the TIFF file holds {kind}; grey or red, green and blue of 8, 16 or 32 bits or floating point are read"
    )]
    Samples {
        /// The file.
        name: String,
        /// What it holds.
        kind: String,
    },
    /// It begins like a TIFF file, but is not called one.
    #[error(
        "{name}: the file begins like a TIFF file, but its name does not end in .tif or .tiff: it may be a camera's raw file, whose first picture is only a preview"
    )]
    Preview {
        /// The file.
        name: String,
    },
}

impl ReadingError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            ReadingError::Empty { .. } | ReadingError::CutShort { .. } => {
                "copy or download the file again"
            }
            ReadingError::Unknown { .. } => {
                "save the frame as FITS, or as PNG or TIFF of 16 bits, in the camera program"
            }
            ReadingError::Fits { reason, .. } => reason
                .hint()
                .unwrap_or("save the frame again in the camera program, as one plain FITS image"),
            ReadingError::NotFinite { .. } => {
                "use the frame as the camera saved it, before calibration or stacking; one that was turned or moved: cut out the part that has light"
            }
            ReadingError::TooSmall { .. } => "use the camera's frame, or cut it less tightly",
            ReadingError::TooLarge { .. } => "cut out the part with the star",
            ReadingError::Broken { .. } => {
                "save the frame again, as FITS or as PNG or TIFF of 16 bits without layers"
            }
            ReadingError::Samples { .. } => "save it as grey with 16 bits a pixel, or as FITS",
            ReadingError::Preview { .. } => {
                "save the frame as FITS or as TIFF of 16 bits; if it is a plain TIFF file, give it that ending"
            }
        }
    }
}
