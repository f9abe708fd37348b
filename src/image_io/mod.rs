//! Frames and pictures as bytes of a file, and star frames of others as arrays: one format per file.
//!
//! | file | what it holds |
//! |---|---|
//! | `fits.rs`, `fits/` | counts and expected electrons as FITS, and reading a FITS image; the only room that calls the FITS library |
//! | `reading/` | any image file of others → values to measure, with flags and limits |
//! | `stretch.rs` | from electrons or counts to 256 grays for the eye |
//! | `png.rs`, `tiff.rs` | grays, colours and 16-bit counts as picture files |
//! | `npz.rs`, `zip.rs` | arrays for numpy; the archive that these and 3MF are |
//! | `canvas.rs`, `stroke.rs`, `text.rs` | drawing on a picture: lines, circles, arrows, labels |
//!
//! Every array and every coordinate has row 0 at the bottom, y up. FITS stores the bottom row first; PNG and TIFF store the
//! top row first, so the rows are turned over while writing and the picture looks the same everywhere.
//!
//! Nothing here opens a file: bytes come in, bytes go out. The same input gives the same bytes; only addition, multiplication,
//! division and square roots are used on the way, so that processors agree.

pub mod canvas;
pub mod fits;
pub mod npz;
pub mod png;
pub mod reading;
pub mod stretch;
mod stroke;
mod text;
pub mod tiff;
pub mod zip;

use crate::frame::Frame;
use thiserror::Error;

/// Why a picture could not be made.
#[derive(Debug, Error)]
pub enum PictureError {
    /// There is nothing to draw, or more than the file format can number.
    #[error(
        "a picture of {width_px} × {height_px} pixels cannot be written: each side must be from 1 to {}",
        MAX_SIDE_PX
    )]
    Size {
        /// Columns asked for.
        width_px: usize,
        /// Rows asked for.
        height_px: usize,
    },
    /// More pixels than [`MAX_CANVAS_PX`].
    #[error(
        "a picture of {width_px} × {height_px} pixels would need {} MB; at most {} million pixels are drawn",
        width_px.saturating_mul(*height_px).saturating_mul(3) / 1_000_000,
        MAX_CANVAS_PX / 1_000_000
    )]
    TooLarge {
        /// Columns asked for.
        width_px: usize,
        /// Rows asked for.
        height_px: usize,
    },
    /// The encoder refused.
    #[error("the picture could not be encoded: {0}")]
    Encode(#[from] image::ImageError),
}

impl PictureError {
    /// What to try next, where there is something to try.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            PictureError::Size { .. } => Some("a frame needs at least one row and one column"),
            PictureError::TooLarge { .. } => {
                Some("ask for fewer panels, smaller panels or a lower magnification")
            }
            PictureError::Encode(_) => None,
        }
    }
}

/// Longest side of a picture file, in pixels; other programs refuse longer ones.
pub const MAX_SIDE_PX: usize = 65_535;

/// Most pixels a canvas may have.
pub const MAX_CANVAS_PX: usize = 120_000_000;

/// Width and height as the encoders want them, or the error that says what is allowed.
fn picture_sides(height_px: usize, width_px: usize) -> Result<[u32; 2], PictureError> {
    let allowed = 1..=MAX_SIDE_PX;
    match (u32::try_from(width_px), u32::try_from(height_px)) {
        (Ok(width), Ok(height)) if allowed.contains(&width_px) && allowed.contains(&height_px) => {
            Ok([width, height])
        }
        _ => Err(PictureError::Size {
            width_px,
            height_px,
        }),
    }
}

/// Counts as the encoders want them, the top row first.
fn counts_from_the_top(frame: &Frame) -> Vec<u8> {
    let rows = frame.counts_adu.rows().into_iter().rev();
    rows.flatten().flat_map(|adu| adu.to_ne_bytes()).collect()
}
