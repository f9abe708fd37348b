//! When to stop: the coma that is too small to be seen in pictures, and the coma that atmosphere and hand leave anyway.

use super::settings::AdviceSettings;
use crate::instrument::Instrument;
use crate::predict::seeing_sigma_m;
use crate::state::{Exposure, Sky, State};

/// The limits, all in metres RMS of coma (length of Noll 7 and 8).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GoodEnough {
    /// Coma that widens a focused star, as wide as atmosphere and pixels make it, by
    /// [`not_seen_wider_share`](AdviceSettings::not_seen_wider_share): less is not seen in pictures.
    pub not_seen_m: f64,
    /// The atmosphere's own coma in this exposure; `None` where the exposure is not known.
    pub atmosphere_m: Option<f64>,
    /// What a hand's finest turn is worth; `None` without screws or response.
    pub hand_m: Option<f64>,
    /// Stop below this: the largest of the three.
    pub stop_m: f64,
}

/// FWHM over σ of a normal distribution, 2√(2 ln 2).
const FWHM_PER_SIGMA: f64 = 2.354_820_045;

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
    let hand_m = hand_m(instrument, settings.finest_turns);
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

/// The coma, metres RMS, of a unit whose screws are each off by up to half the finest turn either way, all amounts equally likely: the
/// root mean square of the tilt times the response (derived here).
fn hand_m(instrument: &Instrument, finest_turns: f64) -> Option<f64> {
    let assembly = instrument.assembly.as_ref()?;
    let response = assembly.response.as_ref()?;
    let each = finest_turns * assembly.pitch_m_per_turn / 12f64.sqrt();
    let screws = assembly.screws.len() as f64;
    // tilt along one axis: heights over the screw circle, Σ cos² = n/2 for screws all round
    let tilt = each / (assembly.screw_circle_radius_m * (0.5 * screws).sqrt());
    Some((response.coma_m_per_rad * tilt * 2f64.sqrt()).abs())
}

#[cfg(test)]
mod tests {
    use super::*;
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

    /// By hand: three screws off by σ = 1/64 · 0.5 mm / √12 = 2.2553 um each, 120 degrees apart on 55 mm, tilt the unit by 2σ/(√3 · 55 mm) =
    /// 0.16277 arcmin RMS over all directions, 62 nm an arcminute.
    #[test]
    fn the_finest_turns_of_three_screws_leave_ten_nanometres() {
        let settings = AdviceSettings::default();
        let limits = good_enough(&fast_unit(), 2.0 * ARCSEC, None, 550.0 * NM, &settings);
        let hand_nm = limits.hand_m.expect("screws") / NM;
        approx::assert_abs_diff_eq!(hand_nm, 10.0919, epsilon = 1e-3);
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
    }
}
