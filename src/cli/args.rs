//! What can be typed.

use crate::predict::Settings;
use clap::{Args, Parser, Subcommand, ValueEnum};

pub use super::practice_args::{
    OnOff, PracticeArgs, PracticeStartArgs, PracticeVerb, QuestionArgs, RehearseArgs, ServeArgs,
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
    /// Write a commented scenario to fill in
    #[command(after_help = "Example: skewstar new garden --kind newtonian")]
    New(NewArgs),
    /// Read and validate a scenario, and say what follows from it
    #[command(after_help = "Example: skewstar check scenarios/prime-focus-one-screw.toml")]
    Check(ScenarioArgs),
    /// Render the star frame and its truth
    #[command(
        after_help = "Example: skewstar render scenarios/prime-focus-one-screw.toml --annotate --set state.sensor_offset_um=-400"
    )]
    Render(RenderArgs),
    /// Draw how a star changes along one or two keys
    #[command(
        after_help = "Example: skewstar sheet scenarios/fast-unit-one-screw.toml --rows state.modes_nm.7=-150,0,150 --columns state.sensor_offset_um=-400,0,400\n\nKeys joined by & move together: --columns 'state.turns.B=0,0.1,0.2&state.sensor_offset_um=0,100,200'. At least one of --rows and --columns is needed."
    )]
    Sheet(SheetArgs),
    /// Render a whole sensor of stars, each with the image of its own place
    #[command(
        after_help = "Example: skewstar field scenarios/fields/whole-sensor.toml --set state.turns.B=0.1\n\nThe camera's frame is the sensor. The stars are those of [field]; [star] gives their temperature and altitude, and the brightness of the cut-outs."
    )]
    Field(FieldArgs),
    /// Check, draw, preview or tune the mask of a scenario
    #[command(
        after_help = "Example: skewstar mask check scenarios/mask-two-zone-coma.toml\n\nA mask is no solar filter. Tether it, and take it off before slewing."
    )]
    Mask(MaskArgs),
    /// Practise putting a hidden misalignment right
    #[command(
        after_help = "Example: skewstar practice start --session night.toml --level two-screws\n\nAt a real telescope: never point near the Sun; loosen a screw's own partner before you tighten it, never force a screw, never loosen all pairs at once; the maker's instructions come first."
    )]
    Practice(PracticeArgs),
    /// Serve the practice as a page in your browser
    #[command(
        after_help = "Example: skewstar serve\n\nFor this machine only; --lan lets others of your network in, with the token in the address."
    )]
    Serve(ServeArgs),
    /// Print a JSON Schema of the scenario file, for editors
    Schema,
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
    /// Change a key, for example `telescope.vanes[0].width_mm=5`
    #[arg(long = "set", value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// The same bytes on all processors, more slowly
    #[arg(long)]
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

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// Title, and the name of the file: NAME.toml
    pub name: String,
    /// What kind of telescope to start from
    #[arg(long, value_enum, default_value = "prime-focus")]
    pub kind: KindArg,
    /// Where to write.
    #[command(flatten)]
    pub files: NewFiles,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

/// Where `new` writes: beside you, not into `out`.
#[derive(Debug, Args)]
pub struct NewFiles {
    /// Folder to write into
    #[arg(long, value_name = "DIR", default_value = ".")]
    pub out: PathBuf,
    /// Replace files that exist
    #[arg(long)]
    pub force: bool,
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

/// Arguments of `mask`.
#[derive(Debug, Args)]
pub struct MaskArgs {
    /// What to do with it.
    #[command(subcommand)]
    pub what: MaskVerb,
}

/// What can be done with a mask.
#[derive(Debug, Subcommand)]
pub enum MaskVerb {
    /// Say whether it can be printed and what it will cost in light, weight and time
    Check(ScenarioArgs),
    /// Write it as SVG, DXF, STL and 3MF, seen from the sky side
    Draw(MaskDrawArgs),
    /// Show the star through it, and say what it can and cannot show
    Preview(MaskPreviewArgs),
    /// Search for better numbers
    Tune(MaskTuneArgs),
}

impl MaskVerb {
    /// The shared options.
    pub fn common(&self) -> &Common {
        match self {
            MaskVerb::Check(args) => &args.common,
            MaskVerb::Draw(args) => &args.scenario.common,
            MaskVerb::Preview(args) => &args.scenario.common,
            MaskVerb::Tune(args) => &args.scenario.common,
        }
    }
}

/// Arguments of `mask draw`.
#[derive(Debug, Args)]
pub struct MaskDrawArgs {
    /// The scenario.
    #[command(flatten)]
    pub scenario: ScenarioArgs,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
}

/// Arguments of `mask preview`.
#[derive(Debug, Args)]
pub struct MaskPreviewArgs {
    /// The scenario.
    #[command(flatten)]
    pub scenario: ScenarioArgs,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
    /// Smallest shift of a streak that the eye is trusted with, in pixels
    #[arg(long, value_name = "PX", default_value_t = 0.3)]
    pub eye_px: f64,
    /// Size of the coma and of the astigmatism shown, in nm RMS
    #[arg(long, value_name = "NM", default_value_t = 100.0)]
    pub error_nm: f64,
    /// Distance from focus shown, in um; left out: four times the critical focus zone
    #[arg(long, value_name = "UM")]
    pub depth_um: Option<f64>,
}

/// Arguments of `mask tune`.
#[derive(Debug, Args)]
pub struct MaskTuneArgs {
    /// The scenario.
    #[command(flatten)]
    pub scenario: ScenarioArgs,
    /// Where to write.
    #[command(flatten)]
    pub files: Files,
    /// What the mask is for
    #[arg(long = "for", value_enum, default_value = "both")]
    pub purpose: TuneFor,
    /// Who reads the star
    #[arg(long, value_enum, default_value = "eye")]
    pub by: TuneBy,
    /// Smallest shift of a streak that the eye is trusted with, in pixels
    #[arg(long, value_name = "PX", default_value_t = 0.3)]
    pub eye_px: f64,
}

/// What a mask is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum TuneFor {
    /// Focus
    Focus,
    /// Coma
    Coma,
    /// The worse of the two
    Both,
}

/// Who reads the star.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum TuneBy {
    /// A person
    Eye,
    /// A measuring program, limited by photons
    Measurement,
}

/// Kinds of telescope for `new`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum KindArg {
    /// A fast unit at the prime focus
    PrimeFocus,
    /// A folded telescope with two curved mirrors
    TwoMirror,
    /// A Newtonian
    Newtonian,
    /// A refractor
    Refractor,
}
