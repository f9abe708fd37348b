//! The table of files with their outcome in DEVELOPERS.md, each row made here.

use super::committed;
use super::made::{self, SIZE, fits_by_hand, gzipped, jpeg, png, samples};
use image::ExtendedColorType::{L8, L16, Rgb16};
use skewstar::flag::Flag;
use skewstar::image_io::reading::read_image;

const GUIDE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md");
const HEADING: &str = "### Image files\n";

/// What is in a file, its name, its bytes.
type Row = (String, &'static str, Vec<u8>);

fn of_astropy_and_pillow() -> Vec<Row> {
    [
        ("FITS, 16 bits, filter cards", "counts.fits"),
        ("FITS, 32 bits", "wide.fits"),
        ("FITS, floating point, 2 pixels NaN", "real.fits"),
        ("FITS in gzip", "counts.fits.gz"),
        ("FITS, tiles RICE_1, 16 bits", "counts.rice.fits"),
        ("FITS, tiles RICE_1, 32 bits", "wide.rice.fits"),
        ("FITS, tiles GZIP_1", "counts.gzip1.fits"),
        ("FITS, tiles GZIP_2", "counts.gzip2.fits"),
        (
            "FITS, tiles HCOMPRESS_1 without losses",
            "counts.hcompress.fits",
        ),
        ("FITS, tiles PLIO_1", "small.plio.fits"),
        (
            "FITS, tiles GZIP_2, floating point, not quantised",
            "real.gzip2.fits",
        ),
        (
            "FITS, tiles RICE_1, quantised, NO_DITHER",
            "real.plain.rice.fits",
        ),
        (
            "FITS, tiles RICE_1, quantised, SUBTRACTIVE_DITHER_1",
            "real.dither1.rice.fits",
        ),
        (
            "FITS, tiles RICE_1, quantised, SUBTRACTIVE_DITHER_2",
            "real.dither2.rice.fits",
        ),
        ("FITS, tiles RICE_1, in gzip", "counts.rice.fits.gz"),
        ("FITS, three planes", "planes.fits"),
        ("FITS, three planes in tiles RICE_1", "planes.rice.fits"),
        ("FITS, three equal planes", "grey.fits"),
        ("FITS, four planes", "four.fits"),
        ("TIFF, 16 bits, LZW", "counts.lzw.tif"),
        ("TIFF, 32 bits, signed", "wide.tif"),
        ("TIFF, 32-bit floating point, 1 pixel NaN", "real.tif"),
        ("TIFF, 32-bit floating point, deflate", "real.deflate.tif"),
    ]
    .into_iter()
    .map(|(what, name)| (what.to_owned(), name, committed(name)))
    .collect()
}

fn made_here() -> Vec<Row> {
    let row = |what: &str, name, bytes| (what.to_owned(), name, bytes);
    let axes = SIZE.map(|side| side as usize);
    let small = samples(1, |at| at as u8);
    let wide = samples(3, |at| (at * 331) as u16);
    let wide: Vec<u8> = wide.iter().flat_map(|value| value.to_ne_bytes()).collect();
    let half_nan = samples(1, |at| if at % 2 == 0 { f32::NAN } else { at as f32 });
    let half_nan: Vec<u8> = half_nan.iter().flat_map(|v| v.to_be_bytes()).collect();
    let doubles: Vec<u8> = samples(1, f64::from)
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    let longs: Vec<u8> = samples(1, i64::from)
        .iter()
        .flat_map(|v| v.to_be_bytes())
        .collect();
    let plain = fits_by_hand(8, &axes, &[], &small);
    let order = fits_by_hand(8, &axes, &["ROWORDER= 'SIDEWAYS'"], &small);
    let mut rows = vec![
        row("FITS, 8 bits", "a.fits", plain.clone()),
        row(
            "FITS, 64 bits",
            "a.fits",
            fits_by_hand(64, &axes, &[], &longs),
        ),
        row(
            "FITS, 64-bit floating point",
            "a.fits",
            fits_by_hand(-64, &axes, &[], &doubles),
        ),
        row(
            "FITS, half of the pixels NaN",
            "a.fits",
            fits_by_hand(-32, &axes, &[], &half_nan),
        ),
        row("FITS, another ROWORDER", "a.fits", order),
        row(
            "FITS in gzip, cut short",
            "a.fits.gz",
            gzipped(&plain)[..90].to_vec(),
        ),
        row("FITS in bzip2", "a.fits.bz2", b"BZh91AY&SY".to_vec()),
        row("another file in gzip", "a.gz", gzipped(b"a,b\n1,2\n")),
        row("PNG, 8 bits", "a.png", png(&small, L8)),
        row("PNG, 16 bits", "a.png", png(&wide[..wide.len() / 3], L16)),
        row("PNG, 16 bits, three colours", "a.png", png(&wide, Rgb16)),
        row("JPEG", "a.jpg", jpeg(&small)),
        row("a camera's raw file", "a.raw", made::tiffs().remove(1).1),
        row("GIF", "a.gif", b"GIF89a".to_vec()),
        row("a text", "a.csv", b"x,y\n1,2\n".to_vec()),
    ];
    let tiffs = made::tiffs().into_iter();
    rows.extend(tiffs.map(|(what, bytes)| (format!("TIFF, {what}"), "a.tif", bytes)));
    rows
}

/// Every file with what becomes of it.
fn table() -> String {
    let mut rows: Vec<String> = of_astropy_and_pillow()
        .into_iter()
        .chain(made_here())
        .map(|(what, name, bytes)| format!("| {what} | {} |\n", outcome(&bytes, name)))
        .collect();
    rows.sort();
    format!("| file | outcome |\n|---|---|\n{}", rows.concat())
}

fn outcome(bytes: &[u8], name: &str) -> String {
    match read_image(bytes, name) {
        Ok(reading) => {
            let flags: Vec<String> = reading.flags.iter().map(|f| format!("`{f}`")).collect();
            let flags = if flags.is_empty() {
                String::new()
            } else {
                format!("; {}", flags.join(", "))
            };
            format!("read, {} bits{flags}", reading.bits)
        }
        Err(error) => {
            let words = error.to_string();
            let words = words.strip_prefix(&format!("{name}: "));
            let words = words.unwrap_or_else(|| panic!("{error} does not begin with {name}"));
            assert!(!error.hint().is_empty(), "{error}");
            format!("refused: \"{words}\"; {}", error.hint())
        }
    }
}

#[test]
fn the_guide_lists_what_becomes_of_each_file() {
    let guide = std::fs::read_to_string(GUIDE).expect("the guide");
    let section = guide.find(HEADING).expect("a section on files") + HEADING.len();
    let start = section + guide[section..].find("\n|").expect("a table") + 1;
    let end = guide[start..].find("|\n\n").expect("an end of the table") + start + 2;
    let table = table();
    if std::env::var_os("SKEWSTAR_REWRITE").is_some() {
        let anew = format!("{}{table}{}", &guide[..start], &guide[end..]);
        std::fs::write(GUIDE, anew).expect("the guide");
        panic!("the table was written anew; look at it, then run again without SKEWSTAR_REWRITE");
    }
    assert_eq!(&guide[start..end], table);
}

/// What the guide says in prose of the table, checked where the flags are.
#[test]
fn packing_without_losses_raises_nothing() {
    for (what, name, bytes) in of_astropy_and_pillow() {
        let Ok(reading) = read_image(&bytes, name) else {
            continue;
        };
        let rounds = what.contains("quantised, ");
        assert_eq!(reading.flags.has(Flag::Lossy), rounds, "{what}");
    }
}
