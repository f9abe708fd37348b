//! Whatever text or argument comes in, an answer comes out: a sound scenario, or an error with words and a next step.

use proptest::prelude::*;
use skewstar::scenario::{self, Scenario, ScenarioError, TemplateKind};

use super::{SMALLEST, WHOLE, read};

/// A valid text with a few random edits: bytes replaced, ranges cut out, doubled or filled with odd pieces.
fn mutated() -> impl Strategy<Value = String> {
    let base = prop_oneof![
        Just(WHOLE.to_owned()),
        Just(SMALLEST.to_owned()),
        Just(scenario::template(TemplateKind::PrimeFocus, "p")),
        Just(scenario::template(TemplateKind::Refractor, "r")),
    ];
    let piece = prop_oneof![
        Just("nan".to_owned()),
        Just("-inf".to_owned()),
        Just("1e300".to_owned()),
        Just("-1".to_owned()),
        Just("0".to_owned()),
        Just("[]".to_owned()),
        Just("{}".to_owned()),
        Just("\"\"".to_owned()),
        Just("99999999999999999999".to_owned()),
        Just("\n[state.modes_nm]\n".to_owned()),
        Just("[[".to_owned()),
        Just("\u{0}".to_owned()),
        Just("ä".to_owned()),
        "[ -~]{0,6}",
    ];
    let edit = (any::<prop::sample::Index>(), 0_usize..40, piece);
    (base, prop::collection::vec(edit, 1..6)).prop_map(|(base, edits)| {
        edits.into_iter().fold(base, |text, (at, cut, piece)| {
            let letters: Vec<char> = text.chars().collect();
            let at = at.index(letters.len().max(1)).min(letters.len());
            let end = (at + cut).min(letters.len());
            letters[..at]
                .iter()
                .chain(piece.chars().collect::<Vec<_>>().iter())
                .chain(&letters[end..])
                .collect()
        })
    })
}

/// The text with one value of one line replaced: nearly always TOML, so that the later stages are reached.
fn one_value_replaced() -> impl Strategy<Value = String> {
    let value = prop_oneof![
        any::<f64>().prop_map(|number| format!("{number:?}")),
        any::<i64>().prop_map(|number| number.to_string()),
        (-1e3..1e3_f64).prop_map(|number| format!("{number:?}")),
        (-3..300_i64).prop_map(|number| number.to_string()),
        Just("[0.0, 0.0]".to_owned()),
        Just("[1, 2, 3]".to_owned()),
        Just("true".to_owned()),
        Just("\"holes\"".to_owned()),
        Just("\"square\"".to_owned()),
        Just("{ A = 1e9 }".to_owned()),
        Just("[{}]".to_owned()),
        Just("1979-05-27".to_owned()),
    ];
    (any::<prop::sample::Index>(), value).prop_map(|(line, value)| {
        let keyed: Vec<usize> = WHOLE
            .lines()
            .enumerate()
            .filter(|(_, line)| line.contains(" = "))
            .map(|(at, _)| at)
            .collect();
        let chosen = keyed[line.index(keyed.len())];
        let replaced =
            |line: &str| format!("{} = {value}", line.split(" = ").next().unwrap_or_default());
        let lines = WHOLE.lines().enumerate().map(|(at, line)| {
            if at == chosen {
                replaced(line)
            } else {
                line.to_owned()
            }
        });
        lines.collect::<Vec<_>>().join("\n")
    })
}

/// What must hold for every answer: an error has words and a next step, a scenario holds finite numbers.
fn sound(answer: Result<Scenario, ScenarioError>) -> Result<(), TestCaseError> {
    match answer {
        Ok(scenario) => {
            let telescope = &scenario.instrument.telescope;
            prop_assert!(
                telescope.focal_ratio() >= 0.8 - 1e-9 && telescope.focal_ratio() <= 100.0 + 1e-9
            );
            prop_assert!(telescope.obstruction_ratio() < 1.0);
            prop_assert!(
                scenario
                    .state
                    .modes
                    .iter()
                    .all(|(noll, rms_m)| (2..=861).contains(&noll) && rms_m.is_finite())
            );
            prop_assert!(
                scenario.state.sensor_offset_m.abs()
                    <= 0.1 * telescope.focal_length_m * (1.0 + 1e-9)
            );
        }
        Err(error) => {
            prop_assert!(!error.to_string().is_empty() && !error.hint().is_empty());
            prop_assert!(
                !error.to_string().chars().any(char::is_control),
                "{error:?}"
            );
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn any_bytes_give_an_answer(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        sound(scenario::read_bytes(&bytes, "t.toml", &[]))?;
    }

    #[test]
    fn any_mutated_scenario_gives_an_answer(text in mutated()) {
        sound(read(&text, &[]))?;
    }

    #[test]
    fn any_replaced_value_gives_an_answer(text in one_value_replaced()) {
        sound(read(&text, &[]))?;
    }

    #[test]
    fn any_override_gives_an_answer(argument in "[a-z_.\\[\\]0-9]{0,20}=?[ -~]{0,12}") {
        sound(read(WHOLE, &[&argument]))?;
    }

    #[test]
    fn any_series_gives_an_answer(series in "[a-z.]{0,6}[=&,a-z0-9\"\\[{ ]{0,20}") {
        if let Ok(steps) = scenario::steps("--rows", &series) {
            prop_assert!(!steps.is_empty());
            sound(scenario::read(WHOLE, "t.toml", &steps[0]))?;
        }
    }
}
