//! The command line: what is typed, what is printed, what is written. No physics and no geometry of its own.

mod annotate;
pub mod args;
mod check;
pub mod console;
mod dataset;
mod dataset_folder;
mod error;
mod field;
mod field_pictures;
pub mod interrupt;
mod learn;
mod marks;
mod mask;
mod mask_args;
mod mask_preview;
mod mask_tune;
mod measure;
mod measure_picture;
mod new;
pub mod output;
mod output_error;
mod practice;
mod practice_args;
pub mod progress;
mod render;
mod score;
mod score_plots;
mod serve;
mod sheet;
mod terminal;

pub use error::CliError;

use crate::flag::{Flag, Flags};
use crate::image_io::reading::read_image;
use crate::instrument::{Instrument, MaskLayout};
use crate::mask::drawing;
use crate::measure::Picture;
use crate::scenario::{self, Scenario};
use crate::units::UM;
use args::{Cli, DatasetVerb, Files, ScenarioArgs, SchemaOf, Verb};
use clap::CommandFactory;
use console::Console;
use interrupt::Interrupt;
use output::{OutputPlan, OutputSet};
use serde::Serialize;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Does what was typed; returns the exit status.
pub fn run(cli: Cli) -> i32 {
    let printer = printer_of(&cli.verb);
    let done = match cli.verb {
        Verb::New(args) => new::run(&args, &printer),
        Verb::Check(args) => check::run(&args, &printer),
        Verb::Render(args) => render::run(&args, &printer),
        Verb::Sheet(args) => sheet::run(&args, &printer),
        Verb::Field(args) => field::run(&args, &printer),
        Verb::Learn(args) => learn::run(&args, &printer),
        Verb::Mask(args) => match mask::run(&args, &printer) {
            Ok(true) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Measure(args) => match measure::run(&args, &printer) {
            Ok(false) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Dataset(args) => match dataset::run(&args, &printer) {
            Ok(false) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Score(args) => match score::run(&args, &printer) {
            Ok(false) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Schema { of } => schema(of, &printer),
        Verb::Practice(args) => match practice::run(&args, &printer) {
            Ok(true) => return 1,
            other => other.map(|_| ()),
        },
        Verb::Serve(args) => serve::run(&args, &printer),
        Verb::Completions { shell } => completions(shell, &printer),
        Verb::Man => manual(&printer),
    };
    match done {
        Ok(()) => 0,
        Err(error) => {
            printer.error(&error, error.hint());
            error.exit_status()
        }
    }
}

fn printer_of(verb: &Verb) -> Console {
    match verb {
        Verb::New(args) => Console {
            quiet: args.common.quiet,
            json: args.common.json,
        },
        Verb::Check(args) => Console {
            quiet: args.common.quiet,
            json: args.common.json,
        },
        Verb::Render(args) => Console {
            quiet: args.scenario.common.quiet,
            json: args.scenario.common.json,
        },
        Verb::Field(args) => Console {
            quiet: args.scenario.common.quiet,
            json: args.scenario.common.json,
        },
        Verb::Sheet(args) => Console {
            quiet: args.scenario.common.quiet,
            json: args.scenario.common.json,
        },
        Verb::Learn(args) => Console {
            quiet: args.common.quiet,
            json: args.common.json,
        },
        Verb::Mask(args) => {
            let common = args.what.common();
            Console {
                quiet: common.quiet,
                json: common.json,
            }
        }
        Verb::Measure(args) => Console {
            quiet: args.common.quiet,
            json: args.common.json,
        },
        Verb::Dataset(args) => {
            let (DatasetVerb::Make(set) | DatasetVerb::Verify(set)) = &args.what;
            Console {
                quiet: set.common.quiet,
                json: set.common.json,
            }
        }
        Verb::Score(args) => Console {
            quiet: args.common.quiet,
            json: args.common.json,
        },
        Verb::Practice(args) => {
            let common = practice::common(&args.what);
            Console {
                quiet: common.quiet,
                json: common.json,
            }
        }
        Verb::Serve(args) => Console {
            quiet: args.common.quiet,
            json: args.common.json,
        },
        _ => Console::default(),
    }
}

fn schema(of: SchemaOf, printer: &Console) -> Result<(), CliError> {
    let text = match of {
        SchemaOf::Scenario => scenario::schema(),
        SchemaOf::Recipe => crate::dataset::schema(),
        SchemaOf::Answers => crate::score::schema(),
    };
    Ok(printer.data(&text)?)
}

/// Larger files are refused before they are read.
const SCENARIO_BYTES_AT_MOST: u64 = 1 << 20;

/// Reads the scenario that was named, with its overrides.
fn load(args: &ScenarioArgs) -> Result<Scenario, CliError> {
    parsed(&scenario_bytes(&args.scenario)?, &args.scenario, &args.set)
}

/// Reads a scenario's bytes with these overrides.
fn parsed(bytes: &[u8], path: &Path, sets: &[String]) -> Result<Scenario, CliError> {
    let mut scenario = scenario::read_bytes(bytes, &path.display().to_string(), sets)?;
    load_drawing(&mut scenario, path)?;
    Ok(scenario)
}

/// The bytes of a scenario file.
fn scenario_bytes(path: &Path) -> Result<Vec<u8>, CliError> {
    let unreadable = |source| CliError::Read {
        path: path.to_owned(),
        source,
    };
    let file = std::fs::File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(SCENARIO_BYTES_AT_MOST + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > SCENARIO_BYTES_AT_MOST {
        return Err(CliError::TooLong {
            path: path.to_owned(),
            limit: SCENARIO_BYTES_AT_MOST,
        });
    }
    Ok(bytes)
}

/// A text file of the size of a scenario.
fn scenario_text(path: &Path) -> Result<String, CliError> {
    String::from_utf8(scenario_bytes(path)?).map_err(|_| CliError::Read {
        path: path.to_owned(),
        source: std::io::Error::new(std::io::ErrorKind::InvalidData, "it is no UTF-8 text"),
    })
}

/// Longer image files are refused before they are read.
const IMAGE_BYTES_AT_MOST: u64 = 1 << 31;

/// Pixel pitches that differ by a larger share are two.
const SAME_PITCH: f64 = 0.01;

/// Reads an image file: the frame, and flags that say what is less than perfect about the file. What looked wrong in it is said.
fn image_of(
    path: &Path,
    instrument: &Instrument,
    printer: &Console,
) -> Result<(Picture, Flags), CliError> {
    let unreadable = |source| CliError::Image {
        path: path.to_owned(),
        source,
    };
    let file = std::fs::File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(IMAGE_BYTES_AT_MOST + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    if bytes.len() as u64 > IMAGE_BYTES_AT_MOST {
        return Err(CliError::ImageTooLong {
            path: path.to_owned(),
            limit: IMAGE_BYTES_AT_MOST,
        });
    }
    let reading = read_image(&bytes, &path.display().to_string())?;
    for warning in &reading.warnings {
        printer.warning(format!("{}: {warning}", path.display()));
    }
    let mosaic = instrument.camera.colour.is_some() && !reading.colour;
    let shot = Picture {
        values_adu: reading.values,
        ceiling_adu: reading.ceiling,
        gain_e_per_adu: reading.gain_e_per_adu,
        exposure_s: reading.exposure_s,
        mosaic,
    };
    let mut flags = reading.flags;
    if mosaic {
        flags = flags.without(Flag::ColourFilterArray);
    }
    let typed_m = instrument.camera.pixel_m;
    if let Some(file_m) = reading
        .pixel_m
        .filter(|m| (m / typed_m - 1.0).abs() > SAME_PITCH)
    {
        printer.warning(format!(
            "{}: its pixels are {:.2} um, camera.pixel_um is {:.2}; the latter is used",
            path.display(),
            file_m / UM,
            typed_m / UM
        ));
        flags.raise(Flag::PixelSizeDiffers);
    }
    Ok((shot, flags))
}

/// Reads the drawing of a mask, which lies beside its scenario, and puts it into the scenario and its checksum.
fn load_drawing(scenario: &mut Scenario, path: &Path) -> Result<(), CliError> {
    let mirrored = scenario.instrument.telescope.seen_mirrored();
    let Some(design) = &mut scenario.instrument.mask else {
        return Ok(());
    };
    let MaskLayout::Drawing(named) = &design.layout else {
        return Ok(());
    };
    let path = path.parent().unwrap_or(Path::new("")).join(&named.file);
    let unreadable = |source| CliError::Drawing {
        path: path.clone(),
        source,
    };
    let file = std::fs::File::open(&path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(drawing::BYTES_AT_MOST as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(unreadable)?;
    let diameters_m = [design.inner_diameter_m, design.outer_diameter_m];
    let read =
        drawing::read(&bytes, named, diameters_m, mirrored).map_err(|source| CliError::Svg {
            path: path.clone(),
            source,
        })?;
    design.layout = MaskLayout::Drawing(read);
    scenario.add_to_digest(&bytes);
    Ok(())
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

/// Gives the files of a set their names and says where they lie.
fn finish(
    set: OutputSet,
    interrupt: &Interrupt,
    printer: &Console,
) -> Result<Vec<PathBuf>, CliError> {
    let written = set.finish(interrupt)?;
    for path in &written {
        printer.note(format!("wrote {}", path.display()));
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

fn completions(shell: clap_complete::Shell, printer: &Console) -> Result<(), CliError> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "skewstar", &mut script);
    Ok(printer.data(&String::from_utf8_lossy(&script))?)
}

/// One page: the program, then every verb.
fn manual(printer: &Console) -> Result<(), CliError> {
    let mut page = Vec::new();
    let mut command = Cli::command();
    command.build();
    render_pages(&command, &mut page)?;
    Ok(printer.data(&String::from_utf8_lossy(&page))?)
}

/// A command's page, and then those of its verbs.
fn render_pages(command: &clap::Command, page: &mut Vec<u8>) -> std::io::Result<()> {
    clap_mangen::Man::new(command.clone()).render(page)?;
    for verb in command.get_subcommands().filter(|c| c.get_name() != "help") {
        render_pages(verb, page)?;
    }
    Ok(())
}
