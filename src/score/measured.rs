//! What `skewstar measure --json` prints, as an answer. Only the keys that can be scored are looked at; the rest may change.

use super::answers::Answer;
use super::quantity::{Axis, Quantity};
use serde_json::Value as Json;

/// Flags of a measurement that mean "do not trust this answer" begin with one of these words.
const DOUBTS: [&str; 3] = ["poor_fit", "not_settled", "coma_doubtful"];

/// Turns the output of a measurement (`skewstar-measure/1`) into an answer about an item.
///
/// # Errors
/// It has another format.
pub fn from_measure(measured: &Json, item: u64) -> Result<Answer, String> {
    if measured["format"] != "skewstar-measure/1" {
        return Err("measured is not what `skewstar measure --json` prints".into());
    }
    let mut answer = Answer {
        item,
        ..Answer::default()
    };
    for (noll, entry) in measured["modes_nm"].as_object().into_iter().flatten() {
        if let Ok(quantity) = format!("modes_nm.{noll}").parse() {
            put(&mut answer, quantity, entry);
        }
    }
    put(
        &mut answer,
        Quantity::SensorOffset,
        &measured["sensor_offset_um"],
    );
    let shift = &measured["doughnut"]["dark_shift_px"];
    for (at, axis) in [Axis::X, Axis::Y].into_iter().enumerate() {
        put(&mut answer, Quantity::DarkShift(axis), &shift[at]);
        let within = |key: &str| shift[key][at].as_f64();
        if let Some(value) = within("value") {
            answer.values.insert(Quantity::DarkShift(axis), value);
        }
        if let Some(sigma) = within("sigma") {
            answer.sigmas.insert(Quantity::DarkShift(axis), sigma);
        }
    }
    for streak in measured["streaks"].as_array().into_iter().flatten() {
        if let Some(region) = streak["region"].as_u64() {
            put(
                &mut answer,
                Quantity::Streak(region as u32),
                &streak["shift_px"],
            );
        }
    }
    for (screw, turns) in measured["advice"]["turns"]
        .as_object()
        .into_iter()
        .flatten()
    {
        put(&mut answer, Quantity::UndoTurns(screw.clone()), turns);
    }
    let flags = measured["flags"].as_array().into_iter().flatten();
    answer.flagged = flags
        .filter_map(Json::as_str)
        .any(|flag| DOUBTS.iter().any(|doubt| flag.starts_with(doubt)));
    Ok(answer)
}

/// A plain number, or one with its uncertainty: `{ "value": …, "sigma": … }`.
fn put(answer: &mut Answer, quantity: Quantity, entry: &Json) {
    if let Some(value) = entry.as_f64().or_else(|| entry["value"].as_f64()) {
        answer.values.insert(quantity.clone(), value);
    }
    if let Some(sigma) = entry["sigma"].as_f64() {
        answer.sigmas.insert(quantity, sigma);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    /// The form of DESIGN section 6.
    #[test]
    fn a_measurement_becomes_an_answer() {
        let measured = json!({
            "format": "skewstar-measure/1", "method": "doughnut",
            "modes_nm": { "7": { "value": 12.5, "sigma": 0.4 }, "8": { "value": -3.0, "sigma": null } },
            "sensor_offset_um": { "value": -410.0, "sigma": 2.0 },
            "doughnut": { "dark_shift_px": [0.5, -0.25] },
            "advice": { "turns": { "A": 0.0, "B": 0.125 }, "words": "…" },
            "flags": ["saturated", "coma_doubtful"],
        });
        let answer = from_measure(&measured, 9).unwrap();
        assert_eq!(answer.item, 9);
        assert_eq!(answer.values[&Quantity::Mode(8)], -3.0);
        assert_eq!(answer.sigmas[&Quantity::Mode(7)], 0.4);
        assert!(!answer.sigmas.contains_key(&Quantity::Mode(8)));
        assert_eq!(answer.values[&Quantity::DarkShift(Axis::Y)], -0.25);
        assert_eq!(answer.values[&Quantity::UndoTurns("B".into())], 0.125);
        assert!(answer.flagged);
        assert!(from_measure(&json!({ "format": "other" }), 1).is_err());
    }
}
