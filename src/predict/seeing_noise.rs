//! What the atmosphere itself adds to each mode in one exposure, however good the measurement.
//!
//! Kolmogorov turbulence in one frozen layer drifts past the aperture at the wind's speed; what a frame shows of a mode is
//! its mean over the exposure. The variance of that mean is the turbulence's spectrum × the mode's own filter × sinc² of
//! the path blown past, integrated over all frequencies. The wind's direction is averaged, so that the two modes of a
//! pair (the same order, cosine and sine) come out equal. Modes are those of the full clear circle; no outer scale.
//!
//! Not modelled: several layers, which average faster, and a scatter of the wind.
//!
//! Sources: R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), eqs. (8) and (21), through the check values
//! `kolmogorov.psd_constant` and `zernike.kolmogorov_variance`; G. I. Taylor's frozen flow (1938), from memory.

use super::model::airmass_of;
use crate::atmosphere::{fried_m, seeing_fwhm_rad};
use crate::flag::Flag;
use crate::instrument::Telescope;
use crate::state::State;
use crate::wavefront::noll_n_m;
use std::cell::RefCell;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Constant of the phase spectrum c r0^(−5/3) ν^(−11/3), ν in cycles per metre.
const SPECTRUM: f64 = 0.022_895_587_108_6;

/// What a state does not give, so that it is unknown what the atmosphere adds to a mode.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoSeeing {
    /// No seeing is given.
    Seeing,
    /// No wind is given.
    Wind,
    /// No exposure is given.
    Exposure,
}

impl NoSeeing {
    /// The flag of a truth file.
    pub fn flag(self) -> Flag {
        match self {
            NoSeeing::Seeing => Flag::NoSeeing,
            NoSeeing::Wind => Flag::NoWind,
            NoSeeing::Exposure => Flag::NoExposure,
        }
    }
}

/// Standard deviation in metres RMS that the atmosphere gives the mean of a mode (Noll 4 and up) over the exposure of a state.
///
/// # Errors
/// [`NoSeeing`] names the first of seeing, wind and exposure that is not given.
pub fn seeing_sigma_m(
    telescope: &Telescope,
    state: &State,
    wavelength_m: f64,
    noll: u32,
) -> Result<f64, NoSeeing> {
    let zenith_rad = state.sky.seeing_rad.filter(|s| *s > 0.0);
    let zenith_rad = zenith_rad.ok_or(NoSeeing::Seeing)?;
    let wind_m_per_s = state.sky.wind_m_per_s.ok_or(NoSeeing::Wind)?;
    let time_s = state.exposure.as_ref().ok_or(NoSeeing::Exposure)?.time_s;
    let fwhm_rad = seeing_fwhm_rad(zenith_rad, airmass_of(state), wavelength_m);
    let aperture_over_fried = telescope.aperture_m / fried_m(fwhm_rad, wavelength_m);
    let path_radii = wind_m_per_s.abs() * time_s / telescope.aperture_radius_m();
    let (order, _) = noll_n_m(noll);
    let variance_rad2 = averaged_variance(order, aperture_over_fried, path_radii);
    Ok(wavelength_m / TAU * variance_rad2.sqrt())
}

/// Variance in rad² of the mean of one Zernike coefficient of radial order 2 or more, while `path_radii` aperture radii of
/// turbulence of strength D/r0 are blown past.
///
/// # Accuracy
/// Noll's variances to 1e-4 relative for a path of 0, and to 2e-6 in units of (D/r0)^(5/3)
/// (`predict::seeing_noise::tests::no_path_gives_nolls_variances`).
pub fn averaged_variance(order: u32, aperture_over_fried: f64, path_radii: f64) -> f64 {
    // x = 2πRν; the integrand rises as x^(2n − 5/3) from zero and falls faster than x^(−14/3): these ends hold all of it
    const FROM: f64 = 1e-3;
    const TO: f64 = 300.0;
    const STEPS: u32 = 3000;
    let step = libm::log(TO / FROM) / f64::from(STEPS);
    let made = || -> f64 {
        (0..STEPS)
            .map(|i| FROM * libm::exp(step * (f64::from(i) + 0.5)))
            .map(|x| {
                let bessel = libm::jn(order as i32 + 1, x);
                libm::pow(x, -11.0 / 3.0) * bessel * bessel * drift_average(x * path_radii)
            })
            .sum()
    };
    let integral = remembered(order, path_radii, made);
    let strength = libm::pow(PI * aperture_over_fried, 5.0 / 3.0);
    8.0 * PI * SPECTRUM * f64::from(order + 1) * strength * integral * step
}

/// Integrals that a thread remembers: the modes of one order share theirs, and most items of a set share the path.
const REMEMBERED: usize = 16;

thread_local! {
    static INTEGRALS: RefCell<Vec<(u32, f64, f64)>> = const { RefCell::new(Vec::new()) };
}

/// The integral made before for exactly the same order and path, or a new one. Memory only, never a result.
fn remembered(order: u32, path_radii: f64, make: impl Fn() -> f64) -> f64 {
    let known = INTEGRALS.with_borrow(|all| {
        let same = all
            .iter()
            .find(|entry| entry.0 == order && entry.1 == path_radii);
        same.map(|entry| entry.2)
    });
    known.unwrap_or_else(|| {
        let integral = make();
        INTEGRALS.with_borrow_mut(|all| {
            if all.len() == REMEMBERED {
                all.remove(0);
            }
            all.push((order, path_radii, integral));
        });
        integral
    })
}

/// Share of the power that is left of a ripple when it is averaged over a path, in any direction with equal chance.
///
/// `path_rad` is the path in metres times 2π times the ripple's frequency in cycles per metre. The share is 1 for no path and
/// 2/`path_rad` for a long one.
///
/// # Source
/// Mean of sinc²(path cos α) over α. Short paths: the mean of equally spaced directions, exact to rounding because the
/// function is periodic and smooth. Long ones: (2/a)(∫₀ᵃ J0 − J1(a)), the integral by parts.
pub fn drift_average(path_rad: f64) -> f64 {
    const LONG: f64 = 80.0;
    const DIRECTIONS: u32 = 48;
    if path_rad < LONG {
        let part = |i: u32| {
            let angle = FRAC_PI_2 * (f64::from(i) + 0.5) / f64::from(DIRECTIONS);
            crate::math::sinc(path_rad * libm::cos(angle) / TAU).powi(2)
        };
        return (0..DIRECTIONS).map(part).sum::<f64>() / f64::from(DIRECTIONS);
    }
    let mut series = 1.0;
    let mut factor = 1.0;
    for k in 1..=8 {
        factor *= f64::from(2 * k - 1) / path_rad;
        series += factor * libm::jn(k + 1, path_rad);
    }
    2.0 / path_rad * series
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::state::{Exposure, Sky};
    use crate::testing::fast_unit;
    use crate::units::{ARCSEC, NM};
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    /// Check value `zernike.kolmogorov_variance`, orders 2 to 5, tolerance 2e-6.
    #[test]
    fn no_path_gives_nolls_variances() {
        let published = [
            (2, 0.023_217_877_949),
            (3, 0.006_191_434_119_73),
            (4, 0.002_453_922_059_65),
            (5, 0.001_190_413_254_47),
        ];
        for (order, variance) in published {
            let got = averaged_variance(order, 1.0, 0.0);
            assert_abs_diff_eq!(got, variance, epsilon = 2e-6);
            assert_relative_eq!(got, variance, max_relative = 1e-4);
            let stronger = averaged_variance(order, 3.4, 0.0) / got;
            assert_relative_eq!(stronger, 3.4f64.powf(5.0 / 3.0), max_relative = 1e-12);
        }
    }

    /// A mean over independent stretches: the variance falls as 1/T.
    #[test]
    fn long_paths_average_as_one_over_time() {
        for order in [2, 3, 5] {
            let [near, far] = [3e3, 3e4].map(|path| averaged_variance(order, 1.0, path).ln());
            let slope = (far - near) / 10f64.ln();
            assert!((slope + 1.0).abs() < 0.01, "{order}: {slope}");
            let [start, early] = [0.0, 0.05].map(|path| averaged_variance(order, 1.0, path));
            assert!(early < start && early > 0.99 * start, "{order}");
        }
    }

    /// Slow twin: the mean over 20 000 directions, on both sides of the change of method.
    #[test]
    fn drift_average_equals_the_mean_over_directions() {
        for path in [0.0, 0.7, 11.3, 79.9, 80.1, 171.0] {
            let direct: f64 = (0..20_000)
                .map(|i| PI * (f64::from(i) + 0.5) / 20_000.0)
                .map(|angle| crate::math::sinc(path * angle.cos() / TAU).powi(2))
                .sum::<f64>()
                / 20_000.0;
            assert_relative_eq!(drift_average(path), direct, max_relative = 1e-9);
        }
    }

    /// Independent route: the plane integral of one mode's own two-lobed filter, wind along x and along y, averaged.
    #[test]
    fn pairs_of_modes_are_equal_when_wind_directions_are_averaged() {
        let (order, m, path) = (3u32, 1.0, 7.0);
        let mode = |sine: bool, wind_rad: f64| -> f64 {
            let (steps, turns) = (600, 180);
            let step = (300f64 / 1e-2).ln() / f64::from(steps);
            let mut sum = 0.0;
            for i in 0..steps {
                let x = 1e-2 * (step * (f64::from(i) + 0.5)).exp();
                let radial = x.powf(-11.0 / 3.0) * libm::jn(4, x).powi(2) * step;
                for k in 0..turns {
                    let angle = TAU * (f64::from(k) + 0.5) / f64::from(turns);
                    let lobe = if sine {
                        (m * angle).sin()
                    } else {
                        (m * angle).cos()
                    };
                    let along = path * x * (angle - wind_rad).cos() / TAU;
                    sum += radial * 2.0 * lobe * lobe * crate::math::sinc(along).powi(2)
                        / f64::from(turns);
                }
            }
            8.0 * PI * SPECTRUM * f64::from(order + 1) * PI.powf(5.0 / 3.0) * sum
        };
        let winds = 12;
        let mean = |sine: bool| -> f64 {
            (0..winds)
                .map(|w| mode(sine, PI * (f64::from(w) + 0.3) / f64::from(winds)))
                .sum::<f64>()
                / f64::from(winds)
        };
        let want = averaged_variance(order, 1.0, path);
        assert_relative_eq!(mean(false), want, max_relative = 2e-3);
        assert_relative_eq!(mean(true), want, max_relative = 2e-3);
        let single = mode(false, 0.0) / mode(true, 0.0);
        assert!(single < 0.8, "across and along the wind differ: {single}");
    }

    /// Coma of 0.5 s is some tenths to a few nanometres over seeing of 1 to 4 arcsec and winds of 3 to 20 m/s. The range is set by hand and
    /// catches a wrong unit or power of D/r0 only; the variances themselves are held against Noll's above.
    #[test]
    fn coma_of_the_example_lies_in_the_range_foreseen() {
        let telescope = fast_unit().telescope;
        let sigma_nm = |seeing_arcsec: f64, wind: f64| {
            let state = State {
                sky: Sky {
                    seeing_rad: Some(seeing_arcsec * ARCSEC),
                    wind_m_per_s: Some(wind),
                    ..Sky::default()
                },
                exposure: Some(Exposure { time_s: 0.5 }),
                ..State::default()
            };
            seeing_sigma_m(&telescope, &state, 550.0 * NM, 8).unwrap() / NM
        };
        let cases = [(1.0, 20.0), (2.1, 10.0), (2.1, 3.0), (4.0, 10.0)];
        for (seeing_arcsec, wind) in cases {
            let nm = sigma_nm(seeing_arcsec, wind);
            println!("coma in 0.5 s, {seeing_arcsec} arcsec, {wind} m/s: {nm:.2} nm");
            assert!((0.3..6.0).contains(&nm), "{seeing_arcsec} {wind}: {nm}");
        }
    }

    #[test]
    fn says_what_is_missing() {
        let telescope = fast_unit().telescope;
        let mut state = State::default();
        let ask = |state: &State| seeing_sigma_m(&telescope, state, 550.0 * NM, 8);
        assert_eq!(ask(&state), Err(NoSeeing::Seeing));
        state.sky.seeing_rad = Some(2.0 * ARCSEC);
        assert_eq!(ask(&state), Err(NoSeeing::Wind));
        state.sky.wind_m_per_s = Some(10.0);
        assert_eq!(ask(&state), Err(NoSeeing::Exposure));
        state.exposure = Some(Exposure { time_s: 0.5 });
        assert!(ask(&state).is_ok());
    }
}
