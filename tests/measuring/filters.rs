//! Filter arrays that are not their own mirror image: whoever mixes up rows and columns measures red light by blue optics.

use crate::cli::program::Place;
use serde_json::Value;

/// A lens whose red and blue focus lie far apart, on either side of green.
fn text(pattern: &str) -> String {
    format!(
        r#"format = 1
title = "Colours apart"
seed = 90211
telescope = {{ aperture_mm = 90.0, focal_length_mm = 630.0, reflections = 0, chromatic = [
    {{ wavelength_nm = 460.0, focus_um = 330.0 }},
    {{ wavelength_nm = 540.0, focus_um = 0.0 }},
    {{ wavelength_nm = 625.0, focus_um = -240.0 }},
] }}
star = {{ magnitude = 2.6, temperature_k = 4800.0 }}
exposure = {{ time_s = 0.25 }}
[camera]
pixel_um = 3.8
width_px = 72
height_px = 68
passband_nm = [430.0, 660.0]
wavelengths = 2
quantum_efficiency = 0.7
gain_e_per_adu = 1.1
bias_adu = 200.0
read_noise_e = 1.9
full_well_e = 60000.0
colour_pattern = "{pattern}"
passbands = {{ red = {{ passband_nm = [590.0, 660.0] }}, green = {{ passband_nm = [500.0, 580.0] }}, blue = {{ passband_nm = [430.0, 490.0] }} }}
[state]
sensor_offset_um = 1100.0
modes_nm = {{ 7 = 42.0, 8 = -31.0 }}
"#
    )
}

/// The array as it is typed, bottom row first: with rows and columns mixed up, GRBG is GBRG and GGRB is GRGB. The fit explains every
/// pixel to its noise and finds what was hidden, only where each pixel has the optics of its own colour.
#[test]
fn rows_and_columns_of_a_filter_array_are_not_mixed_up() {
    for pattern in ["GRBG", "GGRB"] {
        let place = Place::with_file("unit.toml", text(pattern));
        place.run(&["render", "unit.toml"]).well();
        let args = [
            "measure",
            "out/unit.fits",
            "--instrument",
            "unit.toml",
            "--side",
            "outside",
            "--json",
            "--quiet",
        ];
        let found: Value = serde_json::from_str(&place.run(&args).well().stdout).expect("a report");
        let chi_square = found["chi_square"].as_f64().expect("a number");
        let offset_um = found["sensor_offset_um"]["value"]
            .as_f64()
            .expect("a number");
        println!(
            "{pattern}: offset {offset_um:.1} um, chi square {chi_square:.2}, {}",
            found["flags"]
        );
        assert!(
            (offset_um - 1100.0).abs() < 11.0,
            "{pattern}: {offset_um} um"
        );
        for (noll, hidden) in [("7", 42.0), ("8", -31.0)] {
            let value = found["modes_nm"][noll]["value"].as_f64().expect("a number");
            assert!(
                (value - hidden).abs() < 4.0,
                "{pattern}: Noll {noll} is {value}, not {hidden}"
            );
        }
        assert!(chi_square < 1.5, "{pattern}: {chi_square}");
    }
}
