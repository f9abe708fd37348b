//! What is handed out with the frames: every kind of value as it is, or a refusal.

use super::{RECIPE, make, place};
use skewstar::image_io::npz::{NpyValues, read_npy, read_npz};

const KNOWN: &str = r#""state.turns" = { turns = { sigma_turns = 0.05, correlation = -0.4 }, within = 0.2, known = true }
"state.piston_moves_focus" = { choice = [true, false], known = true }
"telescope.focus_law" = { choice = ["sine", "paraboloid"], known = true }
"sky.tracking_drift_px" = { choice = [[0.5, 0.0], [-0.25, 1.0]], known = true }
"state.place_px" = { normal = [0.0, 1.0], known = true }
"#;

fn recipe() -> String {
    let turns = RECIPE
        .lines()
        .find(|line| line.starts_with("\"state.turns\""))
        .expect("a line");
    RECIPE.replace(&format!("{turns}\n"), KNOWN)
}

#[test]
fn every_kind_of_value_is_handed_out_as_it_is() {
    let place = place();
    place.write("set.toml", recipe());
    place.run(&make(&["--count", "4"])).well();
    let arrays = read_npz(&place.read("out/set.0000000000-0000000003.npz")).expect("an archive");
    let named = |name: &str| &arrays.iter().find(|(own, _)| own == name).expect(name).1;
    let table = place.text("out/set.0000000000-0000000003.truth.csv");
    let mut lines = csv::Reader::from_reader(table.as_bytes());
    let names = lines.headers().expect("names").clone();
    let rows: Vec<csv::StringRecord> = lines.records().map(|row| row.expect("a row")).collect();
    let column = |name: &str| -> Vec<String> {
        let at = names.iter().position(|own| own == name).expect(name);
        rows.iter().map(|row| row[at].to_owned()).collect()
    };
    let numbers = |name: &str| -> Vec<f64> {
        column(name)
            .iter()
            .map(|cell| cell.parse().expect("a number"))
            .collect()
    };
    for screw in ["A", "B", "C"] {
        let own = named(&format!("state.turns.{screw}"));
        assert_eq!(
            own.values,
            NpyValues::Real(numbers(&format!("turns.{screw}")))
        );
    }
    let flags = column("drawn.state.piston_moves_focus");
    assert_eq!(
        named("state.piston_moves_focus").values,
        NpyValues::Flags(flags.iter().map(|cell| cell == "true").collect())
    );
    assert_eq!(
        named("telescope.focus_law").values,
        NpyValues::Text(column("drawn.telescope.focus_law"))
    );
    for key in ["state.place_px", "sky.tracking_drift_px"] {
        assert_eq!(named(key).shape, [4, 2]);
        let [x, y] = ["x", "y"].map(|axis| numbers(&format!("drawn.{key}.{axis}")));
        let pairs: Vec<f64> = x.iter().zip(&y).flat_map(|(x, y)| [*x, *y]).collect();
        assert_eq!(named(key).values, NpyValues::Real(pairs));
    }
    // where the star stands is what was handed out
    let [x, y] = ["x", "y"].map(|axis| numbers(&format!("place_px.{axis}")));
    let pairs: Vec<f64> = x.iter().zip(&y).flat_map(|(x, y)| [*x, *y]).collect();
    assert_eq!(named("state.place_px").values, NpyValues::Real(pairs));
    let card = place.text("out/set.card.md");
    assert!(
        card.contains("`sigma_photon_place_known_nm` is the bound"),
        "{card}"
    );
    let known = place.text("out/set.0000000000-0000000003.known.csv");
    let head = known.lines().next().expect("names");
    assert!(
        head.contains("state.turns.B") && head.contains("state.place_px.x"),
        "{head}"
    );
    // the whole of it is held against what is drawn
    place.run(&super::verify(&["--count", "4"])).well();
}

#[test]
fn values_of_more_than_one_kind_cannot_be_handed_out() {
    for choice in ["[[0.5, 0.0], 3.0]", "[true, 1.0]", "[[\"a\"], [\"b\"]]"] {
        let place = place();
        let line = format!("\"sky.tracking_drift_px\" = {{ choice = {choice}, known = true }}\n");
        place.write("set.toml", RECIPE.to_owned() + &line);
        let told = place.run(&make(&["--count", "2"])).unable().stderr;
        assert!(
            told.contains(
                "sky.tracking_drift_px is known = true, but its values are of more than one kind"
            ),
            "{told}"
        );
        assert!(told.contains("hint: make its values alike"), "{told}");
    }
}

/// numpy's own reader takes the archive in `.ci/sets` and in the Python package's tests; here the bytes are read back.
#[test]
fn frames_as_fits_say_what_the_owner_of_the_camera_knows() {
    let place = place();
    place.run(&make(&["--count", "1"])).well();
    let bytes = place.read("out/set.0000000000.fits");
    let cards = String::from_utf8_lossy(&bytes[..2880]).into_owned();
    for card in [
        "PEDESTAL=",
        "SATURATE=",
        "ROWORDER= 'BOTTOM-UP'",
        "EGAIN   =",
    ] {
        assert!(cards.contains(card), "{card}: {cards}");
    }
}

/// A camera stays the same over a set, and its flat is handed out; frames to expect are part of the truth.
#[test]
fn a_camera_stays_the_same_and_frames_to_expect_stand_beside() {
    let place = place();
    let recipe = RECIPE.replace(
        "[set]\n",
        "expected = true\n[set]\n\"camera.pixel_response_rms\" = 0.1\n",
    );
    place.write("set.toml", &recipe);
    place.run(&make(&["--count", "3"])).well();
    let flat = read_npy(&place.read("out/set.flat.npy")).expect("a flat");
    assert_eq!(flat.shape, [12, 16]);
    let base = "out/set.0000000000-0000000002";
    let expected = read_npy(&place.read(&format!("{base}.expected.npy"))).expect("an array");
    assert_eq!(expected.shape, [3, 12, 16]);
    let arrays = read_npz(&place.read(&format!("{base}.npz"))).expect("an archive");
    let (NpyValues::Real(flat), NpyValues::Real(expected), NpyValues::Counts(counts)) =
        (&flat.values, &expected.values, &arrays[0].1.values)
    else {
        panic!("other arrays");
    };
    // every frame follows the one flat: with it the residuals are those of photons (and read noise), without it far larger
    let chi_square = |with_flat: bool| {
        let mut sum = 0.0;
        for (at, adu) in counts.iter().enumerate() {
            let electrons = (f64::from(*adu) - 300.0) * 0.9;
            let level = expected[at] * if with_flat { flat[at % 192] } else { 1.0 };
            sum += (electrons - level).powi(2) / (level + 1.7 * 1.7 + 0.81 / 12.0);
        }
        sum / counts.len() as f64
    };
    let (with, without) = (chi_square(true), chi_square(false));
    println!("chi-square a pixel: {with:.3} with the flat, {without:.3} without");
    // 576 pixels: √(2/576) is 0.059
    assert!(
        (with - 1.0).abs() < 4.0 * 0.059 && without > 1.5,
        "{with} {without}"
    );
    place
        .run(&super::verify(&["--count", "3", "--remake", "3"]))
        .well();
}

/// One FITS file a shard: its frames are those of the archive, big-endian with BZERO = 32768 (FITS standard 4.0, section 5.2.5, from memory).
#[test]
fn frames_of_a_shard_stand_in_one_fits_file() {
    let place = place();
    let cube = RECIPE.replace("[\"npz\", \"fits\"]", "[\"npz\", \"fits-cube\"]");
    place.write("set.toml", cube);
    place.run(&make(&["--count", "5"])).well();
    let base = "out/set.0000000000-0000000004";
    let bytes = place.read(&format!("{base}.cube.fits"));
    let cards = String::from_utf8_lossy(&bytes[..2880]).into_owned();
    for card in [
        "NAXIS   =                    3",
        "NAXIS1  =                   16",
        "NAXIS3  =                    5",
        "ITEM    =",
    ] {
        assert!(cards.contains(card), "{card}: {cards}");
    }
    let arrays = read_npz(&place.read(&format!("{base}.npz"))).expect("an archive");
    let NpyValues::Counts(counts) = &arrays[0].1.values else {
        panic!("no frames");
    };
    let data = &bytes[bytes.len() - 2880..][..2 * counts.len()];
    let stored: Vec<u16> = data
        .chunks(2)
        .map(|two| (i32::from(i16::from_be_bytes([two[0], two[1]])) + 32768) as u16)
        .collect();
    assert_eq!(&stored, counts);
    place.run(&super::verify(&["--count", "5"])).well();
    let mut other = bytes;
    let at = other.len() - 2880 + 1;
    other[at] ^= 1;
    place.write(&format!("{base}.cube.fits"), other);
    let told = place.run(&super::verify(&["--count", "5"]));
    assert_eq!(told.status, Some(1));
}
