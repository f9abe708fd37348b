//! `night`: frames of a telescope whose screws are turned as it says, by a hand that knows nothing else; a folder that is followed; kills.

use super::program::{Done, Place};
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

/// A small unit, invented. What is typed of camera and response is wrong: the truth below differs.
pub const TYPED: &str = r#"format = 1
seed = 11
title = "A unit for one night"
[telescope]
aperture_mm = 152.0
focal_length_mm = 426.0
[telescope.obstruction]
diameter_mm = 61.0
[assembly]
screw_circle_radius_mm = 52.0
pitch_mm_per_turn = 0.5
clockwise = "lengthens"
screws = [ { name = "A", azimuth_deg = 90.0 }, { name = "B", azimuth_deg = 210.0 }, { name = "C", azimuth_deg = 330.0 } ]
[assembly.response]
coma_nm_per_arcmin = 48.0
image_shift_um_per_arcmin = 20.0
focus_um_per_mm = 1000.0
sensor_tilt_per_tilt = 1.0
[camera]
pixel_um = 4.2
width_px = 88
height_px = 84
passband_nm = [500.0, 600.0]
wavelengths = 3
quantum_efficiency = 0.7
gain_e_per_adu = 0.9
bias_adu = 300.0
read_noise_e = 1.7
dark_e_per_s = 0.03
full_well_e = 30000.0
[state]
sensor_offset_um = -420.0
[star]
magnitude = 3.9
temperature_k = 6000.0
altitude_deg = 71.0
[sky]
seeing_arcsec = 1.8
brightness_mag_per_arcsec2 = 19.3
[exposure]
time_s = 0.4
"#;

/// A camera turned by 100 degrees, and a response that is a fifth stronger.
const TRUE_ROTATION: &str = "camera.rotation_deg=100";
const TRUE_RESPONSE: &str = "assembly.response.coma_nm_per_arcmin=57.6";

/// The telescope as it is: what the hidden screws stand at, and how often it was looked at.
struct Telescope {
    place: Place,
    turns: [f64; 3],
    /// Beyond focus.
    offset_um: f64,
    frames: usize,
}

impl Telescope {
    fn new(turns: [f64; 3]) -> Telescope {
        let place = Place::with_file("unit.toml", TYPED);
        std::fs::create_dir(place.path("camera")).unwrap();
        Telescope {
            place,
            turns,
            offset_um: -420.0,
            frames: 0,
        }
    }

    fn start(&self, options: &[&str]) -> Done {
        let words = [
            "night",
            "start",
            "--instrument",
            "unit.toml",
            "--session",
            "s.toml",
            "--settle",
            "0",
        ];
        self.place.run(&[&words, options].concat())
    }

    /// A frame as the telescope stands; its name.
    fn exposed(&mut self) -> String {
        self.exposed_behind(&[])
    }

    /// The same with something in front of the telescope: more words for `render`.
    fn exposed_behind(&mut self, more: &[&str]) -> String {
        self.frames += 1;
        let [a, b, c] = self.turns;
        let turns = format!("state.turns={{A={a},B={b},C={c}}}");
        let seed = format!("seed={}", 100 + self.frames);
        let offset = format!("state.sensor_offset_um={}", self.offset_um);
        let out = format!("made{}", self.frames);
        let words = [
            "render",
            "unit.toml",
            "--quiet",
            "--out",
            &out,
            "--set",
            &turns,
            "--set",
            &offset,
            "--set",
            &seed,
            "--set",
            TRUE_ROTATION,
            "--set",
            TRUE_RESPONSE,
        ];
        self.place.run(&[&words, more].concat()).well();
        format!("{out}/unit.fits")
    }

    fn night(&self, words: &[&str]) -> Done {
        self.place
            .run(&[&["night"], words, &["--session", "s.toml"]].concat())
    }

    /// Exposes a frame and hands it over; the line.
    fn looked(&mut self) -> Value {
        let frame = self.exposed();
        self.handed_over(&frame)
    }

    /// Holds a card over the rim at a screw, as the night is told, and hands the frame over that shows it.
    fn carded(&mut self, screw: &str, azimuth_deg: f64) -> Value {
        self.night(&["card", screw]).well();
        let vane =
            format!("azimuth_deg={azimuth_deg},width_mm=40,inner_radius_mm=53,outer_radius_mm=76");
        let frame = self.exposed_behind(&["--set", &format!("telescope.vanes=[{{{vane}}}]")]);
        self.handed_over(&frame)
    }

    fn handed_over(&self, frame: &str) -> Value {
        let done = self.night(&["frame", frame, "--json"]);
        serde_json::from_str(&done.stdout).unwrap_or_else(|e| panic!("{e}: {}", done.stderr))
    }

    /// Turns what the line asks for, as a hand that errs by a tenth would, and tells it.
    fn turned(&mut self, line: &Value) {
        let screw = line["next"]["screw"].as_str().unwrap();
        let degrees = line["next"]["degrees"].as_f64().unwrap();
        let number = ["A", "B", "C"]
            .iter()
            .position(|name| *name == screw)
            .unwrap();
        self.turns[number] += 1.1 * degrees / 360.0;
        self.night(&["turned", screw, &format!("{}", degrees / 360.0)])
            .well();
    }

    /// Coma that the screws make, nm RMS: three lengths make a plane.
    fn coma_nm(&self) -> f64 {
        let azimuths = [90.0f64, 210.0, 330.0].map(f64::to_radians);
        // the plane through three points at 120 degrees: 2/3 of the sum of length times direction, over the radius
        let along = |part: fn(f64) -> f64| -> f64 {
            self.turns
                .iter()
                .zip(azimuths)
                .map(|(turn, azimuth)| turn * part(azimuth))
                .sum()
        };
        let lengths_m = 2.0 / 3.0 * along(f64::cos).hypot(along(f64::sin)) * 0.5e-3;
        let arcmin = (lengths_m / 52.0e-3).to_degrees() * 60.0;
        57.6 * arcmin
    }
}

/// Words alone bring a telescope home whose camera is turned by 100 degrees and whose response is stronger than typed, and every line
/// holds what the design's contract names.
#[test]
fn a_night_ends_tight_and_good_enough() {
    let mut telescope = Telescope::new([0.02, -0.07, 0.03]);
    let before_nm = telescope.coma_nm();
    telescope.start(&["--side", "inside"]).well();
    let mut line = telescope.looked();
    let mut rounds = 0;
    while line["next"]["do"] != "lock" && rounds < 8 {
        assert_eq!(line["round"], rounds, "{line}");
        match line["next"]["do"].as_str().unwrap() {
            "turn" | "trial" => {
                telescope.turned(&line);
                rounds += 1;
            }
            "wait" | "expose" => {}
            other => panic!("{other}: {}", line["next"]),
        }
        line = telescope.looked();
    }
    let after_nm = telescope.coma_nm();
    let stop_nm = line["stop_nm"]["stop"].as_f64().unwrap();
    assert!(
        after_nm < stop_nm.max(30.0),
        "{before_nm} became {after_nm} nm in {rounds} rounds"
    );
    assert!(rounds <= 5, "{rounds}");
    assert_eq!(line["verdict"], "stop");
    assert_eq!(line["knows"]["response"], "learned");
    let arrows = line["knows"]["screws"].as_object().unwrap();
    assert!(!arrows.is_empty());
    for arrow in arrows.values() {
        assert_eq!(arrow["px_per_eighth"].as_array().unwrap().len(), 2);
        assert!(arrow["sigma_px"].as_f64().unwrap() > 0.0);
    }
    // the camera as it is, where two screws told it
    if line["knows"]["orientation"] == "known" {
        let rotation = line["knows"]["rotation_deg"].as_f64().unwrap();
        assert!((rotation - 100.0).abs() < 15.0, "{rotation}");
    }
    telescope.night(&["locked"]).well();
    let line = telescope.looked();
    assert_eq!(line["next"]["do"], "refocus", "{}", line["next"]);
    let focus_um = line["next"]["focus_um"].as_f64().unwrap();
    assert!((focus_um - 420.0).abs() < 15.0, "{focus_um}");
    telescope
        .night(&["focused", &format!("{focus_um:+.0}")])
        .well();
    // a ring that is still there is not in focus, and one that has grown is on the other side of it
    let line = telescope.looked();
    assert_eq!(line["next"]["do"], "refocus", "{}", line["next"]);
    telescope.offset_um = -630.0;
    telescope.night(&["focused", "+200"]).well();
    let line = telescope.looked();
    let words = line["next"]["words"].as_str().unwrap();
    assert!(words.contains("has grown"), "{words}");
    let focus_um = line["next"]["focus_um"].as_f64().unwrap();
    assert!((focus_um + 630.0).abs() < 20.0, "{focus_um}");
}

/// A turn that made it worse is said, and the next step is not the same again.
#[test]
fn worse_is_said_and_turned_back() {
    let mut telescope = Telescope::new([0.0, -0.05, 0.0]);
    telescope.start(&["--side", "inside"]).well();
    telescope.looked();
    // somebody turned it the wrong way
    telescope.turns[1] -= 0.05;
    telescope.night(&["turned", "B", "-1/20"]).well();
    let line = telescope.looked();
    assert_eq!(line["worse"], true);
    assert!(
        line["next"]["why"].as_str().unwrap().contains("worse"),
        "{}",
        line["next"]
    );
    let same = line["next"]["screw"] == "B" && line["next"]["degrees"].as_f64().unwrap() < 0.0;
    assert!(!same, "{}", line["next"]);
    telescope.turned(&line);
    let line = telescope.looked();
    assert_eq!(line["round"], 2);
}

/// A turn that nobody told is asked about; told late, nothing is learned of the frame that came before.
#[test]
fn an_untold_turn_is_asked_about() {
    let mut telescope = Telescope::new([0.0, -0.05, 0.0]);
    telescope.start(&["--side", "inside"]).well();
    telescope.looked();
    telescope.turns[0] += 0.06;
    let line = telescope.looked();
    assert_eq!(
        (&line["next"]["do"], &line["verdict"]),
        (&"look-again".into(), &"look-again".into())
    );
    assert!(
        line["next"]["words"].as_str().unwrap().contains("turned"),
        "{}",
        line["next"]
    );
    telescope.night(&["turned", "A", "0.06"]).well();
    let line = telescope.looked();
    assert_eq!(line["round"], 1);
    assert!(
        line["knows"]["screws"]["A"].is_object(),
        "{}",
        line["knows"]
    );
}

/// What cannot be meant is refused with the next step, and nothing is written down.
#[test]
fn what_cannot_be_meant_is_refused() {
    let telescope = Telescope::new([0.0; 3]);
    telescope.start(&[]).well();
    let before = telescope.place.read("s.toml");
    let refused = |words: &[&str], says: &str| {
        let said = telescope.night(words).unable().stderr;
        assert!(said.contains(says) && said.contains("hint: "), "{said}");
    };
    refused(&["turned", "Q", "1/8"], "no screw \"Q\"");
    refused(&["turned", "A", "many"], "no part of a turn");
    refused(&["turned", "A", "40"], "from 0.001 to 4 turns");
    refused(&["focused", "a bit"], "focus was moved");
    refused(&["mask", "on"], "no [mask]");
    refused(&["cannot", "Z"], "no screw \"Z\"");
    refused(&["undo"], "nothing was told");
    refused(&["frame", "none.fits"], "none.fits");
    assert_eq!(telescope.place.read("s.toml"), before);
    let again = telescope.start(&[]).unable().stderr;
    assert!(again.contains("is there already"), "{again}");
    let none = ["night", "undo", "--session", "gone.toml"];
    let none = telescope.place.run(&none).unable().stderr;
    assert!(none.contains("night start"), "{none}");
}

/// A `watch` that runs, and its lines as they come.
struct Watch {
    child: Child,
    lines: Receiver<String>,
}

impl Watch {
    fn on(place: &Place) -> Watch {
        let words = [
            "night",
            "watch",
            "camera",
            "--session",
            "s.toml",
            "--json",
            "--quiet",
        ];
        let mut child = place
            .command(&words)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let out = child.stdout.take().unwrap();
        let (say, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                if say.send(line).is_err() {
                    break;
                }
            }
        });
        Watch { child, lines }
    }

    fn line(&self) -> Value {
        let line = self
            .lines
            .recv_timeout(Duration::from_secs(60))
            .expect("a line a frame");
        serde_json::from_str(&line).expect("one JSON document a line")
    }

    fn is_quiet_for(&self, time: Duration) -> bool {
        self.lines.recv_timeout(time).is_err()
    }

    fn killed(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    #[cfg(unix)]
    fn ended_by_ctrl_c(mut self) {
        let sent = std::process::Command::new("kill")
            .args(["-INT", &self.child.id().to_string()])
            .status();
        assert!(sent.unwrap().success());
        let begun = Instant::now();
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return assert_eq!(status.code(), Some(0));
            }
            assert!(begun.elapsed() < Duration::from_secs(5), "Ctrl-C ends it");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    #[cfg(not(unix))]
    fn ended_by_ctrl_c(self) {
        self.killed();
    }
}

/// Frames come in pieces, under a name that is changed, in a folder by date, broken and empty; the watch is killed and begun again; what was told
/// meanwhile is seen. Every frame has one line, all night.
#[test]
fn a_folder_is_followed_through_kills() {
    let mut telescope = Telescope::new([0.0, -0.06, 0.0]);
    let old = telescope.exposed();
    let camera = telescope.place.path("camera");
    let shown = |name: &str| camera.join(name);
    let copy = |from: &Path, to: &str| {
        std::fs::create_dir_all(shown(to).parent().unwrap()).unwrap();
        let part = shown(&format!("{to}.part"));
        std::fs::write(&part, std::fs::read(from).unwrap()).unwrap();
        std::fs::rename(part, shown(to)).unwrap();
    };
    copy(&telescope.place.path(&old), "before.fits");
    // files have the system's clock, which may be a moment behind
    std::thread::sleep(Duration::from_millis(60));
    telescope.start(&["--side", "inside"]).well();
    let watch = Watch::on(&telescope.place);
    let first = telescope.exposed();
    copy(&telescope.place.path(&first), "2026-11-30/one.fits");
    let line = watch.line();
    assert_eq!(
        line["file"].as_str().unwrap().replace('\\', "/"),
        "2026-11-30/one.fits"
    );
    assert_eq!(line["round"], 0);
    // in pieces
    let second = telescope.exposed();
    let bytes = telescope.place.read(&second);
    for end in [100, 3000, bytes.len() - 3000, bytes.len()] {
        std::fs::write(shown("two.fits"), &bytes[..end]).unwrap();
        std::thread::sleep(Duration::from_millis(250));
    }
    assert_eq!(watch.line()["file"], "two.fits");
    std::fs::write(shown("broken.png"), b"\x89PNG no picture IEND\xaeB`\x82").unwrap();
    let broken = watch.line();
    assert!(broken["skipped"].is_string(), "{broken}");
    watch.killed();
    // while no watch runs: a turn is told and a frame comes
    telescope.turns[1] += 0.05;
    telescope.night(&["turned", "B", "0.05"]).well();
    let third = telescope.exposed();
    // its exposure of 0.4 s begins after the turn
    std::thread::sleep(Duration::from_millis(600));
    copy(&telescope.place.path(&third), "three.fits");
    let watch = Watch::on(&telescope.place);
    let line = watch.line();
    assert_eq!(
        (&line["file"], &line["round"]),
        (&"three.fits".into(), &1.into())
    );
    assert_eq!(line["worse"], false);
    // told while it runs
    telescope.night(&["side", "inside"]).well();
    std::fs::rename(shown("two.fits"), shown("two-renamed.fits")).unwrap();
    assert!(
        watch.is_quiet_for(Duration::from_secs(1)),
        "each frame once"
    );
    watch.ended_by_ctrl_c();
    let session = telescope.place.text("s.toml");
    let count = |what: &str| session.matches(&format!("what = \"{what}\"")).count();
    assert_eq!(
        (
            count("frame"),
            count("skipped"),
            count("turned"),
            count("side")
        ),
        (3, 1, 1, 1)
    );
}

/// Kill -9 at random moments, of the watch and of whoever tells: what was told and answered is in the session once, what was cut off is there once
/// or not at all, each frame is looked at once, and the night goes on. `SKEWSTAR_KILLS=100` for as many kills (`.ci/long`).
#[test]
fn kills_lose_nothing() {
    let kills: u64 =
        std::env::var("SKEWSTAR_KILLS").map_or(8, |text| text.parse().expect("a number"));
    let mut telescope = Telescope::new([0.0, -0.06, 0.0]);
    telescope.start(&["--side", "inside"]).well();
    let star = telescope.exposed();
    let mut bytes = telescope.place.read(&star);
    let padding = bytes.len() - 1;
    // a small generator of its own (numerical recipes' constants, from memory): moments need no quality
    let mut state = 20_261_130u64;
    let mut below = |most: u64| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % most
    };
    let (mut answered, mut cut_off) = (Vec::new(), Vec::new());
    for kill in 0..kills {
        let watch = Watch::on(&telescope.place);
        // every file is another one: what pads its last block
        bytes[padding] = kill as u8;
        std::fs::write(
            telescope.place.path(&format!("camera/{kill:03}.fits")),
            &bytes,
        )
        .unwrap();
        std::thread::sleep(Duration::from_millis(below(700)));
        let turns = format!("{:.4}", 0.001 + 1e-4 * kill as f64);
        let words = [
            "night",
            "turned",
            "B",
            &turns,
            "--session",
            "s.toml",
            "--quiet",
        ];
        let mut hand = telescope
            .place
            .command(&words)
            .stdout(Stdio::null())
            .spawn()
            .unwrap();
        match below(2) {
            0 => {
                assert!(hand.wait().unwrap().success());
                answered.push(turns);
            }
            _ => {
                std::thread::sleep(Duration::from_micros(below(20_000)));
                hand.kill().unwrap();
                hand.wait().unwrap();
                cut_off.push(turns);
            }
        }
        std::thread::sleep(Duration::from_millis(below(500)));
        watch.killed();
    }
    let watch = Watch::on(&telescope.place);
    let seen = |session: &str, name: &str| session.matches(&format!("file = \"{name}\"")).count();
    let begun = Instant::now();
    let session = loop {
        let session = telescope.place.text("s.toml");
        if (0..kills).all(|kill| seen(&session, &format!("{kill:03}.fits")) > 0) {
            break session;
        }
        assert!(begun.elapsed() < Duration::from_secs(120), "{session}");
        std::thread::sleep(Duration::from_millis(100));
    };
    watch.killed();
    for kill in 0..kills {
        assert_eq!(seen(&session, &format!("{kill:03}.fits")), 1, "{session}");
    }
    let told = |turns: &String| {
        let number: f64 = turns.parse().unwrap();
        session
            .matches(&format!("clockwise_turns = {number}\n"))
            .count()
            + session
                .matches(&format!("clockwise_turns = {number} "))
                .count()
            + session
                .matches(&format!("clockwise_turns = {number},"))
                .count()
    };
    for turns in &answered {
        assert_eq!(told(turns), 1, "{turns} was answered: {session}");
    }
    for turns in &cut_off {
        assert!(told(turns) <= 1, "{turns} was cut off: {session}");
    }
    // the night goes on
    telescope.night(&["turned", "B", "0.5"]).well();
    assert_eq!(
        telescope
            .place
            .text("s.toml")
            .matches("clockwise_turns = 0.5")
            .count(),
        1
    );
}

/// The same frame handed over twice is one look, and the night says so.
#[test]
fn a_frame_counts_once() {
    let mut telescope = Telescope::new([0.0, -0.06, 0.0]);
    telescope.start(&["--side", "inside"]).well();
    let frame = telescope.exposed();
    telescope.night(&["frame", &frame, "--json"]).well();
    let session = telescope.place.text("s.toml");
    let again = telescope.night(&["frame", &frame, "--json"]);
    let line: Value = serde_json::from_str(&again.stdout).unwrap();
    let reason = line["skipped"].as_str().unwrap();
    assert!(reason.contains("looked at before"), "{line}");
    assert_eq!(telescope.place.text("s.toml"), session);
}

/// Without the side two cards leave half a turn of the camera open, and the trial says what settles it.
#[test]
fn two_cards_ask_for_the_side() {
    let mut telescope = Telescope::new([0.0, -0.11, 0.0]);
    telescope.start(&[]).well();
    telescope.carded("A", 95.0);
    telescope.carded("B", 206.0);
    let clear = telescope.looked();
    assert_eq!(clear["verdict"], "trial", "{clear:#}");
    let words = clear["next"]["words"].as_str().unwrap();
    assert!(words.contains("say side inside"), "{words}");
    telescope.night(&["side", "inside"]).well();
    let told = telescope.looked();
    assert_eq!(told["verdict"], "turn", "{told:#}");
}

/// Two cards say how the camera is held, and the night remembers them: the star without a card is turned at once, the right way.
#[test]
fn two_cards_spare_the_trial() {
    let mut telescope = Telescope::new([0.0, -0.11, 0.0]);
    telescope.start(&["--side", "inside"]).well();
    assert_eq!(telescope.looked()["next"]["do"], "trial");
    // a hand finds the places of the screws to some degrees
    let one = telescope.carded("A", 95.0);
    assert_eq!(one["next"]["do"], "card", "{one:#}");
    assert_eq!(one["next"]["screw"], "B", "{one:#}");
    let two = telescope.carded("B", 206.0);
    assert_eq!(two["next"]["do"], "clear-beam", "{two:#}");
    let start_nm = telescope.coma_nm();
    let clear = telescope.looked();
    for line in [&two, &clear] {
        let likeliest = &line["orientations"][0];
        assert!(likeliest["weight"].as_f64().unwrap() > 0.98, "{line:#}");
        assert_eq!(likeliest["mirrored"], false, "{line:#}");
        let rotation = likeliest["rotation_deg"].as_f64().unwrap();
        assert!((rotation - 100.0).abs() < 6.0, "{line:#}");
    }
    assert_eq!(clear["verdict"], "turn", "{clear:#}");
    telescope.turned(&clear);
    assert!(
        telescope.coma_nm() < 0.5 * start_nm,
        "{start_nm} nm, {clear:#}"
    );
}

/// The page of the night, the card, and a response that the next night takes.
#[test]
fn a_night_is_written_down() {
    let mut telescope = Telescope::new([0.0, -0.06, 0.0]);
    telescope.start(&["--side", "inside"]).well();
    let line = telescope.looked();
    telescope.turned(&line);
    telescope.looked();
    telescope.night(&["report", "--out", "kept"]).well();
    let page = telescope.place.text("kept/s.night.html");
    for part in [
        "data:image/png;base64,",
        "Coma against rounds",
        "What happened",
        "turned by",
        "<svg",
    ] {
        assert!(page.contains(part), "{part}");
    }
    assert!(!page.contains("http"), "nothing is fetched");
    let card = telescope.place.text("kept/s.card.html");
    assert!(
        card.contains("1/8 turn clockwise") && card.contains("near the Sun"),
        "{card}"
    );
    let words = [
        "night",
        "start",
        "--instrument",
        "unit.toml",
        "--session",
        "next.toml",
        "--response",
        "kept/s.response.toml",
        "--json",
    ];
    let next = telescope.place.run(&words).well();
    let knows: Value = serde_json::from_str(&next.stdout).unwrap();
    assert_eq!(knows["knows"]["response"], "learned");
}
