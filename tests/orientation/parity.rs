//! What a file says of the sky in it: whether the camera mirrors follows with the number of reflections, by the geometry of mirrors alone.

use super::measured::{CABLE, Held, TYPED, measured, unit};
use crate::cli::program::Place;
use serde_json::Value;
use skewstar::measure::Picture;

type Vector = [f64; 3];

fn cross(a: Vector, b: Vector) -> Vector {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// Whether the picture of the sky on an upright, unmirrored sensor is mirrored after a number of reflections at mirrors square to the axis:
/// x of the ground is east, y is north, z is up, where the telescope points.
fn sky_is_mirrored(reflections: u32) -> bool {
    // light of stars a little to the east and a little to the north comes down
    let lands = |east: f64, north: f64| {
        let mut ray = [-east, -north, -1.0];
        for _ in 0..reflections {
            ray[2] = -ray[2];
        }
        // from the middle of the pupil one unit on, to the sensor, which looks back
        let looking = [0.0, 0.0, -ray[2]];
        let up = [0.0, 1.0, 0.0];
        let right = cross(looking, up);
        let dot = |a: Vector| a[0] * ray[0] + a[1] * ray[1] + a[2] * ray[2];
        [dot(right), dot(up)]
    };
    let ([a, c], [b, d]) = (lands(1e-3, 0.0), lands(0.0, 1e-3));
    // on the sky, seen from below, east lies anticlockwise from north: from (east, north) to (x, y) is a flip
    a * d - b * c > 0.0
}

#[test]
fn mirrors_mirror_the_sky_and_a_camera_once_more() {
    for reflections in 0..4 {
        let mut telescope = skewstar::instrument::Telescope::new(0.2, 0.8);
        telescope.reflections = reflections;
        for camera_mirrors in [false, true] {
            let mut picture = Picture::new(ndarray::Array2::zeros((2, 2)));
            assert_eq!(picture.camera_mirrors(&telescope), None);
            picture.sky_mirrored = Some(sky_is_mirrored(reflections) != camera_mirrors);
            assert_eq!(
                picture.camera_mirrors(&telescope),
                Some(camera_mirrors),
                "{reflections}"
            );
        }
    }
}

/// A FITS file with more cards in its header, which has room for them.
fn with_cards(file: &[u8], cards: &[&str]) -> Vec<u8> {
    let end = (0..file.len() / 80).find(|card| file[80 * card..].starts_with(b"END     "));
    let end = end.expect("an END card");
    let mut more = file.to_vec();
    for (number, card) in cards.iter().chain(&["END"]).enumerate() {
        let at = 80 * (end + number);
        assert!(more[at..at + 3] == *b"END" || more[at..at + 80].iter().all(|b| *b == b' '));
        more[at..at + 80].copy_from_slice(format!("{card:<80}").as_bytes());
    }
    more
}

/// The mirror image that one vane hides keeps the weight of what was typed; the file's word that the sky is as one reflection leaves it rules
/// it out, and the opposite word leaves both open.
#[test]
fn the_files_word_settles_mirroring() {
    let real = Held(150.0, false);
    let place = Place::with_file("typed.toml", unit(CABLE, &TYPED.keys("assumed"), 1));
    let state = "[state]\nsensor_offset_um = -420.0\nrecentred = true\nturns = { B = -0.1 }\n";
    place.write("star.toml", unit(CABLE, &real.keys("known"), 51) + state);
    place.run(&["render", "star.toml", "--quiet"]).well();
    let plain = place.read("out/star.fits");
    let mirrored = |name: &str, east: &str| {
        if !east.is_empty() {
            let east = format!("CD1_1   = {east:>20}");
            let cards = [
                "CTYPE1  = 'RA---TAN'",
                "CTYPE2  = 'DEC--TAN'",
                &east,
                "CD2_2   =              0.00055",
            ];
            place.write(&format!("out/{name}.fits"), with_cards(&plain, &cards));
        }
        let report = measured(&place, name, &["--side", "inside"]);
        let all = report["orientations"].as_array().expect("a list");
        let flipped = all.iter().filter(|answer| answer["mirrored"] == true);
        let weight = |answer: &Value| answer["weight"].as_f64().expect("a weight");
        flipped.map(weight).sum::<f64>()
    };
    let typed = mirrored("star", "");
    assert!((0.05..0.2).contains(&typed), "{typed}");
    // one reflection: the sky is mirrored where the camera is not
    let agrees = mirrored("agrees", "0.00055");
    assert!(agrees < 0.01, "{agrees}");
    let contradicts = mirrored("contradicts", "-0.00055");
    assert!((0.6..0.99).contains(&contradicts), "{contradicts}");
}
