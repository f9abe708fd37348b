//! From a file to a star, and bad frames: words, never a panic.

use ndarray::Array2;
use skewstar::frame::Frame;
use skewstar::image_io::fits::{self, Cards};
use skewstar::image_io::reading::read_image;
use skewstar::image_io::tiff;
use skewstar::measure::{FrameError, Search, Stars};

/// A ring of light over a bias with a little pattern in place of noise.
fn frame(rows: usize, columns: usize, level: f64) -> Frame {
    let counts_adu = Array2::from_shape_fn((rows, columns), |(row, column)| {
        let r = (column as f64 - 40.25).hypot(row as f64 - 31.5);
        let ring = (18.0 - r + 0.5).clamp(0.0, 1.0) * (r - 7.0 + 0.5).clamp(0.0, 1.0);
        let pattern = (row * 7 + column * 13 + row * column) % 11;
        (500.0 + pattern as f64 + level * ring) as u16
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
        pixel_m: 3.8e-6,
        focal_length_m: 0.456,
        ..Cards::default()
    }
}

/// The same star from FITS and from TIFF: rows are not turned over on the way. 0.05 pixel is what whole counts allow.
#[test]
fn a_star_is_where_it_was_written_in_every_format() {
    let frame = frame(70, 90, 900.0);
    let files = [
        (fits::counts(&frame, &cards()).expect("FITS"), "a.fits"),
        (tiff::gray16(&frame).expect("TIFF"), "a.tif"),
    ];
    for (file, name) in files {
        let reading = read_image(&file, name).expect(name);
        let stars = Stars::find(&reading.values, reading.ceiling, &Search::default()).expect(name);
        let [x, y] = stars.brightest().centre_px;
        assert!(
            (x - 40.25).abs() < 0.05 && (y - 31.5).abs() < 0.05,
            "{name}: {x} {y}"
        );
        assert_eq!(stars.all().len(), 1);
    }
}

#[test]
fn bad_frames_are_refused_in_words() {
    let find = |frame: &Frame| {
        let file = fits::counts(frame, &cards()).expect("FITS");
        let reading = read_image(&file, "bad.fits").expect("a file");
        Stars::find(&reading.values, reading.ceiling, &Search::default()).expect_err("bad")
    };
    assert!(matches!(
        find(&frame(70, 90, 0.0)),
        FrameError::NothingFound { .. }
    ));
    assert!(matches!(
        find(&frame(5, 90, 0.0)),
        FrameError::TooSmall { .. }
    ));
    let mut blank = frame(70, 90, 0.0);
    blank.counts_adu.fill(317);
    assert_eq!(find(&blank), FrameError::Blank { value: 317.0 });
    blank.counts_adu.fill(u16::MAX);
    assert!(find(&blank).to_string().contains("65535"));
    let whole = fits::counts(&frame(70, 90, 900.0), &cards()).expect("FITS");
    let error = read_image(&whole[..6000], "short.fits").expect_err("cut short");
    assert!(error.to_string().starts_with("short.fits: "), "{error}");
}
