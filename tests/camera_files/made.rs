//! Files made here: by hand, by the picture library, by the TIFF library.

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;
use image::{ExtendedColorType, ImageEncoder};
use std::io::{Cursor, Write};
use tiff::encoder::colortype::{CMYK8, ColorType, Gray8, Gray16, Gray32, Gray64, Gray64Float};
use tiff::encoder::colortype::{GrayI16, RGB16, RGB32Float};
use tiff::encoder::{TiffEncoder, TiffValue};

/// Columns and rows of the pictures made here.
pub const SIZE: [u32; 2] = [9, 7];

/// Another sample in every place.
pub fn samples<T>(channels: u32, sample: impl Fn(u32) -> T) -> Vec<T> {
    (0..SIZE[0] * SIZE[1] * channels).map(sample).collect()
}

pub fn png(bytes: &[u8], kind: ExtendedColorType) -> Vec<u8> {
    let mut file = Vec::new();
    let written = PngEncoder::new(&mut file).write_image(bytes, SIZE[0], SIZE[1], kind);
    written.expect("a picture");
    file
}

pub fn jpeg(bytes: &[u8]) -> Vec<u8> {
    let mut file = Vec::new();
    let written = JpegEncoder::new_with_quality(&mut file, 100).write_image(
        bytes,
        SIZE[0],
        SIZE[1],
        ExtendedColorType::L8,
    );
    written.expect("a picture");
    file
}

fn tiff<C: ColorType>(samples: &[C::Inner]) -> Vec<u8>
where
    [C::Inner]: TiffValue,
{
    let mut file = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut file).expect("memory");
    let written = encoder.write_image::<C>(SIZE[0], SIZE[1], samples);
    written.expect("a picture");
    file.into_inner()
}

/// What TIFF files hold, in words, and a file of each.
pub fn tiffs() -> Vec<(&'static str, Vec<u8>)> {
    let small = |at: u32| (at * 37 % 251) as u8;
    vec![
        ("8 bits, grey", tiff::<Gray8>(&samples(1, small))),
        (
            "16 bits, grey",
            tiff::<Gray16>(&samples(1, |at| (at * 971) as u16)),
        ),
        (
            "16 bits, signed",
            tiff::<GrayI16>(&samples(1, |at| at as i16 - 20)),
        ),
        (
            "16 bits, three colours",
            tiff::<RGB16>(&samples(3, |at| (at * 331) as u16)),
        ),
        (
            "32 bits, unsigned",
            tiff::<Gray32>(&samples(1, |at| at * 60_000_000)),
        ),
        (
            "32-bit floating point, three colours",
            tiff::<RGB32Float>(&samples(3, |at| at as f32 * 0.31)),
        ),
        (
            "64-bit floating point",
            tiff::<Gray64Float>(&samples(1, |at| f64::from(at) * 0.31)),
        ),
        ("64 bits, unsigned", tiff::<Gray64>(&samples(1, u64::from))),
        ("colours for print", tiff::<CMYK8>(&samples(4, small))),
    ]
}

/// A FITS file by hand: cards of 80 bytes, blocks of 2880 (FITS standard 4.0, sections 3.1 and 4.1).
pub fn fits_by_hand(bitpix: i32, axes: &[usize], more: &[&str], data: &[u8]) -> Vec<u8> {
    let mut cards = vec![
        "SIMPLE  =                    T".to_owned(),
        format!("BITPIX  = {bitpix:>20}"),
        format!("NAXIS   = {:>20}", axes.len()),
    ];
    let named = axes.iter().enumerate();
    cards.extend(named.map(|(index, axis)| format!("NAXIS{}  = {axis:>20}", index + 1)));
    cards.extend(more.iter().map(|card| (*card).to_owned()));
    cards.push("END".to_owned());
    let mut file: Vec<u8> = cards
        .iter()
        .flat_map(|card| format!("{card:<80}").into_bytes())
        .collect();
    file.resize(file.len().next_multiple_of(2880), b' ');
    file.extend(data);
    file.resize(file.len().next_multiple_of(2880), 0);
    file
}

pub fn gzipped(content: &[u8]) -> Vec<u8> {
    let mut file = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    file.write_all(content).expect("memory");
    file.finish().expect("memory")
}
