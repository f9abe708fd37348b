//! A deterministic search for better numbers of a mask, always against the customary layouts with the owner's own numbers.
//!
//! Every candidate keeps the printer's limits on slots and bars. What is compared is the smallest error that can be seen: for
//! an eye from the shifts of the spikes (an eye places a spike to `eye_px`, or to a tenth of the spike's width if that is
//! more), for a measuring program from the photon bound. Nothing is drawn at random and nothing stops early.

use super::view::{places, shifts_px};
use crate::instrument::{Instrument, MaskDesign, MaskLayout};
use crate::predict::{Bound, Jacobian, Model, Parameter, PredictError, Settings};
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
    /// Smallest focus error; infinite when hidden.
    pub focus_nm: f64,
    /// Smallest coma, the worse of the two directions; infinite when hidden.
    pub coma_nm: f64,
}

impl Candidate {
    /// What the search makes small.
    pub fn merit_nm(&self, purpose: TunePurpose) -> f64 {
        match purpose {
            TunePurpose::Focus => self.focus_nm,
            TunePurpose::Coma => self.coma_nm,
            TunePurpose::Both => self.focus_nm.max(self.coma_nm),
        }
    }
}

/// The masks that will be tried, the customary ones first.
pub fn candidates(design: &MaskDesign) -> Vec<(String, bool, MaskDesign)> {
    let mut list: Vec<(String, bool, MaskDesign)> = Vec::new();
    let customary = [
        (MaskLayout::OneTriplet, "one-triplet"),
        (MaskLayout::ThreeTriplet, "three-triplet"),
        (MaskLayout::TwoZone, "two-zone"),
    ];
    let base = filled(design);
    for (layout, word) in customary {
        let own = MaskDesign {
            layout,
            ..base.clone()
        };
        list.push((format!("{word}, your numbers"), true, own));
    }
    let layouts = [
        (MaskLayout::ThreeTriplet, "three-triplet"),
        (MaskLayout::TwoZone, "two-zone"),
        (MaskLayout::TwoPitch, "two-pitch"),
        (MaskLayout::TangentWedges, "tangent-wedges"),
    ];
    let [inner, outer] = open_radii(&base);
    for (layout, word) in layouts {
        let zoned = layout != MaskLayout::ThreeTriplet;
        let zones: &[f64] = if zoned {
            &[0.35, 0.5, 0.6, 0.7]
        } else {
            &[0.5]
        };
        let slants: &[f64] = if layout == MaskLayout::TangentWedges {
            &[20.0]
        } else {
            &[12.0, 20.0, 30.0]
        };
        for &part in zones {
            for &slant_deg in slants {
                let zone = inner + part * (outer - inner);
                let own = MaskDesign {
                    layout: layout.clone(),
                    zone_radius_m: Some(zone),
                    slant_rad: slant_deg * DEG,
                    slot_pitch_m: pitches(&base, &layout),
                    ..base.clone()
                };
                let place = if zoned {
                    format!(", zone {:.1} mm", zone * 1e3)
                } else {
                    String::new()
                };
                let lean = if slants.len() > 1 {
                    format!(", slant {slant_deg:.0}")
                } else {
                    String::new()
                };
                if printable(&own) {
                    list.push((format!("{word}{place}{lean}"), false, own));
                }
            }
        }
    }
    list
}

/// What is varied round the best mask of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refinement {
    /// The pitch of each zone.
    Pitches,
    /// To which side the slots lean.
    Sense,
    /// The outer and the inner rim.
    Rims,
}

impl Refinement {
    /// One after the other.
    pub const ALL: [Refinement; 3] = [Refinement::Pitches, Refinement::Sense, Refinement::Rims];
}

/// Masks like this one but for one thing; the printer's limits are kept.
pub fn variations(best: &Candidate, what: Refinement) -> Vec<(String, bool, MaskDesign)> {
    let own = &best.design;
    let mut varied: Vec<(String, MaskDesign)> = Vec::new();
    match what {
        Refinement::Pitches => {
            for zone in 0..own.slot_pitch_m.len() {
                for factor in [0.75, 0.87, 1.15, 1.33] {
                    let mut design = own.clone();
                    design.slot_pitch_m[zone] *= factor;
                    let words = design
                        .slot_pitch_m
                        .iter()
                        .map(|p| format!("{:.2}", p * 1e3));
                    let words = words.collect::<Vec<_>>().join("/");
                    varied.push((format!("pitch {words} mm"), design));
                }
            }
        }
        Refinement::Sense => {
            let design = MaskDesign {
                sense: -own.sense,
                ..own.clone()
            };
            varied.push((format!("sense {:.0}", design.sense), design));
        }
        Refinement::Rims => {
            for (outer, inner) in [(0.6, 1.0), (1.5, 1.0), (1.0, 0.6), (1.0, 1.5)] {
                let design = MaskDesign {
                    outer_rim_m: (outer * own.outer_rim_m).max(LEAST_RIM_M),
                    inner_rim_m: (inner * own.inner_rim_m).max(LEAST_RIM_M),
                    ..own.clone()
                };
                let [a, b] = [design.outer_rim_m, design.inner_rim_m].map(|rim| rim * 1e3);
                varied.push((format!("rims {a:.1} and {b:.1} mm"), design));
            }
        }
    }
    varied
        .into_iter()
        .filter(|(_, design)| design != own && printable(design) && zones_fit(design))
        .map(|(words, design)| (format!("{}, {words}", best.label), false, design))
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

/// Works one candidate out.
///
/// # Errors
/// As [`Model::new`].
pub fn judge(
    instrument: &Instrument,
    state: &State,
    reader: SpikeReader,
    (label, customary, design): (String, bool, MaskDesign),
    settings: Settings,
) -> Result<Candidate, PredictError> {
    let worn = Instrument {
        mask: Some(design.clone()),
        ..instrument.clone()
    };
    let state = State {
        mask_on: true,
        ..state.clone()
    };
    let model = Model::new(&worn, &state, settings)?;
    let [focus_nm, coma_nm] = match (reader, &worn.camera.electronics) {
        (SpikeReader::Photons, Some(electronics)) => {
            let bound = Bound::new(&Jacobian::new(&model, &Parameter::standard())?, electronics);
            let sigma = |noll| {
                bound
                    .sigma(Parameter::Mode(noll))
                    .map_or(f64::INFINITY, |s| s / NM)
            };
            [sigma(4), sigma(7).max(sigma(8))]
        }
        (SpikeReader::Photons, None) => [f64::INFINITY; 2],
        (SpikeReader::Eye(eye_px), _) => {
            let width = places(&worn, model.reference_m)
                .iter()
                .map(|p| p.width_px)
                .fold(0.0, f64::max);
            let least_px = eye_px.max(0.1 * width);
            let amount = |noll| {
                let [crossing, separation] = shifts_px(&worn, &state, &model, noll);
                // two spikes of one pitch that part look alike: only different pitches tell which way
                let separation = if keeps_sign(&design) { separation } else { 0.0 };
                let seen = crossing.max(separation);
                if seen > 1e-3 {
                    100.0 * least_px / seen
                } else {
                    f64::INFINITY
                }
            };
            [amount(4), amount(7).max(amount(8))]
        }
    };
    Ok(Candidate {
        label,
        customary,
        design,
        focus_nm,
        coma_nm,
    })
}

fn keeps_sign(design: &MaskDesign) -> bool {
    matches!(
        design.layout,
        MaskLayout::TwoPitch | MaskLayout::TangentWedges
    ) && design.slot_pitch_m.windows(2).any(|p| p[0] != p[1])
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

fn pitches(base: &MaskDesign, layout: &MaskLayout) -> Vec<f64> {
    let first = base.slot_pitch_m.first().copied().unwrap_or(2e-3);
    let second = base.slot_pitch_m.get(1).copied().unwrap_or(first);
    let signed = matches!(layout, MaskLayout::TwoPitch | MaskLayout::TangentWedges);
    match (layout, first == second) {
        (MaskLayout::ThreeTriplet, _) => vec![first],
        (_, true) if signed => vec![first, 1.25 * first],
        _ => vec![first, second],
    }
}

fn open_radii(design: &MaskDesign) -> [f64; 2] {
    [
        0.5 * design.inner_diameter_m + design.inner_rim_m,
        0.5 * design.outer_diameter_m - design.outer_rim_m,
    ]
}

fn printable(design: &MaskDesign) -> bool {
    design.slot_pitch_m.iter().all(|pitch| {
        let slot = design.open_fraction * pitch;
        slot >= 2.0 * design.printer.nozzle_m && pitch - slot >= design.printer.least_bar_m
    })
}

#[cfg(test)]
mod tests;
