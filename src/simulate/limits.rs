//! What takes more than the frame itself to know: how well its photons allow each mode to be measured, how much of each mode the
//! atmosphere adds in this exposure, and how far the frame is off by its sampling.

use super::truth::Numbered;
use crate::flag::{Flag, Flags};
use crate::instrument::Instrument;
use crate::predict::{Bound, Expected, Jacobian, Model, Parameter, PredictError, seeing_sigma_m};
use crate::state::State;
use crate::units::NM;
use std::ops::RangeInclusive;

/// Limits of Noll 4 to 11, and why some are unknown.
pub struct Limits {
    /// Noll index → Cramér–Rao bound, nm RMS. `None` as a whole when it was not computed; `None` for a mode that the frame does not
    /// determine.
    pub photon_nm: Option<Numbered<Option<f64>>>,
    /// The same for whoever knows where in the frame the star stands.
    pub photon_place_known_nm: Option<Numbered<Option<f64>>>,
    /// Noll index → standard deviation that the atmosphere adds in this exposure, nm RMS; `None` where seeing, wind or exposure are not
    /// given.
    pub seeing_nm: Option<Numbered>,
    /// Relative L2 distance from the same frame with all steps 1.5 times finer, reference wavelength; `None` where it was not
    /// asked for or cannot be known.
    pub sampling_error: Option<f64>,
    /// Flags of the truth that say what was not computed, and why.
    pub flags: Flags,
}

/// Where the star stands, for a bound that takes it as known.
const PLACE: [Parameter; 2] = [Parameter::PlaceX, Parameter::PlaceY];

/// What the photons allow of each mode; `None` where the frame does not determine it.
type Sigmas = Numbered<Option<f64>>;

/// Modes that the limits are given for.
const MODES: RangeInclusive<u32> = 4..=11;

impl Limits {
    /// Both limits of a frame.
    pub fn new(instrument: &Instrument, state: &State, model: &Model, expected: &Expected) -> Self {
        let mut flags = Flags::default();
        let (photon_nm, photon_place_known_nm) =
            photon(instrument, model, expected, &mut flags).unzip();
        let seeing_nm = seeing(instrument, state, model, &mut flags);
        let wanted = model.settings().sampling_check;
        let sampling_error = match wanted {
            true => known_error(model.sampling_error(), &mut flags),
            false => {
                flags.raise(Flag::SamplingNotChecked);
                None
            }
        };
        Limits {
            photon_nm,
            photon_place_known_nm,
            seeing_nm,
            sampling_error,
            flags,
        }
    }
}

fn photon(
    instrument: &Instrument,
    model: &Model,
    expected: &Expected,
    flags: &mut Flags,
) -> Option<(Sigmas, Sigmas)> {
    let wanted = model.settings().bound && expected.in_electrons;
    let electronics = instrument.camera.electronics.as_ref().filter(|_| wanted);
    let bounds = electronics.and_then(|electronics| {
        let jacobian = Jacobian::new(model, &Parameter::standard()).ok()?;
        let free = Bound::new(&jacobian, electronics);
        Some((free, Bound::given(&jacobian, &PLACE, electronics)))
    });
    let Some((bound, place_known)) = bounds else {
        flags.raise(Flag::PhotonBoundNotComputed);
        return None;
    };
    let sigma_nm = |noll: u32| bound.sigma(Parameter::Mode(noll)).map(|m| m / NM);
    let lost = MODES.filter(|noll| sigma_nm(*noll).is_none());
    flags.extend(lost.map(Flag::PhotonBoundSingular));
    let listed = |bound: &Bound| {
        let sigma = |noll| (noll, bound.sigma(Parameter::Mode(noll)).map(|m| m / NM));
        Numbered(MODES.map(sigma).collect())
    };
    Some((listed(&bound), listed(&place_known)))
}

fn seeing(
    instrument: &Instrument,
    state: &State,
    model: &Model,
    flags: &mut Flags,
) -> Option<Numbered> {
    let sigma_nm = |noll: u32| {
        seeing_sigma_m(&instrument.telescope, state, model.reference_m, noll)
            .map(|sigma_m| (noll, sigma_m / NM))
    };
    match MODES.map(sigma_nm).collect() {
        Ok(sigmas) => Some(Numbered(sigmas)),
        Err(missing) => {
            flags.raise(missing.flag());
            None
        }
    }
}

/// The error, or a flag that says that it is not known: the finer frame may not fit in memory, or there is no light to compare.
fn known_error(found: Result<f64, PredictError>, flags: &mut Flags) -> Option<f64> {
    let known = found.ok().filter(|error| error.is_finite());
    if known.is_none() {
        flags.raise(Flag::SamplingNotChecked);
    }
    known
}

#[cfg(test)]
mod tests {
    use super::known_error;
    use crate::flag::{Flag, Flags};
    use crate::instrument::Electronics;
    use crate::predict::{PredictError, Settings};
    use crate::simulate::{Provenance, Truth, simulate};
    use crate::state::{Exposure, Sky, Star, State};
    use crate::testing::fast_unit;
    use crate::units::{ARCSEC, DEG, NM, UM};

    #[test]
    fn a_sampling_error_that_is_not_known_is_flagged() {
        let mut flags = Flags::default();
        assert_eq!(known_error(Ok(2e-4), &mut flags), Some(2e-4));
        assert!(flags.is_empty());
        for unknown in [Err(PredictError::Dark), Ok(f64::NAN)] {
            let mut flags = Flags::default();
            assert_eq!(known_error(unknown, &mut flags), None);
            assert_eq!(flags, Flags::from([Flag::SamplingNotChecked]));
        }
    }

    fn bright() -> State {
        State {
            sensor_offset_m: 90.0 * UM,
            modes: [(8, 20.0 * NM)].into_iter().collect(),
            star: Some(Star {
                magnitude: 4.0,
                temperature_k: 6200.0,
                altitude_rad: 57.0 * DEG,
            }),
            sky: Sky {
                seeing_rad: Some(1.4 * ARCSEC),
                wind_m_per_s: Some(10.0),
                ..Sky::default()
            },
            exposure: Some(Exposure { time_s: 0.5 }),
            ..State::default()
        }
    }

    fn truth(state: &State, bound: bool) -> Result<Truth, PredictError> {
        let mut unit = fast_unit();
        unit.camera.width_px = 24;
        unit.camera.height_px = 24;
        unit.camera.wavelengths = Some(1);
        unit.camera.electronics = Some(Electronics {
            quantum_efficiency: 0.8,
            gain_e_per_adu: 0.8,
            bias_adu: 500.0,
            read_noise_e: 1.6,
            dark_e_per_s: 0.0,
            full_well_e: 1e9,
            bits: 16,
            pixel_response_rms: 0.0,
        });
        let settings = Settings {
            bound,
            ..Settings::default()
        };
        Ok(simulate(&unit, state, &Provenance::default(), settings)?.truth)
    }

    #[test]
    fn both_limits_are_listed_for_noll_4_to_11() {
        let truth = truth(&bright(), true).unwrap();
        let photon = truth.sigma_photon_nm.clone().unwrap().0;
        let seeing = truth.sigma_seeing_nm.clone().unwrap().0;
        assert!(photon.keys().eq(&(4..=11).collect::<Vec<u32>>()));
        assert!(seeing.keys().eq(photon.keys()));
        assert!(
            photon
                .values()
                .all(|s| s.is_some_and(|nm| nm > 1e-3 && nm < 10.0))
        );
        assert!(seeing[&5] == seeing[&6] && seeing[&7] == seeing[&8] && seeing[&7] < seeing[&5]);
        assert!(
            !truth
                .flags
                .iter()
                .any(|flag| flag == Flag::NoSeeing || flag.name().contains("bound"))
        );
        let json = serde_json::to_value(&truth).unwrap();
        assert_eq!(json["sigma_photon_nm"]["8"], photon[&8].unwrap());
    }

    /// A round pupil at perfect focus: an even mode does not act at first order.
    #[test]
    fn even_modes_at_focus_are_null_and_flagged() {
        let mut state = bright();
        state.sensor_offset_m = 0.0;
        state.sky.wind_m_per_s = None;
        let truth = truth(&state, true).unwrap();
        let photon = truth.sigma_photon_nm.clone().unwrap().0;
        for noll in 4..=11 {
            let even = [4, 5, 6, 11].contains(&noll);
            assert_eq!(photon[&noll].is_none(), even, "{noll}");
            assert_eq!(truth.flags.has(Flag::PhotonBoundSingular(noll)), even);
        }
        assert!(truth.sigma_seeing_nm.is_none() && truth.flags.has(Flag::NoWind));
    }

    #[test]
    fn what_was_not_asked_for_or_cannot_be_known_is_null_with_a_flag() {
        let off = truth(&bright(), false).unwrap();
        assert!(off.sigma_photon_nm.is_none() && off.flags.has(Flag::PhotonBoundNotComputed));
        assert!(off.sigma_seeing_nm.is_some());
        let relative = State {
            star: None,
            sky: Sky::default(),
            ..bright()
        };
        let relative = truth(&relative, true).unwrap();
        assert!(relative.sigma_photon_nm.is_none());
        assert!(relative.flags.has(Flag::PhotonBoundNotComputed));
        assert!(relative.sigma_seeing_nm.is_none() && relative.flags.has(Flag::NoSeeing));
    }
}
