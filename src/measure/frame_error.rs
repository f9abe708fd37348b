//! Why a frame cannot be measured, in words for whoever took it.

use thiserror::Error;

/// Why a frame cannot be measured.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FrameError {
    /// There are too few pixels for a star and what lies behind it.
    #[error(
        "the frame has {width_px} × {height_px} pixels; at least {} × {} are needed",
        FrameError::LEAST_SIDE_PX,
        FrameError::LEAST_SIDE_PX
    )]
    TooSmall {
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
    },
    /// All pixels are the same.
    #[error("the frame is blank: every pixel holds {value}")]
    Blank {
        /// What they hold.
        value: f64,
    },
    /// Some pixels hold no number.
    #[error("{count} pixels of the frame hold no number; the first is in column {}, row {}", first_px[0], first_px[1])]
    NotFinite {
        /// How many.
        count: usize,
        /// Column and row of the first, row 0 at the bottom.
        first_px: [usize; 2],
    },
    /// Nothing stands out of the noise.
    #[error(
        "nothing stands out of the noise: the best place, ({:.0}, {:.0}) px, is {best_sigma:.1} sigma above it, and {limit_sigma:.1} are asked for",
        place_px[0], place_px[1]
    )]
    NothingFound {
        /// How far the best place stands out, in standard deviations of the noise at its scale.
        best_sigma: f64,
        /// What is asked for.
        limit_sigma: f64,
        /// Where it is.
        place_px: [f64; 2],
    },
    /// The star reaches opposite edges, so that nothing is left to compare it with.
    #[error(
        "the star fills the frame of {width_px} × {height_px} pixels and reaches its opposite edges"
    )]
    FillsFrame {
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
    },
    /// The place that was asked for is not on the frame.
    #[error("({}, {}) px is outside the frame of {width_px} × {height_px} pixels", place_px[0], place_px[1])]
    PlaceOutside {
        /// What was asked for.
        place_px: [f64; 2],
        /// Columns.
        width_px: usize,
        /// Rows.
        height_px: usize,
    },
}

impl FrameError {
    /// The least width and height of a frame.
    pub const LEAST_SIDE_PX: usize = 8;

    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            FrameError::TooSmall { .. } => "use the camera's frame, or cut it less tightly",
            FrameError::Blank { .. } => {
                "take the cap off, see whether the camera delivers frames at all, and expose again"
            }
            FrameError::NotFinite { .. } => {
                "use the frame as the camera saved it, before calibration or stacking"
            }
            FrameError::NothingFound { .. } => {
                "expose longer, choose a brighter star, or see that it is on the sensor"
            }
            FrameError::FillsFrame { .. } => {
                "use a larger part of the sensor, or defocus less: a border of dark sky is needed all round. A sky that brightens strongly across a frame without a star looks the same"
            }
            FrameError::PlaceOutside { .. } => {
                "give column and row counted from 0 at the bottom left"
            }
        }
    }
}
