//! Scintillation: how the light of a star as a whole differs from exposure to exposure.
//!
//! Young's law for exposures much longer than the crossing of the aperture: σ = 0.09 · D^(−2/3) · X^1.75 · exp(−h/h0) / √(2t) of the light, D in
//! cm, X the airmass, h the site's height with h0 = 8000 m, t in seconds (A. T. Young, Astron. J. 72, 747 (1967), in the form of D. Dravins
//! et al., Publ. Astron. Soc. Pac. 110, 610 (1998), eq. 10; both from memory). Seeing and the moving atmosphere are elsewhere: here all of
//! the star's pixels are brighter or fainter together. Stars of a whole sensor do not scintillate.

use crate::atmosphere::airmass;
use crate::instrument::Instrument;
use crate::predict::Expected;
use crate::rng::{Chance, Purpose};
use crate::state::State;
use rand_distr::{Distribution, StandardNormal};

/// Height over which the turbulence that scintillates falls to 1/e.
const SCALE_HEIGHT_M: f64 = 8000.0;

/// Standard deviation of a star's light, as a share of it, through an aperture in metres.
pub(super) fn young_sigma(aperture_m: f64, airmass: f64, height_m: f64, time_s: f64) -> f64 {
    let centimetres = 100.0 * aperture_m;
    0.09 * centimetres.powf(-2.0 / 3.0) * airmass.powf(1.75) * libm::exp(-height_m / SCALE_HEIGHT_M)
        / (2.0 * time_s).sqrt()
}

/// The star's light in the frame of this seed over what is expected; `None` where no scintillation is asked for, or no star or exposure given.
pub(super) fn factor(instrument: &Instrument, state: &State, chance: Chance) -> Option<f64> {
    let (star, exposure) = (state.star.as_ref()?, state.exposure.as_ref()?);
    state.sky.scintillation.then(|| {
        let sigma = young_sigma(
            instrument.telescope.aperture_m,
            airmass(star.altitude_rad),
            state.sky.site_height_m,
            exposure.time_s,
        );
        let drawn: f64 = StandardNormal.sample(&mut chance.stream(Purpose::Scintillation, 0));
        // the light's logarithm is what is normal where it scintillates strongly
        libm::exp(sigma * drawn - 0.5 * sigma * sigma)
    })
}

/// The frame to expect once the star's light has scintillated; sky and dark current are as they were.
pub(super) fn seen(
    expected: &Expected,
    instrument: &Instrument,
    state: &State,
    chance: Chance,
) -> Expected {
    let Some(factor) = factor(instrument, state, chance) else {
        return expected.clone();
    };
    let background = expected.background_per_px;
    Expected {
        image: expected
            .image
            .mapv(|e| (background + factor * (e - background)).max(0.0)),
        ..expected.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Seed;
    use crate::state::{Exposure, Sky, Star};
    use crate::testing::fast_unit;

    /// By hand, from the law as it is printed: 1 m at sea level in the zenith for 60 s, 0.09 · 100^(−2/3) / √120 = 3.813e-4; a telescope of
    /// 19 cm for 0.1 s at airmass 2 and 2000 m, 0.09 · 19^(−2/3) · 2^1.75 · e^(−1/4) / √0.2 = 0.0740.
    #[test]
    fn youngs_law_has_its_printed_values() {
        for (given, by_hand) in [
            ((1.0, 1.0, 0.0, 60.0), 3.8134e-4),
            ((0.19, 2.0, 2000.0, 0.1), 7.4042e-2),
        ] {
            let (aperture_m, airmass, height_m, time_s) = given;
            let found = young_sigma(aperture_m, airmass, height_m, time_s);
            assert!((found / by_hand - 1.0).abs() < 1e-3, "{found} {by_hand}");
        }
    }

    /// Over 4000 seeds mean and standard deviation of the light are 1 and σ, within four standard deviations of theirs; off, nothing is drawn.
    #[test]
    fn the_light_scintillates_by_its_sigma_and_only_where_it_is_asked_for() {
        let unit = fast_unit();
        let mut state = State {
            star: Some(Star {
                magnitude: 4.0,
                temperature_k: 6000.0,
                altitude_rad: 0.7,
            }),
            exposure: Some(Exposure { time_s: 0.05 }),
            ..State::default()
        };
        assert_eq!(factor(&unit, &state, Chance::Seed(Seed(3))), None);
        state.sky = Sky {
            scintillation: true,
            ..Sky::default()
        };
        let sigma = young_sigma(0.19, airmass(0.7), 0.0, 0.05);
        let drawn: Vec<f64> = (0..4000)
            .map(|seed| factor(&unit, &state, Chance::Seed(Seed(seed))).expect("asked for"))
            .collect();
        let count = drawn.len() as f64;
        let mean = drawn.iter().sum::<f64>() / count;
        let spread = (drawn.iter().map(|f| (f - mean).powi(2)).sum::<f64>() / count).sqrt();
        assert!((mean - 1.0).abs() < 4.0 * sigma / count.sqrt(), "{mean}");
        // for a lognormal of small σ the standard deviation is σ (1 + 3σ²/4)
        let expected = sigma * (1.0 + 0.75 * sigma * sigma);
        assert!(
            (spread / expected - 1.0).abs() < 4.0 * 1.1 / (2.0 * count).sqrt(),
            "{spread} {sigma}"
        );
    }
}
