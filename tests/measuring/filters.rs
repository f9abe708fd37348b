//! Filter arrays that are not their own mirror image: whoever mixes up rows and columns measures red light by blue optics.

use crate::cli::program::Place;
use crate::support::light::colours_apart;
use serde_json::Value;

/// The array as it is typed, bottom row first: with rows and columns mixed up, GRBG is GBRG and GGRB is GRGB. The fit explains every
/// pixel to its noise and finds what was hidden, only where each pixel has the optics of its own colour.
#[test]
fn rows_and_columns_of_a_filter_array_are_not_mixed_up() {
    for pattern in ["GRBG", "GGRB"] {
        let place = Place::with_file("unit.toml", colours_apart(90211, 68, pattern));
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
