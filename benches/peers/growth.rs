//! How our own times grow, from geometry to pixels; the photon derivatives beside one frame; peak memory.

use super::median;
use serde_json::{Value, json};
use skewstar::predict::{Jacobian, Model, Parameter, Settings};
use skewstar::scenario::{self, Scenario};
use std::path::Path;

/// The two jobs of this file: a defocused star, and a star behind a printed mask.
const JOBS: [(&str, &str); 2] = [
    ("doughnut", "fast-unit-one-screw"),
    ("masked", "mask-three-triplet-focus"),
];

/// One timed case.
pub struct Row {
    /// What was varied.
    pub what: &'static str,
    /// Which job.
    pub job: &'static str,
    /// Its value.
    pub value: f64,
    /// Milliseconds from geometry to a model, and from the model to pixels.
    pub prepare_ms: f64,
    /// Milliseconds from the model to pixels.
    pub light_ms: f64,
    cells: usize,
    sub_samples: usize,
    wavelengths: usize,
}

impl Row {
    /// The row as JSON.
    pub fn json(&self) -> Value {
        json!({
            "job": self.job, "what": self.what, "value": self.value, "pupil_cells": self.cells,
            "sub_samples": self.sub_samples, "wavelengths": self.wavelengths,
            "prepare_ms": rounded(self.prepare_ms), "light_ms": rounded(self.light_ms),
        })
    }
}

/// Times everything, and prints it as CSV.
pub fn table(runs: usize) -> Vec<Row> {
    println!("job,what,value,pupil_cells,sub_samples,wavelengths,prepare_ms,light_ms");
    let mut rows = Vec::new();
    for (job, lesson) in JOBS {
        let mut take = |what, value, set: &[String], settings| {
            rows.push(row((job, what, value), &load(lesson, set), settings, runs));
        };
        for side in [48, 64, 96, 128, 160, 224] {
            let set = frame(side);
            take("frame side, px", f64::from(side), &set, Settings::default());
        }
        for count in [1, 3, 7, 13] {
            let set = [format!("camera.wavelengths={count}")];
            take("wavelengths", f64::from(count), &set, Settings::default());
        }
        for finer in [0.7, 1.0, 1.4, 2.0] {
            let settings = Settings {
                accuracy: Settings::default().accuracy.finer(finer),
                ..Settings::default()
            };
            take("fineness of all samplings", finer, &[], settings);
        }
        for threads in [1, 2] {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            let settings = Settings::default();
            let made = pool.install(|| {
                let scenario = load(lesson, &frame(160));
                row((job, "threads", threads as f64), &scenario, settings, runs)
            });
            rows.push(made);
        }
    }
    rows
}

/// Time of a 128-pixel doughnut with 13 derivatives over that of one frame, without and with seeing.
pub fn jacobian(runs: usize) -> Value {
    let mut found = Vec::new();
    for seeing in ["", "sky.seeing_arcsec=2.1"] {
        let mut set = frame(128);
        set.extend((!seeing.is_empty()).then(|| seeing.to_string()));
        let scenario = load(JOBS[0].1, &set);
        let model = Model::new(&scenario.instrument, &scenario.state, Settings::default()).unwrap();
        let (frame_s, _) = median(runs, || model.light::<f64>());
        let parameters = Parameter::standard();
        let (all_s, _) = median(runs, || Jacobian::new(&model, &parameters).unwrap());
        let ratio = all_s / frame_s;
        println!(
            "13 derivatives of a 128-pixel doughnut {}: {:.1} ms, one frame {:.1} ms, ratio {ratio:.2}",
            if seeing.is_empty() {
                "without seeing"
            } else {
                "with seeing"
            },
            1e3 * all_s,
            1e3 * frame_s
        );
        found.push(json!({
            "seeing": !seeing.is_empty(), "frame_ms": rounded(1e3 * frame_s),
            "derivatives_ms": rounded(1e3 * all_s), "ratio": rounded(ratio),
        }));
    }
    Value::Array(found)
}

/// Computes a 160-pixel masked star with seeing, and prints the most memory that this process ever held (Linux).
pub fn memory() {
    let mut set = frame(160);
    set.push("sky.seeing_arcsec=2.1".into());
    let scenario = load(JOBS[1].1, &set);
    let model = Model::new(&scenario.instrument, &scenario.state, Settings::default()).unwrap();
    let light = model.light::<f64>().sum();
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let most = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kib = most.and_then(|l| l.split_whitespace().next()?.parse::<f64>().ok());
    println!("{:.1}", kib.map_or(f64::NAN, |kib| kib / 1024.0));
    assert!(light > 0.1);
}

fn frame(side: i32) -> Vec<String> {
    vec![
        format!("camera.width_px={side}"),
        format!("camera.height_px={side}"),
    ]
}

fn load(lesson: &str, set: &[String]) -> Scenario {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{lesson}.toml"));
    let text = std::fs::read_to_string(path).unwrap();
    scenario::read(&text, lesson, set).unwrap()
}

fn row(
    (job, what, value): (&'static str, &'static str, f64),
    scenario: &Scenario,
    settings: Settings,
    runs: usize,
) -> Row {
    let (prepare_s, model) = median(runs, || {
        Model::new(&scenario.instrument, &scenario.state, settings).unwrap()
    });
    let (light_s, _) = median(runs, || model.light::<f64>());
    let row = Row {
        job,
        what,
        value,
        prepare_ms: 1e3 * prepare_s,
        light_ms: 1e3 * light_s,
        cells: model.plan.grid.count,
        sub_samples: model.plan.sub_samples,
        wavelengths: model.plan.wavelengths,
    };
    println!(
        "{job},{what},{value},{},{},{},{:.2},{:.2}",
        row.cells, row.sub_samples, row.wavelengths, row.prepare_ms, row.light_ms
    );
    row
}

/// Three decimals are more than any timing holds.
pub fn rounded(value: f64) -> f64 {
    (value * 1e3).round() / 1e3
}
