//! Rings painted here, in the colours of black bodies behind filters, with the noise of their photons.

use super::*;
use crate::instrument::Passband;
use crate::rng::{Purpose, Seed};
use rand_distr::{Distribution, Normal};

fn array(letters: &str) -> ColourArray {
    let bands = [[590e-9, 680e-9], [500e-9, 575e-9], [420e-9, 490e-9]];
    ColourArray {
        pattern: Colour::pattern(letters).expect("a pattern"),
        passbands: bands.map(Passband::Band),
    }
}

/// What is painted.
struct Star {
    letters: &'static str,
    temperature_k: f64,
    /// Counts of a green pixel on the ring.
    green_adu: f64,
    radius_px: f64,
    seed: u64,
}

impl Star {
    fn ring(letters: &'static str, temperature_k: f64, seed: u64) -> Star {
        Star {
            letters,
            temperature_k,
            green_adu: 900.0,
            radius_px: 11.0,
            seed,
        }
    }

    /// A soft ring over a sky of 300 counts, gain 1, in a frame of odd height.
    fn frame(&self) -> Array2<f64> {
        let array = array(self.letters);
        let light = [0, 1, 2].map(|number| photons(&array, number, self.temperature_k));
        let mut stream = Seed(self.seed).stream(Purpose::Read, 0);
        let normal = Normal::new(0.0, 1.0).expect("a spread");
        Array2::from_shape_fn((61, 64), |(row, column)| {
            let radius = (column as f64 - 31.4).hypot(row as f64 - 29.8);
            let soft = (-((radius - self.radius_px) / 2.4).powi(2)).exp();
            let colour = array.pattern[2 * (row % 2) + column % 2] as usize;
            let own = self.green_adu * light[colour] / light[1] * soft;
            let spread = (9.0 + own).sqrt();
            (300.0 + own + spread * normal.sample(&mut stream)).round()
        })
    }
}

fn judged(frame: &Array2<f64>, typed: &str, card: Option<&str>) -> JudgedPattern {
    let card = card.and_then(Colour::pattern);
    let settings = FindingSettings::default();
    judge_pattern(frame, card, &array(typed), Some(65_535.0), 1.0, &settings)
}

/// The rows of a pattern the other way round.
fn turned_over(letters: &str) -> String {
    format!("{}{}", &letters[2..], &letters[..2])
}

/// Only a star whose red and blue are alike, as two greens are, does not tell.
#[test]
fn a_picture_that_was_turned_over_is_seen() {
    let mut alike = 0;
    let temperatures_k = [3200.0, 4100.0, 5800.0, 9600.0, 24_000.0];
    for (seed, temperature_k) in temperatures_k.into_iter().enumerate() {
        let [red, blue] = [0, 2].map(|number| photons(&array("RGGB"), number, temperature_k));
        println!("{temperature_k} K: red is {:.3} of blue", red / blue);
        let tells = (red / blue - 1.0).abs() > 0.1;
        alike += usize::from(!tells);
        for letters in CUSTOMARY {
            let frame = Star::ring(letters, temperature_k, 71 + seed as u64).frame();
            let right = judged(&frame, letters, Some(letters));
            assert!(
                right.flags.is_empty(),
                "{letters} {temperature_k}: {right:?}"
            );
            assert_eq!(right.pattern, array(letters).pattern);
            let wrong = judged(&frame, &turned_over(letters), None);
            assert_eq!(
                wrong.flags.has(Flag::ColourPatternOffFrame),
                tells,
                "{letters} {temperature_k}: {wrong:?}"
            );
            assert!(!tells || wrong.warnings[0].contains(letters), "{wrong:?}");
        }
    }
    assert!(alike <= 1, "{alike} of the temperatures do not tell");
}

#[test]
fn of_card_and_typed_the_one_that_fits_is_used_and_both_are_said() {
    let frame = Star::ring("GBRG", 4500.0, 5).frame();
    for (typed, card) in [("RGGB", "GBRG"), ("GBRG", "RGGB")] {
        let found = judged(&frame, typed, Some(card));
        assert_eq!(Colour::letters(&found.pattern), "GBRG");
        assert_eq!(found.flags, Flags::from([Flag::ColourPatternDiffers]));
        let words = &found.warnings[0];
        assert!(
            words.contains(&format!("filters as {card}"))
                && words.contains(&format!("camera.colour_pattern is {typed}"))
                && words.contains("fits GBRG, which is used"),
            "{words}"
        );
    }
    let neither = judged(&frame, "RGGB", Some("BGGR"));
    assert_eq!(neither.flags, Flags::from([Flag::ColourPatternOffFrame]));
    assert!(neither.warnings[0].contains("GBRG"), "{neither:?}");
}

/// What a frame does not settle is left open: a half turn of the array, light that drowns in noise, no star.
#[test]
fn what_the_frame_does_not_tell_is_left_open() {
    let ring = Star::ring("RGGB", 5600.0, 9);
    let faint = Star {
        green_adu: 3.0,
        ..Star::ring("RGGB", 5600.0, 11)
    };
    let dark = Star {
        green_adu: 0.0,
        ..Star::ring("RGGB", 5600.0, 12)
    };
    for (frame, card) in [
        (ring.frame(), "BGGR"),
        (faint.frame(), "GBRG"),
        (dark.frame(), "GBRG"),
    ] {
        let found = judged(&frame, "RGGB", Some(card));
        assert_eq!(
            found.flags,
            Flags::from([Flag::ColourPatternOpen]),
            "{found:?}"
        );
        assert!(found.warnings[0].contains("fits both"), "{found:?}");
        assert!(judged(&frame, "RGGB", None).flags.is_empty());
    }
}

/// A red star gives no blue light to speak of, so that its red cell is no blue one.
#[test]
fn red_is_told_from_blue_where_no_star_is_like_that() {
    let frame = Star::ring("GRBG", 2700.0, 13).frame();
    let found = judged(&frame, "GBRG", Some("GRBG"));
    assert_eq!(Colour::letters(&found.pattern), "GRBG", "{found:?}");
    assert_eq!(found.flags, Flags::from([Flag::ColourPatternDiffers]));
}
