//! How good is a measuring program? Two records are compared, item by item: the truth, and what was answered.
//!
//! No simulator is known here and no file is opened, so that any program can be judged by the same code. Nothing that was
//! answered is dropped in silence: missing, repeated, surplus and not-a-number answers are counted and named.

mod answers;
mod direction;
mod error;
mod groups;
mod measured;
mod quantity;
mod report;
mod sigma;
mod statistics;
mod truth;

pub use answers::{Answer, Answers, read_csv, read_json, schema};
pub use direction::Direction;
pub use error::ScoreError;
pub use groups::{GroupScore, ScoreBin};
pub use measured::from_measure;
pub use quantity::{Axis, Quantity};
pub use report::{Judged, NamedItems, QuantityScore, ScoreReport, score};
pub use sigma::{CalibrationPoint, SigmaScore};
pub use truth::{TruthRow, read_truth_json, read_truth_table};
