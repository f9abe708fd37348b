//! Rendered stars against general-purpose physical-optics libraries.
//!
//! The arrays in `tests/references/data` were made by `tests/references/generate.py` (libraries, versions and settings stand in
//! each JSON file); CI makes them afresh. Each JSON holds its scenario in the words of a scenario file.

use crate::support::npy;
use crate::twins::relative_l2;
use skewstar::predict::{Model, Settings};
use skewstar::scenario;
use std::path::Path;

/// Limit on the relative L2 difference: the engine's own 1e-3, plus what the reference says of itself.
fn compare(name: &str, limit: f64) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/references/data");
    let text = std::fs::read_to_string(folder.join(format!("{name}.json"))).unwrap();
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    let toml = toml::to_string(&toml::Value::try_from(&json["scenario"]).unwrap()).unwrap();
    let scenario = scenario::read(&toml, name, &[]).unwrap();
    let model = Model::new(&scenario.instrument, &scenario.state, Settings::default()).unwrap();
    let found = model.light::<f64>();
    let reference = npy::read(&folder.join(format!("{name}.npy")));
    let own = json["accuracy"]["other_library_relative_l2"]
        .as_f64()
        .unwrap();
    let difference = relative_l2(&found, &reference);
    println!(
        "{name}: relative L2 {difference:.2e} (libraries among themselves {own:.1e}), light {:.6} and {:.6}",
        found.sum(),
        reference.sum()
    );
    assert!(difference < limit + own, "{name}: {difference:.2e}");
    assert!(
        (found.sum() - reference.sum()).abs() < 1e-3,
        "{name}: light in the frame"
    );
}

#[test]
fn doughnut() {
    compare("doughnut", 1e-3);
}

#[test]
fn three_wavelengths_and_a_vane() {
    compare("polychromatic", 1e-3);
}

#[test]
fn clear_aperture_in_focus() {
    compare("focused", 1e-3);
}

#[test]
fn masked_star() {
    compare("masked", 5e-3);
}

#[test]
fn seeing() {
    compare("seeing", 1e-3);
}
