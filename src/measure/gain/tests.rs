//! Backgrounds drawn here by Poisson's law, with read noise and a gain that is known.

use super::*;
use crate::rng::{Purpose, Seed};
use rand_distr::{Distribution, Normal, Poisson};

const BIAS_ADU: f64 = 500.0;

/// A sky of `sky_e` electrons a pixel as the counts of a camera.
fn frame(sky_e: f64, read_e: f64, gain_e_per_adu: f64, seed: u64) -> Array2<f64> {
    let mut stream = Seed(seed).stream(Purpose::Read, 0);
    let photons = Poisson::new(sky_e).expect("a sky");
    let read = Normal::new(0.0, read_e).expect("a noise");
    Array2::from_shape_fn((90, 110), |_| {
        let electrons = photons.sample(&mut stream) + read.sample(&mut stream);
        (BIAS_ADU + electrons / gain_e_per_adu).round()
    })
}

fn electronics(gain_e_per_adu: f64, read_noise_e: f64, bias_adu: f64) -> Electronics {
    Electronics {
        quantum_efficiency: 0.7,
        gain_e_per_adu,
        bias_adu,
        read_noise_e,
        dark_e_per_s: 0.0,
        full_well_e: 60_000.0,
        bits: 16,
        pixel_response_rms: 0.0,
    }
}

/// Gain, sky, read noise of the camera, and what is typed of the read noise.
fn cases() -> Vec<[f64; 4]> {
    let mut cases = Vec::new();
    for gain in [0.2, 0.7, 1.9, 8.0] {
        for sky_e in [0.5, 30.0, 900.0] {
            for read_e in [1.4, 6.0] {
                for typed_share in [0.5, 1.0, 2.0] {
                    cases.push([gain, sky_e, read_e, typed_share * read_e]);
                }
            }
        }
    }
    cases
}

/// Whatever the sky, with the read noise typed to a factor of two, with a bias that is typed or not.
#[test]
fn the_true_gain_is_never_refused() {
    let settings = FindingSettings::default();
    let (mut judged, mut refused_tenth, mut refused_tenfold) = (0, 0, 0);
    for (seed, [gain, sky_e, read_e, typed_e]) in cases().into_iter().enumerate() {
        let values = frame(sky_e, read_e, gain, seed as u64 + 1);
        for bias_adu in [BIAS_ADU, 0.0] {
            let typed = electronics(gain, typed_e, bias_adu);
            let Some(range) = GainRange::of(&values, &typed, &settings) else {
                continue;
            };
            assert!(
                !range.excludes(gain),
                "gain {gain}, sky {sky_e}, read noise {read_e} typed {typed_e}, bias {bias_adu}: {range:?}"
            );
            if bias_adu > 0.0 {
                judged += 1;
                refused_tenth += usize::from(range.excludes(0.1 * gain));
                refused_tenfold += usize::from(range.excludes(10.0 * gain));
            }
        }
    }
    println!(
        "{judged} frames with a known bias judged: a tenth of the gain refused in {refused_tenth}, ten times the gain in {refused_tenfold}"
    );
    assert!(judged > 40, "{judged}");
    assert!(2 * refused_tenth > judged && 2 * refused_tenfold > judged);
}

/// The law itself: a bright sky of S counts scatters by √(S/g), so that S/σ² is the gain.
#[test]
fn a_bright_sky_gives_the_gain() {
    let values = frame(4000.0, 2.0, 0.9, 3);
    let typed = electronics(0.9, 2.0, BIAS_ADU);
    let range = GainRange::of(&values, &typed, &FindingSettings::default()).expect("a sky");
    let [least, most] = range.e_per_adu;
    assert!(least < 0.93 && least > 0.8, "{range:?}");
    assert!(most > 0.87 && most < 1.0, "{range:?}");
    assert!(range.excludes(0.2) && range.excludes(4.0) && !range.excludes(1.1));
    assert!(range.words().starts_with("from 0."), "{}", range.words());
}

#[test]
fn noise_below_half_a_count_says_nothing() {
    let values = frame(1.0, 1.4, 8.0, 4);
    let typed = electronics(8.0, 1.4, BIAS_ADU);
    assert_eq!(
        GainRange::of(&values, &typed, &FindingSettings::default()),
        None
    );
}
