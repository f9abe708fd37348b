//! When to stop: the coma that is too small to be seen in pictures, the coma that the atmosphere makes anyway, and the coma on which a
//! hand cannot improve.

use super::settings::AdviceSettings;
use crate::instrument::Instrument;
use crate::mechanics::{plane_of, turned};
use crate::predict::seeing_sigma_m;
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

/// FWHM over σ of a normal distribution, 2√(2 ln 2).
pub(super) const FWHM_PER_SIGMA: f64 = 2.354_820_045;

/// Works the limits out for a telescope under the seeing that was measured (FWHM, radians).
pub fn good_enough(
    instrument: &Instrument,
    seeing_rad: f64,
    exposure_s: Option<f64>,
    wavelength_m: f64,
    settings: &AdviceSettings,
) -> GoodEnough {
    let not_seen_m = not_seen_m(instrument, seeing_rad, settings.not_seen_wider_share);
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
    }
}

/// The coma, metres RMS, that widens a star by a share. Rays of coma c spread by 2N·√56·c RMS on the sensor, 56 being the mean of
/// |∇Z|² of Noll 8 over the unit circle (derived here; the test below sums it). Atmosphere, pixel and coma add in squares.
fn not_seen_m(instrument: &Instrument, seeing_rad: f64, wider_share: f64) -> f64 {
    let (telescope, pixel_m) = (&instrument.telescope, instrument.camera.pixel_m);
    let of_atmosphere = 2.0 * (seeing_rad * telescope.focal_length_m / FWHM_PER_SIGMA).powi(2);
    let of_pixel = pixel_m * pixel_m / 6.0;
    let wider = ((1.0 + wider_share).powi(2) - 1.0) * (of_atmosphere + of_pixel);
    wider.sqrt() / (2.0 * telescope.focal_ratio() * 56f64.sqrt())
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
    use crate::wavefront::ZernikeSum;

    /// Slow twin of the 56: the mean of |∇Z8|² over the unit circle, by summing.
    #[test]
    fn rays_of_coma_spread_by_the_root_of_56() {
        let coma = ZernikeSum::new(&[(8, 1.0)].into_iter().collect());
        let (mut sum, mut count) = (0.0, 0.0);
        for j in -200..200 {
            for i in -200..200 {
                let (x, y) = ((f64::from(i) + 0.5) / 200.0, (f64::from(j) + 0.5) / 200.0);
                if x * x + y * y < 1.0 {
                    let slope = coma.value_slope(x, y).slope;
                    sum += slope[0] * slope[0] + slope[1] * slope[1];
                    count += 1.0;
                }
            }
        }
        approx::assert_relative_eq!(sum / count, 56.0, max_relative = 3e-3);
    }

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

    /// By hand, at f = 456 mm and f/2.4: seeing of 2 arcsec is 4.4215 um wide on the sensor, σ = 1.8776 um along an axis, 2σ² = 7.0511 um²
    /// along both; a pixel of 3.8 um adds 3.8²/6 = 2.4067 um². A star wider by 5 % has 0.1025 of that more, 0.96942 um², wider by half
    /// 1.25 of it, 11.8221 um²: roots over 2 · 2.4 · √56 = 35.920.
    #[test]
    fn seeing_and_pixel_hide_coma_in_squares() {
        for (share, hidden_nm) in [(0.05, 27.4107), (0.5, 95.7223)] {
            let found_nm = not_seen_m(&fast_unit(), 2.0 * ARCSEC, share) / NM;
            approx::assert_abs_diff_eq!(found_nm, hidden_nm, epsilon = 1e-3);
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
