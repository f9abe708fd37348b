//! The same bytes however a set is made, and files that other programs' formats describe.

use super::{folder, make, place, verify};
use crate::cli::program::Place;
use skewstar::dataset::{ScenarioSource, Set, read};
use skewstar::image_io::npz::{NpyValues, read_npz};

fn made(place: &Place, threads: &str, options: &[&str]) {
    let mut command = place.command(&make(options));
    place.done(command.env("RAYON_NUM_THREADS", threads)).well();
}

#[test]
fn one_thread_two_threads_and_two_halves_make_the_same_files() {
    let place = place();
    made(&place, "1", &["--out", "one", "--count", "13"]);
    made(&place, "2", &["--out", "two", "--count", "13"]);
    made(
        &place,
        "2",
        &["--out", "halves", "--start", "5", "--count", "8"],
    );
    made(&place, "1", &["--out", "halves", "--count", "5"]);
    let one = folder(&place, "one");
    // recipe, scenario, schema, card; three shards of archive, what is known, table and record; 13 FITS files
    assert_eq!(one.len(), 4 + 3 * 4 + 13);
    assert_eq!(folder(&place, "two"), one);
    assert_eq!(folder(&place, "halves"), one);
    // made again, nothing changes and nothing is done
    made(&place, "2", &["--out", "one", "--count", "13"]);
    assert_eq!(folder(&place, "one"), one);
}

#[test]
fn a_range_cut_anywhere_has_the_same_content() {
    let place = place();
    made(&place, "2", &["--out", "whole", "--count", "9"]);
    made(&place, "2", &["--out", "parts", "--count", "3"]);
    made(
        &place,
        "2",
        &["--out", "parts", "--start", "3", "--count", "6"],
    );
    let content = |name: &str| {
        let done = place.run(&verify(&["--out", name, "--count", "9"])).well();
        let report: serde_json::Value = serde_json::from_str(&done.stdout).expect("JSON");
        report["content_sha256"]
            .as_str()
            .expect("a whole set")
            .to_owned()
    };
    assert_eq!(content("whole"), content("parts"));
}

#[test]
fn the_files_hold_what_the_library_makes() {
    let place = place();
    made(&place, "2", &["--count", "6"]);
    let recipe = read(super::RECIPE.as_bytes(), "set.toml").expect("a recipe");
    let source = ScenarioSource {
        scenario: crate::cli::program::tiny_counts(),
        label: "tiny.toml".into(),
        ..ScenarioSource::default()
    };
    let set = Set::new(recipe, source).expect("a set");
    let arrays = read_npz(&place.read("out/set.0000000005-0000000005.npz")).expect("an archive");
    let item = set.make(5).expect("item 5");
    let named = |name: &str| &arrays.iter().find(|(own, _)| own == name).expect(name).1;
    assert_eq!(named("item").values, NpyValues::Whole(vec![5]));
    assert_eq!(named("frames").shape, [1, 12, 16]);
    let counts: Vec<u16> = item.frame.counts_adu.iter().copied().collect();
    assert_eq!(named("frames").values, NpyValues::Counts(counts));
    let offset = item.truth.sensor_offset_um;
    assert_eq!(
        named("state.sensor_offset_um").values,
        NpyValues::Real(vec![offset])
    );
    let pixels = place.pixels("out/set.0000000005.fits");
    assert_eq!(pixels, item.frame.counts_adu.mapv(f64::from));
    let table = place.text("out/set.0000000005-0000000005.truth.csv");
    let mut lines = table.lines();
    let names: Vec<&str> = lines.next().expect("names").split(',').collect();
    let cells: Vec<&str> = lines.next().expect("a row").split(',').collect();
    let cell = |name: &str| cells[names.iter().position(|own| *own == name).expect(name)];
    assert_eq!(cell("item"), "5");
    assert_eq!(cell("modes_nm.8").parse(), Ok(item.truth.modes_nm.0[&8]));
    assert_eq!(cell("turns.B").parse(), Ok(item.truth.turns["B"]));
    assert_eq!(cell("electrons").parse().ok(), item.truth.electrons);
    let schema = place.json("out/set.truth.schema.json");
    let described = schema["properties"].as_object().expect("properties");
    assert!(names.iter().all(|name| described.contains_key(*name)));
    assert_eq!(described.len(), names.len());
}

#[test]
fn the_card_says_what_is_needed_to_use_the_set() {
    let place = place();
    made(&place, "2", &["--count", "1"]);
    let card = place.text("out/set.card.md");
    for words in [
        "# Tiny doughnuts",
        "licence CC0-1.0",
        "16 × 12 pixels",
        "pixels of 4.70 µm",
        "| `state.place_px` | uniform, -3.0 to 3.0, each component (by default) | no |",
        "coma cannot be read off where the light lies. `sigma_photon_nm` is the bound.",
        "Measured sampling error",
        "| `star.magnitude` | uniform, 3.0 to 5.0 | no |",
        "| `state.sensor_offset_um` | one of -200.0 (50 %), 190.0 (50 %) | yes |",
        "Row 0 of a frame is its bottom row",
        "- Only for tests.",
        "Not modelled",
    ] {
        assert!(card.contains(words), "{words} is not on the card:\n{card}");
    }
    assert!(!card.contains("sealed"));
}
