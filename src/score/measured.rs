//! What `skewstar measure --json` prints, as an answer: modes, sensor offset, dark centre, spikes.
//!
//! Its advice is not looked at: those turns tilt the unit back and leave its height alone, while the truth's `undo_turns` take
//! the height away too, which no frame shows.

use super::answers::Answer;
use super::quantity::{Axis, Quantity};
use crate::flag::Flags;
use serde::Deserialize;
use serde_json::Value as Json;

/// Turns the output of a measurement (`skewstar-measure/2`) into an answer about an item.
///
/// # Errors
/// It has another format, a flag that is none, or flags that contradict its key `sound`.
pub fn from_measure(measured: &Json, item: u64) -> Result<Answer, String> {
    if measured["format"] == "skewstar-measure/1" {
        return Err(
            "measured is skewstar-measure/1, written before 0.2.0; measure the frame again".into(),
        );
    }
    if measured["format"] != "skewstar-measure/2" {
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
    }
    for spike in measured["spikes"].as_array().into_iter().flatten() {
        if let Some(region) = spike["region"].as_u64() {
            put_spike(&mut answer, region as u32, spike);
        }
    }
    let sound = measured["sound"].as_bool();
    let sound = sound.ok_or("measured has no key `sound`")?;
    let flags = Flags::deserialize(&measured["flags"])
        .map_err(|reason| format!("the key `flags` of measured cannot be read: {reason}"))?;
    if sound != flags.is_sound() {
        return Err(format!(
            "measured says `sound`: {sound}, and its flags say the opposite"
        ));
    }
    answer.flagged = !sound;
    Ok(answer)
}

/// The mean ray of a region, with its uncertainty.
fn put_spike(answer: &mut Answer, region: u32, spike: &Json) {
    let quantity = Quantity::Spike(region);
    if let Some(sigma) = spike["sigma_px"].as_f64() {
        answer.sigmas.insert(quantity.clone(), sigma);
    }
    put(answer, quantity, &spike["shift_px"]);
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

    /// The keys of a printed measurement; `tests/score.rs` hands in what the program prints.
    #[test]
    fn a_measurement_becomes_an_answer() {
        let measured = json!({
            "format": "skewstar-measure/2", "method": "doughnut-fit",
            "modes_nm": { "7": { "value": 12.5, "sigma": 0.4 }, "8": { "value": -3.0, "sigma": null } },
            "sensor_offset_um": { "value": -410.0, "sigma": 2.0 },
            "doughnut": { "dark_shift_px": [0.5, -0.25] },
            "spikes": [{ "region": 1, "shift_px": 0.75, "sigma_px": 0.1 }, { "region": 2, "shift_px": 0.5, "sigma_px": null }],
            "advice": { "turns": { "A": 0.0, "B": 0.125 }, "words": "…" },
            "sound": false, "flags": ["saturated", "coma_uncertain"],
        });
        let answer = from_measure(&measured, 9).unwrap();
        assert_eq!(answer.item, 9);
        assert_eq!(answer.values[&Quantity::Mode(8)], -3.0);
        assert_eq!(answer.sigmas[&Quantity::Mode(7)], 0.4);
        assert!(!answer.sigmas.contains_key(&Quantity::Mode(8)));
        assert_eq!(answer.values[&Quantity::DarkShift(Axis::Y)], -0.25);
        assert_eq!(answer.values[&Quantity::Spike(1)], 0.75);
        assert_eq!(answer.sigmas[&Quantity::Spike(1)], 0.1);
        assert_eq!(answer.values[&Quantity::Spike(2)], 0.5);
        assert!(!answer.sigmas.contains_key(&Quantity::Spike(2)));
        assert!(!answer.values.contains_key(&Quantity::UndoTurns("B".into())));
        assert!(answer.flagged);
        let with = |key: &str, value: Json| {
            let mut changed = measured.clone();
            changed[key] = value;
            from_measure(&changed, 9)
        };
        let misspelt = with("flags", json!(["coma_uncertan"])).unwrap_err();
        assert!(
            misspelt.contains("did you mean coma_uncertain?"),
            "{misspelt}"
        );
        assert!(with("flags", Json::Null).is_err() && with("sound", Json::Null).is_err());
        assert!(
            with("flags", json!(["saturated"]))
                .unwrap_err()
                .contains("opposite")
        );
        assert!(with("sound", json!(true)).is_err());
        assert!(from_measure(&json!({ "format": "other" }), 1).is_err());
        assert!(from_measure(&json!({ "format": "skewstar-measure/2" }), 1).is_err());
        let old = from_measure(&json!({ "format": "skewstar-measure/1" }), 1).unwrap_err();
        assert!(old.contains("measure the frame again"), "{old}");
    }
}
