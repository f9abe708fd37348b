//! Who may know of whom: imports go downward only (the design).

use super::source::Token;
use super::{SourceFile, none, root, sources};
use std::collections::BTreeSet;

/// Every module at the top of the crate and its layer.
const LAYERS: [(&str, u8); 41] = [
    ("units", 0),
    ("axes", 0),
    ("math", 0),
    ("rng", 0),
    ("instrument", 1),
    ("state", 1),
    ("frame", 1),
    ("spectrum", 1),
    ("geometry", 1),
    ("flag", 1),
    ("mask", 2),
    ("pupil", 2),
    ("wavefront", 2),
    ("mechanics", 2),
    ("propagation", 3),
    ("atmosphere", 3),
    ("sensor", 3),
    ("predict", 4),
    ("simulate", 5),
    ("measure", 5),
    ("preview", 5),
    ("score", 5),
    ("scenario", 6),
    ("image_io", 6),
    ("solid_io", 6),
    ("files", 7),
    ("scene", 7),
    ("diagnosis", 7),
    ("first_frame", 8),
    ("practice", 8),
    ("lessons", 8),
    ("night", 8),
    ("dataset", 8),
    ("logbook", 9),
    ("web", 9),
    ("cli", 9),
    ("main", 9),
    ("python", 9),
    ("site", 9),
    ("lib", 9),
    // pages of Markdown: it names nothing
    ("guide", 0),
];

/// Rooms that are packages of their own.
const MEMBERS: [&str; 2] = ["python", "site"];

/// Siblings that may know of each other, and why.
const SIBLINGS: [(&str, &str, &str); 11] = [
    (
        "instrument",
        "state",
        "design aberrations are modes, and modes are part of the state's vocabulary",
    ),
    (
        "spectrum",
        "instrument",
        "a passband belongs to a camera; bins are made from it",
    ),
    (
        "pupil",
        "mask",
        "a mask is part of what the pupil lets through",
    ),
    (
        "pupil",
        "wavefront",
        "pupil and W must be mapped to the beam's sines by one and the same law",
    ),
    (
        "mechanics",
        "wavefront",
        "traced rays are projected on the modes that the rest of the crate speaks in",
    ),
    (
        "solid_io",
        "image_io",
        "a 3MF package is an archive, as NPZ is",
    ),
    (
        "lessons",
        "practice",
        "a lesson shows what a drill asks for, by the same eye",
    ),
    (
        "cli",
        "logbook",
        "the verbs of a night tell and ask what its book keeps",
    ),
    ("cli", "web", "the verb that serves the page starts it"),
    (
        "site",
        "web",
        "the page without a server is another door to the same answers",
    ),
    (
        "main",
        "cli",
        "the program parses what was typed and does it",
    ),
];

/// Why the shell does not reach past the rooms that answer whole questions.
const SHELL: &str = "no physics in the shell: a scene or a diagnosis answers";

/// Downward, and forbidden all the same.
const NEVER: [(&str, &str, &str); 26] = [
    ("propagation", "rng", "the deterministic half draws nothing"),
    ("sensor", "rng", "the deterministic half draws nothing"),
    (
        "predict",
        "rng",
        "what is expected does not depend on chance",
    ),
    (
        "score",
        "predict",
        "two records are compared; no simulator is known",
    ),
    (
        "score",
        "propagation",
        "two records are compared; no simulator is known",
    ),
    ("measure", "rng", "the same frame gives the same answer"),
    ("preview", "rng", "the same mask gives the same judgement"),
    (
        "image_io",
        "instrument",
        "a file format knows frames, not telescopes",
    ),
    (
        "diagnosis",
        "simulate",
        "it is blind: pixel values and an instrument, nothing that is hidden",
    ),
    (
        "diagnosis",
        "state",
        "it is blind: pixel values and an instrument, nothing that is hidden",
    ),
    ("cli", "propagation", SHELL),
    ("cli", "atmosphere", SHELL),
    ("cli", "sensor", SHELL),
    ("cli", "wavefront", SHELL),
    ("cli", "mechanics", SHELL),
    ("cli", "spectrum", SHELL),
    ("cli", "geometry", SHELL),
    ("python", "propagation", SHELL),
    ("python", "atmosphere", SHELL),
    ("python", "sensor", SHELL),
    ("python", "wavefront", SHELL),
    ("python", "mechanics", SHELL),
    ("python", "spectrum", SHELL),
    ("python", "geometry", SHELL),
    ("web", "propagation", SHELL),
    ("web", "mechanics", SHELL),
];

fn layer(room: &str) -> Option<u8> {
    LAYERS
        .iter()
        .find(|entry| entry.0 == room)
        .map(|entry| entry.1)
}

/// Other modules at the top of the crate that a file names outside its unit tests, with the line.
fn rooms_named(file: &SourceFile) -> Vec<(String, usize)> {
    let own = file.room();
    let outside_tests = file.named.iter().filter(|named| !named.in_test);
    outside_tests
        .filter_map(|named| {
            let mut inside = file.module();
            inside.extend(vec!["{}".to_owned(); named.modules]);
            let room = match named.path[0].as_str() {
                // packages of their own see the library from outside
                "crate" | "super" if MEMBERS.contains(&own) => return None,
                "crate" => named.path[1].clone(),
                "skewstar" if own == "main" || MEMBERS.contains(&own) => named.path[1].clone(),
                "super" => {
                    let up = named
                        .path
                        .iter()
                        .take_while(|part| *part == "super")
                        .count();
                    let root = inside.len().checked_sub(up)? == 0;
                    named.path.get(up).filter(|_| root)?.clone()
                }
                _ => return None,
            };
            (room != own).then_some((room, named.line))
        })
        .collect()
}

fn breaches_of(file: &SourceFile) -> Vec<String> {
    let from = file.room();
    let refuse =
        |line, to: &str, why: &str| Some(format!("{}: {from} → {to}: {why}", file.at(line)));
    rooms_named(file)
        .iter()
        .filter_map(|(to, line)| {
            let (Some(own), Some(other)) = (layer(from), layer(to)) else {
                return refuse(*line, to, "not in the table of layers");
            };
            let pair = |entry: &&(&str, &str, &str)| entry.0 == from && entry.1 == to;
            if let Some(never) = NEVER.iter().find(pair) {
                return refuse(*line, to, never.2);
            }
            match other.cmp(&own) {
                std::cmp::Ordering::Less => None,
                std::cmp::Ordering::Equal if SIBLINGS.iter().any(|entry| pair(&entry)) => None,
                std::cmp::Ordering::Equal => {
                    refuse(*line, to, "siblings do not know of each other")
                }
                std::cmp::Ordering::Greater => refuse(*line, to, "imports go downward only"),
            }
        })
        .collect()
}

#[test]
fn imports_go_downward() {
    let breaches: Vec<String> = sources().iter().flat_map(breaches_of).collect();
    none(&breaches);
}

#[test]
fn a_breach_is_seen() {
    let breaches = |name: &str, text: &str| breaches_of(&SourceFile::new(name, text)).len();
    assert_eq!(
        breaches("math/chirp.rs", "use crate::units::MM;"),
        1,
        "a sibling"
    );
    assert_eq!(
        breaches("pupil/mod.rs", "use crate::mask::openings;"),
        0,
        "a sibling with a reason"
    );
    assert_eq!(
        breaches("mask/mod.rs", "use crate::pupil::Pupil;"),
        1,
        "the other way round"
    );
    assert_eq!(
        breaches(
            "predict/model.rs",
            "fn x() { crate::simulate::clock([0.0; 2]); }"
        ),
        1
    );
    assert_eq!(
        breaches(
            "predict/model.rs",
            "use crate::{units::MM, cli::{run, args}};"
        ),
        2
    );
    assert_eq!(
        breaches(
            "predict/model.rs",
            "use super::super::cli::run; use super::expected::X;"
        ),
        1
    );
    assert_eq!(
        breaches(
            "rng.rs",
            "use super::cli::run; mod x { use super::super::web::y; }"
        ),
        2
    );
    assert_eq!(
        breaches("sensor/mod.rs", "use crate::rng::Seed;"),
        1,
        "downward, but never"
    );
    assert_eq!(
        breaches(
            "sensor/mod.rs",
            "#[cfg(test)] mod tests { use crate::rng::Seed; }"
        ),
        0
    );
    assert_eq!(
        breaches("cli/mod.rs", "use crate::novelty::X;"),
        1,
        "not in the table"
    );
}

#[test]
fn the_table_and_the_crate_agree() {
    let files = sources();
    let there: BTreeSet<&str> = files.iter().map(SourceFile::room).collect();
    for room in there.iter().filter(|room| **room != "testing") {
        assert!(
            layer(room).is_some(),
            "{room} is not in the table of layers"
        );
    }
    // A sibling's exception that nothing needs is a hole in the wall.
    let used: BTreeSet<(String, String)> = files
        .iter()
        .flat_map(|file| {
            rooms_named(file)
                .into_iter()
                .map(|(to, _)| (file.room().to_owned(), to))
        })
        .collect();
    for (from, to, _) in SIBLINGS {
        let planned = !there.contains(from) || !there.contains(to);
        assert!(
            planned || used.contains(&(from.to_owned(), to.to_owned())),
            "{from} → {to} is not used"
        );
    }
}

#[test]
fn test_helpers_stay_in_tests() {
    let breaches: Vec<String> = sources()
        .iter()
        .filter(|file| file.room() != "lib")
        .flat_map(|file| {
            rooms_named(file)
                .into_iter()
                .map(|named| (file, named))
                .collect::<Vec<_>>()
        })
        .filter(|(_, (room, _))| room == "testing")
        .map(|(file, (_, line))| file.at(line))
        .collect();
    none(&breaches);
}

/// Words that whoever measures must not know: it is handed a frame and an instrument, never what is hidden.
const HIDDEN: [&str; 4] = ["Truth", "Simulation", "Provenance", "Scenario"];

/// Measurement is blind: no hidden word, and no public function that takes a state.
fn seen_by_measurement(file: &SourceFile) -> Vec<String> {
    let code: Vec<&Token> = file.tokens.iter().filter(|token| !token.in_test).collect();
    let mut breaches: Vec<String> = code
        .iter()
        .filter(|token| HIDDEN.contains(&token.text.as_str()))
        .map(|token| format!("{} knows {}", file.at(token.line), token.text))
        .collect();
    for (at, token) in code
        .iter()
        .enumerate()
        .filter(|(_, token)| token.text == "fn")
    {
        let signature: Vec<&str> = code[at..]
            .iter()
            .map(|token| token.text.as_str())
            .take_while(|text| *text != "{" && *text != ";")
            .collect();
        if at > 0 && code[at - 1].text == "pub" && signature.contains(&"State") {
            breaches.push(format!(
                "{}: a public function takes a State",
                file.at(token.line)
            ));
        }
    }
    breaches
}

#[test]
fn measurement_is_blind() {
    let files = sources();
    let breaches: Vec<String> = files
        .iter()
        .filter(|file| matches!(file.room(), "measure" | "diagnosis"))
        .flat_map(seen_by_measurement)
        .collect();
    none(&breaches);
    let seen = |text: &str| seen_by_measurement(&SourceFile::new("measure/x.rs", text)).len();
    assert_eq!(
        seen(
            "pub fn modes(frame: &Frame, instrument: &Instrument) -> Answer { let trial = State::default(); }"
        ),
        0
    );
    assert_eq!(
        seen("fn residual(trial: &State) -> f64 { 0.0 }"),
        0,
        "trial states are its own"
    );
    assert_eq!(
        seen("pub fn modes(frame: &Frame, state: &State) -> Answer { }"),
        1
    );
    assert_eq!(seen("use crate::simulate::Truth;"), 1);
}

#[test]
fn the_map_in_lib_names_every_module() {
    let text = std::fs::read_to_string(root().join("src/lib.rs")).expect("lib.rs");
    let table: String = text
        .lines()
        .filter(|line| line.starts_with("//! |"))
        .collect();
    // The shell and the ground are not on the way that light takes.
    let beside = [
        "units", "math", "cli", "main", "lib", "testing", "scenario", "image_io", "python", "site",
    ];
    for file in sources() {
        let room = file.room();
        assert!(
            beside.contains(&room) || table.contains(&format!("[`{room}`]")),
            "{room} is not on the map in src/lib.rs"
        );
    }
}
