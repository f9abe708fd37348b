//! What `check`, `schema`, `completions`, `man` and the help pages print.

use super::program::{Place, tiny_counts};
use serde_json::Value;

const VERBS: [&str; 7] = [
    "new",
    "check",
    "render",
    "sheet",
    "schema",
    "completions",
    "man",
];

#[test]
fn check_says_what_follows_and_writes_nothing() {
    let place = Place::with_file("tiny.toml", tiny_counts());
    let words = place.run(&["check", "tiny.toml"]).well();
    assert_eq!(words.stderr, "");
    // 590/118 = 5; 206265 × 4.7 µm / 590 mm = 1.643 arcsec.
    assert!(
        words.stdout.contains("focal ratio            f/5.00"),
        "{}",
        words.stdout
    );
    assert!(
        words.stdout.contains("1.643 arcsec per pixel"),
        "{}",
        words.stdout
    );
    assert!(
        words
            .stdout
            .contains("saturation             a pixel is full at 30000 electrons"),
        "{}",
        words.stdout
    );
    let numbers = place.run(&["check", "tiny.toml", "--json"]).well();
    let findings: Value = serde_json::from_str(&numbers.stdout).expect("JSON");
    assert_eq!(findings["format"], "skewstar-check/1");
    let ratio = findings["focal_ratio"].as_f64().expect("a number");
    assert!((ratio - 5.0).abs() < 1e-12, "{ratio}");
    assert!(
        findings["star_electrons"]
            .as_f64()
            .is_some_and(|e| e > 1000.0)
    );
    assert_eq!(place.names(), ["tiny.toml"]);
}

#[test]
fn what_is_set_is_what_counts() {
    let place = Place::with_tiny();
    let sets = [
        "--set",
        "telescope.focal_length_mm=472",
        "--set",
        "telescope.obstruction.diameter_mm=59",
    ];
    let done = place
        .run(&[&["check", "tiny.toml", "--json"][..], &sets].concat())
        .well();
    let findings: Value = serde_json::from_str(&done.stdout).expect("JSON");
    let ratio = findings["focal_ratio"].as_f64().expect("a number");
    assert!((ratio - 4.0).abs() < 1e-12, "{ratio}");
    // A disc of half the diameter hides a quarter of the area.
    let open = findings["open_area_fraction"].as_f64().expect("a number");
    assert!((open - 0.75).abs() < 1e-9, "{open}");
}

#[test]
fn the_schema_is_a_json_schema_of_the_file() {
    let done = Place::new().run(&["schema"]).well();
    let schema: Value = serde_json::from_str(&done.stdout).expect("JSON");
    assert!(
        schema["$schema"]
            .as_str()
            .is_some_and(|url| url.contains("2020-12"))
    );
    for section in [
        "telescope",
        "camera",
        "state",
        "star",
        "sky",
        "exposure",
        "mask",
        "assembly",
    ] {
        assert!(schema["properties"][section].is_object(), "{section}");
    }
    assert_eq!(done.stderr, "");
}

#[test]
fn every_shell_gets_completions() {
    let place = Place::new();
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let done = place.run(&["completions", shell]).well();
        assert_eq!(done.stderr, "");
        for verb in VERBS {
            assert!(done.stdout.contains(verb), "{shell} does not know {verb}");
        }
        assert!(done.stdout.contains("portable"), "{shell}");
    }
    // bash is asked to read its script, but not on Windows, which has none
    if cfg!(windows) {
        return;
    }
    let mut bash = std::process::Command::new("bash");
    place.write("skewstar.bash", place.run(&["completions", "bash"]).stdout);
    bash.arg("-n").arg(place.path("skewstar.bash"));
    assert_eq!(
        place.done(&mut bash).well().stderr,
        "",
        "bash reads its script"
    );
}

#[test]
fn the_manual_has_a_page_head_and_every_verb() {
    let done = Place::new().run(&["man"]).well();
    assert!(
        done.stdout.contains(".TH skewstar 1"),
        "{}",
        &done.stdout[..200]
    );
    for verb in VERBS {
        assert!(
            done.stdout.contains(&format!(".TH skewstar-{verb} 1")),
            "{verb}"
        );
    }
    for words in ["Exit status: 0 done", "near the Sun"] {
        assert!(done.stdout.contains(words), "{words}");
    }
}

#[test]
fn help_and_version_are_answers() {
    let place = Place::new();
    let help = place.run(&["--help"]).well();
    assert!(VERBS.iter().all(|verb| help.stdout.contains(verb)) && help.stderr.is_empty());
    assert!(help.stdout.contains("130 interrupted"), "{}", help.stdout);
    for verb in VERBS {
        assert!(
            place
                .run(&[verb, "--help"])
                .well()
                .stdout
                .contains("Usage: skewstar")
        );
    }
    let version = place.run(&["--version"]).well();
    assert_eq!(
        version.stdout,
        format!("skewstar {}\n", env!("CARGO_PKG_VERSION"))
    );
}

#[test]
fn colour_is_left_out_where_nobody_wants_it() {
    let place = Place::new();
    let mut forced = place.command(&["rendr"]);
    forced.env_remove("NO_COLOR").env("CLICOLOR_FORCE", "1");
    assert!(
        place.done(&mut forced).stderr.contains('\x1b'),
        "colour can be had"
    );
    forced.env("NO_COLOR", "1");
    let plain = place.done(&mut forced);
    assert_eq!(plain.status, Some(2));
    assert!(
        !plain.stderr.contains('\x1b') && plain.stderr.contains("'render'"),
        "{}",
        plain.stderr
    );
    let mut ours = place.command(&["check", "nowhere.toml"]);
    ours.env("CLICOLOR_FORCE", "1");
    assert!(
        !place.done(&mut ours).stderr.contains('\x1b'),
        "our own words have none at all"
    );
}
