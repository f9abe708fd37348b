//! Reading a stranger's FITS file: which image of it, how large, its pixels and what its cards say.

use super::facts::Facts;
use super::unpack::{GZIP, gunzip};
use super::{FitsError, MAX_PIXELS, MAX_UNPACKED_BYTES, malformed};
use crate::units::{MM, UM};
use fits_well::FitsReader;
use fits_well::io::{HduKind, SliceReader};
use ndarray::{Array2, Axis};

/// How a FITS file begins (FITS standard 4.0, section 4.4.1.1).
pub(super) const START: &[u8] = b"SIMPLE";
/// No packing of tiles makes an image smaller than this many times (deflate: 1032, from memory; an empty tile of 10^4 pixels by Rice: 10^3).
const MOST_PACKED: usize = 3000;

/// An image read from a FITS file, and what its header says about the camera.
#[derive(Debug, Clone, PartialEq)]
pub struct FitsImage {
    /// Physical pixel values (BZERO and BSCALE applied), element `[[row, column]]`, row 0 at the bottom whatever the file's order.
    pub pixels: Array2<f64>,
    /// Number of pixels that hold no finite number (NaN, infinity, or the file's BLANK); they are NaN or infinite in `pixels`.
    pub not_finite_px: usize,
    /// Bits of a stored value.
    pub bits: u32,
    /// Largest value that 8 or 16 bits can hold, BZERO and BSCALE applied; `None` for wider values.
    pub ceiling: Option<f64>,
    /// Title: TITLE, else OBJECT.
    pub title: Option<String>,
    /// Pixel pitch: XPIXSZ.
    pub pixel_m: Option<f64>,
    /// Focal length: FOCALLEN.
    pub focal_length_m: Option<f64>,
    /// Exposure: EXPTIME, else EXPOSURE.
    pub exposure_s: Option<f64>,
    /// When the exposure began by the camera's clock, seconds since 1970-01-01 UTC: DATE-OBS.
    pub began_s: Option<f64>,
    /// Electrons per count: EGAIN. (GAIN is a setting of the camera, not a number of electrons, and is not used.)
    pub gain_e_per_adu: Option<f64>,
    /// Colour filter array: BAYERPAT, else COLORTYP, as written.
    pub colour_card: Option<String>,
    /// The same as the pattern from row 0 of `pixels` upwards, XBAYROFF, YBAYROFF and the order of the rows allowed for; `None` where
    /// the card is no pattern.
    pub colour_pattern: Option<String>,
    /// Whether the sky is mirrored in `pixels`: seen from behind, east to the right of north. `None` where no card says it.
    pub sky_mirrored: Option<bool>,
    /// Colours, where the file has three planes; `pixels` are then the second, the green one.
    pub planes: Option<Planes>,
    /// Whether packing in tiles lost something.
    pub lossy: bool,
    /// What looked wrong but did not stop the reading, one sentence each; show them to the user.
    pub warnings: Vec<String>,
}

/// Three planes of a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Planes {
    /// They differ: red, green and blue.
    Colours,
    /// They are the same: grey, saved three times.
    Grey,
}

impl FitsImage {
    /// The pixels as the counts of a camera.
    ///
    /// # Errors
    /// [`FitsError::NotCounts`] for the first pixel that is not a whole number from 0 to 65535.
    pub fn counts_adu(&self) -> Result<Array2<u16>, FitsError> {
        if let Some(((row, column), value)) = self
            .pixels
            .indexed_iter()
            .find(|(_, value)| !is_count(**value))
        {
            return Err(FitsError::NotCounts {
                column,
                row,
                value: *value,
            });
        }
        Ok(self.pixels.mapv(|value| value as u16))
    }
}

/// Reads the first image of a FITS file: 8, 16, 32 or 64-bit integers or floating point, with BZERO and BSCALE applied, plain or in
/// tiles, the whole file also packed with gzip. Of three planes the second, the green one, is read.
///
/// The image may be the primary one or, when that is empty, the first image extension. Sizes are checked against the file's
/// length and [`MAX_PIXELS`] before any array is made; a packed file may unpack to [`MAX_UNPACKED_BYTES`].
///
/// # Errors
/// See [`FitsError`]; every one says what to do next. No input makes this panic (`files::changed_bytes_never_panic`).
///
/// # Accuracy
/// Packed files give, bit for bit, what astropy reads from them (`camera_files::packed_files_hold_what_their_plain_twins_hold`).
pub fn read(bytes: &[u8]) -> Result<FitsImage, FitsError> {
    if bytes.starts_with(GZIP) {
        return read(&gunzip(bytes, MAX_UNPACKED_BYTES)?);
    }
    refuse_other_formats(bytes)?;
    let mut reader = FitsReader::from_bytes(bytes).map_err(malformed)?;
    let index = first_image(&reader)?;
    let mut facts = Facts::gather(&reader, index);
    let packed = reader.hdus()[index].kind == HduKind::CompressedImage;
    let method = facts.tile_method().filter(|_| packed);
    let unreadable = |error: fits_well::FitsError| match &method {
        Some(method) => FitsError::Tiles {
            method: method.clone(),
            reason: error.to_string(),
        },
        None => malformed(error),
    };
    let mut image = reader.image(index).map_err(unreadable)?;
    let metadata = image.metadata();
    let size = Size::of(metadata.shape)?;
    let (pixel_bytes, floating) = (metadata.bitpix.elem_size(), metadata.bitpix.is_float());
    size.check(pixel_bytes, bytes.len(), packed)?;
    let mut values = Vec::new();
    image.physical_into(.., &mut values).map_err(unreadable)?;
    let planes = (size.planes == 3).then(|| planes(&mut values, size.width_px * size.height_px));
    let shape = (size.height_px, size.width_px);
    let mut pixels =
        Array2::from_shape_vec(shape, values).map_err(|error| FitsError::Malformed {
            reason: error.to_string(),
        })?;
    let top_row_first = facts.top_row_first()?;
    if top_row_first {
        pixels.invert_axis(Axis(0));
        pixels = pixels.as_standard_layout().into_owned();
    }
    let lossy = packed && facts.packed_with_losses(floating);
    Ok(FitsImage {
        planes,
        lossy,
        ..described(facts, pixels, 8 * pixel_bytes as u32, top_row_first)
    })
}

/// The image with what the cards say.
fn described(mut facts: Facts, pixels: Array2<f64>, bits: u32, top_row_first: bool) -> FitsImage {
    let not_finite_px = pixels.iter().filter(|value| !value.is_finite()).count();
    let pixel_um = facts.positive("XPIXSZ");
    facts.warn_of_oblong_pixels(pixel_um);
    let (colour_card, cards) = facts.mosaic();
    FitsImage {
        not_finite_px,
        bits,
        ceiling: facts.ceiling(bits),
        title: facts.text("TITLE").or_else(|| facts.text("OBJECT")),
        pixel_m: pixel_um.map(|value| value * UM),
        focal_length_m: facts.positive("FOCALLEN").map(|value| value * MM),
        exposure_s: facts
            .positive("EXPTIME")
            .or_else(|| facts.positive("EXPOSURE")),
        began_s: facts.began_s(),
        gain_e_per_adu: facts.positive("EGAIN"),
        colour_card,
        colour_pattern: cards.map(|cards| cards.upward(pixels.nrows(), top_row_first)),
        sky_mirrored: facts
            .sky_mirrored()
            .map(|as_stored| as_stored != top_row_first),
        planes: None,
        lossy: false,
        warnings: facts.warnings,
        pixels,
    }
}

/// Leaves the second of three planes, and says whether they differ.
fn planes(values: &mut Vec<f64>, pixels: usize) -> Planes {
    let [red, green, blue] = [0, 1, 2].map(|plane| &values[plane * pixels..(plane + 1) * pixels]);
    // a pixel without a number is none in all three planes of a grey picture
    let same = |a: &f64, b: &f64| a.to_bits() == b.to_bits() || (a.is_nan() && b.is_nan());
    let grey = (0..pixels).all(|at| same(&red[at], &green[at]) && same(&green[at], &blue[at]));
    values.truncate(2 * pixels);
    values.drain(..pixels);
    if grey { Planes::Grey } else { Planes::Colours }
}

fn is_count(value: f64) -> bool {
    (0.0..=f64::from(u16::MAX)).contains(&value) && value.fract() == 0.0
}

fn refuse_other_formats(bytes: &[u8]) -> Result<(), FitsError> {
    const PACKED: [(&[u8], &str); 4] = [
        (b"BZh", "bzip2"),
        (b"\xfd7zXZ", "xz"),
        (b"\x28\xb5\x2f\xfd", "zstd"),
        (b"PK\x03\x04", "zip"),
    ];
    if let Some((_, program)) = PACKED.iter().find(|(start, _)| bytes.starts_with(start)) {
        return Err(FitsError::Packed { program });
    }
    if bytes.starts_with(START) {
        Ok(())
    } else {
        Err(FitsError::NotFits)
    }
}

/// Index of the first image, plain or in tiles, or the error that says what is there instead.
fn first_image(reader: &SliceReader<'_>) -> Result<usize, FitsError> {
    if let Some(hdu) = reader.images().next() {
        return Ok(hdu.index);
    }
    if let Some(defect) = reader.scan_defect() {
        return Err(FitsError::Malformed {
            reason: defect.to_string(),
        });
    }
    const TABLES: [HduKind; 3] = [
        HduKind::BinTable,
        HduKind::AsciiTable,
        HduKind::CompressedTable,
    ];
    let holds_table = reader.hdus().iter().any(|hdu| TABLES.contains(&hdu.kind));
    Err(if holds_table {
        FitsError::Table
    } else {
        FitsError::NoImage
    })
}

/// How large an image is.
struct Size {
    width_px: usize,
    height_px: usize,
    /// 1 or 3.
    planes: usize,
}

impl Size {
    /// Columns, rows and planes of an image whose further axes, if any, have length 1.
    fn of(shape: &[usize]) -> Result<Size, FitsError> {
        let (width_px, height_px, planes) = match shape {
            [width_px, height_px, 3, rest @ ..] if rest.iter().all(|length| *length == 1) => {
                (*width_px, *height_px, 3)
            }
            [width_px, height_px, rest @ ..] if rest.iter().all(|length| *length == 1) => {
                (*width_px, *height_px, 1)
            }
            _ => {
                return Err(FitsError::NotOnePlane {
                    shape: shape.to_vec(),
                });
            }
        };
        if width_px == 0 || height_px == 0 {
            return Err(FitsError::Empty {
                width_px,
                height_px,
            });
        }
        Ok(Size {
            width_px,
            height_px,
            planes,
        })
    }

    /// Refuses what is too large, or cannot be in the bytes that are there.
    fn check(
        &self,
        pixel_bytes: usize,
        present_bytes: usize,
        packed: bool,
    ) -> Result<(), FitsError> {
        let pixels = self.width_px.saturating_mul(self.height_px);
        let values = pixels.saturating_mul(self.planes);
        if values > MAX_PIXELS {
            return Err(FitsError::TooLarge {
                width_px: self.width_px,
                height_px: self.height_px,
            });
        }
        let shrunk = if packed { MOST_PACKED } else { 1 };
        let needed_bytes = values * pixel_bytes / shrunk;
        if needed_bytes > present_bytes {
            return Err(FitsError::CutShort {
                needed_bytes,
                present_bytes,
            });
        }
        Ok(())
    }
}
