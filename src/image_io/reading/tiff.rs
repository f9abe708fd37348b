//! TIFF → values: whole numbers of 8, 16 and 32 bits, signed or not, and floating point; grey, or red, green and blue.
//!
//! The values are as they are stored; of signed ones the sign is kept. Print colours, palettes, packed bits and whole numbers of 64 bits
//! are refused.

use super::Reading;
use super::error::ReadingError;
use super::planes::Layout;
use crate::flag::{Flag, Flags};
use crate::image_io::fits::MAX_PIXELS;
use ndarray::Array2;
use std::io::Cursor;
use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::tags::Tag;
use tiff::{ColorType, TiffError};

/// No packing of TIFF makes data smaller than this (deflate: 1032, LZW of 12 bits: 2731; from memory).
const MOST_PACKED: usize = 3000;
/// Bytes that the samples of a picture may take.
const MOST_BYTES: usize = 2_000_000_000;
/// The value of the tag Orientation of a picture that stands as it is stored (TIFF 6.0, section 8).
const UPRIGHT: u16 = 1;

/// Reads the first picture of a file.
pub(super) fn read(bytes: &[u8], name: &str) -> Result<Reading, ReadingError> {
    refuse_previews(name)?;
    let broken = |error: TiffError| ReadingError::Broken {
        name: name.into(),
        format: "TIFF",
        reason: error.to_string(),
    };
    let mut decoder = Decoder::new(Cursor::new(bytes)).map_err(broken)?;
    decoder = decoder.with_limits(limits());
    let size_px = size(&mut decoder, bytes.len(), name)?;
    let kind = decoder.colortype().map_err(broken)?;
    let channels = channels(kind).ok_or_else(|| ReadingError::Samples {
        name: name.into(),
        kind: in_words(kind),
    })?;
    let mut flags = Flags::default();
    let orientation = decoder
        .find_tag_unsigned(Tag::Orientation)
        .map_err(broken)?;
    if orientation.is_some_and(|value: u16| value != UPRIGHT) {
        flags.raise(Flag::TurnedByViewers);
    }
    let mut warnings = Vec::new();
    if decoder.more_images() {
        warnings.push("it holds more than one picture; the first is read".to_owned());
    }
    let mut samples = DecodingResult::U8(Vec::new());
    let stored = decoder.read_image_to_buffer(&mut samples).map_err(broken)?;
    let present = samples.as_buffer(0).as_bytes().len();
    if present < stored.complete_len {
        return Err(ReadingError::TooLarge {
            name: name.into(),
            width_px: size_px[0],
            height_px: size_px[1],
        });
    }
    let layout = Layout {
        channels,
        apart: stored.planes > 1,
        size_px,
    };
    let bits = u32::from(kind.bit_depth());
    if bits == 8 {
        flags.extend([Flag::EightBits, Flag::PerhapsNotLinear]);
    }
    let (values, colour) =
        plane(&samples, &layout, &mut flags).ok_or_else(|| ReadingError::Samples {
            name: name.into(),
            kind: "whole numbers of 64 bits".to_owned(),
        })?;
    Ok(Reading {
        colour,
        bits,
        ceiling: ceiling(&samples),
        flags,
        warnings,
        ..Reading::of(values)
    })
}

/// Raw files of cameras are TIFF files with another ending; what is read first in them is a small preview.
fn refuse_previews(name: &str) -> Result<(), ReadingError> {
    let file = name.rsplit(['/', '\\']).next().unwrap_or(name);
    let ending = file
        .rsplit_once('.')
        .map(|(_, ending)| ending.to_ascii_lowercase());
    match ending.as_deref() {
        Some(other) if other != "tif" && other != "tiff" => {
            Err(ReadingError::Preview { name: name.into() })
        }
        _ => Ok(()),
    }
}

fn limits() -> Limits {
    let mut limits = Limits::default();
    limits.decoding_buffer_size = MOST_BYTES;
    limits.intermediate_buffer_size = MOST_BYTES;
    limits
}

/// Columns and rows, if the file can hold them.
fn size(
    decoder: &mut Decoder<Cursor<&[u8]>>,
    present_bytes: usize,
    name: &str,
) -> Result<[usize; 2], ReadingError> {
    let (width, height) = decoder.dimensions().map_err(|error| ReadingError::Broken {
        name: name.into(),
        format: "TIFF",
        reason: error.to_string(),
    })?;
    let [width_px, height_px] = [width, height].map(|side| side as usize);
    let pixels = width_px.saturating_mul(height_px);
    if pixels > MAX_PIXELS {
        return Err(ReadingError::TooLarge {
            name: name.into(),
            width_px,
            height_px,
        });
    }
    if pixels / MOST_PACKED > present_bytes {
        return Err(ReadingError::CutShort {
            name: name.into(),
            width_px,
            height_px,
            present_bytes,
        });
    }
    Ok([width_px, height_px])
}

/// Channels of a picture that is read.
fn channels(kind: ColorType) -> Option<usize> {
    let whole_bytes = matches!(kind.bit_depth(), 8 | 16 | 32 | 64);
    match kind {
        ColorType::Gray(_) if whole_bytes => Some(1),
        ColorType::GrayA(_) if whole_bytes => Some(2),
        ColorType::RGB(_) if whole_bytes => Some(3),
        ColorType::RGBA(_) if whole_bytes => Some(4),
        _ => None,
    }
}

fn in_words(kind: ColorType) -> String {
    let bits = kind.bit_depth();
    let what = match kind {
        ColorType::Palette(_) => "numbers of a palette",
        ColorType::CMYK(_) | ColorType::CMYKA(_) => "colours for print",
        ColorType::YCbCr(_) | ColorType::Lab(_) => "brightness and hue apart",
        ColorType::Multiband { .. } => "more bands than grey or three colours",
        _ => "samples",
    };
    format!("{what} of {bits} bits")
}

/// The plane that is measured, and whether there are colours; `None` for samples that are not read.
fn plane(
    samples: &DecodingResult,
    layout: &Layout,
    flags: &mut Flags,
) -> Option<(Array2<f64>, bool)> {
    match samples {
        DecodingResult::U8(all) => Some(layout.plane(all, flags)),
        DecodingResult::I8(all) => Some(layout.plane(all, flags)),
        DecodingResult::U16(all) => Some(layout.plane(all, flags)),
        DecodingResult::I16(all) => Some(layout.plane(all, flags)),
        DecodingResult::U32(all) => Some(layout.plane(all, flags)),
        DecodingResult::I32(all) => Some(layout.plane(all, flags)),
        DecodingResult::F16(all) => Some(layout.plane(all, flags)),
        DecodingResult::F32(all) => Some(layout.plane(all, flags)),
        DecodingResult::F64(all) => Some(layout.plane(all, flags)),
        DecodingResult::U64(_) | DecodingResult::I64(_) => None,
    }
}

/// Largest value that samples of 8 or 16 bits can hold.
fn ceiling(samples: &DecodingResult) -> Option<f64> {
    match samples {
        DecodingResult::U8(_) => Some(f64::from(u8::MAX)),
        DecodingResult::I8(_) => Some(f64::from(i8::MAX)),
        DecodingResult::U16(_) => Some(f64::from(u16::MAX)),
        DecodingResult::I16(_) => Some(f64::from(i16::MAX)),
        _ => None,
    }
}
