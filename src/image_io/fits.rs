//! FITS: the format astronomers' programs share. Writes counts and expected electrons, reads one image of a stranger's file.
//!
//! Row 0 of every array here is the bottom row, as FITS stores it; the card `ROWORDER` says so, and is obeyed when reading.
//! Cards use the units other programs expect: XPIXSZ in micrometres, FOCALLEN in millimetres, EXPTIME in seconds, EGAIN in
//! electrons per count. Places on the frame are counted from 1 in FITS and from 0 in this crate; STAR_X and STAR_Y follow FITS.
//!
//! It refuses cubes, tables and packed files instead of guessing, never reads a pixel array larger than [`MAX_PIXELS`], and
//! writes no date, so that the same frame gives the same bytes. No other file of the crate calls the FITS library.

pub use super::fits_error::FitsError;
use crate::frame::Frame;
use crate::units::{MM, UM};
use fits_well::header::{Header, Value};
use fits_well::image::{Image, Scaling};
use fits_well::io::{HduKind, SliceReader};
use fits_well::{FitsReader, FitsWriter};
use ndarray::{Array2, Axis};

/// Most pixels of an image that is read: 200 million, or 1.6 GB once in memory.
pub const MAX_PIXELS: usize = 200_000_000;

/// What the header of a written file says.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Cards {
    /// Title, card TITLE. FITS holds plain ASCII only: every other character is written as `?`.
    pub title: String,
    /// Pixel pitch, cards XPIXSZ and YPIXSZ.
    pub pixel_m: f64,
    /// Focal length, card FOCALLEN.
    pub focal_length_m: f64,
    /// Exposure, card EXPTIME.
    pub exposure_s: Option<f64>,
    /// Electrons per count, card EGAIN.
    pub gain_e_per_adu: Option<f64>,
    /// Seed of the noise, card SEED.
    pub seed: Option<u64>,
    /// Where a star with W = 0 would focus, frame axes; cards STAR_X and STAR_Y, counted from 1. A NaN
    /// leaves its card out: the place is not to be told.
    pub star_px: [f64; 2],
    /// Further cards, written after the others in this order.
    pub extra: Vec<Card>,
}

/// One further card of a header.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    /// Up to eight capital letters, digits, `-` and `_`.
    pub keyword: String,
    /// What it says.
    pub value: CardValue,
    /// A few words about it; what does not fit the card is cut off.
    pub comment: String,
}

/// What a card says.
#[derive(Debug, Clone, PartialEq)]
pub enum CardValue {
    /// Text; characters beyond ASCII are written as `?`.
    Text(String),
    /// A finite number.
    Real(f64),
    /// A whole number.
    Integer(i64),
    /// True or false.
    Logical(bool),
}

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
    /// Electrons per count: EGAIN. (GAIN is a setting of the camera, not a number of electrons, and is not used.)
    pub gain_e_per_adu: Option<f64>,
    /// Colour filter array: BAYERPAT, as written.
    pub colour_pattern: Option<String>,
    /// What looked wrong but did not stop the reading, one sentence each; show them to the user.
    pub warnings: Vec<String>,
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

/// A FITS file of the counts: 16 bits a pixel, unsigned by the standard's way (BZERO = 32768), BUNIT 'adu'.
///
/// # Errors
/// [`FitsError::Empty`] for a frame without pixels, [`FitsError::Card`] for a card with a number that is not finite or an
/// invalid keyword. A title never fails: see [`Cards::title`].
pub fn counts(frame: &Frame, cards: &Cards) -> Result<Vec<u8>, FitsError> {
    let shape = stored_shape(&frame.counts_adu)?;
    let stored: Vec<u16> = frame.counts_adu.iter().copied().collect();
    write(
        &Image::from_u16(shape, &stored).map_err(malformed)?,
        &header("adu", cards)?,
    )
}

/// A FITS file of expected values before noise, 64-bit floating point, with `unit` in the card BUNIT.
///
/// # Errors
/// [`FitsError::NotFinite`] for the first pixel that is not a finite number, [`FitsError::Empty`] and [`FitsError::Card`] as
/// [`counts`].
pub fn expected(image: &Array2<f64>, unit: &str, cards: &Cards) -> Result<Vec<u8>, FitsError> {
    let shape = stored_shape(image)?;
    if let Some(((row, column), value)) = image.indexed_iter().find(|(_, value)| !value.is_finite())
    {
        return Err(FitsError::NotFinite {
            column,
            row,
            value: *value,
        });
    }
    let stored: Vec<f64> = image.iter().copied().collect();
    write(
        &Image::new(shape, stored, Scaling::IDENTITY).map_err(malformed)?,
        &header(unit, cards)?,
    )
}

/// Reads the first image of a FITS file: 8, 16, 32 or 64-bit integers or floating point, with BZERO and BSCALE applied.
///
/// The image may be the primary one or, when that is empty, the first image extension. Sizes are checked against the file's
/// length and [`MAX_PIXELS`] before any array is made.
///
/// # Errors
/// See [`FitsError`]; every one says what to do next. No input makes this panic (`files::changed_bytes_never_panic`).
pub fn read(bytes: &[u8]) -> Result<FitsImage, FitsError> {
    refuse_other_formats(bytes)?;
    let mut reader = FitsReader::from_bytes(bytes).map_err(malformed)?;
    let index = first_image(&reader)?;
    let mut facts = Facts::gather(&reader, index);
    let mut image = reader.image(index).map_err(malformed)?;
    let metadata = image.metadata();
    let [width_px, height_px] = one_plane(metadata.shape)?;
    check_length(
        width_px,
        height_px,
        metadata.bitpix.elem_size(),
        bytes.len(),
    )?;
    let bits = 8 * metadata.bitpix.elem_size() as u32;
    let mut values = Vec::new();
    image.physical_into(.., &mut values).map_err(malformed)?;
    let mut pixels = Array2::from_shape_vec((height_px, width_px), values).map_err(|error| {
        FitsError::Malformed {
            reason: error.to_string(),
        }
    })?;
    if facts.top_row_first()? {
        pixels.invert_axis(Axis(0));
        pixels = pixels.as_standard_layout().into_owned();
    }
    Ok(facts.describe(pixels, bits))
}

fn is_count(value: f64) -> bool {
    (0.0..=f64::from(u16::MAX)).contains(&value) && value.fract() == 0.0
}

/// Axis lengths in FITS order, columns first.
fn stored_shape<T>(image: &Array2<T>) -> Result<Vec<usize>, FitsError> {
    let (height_px, width_px) = image.dim();
    if image.is_empty() {
        return Err(FitsError::Empty {
            width_px,
            height_px,
        });
    }
    Ok(vec![width_px, height_px])
}

fn write(image: &Image, header: &Header) -> Result<Vec<u8>, FitsError> {
    let mut writer = FitsWriter::new(Vec::new());
    writer
        .write_image(image.view(), Some(header))
        .map_err(malformed)?;
    Ok(writer.into_inner())
}

/// All cards but those that describe the pixel array itself, which the library writes.
fn header(unit: &str, cards: &Cards) -> Result<Header, FitsError> {
    let mut header = Header::new();
    let creator = concat!("skewstar ", env!("CARGO_PKG_VERSION"));
    put_text(&mut header, "TITLE", &cards.title, "")?;
    put_text(&mut header, "CREATOR", creator, "calculated, not observed")?;
    put_text(&mut header, "BUNIT", unit, "unit of the pixel values")?;
    put_text(
        &mut header,
        "ROWORDER",
        BOTTOM_UP,
        "the first row is the bottom row",
    )?;
    put_real(
        &mut header,
        "XPIXSZ",
        cards.pixel_m / UM,
        "[um] pixel pitch along a row",
    )?;
    put_real(
        &mut header,
        "YPIXSZ",
        cards.pixel_m / UM,
        "[um] pixel pitch along a column",
    )?;
    put_real(
        &mut header,
        "FOCALLEN",
        cards.focal_length_m / MM,
        "[mm] focal length",
    )?;
    if let Some(exposure_s) = cards.exposure_s {
        put_real(&mut header, "EXPTIME", exposure_s, "[s] exposure")?;
    }
    if let Some(gain_e_per_adu) = cards.gain_e_per_adu {
        put_real(&mut header, "EGAIN", gain_e_per_adu, "electrons per count")?;
    }
    if let Some(seed) = cards.seed {
        put(&mut header, "SEED", seed, "seed of the noise")?;
    }
    for (keyword, place_px) in ["STAR_X", "STAR_Y"].into_iter().zip(cards.star_px) {
        if !place_px.is_nan() {
            let comment = "[pixel] star with W = 0, counted from 1";
            put_real(&mut header, keyword, place_px + FIRST_PIXEL, comment)?;
        }
    }
    for card in &cards.extra {
        put_extra(&mut header, card)?;
    }
    Ok(header)
}

/// FITS coordinate of the centre of the first pixel (Greisen and Calabretta 2002, section 2.1.4).
const FIRST_PIXEL: f64 = 1.0;
const BOTTOM_UP: &str = "BOTTOM-UP";
const TOP_DOWN: &str = "TOP-DOWN";

fn put_extra(header: &mut Header, card: &Card) -> Result<(), FitsError> {
    match &card.value {
        CardValue::Text(text) => put_text(header, &card.keyword, text, &card.comment),
        CardValue::Real(real) => put_real(header, &card.keyword, *real, &card.comment),
        CardValue::Integer(integer) => put(header, &card.keyword, *integer, &card.comment),
        CardValue::Logical(logical) => put(header, &card.keyword, *logical, &card.comment),
    }
}

fn put_text(
    header: &mut Header,
    keyword: &str,
    text: &str,
    comment: &str,
) -> Result<(), FitsError> {
    put(header, keyword, plain_ascii(text), comment)
}

/// Writes 12 significant digits, so that 3.8 µm kept in metres comes out as 3.8.
fn put_real(
    header: &mut Header,
    keyword: &str,
    value: f64,
    comment: &str,
) -> Result<(), FitsError> {
    let rounded: f64 = format!("{value:.11e}").parse().unwrap_or(value);
    put(header, keyword, rounded, comment)
}

fn put(
    header: &mut Header,
    keyword: &str,
    value: impl Into<Value>,
    comment: &str,
) -> Result<(), FitsError> {
    let refused = |error: fits_well::FitsError| FitsError::Card {
        keyword: keyword.into(),
        reason: error.to_string(),
    };
    header.set(keyword, value).map_err(refused)?;
    let comment: String = plain_ascii(comment).chars().take(LONGEST_COMMENT).collect();
    if !comment.is_empty() {
        header.set_comment(keyword, &comment).map_err(refused)?;
    }
    Ok(())
}

/// Characters left of an 80-byte card after keyword, a value of 20 to 25 characters and the slash.
const LONGEST_COMMENT: usize = 40;

/// FITS text is limited to the ASCII characters from blank to tilde (FITS standard 4.0, section 4.1.2.3).
fn plain_ascii(text: &str) -> String {
    text.chars()
        .map(|character| {
            if matches!(character, ' '..='~') {
                character
            } else {
                '?'
            }
        })
        .collect()
}

fn malformed(error: fits_well::FitsError) -> FitsError {
    FitsError::Malformed {
        reason: error.to_string(),
    }
}

fn refuse_other_formats(bytes: &[u8]) -> Result<(), FitsError> {
    const PACKED: [(&[u8], &str); 5] = [
        (b"\x1f\x8b", "gzip"),
        (b"BZh", "bzip2"),
        (b"\xfd7zXZ", "xz"),
        (b"\x28\xb5\x2f\xfd", "zstd"),
        (b"PK\x03\x04", "zip"),
    ];
    if let Some((_, program)) = PACKED.iter().find(|(start, _)| bytes.starts_with(start)) {
        return Err(FitsError::Packed { program });
    }
    if bytes.starts_with(b"SIMPLE") {
        Ok(())
    } else {
        Err(FitsError::NotFits)
    }
}

/// Index of the first image, or the error that says what is there instead.
fn first_image(reader: &SliceReader<'_>) -> Result<usize, FitsError> {
    let holds = |wanted: &[HduKind]| reader.hdus().iter().any(|hdu| wanted.contains(&hdu.kind));
    if let Some(hdu) = reader
        .images()
        .find(|hdu| hdu.kind != HduKind::CompressedImage)
    {
        return Ok(hdu.index);
    }
    if let Some(defect) = reader.scan_defect() {
        return Err(FitsError::Malformed {
            reason: defect.to_string(),
        });
    }
    Err(if holds(&[HduKind::CompressedImage]) {
        FitsError::Tiled
    } else if holds(&[
        HduKind::BinTable,
        HduKind::AsciiTable,
        HduKind::CompressedTable,
    ]) {
        FitsError::Table
    } else {
        FitsError::NoImage
    })
}

/// Columns and rows of an image whose further axes, if any, have length 1.
fn one_plane(shape: &[usize]) -> Result<[usize; 2], FitsError> {
    match shape {
        [width_px, height_px, rest @ ..] if rest.iter().all(|length| *length == 1) => {
            if *width_px == 0 || *height_px == 0 {
                return Err(FitsError::Empty {
                    width_px: *width_px,
                    height_px: *height_px,
                });
            }
            Ok([*width_px, *height_px])
        }
        _ => Err(FitsError::NotOnePlane {
            shape: shape.to_vec(),
        }),
    }
}

fn check_length(
    width_px: usize,
    height_px: usize,
    pixel_bytes: usize,
    present_bytes: usize,
) -> Result<(), FitsError> {
    let pixels = width_px.saturating_mul(height_px);
    if pixels > MAX_PIXELS {
        return Err(FitsError::TooLarge {
            width_px,
            height_px,
        });
    }
    let needed_bytes = pixels * pixel_bytes;
    if needed_bytes > present_bytes {
        return Err(FitsError::CutShort {
            needed_bytes,
            present_bytes,
        });
    }
    Ok(())
}

/// What the headers say: the image's own first, then the primary one.
struct Facts {
    headers: Vec<Header>,
    warnings: Vec<String>,
}

impl Facts {
    fn gather(reader: &SliceReader<'_>, index: usize) -> Facts {
        let hdus = reader.hdus();
        let own = hdus.get(index).map(|hdu| hdu.header.clone());
        let primary = if index == 0 {
            None
        } else {
            hdus.first().map(|hdu| hdu.header.clone())
        };
        let headers: Vec<Header> = own.into_iter().chain(primary).collect();
        let mut warnings = Vec::new();
        let repairs: usize = headers.iter().map(|header| header.repairs().len()).sum();
        if repairs > 0 {
            warnings.push(format!(
                "{repairs} header cards break the FITS standard and were read as they were meant"
            ));
        }
        if let Some(defect) = reader.scan_defect() {
            warnings.push(format!(
                "what follows the image could not be read: {defect}"
            ));
        }
        Facts { headers, warnings }
    }

    fn top_row_first(&mut self) -> Result<bool, FitsError> {
        let Some(value) = self.text("ROWORDER") else {
            return Ok(false);
        };
        match value.to_ascii_uppercase().as_str() {
            BOTTOM_UP => Ok(false),
            TOP_DOWN => Ok(true),
            _ => Err(FitsError::RowOrder { value }),
        }
    }

    fn describe(mut self, pixels: Array2<f64>, bits: u32) -> FitsImage {
        let not_finite_px = pixels.iter().filter(|value| !value.is_finite()).count();
        if not_finite_px > 0 {
            self.warnings.push(format!(
                "{not_finite_px} of {} pixels hold no number",
                pixels.len()
            ));
        }
        let pixel_um = self.positive("XPIXSZ");
        self.warn_of_oblong_pixels(pixel_um);
        FitsImage {
            not_finite_px,
            bits,
            ceiling: self.ceiling(bits),
            title: self.text("TITLE").or_else(|| self.text("OBJECT")),
            pixel_m: pixel_um.map(|value| value * UM),
            focal_length_m: self.positive("FOCALLEN").map(|value| value * MM),
            exposure_s: self
                .positive("EXPTIME")
                .or_else(|| self.positive("EXPOSURE")),
            gain_e_per_adu: self.positive("EGAIN"),
            colour_pattern: self.text("BAYERPAT"),
            warnings: self.warnings,
            pixels,
        }
    }

    /// Eight bits are unsigned, sixteen are signed (FITS standard 4.0, section 4.4.1.1).
    fn ceiling(&mut self, bits: u32) -> Option<f64> {
        let stored = match bits {
            8 => f64::from(u8::MAX),
            16 => f64::from(i16::MAX),
            _ => return None,
        };
        let mut card = |keyword: &str| self.value(keyword, |header| header.get_real(keyword));
        let (zero, scale) = (card("BZERO").unwrap_or(0.0), card("BSCALE").unwrap_or(1.0));
        Some(zero + scale * stored).filter(|value| value.is_finite() && scale > 0.0)
    }

    fn warn_of_oblong_pixels(&mut self, across_um: Option<f64>) {
        let (Some(across_um), Some(along_um)) = (across_um, self.positive("YPIXSZ")) else {
            return;
        };
        if (across_um - along_um).abs() > 1e-6 * across_um {
            self.warnings.push(format!(
                "pixels are not square: XPIXSZ is {across_um}, YPIXSZ is {along_um}; only XPIXSZ is used"
            ));
        }
    }

    /// Text of a card without blanks at its ends; `None` when it is absent, empty or not text.
    fn text(&mut self, keyword: &str) -> Option<String> {
        let text = self.value(keyword, |header| {
            header.get_text(keyword).map(|text| text.map(str::to_owned))
        })?;
        let text = text.trim();
        (!text.is_empty()).then(|| text.to_owned())
    }

    /// A number above zero; anything else is left out with a warning.
    fn positive(&mut self, keyword: &str) -> Option<f64> {
        let number = self.value(keyword, |header| header.get_real(keyword))?;
        if number.is_finite() && number > 0.0 {
            return Some(number);
        }
        self.warnings.push(format!(
            "the card {keyword} says {number}, which must be above 0; it is not used"
        ));
        None
    }

    fn value<T>(
        &mut self,
        keyword: &str,
        get: impl Fn(&Header) -> fits_well::Result<Option<T>>,
    ) -> Option<T> {
        for header in &self.headers {
            match get(header) {
                Ok(Some(value)) => return Some(value),
                Ok(None) => {}
                Err(error) => {
                    self.warnings.push(format!(
                        "the card {keyword} could not be read and is not used: {error}"
                    ));
                    return None;
                }
            }
        }
        None
    }
}
