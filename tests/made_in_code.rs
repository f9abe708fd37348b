//! Instruments and states that were made in code, by anybody: checked as a file is, and written as one. [`refusals`] holds
//! every rule with its words, [`hostile`] that nothing that passes makes the model panic, [`written`] that a scenario that
//! is written is read again as it was.

use skewstar::instrument::Instrument;
use skewstar::scenario::{self, Scenario};
use skewstar::state::State;

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

fn valid(text: &str) -> Scenario {
    scenario::read(text, "t.toml", &[])
        .unwrap_or_else(|error| panic!("{error}\nhint: {}\n{text}", error.hint()))
}
