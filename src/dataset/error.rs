//! Why a set could not be made, with the item and the next step.

use crate::files::FileError;
use crate::image_io::fits::FitsError;
use crate::image_io::npz::NpzError;
use crate::mask::drawing::DrawingError;
use crate::scenario::ScenarioError;
use crate::scene::SceneError;
use std::path::PathBuf;

/// Why a set could not be made.
#[derive(Debug, thiserror::Error)]
pub enum SetError {
    /// Recipe, scenario, drawing or secret cannot be read.
    #[error(transparent)]
    File(#[from] FileError),
    /// The secret of a sealed set cannot be used.
    #[error("{} {reason}", path.display())]
    Secret {
        /// The file.
        path: PathBuf,
        /// Why not.
        reason: &'static str,
    },
    /// The recipe, or the scenario with its changes, was refused.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// A scenario that a draw led to was refused.
    #[error("item {item}: {source}")]
    Item {
        /// The item.
        item: u64,
        /// Why.
        source: ScenarioError,
    },
    /// A law did not meet its limits.
    #[error("item {item}: {key} did not meet its limits in 10000 draws")]
    Limits {
        /// The item.
        item: u64,
        /// The key.
        key: String,
    },
    /// Frames in relative units cannot be stored as counts.
    #[error("{label}: frames of a set are counts, and {missing} is missing")]
    NoCounts {
        /// The scenario.
        label: String,
        /// What counts need.
        missing: &'static str,
    },
    /// A correlation that this number of screws cannot have.
    #[error(
        "vary.\"state.turns\".turns.correlation is {correlation}, but must be from {least:.4} to 1 for {screws} screws"
    )]
    Correlation {
        /// Asked for.
        correlation: f64,
        /// Smallest possible.
        least: f64,
        /// Number of screws.
        screws: usize,
    },
    /// Turns are drawn, but no unit has screws.
    #[error("vary.\"state.turns\": the scenario has no [assembly] with screws")]
    NoScrews,
    /// A frame of another size than the set's.
    #[error("item {item}: its frame is {found:?} pixels, the set's frames are {expected:?}")]
    Size {
        /// The item.
        item: u64,
        /// Its columns and rows.
        found: [usize; 2],
        /// Those of the set.
        expected: [usize; 2],
    },
    /// The cases of a mixture have frames of two sizes.
    #[error(
        "the frames of the case {case:?} are {found:?} pixels, those of the case {first:?} {expected:?}: a set has frames of one size"
    )]
    CaseSize {
        /// The case.
        case: String,
        /// Its columns and rows.
        found: [usize; 2],
        /// The first case.
        first: String,
        /// Its columns and rows.
        expected: [usize; 2],
    },
    /// What is handed out has values of more than one kind.
    #[error(
        "{key} is known = true, but its values are of more than one kind, or are neither numbers, lists of as many numbers, text nor true and false"
    )]
    KnownMixed {
        /// The key.
        key: String,
    },
    /// What is handed out of one case is not of another.
    #[error("{key} is handed out in the case {case:?}, but not in the case {other:?}")]
    KnownOfSome {
        /// The key.
        key: String,
        /// Where it is.
        case: String,
        /// Where it is not, or is another kind of value.
        other: String,
    },
    /// A key that cannot go together with others.
    #[error("[[correlate]]: {key} {reason}")]
    Correlated {
        /// The key.
        key: String,
        /// Why not.
        reason: String,
    },
    /// A table of one's own cannot be used.
    #[error("{file} {reason}")]
    Given {
        /// Its name in the recipe.
        file: String,
        /// Why not.
        reason: String,
    },
    /// More modes than the truth table has columns.
    #[error("item {item}: Noll {noll} has no column in the truth table, which ends at {last}")]
    Mode {
        /// The item.
        item: u64,
        /// Its highest mode.
        noll: u32,
        /// The last column.
        last: u32,
    },
    /// The star of an item cannot be shown.
    #[error("item {item}: {source}")]
    Scene {
        /// The item.
        item: u64,
        /// Why.
        source: SceneError,
    },
    /// The drawing of the mask cannot be used.
    #[error("the drawing of the mask: {0}")]
    Drawing(#[from] DrawingError),
    /// A FITS file could not be made.
    #[error(transparent)]
    Fits(#[from] FitsError),
    /// An array file could not be made.
    #[error("{0}")]
    Npz(#[from] NpzError),
    /// A table could not be made.
    #[error("a table could not be made: {0}")]
    Table(String),
    /// The user stopped the program.
    #[error("interrupted")]
    Stopped,
}

impl SetError {
    /// What to try next.
    pub fn hint(&self) -> Option<&str> {
        match self {
            SetError::File(error) => Some(error.hint()),
            SetError::Secret { .. } => Some(
                "a secret is one line of 32 hexadecimal digits; keep it until the set is opened",
            ),
            SetError::Scenario(error) => Some(error.hint()),
            SetError::Item { .. } => Some(
                "narrow the law of that key: every number it can give must be allowed in the scenario",
            ),
            SetError::Limits { .. } => Some("widen `within`, or move the mean towards it"),
            SetError::NoCounts { .. } => Some(
                "give [star], [exposure] and the camera's gain, quantum efficiency, read noise and full well",
            ),
            SetError::Correlation { .. } => {
                Some("the smallest value leaves the piston at 0; 0 draws every screw by itself")
            }
            SetError::NoScrews => Some("vary state.modes_nm.7 and state.modes_nm.8 instead"),
            SetError::Size { .. } => Some("camera.width_px and camera.height_px belong to [set]"),
            SetError::CaseSize { .. } => Some(
                "give the same camera.width_px and camera.height_px in the recipe's [set], which holds for all cases",
            ),
            SetError::KnownMixed { .. } => Some(
                "make its values alike, draw its parts as keys of their own, or leave known out",
            ),
            SetError::KnownOfSome { .. } => Some(
                "draw it with known = true in every case (a choice of one value settles it), or leave known out",
            ),
            SetError::Correlated { .. } => Some(
                "correlate keys that [vary] draws as single numbers by a continuous law, such as uniform, normal or log_normal",
            ),
            SetError::Given { .. } => Some(
                "a table is CSV with a line of names, or Parquet; `column` names one of its columns, and each row is as likely",
            ),
            SetError::Mode { .. } => {
                Some("name the mode under [set] with 0, which gives it a column")
            }
            SetError::Scene { source, .. } => Some(source.hint()),
            SetError::Drawing(error) => Some(error.hint()),
            SetError::Fits(error) => error.hint(),
            SetError::Npz(NpzError::TooLarge { .. }) => Some("make shard_items smaller"),
            SetError::Npz(_) | SetError::Table(_) | SetError::Stopped => None,
        }
    }
}
