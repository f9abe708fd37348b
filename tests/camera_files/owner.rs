//! A file as its camera writes it, handed in with an instrument that its owner typed, rightly or wrongly.

use super::made::fits_by_hand;
use crate::support::light::colours_apart;
use ndarray::Array2;
use skewstar::files::{self, ReadPicture};
use skewstar::flag::Flag;
use skewstar::instrument::{Colour, Instrument};
use skewstar::measure::{MeasureOptions, Side, Verdict};
use skewstar::units::{NM, UM};
use skewstar::{Diagnosis, DiagnosisOptions, Scene, scenario};

/// Coma that is hidden, Noll 7 and 8, in nanometres.
const COMA_NM: [f64; 2] = [42.0, -31.0];

/// The lens whose colours lie apart, so that a pattern that is wrong makes another star.
fn text(pattern: &str, height_px: usize) -> String {
    colours_apart(30817, height_px, pattern)
}

/// The counts that the camera recorded, row 0 at the bottom, and the instrument as it is.
fn recorded(pattern: &str, height_px: usize) -> (Array2<f64>, Instrument) {
    let scenario = scenario::read(&text(pattern, height_px), "unit.toml", &[]).expect("a scenario");
    let scene = Scene::of(scenario).expect("a scene");
    let frame = scene.star().expect("a star").frame.expect("counts");
    (frame.counts_adu.mapv(f64::from), scene.instrument().clone())
}

/// A file of 32-bit floating point with the top row first.
fn from_the_top(values: &Array2<f64>, cards: &[&str]) -> Vec<u8> {
    let (rows, columns) = values.dim();
    let stored = values.rows().into_iter().rev().flatten();
    let data: Vec<u8> = stored
        .flat_map(|value| (*value as f32).to_be_bytes())
        .collect();
    let cards = [&["ROWORDER= 'TOP-DOWN'"], cards].concat();
    fits_by_hand(-32, &[columns, rows], &cards, &data)
}

fn handed_in(file: &[u8], instrument: &Instrument) -> ReadPicture {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("night.fits");
    std::fs::write(&path, file).expect("a file");
    files::picture(&path, instrument).expect("a picture")
}

fn typed(instrument: &Instrument, pattern: &str) -> Instrument {
    let mut instrument = instrument.clone();
    let array = instrument.camera.colour.as_mut().expect("an array");
    array.pattern = Colour::pattern(pattern).expect("a pattern");
    instrument
}

fn diagnosed(read: &ReadPicture, instrument: &Instrument) -> Diagnosis {
    let options = DiagnosisOptions {
        measure: MeasureOptions {
            side: Some(Side::Outside),
            ..MeasureOptions::default()
        },
        flags: read.flags.clone(),
        ..DiagnosisOptions::default()
    };
    Diagnosis::of(&read.picture, instrument, &options).expect("a star")
}

/// The limit is that of `measuring::filters`, for the same lens.
fn finds_the_coma(found: &Diagnosis, what: &str) {
    let star = found.star().expect("a star");
    let offset_um = star.sensor_offset_m().expect("an offset").value / UM;
    for (noll, hidden_nm) in [(7, COMA_NM[0]), (8, COMA_NM[1])] {
        let value_nm = star.mode_m(noll).expect("a mode").value / NM;
        println!("{what}: Noll {noll} {value_nm:.2} nm of {hidden_nm}, offset {offset_um:.1} um");
        assert!(
            (value_nm - hidden_nm).abs() < 4.0,
            "{what}: Noll {noll} is {value_nm}"
        );
    }
}

/// Rows from the top down turn the pattern over where their number is even. Whether the owner typed the pattern of the card as it
/// stands there, or the right one, the right one is used.
#[test]
fn a_file_from_the_top_is_measured_whichever_way_round_the_pattern_is_typed() {
    for (height_px, card, right) in [
        (68, "GBRG", "RGGB"),
        (67, "RGGB", "RGGB"),
        (68, "BGGR", "GRBG"),
    ] {
        let (values, instrument) = recorded(right, height_px);
        let card_line = format!("BAYERPAT= '{card}'");
        let file = from_the_top(&values, &[&card_line]);
        let read = handed_in(&file, &instrument);
        assert!(
            read.flags.is_empty(),
            "{height_px} {card}: {:?}",
            read.warnings
        );
        assert_eq!(read.picture.pattern, None);
        let turned = format!("{}{}", &right[2..], &right[..2]);
        let wrong = typed(&instrument, &turned);
        let read = handed_in(&file, &wrong);
        assert!(
            read.flags.has(Flag::ColourPatternDiffers),
            "{:?}",
            read.warnings
        );
        assert_eq!(read.picture.pattern, Colour::pattern(right));
        finds_the_coma(
            &diagnosed(&read, &wrong),
            &format!("{height_px} rows, {card} for {right}"),
        );
    }
}

/// Without a card the frame alone speaks; a half turn of the array is what it cannot tell here. Both end in another look, never in a
/// turn of a screw.
#[test]
fn a_pattern_that_cannot_be_trusted_is_looked_at_again() {
    let (values, instrument) = recorded("RGGB", 68);
    let wrong = typed(&instrument, "GBRG");
    let read = handed_in(&from_the_top(&values, &[]), &wrong);
    assert!(
        read.flags.has(Flag::ColourPatternOffFrame),
        "{:?}",
        read.warnings
    );
    assert!(
        read.warnings.iter().any(|w| w.contains("fits RGGB")),
        "{:?}",
        read.warnings
    );
    let found = diagnosed(&read, &wrong);
    assert_eq!(found.verdict(), Verdict::LookAgain);
    // from the top, GRBG in the card is BGGR from the bottom: RGGB turned by half a turn
    let read = handed_in(&from_the_top(&values, &["BAYERPAT= 'GRBG'"]), &instrument);
    assert!(
        read.flags.has(Flag::ColourPatternOpen),
        "{:?}",
        read.warnings
    );
    assert_eq!(diagnosed(&read, &instrument).verdict(), Verdict::LookAgain);
}

#[test]
fn without_a_typed_pattern_the_warning_says_what_to_type() {
    let (values, mut instrument) = recorded("RGGB", 68);
    instrument.camera.colour = None;
    let read = handed_in(&from_the_top(&values, &["BAYERPAT= 'GBRG'"]), &instrument);
    assert!(read.flags.has(Flag::ColourFilterArray) && !read.picture.mosaic);
    let told = "type camera.colour_pattern = \"RGGB\"";
    assert!(
        read.warnings.iter().any(|w| w.contains(told)),
        "{:?}",
        read.warnings
    );
}

/// A dead column of the ring, and single pixels, without a number.
#[test]
fn pixels_without_a_number_do_not_hurt() {
    let (mut values, instrument) = recorded("RGGB", 68);
    let mut missing: Vec<[usize; 2]> = (20..50).map(|row| [34, row]).collect();
    missing.extend([[22, 31], [45, 40], [45, 41]]);
    for [column, row] in &missing {
        values[[*row, *column]] = f64::NAN;
    }
    let read = handed_in(&from_the_top(&values, &[]), &instrument);
    let mut listed = read.picture.missing_px.clone();
    listed.sort_unstable();
    missing.sort_unstable();
    assert_eq!(listed, missing);
    assert!(read.flags.has(Flag::PixelsLeftOut));
    let found = diagnosed(&read, &instrument);
    assert!(found.star().expect("a star").is_sound());
    finds_the_coma(&found, "33 pixels without a number");
}

/// Ten times too much and too little cannot be, by the noise of a dark background of 1.9 electrons; three parts in ten can.
#[test]
fn a_gain_that_cannot_be_is_told_with_the_range_that_can() {
    let (values, instrument) = recorded("RGGB", 68);
    let file = from_the_top(&values, &["EGAIN   =                  1.1"]);
    for (factor, off) in [
        (0.1, true),
        (0.7, false),
        (1.0, false),
        (1.3, false),
        (10.0, true),
    ] {
        let mut wrong = instrument.clone();
        let electronics = wrong.camera.electronics.as_mut().expect("electronics");
        electronics.gain_e_per_adu *= factor;
        let typed = electronics.gain_e_per_adu;
        let read = handed_in(&file, &wrong);
        assert_eq!(
            read.flags.has(Flag::GainOffFrame),
            off,
            "{factor}: {:?}",
            read.warnings
        );
        assert_eq!(read.flags.has(Flag::GainDiffers), factor != 1.0, "{factor}");
        if off {
            let words = read
                .warnings
                .iter()
                .find(|w| w.contains("allows"))
                .expect("a warning");
            println!("{words}");
            assert!(words.contains(&format!("{typed} is used")), "{words}");
        }
    }
}
