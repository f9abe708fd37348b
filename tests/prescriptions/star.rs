//! What a star takes from the trace: spherical aberration, colour, edges, plates; and what is said of it.

use skewstar::Scene;
use skewstar::flag::Flag;
use skewstar::mechanics::align;
use skewstar::predict::Settings;
use skewstar::scenario::{self, Scenario};
use skewstar::state::State;
use skewstar::units::{MM, NM};

fn read(telescope: &str, prescription: &str) -> Scenario {
    let text = format!(
        "format = 1\ntitle = \"a star\"\nseed = 3\n[telescope]\n{telescope}\n\
         [camera]\npixel_um = 3.1\nwidth_px = 40\nheight_px = 36\n\
         [assembly]\nscrew_circle_radius_mm = 40.0\npitch_mm_per_turn = 0.5\n\
         screws = [{{ name = \"A\", azimuth_deg = 0 }}, {{ name = \"B\", azimuth_deg = 120 }}, {{ name = \"C\", azimuth_deg = 240 }}]\n\
         [assembly.prescription]\npivot_mm = 0.0\n{prescription}"
    );
    // the camera's keys that a case needs stand at the end of its telescope
    let read = scenario::read(&text, "star.toml", &[]);
    read.unwrap_or_else(|e| panic!("{e}\n{}", e.hint()))
}

fn scene(scenario: Scenario) -> Scene {
    let scene = Scene::of(scenario).expect("a scene");
    scene.with_settings(Settings {
        sampling_check: false,
        ..Settings::default()
    })
}

fn surface(name: &str, radius_mm: f64, z_mm: f64, after: &str, more: &str) -> String {
    format!(
        "[[assembly.prescription.surfaces]]\nname = \"{name}\"\nradius_mm = {radius_mm:?}\nz_mm = {z_mm:?}\nafter = {after}\n{more}\n"
    )
}

const PAIR: &str = "aperture_mm = 152.0\nfocal_length_mm = 1000.0\nreflections = 2";

fn pair(conics: [f64; 2]) -> String {
    format!(
        "kind = \"two-mirror\"\nprimary_radius_mm = 910.0\nsecondary_radius_mm = 500.0\nspacing_mm = 318.5\n\
         primary_conic = {:?}\nsecondary_conic = {:?}\n",
        conics[0], conics[1]
    )
}

/// Two spheres render as what they are: the truth has their spherical aberration, it is flagged, `check` says it, and the star's peak is
/// a small part of that of the same telescope with a paraboloid and the hyperboloid that goes with it.
#[test]
fn two_spheres_are_no_perfect_star() {
    let focal_mm = {
        // (R1/2)·m, m = to_image/to_focus: mirror equations
        let to_focus = 455.0 - 318.5f64;
        1.0 / (1.0 / to_focus - 2.0 / 500.0) / to_focus * 455.0
    };
    let telescope = PAIR.replace("1000.0", &format!("{focal_mm:.3}"));
    let m = focal_mm / 455.0;
    let hyperboloid = -((m + 1.0) / (m - 1.0)).powi(2);
    let perfect = scene(read(&telescope, &pair([-1.0, hyperboloid])));
    let spheres = scene(read(&telescope, &pair([0.0, 0.0])));
    let truth = |scene: &Scene| scene.star().expect("a star").truth;
    let (sharp, blurred) = (truth(&perfect), truth(&spheres));
    println!(
        "Noll 11: {:?} and {:?} nm",
        sharp.modes_nm.0.get(&11),
        blurred.modes_nm.0.get(&11)
    );
    assert!(sharp.modes_nm.0[&11].abs() < 0.1);
    assert!(blurred.modes_nm.0[&11].abs() > 300.0);
    assert!(!sharp.flags.has(Flag::DesignOverQuarterWave));
    assert!(blurred.flags.has(Flag::DesignOverQuarterWave));
    let peak = |scene: &Scene| {
        let image = scene.expected().expect("a frame").image;
        image.iter().copied().fold(0.0, f64::max)
    };
    let share = peak(&spheres) / peak(&perfect);
    println!("the peak is {share:.3} of the perfect star's");
    assert!(share < 0.3, "{share}");
    let follows = spheres.consequences().expect("what follows");
    assert!(
        follows.design_waves > 0.25
            && perfect.consequences().expect("what follows").design_waves < 0.01
    );
    // a number typed for the same mode stands in place of the traced one
    let typed = read(
        &format!("{telescope}\ndesign_nm = {{ 6 = 20.0, 11 = -30.0 }}"),
        &pair([0.0, 0.0]),
    );
    let modes = align(&typed.instrument, &State::default()).modes;
    assert!((modes.get(11) / NM + 30.0).abs() < 1e-9 && (modes.get(6) / NM - 20.0).abs() < 1e-9);
    assert!(
        modes.get(22).abs() > 1.0 * NM,
        "the others are still traced"
    );
}

/// A thin singlet's spherical aberration and colour are in the truth. Third order for a thin lens with a star at infinity, from memory
/// (W. T. Welford, ch. 12): W040 = y⁴/(32 f³ n(n−1)²) · [n³ + (3n+2)(n−1)² + ...] in its bending form, here by Coddington:
/// W040 = y⁴/(32 f³) · 1/(n(n−1)) · [(n+2)/(n−1) q² − 4(n+1) q + (3n+2)(n−1) + n³/(n−1)], q the shape (R2 + R1)/(R2 − R1).
/// Its focus differs by f/V between the two hydrogen lines.
#[test]
fn a_singlet_has_its_spherical_aberration_and_its_colour() {
    let (n, abbe) = (1.5168f64, 64.17);
    let (front, back) = (1.0 / 500.0, -1.0 / 700.0f64);
    let focal_mm = 1.0 / ((n - 1.0) * (front - back));
    let q = (front + back) / (front - back);
    let bracket = (n + 2.0) / (n - 1.0) * q * q - 4.0 * (n + 1.0) * q
        + (3.0 * n + 2.0) * (n - 1.0)
        + n.powi(3) / (n - 1.0);
    let y = 30.0f64;
    let w040_nm = y.powi(4) / (32.0 * focal_mm.powi(3)) / (n * (n - 1.0)) * bracket * 1e6;
    // the file's radii count towards the sky: a face that bulges to the sky has a negative one
    let faces = surface("front", -500.0, 0.0, "\"N-BK7\"", "group = \"lens\"")
        + &surface("back", 700.0, 0.0, "\"air\"", "group = \"lens\"");
    let light = "reflections = 0\n";
    let telescope = format!("aperture_mm = 60.0\nfocal_length_mm = {focal_mm:.2}\n{light}");
    let text = read_with_band(&telescope, &faces, [486.1327, 656.2725]);
    let derived = text.traced.clone().expect("a trace");
    let found_nm = align(&text.instrument, &State::default()).modes.get(11) / NM;
    let by_hand = w040_nm / (6.0 * 5f64.sqrt());
    println!("Noll 11 {found_nm:.2} nm, third order {by_hand:.2}");
    assert!(
        (found_nm / by_hand - 1.0).abs() < 0.03,
        "{found_nm} {by_hand}"
    );
    let (blue, red) = (
        &derived.chromatic[0],
        derived.chromatic.last().expect("colours"),
    );
    let colour_mm = (red.focus_m - blue.focus_m) / MM;
    println!("colour {colour_mm:.4} mm, f/V {:.4}", focal_mm / abbe);
    assert!((colour_mm / (focal_mm / abbe) - 1.0).abs() < 0.02);
    let star = scene(text).star().expect("a star").truth;
    assert!((star.modes_nm.0[&11] - found_nm).abs() < 1e-6);
    assert!(
        star.flags.has(Flag::ColourOverQuarterWave) && star.flags.has(Flag::DesignOverQuarterWave)
    );
    assert!(
        !star.flags.has(Flag::ColourFocusNotZero),
        "the table is zero in the middle of the light"
    );
}

/// A scenario whose camera takes this light.
fn read_with_band(telescope: &str, prescription: &str, band_nm: [f64; 2]) -> Scenario {
    let mut scenario = format!("{prescription}\n");
    scenario += &format!(
        "[camera]\npixel_um = 3.1\nwidth_px = 40\nheight_px = 36\npassband_nm = {band_nm:?}\nwavelengths = 5\n"
    );
    let text = format!(
        "format = 1\ntitle = \"a star\"\nseed = 3\n[telescope]\n{telescope}\n\
         [assembly]\nscrew_circle_radius_mm = 40.0\npitch_mm_per_turn = 0.5\n\
         screws = [{{ name = \"A\", azimuth_deg = 0 }}, {{ name = \"B\", azimuth_deg = 120 }}, {{ name = \"C\", azimuth_deg = 240 }}]\n\
         [assembly.prescription]\npivot_mm = 0.0\n{scenario}"
    );
    scenario::read(&text, "star.toml", &[]).unwrap_or_else(|e| panic!("{e}\n{}", e.hint()))
}

/// A plane plate in converging light: W040 = −t (n² − 1)/(8 n³) · (1/2N)⁴ (a handbook formula, W. J. Smith, Modern Optical Engineering, from
/// memory); 2 mm of index 1.5168 at f/2 are 27 nm RMS of Noll 11. Higher orders are there at f/2, and fade as the beam slows. The plate
/// pushes the focus out by t (n − 1)/n.
#[test]
fn a_plate_of_two_millimetres_at_f_2_has_27_nm() {
    let n = 1.5168f64;
    let mut shares = Vec::new();
    for ratio in [2.0, 4.0, 8.0] {
        let focal_mm = 200.0 * ratio;
        let plate = |with: bool| {
            let mut faces = surface(
                "primary",
                2.0 * focal_mm,
                0.0,
                "\"mirror\"",
                "conic = -1.0\ngroup = \"mirror\"",
            );
            if with {
                faces += &surface(
                    "cover glass, front",
                    0.0,
                    focal_mm - 30.0,
                    "{ index = 1.5168 }",
                    "",
                );
                faces += &surface("cover glass, back", 0.0, focal_mm - 28.0, "\"air\"", "");
            }
            let telescope = format!("aperture_mm = 200.0\nfocal_length_mm = {focal_mm:?}");
            read(&telescope, &faces).traced.expect("a trace")
        };
        let (bare, covered) = (plate(false), plate(true));
        let found_nm = covered.design.get(11) / NM;
        let by_hand_nm =
            -2e6 * (n * n - 1.0) / (8.0 * n.powi(3)) / (2.0 * ratio).powi(4) / (6.0 * 5f64.sqrt());
        println!("f/{ratio}: {found_nm:.4} nm, third order {by_hand_nm:.4}");
        if ratio == 2.0 {
            assert!((by_hand_nm.abs() - 27.0).abs() < 0.5, "{by_hand_nm}");
        }
        shares.push((found_nm / by_hand_nm - 1.0).abs());
        let focus = |d: &skewstar::mechanics::prescription::Derived| {
            d.system.paraxial().expect("a focus").1
        };
        let pushed_mm = (focus(&covered) - focus(&bare)).abs() / MM;
        assert!(
            (pushed_mm / (2.0 * (n - 1.0) / n) - 1.0).abs() < 1e-6,
            "{pushed_mm}"
        );
    }
    println!("apart by {shares:?}");
    assert!(
        shares[0] < 0.12 && shares[1] < 0.03 && shares[2] < 0.01,
        "{shares:?}"
    );
}

/// By hand: a stop 100 mm before a lens 10 mm wider than the aperture: light of a star at field angle h/f has moved aside by 100 h/f there,
/// and the lens's edge begins to cut it at 100 h/f = 5 mm, but for the faces' depth of 0.8 mm. From the pupil the edge is seen moving the other way: 100 mm behind it.
#[test]
fn the_edge_of_a_lens_behind_the_stop_cuts_stars_off() {
    let faces = surface(
        "stop",
        0.0,
        100.0,
        "\"air\"",
        "stop = true\ndiameter_mm = 50.0",
    ) + &surface(
        "front",
        -400.0,
        0.0,
        "{ index = 1.5 }",
        "group = \"lens\"\ndiameter_mm = 60.0",
    ) + &surface(
        "back",
        400.0,
        0.0,
        "\"air\"",
        "group = \"lens\"\ndiameter_mm = 60.0",
    );
    let telescope = "aperture_mm = 50.0\nfocal_length_mm = 400.0\nreflections = 0";
    let near = read(telescope, &faces);
    let edge = near.traced.as_ref().expect("a trace").edges[0].clone();
    println!("{edge:?}");
    assert!((edge.begins_m / MM - 20.0).abs() < 0.2, "{edge:?}");
    assert!(
        (edge.opening.diameter_m / MM - 60.0).abs() < 0.1
            && (edge.opening.distance_m / MM + 100.0).abs() < 0.5
    );
    // a frame of 40 pixels on the axis does not see it, one at 30 mm does
    assert!(near.instrument.telescope.field.vignetting.is_none());
    let far = read(
        telescope,
        &format!("{faces}[state]\nfield_mm = [30.0, 0.0]\n"),
    );
    assert_eq!(
        far.instrument.telescope.field.vignetting,
        Some(edge.opening)
    );
    let open = |scenario: Scenario| scene(scenario).model().expect("a model").open_area_m2;
    let share = open(far) / open(near);
    println!("{share:.4} of the light is left");
    // by hand: circles of radius 25 and 30 whose centres are 7.5 apart share a lens of 0.9716 of the smaller one
    assert!(
        (share - lens_share(25.0, 30.0, 7.5)).abs() < 2e-3,
        "{share}"
    );
}

/// The part of a circle of radius a that a circle of radius b covers, their centres d apart (elementary geometry).
fn lens_share(a: f64, b: f64, d: f64) -> f64 {
    let part = |r: f64, x: f64| r * r * (x / r).acos() - x * (r * r - x * x).sqrt();
    let x = (d * d + a * a - b * b) / (2.0 * d);
    (part(a, x) + part(b, d - x)) / (std::f64::consts::PI * a * a)
}
