//! The mask of a telescope as numbers that somebody changes: what the plate looks like, whether it can be printed, the star through it,
//! and the files for the printer.

use super::pixels::pack;
use super::reply::Reply;
use super::telescopes::Telescope;
use crate::instrument::{Instrument, MaskDesign, MaskLayout, SlotLayout};
use crate::mask::plate::Plate;
use crate::mask::solid::Solid;
use crate::practice::{Eye, Moment};
use crate::preview::check::MASK_CAUTIONS;
use crate::rng::Seed;
use crate::scenario;
use crate::scene::{Scene, SceneError};
use crate::solid_io::{dxf, stl, svg, three_mf};
use crate::state::{Exposure, ScrewTurns, State};
use crate::units::{DEG, MM, NM, UM};
use serde::{Deserialize, Serialize};
use serde_json::json;

/// What is asked about a mask.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaskQuestion {
    /// The telescope's name; the page's own without one.
    pub telescope: Option<String>,
    /// The mask; the telescope's own without them.
    numbers: Option<MaskNumbers>,
    /// What is wrong with the star.
    #[serde(default)]
    errors: StarErrors,
    /// Which file.
    file: Option<String>,
}

/// The numbers of a mask that the page offers; the rest is the telescope's own, or the usual.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct MaskNumbers {
    layout: String,
    outer_diameter_mm: f64,
    inner_diameter_mm: f64,
    slot_pitch_mm: Vec<f64>,
    open_fraction: f64,
    slant_deg: f64,
    zone_radius_mm: f64,
    outer_rim_mm: f64,
    inner_rim_mm: f64,
    rib_mm: f64,
    thickness_mm: f64,
}

/// What is wrong with the star behind a mask.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
struct StarErrors {
    focus_um: f64,
    coma_nm: f64,
    coma_deg: f64,
    seeing: bool,
}

/// Defocus of a star on the page at most, either way.
const FOCUS_AT_MOST_UM: f64 = 200.0;
/// Coma of a star on the page at most.
const COMA_AT_MOST_NM: f64 = 500.0;
/// Long enough for the atmosphere to average out.
const LONG_S: f64 = 10.0;

/// A telescope with a mask of these numbers.
pub struct Masked {
    scene: Scene,
    title: String,
    seed: Option<u64>,
}

impl MaskQuestion {
    /// Puts the mask in front of the telescope.
    ///
    /// # Errors
    /// The reply that says which number cannot be.
    pub fn masked(&self, telescope: &Telescope) -> Result<Masked, Reply> {
        let scenario = &telescope.scenario;
        let mut instrument = scenario.instrument.clone();
        let base = base(&instrument);
        instrument.mask = Some(match &self.numbers {
            None => base,
            Some(numbers) => numbers.design(base)?,
        });
        let scene = Scene::new(instrument, scenario.state.clone()).map_err(|e| refused(&e))?;
        Ok(Masked {
            scene,
            title: scenario.title.clone(),
            seed: scenario.seed,
        })
    }

    /// What the plate looks like, what was found about it, and the numbers.
    ///
    /// # Errors
    /// The reply that says what cannot be.
    pub fn plate(&self, telescope: &Telescope) -> Result<Reply, Reply> {
        let masked = self.masked(telescope)?;
        let scene = &masked.scene;
        let design = scene.mask().map_err(|e| refused(&e))?;
        let findings = scene.mask_findings().map_err(|e| refused(&e))?;
        let plate = masked.plate()?;
        let layouts: Vec<_> = SlotLayout::all()
            .map(|layout| {
                json!({
                    "word": layout.word, "words": layout.words(), "zones": layout.has_zones(),
                    "leans": layout.leans(), "two_pitches": layout.has_two_pitches(),
                })
            })
            .collect();
        Ok(Reply::json(&json!({
            "numbers": MaskNumbers::of(design),
            "layouts": layouts,
            "layout_words": design.layout.name().words(),
            "printable": !findings.iter().any(|finding| finding.serious),
            "findings": findings,
            "cautions": MASK_CAUTIONS,
            "outer_radius_mm": plate.outer_radius_m / MM,
            "plate": svg::path_of(&plate.plate),
            "letters": svg::path_of(&plate.letters),
            "ring": svg::path_of(&plate.ring),
        })))
    }

    /// The star through the mask.
    ///
    /// # Errors
    /// The reply that says what cannot be.
    pub fn star(&self, telescope: &Telescope) -> Result<Reply, Reply> {
        let errors = &self.errors;
        let kept = errors.focus_um.abs() <= FOCUS_AT_MOST_UM
            && errors.coma_nm.abs() <= COMA_AT_MOST_NM
            && errors.coma_deg.is_finite();
        if !kept {
            let words = format!(
                "focus_um is not within {FOCUS_AT_MOST_UM} or coma_nm not within {COMA_AT_MOST_NM}"
            );
            return Err(Reply::error(
                400,
                &words,
                "move the slider back into its range",
            ));
        }
        let masked = self.masked(telescope)?;
        let state = errors.laid_over(masked.scene.state());
        let moment = Moment {
            start_s: 0.0,
            atmosphere: Seed(11),
            noise: Seed(12),
        };
        let mut eye = Eye::new(masked.scene.instrument());
        let picture = eye
            .look(&state, moment)
            .map_err(|e| Reply::error(409, &e.to_string(), e.hint()))?;
        Ok(Reply::bytes(pack(&picture.expected)))
    }

    /// A file for the printer or the cutter, or the scenario with this mask.
    ///
    /// # Errors
    /// The reply that says what cannot be.
    pub fn file(&self, telescope: &Telescope) -> Result<Reply, Reply> {
        let masked = self.masked(telescope)?;
        let title = &masked.title;
        let solid = || Solid::new(&masked.plate()?).map_err(|e| conflict(&e.to_string(), e.hint()));
        let text = |kind, text: String| Reply::file(kind, text.into_bytes());
        match self.file.as_deref() {
            Some("svg") => Ok(text("image/svg+xml", svg::write(&masked.plate()?, title))),
            Some("dxf") => Ok(text("image/vnd.dxf", dxf::write(&masked.plate()?))),
            Some("stl") => Ok(Reply::file("model/stl", stl::write(&solid()?))),
            Some("3mf") => three_mf::write(&solid()?, title)
                .map(|bytes| Reply::file("model/3mf", bytes))
                .map_err(|e| conflict(&e.to_string(), "try another format")),
            Some("toml") => {
                let (instrument, state) = (masked.scene.instrument(), masked.scene.state());
                scenario::write(title, masked.seed, instrument, state)
                    .map(|written| text("application/toml", written))
                    .map_err(|e| conflict(&e.to_string(), e.hint()))
            }
            _ => Err(Reply::error(
                400,
                "there is no such file",
                "ask for svg, dxf, stl, 3mf or toml",
            )),
        }
    }
}

impl Masked {
    fn plate(&self) -> Result<Plate, Reply> {
        Plate::new(self.scene.instrument()).ok_or_else(|| refused(&SceneError::NoMask))
    }
}

/// The telescope's own mask, or where it has none one that covers its aperture.
fn base(instrument: &Instrument) -> MaskDesign {
    let own = instrument.mask.clone();
    own.unwrap_or_else(|| MaskDesign::covering(&instrument.telescope))
}

impl MaskNumbers {
    fn of(design: &MaskDesign) -> MaskNumbers {
        let rounded = |metres: f64| (metres / MM * 1e6).round() / 1e6;
        MaskNumbers {
            layout: design.layout.name().word().to_owned(),
            outer_diameter_mm: rounded(design.outer_diameter_m),
            inner_diameter_mm: rounded(design.inner_diameter_m),
            slot_pitch_mm: design.slot_pitch_m.iter().map(|p| rounded(*p)).collect(),
            open_fraction: design.open_fraction,
            slant_deg: (design.slant_rad / DEG * 1e6).round() / 1e6,
            zone_radius_mm: rounded(zone_radius_m(design)),
            outer_rim_mm: rounded(design.outer_rim_m),
            inner_rim_mm: rounded(design.inner_rim_m),
            rib_mm: rounded(design.rib_m),
            thickness_mm: rounded(design.thickness_m),
        }
    }

    /// A mask with these numbers; what the page does not offer is that of `base`.
    fn design(&self, base: MaskDesign) -> Result<MaskDesign, Reply> {
        let layout = match SlotLayout::all().find(|layout| layout.word == self.layout) {
            Some(layout) => MaskLayout::Slots(layout),
            None if base.layout.name().word() == self.layout => base.layout.clone(),
            None => {
                return Err(Reply::error(
                    400,
                    "there is no such layout",
                    "choose one of the list",
                ));
            }
        };
        let slots = layout.slots();
        let pitches = self
            .slot_pitch_mm
            .iter()
            .take(if slots.is_some_and(SlotLayout::has_two_pitches) {
                2
            } else {
                1
            })
            .map(|pitch| pitch * MM)
            .collect();
        Ok(MaskDesign {
            slot_pitch_m: if slots.is_some() {
                pitches
            } else {
                base.slot_pitch_m.clone()
            },
            zone_radius_m: slots
                .is_some_and(SlotLayout::has_zones)
                .then_some(self.zone_radius_mm * MM),
            layout,
            open_fraction: self.open_fraction,
            slant_rad: self.slant_deg * DEG,
            outer_diameter_m: self.outer_diameter_mm * MM,
            inner_diameter_m: self.inner_diameter_mm * MM,
            outer_rim_m: self.outer_rim_mm * MM,
            inner_rim_m: self.inner_rim_mm * MM,
            rib_m: self.rib_mm * MM,
            thickness_m: self.thickness_mm * MM,
            ..base
        })
    }
}

/// Its zone radius; where it has none, halfway between hole and edge, for a layout that wants one.
fn zone_radius_m(design: &MaskDesign) -> f64 {
    let halfway = 0.25 * (design.inner_diameter_m + design.outer_diameter_m);
    design.zone_radius_m.unwrap_or(halfway)
}

impl StarErrors {
    /// The aligned telescope in focus, its mask on, with these errors.
    fn laid_over(&self, own: &State) -> State {
        let mut state = State {
            mask_on: true,
            recentred: true,
            sensor_offset_m: self.focus_um * UM,
            turns: ScrewTurns::default(),
            exposure: Some(Exposure { time_s: LONG_S }),
            ..own.clone()
        };
        let direction = self.coma_deg * DEG;
        state.modes.add(8, self.coma_nm * libm::cos(direction) * NM);
        state.modes.add(7, self.coma_nm * libm::sin(direction) * NM);
        if !self.seeing {
            state.sky.seeing_rad = None;
        }
        state
    }
}

fn refused(error: &SceneError) -> Reply {
    conflict(&error.to_string(), error.hint())
}

fn conflict(words: &str, hint: &str) -> Reply {
    Reply::error(409, words, hint)
}
