//! `field`: a whole sensor of stars, its truth, and two pictures of what the field does to them.

use super::args::FieldArgs;
use super::console::Console;
use super::error::CliError;
use super::field_pictures::{Sensor, cut_outs, map};
use super::interrupt::Interrupt;
use super::output::{OutputPlan, OutputSet};
use super::progress::Progress;
use super::{finish, json_file, load, stem};
use crate::dataset::fits_cards;
use crate::image_io::fits::{self, Cards};
use crate::image_io::png;
use crate::image_io::stretch::{Stretch, display};
use crate::math::robust::percentile;
use crate::scenario::Scenario;
use crate::scene::{FieldTruth, Scene, SceneError};
use crate::simulate::{StarField, StarRecord};

/// Renders the field and writes its files, the truth last.
pub fn run(args: &FieldArgs, console: &Console) -> Result<(), CliError> {
    let scenario = load(&args.scenario)?;
    let path = &args.scenario.scenario;
    let refused = CliError::of_scene(path);
    let scene = Scene::of(scenario.clone())
        .map_err(&refused)?
        .with_settings(args.scenario.settings());
    let count = scene
        .star_count()
        .ok_or_else(|| refused(SceneError::NoField))?;
    if scenario.seed.is_none() {
        return Err(refused(SceneError::SeedMissing));
    }
    let interrupt = Interrupt::install()?;
    let name = |end: &str| format!("{}.field.{end}", stem(path));
    let files = ["fits", "png", "map.png", "cutouts.png"].map(name);
    let truth = name("truth.json");
    let mut set = OutputSet::plan(&OutputPlan {
        folder: &args.files.out,
        files: &files,
        truth: Some(&truth),
        force: args.files.force,
    })?;
    let shown = Progress::start(console, "stars", count as u64);
    let job = scene.clone();
    let rendered = interrupt
        .or_done(move || job.field(&|| shown.step()))?
        .map_err(&refused)?;
    put_frame(&mut set, &files, &scenario, &rendered.field, &interrupt)?;
    let camera = &scenario.instrument.camera;
    let sensor = Sensor {
        title: scenario.title.clone(),
        size_px: [camera.width_px, camera.height_px],
        coma_node_px: rendered.coma_node_px,
    };
    set.put(
        &files[2],
        &png::rgb8(&map(&sensor, &rendered.field.stars)?)?,
    )?;
    set.put(
        &files[3],
        &png::rgb8(&cut_outs(&sensor, &rendered.samples)?)?,
    )?;
    let told = scene.field_truth(&rendered).map_err(&refused)?;
    set.put(&truth, &json_file(&told)?)?;
    finish(set, &interrupt, console)?;
    console.answer(words(&told))?;
    console.answer_json(&told)?;
    Ok(())
}

fn put_frame(
    set: &mut OutputSet,
    files: &[String; 4],
    scenario: &Scenario,
    field: &StarField,
    interrupt: &Interrupt,
) -> Result<(), CliError> {
    let cards = Cards {
        seed: scenario.seed,
        star_px: scenario.instrument.camera.middle_px().xy(),
        ..fits_cards(scenario)
    };
    set.put(&files[0], &fits::counts(&field.frame, &cards)?)?;
    interrupt.check()?;
    let shown = field.frame.counts_adu.mapv(f64::from);
    set.put(
        &files[1],
        &png::gray8(&display(&shown, &Stretch::of(&shown)))?,
    )?;
    interrupt.check()?;
    Ok(())
}

fn words(truth: &FieldTruth<'_>) -> String {
    let sizes = |f: &dyn Fn(&StarRecord) -> f64| {
        let mut values: Vec<f64> = truth.stars.iter().map(f).collect();
        [0.0, 0.5, 1.0].map(|share| percentile(&mut values, share))
    };
    let [small, middle, large] = sizes(&|s| s.half_flux_diameter_px);
    let [_, round, long] = sizes(&|s| s.elongation);
    let mut lines = vec![
        format!(
            "{} stars; half-flux diameter {small:.2} to {large:.2} px, half of them below {middle:.2} px.",
            truth.stars.len()
        ),
        format!(
            "The longest star is {long:.2} times as long as wide, the middle one {round:.2} times."
        ),
    ];
    if let Some([x, y]) = truth.coma_node_px.map(|node| node.xy()) {
        lines.push(format!("Coma vanishes at column {x:.0}, row {y:.0} of the sensor (counted from 0, bottom left)."));
    }
    lines.join("\n")
}
