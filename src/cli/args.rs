//! What can be typed.

use super::help::TESTERS;
use crate::measure::Side;
use crate::predict::Settings;
use clap::{Args, Parser, Subcommand, ValueEnum};

pub use super::dataset_args::{DatasetArgs, DatasetVerb, ScoreArgs, SetArgs};
pub use super::mask_args::{
    MaskArgs, MaskDrawArgs, MaskPreviewArgs, MaskTuneArgs, MaskVerb, TuneBy, TuneFor,
};
pub use super::new_args::{ClockwiseArg, FirstFrameArgs, KindArg, NewArgs};
pub use super::night_args::NightArgs;
#[cfg(feature = "serve")]
pub use super::practice_args::ServeArgs;
pub use super::practice_args::{
    LookArgs, PracticeArgs, PracticeStartArgs, PracticeVerb, QuestionArgs, RehearseArgs,
    SessionArgs,
};
use std::path::PathBuf;

/// From a turned screw to the star frame a camera records, with exact ground truth.
#[derive(Debug, Parser)]
#[command(name = "skewstar", version, about, propagate_version = true)]
#[command(
    after_help = "Exit status: 0 done, 1 finished but a check, score or measurement failed its limits, 2 could not do it, 130 interrupted.\n\nNever point a telescope near the Sun; cap it by day, even parked."
)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub verb: Verb,
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Write the file of your telescope: commented, to fill in, or read off a frame (--from)
    #[command(after_help = "Example: skewstar new garden --kind newtonian")]
    New(NewArgs),
    /// Read a telescope's file, say what follows from its numbers and what looks mistyped
    #[command(after_help = "Example: skewstar check scenarios/fast-unit-one-screw.toml")]
    Check(ScenarioArgs),
    /// Render the star of a file: frame, picture, exact truth, and what to look for
    #[command(
        after_help = "Example: skewstar render scenarios/fast-unit-one-screw.toml --annotate --set state.sensor_offset_um=-400"
    )]
    Render(RenderArgs),
    /// Draw in one picture how a star changes along one or two keys
    #[command(
        after_help = "Example: skewstar sheet scenarios/fast-unit-one-screw.toml --rows state.modes_nm.7=-150,0,150 --columns state.sensor_offset_um=-400,0,400\n\nKeys joined by & move together: --columns 'state.turns.B=0,0.1,0.2&state.sensor_offset_um=0,100,200'. At least one of --rows and --columns is needed."
    )]
    Sheet(SheetArgs),
    /// Render a whole sensor of stars, each with the image of its own place
    #[command(
        after_help = "Example: skewstar field scenarios/fields/whole-sensor.toml --set state.turns.B=0.1\n\nThe camera's frame is the sensor. The stars are those of [field]; [star] gives their temperature and altitude, and the brightness of the cut-outs."
    )]
    Field(FieldArgs),
    /// Learn what your screws do, from frames before and after a turn
    #[command(
        after_help = "Example: skewstar learn --instrument garden.toml --trial start.fits,turned-a.fits,A=0.125 --trial turned-a.fits,turned-b.fits,B=0.125\n\nA positive turn lengthens the screw (1/8, 0.125 and 45deg are the same). Two screws that are not opposite each other tell how the camera sits; with one, whether its picture is mirrored stays open. Leave the telescope on the star, and turn each screw the way it was turned last, so that its play is out."
    )]
    Learn(LearnArgs),
    /// Look through a mask before it is printed, check it, draw its files, tune its numbers
    #[command(
        after_help = "Example: skewstar mask check scenarios/mask-two-zone-coma.toml\n\nA mask is no solar filter. Tether it, and take it off before slewing."
    )]
    Mask(MaskArgs),
    /// Measure a frame and say which screw to turn, which way and how far
    #[command(
        after_help = "Example: skewstar measure out/night-fast-unit.fits --instrument scenarios/night-fast-unit.toml --side inside\n\nOf the instrument file only telescope, assembly, mask, camera and [exposure] are used. Exit status 1: measured, but not to be trusted."
    )]
    Measure(MeasureArgs),
    /// Make frames with exact truth in quantity, or check that a set is whole
    #[command(
        after_help = "Example: skewstar dataset make scenarios/recipes/doughnuts.toml --out set --count 1000\n\nItem i depends on the recipe, its scenario, the seed and i alone: ranges made apart are merged by copying them into one folder."
    )]
    Dataset(DatasetArgs),
    /// Say how good the answers of a measuring program are
    #[command(
        after_help = "Example: skewstar score set answers.csv --at-most modes_nm.7.rms=30 --plot\n\n`skewstar schema answers` prints what an answer may hold."
    )]
    Score(ScoreArgs),
    /// Print a JSON Schema, for editors: of the scenario, of a recipe, or of an answer
    #[command(after_help = "Example: skewstar schema recipe > recipe.schema.json")]
    Schema {
        /// Of what.
        #[arg(value_enum, default_value = "scenario")]
        of: SchemaOf,
    },
    /// Put a hidden misalignment right, with a hint after each look
    #[command(
        after_help = "Example: skewstar practice start --session night.toml --level two-screws\n\nAt a real telescope: never point near the Sun; loosen a screw's own partner before you tighten it, never force a screw, never loosen all pairs at once; the maker's instructions come first."
    )]
    Practice(PracticeArgs),
    /// A real night: one next step after each frame that the camera writes
    #[command(
        after_help = "Example: skewstar night start --instrument garden.toml --session tonight.toml\n         skewstar night watch ~/captures --session tonight.toml\n\nWhat hands do is told with the other verbs, also while watch runs. The program moves nothing itself. Never point near the Sun; the maker's instructions come first."
    )]
    Night(NightArgs),
    #[cfg(feature = "serve")]
    /// Open a page in your browser: lessons, practice, masks, a night
    #[command(
        after_help = "Example: skewstar serve\n         skewstar serve --night ~/captures --instrument garden.toml --lan\n\nFor this machine only; --lan lets others of your network in, with the token in the address, which is also drawn for a phone's camera.\nA script posts a frame to /night/frame, with the token: what comes back is the line of `night frame --json`."
    )]
    Serve(ServeArgs),
    /// Print a completion script for a shell
    #[command(
        after_help = "Example: skewstar completions bash > ~/.local/share/bash-completion/completions/skewstar"
    )]
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual page
    #[command(after_help = "Example: skewstar man | man -l -")]
    Man,
}

/// What has a schema.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SchemaOf {
    /// A scenario
    Scenario,
    /// A recipe of a set
    Recipe,
    /// One answer of a measuring program
    Answers,
}

/// Options of every verb that prints an answer.
#[derive(Debug, Args)]
pub struct Common {
    /// No notes and no progress
    #[arg(long)]
    pub quiet: bool,
    /// The answer as JSON
    #[arg(long)]
    pub json: bool,
}

/// Options of every verb that writes files.
#[derive(Debug, Args)]
pub struct Files {
    /// Folder to write into
    #[arg(long, value_name = "DIR", default_value = "out")]
    pub out: PathBuf,
    /// Replace files that exist
    #[arg(long)]
    pub force: bool,
}

/// A scenario and what is changed in it.
#[derive(Debug, Args)]
pub struct ScenarioArgs {
    /// The scenario file
    pub scenario: PathBuf,
    /// Change a key, for example `telescope.vanes[0].width_mm=5`; KEY=null takes it out
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// The same bytes on all processors, more slowly
    #[arg(long, help_heading = TESTERS)]
    pub portable: bool,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

impl ScenarioArgs {
    /// How to compute, by the options given.
    pub fn settings(&self) -> Settings {
        Settings {
            portable: self.portable,
            ..Settings::default()
        }
    }
}

/// Arguments of `render`.
#[derive(Debug, Args)]
pub struct RenderArgs {
    /// The scenario.
    #[command(flatten)]
    pub scenario: ScenarioArgs,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
    /// Also write the expected electrons, before noise and saturation
    #[arg(long)]
    pub expected: bool,
    /// Also write the picture with the geometry drawn on it
    #[arg(long)]
    pub annotate: bool,
    /// Also work out what the photons allow (sigma_photon_nm in the truth); takes about ten times as long
    #[arg(long)]
    pub bound: bool,
    /// Also write the counts as a 16-bit PNG
    #[arg(long)]
    pub png16: bool,
    /// Also write the counts as a 16-bit TIFF
    #[arg(long)]
    pub tiff: bool,
}

/// Arguments of `sheet`.
#[derive(Debug, Args)]
#[command(group(clap::ArgGroup::new("axes").required(true).multiple(true).args(["rows", "columns"])))]
pub struct SheetArgs {
    /// The scenario.
    #[command(flatten)]
    pub scenario: ScenarioArgs,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
    /// A key and its values, from top to bottom
    #[arg(long, value_name = "KEY=V1,V2,...", allow_hyphen_values = true)]
    pub rows: Option<String>,
    /// A key and its values, from left to right
    #[arg(long, value_name = "KEY=V1,V2,...", allow_hyphen_values = true)]
    pub columns: Option<String>,
}

/// Arguments of `field`.
#[derive(Debug, Args)]
pub struct FieldArgs {
    /// The scenario.
    #[command(flatten)]
    pub scenario: ScenarioArgs,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
}

/// Arguments of `learn`.
#[derive(Debug, Args)]
pub struct LearnArgs {
    /// The scenario file that describes telescope, screws and camera
    #[arg(long, value_name = "SCENARIO")]
    pub instrument: PathBuf,
    /// A frame before, one after, and the turn of one screw between them
    #[arg(long, value_name = "BEFORE,AFTER,SCREW=TURNS", required = true)]
    pub trial: Vec<String>,
    /// A frame that shows a card held over the rim at this screw's place (twice at most, on one side of focus): it tells mirroring
    #[arg(long = "card-at", value_name = "SCREW=IMAGE")]
    pub card_at: Vec<String>,
    /// On which side of focus the frames were taken
    #[arg(long, value_enum)]
    pub side: Option<SideArg>,
    /// Whether the mask was on; left out: on where the scenario has one
    #[arg(long, value_enum)]
    pub mask: Option<Switch>,
    /// Change a key, for example `camera.rotation_deg=40`
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// The same bytes on all processors, more slowly
    #[arg(long, help_heading = TESTERS)]
    pub portable: bool,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

/// A side of focus.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SideArg {
    /// The sensor short of focus
    Inside,
    /// The sensor beyond focus
    Outside,
}

impl From<SideArg> for Side {
    fn from(side: SideArg) -> Side {
        match side {
            SideArg::Inside => Side::Inside,
            SideArg::Outside => Side::Outside,
        }
    }
}

/// Something that is on or off.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Switch {
    /// On
    On,
    /// Off
    Off,
}

/// Arguments of `measure`.
#[derive(Debug, Args)]
pub struct MeasureArgs {
    /// The frame: FITS, TIFF, PNG or JPEG
    pub image: PathBuf,
    /// The instrument: a scenario file
    #[arg(long, value_name = "SCENARIO")]
    pub instrument: PathBuf,
    /// Whether the mask was on; left out: on where the instrument has one
    #[arg(long, value_enum)]
    pub mask: Option<Switch>,
    /// On which side of focus the frame was taken
    #[arg(long, value_enum)]
    pub side: Option<SideArg>,
    /// A second doughnut of the same telescope at another focus: tells an obstruction that sits aside from coma
    #[arg(long, value_name = "IMAGE")]
    pub second: Option<PathBuf>,
    /// A card was held over the rim at this screw's place: in this frame, or in another one on the same side of focus (twice at most)
    #[arg(long, value_name = "SCREW[=IMAGE]", conflicts_with_all = ["whole_frame", "second", "response"])]
    pub card_at: Vec<String>,
    /// Which star: the one nearest to this place, pixels from the bottom left
    #[arg(long, value_name = "X,Y", value_parser = place)]
    pub at: Option<[f64; 2]>,
    /// Measure the stars of the whole frame: tilt of the focal plane, coma node
    #[arg(long, conflicts_with_all = ["at", "annotate"])]
    pub whole_frame: bool,
    /// With --whole-frame: also read from the stars what is wrong with the corners. A first reading: causes that look alike may be named for one another
    #[arg(long, requires = "whole_frame")]
    pub corners: bool,
    /// The camera was turned half round in its adapter for the second frame: tells what belongs to the camera from what belongs to the optics
    #[arg(long, value_name = "DEGREES", requires = "whole_frame", requires = "second", value_parser = half_round)]
    pub turned: Option<f64>,
    /// What trial turns taught: the file that `skewstar learn` wrote
    #[arg(long, value_name = "FILE")]
    pub response: Option<PathBuf>,
    /// Temperature of the star's spectrum, in kelvin; left out: a flat one
    #[arg(long, value_name = "K", value_parser = kelvin)]
    pub temperature: Option<f64>,
    /// What the screws are to put right; the tilt of the focal plane needs --whole-frame
    #[arg(long, value_enum, default_value = "coma")]
    pub aim: AimArg,
    /// Also write the picture with what was found drawn on it
    #[arg(long)]
    pub annotate: bool,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
    /// Change a key of the instrument, for example `telescope.aperture_mm=190`
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// The same bytes on all processors, more slowly
    #[arg(long, help_heading = TESTERS)]
    pub portable: bool,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

impl MeasureArgs {
    /// The instrument as a scenario to be loaded.
    pub fn scenario_args(&self) -> ScenarioArgs {
        ScenarioArgs {
            scenario: self.instrument.clone(),
            set: self.set.clone(),
            portable: self.portable,
            common: Common {
                quiet: self.common.quiet,
                json: self.common.json,
            },
        }
    }
}

/// What the screws are to put right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum AimArg {
    /// Coma
    Coma,
    /// The tilt of the focal plane
    Tilt,
    /// Both, as far as they agree
    Both,
}

/// A place as it is typed: X,Y.
fn place(text: &str) -> Result<[f64; 2], String> {
    let wrong = || format!("{text:?} is no place; write it as 812,640");
    let (x, y) = text.split_once(',').ok_or_else(wrong)?;
    let number = |part: &str| part.trim().parse::<f64>().ok().filter(|v| v.is_finite());
    Ok([number(x).ok_or_else(wrong)?, number(y).ok_or_else(wrong)?])
}

/// A number within limits, in words of its unit.
pub(super) fn within(text: &str, [low, high]: [f64; 2], unit: &str) -> Result<f64, String> {
    let number = text.parse::<f64>().ok();
    number
        .filter(|value| (low..=high).contains(value))
        .ok_or_else(|| format!("{text:?} must be a number from {low} to {high} {unit}"))
}

/// Half a turn, the only one that changes a sensor's tilt into its opposite.
fn half_round(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(degrees) if degrees.abs() == 180.0 => Ok(180.0),
        _ => Err("only 180 is understood: turn the camera half round in its adapter".into()),
    }
}

/// A temperature of a star.
fn kelvin(text: &str) -> Result<f64, String> {
    within(text, [1000.0, 100_000.0], "kelvin")
}
