//! Stars of the renderer and shapes painted here. Seeds in order, never chosen.

use super::*;
use crate::instrument::{Electronics, Instrument, MaskLayout};
use crate::predict::Settings;
use crate::rng::{Purpose, Seed};
use crate::simulate::{Provenance, Simulation, simulate};
use crate::state::{Exposure, Sky, Star, State};
use crate::testing;
use crate::units::{ARCSEC, DEG, UM};
use rand_distr::{Distribution, Normal};

fn unit(side_px: usize) -> Instrument {
    let mut unit = testing::fast_unit();
    (unit.camera.width_px, unit.camera.height_px) = (side_px, side_px - 2);
    unit.camera.electronics = Some(Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 1.0,
        bias_adu: 400.0,
        read_noise_e: 2.0,
        dark_e_per_s: 0.0,
        full_well_e: 1e6,
        bits: 16,
        pixel_response_rms: 0.0,
    });
    unit
}

fn night(sensor_offset_um: f64, magnitude: f64) -> State {
    State {
        sensor_offset_m: sensor_offset_um * UM,
        star: Some(Star {
            magnitude,
            temperature_k: 6000.0,
            altitude_rad: 60.0 * DEG,
        }),
        exposure: Some(Exposure { time_s: 0.5 }),
        sky: Sky {
            seeing_rad: Some(2.0 * ARCSEC),
            ..Sky::default()
        },
        ..State::default()
    }
}

fn rendered(instrument: &Instrument, state: &State, seed: u64) -> (Array2<f64>, Simulation) {
    let provenance = Provenance {
        title: String::new(),
        seed: Some(seed),
        ..Provenance::default()
    };
    let made = simulate(instrument, state, &provenance, Settings::default()).expect("a star");
    let counts = made
        .frame
        .as_ref()
        .expect("counts")
        .counts_adu
        .mapv(f64::from);
    (counts, made)
}

fn noise(size: [usize; 2], seed: u64) -> Array2<f64> {
    let mut stream = Seed(seed).stream(Purpose::Read, 1);
    let normal = Normal::new(500.0f64, 5.0).expect("a spread");
    Array2::from_shape_fn((size[1], size[0]), |_| normal.sample(&mut stream).round())
}

/// Centres against the light's own without noise: within four standard deviations of what photons and read noise allow, and
/// a fiftieth of a pixel. The wings beyond the outline hold up to 3 % of the light.
#[test]
fn centres_and_fluxes_are_those_that_were_put_in() {
    let instrument = unit(140);
    for (number, offset_um) in [0.0, 60.0, -300.0, 500.0, 900.0].into_iter().enumerate() {
        let state = night(offset_um, 8.0);
        let (values, made) = rendered(&instrument, &state, number as u64 + 1);
        let stars = Stars::find(&values, None, &Search::default()).expect("a star");
        let star = stars.brightest();
        let light = made
            .expected
            .image
            .mapv(|e| e - made.expected.background_per_px);
        let total = light.sum();
        let mean = |axis: usize| {
            light
                .indexed_iter()
                .map(|(at, l)| l * [at.1, at.0][axis] as f64)
                .sum::<f64>()
                / total
        };
        println!(
            "offset {offset_um} um: {} sources, centre {:?} ({:.2}, {:.2}), flux {:.0} of {total:.0}, half-flux radius {:.2} px",
            stars.all().len(),
            star.centre_px,
            mean(0),
            mean(1),
            star.flux,
            star.half_flux_radius_px
        );
        assert_eq!(stars.all().len(), 1);
        let mean_of = [mean(0), mean(1)];
        let spread = |axis: usize| {
            let middle = mean_of[axis];
            let moments = light.indexed_iter().fold([0.0; 2], |[own, all], (at, l)| {
                let square = ([at.1, at.0][axis] as f64 - middle).powi(2);
                let near = (at.1 as f64 - mean_of[0]).hypot(at.0 as f64 - mean_of[1]);
                let inside = near < 2.5 * star.half_flux_radius_px;
                [
                    own + l * square,
                    all + if inside { 4.0 * square } else { 0.0 },
                ]
            });
            (moments[0] + moments[1]).sqrt() / total
        };
        let spread_of = [spread(0), spread(1)];
        for axis in [0, 1] {
            let apart = star.centre_px[axis] - mean_of[axis];
            assert!(
                apart.abs() < 0.02 + 4.0 * spread_of[axis],
                "{apart} of {spread_of:?}"
            );
        }
        assert!((star.flux / total - 1.0).abs() < 0.03);
        assert!(!star.touches_edge && !star.overlaps && star.saturated_px == 0);
        // the rim of the pupil is at |offset|/(2N); half of the open area lies within the root mean square of the two edges
        if offset_um.abs() > 200.0 {
            let rim_px = offset_um.abs() / 4.8 / 3.8;
            let half_px = rim_px * (0.5 * (1.0 + (81.0f64 / 190.0).powi(2))).sqrt();
            assert!(
                (star.half_flux_radius_px / half_px - 1.0).abs() < 0.06,
                "{half_px}"
            );
        }
    }
}

#[test]
fn a_masked_star_is_one_source() {
    let mut instrument = unit(260);
    instrument.mask = Some(testing::mask(MaskLayout::THREE_TRIPLET));
    let state = State {
        mask_on: true,
        ..night(30.0, 4.0)
    };
    let (values, _) = rendered(&instrument, &state, 1);
    let stars = Stars::find(
        &values,
        None,
        &Search::masked(&instrument, &FindingSettings::default()),
    )
    .expect("a star");
    let star = stars.brightest();
    let [low, high] = star.box_px;
    println!(
        "{} sources, box {:?}, centre {:?}",
        stars.all().len(),
        star.box_px,
        star.centre_px
    );
    assert_eq!(stars.all().len(), 1);
    assert!(
        high[0] - low[0] > 100 && high[1] - low[1] > 100,
        "spikes are long: {:?}",
        star.box_px
    );
    assert!((star.centre_px[0] - 129.5).abs() < 1.0 && (star.centre_px[1] - 128.5).abs() < 1.0);
}

fn add_ring(values: &mut Array2<f64>, centre: [f64; 2], outer_px: f64, level: f64) {
    for ((row, column), value) in values.indexed_iter_mut() {
        let r = (column as f64 - centre[0]).hypot(row as f64 - centre[1]);
        *value += level
            * (outer_px - r + 0.5).clamp(0.0, 1.0)
            * (r - 0.4 * outer_px + 0.5).clamp(0.0, 1.0);
    }
}

#[test]
fn several_sources_come_brightest_first_and_by_place() {
    let mut values = noise([150, 120], 1);
    add_ring(&mut values, [30.0, 40.0], 12.0, 60.0);
    add_ring(&mut values, [110.0, 70.0], 20.0, 90.0);
    add_ring(&mut values, [148.0, 15.0], 9.0, 80.0);
    let stars = Stars::find(&values, None, &Search::default()).expect("stars");
    assert_eq!(stars.all().len(), 3);
    let [x, y] = stars.brightest().centre_px;
    assert!((x - 110.0).abs() < 0.3 && (y - 70.0).abs() < 0.3, "{x} {y}");
    let [x, y] = stars.nearest([20.0, 50.0]).expect("a place").centre_px;
    assert!((x - 30.0).abs() < 0.3 && (y - 40.0).abs() < 0.3, "{x} {y}");
    assert!(stars.nearest([149.0, 3.0]).expect("a place").touches_edge);
    assert!(stars.all().iter().all(|s| !s.overlaps));
    let error = stars.nearest([150.0, 3.0]).expect_err("outside");
    assert!(
        error.to_string().contains("outside the frame of 150 × 120"),
        "{error}"
    );
}

/// A wide doughnut that no single pixel shows: 1.2 standard deviations a pixel.
#[test]
fn a_wide_faint_ring_is_found_whole() {
    for seed in 1..=5 {
        let mut values = noise([128, 128], seed);
        add_ring(&mut values, [61.0, 66.0], 40.0, 6.0);
        let stars = Stars::find(&values, None, &Search::default()).expect("a star");
        let star = stars.brightest();
        let [x, y] = star.centre_px;
        println!(
            "seed {seed}: {} sources, centre {x:.2} {y:.2}",
            stars.all().len()
        );
        assert!((x - 61.0).abs() < 2.0 && (y - 66.0).abs() < 2.0, "{x} {y}");
        assert!(
            star.box_px[1][0] - star.box_px[0][0] > 70,
            "{:?}",
            star.box_px
        );
    }
}

#[test]
fn two_that_overlap_are_flagged() {
    let mut values = noise([150, 120], 2);
    add_ring(&mut values, [50.0, 50.0], 20.0, 90.0);
    add_ring(&mut values, [75.0, 62.0], 20.0, 70.0);
    let stars = Stars::find(&values, None, &Search::default()).expect("stars");
    assert!(
        stars.all().len() == 1 && stars.brightest().overlaps,
        "{:?}",
        stars.all()
    );
    let mut values = noise([60, 60], 3);
    add_ring(&mut values, [28.0, 30.0], 1.4, 900.0);
    add_ring(&mut values, [34.0, 32.0], 1.4, 700.0);
    let stars = Stars::find(&values, None, &Search::default()).expect("stars");
    assert!(stars.brightest().overlaps, "{:?}", stars.all());
}

#[test]
fn noise_alone_is_refused_with_what_the_best_was() {
    for seed in 1..=20 {
        match Stars::find(&noise([128, 96], seed), None, &Search::default()) {
            Err(FrameError::NothingFound {
                best_sigma,
                limit_sigma,
                ..
            }) => {
                assert!(best_sigma > 2.0 && best_sigma < limit_sigma, "{best_sigma}");
            }
            other => panic!("{other:?}"),
        }
    }
}

#[test]
fn a_star_larger_than_its_frame_is_refused() {
    for (number, outer_px) in [48.0, 60.0, 75.0].into_iter().enumerate() {
        let mut values = noise([90, 90], 40 + number as u64);
        add_ring(&mut values, [44.5, 44.5], outer_px, 200.0);
        let error = Stars::find(&values, None, &Search::default()).expect_err("too large");
        assert!(
            matches!(error, FrameError::FillsFrame { .. }),
            "{outer_px}: {error}"
        );
    }
}

#[test]
fn wings_of_a_bright_star_that_reach_the_edges_are_let_be() {
    for (number, brightness) in [2e3, 2e4].into_iter().enumerate() {
        let mut values = noise([64, 64], 60 + number as u64);
        add_ring(&mut values, [32.0, 31.0], 20.0, brightness);
        for ((row, column), value) in values.indexed_iter_mut() {
            let r = (column as f64 - 32.0).hypot(row as f64 - 31.0).max(20.0);
            *value += 0.03 * brightness * (20.0 / r).powi(3);
        }
        let stars = Stars::find(&values, None, &Search::default()).expect("a star");
        let [low, high] = stars.brightest().box_px;
        for axis in 0..2 {
            let width = high[axis] - low[axis] + 1;
            assert!((40..56).contains(&width), "{width} px at {brightness}");
        }
        let centre = stars.brightest().centre_px;
        assert!(
            (centre[0] - 32.0).hypot(centre[1] - 31.0) < 0.2,
            "{centre:?}"
        );
    }
}
