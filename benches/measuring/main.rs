//! The evidence for measuring: `cargo bench --bench measuring -- [--count N] [--only PART] [--rows TEXT] [--evidence FILE]`.
//!
//! Every table is printed. The file gets each part that was run whole as JSON, with commit and processor; parts that were not
//! run stay as they are. Seeds are 1 to N, in order.

mod diversity;
mod rounds;
mod study;
mod world;

use rounds::{Errors, Loops};
use serde::Serialize;
use serde_json::{Value, json};
use std::process::Command;
use std::time::Instant;
use study::{Tally, Way, study};
use world::{Climate, Kind, Layout, World};

/// Parts of the evidence, in the order in which they are run.
const PARTS: [&str; 6] = [
    "speed",
    "yardstick",
    "matched",
    "differs",
    "capture",
    "loops",
];

fn main() {
    let args: Vec<String> = std::env::args().collect();
    let after = |flag: &str| {
        let at = args.iter().position(|a| a == flag)?;
        args.get(at + 1).cloned()
    };
    let count: u64 = after("--count").and_then(|c| c.parse().ok()).unwrap_or(200);
    let only = after("--only").unwrap_or_default();
    let rows = after("--rows").unwrap_or_default();
    for part in PARTS.into_iter().filter(|part| part.contains(&only)) {
        let found = match part {
            "speed" => speed(),
            "yardstick" => to_json(&diversity::yardstick(count / 2)),
            "matched" => to_json(&tallies(&MATCHED, &rows, count, false, true)),
            "differs" => to_json(&tallies(&MISMATCHED, &rows, count / 5, true, false)),
            "capture" => to_json(&tallies(&CAPTURE, &rows, count / 5, false, false)),
            _ => to_json(&loops(count * 3 / 2)),
        };
        if part == "yardstick" {
            println!("{found:#}");
        }
        if let Some(file) = after("--evidence").filter(|_| rows.is_empty()) {
            keep(&file, part, found);
        }
    }
}

/// Puts a part into the evidence file, in the place of what it held before.
fn keep(file: &str, part: &str, found: Value) {
    let before = std::fs::read_to_string(file).unwrap_or_else(|_| "{}".into());
    let mut evidence: Value = serde_json::from_str(&before).expect("an evidence file");
    evidence[part] = json!({
        "commit": said("git", &["rev-parse", "HEAD"]),
        "processor": said("sh", &["-c", "grep -m1 'model name' /proc/cpuinfo | cut -d: -f2"]),
        "threads": rayon::current_num_threads(),
        "found": found,
    });
    std::fs::write(file, format!("{evidence:#}\n")).expect("the evidence file can be written");
}

fn speed() -> Value {
    let doughnut = seconds(Kind::Doughnut([86.4, 86.4]));
    println!("128-px doughnut: {doughnut:.2?} s");
    let masked = seconds(Kind::Masked(Layout::TwoZone));
    println!("80-px masked star: {masked:.2?} s");
    json!({
        "seconds_of_a_128_px_doughnut": doughnut,
        "seconds_of_an_80_px_masked_star": masked,
    })
}

struct Row {
    name: &'static str,
    kind: Kind,
    coma_nm: [f64; 2],
    aside_mm: f64,
    way: Way,
}

const fn row(name: &'static str, kind: Kind, coma_nm: [f64; 2]) -> Row {
    Row {
        name,
        kind,
        coma_nm,
        aside_mm: 0.0,
        way: Way::One,
    }
}

const MATCHED: [Row; 4] = [
    row(
        "doughnut, 30 to 60 px",
        Kind::Doughnut([30.0, 60.0]),
        [0.0, 240.0],
    ),
    row(
        "doughnut, 60 to 100 px",
        Kind::Doughnut([60.0, 100.0]),
        [0.0, 240.0],
    ),
    row(
        "three triplets",
        Kind::Masked(Layout::ThreeTriplet),
        [0.0, 150.0],
    ),
    row("two zones", Kind::Masked(Layout::TwoZone), [0.0, 150.0]),
];
const MISMATCHED: [Row; 5] = [
    row(
        "doughnut, 30 to 100 px",
        Kind::Doughnut([30.0, 100.0]),
        [0.0, 240.0],
    ),
    Row {
        name: "pair of doughnuts, obstruction 1 mm aside",
        kind: Kind::Doughnut([30.0, 100.0]),
        coma_nm: [0.0, 240.0],
        aside_mm: 1.0,
        way: Way::Pair,
    },
    row(
        "one triplet",
        Kind::Masked(Layout::OneTriplet),
        [0.0, 150.0],
    ),
    row(
        "three triplets",
        Kind::Masked(Layout::ThreeTriplet),
        [0.0, 150.0],
    ),
    row("two zones", Kind::Masked(Layout::TwoZone), [0.0, 150.0]),
];
const CAPTURE: [Row; 1] = [row(
    "doughnut, 100 to 115 px, coma 800 nm",
    Kind::Doughnut([100.0, 115.0]),
    [800.0, 800.0],
)];

fn tallies(rows: &[Row], named: &str, count: u64, mismatched: bool, bound: bool) -> Vec<Tally> {
    let mut found = Vec::new();
    for row in rows.iter().filter(|row| row.name.contains(named)) {
        for electrons in [1e5, 1e6] {
            let climate = Climate {
                kind: row.kind,
                electrons,
                coma_nm: row.coma_nm,
                mismatched,
                aside_mm: row.aside_mm,
            };
            let name = format!("{}, {electrons:.0e} electrons", row.name);
            let began = Instant::now();
            let tally = study(&name, climate, row.way, count, bound);
            eprintln!(
                "{name}: {:.2} s each",
                began.elapsed().as_secs_f64() / count as f64
            );
            println!("{:#}", to_json(&tally));
            found.push(tally);
        }
    }
    found
}

fn loops(count: u64) -> Vec<Loops> {
    let mut found = vec![rounds::loops("by advice, from frames", Errors::ALL, count)];
    println!("{:#}", to_json(&found[0]));
    // the median length of a vector of two normal draws is 1.1774 of their deviation
    let scatter = found[0].measuring_typical_nm.unwrap_or(0.0) / 1.1774;
    let all = Errors {
        frames: Err(scatter),
        ..Errors::ALL
    };
    for (name, errors) in [
        (
            "all errors, frames replaced by truth and their scatter",
            all,
        ),
        (
            "response exact",
            Errors {
                response: 0.0,
                ..all
            },
        ),
        (
            "hand exact",
            Errors {
                hand: 0.0,
                hand_turn: 0.0,
                ..all
            },
        ),
        (
            "no lock-up",
            Errors {
                lock_up_um: 0.0,
                ..all
            },
        ),
        (
            "no coma of the air",
            Errors {
                atmosphere: false,
                ..all
            },
        ),
        (
            "measured exactly",
            Errors {
                frames: Err(0.0),
                ..all
            },
        ),
    ] {
        let loops = rounds::loops(name, errors, count);
        println!("{:#}", to_json(&loops));
        found.push(loops);
    }
    let guessed = rounds::trial_and_error(count);
    println!("{:#}", to_json(&guessed));
    found.push(guessed);
    found
}

/// Seconds of five measurements of the same frame, after one that warms up.
fn seconds(kind: Kind) -> Vec<f64> {
    let climate = Climate {
        kind,
        electrons: 1e6,
        coma_nm: [80.0, 80.0],
        mismatched: false,
        aside_mm: 0.0,
    };
    let world = World::new(climate, 1);
    let picture = world.picture();
    let options = skewstar::measure::MeasureOptions {
        mask_on: Some(matches!(kind, Kind::Masked(_))),
        side: Some(study::side_of(&world)),
        ..Default::default()
    };
    let once = || {
        let began = Instant::now();
        skewstar::measure::measure(&picture, &world.typed, &options).expect("a measurement");
        began.elapsed().as_secs_f64()
    };
    once();
    (0..5).map(|_| once()).collect()
}

fn said(program: &str, args: &[&str]) -> String {
    let output = Command::new(program).args(args).output();
    output.map_or(String::new(), |o| {
        String::from_utf8_lossy(&o.stdout).trim().to_string()
    })
}

fn to_json<T: Serialize>(value: &T) -> Value {
    serde_json::to_value(value).expect("plain numbers")
}
