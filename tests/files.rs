//! FITS files against the standard, and against files made by hand here, byte by byte, without the library under test.

use ndarray::{Array, Array2, arr2};
use proptest::prelude::*;
use skewstar::frame::Frame;
use skewstar::image_io::fits::{self, Card, CardValue, Cards, FitsError};

const BLOCK: usize = 2880;
const CARD: usize = 80;

/// A frame with a different count in every pixel.
fn frame(rows: usize, columns: usize) -> Frame {
    let counts_adu = Array::from_shape_fn((rows, columns), |(row, column)| {
        (row * columns + column) as u16
    });
    Frame {
        counts_adu,
        pixel_m: 3.8e-6,
        saturation_adu: u16::MAX,
        saturated_px: 0,
    }
}

fn cards() -> Cards {
    Cards {
        title: "Prime-focus unit pulled down at screw B".into(),
        pixel_m: 3.8e-6,
        focal_length_m: 0.456,
        exposure_s: Some(0.5),
        gain_e_per_adu: Some(0.8),
        seed: Some(9_007_199_254_740_991),
        star_px: [79.5, 78.25],
        extra: vec![],
    }
}

/// The 80-byte cards of the first header, END left out, and the bytes after the header.
fn take_apart(file: &[u8]) -> (Vec<String>, &[u8]) {
    let cards: Vec<String> = file
        .chunks(CARD)
        .map(|card| String::from_utf8_lossy(card).into_owned())
        .collect();
    let end = cards
        .iter()
        .position(|card| card.trim_end() == "END")
        .expect("a header ends with END");
    (
        cards[..end].to_vec(),
        &file[((end + 1) * CARD).next_multiple_of(BLOCK)..],
    )
}

/// What stands between `=` and `/` of a card.
fn value_of(file: &[u8], keyword: &str) -> Option<String> {
    let (cards, _) = take_apart(file);
    let card = cards
        .iter()
        .find(|card| card.starts_with(&format!("{keyword:<8}=")))?;
    Some(
        card[10..]
            .split(" /")
            .next()
            .unwrap_or_default()
            .trim()
            .to_owned(),
    )
}

/// A FITS file by hand: cards padded to 80 bytes, header with blanks and data with zeros to whole blocks.
fn by_hand(cards: &[&str], data: &[u8]) -> Vec<u8> {
    let mut file: Vec<u8> = cards
        .iter()
        .chain(&["END"])
        .flat_map(|card| format!("{card:<80}").into_bytes())
        .collect();
    file.resize(file.len().next_multiple_of(BLOCK), b' ');
    file.extend_from_slice(data);
    file.resize(file.len().next_multiple_of(BLOCK), 0);
    file
}

/// An image by hand of two rows and three columns.
fn image_by_hand(bitpix: i32, more: &[&str], data: &[u8]) -> Vec<u8> {
    let bitpix = format!("BITPIX  = {bitpix:>20}");
    let mut cards = vec![
        "SIMPLE  =                    T",
        &bitpix,
        "NAXIS   =                    2",
    ];
    cards.extend([
        "NAXIS1  =                    3",
        "NAXIS2  =                    2",
    ]);
    cards.extend(more);
    by_hand(&cards, data)
}

fn big_endian<const N: usize>(values: impl IntoIterator<Item = [u8; N]>) -> Vec<u8> {
    values.into_iter().flatten().collect()
}

/// The entry of tests/data/published/values.toml with this id.
fn published(id: &str) -> toml::Table {
    let all: toml::Table = include_str!("data/published/values.toml")
        .parse()
        .expect("the file of published values is TOML");
    let checks = all["check"].as_array().expect("a list of checks");
    let found = checks
        .iter()
        .filter_map(toml::Value::as_table)
        .find(|check| check["id"].as_str() == Some(id));
    found
        .unwrap_or_else(|| panic!("no published value {id}"))
        .clone()
}

fn whole_numbers(value: &toml::Value) -> Vec<i64> {
    let list = value.as_array().expect("a list");
    list.iter()
        .flat_map(|entry| {
            entry
                .as_integer()
                .map_or_else(|| whole_numbers(entry), |number| vec![number])
        })
        .collect()
}

#[test]
fn files_are_made_of_blocks_and_cards_of_the_published_size() {
    let layout = whole_numbers(&published("fits.layout")["value"]);
    assert_eq!(layout, [BLOCK as i64, CARD as i64, 36]);
    for file in [
        fits::counts(&frame(7, 5), &cards()).unwrap(),
        fits::expected(&Array2::from_elem((41, 37), 0.25), "electron", &cards()).unwrap(),
    ] {
        assert_eq!(file.len() % BLOCK, 0);
        let (cards, data) = take_apart(&file);
        assert!(cards[0].starts_with("SIMPLE  =                    T"));
        assert_eq!(data.len() % BLOCK, 0);
        assert!(
            cards
                .iter()
                .all(|card| card.bytes().all(|byte| (b' '..=b'~').contains(&byte)))
        );
    }
}

#[test]
fn file_size_is_the_published_one() {
    let check = published("fits.file_size");
    let size = whole_numbers(&check["value"]);
    let (columns, rows) = (
        check["inputs"]["nx"].as_integer().unwrap(),
        check["inputs"]["ny"].as_integer().unwrap(),
    );
    let file = fits::counts(&frame(rows as usize, columns as usize), &cards()).unwrap();
    let (_, data) = take_apart(&file);
    assert_eq!(
        [file.len() - data.len(), data.len(), file.len()]
            .map(|bytes| bytes as i64)
            .to_vec(),
        size
    );
    let padding = &data[(2 * columns * rows) as usize..];
    assert!(padding.iter().all(|byte| *byte == 0));
}

#[test]
fn bitpix_is_16_for_counts_and_minus_64_for_expected_values() {
    let allowed = whole_numbers(&published("fits.bitpix_values")["value"]);
    let counts = fits::counts(&frame(3, 4), &cards()).unwrap();
    let expected = fits::expected(&Array2::zeros((3, 4)), "electron", &cards()).unwrap();
    for (file, bitpix, unit) in [(counts, "16", "'adu"), (expected, "-64", "'electron")] {
        let written = value_of(&file, "BITPIX").unwrap();
        assert!(written == bitpix && allowed.contains(&written.parse().unwrap()));
        assert_eq!(
            (
                value_of(&file, "NAXIS1").unwrap(),
                value_of(&file, "NAXIS2").unwrap()
            ),
            ("4".into(), "3".into())
        );
        assert!(value_of(&file, "BUNIT").unwrap().starts_with(unit));
    }
}

#[test]
fn unsigned_counts_are_stored_as_published() {
    let check = published("fits.unsigned16");
    let physical = whole_numbers(&check["inputs"]["physical"]);
    let rows = whole_numbers(&check["value"]);
    let counts_adu =
        Array2::from_shape_vec((1, 4), physical.iter().map(|adu| *adu as u16).collect()).unwrap();
    let file = fits::counts(
        &Frame {
            counts_adu,
            ..frame(1, 1)
        },
        &cards(),
    )
    .unwrap();
    assert_eq!(
        value_of(&file, "BZERO").unwrap().parse::<f64>().unwrap(),
        32768.0
    );
    assert!(value_of(&file, "BSCALE").is_none_or(|scale| scale.parse::<f64>().unwrap() == 1.0));
    let (_, data) = take_apart(&file);
    for (index, row) in rows.chunks(3).enumerate() {
        let bytes = [data[2 * index], data[2 * index + 1]];
        assert_eq!(
            [
                i64::from(i16::from_be_bytes(bytes)),
                bytes[0].into(),
                bytes[1].into()
            ],
            row
        );
    }
}

#[test]
fn pixels_lie_at_the_published_offsets_and_row_0_comes_first() {
    let check = published("fits.pixel_offset");
    let places = whole_numbers(&check["inputs"]["pixel_i_j"]);
    let file = fits::counts(&frame(50, 100), &cards()).unwrap();
    let (_, data) = take_apart(&file);
    for (place, offset) in places.chunks(2).zip(whole_numbers(&check["value"])) {
        let (column, row) = (place[0] - 1, place[1] - 1);
        let stored = i16::from_be_bytes([data[offset as usize], data[offset as usize + 1]]);
        assert_eq!(
            i64::from(stored) + 32768,
            row * 100 + column,
            "pixel {place:?}"
        );
    }
    assert_eq!(
        published("fits.first_row")["value"][0].as_str(),
        Some("bottom")
    );
    assert_eq!(value_of(&file, "ROWORDER").unwrap(), "'BOTTOM-UP'");
}

#[test]
fn the_place_of_the_star_is_counted_as_published() {
    let first_centre = published("fits.pixel_centre")["value"][0]
        .as_float()
        .unwrap();
    let file = fits::counts(&frame(3, 4), &cards()).unwrap();
    let card = |keyword| value_of(&file, keyword).unwrap().parse::<f64>().unwrap();
    assert_eq!(
        [card("STAR_X"), card("STAR_Y")],
        [79.5 + first_centre, 78.25 + first_centre]
    );
}

#[test]
fn cards_carry_the_units_other_programs_expect() {
    let extra = |keyword: &str, value| Card {
        keyword: keyword.into(),
        value,
        comment: "µm, and a very long remark ".repeat(9),
    };
    let cards = Cards {
        extra: vec![
            extra("FILTER", CardValue::Text("it's green — Grün".into())),
            extra("MASK-ON", CardValue::Logical(true)),
            extra("NWAVE", CardValue::Integer(-7)),
            extra("FOCUS_UM", CardValue::Real(-330.25)),
        ],
        ..cards()
    };
    let file = fits::counts(&frame(3, 4), &cards).unwrap();
    for (keyword, value) in [
        ("TITLE", "'Prime-focus unit pulled down at screw B'"),
        (
            "CREATOR",
            concat!("'skewstar ", env!("CARGO_PKG_VERSION"), "'"),
        ),
        ("XPIXSZ", "3.8"),
        ("YPIXSZ", "3.8"),
        ("FOCALLEN", "456.0"),
        ("EXPTIME", "0.5"),
        ("EGAIN", "0.8"),
        ("SEED", "9007199254740991"),
        ("FILTER", "'it''s green ? Gr?n'"),
        ("MASK-ON", "T"),
        ("NWAVE", "-7"),
        ("FOCUS_UM", "-330.25"),
    ] {
        assert_eq!(
            value_of(&file, keyword).as_deref(),
            Some(value),
            "{keyword}"
        );
    }
    let bare = Cards {
        exposure_s: None,
        gain_e_per_adu: None,
        seed: None,
        ..cards
    };
    let file = fits::counts(&frame(3, 4), &bare).unwrap();
    assert!(
        ["EXPTIME", "EGAIN", "SEED"]
            .iter()
            .all(|keyword| value_of(&file, keyword).is_none())
    );
}

#[test]
fn a_card_that_fits_cannot_hold_is_refused_by_name() {
    for (keyword, value) in [
        ("FOCUS_UM", CardValue::Real(f64::NAN)),
        ("too long a name", CardValue::Integer(1)),
    ] {
        let cards = Cards {
            extra: vec![Card {
                keyword: keyword.into(),
                value,
                comment: String::new(),
            }],
            ..cards()
        };
        let error = fits::counts(&frame(3, 4), &cards).unwrap_err();
        assert!(
            matches!(&error, FitsError::Card { keyword: named, .. } if named == keyword),
            "{error}"
        );
    }
    let error =
        fits::expected(&arr2(&[[0.0, 1.0], [2.0, f64::NAN]]), "electron", &cards()).unwrap_err();
    assert!(matches!(
        error,
        FitsError::NotFinite {
            column: 1,
            row: 1,
            ..
        }
    ));
    assert!(matches!(
        fits::counts(&frame(0, 4), &cards()),
        Err(FitsError::Empty {
            width_px: 4,
            height_px: 0
        })
    ));
}

#[test]
fn what_was_written_is_read_back() {
    let image = Array::from_shape_fn((5, 7), |(row, column)| {
        0.1 * row as f64 - 1e-7 / (1.0 + column as f64)
    });
    let back = fits::read(&fits::expected(&image, "electron", &cards()).unwrap()).unwrap();
    assert_eq!(back.pixels, image);
    assert!(matches!(
        back.counts_adu(),
        Err(FitsError::NotCounts {
            column: 0,
            row: 0,
            ..
        })
    ));

    let frame = frame(5, 7);
    let back = fits::read(&fits::counts(&frame, &cards()).unwrap()).unwrap();
    assert_eq!(back.counts_adu().unwrap(), frame.counts_adu);
    assert_eq!(
        back.title.as_deref(),
        Some("Prime-focus unit pulled down at screw B")
    );
    let facts = [
        back.pixel_m,
        back.focal_length_m,
        back.exposure_s,
        back.gain_e_per_adu,
    ];
    for (found, written) in facts.into_iter().zip([3.8e-6, 0.456, 0.5, 0.8]) {
        approx::assert_relative_eq!(found.unwrap(), written, max_relative = 1e-11);
    }
    assert_eq!((back.not_finite_px, back.warnings), (0, vec![]));
}

#[test]
fn every_kind_of_number_is_read() {
    let six = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
    let cases = [
        (image_by_hand(8, &[], &[0, 1, 2, 3, 4, 5]), six),
        (
            image_by_hand(
                16,
                &[],
                &big_endian([0i16, 1, 2, 3, 4, -5].map(i16::to_be_bytes)),
            ),
            [0.0, 1.0, 2.0, 3.0, 4.0, -5.0],
        ),
        (
            image_by_hand(
                32,
                &[
                    "BZERO   =                 10.0",
                    "BSCALE  =                  0.5",
                ],
                &big_endian([0i32, 2, 4, 6, 8, -20].map(i32::to_be_bytes)),
            ),
            [10.0, 11.0, 12.0, 13.0, 14.0, 0.0],
        ),
        (
            image_by_hand(
                64,
                &[],
                &big_endian([0i64, 1, 2, 3, 4, 5].map(i64::to_be_bytes)),
            ),
            six,
        ),
        (
            image_by_hand(
                -32,
                &[],
                &big_endian([0f32, 1.0, 2.0, 3.0, 4.0, 5.0].map(f32::to_be_bytes)),
            ),
            six,
        ),
        (
            image_by_hand(-64, &[], &big_endian(six.map(f64::to_be_bytes))),
            six,
        ),
    ];
    for (file, expected) in cases {
        let image = fits::read(&file).unwrap();
        assert_eq!(
            image.pixels,
            Array2::from_shape_vec((2, 3), expected.to_vec()).unwrap()
        );
    }
}

#[test]
fn a_file_that_starts_at_the_top_is_turned_over() {
    let bytes = [0u8, 1, 2, 3, 4, 5];
    let read = |card: &str| fits::read(&image_by_hand(8, &[card], &bytes));
    assert_eq!(
        read("ROWORDER= 'TOP-DOWN'").unwrap().pixels,
        arr2(&[[3.0, 4.0, 5.0], [0.0, 1.0, 2.0]])
    );
    assert_eq!(
        read("ROWORDER= 'BOTTOM-UP'").unwrap().pixels,
        arr2(&[[0.0, 1.0, 2.0], [3.0, 4.0, 5.0]])
    );
    let error = read("ROWORDER= 'SIDEWAYS'").unwrap_err();
    assert_eq!(
        error,
        FitsError::RowOrder {
            value: "SIDEWAYS".into()
        }
    );
    assert!(error.hint().is_some());
}

#[test]
fn pixels_without_a_number_are_counted() {
    let data = big_endian([0f32, f32::NAN, 2.0, f32::INFINITY, 4.0, 5.0].map(f32::to_be_bytes));
    let image = fits::read(&image_by_hand(-32, &[], &data)).unwrap();
    assert_eq!(image.not_finite_px, 2);
    assert!(image.warnings.is_empty(), "{:?}", image.warnings);
    assert!(matches!(
        image.counts_adu(),
        Err(FitsError::NotCounts {
            column: 1,
            row: 0,
            ..
        })
    ));

    let data = big_endian([0i16, 1, -99, 3, 4, 5].map(i16::to_be_bytes));
    let image = fits::read(&image_by_hand(
        16,
        &["BLANK   =                  -99"],
        &data,
    ))
    .unwrap();
    assert!(image.not_finite_px == 1 && image.pixels[[0, 2]].is_nan());
}

#[test]
fn what_the_header_says_wrongly_is_reported_and_not_used() {
    let cards = [
        "EXPTIME = 'half a second'",
        "EGAIN   =                 -1.0",
        "FOCALLEN=                456.0",
        "XPIXSZ  =                  3.8",
        "YPIXSZ  =                  5.0",
        "OBJECT  = 'A star  '",
        "BAYERPAT= 'RGGB    '",
    ];
    let image = fits::read(&image_by_hand(8, &cards, &[0; 6])).unwrap();
    assert_eq!(
        (
            image.exposure_s,
            image.gain_e_per_adu,
            image.title.as_deref()
        ),
        (None, None, Some("A star"))
    );
    assert_eq!(
        (image.focal_length_m, image.colour_card.as_deref()),
        (Some(0.456), Some("RGGB"))
    );
    for word in ["EXPTIME", "EGAIN says -1", "YPIXSZ is 5"] {
        assert!(
            image.warnings.iter().any(|warning| warning.contains(word)),
            "{word}: {:?}",
            image.warnings
        );
    }
}

#[test]
fn an_image_behind_an_empty_beginning_is_found_and_keeps_the_first_header() {
    let mut file = by_hand(
        &[
            "SIMPLE  =                    T",
            "BITPIX  =                    8",
            "NAXIS   =                    0",
            "EXPTIME =                  2.5",
        ],
        &[],
    );
    let mut extension = vec![
        "XTENSION= 'IMAGE   '",
        "BITPIX  =                    8",
        "NAXIS   =                    2",
    ];
    extension.extend([
        "NAXIS1  =                    3",
        "NAXIS2  =                    2",
        "PCOUNT  =                    0",
        "GCOUNT  =                    1",
    ]);
    file.extend(by_hand(&extension, &[0, 1, 2, 3, 4, 5]));
    let image = fits::read(&file).unwrap();
    assert_eq!((image.pixels[[1, 0]], image.exposure_s), (3.0, Some(2.5)));
}

#[test]
fn what_is_not_one_plane_of_pixels_is_refused_in_words() {
    let with_axes = |axes: &[&str], data: &[u8]| {
        let naxis = format!("NAXIS   = {:>20}", axes.len());
        let named: Vec<String> = axes
            .iter()
            .enumerate()
            .map(|(index, axis)| format!("NAXIS{}  = {axis:>20}", index + 1))
            .collect();
        let mut cards = vec![
            "SIMPLE  =                    T",
            "BITPIX  =                    8",
            &naxis,
        ];
        cards.extend(named.iter().map(String::as_str));
        fits::read(&by_hand(&cards, data))
    };
    assert_eq!(
        with_axes(&["3", "2", "1"], &[0; 6]).unwrap().pixels.dim(),
        (2, 3)
    );
    assert_eq!(
        with_axes(&["3", "2", "4"], &[0; 24]),
        Err(FitsError::NotOnePlane {
            shape: vec![3, 2, 4]
        })
    );
    let three = with_axes(&["3", "2", "3"], &[[5; 6], [7; 6], [9; 6]].concat()).unwrap();
    assert_eq!(three.planes, Some(fits::Planes::Colours));
    assert!(three.pixels.iter().all(|value| *value == 7.0));
    assert_eq!(
        with_axes(&["6"], &[0; 6]),
        Err(FitsError::NotOnePlane { shape: vec![6] })
    );
    assert!(matches!(with_axes(&[], &[]), Err(FitsError::NoImage)));
    let error = with_axes(&["1000000", "1000000"], &[0; 6]).unwrap_err();
    assert!(
        matches!(
            error,
            FitsError::TooLarge {
                width_px: 1_000_000,
                ..
            } | FitsError::Malformed { .. }
        ),
        "{error}"
    );
    let error = with_axes(&["10000", "10000"], &[0; 6]).unwrap_err();
    assert!(
        matches!(
            error,
            FitsError::CutShort { .. } | FitsError::Malformed { .. }
        ),
        "{error}"
    );
}

#[test]
fn tables_and_packed_files_are_refused_in_words() {
    let table = |more: &[&str]| {
        let mut file = by_hand(
            &[
                "SIMPLE  =                    T",
                "BITPIX  =                    8",
                "NAXIS   =                    0",
            ],
            &[],
        );
        let mut cards = vec![
            "XTENSION= 'BINTABLE'",
            "BITPIX  =                    8",
            "NAXIS   =                    2",
        ];
        cards.extend([
            "NAXIS1  =                    8",
            "NAXIS2  =                    2",
            "PCOUNT  =                    0",
        ]);
        cards.extend([
            "GCOUNT  =                    1",
            "TFIELDS =                    1",
        ]);
        cards.extend(more);
        file.extend(by_hand(&cards, &[0; 16]));
        fits::read(&file)
    };
    assert_eq!(table(&["TFORM1  = '1K      '"]), Err(FitsError::Table));
    let tiled = [
        "TFORM1  = '1PB(0)  '",
        "TTYPE1  = 'COMPRESSED_DATA'",
        "ZIMAGE  =                    T",
    ];
    let rest = [
        "ZCMPTYPE= 'RICE_1  '",
        "ZBITPIX =                   16",
        "ZNAXIS  =                    2",
        "ZNAXIS1 =                    3",
        "ZNAXIS2 =                    2",
    ];
    // the two rows of the table are all zeros: one empty tile for each of two rows of pixels, which no packing makes
    let error = table(&[&tiled[..], &rest[..]].concat()).unwrap_err();
    assert!(
        matches!(&error, FitsError::Tiles { method, .. } if method == "RICE_1"),
        "{error}"
    );
    let unknown = ["ZCMPTYPE= 'NEW_9   '"];
    let error = table(&[&tiled[..], &unknown[..], &rest[1..]].concat()).unwrap_err();
    assert!(error.to_string().contains("by NEW_9"), "{error}");
    let error = fits::read(b"\x1f\x8b\x08 and so on").unwrap_err();
    assert!(matches!(error, FitsError::BrokenGzip { .. }), "{error}");
    let error = fits::read(b"\xfd7zXZ and so on").unwrap_err();
    assert_eq!(error, FitsError::Packed { program: "xz" });
    for bytes in [&b""[..], b"\x89PNG\r\n\x1a\n", b"SIMPL"] {
        assert_eq!(fits::read(bytes), Err(FitsError::NotFits));
    }
}

#[test]
fn the_same_frame_gives_the_same_bytes_whatever_its_layout_in_memory() {
    let upright = frame(5, 7);
    let by_columns = Frame {
        counts_adu: upright.counts_adu.t().to_owned().reversed_axes(),
        ..upright.clone()
    };
    let write = |frame: &Frame| fits::counts(frame, &cards()).unwrap();
    assert_eq!(write(&upright), write(&upright));
    assert_eq!(write(&upright), write(&by_columns));
}

proptest! {
    #[test]
    fn no_title_makes_a_render_fail(title in any::<String>()) {
        let file = fits::counts(&frame(2, 3), &Cards { title: title.clone(), ..cards() }).unwrap();
        let written: String = title.chars().map(|letter| if matches!(letter, ' '..='~') { letter } else { '?' }).collect();
        let read = fits::read(&file).unwrap().title;
        prop_assert_eq!(read.unwrap_or_default(), written.trim());
    }

    #[test]
    fn a_file_cut_short_is_refused_and_never_panics(length in 0usize..5760) {
        let file = fits::counts(&frame(20, 30), &cards()).unwrap();
        let result = fits::read(&file[..length]);
        // 2880 bytes of header, 1200 of pixels, then padding that may be missing.
        prop_assert!(result.is_err() || length >= 2880 + 1200, "{} bytes were enough", length);
    }

    #[test]
    fn changed_bytes_never_panic(changes in prop::collection::vec((0usize..4200, any::<u8>()), 1..24)) {
        let mut file = fits::counts(&frame(20, 30), &cards()).unwrap();
        for (place, byte) in changes {
            file[place] = byte;
        }
        if let Ok(image) = fits::read(&file) {
            prop_assert!(image.pixels.len() <= file.len());
        }
    }

    #[test]
    fn changed_cards_never_panic(which in 0usize..19, value in "[ '0-9TF.E+-]{1,24}") {
        let mut file = fits::counts(&frame(20, 30), &cards()).unwrap();
        let text = format!("{value:<70}");
        file[which * CARD + 10..(which + 1) * CARD].copy_from_slice(text.as_bytes());
        if let Ok(image) = fits::read(&file) {
            prop_assert!(image.pixels.len() <= file.len());
        }
    }
}
