//! Each thing that may differ is told with its number: of stars made with it and measured without, and in words.

use super::*;
use crate::instrument::{Electronics, Vane};
use crate::measure::fit::TrialState;
use crate::measure::settings::MeasureSettings;
use crate::measure::{MeasureOptions, Method, Picture, Side, measure};
use crate::predict::Settings;
use crate::simulate::{Provenance, simulate};
use crate::state::{Exposure, Modes, Sky, Star, State};
use crate::testing::{fast_unit, measured};
use crate::units::{ARCSEC, NM, UM};

/// The fast unit with three uneven vanes, a camera that counts and a frame with room for a second star.
fn unit() -> Instrument {
    let mut unit = fast_unit();
    unit.telescope.vanes = [20.0, 150.0, 265.0].map(vane).to_vec();
    [unit.camera.width_px, unit.camera.height_px] = [84, 80];
    unit.camera.electronics = Some(Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 1.0,
        bias_adu: 400.0,
        read_noise_e: 2.0,
        dark_e_per_s: 0.0,
        full_well_e: 6e4,
        bits: 16,
        pixel_response_rms: 0.0,
    });
    unit
}

fn vane(azimuth_deg: f64) -> Vane {
    Vane {
        azimuth_rad: azimuth_deg * DEG,
        width_m: 5.0 * MM,
        inner_radius_m: 40.0 * MM,
        outer_radius_m: 95.0 * MM,
        offset_m: 0.0,
    }
}

/// A doughnut 34 pixels wide with 60 nm of coma, of about 10⁶ electrons.
fn state() -> State {
    State {
        sensor_offset_m: -310.0 * UM,
        modes: [(8, 60.0 * NM), (5, 15.0 * NM)].into_iter().collect(),
        star: Some(Star {
            magnitude: 5.4,
            temperature_k: 6000.0,
            altitude_rad: 1.2,
        }),
        exposure: Some(Exposure { time_s: 0.5 }),
        sky: Sky {
            seeing_rad: Some(2.0 * ARCSEC),
            ..Sky::default()
        },
        ..State::default()
    }
}

fn frame(real: &Instrument, state: &State, seed: u64) -> Picture {
    let provenance = Provenance {
        title: String::new(),
        seed: Some(seed),
        ..Provenance::default()
    };
    let made = simulate(real, state, &provenance, Settings::default()).expect("a star");
    Picture::from(&made.frame.expect("counts"))
}

fn found(picture: &Picture, typed: &Instrument) -> Measurement {
    let options = MeasureOptions {
        side: Some(Side::Inside),
        settings: MeasureSettings::default(),
        ..MeasureOptions::default()
    };
    measure(picture, typed, &options).expect("a measurement")
}

/// What is told of a frame, which must be among it, and coma within 12 nm of the truth.
fn told(picture: &Picture, typed: &Instrument, what: &str) -> Difference {
    let found = found(picture, typed);
    println!(
        "{what}: {:?}, chi² {:.2}",
        found.differs, found.fitted.chi_square
    );
    let [x, y] = [8, 7].map(|noll| found.mode_m(noll).expect("coma").value / NM);
    assert!((x - 60.0).hypot(y) < 12.0, "{what}: coma {x:.1} {y:.1}");
    let told = found
        .differs
        .into_iter()
        .find(|differs| differs.what == what);
    told.unwrap_or_else(|| panic!("{what} is not told"))
}

fn assert_near(told: &Difference, value: f64, room: f64) {
    assert!((told.value - value).abs() < room, "{told:?} is not {value}");
    assert!(
        told.sigma.is_some_and(|sigma| sigma > 0.0 && sigma < room),
        "{told:?}"
    );
}

#[test]
fn of_a_star_as_typed_nothing_is_told() {
    let unit = unit();
    let found = found(&frame(&unit, &state(), 3), &unit);
    assert_eq!(found.differs, []);
    assert!(found.flags.is_empty(), "{:?}", found.flags);
}

#[test]
fn drift_is_told() {
    let mut moved = state();
    moved.sky.tracking_drift_px = [3.2, -1.6];
    let told = told(&frame(&unit(), &moved, 4), &unit(), "drift");
    assert_near(&told, 3.2f64.hypot(1.6), 0.6);
    assert!(
        told.words.starts_with("The star drifted 3."),
        "{}",
        told.words
    );
}

/// The second star is a frame of its own, moved by whole pixels, so that no model of two stars made it.
#[test]
fn a_second_star_is_told() {
    let unit = unit();
    let mut faint = state();
    faint.star.as_mut().expect("a star").magnitude += 2.5;
    let (mut picture, other) = (frame(&unit, &state(), 5), frame(&unit, &faint, 6));
    let (rows, columns) = picture.values_adu.dim();
    for row in 0..rows - 9 {
        for column in 14..columns {
            picture.values_adu[[row, column]] += other.values_adu[[row + 9, column - 14]] - 400.0;
        }
    }
    let told = told(&picture, &unit, "second_star");
    assert_near(&told, 10.0, 1.0);
    assert!(told.words.contains("17 px away"), "{}", told.words);
}

#[test]
fn an_obstruction_aside_is_told_with_the_other_side_of_focus() {
    let mut real = unit();
    if let Some(obstruction) = &mut real.telescope.obstruction {
        obstruction.offset_m = [2.5 * MM, 1.5 * MM];
    }
    let told = told(&frame(&real, &state(), 7), &unit(), "obstruction_aside");
    assert_near(&told, 2.5f64.hypot(1.5), 1.0);
    assert!(told.words.contains("other side of focus"), "{}", told.words);
}

#[test]
fn a_beam_that_is_cut_on_one_side_is_told() {
    let mut real = unit();
    // a wide strip whose end cuts 5 mm off
    real.telescope.vanes.push(Vane {
        width_m: 190.0 * MM,
        inner_radius_m: 90.0 * MM,
        outer_radius_m: 110.0 * MM,
        ..vane(80.0)
    });
    let told = told(&frame(&real, &state(), 8), &unit(), "beam_cut");
    assert_near(&told, 5.0, 1.5);
}

#[test]
fn a_vane_that_stands_elsewhere_is_told() {
    let mut real = unit();
    real.telescope.vanes[1].azimuth_rad += 4.0 * DEG;
    let told = told(&frame(&real, &state(), 9), &unit(), "vane_turn:2");
    assert_near(&told, 4.0, 1.0);
    assert!(told.words.contains("Vane 2 is turned by"), "{}", told.words);
}

#[test]
fn a_vane_that_was_not_typed_is_told() {
    let mut real = unit();
    real.telescope.vanes.push(vane(80.0));
    let told = told(&frame(&real, &state(), 10), &unit(), "strip");
    assert_near(&told, 5.0, 1.5);
}

/// The words of what a fit found, by hand.
#[test]
fn every_difference_has_its_words() {
    let unit = unit();
    let dimension = |dimension, value| vec![(Unknown::Dimension(dimension), value)];
    let both = |x, y| [dimension(x, 1.2 * MM), dimension(y, -1.6 * MM)].concat();
    for (unknowns, what, words) in [
        (
            dimension(Dimension::FocalLength, 1.021),
            "focal_length",
            "Focal length 2.1 % longer than typed",
        ),
        (
            dimension(Dimension::ObstructionSize, 0.96),
            "obstruction_size",
            "Obstruction 4.0 % smaller than typed.",
        ),
        (
            dimension(Dimension::SlotWidth, 0.86),
            "slot_width",
            "The mask's slots are 14.0 % narrower than typed",
        ),
        (
            dimension(Dimension::MaskRotation, 4.0 * DEG),
            "mask_turn",
            "The mask is turned by 4.0 degrees",
        ),
        (
            both(Dimension::ObstructionX, Dimension::ObstructionY),
            "obstruction_aside",
            "Obstruction 2.0 mm aside",
        ),
        (
            dimension(Dimension::VaneWidth(2), 0.05),
            "vane_width:3",
            "Vane 3 is not where it was typed.",
        ),
    ] {
        let sigma = 1e-5;
        let count = unknowns.len();
        let fitted = Fitted {
            trial: TrialState {
                unknowns: unknowns.iter().map(|u| u.0).collect(),
                values: unknowns.iter().map(|u| u.1).collect(),
                fixed: Modes::none(),
            },
            sigmas: vec![Some(sigma); count],
            covariance: (0..count)
                .map(|j| {
                    (0..count)
                        .map(|k| if j == k { sigma * sigma } else { 0.0 })
                        .collect()
                })
                .collect(),
            chi_square: 1.0,
            model_error: 0.0,
            unexplained: 0.0,
            left_out_px: 0,
            settled: true,
        };
        let star = measured(Method::Doughnut, fitted);
        let all = differences(&star, &unit, &JudgingSettings::default());
        assert_eq!(all.len(), 1, "{what}: {all:?}");
        assert_eq!(all[0].what, what);
        assert!(all[0].words.starts_with(words), "{}", all[0].words);
        assert!(!all[0].remedy.is_empty());
    }
}

/// Behind a mask whose slots the star does not tell, the owner is sent to measure one: where the fit left their width open, and where
/// nothing that was asked explains the star. A doughnut is never asked.
#[test]
fn slots_that_no_star_tells_are_to_be_measured() {
    let unit = unit();
    let star = |method, sigma: Option<f64>, chi_square| {
        let free = sigma.is_some();
        let fitted = Fitted {
            trial: TrialState {
                unknowns: free
                    .then_some(Unknown::Dimension(Dimension::SlotWidth))
                    .into_iter()
                    .collect(),
                values: free.then_some(1.02).into_iter().collect(),
                fixed: Modes::none(),
            },
            sigmas: free.then_some(sigma).into_iter().collect(),
            covariance: sigma.map(|s| vec![s * s]).into_iter().collect(),
            chi_square,
            model_error: 0.0,
            unexplained: 0.0,
            left_out_px: 0,
            settled: true,
        };
        let settings = JudgingSettings::default();
        let all = differences(&measured(method, fitted), &unit, &settings);
        let open = all.into_iter().find(|d| d.what == "slot_width_open");
        open.map(|d| (d.value, d.words.contains("measure one slot")))
    };
    let masked = Method::MaskedStar;
    assert_eq!(star(masked, Some(0.049), 1.0), None, "known to 5 %");
    let (value, words) = star(masked, Some(0.051), 1.0).expect("open");
    assert!((value - 2.0).abs() < 1e-9 && words);
    assert_eq!(star(masked, None, 3.9), None, "explained as typed");
    assert_eq!(star(masked, None, 4.1), Some((0.0, true)));
    assert_eq!(star(Method::Doughnut, None, 4.1), None);
}
