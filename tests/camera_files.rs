//! Files as cameras and programs write them: what is read of each, what is refused with which words, and whether packed files hold what
//! their plain twins hold.
//!
//! `tests/references/files.py` wrote the files of `tests/data/camera_files` with astropy and Pillow; the others are made here. The table
//! in DEVELOPERS.md, "Image files", is what this room finds: after a change run once with `SKEWSTAR_REWRITE=1`; the table is
//! written anew and the run still fails, so that it is looked at.

mod made;
mod outcomes;
mod owner;

use ndarray::Array2;
use skewstar::flag::Flag;
use skewstar::image_io::reading::{Reading, read_image};
use std::path::Path;

/// A file that astropy or Pillow wrote.
fn committed(name: &str) -> Vec<u8> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/camera_files");
    std::fs::read(folder.join(name)).expect(name)
}

fn read(name: &str) -> Reading {
    read_image(&committed(name), name).unwrap_or_else(|error| panic!("{error}"))
}

fn bits(values: &Array2<f64>) -> Array2<u64> {
    values.mapv(f64::to_bits)
}

/// Bit for bit. Where packing rounds (quantised floating point), the twin holds what astropy 8.0.2 read from the packed file.
#[test]
fn packed_files_hold_what_their_plain_twins_hold() {
    let twins = [
        ("counts.fits.gz", "counts.fits"),
        ("counts.rice.fits", "counts.fits"),
        ("counts.gzip1.fits", "counts.fits"),
        ("counts.gzip2.fits", "counts.fits"),
        ("counts.hcompress.fits", "counts.fits"),
        ("counts.rice.fits.gz", "counts.fits"),
        ("counts.tif", "counts.fits"),
        ("counts.lzw.tif", "counts.fits"),
        ("wide.rice.fits", "wide.fits"),
        ("wide.gzip1.fits", "wide.fits"),
        ("wide.gzip2.fits", "wide.fits"),
        ("wide.hcompress.fits", "wide.fits"),
        ("wide.tif", "wide.fits"),
        ("small.plio.fits", "small.fits"),
        ("real.gzip2.fits", "real.fits"),
        ("real.plain.rice.fits", "real.plain.fits"),
        ("real.dither1.rice.fits", "real.dither1.fits"),
        ("real.dither2.rice.fits", "real.dither2.fits"),
        ("real.tif", "real.tif.twin.fits"),
        ("real.deflate.tif", "real.tif.twin.fits"),
        ("planes.rice.fits", "planes.fits"),
    ];
    for (packed, plain) in twins {
        let [found, twin] = [packed, plain].map(read);
        assert_eq!(bits(&found.values), bits(&twin.values), "{packed}");
        assert_eq!(found.missing_px, twin.missing_px, "{packed}");
        assert_eq!(found.bits, twin.bits, "{packed}");
        if packed.contains(".fits") {
            assert_eq!(found.ceiling, twin.ceiling, "{packed}");
            assert_eq!(found.gain_e_per_adu, twin.gain_e_per_adu, "{packed}");
            assert_eq!(found.colour_pattern, twin.colour_pattern, "{packed}");
        }
        let rounds = ["plain.rice", "dither"]
            .iter()
            .any(|how| packed.contains(how));
        assert_eq!(found.flags.has(Flag::Lossy), rounds, "{packed}");
    }
}

/// Rows of the file run from the top down: row 0 of what is read is the last one, and its places are counted from there.
#[test]
fn pixels_without_a_number_are_listed_where_they_are_seen() {
    let found = read("real.fits");
    let (rows, _) = found.values.dim();
    assert_eq!(found.missing_px, [[30, rows - 1 - 20], [4, rows - 1 - 3]]);
    assert!(found.flags.has(Flag::PixelsLeftOut));
    let told = format!(
        "2 of {} pixels hold no number; they are left out",
        found.values.len()
    );
    assert!(found.warnings.contains(&told), "{:?}", found.warnings);
    assert!(found.values.iter().all(|value| value.is_finite()));
}

/// Of three planes the second is taken, as green; it is what astropy wrote there: counts / 2 + 100.
#[test]
fn of_three_planes_the_green_one_is_read() {
    let planes = read("planes.fits");
    assert!(planes.colour && planes.flags.has(Flag::InterpolatedColour));
    // planes.fits has its bottom row first, counts.fits its top row
    let mut counts = read("counts.fits").values;
    counts.invert_axis(ndarray::Axis(0));
    assert_eq!(
        planes.values,
        counts.mapv(|value| (value / 2.0).floor() + 100.0)
    );
    let grey = read("grey.fits");
    assert!(!grey.colour && grey.flags.has(Flag::GreySavedAsColour));
    assert_eq!(grey.values, read("counts.fits").values);
}
