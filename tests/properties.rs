//! Random telescopes of every kind the file format knows: whatever is a valid scenario gives a finite frame that holds no more
//! light than went in, and a truth without gaps. The same telescopes on every run: the generator is seeded.

use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use serde_json::Value;
use skewstar::predict::Settings;
use skewstar::scenario::{self, Scenario};
use skewstar::simulate::{Provenance, Simulation, sentences, simulate};

pub(crate) mod random;

/// No frame loses or wins light by the way it is computed, to this relative accuracy.
const LIGHT: f64 = 1e-6;
/// Rounding of a sum of a few thousand shares.
const BELOW_NOTHING: f64 = 1e-12;

fn seeded(cases: u32) -> ProptestConfig {
    ProptestConfig {
        cases,
        rng_seed: RngSeed::Fixed(20_417),
        failure_persistence: None,
        max_shrink_iters: 60,
        ..ProptestConfig::default()
    }
}

proptest! {
    #![proptest_config(seeded(40))]

    #[test]
    fn any_valid_scenario_gives_a_sound_frame_and_truth(text in random::scenario()) {
        let scenario = read(&text)?;
        let simulation = simulated(&scenario)?;
        light_is_sound(&scenario, &simulation)?;
        truth_is_sound(&simulation)?;
        let words = sentences(&scenario.instrument, scenario.state.sky.seeing_rad, &simulation.truth);
        prop_assert!(words.lines().count() >= 2 && !words.contains("NaN"), "{words}");
    }
}

fn read(text: &str) -> Result<Scenario, TestCaseError> {
    scenario::read(text, "random.toml", &[])
        .map_err(|error| TestCaseError::fail(format!("{error}\nhint: {}\n{text}", error.hint())))
}

fn simulated(scenario: &Scenario) -> Result<Simulation, TestCaseError> {
    let provenance = Provenance {
        title: scenario.title.clone(),
        seed: scenario.seed,
        scenario_sha256: scenario.sha256.clone(),
        ..Provenance::default()
    };
    simulate(
        &scenario.instrument,
        &scenario.state,
        &provenance,
        Settings::default(),
    )
    .map_err(|error| TestCaseError::fail(error.to_string()))
}

fn light_is_sound(scenario: &Scenario, simulation: &Simulation) -> Result<(), TestCaseError> {
    let expected = &simulation.expected;
    let camera = &scenario.instrument.camera;
    prop_assert_eq!(expected.image.dim(), (camera.height_px, camera.width_px));
    let least = -BELOW_NOTHING * expected.star_total.max(1.0);
    for value in &expected.image {
        prop_assert!(value.is_finite() && *value >= least, "a pixel of {value}");
    }
    let share = expected.light_in_frame;
    prop_assert!(
        (0.0..=1.0 + LIGHT).contains(&share),
        "{share} of the light in the frame"
    );
    if camera.colour.is_none() {
        let background = expected.background_per_px * expected.image.len() as f64;
        let total = (expected.image.sum() - background) / expected.star_total;
        prop_assert!(
            (total - share).abs() < 1e-9 * (1.0 + background / expected.star_total),
            "{total} {share}"
        );
    }
    match &simulation.frame {
        Some(frame) => {
            prop_assert!(expected.in_electrons && scenario.seed.is_some());
            prop_assert_eq!(frame.counts_adu.dim(), expected.image.dim());
            let bits = scenario
                .instrument
                .camera
                .electronics
                .as_ref()
                .map_or(0, |e| e.bits);
            let limit = ((1u32 << bits) - 1) as u16;
            prop_assert!(frame.counts_adu.iter().all(|adu| *adu <= limit));
        }
        None => prop_assert!(!expected.in_electrons),
    }
    Ok(())
}

/// Keys that are numbers, or lists and tables of numbers, in every truth.
const NUMBERS: [&str; 17] = [
    "sensor_offset_um",
    "turns",
    "undo_turns",
    "tilt_arcmin",
    "decentre_mm",
    "sensor_tilt_arcmin",
    "spacing_mm",
    "scintillation",
    "image_shift_px",
    "piston_um",
    "reference_wavelength_nm",
    "modes_nm",
    "modes_with_focus_nm",
    "star_px",
    "place_px",
    "light_in_frame",
    "sampling_error",
];

/// Keys that may be `null`, and the flag that must then say so.
const UNKNOWN: [(&str, &str); 3] = [
    ("doughnut", "no_doughnut"),
    ("electrons", "relative_units"),
    ("saturated_px", "relative_units"),
];

fn truth_is_sound(simulation: &Simulation) -> Result<(), TestCaseError> {
    // Written and read again: serde_json writes a number that is none as null.
    let text = serde_json::to_string(&simulation.truth)
        .map_err(|error| TestCaseError::fail(error.to_string()))?;
    let truth: Value =
        serde_json::from_str(&text).map_err(|error| TestCaseError::fail(error.to_string()))?;
    for key in NUMBERS {
        prop_assert!(all_numbers(&truth[key]), "{key}: {}", truth[key]);
    }
    for spike in truth["spikes"].as_array().into_iter().flatten() {
        prop_assert!(all_numbers(spike), "{spike}");
    }
    for (key, flag) in UNKNOWN {
        let said = truth["flags"]
            .as_array()
            .is_some_and(|flags| flags.iter().any(|f| f == flag));
        prop_assert_eq!(truth[key].is_null(), said, "{} and its flag {}", key, flag);
    }
    if let Some(ring) = truth["doughnut"].as_object() {
        let outer = all_numbers(&ring["outer_centre_px"]) && all_numbers(&ring["outer_radius_px"]);
        let dark = ["dark_centre_px", "inner_radius_px", "dark_shift_px"].map(|key| &ring[key]);
        let whole = dark.iter().all(|value| all_numbers(value));
        prop_assert!(
            outer && (whole || dark.iter().all(|value| value.is_null())),
            "{ring:?}"
        );
    }
    let masked = truth["flags"]
        .as_array()
        .is_some_and(|flags| flags.iter().any(|f| f == "masked"));
    prop_assert!(masked || truth["spikes"].as_array().is_some_and(Vec::is_empty));
    Ok(())
}

fn all_numbers(value: &Value) -> bool {
    match value {
        Value::Number(_) => true,
        Value::Array(items) => items.iter().all(all_numbers),
        Value::Object(items) => items.values().all(all_numbers),
        _ => false,
    }
}

/// The random telescopes would prove little if some kind of them never came up.
#[test]
fn every_kind_of_telescope_comes_up() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::new(seeded(40));
    let texts: Vec<String> = (0..40)
        .map(|_| {
            random::scenario()
                .new_tree(&mut runner)
                .expect("a scenario")
                .current()
        })
        .collect();
    for part in random::PARTS {
        let count = texts.iter().filter(|text| text.contains(part)).count();
        assert!(count >= 2, "{part} in {count} of 40 scenarios");
    }
}
