//! The two values at the top of the crate, called as another program calls them: what they hand out agrees with the rooms below
//! them, and every verdict has its next step.

use skewstar::frame::Frame;
use skewstar::instrument::{ClockwiseTurn, Instrument};
use skewstar::measure::{Deed, MeasureOptions, Picture, Side, Verdict};
use skewstar::predict::{Expected, Model, Settings};
use skewstar::scene::{PreviewOptions, SceneError};
use skewstar::state::{Exposure, Star};
use skewstar::units::NM;
use skewstar::{Diagnosis, DiagnosisOptions, Scene, files};

/// A scenario of the repository, with overrides.
fn scene(name: &str, sets: &[&str]) -> Scene {
    let path = format!("{}/scenarios/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let sets: Vec<String> = sets.iter().map(|s| (*s).to_owned()).collect();
    let scenario = files::scenario(path, &sets).expect("a scenario");
    Scene::of(scenario).expect("a scene")
}

/// The night lesson in few colours, with these turns.
fn night(turns: &str) -> Scene {
    let turns = format!("state.turns={turns}");
    let known = "camera.orientation=\"known\"";
    scene("night-fast-unit", &["camera.wavelengths=2", known, &turns])
}

/// One screw a tenth of a turn short.
const SHORT: &str = "{ B = -0.1 }";

fn counts(scene: &Scene) -> Frame {
    scene.star().expect("a star").frame.expect("counts")
}

fn diagnosis(frame: &Frame, instrument: &Instrument, options: &DiagnosisOptions) -> Diagnosis {
    Diagnosis::of(&Picture::from(frame), instrument, options).expect("a diagnosis")
}

fn inside() -> DiagnosisOptions<'static> {
    DiagnosisOptions {
        measure: MeasureOptions {
            side: Some(Side::Inside),
            ..MeasureOptions::default()
        },
        ..DiagnosisOptions::default()
    }
}

/// What a scene hands out is what the rooms below it compute, pixel by pixel.
#[test]
fn a_scene_is_the_chain_by_hand() {
    let scene = scene("fast-unit-one-screw", &["camera.wavelengths=2"]);
    let (instrument, state) = (scene.instrument(), scene.state());
    let model = Model::new(instrument, state, Settings::default()).expect("a model");
    let by_hand = Expected::new(&model, instrument, state, Settings::default()).expect("light");
    assert_eq!(scene.expected().expect("light").image, by_hand.image);
    assert!(
        scene.spikes().expect("none").is_empty(),
        "no mask, no spikes"
    );
    assert!(matches!(scene.mask_findings(), Err(SceneError::NoMask)));
}

/// What is missing is named by the scene, whoever made it.
#[test]
fn what_a_scene_lacks_is_named() {
    let plain = scene("fast-unit-one-screw", &["camera.wavelengths=2"]);
    let mut state = plain.state().clone();
    state.star = Some(Star {
        magnitude: 3.0,
        temperature_k: 6000.0,
        altitude_rad: 1.0,
    });
    state.exposure = Some(Exposure { time_s: 0.2 });
    let mut instrument = plain.instrument().clone();
    instrument.camera.electronics = night(SHORT).instrument().camera.electronics.clone();
    let bright = Scene::new(instrument, state).expect("a scene");
    assert!(bright.gives_counts() && !plain.gives_counts());
    let missing = bright.star().expect_err("no seed");
    assert!(matches!(missing, SceneError::SeedMissing));
    assert!(missing.hint().contains("seed"));
    assert!(bright.with_seed(7).star().expect("counts").frame.is_some());
    assert!(matches!(plain.field(&|| ()), Err(SceneError::NoField)));
    let options = PreviewOptions::default();
    assert!(matches!(
        plain.mask_preview(&options),
        Err(SceneError::NoMask)
    ));
}

/// The screw that was turned is named by the next step, with the angle of the wrench and the order of the hands.
#[test]
fn the_next_step_puts_right_what_was_turned() {
    let scene = night(SHORT);
    let found = diagnosis(&counts(&scene), scene.instrument(), &inside());
    assert_eq!(found.verdict(), Verdict::Turn, "{:?}", found.words());
    let next = found.next();
    assert_eq!((next.deed, next.screw.as_deref()), (Deed::Turn, Some("B")));
    let turns = next.turns.expect("turns");
    assert!((turns - 0.1).abs() < 0.01, "{turns}");
    // 0.1 turn is 36 degrees; the screws of this unit lengthen clockwise
    let assembly = scene.instrument().assembly.as_ref().expect("screws");
    assert_eq!(assembly.clockwise, ClockwiseTurn::Lengthens);
    assert_eq!(next.degrees, Some(35));
    assert!(
        next.hands
            .expect("hands")
            .starts_with("first loosen the pull screw")
    );
    let report = serde_json::to_value(found.report()).expect("JSON");
    assert_eq!(report["format"], "skewstar-measure/2");
    assert_eq!(report["verdict"], "turn");
    assert_eq!(report["next"]["do"], "turn");
    assert_eq!(report["next"]["screw"], "B");
    assert_eq!(report["sound"], true);
}

/// Where no screw can be named, a small trial is the next step: never nothing.
#[test]
fn without_camera_or_response_a_trial_is_next() {
    let scene = night(SHORT);
    let frame = counts(&scene);
    let mut unknown = inside();
    unknown.measure.camera_unknown = true;
    let found = diagnosis(&frame, scene.instrument(), &unknown);
    assert_eq!(found.verdict(), Verdict::Trial);
    let ratio = scene.instrument().telescope.focal_ratio();
    let most = if ratio <= 2.5 { 1.0 / 16.0 } else { 1.0 / 8.0 };
    let asked = found.next().turns.expect("a screw to try");
    assert!(asked != 0.0 && asked.abs() <= most, "{asked}");
    assert!(found.orientations().len() > 1);

    let mut untaught = scene.instrument().clone();
    untaught.assembly.as_mut().expect("screws").response = None;
    let found = diagnosis(&frame, &untaught, &inside());
    assert_eq!(found.verdict(), Verdict::Trial);
    assert_eq!(found.next().deed, Deed::Trial);
    assert!(found.words().last().expect("words").contains("Why:"));

    untaught.assembly = None;
    let found = diagnosis(&frame, &untaught, &inside());
    assert_eq!(
        (found.verdict(), found.next().screw),
        (Verdict::Trial, None)
    );
}

/// An aligned telescope says stop, also where no turns could be worked out.
#[test]
fn an_aligned_star_says_stop() {
    let scene = night("{}");
    let frame = counts(&scene);
    for with_response in [true, false] {
        let mut instrument = scene.instrument().clone();
        if !with_response {
            instrument.assembly.as_mut().expect("screws").response = None;
        }
        let found = diagnosis(&frame, &instrument, &inside());
        let stop_nm = found.stop_level().stop_m / NM;
        assert_eq!(
            found.verdict(),
            Verdict::Stop,
            "{:?}, stop at {stop_nm} nm",
            found.words()
        );
        assert_eq!(found.next().deed, Deed::Stop);
    }
}

/// A star of another telescope is not acted on, and the next step says what to put right.
#[test]
fn a_star_that_does_not_fit_says_look_again() {
    let scene = night(SHORT);
    let frame = counts(&scene);
    let mut other = scene.instrument().clone();
    other.telescope.aperture_m *= 0.6;
    other.telescope.obstruction = None;
    other.telescope.vanes.clear();
    let found = diagnosis(&frame, &other, &inside());
    assert_eq!(
        found.verdict(),
        Verdict::LookAgain,
        "{:?}",
        found.report().flags
    );
    let next = found.next();
    assert_eq!((next.deed, next.screw), (Deed::LookAgain, None));
    assert!(!next.why.is_empty());
    assert!(!found.report().sound);
}
