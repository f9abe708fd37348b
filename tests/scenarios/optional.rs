//! Keys that may be left out, that belong together or exclude each other, and values that lie exactly on a limit.

use skewstar::state::FieldStars;

use super::{SMALLEST, close, read, refused, valid};

const PLATE: &str = "[mask]\nlayout = \"holes\"\nouter_diameter_mm = 188\nthickness_mm = 2\n";

fn holes(plate: &str, radius_mm: f64, diameter_mm: f64) -> String {
    format!(
        "{SMALLEST}{PLATE}{plate}\nholes = [{{ radius_mm = {radius_mm:?}, azimuth_deg = 0, diameter_mm = {diameter_mm:?} }}]\n"
    )
}

/// Slots that nobody typed do not lean.
#[test]
fn a_mask_without_slots_has_no_slant() {
    let mask = valid(&holes("inner_diameter_mm = 84", 70.0, 20.0), &[])
        .instrument
        .mask;
    assert_eq!(mask.map(|mask| mask.slant_rad), Some(0.0));
}

/// A hole may lie in the middle of a plate that has no hole of its own nor a rim about it; elsewhere it may touch the inner rim.
/// By hand: a hole of 20 mm about 52 mm reaches in to 42 mm, half of 84.
#[test]
fn a_hole_may_touch_the_inner_edge_and_lie_where_there_is_none() {
    let passes = |plate: &str, radius_mm: f64| read(&holes(plate, radius_mm, 20.0), &[]).is_ok();
    assert!(passes("inner_diameter_mm = 0", 0.0));
    assert!(!passes("inner_diameter_mm = 0\ninner_rim_mm = 3", 0.0));
    assert!(passes("inner_diameter_mm = 84", 52.0));
    assert!(!passes("inner_diameter_mm = 84", 51.99));
    assert!(passes("inner_diameter_mm = 84\ninner_rim_mm = 3", 55.0));
    assert!(!passes("inner_diameter_mm = 84\ninner_rim_mm = 3", 54.99));
}

fn screws(more: &str) -> String {
    format!("{SMALLEST}[assembly]\nscrew_circle_radius_mm = 55\npitch_mm_per_turn = 0.5\n{more}")
}

#[test]
fn a_screw_may_be_named_with_letters_digits_hyphens_and_underscores() {
    let named = |name: &str| {
        let list = format!(
            "screws = [{{ name = \"{name}\", azimuth_deg = 0 }}, {{ name = \"B\", azimuth_deg = 120 }}, {{ name = \"C\", azimuth_deg = 240 }}]\n"
        );
        read(&screws(&list), &[]).map(|scenario| {
            let assembly = scenario.instrument.assembly.expect("screws");
            assembly.screws[0].name.clone()
        })
    };
    for name in ["top-left", "top_left", "A2", "-", "_"] {
        assert_eq!(named(name).expect("a good name"), name);
    }
    for name in ["top.left", "top+left", "A B"] {
        assert!(named(name).is_err(), "{name}");
    }
}

const ABC: &str = "screws = [{ name = \"A\", azimuth_deg = 90 }, { name = \"B\", azimuth_deg = 210 }, { name = \"C\", azimuth_deg = 330 }]\n";

/// Without a star the telescope points to the zenith, where a unit does not lean. By hand: of 2 arcmin when level 1 was there at 60
/// degrees, where the screws were set; it is missing now, towards the sky.
#[test]
fn without_a_star_the_telescope_points_to_the_zenith() {
    let response = "[assembly.response]\ncoma_nm_per_arcmin = 60\nimage_shift_um_per_arcmin = 20\nfocus_um_per_mm = 1000\nsensor_tilt_per_tilt = 1\n";
    let flexure = "[assembly.flexure]\nlevel_tilt_arcmin = 2\nset_at_altitude_deg = 60\n";
    let text = screws(&format!("{ABC}{response}{flexure}"));
    let [x, y] = valid(&text, &[]).state.flexure_rad;
    let arcmin = std::f64::consts::PI / 10800.0;
    assert!(close(y, arcmin) && x.abs() < 1e-12 * arcmin, "{x} {y}");
}

/// A lens without an index, and two radii of nothing that one argument gives: the face that the light meets first is told.
#[test]
fn keys_of_a_lens_are_told_in_the_lights_order() {
    let lens = |keys: &str| {
        let prescription =
            format!("assembly.prescription={{ kind = \"lens\", pivot_mm = 0, {keys} }}");
        refused(&screws(ABC), &[&prescription])
    };
    let told = lens("front_radius_mm = 500, back_radius_mm = -500");
    assert!(
        told.contains("assembly.prescription.index is missing"),
        "{told}"
    );
    let told = lens("back_radius_mm = 0.2, front_radius_mm = -0.1, index = 1.5");
    let wanted = "assembly.prescription.front_radius_mm is -0.1, but must be 1 mm or more";
    assert!(told.contains(wanted), "{told}");
}

#[test]
fn a_fields_stars_are_listed_or_counted_but_not_both() {
    let listed = "[field]\nstars = [{ field_mm = [0.1, 0.2], magnitude = 5 }]\n";
    let text = format!("{SMALLEST}{listed}");
    let Some(FieldStars::Listed(stars)) = valid(&text, &[]).field else {
        panic!("no list")
    };
    assert!(stars.len() == 1 && close(stars[0].field_m[1], 0.2e-3));
    let both = refused(&format!("{text}count = 3\nmagnitudes = [3, 8]\n"), &[]);
    assert!(
        both.contains("field.stars") && both.contains("field.count"),
        "{both}"
    );
}

#[test]
fn a_range_of_magnitudes_is_shown_as_it_was_typed() {
    let told = refused(
        &format!("{SMALLEST}[field]\ncount = 3\nmagnitudes = [8.5, 3.25]\n"),
        &[],
    );
    assert!(
        told.contains(
            "field.magnitudes is [8.5, 3.25], but must be the brightest, then the faintest"
        ),
        "{told}"
    );
}
