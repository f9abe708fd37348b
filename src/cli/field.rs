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
use crate::flag::{Flag, Flags};
use crate::image_io::fits::{self, Cards};
use crate::image_io::png;
use crate::image_io::stretch::{Stretch, display};
use crate::math::robust::percentile;
use crate::mechanics::{align, coma_node_m};
use crate::predict::Settings;
use crate::pupil::{frame_axes, frame_px};
use crate::rng::Seed;
use crate::scenario::Scenario;
use crate::simulate::{
    FieldError, Stamp, StarField, StarRecord, background, field_stars, stamp, star_field,
};
use crate::state::{FieldStar, FieldStars};
use crate::units::ARCMIN;
use serde::Serialize;
use std::collections::BTreeMap;

/// The truth of a field.
#[derive(Debug, Serialize)]
struct FieldTruth<'a> {
    format: &'static str,
    version: &'static str,
    title: &'a str,
    seed: u64,
    scenario_sha256: &'a str,
    turns: BTreeMap<String, f64>,
    tilt_arcmin: [f64; 2],
    /// Where the field has no coma, in frame pixels: −k_tilt·t/k_field from the axis.
    coma_node_px: Option<[f64; 2]>,
    saturated_px: usize,
    stars: &'a [StarRecord],
    flags: Flags,
}

/// What is rendered in one go, off the main thread.
struct Rendered {
    field: StarField,
    samples: Vec<Stamp>,
}

/// Renders the field and writes its files, the truth last.
pub fn run(args: &FieldArgs, printer: &Console) -> Result<(), CliError> {
    let scenario = load(&args.scenario)?;
    let path = &args.scenario.scenario;
    let Some(plan) = scenario.field.clone() else {
        return Err(CliError::NoField { path: path.clone() });
    };
    let Some(seed) = scenario.seed else {
        return Err(CliError::SeedMissing { path: path.clone() });
    };
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
    let settings = args.scenario.settings();
    let count = match &plan {
        FieldStars::Listed(stars) => stars.len(),
        FieldStars::Drawn { count, .. } => *count,
    };
    let shown = Progress::start(printer, "stars", count as u64);
    let job = scenario.clone();
    let rendered = interrupt
        .or_done(move || render(&job, &plan, Seed(seed), settings, &|| shown.step()))?
        .map_err(|source| CliError::Field {
            path: path.clone(),
            source,
        })?;
    let Rendered { field, samples } = rendered;
    put_frame(&mut set, &files, &scenario, &field, &interrupt)?;
    let sensor = sensor(&scenario);
    set.put(&files[2], &png::rgb8(&map(&sensor, &field.stars)?)?)?;
    set.put(&files[3], &png::rgb8(&cut_outs(&sensor, &samples)?)?)?;
    let told = truth_of(&scenario, seed, &field, sensor.coma_node_px);
    set.put(&truth, &json_file(&told)?)?;
    finish(set, &interrupt, printer)?;
    printer.answer(words(&told))?;
    printer.answer_json(&told)?;
    Ok(())
}

fn render(
    scenario: &Scenario,
    plan: &FieldStars,
    seed: Seed,
    settings: Settings,
    done: &(dyn Fn() + Sync),
) -> Result<Rendered, FieldError> {
    let (instrument, state) = (&scenario.instrument, &scenario.state);
    let stars = field_stars(instrument, plan, seed);
    let field = star_field(instrument, state, &stars, seed, settings, done)?;
    let sky = background(instrument, state, settings)?;
    let magnitude = state.star.as_ref().map_or(0.0, |s| s.magnitude);
    let samples = sample_places(scenario)
        .into_iter()
        .map(|field_m| {
            stamp(
                instrument,
                state,
                &FieldStar {
                    field_m,
                    magnitude,
                    temperature_k: None,
                },
                &sky,
                settings,
            )
        })
        .collect::<Result<Vec<Stamp>, FieldError>>()?;
    Ok(Rendered { field, samples })
}

/// Where cut-outs are taken: five by three places, on whole pixels, from near one edge to near the other.
fn sample_places(scenario: &Scenario) -> Vec<[f64; 2]> {
    let camera = &scenario.instrument.camera;
    let axes = frame_axes(&scenario.instrument);
    let across = |share: f64, side_px: usize| {
        let middle = 0.5 * (side_px as f64 - 1.0);
        (middle + share * side_px as f64).round() - middle
    };
    let mut places = Vec::new();
    for up in [-0.34, 0.0, 0.34] {
        for right in [-0.4, -0.2, 0.0, 0.2, 0.4] {
            let frame_px = [across(right, camera.width_px), across(up, camera.height_px)];
            places.push(axes.backward(frame_px.map(|p| p * camera.pixel_m)));
        }
    }
    places
}

fn sensor(scenario: &Scenario) -> Sensor {
    let (instrument, camera) = (&scenario.instrument, &scenario.instrument.camera);
    Sensor {
        title: scenario.title.clone(),
        size_px: [camera.width_px, camera.height_px],
        coma_node_px: coma_node_m(instrument, &scenario.state)
            .map(|node_m| frame_px(instrument, node_m)),
    }
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
        star_px: scenario.instrument.camera.middle_px(),
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

fn truth_of<'a>(
    scenario: &'a Scenario,
    seed: u64,
    field: &'a StarField,
    coma_node_px: Option<[f64; 2]>,
) -> FieldTruth<'a> {
    let assembly = scenario.instrument.assembly.as_ref();
    let screws = assembly.iter().flat_map(|a| &a.screws);
    let saturated_px = field.frame.saturated_px;
    let mut flags = Flags::default();
    if saturated_px > 0 {
        flags.raise(Flag::Saturated);
    }
    if field.stars.iter().any(|star| star.light_in_stamp < 0.9) {
        flags.raise(Flag::LightCutByStamp);
    }
    FieldTruth {
        format: "skewstar-field/1",
        version: env!("CARGO_PKG_VERSION"),
        title: &scenario.title,
        seed,
        scenario_sha256: &scenario.sha256,
        turns: screws
            .zip(&scenario.state.turns)
            .map(|(s, t)| (s.name.clone(), *t))
            .collect(),
        tilt_arcmin: align(&scenario.instrument, &scenario.state)
            .plane
            .tilt_rad
            .map(|t| t / ARCMIN),
        coma_node_px,
        saturated_px,
        stars: &field.stars,
        flags,
    }
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
    if let Some([x, y]) = truth.coma_node_px {
        lines.push(format!("Coma vanishes at column {x:.0}, row {y:.0} of the sensor (counted from 0, bottom left)."));
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MM;

    #[test]
    fn cut_outs_lie_inside_the_sensor_on_whole_pixels() {
        let text = include_str!("../../tests/data/whole_scenario.toml");
        let scenario = crate::scenario::read(text, "whole.toml", &[]).expect("valid");
        let camera = &scenario.instrument.camera;
        for place in sample_places(&scenario) {
            let [column, _] = frame_px(&scenario.instrument, place);
            assert!(
                (column - column.round()).abs() < 1e-6
                    && column > 0.0
                    && column < camera.width_px as f64
            );
        }
        assert!(sample_places(&scenario)[0][0].abs() > 0.01 * MM);
    }
}
