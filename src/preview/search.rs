//! A deterministic search for better numbers of a mask, always against the customary layouts with the owner's own numbers.
//!
//! Pitch, zone, slant and rims follow from focal length, pixel, passband, seeing, nozzle and the lit part of the pupil: spikes begin at least
//! 15 px and five of their widths from the star, partners lie three widths apart (common practice, no source), slots and bars keep the
//! printer's limits, borders between zones are counted over the lit radii. What is compared is the least error that is seen
//! in the picture ([`visible`](super::visible)), or for a measuring program the photon bound. Masks that differ by less than
//! [`TIE`] are not ranked. Nothing is drawn at random and nothing stops early.

use super::check::serious;
use super::visible::{Observer, Sees, visibility};
use crate::atmosphere::seeing_fwhm_rad;
use crate::instrument::{Instrument, MaskDesign, MaskLayout, SlotLayout};
use crate::predict::{Bound, Jacobian, Model, Parameter, PredictError, Settings};
use crate::spectrum::{bins, reference_m};
use crate::state::State;
use crate::units::{DEG, NM};
use serde::Serialize;

/// What the mask is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum TunePurpose {
    /// Noll 4.
    Focus,
    /// Noll 7 and 8, the worse of them.
    Coma,
    /// The worse of both.
    Both,
}

impl TunePurpose {
    fn modes(self) -> &'static [u32] {
        match self {
            TunePurpose::Focus => &[4],
            TunePurpose::Coma => &[7, 8],
            TunePurpose::Both => &[4, 7, 8],
        }
    }
}

/// Who reads the star.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum SpikeReader {
    /// A person, trusted with this shift in pixels.
    Eye(f64),
    /// A measuring program.
    Photons,
}

/// A mask and what can be seen with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// What it is called in the table.
    pub label: String,
    /// Whether it is one of the customary layouts.
    pub customary: bool,
    /// The mask.
    pub design: MaskDesign,
    /// The least of each error that was asked for.
    pub sees: Vec<Sees>,
    /// Smallest focus error; infinite when hidden, or when nobody asked.
    pub focus_nm: f64,
    /// Smallest coma, the worse of the two directions; infinite when hidden, or when nobody asked.
    pub coma_nm: f64,
}

/// Merits that are nearer to each other than this fraction are not ranked.
pub const TIE: f64 = 0.15;
/// The first order begins no nearer to the star, pixels, and no nearer than this many of the spike's widths.
const LEAST_ORDER_PX: f64 = 15.0;
const ORDER_WIDTHS: f64 = 5.0;
/// Partners lie this many widths apart.
const APART_WIDTHS: f64 = 3.0;
/// Slots in the lit height of a zone, at least.
const LEAST_SLOTS: f64 = 5.0;

impl Candidate {
    /// What the search makes small.
    pub fn merit_nm(&self, purpose: TunePurpose) -> f64 {
        match purpose {
            TunePurpose::Focus => self.focus_nm,
            TunePurpose::Coma => self.coma_nm,
            TunePurpose::Both => self.focus_nm.max(self.coma_nm),
        }
    }

    /// Whether the mask can be printed and used: no finding of `mask check` is serious.
    pub fn sound(&self, instrument: &Instrument) -> bool {
        !serious(&worn(instrument, &self.design))
    }
}

/// What the numbers of a mask follow from.
#[derive(Debug, Clone, PartialEq)]
pub struct Derived {
    /// Radii between which light comes to the mask.
    pub lit_m: [f64; 2],
    /// Pitches, the finest first.
    pub pitch_m: Vec<f64>,
    /// Slants.
    pub slant_rad: Vec<f64>,
    /// Outer and inner rim.
    pub rims_m: [f64; 2],
}

/// Derives what is searched.
pub fn derive(instrument: &Instrument, state: &State, design: &MaskDesign) -> Derived {
    let telescope = &instrument.telescope;
    let aperture_m = 0.5 * telescope.aperture_m;
    let shadow_m = telescope
        .obstruction
        .as_ref()
        .map_or(0.0, |o| 0.5 * o.diameter_m);
    let rims_m = [
        (0.5 * design.outer_diameter_m - aperture_m).max(LEAST_RIM_M),
        (shadow_m - 0.5 * design.inner_diameter_m).max(LEAST_RIM_M),
    ];
    let lit_m = [
        shadow_m.max(0.5 * design.inner_diameter_m + rims_m[1]),
        aperture_m.min(0.5 * design.outer_diameter_m - rims_m[0]),
    ];
    let temperature_k = state.star.as_ref().map(|s| s.temperature_k);
    let wavelength_m = reference_m(&bins(&instrument.camera.passband, 7, temperature_k));
    let pixel_m = instrument.camera.pixel_m;
    let focal_m = telescope.focal_length_m;
    let seeing_m = state.sky.seeing_rad.map_or(0.0, |zenith| {
        seeing_fwhm_rad(zenith, 1.0, wavelength_m) * focal_m
    });
    let slot_m = 0.5 * (lit_m[1] - lit_m[0]);
    let width_m = (0.886 * wavelength_m * focal_m / slot_m)
        .hypot(seeing_m)
        .hypot(0.9 * pixel_m);
    let nearest_m = (LEAST_ORDER_PX * pixel_m).max(ORDER_WIDTHS * width_m);
    let open = if design.open_fraction > 0.0 {
        design.open_fraction
    } else {
        0.5
    };
    let finest_m =
        (2.0 * design.printer.nozzle_m / open).max(design.printer.least_bar_m / (1.0 - open));
    let coarsest_m = (lit_m[1] - lit_m[0]) / LEAST_SLOTS;
    let mut pitch_m: Vec<f64> = [1.9, 1.4, 1.05]
        .iter()
        .map(|far| {
            (wavelength_m * focal_m / (far * nearest_m))
                .min(coarsest_m)
                .max(finest_m)
        })
        .collect();
    pitch_m.dedup_by(|a, b| (*a / *b - 1.0).abs() < 0.05);
    let apart = (APART_WIDTHS * width_m * pitch_m[0] / (wavelength_m * focal_m)).min(0.45);
    let least_rad = libm::asin(apart);
    let slant_rad = [20.0, 14.0, 26.0]
        .map(|s| (s * DEG).max(least_rad))
        .to_vec();
    Derived {
        lit_m,
        pitch_m,
        slant_rad,
        rims_m,
    }
}

/// The masks that will be tried, the customary ones first.
pub fn candidates(
    instrument: &Instrument,
    state: &State,
    design: &MaskDesign,
) -> Vec<(String, bool, MaskDesign)> {
    let base = filled(design);
    let derived = derive(instrument, state, design);
    let with_own_numbers = SlotLayout::all().filter(|layout| layout.customary);
    let mut list: Vec<(String, bool, MaskDesign)> = with_own_numbers
        .map(|layout| {
            let own = MaskDesign {
                layout: MaskLayout::Slots(layout),
                ..base.clone()
            };
            (format!("{}, your numbers", layout.word), true, own)
        })
        .collect();
    for layout in SlotLayout::all().filter(|layout| layout.searched) {
        list.extend(searched(&base, &derived, layout));
    }
    list
}

/// A layout with derived numbers: the middle pitch, the first slant, three borders between the zones where it has them.
fn searched(
    base: &MaskDesign,
    derived: &Derived,
    layout: &'static SlotLayout,
) -> Vec<(String, bool, MaskDesign)> {
    let zones: &[f64] = if layout.has_zones() {
        &[0.4, 0.55, 0.7]
    } else {
        &[0.5]
    };
    let pitch_m = derived.pitch_m[derived.pitch_m.len() / 2];
    zones
        .iter()
        .map(|part| {
            let own = MaskDesign {
                layout: MaskLayout::Slots(layout),
                zone_radius_m: Some(zone_m(derived, *part)),
                slant_rad: derived.slant_rad[0],
                slot_pitch_m: pitches(pitch_m, layout),
                outer_rim_m: derived.rims_m[0],
                inner_rim_m: derived.rims_m[1],
                ..base.clone()
            };
            (labelled(&own), false, own)
        })
        .filter(|(_, _, own)| printable(own) && zones_fit(own))
        .collect()
}

fn zone_m(derived: &Derived, part: f64) -> f64 {
    derived.lit_m[0] + part * (derived.lit_m[1] - derived.lit_m[0])
}

/// A candidate's name: its layout and the numbers that the layout looks at.
fn labelled(design: &MaskDesign) -> String {
    let Some(layout) = design.layout.slots() else {
        return String::new();
    };
    let pitch: Vec<String> = design
        .slot_pitch_m
        .iter()
        .map(|p| format!("{:.2}", p * 1e3))
        .collect();
    let mut label = format!("{}, pitch {} mm", layout.word, pitch.join("/"));
    if let Some(zone_m) = design.zone_radius_m.filter(|_| layout.has_zones()) {
        label += &format!(", zone {:.1} mm", zone_m * 1e3);
    }
    if layout.leans() {
        label += &format!(", slant {:.0}", design.slant_rad / DEG);
    }
    if design.sense < 0.0 && layout.leans() {
        label += ", sense -1";
    }
    label
}

/// What is varied round the best mask of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refinement {
    /// The pitches.
    Pitches,
    /// The border between the zones.
    Zone,
    /// How far the slots lean.
    Slant,
}

impl Refinement {
    /// One after the other.
    pub const ALL: [Refinement; 3] = [Refinement::Pitches, Refinement::Zone, Refinement::Slant];
}

/// Masks like this one but for one thing; the printer's limits are kept.
pub fn variations(
    best: &Candidate,
    derived: &Derived,
    what: Refinement,
) -> Vec<(String, bool, MaskDesign)> {
    let own = &best.design;
    let Some(layout) = own.layout.slots() else {
        return Vec::new();
    };
    let with = |change: &dyn Fn(&mut MaskDesign)| {
        let mut design = own.clone();
        change(&mut design);
        design
    };
    let varied: Vec<MaskDesign> = match what {
        Refinement::Pitches => derived
            .pitch_m
            .iter()
            .map(|pitch| with(&|d| d.slot_pitch_m = pitches(*pitch, layout)))
            .collect(),
        Refinement::Zone if layout.has_zones() => [0.45, 0.5, 0.62, 0.78]
            .iter()
            .map(|part| with(&|d| d.zone_radius_m = Some(zone_m(derived, *part))))
            .collect(),
        Refinement::Slant if layout.leans() => derived
            .slant_rad
            .iter()
            .map(|slant| with(&|d| d.slant_rad = *slant))
            .collect(),
        Refinement::Zone | Refinement::Slant => Vec::new(),
    };
    varied
        .into_iter()
        .filter(|design| design != own && printable(design) && zones_fit(design))
        .map(|design| (labelled(&design), false, design))
        .collect()
}

/// Rims are not made narrower than this.
const LEAST_RIM_M: f64 = 2e-3;

/// Whether the border between the zones lies between the rims.
fn zones_fit(design: &MaskDesign) -> bool {
    let [inner, outer] = open_radii(design);
    let room = design.rib_m;
    inner + room < outer
        && design
            .zone_radius_m
            .is_none_or(|zone| inner + room < zone && zone + room < outer)
}

fn worn(instrument: &Instrument, design: &MaskDesign) -> Instrument {
    Instrument {
        mask: Some(design.clone()),
        ..instrument.clone()
    }
}

/// Works one candidate out for what the mask is for; with `modes`, for these instead.
///
/// # Errors
/// As [`Model::new`].
pub fn judge(
    instrument: &Instrument,
    state: &State,
    (reader, purpose): (SpikeReader, TunePurpose),
    (label, customary, design): (String, bool, MaskDesign),
    settings: Settings,
) -> Result<Candidate, PredictError> {
    let worn = worn(instrument, &design);
    let modes = purpose.modes();
    let sees = match reader {
        SpikeReader::Eye(eye_px) => seen_by_eye(&worn, state, eye_px, modes, settings)?,
        SpikeReader::Photons => told_by_photons(&worn, state, modes, settings)?,
    };
    let least = |wanted: &[u32]| {
        let rows = sees.iter().filter(|s| wanted.contains(&s.noll));
        rows.map(|s| s.smallest_nm.unwrap_or(f64::INFINITY))
            .reduce(f64::max)
            .unwrap_or(f64::INFINITY)
    };
    Ok(Candidate {
        label,
        customary,
        design,
        focus_nm: least(&[4]),
        coma_nm: least(&[7, 8]),
        sees,
    })
}

/// What an eye sees with a mask, read off the picture.
///
/// # Errors
/// As [`Model::new`]; a mask that no light passes shows nothing.
pub fn seen_by_eye(
    worn: &Instrument,
    state: &State,
    eye_px: f64,
    modes: &[u32],
    settings: Settings,
) -> Result<Vec<Sees>, PredictError> {
    let observer = Observer {
        eye_px,
        ..Observer::default()
    };
    match visibility(worn, state, observer, modes, settings) {
        Ok(seen) => Ok(seen.map_or(Vec::new(), |v| v.sees)),
        Err(PredictError::Dark) => Ok(Vec::new()),
        Err(error) => Err(error),
    }
}

fn told_by_photons(
    worn: &Instrument,
    state: &State,
    modes: &[u32],
    settings: Settings,
) -> Result<Vec<Sees>, PredictError> {
    let Some(electronics) = &worn.camera.electronics else {
        return Ok(Vec::new());
    };
    let state = State {
        mask_on: true,
        ..state.clone()
    };
    let model = Model::new(worn, &state, settings)?;
    let bound = Bound::new(&Jacobian::new(&model, &Parameter::standard())?, electronics);
    let row = |noll: &u32| Sees {
        error: super::view::name(*noll),
        noll: *noll,
        smallest_nm: bound.sigma(Parameter::Mode(*noll)).map(|s| s / NM),
        why: "one standard deviation by the photons of this exposure".into(),
        px_per_100_nm: None,
        scatter_px: None,
    };
    Ok(modes.iter().map(row).collect())
}

/// A layout without numbers of its own gets common ones, so that it can be compared.
fn filled(design: &MaskDesign) -> MaskDesign {
    let [inner, outer] = open_radii(design);
    let least = design
        .printer
        .least_bar_m
        .max(2.0 * design.printer.nozzle_m);
    let mut own = design.clone();
    if own.slot_pitch_m.is_empty() {
        own.slot_pitch_m = vec![2.5 * least];
    }
    if own.open_fraction <= 0.0 {
        own.open_fraction = 0.5;
    }
    if own.slant_rad == 0.0 {
        own.slant_rad = 20.0 * DEG;
    }
    own.zone_radius_m = own.zone_radius_m.or(Some(inner + 0.5 * (outer - inner)));
    own
}

/// As many pitches as the layout looks at; where it tells spikes apart by their pitch, the second puts the first order of the passband clear
/// of the first's.
fn pitches(first_m: f64, layout: &SlotLayout) -> Vec<f64> {
    const SECOND: f64 = 1.45;
    if !layout.has_two_pitches() {
        vec![first_m]
    } else if layout.parallel_spikes_differ() {
        vec![first_m, SECOND * first_m]
    } else {
        vec![first_m, first_m]
    }
}

fn open_radii(design: &MaskDesign) -> [f64; 2] {
    [
        0.5 * design.inner_diameter_m + design.inner_rim_m,
        0.5 * design.outer_diameter_m - design.outer_rim_m,
    ]
}

/// Whether slots and bars keep the printer's limits.
fn printable(design: &MaskDesign) -> bool {
    const ROUNDING_M: f64 = 1e-7;
    design.slot_pitch_m.iter().all(|pitch| {
        let slot = design.open_fraction * pitch;
        slot >= 2.0 * design.printer.nozzle_m - ROUNDING_M
            && pitch - slot >= design.printer.least_bar_m - ROUNDING_M
    })
}

#[cfg(test)]
mod numbers;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing;

    #[test]
    fn candidates_are_named_after_their_own_layout_and_every_layout_of_the_table_plays_its_part() {
        let holes = testing::mask(MaskLayout::Holes(vec![]));
        let list = candidates(&testing::fast_unit(), &State::default(), &holes);
        for (label, customary, design) in &list {
            let layout = design.layout.slots().expect("a layout made of slots");
            let first = label.split(',').next();
            assert_eq!(first, Some(layout.word), "{label}");
            let plays = if *customary {
                layout.customary
            } else {
                layout.searched
            };
            assert!(plays, "{label}");
        }
        for layout in SlotLayout::all() {
            let count = |own: bool| {
                let of_layout = |c: &&(String, bool, MaskDesign)| {
                    c.1 == own && c.2.layout == MaskLayout::Slots(layout)
                };
                list.iter().filter(of_layout).count()
            };
            let zones = if layout.has_zones() { 3 } else { 1 };
            assert_eq!(count(true), usize::from(layout.customary), "{layout:?}");
            let wanted = if layout.searched { zones } else { 0 };
            assert_eq!(count(false), wanted, "{layout:?}");
        }
    }

    /// What a layout does not have is not varied.
    #[test]
    fn slant_and_border_are_varied_only_where_there_are_any() {
        let unit = testing::fast_unit();
        for layout in SlotLayout::all() {
            let best = Candidate {
                label: layout.word.to_owned(),
                customary: false,
                design: testing::mask(MaskLayout::Slots(layout)),
                sees: Vec::new(),
                focus_nm: 1.0,
                coma_nm: 1.0,
            };
            let derived = derive(&unit, &State::default(), &best.design);
            let slants = variations(&best, &derived, Refinement::Slant);
            let zones = variations(&best, &derived, Refinement::Zone);
            assert_eq!(!slants.is_empty(), layout.leans(), "{layout:?}");
            assert_eq!(!zones.is_empty(), layout.has_zones(), "{layout:?}");
        }
    }
}
