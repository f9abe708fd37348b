//! Why a scene cannot be shown, in words without a file's name: whoever read a file puts it in front.

use crate::predict::PredictError;
use crate::scenario::ScenarioError;
use crate::simulate::FieldError;

/// Why not.
#[derive(Debug, thiserror::Error)]
pub enum SceneError {
    /// A field of instrument or state cannot be meant.
    #[error(transparent)]
    Refused(#[from] ScenarioError),
    /// The star cannot be predicted.
    #[error(transparent)]
    Predict(#[from] PredictError),
    /// The stars of the sensor cannot be rendered.
    #[error(transparent)]
    Field(#[from] FieldError),
    /// Counts were asked for without a seed.
    #[error("seed is missing, and the noise of [star] and [exposure] needs one")]
    SeedMissing,
    /// Counts were asked for in relative units.
    #[error("there are no counts to write, [star] and [exposure] are not both given")]
    NoCounts,
    /// A whole sensor without stars.
    #[error("[field] is missing, which names the stars")]
    NoField,
    /// There is no mask.
    #[error("there is no [mask]")]
    NoMask,
}

impl SceneError {
    /// What to do next.
    pub fn hint(&self) -> &str {
        match self {
            SceneError::Refused(error) => error.hint(),
            SceneError::Predict(error) => error.hint(),
            SceneError::Field(error) => error.hint(),
            SceneError::SeedMissing => {
                "add a line such as seed = 20417 at the top, or --set seed=20417"
            }
            SceneError::NoCounts => {
                "give both sections, and [camera] its gain and full well; without them there is the expected frame alone"
            }
            SceneError::NoField => {
                "add [field] with count = 400 and magnitudes = [5.0, 12.0], or a list of stars"
            }
            SceneError::NoMask => "add a [mask] section; skewstar new writes one in comments",
        }
    }
}
