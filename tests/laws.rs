//! Closed forms that a frame has to obey, whatever the engine does inside: what dark current and sky leave in a pixel, how
//! astigmatism turns with the place in the field, and how the light of a fast paraboloid is spread.

use crate::cli::program::Place;
use crate::support::bench::{APERTURE_M, Bench};
use crate::support::checks::number;
use crate::support::light::within_star;
use ndarray::Array2;
use skewstar::instrument::FocusLaw;
use skewstar::units::{NM, UM};
use std::f64::consts::PI;

/// A star too faint to leave one electron, so that a frame shows sky and dark current alone.
const EMPTY: &str = r#"format = 1
title = "Nothing but sky"
seed = 5
[telescope]
aperture_mm = 130.0
focal_length_mm = 520.0
[telescope.obstruction]
diameter_mm = 46.0
[camera]
pixel_um = 4.3
width_px = 90
height_px = 84
passband_nm = [510.0, 570.0]
wavelengths = 1
throughput = 0.43
quantum_efficiency = 0.66
gain_e_per_adu = 0.8
bias_adu = 240.0
read_noise_e = 2.0
dark_e_per_s = 31.0
[star]
magnitude = 29.0
temperature_k = 5600.0
[sky]
brightness_mag_per_arcsec2 = 16.0
[exposure]
time_s = 1.0
"#;

/// Mean electrons of a pixel of a recorded frame, and how uncertain that mean is.
fn mean_e(sets: &[&str]) -> (f64, f64) {
    let place = Place::with_file("empty.toml", EMPTY);
    let mut args = vec!["render", "empty.toml"];
    args.extend(sets.iter().flat_map(|set| ["--set", set]));
    place.run(&args).well();
    let counts = place.pixels("out/empty.fits");
    let n = counts.len() as f64;
    let mean_adu = counts.sum() / n;
    let variance = counts.iter().map(|c| (c - mean_adu).powi(2)).sum::<f64>() / (n - 1.0);
    (0.8 * (mean_adu - 240.0), 0.8 * (variance / n).sqrt())
}

#[track_caller]
fn agrees(what: &str, sets: &[&str], wanted_e: f64) {
    let (found_e, sigma_e) = mean_e(sets);
    println!("{what}: {found_e:.3} ± {sigma_e:.3} e, by the closed form {wanted_e:.3} e");
    assert!(sigma_e < 0.01 * wanted_e, "{what}: {sigma_e} shows nothing");
    assert!(
        (found_e - wanted_e).abs() < 4.0 * sigma_e,
        "{what}: {found_e} e, not {wanted_e} e"
    );
}

/// Dark current is a rate: electrons are rate × time. Four standard errors of the mean over 7560 pixels are allowed.
#[test]
fn dark_electrons_are_rate_times_time() {
    for (time, time_s) in [("exposure.time_s=0.6", 0.6), ("exposure.time_s=7.5", 7.5)] {
        let dark_only = ["sky.brightness_mag_per_arcsec2=40.0", time];
        agrees(
            &format!("{time_s} s in the dark"),
            &dark_only,
            31.0 * time_s,
        );
    }
}

/// Light of the sky meets the same glass as the star's: photons above the atmosphere (the published zero point) × open area × patch
/// of sky × band × throughput × quantum efficiency × time. Four standard errors of the mean are allowed.
#[test]
fn sky_electrons_pass_the_same_glass_as_the_star() {
    let zero_point = number("photometry.vega_v_photon_flux");
    let area_m2 = 0.25 * PI * (0.130f64.powi(2) - 0.046f64.powi(2));
    let pixel_arcsec = (4.3e-6f64 / 0.520).to_degrees() * 3600.0;
    let photons_per_s =
        zero_point * 10f64.powf(-0.4 * 16.0) * area_m2 * 60.0 * pixel_arcsec.powi(2);
    for (throughput, time_s) in [(0.43, 1.0), (0.43, 3.7), (0.95, 2.2)] {
        let sets = [
            format!("camera.throughput={throughput}"),
            format!("exposure.time_s={time_s:?}"),
            "camera.dark_e_per_s=0.0".to_owned(),
        ];
        let sets: Vec<&str> = sets.iter().map(String::as_str).collect();
        let wanted_e = photons_per_s * throughput * 0.66 * time_s;
        agrees(
            &format!("sky, throughput {throughput}, {time_s} s"),
            &sets,
            wanted_e,
        );
    }
}

/// A telescope whose only aberration is the astigmatism of its field, with a camera that is turned.
const FIELD: &str = r#"format = 1
title = "Astigmatism across the field"
[telescope]
aperture_mm = 150.0
focal_length_mm = 600.0
[telescope.field]
axis_mm = [0.6, -0.35]
astigmatism_nm_per_mm2 = 12.0
[camera]
pixel_um = 3.8
width_px = 64
height_px = 60
rotation_deg = 21.0
passband_nm = [540.0, 560.0]
wavelengths = 1
[state]
sensor_offset_um = 100.0
"#;

/// Astigmatism k|h|² lies along the star's direction from the field's axis: (Noll 6, Noll 5) = k|h|² (cos 2φ, sin 2φ), and beyond
/// focus the star is long along φ. None of the directions is an axis, and none is another's mirror image.
#[test]
fn field_astigmatism_points_along_the_field() {
    for phi_deg in [23.0f64, 76.0, 161.0, 249.0, 308.0] {
        let (sin, cos) = phi_deg.to_radians().sin_cos();
        let field = format!(
            "state.field_mm=[{:?}, {:?}]",
            0.6 + 3.1 * cos,
            -0.35 + 3.1 * sin
        );
        let place = Place::with_file("field.toml", FIELD);
        place.run(&["render", "field.toml", "--set", &field]).well();
        let truth = place.json("out/field.truth.json");
        let size_nm = 12.0 * 3.1 * 3.1;
        let (sin2, cos2) = (2.0 * phi_deg).to_radians().sin_cos();
        for (noll, wanted) in [("6", size_nm * cos2), ("5", size_nm * sin2)] {
            let found = truth["modes_nm"][noll].as_f64().expect("a mode");
            assert!(
                (found - wanted).abs() < 1e-6 * size_nm,
                "{phi_deg} degrees: Noll {noll} {found}, not {wanted}"
            );
        }
        // W = (d + a cos 2(θ−φ)) ρ² with d = offset/8N² = 0.78 um and a = √6 · 115 nm: rays reach (d + a)/(d − a) = 2.1 times as far
        let along_deg = long_side_deg(&place.pixels("out/field.expected.fits"));
        let off = (along_deg - (phi_deg - 21.0) + 90.0).rem_euclid(180.0) - 90.0;
        println!("{phi_deg} degrees: long side off by {off:.2} degrees");
        assert!(
            off.abs() < 2.0,
            "{phi_deg} degrees: the long side is off by {off} degrees"
        );
    }
}

/// Direction of the long side of a star, 0 to 180 degrees: second moments within 12 pixels of the middle of the light.
fn long_side_deg(image: &Array2<f64>) -> f64 {
    let light = image.sum();
    let mean = |of: &dyn Fn(f64, f64) -> f64| {
        let terms = image
            .indexed_iter()
            .map(|((row, column), v)| v * of(column as f64, row as f64));
        terms.sum::<f64>() / light
    };
    let (cx, cy) = (mean(&|x, _| x), mean(&|_, y| y));
    let near = |x: f64, y: f64| (x - cx).hypot(y - cy) < 12.0;
    let moment = |of: &dyn Fn(f64, f64) -> f64| {
        mean(&|x, y| if near(x, y) { of(x - cx, y - cy) } else { 0.0 })
    };
    let (xx, xy, yy) = (
        moment(&|x, _| x * x),
        moment(&|x, y| x * y),
        moment(&|_, y| y * y),
    );
    0.5 * (2.0 * xy).atan2(xx - yy).to_degrees()
}

/// A pupil that is lit evenly stays so however fast the beam: of a defocused star, the light within the radius that the rays of
/// pupil height r reach is (r² − h²)/(R² − h²). A ray of the sine law lands at offset · tan u with sin u = r/f, one of the
/// paraboloid with tan(u/2) = r/2f. Light spread evenly over sines instead is 3 % of the whole off at f/1. Nearer to the rim lie
/// the fringes of its edge.
///
/// Measured: off by at most 0.11 % of the whole light; allowed is 0.4 %.
#[test]
fn the_light_of_a_fast_paraboloid_is_spread_as_its_rays_are() {
    for law in [FocusLaw::Sine, FocusLaw::Paraboloid] {
        let mut star = Bench::annular(1.0, 550.0 * NM, 0.25);
        star.instrument.telescope.focus_law = law;
        star.state.sensor_offset_m = -180.0 * UM;
        let (radius_m, focal_m) = (0.5 * APERTURE_M, APERTURE_M);
        for rho in [0.45, 0.55, 0.65, 0.75] {
            let height = rho * radius_m / focal_m;
            let angle = match law {
                FocusLaw::Sine => height.asin(),
                FocusLaw::Paraboloid => 2.0 * (0.5 * height).atan(),
            };
            let found = within_star(&star, 180.0 * UM * angle.tan(), 2.0 * UM);
            let wanted = (rho * rho - 0.0625) / (1.0 - 0.0625);
            println!(
                "{law:?}, {rho} of the radius: {found:.4} of the light, by the rays {wanted:.4}"
            );
            assert!(
                (found - wanted).abs() < 0.004,
                "{law:?}, {rho}: {found}, not {wanted}"
            );
        }
    }
}
