//! The real program: files, exit status, words.

use super::{LAYOUTS, text_with};
use std::path::Path;
use std::process::{Command, Output};

fn skewstar(folder: &Path, args: &[&str]) -> Output {
    let binary = env!("CARGO_BIN_EXE_skewstar");
    Command::new(binary)
        .current_dir(folder)
        .args(args)
        .output()
        .unwrap()
}

fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&output.stderr)))
}

fn folder_with(text: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("m.toml"), text).unwrap();
    folder
}

/// Each fault by its own finding, with its number beyond its limit and what mends it, and exit status 1.
#[test]
fn serious_faults_are_named_with_number_limit_and_mend() {
    let cases = [
        ("thinnest bar", "slot_pitch_mm = 6.7", "slot_pitch_mm = 1.2"),
        ("slot width", "slot_pitch_mm = 6.7", "slot_pitch_mm = 1.2"),
        ("separate parts", "rib_mm = 2.0", "rib_mm = 0.0"),
        (
            "diameter on the bed",
            "[camera]",
            "[mask.print]\nbed_mm = [90.0, 95.0]\n[camera]",
        ),
        (
            "ring over openings",
            "[camera]",
            "[mask.grip]\nfit = \"into-tube\"\ntube_diameter_mm = 160.0\n[camera]",
        ),
    ];
    let base = text_with(LAYOUTS[0], "");
    for (what, from, to) in cases {
        let mut text = base.replace(from, to);
        if what == "separate parts" {
            // without rims the bars of the regions hang on nothing
            text = text
                .replace("outer_rim_mm = 6.0", "outer_rim_mm = 0.0")
                .replace("inner_rim_mm = 3.0", "inner_rim_mm = 0.0");
        }
        let folder = folder_with(&text);
        let output = skewstar(folder.path(), &["mask", "check", "m.toml", "--json"]);
        assert_eq!(
            output.status.code(),
            Some(1),
            "{what}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        let answer = json(&output);
        assert_eq!(answer["printable"], false);
        let finding = answer["findings"]
            .as_array()
            .unwrap()
            .iter()
            .find(|f| f["what"] == what)
            .unwrap()
            .clone();
        assert_eq!(finding["serious"], true, "{what}: {finding}");
        assert!(finding["value"].is_number() && finding["limit"].is_number());
        assert!(
            finding["mend"].as_str().unwrap().contains("mask."),
            "{finding}"
        );
        assert_ne!(finding["value"], finding["limit"]);
    }
}

#[test]
fn a_good_mask_passes_and_is_drawn_as_four_files() {
    let folder = folder_with(&text_with(LAYOUTS[2], ""));
    let check = skewstar(folder.path(), &["mask", "check", "m.toml"]);
    assert_eq!(
        check.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&check.stdout)
    );
    assert!(String::from_utf8_lossy(&check.stdout).contains("no solar filter"));
    let draw = skewstar(folder.path(), &["mask", "draw", "m.toml", "--json"]);
    assert_eq!(draw.status.code(), Some(0));
    let words: Vec<String> = serde_json::from_value(json(&draw)["words"].clone()).unwrap();
    assert!(
        words.contains(&"SKY SIDE".to_owned()) && words.iter().any(|w| w.contains("UP")),
        "{words:?}"
    );
    for end in ["svg", "dxf", "stl", "3mf"] {
        assert!(
            folder
                .path()
                .join(format!("out/m.{end}"))
                .metadata()
                .unwrap()
                .len()
                > 1000,
            "{end}"
        );
    }
    let svg = std::fs::read_to_string(folder.path().join("out/m.svg")).unwrap();
    assert!(svg.contains("mm\" height=") && svg.contains("id=\"engraving\""));
    // nothing is overwritten unasked
    assert_eq!(
        skewstar(folder.path(), &["mask", "draw", "m.toml"])
            .status
            .code(),
        Some(2)
    );
}

/// The exported SVG beside a scenario that names it: `check` passes through, and a missing file is an error.
#[test]
fn a_drawing_beside_the_scenario_is_found() {
    let folder = folder_with(&text_with(LAYOUTS[1], ""));
    assert!(
        skewstar(folder.path(), &["mask", "draw", "m.toml", "--out", "."])
            .status
            .success()
    );
    let text = text_with("layout = \"drawing\"\ndrawing = \"m.svg\"", "");
    std::fs::write(folder.path().join("d.toml"), &text).unwrap();
    let output = skewstar(folder.path(), &["mask", "check", "d.toml", "--json"]);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stdout)
    );
    assert!(
        skewstar(folder.path(), &["render", "d.toml"])
            .status
            .success()
    );
    std::fs::write(
        folder.path().join("e.toml"),
        text.replace("m.svg", "none.svg"),
    )
    .unwrap();
    let missing = skewstar(folder.path(), &["mask", "check", "e.toml"]);
    let words = String::from_utf8_lossy(&missing.stderr).into_owned();
    assert!(
        missing.status.code() == Some(2) && words.contains("none.svg") && words.contains("hint:"),
        "{words}"
    );
}

fn night(layout: &str) -> String {
    let text = text_with(layout, "").replace("title", "seed = 5\ntitle");
    let camera = "wavelengths = 1\nquantum_efficiency = 0.8\nthroughput = 0.8\ngain_e_per_adu = 0.8\nread_noise_e = 1.6\nfull_well_e = 50000.0\nbits = 16\n";
    text.replace("wavelengths = 1\n", camera)
        + "[star]\nmagnitude = 2.3\ntemperature_k = 6200.0\n[sky]\nseeing_arcsec = 2.1\nwind_m_per_s = 10.0\n[exposure]\ntime_s = 0.5\n"
}

/// What the design says of the layouts: three-triplet shows focus and hides coma from an eye, two-zone the reverse.
#[test]
fn the_preview_says_what_a_mask_can_and_cannot_show() {
    let row = |answer: &serde_json::Value, noll: u64| {
        answer["shows"]
            .as_array()
            .unwrap()
            .iter()
            .find(|r| r["noll"] == noll)
            .unwrap()
            .clone()
    };
    let look = |layout: &str| {
        let folder = folder_with(&night(layout));
        let output = skewstar(folder.path(), &["mask", "preview", "m.toml", "--json"]);
        assert_eq!(
            output.status.code(),
            Some(0),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        assert!(folder.path().join("out/m.preview.png").is_file());
        json(&output)
    };
    let (three, two) = (look(LAYOUTS[1]), look(LAYOUTS[2]));
    let crossing =
        |answer: &serde_json::Value, noll| row(answer, noll)["crossing_px"].as_f64().unwrap();
    assert!(
        crossing(&three, 4) > 5.0 * crossing(&three, 7),
        "focus shows, coma hides"
    );
    assert!(
        crossing(&two, 7) > 20.0 * crossing(&two, 4),
        "coma shows, focus only parts"
    );
    for answer in [&three, &two] {
        for noll in 4..=11 {
            let row = row(answer, noll);
            assert!(
                row["photon_nm"].as_f64().unwrap() > 0.0
                    && row["seeing_nm"].as_f64().unwrap() > 0.0,
                "{row}"
            );
        }
        assert!(answer["conditions"]["good_exposure_s"].as_f64().unwrap() > 0.0);
        assert!(answer["spikes"].as_array().unwrap().len() >= 9);
    }
}

/// Same scenario, same table; the customary layouts are always in it; the numbers it prints make a scenario that reads.
#[test]
fn tuning_is_deterministic_and_compares_with_the_customary_layouts() {
    let folder = folder_with(&text_with(LAYOUTS[1], ""));
    let first = skewstar(
        folder.path(),
        &["mask", "tune", "m.toml", "--for", "coma", "--json"],
    );
    let again = skewstar(
        folder.path(),
        &[
            "mask", "tune", "m.toml", "--for", "coma", "--json", "--force",
        ],
    );
    assert_eq!(
        first.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&first.stderr)
    );
    assert_eq!(first.stdout, again.stdout);
    let answer = json(&first);
    let rows = answer["rows"].as_array().unwrap();
    let customary: Vec<&str> = rows
        .iter()
        .filter(|r| r["customary"] == true)
        .map(|r| r["label"].as_str().unwrap())
        .collect();
    assert_eq!(customary.len(), 3, "{customary:?}");
    let best = &answer["best"][0];
    let coma_nm = |sees: &serde_json::Value| -> Vec<f64> {
        let rows = sees.as_array().unwrap().iter();
        let coma = rows.filter(|r| r["error"] == "coma");
        coma.map(|r| r["smallest_nm"].as_f64().expect("coma is seen"))
            .collect()
    };
    let told = coma_nm(&best["sees"]);
    assert!(told.iter().all(|nm| *nm < 60.0), "{told:?}");
    // what it says is what the preview says of the same keys, handed over as they are
    let mut args = vec![
        "mask".to_owned(),
        "preview".into(),
        "m.toml".into(),
        "--json".into(),
        "--force".into(),
    ];
    for (key, value) in best["set"].as_object().unwrap() {
        args.extend(["--set".to_owned(), format!("{key}={value}")]);
    }
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    let seen = json(&skewstar(folder.path(), &args));
    for (told, seen) in told.iter().zip(coma_nm(&seen["sees"])) {
        // pitch and border are printed to the micrometre
        assert!(
            (told / seen - 1.0).abs() < 0.05,
            "{told} nm against {seen} nm"
        );
    }
    let checked = [&["mask", "check"][..], &args[2..3], &args[5..]].concat();
    assert_eq!(
        skewstar(folder.path(), &checked).status.code(),
        Some(0),
        "can be printed"
    );
    assert!(folder.path().join("out/m.tune.png").is_file());
}
