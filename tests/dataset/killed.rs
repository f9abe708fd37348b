//! A run that is killed without warning loses at most the shard in hand; the next run goes on to the very same set.

#![cfg(unix)]

use super::{folder, make, place};
use std::process::Stdio;
use std::thread::sleep;
use std::time::{Duration, Instant};

const COUNT: [&str; 2] = ["--count", "60"];

/// Numbers that look random and are the same in every run: x → 6364136223846793005·x + 1442695040888963407 (Knuth), from memory.
fn share(seed: u64) -> f64 {
    let mut x = seed;
    for _ in 0..4 {
        x = x
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
    }
    (x >> 11) as f64 / (1u64 << 53) as f64
}

#[test]
fn killed_at_ten_random_moments_and_carried_on() {
    let place = place();
    let began = Instant::now();
    place
        .run(&make(&[&["--out", "whole"][..], &COUNT].concat()))
        .well();
    let took = began.elapsed();
    let whole = folder(&place, "whole");
    let mut stopped_inside = 0;
    for seed in 1..=10 {
        let out = format!("killed-{seed}");
        let options = make(&[&["--out", &out][..], &COUNT].concat());
        let mut child = place
            .command(&options)
            .stdout(Stdio::null())
            .spawn()
            .expect("the program starts");
        sleep(Duration::from_secs_f64(took.as_secs_f64() * share(seed)));
        child.kill().expect("our own child"); // SIGKILL
        child.wait().expect("an end");
        let left = folder(&place, &out);
        let kept = |name: &&String| !name.starts_with('.');
        for name in left.keys().filter(kept) {
            assert_eq!(
                left[name], whole[name],
                "{name} after kill {seed} is not whole"
            );
        }
        let records = left
            .keys()
            .filter(|name| name.ends_with(".shard.json"))
            .count();
        stopped_inside += usize::from(records < 12);
        place.run(&options).well();
        assert_eq!(folder(&place, &out), whole, "carried on after kill {seed}");
    }
    assert!(
        stopped_inside >= 5,
        "only {stopped_inside} of 10 kills came before the end"
    );
}
