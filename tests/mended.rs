//! What a person found wrong with the practice on the page, each with a test that it stays mended.

use crate::page::{asked, post, site};
use serde_json::{Value, json};
use skewstar::practice::{BENCH, Level, Session, lesson, sight};
use skewstar::rng::Seed;
use skewstar::state::State;
use skewstar::units::{ARCMIN, UM};
use skewstar::web::Site;
use skewstar::{axes::FramePx, scenario};

/// The bench with other numbers.
fn bench(changes: &[(&str, &str)]) -> String {
    changes.iter().fold(BENCH.to_owned(), |text, (from, to)| {
        assert!(text.contains(from), "{from}");
        text.replace(from, to)
    })
}

/// A kind of telescope: its name, how it differs from the bench, and its coma in nm per arcminute.
type Kind<'a> = (&'a str, &'a [(&'a str, &'a str)], f64);

/// Four kinds of telescope, each with both signs of the response: fast prime focus, a slower one with one mirror, two mirrors, and small pixels.
fn kinds() -> Vec<(String, String)> {
    let kinds: [Kind; 4] = [
        ("fast", &[], 66.0),
        (
            "one mirror",
            &[
                ("focal_length_mm = 405.0", "focal_length_mm = 800.0"),
                ("diameter_mm = 74.0", "diameter_mm = 60.0"),
                ("sensor_offset_um = -480.0", "sensor_offset_um = 900.0"),
            ],
            21.0,
        ),
        (
            "two mirrors",
            &[
                ("focal_length_mm = 405.0", "focal_length_mm = 1400.0"),
                ("reflections = 1", "reflections = 2"),
                ("sensor_offset_um = -480.0", "sensor_offset_um = 0.0"),
            ],
            14.0,
        ),
        (
            "small pixels",
            &[
                ("pixel_um = 3.8", "pixel_um = 2.4"),
                ("width_px = 84", "width_px = 180"),
                ("height_px = 84", "height_px = 150"),
            ],
            66.0,
        ),
    ];
    let mut all = Vec::new();
    for (name, changes, coma) in kinds {
        for sign in [1.0, -1.0] {
            let text = bench(changes).replace(
                "coma_nm_per_arcmin = 66.0",
                &format!("coma_nm_per_arcmin = {:.1}", sign * coma),
            );
            all.push((format!("{name}, {}", sign * coma), text));
        }
    }
    all
}

/// Steps of the wrench, degrees, and of the focus that the page has.
const WRENCH_DEG: [f64; 5] = [90.0, 45.0, 20.0, 10.0, 5.0];
const FOCUS_UM: [f64; 4] = [200.0, 50.0, 20.0, 5.0];

/// What the last line of the page's advice asks for, in the page's own steps, as a person reads it.
fn in_steps(line: &str) -> Vec<Value> {
    let words: Vec<&str> = line.trim_end_matches('.').split_whitespace().collect();
    let parts = |size: f64, steps: &[f64]| {
        let (mut left, mut taken) = (size, Vec::new());
        for step in steps {
            while left >= step - 1e-9 {
                taken.push(*step);
                left -= step;
            }
        }
        taken
    };
    match words.as_slice() {
        [
            "Try:",
            "turn",
            "screw",
            name,
            way,
            "by",
            degrees,
            "degrees",
            ..,
        ] => {
            let sign = if *way == "clockwise" { 1.0 } else { -1.0 };
            let turn = |size| json!({ "do": "turn", "screw": name, "clockwise_turns": sign * size / 360.0 });
            parts(degrees.parse().expect("degrees"), &WRENCH_DEG)
                .into_iter()
                .map(turn)
                .collect()
        }
        ["Try:", "focus", way, "by", um, "um"] => {
            let sign = if *way == "outwards" { 1.0 } else { -1.0 };
            let focus = |size| json!({ "do": "focus", "outward_um": sign * size });
            parts(um.parse().expect("um"), &FOCUS_UM)
                .into_iter()
                .map(focus)
                .collect()
        }
        ["Try:", "recentre", ..] => vec![json!({ "do": "recentre" })],
        ["Try:", "finish.", ..] => vec![json!({ "do": "finish" })],
        _ => panic!("nothing that the page can do: {line}"),
    }
}

/// Plays a drill by the page's words alone; whether it was won.
fn won(site: &Site, telescope: &Value, level: &str, seed: u64) -> Result<(), String> {
    let start = json!({ "telescope": telescope, "level": level, "seed": seed });
    let (ok, mut view) = post(site, "/api/sessions", &start);
    assert_eq!(ok, 200, "{view}");
    let actions = format!(
        "/api/sessions/{}/actions",
        view["session"].as_str().expect("a name")
    );
    let mut said = Vec::new();
    for _ in 0..40 {
        let advice = view["advice"].as_str().expect("advice").to_owned();
        let line = advice.lines().last().unwrap_or_default().to_owned();
        said.push(line.clone());
        for action in in_steps(&line) {
            let (ok, next) = post(site, &actions, &action);
            if ok != 200 {
                return Err(format!("{action}: {next}; {said:#?}"));
            }
            view = next;
        }
        if view["finished"] == true {
            let goal = &view["report"]["numbers"]["goal_reached"];
            return if *goal == true {
                Ok(())
            } else {
                Err(format!("lost: {said:#?}"))
            };
        }
    }
    Err(format!("it never ends: {said:#?}"))
}

fn play_all(count: u64) {
    let site = site();
    let mut lost = Vec::new();
    for (kind, text) in kinds() {
        let (ok, loaded) = post(&site, "/api/telescopes", &json!({ "text": text }));
        assert_eq!(ok, 200, "{kind}: {loaded}");
        for level in loaded["levels"].as_array().expect("levels") {
            assert!(level["why_not"].is_null(), "{kind}: {level}");
            let word = level["word"].as_str().expect("a word");
            for seed in 0..count {
                if let Err(why) = won(&site, &loaded["telescope"], word, 300 + seed) {
                    lost.push(format!("{kind}, {word}, seed {}: {why}", 300 + seed));
                }
            }
        }
    }
    assert!(lost.is_empty(), "{} lost:\n{}", lost.len(), lost.join("\n"));
}

/// Every level is won by following the page's words in the page's own steps, on four kinds of telescope and both signs of the response.
#[test]
fn drills_are_won_by_the_pages_own_steps() {
    play_all(2);
}

/// The same, twenty of each.
#[test]
#[ignore = "takes minutes: .ci/long runs it"]
fn twenty_drills_of_every_level_are_won_by_the_pages_own_steps() {
    play_all(20);
}

/// "Show me" says which way the thin side goes, and that is the way it goes: with a response of either sign.
#[test]
fn what_is_taught_of_the_thin_side_is_what_is_seen() {
    for (sign, says) in [
        (1.0, "goes towards the raised edge"),
        (-1.0, "goes away from the raised edge"),
    ] {
        let text = bench(&[(
            "coma_nm_per_arcmin = 66.0",
            &format!("coma_nm_per_arcmin = {}", sign * 66.0),
        )]);
        let read = scenario::read(&text, "bench", &[]).expect("a scenario");
        let session =
            Session::new(&read.instrument, &read.state, Level::OneScrew, Seed(3)).expect("a drill");
        let words = lesson(&session).join("\n");
        assert!(words.contains(says), "{words}");
        let end = if sign > 0.0 {
            "shorten the screw on the thin side"
        } else {
            "lengthen the screw on the thin side"
        };
        assert!(words.contains(end), "{words}");
        // the edge at 40 degrees is raised; the camera is straight
        let [x, y] = [40.0f64.to_radians().cos(), 40.0f64.to_radians().sin()];
        let state = State {
            sensor_offset_m: -480.0 * UM,
            flexure_rad: [1.2 * ARCMIN * x, 1.2 * ARCMIN * y],
            ..State::default()
        };
        let ring = sight(&read.instrument, &state, FramePx::ZERO)
            .drawing()
            .expect("a drawing")
            .ring
            .expect("a ring");
        let along = (ring.thin_deg.to_radians() - 40.0f64.to_radians()).cos();
        assert!(
            sign * along > 0.95,
            "{sign}: thin towards {}",
            ring.thin_deg
        );
    }
}

/// A ring that is larger than the frame is brought nearer to focus: pointing alone would never end.
#[test]
fn a_ring_larger_than_the_frame_is_not_recentred_for_ever() {
    let site = site();
    let large = bench(&[("sensor_offset_um = -480.0", "sensor_offset_um = -1100.0")]);
    let (_, loaded) = post(&site, "/api/telescopes", &json!({ "text": large }));
    let start = json!({ "telescope": loaded["telescope"], "level": "one-screw", "seed": 5 });
    let (_, view) = post(&site, "/api/sessions", &start);
    assert!(
        view["advice"]
            .as_str()
            .expect("advice")
            .contains("Try: focus outwards"),
        "{}",
        view["advice"]
    );
    won(&site, &loaded["telescope"], "one-screw", 5).expect("won");
}

/// At the start the dark centre is clearly off and the ring is not folded, whatever the telescope: the thin side keeps a quarter of its width.
#[test]
fn what_levels_hide_scales_with_the_telescope() {
    for (kind, text) in kinds() {
        let read = scenario::read(&text, "bench", &[]).expect("a scenario");
        let hole = read.instrument.telescope.obstruction_ratio();
        for seed in 0..30 {
            let session = Session::new(&read.instrument, &read.state, Level::TwoScrews, Seed(seed))
                .expect("a drill");
            let drawing = session.rounds()[0]
                .sight
                .drawing()
                .expect("a dark centre that is off");
            let ring = drawing.ring.expect("a ring");
            let [dark, centre] = [ring.dark_px.expect("a dark centre"), ring.centre_px];
            let off = (dark[0] - centre[0]).hypot(dark[1] - centre[1]);
            let thick = ring.outer_px * (1.0 - hole);
            assert!(
                off < 0.8 * thick,
                "{kind}, seed {seed}: {off:.1} px off in a ring {thick:.1} px thick"
            );
            assert!(
                off > 0.1 * thick && off > 0.8,
                "{kind}, seed {seed}: {off:.1} px off in a ring {thick:.1} px thick"
            );
        }
    }
}

/// On a masked star "show me" draws ticks where spikes run and where they belong; the drawing of the wrenches is the program's, so that undo and
/// reload have it; a star is not spread far beyond the frame.
#[test]
fn the_view_of_a_session_has_what_is_drawn() {
    let site = site();
    let (_, view) = post(
        &site,
        "/api/sessions",
        &json!({ "level": "mask", "seed": 4 }),
    );
    let name = view["session"].as_str().expect("a name").to_owned();
    let actions = format!("/api/sessions/{name}/actions");
    let (_, shown) = post(&site, &actions, &json!({ "do": "show-me" }));
    let spikes = shown["drawing"]["spikes"].as_array().expect("spikes");
    assert_eq!(spikes.len(), 3, "{}", shown["drawing"]);
    assert!(
        spikes
            .iter()
            .any(|spike| spike["aside_px"][0] != 0.0 || spike["aside_px"][1] != 0.0)
    );
    let (_, turned) = post(
        &site,
        &actions,
        &json!({ "do": "turn", "screw": "B", "clockwise_turns": -0.125 }),
    );
    assert_eq!(
        turned["wrenches"],
        json!({ "A": 0.0, "B": -0.125, "C": 0.0 })
    );
    let again = asked(&site, "GET", &format!("/api/sessions/{name}"), "", b"");
    let again: Value = serde_json::from_slice(&again.body).expect("JSON");
    assert_eq!(again["wrenches"], turned["wrenches"]);
    let (_, undone) = post(&site, &actions, &json!({ "do": "undo" }));
    assert_eq!(undone["wrenches"]["B"], 0.0);
    let (refused, words) = post(
        &site,
        &actions,
        &json!({ "do": "focus", "outward_um": -15000.0 }),
    );
    assert!(
        refused == 409
            && words["error"]
                .as_str()
                .is_some_and(|error| error.contains("the frame is 84 px")),
        "{words}"
    );
}

/// Free play draws one picture when one is asked for; its corners are near focus, where corners are looked at.
#[test]
fn free_play_draws_what_is_looked_at() {
    let site = site();
    let part = |name: &str| {
        let reply = asked(
            &site,
            "GET",
            &format!("/api/play?tilt_arcmin=0&seeing=0&part={name}"),
            "",
            b"",
        );
        assert_eq!(reply.status, 200, "{name}");
        assert_eq!(&reply.body[..4], b"SKW1", "one picture, no parts");
        reply.body
    };
    let ring = part("ring");
    let corners = part("corners");
    part("mask");
    let lit = |picture: &[u8]| {
        let levels: Vec<u16> = picture[20..]
            .chunks(2)
            .map(|pair| u16::from_le_bytes([pair[0], pair[1]]))
            .collect();
        levels.iter().filter(|level| **level > 30_000).count()
    };
    // five stars in focus light fewer pixels than one ring of 55 px
    assert!(
        lit(&corners) < lit(&ring),
        "{} and {}",
        lit(&corners),
        lit(&ring)
    );
    assert_eq!(
        asked(&site, "GET", "/api/play?part=novelty", "", b"").status,
        400
    );
}
