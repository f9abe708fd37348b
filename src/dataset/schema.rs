//! JSON Schema of a recipe, for editors. The reader itself is `recipe` and `read_vary`, which know lines and columns; a test
//! holds the two together.

use schemars::{JsonSchema, schema_for};
use serde_json::Value;
use std::collections::BTreeMap;

/// A recipe: a scenario, and what is drawn for which of its keys.
#[derive(JsonSchema)]
#[schemars(title = "skewstar recipe, format 1", deny_unknown_fields)]
#[allow(dead_code)] // only its schema is used
struct RecipeFile {
    /// Version of the recipe format.
    #[schemars(range(min = 1, max = 1))]
    format: u32,
    /// What the set is for, in one line.
    #[schemars(length(min = 1, max = 200))]
    title: String,
    /// Version of the set, in its author's counting; 1 when left out.
    version: Option<String>,
    /// Licence of the set, by its SPDX name where it has one.
    #[schemars(length(min = 1, max = 200))]
    licence: String,
    /// What the set does not hold or should not be used for, for the card.
    limits: Option<Vec<String>>,
    /// Seed of everything.
    #[schemars(range(min = 0, max = 9007199254740991_u64))]
    seed: u64,
    /// The scenario's file, from the recipe's folder; or a scenario as a table. Needed unless every case names its own.
    scenario: Option<Scenario>,
    /// Items of a shard; 250 when left out.
    #[schemars(range(min = 1, max = 100000))]
    shard_items: Option<u64>,
    /// Files of frames; npz when left out.
    files: Option<Vec<Files>>,
    /// Whether the truth holds what the photons allow, with the star's place known and unknown, which takes several times as long as a frame.
    photon_bound: Option<bool>,
    /// Whether the truth holds each item's own sampling error, which takes several times as long as a frame.
    sampling_check: Option<bool>,
    /// Whether the truth holds the frames to expect before any chance, as an array of 64-bit numbers a shard.
    expected: Option<bool>,
    /// fast (coarser sampling, single precision; when left out) or usual (as render does it).
    accuracy: Option<Accuracy>,
    /// Changes that hold for all items: paths of keys in quotes, and their values.
    set: Option<BTreeMap<String, Value>>,
    /// What is drawn: paths of keys in quotes, and one law each. Where neither recipe nor scenario give state.place_px, it is drawn too.
    vary: Option<BTreeMap<String, Law>>,
    /// Keys that are drawn together.
    correlate: Option<Vec<Pair>>,
    /// Kinds of items that are mixed.
    case: Option<Vec<Case>>,
    /// Whether an item's case is handed out with its frame; false when left out.
    case_known: Option<bool>,
}

/// Two keys that are drawn by continuous laws, and the correlation of their normal scores.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(dead_code)]
struct Pair {
    /// The two keys.
    keys: [String; 2],
    /// Correlation, which keeps both laws as they are.
    #[schemars(range(min = -0.999, max = 0.999))]
    correlation: f64,
}

/// One kind of items of a mixture; what it sets and draws takes the place of what the recipe sets and draws for the same keys.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(dead_code)]
struct Case {
    /// Its name, in the column `case` of the truth.
    #[schemars(length(min = 1, max = 200))]
    name: String,
    /// How many of the items, relative to the other cases; 1 when left out.
    #[schemars(range(min = 1e-9, max = 1e9))]
    share: Option<f64>,
    /// Its own scenario, for a set of several telescopes; all frames have one size.
    scenario: Option<Scenario>,
    /// Changes that hold for its items.
    set: Option<BTreeMap<String, Value>>,
    /// What is drawn for its items.
    vary: Option<BTreeMap<String, Law>>,
}

/// How finely frames are computed.
#[derive(JsonSchema)]
#[schemars(rename_all = "lowercase")]
#[allow(dead_code)]
enum Accuracy {
    Fast,
    Usual,
}

/// A file or a table.
#[derive(JsonSchema)]
#[schemars(untagged)]
#[allow(dead_code)]
enum Scenario {
    File(String),
    Inline(BTreeMap<String, Value>),
}

/// A kind of files.
#[derive(JsonSchema)]
#[schemars(rename_all = "kebab-case")]
#[allow(dead_code)]
enum Files {
    Npz,
    Npy,
    Fits,
    FitsCube,
}

/// Exactly one of uniform, log_uniform, normal, log_normal, weibull, uniform_sine, star_counts, table, choice and turns. A key that holds a
/// list of numbers is drawn number by number.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(dead_code)]
struct Law {
    /// Smallest number and limit above.
    uniform: Option<[f64; 2]>,
    /// The same, uniform in the logarithm.
    log_uniform: Option<[f64; 2]>,
    /// Mean and standard deviation.
    normal: Option<[f64; 2]>,
    /// Median, and standard deviation of the natural logarithm.
    log_normal: Option<[f64; 2]>,
    /// Scale and shape of Weibull's law: 2 is Rayleigh's.
    weibull: Option<[f64; 2]>,
    /// Angles in degrees whose sine is uniform, such as altitudes of stars spread evenly over the sky.
    uniform_sine: Option<[f64; 2]>,
    /// Brightest and faintest magnitude, as many of each as the sky has.
    star_counts: Option<[f64; 2]>,
    /// File of a table of one's own (CSV, or Parquet in builds with that feature), from the recipe's folder: each item takes a row of it.
    table: Option<String>,
    /// Values of any type.
    choice: Option<Vec<Value>>,
    /// Turns of all screws, for state.turns.
    turns: Option<Turns>,
    /// Limits of a normal or log-normal law (two numbers), or the largest turn (one).
    within: Option<Value>,
    /// Column of a table; the key itself when left out.
    column: Option<String>,
    /// How the number of stars brighter than m grows, as 10^(slope m); 0.35 when left out.
    #[schemars(range(min = 0.0, max = 2.0))]
    slope_per_magnitude: Option<f64>,
    /// How often each choice, relative to the others.
    weights: Option<Vec<f64>>,
    /// Whether the value is handed out with the frames.
    known: Option<bool>,
}

/// Turns of all screws together.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(dead_code)]
struct Turns {
    /// Standard deviation of each screw.
    sigma_turns: f64,
    /// Correlation of two screws: from −1/(screws − 1), pure tilt, to 1, pure piston; 0 when left out.
    correlation: Option<f64>,
}

/// JSON Schema (draft 2020-12) of a recipe, indented.
pub fn schema() -> String {
    format!("{:#}", schema_for!(RecipeFile).to_value())
}

#[cfg(test)]
mod tests {
    use super::super::{case::CASE_KEYS, read_vary::beside, recipe::KEYS};
    use super::*;

    fn keys(schema: &Value) -> Vec<String> {
        let properties = schema["properties"].as_object().unwrap();
        let mut keys: Vec<String> = properties.keys().cloned().collect();
        keys.sort();
        keys
    }

    fn sorted(keys: &[&str]) -> Vec<String> {
        let mut keys: Vec<String> = keys.iter().map(|key| key.to_string()).collect();
        keys.sort();
        keys
    }

    #[test]
    fn the_schema_has_the_keys_that_the_reader_knows() {
        let schema: Value = serde_json::from_str(&schema()).unwrap();
        assert_eq!(keys(&schema), sorted(&KEYS));
        assert_eq!(keys(&schema["$defs"]["Law"]), sorted(&beside()));
        assert_eq!(keys(&schema["$defs"]["Case"]), sorted(&CASE_KEYS));
    }
}
