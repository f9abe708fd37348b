//! Scenario files: text in, a validated [`Instrument`] and [`State`] out.
//!
//! It parses text it is handed: it opens no file, prints nothing, reads no clock and draws nothing at random. Two stages:
//! the text becomes structs that hold what was typed (`raw`), and only a text that passes every check becomes the domain
//! types, in SI units (`validate`). Nothing is repaired on the way: what cannot be meant is refused, with its line, its
//! key, what is allowed and what to do next.
//!
//! ```text
//! text ─▶ document (values that know their line) ◀─ overrides (--set)
//!              │ check    known keys, types, limits       ◀─ rules ◀─ raw (the one list of keys)
//!              │ validate what one value means for another, then SI
//!              ▼
//!          Scenario
//! ```
//!
//! The same checks serve whoever makes an instrument and a state in code ([`check_parts`]), and the way back is there as well
//! ([`write()`]).
//!
//! A misspelt key or a wrong type anywhere is told before a contradiction between two values; among equals the earliest
//! line is told. A seed is not asked for here: only a question that draws at random needs one.

pub(crate) mod advice;
mod check;
pub(crate) mod document;
pub(crate) mod error;
mod findings;
mod keys;
mod overrides;
mod parts;
pub(crate) mod path;
mod raw;
mod response;
mod rules;
mod schema;
mod template;
mod validate;

pub use error::{Place, Problem, ScenarioError};
pub use keys::{KeyDoc, key_table};
pub use overrides::steps;
pub use parts::{check_instrument, check_parts, write};
pub(crate) use rules::numbers_of;
pub use template::{TemplateKind, template};

use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

use crate::instrument::{Instrument, MaskLayout};
use crate::mask::drawing::{self, DrawingError};
use crate::mechanics::Flexure;
use crate::mechanics::prescription::Derived;
use crate::state::{FieldStars, State};
use document::{Document, Origin};

/// A scenario that passed every check.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// What it shows, in one line.
    pub title: String,
    /// Seed of everything random, 0 to 2^53 − 1; `None` when the file has none.
    pub seed: Option<u64>,
    /// What the owner knows.
    pub instrument: Instrument,
    /// What is hidden.
    pub state: State,
    /// What was traced from [assembly.prescription]; `None` where the response was typed in or is not known.
    pub traced: Option<Derived>,
    /// How the unit leans under its own weight; `None` where it is not said.
    pub flexure: Option<Flexure>,
    /// The stars of a whole sensor; `None` where the file names none.
    pub field: Option<FieldStars>,
    /// SHA-256 of the text, in hex; with overrides, of the text followed by a line feed and `--set KEY=VALUE` for each.
    pub sha256: String,
}

/// Reads a scenario.
///
/// `label` is the file's name for messages. Each of `overrides` is `KEY=VALUE` with a TOML value on the right, laid over
/// the text before it is checked, such as `telescope.vanes[0].width_mm=5`.
///
/// # Errors
/// [`ScenarioError`] for the first thing that cannot be meant.
///
/// ```
/// // A typing slip costs a message, not an hour: the key is named with its place and its neighbour.
/// let text = "format = 1\ntitle = \"slip\"\n[telescope]\napertur_mm = 190\nfocal_length_mm = 456\n\
///             [camera]\npixel_um = 3.8\nwidth_px = 160\nheight_px = 160\n";
/// let error = skewstar::scenario::read(text, "slip.toml", &[]).unwrap_err();
/// assert_eq!(error.to_string(), "slip.toml:4:1: telescope.apertur_mm is not a key of [telescope]");
/// assert_eq!(error.hint(), "did you mean telescope.aperture_mm?");
/// ```
pub fn read(text: &str, label: &str, overrides: &[String]) -> Result<Scenario, ScenarioError> {
    let mut document = Document::parse(text, label)?;
    overrides::apply(&mut document, overrides)?;
    document.check_format("a scenario")?;
    check::check(&document, rules::rules(), &advice::OfScenario)?;
    let raw: raw::RawScenario = typed(&document, "compare the file with `skewstar schema`")?;
    let traced = validate::check(&raw, &document)?;
    let built = validate::build(&raw, traced);
    Ok(Scenario {
        title: raw.title,
        seed: raw.seed,
        instrument: built.instrument,
        state: built.state,
        traced: built.traced,
        flexure: built.flexure,
        field: built.field,
        sha256: digest(text, overrides),
    })
}

/// Reads a scenario from bytes that may not be text.
///
/// # Errors
/// As [`read`]; bytes that are not UTF-8 are refused with the offset of the first bad one.
pub fn read_bytes(
    bytes: &[u8],
    label: &str,
    overrides: &[String],
) -> Result<Scenario, ScenarioError> {
    let hint = "a scenario is a plain text file; is this a picture, or text in another encoding?";
    read(text_of(bytes, label, hint)?, label, overrides)
}

/// The text of a file.
pub(crate) fn text_of<'b>(
    bytes: &'b [u8],
    label: &str,
    hint: &str,
) -> Result<&'b str, ScenarioError> {
    std::str::from_utf8(bytes).map_err(|error| {
        let problem = Problem::NotUtf8 {
            offset: error.valid_up_to(),
        };
        ScenarioError::new(label, Place::Whole, problem, hint)
    })
}

/// JSON Schema (draft 2020-12) of the scenario file, indented, for editors.
pub fn schema() -> String {
    format!("{:#}", schema::schema_value::<raw::RawScenario>())
}

impl Scenario {
    /// The name of the drawing that its mask is made from, beside the scenario's own file; `None` for every other mask.
    pub fn drawing_file(&self) -> Option<&str> {
        match &self.instrument.mask.as_ref()?.layout {
            MaskLayout::Drawing(named) => Some(&named.file),
            _ => None,
        }
    }

    /// Reads the openings of its mask from the bytes of the drawing that it names, and lets the checksum depend on them.
    /// Nothing happens to a scenario that names no drawing.
    ///
    /// # Errors
    /// [`DrawingError`] where the bytes are no drawing that can be a mask.
    pub fn put_drawing(&mut self, bytes: &[u8]) -> Result<(), DrawingError> {
        let mirrored = self.instrument.telescope.seen_mirrored();
        let Some(design) = &mut self.instrument.mask else {
            return Ok(());
        };
        let MaskLayout::Drawing(named) = &design.layout else {
            return Ok(());
        };
        let diameters_m = [design.inner_diameter_m, design.outer_diameter_m];
        design.layout = MaskLayout::Drawing(drawing::read(bytes, named, diameters_m, mirrored)?);
        self.add_to_digest(bytes);
        Ok(())
    }

    /// Makes the checksum depend on another file that belongs to the scenario, such as the drawing of a mask.
    fn add_to_digest(&mut self, bytes: &[u8]) {
        let mut hash = Sha256::new();
        hash.update(&self.sha256);
        hash.update(bytes);
        self.sha256 = hex(&hash.finalize());
    }
}

/// The typed structs. The rules were read off them, so a document that passed the first check fits; should the two ever
/// disagree, the reader's own message is better than a guess.
fn typed<File: DeserializeOwned>(document: &Document, hint: &str) -> Result<File, ScenarioError> {
    File::deserialize(document.root.value.plain()).map_err(|error| {
        let message = error::shortened(&error.message().replace('\n', "; "));
        document.error(Origin::Byte(0), Problem::NotToml { message }, hint)
    })
}

fn digest(text: &str, overrides: &[String]) -> String {
    let mut hash = Sha256::new();
    hash.update(text);
    for argument in overrides {
        hash.update("\n--set ");
        hash.update(argument);
    }
    hex(&hash.finalize())
}

/// Bytes in hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
