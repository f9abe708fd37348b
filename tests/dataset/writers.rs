//! Any number of programs in one folder: the same range or others, killed at any moment, no error, the same bytes, no half file.
//! `tests/references/writers.py` does it with sixteen programs and fifty batches.

#![cfg(unix)]

use super::{folder, make, place};
use crate::cli::program::Place;
use std::process::{Child, Stdio};
use std::thread::sleep;
use std::time::Duration;

const COUNT: &str = "30";

fn start(place: &Place, options: &[&str]) -> Child {
    let mut command = place.command(&make(options));
    command.args(["--threads", "1"]);
    command.stdout(Stdio::null()).stderr(Stdio::piped());
    command.spawn().expect("the program starts")
}

#[track_caller]
fn ends_well(child: Child) {
    let done = child.wait_with_output().expect("an end");
    let told = String::from_utf8_lossy(&done.stderr);
    assert!(done.status.success(), "{told}");
}

#[test]
fn eight_programs_make_one_set_and_some_are_killed() {
    let place = place();
    place
        .run(&make(&["--out", "whole", "--count", COUNT]))
        .well();
    let whole = folder(&place, "whole");
    // four on the same range, four on ranges of their own within it
    let all = ["--count", COUNT].to_vec();
    let parts = ["0", "10", "20", "25"].map(|from| {
        let count = if from == "20" || from == "25" {
            "5"
        } else {
            "10"
        };
        vec!["--start", from, "--count", count]
    });
    let jobs: Vec<&Vec<&str>> = std::iter::repeat_n(&all, 4).chain(&parts).collect();
    let mut running: Vec<Child> = jobs.iter().map(|options| start(&place, options)).collect();
    for (number, child) in running.iter_mut().enumerate().take(3) {
        sleep(Duration::from_millis(30 + 70 * number as u64));
        child.kill().expect("our own child");
    }
    for (number, child) in running.into_iter().enumerate() {
        if number < 3 {
            child.wait_with_output().expect("an end");
        } else {
            ends_well(child);
        }
    }
    // a scheduler starts the killed tasks again, one of them twice
    let again: Vec<Child> = [&all, &all]
        .iter()
        .map(|options| start(&place, options))
        .collect();
    again.into_iter().for_each(ends_well);
    place.run(&make(&all)).well();
    assert_eq!(folder(&place, "out"), whole);
}

#[test]
fn programs_that_start_a_sealed_set_together_agree_on_its_secret() {
    let place = place();
    let options = [
        "--count",
        "5",
        "--truth-out",
        "hidden",
        "--secret",
        "secret.txt",
    ];
    let running: Vec<Child> = (0..4).map(|_| start(&place, &options)).collect();
    running.into_iter().for_each(ends_well);
    place.run(&super::verify(&options)).well();
}
