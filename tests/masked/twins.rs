//! A masked star, by the engine and by the written-out diffraction integral behind the openings of the description.
//!
//! The engine averages its field over the exact openings of coarse cells; the twin counts points in fine ones and shares
//! nothing with it. It is the twin that limits the comparison: many of its cells are cut by the edge of a slot.

use super::openings::Openings;
use super::{masked, plate};
use crate::support::direct::{Scene, open_shares_of_wide_slots, pixels_through};
use crate::twins::relative_l2;
use ndarray::Array2;
use skewstar::instrument::*;
use skewstar::predict::{Model, Settings};
use skewstar::state::State;
use skewstar::units::{MM, NM, UM};

/// Columns and rows that are compared, in pixels from the star: dense in the middle, thin towards the frame's edge.
const PLACES_PX: [f64; 13] = [
    -34.5, -26.5, -19.5, -13.5, -8.5, -4.5, -1.5, 0.5, 3.5, 7.5, 14.5, 21.5, 31.5,
];
/// Everything within is the core: the defocused star's rays land within 3.3 px.
const CORE_PX: f64 = 6.0;

/// In focus with 94 nm of coma, and 60 µm beyond focus.
fn states(state: &State) -> [(&'static str, State, [f64; 10]); 2] {
    let mut coma = [0.0; 10];
    (coma[5], coma[6]) = (80.0 * NM, -50.0 * NM); // Noll 7 and 8
    let in_focus = State {
        modes: (2..).zip(coma).collect(),
        ..state.clone()
    };
    let beyond = State {
        sensor_offset_m: 60.0 * UM,
        ..state.clone()
    };
    [("coma", in_focus, coma), ("60 µm", beyond, [0.0; 10])]
}

/// The same image with the core black; `place_px` gives the distance of a row or column from the star.
fn outside_core(image: &Array2<f64>, place_px: impl Fn(usize) -> f64) -> Array2<f64> {
    Array2::from_shape_fn(image.dim(), |(row, column)| {
        let in_core = place_px(row).hypot(place_px(column)) <= CORE_PX;
        if in_core { 0.0 } else { image[[row, column]] }
    })
}

fn light(instrument: &Instrument, state: &State, finer: f64) -> Array2<f64> {
    let settings = Settings {
        accuracy: Settings::default().accuracy.finer(finer),
        ..Settings::default()
    };
    Model::new(instrument, state, settings)
        .unwrap()
        .light::<f64>()
}

/// Measured: at most 1.3e-3 overall, 4.9e-3 outside the core.
#[test]
fn the_light_equals_a_written_out_integral_in_the_core_and_outside() {
    for layout in [
        MaskLayout::ONE_TRIPLET,
        MaskLayout::THREE_TRIPLET,
        MaskLayout::TWO_ZONE,
    ] {
        let (instrument, worn) = masked(plate(layout.clone()));
        let description = Openings::new(&instrument, &worn);
        let open = |x: f64, y: f64| description.is_open([x, y]);
        let mut scene = Scene {
            radius_m: 95.0 * MM,
            focal_length_m: 456.0 * MM,
            paraboloid: false,
            open: &open,
            noll_m: [0.0; 10],
            further_m: Vec::new(),
            sensor_offset_m: 0.0,
            cells: 1600,
        };
        let shares = open_shares_of_wide_slots(&scene, 7);
        for (name, state, noll_m) in states(&worn) {
            (scene.noll_m, scene.sensor_offset_m) = (noll_m, state.sensor_offset_m);
            let axes: [&[f64]; 2] = [&PLACES_PX, &PLACES_PX];
            let wanted = pixels_through(&scene, &shares, 550.0 * NM, 3.8 * UM, axes, 9);
            let whole = light(&instrument, &state, 1.0);
            let at = |i: usize| (PLACES_PX[i] + 35.5) as usize;
            let found = Array2::from_shape_fn(wanted.dim(), |(r, c)| whole[[at(r), at(c)]]);
            let far = |image: &Array2<f64>| outside_core(image, |i| PLACES_PX[i]);
            let (all, outside) = (
                relative_l2(&found, &wanted),
                relative_l2(&far(&found), &far(&wanted)),
            );
            println!("{layout:?}, {name}: {all:.1e} overall, {outside:.1e} outside the core");
            assert!(all < 5e-3, "{layout:?}, {name}: {all}");
            assert!(outside < 1e-2, "{layout:?}, {name}: {outside}");
            let lit = far(&wanted).sum() / wanted.sum();
            assert!(
                lit > 0.1,
                "only {lit} of the compared light is outside the core"
            );
        }
    }
}

/// Measured: at most 4.8e-4 overall, 1.0e-3 outside the core.
#[test]
fn half_the_step_of_every_sampling_changes_next_to_nothing() {
    for layout in [
        MaskLayout::ONE_TRIPLET,
        MaskLayout::THREE_TRIPLET,
        MaskLayout::TWO_ZONE,
    ] {
        let (instrument, worn) = masked(plate(layout.clone()));
        for (name, state, _) in states(&worn) {
            let (here, finer) = (
                light(&instrument, &state, 1.0),
                light(&instrument, &state, 2.0),
            );
            let far = |image: &Array2<f64>| outside_core(image, |i| i as f64 - 35.5);
            let (all, outside) = (
                relative_l2(&here, &finer),
                relative_l2(&far(&here), &far(&finer)),
            );
            println!("{layout:?}, {name}: {all:.1e} overall, {outside:.1e} outside the core");
            assert!(all < 1e-3, "{layout:?}, {name}: {all}");
            assert!(outside < 1e-2, "{layout:?}, {name}: {outside}");
        }
    }
}
