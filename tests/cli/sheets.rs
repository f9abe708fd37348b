//! `sheet` and `field`: what they write, and what they refuse.

use super::program::{Place, TINY, tiny_counts};
use serde_json::Value;

#[test]
fn a_sheet_has_a_panel_for_every_pair_of_values() {
    let place = Place::with_file("tiny.toml", TINY);
    let told = place
        .run(&[
            "sheet",
            "tiny.toml",
            "--json",
            "--rows",
            "state.modes_nm.8=-80,80",
            "--columns",
            "state.sensor_offset_um=-190,0,190&state.turns.B=0,0.1,0.2",
        ])
        .well();
    let contents: Value = serde_json::from_str(&told.stdout).expect("JSON");
    assert_eq!(contents["format"], "skewstar-sheet/1");
    assert_eq!(contents["rows"].as_array().map(Vec::len), Some(2));
    assert_eq!(contents["columns"][1][1], "state.turns.B=0.1");
    let picture = image::load_from_memory(&place.read("out/tiny.sheet.png"))
        .expect("a PNG")
        .into_luma8();
    // two rows and three columns of panels of 16 pixels, each magnified 230/16 = 14 times
    assert!(
        picture.width() >= 3 * 16 * 14 && picture.height() >= 2 * 16 * 14,
        "{:?}",
        picture.dimensions()
    );
}

#[test]
fn a_sheet_without_an_axis_or_with_too_many_panels_is_refused() {
    let place = Place::with_file("tiny.toml", TINY);
    let none = place.run(&["sheet", "tiny.toml"]).unable();
    assert!(
        none.stderr.contains("--rows") && none.stderr.contains("--columns"),
        "{}",
        none.stderr
    );
    let many: Vec<String> = (0..401).map(|n| n.to_string()).collect();
    let series = format!("state.modes_nm.8={}", many.join(","));
    let refused = place
        .run(&["sheet", "tiny.toml", "--rows", &series])
        .unable();
    assert!(
        refused
            .stderr
            .contains("make 401 panels, but must make at most 400"),
        "{}",
        refused.stderr
    );
    let unknown = place
        .run(&["sheet", "tiny.toml", "--rows", "state.mode_nm.8=1,2"])
        .unable();
    assert!(
        unknown.stderr.contains("state.mode_nm"),
        "{}",
        unknown.stderr
    );
    assert!(!place.path("out").exists());
}

fn field_scenario() -> String {
    let small = tiny_counts()
        .replace("width_px = 16", "width_px = 90")
        .replace("height_px = 12", "height_px = 70");
    small
        + "[field]\nstars = [ { field_mm = [0.05, -0.04], magnitude = 5.0 }, { field_mm = [-0.1, 0.08], magnitude = 7.0, temperature_k = 3900.0 } ]\n"
}

#[test]
fn a_field_writes_its_frame_its_pictures_and_its_truth() {
    let place = Place::with_file("night.toml", field_scenario());
    place.run(&["field", "night.toml"]).well();
    for file in ["fits", "png", "map.png", "cutouts.png", "truth.json"] {
        assert!(
            place.path(&format!("out/night.field.{file}")).is_file(),
            "{file}"
        );
    }
    let truth: Value =
        serde_json::from_slice(&place.read("out/night.field.truth.json")).expect("JSON");
    assert_eq!(truth["format"], "skewstar-field/1");
    let stars = truth["stars"].as_array().expect("stars");
    assert_eq!(stars.len(), 2);
    // 0.05 mm at 4.7 µm from the middle of 90 columns, −0.04 mm from that of 70 rows
    let place_px: Vec<f64> = stars[0]["star_px"]
        .as_array()
        .expect("a place")
        .iter()
        .filter_map(Value::as_f64)
        .collect();
    assert!(
        (place_px[0] - (44.5 + 50.0 / 4.7)).abs() < 1e-9
            && (place_px[1] - (34.5 - 40.0 / 4.7)).abs() < 1e-9
    );
    for key in [
        "electrons",
        "half_flux_diameter_px",
        "elongation",
        "light_in_stamp",
        "sensor_offset_um",
    ] {
        assert!(
            stars
                .iter()
                .all(|star| star[key].as_f64().is_some_and(f64::is_finite)),
            "{key}"
        );
    }
}

#[test]
fn a_field_without_stars_or_counts_is_refused() {
    let place = Place::with_file("night.toml", tiny_counts());
    let none = place.run(&["field", "night.toml"]).unable();
    assert!(
        none.stderr.contains("[field] is missing") && none.stderr.contains("hint:"),
        "{}",
        none.stderr
    );
    place.write(
        "dim.toml",
        format!("seed = 5\n{TINY}[field]\ncount = 3\nmagnitudes = [5.0, 7.0]\n"),
    );
    let dim = place.run(&["field", "dim.toml"]).unable();
    assert!(dim.stderr.contains("[star], [exposure]"), "{}", dim.stderr);
}

/// `check` tells what was traced, and what the unit's own weight does.
#[test]
fn check_tells_the_traced_response_and_the_flexure() {
    let traced = TINY
        .split("[assembly.response]")
        .next()
        .expect("a first part")
        .to_owned()
        + "[assembly.prescription]\nkind = \"lens\"\npivot_mm = 0.0\nfront_radius_mm = 356.0\nback_radius_mm = -2540.0\nindex = 1.53\n\
           [assembly.flexure]\nlevel_tilt_arcmin = 2.0\nset_at_altitude_deg = 60.0\n[camera]"
        + TINY.split("[camera]").nth(1).expect("a camera");
    let place = Place::with_file("traced.toml", traced);
    let words = place.run(&["check", "traced.toml"]).well().stdout;
    assert!(
        words.contains("traced, per arcmin") && words.contains("own weight at 30 deg"),
        "{words}"
    );
    let numbers = place.run(&["check", "traced.toml", "--json"]).well();
    let findings: Value = serde_json::from_str(&numbers.stdout).expect("JSON");
    // a thin lens turned about its middle leaves the image where it is
    let shift = findings["traced"]["image_shift_um_per_arcmin"]
        .as_f64()
        .expect("a number");
    assert!(shift.abs() < 1e-3, "{shift}");
    // 2 arcmin × (cos 30° − cos 60°)
    let tilt = findings["flexure"][0]["tilt_arcmin"]
        .as_f64()
        .expect("a number");
    assert!((tilt - 2.0 * (0.75f64.sqrt() - 0.5)).abs() < 1e-9, "{tilt}");
}
