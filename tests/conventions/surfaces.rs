//! The signs of a list of surfaces, on worked examples: light along −z from the sky, radii positive towards the sky.

use skewstar::mechanics::prescription::Derived;
use skewstar::scenario;
use skewstar::units::{ARCMIN, MM, NM, UM};

/// A telescope of 190 mm at f/2.4 whose screws hold what `keys` say.
fn traced(keys: &str) -> Derived {
    let text = format!(
        "format = 1\ntitle = \"signs\"\n[telescope]\naperture_mm = 190.0\nfocal_length_mm = 456.0\n\
         [camera]\npixel_um = 3.8\nwidth_px = 64\nheight_px = 64\n\
         [assembly]\nscrew_circle_radius_mm = 55.0\npitch_mm_per_turn = 0.5\n\
         screws = [{{ name = \"A\", azimuth_deg = 0 }}, {{ name = \"B\", azimuth_deg = 120 }}, {{ name = \"C\", azimuth_deg = 240 }}]\n\
         [assembly.prescription]\n{keys}"
    );
    let read = scenario::read(&text, "signs.toml", &[]);
    let scenario = read.unwrap_or_else(|e| panic!("{e}\n{}", e.hint()));
    scenario.traced.expect("a trace")
}

const BOWL: &str = "[[assembly.prescription.surfaces]]\nname = \"primary\"\nradius_mm = 912.0\nconic = -1.0\nz_mm = 0.0\nafter = \"mirror\"\n";

fn near(what: &str, found: f64, by_hand: f64, share: f64) {
    println!("{what:<48} {found:>14.6} by hand {by_hand:>14.6}");
    assert!(
        (found - by_hand).abs() <= share * by_hand.abs(),
        "{what}: {found}, by hand {by_hand}"
    );
}

/// The worked example. A paraboloid of radius 912 mm, concave towards the sky (its centre at z = +912: radius positive), focuses at z = +456.
/// A camera at its focus is held by screws 100 mm below the sensor (`pivot_mm` = 100 towards the base, which lies towards the mirror).
/// Lifted by 1 mm it goes towards the sky, away from the mirror: 1000 um farther beyond focus. Its edge at +x raised by an arcminute,
/// its middle swings towards −x by 100 mm · 0.290888e-3 = 29.09 um, and the star, which stays, is seen 29.09 um towards +x. Moved 1 mm towards
/// +x it sees the star 1000 um towards −x. What it then sees is the field's: coma k·h at h = the place that the star left behind.
#[test]
fn the_signs_of_a_camera_at_the_focus_of_a_bowl() {
    let keys = "unit = \"camera\"\nsensor_group = \"camera\"\npivot_mm = 100.0\n";
    let d = traced(&format!("{keys}{BOWL}"));
    let (r, field) = (&d.response, &d.field);
    near("focus, um per mm", r.focus_m_per_m * MM / UM, 1000.0, 1e-9);
    near(
        "image, um per arcmin",
        r.image_shift_m_per_rad * ARCMIN / UM,
        29.0888,
        1e-5,
    );
    near(
        "image, um per mm aside",
        r.decentre_image_shift_m_per_m * MM / UM,
        -1000.0,
        1e-9,
    );
    // the sensor leans by the whole tilt, and its middle leaves that of the curved field by 100 mm · t: 1 − 2 · curvature · 100 mm.
    // The coma of the field sets a star's focus beside its central ray, by 4√8·N·k·h = 0.7 % of h, where the leaning sensor is that much nearer.
    let leans = 1.0 - 2.0 * field.curvature_per_m2 * 0.1;
    let beside = (4.0 * 8f64.sqrt() * 2.4 * field.coma_per_m).abs();
    near(
        "sensor tilt per tilt",
        r.sensor_tilt_per_tilt,
        leans + beside,
        1e-3,
    );
    // at a fixed place of the sensor, which stands at +1 mm of the field after the move: k · 1 mm
    let kd = r.decentre_coma_m_per_m * MM / NM;
    near(
        "coma, nm per mm aside",
        kd,
        field.coma_per_m * MM / NM,
        1e-4,
    );
    // the sensor's middle at −29.09 um of the field: −k · 29.09 um
    let kt = r.coma_m_per_rad * ARCMIN / NM;
    near(
        "coma, nm per arcmin",
        kt,
        -field.coma_per_m * MM / NM * 0.0290888,
        1e-3,
    );
    near(
        "no spherical aberration, nm",
        d.design.get(11) / NM + 1.0,
        1.0,
        1e-6,
    );
}

/// `unit_moves` turns the base to the other side: the same screws then take the camera towards the mirror.
#[test]
fn a_unit_that_moves_from_the_sky_goes_farther_in() {
    let keys = "unit = \"camera\"\nsensor_group = \"camera\"\npivot_mm = -100.0\nunit_moves = \"from-sky\"\n";
    let r = traced(&format!("{keys}{BOWL}")).response;
    near("focus, um per mm", r.focus_m_per_m * MM / UM, -1000.0, 1e-9);
    // the same place of the pivot, below the sensor; the other edge is the one that is raised
    near(
        "image, um per arcmin",
        r.image_shift_m_per_rad * ARCMIN / UM,
        -29.0888,
        1e-5,
    );
}

/// The short form and the list of one surface are the same telescope; its screws hold the mirror, and lift it towards the sky.
#[test]
fn a_short_form_is_a_short_way_of_writing_the_list() {
    let short = traced("kind = \"paraboloid\"\npivot_mm = 18.0\n");
    let list = traced(&format!("pivot_mm = 18.0\n{BOWL}group = \"mirror\"\n"));
    assert_eq!(short.response, list.response);
    assert_eq!(short.field, list.field);
    near(
        "focus, um per mm",
        list.response.focus_m_per_m * MM / UM,
        -1000.0,
        1e-9,
    );
}

/// Heights count towards the sky: a sphere is higher than the paraboloid of its radius by r⁴/(8R³), so that −1/(8·912³) per mm³ takes most of
/// its spherical aberration away, and the other sign doubles it. A sphere's edge is turned up: its light comes together nearer to the
/// mirror, and its wavefront leads there: W040 = r⁴/(4R³), Noll 11 = W040/(6√5), third order, from memory; at f/2.4 higher orders add 4 %.
#[test]
fn an_even_asphere_counts_towards_the_sky() {
    let spherical_nm = |terms: &str| {
        let surface = BOWL.replace("conic = -1.0", terms);
        let d = traced(&format!("pivot_mm = 0.0\n{surface}group = \"mirror\"\n"));
        d.design.get(11) / NM
    };
    let term = 1.0 / (8.0 * 912f64.powi(3));
    let sphere = spherical_nm("conic = 0.0");
    let corrected = spherical_nm(&format!("even_asphere = [{:e}]", -term));
    let doubled = spherical_nm(&format!("even_asphere = [{term:e}]"));
    let by_hand = 95f64.powi(4) / (4.0 * 912f64.powi(3)) * 1e6 / (6.0 * 5f64.sqrt());
    near("sphere, nm", sphere, by_hand, 0.05);
    assert!(corrected.abs() < 0.05 * sphere, "{corrected} of {sphere}");
    near("the other sign", doubled, 2.0 * sphere, 0.05);
}

/// A lens that stands in the sky's light: its front face bulges towards the sky, its centre lies at smaller z, so that its radius is negative;
/// the focus is below it. By hand: 1/f = 0.5 · (1/600 + 1/600), a thin lens of index 1.5.
#[test]
fn a_lens_towards_the_sky_has_a_negative_front_radius() {
    let face = |name: &str, radius: f64, after: &str| {
        format!(
            "[[assembly.prescription.surfaces]]\nname = \"{name}\"\nradius_mm = {radius:?}\nz_mm = 0.0\nafter = {after}\ngroup = \"lens\"\n"
        )
    };
    let keys = "pivot_mm = 0.0\n".to_owned()
        + &face("front", -456.0, "{ index = 1.5 }")
        + &face("back", 456.0, "\"air\"");
    let d = traced(&keys);
    near("focal length, mm", d.focal_length_m / MM, 456.0, 1e-6);
    // lifted towards the sky, it takes its focus away from the sensor: the sensor is farther beyond focus
    near(
        "focus, um per mm",
        d.response.focus_m_per_m * MM / UM,
        1000.0,
        1e-3,
    );
}
