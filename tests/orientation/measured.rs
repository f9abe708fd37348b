//! Frames of a camera that is held otherwise than typed, through `measure` and `learn`: nothing is sure that was only typed, and what the
//! next frames settle is used.

use crate::cli::program::Place;
use serde_json::Value;
use skewstar::instrument::wrapped;
use skewstar::units::DEG;

/// An invented unit at the prime focus. `@VANES@` and `@CAMERA@` are put in.
const UNIT: &str = r#"format = 1
title = "A camera held otherwise"
seed = @SEED@
[telescope]
aperture_mm = 164.0
focal_length_mm = 394.0
[telescope.obstruction]
diameter_mm = 68.0
@VANES@
[assembly]
screw_circle_radius_mm = 51.0
pitch_mm_per_turn = 0.5
screws = [ { name = "A", azimuth_deg = 80.0 }, { name = "B", azimuth_deg = 200.0 }, { name = "C", azimuth_deg = 320.0 } ]
[assembly.response]
coma_nm_per_arcmin = 48.0
image_shift_um_per_arcmin = 21.0
focus_um_per_mm = 1000.0
sensor_tilt_per_tilt = 1.0
[camera]
@CAMERA@
pixel_um = 3.8
width_px = 84
height_px = 80
passband_nm = [500.0, 600.0]
wavelengths = 3
quantum_efficiency = 0.7
gain_e_per_adu = 1.1
bias_adu = 200.0
read_noise_e = 1.8
full_well_e = 40000.0
[star]
magnitude = 4.2
temperature_k = 5800.0
altitude_deg = 63.0
[sky]
seeing_arcsec = 1.9
brightness_mag_per_arcsec2 = 20.1
[exposure]
time_s = 3.0
"#;

pub const CABLE: &str =
    "[[telescope.vanes]]\nazimuth_deg = 152.0\nwidth_mm = 5.0\ninner_radius_mm = 34.0\n";

fn uneven() -> String {
    [152.0, 230.0, 20.0]
        .map(|azimuth| CABLE.replace("152.0", &format!("{azimuth:.1}")))
        .concat()
}

/// How a camera is held.
#[derive(Clone, Copy)]
pub struct Held(pub f64, pub bool);

impl Held {
    pub fn keys(self, orientation: &str) -> String {
        format!(
            "rotation_deg = {:.1}\nmirrored = {}\norientation = \"{orientation}\"",
            self.0, self.1
        )
    }
}

pub fn unit(vanes: &str, camera: &str, seed: u32) -> String {
    UNIT.replace("@VANES@", vanes)
        .replace("@CAMERA@", camera)
        .replace("@SEED@", &seed.to_string())
}

pub const TYPED: Held = Held(0.0, false);

/// A place with the scenario as typed, and frames of the telescope as it is: one for each list of turns.
fn place(vanes: &str, typed: &str, real: Held, turns: &[&str]) -> Place {
    let place = Place::with_file("typed.toml", unit(vanes, typed, 1));
    for (number, turns) in turns.iter().enumerate() {
        let state =
            format!("[state]\nsensor_offset_um = -420.0\nrecentred = true\nturns = {turns}\n");
        let text = unit(vanes, &real.keys("known"), 40 + number as u32) + &state;
        place.write(&format!("frame{number}.toml"), text);
        place
            .run(&["render", &format!("frame{number}.toml"), "--quiet"])
            .well();
    }
    place
}

pub fn measured(place: &Place, frame: &str, more: &[&str]) -> Value {
    let path = format!("out/{frame}.fits");
    let asked = [
        "measure",
        &path,
        "--instrument",
        "typed.toml",
        "--json",
        "--quiet",
    ];
    let done = place.run(&[&asked[..], more].concat());
    serde_json::from_str(&done.stdout).unwrap_or_else(|_| panic!("no JSON: {}", done.stderr))
}

/// Coma per turn of each screw is the same but for direction, so that tilts may be counted in turns: of these turns the tilt's length.
pub fn tilt_in_turns(turns: [f64; 3]) -> f64 {
    let azimuths = [80.0, 200.0, 320.0].map(|a: f64| a * DEG);
    let sum = |wave: fn(f64) -> f64| -> f64 {
        azimuths.iter().zip(turns).map(|(a, t)| t * wave(*a)).sum()
    };
    sum(f64::cos).hypot(sum(f64::sin))
}

/// What the report's next step makes of these turns.
pub fn after_step(report: &Value, mut turns: [f64; 3]) -> [f64; 3] {
    let next = &report["next"];
    let screw = next["screw"].as_str().expect("a screw");
    turns["ABC".find(screw).expect("A, B or C")] += next["turns"].as_f64().expect("turns");
    turns
}

/// Whether an answer of some weight is how the camera really is held.
fn lists(report: &Value, real: Held, side: &str) -> f64 {
    let all = report["orientations"].as_array().expect("a list");
    let weights = all.iter().map(|a| a["weight"].as_f64().expect("a weight"));
    assert!((weights.sum::<f64>() - 1.0).abs() < 1e-9);
    let near = |a: &&Value| {
        let off = wrapped((a["rotation_deg"].as_f64().expect("degrees") - real.0) * DEG);
        off.abs() < 16.0 * DEG && a["mirrored"] == real.1 && a["side"] == side
    };
    let weight = |a: &Value| a["weight"].as_f64().expect("a weight");
    all.iter().filter(near).map(weight).sum()
}

/// The camera turned, mirrored or both, on a pupil that hides all or part of it: the report lists the truth, and asks for a trial that
/// leaves less than twice of what was there, whichever way it goes.
#[test]
fn a_hidden_orientation_asks_for_a_trial() {
    let short = [0.0, -0.1, 0.0];
    for (vanes, side) in [
        ("", None),
        (CABLE, None),
        (CABLE, Some("inside")),
        ("", Some("inside")),
    ] {
        for real in [
            TYPED,
            Held(150.0, false),
            Held(180.0, false),
            Held(0.0, true),
            Held(-75.0, true),
        ] {
            let place = place(vanes, &TYPED.keys("assumed"), real, &["{ B = -0.1 }"]);
            let told: Vec<&str> = side.iter().flat_map(|side| ["--side", side]).collect();
            let report = measured(&place, "frame0", &told);
            let about = format!("{vanes:?} {side:?} {} {}", real.0, real.1);
            assert_eq!(report["verdict"], "trial", "{about}: {report:#}");
            assert!(
                lists(&report, real, "inside") > 1e-3,
                "{about}: {:#}",
                report["orientations"]
            );
            let turns = report["next"]["turns"].as_f64().expect("turns");
            assert!(turns.abs() <= 1.0 / 16.0 + 1e-12, "{about}: {turns}");
            let left = tilt_in_turns(after_step(&report, short));
            assert!(left < 2.0 * tilt_in_turns(short), "{about}: {left}");
        }
    }
}

/// A checked orientation is turned after at once, and the step helps in truth.
#[test]
fn a_known_orientation_is_turned_after() {
    for real in [TYPED, Held(150.0, false), Held(-75.0, true)] {
        let place = place(CABLE, &real.keys("known"), real, &["{ B = -0.1 }"]);
        let report = measured(&place, "frame0", &[]);
        assert_eq!(report["verdict"], "turn", "{report:#}");
        assert_eq!(report["next"]["screw"], "B");
        let turns = report["next"]["turns"].as_f64().expect("turns");
        assert!((turns - 0.1).abs() < 0.005, "{turns}");
    }
}

/// Vanes that stand unevenly show how the camera is held once the side is told. But that was only told: a trial is asked for, of the right
/// screw and the right way.
#[test]
fn uneven_vanes_and_the_side_show_it() {
    let short = [0.0, -0.1, 0.0];
    for real in [TYPED, Held(150.0, false), Held(-75.0, true)] {
        let place = place(&uneven(), &TYPED.keys("assumed"), real, &["{ B = -0.1 }"]);
        let report = measured(&place, "frame0", &["--side", "inside"]);
        assert_eq!(report["verdict"], "trial", "{:#}", report["orientations"]);
        assert!(
            lists(&report, real, "inside") > 0.9,
            "{:#}",
            report["orientations"]
        );
        assert_eq!(report["next"]["screw"], "B");
        let left = tilt_in_turns(after_step(&report, short));
        assert!(left < 0.5 * tilt_in_turns(short), "{left}");
        // and the coma is in the pupil's axes: B short tilts the unit away from 200 degrees
        let modes = &report["modes_nm"];
        let of = |noll: &str| modes[noll]["value"].as_f64().expect("a value");
        let azimuth = of("7").atan2(of("8")) / DEG;
        assert!((azimuth - 20.0).abs() < 3.0, "{azimuth}");
    }
}

/// One trial and one more, of another screw: the turn that follows is right, whatever was typed, and also where the first trial made
/// it worse.
#[test]
fn two_trials_settle_it() {
    let states = [
        "{ B = -0.1 }",
        "{ A = 0.06, B = -0.1 }",
        "{ A = 0.06, B = -0.1, C = -0.05 }",
    ];
    let trials = [
        "out/frame0.fits,out/frame1.fits,A=0.06",
        "out/frame1.fits,out/frame2.fits,C=-0.05",
    ];
    let now = [0.06, -0.1, -0.05];
    for real in [
        TYPED,
        Held(150.0, false),
        Held(180.0, false),
        Held(-75.0, true),
    ] {
        let place = place(CABLE, &TYPED.keys("assumed"), real, &states);
        for (count, order) in [(1, [0, 1]), (2, [0, 1]), (2, [1, 0])] {
            let chosen = order[..count].iter().flat_map(|k| ["--trial", trials[*k]]);
            let asked: Vec<&str> = ["learn", "--instrument", "typed.toml", "--force", "--quiet"]
                .into_iter()
                .chain(chosen)
                .collect();
            place.run(&asked).well();
            let more = ["--response", "out/typed.response.toml"];
            let report = measured(&place, if count == 1 { "frame1" } else { "frame2" }, &more);
            let about = format!("{} {} {count}: {report:#}", real.0, real.1);
            let holds = report["orientations"].as_array().expect("a list").len();
            assert!(holds == 2 || count == 2, "{about}");
            if count == 2 {
                assert_eq!(report["orientations"][0]["mirrored"], real.1, "{about}");
                assert_eq!(report["verdict"], "turn", "{about}");
                let left = tilt_in_turns(after_step(&report, now));
                assert!(left < 0.6 * tilt_in_turns(now), "{left}: {about}");
            }
        }
    }
}
