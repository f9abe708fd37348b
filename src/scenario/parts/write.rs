//! A scenario file written from an instrument and a state.

use super::camera::{FILTERS, is_implied};
use super::filters::typed_filter;
use super::keys::{Keys, whole};
use super::{REPORT, Tables, checked, limits};
use crate::axes::FieldM;
use crate::instrument::Instrument;
use crate::scenario::document::{Document, LONGEST_TEXT, Node, Origin, Value};
use crate::scenario::error::{Problem, ScenarioError};
use crate::scenario::rules::{Rule, ValueShape, rules};
use crate::state::State;
use crate::units::{ARCMIN, DEG};
use std::f64::consts::PI;

/// The text of a scenario that [`read`](super::super::read) reads as this instrument and this state.
///
/// Keys that hold their default are left out. What the reader works out is written as what it worked out: a traced response
/// as numbers, all aberrations of the state in `[state.modes_nm]`, the lean of a unit for this pointing only; a telescope's surfaces are left out (a comment in
/// the text says so of both). Dimensions of slots that a mask's layout does not use are left out.
///
/// # Errors
/// [`ScenarioError`] for the first field that cannot be meant, as [`check_parts`](super::check_parts), and for what a file
/// has no words for: a star set aside by `state.aside_m`, colour filters that let through what the camera's own passband keeps
/// out, and worked-out values that are larger than a file may hold. The openings of a drawing are not looked at,
/// since the text names their file.
///
/// # Accuracy
/// Read again, every number is the same to 5e-15 of itself or, where it is the sum of several or a lean, to 1e-12
/// (`made_in_code::written::*`).
///
/// ```
/// use skewstar::instrument::{Camera, Instrument, Passband, Telescope};
/// use skewstar::scenario::{read, write};
/// use skewstar::state::State;
/// use skewstar::units::{MM, NM, UM};
///
/// let instrument = Instrument::new(
///     Telescope::new(120.0 * MM, 360.0 * MM),
///     Camera::new(3.0 * UM, [48, 40], Passband::Band([500.0 * NM, 600.0 * NM])),
/// );
/// let state = State { sensor_offset_m: 120.0 * UM, ..State::default() };
/// let text = write("A first look", Some(7), &instrument, &state)?;
/// assert!(text.contains("[telescope]\naperture_mm = 120.0\nfocal_length_mm = 360.0\n"));
///
/// let again = read(&text, "first.toml", &[])?;
/// assert_eq!((again.instrument, again.state, again.seed), (instrument, state, Some(7)));
/// # Ok::<(), skewstar::scenario::ScenarioError>(())
/// ```
pub fn write(
    title: &str,
    seed: Option<u64>,
    instrument: &Instrument,
    state: &State,
) -> Result<String, ScenarioError> {
    let made = Document::of_code(Tables::of(title, instrument, state).joined());
    checked(&made, limits::wider(), instrument, state)?;
    let instrument = &as_typed(instrument, &made)?;
    let mut tables = Tables::of(title, instrument, state);
    tables.top.put_some("seed", seed.map(whole));
    say_flexure(state, &mut tables);
    let mut document = Document::of_code(tables.joined());
    checked(&document, rules(), instrument, state)?;
    refuse_aside(state, &document)?;
    leave_out_defaults(&mut document.root, rules());
    let refused = |problem, hint| document.error(Origin::Code, problem, hint);
    let plain = document.root.value.plain();
    let text = toml::to_string(&plain).map_err(|error| {
        let message = error.to_string();
        refused(Problem::NotToml { message }, REPORT)
    })?;
    let text = head(instrument, state) + &text;
    if text.len() > LONGEST_TEXT {
        let (bytes, limit) = (text.len(), LONGEST_TEXT);
        let hint = "a table of a passband has too many points";
        return Err(refused(Problem::TooLong { bytes, limit }, hint));
    }
    Ok(text)
}

fn head(instrument: &Instrument, state: &State) -> String {
    let mut head = String::from("# Written by skewstar from an instrument and a state.\n");
    if instrument.telescope.surfaces.is_some() {
        head += "# The telescope's surfaces are not written: its stars follow [assembly.response] and [telescope.field] alone.\n";
    }
    if leans(state) {
        head += "# [assembly.flexure] and state.down_deg say how the unit leans at this pointing, not at another one.\n";
    }
    head
}

fn leans(state: &State) -> bool {
    state.flexure_rad != [0.0; 2]
}

/// Says a tilt that no screw shows as a unit that leans.
///
/// Of the many ways one is taken that works at every altitude a, the zenith included: the screws were set with the telescope
/// level and turned over, so that the tilt is the level tilt times cos a − (−1).
fn say_flexure(state: &State, tables: &mut Tables) {
    let Some(assembly) = tables.assembly.as_mut().filter(|_| leans(state)) else {
        return;
    };
    let [x, y] = state.flexure_rad;
    let altitude_rad = state
        .star
        .as_ref()
        .map_or(0.5 * PI, |star| star.altitude_rad);
    let level_rad = x.hypot(y) / (libm::cos(altitude_rad) + 1.0);
    let down_deg = libm::atan2(y, x) / DEG;
    let mut flexure = Keys::default();
    flexure.put("level_tilt_arcmin", Value::Number(level_rad / ARCMIN));
    flexure.put("set_at_altitude_deg", Value::Number(0.0));
    flexure.put("set_at_down_deg", Value::Number(down_deg + 180.0));
    assembly.put("flexure", flexure.table());
    tables.state.put("down_deg", Value::Number(down_deg));
}

/// A state sets its star aside only while a program runs.
fn refuse_aside(state: &State, document: &Document) -> Result<(), ScenarioError> {
    if state.aside_m == FieldM::ZERO {
        return Ok(());
    }
    let (key, value) = ("state.aside_mm".to_owned(), "not [0, 0]".to_owned());
    let hint = "a frame that is not recentred shows the star where the tilt of the unit puts it";
    Err(document.error(Origin::Code, Problem::NoWords { key, value }, hint))
}

/// The instrument with its colour filters as the file gives them, before the camera's own passband is put in front.
fn as_typed(instrument: &Instrument, document: &Document) -> Result<Instrument, ScenarioError> {
    let mut typed = instrument.clone();
    let camera = &mut typed.camera;
    let Some(colour) = camera
        .colour
        .as_mut()
        .filter(|_| !is_implied(&instrument.camera))
    else {
        return Ok(typed);
    };
    for (name, behind) in FILTERS.iter().zip(&mut colour.passbands) {
        *behind = typed_filter(&camera.passband, behind).ok_or_else(|| {
            let problem = Problem::NoWords {
                key: format!("camera.passbands.{name}"),
                value: "a filter that lets through what the camera's own passband keeps out".into(),
            };
            let hint = "give the camera the passband from the filters' shortest to their longest wavelength";
            document.error(Origin::Code, problem, hint)
        })?;
    }
    Ok(typed)
}

/// Takes out optional keys that hold their default, and tables and lists that are left with nothing.
fn leave_out_defaults(node: &mut Node, rule: &Rule) {
    match (&mut node.value, &rule.shape) {
        (Value::Table(table), ValueShape::Table(_)) => table.retain(|key, inner| {
            let Some(field) = rule.field(key) else {
                return true;
            };
            leave_out_defaults(inner, &field.rule);
            field.required || !says_nothing(&inner.value, &field.rule)
        }),
        (Value::List(items), ValueShape::List { item, .. }) => {
            for inner in items {
                leave_out_defaults(inner, item);
            }
        }
        _ => {}
    }
}

fn says_nothing(value: &Value, rule: &Rule) -> bool {
    match value {
        Value::Table(table) if table.is_empty() => true,
        Value::List(items) if items.is_empty() => true,
        _ => rule.default.as_deref() == Some(value.plain().to_string().as_str()),
    }
}
