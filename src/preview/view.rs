//! How far the mean rays of a mask's regions move its spikes for each error, and what photons and atmosphere allow a measuring program.
//!
//! Two shifts are told: the middle spike of a triplet against the crossing of its slanted partners, and the separation of
//! spikes that lie on each other. Both are worked out from the mean rays of each region, which `tests/masked` pins on
//! rendered frames. Mean rays know nothing of light, contrast and overlap: what an eye sees is read off the picture, in
//! [`visible`](super::visible). The photon bound and the atmosphere's floor are those of [`predict`](crate::predict).

use crate::instrument::Instrument;
use crate::mask::{parallel_pairs, regions, triplets};
use crate::predict::spikes;
use crate::predict::{Bound, Jacobian, Model, Parameter, PredictError, Settings, seeing_sigma_m};
use crate::state::{Modes, State};
use crate::units::NM;
use serde::Serialize;

/// The modes in the table: focus, astigmatism, coma, trefoil, spherical.
pub const MODES: [u32; 8] = [4, 5, 6, 7, 8, 9, 10, 11];
/// Size of the error that shifts are quoted for.
const UNIT_NM: f64 = 100.0;

/// One row of the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Shows {
    /// Noll index.
    pub noll: u32,
    /// Its common name.
    pub name: &'static str,
    /// Largest shift of a middle spike against its partners' crossing per 100 nm RMS.
    pub crossing_px: f64,
    /// Largest separation of two parallel spikes per 100 nm RMS.
    pub separation_px: f64,
    /// What the photons of this exposure allow a program; `None` without counts.
    pub photon_nm: Option<f64>,
    /// What the atmosphere itself adds in this exposure; `None` without seeing, wind and exposure.
    pub seeing_nm: Option<f64>,
}

/// Common name of a mode.
pub fn name(noll: u32) -> &'static str {
    match noll {
        4 => "focus",
        5 | 6 => "astigmatism",
        7 | 8 => "coma",
        9 | 10 => "trefoil",
        11 => "spherical",
        _ => "other",
    }
}

/// The shifts of the spikes in pixels per 100 nm RMS: middle against crossing, and separation of parallel spikes.
pub fn shifts_px(instrument: &Instrument, state: &State, model: &Model, noll: u32) -> [f64; 2] {
    let Some(design) = instrument.mask.as_ref() else {
        return [0.0; 2];
    };
    let with = |amount_m: f64| {
        let modes: Modes = [(noll, amount_m)].into_iter().collect();
        spikes(
            instrument,
            state,
            &model.wavefront(&modes, 0.0, model.reference_m),
        )
    };
    let per_px = 1.0 / instrument.camera.pixel_m;
    let (bent, flat) = (with(UNIT_NM * NM), with(0.0));
    let moved: Vec<(usize, f64)> = bent
        .iter()
        .filter_map(|b| {
            let zero = flat.iter().find(|f| f.region == b.region)?;
            Some((b.region, (b.shift_m - zero.shift_m) * per_px))
        })
        .collect();
    let of = |region: usize| moved.iter().find(|m| m.0 == region).map(|m| m.1);
    let crossing = triplets(design)
        .iter()
        .filter_map(|t| t.read(of).map(|r| r.shift().abs()))
        .fold(0.0, f64::max);
    let separation = parallel_pairs(&regions(design))
        .iter()
        .filter_map(|pair| pair.separation(of).map(f64::abs))
        .fold(0.0, f64::max);
    [crossing, separation]
}

/// The whole table of a mask. With `bound` the photons' limits too, which takes about ten times as long as a frame.
///
/// # Errors
/// As [`Model::new`].
pub fn table(
    instrument: &Instrument,
    state: &State,
    settings: Settings,
) -> Result<Vec<Shows>, PredictError> {
    let model = Model::new(instrument, state, settings)?;
    let counts = state.star.is_some() && state.exposure.is_some();
    let bound = match (&instrument.camera.electronics, counts && settings.bound) {
        (Some(electronics), true) => {
            let jacobian = Jacobian::new(&model, &Parameter::standard())?;
            Some(Bound::new(&jacobian, electronics))
        }
        _ => None,
    };
    Ok(MODES
        .iter()
        .map(|&noll| {
            let [crossing_px, separation_px] = shifts_px(instrument, state, &model, noll);
            let seeing = seeing_sigma_m(&instrument.telescope, state, model.reference_m, noll);
            Shows {
                noll,
                name: name(noll),
                crossing_px,
                separation_px,
                photon_nm: bound
                    .as_ref()
                    .and_then(|b| b.sigma(Parameter::Mode(noll)))
                    .map(|s| s / NM),
                seeing_nm: seeing.ok().map(|s| s / NM),
            }
        })
        .collect())
}

#[cfg(test)]
mod numbers;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::{ABERRATIONS, MaskLayout, SlotLayout};
    use crate::testing;
    use crate::units::UM;
    use std::f64::consts::PI;

    /// Shifts in pixels of the test telescope with a mask on: middle against crossing, and separation.
    fn shifts(layout: MaskLayout, noll: u32) -> [f64; 2] {
        let mut instrument = testing::fast_unit();
        instrument.mask = Some(testing::mask(layout));
        let state = State {
            mask_on: true,
            ..State::default()
        };
        let model = Model::new(&instrument, &state, Settings::default()).unwrap();
        shifts_px(&instrument, &state, &model, noll)
    }

    /// What an entry of the table of layouts says it shows is what is worked out for it: at least a third of the strongest.
    #[test]
    fn every_layout_shows_what_its_entry_says() {
        for layout in SlotLayout::all() {
            let mut most: Vec<(&str, [f64; 2])> = ABERRATIONS.map(|name| (name, [0.0; 2])).into();
            for noll in MODES {
                let found = shifts(MaskLayout::Slots(layout), noll);
                let at = ABERRATIONS.iter().position(|a| *a == name(noll)).unwrap();
                let kept = most[at].1;
                most[at].1 = [kept[0].max(found[0]), kept[1].max(found[1])];
            }
            let shown = |way: usize| -> Vec<&str> {
                let strongest = most.iter().map(|m| m.1[way]).fold(0.0, f64::max);
                most.iter()
                    .filter(|m| strongest > 1e-3 && m.1[way] >= strongest / 3.0)
                    .map(|m| m.0)
                    .collect()
            };
            println!("{}: px per 100 nm {most:.2?}", layout.word);
            let (crossing, separation) = (shown(0), shown(1));
            assert_eq!(crossing, layout.crossing_shows, "{layout:?}: crossing");
            assert_eq!(
                separation, layout.separation_shows,
                "{layout:?}: separation"
            );
        }
    }

    /// Tangent wedges in closed form. A wedge of 60 degrees about azimuth φ, open from r₁ to r₂ (in aperture radii), has its
    /// slots along (−sin φ, cos φ). Averaged over the wedge, the slope of W along them is
    ///
    /// ```text
    /// Noll 6, W = √6 (x² − y²):      −2 √6 ρ sin 2φ,             ρ = ⅔ (r₂³ − r₁³)/(r₂² − r₁²) · sin 30°/(π/6)
    /// Noll 8, W = √8 (3r² − 2) x:    √8 sin φ (2 − 6q + 3qk),    q = ½ (r₁² + r₂²),  k = sin 60°/(π/3)
    /// ```
    ///
    /// and a ray lands at −f/R times the slope. For Noll 6 opposite outer wedges have the same shift, each along its own slots,
    /// and those point opposite ways: they are apart by twice that, most at φ = 30 degrees. For Noll 8 the two zones of one wedge
    /// part most, at φ = 90 degrees. Slots do not fill a wedge evenly: measured 0.3 %, allowed 1 %.
    #[test]
    fn parallel_spikes_of_tangent_wedges_part_as_in_closed_form() {
        // 71 mm less and more half a rib of 2 mm; rims of 3 and 4 mm; aperture 190 mm, focal length 456 mm, pixels of 3.8 µm
        let (outer, inner) = ([72.0 / 95.0, 90.0 / 95.0_f64], [45.0 / 95.0, 70.0 / 95.0]);
        let px = 456.0 / 95.0 * 100.0 * NM / (3.8 * UM);
        let [r1, r2] = outer;
        let rho = 2.0 / 3.0 * (r2.powi(3) - r1.powi(3)) / (r2 * r2 - r1 * r1) * 0.5 / (PI / 6.0);
        let astigmatism_px = 2.0 * px * 2.0 * 6f64.sqrt() * rho * (PI / 3.0).sin();
        let q = |[r1, r2]: [f64; 2]| 0.5 * (r1 * r1 + r2 * r2);
        let k = (PI / 3.0).sin() / (PI / 3.0);
        let coma_px = px * 8f64.sqrt() * (6.0 - 3.0 * k) * (q(outer) - q(inner));
        for (noll, wanted) in [(6, astigmatism_px), (8, coma_px)] {
            let [crossing, separation] = shifts(MaskLayout::TANGENT_WEDGES, noll);
            println!("Noll {noll}: {separation:.4} px, in closed form {wanted:.4}");
            assert_eq!(crossing, 0.0);
            assert!(
                (separation / wanted - 1.0).abs() < 0.01,
                "{separation} {wanted}"
            );
        }
    }
}
