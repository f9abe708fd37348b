//! The scenario as typed: one struct a section, names and units as in the file, nothing checked against anything else.
//!
//! **This is the one place where a key, its type, its limits, its default and its meaning are written down.** The JSON
//! Schema, the key table, the "did you mean" and the range checks are all read off these structs, so a new key is one new
//! field here, one line in [`validate`](super::validate), one in [`parts`](super::parts) and one file in `tests/data/bad_scenarios`.
//!
//! Attributes: `range` holds inclusive limits, `exclusiveMinimum` an exclusive one; `x-unit` names the unit of a key whose
//! name cannot (a fraction, a magnitude); `x-default` describes a default that is worked out from other keys.

mod assembly;
mod camera;
mod mask;
mod mask_fit;
mod state;
mod telescope;

pub(super) use assembly::*;
pub(super) use camera::*;
pub(super) use mask::*;
pub(super) use mask_fit::*;
pub(super) use state::*;
pub(super) use telescope::*;

use std::borrow::Cow;
use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, de::Error};

/// A scenario file.
#[derive(Debug, Clone, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(title = "skewstar scenario, format 1")]
pub(super) struct RawScenario {
    /// Version of the scenario format.
    #[schemars(range(min = 1, max = 1), example = 1, extend("enum" = [1]))]
    #[allow(dead_code)] // read before this struct is made
    pub format: u32,
    /// What the scenario shows, in one line.
    #[schemars(
        length(min = 1, max = 200),
        example = &"Prime-focus unit pulled down at screw B"
    )]
    pub title: String,
    /// Seed of everything random; needed wherever noise or chance is asked for.
    #[schemars(range(min = 0, max = 9007199254740991_u64), example = 20417, extend("x-default" = "none"))]
    pub seed: Option<u64>,
    /// The optics as built.
    pub telescope: RawTelescope,
    /// The unit that the screws hold.
    pub assembly: Option<RawAssembly>,
    /// The slotted mask for the front of the telescope.
    pub mask: Option<RawMask>,
    /// The camera.
    pub camera: RawCamera,
    /// What is hidden from whoever measures.
    #[serde(default)]
    pub state: RawState,
    /// The star; with [exposure] it gives counts instead of relative units.
    pub star: Option<RawStar>,
    /// The sky.
    #[serde(default)]
    pub sky: RawSky,
    /// The exposure.
    pub exposure: Option<RawExposure>,
    /// The stars of a whole sensor, for `skewstar field`; the camera's frame is then the sensor.
    pub field: Option<RawStarField>,
}

/// Zernike coefficients as typed: Noll index → nm RMS.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct NollTable(pub BTreeMap<u32, f64>);

/// Smallest Noll index a file may name; 1 is piston, which has no effect.
pub(super) const LOWEST_NOLL: u32 = 2;
/// Largest Noll index a file may name: the end of radial order 40.
pub(super) const HIGHEST_NOLL: u32 = 861;

/// Reads a key of a table of modes: a Noll index in plain decimal digits, without a sign or leading zeros.
pub(super) fn noll_index(key: &str) -> Option<u32> {
    let plain = !key.starts_with('0') && key.bytes().all(|byte| byte.is_ascii_digit());
    let index: u32 = key.parse().ok()?;
    (plain && (LOWEST_NOLL..=HIGHEST_NOLL).contains(&index)).then_some(index)
}

impl<'de> Deserialize<'de> for NollTable {
    fn deserialize<D: Deserializer<'de>>(reader: D) -> Result<Self, D::Error> {
        let typed = BTreeMap::<String, f64>::deserialize(reader)?;
        let indexed = typed
            .into_iter()
            .map(|(key, rms_nm)| match noll_index(&key) {
                Some(index) => Ok((index, rms_nm)),
                None => Err(D::Error::custom(format!("{key:?} is not a Noll index"))),
            });
        indexed.collect::<Result<_, _>>().map(NollTable)
    }
}

impl JsonSchema for NollTable {
    fn schema_name() -> Cow<'static, str> {
        "NollTable".into()
    }

    fn json_schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "object",
            "propertyNames": { "pattern": "^([2-9]|[1-9][0-9]|[1-7][0-9]{2}|8[0-5][0-9]|86[01])$" },
            "additionalProperties": { "type": "number", "minimum": -1e5, "maximum": 1e5, "examples": [12.0] },
            "x-keys": "Noll index",
            "x-unit": "nm RMS",
            "x-default": "0 for every index not named",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_noll_index_is_plain_digits_from_2_to_861() {
        assert_eq!(noll_index("2"), Some(2));
        assert_eq!(noll_index("861"), Some(861));
        for wrong in [
            "",
            "0",
            "1",
            "05",
            "+5",
            "-5",
            "5 ",
            "862",
            "99999999999",
            "5.0",
            "five",
            "５",
        ] {
            assert_eq!(noll_index(wrong), None, "{wrong:?}");
        }
    }
}
