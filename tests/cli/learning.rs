//! `learn`: trial turns in simulated frames of a camera that sits otherwise than its owner typed.

use super::program::{Done, Place};
use serde_json::Value;

/// What is typed: a camera that is neither turned nor mirrored. Invented.
const TYPED: &str = r#"format = 1
seed = 4711
title = "Trial turns"
[telescope]
aperture_mm = 118.0
focal_length_mm = 472.0
[telescope.obstruction]
diameter_mm = 41.0
[assembly]
screw_circle_radius_mm = 48.0
pitch_mm_per_turn = 0.5
screws = [ { name = "A", azimuth_deg = 90.0 }, { name = "B", azimuth_deg = 210.0 }, { name = "C", azimuth_deg = 330.0 } ]
[assembly.response]
coma_nm_per_arcmin = 20.0
image_shift_um_per_arcmin = 9.0
focus_um_per_mm = 1000.0
sensor_tilt_per_tilt = 0.0
[camera]
pixel_um = 4.7
width_px = 90
height_px = 86
passband_nm = [500.0, 600.0]
wavelengths = 3
quantum_efficiency = 0.7
gain_e_per_adu = 0.9
bias_adu = 300.0
read_noise_e = 1.7
dark_e_per_s = 0.03
full_well_e = 30000.0
[star]
magnitude = 3.6
temperature_k = 6000.0
altitude_deg = 71.0
[sky]
seeing_arcsec = 1.6
brightness_mag_per_arcsec2 = 19.3
[exposure]
time_s = 0.4
"#;

/// The truth: coma per arcmin, and rotation.
const COMA_NM_PER_ARCMIN: f64 = 31.0;
const ROTATION_DEG: f64 = 40.0;

/// Frames of the telescope as it is: with no turn, with A turned, and with A and B turned.
fn trials(recentred: bool) -> Place {
    let place = Place::with_file("typed.toml", TYPED);
    let truth = TYPED
        .replace(
            "coma_nm_per_arcmin = 20.0",
            &format!("coma_nm_per_arcmin = {COMA_NM_PER_ARCMIN}"),
        )
        .replace(
            "wavelengths = 3\n",
            &format!("wavelengths = 3\nrotation_deg = {ROTATION_DEG}\nmirrored = true\n"),
        );
    let turned = [
        ("start", "seed = 1", "A = 0.0"),
        ("a", "seed = 2", "A = 0.25"),
        ("ab", "seed = 3", "A = 0.25, B = 0.25"),
        ("b", "seed = 4", "B = 0.25"),
    ];
    for (name, seed, turns) in turned {
        let state = format!(
            "[state]\nsensor_offset_um = -620.0\nrecentred = {recentred}\nturns = {{ {turns} }}\nmodes_nm = {{ 6 = 12.0, 8 = 25.0 }}\n"
        );
        place.write(
            &format!("{name}.toml"),
            truth.replace("seed = 4711", seed) + &state,
        );
        place
            .run(&["render", &format!("{name}.toml"), "--quiet"])
            .well();
    }
    place
}

const A: &str = "out/start.fits,out/a.fits,A=0.25";
const B: &str = "out/a.fits,out/ab.fits,B=0.25";

/// Learns from trials for the telescope as typed.
fn run(place: &Place, trials: &[&str], more: &[&str]) -> Done {
    let typed = ["learn", "--instrument", "typed.toml"];
    let trials = trials.iter().flat_map(|trial| ["--trial", trial]);
    place.run(&[&typed[..], &trials.collect::<Vec<_>>(), more].concat())
}

fn learn(place: &Place, trials: &[&str]) -> Value {
    let done = run(place, trials, &["--side", "inside", "--json", "--force"]).well();
    serde_json::from_str(&done.stdout).expect("JSON")
}

fn flags(answer: &Value) -> Vec<&str> {
    answer["flags"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(Value::as_str)
        .collect()
}

/// Frames of the telescope with only B turned, measured with what was learned.
fn measured(place: &Place) -> (Value, String) {
    let done = place
        .run(&[
            "measure",
            "out/b.fits",
            "--instrument",
            "typed.toml",
            "--response",
            "out/typed.response.toml",
            "--side",
            "inside",
            "--json",
        ])
        .well();
    (
        serde_json::from_str(&done.stdout).expect("JSON"),
        done.stderr,
    )
}

/// Two screws: k within 3 sigma and 15 % (what was typed, two thirds of it, draws it down), the mirroring found, the rotation within 3
/// sigma and 3 degrees; the star's way too.
#[test]
fn a_turned_and_mirrored_camera_is_learned() {
    let place = trials(false);
    let answer = learn(&place, &[A, B]);
    println!("{answer:#}");
    let value = |key: &str, part: &str| answer[key][part].as_f64().expect("a number");
    let close = |key: &str, truth: f64, at_most: f64| {
        let error = (value(key, "value") - truth).abs();
        assert!(
            error < at_most,
            "{key}: {error} from {truth}, allowed {at_most}"
        );
    };
    let three = |key: &str| 3.0 * value(key, "sigma");
    close(
        "coma_nm_per_arcmin",
        COMA_NM_PER_ARCMIN,
        0.15 * COMA_NM_PER_ARCMIN,
    );
    close(
        "coma_nm_per_arcmin",
        COMA_NM_PER_ARCMIN,
        three("coma_nm_per_arcmin"),
    );
    close("rotation_deg", ROTATION_DEG, three("rotation_deg").min(3.0));
    close("image_shift_um_per_arcmin", 9.0, 0.45);
    assert_eq!(answer["mirrored"], true);
    assert!(flags(&answer).is_empty(), "{answer:#}");

    // the file says the same, in a form that is read back
    let text = place.text("out/typed.response.toml");
    let read =
        skewstar::measure::LearnedResponse::read(&text, "typed.response.toml").expect("readable");
    let per_arcmin = read.coma_m_per_rad.value * skewstar::units::ARCMIN / skewstar::units::NM;
    assert!((per_arcmin - value("coma_nm_per_arcmin", "value")).abs() < 1e-6);
    assert!(read.mirrored && read.screws.len() == 2);

    // with it, measuring names the screw that was turned, though the camera was typed wrong
    let (found, _) = measured(&place);
    let turns = &found["advice"]["turns"];
    let turn = |screw: &str| turns[screw].as_f64().expect("a turn");
    // [state.modes_nm] adds 25 nm of coma of its own: a tenth of the turn
    assert!((turn("B") + 2.0 * 0.25 / 3.0).abs() < 0.03, "{turns}");
    assert!((turn("A") - 0.25 / 3.0).abs() < 0.03, "{turns}");
    assert_eq!(found["advice"]["verdict"], "turn");
}

/// One screw: the mirroring stays open and as typed, and the sentences say so; frames that follow the star teach no shift.
#[test]
fn one_trial_leaves_the_mirroring_open() {
    let place = trials(true);
    let answer = learn(&place, &[A]);
    assert_eq!(flags(&answer), ["mirror_open", "recentred"]);
    assert_eq!(answer["mirrored"], false);
    assert!(answer["image_shift_um_per_arcmin"].is_null());
    let k = answer["coma_nm_per_arcmin"]["value"]
        .as_f64()
        .expect("a number")
        .abs();
    assert!((k / COMA_NM_PER_ARCMIN - 1.0).abs() < 0.2, "{k}");
    let words = run(&place, &[A], &["--side", "inside", "--force"]).well();
    assert!(
        words.stdout.contains("mirrored stays open"),
        "{}",
        words.stdout
    );
    assert!(words.stdout.contains(" ± "), "{}", words.stdout);
    assert!(
        words.stderr.contains("wrote out/typed.response.toml"),
        "{}",
        words.stderr
    );

    // one trial says nothing of the other screws: one of them is tried next, and the reason is said
    let (found, warnings) = measured(&place);
    assert_eq!(found["verdict"], "trial", "{found:#}");
    assert_ne!(found["next"]["screw"], "A", "{found:#}");
    assert_eq!(found["orientations"].as_array().map(Vec::len), Some(2));
    assert!(flags(&found).contains(&"response_mirror_open"), "{found:#}");
    assert!(
        warnings.contains("try a second screw that is not opposite"),
        "{warnings}"
    );

    // a turn typed the wrong way round contradicts the other
    let wrong = "out/a.fits,out/ab.fits,B=-0.25";
    let third = "out/start.fits,out/ab.fits,A=0.25";
    let apart = ["--side", "inside", "--out", "none"];
    let refused = run(&place, &[A, wrong, third], &apart);
    assert_eq!(refused.status, Some(1), "{}", refused.stdout);
    assert!(
        refused.stderr.contains("contradict one another"),
        "{}",
        refused.stderr
    );

    // a turn of nothing: finished, but nothing seen
    let same = "out/start.fits,out/start.fits,A=0.25";
    let refused = run(&place, &[same], &["--out", "none"]);
    assert_eq!(refused.status, Some(1), "{}", refused.stderr);
    assert!(
        refused.stderr.contains("that is no change seen"),
        "{}",
        refused.stderr
    );
    assert!(
        refused
            .stderr
            .contains("hint: try a turn about four times as large"),
        "{}",
        refused.stderr
    );
    assert!(
        !place.names().iter().any(|name| name.starts_with("none/")),
        "{:?}",
        place.names()
    );
}

#[test]
fn what_is_typed_wrong_is_told_with_status_2() {
    let place = Place::with_file("typed.toml", TYPED);
    place.write("no.fits", "not a picture");
    for (trial, words) in [
        ("start.fits,A=0.25", "not three parts"),
        ("no.fits,no.fits,A", "without a turn"),
        ("no.fits,no.fits,A=some", "a turn that is no number"),
        (",no.fits,A=1", "without the name of a frame"),
        ("gone.fits,no.fits,A=1", "cannot read the image gone.fits"),
        ("no.fits,no.fits,A=1", "no.fits: this is"),
    ] {
        let done = run(&place, &[trial], &[]);
        assert_eq!(done.status, Some(2), "{trial}: {}", done.stderr);
        assert!(done.stderr.contains(words), "{trial}: {}", done.stderr);
        assert!(done.stderr.contains("hint: "), "{trial}: {}", done.stderr);
        assert_eq!(done.stdout, "");
    }
    assert_eq!(place.names(), ["no.fits", "typed.toml"]);
}
