//! Instruments and states that were made in code, by anybody: checked as a file is, and written as one. [`refusals`] holds
//! every rule with its words, [`hostile`] that nothing that passes makes the model panic, [`written`] that a scenario that
//! is written is read again as it was.

use skewstar::instrument::{Assembly, Instrument};
use skewstar::scenario::{self, Scenario};
use skewstar::state::{ScrewTurns, State};

mod hostile;
mod numbers;
mod refusals;
mod written;

const WHOLE: &str = include_str!("data/whole_scenario.toml");

/// An instrument that has everything, and its state.
fn whole() -> (Instrument, State) {
    let scenario = valid(WHOLE);
    (scenario.instrument, scenario.state)
}

/// Turns of an assembly of as many screws as there are numbers.
fn turns(numbers: &[f64]) -> ScrewTurns {
    let screws = (0..numbers.len()).map(|screw| ("S", screw as f64));
    let assembly = Assembly::new(0.05, 0.5e-3, screws);
    ScrewTurns::of(&assembly, numbers.iter().copied()).expect("as many as screws")
}

fn valid(text: &str) -> Scenario {
    scenario::read(text, "t.toml", &[])
        .unwrap_or_else(|error| panic!("{error}\nhint: {}\n{text}", error.hint()))
}
