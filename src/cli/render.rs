//! `render`: the star frame and its truth.

use super::annotate;
use super::args::RenderArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::output::{OutputPlan, OutputSet};
use super::progress::Progress;
use super::{finish, json_file, load, stem};
use crate::dataset::{counts_cards, fits_cards};
use crate::image_io::fits::{self, Cards};
use crate::image_io::stretch::{Stretch, display};
use crate::image_io::{png, tiff};
use crate::predict::Settings;
use crate::scenario::Scenario;
use crate::scene::{Scene, SceneError};
use crate::simulate::{Simulation, sentences};
use ndarray::Array2;

/// Renders the scenario and writes its files, the truth last.
pub fn run(args: &RenderArgs, console: &Console) -> Result<(), CliError> {
    let scenario = load(&args.scenario)?;
    let path = &args.scenario.scenario;
    let refused = CliError::of_scene(path);
    let settings = Settings {
        bound: args.bound,
        ..args.scenario.settings()
    };
    let scene = Scene::of(scenario.clone())
        .map_err(&refused)?
        .with_settings(settings);
    let counts = scene.gives_counts();
    if !counts && (args.png16 || args.tiff) {
        return Err(refused(SceneError::NoCounts));
    }
    if counts && scenario.seed.is_none() {
        return Err(refused(SceneError::SeedMissing));
    }
    let interrupt = Interrupt::install()?;
    let names = Names::new(&stem(path));
    let mut set = OutputSet::plan(&OutputPlan {
        folder: &args.files.out,
        files: &names.planned(args, counts),
        truth: Some(&names.truth),
        force: args.files.force,
    })?;
    set.replaces(names.all());
    let shown = Progress::waiting(console, "rendering");
    let simulation = interrupt.or_done(move || scene.star())?.map_err(&refused)?;
    put_files(&mut set, &names, args, &scenario, &simulation, &interrupt)?;
    drop(shown);
    finish(set, &interrupt, console)?;
    console.answer(sentences(
        &scenario.instrument,
        scenario.state.sky.seeing_rad,
        &simulation.truth,
    ))?;
    console.answer_json(&simulation.truth)?;
    Ok(())
}

/// Names of the files of one scenario.
struct Names {
    counts: String,
    expected: String,
    picture: String,
    annotated: String,
    deep_png: String,
    deep_tiff: String,
    truth: String,
}

impl Names {
    fn new(stem: &str) -> Self {
        Names {
            counts: format!("{stem}.fits"),
            expected: format!("{stem}.expected.fits"),
            picture: format!("{stem}.png"),
            annotated: format!("{stem}.annotated.png"),
            deep_png: format!("{stem}.counts.png"),
            deep_tiff: format!("{stem}.counts.tiff"),
            truth: format!("{stem}.truth.json"),
        }
    }

    fn all(&self) -> [&String; 6] {
        [
            &self.counts,
            &self.expected,
            &self.picture,
            &self.annotated,
            &self.deep_png,
            &self.deep_tiff,
        ]
    }

    fn planned(&self, args: &RenderArgs, counts: bool) -> Vec<String> {
        let wanted = [
            (counts, &self.counts),
            (!counts || args.expected, &self.expected),
            (true, &self.picture),
            (args.annotate, &self.annotated),
            (counts && args.png16, &self.deep_png),
            (counts && args.tiff, &self.deep_tiff),
        ];
        wanted
            .into_iter()
            .filter(|w| w.0)
            .map(|w| w.1.clone())
            .collect()
    }
}

fn put_files(
    set: &mut OutputSet,
    names: &Names,
    args: &RenderArgs,
    scenario: &Scenario,
    simulation: &Simulation,
    interrupt: &Interrupt,
) -> Result<(), CliError> {
    let cards = cards(scenario, simulation);
    let shown: Array2<f64> = match &simulation.frame {
        Some(frame) => frame.counts_adu.mapv(f64::from),
        None => simulation.expected.image.clone(),
    };
    let gray = display(&shown, &Stretch::of(&shown));
    interrupt.check()?;
    if let Some(frame) = &simulation.frame {
        let cards = Cards {
            extra: counts_cards(scenario).extra,
            ..cards.clone()
        };
        set.put(&names.counts, &fits::counts(frame, &cards)?)?;
        if args.png16 {
            set.put(&names.deep_png, &png::gray16(frame)?)?;
        }
        if args.tiff {
            set.put(&names.deep_tiff, &tiff::gray16(frame)?)?;
        }
    }
    if simulation.frame.is_none() || args.expected {
        let unit = if simulation.expected.in_electrons {
            "electron"
        } else {
            ""
        };
        set.put(
            &names.expected,
            &fits::expected(&simulation.expected.image, unit, &cards)?,
        )?;
    }
    interrupt.check()?;
    set.put(&names.picture, &png::gray8(&gray)?)?;
    if args.annotate {
        let canvas = annotate::draw(&scenario.instrument, &simulation.truth, &gray)?;
        set.put(&names.annotated, &png::rgb8(&canvas)?)?;
    }
    set.put(&names.truth, &json_file(&simulation.truth)?)?;
    Ok(())
}

fn cards(scenario: &Scenario, simulation: &Simulation) -> Cards {
    Cards {
        seed: simulation.truth.seed,
        star_px: simulation.truth.star_px.xy(),
        ..fits_cards(scenario)
    }
}
