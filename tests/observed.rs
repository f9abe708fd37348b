//! What `mask preview` says an eye sees, against simulated two-choice trials on noisy frames by an observer that looks at pixels only.
//!
//! The whole table, 20 masks with 1000 trials each, is `cargo bench --bench visibility`; no table is kept yet.

#[path = "observed/looker.rs"]
mod looker;
#[path = "observed/masks.rs"]
mod masks;

use masks::{CASES, Outcome};

/// A focus mask and a coma mask: within 25 %, a quarter being the limit that the design sets; 300 trials scatter by 7 %. Of a mask that was
/// drawn the trials need half as much again as is said: its spikes are found in its star, and that is not good enough yet. It is held
/// within a factor of two, so that it becomes no worse.
#[test]
fn the_least_error_is_the_one_that_trials_find() {
    for (number, within) in [(0, 1.25), (1, 1.25), (3, 2.0)] {
        let outcome: Outcome = CASES[number].tried(300, 1 + number as u64);
        println!(
            "{}: predicted {:?}, trials {:?}",
            outcome.words, outcome.predicted_nm, outcome.trials_nm
        );
        let ratio = outcome
            .ratio()
            .unwrap_or_else(|| panic!("{}: hidden", outcome.words));
        assert!(
            (1.0 / within..within).contains(&ratio),
            "{}: trials over prediction {ratio:.2}",
            outcome.words
        );
    }
}
