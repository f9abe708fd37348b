//! Why truth or answers cannot be read, with the line and the next step.

/// Why truth or answers cannot be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ScoreError {
    /// Not the text it should be.
    #[error("line {line}: {reason}")]
    Line {
        /// Line, from 1.
        line: u64,
        /// What is wrong.
        reason: String,
    },
    /// A column that no answer has.
    #[error("{name:?} is no column of answers")]
    Column {
        /// Its name.
        name: String,
    },
    /// A column that is there twice.
    #[error("the column {name:?} is there twice")]
    ColumnTwice {
        /// Its name.
        name: String,
    },
    /// The column of item numbers is missing.
    #[error("there is no column `item`")]
    NoItem,
    /// Nothing to compare.
    #[error("{0} holds no items")]
    Empty(&'static str),
    /// No answer gives a quantity that the truth knows.
    #[error("no answer gives a quantity that the truth knows")]
    NothingInCommon,
    /// Not a file of this program.
    #[error("this is no truth of this program: {0}")]
    NoTruth(String),
    /// An item stands twice in the truth.
    #[error("item {0} stands twice in the truth")]
    TruthTwice(u64),
}

impl ScoreError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            ScoreError::Line { .. } => {
                "leave a cell empty (or the key out) where there is no answer; `skewstar schema answers` shows the form"
            }
            ScoreError::Column { .. } => {
                "columns are item, flagged, modes_nm.7, sensor_offset_um, turns.A, undo_turns.A, dark_shift_px.x, spike_shift_px.0, and sigma. before any of these"
            }
            ScoreError::ColumnTwice { .. } => "give each quantity one column",
            ScoreError::NoItem => "the first line names the columns, and one of them is item",
            ScoreError::Empty(_) => "is this the right file?",
            ScoreError::NothingInCommon => {
                "compare the names of the columns: an answer has the name of the truth's column, such as modes_nm.7"
            }
            ScoreError::NoTruth(_) => {
                "give the folder of a set, one of its .truth.csv files, or the .truth.json of a render"
            }
            ScoreError::TruthTwice(_) => "`skewstar dataset verify` names what is there twice",
        }
    }
}
