//! Areas against closed forms, volumes against outline × thickness, and random masks.

use super::{LAYOUTS, instrument_with};
use approx::assert_relative_eq;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use skewstar::geometry::area;
use skewstar::geometry::outline::Outline;
use skewstar::mask::openings;
use skewstar::mask::plate::Plate;
use skewstar::mask::solid::Solid;
use std::f64::consts::PI;

/// Limit for areas: the flattening of arcs.
const AREA: f64 = 2e-4;
/// Limit for volumes: the outlines are exact on their grid.
const VOLUME: f64 = 1e-6;

/// Every layout: the openings' closed-form area (straight lines and arcs, no flattening) against the exported outline.
#[test]
fn exported_slots_have_their_closed_form_area() {
    for layout in LAYOUTS {
        let instrument = instrument_with(layout, "");
        let closed: f64 = openings(instrument.mask.as_ref().unwrap())
            .iter()
            .map(|o| area(&o.1))
            .sum();
        let plate = Plate::new(&instrument).unwrap();
        let off = (plate.open.area_m2() / closed - 1.0).abs();
        println!("{layout:.30}: slots off by {off:.1e}");
        assert!(off < AREA, "{layout}: {off:.1e}");
        let disc = PI * (0.092_f64.powi(2) - 0.039_f64.powi(2));
        assert_relative_eq!(plate.plate.area_m2(), disc - closed, max_relative = AREA);
    }
}

/// A rib 2 mm wide from radius 42 to 86 mm between two half-turn regions without slots near it: area by hand.
#[test]
fn ribs_and_rims_have_their_closed_form_area() {
    let instrument = instrument_with(LAYOUTS[0], "");
    let plate = Plate::new(&instrument).unwrap();
    // the outer rim: the ring between 86 and 92 mm must be solid everywhere
    let rim = plate.plate.common(&Outline::ring(0.086_002, 0.092));
    assert_relative_eq!(
        rim.area_m2(),
        PI * (0.092_f64.powi(2) - 0.086_002_f64.powi(2)),
        max_relative = AREA
    );
    let inner = plate.plate.common(&Outline::ring(0.039, 0.041_998));
    assert_relative_eq!(
        inner.area_m2(),
        PI * (0.041_998_f64.powi(2) - 0.039_f64.powi(2)),
        max_relative = AREA
    );
    // the rib along azimuth 0: a strip of 1.999 mm between radii (strip ends are arcs: x from √(r² − h²), h = half a rib)
    let (h, from, to) = (0.000_999_5_f64, 0.042_f64, 0.086_f64);
    let strip = [[0.0, -h], [0.1, -h], [0.1, h], [0.0, h]].to_vec();
    let strip = Outline::filled(&[strip], skewstar::geometry::outline::Fill::NonZero);
    let rib = plate.plate.common(&strip).common(&Outline::ring(from, to));
    let half_segment = |r: f64| h * (r * r - h * h).sqrt() + r * r * (h / r).asin();
    assert_relative_eq!(
        rib.area_m2(),
        half_segment(to) - half_segment(from),
        max_relative = AREA
    );
}

#[test]
fn volumes_are_outline_times_thickness() {
    for layout in LAYOUTS {
        for reflections in [1, 2] {
            let instrument = instrument_with(layout, &format!("reflections = {reflections}"));
            let plate = Plate::new(&instrument).unwrap();
            let solid = Solid::new(&plate).unwrap();
            let by_hand = plate.plate.area_m2() * 2.4e-3 - plate.letters.area_m2() * 0.6e-3;
            assert!(
                plate.letters.area_m2() > 1e-5,
                "letters are there: {:?}",
                plate.words
            );
            assert_relative_eq!(solid.volume_m3(), by_hand, max_relative = VOLUME);
            let stl = skewstar::solid_io::stl::write(&solid);
            assert_relative_eq!(volume_of_stl_m3(&stl), by_hand, max_relative = VOLUME);
        }
    }
}

#[test]
fn a_ring_adds_its_own_volume_and_is_open_at_the_notch() {
    let text = super::text_with(LAYOUTS[1], "").replace(
        "[camera]",
        "[mask.grip]\nfit = \"over-tube\"\ntube_diameter_mm = 191.0\nwall_mm = 2.2\nheight_mm = 11.0\nnotch_azimuth_deg = 208.0\nnotch_width_mm = 14.0\n[camera]",
    );
    let instrument = skewstar::scenario::read(&text, "test", &[])
        .unwrap()
        .instrument;
    let plate = Plate::new(&instrument).unwrap();
    // ring from 96 to 98.2 mm less a strip of 14 mm
    let (r0, r1, h) = (0.096_f64, 0.0982_f64, 0.007_f64);
    let half_segment = |r: f64| h * (r * r - h * h).sqrt() + r * r * (h / r).asin();
    let ring = PI * (r1 * r1 - r0 * r0) - (half_segment(r1) - half_segment(r0));
    assert_relative_eq!(plate.ring.area_m2(), ring, max_relative = AREA);
    let solid = Solid::new(&plate).unwrap();
    let by_hand = plate.plate.area_m2() * 2.4e-3 - plate.letters.area_m2() * 0.6e-3
        + plate.ring.area_m2() * 11e-3;
    assert_relative_eq!(solid.volume_m3(), by_hand, max_relative = VOLUME);
}

/// The view from the sky side: as the pupil for one reflection, mirrored left-right for two; up stays up.
#[test]
fn the_view_from_the_sky_side_is_mirrored_for_an_even_number_of_reflections() {
    let holes = "layout = \"holes\"\nholes = [ { radius_mm = 60.0, azimuth_deg = 20.0, diameter_mm = 15.0 } ]";
    for (reflections, sign) in [(1, 1.0), (2, -1.0), (0, -1.0), (3, 1.0)] {
        let instrument = instrument_with(holes, &format!("reflections = {reflections}"));
        let [x0, y0, x1, y1] = Plate::new(&instrument).unwrap().open.bounds_m();
        let expected = [
            sign * 60e-3 * 20_f64.to_radians().cos(),
            60e-3 * 20_f64.to_radians().sin(),
        ];
        assert_relative_eq!(0.5 * (x0 + x1), expected[0], epsilon = 1e-6);
        assert_relative_eq!(0.5 * (y0 + y1), expected[1], epsilon = 1e-6);
    }
}

/// A thousand random masks: every solid is closed, and the areas of plate and openings add up to the disc's.
#[test]
fn a_thousand_random_masks_are_closed_and_keep_their_area() {
    let layouts = [
        "one-triplet",
        "three-triplet",
        "two-zone",
        "two-pitch",
        "tangent-wedges",
    ];
    let numbers = (
        0..5_usize,
        3.0..9.0_f64,
        2.6..9.0_f64,
        0.2..0.7_f64,
        -45.0..45.0_f64,
    );
    let plates = (
        48.0..80.0_f64,
        0.5..5.0_f64,
        1.5..7.0_f64,
        0.0..3.0_f64,
        1..=2_u32,
    );
    let mut runner = TestRunner::new_with_rng(
        Config {
            cases: 1000,
            failure_persistence: None,
            ..Config::default()
        },
        TestRng::deterministic_rng(RngAlgorithm::ChaCha),
    );
    let outcome = runner.run(&(numbers, plates), |((layout, p0, p1, open, slant), (hole, inner, outer, rib, reflections))| {
        let zone = 0.5 * (0.5 * hole + inner + 86.0);
        let zoned = layout >= 2;
        let pitch = if zoned { format!("[{p0}, {p1}]") } else { p0.to_string() };
        let extra = if zoned { format!("zone_radius_mm = {zone}\n") } else { String::new() };
        let text = format!(
            "format = 1\ntitle = \"Random\"\n[telescope]\naperture_mm = 176.0\nfocal_length_mm = 405.0\nreflections = {reflections}\n[mask]\n\
             layout = \"{}\"\nslot_pitch_mm = {pitch}\nopen_fraction = {open}\nslant_deg = {slant}\n{extra}outer_diameter_mm = 184.0\n\
             inner_diameter_mm = {hole}\nouter_rim_mm = {outer}\ninner_rim_mm = {inner}\nrib_mm = {rib}\nthickness_mm = 2.4\n\
             [camera]\npixel_um = 3.8\nwidth_px = 48\nheight_px = 44\npassband_nm = [500.0, 560.0]\n",
            layouts[layout]
        );
        let scenario = skewstar::scenario::read(&text, "random", &[]).map_err(|e| TestCaseError::fail(e.to_string()))?;
        let plate = Plate::new(&scenario.instrument).unwrap();
        let solid = Solid::new(&plate).map_err(|e| TestCaseError::fail(e.to_string()))?;
        solid.check().map_err(|e| TestCaseError::fail(e.to_string()))?;
        let disc = Outline::ring(0.5e-3 * hole, 0.092).area_m2();
        let sum = plate.plate.area_m2() + plate.open.area_m2();
        // bridges of touching corners may add a few thousandths of a square millimetre each
        let slack = 1e-7 * disc + plate.bridges as f64 * 5e-9;
        prop_assert!((sum - disc).abs() < slack, "{sum} against {disc}");
        let by_hand = plate.plate.area_m2() * 2.4e-3 - plate.letters.area_m2() * 0.6e-3;
        prop_assert!((solid.volume_m3() / by_hand - 1.0).abs() < VOLUME);
        Ok(())
    });
    outcome.unwrap();
}

/// The check itself: a solid with one triangle taken away, turned round or doubled is refused.
#[test]
fn a_damaged_solid_is_refused() {
    let whole = Solid::new(&Plate::new(&instrument_with(LAYOUTS[0], "")).unwrap()).unwrap();
    let damage: [fn(&mut Solid); 3] = [
        |s| s.triangles.truncate(s.triangles.len() - 1),
        |s| s.triangles[7].swap(0, 1),
        |s| s.triangles.push(s.triangles[3]),
    ];
    for spoil in damage {
        let mut solid = whole.clone();
        spoil(&mut solid);
        assert!(solid.check().is_err());
    }
}

fn volume_of_stl_m3(bytes: &[u8]) -> f64 {
    let number = |at: usize| f64::from(f32::from_le_bytes(bytes[at..at + 4].try_into().unwrap()));
    let count = u32::from_le_bytes(bytes[80..84].try_into().unwrap()) as usize;
    assert_eq!(bytes.len(), 84 + 50 * count);
    let six: f64 = (0..count)
        .map(|t| {
            let corner = |c: usize| [0, 1, 2].map(|i| number(84 + 50 * t + 12 + 12 * c + 4 * i));
            let (a, b, c) = (corner(0), corner(1), corner(2));
            a[0] * (b[1] * c[2] - b[2] * c[1])
                + a[1] * (b[2] * c[0] - b[0] * c[2])
                + a[2] * (b[0] * c[1] - b[1] * c[0])
        })
        .sum();
    six / 6.0 * 1e-9
}
