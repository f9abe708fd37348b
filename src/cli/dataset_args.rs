//! What can be typed after `dataset` and `score`.

use super::args::{Common, Files};
use super::help::TESTERS;
use clap::{Args, Subcommand};
use std::path::PathBuf;

/// Arguments of `dataset`.
#[derive(Debug, Args)]
pub struct DatasetArgs {
    /// What to do.
    #[command(subcommand)]
    pub what: DatasetVerb,
}

/// What can be done with a set.
#[derive(Debug, Subcommand)]
pub enum DatasetVerb {
    /// Make a range of items; goes on where an earlier run was stopped
    #[command(
        after_help = "Example: skewstar dataset make scenarios/recipes/doughnuts.toml --out set --count 1000"
    )]
    Make(SetArgs),
    /// Check counts, checksums, gaps and duplicates; exit status 1 when the set is not whole
    #[command(
        after_help = "Example: skewstar dataset verify scenarios/recipes/doughnuts.toml --out set --count 1000"
    )]
    Verify(SetArgs),
}

/// A recipe and a range of its items.
#[derive(Debug, Args)]
pub struct SetArgs {
    /// The recipe
    pub recipe: PathBuf,
    /// Folder of the set
    #[arg(long, value_name = "DIR", default_value = "out")]
    pub out: PathBuf,
    /// Number of items
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u64).range(1..=1_000_000_000))]
    pub count: u64,
    /// First item
    #[arg(long, value_name = "K", default_value_t = 0, value_parser = clap::value_parser!(u64).range(0..=1_000_000_000))]
    pub start: u64,
    /// Sealed set: the folder of the withheld truth
    #[arg(long, value_name = "DIR", requires = "secret", help_heading = TESTERS)]
    pub truth_out: Option<PathBuf>,
    /// File with the secret of a sealed set, 32 hexadecimal digits; where there is none, `dataset make` writes one
    #[arg(long, value_name = "FILE", requires = "truth_out", help_heading = TESTERS)]
    pub secret: Option<PathBuf>,
    /// The same bytes on all processors, more slowly
    #[arg(long, help_heading = TESTERS)]
    pub portable: bool,
    /// Threads of this program; as many as the machine has when left out
    #[arg(long, value_name = "N", value_parser = threads)]
    pub threads: Option<usize>,
    /// `verify` only: draw so many items, chosen by chance, again and compare them
    #[arg(long, value_name = "K", default_value_t = 0, help_heading = TESTERS)]
    pub remake: u64,
    /// `verify` only: where the set is whole, write a manifest with the checksum of its content, by which it can be cited
    #[arg(long, help_heading = TESTERS)]
    pub manifest: bool,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}

/// A number of threads.
fn threads(text: &str) -> Result<usize, String> {
    let found: Option<usize> = text.parse().ok();
    found
        .filter(|threads| (1..=1024).contains(threads))
        .ok_or_else(|| "a whole number from 1 to 1024".to_owned())
}

/// Arguments of `score`.
#[derive(Debug, Args)]
pub struct ScoreArgs {
    /// The truth: a folder of a set, a truth table, or a truth file of `render`
    pub truth: PathBuf,
    /// The answers: CSV, or JSON (one a line, or an array) when the name ends with .jsonl, .ndjson or .json; several files are compared in one table
    #[arg(required = true, num_args = 1..)]
    pub answers: Vec<PathBuf>,
    /// Fail with exit status 1 when a number of the score is larger, for example `modes_nm.7.rms=30`
    #[arg(long, value_name = "NUMBER=LIMIT")]
    pub at_most: Vec<String>,
    /// Fail with exit status 1 when a number of the score is smaller, for example `coverage=0.99`
    #[arg(long, value_name = "NUMBER=LIMIT")]
    pub at_least: Vec<String>,
    /// Also draw the error against electrons, seeing and size of the misalignment
    #[arg(long)]
    pub plot: bool,
    /// The same as SVG, for a page or a paper
    #[arg(long)]
    pub svg: bool,
    /// Where the picture goes.
    #[command(flatten)]
    pub files: Files,
    /// Shared options.
    #[command(flatten)]
    pub common: Common,
}
