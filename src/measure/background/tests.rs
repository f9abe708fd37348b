//! Frames painted here: what was put in must come out. The random numbers are the crate's, in order of their seeds.

use super::*;
use crate::rng::{Purpose, Seed};
use rand_distr::{Distribution, Normal};

const NOISE: f64 = 4.3;

/// A disc with a dark middle, its edge one pixel soft.
fn ring(place: [f64; 2], centre: [f64; 2], outer_px: f64, inner_px: f64) -> f64 {
    let r = (place[0] - centre[0]).hypot(place[1] - centre[1]);
    (outer_px - r + 0.5).clamp(0.0, 1.0) * (r - inner_px + 0.5).clamp(0.0, 1.0)
}

/// A frame of `light` over a plane, each pixel with noise that grows with its light.
fn frame(
    [width_px, height_px]: [usize; 2],
    plane: [f64; 3],
    seed: u64,
    light: &dyn Fn([f64; 2]) -> f64,
) -> Array2<f64> {
    let mut stream = Seed(seed).stream(Purpose::Read, 0);
    let normal = Normal::new(0.0, 1.0).expect("a spread");
    Array2::from_shape_fn((height_px, width_px), |(row, column)| {
        let (x, y) = (column as f64, row as f64);
        let own = light([x, y]);
        let spread = (NOISE * NOISE + own).sqrt();
        (plane[0] + plane[1] * x + plane[2] * y + own + spread * normal.sample(&mut stream)).round()
    })
}

/// The half standard deviation is what a doughnut's own soft foot may leave in the sky beside it; no source.
#[test]
fn the_level_is_found_behind_a_large_doughnut() {
    for (number, (outer_px, level_e)) in [
        (15.0, 900.0),
        (30.0, 40.0),
        (50.0, 300.0),
        (50.0, 9.0),
        (55.0, 2500.0),
    ]
    .into_iter()
    .enumerate()
    {
        let values = frame([128, 128], [517.0, 0.0, 0.0], number as u64 + 1, &|p| {
            level_e * ring(p, [66.2, 61.7], outer_px, 0.42 * outer_px)
        });
        let found =
            Background::of(&values, None, &FindingSettings::default()).expect("a background");
        println!(
            "radius {outer_px} px, {level_e} a pixel: level {:.2} (517), noise {:.2} ({NOISE}), share {:.2}",
            found.level, found.sigma, found.share
        );
        assert!((found.level - 517.0).abs() < 0.5 * NOISE, "{}", found.level);
        assert!((found.sigma / NOISE - 1.0).abs() < 0.12, "{}", found.sigma);
        assert!(found.defects.hot_px.is_empty() && found.defects.dead_px.is_empty());
    }
}

#[test]
fn a_slope_is_found_and_taken_off() {
    for seed in 1..=4 {
        let values = frame([131, 118], [203.0, 0.17, -0.09], seed, &|p| {
            800.0 * ring(p, [60.0, 57.0], 24.0, 9.0)
        });
        let found =
            Background::of(&values, None, &FindingSettings::default()).expect("a background");
        let [x, y] = found.slope_per_px();
        assert!(
            (x - 0.17).abs() < 0.012 && (y + 0.09).abs() < 0.012,
            "{x} {y}"
        );
        let corner = found.at([0.0, 0.0]);
        assert!((corner - 203.0).abs() < 1.0, "{corner}");
    }
}

/// On large frames the background may be curved, as the sky behind a vignetted field is.
#[test]
fn a_curved_sky_is_followed_on_large_frames() {
    let curved = |[x, y]: [f64; 2]| 900.0 - 0.002 * ((x - 150.0).powi(2) + (y - 140.0).powi(2));
    let values = frame([300, 280], [0.0; 3], 5, &curved);
    let found = Background::of(&values, None, &FindingSettings::default()).expect("a background");
    for place in [[0.0, 0.0], [150.0, 140.0], [299.0, 100.0]] {
        let apart = found.at(place) - curved(place);
        assert!(apart.abs() < 0.1 * 900f64.sqrt(), "{place:?}: {apart}");
    }
}

#[test]
fn hot_and_dead_pixels_are_listed_and_patched() {
    let mut values = frame([90, 80], [300.0, 0.0, 0.0], 6, &|p| {
        700.0 * ring(p, [45.0, 40.0], 25.0, 9.0)
    });
    // in the sky, in the corner, and in the light itself
    for at in [[3, 70], [0, 0], [40, 62]] {
        values[at] = 9000.0;
    }
    values[[58, 45]] = 0.0;
    let found = Background::of(&values, None, &FindingSettings::default()).expect("a background");
    assert_eq!(found.defects.hot_px, [[0, 0], [70, 3], [62, 40]]);
    assert_eq!(found.defects.dead_px, [[45, 58]]);
    let clean = found.cleaned(&values);
    assert!(clean[[3, 70]].abs() < 4.0 * NOISE);
    assert!((clean[[40, 62]] - 700.0).abs() < 120.0 && (clean[[58, 45]] - 700.0).abs() < 120.0);
}

/// A star of 1.0 pixel FWHM at any place in the pixel lights its neighbours: no hot pixel. Its light in a pixel is the product of
/// two differences of error functions.
#[test]
fn an_undersampled_star_is_no_hot_pixel() {
    let deviation = 1.0 / 2.3548;
    for number in 0..16u32 {
        let centre = [40.0, 30.0].map(|c| c + 0.125 * f64::from(number) - 1.0);
        let share = |p: f64, c: f64| {
            let edge = |e: f64| libm::erf((e - c) / (deviation * 2f64.sqrt()));
            0.5 * (edge(p + 0.5) - edge(p - 0.5))
        };
        let values = frame([80, 64], [300.0, 0.0, 0.0], 7 + u64::from(number), &|p| {
            8000.0 * share(p[0], centre[0]) * share(p[1], centre[1])
        });
        let found =
            Background::of(&values, None, &FindingSettings::default()).expect("a background");
        assert!(
            found.defects.hot_px.is_empty(),
            "{:?}",
            found.defects.hot_px
        );
    }
}

#[test]
fn full_pixels_are_counted_with_and_without_a_known_ceiling() {
    let values = frame([70, 70], [300.0, 0.0, 0.0], 30, &|p| {
        90_000.0 * (-0.5 * ((p[0] - 35.0).powi(2) + (p[1] - 34.0).powi(2)) / 6.0).exp()
    });
    // readout adds its noise to a well that is full: half of the full pixels lie below the ceiling
    let noise = [-7.0, 5.0, -2.0, 0.0, 9.0, -4.0];
    let of_a_well = |v: f64, at: usize| v.min(60_000.0) + noise[at % 6];
    let of_a_converter = |v: f64, _: usize| v.min(65_535.0);
    let cut = |limit: &dyn Fn(f64, usize) -> f64| {
        let mut cut = values.clone();
        (cut.iter_mut().enumerate()).for_each(|(at, v)| *v = limit(*v, at));
        cut
    };
    for (frame, ceiling, given) in [
        (cut(&of_a_converter), 65_535.0, None),
        (cut(&of_a_converter), 65_535.0, Some(65_535.0)),
        (cut(&of_a_well), 60_000.0, Some(60_000.0)),
    ] {
        let full = values.iter().filter(|v| **v >= ceiling).count();
        assert!(full > 5);
        let found =
            Background::of(&frame, given, &FindingSettings::default()).expect("a background");
        // and those within two hundredths of it
        let nearly = ceiling - 0.02 * (ceiling - 300.0);
        let expected = frame.iter().filter(|v| **v >= nearly).count();
        assert!(expected >= full);
        assert_eq!(found.defects.full_px.len(), expected);
        assert_eq!(found.defects.ceiling, Some(ceiling));
    }
    // a well that is full at a third of what was told
    let low = cut(&|v, at| v.min(20_000.0) + noise[at % 6]);
    for told in [None, Some(60_000.0)] {
        let found = Background::of(&low, told, &FindingSettings::default()).expect("a background");
        let ceiling = found.defects.ceiling.expect("a ceiling");
        assert!((ceiling - 20_000.0).abs() < 20.0, "{ceiling}");
        let full = values.iter().filter(|v| **v >= 20_000.0).count();
        assert!(found.defects.full_px.len() >= full);
    }
    let faint = frame([70, 70], [300.0, 0.0, 0.0], 31, &|p| {
        30.0 * ring(p, [35.0, 34.0], 25.0, 9.0)
    });
    let found = Background::of(&faint, None, &FindingSettings::default()).expect("a background");
    assert_eq!(found.defects.ceiling, None);
}

#[test]
fn frames_that_cannot_be_measured_are_refused_in_words() {
    let refused = |values: &Array2<f64>| {
        Background::of(values, None, &FindingSettings::default()).expect_err("refused")
    };
    for (error, words) in [
        (refused(&Array2::zeros((1, 1))), "1 × 1 pixels"),
        (
            refused(&Array2::from_elem((30, 40), 512.0)),
            "every pixel holds 512",
        ),
        (
            refused(&Array2::from_shape_fn((9, 9), |(r, c)| {
                if r == 2 && c > 6 { f64::NAN } else { r as f64 }
            })),
            "2 pixels of the frame hold no number; the first is in column 7, row 2",
        ),
    ] {
        assert!(error.to_string().contains(words), "{error}");
        assert!(!error.hint().is_empty());
    }
}

/// Computed frames have no noise at all; the sky is then exactly what it is.
#[test]
fn a_frame_without_noise_has_its_exact_level() {
    let values = Array2::from_shape_fn((64, 64), |(row, column)| {
        0.25 + 1e-3 * ring([column as f64, row as f64], [30.0, 33.0], 20.0, 8.0)
    });
    let found = Background::of(&values, None, &FindingSettings::default()).expect("a background");
    assert!((found.level - 0.25).abs() < 1e-9, "{}", found.level);
    assert!(found.sigma > 0.0 && found.sigma < 1e-5);
}
