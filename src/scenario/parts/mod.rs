//! An instrument and a state that were made in code, checked by the rules of the file; and written as a file.
//!
//! [`Instrument`] and [`State`] are plain data that anybody can fill in. There is no second list of limits for them: they
//! are put back into the tables of a scenario, in the units of the file, and those tables meet the very same checks as a
//! text does. A refusal names the path of the key and has no line.
//!
//! ```text
//! Instrument, State ─▶ tables (keys) ─▶ check, validate   ◀─ rules (limits), a few of them wider
//!                              │        beyond              what no key of a file says
//!                              ▼
//!                            write ─▶ text
//! ```

mod assembly;
mod beyond;
mod camera;
mod filters;
mod keys;
mod limits;
mod mask;
mod mask_fit;
mod state;
mod telescope;
mod write;

pub use write::write;

use std::collections::BTreeMap;

use super::document::{Document, Node, Value};
use super::error::ScenarioError;
use super::raw::RawScenario;
use super::rules::Rule;
use super::{advice, check, typed, validate};
use crate::instrument::Instrument;
use crate::state::State;
use keys::{Keys, text};

/// Checks an instrument and a state, whoever made them, by the rules of a scenario file: the same limits, the same words,
/// and the path of the field, as a key of the file and in its units, in place of a line.
///
/// What [`read`](super::read) hands out passes, except a mask whose drawing has not been read. A value at a limit passes:
/// values are rounded to 15 digits when they are put into the units of the file. Values that the reader works out itself (a
/// traced response, modes summed up from three tables) may be larger than the file lets anybody type. What no file can say is
/// checked as well: turns without a screw, the openings of a drawing, `state.aside_m` and `state.flexure_rad` (as
/// `state.aside_mm` and `state.flexure_arcmin`). Turns may be left empty; all screws then have their nominal length.
///
/// # Errors
/// [`ScenarioError`] for the first field that cannot be meant, with its path ([`ScenarioError::key`]) and the next step
/// ([`ScenarioError::hint`]).
///
/// ```
/// use skewstar::instrument::{Camera, Instrument, Obstruction, Passband, Telescope};
/// use skewstar::scenario::check_parts;
/// use skewstar::state::State;
/// use skewstar::units::{MM, NM, UM};
///
/// let mut instrument = Instrument::new(
///     Telescope::new(190.0 * MM, 456.0 * MM),
///     Camera::new(3.8 * UM, [160, 120], Passband::Band([480.0 * NM, 620.0 * NM])),
/// );
/// instrument.telescope.obstruction = Some(Obstruction::disc(-40.0 * MM));
/// let error = check_parts(&instrument, &State::default()).unwrap_err();
/// assert_eq!(error.key(), Some("telescope.obstruction.diameter_mm"));
/// assert_eq!(error.to_string(), "telescope.obstruction.diameter_mm is -40, but must be a number from 0 to 20000");
///
/// // A limit that one value sets for another is told as for a file, too.
/// instrument.telescope.obstruction = Some(Obstruction::disc(190.0 * MM));
/// let error = check_parts(&instrument, &State::default()).unwrap_err();
/// assert!(error.to_string().ends_with("is 190, but must be smaller than telescope.aperture_mm (190)"));
/// assert_eq!(error.hint(), "it is the diameter of the central disc, usually 15 to 45 % of the aperture");
/// ```
pub fn check_parts(instrument: &Instrument, state: &State) -> Result<(), ScenarioError> {
    let document = Document::of_code(Tables::of(NO_TITLE, instrument, state).joined());
    checked(&document, limits::wider(), instrument, state)?;
    beyond::check_drawing(instrument)
}

/// Checks an instrument alone, whatever its state: as [`check_parts`] does.
///
/// # Errors
/// As [`check_parts`].
pub fn check_instrument(instrument: &Instrument) -> Result<(), ScenarioError> {
    check_parts(instrument, &State::default())
}

/// The title of parts that have none; it is never shown.
const NO_TITLE: &str = "made in code";

/// The tables of a scenario that is being made up; two of them apart, for those who have more to say in them.
struct Tables {
    top: Keys,
    assembly: Option<Keys>,
    state: Keys,
}

impl Tables {
    fn of(title: &str, instrument: &Instrument, state: &State) -> Self {
        let Instrument {
            telescope,
            assembly,
            mask,
            camera,
        } = instrument;
        let mut top = Keys::default();
        top.put("format", Value::Whole(1));
        top.put("title", text(title));
        top.put("telescope", telescope::telescope(telescope));
        top.put_some("mask", mask.as_ref().map(mask::mask));
        top.put("camera", camera::camera(camera));
        Tables {
            state: state::state(state, assembly.as_ref(), &mut top),
            assembly: assembly.as_ref().map(assembly::assembly),
            top,
        }
    }

    /// The top table of the scenario.
    fn joined(mut self) -> BTreeMap<String, Node> {
        self.top
            .put_some("assembly", self.assembly.map(Keys::table));
        self.top.put("state", self.state.table());
        self.top.top()
    }
}

const REPORT: &str = "this is a mistake of the crate; please report it";

/// The checks that both [`check_parts`] and [`write()`] make: single values before contradictions, as for a text.
fn checked(
    document: &Document,
    rules: &Rule,
    instrument: &Instrument,
    state: &State,
) -> Result<(), ScenarioError> {
    check::check(document, rules, &advice::OfScenario)?;
    beyond::check(instrument, state)?;
    let raw: RawScenario = typed(document, REPORT)?;
    validate::check(&raw, document).map(|_| ())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::path::KeyPath;
    use crate::testing::fast_unit;

    /// Every key that a file may have for an instrument and a state is made up here, or is named below with a reason.
    #[test]
    fn no_key_of_the_file_is_forgotten() {
        const OTHERWISE: [(&str, &str); 8] = [
            ("seed", "belongs to the draws; `write` takes it"),
            (
                "field",
                "a list of stars is neither an instrument nor a state",
            ),
            ("assembly.prescription", "its traced response is written"),
            ("assembly.flexure", "the tilt that follows is written"),
            ("state.down_deg", "part of how the flexure is said"),
            ("state.modes_annular_nm", "summed up in state.modes_nm"),
            ("state.seidel_waves", "summed up in state.modes_nm"),
            (
                "camera.passbands",
                "made up for a camera with a colour pattern only",
            ),
        ];
        let whole = include_str!("../../../tests/data/whole_scenario.toml");
        let scenario = crate::scenario::read(whole, "whole.toml", &[]).expect("the whole scenario");
        let made =
            Document::of_code(Tables::of("t", &scenario.instrument, &scenario.state).joined());
        let typed = Document::parse(whole, "whole.toml").expect("the whole scenario");
        let mut missing = Vec::new();
        visit(&typed.root.value, "", &mut |path| {
            let known = OTHERWISE.iter().any(|(key, _)| path.starts_with(key));
            let steps = KeyPath::parse(path).expect("a path").0;
            let there = steps
                .iter()
                .try_fold(&made.root, |node, step| node.child(step));
            if !known && there.is_none() {
                missing.push(path.to_owned());
            }
        });
        assert_eq!(missing, Vec::<String>::new());
    }

    fn visit(value: &Value, path: &str, see: &mut dyn FnMut(&str)) {
        if let Value::Table(table) = value {
            for (key, node) in table {
                let path = crate::scenario::path::joined(path, key);
                see(&path);
                visit(&node.value, &path, see);
            }
        }
    }

    #[test]
    fn what_is_sound_passes() {
        assert_eq!(check_parts(&fast_unit(), &State::default()), Ok(()));
    }
}
