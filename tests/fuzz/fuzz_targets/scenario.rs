//! Any bytes, as a scenario file and as a command-line argument: an answer, never a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;
use skewstar::scenario;

const BASE: &str = include_str!("../../data/whole_scenario.toml");

fuzz_target!(|bytes: &[u8]| {
    if let Err(error) = scenario::read_bytes(bytes, "fuzz.toml", &[]) {
        assert!(!error.to_string().is_empty() && !error.hint().is_empty());
    }
    if let Ok(argument) = std::str::from_utf8(bytes) {
        let _ = scenario::read(BASE, "fuzz.toml", &[argument.to_owned()]);
        let _ = scenario::steps("--rows", argument);
    }
});
