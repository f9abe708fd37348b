//! The promise about bytes: same version, same binary, same class of processor: same bytes, on any number of threads.

use super::program::{Place, tiny_counts};
use std::collections::BTreeMap;

const NIGHT: [&str; 4] = ["render", "tiny.toml", "--expected", "--annotate"];

fn rendered(options: &[&str], threads: Option<&str>) -> BTreeMap<String, Vec<u8>> {
    let place = Place::with_file("tiny.toml", tiny_counts());
    let mut command = place.command(&[&NIGHT, options].concat());
    match threads {
        Some(count) => command.env("RAYON_NUM_THREADS", count),
        None => command.env_remove("RAYON_NUM_THREADS"),
    };
    place.done(&mut command).well();
    place.everything()
}

fn expected(options: &[&str]) -> ndarray::Array2<f64> {
    let place = Place::with_file("tiny.toml", tiny_counts());
    place.run(&[&NIGHT, options].concat()).well();
    place.pixels("out/tiny.expected.fits")
}

#[test]
fn the_same_bytes_on_one_thread_on_two_and_once_more() {
    let once = rendered(&[], None);
    assert_eq!(once.len(), 7, "{:?}", once.keys());
    for threads in [None, Some("1"), Some("2"), Some("3")] {
        let again = rendered(&[], threads);
        for (name, bytes) in &once {
            assert!(
                again[name] == *bytes,
                "{name} differs with {threads:?} threads"
            );
        }
    }
}

#[test]
fn portable_repeats_and_agrees_with_the_default() {
    assert!(rendered(&["--portable"], None) == rendered(&["--portable"], Some("1")));
    let (portable, fast) = (expected(&["--portable"]), expected(&[]));
    for (a, b) in portable.iter().zip(&fast) {
        assert!((a - b).abs() < 1e-9 * b.abs(), "{a} {b}");
    }
}

#[test]
fn another_seed_draws_other_noise_over_the_same_expectation() {
    let (one, other) = (rendered(&[], None), rendered(&["--set", "seed=7708"], None));
    assert!(one["out/tiny.fits"] != other["out/tiny.fits"]);
    let (one, other) = (expected(&[]), expected(&["--set", "seed=7708"]));
    assert_eq!(one, other);
}
