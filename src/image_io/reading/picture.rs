//! PNG, TIFF and JPEG → values. Pictures start at the top, so the rows are turned over here.

use super::Reading;
use super::error::ReadingError;
use super::looks::Format;
use crate::flag::{Flag, Flags};
use crate::image_io::fits::MAX_PIXELS;
use image::metadata::Orientation;
use image::{ColorType, DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use ndarray::{Array2, Axis};
use std::io::Cursor;

/// No packing of PNG or TIFF makes data smaller than this (deflate: 1032, LZW of 12 bits: 2731; from memory).
const MOST_PACKED: usize = 3000;
/// Memory that a decoder may use.
const MOST_BYTES: u64 = 2_000_000_000;
/// Index of green in red, green, blue.
const GREEN: usize = 1;

/// Reads one picture.
pub(super) fn read(bytes: &[u8], name: &str, format: Format) -> Result<Reading, ReadingError> {
    refuse_previews(name, format)?;
    let broken = |error: image::ImageError| ReadingError::Broken {
        name: name.into(),
        format: format.name(),
        reason: error.to_string(),
    };
    let mut reader = ImageReader::with_format(Cursor::new(bytes), kind(format));
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(MOST_BYTES);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(broken)?;
    check_size(&decoder, bytes.len(), name, format)?;
    let turned = decoder.orientation().map_err(broken)? != Orientation::NoTransforms;
    if matches!(decoder.color_type(), ColorType::Rgb32F | ColorType::Rgba32F) {
        return Err(ReadingError::Floating {
            name: name.into(),
            format: format.name(),
        });
    }
    let picture = DynamicImage::from_decoder(decoder).map_err(broken)?;
    let mut flags = Flags::default();
    if turned {
        flags.raise(Flag::TurnedByViewers);
    }
    if format == Format::Jpeg {
        flags.raise(Flag::Lossy);
    }
    let bits = 8 * u32::from(picture.color().bytes_per_pixel() / picture.color().channel_count());
    if bits == 8 {
        flags.extend([Flag::EightBits, Flag::PerhapsNotLinear]);
    }
    let (values, colour) = plane(&picture, &mut flags);
    Ok(Reading {
        values,
        colour,
        bits,
        ceiling: Some(if bits == 8 {
            f64::from(u8::MAX)
        } else {
            f64::from(u16::MAX)
        }),
        pixel_m: None,
        exposure_s: None,
        gain_e_per_adu: None,
        colour_pattern: None,
        flags,
        warnings: Vec::new(),
    })
}

fn kind(format: Format) -> ImageFormat {
    match format {
        Format::Png => ImageFormat::Png,
        Format::Tiff => ImageFormat::Tiff,
        Format::Jpeg => ImageFormat::Jpeg,
    }
}

/// Raw files of cameras are TIFF files with another ending; what is read first in them is a small preview.
fn refuse_previews(name: &str, format: Format) -> Result<(), ReadingError> {
    let file = name.rsplit(['/', '\\']).next().unwrap_or(name);
    let ending = file
        .rsplit_once('.')
        .map(|(_, ending)| ending.to_ascii_lowercase());
    match (format, ending.as_deref()) {
        (Format::Tiff, Some(other)) if other != "tif" && other != "tiff" => {
            Err(ReadingError::Preview { name: name.into() })
        }
        _ => Ok(()),
    }
}

fn check_size(
    decoder: &impl ImageDecoder,
    present_bytes: usize,
    name: &str,
    format: Format,
) -> Result<(), ReadingError> {
    let (width, height) = decoder.dimensions();
    let [width_px, height_px] = [width, height].map(|side| side as usize);
    if width_px.saturating_mul(height_px) > MAX_PIXELS {
        return Err(ReadingError::TooLarge {
            name: name.into(),
            width_px,
            height_px,
        });
    }
    let unpacked = decoder.total_bytes() / MOST_PACKED as u64;
    if format != Format::Jpeg && unpacked > present_bytes as u64 {
        return Err(ReadingError::CutShort {
            name: name.into(),
            width_px,
            height_px,
            present_bytes,
        });
    }
    Ok(())
}

/// The grey or green plane, row 0 at the bottom, and whether there are colours.
fn plane(picture: &DynamicImage, flags: &mut Flags) -> (Array2<f64>, bool) {
    let size = [picture.width() as usize, picture.height() as usize];
    match picture {
        DynamicImage::ImageLuma8(p) => grey(p.as_raw(), 1, size, flags),
        DynamicImage::ImageLumaA8(p) => grey(p.as_raw(), 2, size, flags),
        DynamicImage::ImageLuma16(p) => grey(p.as_raw(), 1, size, flags),
        DynamicImage::ImageLumaA16(p) => grey(p.as_raw(), 2, size, flags),
        DynamicImage::ImageRgb8(p) => colours(p.as_raw(), 3, size, flags),
        DynamicImage::ImageRgba8(p) => colours(p.as_raw(), 4, size, flags),
        DynamicImage::ImageRgb16(p) => colours(p.as_raw(), 3, size, flags),
        DynamicImage::ImageRgba16(p) => colours(p.as_raw(), 4, size, flags),
        // floating point was refused before; whatever else the library learns is read with 16 bits
        other => colours(other.to_rgb16().as_raw(), 3, size, flags),
    }
}

fn grey<T: Copy + Into<f64>>(
    samples: &[T],
    channels: usize,
    size_px: [usize; 2],
    flags: &mut Flags,
) -> (Array2<f64>, bool) {
    if channels == 2 {
        flags.raise(Flag::TransparencyIgnored);
    }
    (upright(samples, channels, 0, size_px), false)
}

fn colours<T: Copy + Into<f64> + PartialEq>(
    samples: &[T],
    channels: usize,
    size_px: [usize; 2],
    flags: &mut Flags,
) -> (Array2<f64>, bool) {
    if channels == 4 {
        flags.raise(Flag::TransparencyIgnored);
    }
    let same = |pixel: &[T]| pixel[0] == pixel[GREEN] && pixel[GREEN] == pixel[2];
    let colour = !samples.chunks_exact(channels).all(same);
    flags.raise(if colour {
        Flag::InterpolatedColour
    } else {
        Flag::GreySavedAsColour
    });
    (upright(samples, channels, GREEN, size_px), colour)
}

/// One channel with the last row of the picture first.
fn upright<T: Copy + Into<f64>>(
    samples: &[T],
    channels: usize,
    which: usize,
    [width_px, height_px]: [usize; 2],
) -> Array2<f64> {
    let mut values = Array2::from_shape_fn((height_px, width_px), |(row, column)| {
        samples[(row * width_px + column) * channels + which].into()
    });
    values.invert_axis(Axis(0));
    values.as_standard_layout().into_owned()
}
