//! Sets of frames: that an item depends on recipe, seed and number alone, that nothing is lost by a kill or overwritten by a
//! second run, that draws follow their laws, and that a sealed set keeps its secret.

mod cases;
mod falsified;
mod killed;
mod known;
mod laws;
mod making;
mod recipes;
mod refusals;
mod sealed;
mod writers;

use crate::cli::program::{Place, tiny_counts};

/// Twelve stars a second-hand computer makes in no time; shards of five. Invented.
pub const RECIPE: &str = r#"format = 1
title = "Tiny doughnuts"
licence = "CC0-1.0"
limits = [ "Only for tests." ]
seed = 4711
scenario = "tiny.toml"
shard_items = 5
files = ["npz", "fits"]
[set]
"camera.bits" = 14
[vary]
"state.sensor_offset_um" = { choice = [-200.0, 190.0], known = true }
"state.turns" = { turns = { sigma_turns = 0.05, correlation = -0.4 }, within = 0.2 }
"state.modes_nm.8" = { normal = [0.0, 20.0], within = [-70.0, 70.0] }
"star.magnitude" = { uniform = [3.0, 5.0] }
"sky.seeing_arcsec" = { log_uniform = [1.0, 3.0] }
"#;

/// A folder with the recipe and its scenario.
pub fn place() -> Place {
    let place = Place::with_file("tiny.toml", tiny_counts());
    place.write("set.toml", RECIPE);
    place
}

/// `dataset make set.toml` with more options.
pub fn make<'a>(options: &[&'a str]) -> Vec<&'a str> {
    [&["dataset", "make", "set.toml", "--quiet"], options].concat()
}

/// `dataset verify set.toml` with more options.
pub fn verify<'a>(options: &[&'a str]) -> Vec<&'a str> {
    [&["dataset", "verify", "set.toml", "--json"], options].concat()
}

/// What `verify` reports with this exit status.
pub fn report(status: i32, place: &Place, options: &[&str]) -> serde_json::Value {
    let done = place.run(&verify(options));
    assert_eq!(
        done.status,
        Some(status),
        "{}\n{}",
        done.stdout,
        done.stderr
    );
    serde_json::from_str(&done.stdout).expect("JSON")
}

/// Options that seal five items from `start` on: the truth goes to a folder of its own.
pub fn sealed<'a>(start: &'a str, out: &'a str, truth: &'a str, secret: &'a str) -> [&'a str; 10] {
    [
        "--count",
        "5",
        "--start",
        start,
        "--out",
        out,
        "--truth-out",
        truth,
        "--secret",
        secret,
    ]
}

/// What lies in a folder of a place, by name.
pub fn folder(place: &Place, name: &str) -> std::collections::BTreeMap<String, Vec<u8>> {
    let inside = format!("{name}/");
    let all = place.everything().into_iter();
    all.filter_map(|(path, bytes)| Some((path.strip_prefix(&inside)?.to_owned(), bytes)))
        .filter(|(path, _)| !path.is_empty())
        .collect()
}
