//! A scenario that is written from an instrument and a state is read again as it was, and whatever was read may be checked
//! again as if it had been made in code.

use super::{WHOLE, valid, whole};
use crate::properties::random;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use skewstar::instrument::{Instrument, Passband};
use skewstar::scenario::{self, Scenario, TemplateKind, check_parts, write};
use skewstar::state::State;
use skewstar::units::NM;
use std::fs;
use std::path::{Path, PathBuf};

/// Relative change that writing and reading may make.
const SAME: f64 = 1e-12;
/// A number below this is nothing in any SI unit of the crate: the cosine of a right angle times a tilt.
const NOTHING: f64 = 1e-21;

/// The two as their own fields print them: all words the same, all numbers to [`SAME`].
fn same(left: &(Instrument, State), right: &(Instrument, State)) -> Result<(), String> {
    let words = |parts: &(Instrument, State)| -> Vec<String> {
        format!("{parts:?}")
            .split([' ', ',', '(', ')', '[', ']', '{', '}'])
            .map(str::to_owned)
            .collect()
    };
    let (left, right) = (words(left), words(right));
    if left.len() != right.len() {
        return Err(format!("{} words and {}", left.len(), right.len()));
    }
    for (index, (a, b)) in left.iter().zip(&right).enumerate() {
        let alike = match (a.parse::<f64>(), b.parse::<f64>()) {
            (Ok(x), Ok(y)) => (x - y).abs() <= SAME * x.abs().max(y.abs()) + NOTHING || x == y,
            _ => a == b,
        };
        if !alike {
            let from = index.saturating_sub(8);
            return Err(format!("{a} became {b} after {:?}", &left[from..index]));
        }
    }
    Ok(())
}

/// Writes what was read and reads it again.
fn round_trip(scenario: &Scenario) -> Result<(), String> {
    let Scenario {
        title,
        seed,
        instrument,
        state,
        ..
    } = scenario;
    let text = write(title, *seed, instrument, state).map_err(|error| error.to_string())?;
    let told = |error: scenario::ScenarioError| format!("{error}\nhint: {}\n{text}", error.hint());
    let again = scenario::read(&text, "again.toml", &[]).map_err(told)?;
    if (&again.title, &again.seed) != (title, seed) {
        return Err(format!("{:?} {:?}", again.title, again.seed));
    }
    // a telescope's surfaces are not written, and a line of the text says so
    const NOT_WRITTEN: &str = "# The telescope's surfaces are not written: its stars follow [assembly.response] and [telescope.field] alone.\n";
    let traced = instrument.telescope.surfaces.is_some();
    if traced != text.contains(NOT_WRITTEN) {
        return Err(format!("surfaces: {traced}\n{text}"));
    }
    let parts = |scenario: &Scenario| {
        let mut instrument = scenario.instrument.clone();
        instrument.telescope.surfaces = None;
        (instrument, scenario.state.clone())
    };
    same(&parts(scenario), &parts(&again)).map_err(|error| format!("{error}\n{text}"))?;
    let twice = write(title, *seed, &again.instrument, &again.state);
    let leans = state.flexure_rad != [0.0; 2];
    if !leans && twice != Ok(text.replace(NOT_WRITTEN, "")) {
        return Err(format!("the second text differs\n{text}"));
    }
    Ok(())
}

fn lessons() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let files = ["", "fields"].map(|folder| fs::read_dir(root.join(folder)).expect("the folder"));
    let mut files: Vec<PathBuf> = files
        .into_iter()
        .flatten()
        .map(|entry| entry.expect("an entry").path())
        .filter(|file| file.extension().is_some_and(|end| end == "toml"))
        .collect();
    files.sort();
    files
}

#[test]
fn every_lesson_is_read_again_as_it_was() {
    let files = lessons();
    assert!(files.len() >= 13, "{}", files.len());
    for file in files {
        let scenario = valid(&fs::read_to_string(&file).expect("a lesson"));
        assert_eq!(check_parts(&scenario.instrument, &scenario.state), Ok(()));
        round_trip(&scenario).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
    }
}

#[test]
fn a_file_with_every_key_and_every_template_is_read_again_as_it_was() {
    let templates = TemplateKind::ALL.map(|kind| scenario::template(kind, "written \"again\""));
    for text in [WHOLE.to_owned()].iter().chain(&templates) {
        let scenario = valid(text);
        assert_eq!(check_parts(&scenario.instrument, &scenario.state), Ok(()));
        round_trip(&scenario).unwrap_or_else(|why| panic!("{why}"));
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 250,
        rng_seed: RngSeed::Fixed(61_204),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn a_random_scenario_is_read_again_as_it_was(text in random::scenario()) {
        let scenario = valid(&text);
        let checked = check_parts(&scenario.instrument, &scenario.state);
        prop_assert!(checked.is_ok(), "{checked:?}\n{text}");
        round_trip(&scenario).map_err(TestCaseError::fail)?;
    }
}

/// The comparison itself would be worth nothing if it let a change through.
#[test]
fn a_change_of_any_number_is_seen() {
    let before = whole();
    let count = super::numbers::numbers(&mut before.0.clone(), &mut before.1.clone()).len();
    for index in 0..count {
        let mut after = before.clone();
        let (key, number) = super::numbers::numbers(&mut after.0, &mut after.1).swap_remove(index);
        *number = if *number == 0.0 {
            1e-15
        } else {
            *number * (1.0 + 3e-12)
        };
        assert!(same(&before, &after).is_err(), "{key}");
    }
    assert_eq!(same(&before, &before), Ok(()));
}

#[test]
fn filters_behind_an_own_passband_come_back() {
    let text = |own: &str, red: &str| {
        format!(
            "format = 1\ntitle = \"filters\"\n[telescope]\naperture_mm = 130\nfocal_length_mm = 700\n[camera]\n\
             pixel_um = 3\nwidth_px = 40\nheight_px = 40\n{own}\ncolour_pattern = \"GRBG\"\n[camera.passbands]\n\
             red = {{ {red} }}\ngreen = {{ passband_nm = [490, 570] }}\nblue = {{ passband_nm = [410.5, 505] }}\n"
        )
    };
    let band = "passband_nm = [420, 640]";
    let table = "passband_table = [{ nm = 415, transmission = 0.2 }, { nm = 533.3, transmission = 0.9 }, \
                 { nm = 690, transmission = 0.1 }]";
    let red_band = "passband_nm = [560.7, 700]";
    let red_table = "passband_table = [{ nm = 571, transmission = 0.0 }, { nm = 620, transmission = 0.8 }, \
                     { nm = 660, transmission = 0.5 }]";
    for (own, red) in [
        ("", red_band),
        ("", red_table),
        (band, red_band),
        (band, red_table),
        (table, red_band),
        (table, red_table),
    ] {
        let scenario = valid(&text(own, red));
        assert_eq!(check_parts(&scenario.instrument, &scenario.state), Ok(()));
        round_trip(&scenario).unwrap_or_else(|why| panic!("{own} {red}: {why}"));
    }
}

/// What no file can say is refused, not dropped.
#[test]
fn what_a_file_has_no_words_for_is_refused() {
    let (instrument, state) = whole();
    let refused = |instrument: &Instrument, state: &State| {
        let error = write("t", None, instrument, state).expect_err("nothing a file can say");
        assert!(!error.hint().is_empty());
        error.to_string()
    };
    let aside = State {
        aside_m: skewstar::axes::FieldM::new([1e-3, 0.0]),
        ..state.clone()
    };
    assert_eq!(check_parts(&instrument, &aside), Ok(()));
    assert_eq!(
        refused(&instrument, &aside),
        "state.aside_mm is not [0, 0], which no scenario file can say"
    );
    // A filter that reaches beyond the camera's own passband would be cut when it is read.
    let mut wide = instrument.clone();
    let band = |from: f64, to: f64| Passband::Band([from * NM, to * NM]);
    wide.camera.passband = band(500.0, 600.0);
    let colour = wide.camera.colour.as_mut().expect("a colour camera");
    colour.passbands = [band(560.0, 640.0), band(510.0, 570.0), band(500.0, 520.0)];
    assert!(refused(&wide, &state).starts_with("camera.passbands.red "));
    let bad_title = write("two\nlines", None, &instrument, &state).expect_err("no title");
    assert_eq!(bad_title.key(), Some("title"));
    let bad_seed = write("t", Some(u64::MAX), &instrument, &state).expect_err("no seed");
    assert_eq!(
        bad_seed.to_string(),
        "seed is 18446744073709551615, but must be a whole number from 0 to 9007199254740991"
    );
}
