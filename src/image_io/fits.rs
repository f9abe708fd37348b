//! FITS: the format astronomers' programs share. Writes counts and expected electrons, reads one image of a stranger's file.
//!
//! Row 0 of every array here is the bottom row, as FITS stores it; the card `ROWORDER` says so, and is obeyed when reading.
//! Cards use the units other programs expect: XPIXSZ in micrometres, FOCALLEN in millimetres, EXPTIME in seconds, EGAIN in
//! electrons per count. Places on the frame are counted from 1 in FITS and from 0 in this crate; STAR_X and STAR_Y follow FITS.
//!
//! Reading (`fits/reading.rs`): integers and floating point of every width, also packed in tiles (RICE_1, GZIP_1, GZIP_2, HCOMPRESS_1,
//! PLIO_1; quantised floating point with and without dither, FITS standard 4.0, section 10), also inside gzip. A file without the
//! card `ROWORDER` is taken to store the bottom row first, as the standard recommends (section 5.1); one that says `TOP-DOWN` is turned
//! over, so that row 0 is the bottom of the picture as the camera's program shows it. A program that does not know the card shows such
//! a file upside down, which is a mirrored picture: directions read off it do not hold here.
//!
//! It refuses stacks and tables instead of guessing, never reads more than [`MAX_PIXELS`] values, and writes no date, so that the same
//! frame gives the same bytes. No other file of the crate calls the FITS library.

mod error;
mod facts;
mod mosaic;
mod reading;
mod unpack;

pub use error::FitsError;
pub use reading::{FitsImage, Planes, read};
pub use unpack::MAX_UNPACKED_BYTES;

use crate::frame::Frame;
use crate::units::{MM, UM};
use fits_well::FitsWriter;
use fits_well::header::{Header, Value};
use fits_well::image::{Image, Scaling};
use ndarray::Array2;

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

/// The same of many frames of one size, one after the other along a third axis: `counts_adu` has the first frame's rows first, row 0 at the
/// bottom.
///
/// # Errors
/// As [`counts`]; [`FitsError::Empty`] also where the counts do not fill whole frames.
pub fn counts_cube(
    [width_px, height_px]: [usize; 2],
    counts_adu: &[u16],
    cards: &Cards,
) -> Result<Vec<u8>, FitsError> {
    let each = width_px * height_px;
    if each == 0 || counts_adu.is_empty() || !counts_adu.len().is_multiple_of(each) {
        return Err(FitsError::Empty {
            width_px,
            height_px,
        });
    }
    let shape = vec![width_px, height_px, counts_adu.len() / each];
    write(
        &Image::from_u16(shape, counts_adu).map_err(malformed)?,
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
