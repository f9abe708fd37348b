//! Everything that is hidden about a frame, as it is written beside it (`skewstar-truth/2`).
//!
//! All keys are always present; what cannot be known is `null` with a flag, never NaN. `_px` places are in frame axes.

use super::flags::flags_of;
use super::limits::Limits;
use super::scintillation::factor;
use crate::axes::{FrameM, FramePx};
use crate::flag::{Flag, Flags};
use crate::frame::Frame;
use crate::instrument::Instrument;
use crate::math::gauss_between;
use crate::mechanics::{Plane, turns_for};
use crate::predict::{Expected, Model};
use crate::predict::{doughnut, spikes};
use crate::pupil::shift_px;
use crate::rng::{FrameChance, Seed};
use crate::state::State;
use crate::units::{ARCMIN, DEG, MM, NM, UM};
use crate::wavefront::{Wavefront, ZernikeSum};
use serde::Serialize;
use std::collections::BTreeMap;

/// Where a simulation came from.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Provenance {
    /// Title of the scenario.
    pub title: String,
    /// Seed; `None` where no chance entered.
    pub seed: Option<u64>,
    /// Checksum of the scenario's text and overrides.
    pub scenario_sha256: String,
    /// What the frame's chance comes from, where that is not the seed alone.
    pub chance: Option<FrameChance>,
}

impl Provenance {
    /// What the chance of a frame with this seed comes from.
    pub(super) fn chance_of(&self, seed: u64) -> FrameChance {
        self.chance.unwrap_or_else(|| Seed(seed).into())
    }
}

/// The truth about one frame.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Truth {
    /// `skewstar-truth/2`.
    pub format: &'static str,
    /// Version of the program.
    pub version: &'static str,
    /// Title of the scenario.
    pub title: String,
    /// Seed; `None` where no chance entered.
    pub seed: Option<u64>,
    /// Checksum of the scenario's text and overrides.
    pub scenario_sha256: String,
    /// Sensor beyond best focus, in total, µm.
    pub sensor_offset_um: f64,
    /// `inside`, `outside` or `focus`, by the sign of that offset.
    pub side: &'static str,
    /// Turns of each screw; positive lengthens.
    pub turns: BTreeMap<String, f64>,
    /// Turns of each screw that undo the tilt: that of the screws and the lean that the unit's own weight adds.
    pub undo_turns: BTreeMap<String, f64>,
    /// Tilt vector of the unit, pupil axes; it points at the raised edge.
    pub tilt_arcmin: [f64; 2],
    /// How far the unit sits aside, pupil axes.
    pub decentre_mm: [f64; 2],
    /// Tilt of the sensor against the unit, pupil axes; points at the edge that lies farther beyond focus.
    pub sensor_tilt_arcmin: [f64; 2],
    /// How much too far from the corrector the sensor stands.
    pub spacing_mm: f64,
    /// How far tilt and decentre move the star, frame axes.
    pub image_shift_px: FramePx,
    /// Height of the unit at the centre of the screw circle, µm.
    pub piston_um: f64,
    /// Photon-weighted mean wavelength.
    pub reference_wavelength_nm: f64,
    /// Noll index → nm RMS at the star and the reference wavelength, exact defocus not included; 2 to 22 at least.
    pub modes_nm: Numbered,
    /// The same with the exact defocus expanded into modes and added.
    pub modes_with_focus_nm: Numbered,
    /// Where a wave with W = 0 would focus, frame pixels.
    pub star_px: FramePx,
    /// How far that is aside of the frame's middle (of where the image shift has it, where the frame is not recentred).
    pub place_px: FramePx,
    /// Electrons of the star on an unlimited sensor; `None` in relative units.
    pub electrons: Option<f64>,
    /// The star's light in this frame over what was expected of it: scintillation; 1 where none was asked for or no
    /// counts were drawn.
    pub scintillation: f64,
    /// Share of the star's light inside the frame.
    pub light_in_frame: f64,
    /// Number of full pixels; `None` without counts.
    pub saturated_px: Option<usize>,
    /// Relative L2 distance from the same frame with all steps 1.5 times finer, reference wavelength.
    pub sampling_error: Option<f64>,
    /// Ray-traced edges; `None` in focus and inside the caustic.
    pub doughnut: Option<DoughnutRecord>,
    /// One for each region of the mask; empty without one.
    pub spikes: Vec<SpikeRecord>,
    /// Noll index → what the photons allow (Cramér–Rao, 13 parameters free), nm RMS.
    pub sigma_photon_nm: Option<Numbered<Option<f64>>>,
    /// The same for whoever knows the star's place in the frame (11 parameters free), nm RMS.
    pub sigma_photon_place_known_nm: Option<Numbered<Option<f64>>>,
    /// Noll index → what the atmosphere adds in this exposure (frozen flow, averaged Noll variances), nm RMS.
    pub sigma_seeing_nm: Option<Numbered>,
    /// What a reader should know.
    pub flags: Flags,
}

/// Noll index → value, written with the index as key, in ascending order.
#[derive(Debug, Clone, PartialEq)]
pub struct Numbered<V = f64>(pub BTreeMap<u32, V>);

/// The edges of a doughnut in frame pixels.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DoughnutRecord {
    /// Centroid of the area within the outer edge.
    pub outer_centre_px: FramePx,
    /// Radius of a circle of that area.
    pub outer_radius_px: f64,
    /// Centroid of the dark middle; `None` without an obstruction.
    pub dark_centre_px: Option<FramePx>,
    /// Radius of a circle of its area.
    pub inner_radius_px: Option<f64>,
    /// Dark centre minus outer centre.
    pub dark_shift_px: Option<FramePx>,
}

/// One spike of a masked star.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SpikeRecord {
    /// Number of the region in the mask's list.
    pub region: usize,
    /// Middle of the region, pupil axes.
    pub azimuth_deg: f64,
    /// Direction along its slots, pupil axes.
    pub slot_deg: f64,
    /// Place of the region's mean ray from `star_px`, along the +slot direction turned into frame axes.
    pub shift_px: f64,
}

impl<V: Serialize> Serialize for Numbered<V> {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(noll, value)| (noll.to_string(), value)))
    }
}

/// The truth always lists modes up to this index.
const LISTED_MODES: u32 = 22;

impl Truth {
    /// Collects the truth of a simulation. Nothing is rendered here: what takes another frame to know stands in `limits`.
    pub fn new(
        instrument: &Instrument,
        state: &State,
        model: &Model,
        expected: &Expected,
        frame: Option<&Frame>,
        limits: Limits,
        provenance: &Provenance,
    ) -> Self {
        let alignment = &model.alignment;
        let pixel_m = instrument.camera.pixel_m;
        let wavefront = model.reference_wavefront();
        let ring = doughnut(instrument, state, &wavefront, model.reference_m).map(|d| {
            let place = |p: FrameM| model.star_px + p.in_pixels(pixel_m);
            let shift = |p: FrameM| (p - d.outer_centre_m).in_pixels(pixel_m);
            DoughnutRecord {
                outer_centre_px: place(d.outer_centre_m),
                outer_radius_px: d.outer_radius_m / pixel_m,
                dark_centre_px: d.dark.map(|dark| place(dark.0)),
                inner_radius_px: d.dark.map(|dark| dark.1 / pixel_m),
                dark_shift_px: d.dark.map(|dark| shift(dark.0)),
            }
        });
        let spikes = spikes(instrument, state, &wavefront)
            .iter()
            .map(|s| SpikeRecord {
                region: s.region,
                azimuth_deg: s.azimuth_rad / DEG,
                slot_deg: s.slot_rad / DEG,
                shift_px: s.shift_m / pixel_m,
            })
            .collect();
        let image_shift_px = shift_px(instrument, alignment.image_shift_m);
        let mut flags = flags_of(instrument, state, model, expected, frame);
        if ring.is_none() {
            flags.raise(Flag::NoDoughnut);
        }
        flags.extend(&limits.flags);
        Truth {
            format: "skewstar-truth/2",
            version: env!("CARGO_PKG_VERSION"),
            title: provenance.title.clone(),
            seed: provenance.seed,
            scenario_sha256: provenance.scenario_sha256.clone(),
            sensor_offset_um: clean(alignment.sensor_offset_m / UM),
            side: side(alignment.sensor_offset_m),
            turns: named(instrument, state, 1.0),
            undo_turns: undo(instrument, state),
            tilt_arcmin: alignment.plane.tilt_rad.map(|t| clean(t / ARCMIN)),
            decentre_mm: state.decentre_m.map(|d| clean(d / MM)),
            sensor_tilt_arcmin: state.sensor_tilt_rad.map(|t| clean(t / ARCMIN)),
            spacing_mm: clean(state.spacing_m / MM),
            image_shift_px: FramePx::new(image_shift_px.xy().map(clean)),
            piston_um: clean(alignment.plane.piston_m / UM),
            reference_wavelength_nm: model.reference_m / NM,
            modes_nm: listed(model, &|noll| alignment.modes.get(noll)),
            modes_with_focus_nm: with_focus(instrument, model),
            star_px: model.star_px,
            place_px: FramePx::new(state.place_px.xy().map(clean)),
            electrons: expected.in_electrons.then_some(expected.star_total),
            scintillation: frame
                .and(provenance.seed)
                .and_then(|seed| factor(instrument, state, provenance.chance_of(seed).noise))
                .unwrap_or(1.0),
            light_in_frame: expected.light_in_frame,
            saturated_px: frame.map(|f| f.saturated_px),
            sampling_error: limits.sampling_error,
            doughnut: ring,
            spikes,
            sigma_photon_nm: limits.photon_nm,
            sigma_photon_place_known_nm: limits.photon_place_known_nm,
            sigma_seeing_nm: limits.seeing_nm,
            flags,
        }
    }
}

fn side(sensor_offset_m: f64) -> &'static str {
    match sensor_offset_m {
        offset if offset > 0.0 => "outside",
        offset if offset < 0.0 => "inside",
        _ => "focus",
    }
}

/// Screw name → turns times `factor`.
fn named(instrument: &Instrument, state: &State, factor: f64) -> BTreeMap<String, f64> {
    let screws = instrument.assembly.iter().flat_map(|a| &a.screws);
    let turns = state.turns.iter().chain(std::iter::repeat(&0.0));
    screws
        .zip(turns)
        .map(|(screw, turn)| (screw.name.clone(), clean(turn * factor)))
        .collect()
}

/// Turns that take the tilt away: those of the screws back, and against what the unit's own weight adds.
fn undo(instrument: &Instrument, state: &State) -> BTreeMap<String, f64> {
    let mut undone = named(instrument, state, -1.0);
    if let Some(assembly) = instrument
        .assembly
        .as_ref()
        .filter(|_| state.flexure_rad != [0.0; 2])
    {
        let against = Plane {
            piston_m: 0.0,
            tilt_rad: state.flexure_rad.map(|t| -t),
        };
        for (screw, turn) in assembly
            .screws
            .iter()
            .zip(turns_for(assembly, &against).iter())
        {
            *undone.entry(screw.name.clone()).or_insert(0.0) += turn;
        }
    }
    undone
}

fn listed(model: &Model, value_m: &dyn Fn(u32) -> f64) -> Numbered {
    let last = LISTED_MODES.max(model.alignment.modes.highest());
    Numbered(
        (2..=last)
            .map(|noll| (noll, clean(value_m(noll) / NM)))
            .collect(),
    )
}

/// The modes with the exact defocus projected on them (it has terms in Noll 4, 11, 22 and weaker ones beyond).
fn with_focus(instrument: &Instrument, model: &Model) -> Numbered {
    let telescope = &instrument.telescope;
    let radius = telescope.aperture_radius_m();
    let map = Wavefront::radial_map(telescope);
    let defocus_m = |rho: f64| {
        let sine = map.forward([rho * radius, 0.0])[0] / telescope.focal_length_m;
        model.alignment.sensor_offset_m * (1.0 - (1.0 - sine * sine).sqrt())
    };
    // in ρ² a mode is a polynomial of at most degree 20 (Noll 861), and the defocus is smooth
    let points = gauss_between(0.0, 1.0, 32);
    let projection = |noll: u32| {
        let mode = ZernikeSum::new(&[(noll, 1.0)].into_iter().collect());
        points
            .iter()
            .map(|(square, weight)| (square.sqrt(), weight))
            .map(|(rho, weight)| weight * mode.value(rho, 0.0) * defocus_m(rho))
            .sum::<f64>()
    };
    listed(model, &|noll| {
        let rotational = crate::wavefront::noll_n_m(noll).1 == 0;
        model.alignment.modes.get(noll) + if rotational { projection(noll) } else { 0.0 }
    })
}

/// −0 as 0, so that files do not depend on how a zero came about.
fn clean(value: f64) -> f64 {
    if value == 0.0 { 0.0 } else { value }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sine law: 1 − √(1 − s²t) = Σ c_j (s²t)^j with t = ρ², c_1 = 1/2, c_{j+1} = c_j (2j − 1)/(2j + 2), against Noll 4, 11
    /// and 22 as polynomials in t. Worked out by hand.
    #[test]
    fn exact_defocus_has_the_modes_of_its_power_series() {
        let mut unit = crate::testing::fast_unit();
        unit.camera.wavelengths = Some(1);
        let state = State {
            sensor_offset_m: 900.0 * UM,
            ..State::default()
        };
        let model = Model::new(&unit, &state, Default::default()).unwrap();
        let found = with_focus(&unit, &model).0;
        let sine = 0.5 / unit.telescope.focal_ratio();
        let series = |polynomial: &[f64]| {
            let (mut c, mut sum) = (0.5, 0.0);
            for j in 1..60 {
                let j = f64::from(j);
                let moments = polynomial.iter().enumerate();
                let moment: f64 = moments.map(|(k, p)| p / (j + k as f64 + 1.0)).sum();
                sum += c * sine.powf(2.0 * j) * moment;
                c *= (2.0 * j - 1.0) / (2.0 * j + 2.0);
            }
            900.0 * UM / NM * sum
        };
        for (noll, norm, polynomial) in [
            (4, 3.0f64, &[-1.0, 2.0][..]),
            (11, 5.0, &[1.0, -6.0, 6.0]),
            (22, 7.0, &[-1.0, 12.0, -30.0, 20.0]),
        ] {
            let expected = norm.sqrt() * series(polynomial);
            approx::assert_abs_diff_eq!(found[&noll], expected, epsilon = 1e-8);
        }
    }
}
