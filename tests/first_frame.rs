//! An instrument from a first frame: on frames that other libraries made, and on our own over every way of holding the camera.

use crate::support::npy;
use ndarray::Array2;
use skewstar::Scene;
use skewstar::first_frame::{
    Answers, FirstFrame, FirstFrameError, FirstScenario, FirstScenarioError, Lacking,
};
use skewstar::image_io::reading::{Reading, take_values};
use skewstar::instrument::Instrument;
use skewstar::scenario;
use skewstar::units::{DEG, MM, UM};
use std::path::Path;

/// 1.2 mm of 81: a hundredth and a half of the obstruction, an eighth of a pixel on these rings.
const OBSTRUCTION_LIMIT_MM: f64 = 1.2;
/// A sixth of a vane of 6 mm, and a degree and a half of where it stands.
const VANE_LIMITS: [f64; 2] = [1.0, 1.5];

fn reading(values: Array2<f64>, name: &str) -> Reading {
    take_values(values, 16, Some(65_535.0), name).expect("a frame")
}

/// What the owner of the telescope in the references says.
fn said() -> Answers {
    Answers {
        aperture_m: Some(190.0 * MM),
        focal_length_m: Some(456.0 * MM),
        pixel_m: Some(3.8 * UM),
        shadow_rad: Some(208.0 * DEG),
        ..Answers::default()
    }
}

fn found(frame: &FirstFrame, answers: &Answers) -> Instrument {
    let made = FirstScenario::of(frame, answers, "made from a frame").expect("a scenario");
    let read = scenario::read(&made.text, "made.toml", &[]);
    read.unwrap_or_else(|error| panic!("{error}\n{}", made.text))
        .instrument
}

/// Obstruction in mm, vane's azimuth in degrees and width in mm, camera's rotation in degrees.
fn numbers(instrument: &Instrument) -> [f64; 4] {
    let telescope = &instrument.telescope;
    let obstruction = telescope.obstruction.as_ref().expect("an obstruction");
    let vane = &telescope.vanes[0];
    [
        obstruction.diameter_m / MM,
        vane.azimuth_rad / DEG,
        vane.width_m / MM,
        instrument.camera.rotation_rad / DEG,
    ]
}

/// The nearest way round from one direction to another, degrees.
fn apart_deg(a: f64, b: f64) -> f64 {
    (a - b + 180.0).rem_euclid(360.0) - 180.0
}

fn close(name: &str, found: [f64; 4], obstruction_mm: f64, vane: [f64; 2], rotation_deg: f64) {
    println!(
        "{name}: obstruction {:.2} mm, vane at {:.1} degrees {:.2} mm wide, camera at {:.1} degrees",
        found[0], found[1], found[2], found[3]
    );
    assert!(
        (found[0] - obstruction_mm).abs() < OBSTRUCTION_LIMIT_MM,
        "{name}: {found:?}"
    );
    assert!(
        apart_deg(found[1], vane[0]).abs() < 1e-2,
        "{name}: {found:?}"
    );
    assert!(
        (found[2] - vane[1]).abs() < VANE_LIMITS[0],
        "{name}: {found:?}"
    );
    assert!(
        apart_deg(found[3], rotation_deg).abs() < VANE_LIMITS[1],
        "{name}: {found:?}"
    );
}

/// Frames of `tests/references/measured.py` (GalSim, numpy), photons drawn there. A frame from inside focus is the same picture with the camera half a turn
/// round: whoever takes it for one from beyond focus holds the camera the other way.
#[test]
fn frames_of_other_libraries_give_obstruction_and_vane() {
    for (name, rotation_deg) in [("measured_outside", 0.0), ("measured_inside", 180.0)] {
        let file =
            Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/references/data/{name}.npy"));
        let frame = FirstFrame::of(name.into(), reading(npy::read(&file), name)).expect("a ring");
        assert_eq!(frame.shadows.len(), 1, "{:?}", frame.shadows);
        close(
            name,
            numbers(&found(&frame, &said())),
            81.0,
            [208.0, 6.0],
            rotation_deg,
        );
    }
}

/// The shadow stands where its owner says, however the camera is turned: the turn of the camera follows.
#[test]
fn the_turn_of_the_camera_follows_from_where_the_shadow_stands() {
    let text = std::fs::read_to_string("scenarios/night-fast-unit.toml").expect("a scenario");
    for rotation_deg in [37.0, -140.0] {
        let set = [
            format!("camera.rotation_deg={rotation_deg}"),
            "state.sensor_offset_um=600".to_owned(),
            "camera.width_px=120".to_owned(),
            "camera.height_px=110".to_owned(),
        ];
        let scenario = scenario::read(&text, "night.toml", &set).expect("a scenario");
        let telescope = scenario.instrument.telescope.clone();
        let vane = telescope.vanes[0].clone();
        let answers = Answers {
            aperture_m: Some(telescope.aperture_m),
            focal_length_m: Some(telescope.focal_length_m),
            pixel_m: Some(scenario.instrument.camera.pixel_m),
            shadow_rad: Some(vane.azimuth_rad),
            ..Answers::default()
        };
        let truth = scenario.instrument.clone();
        let star = Scene::of(scenario)
            .expect("a scene")
            .with_seed(7)
            .star()
            .expect("a star");
        let counts = star.frame.expect("counts").counts_adu.mapv(f64::from);
        let frame = FirstFrame::of("night".into(), reading(counts, "night")).expect("a ring");
        let [obstruction, azimuth, width, _] = numbers(&truth);
        close(
            &format!("{rotation_deg} degrees"),
            numbers(&found(&frame, &answers)),
            obstruction,
            [azimuth, width],
            rotation_deg,
        );
    }
}

/// What neither file nor frame says is asked, all of it at once and in words.
#[test]
fn what_no_file_says_is_asked() {
    let name = "measured_outside";
    let file =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/references/data/{name}.npy"));
    let frame = FirstFrame::of(name.into(), reading(npy::read(&file), name)).expect("a ring");
    let nothing = Answers::default();
    let all = [
        Lacking::Aperture,
        Lacking::FocalLength,
        Lacking::Pixel,
        Lacking::ShadowAt,
    ];
    assert_eq!(nothing.lacking(&frame), all);
    let refused = FirstScenario::of(&frame, &nothing, "none").expect_err("lacking");
    assert!(
        matches!(refused, FirstScenarioError::Lacking(..)),
        "{refused}"
    );
    let words = format!("{refused}\n{}", refused.hint());
    for option in ["--aperture", "--focal-length", "--pixel", "--shadow-at"] {
        assert!(words.contains(option), "{words}");
    }
    assert!(said().lacking(&frame).is_empty());
}

/// A ring behind a cloud is no instrument: a hundredth of its light is refused, and so is one that has lost its dark middle where only a
/// refractor has none.
#[test]
fn a_faint_ring_is_refused() {
    let name = "measured_outside";
    let file =
        Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/references/data/{name}.npy"));
    let counts = npy::read(&file);
    let level = counts[[0, 0]];
    let noise =
        |row: usize, column: usize| ((row * 31 + column * 17 + row * column) % 13) as f64 - 6.0;
    let cloudy = Array2::from_shape_fn(counts.dim(), |(row, column)| {
        (level + 0.002 * (counts[[row, column]] - level) + noise(row, column)).round()
    });
    let refused = FirstFrame::of("cloud".into(), reading(cloudy, "cloud")).expect_err("a cloud");
    println!("{refused}");
    assert!(!matches!(refused, FirstFrameError::File(_)));
    let mut frame = FirstFrame::of(name.into(), reading(counts, name)).expect("a ring");
    frame.obstruction_ratio = None;
    let refused = FirstScenario::of(&frame, &said(), "none").expect_err("no dark middle");
    assert!(
        refused.hint().contains("--kind refractor"),
        "{}",
        refused.hint()
    );
}

/// A point of light is no ring, and noise is no star.
#[test]
fn a_frame_without_a_ring_is_refused_with_what_to_do() {
    let point = Array2::from_shape_fn((60, 70), |(row, column)| {
        let r2 = (row as f64 - 30.0).powi(2) + (column as f64 - 33.0).powi(2);
        500.0 + ((row * 7 + column * 13) % 5) as f64 + 9000.0 * libm::exp(-r2 / 4.0)
    });
    let refused = FirstFrame::of("point".into(), reading(point, "point")).expect_err("no ring");
    assert!(refused.to_string().contains("no ring"), "{refused}");
    assert!(
        refused.hint().contains("spread the star"),
        "{}",
        refused.hint()
    );
}
