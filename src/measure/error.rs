//! Why a star cannot be measured, in words for whoever took the frame.

use super::FrameError;
use crate::predict::PredictError;
use thiserror::Error;

/// Why a star cannot be measured.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MeasureError {
    /// There is no star to be measured.
    #[error(transparent)]
    Frame(#[from] FrameError),
    /// The model cannot be computed.
    #[error(transparent)]
    Predict(#[from] PredictError),
    /// Too many pixels are full.
    #[error("{saturated_px} pixels of the star are full: too much of it is lost")]
    Full {
        /// How many.
        saturated_px: usize,
    },
    /// The edge of the frame cuts too much of the star off.
    #[error(
        "the star at ({:.0}, {:.0}) px is cut by the edge of the frame",
        centre_px[0],
        centre_px[1]
    )]
    CutByEdge {
        /// Centre of what is left.
        centre_px: [f64; 2],
    },
    /// No ring stands out.
    #[error("no ring of light is seen: the star at ({:.0}, {:.0}) px is in focus, or no doughnut", centre_px[0], centre_px[1])]
    NoRing {
        /// Centre of the star.
        centre_px: [f64; 2],
    },
    /// A mask was said to be on, and the instrument has none.
    #[error("the mask is said to be on, but the instrument has no [mask]")]
    NoMask,
    /// A card is said to be at a screw that the instrument does not have.
    #[error(
        "a card is said to be at screw {screw:?}, but the instrument has {}",
        match screws.is_empty() {
            true => "no screws".to_owned(),
            false => format!("the screws {}", screws.join(", ")),
        }
    )]
    NoSuchScrew {
        /// As named.
        screw: String,
        /// Names there are.
        screws: Vec<String>,
    },
    /// No card is seen.
    #[error(
        "no card is seen over the rim: no single stretch of the ring is dark, as a card at screw {screw} makes it"
    )]
    NoCard {
        /// At which screw it was to be.
        screw: String,
    },
    /// A third card is named.
    #[error("{count} cards are named, but two say all that cards can say")]
    ThirdCard {
        /// How many.
        count: usize,
    },
    /// Two frames are asked for with the mask on.
    #[error("a second frame is of use only without the mask")]
    SecondWithMask,
}

impl MeasureError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            MeasureError::Frame(error) => error.hint(),
            MeasureError::Predict(PredictError::TooLarge { .. }) => {
                "if the mask was off, say --mask off; if not, take a frame nearer to focus"
            }
            MeasureError::Predict(error) => error.hint(),
            MeasureError::Full { .. } => {
                "expose shorter, choose a fainter star, or spread it further"
            }
            MeasureError::CutByEdge { .. } => {
                "bring the star to the middle of the frame, or name another one with --at X,Y"
            }
            MeasureError::NoRing { .. } => {
                "defocus until the star is a ring at least 12 pixels wide; with the mask on, say --mask on"
            }
            MeasureError::NoMask => "describe the mask in the instrument file, or say --mask off",
            MeasureError::NoSuchScrew { .. } => {
                "name a screw of [assembly], for example --card-at A"
            }
            MeasureError::NoCard { .. } => {
                "hold a card about as wide as a hand over the rim at that screw, a third of the ring's width into the beam, and let nothing else stand in it"
            }
            MeasureError::ThirdCard { .. } => {
                "keep the two whose screws are farthest from being opposite to each other"
            }
            MeasureError::SecondWithMask => "leave --second out, or take the mask off for both",
        }
    }
}
