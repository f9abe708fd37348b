//! Why a verb could not be done: one type for the shell, with the next step and the exit status.

use super::interrupt::{EXIT_INTERRUPTED, Interrupted};
use super::learn::NotLearned;
use super::output::OutputError;
use crate::dataset::SetError;
use crate::diagnosis::DiagnosisError;
use crate::files::FileError;
use crate::first_frame::{FirstFrameError, FirstScenarioError};
use crate::image_io::PictureError;
use crate::image_io::fits::FitsError;
use crate::logbook::LogbookError;
use crate::mask::sheet::SheetError;
use crate::mask::solid::SolidError;
use crate::practice::{RecordError, Refusal, SetupError};
use crate::predict::PredictError;
use crate::scenario::ScenarioError;
use crate::scene::SceneError;
use crate::score::ScoreError;
#[cfg(feature = "serve")]
use crate::web::ServeError;
use std::io;
use std::path::{Path, PathBuf};

/// A verb that failed.
#[derive(Debug, thiserror::Error)]
pub enum CliError {
    /// The scenario was refused.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// A file that was named cannot be used.
    #[error(transparent)]
    File(#[from] FileError),
    /// The scene of a scenario cannot be shown.
    #[error("{}: {source}", path.display())]
    Scene {
        /// The scenario.
        path: PathBuf,
        /// Why.
        source: Box<SceneError>,
    },
    /// A second frame of many stars means nothing unless the camera was turned for it.
    #[error(
        "--second with --whole-frame is a frame for which the camera was turned half round, and --turned is left out"
    )]
    SecondOfWholeFrame,
    /// More panels than anyone can look at.
    #[error("--rows and --columns make {panels} panels, but must make at most {limit}")]
    TooManyPanels {
        /// Panels asked for.
        panels: usize,
        /// Limit.
        limit: usize,
    },
    /// The name for a new scenario is none.
    #[error("{name:?} cannot be a file name: {reason}")]
    Name {
        /// What was typed.
        name: String,
        /// Why not.
        reason: &'static str,
    },
    /// The mask makes no solid.
    #[error("{}: {source}", path.display())]
    Solid {
        /// The scenario.
        path: PathBuf,
        /// Why.
        source: SolidError,
    },
    /// The mask cannot be cut out of a sheet.
    #[error("{}: {source}", path.display())]
    Sheet {
        /// The scenario.
        path: PathBuf,
        /// Why.
        source: SheetError,
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
    /// Nobody can draw items of a sealed set again without its secret.
    #[error("--remake: items of a sealed set cannot be made again without its secret")]
    RemakeSealed,
    /// The system gives no random numbers.
    #[error("--remake: the system gives no random numbers to choose items by")]
    NoChance,
    /// What is to be withheld would be handed out.
    #[error("{} lies inside {}, the folder that is handed out", path.display(), out.display())]
    Withheld {
        /// The truth's folder, or the secret.
        path: PathBuf,
        /// The set's folder.
        out: PathBuf,
    },
    /// A file of truth or answers cannot be read.
    #[error("cannot read {}: {source}", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// Nothing can be measured.
    #[error(transparent)]
    Diagnosis(#[from] DiagnosisError),
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
    /// Something cannot be done in a night.
    #[error(transparent)]
    Night(#[from] LogbookError),
    /// A night needs an instrument, or a session that has one.
    #[cfg(feature = "serve")]
    #[error("--night: neither --instrument nor --session says whose night it is")]
    NightWithoutInstrument,
    /// A session of another instrument.
    #[cfg(feature = "serve")]
    #[error("the session {} is of another instrument than {}, or of one that was changed since", session.display(), instrument.display())]
    OtherInstrument {
        /// The session.
        session: PathBuf,
        /// What was typed.
        instrument: PathBuf,
    },
    /// A session that was begun in an earlier night.
    #[cfg(feature = "serve")]
    #[error("{} is the session of an earlier night, begun {started}", session.display())]
    OtherNight {
        /// The session.
        session: PathBuf,
        /// When it began.
        started: String,
    },
    /// A way of the focus that is none.
    #[error("{given:?} says not how the focus was moved")]
    Focusing {
        /// What was typed.
        given: String,
    },
    /// A first frame says too little.
    #[error(transparent)]
    FirstFrame(#[from] FirstFrameError),
    /// No scenario can be made of a first frame.
    #[error(transparent)]
    FirstScenario(#[from] FirstScenarioError),
    /// A place that is none.
    #[error("--shadow-at is {given:?}, but must be degrees from -360 to 360, or one of the screws {} with or without degrees behind it", screws.join(", "))]
    Place {
        /// What was typed.
        given: String,
        /// Names of the screws.
        screws: Vec<String>,
    },
    /// A question had no answer.
    #[error("{option} is not said, and the input ended")]
    NotAnswered {
        /// The option that says it.
        option: &'static str,
    },
    /// A picture beside a session cannot be written.
    #[error("cannot write {}: {source}", path.display())]
    Unwritten {
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
    #[cfg(feature = "serve")]
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
    /// Puts the scenario's name in front of what is wrong with its scene.
    pub(super) fn of_scene(path: &Path) -> impl Fn(SceneError) -> CliError {
        let path = path.to_owned();
        move |source| match source {
            // it has file, line and key of its own
            SceneError::Refused(error) => CliError::Scenario(error),
            source => CliError::Scene {
                path: path.clone(),
                source: Box::new(source),
            },
        }
    }

    /// What to try next.
    pub fn hint(&self) -> Option<&str> {
        match self {
            CliError::Scenario(error) => Some(error.hint()),
            CliError::File(error) => Some(error.hint()),
            CliError::Setup(error) => Some(error.hint()),
            CliError::Unseen(error) => Some(error.hint()),
            CliError::Session { source, .. } => Some(source.hint()),
            CliError::SecondOfWholeFrame => {
                Some("add --turned 180, or leave out --second: one frame of many stars is enough")
            }
            CliError::NoSession { .. } => Some("skewstar practice start --session FILE makes one"),
            CliError::Refused(refusal) => Some(refusal.hint()),
            CliError::Night(error) => Some(error.hint()),
            #[cfg(feature = "serve")]
            CliError::NightWithoutInstrument => Some(
                "serve --night FOLDER --instrument FILE begins a night; --session FILE goes on with one",
            ),
            #[cfg(feature = "serve")]
            CliError::OtherInstrument { .. } => {
                Some("leave --instrument out to go on with that night, or name another session")
            }
            #[cfg(feature = "serve")]
            CliError::OtherNight { .. } => {
                Some("go on with it by --session, or name another file for tonight")
            }
            CliError::Focusing { .. } => Some(
                "+30 is 30 um outwards, \"+120 steps\" is a motor's, in and out are enough where neither is known",
            ),
            CliError::FirstFrame(error) => Some(error.hint()),
            CliError::FirstScenario(error) => Some(error.hint()),
            CliError::Place { .. } => Some("such as --shadow-at 208, or --shadow-at B-15"),
            CliError::NotAnswered { .. } => Some("give it as an option, or answer at the prompt"),
            CliError::Unwritten { .. } => {
                Some("is there room on the disk, and may the folder of the session be written?")
            }
            CliError::Turns { .. } => {
                Some("write it as 1/8 or 0.125, with a minus sign for anticlockwise")
            }
            CliError::Level { .. } => Some("give one of them to --level"),
            CliError::Seed { .. } => Some("leave it out for a drill by chance"),
            #[cfg(feature = "serve")]
            CliError::Serve(error) => Some(error.hint()),
            CliError::Scene { source, .. } => Some(source.hint()),
            CliError::TooManyPanels { .. } => Some("give fewer values, or make several sheets"),
            CliError::Name { .. } => Some("use letters, digits, blanks, - and _"),
            CliError::Solid { source, .. } => Some(source.hint()),
            CliError::Sheet { source, .. } => Some(source.hint()),
            CliError::Diagnosis(error) => Some(error.hint()),
            CliError::Set(error) => error.hint(),
            CliError::SetOverlap { .. } => Some(
                "go on after the last shard with --start (a shard that --count cut short may be removed and made anew), or choose another folder",
            ),
            CliError::SetStopped => Some("the same command goes on with the rest"),
            CliError::SetFile { .. } => Some(
                "nothing was overwritten: move the file away, or choose another folder with --out DIR",
            ),
            CliError::RemakeSealed => Some("give --secret and --truth-out, after the opening"),
            CliError::NoChance => Some("make all items again: --remake with the number of items"),
            CliError::Withheld { .. } => {
                Some("name a place outside that folder for --truth-out and --secret")
            }
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
