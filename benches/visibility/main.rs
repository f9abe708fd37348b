//! Least errors that an eye is said to see, against trials: `cargo bench --bench visibility -- [--trials N] [--evidence FILE]`.
//!
//! Twenty masks, 1000 two-choice trials each on noisy frames, by the observer of `tests/observed`. Seeds are 1 to 20. The file gets the
//! table as JSON, with commit and processor. Exit status 1 where a mask is off by more than a quarter.

#[path = "../../tests/observed/looker.rs"]
mod looker;
#[path = "../../tests/observed/masks.rs"]
mod masks;

use serde_json::json;
use std::process::Command;

fn main() {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let after = |name: &str| {
        args.iter()
            .position(|a| a == name)
            .and_then(|at| args.get(at + 1))
    };
    let trials: usize =
        after("--trials").map_or(1000, |n| n.parse().expect("--trials takes a number"));
    let mut rows = Vec::new();
    let mut off = 0;
    for (number, case) in masks::CASES.iter().enumerate() {
        let outcome = case.tried(trials, 1 + number as u64);
        let ratio = outcome.ratio();
        let within = ratio.is_some_and(|r| (0.75..=1.25).contains(&r));
        off += usize::from(!within);
        println!(
            "{:>2} predicted {:>7.1?} nm, trials {:>7.1?} nm, ratio {ratio:.2?}: {}",
            number + 1,
            outcome.predicted_nm,
            outcome.trials_nm,
            outcome.words
        );
        rows.push(json!({
            "mask": outcome.words,
            "predicted_nm": outcome.predicted_nm,
            "trials_nm": outcome.trials_nm,
            "ratio": ratio,
        }));
    }
    println!(
        "{off} of {} masks are off by more than a quarter",
        rows.len()
    );
    if let Some(file) = after("--evidence") {
        let found = json!({
            "commit": said("git", &["rev-parse", "HEAD"]),
            "processor": said("sh", &["-c", "grep -m1 'model name' /proc/cpuinfo | cut -d: -f2"]),
            "trials": trials,
            "masks": rows,
        });
        std::fs::write(file, format!("{found:#}\n")).expect("the evidence file can be written");
    }
    std::process::exit(i32::from(off > 0));
}

/// What a command prints, without line breaks.
fn said(program: &str, arguments: &[&str]) -> String {
    let output = Command::new(program).args(arguments).output();
    output.map_or(String::new(), |o| {
        String::from_utf8_lossy(&o.stdout).trim().to_owned()
    })
}
