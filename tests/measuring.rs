//! Measuring judged on worlds it was not made from. A fixed subset of `cargo bench --bench measuring`, seeds 1 to N in order.
//!
//! Limits: an RMS over n values scatters by 1/√(2n) of itself; three such deviations are added to the limit of the whole study
//! (1.3 times the photon bound; 12 nm where reality differs from what was typed, which is far from reached).

#[path = "../benches/measuring/diversity.rs"]
mod diversity;
#[path = "../benches/measuring/rounds.rs"]
mod rounds;
#[path = "../benches/measuring/study.rs"]
mod study;
#[path = "../benches/measuring/world.rs"]
mod world;

mod filters;
mod rings;
mod shadows;
mod verb;

use rounds::Errors;
use study::{Tally, Way, study};
use world::{Climate, Kind, Layout};

fn climate(kind: Kind, electrons: f64, coma_nm: [f64; 2]) -> Climate {
    Climate {
        kind,
        electrons,
        coma_nm,
        mismatched: false,
        aside_mm: 0.0,
    }
}

fn print(tally: &Tally) {
    println!("{}", serde_json::to_string(tally).unwrap());
}

#[test]
fn matched_stars_are_measured_to_the_photon_bound() {
    for (name, kind) in [
        ("doughnut", Kind::Doughnut([30.0, 50.0])),
        ("three triplets", Kind::Masked(Layout::ThreeTriplet)),
    ] {
        let tally = study(name, climate(kind, 1e6, [0.0, 150.0]), Way::One, 6, true);
        print(&tally);
        assert!(tally.failed.is_empty(), "{:?}", tally.failed);
        // 12 values: ±0.2 each deviation
        let ratio = tally.error_over_bound.unwrap();
        assert!((0.4..1.3 * 1.6).contains(&ratio), "{name}: {ratio}");
        assert!(
            (0.8 * 0.4..1.3 * 1.6).contains(&tally.pulls),
            "{name}: {}",
            tally.pulls
        );
    }
}

/// Two frames in which reality differs from what is typed, of each kind; `cargo bench --bench measuring` has two hundred.
fn coma_is_within_12_nm(name: &str, kind: Kind, way: Way, aside_mm: f64) {
    let climate = Climate {
        mismatched: true,
        aside_mm,
        ..climate(kind, 1e6, [0.0, 150.0])
    };
    let tally = study(name, climate, way, 2, false);
    print(&tally);
    assert!(
        tally.failed.is_empty() && tally.silent.is_empty(),
        "{name}: {tally:?}"
    );
    assert!(
        tally.coma_error_nm <= 12.0,
        "{name}: {}",
        tally.coma_error_nm
    );
}

#[test]
fn a_doughnut_that_differs_is_within_12_nm() {
    coma_is_within_12_nm("doughnut", Kind::Doughnut([30.0, 60.0]), Way::One, 0.0);
}

#[test]
fn a_pair_that_differs_is_within_12_nm() {
    coma_is_within_12_nm("pair", Kind::Doughnut([30.0, 60.0]), Way::Pair, 1.0);
}

#[test]
fn one_triplet_that_differs_is_within_12_nm() {
    coma_is_within_12_nm(
        "one triplet",
        Kind::Masked(Layout::OneTriplet),
        Way::One,
        0.0,
    );
}

#[test]
fn two_zones_that_differ_are_within_12_nm() {
    coma_is_within_12_nm("two zones", Kind::Masked(Layout::TwoZone), Way::One, 0.0);
}

#[test]
fn a_large_coma_is_captured_without_a_guess() {
    let tally = study(
        "capture",
        climate(Kind::Doughnut([100.0, 105.0]), 1e6, [800.0, 800.0]),
        Way::One,
        3,
        false,
    );
    print(&tally);
    assert!(
        tally.failed.is_empty() && tally.worst_nm < 12.0,
        "{tally:?}"
    );
}

/// The published errors (2.7 nm RMS) are beaten, and the bound is not: 120 values, ±7 % each deviation.
#[test]
fn the_published_pair_of_frames_is_fitted_to_the_bound() {
    let found = diversity::yardstick(10);
    println!("{}", serde_json::to_string(&found).unwrap());
    assert!(found.error_rms_nm < found.published_rms_nm);
    let ratio = found.error_rms_nm / found.bound_rms_nm;
    assert!((0.75..1.3).contains(&ratio), "{ratio}");
}

/// Ten runs of the loop: at least nine within four rounds, of which eight must be (binomial, nine expected, one in 14 fails
/// by chance at seven).
#[test]
fn the_loop_closes_and_guessing_does_not() {
    let by_advice = rounds::loops("advice", Errors::ALL, 10);
    let guessing = rounds::trial_and_error(10);
    println!(
        "{}\n{}",
        serde_json::to_string(&by_advice).unwrap(),
        serde_json::to_string(&guessing).unwrap()
    );
    assert!(by_advice.within[3] >= 0.8, "{by_advice:?}");
    assert!(guessing.within[3] < 0.5 * by_advice.within[3]);
    assert!(by_advice.final_median_nm < rounds::GOAL_NM);
}
