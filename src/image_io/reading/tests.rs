//! Files written by this crate, by the picture library, and by hand; then the same files with bytes changed.

use super::*;
use crate::frame::Frame;
use crate::image_io::fits::{Cards, FitsError, counts, expected};
use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;
use image::codecs::tiff::TiffEncoder;
use image::{ExtendedColorType, ImageEncoder};
use ndarray::arr2;
use proptest::prelude::*;

const SIZE: [u32; 2] = [5, 3];

/// 16-bit samples, another one in every place, top row first.
fn samples(channels: u32) -> Vec<u16> {
    (0..SIZE[0] * SIZE[1] * channels)
        .map(|i| (i * 1301 + 7) as u16)
        .collect()
}

fn bytes_of(samples: &[u16]) -> Vec<u8> {
    samples.iter().flat_map(|s| s.to_ne_bytes()).collect()
}

fn png(samples: &[u8], kind: ExtendedColorType) -> Vec<u8> {
    let mut file = Vec::new();
    PngEncoder::new(&mut file)
        .write_image(samples, SIZE[0], SIZE[1], kind)
        .expect("a picture");
    file
}

fn tiff(samples: &[u8], kind: ExtendedColorType) -> Vec<u8> {
    let mut file = std::io::Cursor::new(Vec::new());
    TiffEncoder::new(&mut file)
        .write_image(samples, SIZE[0], SIZE[1], kind)
        .expect("a picture");
    file.into_inner()
}

fn jpeg(samples: &[u8], kind: ExtendedColorType) -> Vec<u8> {
    let mut file = Vec::new();
    JpegEncoder::new_with_quality(&mut file, 100)
        .write_image(samples, SIZE[0], SIZE[1], kind)
        .expect("a picture");
    file
}

fn fits_file() -> Vec<u8> {
    let frame = Frame {
        counts_adu: arr2(&[[1u16, 65_535, 3], [4, 5, 6]]),
        pixel_m: 3.8e-6,
        saturation_adu: 65_535,
        saturated_px: 0,
    };
    let cards = Cards {
        pixel_m: 3.8e-6,
        focal_length_m: 0.456,
        exposure_s: Some(0.5),
        gain_e_per_adu: Some(0.8),
        ..Cards::default()
    };
    counts(&frame, &cards).expect("a file")
}

/// A FITS file by hand: cards of 80 bytes, blocks of 2880 (FITS standard 4.0, sections 3.1 and 4.1).
fn fits_by_hand(cards: &[&str], data: &[u8]) -> Vec<u8> {
    let mut file: Vec<u8> = cards
        .iter()
        .chain(&["END"])
        .flat_map(|c| format!("{c:<80}").into_bytes())
        .collect();
    file.resize(file.len().next_multiple_of(2880), b' ');
    file.extend(data);
    file.resize(file.len().next_multiple_of(2880), 0);
    file
}

fn stored(bitpix: i32, more: &[&str], data: &[u8]) -> Result<Reading, ReadingError> {
    let bitpix = format!("BITPIX  = {bitpix:>20}");
    let mut cards = vec!["SIMPLE  =                    T", &bitpix];
    cards.extend([
        "NAXIS   =                    2",
        "NAXIS1  =                    2",
        "NAXIS2  =                    2",
    ]);
    cards.extend(more);
    read_image(&fits_by_hand(&cards, data), "hand.fits")
}

#[test]
fn a_fits_file_says_what_it_knows() {
    let read = read_image(&fits_file(), "a.fits").expect("a file");
    assert_eq!(read.values, arr2(&[[1.0, 65_535.0, 3.0], [4.0, 5.0, 6.0]]));
    assert_eq!(
        (read.bits, read.ceiling, read.colour),
        (16, Some(65_535.0), false)
    );
    assert_eq!(
        (read.exposure_s, read.gain_e_per_adu),
        (Some(0.5), Some(0.8))
    );
    assert!(read.flags.is_empty() && read.warnings.is_empty());
}

/// How the sky lies in a file (FITS standard 4.0, section 8, from memory): east to the left of north is not mirrored, whatever the matrix, the
/// order of the axes and the order of the rows.
#[test]
fn a_fits_file_says_whether_the_sky_is_mirrored() {
    let told = |cards: &[&str]| {
        let read = stored(8, cards, &[0, 1, 2, 3]).expect("a file");
        (read.sky_mirrored, read.warnings.len())
    };
    let axes = ["CTYPE1  = 'RA---TAN'", "CTYPE2  = 'DEC--TAN'"];
    let swapped = ["CTYPE1  = 'DEC--TAN'", "CTYPE2  = 'RA---TAN'"];
    let with = |axes: [&'static str; 2], more: &[&'static str]| [&axes[..], more].concat();
    let [west, east] = ["CD1_1   = -1.0E-4", "CD1_1   = 1.0E-4"];
    let north = "CD2_2   = 1.0E-4";
    assert_eq!(told(&with(axes, &[west, north])), (Some(false), 0));
    assert_eq!(told(&with(axes, &[east, north])), (Some(true), 0));
    assert_eq!(told(&with(swapped, &[west, north])), (Some(true), 0));
    // turned by a right angle: north to the left, east down
    let turned = ["CD1_2   = -1.0E-4", "CD2_1   = -1.0E-4"];
    assert_eq!(told(&with(axes, &turned)), (Some(false), 0));
    let steps = ["CDELT1  = -1.0E-4", "CDELT2  = 1.0E-4", "CROTA2  = 137.0"];
    assert_eq!(told(&with(axes, &steps)), (Some(false), 0));
    let flipped = ["CDELT1  = -1.0E-4", "CDELT2  = 1.0E-4", "PC1_1   = -1.0"];
    assert_eq!(told(&with(axes, &flipped)), (Some(true), 0));
    let down = [west, north, "ROWORDER= 'TOP-DOWN'"];
    assert_eq!(told(&with(axes, &down)), (Some(true), 0));
    assert_eq!(told(&[west, north]), (None, 0));
    assert_eq!(told(&with(axes, &[])), (None, 0));
    assert_eq!(
        told(&with(axes, &["CDELT1  = 0.0", "CDELT2  = 1.0"])),
        (None, 1)
    );
    let others = ["CTYPE1  = 'GLON-CAR'", "CTYPE2  = 'GLAT-CAR'", west, north];
    assert_eq!(told(&others), (None, 0));
}

/// FITS standard 4.0, section 5: big-endian, eight bits unsigned, the rest signed or IEEE 754; physical = BZERO + BSCALE · stored.
#[test]
fn every_width_of_fits_is_read_with_its_scale() {
    let scale = [
        "BZERO   =                 10.0",
        "BSCALE  =                  0.5",
    ];
    let eight = stored(8, &scale, &[0, 255, 2, 3]).expect("8 bits");
    assert_eq!(eight.values, arr2(&[[10.0, 137.5], [11.0, 11.5]]));
    assert_eq!((eight.bits, eight.ceiling), (8, Some(137.5)));
    assert_eq!(eight.flags, Flags::from([Flag::EightBits]));
    let words: Vec<u8> = [-2i16, 32_767, 4, 5]
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    let sixteen = stored(16, &["ROWORDER= 'TOP-DOWN'"], &words).expect("16 bits");
    assert_eq!(sixteen.values, arr2(&[[4.0, 5.0], [-2.0, 32_767.0]]));
    assert_eq!(sixteen.ceiling, Some(32_767.0));
    let words: Vec<u8> = [-70_000i32, 1, 2, 3]
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    let wide = stored(32, &scale, &words).expect("32 bits");
    assert_eq!(wide.values[[0, 0]], -34_990.0);
    assert_eq!((wide.bits, wide.ceiling), (32, None));
    let single: Vec<u8> = [0.25f32, 1.0, 2.0, 3.0]
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    assert_eq!(
        stored(-32, &[], &single).expect("single").values[[0, 0]],
        0.25
    );
    let double: Vec<u8> = [0.1f64, 1.0, 2.0, 3.0]
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    let double = stored(-64, &[], &double).expect("double");
    assert_eq!(
        (double.values[[0, 0]], double.bits, double.ceiling),
        (0.1, 64, None)
    );
}

/// Half of a frame without numbers is none; fewer are left out, listed by their places, and flagged.
#[test]
fn numbers_that_are_none_are_left_out_or_refused() {
    let single: Vec<u8> = [f32::NAN, 1.0, f32::INFINITY, 3.0]
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    let error = stored(-32, &[], &single).expect_err("not finite");
    let words = error.to_string();
    assert!(
        words.starts_with("hand.fits: 2 of 4 pixels hold no number"),
        "{words}"
    );
    let blank = stored(
        16,
        &["BLANK   =                   -1"],
        &[255, 255, 0, 1, 0, 2, 0, 3],
    )
    .expect("three of four");
    assert_eq!(blank.missing_px, [[0, 0]]);
    assert_eq!(blank.values, arr2(&[[2.0, 1.0], [2.0, 3.0]]));
    assert_eq!(blank.flags, Flags::from([Flag::PixelsLeftOut]));
    let told = "1 of 4 pixels hold no number; they are left out";
    assert!(blank.warnings.iter().any(|w| w == told), "{blank:?}");
}

/// Pictures of 8 and 16 bits: row 0 is the last row of the file, and of colours the green ones are taken.
#[test]
fn pictures_are_turned_over_and_give_grey_or_green() {
    let pick = |channels: u32, which: u32, row: u32, column: u32, wide: bool| {
        let value = samples(channels)
            [(((SIZE[1] - 1 - row) * SIZE[0] + column) * channels + which) as usize];
        if wide {
            f64::from(value)
        } else {
            f64::from(value as u8)
        }
    };
    let narrow = |channels| {
        samples(channels)
            .iter()
            .map(|s| *s as u8)
            .collect::<Vec<u8>>()
    };
    use ExtendedColorType::{L8, L16, La8, Rgb8, Rgb16, Rgba16};
    let cases = [
        (png(&narrow(1), L8), "a.png", 1, 0, false),
        (png(&bytes_of(&samples(1)), L16), "a.png", 1, 0, true),
        (png(&narrow(2), La8), "a.png", 2, 0, false),
        (png(&narrow(3), Rgb8), "a.png", 3, 1, false),
        (png(&bytes_of(&samples(4)), Rgba16), "a.png", 4, 1, true),
        (tiff(&narrow(1), L8), "a.tif", 1, 0, false),
        (tiff(&bytes_of(&samples(1)), L16), "a.TIFF", 1, 0, true),
        (tiff(&bytes_of(&samples(3)), Rgb16), "picture", 3, 1, true),
    ];
    for (file, name, channels, which, wide) in cases {
        let read = read_image(&file, name).expect(name);
        let expected = Array2::from_shape_fn((3, 5), |(row, column)| {
            pick(channels, which, row as u32, column as u32, wide)
        });
        assert_eq!(read.values, expected, "{name} {channels}");
        assert_eq!(read.bits, if wide { 16 } else { 8 });
        assert_eq!(read.ceiling, Some(if wide { 65_535.0 } else { 255.0 }));
        let has = |flag| read.flags.has(flag);
        assert_eq!(has(Flag::InterpolatedColour), channels > 2);
        assert_eq!(read.colour, channels > 2);
        assert_eq!(has(Flag::TransparencyIgnored), channels % 2 == 0);
        assert_eq!(has(Flag::EightBits), !wide);
        assert!(!has(Flag::Lossy));
    }
}

/// Exif 2.3, section 4.5.4 and tag 0x0112: an APP1 segment behind the start of the file, one entry, orientation 6 (turned by a
/// quarter). The values stay as they are stored.
#[test]
fn a_picture_that_viewers_turn_is_read_as_stored_and_flagged() {
    let grey: Vec<u8> = (0..15).map(|i| 40 + 9 * i).collect();
    let plain = jpeg(&grey, ExtendedColorType::L8);
    let entry = [
        b"\xff\xe1\x00\x22Exif\0\0".as_slice(),
        b"MM\0\x2a\0\0\0\x08\0\x01",
        b"\x01\x12\0\x03\0\0\0\x01\0\x06\0\0",
        b"\0\0\0\0",
    ]
    .concat();
    let turned = [&plain[..2], &entry, &plain[2..]].concat();
    let [plain, turned] =
        [plain, turned].map(|file| read_image(&file, "a.jpg").expect("a picture"));
    assert!(turned.flags.has(Flag::TurnedByViewers) && !plain.flags.has(Flag::TurnedByViewers));
    assert_eq!(turned.values, plain.values);
}

/// The card BAYERPAT says that the colours of a filter array are still mixed.
#[test]
fn a_filter_array_in_a_fits_file_is_flagged() {
    let values: Vec<u8> = [1i16, 2, 3, 4]
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    let mosaic = stored(16, &["BAYERPAT= 'RGGB'"], &values).expect("16 bits");
    assert_eq!(mosaic.colour_card.as_deref(), Some("RGGB"));
    assert_eq!(mosaic.colour_pattern.as_deref(), Some("RGGB"));
    assert_eq!(mosaic.flags, Flags::from([Flag::ColourFilterArray]));
    // the same from the top: what is stored last is row 0, and with two rows the pattern begins with its second half
    let cards = ["BAYERPAT= 'RGGB'", "ROWORDER= 'TOP-DOWN'"];
    let turned = stored(16, &cards, &values).expect("16 bits");
    assert_eq!(turned.colour_pattern.as_deref(), Some("GBRG"));
    let shifted = [
        "COLORTYP= 'rggb'",
        "XBAYROFF=                    1",
        "YBAYROFF=                  0.5",
    ];
    let shifted = stored(16, &shifted, &values).expect("16 bits");
    assert_eq!(shifted.colour_pattern.as_deref(), Some("GRBG"));
    assert!(shifted.warnings[0].contains("YBAYROFF says 0.5"));
    let unknown = stored(16, &["BAYERPAT= 'TRUE'"], &values).expect("16 bits");
    assert_eq!(unknown.colour_pattern, None);
    assert!(unknown.flags.has(Flag::ColourFilterArray));
    assert!(unknown.warnings[0].contains("BAYERPAT says \"TRUE\""));
    let other = stored(16, &["COLORTYP= 'MONO'"], &values).expect("16 bits");
    assert!(other.flags.is_empty() && other.warnings.is_empty());
}

/// ITU-T T.81 at full quality: a grey picture comes back within two levels.
#[test]
fn a_jpeg_is_read_and_flagged() {
    let grey: Vec<u8> = (0..15).map(|i| 40 + 9 * i).collect();
    let read = read_image(&jpeg(&grey, ExtendedColorType::L8), "a.jpg").expect("a picture");
    for ((row, column), value) in read.values.indexed_iter() {
        let written = f64::from(grey[(2 - row) * 5 + column]);
        assert!((value - written).abs() <= 2.0, "{value} against {written}");
    }
    let poor = [Flag::Lossy, Flag::EightBits, Flag::PerhapsNotLinear];
    assert_eq!(read.flags, Flags::from(poor));
    let same: Vec<u8> = grey.iter().flat_map(|v| [*v; 3]).collect();
    let read = read_image(&png(&same, ExtendedColorType::Rgb8), "a.png").expect("a picture");
    assert!(!read.colour && read.flags.has(Flag::GreySavedAsColour));
}

#[test]
fn what_is_no_image_is_named() {
    for (bytes, words) in [
        (&b""[..], "the file is empty"),
        (b"GIF89a....", "a GIF picture"),
        (b"%PDF-1.7", "a PDF document"),
        (b"a,b\n1,2\n", "plain text"),
        (b"<html>", "a web page"),
        (b"\0\0\0\x18ftypheic", "packed like one"),
        (b"\0\0\0\0\0\0\0\0", "nothing but zeros"),
        (b"BZh91AY&SY", "compressed with bzip2"),
        (b"\x1f\x8b\x08\x00", "cannot be unpacked"),
        (b"\x07\x91\xfe\x02", "known here"),
    ] {
        let error = read_image(bytes, "night/f.fits").expect_err("no image");
        assert!(
            error.to_string().starts_with("night/f.fits: ") && error.to_string().contains(words),
            "{error}"
        );
        assert!(!error.hint().is_empty());
    }
    let raw = read_image(&tiff(&[9; 15], ExtendedColorType::L8), "star.xyz");
    assert!(matches!(raw, Err(ReadingError::Preview { .. })), "{raw:?}");
}

#[test]
fn one_pixel_and_a_cube_are_refused_in_words() {
    let one = fits_by_hand(
        &[
            "SIMPLE  =                    T",
            "BITPIX  =                    8",
            "NAXIS   =                    2",
            "NAXIS1  =                    1",
            "NAXIS2  =                    1",
        ],
        &[7],
    );
    let error = read_image(&one, "one.fits").expect_err("one pixel");
    assert!(error.to_string().contains("1 × 1 pixels"), "{error}");
    let cube = fits_by_hand(
        &[
            "SIMPLE  =                    T",
            "BITPIX  =                    8",
            "NAXIS   =                    3",
            "NAXIS1  =                    3",
            "NAXIS2  =                    2",
            "NAXIS3  =                    4",
        ],
        &[0; 24],
    );
    let error = read_image(&cube, "cube.fits").expect_err("a cube");
    assert!(error.to_string().contains("3 × 2 × 4"), "{error}");
    assert!(error.hint().contains("three planes"), "{}", error.hint());
}

/// A header that promises more than there is: nothing of that size may be made. (400 million pixels would take 3.2 GB.)
#[test]
fn absurd_sizes_are_refused_before_anything_is_made() {
    let large = |side: u32| {
        let [width, height] = ["NAXIS1", "NAXIS2"].map(|key| format!("{key:<8}= {side:>20}"));
        let cards = [
            "SIMPLE  =                    T",
            "BITPIX  =                   16",
            "NAXIS   =                    2",
            &width,
            &height,
        ];
        read_image(&fits_by_hand(&cards, &[0; 2880]), "large.fits").expect_err("too large")
    };
    for side in [20_000, 9_000] {
        let ReadingError::Fits { reason, .. } = large(side) else {
            panic!("{side}");
        };
        let told = matches!(
            reason,
            FitsError::TooLarge { .. } | FitsError::CutShort { .. } | FitsError::Malformed { .. }
        );
        assert!(told, "{reason}");
    }
    // PNG: width and height stand in the first chunk, whose checksum is that of zlib
    let mut file = png(&[3; 15], ExtendedColorType::L8);
    for (side, words) in [(20_000u32, "at most 200 million"), (9_000, "cut short")] {
        file[16..20].copy_from_slice(&side.to_be_bytes());
        file[20..24].copy_from_slice(&side.to_be_bytes());
        let sum = crc32fast::hash(&file[12..29]);
        file[29..33].copy_from_slice(&sum.to_be_bytes());
        let error = read_image(&file, "large.png").expect_err("too large");
        assert!(error.to_string().contains(words), "{error}");
    }
}

#[test]
fn files_cut_short_are_refused_or_whole() {
    let files = whole_files();
    for (file, name) in &files {
        for length in 0..file.len() {
            if let Ok(read) = read_image(&file[..length], name) {
                assert!(read.values.len() <= 15 && length > 60, "{name} {length}");
            }
        }
    }
}

fn whole_files() -> Vec<(Vec<u8>, &'static str)> {
    let narrow: Vec<u8> = (0..45).map(|i| 3 * i).collect();
    let wide = Array2::from_shape_fn((3, 4), |(r, c)| r as f64 + 0.1 * c as f64);
    let cards = Cards {
        pixel_m: 3.8e-6,
        focal_length_m: 0.456,
        ..Cards::default()
    };
    vec![
        (fits_file(), "a.fits"),
        (
            expected(&wide, "electron", &cards).expect("a file"),
            "b.fits",
        ),
        (png(&narrow, ExtendedColorType::Rgb8), "a.png"),
        (tiff(&narrow, ExtendedColorType::Rgb8), "a.tif"),
        (jpeg(&narrow, ExtendedColorType::Rgb8), "a.jpg"),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn changed_bytes_never_panic(which in 0usize..5, changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..16)) {
        let (mut file, name) = whole_files().swap_remove(which);
        for (place, byte) in changes {
            let at = place.index(file.len());
            file[at] = byte;
        }
        match read_image(&file, name) {
            Ok(read) => prop_assert!(read.values.iter().all(|v| v.is_finite())),
            Err(error) => prop_assert!(!error.to_string().is_empty() && !error.hint().is_empty()),
        }
    }

    #[test]
    fn any_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..200), start in 0usize..4) {
        let starts: [&[u8]; 4] = [b"", b"SIMPLE  =                    T", b"II\x2a\x00\x08\x00\x00\x00", b"\xff\xd8\xff"];
        let _ = read_image(&[starts[start], &bytes].concat(), "x");
    }
}
