//! What `mask preview` says of exposures, held against frames that are rendered with them.

use crate::cli::program::Place;
use ndarray::Array2;

/// An invented telescope with a mask at night; the camera loses some light, has dark current, and fills early.
fn night() -> String {
    let camera = "wavelengths = 1\nquantum_efficiency = 0.8\nthroughput = 0.7\ngain_e_per_adu = 0.9\nbias_adu = 150.0\n\
                  read_noise_e = 1.6\ndark_e_per_s = 17.0\nfull_well_e = 41000.0\nbits = 16\n";
    super::text_with(super::LAYOUTS[1], "")
        .replace("title", "seed = 5\ntitle")
        .replace("wavelengths = 1\n", camera)
        + "[star]\nmagnitude = 2.3\ntemperature_k = 6200.0\n[sky]\nseeing_arcsec = 2.1\nbrightness_mag_per_arcsec2 = 15.0\n\
           [exposure]\ntime_s = 0.05\n"
}

/// The expected electrons of the masked star in focus, rendered with settings of its own.
fn expected_e(place: &Place, sets: &[&str]) -> Array2<f64> {
    let mut args = vec!["render", "m.toml", "--expected", "--force"];
    args.extend(sets.iter().flat_map(|set| ["--set", set]));
    place.run(&args).well();
    place.pixels("out/m.expected.fits")
}

/// Rendered with the exposure that the preview names, the brightest pixel is four fifths full; sky and dark current are the
/// difference to the same star without them; the spikes are read from the frame by a twin of the sentence that says how.
#[test]
fn the_exposure_of_a_preview_fills_four_fifths() {
    let place = Place::with_file("m.toml", night());
    let answer: serde_json::Value = serde_json::from_str(
        &place
            .run(&["mask", "preview", "m.toml", "--json"])
            .well()
            .stdout,
    )
    .expect("an answer");
    let said = |key: &str| {
        answer["exposure"][key]
            .as_f64()
            .unwrap_or_else(|| panic!("{answer}"))
    };
    let time = format!("exposure.time_s={:?}", said("time_s"));
    let image = expected_e(&place, &[&time]);
    let brightest_e = image.iter().copied().fold(0.0, f64::max);
    println!(
        "{}: the brightest pixel has {brightest_e:.1} e",
        answer["exposure"]
    );
    assert!(
        (brightest_e / (0.8 * 41_000.0) - 1.0).abs() < 1e-4,
        "{brightest_e} e in the brightest pixel"
    );
    // and the camera records it so: noise of the brightest pixels is 0.6 % of them
    let counts = place.pixels("out/m.fits");
    let most_e = counts.iter().copied().fold(0.0, f64::max) * 0.9 - 150.0 * 0.9;
    assert!(
        (most_e / (0.8 * 41_000.0) - 1.0).abs() < 0.03,
        "{most_e} e recorded"
    );

    let dark = [
        "sky.brightness_mag_per_arcsec2=40.0",
        "camera.dark_e_per_s=0.0",
        &time,
    ];
    let without = expected_e(&place, &dark);
    let background_e = (&image - &without).mean().expect("pixels");
    assert!(
        (said("background_e") / background_e - 1.0).abs() < 1e-4,
        "{} against {background_e}",
        said("background_e")
    );
    assert!(background_e > 5.0, "{background_e} e show nothing");

    // the middle of the brightest twentieth beyond an eighth of the frame or so (0.12 of its shorter side) from the star
    let (rows, columns) = image.dim();
    let from_star = |row: usize, column: usize| {
        (row as f64 - 0.5 * (rows as f64 - 1.0)).hypot(column as f64 - 0.5 * (columns as f64 - 1.0))
    };
    let core_px = 0.12 * rows.min(columns) as f64;
    let mut spikes: Vec<f64> = without
        .indexed_iter()
        .filter(|((row, column), _)| from_star(*row, *column) > core_px)
        .map(|(_, value)| *value)
        .collect();
    spikes.sort_by(f64::total_cmp);
    let middle_e = spikes[spikes.len() - 1 - spikes.len() / 40];
    println!("spikes {middle_e:.1} e above {background_e:.2} e");
    assert!(
        (said("spike_e") / middle_e - 1.0).abs() < 1e-3,
        "{} against {middle_e}",
        said("spike_e")
    );
}
