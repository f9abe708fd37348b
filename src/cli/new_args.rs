//! What can be typed after `new`.

use super::args::Common;
use crate::first_frame::Lacking;
use crate::instrument::AssemblyKind;
use clap::{Args, ValueEnum};
use std::path::PathBuf;

/// A telescope from a frame of its own: header and ring say much of it, the options say what they cannot.
#[derive(Debug, Args)]
pub struct FirstFrameArgs {
    /// Take what a frame of a ring-shaped star says: obstruction, vanes and camera; what no file says is asked
    #[arg(long, value_name = "FRAME")]
    pub from: Option<PathBuf>,
    /// With --from: aperture, mm
    #[arg(long, value_name = "MM", requires = "from", value_parser = asked(Lacking::Aperture))]
    pub aperture: Option<f64>,
    /// With --from: focal length, mm, where the file does not say it
    #[arg(long, value_name = "MM", requires = "from", value_parser = asked(Lacking::FocalLength))]
    pub focal_length: Option<f64>,
    /// With --from: pixel pitch, um, where the file does not say it
    #[arg(long, value_name = "UM", requires = "from", value_parser = asked(Lacking::Pixel))]
    pub pixel: Option<f64>,
    /// With --from: where the widest shadow stands, looking from the sensor: degrees as for the screws, a letter, or B+30
    #[arg(
        long,
        value_name = "PLACE",
        requires = "from",
        allow_hyphen_values = true
    )]
    pub shadow_at: Option<String>,
    /// With --from: names and azimuths of the screws, such as A=90,B=210,C=330
    #[arg(long, value_name = "NAME=DEG", requires = "from", value_delimiter = ',', value_parser = screw)]
    pub screws: Vec<(String, f64)>,
    /// With --from: from the middle to a screw, mm
    #[arg(long, value_name = "MM", requires = "from", value_parser = above_zero)]
    pub circle: Option<f64>,
    /// With --from: lift of one turn, mm
    #[arg(long, value_name = "MM", requires = "from", value_parser = above_zero)]
    pub pitch: Option<f64>,
    /// With --from: push-pull, spring, pivot or lock-nut
    #[arg(long, value_name = "KIND", requires = "from", value_parser = cell)]
    pub cell: Option<AssemblyKind>,
    /// With --from: what clockwise, facing a screw's head, does to it
    #[arg(long, value_enum, requires = "from")]
    pub clockwise: Option<ClockwiseArg>,
}

/// A number in the range of a question.
fn asked(what: Lacking) -> impl Fn(&str) -> Result<f64, String> + Clone + Send + Sync + 'static {
    move |text| {
        let [least, most] = what.range();
        let number = text.trim().parse().ok();
        number
            .filter(|n: &f64| (least..=most).contains(n))
            .ok_or_else(|| format!("{text:?} must be a number from {least} to {most}"))
    }
}

fn above_zero(text: &str) -> Result<f64, String> {
    let number = text.trim().parse().ok();
    number
        .filter(|n: &f64| *n > 0.0 && *n < 1e4)
        .ok_or_else(|| format!("{text:?} must be a number above 0 and below 10000"))
}

fn screw(text: &str) -> Result<(String, f64), String> {
    let wanted = || format!("{text:?} must be a name and degrees, such as B=210");
    let (name, degrees) = text.split_once('=').ok_or_else(wanted)?;
    let degrees: f64 = degrees.trim().parse().map_err(|_| wanted())?;
    let good = !name.trim().is_empty() && degrees.abs() <= 360.0;
    good.then(|| (name.trim().to_owned(), degrees))
        .ok_or_else(wanted)
}

fn cell(text: &str) -> Result<AssemblyKind, String> {
    let mut kinds = AssemblyKind::ALL.into_iter();
    kinds.find(|kind| kind.word() == text).ok_or_else(|| {
        let known = AssemblyKind::ALL.map(AssemblyKind::word).join(", ");
        format!("{text:?} must be one of {known}")
    })
}

/// What clockwise does to a screw.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ClockwiseArg {
    /// The screw gets longer
    Lengthens,
    /// The screw gets shorter
    Shortens,
}

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// Title, and the name of the file: NAME.toml
    pub name: String,
    /// What kind of telescope to start from
    #[arg(long, value_enum, default_value = "prime-focus")]
    pub kind: KindArg,
    /// What a frame of yours says.
    #[command(flatten)]
    pub first: FirstFrameArgs,
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
    /// A unit of lenses and camera at the prime focus, traced from its surfaces
    PrimeFocusCorrector,
    /// A corrector plate and two mirrors, traced from their surfaces
    CorrectorPlate,
    /// A meniscus and two mirrors, traced from their surfaces
    Meniscus,
    /// A doublet, traced from its surfaces
    Doublet,
}
