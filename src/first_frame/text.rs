//! The scenario of a first frame: a template of its kind, each number of which is measured, read, said, or called a guess.

use super::{Answers, FirstFrame};
use crate::diagnosis::{Diagnosis, DiagnosisOptions};
use crate::files;
use crate::instrument::ClockwiseTurn;
use crate::measure::{Difference, MeasureOptions, Side};
use crate::scenario::{self, ScenarioError, TemplateKind, template};
use crate::units::{DEG, MM, UM};
use std::f64::consts::PI;
use std::path::Path;
use toml_edit::{ArrayOfTables, DocumentMut, InlineTable, Item, Table, Value};

/// The scenario, and what was measured for it.
#[derive(Debug, Clone)]
pub struct FirstScenario {
    /// TOML with a comment behind each number.
    pub text: String,
    /// What was measured and what was guessed, a sentence each.
    pub words: Vec<String>,
}

/// Why there is none.
#[derive(Debug, thiserror::Error)]
pub enum FirstScenarioError {
    /// Something that only the owner can say was not said.
    #[error("{} {} not said", .0.join(", "), if .0.len() == 1 { "is" } else { "are" })]
    Lacking(Vec<&'static str>, String),
    /// A ring without a dark middle, of a telescope that has one.
    #[error("{0}: the ring has no dark middle, which only a refractor's has not")]
    NoDarkMiddle(String),
    /// The numbers do not fit together.
    #[error(transparent)]
    Refused(#[from] ScenarioError),
    /// The template cannot be edited: a fault of this program.
    #[error("the template of this kind cannot be filled in: {0}")]
    Template(String),
}

impl FirstScenarioError {
    /// What to do next.
    pub fn hint(&self) -> &str {
        match self {
            FirstScenarioError::Lacking(_, hint) => hint,
            FirstScenarioError::NoDarkMiddle(_) => {
                "take a frame farther from focus, or with less coma, or say --kind refractor"
            }
            FirstScenarioError::Refused(error) => error.hint(),
            FirstScenarioError::Template(_) => "please report it, with the command that led here",
        }
    }
}

/// Lengths and ratios of the telescope as far as they are known by now.
#[derive(Debug, Clone)]
struct Sizes {
    aperture_m: f64,
    focal_length_m: f64,
    pixel_m: f64,
    obstruction_m: Option<f64>,
    /// Azimuth and width of each vane, the widest first.
    vanes: Vec<[f64; 2]>,
    /// Whether a fit with the whole model has put them right.
    fitted: bool,
}

/// A fit that puts the sizes right is repeated from what it found.
const FITS: usize = 2;

impl FirstScenario {
    /// Puts together what the frame shows, what its file says and what its owner says.
    ///
    /// # Errors
    /// [`FirstScenarioError::Lacking`] with what is to be asked; the others are faults of what was said or of this program.
    ///
    /// # Accuracy
    /// `tests/first_frame.rs` holds it against frames of an independent simulator.
    pub fn of(
        frame: &FirstFrame,
        answers: &Answers,
        title: &str,
    ) -> Result<FirstScenario, FirstScenarioError> {
        let lacking = answers.lacking(frame);
        let (Some(aperture_m), Some(focal_length_m), Some(pixel_m), true) = (
            answers.aperture_m,
            answers.focal_length_in(frame),
            answers.pixel_in(frame),
            lacking.is_empty(),
        ) else {
            let questions: Vec<String> = lacking
                .iter()
                .map(|what| format!("{}: {}", what.option(), what.question()))
                .collect();
            let options = lacking.iter().map(|what| what.option()).collect();
            return Err(FirstScenarioError::Lacking(
                options,
                questions.join("\n      "),
            ));
        };
        if frame.obstruction_ratio.is_none() && answers.kind != Some(TemplateKind::Refractor) {
            return Err(FirstScenarioError::NoDarkMiddle(frame.name.clone()));
        }
        let mut sizes = Sizes {
            aperture_m,
            focal_length_m,
            pixel_m,
            obstruction_m: frame.obstruction_ratio.map(|ratio| ratio * aperture_m),
            // the picture beyond focus is the pupil turned by half a turn
            vanes: frame
                .shadows
                .iter()
                .map(|s| [s.direction_rad + PI, s.width_share * aperture_m])
                .collect(),
            fitted: false,
        };
        for _ in 0..FITS {
            let text = written(frame, answers, title, &sizes, 0.0)?;
            let Some(better) = sizes.put_right(frame, &text)? else {
                break;
            };
            sizes = better;
        }
        let turn_rad = match (answers.shadow_rad, sizes.vanes.first()) {
            (Some(said), Some([seen, _])) => said - seen,
            _ => 0.0,
        };
        let text = written(frame, answers, title, &sizes, turn_rad)?;
        scenario::read(&text, title, &[])?;
        Ok(FirstScenario {
            words: sizes.words(frame, answers),
            text,
        })
    }
}

impl Sizes {
    /// The sizes by a fit of the whole model to the star; `None` where it says nothing against them.
    fn put_right(&self, frame: &FirstFrame, text: &str) -> Result<Option<Sizes>, ScenarioError> {
        let instrument = scenario::read(text, &frame.name, &[])?.instrument;
        let read = files::read_against(&frame.reading, &instrument);
        let options = DiagnosisOptions {
            measure: MeasureOptions {
                side: Some(Side::Outside),
                ..MeasureOptions::default()
            },
            ..DiagnosisOptions::default()
        };
        // a star that cannot be fitted leaves what its edges say
        let Ok(found) = Diagnosis::of(&read.picture, &instrument, &options) else {
            return Ok(None);
        };
        let Some(star) = found.star().filter(|star| star.is_sound()) else {
            return Ok(None);
        };
        let mut better = Sizes {
            fitted: true,
            ..self.clone()
        };
        star.differs.iter().for_each(|one| better.take(one));
        // the fit turns the camera; here it is the vanes that are not known
        let mut answers = star.orientations.iter();
        let upright = answers.find(|a| !a.hold.mirrored && a.side != Some(Side::Inside));
        if let Some(answer) = upright {
            let turn_rad = answer.hold.rotation_rad;
            better.vanes.iter_mut().for_each(|vane| vane[0] -= turn_rad);
        }
        Ok(Some(better))
    }

    fn take(&mut self, one: &Difference) {
        let (what, number) = one.what.split_once(':').unwrap_or((&one.what, "1"));
        let vane = number.parse().ok().and_then(|n: usize| n.checked_sub(1));
        let vane = vane.and_then(|n| self.vanes.get_mut(n));
        match (what, vane) {
            ("obstruction_size", _) => {
                self.obstruction_m = self.obstruction_m.map(|m| m * (1.0 + one.value / 100.0));
            }
            ("vane_turn", Some(vane)) => vane[0] += one.value * DEG,
            ("vane_width", Some(vane)) => vane[1] *= 1.0 + one.value / 100.0,
            _ => {}
        }
    }

    fn focal_ratio(&self) -> f64 {
        self.focal_length_m / self.aperture_m
    }

    fn words(&self, frame: &FirstFrame, answers: &Answers) -> Vec<String> {
        let how = if self.fitted {
            "by a fit of the star"
        } else {
            "by the edges of the ring alone: no fit succeeded"
        };
        let mut words = vec![format!(
            "The ring is {:.0} px across: the sensor is {:.0} um (thousandths of a millimetre) from focus, on a side that the frame cannot show.",
            2.0 * frame.outer_radius_px,
            frame.distance_from_focus_m(self.focal_ratio(), self.pixel_m) / UM
        )];
        words.push(match self.obstruction_m {
            Some(m) => format!("Obstruction {:.1} mm across, {how}.", m / MM),
            None => "The ring has no dark middle: no obstruction is written.".into(),
        });
        let widths: Vec<String> = self
            .vanes
            .iter()
            .map(|v| format!("{:.1}", v[1] / MM))
            .collect();
        match widths.len() {
            0 => words.push("No shadow of a vane or cable is seen.".into()),
            count => words.push(format!(
                "{count} {} of {} mm, {how}.",
                if count == 1 { "shadow" } else { "shadows" },
                widths.join(", ")
            )),
        }
        if answers.screws.is_empty() {
            words.push("The screws A, B, C at 90, 210 and 330 degrees are a guess: put their azimuths right, or say --screws.".into());
        }
        words.push("What a turn does is a guess, scaled from another telescope: `skewstar night` learns it.".into());
        words
    }
}

/// The template of the kind with every number that is known put in.
fn written(
    frame: &FirstFrame,
    answers: &Answers,
    title: &str,
    sizes: &Sizes,
    turn_rad: f64,
) -> Result<String, FirstScenarioError> {
    let kind = answers.kind.unwrap_or(TemplateKind::PrimeFocus);
    let text = template(kind, title).replacen(INVENTED, MEASURED, 1);
    let document: DocumentMut = text
        .parse()
        .map_err(|e| FirstScenarioError::Template(format!("{e}")))?;
    let own = |key| document["telescope"].get(key).and_then(number);
    let mut page = Page {
        own_mm: own("aperture_mm").zip(own("focal_length_mm")),
        document,
        file: Path::new(&frame.name).file_name().map_or_else(
            || frame.name.clone(),
            |name| name.to_string_lossy().into_owned(),
        ),
    };
    page.telescope(answers, sizes, turn_rad);
    page.unit(answers, sizes);
    page.camera(frame, answers, sizes, turn_rad);
    page.state(frame, sizes);
    Ok(page.document.to_string())
}

/// What the templates say of their telescope, and what is said of this one.
const INVENTED: &str = "The telescope below is invented.";
const MEASURED: &str = "Behind each number stands where it comes from.";

/// A scenario that is being filled in.
struct Page {
    document: DocumentMut,
    /// Aperture and focal length of the template's own telescope, which its other numbers belong to.
    own_mm: Option<(f64, f64)>,
    file: String,
}

/// Where the comment behind a number begins, as in the templates.
const COMMENT_COLUMN: usize = 37;

impl Page {
    /// Puts a value in, and says behind it where it comes from.
    fn put(&mut self, [table, key]: [&str; 2], value: impl Into<Value>, from: &str) {
        if self.document[table].is_none() {
            self.document[table] = Item::Table(Table::new());
        }
        put(&mut self.document[table], key, value.into(), from);
    }

    /// The template's own number times a factor, where it has one.
    fn scaled(&mut self, path: [&str; 3], factor: f64) {
        let outer = self.document.get_mut(path[0]);
        let Some(table) = outer.and_then(|table| table.get_mut(path[1])) else {
            return;
        };
        if let Some(old) = table.get(path[2]).and_then(number) {
            let guess = "guess, scaled from another telescope";
            put(table, path[2], rounded(old * factor).into(), guess);
        }
    }

    fn telescope(&mut self, answers: &Answers, sizes: &Sizes, turn_rad: f64) {
        let said = "said by the owner";
        let header = format!("from the header of {}", self.file);
        let from = |said_so: bool| if said_so { said } else { header.as_str() };
        let focal_from = from(answers.focal_length_m.is_some()).to_owned();
        self.put(
            ["telescope", "aperture_mm"],
            rounded(sizes.aperture_m / MM),
            said,
        );
        self.put(
            ["telescope", "focal_length_mm"],
            rounded(sizes.focal_length_m / MM),
            &focal_from,
        );
        let measured = format!(
            "measured on {}, {}",
            self.file,
            if sizes.fitted {
                "by a fit"
            } else {
                "by the ring's edges"
            }
        );
        let Some(telescope) = self.document["telescope"].as_table_mut() else {
            return;
        };
        telescope.remove("vanes");
        match (sizes.obstruction_m, telescope.get_mut("obstruction")) {
            (Some(m), Some(there)) => put(there, "diameter_mm", rounded(m / MM).into(), &measured),
            (Some(m), None) => {
                let mut table = Item::Table(Table::new());
                put(&mut table, "diameter_mm", rounded(m / MM).into(), &measured);
                telescope.insert("obstruction", table);
            }
            (None, _) => {
                telescope.remove("obstruction");
            }
        }
        let mut vanes = ArrayOfTables::new();
        for [azimuth_rad, width_m] in &sizes.vanes {
            let azimuth_deg = ((azimuth_rad + turn_rad) / DEG).rem_euclid(360.0);
            let mut vane = Item::Table(Table::new());
            put(
                &mut vane,
                "azimuth_deg",
                rounded(azimuth_deg).into(),
                &measured,
            );
            put(
                &mut vane,
                "width_mm",
                rounded(width_m / MM).into(),
                &measured,
            );
            if let Some(m) = sizes.obstruction_m {
                put(
                    &mut vane,
                    "inner_radius_mm",
                    rounded(0.49 * m / MM).into(),
                    "just inside the obstruction",
                );
            }
            vanes.extend(vane.into_table());
        }
        if !vanes.is_empty() {
            telescope.insert("vanes", Item::ArrayOfTables(vanes));
        }
    }

    /// The unit: what was said, else the template's, scaled. Coma of a tilt goes with D/N² at one angle (third-order theory of a paraboloid:
    /// W131 = h/(32 N³) with h = f·tilt), coma in the field with 1/N³, image shifts with the focal length.
    fn unit(&mut self, answers: &Answers, sizes: &Sizes) {
        let Some((aperture_m, focal_m)) = self.own_mm.map(|(a, f)| (a * MM, f * MM)) else {
            return;
        };
        let diameters = sizes.aperture_m / aperture_m;
        let lengths = sizes.focal_length_m / focal_m;
        let ratios = sizes.focal_ratio() / (focal_m / aperture_m);
        self.scaled(["telescope", "field", "coma_nm_per_mm"], ratios.powi(-3));
        self.scaled(
            ["telescope", "field", "astigmatism_nm_per_mm2"],
            ratios.powi(-2) / lengths,
        );
        self.scaled(
            ["telescope", "field", "curvature_um_per_mm2"],
            1.0 / lengths,
        );
        self.scaled(
            ["assembly", "response", "coma_nm_per_arcmin"],
            diameters / ratios.powi(2),
        );
        self.scaled(
            ["assembly", "response", "astigmatism_nm_per_arcmin2"],
            diameters / ratios,
        );
        self.scaled(
            ["assembly", "response", "image_shift_um_per_arcmin"],
            lengths,
        );
        let said = "said by the owner";
        let guess = "guess, scaled from another telescope: measure it";
        let circle = self.document["assembly"]
            .get("screw_circle_radius_mm")
            .and_then(number);
        match (answers.circle_m, circle) {
            (Some(m), _) => self.put(
                ["assembly", "screw_circle_radius_mm"],
                rounded(m / MM),
                said,
            ),
            (None, Some(mm)) => self.put(
                ["assembly", "screw_circle_radius_mm"],
                rounded(mm * diameters),
                guess,
            ),
            (None, None) => {}
        }
        if let Some(m) = answers.pitch_m {
            self.put(["assembly", "pitch_mm_per_turn"], rounded(m / MM), said);
        }
        if let Some(cell) = answers.cell {
            self.put(["assembly", "kind"], cell.word(), said);
        }
        if let Some(clockwise) = answers.clockwise {
            let word = match clockwise {
                ClockwiseTurn::Lengthens => "lengthens",
                ClockwiseTurn::Shortens => "shortens",
            };
            self.put(["assembly", "clockwise"], word, said);
        }
        if !answers.screws.is_empty() {
            let mut screws = toml_edit::Array::new();
            for (name, azimuth_rad) in &answers.screws {
                let mut screw = InlineTable::new();
                screw.insert("name", name.as_str().into());
                screw.insert("azimuth_deg", rounded(azimuth_rad / DEG).into());
                screws.push(Value::InlineTable(screw));
            }
            self.put(["assembly", "screws"], screws, said);
        }
    }

    fn camera(&mut self, frame: &FirstFrame, answers: &Answers, sizes: &Sizes, turn_rad: f64) {
        let reading = &frame.reading;
        let header = format!("from the header of {}", self.file);
        let from = if answers.pixel_m.is_some() {
            "said by the owner"
        } else {
            &header
        };
        self.put(["camera", "pixel_um"], rounded(sizes.pixel_m / UM), from);
        let side = (2.6 * frame.outer_radius_px).ceil().max(160.0) as i64;
        for key in ["width_px", "height_px"] {
            self.put(["camera", key], side, "room for the star's ring");
        }
        if !sizes.vanes.is_empty() {
            let degrees = rounded((turn_rad / DEG + 180.0).rem_euclid(360.0) - 180.0);
            self.put(
                ["camera", "rotation_deg"],
                degrees,
                "by where the shadow stands, if the frame is from beyond focus and not mirrored",
            );
        }
        let gain = reading.gain_e_per_adu;
        if let Some(gain) = gain {
            self.put(["camera", "gain_e_per_adu"], rounded(gain), &header);
        }
        let background = format!("guess: the background of {}, sky and all", self.file);
        self.put(
            ["camera", "bias_adu"],
            rounded(frame.background_adu.max(0.0)),
            &background,
        );
        let highest = reading.values.iter().copied().fold(0.0, f64::max) - frame.background_adu;
        let held = self.document["camera"].get("full_well_e").and_then(number);
        let gain = gain.or_else(|| {
            self.document["camera"]
                .get("gain_e_per_adu")
                .and_then(number)
        });
        if let (Some(held), Some(gain)) = (held, gain)
            && held < gain * highest
        {
            let least = format!("guess: {} holds as much", self.file);
            self.put(
                ["camera", "full_well_e"],
                rounded(1.05 * gain * highest),
                &least,
            );
        }
        if let Some(pattern) = &reading.colour_pattern {
            self.put(["camera", "colour_pattern"], pattern.as_str(), &header);
            let mut bands = InlineTable::new();
            for (colour, [short, long]) in PASSBANDS_NM {
                let mut band = InlineTable::new();
                band.insert(
                    "passband_nm",
                    toml_edit::Array::from_iter([short, long]).into(),
                );
                bands.insert(colour, band.into());
            }
            self.put(
                ["camera", "passbands"],
                bands,
                "guess: usual filters of a colour camera",
            );
            if let Some(camera) = self.document["camera"].as_table_mut() {
                camera.remove("passband_nm");
            }
        }
    }

    fn state(&mut self, frame: &FirstFrame, sizes: &Sizes) {
        let distance_um = frame.distance_from_focus_m(sizes.focal_ratio(), sizes.pixel_m) / UM;
        let measured = format!("measured on {}; on which side is a guess", self.file);
        self.put(
            ["state", "sensor_offset_um"],
            rounded(distance_um),
            &measured,
        );
        if let Some(state) = self.document["state"].as_table_mut() {
            state.remove("turns");
            state.remove("modes_nm");
        }
        if let Some(time_s) = frame.reading.exposure_s {
            let header = format!("from the header of {}", self.file);
            self.put(["exposure", "time_s"], rounded(time_s), &header);
        }
    }
}

/// What the filters of a colour camera let through (common practice, no source).
const PASSBANDS_NM: [(&str, [f64; 2]); 3] = [
    ("red", [580.0, 680.0]),
    ("green", [490.0, 590.0]),
    ("blue", [410.0, 510.0]),
];

/// Four digits: more than anything here is known by.
fn rounded(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let unit = 10f64.powi(libm::floor(libm::log10(value.abs())) as i32 - 4);
    let near = (value / unit).round();
    // whole multiples of a power of ten that a file writes shortly
    if unit < 1.0 {
        near / (1.0 / unit).round()
    } else {
        near * unit
    }
}

fn number(item: &Item) -> Option<f64> {
    item.as_float()
        .or_else(|| item.as_integer().map(|whole| whole as f64))
}

/// A value with a comment behind it.
fn put(table: &mut Item, key: &str, value: Value, from: &str) {
    let length = format!("{key} = {}", value.to_string().trim())
        .chars()
        .count();
    let gap = " ".repeat(COMMENT_COLUMN.saturating_sub(length).max(1));
    let mut value = value;
    value.decor_mut().set_prefix(" ");
    value.decor_mut().set_suffix(format!("{gap}# {from}"));
    match table.get_mut(key) {
        Some(old) => *old = Item::Value(value),
        None => table[key] = Item::Value(value),
    }
}
