//! From the typed scenario to the domain: what one value means for another, then all conversions to SI.
//!
//! Each section has one file with the same two stages. `check` notes every contradiction and converts nothing; `build`
//! converts and cannot fail. Types and limits of single values were checked before, by [`check`](super::check).
//! Lengths are compared in the units of the file, so that a message shows what was typed.

mod assembly;
mod camera;
mod mask;
mod mask_fit;
mod prescription;
mod state;
mod surfaces;
mod telescope;

pub(super) use camera::span_of_filters;
pub(super) use telescope::check_field_point;

use crate::instrument::Instrument;
use crate::mechanics::Flexure;
use crate::mechanics::prescription::Derived;
use crate::state::{FieldStars, Modes, State};
use crate::units::NM;

use super::document::Document;
use super::error::ScenarioError;
use super::findings::Contradictions;
use super::raw::{NollTable, RawScenario};

/// Slack, as a share, of a limit that follows from another value: half a limit of 15 digits has 16.
const ROUNDING: f64 = 1e-12;

/// Checks a typed scenario for contradictions; hands out what was traced from its prescription, where it has one.
pub(super) fn check(
    raw: &RawScenario,
    document: &Document,
) -> Result<Option<Derived>, ScenarioError> {
    let mut findings = Contradictions::of(document);
    check_title(raw, &mut findings);
    telescope::check(&raw.telescope, &mut findings);
    if let Some(unit) = &raw.assembly {
        assembly::check(unit, &mut findings);
    }
    if let Some(plate) = &raw.mask {
        mask::check(plate, &raw.telescope, &mut findings);
    }
    camera::check(raw, &mut findings);
    state::check(raw, &mut findings);
    let traced = prescription::check(raw, &mut findings);
    findings.finish().map(|()| traced)
}

/// What a checked scenario means.
pub(super) struct BuiltScenario {
    pub instrument: Instrument,
    pub state: State,
    /// What was traced from [assembly.prescription].
    pub traced: Option<Derived>,
    /// How the unit leans.
    pub flexure: Option<Flexure>,
    /// The stars of a whole sensor.
    pub field: Option<FieldStars>,
}

/// Converts a checked scenario, with what [`check`] traced.
pub(super) fn build(raw: &RawScenario, traced: Option<Derived>) -> BuiltScenario {
    let mut instrument = Instrument {
        telescope: telescope::build(&raw.telescope),
        assembly: raw.assembly.as_ref().map(assembly::build),
        mask: raw
            .mask
            .as_ref()
            .map(|plate| mask::build(plate, &raw.telescope)),
        camera: camera::build(&raw.camera),
    };
    if let Some(derived) = &traced {
        prescription::lay_over(derived, raw, &mut instrument);
    }
    let state = state::build(raw, &instrument);
    BuiltScenario {
        instrument,
        state,
        traced,
        flexure: state::flexure(raw),
        field: state::field(raw),
    }
}

/// The title ends up in picture and frame headers, which carry one printable line.
fn check_title(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    if raw.title.trim().is_empty() || raw.title.chars().any(char::is_control) {
        let shown = super::error::quoted(&raw.title);
        findings.out_of_range(
            "title",
            shown,
            "one line of printable text",
            "say in a few words what the scenario shows",
        );
    }
}

/// Modes in metres.
fn modes(table: &NollTable) -> Modes {
    table
        .0
        .iter()
        .map(|(noll, rms_nm)| (*noll, rms_nm * NM))
        .collect()
}

/// A pair of lengths in other units.
fn scaled(pair: [f64; 2], unit: f64) -> [f64; 2] {
    pair.map(|value| value * unit)
}

/// Length of a vector.
fn length(vector: [f64; 2]) -> f64 {
    vector[0].hypot(vector[1])
}

/// A pair as a message shows it.
fn pair(values: [f64; 2]) -> String {
    format!(
        "[{}, {}]",
        super::error::number(values[0]),
        super::error::number(values[1])
    )
}
