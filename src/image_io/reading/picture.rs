//! PNG and JPEG → values.

use super::Reading;
use super::error::ReadingError;
use super::looks::Format;
use super::planes::Layout;
use crate::flag::{Flag, Flags};
use crate::image_io::fits::MAX_PIXELS;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};
use ndarray::Array2;
use std::io::Cursor;

/// No packing of PNG makes data smaller than this (deflate: 1032; from memory).
const MOST_PACKED: usize = 3000;
/// Memory that a decoder may use.
const MOST_BYTES: u64 = 2_000_000_000;

/// Reads one picture.
pub(super) fn read(bytes: &[u8], name: &str, format: Format) -> Result<Reading, ReadingError> {
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
    let ceiling = f64::from(if bits == 8 {
        u16::from(u8::MAX)
    } else {
        u16::MAX
    });
    Ok(Reading {
        colour,
        bits,
        ceiling: Some(ceiling),
        flags,
        ..Reading::of(values)
    })
}

fn kind(format: Format) -> ImageFormat {
    match format {
        Format::Png => ImageFormat::Png,
        Format::Tiff => ImageFormat::Tiff,
        Format::Jpeg => ImageFormat::Jpeg,
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
    let layout = |channels| Layout {
        channels,
        apart: false,
        size_px: [picture.width() as usize, picture.height() as usize],
    };
    match picture {
        DynamicImage::ImageLuma8(p) => layout(1).plane(p.as_raw(), flags),
        DynamicImage::ImageLumaA8(p) => layout(2).plane(p.as_raw(), flags),
        DynamicImage::ImageLuma16(p) => layout(1).plane(p.as_raw(), flags),
        DynamicImage::ImageLumaA16(p) => layout(2).plane(p.as_raw(), flags),
        DynamicImage::ImageRgb8(p) => layout(3).plane(p.as_raw(), flags),
        DynamicImage::ImageRgba8(p) => layout(4).plane(p.as_raw(), flags),
        DynamicImage::ImageRgb16(p) => layout(3).plane(p.as_raw(), flags),
        DynamicImage::ImageRgba16(p) => layout(4).plane(p.as_raw(), flags),
        // PNG and JPEG hold nothing else; whatever else the library learns is read with 16 bits
        other => layout(3).plane(other.to_rgb16().as_raw(), flags),
    }
}
