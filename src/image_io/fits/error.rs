//! Why a FITS file could not be written or read, in words for a person who does not know the format.

use super::MAX_PIXELS;
use thiserror::Error;

/// Why a FITS file could not be written or read.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FitsError {
    /// The bytes do not begin as a FITS file must.
    #[error("this is not a FITS file: it does not begin with SIMPLE")]
    NotFits,
    /// The bytes are a compressed file that is not read.
    #[error(
        "this file is compressed with {program}, and it is no FITS file that is packed so; a FITS file, plain or inside gzip, is needed"
    )]
    Packed {
        /// What it was packed with.
        program: &'static str,
    },
    /// There is no image in the file.
    #[error("this FITS file holds no image")]
    NoImage,
    /// There are tables only.
    #[error("this FITS file holds a table, not an image")]
    Table,
    /// It is packed with gzip, and what is in it is broken or ends early.
    #[error("what is packed in this file with gzip cannot be unpacked: {reason}")]
    BrokenGzip {
        /// What the library found.
        reason: String,
    },
    /// It is packed with gzip, and unpacks to more than is read.
    #[error("this file is packed with gzip and unpacks to more than {limit} bytes")]
    UnpacksTooLarge {
        /// Most bytes that are unpacked.
        limit: u64,
    },
    /// The image is packed in tiles that the FITS library cannot unpack.
    #[error(
        "the image in this FITS file is packed in tiles by {method}, which cannot be unpacked: {reason}"
    )]
    Tiles {
        /// What the card ZCMPTYPE says.
        method: String,
        /// What the library found.
        reason: String,
    },
    /// The image has neither one plane nor three, or is a line.
    #[error(
        "the image in this FITS file has the shape {}; columns × rows are needed, or columns × rows × 3 colours",
        join(shape)
    )]
    NotOnePlane {
        /// Axis lengths as the file gives them.
        shape: Vec<usize>,
    },
    /// A side of the image is zero.
    #[error("the image in this FITS file is empty: {width_px} columns × {height_px} rows")]
    Empty {
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
    },
    /// More pixels than are read.
    #[error(
        "the image has {width_px} × {height_px} pixels; at most {} million are read",
        MAX_PIXELS / 1_000_000
    )]
    TooLarge {
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
    },
    /// The file ends before its pixels do.
    #[error(
        "the file is cut short: its header promises {needed_bytes} bytes of pixels, the whole file has {present_bytes} bytes"
    )]
    CutShort {
        /// Bytes the pixels would take.
        needed_bytes: usize,
        /// Bytes of the file.
        present_bytes: usize,
    },
    /// The row order is given in a word that is not known.
    #[error("the card ROWORDER says {value:?}; only 'BOTTOM-UP' and 'TOP-DOWN' are known")]
    RowOrder {
        /// What the card says.
        value: String,
    },
    /// A pixel holds something that no camera counts.
    #[error(
        "the pixel in column {column}, row {row} (counted from 0 at the bottom left) holds {value}; counts are whole numbers from 0 to 65535"
    )]
    NotCounts {
        /// Column, from 0.
        column: usize,
        /// Row, from 0 at the bottom.
        row: usize,
        /// What it holds.
        value: f64,
    },
    /// A value to be written is not a finite number.
    #[error("the pixel in column {column}, row {row} is {value}, which is not written to a file")]
    NotFinite {
        /// Column, from 0.
        column: usize,
        /// Row, from 0 at the bottom.
        row: usize,
        /// What it holds.
        value: f64,
    },
    /// A card cannot be written.
    #[error("the card {keyword} cannot be written: {reason}")]
    Card {
        /// Its keyword.
        keyword: String,
        /// Why not.
        reason: String,
    },
    /// The file breaks the FITS standard, or the image to be written does.
    #[error("FITS: {reason}")]
    Malformed {
        /// What the FITS library found.
        reason: String,
    },
}

impl FitsError {
    /// What to try next, where there is something to try.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            FitsError::NotFits => {
                Some("save the frame as FITS (file ending .fits or .fit) in the camera program")
            }
            FitsError::Packed { .. } => Some("unpack the file first"),
            FitsError::Tiles { .. } => {
                Some("save it without compression, or packed with RICE_1 or GZIP_2")
            }
            FitsError::BrokenGzip { .. } => Some("copy or download the file again"),
            FitsError::UnpacksTooLarge { .. } => {
                Some("unpack it first, and cut out the part with the star")
            }
            FitsError::NotOnePlane { .. } => Some(
                "a stack of frames: save one of them; a colour image: save the camera's raw frame, or three planes or one colour of it",
            ),
            FitsError::TooLarge { .. } => Some("cut out the part with the star"),
            FitsError::CutShort { .. } => Some("copy or download the file again"),
            FitsError::RowOrder { .. } => {
                Some("correct the card, or remove it if the first row is the bottom row")
            }
            FitsError::NotCounts { .. } => {
                Some("use the frame as the camera saved it, before any processing")
            }
            FitsError::NoImage | FitsError::Table | FitsError::Empty { .. } => {
                Some("use a file that holds one star frame")
            }
            FitsError::NotFinite { .. } | FitsError::Card { .. } | FitsError::Malformed { .. } => {
                None
            }
        }
    }
}

fn join(shape: &[usize]) -> String {
    shape
        .iter()
        .map(usize::to_string)
        .collect::<Vec<_>>()
        .join(" × ")
}
