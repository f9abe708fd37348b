//! How our own times grow, from geometry to pixels.

use super::median;
use skewstar::predict::{Model, Settings};
use skewstar::scenario::{self, Scenario};
use std::path::Path;

/// Prints the table as CSV.
pub fn print(runs: usize) {
    println!("what,value,pupil_cells,sub_samples,wavelengths,prepare_ms,light_ms");
    for (name, lesson) in [
        ("doughnut", "fast-unit-one-screw"),
        ("masked", "mask-three-triplet-focus"),
    ] {
        for side in [48, 64, 96, 128, 160, 224] {
            let set = [
                format!("camera.width_px={side}"),
                format!("camera.height_px={side}"),
            ];
            row(
                &format!("{name} frame px"),
                side as f64,
                &load(lesson, &set),
                Settings::default(),
                runs,
            );
        }
        for count in [1, 3, 7, 13] {
            let set = [format!("camera.wavelengths={count}")];
            row(
                &format!("{name} wavelengths"),
                f64::from(count),
                &load(lesson, &set),
                Settings::default(),
                runs,
            );
        }
        for finer in [0.7, 1.0, 1.4, 2.0] {
            let accuracy = Settings::default().accuracy.finer(finer);
            row(
                &format!("{name} finer"),
                finer,
                &load(lesson, &[]),
                Settings {
                    accuracy,
                    ..Settings::default()
                },
                runs,
            );
        }
        for threads in [1, 2] {
            let pool = rayon::ThreadPoolBuilder::new()
                .num_threads(threads)
                .build()
                .unwrap();
            pool.install(|| {
                row(
                    &format!("{name} threads"),
                    threads as f64,
                    &load(lesson, &[]),
                    Settings::default(),
                    runs,
                )
            });
        }
    }
}

fn load(lesson: &str, set: &[String]) -> Scenario {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("scenarios/{lesson}.toml"));
    let text = std::fs::read_to_string(path).unwrap();
    scenario::read(&text, lesson, set).unwrap()
}

fn row(what: &str, value: f64, scenario: &Scenario, settings: Settings, runs: usize) {
    let (prepare, model) = median(runs, || {
        Model::new(&scenario.instrument, &scenario.state, settings).unwrap()
    });
    let (light, _) = median(runs, || model.light::<f32>());
    println!(
        "{what},{value},{},{},{},{:.2},{:.2}",
        model.plan.grid.count,
        model.plan.sub_samples,
        model.plan.wavelengths,
        1e3 * prepare,
        1e3 * light
    );
}
