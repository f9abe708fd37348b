//! What `render` and `new` write, and that it is what was promised and nothing else.

use super::program::{Place, TINY, tiny_counts};
use serde_json::Value;
use std::path::Path;

/// The keys of the truth, from the contract (the design).
const TRUTH_KEYS: [&str; 29] = [
    "format",
    "version",
    "title",
    "seed",
    "scenario_sha256",
    "sensor_offset_um",
    "side",
    "turns",
    "undo_turns",
    "tilt_arcmin",
    "decentre_mm",
    "sensor_tilt_arcmin",
    "spacing_mm",
    "scintillation",
    "image_shift_px",
    "piston_um",
    "modes_nm",
    "modes_with_focus_nm",
    "star_px",
    "place_px",
    "electrons",
    "saturated_px",
    "sampling_error",
    "doughnut",
    "spikes",
    "sigma_photon_nm",
    "sigma_photon_place_known_nm",
    "sigma_seeing_nm",
    "flags",
];

#[track_caller]
fn writes(scenario: &str, options: &[&str], names: &[&str]) -> Place {
    let place = Place::with_file("tiny.toml", scenario);
    place
        .run(&[&["render", "tiny.toml"], options].concat())
        .well();
    let expected: Vec<String> = names.iter().map(|name| (*name).to_owned()).collect();
    assert_eq!(place.names(), expected);
    place
}

#[test]
fn relative_units_write_three_files() {
    let place = writes(
        TINY,
        &[],
        &[
            "out/",
            "out/tiny.expected.fits",
            "out/tiny.png",
            "out/tiny.truth.json",
            "tiny.toml",
        ],
    );
    let light = place.pixels("out/tiny.expected.fits");
    assert_eq!(light.dim(), (12, 16));
    let total = light.sum();
    assert!(
        total > 0.5 && total <= 1.0 + 1e-6,
        "share of the light: {total}"
    );
    let truth = place.json("out/tiny.truth.json");
    assert!(truth["electrons"].is_null() && truth["seed"].is_null());
    assert!(has_flag(&truth, "relative_units"));
}

#[test]
fn a_star_and_an_exposure_write_counts() {
    let place = writes(
        &tiny_counts(),
        &[],
        &[
            "out/",
            "out/tiny.fits",
            "out/tiny.png",
            "out/tiny.truth.json",
            "tiny.toml",
        ],
    );
    let counts = place.pixels("out/tiny.fits");
    assert!(
        counts
            .iter()
            .all(|adu| adu.fract() == 0.0 && (0.0..=65535.0).contains(adu))
    );
    let truth = place.json("out/tiny.truth.json");
    assert_eq!(truth["seed"], 7707);
    // 0.9 electrons a count; the noise of the sum is far below a tenth of it.
    let electrons = (counts.sum() - 300.0 * counts.len() as f64) * 0.9;
    let star = truth["electrons"].as_f64().expect("a number");
    assert!(
        electrons > 0.5 * star && electrons < 1.1 * star,
        "{electrons} of {star}"
    );
}

#[test]
fn options_add_their_own_files_only() {
    let place = writes(
        &tiny_counts(),
        &["--expected", "--annotate", "--out", "a/b"],
        &[
            "a/",
            "a/b/",
            "a/b/tiny.annotated.png",
            "a/b/tiny.expected.fits",
            "a/b/tiny.fits",
            "a/b/tiny.png",
            "a/b/tiny.truth.json",
            "tiny.toml",
        ],
    );
    // Electrons: the counts are the expected electrons, but for noise.
    let (counts, expected) = (
        place.pixels("a/b/tiny.fits"),
        place.pixels("a/b/tiny.expected.fits"),
    );
    for (adu, electrons) in counts.iter().zip(&expected) {
        let found = (adu - 300.0) * 0.9;
        assert!((found - electrons).abs() < 7.0 * (electrons + 1.7 * 1.7 + 1.0).sqrt());
    }
    let drawn = image::load_from_memory(&place.read("a/b/tiny.annotated.png")).expect("a PNG");
    assert!(drawn.width() > 16 && drawn.into_rgb8().pixels().any(|p| p.0[0] != p.0[2]));
}

#[test]
fn counts_in_16_bits_are_the_same_in_every_format() {
    let place = writes(
        &tiny_counts(),
        &["--png16", "--tiff"],
        &[
            "out/",
            "out/tiny.counts.png",
            "out/tiny.counts.tiff",
            "out/tiny.fits",
            "out/tiny.png",
            "out/tiny.truth.json",
            "tiny.toml",
        ],
    );
    let counts = place.pixels("out/tiny.fits");
    for name in ["out/tiny.counts.png", "out/tiny.counts.tiff"] {
        let picture = image::load_from_memory(&place.read(name))
            .expect(name)
            .into_luma16();
        assert_eq!(
            (picture.height() as usize, picture.width() as usize),
            counts.dim()
        );
        for (x, y, pixel) in picture.enumerate_pixels() {
            let row = counts.nrows() - 1 - y as usize; // pictures begin with the top row
            assert_eq!(
                f64::from(pixel.0[0]),
                counts[[row, x as usize]],
                "{name} {x} {y}"
            );
        }
    }
}

#[test]
fn the_truth_has_every_key_and_no_number_that_is_none() {
    for scenario in [TINY.to_owned(), tiny_counts()] {
        let place = Place::with_file("tiny.toml", &scenario);
        place.run(&["render", "tiny.toml"]).well();
        let text = place.text("out/tiny.truth.json");
        assert!(!text.contains("NaN") && !text.contains("inf"), "{text}");
        let truth = place.json("out/tiny.truth.json");
        for key in TRUTH_KEYS {
            assert!(truth.get(key).is_some(), "{key} is not there");
        }
        assert_eq!(truth["format"], "skewstar-truth/2");
        assert_eq!(truth["version"], env!("CARGO_PKG_VERSION"));
        assert_eq!(truth["side"], "outside");
        assert_eq!(truth["turns"]["B"], -0.07);
        assert_eq!(truth["undo_turns"]["B"], 0.07);
        assert_eq!(truth["star_px"], serde_json::json!([7.5, 5.5]));
        for (list, first) in [("modes_nm", 2), ("modes_with_focus_nm", 2)] {
            for noll in first..=22 {
                assert!(truth[list][noll.to_string()].is_number(), "{list} {noll}");
            }
        }
        let ring = &truth["doughnut"];
        for key in ["outer_centre_px", "dark_centre_px", "dark_shift_px"] {
            assert!(
                ring[key][0].is_number() && ring[key][1].is_number(),
                "{key}: {ring}"
            );
        }
        assert!(ring["outer_radius_px"].is_number() && ring["inner_radius_px"].is_number());
    }
}

#[test]
fn answers_go_to_one_stream_and_everything_else_to_the_other() {
    let place = Place::with_tiny();
    let done = place.run(&["render", "tiny.toml"]).well();
    assert!(
        done.stdout.starts_with("Tiny\nLook for: a doughnut"),
        "{}",
        done.stdout
    );
    assert!(done.stdout.contains("What to turn") && !done.stdout.contains("wrote"));
    assert_eq!(
        done.stderr,
        "wrote out/tiny.expected.fits\nwrote out/tiny.png\nwrote out/tiny.truth.json\n"
    );
    let quiet = place
        .run(&["render", "tiny.toml", "--quiet", "--force"])
        .well();
    assert_eq!((quiet.stdout, quiet.stderr.as_str()), (done.stdout, ""));
}

#[test]
fn json_is_the_truth_and_nothing_else() {
    let place = Place::with_tiny();
    let done = place.run(&["render", "tiny.toml", "--json"]).well();
    assert_eq!(done.stdout, place.text("out/tiny.truth.json"));
    let printed: Value = serde_json::from_str(&done.stdout).expect("one JSON document");
    assert_eq!(printed["format"], "skewstar-truth/2");
    assert!(done.stderr.contains("wrote out/tiny.truth.json"));
}

#[test]
fn existing_files_are_refused_and_left_alone_until_forced() {
    let place = Place::with_tiny();
    place.run(&["render", "tiny.toml"]).well();
    place.write("out/tiny.png", "mine");
    let before = place.everything();
    place
        .run(&["render", "tiny.toml", "--set", "state.sensor_offset_um=-80"])
        .refused(
            "error: out/tiny.expected.fits exists already (and 2 other files of this set)\n\
             hint: use --force to replace, or choose another place (--out DIR; of a session --session FILE)\n",
        );
    assert_eq!(place.everything(), before);
    place
        .run(&[
            "render",
            "tiny.toml",
            "--set",
            "state.sensor_offset_um=-80",
            "--force",
        ])
        .well();
    assert_eq!(place.names(), before.keys().cloned().collect::<Vec<_>>());
    assert_eq!(place.json("out/tiny.truth.json")["sensor_offset_um"], -80.0);
    assert_ne!(place.read("out/tiny.png"), b"mine");
}

#[test]
fn one_file_in_the_way_is_enough() {
    let place = Place::with_tiny();
    std::fs::create_dir(place.path("out")).expect("a folder");
    place.write("out/tiny.truth.json", "somebody else's");
    place.run(&["render", "tiny.toml"]).refused(
        "error: out/tiny.truth.json exists already\nhint: use --force to replace, or choose another place (--out DIR; of a session --session FILE)\n",
    );
    assert_eq!(place.names(), ["out/", "out/tiny.truth.json", "tiny.toml"]);
}

#[test]
fn up_is_up_in_the_picture_and_a_high_row_in_the_file() {
    // Raising the edge at 12 o'clock moves the image by +k·t: up.
    let place = Place::with_tiny();
    let sets = [
        "--set",
        "state.recentred=false",
        "--set",
        "state.turns={ A = 0.06 }",
        "--set",
        "state.sensor_offset_um=0",
    ];
    place
        .run(&[&["render", "tiny.toml"][..], &sets].concat())
        .well();
    let star = &place.json("out/tiny.truth.json")["star_px"];
    let row = star[1].as_f64().expect("a number");
    assert!(row > 7.0 && row < 11.0, "moved up by a few pixels: {star}");
    let light = place.pixels("out/tiny.expected.fits");
    let brightest = light
        .indexed_iter()
        .max_by(|a, b| a.1.total_cmp(b.1))
        .expect("pixels")
        .0;
    assert!((brightest.0 as f64 - row).abs() < 1.0, "{brightest:?}");
    let picture = image::load_from_memory(&place.read("out/tiny.png"))
        .expect("a PNG")
        .into_luma8();
    let shown = picture
        .enumerate_pixels()
        .max_by_key(|(_, _, level)| level.0[0])
        .expect("pixels");
    assert_eq!((picture.width(), picture.height()), (16, 12));
    assert!(shown.1 < 6, "in the top half: row {} from the top", shown.1);
    assert!(
        (f64::from(11 - shown.1) - row).abs() < 1.6,
        "{} {row}",
        shown.1
    );
}

#[test]
fn a_new_scenario_of_every_kind_can_be_checked_and_rendered() {
    for kind in [
        "prime-focus",
        "two-mirror",
        "newtonian",
        "refractor",
        "prime-focus-corrector",
        "corrector-plate",
        "meniscus",
        "doublet",
    ] {
        let place = Place::new();
        let done = place.run(&["new", "my garden", "--kind", kind]).well();
        assert_eq!(place.names(), ["my garden.toml"]);
        assert!(
            done.stdout.contains(
                "skewstar check \"my garden.toml\" and skewstar render \"my garden.toml\""
            ),
            "{}",
            done.stdout
        );
        assert_eq!(done.stderr, "wrote my garden.toml\n");
        let small = [
            "--set",
            "camera.width_px=20",
            "--set",
            "camera.height_px=14",
            "--set",
            "camera.wavelengths=1",
        ];
        let check = place
            .run(&[&["check", "my garden.toml"][..], &small].concat())
            .well();
        assert!(
            check.stdout.starts_with("my garden\nfocal ratio"),
            "{}",
            check.stdout
        );
        place
            .run(&[&["render", "my garden.toml"][..], &small].concat())
            .well();
        assert_eq!(place.json("out/my garden.truth.json")["title"], "my garden");
        assert_eq!(place.pixels("out/my garden.fits").dim(), (14, 20));
    }
}

#[test]
fn new_does_not_overwrite_and_can_be_told_where() {
    let place = Place::with_file("shed.toml", "mine");
    place.run(&["new", "shed"]).refused(
        "error: ./shed.toml exists already\nhint: use --force to replace, or choose another place (--out DIR; of a session --session FILE)\n",
    );
    assert_eq!(place.text("shed.toml"), "mine");
    let done = place
        .run(&["new", "shed", "--out", "mine too", "--json"])
        .well();
    let answer: Value = serde_json::from_str(&done.stdout).expect("JSON");
    let file = Path::new("mine too").join("shed.toml");
    assert_eq!(answer["file"].as_str(), file.to_str());
    place.run(&["new", "shed", "--force", "--quiet"]).well();
    assert!(place.text("shed.toml").contains("title = \"shed\""));
    for name in ["", "../up", ".hidden", "a:b"] {
        place.run(&["new", "--", name]).refused_like(
            &format!("{name:?} cannot be a file name"),
            "letters, digits, blanks, - and _",
        );
    }
}

fn has_flag(truth: &Value, flag: &str) -> bool {
    truth["flags"]
        .as_array()
        .is_some_and(|flags| flags.iter().any(|f| f == flag))
}
