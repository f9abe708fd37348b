//! Words, report and pictures name the same screw and the same sense: over both threads, both parities of reflection and both ways
//! of holding the camera. A mechanic's model of the cell is given the printed words, does them, and the frame is rendered anew from
//! the coma that the model then has: it must fall to under a third.

use super::{Held, apart_deg, cell, measured, night, number};
use crate::cli::program::Place;
use crate::support::cell::{Cell, ReadTurn, read_step, read_trying, read_undoing};
use crate::web::{post, run};
use serde_json::{Value, json};
use skewstar::practice::{Level, Session};
use skewstar::rng::Seed;
use skewstar::scenario;
use skewstar::web::Config;

/// The eight cases: the cell, aligned, and how the camera is held; with a number to vary what is out of line.
fn cases() -> Vec<(usize, Cell, Held)> {
    let mut all = Vec::new();
    for clockwise_lengthens in [true, false] {
        for reflections in [1, 2] {
            for mirrored in [true, false] {
                let rotation_deg = if mirrored { 37.0 } else { -64.0 };
                all.push((
                    all.len(),
                    cell(clockwise_lengthens, reflections),
                    Held {
                        rotation_deg,
                        mirrored,
                    },
                ));
            }
        }
    }
    all
}

/// One screw out of line: each of the three in turn, shorter and longer.
fn put_out(number: usize, cell: &mut Cell) -> &'static str {
    let name = cell.screws[number % 3].name;
    let turns = if number.is_multiple_of(2) {
        -0.15
    } else {
        0.13
    };
    cell.lengthen(name, turns);
    name
}

/// The frame of what the model's cell does to the star: nothing of the engine's own mechanics is in it.
fn frame_of(cell: &Cell, held: Held) -> String {
    let [c8, c7] = cell.coma_nm();
    night(
        cell,
        held,
        1000.0,
        &format!("modes_nm = {{ 8 = {c8:?}, 7 = {c7:?} }}"),
    )
}

fn coma_nm(found: &Value) -> f64 {
    let mode = |noll: &str| number(&found["modes_nm"][noll]["value"]);
    mode("7").hypot(mode("8"))
}

/// Does what is told and looks again: a third of the coma at most is left in a new frame.
#[track_caller]
fn helps(what: &str, cell: &Cell, held: Held, told: &[ReadTurn], before_nm: f64) {
    assert!(!told.is_empty(), "{what}: nothing is told");
    let mut turned = cell.clone();
    told.iter().for_each(|step| turned.do_as_told(step));
    let (_, found) = measured(&frame_of(&turned, held), &[]);
    let after_nm = coma_nm(&found);
    println!("{what}: {before_nm:.0} nm before, {after_nm:.0} nm after {told:?}");
    assert!(
        after_nm < before_nm / 3.0,
        "{what}: {before_nm} nm before, {after_nm} nm after {told:?}"
    );
}

/// Lines of the advice: the one screw that is enough, and the other plan, a little at each.
fn told(found: &Value) -> (ReadTurn, Vec<ReadTurn>) {
    let lines = |key: &str| -> Vec<String> {
        let words = found["advice"][key].as_array().expect("words");
        let lines = words.iter().filter_map(Value::as_str);
        lines.map(str::to_owned).collect()
    };
    let words = lines("words");
    let one = read_step(&words[0]).unwrap_or_else(|| panic!("{words:#?}"));
    // one plan: no other line of the words asks for a turn with its order of hands
    let plans = words
        .iter()
        .filter(|line| read_step(line).is_some())
        .count();
    assert_eq!(plans, 1, "{words:#?}");
    let all: Vec<ReadTurn> = lines("all_screws")
        .iter()
        .filter_map(|line| read_step(line))
        .collect();
    assert!(
        !words.iter().any(|line| line.starts_with("Or ")),
        "{words:#?}"
    );
    (one, all)
}

/// `measure`: its words, its numbers and its next step.
#[test]
fn the_printed_words_put_the_cell_right() {
    for (number_of_case, mut cell, held) in cases() {
        let name = put_out(number_of_case, &mut cell);
        let case = format!(
            "lengthens {}, {} reflections, {held:?}",
            cell.clockwise_lengthens, cell.reflections
        );
        let (place, found) = measured(&frame_of(&cell, held), &["--annotate"]);
        let before_nm = coma_nm(&found);
        assert!(
            (before_nm - cell.coma_size_nm()).abs() < 8.0,
            "{case}: {before_nm} nm"
        );
        let (one, all) = told(&found);
        assert_eq!(one.name, name, "{case}");
        assert!(
            one.hour.is_some() && all.iter().all(|step| step.hour.is_some()),
            "{case}: {all:?}"
        );
        helps(&case, &cell, held, std::slice::from_ref(&one), before_nm);
        helps(&case, &cell, held, &all, before_nm);

        // the report's numbers name the same screws and senses, and put the cell right as well
        let advice = &found["advice"];
        assert_eq!(advice["one_screw"]["screw"], name, "{case}");
        let mut turned = cell.clone();
        turned.lengthen(name, number(&advice["one_screw"]["turns"]));
        assert!(turned.coma_size_nm() < before_nm / 3.0, "{case}: {advice}");
        for step in &all {
            let turns = number(&advice["turns"][&step.name]);
            assert_eq!(turns > 0.0, step.lengthens, "{case}: {step:?} {turns}");
            assert!(
                (turns.abs() - step.turns).abs() <= 2.5 / 360.0 + 1e-9,
                "{case}: {step:?} {turns}"
            );
        }
        next_step_agrees(&case, &cell, &found["next"], &one, before_nm);

        // the annotated picture: the dark centre is pushed to the raised edge
        let [x, y] = cell.tilt_in_pupil();
        let raised_deg = held.in_picture_deg(y.atan2(x).to_degrees());
        let arrow_deg = arrow_deg(&place.read("out/unit.annotated.png"), 3);
        println!("{case}: arrow at {arrow_deg:.1}, raised edge at {raised_deg:.1} degrees");
        assert!(
            apart_deg(arrow_deg, raised_deg) < 10.0,
            "{case}: arrow {arrow_deg}, raised edge {raised_deg}"
        );
    }
}

/// The one next step: the same screw, the same sense, in words and as the angle of a wrench.
fn next_step_agrees(case: &str, cell: &Cell, next: &Value, one: &ReadTurn, before_nm: f64) {
    assert_eq!(next["do"], "turn", "{case}: {next}");
    assert_eq!(next["screw"], one.name.as_str(), "{case}: {next}");
    let step = read_step(next["words"].as_str().expect("words")).expect("a turn");
    assert_eq!(
        (step.clockwise, step.lengthens, step.turns),
        (one.clockwise, one.lengthens, one.turns),
        "{case}: {next}"
    );
    let degrees = number(&next["degrees"]);
    assert_eq!(degrees > 0.0, one.clockwise, "{case}: {next}");
    let mut turned = cell.clone();
    turned.do_as_told(&ReadTurn {
        turns: degrees.abs() / 360.0,
        ..one.clone()
    });
    assert!(turned.coma_size_nm() < before_nm / 3.0, "{case}: {next}");
    assert_eq!(
        number(&next["turns"]) > 0.0,
        one.lengthens,
        "{case}: {next}"
    );
}

/// `render`: the sentences beside a truth, and its annotated picture.
#[test]
fn the_sentences_of_a_truth_put_the_cell_right() {
    for (number_of_case, mut cell, held) in cases() {
        put_out(number_of_case, &mut cell);
        cell.lengthen("K", 0.04);
        cell.lengthen("M", -0.05);
        let case = format!(
            "lengthens {}, {} reflections, {held:?}",
            cell.clockwise_lengthens, cell.reflections
        );
        let turns = cell
            .screws
            .iter()
            .map(|s| format!("{} = {:?}", s.name, s.length_mm / cell.pitch_mm));
        let hidden = format!("turns = {{ {} }}", turns.collect::<Vec<_>>().join(", "));
        let place = Place::with_file("unit.toml", night(&cell, held, 1000.0, &hidden));
        let words = place
            .run(&["render", "unit.toml", "--annotate"])
            .well()
            .stdout;
        let [x, y] = cell.plane().1;
        let raised_deg = y.atan2(x).to_degrees();
        let hour = raised_edge_hour(&words);
        assert!(
            apart_deg(90.0 - 30.0 * hour, raised_deg) <= 15.0 + 1e-6,
            "{case}: {words}\nraised at {raised_deg} degrees"
        );
        let before_nm = cell.coma_size_nm();
        let mut turned = cell.clone();
        let told = read_undoing(&words);
        told.iter().for_each(|step| turned.do_as_told(step));
        println!(
            "{case}: {before_nm:.0} nm before, {:.1} nm after {told:?}",
            turned.coma_size_nm()
        );
        assert!(turned.coma_size_nm() < 0.02 * before_nm, "{case}: {words}");

        let in_picture = held.in_picture_deg(cell.through_mirrors_deg(raised_deg));
        let arrow_deg = arrow_deg(&place.read("out/unit.annotated.png"), 3);
        assert!(
            apart_deg(arrow_deg, in_picture) < 10.0,
            "{case}: arrow {arrow_deg}, raised edge {in_picture}"
        );
    }
}

/// "its edge at 7 o'clock (seen from the front of the telescope) stands too far out".
fn raised_edge_hour(words: &str) -> f64 {
    let rest = words.split_once("its edge at ").expect("an edge").1;
    rest.split_once(" o'clock")
        .expect("an hour")
        .0
        .parse()
        .expect("a number")
}

/// Direction of the arrow in an annotated picture, counter-clockwise from the right: the middle of everything in the arrow's colour
/// beyond the ring, from the middle of the ring in its own. `captions` lines of words stand below the picture.
fn arrow_deg(png: &[u8], captions: u32) -> f64 {
    let picture = image::load_from_memory(png).expect("a picture").to_rgb8();
    let words_px = 2 * 16 + 20 * captions;
    let places = |colour: [u8; 3]| -> Vec<[f64; 2]> {
        let close = |pixel: &image::Rgb<u8>| (0..3).all(|k| pixel.0[k].abs_diff(colour[k]) < 12);
        let within = picture
            .enumerate_pixels()
            .filter(|(_, row, pixel)| *row < picture.height() - words_px && close(pixel));
        within
            .map(|(x, row, _)| [f64::from(x), -f64::from(row)])
            .collect()
    };
    let (ring, steel) = (places([255, 170, 51]), places([165, 175, 205]));
    let middle = |of: &[[f64; 2]]| {
        [0, 1].map(|axis| of.iter().map(|p| p[axis]).sum::<f64>() / of.len() as f64)
    };
    let centre = middle(&ring);
    let out = |p: &[f64; 2]| (p[0] - centre[0]).hypot(p[1] - centre[1]);
    let radius = ring.iter().map(out).fold(0.0, f64::max);
    let arrow: Vec<[f64; 2]> = steel
        .into_iter()
        .filter(|p| out(p) > 1.02 * radius)
        .collect();
    assert!(
        arrow.len() > 20,
        "no arrow: {} pixels beyond {radius}",
        arrow.len()
    );
    let tip = middle(&arrow);
    (tip[1] - centre[1]).atan2(tip[0] - centre[0]).to_degrees()
}

/// The page: its picture of the screws, its raised edge, its lesson and the coach's words. The hidden heights are the session's.
#[test]
fn the_page_marks_the_screw_that_its_words_name() {
    for (number_of_case, mut cell, held) in cases() {
        cell.coma_nm_per_arcmin = 90.0;
        let case = format!(
            "lengthens {}, {} reflections, {held:?}",
            cell.clockwise_lengthens, cell.reflections
        );
        let text = night(&cell, held, 1000.0, "");
        let read = || scenario::read(&text, "page", &[]).expect("a scenario");
        let port = run(Config {
            scenario: read(),
            scenario_text: text.clone(),
            port: 0,
            lan: false,
            keeper: None,
            night: None,
            measurer: None,
        });
        let seed = 70 + number_of_case as u64;
        let (ok, page) = post(
            port,
            "/api/sessions",
            &json!({ "level": "one-screw", "seed": seed }),
        );
        assert_eq!(ok, 200, "{page}");
        let screws = page["screws"].as_array().expect("screws");
        assert_eq!(screws.len(), 3);
        for drawn in screws {
            let name = drawn["name"].as_str().expect("a name");
            let front_deg = cell.named(name).front_deg;
            assert!(
                apart_deg(number(&drawn["front_deg"]), front_deg) < 1e-6,
                "{case}: {drawn}"
            );
            assert_eq!(
                cell.at_hour(number(&drawn["hour"]) as u32).name,
                name,
                "{case}: {drawn}"
            );
        }
        let hidden = read();
        let session = Session::new(
            &hidden.instrument,
            &hidden.state,
            Level::OneScrew,
            Seed(seed),
        )
        .expect("a session");
        let pitch_mm = cell.pitch_mm;
        for (screw, turns) in cell.screws.iter_mut().zip(session.state().turns.iter()) {
            screw.length_mm = turns * pitch_mm;
        }
        let before_nm = cell.coma_size_nm();
        let advice = page["advice"].as_str().expect("advice");
        let step = read_trying(advice).unwrap_or_else(|| panic!("{case}: {advice}"));
        let mut turned = cell.clone();
        turned.do_as_told(&step);
        println!(
            "{case}: {before_nm:.0} nm before, {:.0} nm after {step:?}",
            turned.coma_size_nm()
        );
        assert!(turned.coma_size_nm() < before_nm / 3.0, "{case}: {advice}");

        let name = page["session"].as_str().expect("a name");
        let (_, shown) = post(
            port,
            &format!("/api/sessions/{name}/actions"),
            &json!({ "do": "show-me" }),
        );
        let [x, y] = cell.plane().1;
        let raised_deg = y.atan2(x).to_degrees();
        let drawn_deg = number(&shown["raised_front_deg"]);
        assert!(
            apart_deg(drawn_deg, raised_deg) < 12.0,
            "{case}: drawn at {drawn_deg}, raised at {raised_deg}"
        );
        let lesson = shown["lesson"].to_string();
        for drawn in screws {
            let place = format!(
                "{} at {} o'clock",
                drawn["name"].as_str().expect("a name"),
                drawn["hour"]
            );
            assert!(lesson.contains(&place), "{case}: {lesson}");
        }
    }
}
