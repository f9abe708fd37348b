//! Why a verb could not be done: one type for the shell, with the next step and the exit status.

use super::interrupt::{EXIT_INTERRUPTED, Interrupted};
use super::learn::NotLearned;
use super::output::OutputError;
use crate::dataset::SetError;
use crate::image_io::PictureError;
use crate::image_io::fits::FitsError;
use crate::image_io::reading::ReadingError;
use crate::mask::drawing::DrawingError;
use crate::mask::solid::SolidError;
use crate::measure::MeasureError;
use crate::practice::{RecordError, Refusal, SetupError};
use crate::predict::PredictError;
use crate::scenario::ScenarioError;
use crate::score::ScoreError;
use crate::simulate::FieldError;
use crate::web::ServeError;
use std::io;
use std::path::PathBuf;

/// A verb that failed.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// The scenario was refused.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// The scenario file could not be read.
    #[error("cannot read {}: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A scenario file of more than this size is none.
    #[error("{} has more than {limit} bytes: that is no scenario", path.display())]
    TooLong {
        /// The file.
        path: PathBuf,
        /// Limit.
        limit: u64,
    },
    /// Counts were asked for without a seed.
    #[error("{}: seed is missing, and the noise of [star] and [exposure] needs one", path.display())]
    SeedMissing {
        /// The file.
        path: PathBuf,
    },
    /// Counts were asked for of a scenario in relative units.
    #[error("{}: there are no counts to write, [star] and [exposure] are not both given", path.display())]
    NoCounts {
        /// The file.
        path: PathBuf,
    },
    /// More panels than anyone can look at.
    #[error("--rows and --columns make {panels} panels, but must make at most {limit}")]
    TooManyPanels {
        /// Panels asked for.
        panels: usize,
        /// Limit.
        limit: usize,
    },
    /// The scenario names no stars for its sensor.
    #[error("{}: [field] is missing, which names the stars", path.display())]
    NoField {
        /// The file.
        path: PathBuf,
    },
    /// The field cannot be rendered.
    #[error("{}: {source}", path.display())]
    Field {
        /// The file.
        path: PathBuf,
        /// Why.
        source: FieldError,
    },
    /// The name for a new scenario is none.
    #[error("{name:?} cannot be a file name: {reason}")]
    Name {
        /// What was typed.
        name: String,
        /// Why not.
        reason: &'static str,
    },
    /// The star cannot be predicted.
    #[error("{}: {source}", path.display())]
    Predict {
        /// The file.
        path: PathBuf,
        /// Why.
        source: PredictError,
    },
    /// The drawing cannot be read.
    #[error("cannot read the drawing {}: {source}", path.display())]
    Drawing {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The drawing is none that can be used.
    #[error("{}: {source}", path.display())]
    Svg {
        /// The file.
        path: PathBuf,
        /// Why.
        source: DrawingError,
    },
    /// There is no mask.
    #[error("{}: there is no [mask]", path.display())]
    NoMask {
        /// The scenario.
        path: PathBuf,
    },
    /// The mask makes no solid.
    #[error("{}: {source}", path.display())]
    Solid {
        /// The scenario.
        path: PathBuf,
        /// Why.
        source: SolidError,
    },
    /// The image file could not be opened.
    #[error("cannot read the image {}: {source}", path.display())]
    Image {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A set cannot be made.
    #[error(transparent)]
    Set(Box<SetError>),
    /// The making of a set was stopped.
    #[error("interrupted; complete shards stay")]
    SetStopped,
    /// A shard of other limits holds some of the items.
    #[error("{} holds some of these items, cut otherwise", path.display())]
    SetOverlap {
        /// Its record.
        path: PathBuf,
    },
    /// The page was ended.
    #[error("interrupted; the sessions are kept")]
    PageEnded,
    /// A file of a set is in the way.
    #[error("{} {reason}", path.display())]
    SetFile {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        reason: &'static str,
    },
    /// What is to be withheld would be handed out.
    #[error("{} lies inside {}, the folder that is handed out", path.display(), out.display())]
    Withheld {
        /// The truth's folder, or the secret.
        path: PathBuf,
        /// The set's folder.
        out: PathBuf,
    },
    /// The secret of a sealed set cannot be used.
    #[error("{} {reason}", path.display())]
    Secret {
        /// The file.
        path: PathBuf,
        /// Why not.
        reason: &'static str,
    },
    /// A file of truth or answers cannot be read.
    #[error("cannot read {}: {source}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The image file is too long.
    #[error("{} has more than {limit} bytes: a single frame is wanted", path.display())]
    ImageTooLong {
        /// The file.
        path: PathBuf,
        /// Limit.
        limit: u64,
    },
    /// The image cannot be used.
    #[error(transparent)]
    Reading(#[from] ReadingError),
    /// Nothing can be measured.
    #[error(transparent)]
    Measure(#[from] MeasureError),
    /// Answers or truth cannot be compared.
    #[error("{}: {source}", path.display())]
    Score {
        /// The file.
        path: PathBuf,
        /// Why.
        source: ScoreError,
    },
    /// A limit of the score is none.
    #[error("{argument}: {reason}")]
    Limit {
        /// What was typed.
        argument: String,
        /// Why not.
        reason: String,
    },
    /// Nothing could be learned.
    #[error(transparent)]
    Learn(#[from] NotLearned),
    /// The drill cannot be practised.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// A picture of a drill cannot be made.
    #[error(transparent)]
    Unseen(PredictError),
    /// A session file is none.
    #[error("{}: {source}", path.display())]
    Session {
        /// The file.
        path: PathBuf,
        /// Why.
        source: Box<RecordError>,
    },
    /// A session file could not be opened.
    #[error("cannot open the session {}: {source}", path.display())]
    NoSession {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// An action was refused.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// A part of a turn that is none.
    #[error("{given:?} is no part of a turn")]
    Turns {
        /// What was typed.
        given: String,
    },
    /// No such level.
    #[error("{given:?} is no level; the levels are {known}")]
    Level {
        /// What was typed.
        given: String,
        /// What there is.
        known: String,
    },
    /// A seed that is too large.
    #[error("--seed is {given}, but must be below 2^53")]
    Seed {
        /// What was typed.
        given: u64,
    },
    /// The page cannot be served.
    #[error(transparent)]
    Serve(#[from] ServeError),
    /// Files could not be written.
    #[error(transparent)]
    Output(#[from] OutputError),
    /// A FITS file could not be made.
    #[error(transparent)]
    Fits(#[from] FitsError),
    /// A picture could not be made.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// Standard output could not be written.
    #[error("cannot write to standard output: {0}")]
    Stdout(#[from] io::Error),
    /// Interrupts cannot be caught.
    #[error("cannot catch interrupts: {0}")]
    Interrupt(#[from] ctrlc::Error),
}

impl From<Interrupted> for CliError {
    fn from(interrupted: Interrupted) -> Self {
        CliError::Output(interrupted.into())
    }
}

impl From<SetError> for CliError {
    fn from(error: SetError) -> Self {
        match error {
            SetError::Stopped => CliError::SetStopped,
            other => CliError::Set(Box::new(other)),
        }
    }
}

impl CliError {
    /// What to try next.
    pub fn hint(&self) -> Option<&str> {
        match self {
            CliError::Scenario(error) => Some(error.hint()),
            CliError::Read { .. } => Some(
                "is the path right? skewstar new NAME writes a scenario to start from, skewstar dataset make a set",
            ),
            CliError::Setup(error) => Some(error.hint()),
            CliError::Unseen(error) => Some(error.hint()),
            CliError::Session { source, .. } => Some(source.hint()),
            CliError::NoSession { .. } => Some("skewstar practice start --session FILE makes one"),
            CliError::Refused(refusal) => Some(refusal.hint()),
            CliError::Turns { .. } => {
                Some("write it as 1/8 or 0.125, with a minus sign for anticlockwise")
            }
            CliError::Level { .. } => Some("give one of them to --level"),
            CliError::Seed { .. } => Some("leave it out for a drill by chance"),
            CliError::Serve(error) => Some(error.hint()),
            CliError::TooLong { .. } => Some("give the .toml file, not a picture"),
            CliError::SeedMissing { .. } => {
                Some("add a line such as seed = 20417 at the top, or --set seed=20417")
            }
            CliError::NoCounts { .. } => Some(
                "give both sections, or leave --png16 and --tiff out and use the expected frame",
            ),
            CliError::TooManyPanels { .. } => Some("give fewer values, or make several sheets"),
            CliError::NoField { .. } => Some(
                "add [field] with count = 400 and magnitudes = [5.0, 12.0], or a list of stars",
            ),
            CliError::Field { source, .. } => Some(source.hint()),
            CliError::Name { .. } => Some("use letters, digits, blanks, - and _"),
            CliError::Drawing { .. } => Some("mask.drawing is looked for beside the scenario"),
            CliError::Svg { source, .. } => Some(source.hint()),
            CliError::NoMask { .. } => {
                Some("add a [mask] section; skewstar new writes one in comments")
            }
            CliError::Solid { source, .. } => Some(source.hint()),
            CliError::Predict { source, .. } => Some(source.hint()),
            CliError::Image { .. } => {
                Some("give a FITS, TIFF, PNG or JPEG file that lies there and may be read")
            }
            CliError::ImageTooLong { .. } => Some("cut the star's surroundings out of it"),
            CliError::Reading(error) => Some(error.hint()),
            CliError::Measure(error) => Some(error.hint()),
            CliError::Set(error) => error.hint(),
            CliError::SetOverlap { .. } => Some(
                "go on after the last shard with --start (a shard that --count cut short may be removed and made anew), or choose another folder",
            ),
            CliError::SetStopped => Some("the same command goes on with the rest"),
            CliError::SetFile { .. } => Some(
                "nothing was overwritten: move the file away, or choose another folder with --out DIR",
            ),
            CliError::Withheld { .. } => {
                Some("name a place outside that folder for --truth-out and --secret")
            }
            CliError::Secret { .. } => Some(
                "a secret is one line of 32 hexadecimal digits; keep it until the set is opened",
            ),
            CliError::Unreadable { .. } => Some(
                "TRUTH is a set's folder, a truth table or a truth file; ANSWERS is CSV or JSON lines",
            ),
            CliError::Score { source, .. } => Some(source.hint()),
            CliError::Limit { .. } => {
                Some("`skewstar score … --json` shows every number that a limit can name")
            }
            CliError::Learn(error) => Some(error.hint()),
            CliError::Output(error) => error.hint(),
            CliError::Fits(error) => error.hint(),
            CliError::Picture(error) => error.hint(),
            CliError::Stdout(_) | CliError::Interrupt(_) | CliError::PageEnded => None,
        }
    }

    /// Exit status of the program.
    pub fn exit_status(&self) -> i32 {
        match self {
            CliError::Learn(error) => error.exit_status(),
            CliError::Output(error) => error.exit_status(),
            CliError::SetStopped | CliError::PageEnded => EXIT_INTERRUPTED,
            _ => 2,
        }
    }
}
