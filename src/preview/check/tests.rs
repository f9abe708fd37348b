//! Numbers of the check against plane geometry by hand; both sides of every limit are in `tests/mask_files/limits.rs`.

use super::*;
use crate::geometry::outline::Fill;
use crate::instrument::HoleSpec;
use crate::testing::{fast_unit, mask};
use crate::units::DEG;
use approx::assert_abs_diff_eq;

fn shape(corners_m: Vec<[f64; 2]>) -> Vec<Contour> {
    let mut outline = Outline::filled(&[corners_m], Fill::NonZero);
    outline.shapes.remove(0)
}

/// A rectangle a × b is a|cos δ| + b|sin δ| wide at an angle δ to its length; directions are tried every 3 degrees, and along every
/// edge's normal.
#[test]
fn the_extents_of_a_leaning_rectangle() {
    let (long, wide) = (30.0 * MM, 4.0 * MM);
    for lean_deg in [17.0, -17.0] {
        let (sin, cos) = (libm::sin(lean_deg * DEG), libm::cos(lean_deg * DEG));
        let corner = |x: f64, y: f64| [x * cos - y * sin, x * sin + y * cos];
        let (a, b) = (0.5 * long, 0.5 * wide);
        let found = extents_m(&shape(vec![
            corner(-a, -b),
            corner(a, -b),
            corner(a, b),
            corner(-a, b),
        ]));
        assert_abs_diff_eq!(found[0], wide, epsilon = 3e-7);
        // 9 − 17 = −8 degrees is the tried direction nearest to either diagonal, at ±7.6; leaning the other way it is 171
        let across = long * libm::cos(8.0 * DEG) + wide * libm::sin(8.0 * DEG);
        assert_abs_diff_eq!(found[1], across, epsilon = 3e-7);
    }
}

/// A triangle is narrowest along its height, and widest along its longest side.
#[test]
fn the_extents_of_a_triangle() {
    let side = 20.0 * MM;
    let height = side * 3f64.sqrt() / 2.0;
    let found = extents_m(&shape(vec![[0.0, 0.0], [side, 0.0], [0.5 * side, height]]));
    assert_abs_diff_eq!(found[0], height, epsilon = 3e-7);
    assert_abs_diff_eq!(found[1], side, epsilon = 3e-7);
}

fn holes(list: &[(f64, f64, f64)]) -> Instrument {
    let hole = |&(radius_mm, azimuth_deg, diameter_mm): &(f64, f64, f64)| HoleSpec {
        radius_m: radius_mm * MM,
        azimuth_rad: azimuth_deg * DEG,
        diameter_m: diameter_mm * MM,
    };
    let layout = MaskLayout::Holes(list.iter().map(hole).collect());
    Instrument {
        mask: Some(mask(layout)),
        ..fast_unit()
    }
}

fn found<'a>(list: &'a [Finding], what: &str) -> &'a Finding {
    list.iter()
        .find(|finding| finding.what == what)
        .expect("the finding")
}

/// Ten holes of 0.6 mm beside one of 6 mm: 3.6 of 39.6 parts of the area are narrower than two widths of the nozzle; the width that
/// half of the area has is that of the large hole.
#[test]
fn slivers_are_told_but_do_not_count() {
    let mut list: Vec<(f64, f64, f64)> =
        (0..10).map(|k| (66.0, 30.0 * f64::from(k), 0.6)).collect();
    list.push((66.0, 315.0, 6.0));
    let all = findings(&holes(&list)).expect("a mask");
    let slots = found(&all, "slot width");
    assert_abs_diff_eq!(slots.value, 6.0, epsilon = 0.01);
    assert!(slots.kept && slots.words.starts_with("9.1 % "), "{slots:?}");
    // without the large one, all of it is too narrow
    list.pop();
    let all = findings(&holes(&list)).expect("a mask");
    let slots = found(&all, "slot width");
    assert!(
        slots.serious && slots.words.starts_with("100.0 % "),
        "{slots:?}"
    );
    assert_abs_diff_eq!(slots.value, 0.6, epsilon = 0.01);
}

/// A bar of nothing bends as far as it is long, not to infinity.
#[test]
fn a_bend_is_never_longer_than_the_bar() {
    let unit = holes(&[(66.0, 0.0, 20.0)]);
    let plate = Plate::new(&unit).expect("a plate");
    let design = unit.mask.as_ref().expect("a mask");
    assert_abs_diff_eq!(touch(design, &plate, 1e-6).value, 20.0, epsilon = 0.01);
    // 0.1 N on 20 mm of 1 × 2.4 mm, held at both ends: F L³/(192 E t w³/12)
    let bend_mm = 0.1 * 0.02f64.powi(3) / (192.0 * 2e9 * 2.4e-3 * 1e-9 / 12.0) * 1e3;
    assert_abs_diff_eq!(
        touch(design, &plate, 1.0 * MM).value,
        bend_mm,
        epsilon = 2e-3 * bend_mm
    );
}

/// A grip ring that stands over half a square millimetre of openings does not stand on solid plate.
#[test]
fn a_ring_may_stand_over_no_opening_at_all() {
    let mut plate = Plate::new(&holes(&[(66.0, 0.0, 20.0)])).expect("a plate");
    for (over_mm2, kept) in [(0.5, false), (0.0, true)] {
        plate.ring_over_slots_m2 = over_mm2 * MM * MM;
        let told = ring(&plate);
        assert_eq!((told.value, told.kept), (over_mm2, kept), "{told:?}");
    }
}

#[test]
fn without_a_mask_there_are_no_findings() {
    assert_eq!(findings(&fast_unit()), None);
}
