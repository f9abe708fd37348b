//! `practice` and `serve`: a session in one file, what lies beside it, what is refused.

use super::program::Place;
use serde_json::Value;
use std::net::TcpListener;

fn started(level: &str) -> Place {
    let place = Place::new();
    let arguments = [
        "practice",
        "start",
        "--session",
        "night.toml",
        "--seed",
        "918273",
        "--level",
        level,
    ];
    let told = place.run(&arguments).well();
    assert!(
        told.stdout.contains("near the Sun") && told.stdout.contains("\nTry: turn screw"),
        "{}",
        told.stdout
    );
    place
}

#[test]
fn a_session_is_one_readable_file_that_hides_the_answer() {
    let place = started("two-screws");
    assert_eq!(place.names(), ["night.star.png", "night.toml"]);
    let before = place.text("night.toml");
    assert!(
        before.contains("level = \"two-screws\"") && before.contains("sealed = "),
        "{before}"
    );
    assert!(!before.contains("918273"), "the seed gives everything away");
    let star = place.read("night.star.png");
    let told = place
        .run(&["practice", "turn", "B", "-1/8", "--session", "night.toml"])
        .well();
    assert!(
        told.stdout
            .starts_with("Screw B: partner loosened, anticlockwise by 45 degrees (1/8 turn)"),
        "{}",
        told.stdout
    );
    assert_ne!(place.read("night.star.png"), star, "another picture");
    assert!(
        place
            .text("night.toml")
            .contains("clockwise_turns = -0.125")
    );
    let told = place
        .run(&["practice", "show-me", "--session", "night.toml", "--json"])
        .well();
    let answer: Value = serde_json::from_str(&told.stdout).expect("JSON");
    assert_eq!(
        (&answer["format"], &answer["report"]),
        (&"skewstar-practice-answer/1".into(), &Value::Null)
    );
    assert_eq!(answer["cost_min"], 6.0);
}

/// Who follows `next` alone, by the screw and the turns it names, wins; `won` says so, and what it says agrees with the words.
#[test]
fn next_alone_wins_a_drill() {
    let place = started("one-screw");
    let asked = |verbs: &[&str]| -> Value {
        let words = [
            &["practice"][..],
            verbs,
            &["--session", "night.toml", "--json"],
        ]
        .concat();
        let told = place.run(&words);
        serde_json::from_str(&told.stdout).unwrap_or_else(|_| panic!("no JSON: {}", told.stderr))
    };
    let mut answer = asked(&["look"]);
    assert_eq!(answer["won"], Value::Null);
    for _ in 0..16 {
        let next = &answer["next"];
        let words = next["words"].as_str().expect("words");
        assert!(
            next["why"].as_str().expect("a reason").starts_with("Seen:"),
            "{next:#}"
        );
        match next["do"].as_str().expect("a deed") {
            "turn" | "trial" => {
                let degrees = next["degrees"].as_i64().expect("degrees");
                assert!(degrees % 5 == 0 && degrees != 0, "{next:#}");
                let screw = next["screw"].as_str().expect("a screw");
                assert!(words.starts_with(&format!("{screw}: ")), "{words}");
                // clockwise facing the head, as the wrench goes
                let turned = format!("{:.6}", degrees as f64 / 360.0);
                answer = asked(&["turn", screw, &turned]);
            }
            "recentre" => answer = asked(&["recentre"]),
            "finish" => {
                assert_eq!(asked(&["reveal"])["won"], true);
                return;
            }
            other => panic!("{other} on a level without focus"),
        }
    }
    panic!("the words never came to an end: {answer:#}");
}

#[test]
fn revealing_too_early_is_status_1_and_draws_the_path() {
    let place = started("one-screw");
    place
        .run(&["practice", "corners", "--session", "night.toml"])
        .well();
    let told = place.run(&["practice", "reveal", "--session", "night.toml"]);
    assert_eq!(told.status, Some(1), "{}", told.stdout);
    assert!(
        told.stdout.contains("The goal is not reached")
            && told.stdout.contains("Hidden at the start"),
        "{}",
        told.stdout
    );
    assert_eq!(
        place.names(),
        [
            "night.corners.png",
            "night.path.png",
            "night.star.png",
            "night.toml"
        ]
    );
    place
        .run(&["practice", "look", "--session", "night.toml"])
        .refused("error: the session is finished\nhint: start a new session: skewstar practice start --session FILE, or the button on the page\n");
}

#[test]
fn what_cannot_be_meant_is_refused_and_the_session_stays() {
    let place = started("one-screw");
    let before = place.everything();
    let refused = |arguments: &[&str], words: &str| {
        let mut all = vec!["practice"];
        all.extend_from_slice(arguments);
        let told = place.run(&all).unable();
        assert!(
            told.stderr.contains(words) && told.stderr.contains("hint: "),
            "{}",
            told.stderr
        );
    };
    refused(
        &["turn", "Q", "1/8", "--session", "night.toml"],
        "there is no screw \"Q\"; the screws are A, B, C",
    );
    refused(
        &["turn", "A", "eighth", "--session", "night.toml"],
        "\"eighth\" is no part of a turn",
    );
    refused(
        &["turn", "A", "3/4", "--session", "night.toml"],
        "the unit binds",
    );
    refused(
        &["look", "--session", "nothing.toml"],
        "cannot open the session nothing.toml",
    );
    refused(&["start", "--session", "night.toml"], "night.toml");
    refused(
        &["start", "--session", "x.toml", "--level", "ten-screws"],
        "\"ten-screws\" is no level",
    );
    refused(
        &["start", "--session", "x.toml", "--seed", "9007199254740992"],
        "below 2^53",
    );
    assert_eq!(place.everything(), before);
    place.write(
        "night.toml",
        place.text("night.toml").replace("one-screw", "two-screws"),
    );
    refused(&["look", "--session", "night.toml"], "the file was changed");
}

/// The same seed asks the same question, and every part of an answer is graded.
#[test]
fn a_question_is_asked_and_graded() {
    let place = Place::new();
    let asked = place.run(&["practice", "question", "--seed", "7"]).well();
    assert!(
        asked
            .stdout
            .contains("A at 12 o'clock, B at 8 o'clock, C at 4 o'clock"),
        "{}",
        asked.stdout
    );
    assert_eq!(place.names(), ["out/", "out/question-7.png"]);
    let points = |screw: &str, turns: &str| {
        let told = place
            .run(&[
                "practice", "question", "--seed", "7", "--json", "--screw", screw, "--turns", turns,
            ])
            .well();
        let answer: Value = serde_json::from_str(&told.stdout).expect("JSON");
        answer["points"].as_f64().expect("points")
    };
    let all: Vec<f64> = ["A", "B", "C"]
        .iter()
        .flat_map(|s| ["1/8", "-1/8"].map(|t| points(s, t)))
        .collect();
    let best = all.iter().fold(0.0f64, |most, p| most.max(*p));
    let right = all.iter().filter(|p| **p == best).count();
    assert!(best > 70.0 && right == 1, "{all:?}");
    assert!(
        all.contains(&40.0) && all.contains(&0.0) && all.contains(&50.0),
        "{all:?}"
    );
}

#[test]
fn a_port_in_use_is_said_in_words() {
    let taken = TcpListener::bind("127.0.0.1:0").expect("a port");
    let port = taken.local_addr().expect("an address").port().to_string();
    Place::new().run(&["serve", "--port", &port]).refused(&format!(
        "error: port {port} is in use by another program\nhint: is the page open already? Or choose another one: --port 0 takes any that is free\n"
    ));
}
