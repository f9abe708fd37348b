//! A deterministic search for better numbers of a mask, always against the customary layouts with the owner's own numbers.
//!
//! Every candidate keeps the printer's limits on slots and bars. What is compared is the smallest error that can be seen: for
//! an eye from the shifts of the spikes (an eye places a spike to `eye_px`, or to a tenth of the spike's width if that is
//! more), for a measuring program from the photon bound. Nothing is drawn at random and nothing stops early.

use super::view::{places, shifts_px};
use crate::instrument::{Instrument, MaskDesign, MaskLayout, SlotLayout};
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
    let base = filled(design);
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
        list.extend(searched(&base, layout));
    }
    list
}

/// A layout with the owner's numbers but for zone radius and slant, where it has them; the printer's limits are kept.
fn searched(base: &MaskDesign, layout: &'static SlotLayout) -> Vec<(String, bool, MaskDesign)> {
    let [inner, outer] = open_radii(base);
    let zones: &[f64] = if layout.has_zones() {
        &[0.35, 0.5, 0.6, 0.7]
    } else {
        &[0.5]
    };
    let slants: &[f64] = if layout.leans() {
        &[12.0, 20.0, 30.0]
    } else {
        &[20.0]
    };
    let mut list = Vec::new();
    for &part in zones {
        for &slant_deg in slants {
            let zone = inner + part * (outer - inner);
            let own = MaskDesign {
                layout: MaskLayout::Slots(layout),
                zone_radius_m: Some(zone),
                slant_rad: slant_deg * DEG,
                slot_pitch_m: pitches(base, layout),
                ..base.clone()
            };
            let mut label = layout.word.to_owned();
            if layout.has_zones() {
                label += &format!(", zone {:.1} mm", zone * 1e3);
            }
            if layout.leans() {
                label += &format!(", slant {slant_deg:.0}");
            }
            if printable(&own) {
                list.push((label, false, own));
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
        // a layout whose slots do not lean is the same either way
        Refinement::Sense if !own.layout.slots().is_some_and(SlotLayout::leans) => {}
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

/// Whether the pitches tell which of two parallel spikes is which.
fn keeps_sign(design: &MaskDesign) -> bool {
    let two_pitches = design.slot_pitch_m.windows(2).any(|p| p[0] != p[1]);
    let layout = design.layout.slots();
    two_pitches && layout.is_some_and(SlotLayout::parallel_spikes_differ)
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

/// The owner's pitches, as many as the layout looks at; where it tells spikes apart by their pitch, two that differ.
fn pitches(base: &MaskDesign, layout: &SlotLayout) -> Vec<f64> {
    let first = base.slot_pitch_m.first().copied().unwrap_or(2e-3);
    let second = base.slot_pitch_m.get(1).copied().unwrap_or(first);
    if !layout.has_two_pitches() {
        vec![first]
    } else if layout.parallel_spikes_differ() && first == second {
        vec![first, 1.25 * first]
    } else {
        vec![first, second]
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
mod numbers;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing;

    #[test]
    fn candidates_are_named_after_their_own_layout_and_every_layout_of_the_table_plays_its_part() {
        let list = candidates(&testing::mask(MaskLayout::Holes(vec![])));
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
            let zones = if layout.has_zones() { 4 } else { 1 };
            let slants = if layout.leans() { 3 } else { 1 };
            assert_eq!(count(true), usize::from(layout.customary), "{layout:?}");
            let wanted = if layout.searched { zones * slants } else { 0 };
            assert_eq!(count(false), wanted, "{layout:?}");
        }
    }

    /// Slots that do not lean look the same for both senses: nothing is spent on them.
    #[test]
    fn the_sense_is_varied_only_where_slots_lean() {
        for layout in SlotLayout::all() {
            let best = Candidate {
                label: layout.word.to_owned(),
                customary: false,
                design: testing::mask(MaskLayout::Slots(layout)),
                focus_nm: 1.0,
                coma_nm: 1.0,
            };
            let varied = variations(&best, Refinement::Sense);
            assert_eq!(varied.len(), usize::from(layout.leans()), "{layout:?}");
            assert!(varied.iter().all(|v| v.2.sense == -best.design.sense));
        }
    }
}
