//! What can be typed after `mask`.

use super::args::{Common, Files, ScenarioArgs, within};
use crate::preview::visible::Observer;
use crate::scene::PreviewOptions;
use clap::{Args, Subcommand, ValueEnum};

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
    #[command(after_help = "Example: skewstar mask check scenarios/mask-two-zone-coma.toml")]
    Check(ScenarioArgs),
    /// Write it as SVG, DXF, STL and 3MF, seen from the sky side, with a gauge of its ring and the words of an order
    #[command(
        after_help = "Example: skewstar mask draw scenarios/mask-two-zone-coma.toml --out print"
    )]
    Draw(MaskDrawArgs),
    /// Show the star through it, and say what it can and cannot show
    #[command(after_help = "Example: skewstar mask preview scenarios/mask-two-zone-coma.toml")]
    Preview(MaskPreviewArgs),
    /// Search for better numbers
    #[command(after_help = "Example: skewstar mask tune scenarios/mask-three-triplet-focus.toml")]
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
    /// For a laser cutter: a flat sheet without ring, SVG and DXF with layers for openings, edge and engraving
    #[arg(long)]
    pub sheet: bool,
    /// With --sheet: width of what the beam burns away, in mm; lines are moved by half of it
    #[arg(long, value_name = "MM", requires = "sheet", default_value_t = 0.15, value_parser = kerf)]
    pub kerf_mm: f64,
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
    /// Shift of a spike that the eye tells from none in three of four trials, in pixels
    #[arg(long, value_name = "PX", default_value_t = Observer::default().eye_px, value_parser = pixels)]
    pub eye_px: f64,
    /// How much brighter than the light beside it a spike has to be, as a fraction of that light
    #[arg(long, value_name = "FRACTION", default_value_t = Observer::default().contrast, value_parser = fraction)]
    pub contrast: f64,
    /// Size of the coma and of the astigmatism shown, in nm RMS
    #[arg(long, value_name = "NM", default_value_t = PreviewOptions::default().error_nm, value_parser = nanometres)]
    pub error_nm: f64,
    /// Distance from focus shown, in um; left out: four times the critical focus zone
    #[arg(long, value_name = "UM", value_parser = micrometres)]
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
    /// Shift of a spike that the eye tells from none in three of four trials, in pixels
    #[arg(long, value_name = "PX", default_value_t = Observer::default().eye_px, value_parser = pixels)]
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

fn kerf(text: &str) -> Result<f64, String> {
    within(text, [0.0, 2.0], "mm")
}

fn pixels(text: &str) -> Result<f64, String> {
    within(text, [0.001, 100.0], "pixels")
}

fn fraction(text: &str) -> Result<f64, String> {
    within(text, [0.01, 10.0], "of the light beside it")
}

fn nanometres(text: &str) -> Result<f64, String> {
    within(text, [0.1, 10_000.0], "nm")
}

fn micrometres(text: &str) -> Result<f64, String> {
    within(text, [0.1, 20_000.0], "um")
}
