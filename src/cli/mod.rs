//! The command line: what is typed, what is printed, what is written. No physics and no geometry of its own.

mod annotate;
mod args;
mod cards;
mod check;
mod console;
mod dataset;
mod dataset_args;
mod dataset_folder;
mod dataset_verify;
mod error;
mod field;
mod field_pictures;
mod help;
mod interrupt;
mod learn;
mod marks;
mod mask;
mod mask_args;
mod mask_draw;
mod mask_picture;
mod mask_preview;
mod mask_tune;
mod measure;
mod measure_picture;
mod new;
mod new_args;
mod new_from;
mod night;
mod night_args;
mod night_picture;
mod night_report;
mod night_screen;
mod output;
mod output_error;
mod practice;
mod practice_args;
mod practice_camera;
mod practice_questions;
mod progress;
#[cfg(feature = "serve")]
mod qr;
mod render;
mod score;
mod score_plots;
mod score_svg;
#[cfg(feature = "serve")]
mod serve;
#[cfg(feature = "serve")]
mod serve_night;
mod sheet;
mod terminal;

use error::CliError;

use crate::files;
use crate::flag::Flags;
use crate::instrument::Instrument;
use crate::measure::Picture;
use crate::scenario::{self, Scenario};
use crate::scene::Scene;
use args::{Cli, DatasetVerb, Files, ScenarioArgs, SchemaOf, Verb};
use clap::FromArgMatches;
use console::Console;
use interrupt::Interrupt;
use output::{OutputPlan, OutputSet};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Parses what was typed and does it; returns the exit status.
pub fn run() -> i32 {
    let typed = help::command().get_matches();
    let cli = Cli::from_arg_matches(&typed).unwrap_or_else(|error| error.exit());
    let console = console_of(&cli.verb);
    let done = match cli.verb {
        Verb::New(args) => new::run(&args, &console),
        Verb::Check(args) => check::run(&args, &console),
        Verb::Render(args) => render::run(&args, &console),
        Verb::Sheet(args) => sheet::run(&args, &console),
        Verb::Field(args) => field::run(&args, &console),
        Verb::Learn(args) => learn::run(&args, &console),
        Verb::Mask(args) => match mask::run(&args, &console) {
            Ok(true) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Measure(args) => match measure::run(&args, &console) {
            Ok(false) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Dataset(args) => match dataset::run(&args, &console) {
            Ok(false) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Score(args) => match score::run(&args, &console) {
            Ok(false) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Schema { of } => schema(of, &console),
        Verb::Practice(args) => match practice::run(&args, &console) {
            Ok(true) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Night(args) => match night::run(&args, &console) {
            Ok(false) => return 1,
            other => other.map(|_| ()),
        },
        #[cfg(feature = "serve")]
        Verb::Serve(args) => serve::run(&args, &console),
        Verb::Completions { shell } => completions(shell, &console),
        Verb::Man => manual(&console),
    };
    match done {
        Ok(()) => 0,
        Err(error) => {
            console.error(&error, error.hint());
            error.exit_status()
        }
    }
}

/// How the verb speaks, by what was typed with it.
fn console_of(verb: &Verb) -> Console {
    let common = match verb {
        Verb::New(args) => &args.common,
        Verb::Check(args) => &args.common,
        Verb::Render(args) => &args.scenario.common,
        Verb::Field(args) => &args.scenario.common,
        Verb::Sheet(args) => &args.scenario.common,
        Verb::Learn(args) => &args.common,
        Verb::Mask(args) => args.what.common(),
        Verb::Measure(args) => &args.common,
        Verb::Dataset(args) => {
            let (DatasetVerb::Make(set) | DatasetVerb::Verify(set)) = &args.what;
            &set.common
        }
        Verb::Score(args) => &args.common,
        Verb::Practice(args) => practice::common(&args.what),
        Verb::Night(args) => &args.what.session().common,
        #[cfg(feature = "serve")]
        Verb::Serve(args) => &args.common,
        Verb::Schema { .. } | Verb::Completions { .. } | Verb::Man => return Console::default(),
    };
    Console {
        quiet: common.quiet,
        json: common.json,
    }
}

fn schema(of: SchemaOf, console: &Console) -> Result<(), CliError> {
    let text = match of {
        SchemaOf::Scenario => scenario::schema(),
        SchemaOf::Recipe => crate::dataset::schema(),
        SchemaOf::Answers => crate::score::schema(),
    };
    Ok(console.data(&text)?)
}

/// Reads the scenario that was named, with its overrides and its drawing.
fn load(args: &ScenarioArgs) -> Result<Scenario, CliError> {
    Ok(files::scenario(&args.scenario, &args.set)?)
}

/// The scene of the scenario that was named, computed as was typed.
fn scene(args: &ScenarioArgs) -> Result<Scene, CliError> {
    let scene = Scene::of(load(args)?).map_err(CliError::of_scene(&args.scenario))?;
    Ok(scene.with_settings(args.settings()))
}

/// Reads an image file; what looked wrong in it is said.
fn image_of(
    path: &Path,
    instrument: &Instrument,
    console: &Console,
) -> Result<(Picture, Flags), CliError> {
    let read = files::picture(path, instrument)?;
    for warning in &read.warnings {
        console.warning(format!("{}: {warning}", path.display()));
    }
    Ok((read.picture, read.flags))
}

/// The set of a single file that stands for itself.
fn one_file(files: &Files, name: &String) -> Result<OutputSet, CliError> {
    Ok(OutputSet::plan(&OutputPlan {
        folder: &files.out,
        files: std::slice::from_ref(name),
        truth: None,
        force: files.force,
    })?)
}

/// The set of one new file in a folder; a file that is there is never replaced.
fn one_file_in(folder: &Path, name: &String) -> Result<OutputSet, CliError> {
    Ok(OutputSet::plan(&OutputPlan {
        folder,
        files: std::slice::from_ref(name),
        truth: None,
        force: false,
    })?)
}

/// Gives the files of a set their names and says where they lie.
fn finish(
    set: OutputSet,
    interrupt: &Interrupt,
    console: &Console,
) -> Result<Vec<PathBuf>, CliError> {
    let written = set.finish(interrupt)?;
    for path in &written {
        console.note(format!("wrote {}", path.display()));
    }
    Ok(written)
}

/// The bytes of a JSON file: indented, with a line feed at its end.
fn json_file(value: &impl Serialize) -> Result<Vec<u8>, CliError> {
    let mut bytes = serde_json::to_vec_pretty(value).map_err(std::io::Error::from)?;
    bytes.push(b'\n');
    Ok(bytes)
}

/// Least and largest of some values; `None` of none.
fn least_and_most(values: &[f64]) -> Option<(f64, f64)> {
    let least = values.iter().copied().reduce(f64::min)?;
    Some((least, values.iter().copied().fold(least, f64::max)))
}

/// The scenario's file name without its ending: what its output files are called.
fn stem(path: &Path) -> String {
    path.file_stem()
        .map_or_else(|| "scenario".into(), |s| s.to_string_lossy().into_owned())
}

fn completions(shell: clap_complete::Shell, console: &Console) -> Result<(), CliError> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut help::command(), "skewstar", &mut script);
    Ok(console.data(&String::from_utf8_lossy(&script))?)
}

/// One page: the program, then every verb.
fn manual(console: &Console) -> Result<(), CliError> {
    let mut page = Vec::new();
    let mut command = help::command();
    command.build();
    render_pages(&command, &mut page)?;
    Ok(console.data(&String::from_utf8_lossy(&page))?)
}

/// A command's page, and then those of its verbs.
fn render_pages(command: &clap::Command, page: &mut Vec<u8>) -> std::io::Result<()> {
    clap_mangen::Man::new(command.clone()).render(page)?;
    for verb in command.get_subcommands().filter(|c| c.get_name() != "help") {
        render_pages(verb, page)?;
    }
    Ok(())
}
