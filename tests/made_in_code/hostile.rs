//! Numbers that nobody means, anywhere: either they are refused with their path, or the model gives light that is a number.

use super::numbers::numbers;
use super::{turns, valid, whole};
use crate::properties::random;
use proptest::collection::vec;
use proptest::option;
use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestRunner};
use skewstar::instrument::{Instrument, MaskDesign, MaskLayout, Passband};
use skewstar::predict::{Expected, Model, Settings};
use skewstar::scenario::check_parts;
use skewstar::state::{Modes, ScrewTurns, State};
use std::cell::Cell;
use std::f64::consts::PI;

/// More bytes than this are not computed with: a frame that is only large proves nothing here.
const MOST_BYTES: f64 = 3e7;

/// The refusal of parts, which always says what to do next.
fn refused(instrument: &Instrument, state: &State) -> Option<String> {
    let error = check_parts(instrument, state).err()?;
    assert!(!error.hint().is_empty(), "{error}");
    assert_eq!((error.line(), error.column()), (None, None));
    let key = error.key().expect("every refusal names a field").to_owned();
    let told = error.to_string();
    assert!(told.starts_with(&key), "{told}");
    Some(key)
}

/// Every number of an instrument, one after the other, is no number or beyond all numbers: its own path is named.
#[test]
fn no_number_may_be_nan_or_infinite() {
    let holes =
        "layout = \"holes\"\nholes = [{ radius_mm = 60, azimuth_deg = 20, diameter_mm = 9 }]";
    let regions = "layout = \"regions\"\nregions = [{ azimuth_deg = [0, 90], radius_mm = [50, 80], slot_deg = 3, \
                   pitch_mm = 4, open_fraction = 0.5 }]";
    let triplet =
        "layout = \"one-triplet\"\nslot_pitch_mm = 4\nopen_fraction = 0.5\nslant_deg = 20";
    let smaller = [holes, regions, triplet].map(|layout| {
        let scenario = valid(&format!(
            "format = 1\ntitle = \"masks\"\n[telescope]\naperture_mm = 190\nfocal_length_mm = 456\n[camera]\n\
             pixel_um = 3.8\nwidth_px = 60\nheight_px = 60\npassband_nm = [500, 600]\n[mask]\n{layout}\n\
             outer_diameter_mm = 188\ninner_diameter_mm = 84\nthickness_mm = 2\n"
        ));
        (scenario.instrument, scenario.state)
    });
    let mut seen = 0;
    for parts in [whole()].iter().chain(&smaller) {
        let count = numbers(&mut parts.0.clone(), &mut parts.1.clone()).len();
        for index in 0..count {
            for hostile in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                let (mut instrument, mut state) = parts.clone();
                let (path, number) = numbers(&mut instrument, &mut state).swap_remove(index);
                *number = hostile;
                if path == "camera.full_well_e" && hostile == f64::INFINITY {
                    continue; // "no limit"
                }
                let key = refused(&instrument, &state);
                let named = key.as_deref().is_some_and(|key| key.starts_with(&path));
                assert!(named, "{path} = {hostile}: {key:?}");
                seen += 1;
            }
        }
    }
    assert!(seen > 600, "{seen}");
}

#[test]
fn no_mode_may_be_nan_or_have_another_index() {
    let with = |place: usize, noll: u32, rms_m: f64| {
        let (mut instrument, mut state) = whole();
        let modes: Modes = [(7, 1e-8), (noll, rms_m)].into_iter().collect();
        match place {
            0 => instrument.telescope.design = modes,
            1 => instrument.telescope.chromatic[0].modes = modes,
            _ => state.modes = modes,
        }
        check_parts(&instrument, &state).map_err(|error| error.to_string())
    };
    let tables = [
        "telescope.design_nm",
        "telescope.chromatic[0].modes_nm",
        "state.modes_nm",
    ];
    for (place, table) in tables.iter().enumerate() {
        assert_eq!(with(place, 861, 1e-8), Ok(()));
        for noll in [0, 1, 862, u32::MAX] {
            let told = format!(
                "{table} has the key {noll}, but its keys must be Noll indices from 2 to 861 in plain digits"
            );
            assert_eq!(with(place, noll, 1e-8), Err(told));
        }
        let told = with(place, 9, f64::NAN).expect_err("no number");
        assert!(
            told.starts_with(&format!("{table}.9 is nan, but must be a number from")),
            "{told}"
        );
    }
}

/// What becomes of a number.
fn spoilt(number: f64, how: usize) -> f64 {
    let choices = [
        f64::NAN,
        f64::INFINITY,
        f64::NEG_INFINITY,
        0.0,
        -0.0,
        -number,
        number * 1e3,
        number * 1e-3,
        number * 1e9,
        number * 1e-9,
        number * (1.0 + f64::EPSILON),
        number * 0.5,
        number * 2.0,
        number + 1.0,
        number - 1.0,
        1.0,
        2.0 * PI,
        -2.0 * PI,
        1e300,
        f64::MIN_POSITIVE,
    ];
    choices[how % choices.len()]
}

/// Spoils what is not a number: counts, lists, words.
fn spoil_shape(instrument: &mut Instrument, state: &mut State, how: usize) {
    let mask = |change: fn(&mut MaskDesign), instrument: &mut Instrument| {
        instrument.mask.iter_mut().for_each(change);
    };
    match how % 18 {
        0 => instrument.camera.width_px = 0,
        1 => instrument.camera.height_px = usize::MAX,
        2 => instrument.camera.wavelengths = Some(0),
        3 => instrument.camera.passband = Passband::Table(Vec::new()),
        4 => instrument.camera.passband = Passband::Table(vec![(5e-7, 0.0), (6e-7, 0.0)]),
        5 => instrument.telescope.vanes.truncate(0),
        6 => instrument.assembly = None,
        7 => instrument.mask = None,
        8 => mask(|design| design.slot_pitch_m.clear(), instrument),
        9 => mask(
            |design| design.layout = MaskLayout::Holes(Vec::new()),
            instrument,
        ),
        10 => mask(|design| design.layout = MaskLayout::TWO_ZONE, instrument),
        11 => mask(|design| design.zone_radius_m = None, instrument),
        12 => state.turns = turns(&[0.3]),
        13 => state.turns = ScrewTurns::default(),
        14 => state.mask_on = true,
        15 => state.sky.seeing_rad = Some(0.0),
        16 => instrument.telescope.reflections = u32::MAX,
        _ => instrument.camera.electronics = None,
    }
}

/// Random scenarios with up to two spoilt numbers and a spoilt shape: what is not refused gives light that is a number. Both
/// happen often enough to prove something.
#[test]
fn what_passes_gives_light() {
    let spoilt_parts = (
        random::scenario(),
        vec((any::<usize>(), 0..20_usize), 0..3),
        option::weighted(0.3, 0..18_usize),
    );
    let mut runner = TestRunner::new(ProptestConfig {
        cases: 700,
        rng_seed: RngSeed::Fixed(88_013),
        failure_persistence: None,
        max_shrink_iters: 40,
        ..ProptestConfig::default()
    });
    let (refusals, changed, lit) = (Cell::new(0), Cell::new(0), Cell::new(0));
    let count = |counter: &Cell<u32>| counter.set(counter.get() + 1);
    let result = runner.run(&spoilt_parts, |(text, places, shape)| {
        let scenario = valid(&text);
        let (mut instrument, mut state) = (scenario.instrument.clone(), scenario.state.clone());
        for (place, how) in places {
            let mut all = numbers(&mut instrument, &mut state);
            let index = place % all.len();
            let (_, number) = all.swap_remove(index);
            *number = spoilt(*number, how);
        }
        if let Some(how) = shape {
            spoil_shape(&mut instrument, &mut state, how);
        }
        if refused(&instrument, &state).is_some() {
            count(&refusals);
            return Ok(());
        }
        if light_is_a_number(&instrument, &state)? {
            count(&lit);
            if (instrument, state) != (scenario.instrument, scenario.state) {
                count(&changed);
            }
        }
        Ok(())
    });
    assert_eq!(result, Ok(()));
    let counts = [refusals.get(), changed.get(), lit.get()];
    assert!(
        counts[0] > 150 && counts[1] > 60 && counts[2] > 150,
        "{counts:?}"
    );
}

/// Whether there was light to look at: a model that refuses says why, and a large one is left out.
fn light_is_a_number(instrument: &Instrument, state: &State) -> Result<bool, TestCaseError> {
    let settings = Settings::default();
    let Ok(model) = Model::new(instrument, state, settings) else {
        return Ok(false);
    };
    let camera = &instrument.camera;
    let bytes = model.plan.memory_bytes([camera.width_px, camera.height_px]);
    if bytes * model.plan.wavelengths as f64 > MOST_BYTES {
        return Ok(false);
    }
    let Ok(expected) = Expected::new(&model, instrument, state, settings) else {
        return Ok(false);
    };
    let finite = expected.image.iter().all(|value| value.is_finite());
    prop_assert!(finite, "a pixel is no number");
    let share = expected.light_in_frame;
    prop_assert!((-1e-9..=1.0 + 1e-6).contains(&share), "{}", share);
    Ok(true)
}
