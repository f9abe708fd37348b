//! Mixtures: cases by their shares, laws and changes of their own, several telescopes in one set, and what does not go together.

use super::{folder, place};
use crate::cli::program::Place;
use serde_json::Value;
use skewstar::dataset::{Set, StarPlace};

const MIXED: &str = r#"format = 1
title = "Tiny mixture"
licence = "CC0-1.0"
seed = 4712
scenario = "tiny.toml"
shard_items = 5
case_known = true
[vary]
"star.magnitude" = { uniform = [3.0, 5.0] }
"state.sensor_offset_um" = { uniform = [-200.0, -150.0] }
[[case]]
name = "inside"
share = 1
[[case]]
name = "outside"
share = 2
[case.vary]
"state.sensor_offset_um" = { uniform = [150.0, 250.0] }
[[case]]
name = "masked"
share = 1
scenario = "other.toml"
[case.set]
"state.sensor_offset_um" = 0.0
[case.vary]
"state.modes_nm.8" = { normal = [0.0, 20.0] }
"#;

/// Another telescope of the same frame: larger, with a mask and other screws.
fn other() -> String {
    let mask = "\n[mask]\nlayout = \"three-triplet\"\nslot_pitch_mm = 12.0\nopen_fraction = 0.5\nslant_deg = 20.0\nouter_diameter_mm = 98.0\n\
                inner_diameter_mm = 40.0\nthickness_mm = 2.0\nrotation_deg = 7.0\n";
    crate::cli::program::tiny_counts().replace("\n[camera]", &format!("{mask}\n[camera]"))
}

fn mixed() -> Place {
    let place = place();
    place.write("other.toml", other());
    place.write("mixed.toml", MIXED);
    place
}

fn open(place: &Place) -> Set {
    Set::open(&place.path("mixed.toml"), &Default::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// Chi-square of the shares with 2 degrees of freedom: 18.4 has a chance of 1e-4. The laws of each case hold for its own items.
#[test]
fn items_are_of_their_cases_by_the_shares() {
    let set = open(&mixed());
    let items = 12_000;
    let mut seen = [0.0; 3];
    for item in 0..items {
        let case = set.case(item);
        seen[case] += 1.0;
        let drawn = set.drawn(item).expect("values");
        let value = |key: &str| drawn.iter().find(|d| d.key == key).and_then(|d| d.number());
        let offset = value("state.sensor_offset_um");
        match case {
            0 => assert!(offset.is_some_and(|um| (-200.0..-150.0).contains(&um))),
            1 => assert!(offset.is_some_and(|um| (150.0..250.0).contains(&um))),
            _ => assert!(offset.is_none() && value("state.modes_nm.8").is_some()),
        }
        assert_eq!(value("state.modes_nm.8").is_some(), case == 2);
        assert!(value("star.magnitude").is_some_and(|m| (3.0..5.0).contains(&m)));
    }
    let n = items as f64;
    let wanted = [0.25 * n, 0.5 * n, 0.25 * n];
    let chi_square: f64 = seen
        .iter()
        .zip(wanted)
        .map(|(s, w)| (s - w).powi(2) / w)
        .sum();
    println!("cases: {seen:?}, chi-square {chi_square:.2} of 18.4");
    assert!(chi_square < 18.4);
}

#[test]
fn a_mixture_of_two_telescopes_is_one_set() {
    let place = mixed();
    let options = ["dataset", "make", "mixed.toml", "--quiet", "--count", "11"];
    place.run(&options).well();
    let check = [
        "dataset",
        "verify",
        "mixed.toml",
        "--count",
        "11",
        "--remake",
        "11",
        "--json",
    ];
    let report: Value = serde_json::from_str(&place.run(&check).well().stdout).expect("JSON");
    assert_eq!(report["remade"].as_array().map(Vec::len), Some(11));
    let out = folder(&place, "out");
    assert!(out.contains_key("mixed.scenario.toml"));
    assert_eq!(out["mixed.case-3.scenario.toml"], other().into_bytes());
    let set = open(&place);
    let table = place.text("out/mixed.0000000000-0000000004.truth.csv");
    let mut lines = table.lines();
    let names: Vec<&str> = lines.next().expect("names").split(',').collect();
    for (number, line) in lines.enumerate() {
        let cells: Vec<&str> = line.split(',').collect();
        let cell = |name: &str| cells[names.iter().position(|own| *own == name).expect(name)];
        let case = &set.cases[set.case(number as u64)];
        assert_eq!(Some(cell("case")), case.name.as_deref());
        let masked = cell("case") == "masked";
        assert_eq!(cell("spike_shift_px.0").is_empty(), !masked);
        assert_eq!(cell("drawn.state.modes_nm.8").is_empty(), !masked);
        assert_eq!(cell("drawn.state.sensor_offset_um").is_empty(), masked);
        // the table holds what `render` makes of the same seed: the column is the frame's own
        assert_eq!(cell("seed").parse(), Ok(set.noise_seed(number as u64)));
    }
    let known = place.text("out/mixed.0000000000-0000000004.known.csv");
    assert!(known.starts_with("item,case\n0,"), "{known}");
    let card = place.text("out/mixed.card.md");
    for words in [
        "| outside | 50.00 % |  |",
        "| masked | 25.00 % | `state.sensor_offset_um=0.0` |",
        "An item's case is drawn by these shares, and is handed out with the frames.",
        "### outside",
        "- masked: pixels of 4.70 µm",
        "with a slotted mask",
    ] {
        assert!(card.contains(words), "{words} is not on the card:\n{card}");
    }
}

/// The file of regions says what the truth of a rendered star says, region by region.
#[test]
fn the_regions_of_a_mask_are_told_once_for_all_frames() {
    let place = mixed();
    place
        .run(&["dataset", "make", "mixed.toml", "--quiet", "--count", "8"])
        .well();
    let told = place.json("out/mixed.regions.json");
    let mask = &told["masks"][0];
    assert_eq!(
        (&mask["case"], told["masks"].as_array().map(Vec::len)),
        (&"masked".into(), Some(1))
    );
    let set = open(&place);
    let item = set.example_of(2, 0, set.settings()).expect("a masked star");
    let regions = mask["regions"].as_array().expect("regions");
    assert_eq!(regions.len(), item.truth.spikes.len());
    assert_eq!(regions.len(), 9);
    for (region, spike) in regions.iter().zip(&item.truth.spikes) {
        assert_eq!(region["region"], spike.region);
        assert_eq!(region["azimuth_deg"].as_f64(), Some(spike.azimuth_deg));
        assert_eq!(region["slot_deg"].as_f64(), Some(spike.slot_deg));
    }
    // three spikes each, named; the middle one's slots lie along the triplet
    for triplet in mask["triplets"].as_array().expect("triplets") {
        let middle = triplet["middle"][0].as_u64().expect("a region") as usize;
        assert_eq!(regions[middle]["spike"], "middle");
        assert_eq!(regions[middle]["slot_deg"], triplet["slot_deg"]);
        assert_eq!(regions[middle]["triplet"], triplet["triplet"]);
    }
}

#[test]
fn what_is_known_of_the_stars_place_follows_from_recipe_and_scenario() {
    let place_of = |change: &dyn Fn(&Place)| {
        let place = mixed();
        change(&place);
        open(&place)
            .cases
            .iter()
            .map(|case| case.place)
            .collect::<Vec<_>>()
    };
    use StarPlace::*;
    assert_eq!(place_of(&|_| ()), [DrawnByDefault; 3]);
    let typed = place_of(&|place| {
        let text = other().replace("[state]", "[state]\nplace_px = [0.0, 0.0]");
        assert!(text.contains("place_px"));
        place.write("other.toml", text);
    });
    assert_eq!(typed, [DrawnByDefault, DrawnByDefault, TheSame]);
    let drawn = place_of(&|place| {
        let line = "[vary]\n\"state.place_px\" = { normal = [0.0, 1.0], known = true }";
        place.write("mixed.toml", MIXED.replacen("[vary]", line, 1));
    });
    assert_eq!(drawn, [HandedOut; 3]);
    let of_case = place_of(&|place| {
        let line = "[case.set]\n\"state.place_px\" = [1.0, 0.0]";
        place.write("mixed.toml", MIXED.replacen("[case.set]", line, 1));
    });
    assert_eq!(of_case, [DrawnByDefault, DrawnByDefault, TheSame]);
}

#[test]
fn cases_that_do_not_go_together_are_refused() {
    let refused = |from: &str, to: &str| {
        let place = mixed();
        assert!(MIXED.contains(from), "{from}");
        place.write("mixed.toml", MIXED.replacen(from, to, 1));
        place
            .run(&["dataset", "make", "mixed.toml", "--count", "4"])
            .unable()
            .stderr
    };
    let told = refused("[case.set]\n", "[case.set]\n\"camera.width_px\" = 20\n");
    assert!(
        told.starts_with("error: the frames of the case \"masked\" are [20, 12] pixels, those of the case \"inside\" [16, 12]: a set has frames of one size\nhint: give the same camera.width_px"),
        "{told}"
    );
    let told = refused("name = \"outside\"", "name = \"inside\"");
    assert!(
        told.contains("case[1].name is \"inside\", but must be another name for each case"),
        "{told}"
    );
    let told = refused("share = 2", "share = -2");
    assert!(told.contains("case[1].share is -2"), "{told}");
    let told = refused(
        "uniform = [150.0, 250.0]",
        "uniform = [150.0, 250.0], known = true",
    );
    assert!(told.contains("state.sensor_offset_um is handed out in the case \"outside\", but not in the case \"inside\""), "{told}");
    let told = refused("scenario = \"tiny.toml\"\n", "");
    assert!(told.contains("scenario is missing"), "{told}");
    let pair = "[[correlate]]\nkeys = [\"star.magnitude\", \"state.modes_nm.8\"]\ncorrelation = 0.3\n[vary]";
    let told = refused("[vary]", pair);
    assert!(
        told.contains("[[correlate]]: state.modes_nm.8 is not drawn in the case \"inside\""),
        "{told}"
    );
}
