//! When to stop: the coma that is too small to be seen in pictures, the coma that the atmosphere makes anyway, and the coma on which a
//! hand cannot improve.

use super::settings::AdviceSettings;
use crate::instrument::Instrument;
use crate::mechanics::{plane_of, turned};
use crate::predict::{ComaScale, seeing_sigma_m, widening_coma_m};
use crate::state::{Exposure, Sky, State};
use serde::Serialize;

/// The limits, all in metres RMS of coma (length of Noll 7 and 8).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoodEnough {
    /// Coma that widens a focused star, as wide as atmosphere and pixels make it, by
    /// [`not_seen_wider_share`](AdviceSettings::not_seen_wider_share): less is not seen in pictures.
    pub not_seen_m: f64,
    /// The atmosphere's own coma in this exposure; `None` where the exposure is not known.
    pub atmosphere_m: Option<f64>,
    /// Coma on which a turn does not improve, because of what hand and tightening add; `None` without screws or response.
    pub hand_m: Option<f64>,
    /// Stop below this: the largest of the three.
    pub stop_m: f64,
    /// What an amount of coma looks like under the seeing that was measured.
    pub scale: ComaScale,
}

/// Which of the limits is the largest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StopBy {
    /// What nobody sees in a picture.
    NotSeen,
    /// What the atmosphere makes.
    Atmosphere,
    /// What a hand can set.
    Hand,
}

impl GoodEnough {
    /// Which limit decides.
    pub fn decided_by(&self) -> StopBy {
        if self.hand_m.is_some_and(|m| m >= self.stop_m) {
            StopBy::Hand
        } else if self.atmosphere_m.is_some_and(|m| m >= self.stop_m) {
            StopBy::Atmosphere
        } else {
            StopBy::NotSeen
        }
    }
}

/// Works the limits out for a telescope under the seeing that was measured (FWHM, radians).
pub fn good_enough(
    instrument: &Instrument,
    seeing_rad: f64,
    exposure_s: Option<f64>,
    wavelength_m: f64,
    settings: &AdviceSettings,
) -> GoodEnough {
    let not_seen_m = widening_coma_m(instrument, seeing_rad, settings.not_seen_wider_share);
    let atmosphere_m = exposure_s.and_then(|time_s| {
        let state = State {
            sky: Sky {
                seeing_rad: Some(seeing_rad),
                wind_m_per_s: Some(settings.wind_m_per_s),
                ..Sky::default()
            },
            exposure: Some(Exposure { time_s }),
            ..State::default()
        };
        let of = |noll| seeing_sigma_m(&instrument.telescope, &state, wavelength_m, noll).ok();
        Some(of(7)?.hypot(of(8)?))
    });
    let hand_m = hand_m(instrument, settings);
    GoodEnough {
        not_seen_m,
        atmosphere_m,
        hand_m,
        stop_m: not_seen_m
            .max(atmosphere_m.unwrap_or(0.0))
            .max(hand_m.unwrap_or(0.0)),
        scale: ComaScale::of(instrument, Some(seeing_rad)),
    }
}

/// The coma, metres RMS, that one turn leaves as large as it was: a turn that should take c away errs by a share s of it and by a fixed
/// angle worth r, and tightening shifts the unit by l, so that √((s·c + r)² + l²) is left (all standard deviations). Where that is c
/// itself nothing is gained (derived here): (1 − s²)·c² − 2·s·r·c − (r² + l²) = 0.
fn hand_m(instrument: &Instrument, settings: &AdviceSettings) -> Option<f64> {
    let assembly = instrument.assembly.as_ref()?;
    let response = assembly.response.as_ref()?;
    let worth_m = |screw: usize| {
        let [x, y] = plane_of(assembly, &turned(assembly, screw, settings.hand_turns)).tilt_rad;
        (response.coma_m_per_rad * x.hypot(y)).abs()
    };
    let fixed_m = (0..assembly.screws.len()).map(worth_m).fold(0.0, f64::max);
    let lock_m = if assembly.kind.is_locked() {
        settings.lock_shift_m
    } else {
        0.0
    };
    let share = settings.hand_share;
    let square = fixed_m * fixed_m + lock_m * lock_m;
    let rest = 1.0 - share * share;
    let half = share * fixed_m;
    Some((half + (half * half + rest * square).sqrt()) / rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::AssemblyKind;
    use crate::testing::fast_unit;
    use crate::units::{ARCSEC, NM};

    /// What a turn leaves, worked out forwards: at the level as much as there was, at twice the level less, at half of it more.
    #[test]
    fn at_the_hands_level_a_turn_gains_nothing() {
        let mut unit = fast_unit();
        let settings = AdviceSettings::default();
        for kind in AssemblyKind::ALL {
            unit.assembly.as_mut().unwrap().kind = kind;
            let assembly = unit.assembly.as_ref().unwrap();
            let level_m = hand_m(&unit, &settings).unwrap();
            let [x, y] = plane_of(assembly, &turned(assembly, 1, 1.0)).tilt_rad;
            let per_turn_m = assembly.response.as_ref().unwrap().coma_m_per_rad * x.hypot(y);
            let left = |coma_m: f64| {
                let turns = coma_m / per_turn_m;
                let errs_m = (settings.hand_share * turns + settings.hand_turns) * per_turn_m;
                let lock_m = match kind {
                    AssemblyKind::Spring => 0.0,
                    _ => 20.0 * NM,
                };
                errs_m.hypot(lock_m)
            };
            approx::assert_relative_eq!(left(level_m), level_m, max_relative = 1e-12);
            assert!(left(2.0 * level_m) < 2.0 * level_m && left(0.5 * level_m) > 0.5 * level_m);
        }
    }

    #[test]
    fn worse_air_hides_more_and_the_largest_limit_counts() {
        let unit = fast_unit();
        let with = |seeing_rad, exposure_s| {
            let settings = AdviceSettings::default();
            good_enough(&unit, seeing_rad, exposure_s, 550.0 * NM, &settings)
        };
        let calm = with(1.2 * ARCSEC, Some(0.5));
        let rough = with(3.0 * ARCSEC, Some(0.5));
        assert!(rough.not_seen_m > calm.not_seen_m && rough.atmosphere_m > calm.atmosphere_m);
        let largest = [Some(calm.not_seen_m), calm.atmosphere_m, calm.hand_m]
            .into_iter()
            .flatten()
            .fold(0.0, f64::max);
        assert_eq!(calm.stop_m, largest);
        assert!(with(1.2 * ARCSEC, None).atmosphere_m.is_none());
        assert_eq!(calm.decided_by(), StopBy::Hand);
        assert_ne!(with(9.0 * ARCSEC, None).decided_by(), StopBy::Hand);
    }
}
