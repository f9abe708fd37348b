//! What can be typed after `night`.

use super::args::{Common, SideArg, Switch};
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Arguments of `night`.
#[derive(Debug, Args)]
pub struct NightArgs {
    /// What to do.
    #[command(subcommand)]
    pub what: NightVerb,
}

/// What can be done in a night.
#[derive(Debug, Subcommand)]
pub enum NightVerb {
    /// Begin a night: what is known, and what to do first
    #[command(
        after_help = "Example: skewstar night start --instrument garden.toml --session tonight.toml"
    )]
    Start(NightStartArgs),
    /// Follow the folder that the camera writes into, until Ctrl-C
    #[command(
        after_help = "Example: skewstar night watch ~/captures --session tonight.toml\n\nFITS, TIFF, PNG and JPEG, in folders in it too. Each frame is measured once; what was told meanwhile with the other verbs is seen."
    )]
    Watch {
        /// The folder
        folder: PathBuf,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Measure one frame
    #[command(after_help = "Example: skewstar night frame ring.fits --session tonight.toml")]
    Frame {
        /// The frame
        image: PathBuf,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Tell that a screw was turned
    #[command(
        after_help = "Example: skewstar night turned B 1/8 --session tonight.toml\n\nThe screw is the one named in the instrument file; clockwise facing its head is positive, -1/8 is anticlockwise."
    )]
    Turned {
        /// The screw's name
        screw: String,
        /// How far, clockwise facing its head: 1/8, 0.05, or -1/8 for anticlockwise
        #[arg(allow_hyphen_values = true)]
        turns: String,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Tell that the focus was moved
    #[command(
        after_help = "Example: skewstar night focused +30 --session tonight.toml        (um outwards)\n         skewstar night focused \"+120 steps\" --session tonight.toml  (of a motor; frames tell what a step is)\n         skewstar night focused in --session tonight.toml"
    )]
    Focused {
        /// How far outwards, um; or "+120 steps"; or in, or out
        #[arg(allow_hyphen_values = true)]
        by: String,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Tell the side of focus that the frames are on
    #[command(after_help = "Example: skewstar night side inside --session tonight.toml")]
    Side {
        /// inside or outside
        #[arg(value_enum)]
        side: SideArg,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Tell that the star was brought back to the middle
    #[command(after_help = "Example: skewstar night recentred --session tonight.toml")]
    Recentred(NightSessionArgs),
    /// Tell that the screws were tightened
    #[command(after_help = "Example: skewstar night locked --session tonight.toml")]
    Locked {
        /// One screw; left out: all
        screw: Option<String>,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Tell that the mask was put on, or taken off
    #[command(after_help = "Example: skewstar night mask on --session tonight.toml")]
    Mask {
        /// on or off
        way: Switch,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Tell that a card is held over the rim at a screw: the next frame shows it
    #[command(
        after_help = "Example: skewstar night card A --session tonight.toml\n\nTwo cards, at two screws, say how the camera is held, so that fewer turns are needed."
    )]
    Card {
        /// The screw's name
        screw: String,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Tell that a screw cannot be turned any more; another way is found
    #[command(after_help = "Example: skewstar night cannot B --session tonight.toml")]
    Cannot {
        /// The screw's name
        screw: String,
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
    },
    /// Leave out the step that is asked for; also the answer where nothing was turned
    #[command(after_help = "Example: skewstar night skip --session tonight.toml")]
    Skip(NightSessionArgs),
    /// Take back what was told last
    #[command(after_help = "Example: skewstar night undo --session tonight.toml")]
    Undo(NightSessionArgs),
    /// Write the night down: a page, a card of the telescope, and what was learned
    #[command(after_help = "Example: skewstar night report --session tonight.toml --out report")]
    Report {
        /// The session.
        #[command(flatten)]
        session: NightSessionArgs,
        /// Where to write.
        #[command(flatten)]
        files: super::args::Files,
    },
}

/// Arguments of `night start`.
#[derive(Debug, Args)]
pub struct NightStartArgs {
    /// The telescope and the camera
    #[arg(long, value_name = "FILE")]
    pub instrument: PathBuf,
    /// The side of focus that frames will be on, where you know it
    #[arg(long, value_enum)]
    pub side: Option<SideArg>,
    /// What an earlier night learned, with the camera held as it was then
    #[arg(long, value_name = "FILE")]
    pub response: Option<PathBuf>,
    /// Frames whose exposure began less than so many seconds after a told turn are not used
    #[arg(long, value_name = "SECONDS", default_value_t = 5.0, value_parser = settle)]
    pub settle: f64,
    /// The session.
    #[command(flatten)]
    pub session: NightSessionArgs,
}

fn settle(text: &str) -> Result<f64, String> {
    let number: Option<f64> = text.trim().parse().ok();
    number
        .filter(|seconds| (0.0..=600.0).contains(seconds))
        .ok_or_else(|| format!("{text:?} must be a number of seconds from 0 to 600"))
}

/// The session of a verb.
#[derive(Debug, Args)]
pub struct NightSessionArgs {
    /// The session's file; the star's picture is written beside it
    #[arg(long, value_name = "FILE")]
    pub session: PathBuf,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

impl NightVerb {
    /// The session that is meant.
    pub fn session(&self) -> &NightSessionArgs {
        match self {
            NightVerb::Start(args) => &args.session,
            NightVerb::Watch { session, .. }
            | NightVerb::Frame { session, .. }
            | NightVerb::Turned { session, .. }
            | NightVerb::Focused { session, .. }
            | NightVerb::Side { session, .. }
            | NightVerb::Recentred(session)
            | NightVerb::Locked { session, .. }
            | NightVerb::Mask { session, .. }
            | NightVerb::Card { session, .. }
            | NightVerb::Cannot { session, .. }
            | NightVerb::Skip(session)
            | NightVerb::Undo(session)
            | NightVerb::Report { session, .. } => session,
        }
    }
}
