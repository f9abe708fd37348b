//! A night practised indoors: a simulated telescope writes frames as a capture program does, and a new owner's instrument comes from the first.

use super::night::{TYPED, begin};
use super::program::{Done, Place};
use serde_json::Value;

/// A unit with a vane, so that the frame tells how it stands.
fn place() -> Place {
    let vane = "[[telescope.vanes]]\nazimuth_deg = 128.0\nwidth_mm = 9.0\ninner_radius_mm = 29.0\n[assembly]";
    Place::with_file(
        "unit.toml",
        TYPED
            .replacen("[assembly]", vane, 1)
            .replacen("-420.0", "-700.0", 1),
    )
}

fn start(place: &Place, folder: &str) {
    let words = [
        "practice",
        "start",
        "unit.toml",
        "--seed",
        "23",
        "--session",
        "drill.toml",
    ];
    place
        .run(&[&words, &["--as-camera", folder][..]].concat())
        .well();
}

/// A look of the simulated camera into `frames`.
fn look(place: &Place, more: &[&str]) -> Done {
    let words = [
        "practice",
        "look",
        "--session",
        "drill.toml",
        "--as-camera",
        "frames",
    ];
    place.run(&[&words, more].concat())
}

/// A camera that runs, for one frame.
const ONE: [&str; 4] = ["--every", "0.01", "--frames", "1"];

fn cards(place: &Place, name: &str) -> String {
    let bytes = place.read(name);
    let cards = bytes.chunks(80).take(72).map(String::from_utf8_lossy);
    cards
        .map(|card| card.trim_end().to_owned() + "\n")
        .collect()
}

/// Header as a camera's, nothing of what is hidden; a running camera sees what other windows turn and changes nothing in the session.
#[test]
fn frames_fall_into_a_folder() {
    let place = place();
    start(&place, "frames");
    let told = place.text("drill.toml");
    assert!(told.contains("level = \"night\""), "{told}");
    let header = cards(&place, "frames/light-0001.fits");
    for card in ["DATE-OBS", "EXPTIME", "FOCALLEN", "XPIXSZ", "EGAIN"] {
        assert!(header.contains(card), "{header}");
    }
    for hidden in ["SEED", "STAR_X"] {
        assert!(!header.contains(hidden), "{header}");
    }
    look(&place, &ONE).well();
    assert_eq!(place.text("drill.toml"), told);
    place
        .run(&["practice", "turn", "B", "1/8", "--session", "drill.toml"])
        .well();
    look(&place, &[&ONE[..], &["--card", "A"]].concat()).well();
    let [first, again, carded] =
        [1, 2, 3].map(|number| place.pixels(&format!("frames/light-000{number}.fits")));
    assert!(first != again && again != carded);
    // a card over the rim takes light
    assert!(
        carded.sum() < again.sum(),
        "{} {}",
        carded.sum(),
        again.sum()
    );
    let stray = place
        .names()
        .into_iter()
        .filter(|name| name.starts_with("frames/."))
        .count();
    assert_eq!(stray, 0);
    look(&place, &["--card", "Q"]).refused(
        "error: there is no screw \"Q\"; the screws are A, B, C\nhint: name one of them\n",
    );
    let missing = place.run(&["practice", "look", "--session", "drill.toml", "--card", "A"]);
    assert!(missing.stderr.contains("--as-camera"), "{}", missing.stderr);
}

/// Four numbers and a frame give an instrument that a night begins with: aperture, and where shadow and screws stand; the file says the rest.
#[test]
fn a_frame_and_four_numbers_begin_a_night() {
    let place = place();
    start(&place, "frames");
    let new = ["new", "mine", "--from", "frames/light-0001.fits"];
    let lacking = place.run(&new).unable();
    let asked = "error: --aperture, --shadow-at are not said\nhint: --aperture: ";
    assert!(lacking.stderr.starts_with(asked), "{}", lacking.stderr);
    let said = [
        "--aperture",
        "152",
        "--shadow-at",
        "A+38",
        "--screws",
        "A=90,B=210,C=330",
        "--circle",
        "52",
        "--pitch",
        "0.5",
    ];
    place.run(&[&new[..], &said].concat()).well();
    let text = place.text("mine.toml");
    for part in [
        "aperture_mm = 152.0",
        "# said by the owner",
        "from the header of light-0001.fits",
        "azimuth_deg = 128.0",
        "by a fit",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    place.run(&["check", "mine.toml"]).well();
    begin(&place, "mine.toml", &["--side", "inside"]).well();
    look(&place, &ONE).well();
    let frame = place.run(&[
        "night",
        "frame",
        "frames/light-0002.fits",
        "--session",
        "s.toml",
        "--json",
    ]);
    let line: Value =
        serde_json::from_str(&frame.stdout).unwrap_or_else(|e| panic!("{e}: {}", frame.stderr));
    assert!(
        ["turn", "trial"].contains(&line["verdict"].as_str().unwrap()),
        "{line}"
    );
    let wrong = ["--aperture", "152", "--shadow-at", "Q", "--force"];
    let wrong = place.run(&[&new[..], &wrong].concat()).unable();
    let words = "error: --shadow-at is \"Q\", but must be degrees";
    assert!(wrong.stderr.starts_with(words), "{}", wrong.stderr);
}
