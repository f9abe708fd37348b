//! What can be typed after `practice` and `serve`.

use super::args::{Common, Files, Switch};
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Arguments of `practice`.
#[derive(Debug, Args)]
pub struct PracticeArgs {
    /// What to do.
    #[command(subcommand)]
    pub what: PracticeVerb,
}

/// What can be done in a session.
#[derive(Debug, Subcommand)]
pub enum PracticeVerb {
    /// Start a session
    #[command(
        after_help = "Example: skewstar practice start --level two-screws --session night.toml"
    )]
    Start(PracticeStartArgs),
    /// Turn a screw; its partner is loosened and tightened with it
    #[command(after_help = "Example: skewstar practice turn B 1/8 --session night.toml")]
    Turn {
        /// The screw's name
        screw: String,
        /// How far, clockwise facing its head: 1/8, 0.05, or -1/8 for anticlockwise
        #[arg(allow_hyphen_values = true)]
        turns: String,
        /// The session.
        #[command(flatten)]
        session: SessionArgs,
    },
    /// Move the focuser outwards; a negative number: inwards
    #[command(after_help = "Example: skewstar practice focus -50 --session night.toml")]
    Focus {
        /// How far, um
        #[arg(allow_hyphen_values = true, value_parser = micrometres)]
        outward_um: f64,
        /// The session.
        #[command(flatten)]
        session: SessionArgs,
    },
    /// Bring the star back to the middle
    #[command(after_help = "Example: skewstar practice recentre --session night.toml")]
    Recentre(SessionArgs),
    /// Put the mask on, or take it off
    #[command(after_help = "Example: skewstar practice mask on --session night.toml")]
    Mask {
        /// on or off
        way: Switch,
        /// The session.
        #[command(flatten)]
        session: SessionArgs,
    },
    /// Choose the exposure
    #[command(after_help = "Example: skewstar practice expose 2 --session night.toml")]
    Expose {
        /// Seconds
        #[arg(value_parser = seconds)]
        time_s: f64,
        /// The session.
        #[command(flatten)]
        session: SessionArgs,
    },
    /// Let the atmosphere move, or hold it still
    #[command(after_help = "Example: skewstar practice atmosphere off --session night.toml")]
    Atmosphere {
        /// on or off
        way: Switch,
        /// The session.
        #[command(flatten)]
        session: SessionArgs,
    },
    /// Look again
    #[command(after_help = "Example: skewstar practice look --session night.toml")]
    Look(LookArgs),
    /// Look at stars in the corners of the sensor
    #[command(after_help = "Example: skewstar practice corners --session night.toml")]
    Corners(SessionArgs),
    /// Have the situation explained
    #[command(after_help = "Example: skewstar practice show-me --session night.toml")]
    ShowMe(SessionArgs),
    /// Take the last turn, focus or mask change back
    #[command(after_help = "Example: skewstar practice undo --session night.toml")]
    Undo(SessionArgs),
    /// Finish, and show what was hidden
    #[command(
        alias = "finish",
        after_help = "Example: skewstar practice reveal --session night.toml"
    )]
    Reveal(SessionArgs),
    /// One star, three questions: which screw, which way, how much
    #[command(after_help = "Example: skewstar practice question --seed 7")]
    Question(QuestionArgs),
    /// Let a simulated beginner, and somebody who turns at random, play many drills
    #[command(after_help = "Example: skewstar practice rehearse --count 20")]
    Rehearse(RehearseArgs),
}

/// A number that may end with its unit.
fn number(text: &str, unit: &str, wanted: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches(unit).trim_end().parse();
    number.map_err(|_| format!("{text:?} must be a number of {wanted}"))
}

fn micrometres(text: &str) -> Result<f64, String> {
    number(text, "um", "micrometres, such as 50 or -50")
}

fn seconds(text: &str) -> Result<f64, String> {
    number(text, "s", "seconds, such as 0.5 or 2")
}

/// Arguments of `practice start`.
#[derive(Debug, Args)]
pub struct PracticeStartArgs {
    /// A scenario to practise on; left out: the practice bench
    pub scenario: Option<PathBuf>,
    /// one-screw, two-screws, three-with-focus, seeing, mask, camera or night; left out: one-screw, with --as-camera: night
    #[arg(long)]
    pub level: Option<String>,
    /// What is hidden; left out: by chance
    #[arg(long)]
    pub seed: Option<u64>,
    /// Replace a session that exists
    #[arg(long)]
    pub force: bool,
    /// The session.
    #[command(flatten)]
    pub session: SessionArgs,
}

/// The session of a verb.
#[derive(Debug, Args)]
pub struct SessionArgs {
    /// The session's file; the star's picture is written beside it
    #[arg(long, value_name = "FILE", default_value = "session.toml")]
    pub session: PathBuf,
    /// Expose a frame into this folder afterwards, as a capture program would: for `skewstar night` to follow
    #[arg(long, value_name = "FOLDER")]
    pub as_camera: Option<PathBuf>,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

/// Arguments of `practice look`.
#[derive(Debug, Args)]
pub struct LookArgs {
    /// With --as-camera: go on exposing, a frame every so many seconds, until Ctrl-C; what other windows do is seen
    #[arg(long, value_name = "SECONDS", requires = "as_camera", value_parser = seconds)]
    pub every: Option<f64>,
    /// With --every: end after so many frames
    #[arg(long, value_name = "COUNT", requires = "every", value_parser = clap::value_parser!(u64).range(1..=100_000))]
    pub frames: Option<u64>,
    /// With --as-camera: hold a card over the rim at this screw's place while exposing
    #[arg(long, value_name = "SCREW", requires = "as_camera")]
    pub card: Option<String>,
    /// The session.
    #[command(flatten)]
    pub session: SessionArgs,
}

/// Arguments of `practice question`.
#[derive(Debug, Args)]
pub struct QuestionArgs {
    /// A scenario; left out: the practice bench
    pub scenario: Option<PathBuf>,
    /// Which question: the same number asks the same
    #[arg(long)]
    pub seed: u64,
    /// Your answer: the screw
    #[arg(long, requires = "turns")]
    pub screw: Option<String>,
    /// Your answer: how far, clockwise facing its head: 1/8 or -1/8
    #[arg(long, requires = "screw", allow_hyphen_values = true)]
    pub turns: Option<String>,
    /// Where the picture is written.
    #[command(flatten)]
    pub files: Files,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

/// Arguments of `practice rehearse`.
#[derive(Debug, Args)]
pub struct RehearseArgs {
    /// A scenario; left out: the practice bench
    pub scenario: Option<PathBuf>,
    /// Drills a level
    #[arg(long, default_value_t = 200, value_parser = clap::value_parser!(u64).range(1..=10_000))]
    pub count: u64,
    /// Only this level: one-screw, two-screws, three-with-focus, seeing, mask or camera
    #[arg(long)]
    pub level: Option<String>,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

#[cfg(feature = "serve")]
/// Arguments of `serve`.
#[derive(Debug, Args)]
pub struct ServeArgs {
    /// A scenario to practise on; left out: the practice bench
    pub scenario: Option<PathBuf>,
    /// Port to listen on; 0 takes any that is free
    #[arg(long, default_value_t = 7391)]
    pub port: u16,
    /// Let other machines of your network in, with a token
    #[arg(long)]
    pub lan: bool,
    /// Folder to keep sessions in
    #[arg(long, value_name = "DIR", default_value = "out/sessions")]
    pub keep: PathBuf,
    /// Follow the camera's folder for a night at the telescope, as `night watch` does
    #[arg(long, value_name = "FOLDER", conflicts_with = "scenario")]
    pub night: Option<PathBuf>,
    /// The telescope and the camera of the night
    #[arg(long, value_name = "FILE", requires = "night")]
    pub instrument: Option<PathBuf>,
    /// The night's session: one that `night start` began is gone on with; left out: STEM.night.toml of the instrument file
    #[arg(long, value_name = "FILE", requires = "night")]
    pub session: Option<PathBuf>,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}
