//! The layouts that are ours on rendered frames: along which line, and how far out, each region throws its first order, and
//! how far parallel spikes part. Directions and pitches stand here by hand; nothing of the table of layouts is asked for them.

use super::{alone, masked, plate};
use crate::support::place::{Search, spike_place_m};
use ndarray::Array2;
use skewstar::instrument::{Instrument, MaskLayout};
use skewstar::mask::{parallel_pairs, regions};
use skewstar::predict::{Model, Settings};
use skewstar::state::State;
use skewstar::units::{DEG, NM, UM};

const PIXEL_UM: f64 = 3.8;
/// Reference wavelength times focal length, µm · mm: 550 nm at 456 mm.
const WAVELENGTH_TIMES_FOCAL: f64 = 0.55 * 456.0;

fn light(instrument: &Instrument, state: &State) -> (Model, Array2<f64>) {
    let model = Model::new(instrument, state, Settings::default()).unwrap();
    let light = model.light::<f32>();
    (model, light)
}

/// Brightest pixel farther than 13 px from the star, from the star.
fn first_order_px(model: &Model, light: &Array2<f64>) -> [f64; 2] {
    let mut best = ([0.0; 2], 0.0);
    for ((row, column), value) in light.indexed_iter() {
        let place = [
            column as f64 - model.star_px[0],
            row as f64 - model.star_px[1],
        ];
        if place[0].hypot(place[1]) > 13.0 && *value > best.1 {
            best = (place, *value);
        }
    }
    best.0
}

/// A region alone in an otherwise solid plate is a grating: its first orders lie at λf/pitch from the star, at right angles to
/// its slots. At 3.4 mm that is 19.4 px, at 3.0 mm 22.0 px.
#[test]
fn first_orders_are_at_right_angles_to_the_slots_and_as_far_as_the_pitch_says() {
    // direction along the slots in degrees and pitch in mm, region by region
    let (wide, narrow) = (3.4, 3.0);
    let tangent = [120.0, 180.0, 240.0, 300.0, 360.0, 420.0]
        .iter()
        .flat_map(|slot_deg| [(*slot_deg, wide), (*slot_deg, narrow)])
        .collect();
    let two_pitch = [90.0, 210.0, 330.0]
        .iter()
        .flat_map(|c| {
            [
                (*c, wide),
                (*c, narrow),
                (c + 20.0, narrow),
                (c + 20.0, narrow),
                (c - 20.0, narrow),
                (c - 20.0, narrow),
            ]
        })
        .collect();
    let cases: [(MaskLayout, Vec<(f64, f64)>); 2] = [
        (MaskLayout::TANGENT_WEDGES, tangent),
        (MaskLayout::TWO_PITCH, two_pitch),
    ];
    for (layout, by_hand) in cases {
        let (whole, state) = masked(plate(layout.clone()));
        let all = regions(whole.mask.as_ref().unwrap());
        assert_eq!(all.len(), by_hand.len(), "{layout:?}");
        for (number, (region, (slot_deg, pitch_mm))) in all.iter().zip(by_hand).enumerate() {
            let (model, light) = light(&alone(&whole, region), &state);
            let [x, y] = first_order_px(&model, &light);
            let (sin, cos) = (slot_deg * DEG).sin_cos();
            let (along, across) = (x * cos + y * sin, (y * cos - x * sin).abs());
            let wanted = WAVELENGTH_TIMES_FOCAL / pitch_mm / PIXEL_UM;
            println!(
                "{layout:?}, region {number}: {across:.1} px out, {along:+.1} px aside; {wanted:.1}"
            );
            assert!(
                (across - wanted).abs() < 0.9 && along.abs() < 0.9,
                "{layout:?}, region {number}: first order {across} px out (not {wanted}), {along} px aside"
            );
        }
    }
}

/// 250 nm of astigmatism behind tangent wedges: W = √6 c (x² − y²), so a ray from the wedge about azimuth φ lands at
/// −2√6 c (f/R) (x, −y), which along the axis (−sin φ, cos φ) is +2√6 c (f/R) ρ sin 2φ, with ρ the mean distance of the wedge's
/// openings along its middle, in aperture radii. Opposite wedges land on opposite sides of the star: on one axis they are
/// twice that apart, and their sum is 0.
///
/// Spikes lie up to 4.2 µm from the star; allowed is 0.5 µm, and the test prints what it finds.
#[test]
fn parallel_spikes_part_in_a_rendered_frame_as_in_closed_form() {
    let (whole, mut state) = masked(plate(MaskLayout::TANGENT_WEDGES));
    let coefficient_m = 250.0 * NM;
    state.modes = [(6, coefficient_m)].into_iter().collect();
    let all = regions(whole.mask.as_ref().unwrap());
    let places_m: Vec<f64> = all
        .iter()
        .enumerate()
        .map(|(number, region)| {
            let (model, light) = light(&alone(&whole, region), &state);
            // each spike is looked for along the axis of its own wedge, by hand
            let (sin, cos) = ((120.0 + 60.0 * (number / 2) as f64) * DEG).sin_cos();
            let pitch_mm = if number % 2 == 0 { 3.4 } else { 3.0 };
            let search = Search {
                star_px: model.star_px.xy(),
                pixel_m: PIXEL_UM * UM,
                along: [cos, sin],
                first_order_m: WAVELENGTH_TIMES_FOCAL / pitch_mm * UM,
                half_width_m: 24.0 * UM,
            };
            spike_place_m(&light, &search)
        })
        .collect();
    // mean distance along the middle of a wedge of 60 degrees between two radii, in mm
    let rho_mm = |[r1, r2]: [f64; 2]| {
        let radial = 2.0 / 3.0 * (r2.powi(3) - r1.powi(3)) / (r2.powi(2) - r1.powi(2));
        radial * (30.0 * DEG).sin() / (30.0 * DEG)
    };
    let by_hand_m = |number: usize| {
        let phi_deg = 30.0 + 60.0 * (number / 2) as f64;
        let rho_mm = rho_mm([[72.0, 90.0], [45.0, 70.0]][number % 2]);
        let f_over_r = 456.0 / 95.0;
        2.0 * 6f64.sqrt() * coefficient_m * f_over_r * rho_mm / 95.0 * (2.0 * phi_deg * DEG).sin()
    };
    for (number, place_m) in places_m.iter().enumerate() {
        let wanted = by_hand_m(number);
        println!(
            "region {number}: {:+.2} µm, by hand {:+.2}",
            place_m / UM,
            wanted / UM
        );
        assert!((place_m - wanted).abs() < 0.5 * UM, "region {number}");
    }
    let pairs = parallel_pairs(&all);
    assert_eq!(pairs.len(), 18);
    for pair in pairs {
        // the places on one axis, that of the first one's slots; the second one's axis may point the other way
        let [first, second] = pair.regions;
        let turned = (first / 2 + 3) % 6 == second / 2;
        assert_eq!(pair.opposite, turned, "{pair:?}");
        let on_one_axis = |n: usize, opposite: bool| {
            if opposite {
                -by_hand_m(n)
            } else {
                by_hand_m(n)
            }
        };
        let wanted = on_one_axis(first, false) - on_one_axis(second, turned);
        let found = pair.separation(|n| Some(places_m[n])).unwrap();
        assert!(
            (found - wanted).abs() < 1.0 * UM,
            "{pair:?}: {} µm apart, by hand {}",
            found / UM,
            wanted / UM
        );
    }
}
