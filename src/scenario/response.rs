//! The file of a learned response: text ↔ [`LearnedResponse`].
//!
//! It is a small TOML file of its own, format 1, written by `skewstar learn` and read by whoever measures. It is as strict as a
//! scenario: unknown keys, wrong types and values outside their limits are refused with their line. Like the rest of this room
//! it handles text only.
//!
//! ```toml
//! format = 1
//! flags = ["recentred"]                     # optional; those that `learn` raises
//!
//! [response]
//! coma_nm_per_arcmin = 61.8
//! coma_sigma_nm_per_arcmin = 0.4
//! image_shift_um_per_arcmin = 29.2          # optional, and its sigma
//! image_shift_sigma_um_per_arcmin = 0.1
//!
//! [camera]
//! rotation_deg = 40.2
//! rotation_sigma_deg = 0.3
//! mirrored = true
//!
//! [[holds]]                                 # every way of holding the camera that the trials leave open
//! rotation_deg = 40.2
//! mirrored = true
//! coma_nm_per_arcmin = 61.8
//! weight = 1.0
//!
//! [[screws]]
//! name = "A"
//! coma_nm_per_turn = [3.0, 1930.0]          # Noll 8, Noll 7
//! coma_sigma_nm_per_turn = 9.0
//!
//! [[trials]]                                # optional: the turns that it was learned from; coma in frame axes
//! screw = "A"
//! turns = 0.125
//! before_nm = [120.0, -31.0]
//! after_nm = [119.0, 210.0]
//! sigma_nm = 0.8
//!
//! [[cards]]                                 # optional: cards that frames showed, at most two
//! screw = "B"
//! direction_deg = 151.0
//! ```

use super::advice::{Told, meant, unknown_here};
use super::check::{ONLY_FORMAT, Words, check};
use super::document::{Document, Node};
use super::error::{Problem, ScenarioError, number};
use super::rules::Rule;
use super::{schema, typed};
use crate::flag::{Flag, Flags, RaisedBy};
use crate::instrument::Hold;
use crate::measure::learn::{LearnedCard, ToldTurn};
use crate::measure::orientation::HoldCase;
use crate::measure::{LearnedResponse, LearnedScrew, Uncertain};
use crate::state::Coma;
use crate::units::{ARCMIN, DEG, NM, UM};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Deserialize;
use std::fmt::Write;
use std::sync::OnceLock;

/// Largest number of a response, and of a row of the matrix.
const SIZE: f64 = 1e5;
const MATRIX_SIZE: f64 = 1e8;

/// A response file as typed.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawFile {
    #[schemars(range(min = 1.0, max = 1.0))]
    #[allow(dead_code)] // the check has read it
    format: f64,
    #[serde(default)]
    #[schemars(schema_with = "learned_flags")]
    flags: Flags,
    response: RawResponse,
    camera: RawCamera,
    #[schemars(length(min = 1, max = 2))]
    holds: Vec<RawHold>,
    #[schemars(length(min = 1))]
    screws: Vec<RawScrew>,
    #[serde(default)]
    #[schemars(length(max = 1000))]
    trials: Vec<RawTrial>,
    #[serde(default)]
    #[schemars(length(max = 2))]
    cards: Vec<RawCard>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawTrial {
    screw: String,
    #[schemars(range(min = -100.0, max = 100.0))]
    turns: f64,
    #[schemars(inner(range(min = -SIZE, max = SIZE)))]
    before_nm: [f64; 2],
    #[schemars(inner(range(min = -SIZE, max = SIZE)))]
    after_nm: [f64; 2],
    #[schemars(range(min = 0.0, max = SIZE))]
    sigma_nm: f64,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawCard {
    screw: String,
    #[schemars(range(min = -360.0, max = 360.0))]
    direction_deg: f64,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawHold {
    #[schemars(range(min = -360.0, max = 360.0))]
    rotation_deg: f64,
    mirrored: bool,
    #[schemars(range(min = -SIZE, max = SIZE))]
    coma_nm_per_arcmin: f64,
    #[schemars(range(min = 0.0, max = 1.0))]
    weight: f64,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawResponse {
    #[schemars(range(min = -SIZE, max = SIZE))]
    coma_nm_per_arcmin: f64,
    #[schemars(range(min = 0.0, max = SIZE))]
    coma_sigma_nm_per_arcmin: f64,
    #[schemars(range(min = -SIZE, max = SIZE))]
    image_shift_um_per_arcmin: Option<f64>,
    #[schemars(range(min = 0.0, max = SIZE))]
    image_shift_sigma_um_per_arcmin: Option<f64>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawCamera {
    #[schemars(range(min = -360.0, max = 360.0))]
    rotation_deg: f64,
    #[schemars(range(min = 0.0, max = 360.0))]
    rotation_sigma_deg: f64,
    mirrored: bool,
    mirrored_by_file: Option<bool>,
}

#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct RawScrew {
    name: String,
    #[schemars(inner(range(min = -MATRIX_SIZE, max = MATRIX_SIZE)))]
    coma_nm_per_turn: [f64; 2],
    #[schemars(range(min = 0.0, max = MATRIX_SIZE))]
    coma_sigma_nm_per_turn: f64,
}

/// The names of the flags that learning raises; no other may stand in the file.
fn learned_flags(_: &mut SchemaGenerator) -> Schema {
    let all = Flag::ALL.iter();
    let learned = all.filter(|flag| flag.raised_by().contains(&RaisedBy::Learn));
    let names: Vec<&str> = learned.map(|flag| flag.name()).collect();
    json_schema!({ "type": "array", "items": { "type": "string", "enum": names } })
}

fn rules() -> &'static Rule {
    static RULES: OnceLock<Rule> = OnceLock::new();
    RULES.get_or_init(|| schema::rule(&schema::schema_value::<RawFile>()))
}

impl LearnedResponse {
    /// Reads the text of a response file; `name` is the file's name for messages.
    ///
    /// # Errors
    /// [`ScenarioError`] for the first key or value that cannot be meant.
    ///
    /// ```
    /// use skewstar::measure::LearnedResponse;
    /// let error = LearnedResponse::read("format = 1\n[camera]\nmirored = true\n", "garden.response.toml").unwrap_err();
    /// assert_eq!(error.to_string(), "garden.response.toml:3:1: camera.mirored is not a key of [camera]");
    /// assert_eq!(error.hint(), "did you mean camera.mirrored?");
    /// ```
    pub fn read(text: &str, name: &str) -> Result<LearnedResponse, ScenarioError> {
        let document = Document::parse(text, name).map_err(|error| match *error.problem {
            Problem::Empty => ScenarioError::new(
                name,
                error.place,
                Problem::Empty,
                "`skewstar learn` writes such a file",
            ),
            _ => error,
        })?;
        check(&document, rules(), &OfResponse)?;
        let RawFile {
            flags,
            response,
            camera,
            holds,
            screws,
            trials,
            cards,
            ..
        } = typed(&document, LEARN_AGAIN)?;
        let in_units = |value: f64, sigma: Option<f64>, unit: f64| Uncertain {
            value: value * unit,
            sigma: sigma.map(|sigma| sigma * unit),
        };
        let shift_sigma = response.image_shift_sigma_um_per_arcmin;
        Ok(LearnedResponse {
            coma_m_per_rad: in_units(
                response.coma_nm_per_arcmin,
                Some(response.coma_sigma_nm_per_arcmin),
                NM / ARCMIN,
            ),
            image_shift_m_per_rad: response
                .image_shift_um_per_arcmin
                .map(|shift| in_units(shift, shift_sigma, UM / ARCMIN)),
            rotation_rad: in_units(camera.rotation_deg, Some(camera.rotation_sigma_deg), DEG),
            mirrored: camera.mirrored,
            holds: holds.into_iter().map(learned_hold).collect(),
            screws: screws.into_iter().map(learned_screw).collect(),
            trials: trials.into_iter().map(told_turn).collect(),
            cards: cards.into_iter().map(learned_card).collect(),
            by_header: camera.mirrored_by_file,
            flags,
        })
    }

    /// The text of the response file, which [`LearnedResponse::read`] reads.
    pub fn to_toml(&self) -> String {
        let coma = |m_per_rad: f64| number(m_per_rad * ARCMIN / NM);
        let shift = |m_per_rad: f64| number(m_per_rad * ARCMIN / UM);
        let mut text = String::from(
            "# What this telescope's screws do, learned from trial turns.\nformat = 1\n",
        );
        let mut line = |words: String| writeln!(text, "{words}").unwrap_or_default();
        if !self.flags.is_empty() {
            let names: Vec<&str> = self.flags.iter().map(Flag::name).collect();
            line(format!("flags = {names:?}"));
        }
        line("\n[response]".into());
        line(format!(
            "coma_nm_per_arcmin = {}",
            coma(self.coma_m_per_rad.value)
        ));
        let sigma = self.coma_m_per_rad.sigma.unwrap_or(0.0);
        line(format!("coma_sigma_nm_per_arcmin = {}", coma(sigma)));
        if let Some(moved) = self.image_shift_m_per_rad {
            line(format!(
                "image_shift_um_per_arcmin = {}",
                shift(moved.value)
            ));
            if let Some(sigma) = moved.sigma {
                line(format!(
                    "image_shift_sigma_um_per_arcmin = {}",
                    shift(sigma)
                ));
            }
        }
        line("\n[camera]".into());
        line(format!(
            "rotation_deg = {}",
            number(self.rotation_rad.value / DEG)
        ));
        let sigma = self.rotation_rad.sigma.unwrap_or(0.0);
        line(format!("rotation_sigma_deg = {}", number(sigma / DEG)));
        line(format!("mirrored = {}", self.mirrored));
        if let Some(mirrored) = self.by_header {
            line(format!("mirrored_by_file = {mirrored}"));
        }
        for learned in &self.holds {
            line("\n[[holds]]".into());
            line(format!(
                "rotation_deg = {}",
                number(learned.hold.rotation_rad / DEG)
            ));
            line(format!("mirrored = {}", learned.hold.mirrored));
            line(format!(
                "coma_nm_per_arcmin = {}",
                number(learned.coma_m_per_rad * ARCMIN / NM)
            ));
            line(format!("weight = {}", number(learned.weight)));
        }
        for screw in &self.screws {
            let [x, y] = screw.coma_per_turn.xy_nm().map(number);
            line(format!("\n[[screws]]\nname = {:?}", screw.name));
            line(format!("coma_nm_per_turn = [{x}, {y}]  # Noll 8, Noll 7"));
            line(format!(
                "coma_sigma_nm_per_turn = {}",
                number(screw.coma_per_turn.sigma_per_axis_m().unwrap_or(0.0) / NM)
            ));
        }
        for told in &self.trials {
            let pair = |m: [f64; 2]| m.map(|m| number(m / NM)).join(", ");
            line(format!("\n[[trials]]\nscrew = {:?}", told.screw));
            line(format!("turns = {}", number(told.turns)));
            line(format!(
                "before_nm = [{}]  # frame axes",
                pair(told.before_m)
            ));
            line(format!("after_nm = [{}]", pair(told.after_m)));
            line(format!("sigma_nm = {}", number(told.sigma_m / NM)));
        }
        for card in &self.cards {
            line(format!("\n[[cards]]\nscrew = {:?}", card.screw));
            line(format!(
                "direction_deg = {}",
                number(card.direction_rad / DEG)
            ));
        }
        text
    }
}

fn told_turn(raw: RawTrial) -> ToldTurn {
    ToldTurn {
        screw: raw.screw,
        turns: raw.turns,
        before_m: raw.before_nm.map(|nm| nm * NM),
        after_m: raw.after_nm.map(|nm| nm * NM),
        sigma_m: raw.sigma_nm * NM,
    }
}

fn learned_card(raw: RawCard) -> LearnedCard {
    LearnedCard {
        screw: raw.screw,
        direction_rad: raw.direction_deg * DEG,
    }
}

fn learned_hold(raw: RawHold) -> HoldCase {
    HoldCase {
        hold: Hold {
            rotation_rad: raw.rotation_deg * DEG,
            mirrored: raw.mirrored,
        },
        coma_m_per_rad: raw.coma_nm_per_arcmin * NM / ARCMIN,
        weight: raw.weight,
    }
}

fn learned_screw(raw: RawScrew) -> LearnedScrew {
    LearnedScrew {
        name: raw.name,
        coma_per_turn: Coma::along_axes(raw.coma_nm_per_turn.map(|c| c * NM))
            .with_sigma(raw.coma_sigma_nm_per_turn * NM),
    }
}

const LEARN_AGAIN: &str = "`skewstar learn` writes this file; learn again rather than mend it";

/// The words of a response file: a program wrote it, so it is not mended by hand.
struct OfResponse;

impl Words for OfResponse {
    fn wrong_type(&self, _rule: &Rule, _node: &Node, _key: &str) -> String {
        LEARN_AGAIN.into()
    }

    fn out_of_range(&self, rule: &Rule, node: &Node, key: &str) -> String {
        match key {
            "format" => ONLY_FORMAT.into(),
            _ => meant(rule, node).unwrap_or_else(|| LEARN_AGAIN.into()),
        }
    }

    fn missing(&self, _key: &str) -> String {
        LEARN_AGAIN.into()
    }

    fn unknown(&self, rule: &Rule, section: &str, key: &str) -> Told {
        unknown_here(&rule.names(), "a response file", section, key)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn learned() -> LearnedResponse {
        let uncertain = |value, sigma| Uncertain {
            value,
            sigma: Some(sigma),
        };
        LearnedResponse {
            coma_m_per_rad: uncertain(61.75 * NM / ARCMIN, 0.25 * NM / ARCMIN),
            image_shift_m_per_rad: Some(uncertain(-29.5 * UM / ARCMIN, 0.125 * UM / ARCMIN)),
            rotation_rad: uncertain(-139.5 * DEG, 0.5 * DEG),
            mirrored: true,
            holds: vec![HoldCase {
                hold: Hold {
                    rotation_rad: -139.5 * DEG,
                    mirrored: true,
                },
                coma_m_per_rad: 61.75 * NM / ARCMIN,
                weight: 1.0,
            }],
            screws: vec![LearnedScrew {
                name: "A \"top\"".into(),
                coma_per_turn: Coma::along_axes([-3.5 * NM, 1930.0 * NM]).with_sigma(9.0 * NM),
            }],
            trials: vec![ToldTurn {
                screw: "A \"top\"".into(),
                turns: -0.125,
                before_m: [120.5 * NM, -31.25 * NM],
                after_m: [119.0 * NM, 210.0 * NM],
                sigma_m: 0.75 * NM,
            }],
            cards: vec![LearnedCard {
                screw: "A \"top\"".into(),
                direction_rad: 151.5 * DEG,
            }],
            by_header: Some(true),
            flags: Flags::from([Flag::TrialsDisagree]),
        }
    }

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() <= 1e-8 * a.abs()
    }

    #[test]
    fn what_is_written_is_read() {
        let written = learned();
        let read = LearnedResponse::read(&written.to_toml(), "x.response.toml").expect("readable");
        assert!(close(
            read.coma_m_per_rad.value,
            written.coma_m_per_rad.value
        ));
        assert!(close(read.rotation_rad.value, written.rotation_rad.value));
        let shifts = [&read, &written].map(|r| r.image_shift_m_per_rad.expect("a shift"));
        assert!(close(shifts[0].value, shifts[1].value));
        assert!(close(shifts[0].sigma.unwrap(), shifts[1].sigma.unwrap()));
        let coma = read.screws[0].coma_per_turn;
        assert!(close(coma.xy_nm()[0], -3.5));
        assert!(close(coma.xy_nm()[1], 1930.0));
        assert!(close(coma.sigma_per_axis_m().unwrap(), 9.0 * NM));
        assert_eq!(read.screws[0].name, written.screws[0].name);
        assert_eq!((read.mirrored, &read.flags), (true, &written.flags));
        let (told, kept) = (&read.trials[0], &written.trials[0]);
        assert_eq!((&told.screw, told.turns), (&kept.screw, kept.turns));
        for (read, written) in [(told.before_m, kept.before_m), (told.after_m, kept.after_m)] {
            assert!(close(read[0], written[0]) && close(read[1], written[1]));
        }
        assert!(close(told.sigma_m, kept.sigma_m));
        assert_eq!(read.cards[0].screw, written.cards[0].screw);
        assert!(close(
            read.cards[0].direction_rad,
            written.cards[0].direction_rad
        ));
        assert_eq!(read.by_header, Some(true));
        let plain = LearnedResponse {
            image_shift_m_per_rad: None,
            trials: Vec::new(),
            cards: Vec::new(),
            by_header: None,
            flags: Flags::default(),
            ..written
        };
        let again = LearnedResponse::read(&plain.to_toml(), "x").expect("readable");
        assert!(again.image_shift_m_per_rad.is_none() && again.flags.is_empty());
        assert!(again.trials.is_empty() && again.cards.is_empty() && again.by_header.is_none());
    }

    /// Every refusal names file, line, key, value and what is allowed.
    #[test]
    fn what_cannot_be_meant_is_refused() {
        let text = LearnedResponse {
            by_header: None,
            ..learned()
        }
        .to_toml();
        let refused = |from: &str, to: &str| {
            assert!(text.contains(from), "{from}");
            let changed = text.replace(from, to);
            LearnedResponse::read(&changed, "r.toml")
                .unwrap_err()
                .to_string()
        };
        assert_eq!(
            refused(
                "[camera]\nrotation_deg = -139.5",
                "[camera]\nrotation_deg = 400"
            ),
            "r.toml:12:1: camera.rotation_deg is 400, but must be a number from -360 to 360"
        );
        assert_eq!(
            refused("mirrored = true\n\n[[holds]]", "mirrored = 1\n\n[[holds]]"),
            "r.toml:14:1: camera.mirrored is 1, but must be true or false"
        );
        assert_eq!(
            refused("[-3.5, 1930]", "[-3.5]"),
            "r.toml:24:1: screws[0].coma_nm_per_turn is a list of 1 value, but must be a list of 2 numbers, \
             each from -100000000 to 100000000"
        );
        assert_eq!(
            refused("[response]\ncoma_nm_per_arcmin", "[response]\ncoma_nm"),
            "r.toml:6:1: response.coma_nm is not a key of [response]"
        );
        assert_eq!(
            refused("mirrored = true\n\n[[holds]]", "\n[[holds]]"),
            "r.toml:11:2: camera.mirrored is missing"
        );
        assert_eq!(
            refused("format = 1", "format = 2"),
            "r.toml:2:1: format is 2, but must be 1"
        );
        assert_eq!(
            refused(
                "[response]\ncoma_nm_per_arcmin = 61.75",
                "[response]\ncoma_nm_per_arcmin = nan"
            ),
            "r.toml:6:1: response.coma_nm_per_arcmin is nan, but must be a number from -100000 to 100000"
        );
        assert_eq!(
            refused("flags = [\"trials_disagree\"]", "flags = \"none\""),
            "r.toml:3:1: flags is \"none\", but must be a list of texts in quotes"
        );
        assert_eq!(
            refused("trials_disagree", "saturated"),
            "r.toml:3:10: flags[0] is \"saturated\", but must be \"mirror_open\", \"recentred\", \
             \"shift_unsteady\" or \"trials_disagree\""
        );
        let misspelt = text.replace("trials_disagree", "trials_disagre");
        let hint = LearnedResponse::read(&misspelt, "r.toml").unwrap_err();
        assert_eq!(hint.hint(), "did you mean \"trials_disagree\"?");
        assert!(
            refused("\"trials_disagree\"", "\"recentred\", \"recentred\"")
                .contains("the flag recentred stands twice")
        );
        assert_eq!(
            refused("name = \"A \\\"top\\\"\"", "name = 5"),
            "r.toml:23:1: screws[0].name is 5, but must be text in quotes"
        );
        let screwless = text.split("\n[[screws]]").next().expect("a first part");
        let none = screwless.replace("format = 1", "format = 1\nscrews = []");
        assert_eq!(
            LearnedResponse::read(&none, "r.toml")
                .unwrap_err()
                .to_string(),
            "r.toml:3:1: screws is a list of 0 values, but must be a list of at least 1 table"
        );
        let pointed = text.replace("format = 1", "format = 1.0");
        assert!(LearnedResponse::read(&pointed, "r.toml").is_ok());
        let empty = LearnedResponse::read("# nothing\n", "r.toml").unwrap_err();
        assert_eq!(empty.hint(), "`skewstar learn` writes such a file");
        for odd in [
            "format = 1\nscrews = []",
            "x",
            "format = 1\nresponse = 3",
            "screws = [1]",
        ] {
            assert!(LearnedResponse::read(odd, "r.toml").is_err(), "{odd}");
        }
    }
}
