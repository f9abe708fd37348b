//! Scenario files: what is refused and in which words. [`values`] says what is read, [`optional`] what may be left out,
//! [`answers`] that no text makes the reader panic.
//!
//! Every file of `tests/data/bad_scenarios` must be refused with the text beside it. After a deliberate change of wording
//! run once with `SKEWSTAR_REWRITE=1`: the texts are written anew and the run still fails, so that they are looked at.

use std::fs;
use std::path::{Path, PathBuf};

use skewstar::scenario::{self, Place, Scenario, ScenarioError};

mod answers;
mod optional;
mod values;

const WHOLE: &str = include_str!("data/whole_scenario.toml");
const SMALLEST: &str = "format = 1\ntitle = \"smallest\"\n[telescope]\naperture_mm = 190\nfocal_length_mm = 456\n\
                        [camera]\npixel_um = 3.8\nwidth_px = 160\nheight_px = 120\n";

fn read(text: &str, overrides: &[&str]) -> Result<Scenario, ScenarioError> {
    let overrides: Vec<String> = overrides.iter().map(|set| set.to_string()).collect();
    scenario::read(text, "t.toml", &overrides)
}

fn valid(text: &str, overrides: &[&str]) -> Scenario {
    read(text, overrides).unwrap_or_else(|error| panic!("{error}\nhint: {}", error.hint()))
}

fn refused(text: &str, overrides: &[&str]) -> String {
    read(text, overrides)
        .expect_err("a scenario to refuse")
        .to_string()
}

/// Equal to the rounding of one multiplication.
fn close(found: f64, expected: f64) -> bool {
    (found - expected).abs() <= 1e-12 * expected.abs()
}

#[test]
fn every_bad_scenario_is_refused_in_the_pinned_words() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/bad_scenarios");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.retain(|file| {
        file.extension()
            .is_some_and(|extension| extension == "toml")
    });
    files.sort();
    assert!(files.len() >= 40, "only {} files", files.len());
    let rewrite = std::env::var_os("SKEWSTAR_REWRITE").is_some();
    let mut wrong = Vec::new();
    for file in &files {
        let found = message_of(file);
        let pinned = file.with_extension("txt");
        if rewrite {
            fs::write(&pinned, &found).expect("a writable folder");
        } else if fs::read_to_string(&pinned).ok().as_deref() != Some(found.as_str()) {
            wrong.push(found);
        }
    }
    assert!(
        wrong.is_empty(),
        "not the pinned words:\n{}",
        wrong.join("\n")
    );
    assert!(
        !rewrite,
        "the texts were written anew; look at them, then run again without SKEWSTAR_REWRITE"
    );
}

/// The error of a bad file, as the program prints it. Lines `# --set KEY=VALUE` at the top are its arguments.
fn message_of(file: &Path) -> String {
    let bytes = fs::read(file).expect("a readable file");
    let text = String::from_utf8_lossy(&bytes);
    let overrides: Vec<String> = text
        .lines()
        .filter_map(|line| line.strip_prefix("# --set "))
        .map(str::to_owned)
        .collect();
    let label = file.file_name().expect("a name").to_string_lossy();
    match scenario::read_bytes(&bytes, &label, &overrides) {
        Ok(_) => panic!("{label} was read without an error"),
        Err(error) => format!("error: {error}\nhint: {}\n", error.hint()),
    }
}

#[test]
fn limits_belong_to_what_is_allowed() {
    let with = |set: &str| read(SMALLEST, &[set]).is_ok();
    assert!(with("seed=0") && with("seed=9007199254740991") && !with("seed=9007199254740992"));
    assert!(with("telescope.focal_length_mm=190") && !with("telescope.focal_length_mm=189.99")); // focal ratio 1
    assert!(with("telescope.focal_length_mm=19000") && !with("telescope.focal_length_mm=19000.1"));
    assert!(with("camera.width_px=16384") && !with("camera.width_px=16385"));
    assert!(with("state.sensor_offset_um=-45600") && !with("state.sensor_offset_um=-45600.1"));
    assert!(with("state.field_mm=[0, 91.2]") && !with("state.field_mm=[0, 91.3]"));
    assert!(
        with("state.modes_nm.861=1e5")
            && !with("state.modes_nm.862=1")
            && !with("state.modes_nm.861=100001")
    );
    assert!(
        with("telescope.obstruction={ diameter_mm = 189.9 }")
            && !with("telescope.obstruction={ diameter_mm = 190 }")
    );
    // A disc may reach over the edge of the aperture as long as its centre is inside.
    assert!(with(
        "telescope.obstruction={ diameter_mm = 81, offset_mm = [94, 0] }"
    ));
    assert!(!with(
        "telescope.obstruction={ diameter_mm = 81, offset_mm = [95, 0] }"
    ));
    assert!(read(SMALLEST, &["camera.width_px=8000", "camera.height_px=5000"]).is_ok());
    assert!(read(SMALLEST, &["camera.width_px=8000", "camera.height_px=5001"]).is_err());
    let turned = |turns: &str| read(WHOLE, &[&format!("state.turns.B={turns}")]).is_ok();
    assert!(turned("0.7") && turned("-0.7") && !turned("0.7001"));
}

#[test]
fn an_override_is_the_same_as_the_edited_file_but_for_the_digest() {
    let edited = valid(&WHOLE.replace("width_mm = 6.0", "width_mm = 5"), &[]);
    let set = valid(WHOLE, &["telescope.vanes[0].width_mm=5"]);
    assert_eq!(
        (&set.instrument, &set.state),
        (&edited.instrument, &edited.state)
    );
    assert_ne!(set.sha256, edited.sha256);
    assert_ne!(set.sha256, valid(WHOLE, &[]).sha256);
}

#[test]
fn the_digest_is_that_of_the_text() {
    // `printf 'abc' | sha256sum` starts ba7816bf (FIPS 180-4, appendix); a scenario's digest is checked against its own text
    // with an independent value, computed once with sha256sum.
    assert_eq!(
        valid(SMALLEST, &[]).sha256,
        "40ec7771d609ce1c3a336aa25d7758a1ad84cd30542f918a78c55e26694d31b4"
    );
    assert_eq!(
        valid(SMALLEST, &["seed=7"]).sha256,
        "b092f5bb6efd31692ada104c8930a2a80acfee98e59c022ad8b4fe6d3215c1b5"
    );
}

#[test]
fn a_series_feeds_the_reader() {
    let steps = scenario::steps(
        "--rows",
        "state.sensor_offset_um=-500,0,500&state.modes_nm.7=0,10,20",
    )
    .expect("a series");
    let offsets: Vec<f64> = steps
        .iter()
        .map(|set| {
            scenario::read(SMALLEST, "t.toml", set)
                .expect("valid")
                .state
                .sensor_offset_m
        })
        .collect();
    assert!(close(offsets[0], -5e-4) && offsets[1] == 0.0 && close(offsets[2], 5e-4));
}

#[test]
fn a_text_beyond_a_mebibyte_is_refused_unread() {
    let long = format!("{SMALLEST}#{}", "x".repeat(1 << 20));
    let message = refused(&long, &[]);
    assert_eq!(
        message,
        format!(
            "t.toml: the text is {} bytes long, but must be at most 1048576 bytes",
            long.len()
        )
    );
}

#[test]
fn every_error_of_a_file_has_a_place_and_a_next_step() {
    for key in ["aperture_mm = 190", "pixel_um = 3.8", "height_px = 120"] {
        let error = read(&SMALLEST.replace(key, "wrong = true"), &[]).expect_err("a missing key");
        assert!(matches!(error.place, Place::Line { .. }), "{error}");
        assert!(
            error.key().is_some_and(|key| key.ends_with("wrong")) && error.hint().len() > 5,
            "{error}"
        );
    }
}

#[test]
fn hostile_texts_are_refused_in_no_time() {
    let many_keys: String = (0..100_000).rev().map(|i| format!("k{i}=1\n")).collect();
    let one_line = format!(
        "{SMALLEST}x = {{ {} }}\n",
        (0..60_000)
            .map(|i| format!("k{i}=1"))
            .collect::<Vec<_>>()
            .join(",")
    );
    let dotted = format!("{}=1", vec!["a"; 300_000].join("."));
    let nested = format!("x = {}", "[".repeat(500_000));
    let headers: String = (0..70_000).map(|i| format!("[a.b{i}]\n")).collect();
    let start = std::time::Instant::now();
    for text in [
        &format!("{SMALLEST}{many_keys}"),
        &one_line,
        &dotted,
        &nested,
        &headers,
    ] {
        assert!(text.len() < 1 << 20 && read(text, &[]).is_err());
    }
    // Seconds would mean that the cost grows with the square of the length.
    assert!(start.elapsed().as_secs() < 20, "{:?}", start.elapsed());
}

#[test]
fn the_schema_names_every_key_of_the_table() {
    let schema: serde_json::Value = serde_json::from_str(&scenario::schema()).expect("JSON");
    for doc in scenario::key_table() {
        let mut node = &schema;
        for name in doc
            .path
            .split('.')
            .filter(|name| !matches!(*name, "N" | "NAME"))
        {
            node = &node["properties"][name.trim_end_matches("[]")];
            if name.ends_with("[]") {
                node = &node["items"];
            }
        }
        assert!(node.is_object(), "{}", doc.path);
    }
}

#[test]
fn the_whole_file_uses_every_key_there_is() {
    let unused = [
        "camera.passband_nm",
        "assembly.prescription",
        "field.stars",
        "mask.holes",
        "mask.regions",
        "mask.drawing",
        "mask.grip.shield_wall_mm",
        "state.seidel_waves",
        "state.modes_annular_nm",
    ];
    for doc in scenario::key_table() {
        let name = doc
            .path
            .trim_end_matches(".N")
            .trim_end_matches(".NAME")
            .rsplit('.')
            .next()
            .expect("a name")
            .trim_end_matches("[]");
        let planned = unused.iter().any(|path| doc.path.starts_with(path));
        assert!(
            planned || WHOLE.contains(name),
            "{} is not in the whole file",
            doc.path
        );
    }
}
