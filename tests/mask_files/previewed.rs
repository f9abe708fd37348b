//! What `mask preview` says of exposures and spikes, held against frames that are rendered.

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

/// Rendered with the exposure that the preview names, the brightest pixel of the first orders is at 40 % of a full pixel, or the core is fifty
/// times full; the spikes lie where their pitch puts them.
#[test]
fn the_exposure_of_a_preview_puts_spikes_at_two_fifths() {
    let place = Place::with_file("m.toml", night());
    let answer: serde_json::Value = serde_json::from_str(
        &place
            .run(&["mask", "preview", "m.toml", "--json"])
            .well()
            .stdout,
    )
    .expect("an answer");
    let conditions = &answer["conditions"];
    let time_s = conditions["good_exposure_s"].as_f64().expect("counts");
    let time = format!("exposure.time_s={time_s:?}");
    let image = expected_e(&place, &[&time]);
    let (rows, columns) = image.dim();
    let first_px = 530e-6 * 405.0 / 5.3 / 3.8e-3;
    let spike_e = image
        .indexed_iter()
        .filter(|((row, column), _)| {
            let (y, x) = (
                *row as f64 - 0.5 * (rows as f64 - 1.0),
                *column as f64 - 0.5 * (columns as f64 - 1.0),
            );
            (y.hypot(x) - first_px).abs() < 1.5
        })
        .map(|(_, value)| *value)
        .fold(0.0, f64::max);
    let core_e = image.iter().copied().fold(0.0, f64::max);
    let (spike, core) = (spike_e / 41_000.0, core_e / 41_000.0);
    println!("spikes at {spike:.3} of a full pixel, core {core:.1} times full");
    // the preview takes the pixels of its strips, this test a ring
    assert!((spike / 0.4 - 1.0).abs() < 0.06 || (core / 50.0 - 1.0).abs() < 0.06);
    let given = expected_e(&place, &[]);
    let level = given.iter().copied().fold(0.0, f64::max) / 41_000.0;
    let said = conditions["core_level"].as_f64().expect("a level");
    assert!((said / level - 1.0).abs() < 0.03, "{said} against {level}");
    for spike in answer["spikes"].as_array().expect("spikes") {
        let [x, y] = [0, 1].map(|i| spike["place_px"][i].as_f64().expect("a place"));
        assert!((x.hypot(y) / first_px - 1.0).abs() < 1e-3, "{spike}");
    }
}
