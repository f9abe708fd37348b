//! The rules of what an instrument and a state hold and no file says.
//!
//! Turns come as a list without names, the openings of a drawing come from another file, and two fields of the state are
//! worked out while a program runs. Their limits are written down as those of the file are: on the structs below.

use std::sync::OnceLock;

use schemars::JsonSchema;

use super::keys::{Keys, pair};
use crate::instrument::{Instrument, MaskDesign, MaskLayout};
use crate::scenario::advice::OfScenario;
use crate::scenario::check;
use crate::scenario::document::Document;
use crate::scenario::error::{Problem, ScenarioError, quoted};
use crate::scenario::findings::Contradictions;
use crate::scenario::rules::Rule;
use crate::scenario::schema;
use crate::scenario::validate::check_field_point;
use crate::state::State;
use crate::units::{ARCMIN, MM};

/// The keys that a file would have.
#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(dead_code)] // only its schema is used
struct Beyond {
    state: BeyondState,
}

#[derive(JsonSchema)]
#[schemars(deny_unknown_fields)]
#[allow(dead_code)] // only its schema is used
struct BeyondState {
    /// Where the star stands from the middle of a frame that is not recentred (x, y).
    #[schemars(inner(range(min = -1e5, max = 1e5)), extend("examples" = [[0.0, 0.0]]))]
    aside_mm: [f64; 2],
    /// Tilt of the unit that no screw shows (x, y).
    #[schemars(inner(range(min = -1200.0, max = 1200.0)), extend("examples" = [[0.0, 0.0]]))]
    flexure_arcmin: [f64; 2],
}

fn rules() -> &'static Rule {
    static RULES: OnceLock<Rule> = OnceLock::new();
    RULES.get_or_init(|| schema::rule(&schema::schema_value::<Beyond>()))
}

/// Checks everything but the openings of a drawing.
pub(super) fn check(instrument: &Instrument, state: &State) -> Result<(), ScenarioError> {
    let mut own = Keys::default();
    own.put("aside_mm", pair(state.aside_m.xy(), MM));
    own.put("flexure_arcmin", pair(state.flexure_rad, ARCMIN));
    let mut top = Keys::default();
    top.put("state", own.table());
    let document = Document::of_code(top.top());
    check::check(&document, rules(), &OfScenario)?;
    let mut findings = Contradictions::of(&document);
    check_turns(instrument, state, &mut findings);
    let aside_mm = state.aside_m.xy().map(|m| m / MM);
    let focal_length_mm = instrument.telescope.focal_length_m / MM;
    check_field_point("state.aside_mm", aside_mm, focal_length_mm, &mut findings);
    check_flexure(instrument, state, &mut findings);
    findings.finish()
}

/// Checks that a mask made from a drawing has its openings, and that they are openings of its plate.
pub(super) fn check_drawing(instrument: &Instrument) -> Result<(), ScenarioError> {
    let document = Document::of_code(Keys::default().top());
    let mut findings = Contradictions::of(&document);
    if let Some(design) = &instrument.mask {
        note_drawing(design, &mut findings);
    }
    findings.finish()
}

fn check_turns(instrument: &Instrument, state: &State, findings: &mut Contradictions<'_>) {
    let Some(assembly) = &instrument.assembly else {
        return; // the file's own rule has the words for turns without an assembly
    };
    let (turns, screws) = (state.turns.len(), assembly.screws.len());
    if turns != 0 && turns != screws {
        findings.out_of_range(
            "state.turns",
            match turns {
                1 => "a list of 1 value".to_owned(),
                _ => format!("a list of {turns} values"),
            },
            format!("a list of {screws} values, one for each of assembly.screws, or of none"),
            "turns stand in the order of the screws; without any, every screw has its nominal length",
        );
    }
}

fn check_flexure(instrument: &Instrument, state: &State, findings: &mut Contradictions<'_>) {
    let unit = instrument.assembly.as_ref();
    if state.flexure_rad != [0.0; 2] && unit.is_none_or(|unit| unit.response.is_none()) {
        let problem = Problem::NoMeaning {
            key: "state.flexure_arcmin".into(),
            condition: "where there is no [assembly.response]".into(),
        };
        findings.wrong_key(
            "state.flexure_arcmin",
            problem,
            "without a response nobody knows what a tilt does to the star; give the assembly one",
        );
    }
}

/// Slack of an opening's corners: ten steps of the grid on which drawings are cut into convex parts.
const SLACK_M: f64 = 1e-6;

fn note_drawing(design: &MaskDesign, findings: &mut Contradictions<'_>) {
    let MaskLayout::Drawing(drawing) = &design.layout else {
        return;
    };
    if drawing.openings_m.is_empty() {
        let problem = Problem::NotRead {
            key: "mask.drawing".into(),
            file: quoted(&drawing.file),
        };
        let hint =
            "skewstar::files::scenario reads a scenario together with the drawing of its mask";
        findings.wrong_key("mask.drawing", problem, hint);
    }
    let outer_m = 0.5 * design.outer_diameter_m + SLACK_M;
    let wrong = |opening: &Vec<[f64; 2]>| !is_convex(opening) || !within(opening, outer_m);
    if let Some(index) = drawing.openings_m.iter().position(wrong) {
        let corners = drawing.openings_m[index].len();
        findings.out_of_range(
            &format!("mask.drawing.openings_mm[{index}]"),
            format!("a shape of {corners} corners"),
            "a convex polygon on the plate, its corners counter-clockwise",
            "skewstar::mask::drawing::read cuts a drawing into such polygons",
        );
    }
}

/// Whether no corner lies beyond a radius; NaN does.
fn within(opening: &[[f64; 2]], radius_m: f64) -> bool {
    opening.iter().all(|[x, y]| x.hypot(*y) <= radius_m)
}

/// Whether every corner turns to the left, but for the grid's rounding, and there is an area inside.
fn is_convex(opening: &[[f64; 2]]) -> bool {
    let count = opening.len();
    let mut twice_area_m2 = 0.0;
    for index in 0..count {
        let [a, b, c] = [0, 1, 2].map(|step| opening[(index + step) % count]);
        let (along, after) = ([b[0] - a[0], b[1] - a[1]], [c[0] - a[0], c[1] - a[1]]);
        let turn = along[0] * after[1] - along[1] * after[0];
        // how far the corner lies on the wrong side of the line past it
        if turn < -SLACK_M * after[0].hypot(after[1]) {
            return false;
        }
        twice_area_m2 += a[0] * b[1] - a[1] * b[0];
    }
    count >= 3 && twice_area_m2 > 0.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::fast_unit;

    #[test]
    fn an_opening_is_convex_and_counter_clockwise() {
        let square = vec![[0.0, 0.0], [3e-3, 0.0], [3e-3, 2e-3], [0.0, 2e-3]];
        assert!(is_convex(&square));
        let clockwise: Vec<_> = square.iter().rev().copied().collect();
        let mut dented = square.clone();
        dented[1] = [1e-3, 1.5e-3];
        let mut hole_in_numbers = square.clone();
        hole_in_numbers[2][1] = f64::NAN;
        for wrong in [
            &clockwise,
            &dented,
            &hole_in_numbers,
            &square[..2].to_vec(),
            &vec![],
        ] {
            assert!(!is_convex(wrong), "{wrong:?}");
        }
    }

    #[test]
    fn a_tilt_and_a_place_without_a_key_have_a_path() {
        let instrument = fast_unit();
        let refused = |state: State| {
            let error = check(&instrument, &state).expect_err("a state to refuse");
            error.key().map(str::to_owned)
        };
        let flexure = |rad| State {
            flexure_rad: [0.0, rad],
            ..State::default()
        };
        assert_eq!(
            refused(flexure(f64::NAN)).as_deref(),
            Some("state.flexure_arcmin[1]")
        );
        assert_eq!(
            refused(flexure(0.5)).as_deref(),
            Some("state.flexure_arcmin[1]")
        );
        let aside = |m| State {
            aside_m: crate::axes::FieldM::new([m, 0.0]),
            ..State::default()
        };
        assert_eq!(
            refused(aside(f64::INFINITY)).as_deref(),
            Some("state.aside_mm[0]")
        );
        let far = 0.21 * instrument.telescope.focal_length_m;
        assert_eq!(refused(aside(far)).as_deref(), Some("state.aside_mm"));
        assert_eq!(check(&instrument, &aside(1e-3)), Ok(()));
        assert_eq!(check(&instrument, &flexure(1e-4)), Ok(()));
    }
}
