//! What cannot be meant or done is told in words, and nothing is overwritten.

use super::{RECIPE, folder, make, place, report, verify};
use serde_json::{Value, json};
use skewstar::dataset::read;

/// The error of a recipe with one text replaced by another.
fn refused(from: &str, to: &str) -> String {
    assert!(RECIPE.contains(from), "{from} is not in the recipe");
    let error = read(RECIPE.replacen(from, to, 1).as_bytes(), "set.toml").expect_err(to);
    format!("{error}\nhint: {}", error.hint())
}

#[test]
fn a_recipe_that_cannot_be_meant_is_refused_with_its_place() {
    let cases = [
        (
            "licence =",
            "license =",
            "set.toml:3:1: license is not a key of a recipe\nhint: did you mean licence?",
        ),
        (
            "seed = 4711\n",
            "",
            "set.toml:1:1: seed is missing\nhint: add a line such as seed = 20417",
        ),
        (
            "shard_items = 5",
            "shard_items = 0",
            "set.toml:7:1: shard_items is 0, but must be a whole number from 1 to 100000\nhint: choose another number",
        ),
        (
            "[\"npz\", \"fits\"]",
            "[\"npz\", \"hdf\"]",
            "set.toml:8:17: files is \"hdf\", but must be a list of one or more of \"npz\", \"npy\", \"fits\" and \"fits-cube\", each once\nhint: `skewstar schema recipe` lists every key",
        ),
        (
            "{ uniform = [3.0, 5.0] }",
            "{ uniform = [5.0, 3.0] }",
            "set.toml:15:22: vary.\"star.magnitude\".uniform is [5.0, 3.0], but must be two numbers, the smaller one first\nhint: a line is \"state.sensor_offset_um\" = { normal = [400.0, 50.0], within = [250.0, 550.0] }",
        ),
        (
            "\"star.magnitude\" =",
            "star.magnitude =",
            "set.toml:15:1: vary.star is a section of a scenario, not one of its keys\nhint: put the whole key in quotes: \"state.sensor_offset_um\" = …",
        ),
        (
            "\"star.magnitude\" = { uniform",
            "\"camera.width_px\" = { uniform",
            "set.toml:15:1: vary.\"camera.width_px\" is given, but must be left out since it is the same for all items of a set\nhint: give it under [set], or at the top",
        ),
        (
            "{ normal = [0.0, 20.0], within",
            "{ normal = [0.0, 20.0], weights",
            "set.toml:14:46: vary.\"state.modes_nm.8\".weights is given, but must be left out beside normal\nhint: a line is \"state.sensor_offset_um\" = { normal = [400.0, 50.0], within = [250.0, 550.0] }",
        ),
    ];
    for (from, to, words) in cases {
        assert_eq!(refused(from, to), words);
    }
    let two = refused(
        "{ uniform = [3.0, 5.0] }",
        "{ uniform = [3.0, 5.0], choice = [4.0] }",
    );
    assert!(
        two.contains("has 2 laws, but must have exactly one of uniform"),
        "{two}"
    );
}

/// A run of `make` with one text of the recipe replaced.
fn unable(from: &str, to: &str) -> String {
    let place = place();
    assert!(RECIPE.contains(from), "{from} is not in the recipe");
    place.write("set.toml", RECIPE.replacen(from, to, 1));
    place.run(&make(&["--count", "40"])).unable().stderr
}

#[test]
fn what_the_scenario_does_not_allow_is_told_before_the_work() {
    let words = unable("uniform = [3.0, 5.0]", "uniform = [3.0, 500.0]");
    assert!(
        words.starts_with("error: item ") && words.contains("star.magnitude="),
        "{words}"
    );
    assert!(
        words.contains("hint: narrow the law of that key"),
        "{words}"
    );
    let words = unable("\"star.magnitude\"", "\"star.magnitud\"");
    assert!(
        words.contains("star.magnitud is not a key of [star]"),
        "{words}"
    );
    let words = unable("correlation = -0.4", "correlation = -0.6");
    assert!(
        words.contains("must be from -0.5000 to 1 for 3 screws"),
        "{words}"
    );
}

#[test]
fn nothing_that_is_there_is_overwritten() {
    let place = place();
    place.run(&make(&["--count", "5"])).well();
    let before = folder(&place, "out");
    let record = "out/set.0000000000-0000000004.shard.json";
    let archive = "out/set.0000000000-0000000004.npz";
    // another recipe under the same name
    place.write("set.toml", RECIPE.replace("seed = 4711", "seed = 4712"));
    let words = place.run(&make(&["--count", "5"])).unable().stderr;
    assert!(
        words.contains("set.recipe.toml is there already and is not what this recipe gives"),
        "{words}"
    );
    assert!(words.contains("nothing was overwritten"), "{words}");
    assert_eq!(folder(&place, "out"), before);
    // a stranger's file under the name of one of ours
    place.write("set.toml", RECIPE);
    std::fs::remove_file(place.path(record)).expect("a record");
    place.write(archive, "not ours");
    let words = place.run(&make(&["--count", "5"])).unable().stderr;
    assert!(words.contains(".npz is there already"), "{words}");
    assert_eq!(place.text(archive), "not ours");
}

#[test]
fn strangers_in_the_folder_are_named_and_left_alone() {
    let place = place();
    place.write("note.txt", "mine");
    std::fs::create_dir(place.path("out")).expect("a folder");
    place.write("out/note.txt", "mine");
    let done = place.run(&make(&["--count", "2"])).well();
    assert!(
        done.stderr
            .contains("are not of this set, the first is note.txt; they are left alone"),
        "{}",
        done.stderr
    );
    assert_eq!(place.text("out/note.txt"), "mine");
}

#[test]
fn verify_names_gaps_duplicates_damage_and_strangers() {
    let place = place();
    place.run(&make(&["--count", "15"])).well();
    place.run(&verify(&["--count", "15"])).well();
    assert_eq!(
        report(1, &place, &["--count", "17"])["gaps"],
        json!([{ "first": 15, "last": 16 }])
    );
    assert_eq!(
        report(1, &place, &["--start", "2", "--count", "8"])["beyond"],
        json!([{ "first": 0, "last": 1 }, { "first": 10, "last": 14 }])
    );
    // the same items once more, cut elsewhere
    let told = place.run(&make(&["--start", "3", "--count", "4"]));
    assert_eq!(told.status, Some(2), "{}", told.stderr);
    assert!(told.stderr.contains("cut otherwise"), "{}", told.stderr);
    place
        .run(&make(&["--start", "3", "--count", "4", "--out", "apart"]))
        .well();
    for (name, bytes) in folder(&place, "apart") {
        place.write(&format!("out/{name}"), bytes);
    }
    let found = report(1, &place, &["--count", "15"]);
    assert_eq!(
        found["duplicates"],
        json!([{ "first": 3, "last": 4 }, { "first": 5, "last": 6 }])
    );
    assert_eq!(
        (&found["items_found"], &found["complete"]),
        (&json!(15), &json!(false))
    );
    for cut in ["0000000003-0000000004", "0000000005-0000000006"] {
        for ending in ["npz", "known.csv", "truth.csv", "shard.json"] {
            std::fs::remove_file(place.path(&format!("out/set.{cut}.{ending}"))).expect("a file");
        }
    }
    place.run(&verify(&["--count", "15"])).well();
    let archive = "out/set.0000000005-0000000009.npz";
    let mut bytes = place.read(archive);
    bytes[200] ^= 1;
    place.write(archive, bytes);
    std::fs::remove_file(place.path("out/set.0000000011.fits")).expect("a frame");
    place.write("out/note.txt", "mine");
    let found = report(1, &place, &["--count", "15"]);
    assert_eq!(
        found["damaged"],
        json!([
            "set.0000000005-0000000009.npz does not fit its checksum",
            "set.0000000011.fits is missing"
        ])
    );
    assert_eq!(found["foreign"], json!(["note.txt"]));
    assert_eq!(found["content_sha256"], Value::Null);
}

/// A record is a stranger's file: what it names elsewhere is not opened, and numbers beyond all items are no panic.
#[test]
fn a_record_names_files_of_its_own_set_only() {
    let place = place();
    place.run(&make(&["--count", "5"])).well();
    let name = "out/set.0000000000-0000000004.shard.json";
    let whole: Value = serde_json::from_slice(&place.read(name)).expect("JSON");
    for file in [
        "/etc/hostname",
        "../set.toml",
        "set.0000000000-0000000004.x/../../secret",
    ] {
        let mut record = whole.clone();
        record["files"][0]["name"] = json!(file);
        place.write(name, record.to_string());
        let found = report(1, &place, &["--count", "5"]);
        let said = found["damaged"][0].as_str().expect("a fault");
        assert!(said.contains("is no file of the shard"), "{said}");
    }
    let mut record = whole.clone();
    record["items"] = json!({ "first": 0, "last": u64::MAX });
    record["frame_sha256"] = json!([]);
    place.write(name, record.to_string());
    let said = report(1, &place, &["--count", "5"])["damaged"][0].to_string();
    assert!(said.contains("another number of frames"), "{said}");
}

#[cfg(unix)]
#[test]
fn a_full_disc_is_told_and_the_run_can_be_carried_on() {
    let place = place();
    place
        .run(&make(&["--out", "whole", "--count", "10"]))
        .well();
    let mut shell = std::process::Command::new("bash");
    // files of at most 4 KiB: as on a full disc, writing more is refused
    let line = "trap '' XFSZ; ulimit -f 4; exec \"$0\" dataset make set.toml --quiet --count 10";
    shell
        .args(["-c", line, env!("CARGO_BIN_EXE_skewstar")])
        .current_dir(place.path(""));
    let done = place.done(&mut shell).unable();
    assert!(done.stderr.contains("cannot write out/"), "{}", done.stderr);
    assert!(
        done.stderr.contains("hint: is the disc full?"),
        "{}",
        done.stderr
    );
    let left = folder(&place, "out");
    assert!(
        left.keys().all(|name| !name.starts_with('.')),
        "{:?}",
        left.keys()
    );
    place.run(&make(&["--count", "10"])).well();
    assert_eq!(folder(&place, "out"), folder(&place, "whole"));
}

#[cfg(target_os = "linux")]
#[test]
fn a_folder_that_cannot_be_written_is_told_at_once() {
    let place = place();
    let done = place
        .run(&make(&["--count", "2", "--out", "/proc/set"]))
        .unable();
    assert!(
        done.stderr
            .starts_with("error: cannot write into the folder /proc/set"),
        "{}",
        done.stderr
    );
    let done = place
        .run(&make(&["--count", "2", "--out", "tiny.toml"]))
        .unable();
    assert!(
        done.stderr.starts_with("error: tiny.toml is not a folder"),
        "{}",
        done.stderr
    );
}
