//! PNG files: 8-bit grays, 8-bit colours, 16-bit counts. Writes only; no text or time is stored in them.
//!
//! Row 0 of every array is the bottom row. PNG starts at the top, so the rows are turned over on the way.

use super::canvas::Canvas;
use super::{PictureError, counts_from_the_top, picture_sides};
use crate::frame::Frame;
use image::codecs::png::{CompressionType, FilterType, PngEncoder};
use image::{ExtendedColorType, ImageEncoder};
use ndarray::Array2;

/// An 8-bit gray PNG of `gray`, element `[[row, column]]`, row 0 at the bottom.
///
/// # Errors
/// [`PictureError::Size`] for an empty array or a side longer than [`MAX_SIDE_PX`](super::MAX_SIDE_PX).
pub fn gray8(gray: &Array2<u8>) -> Result<Vec<u8>, PictureError> {
    let bytes: Vec<u8> = gray.rows().into_iter().rev().flatten().copied().collect();
    encode(&bytes, gray.dim(), ExtendedColorType::L8)
}

/// An 8-bit colour PNG of what was drawn on `canvas`.
///
/// # Errors
/// [`PictureError::Size`] for a side longer than [`MAX_SIDE_PX`](super::MAX_SIDE_PX).
pub fn rgb8(canvas: &Canvas) -> Result<Vec<u8>, PictureError> {
    let bytes: Vec<u8> = canvas
        .rows_from_top()
        .flatten()
        .flat_map(|colour| colour.0)
        .collect();
    encode(
        &bytes,
        (canvas.height_px(), canvas.width_px()),
        ExtendedColorType::Rgb8,
    )
}

/// A 16-bit gray PNG of the counts themselves, without any stretch: count 0 is black, 65535 white.
///
/// # Errors
/// [`PictureError::Size`] for an empty frame or a side longer than [`MAX_SIDE_PX`](super::MAX_SIDE_PX).
pub fn gray16(frame: &Frame) -> Result<Vec<u8>, PictureError> {
    let size = frame.counts_adu.dim();
    encode(&counts_from_the_top(frame), size, ExtendedColorType::L16)
}

fn encode(
    bytes: &[u8],
    dim: (usize, usize),
    kind: ExtendedColorType,
) -> Result<Vec<u8>, PictureError> {
    let [width, height] = picture_sides(dim.0, dim.1)?;
    let mut file = Vec::new();
    PngEncoder::new_with_quality(&mut file, CompressionType::Default, FilterType::Adaptive)
        .write_image(bytes, width, height, kind)?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::image_io::canvas::Rgb;
    use ndarray::arr2;

    /// PNG specification, third edition, section 5.2: the signature; section 11.2.1: IHDR holds width, height, depth, colour type.
    fn assert_header(file: &[u8], width: u32, height: u32, depth: u8, colour_type: u8) {
        assert_eq!(&file[..8], b"\x89PNG\r\n\x1a\n");
        assert_eq!(&file[16..20], width.to_be_bytes());
        assert_eq!(&file[20..24], height.to_be_bytes());
        assert_eq!((file[24], file[25]), (depth, colour_type));
    }

    #[test]
    fn the_first_row_of_the_array_is_the_last_of_the_picture() {
        let gray = arr2(&[[1u8, 2, 3], [200, 201, 202]]);
        let file = gray8(&gray).unwrap();
        assert_header(&file, 3, 2, 8, 0);
        let back = image::load_from_memory(&file).unwrap().into_luma8();
        assert_eq!(back.into_raw(), [200, 201, 202, 1, 2, 3]);
    }

    #[test]
    fn counts_keep_all_sixteen_bits() {
        let frame = Frame {
            counts_adu: arr2(&[[0u16, 513], [40_000, 65_535]]),
            pixel_m: 3.8e-6,
            saturation_adu: 65_535,
            saturated_px: 0,
        };
        let file = gray16(&frame).unwrap();
        assert_header(&file, 2, 2, 16, 0);
        let back = image::load_from_memory(&file).unwrap().into_luma16();
        assert_eq!(back.into_raw(), [40_000, 65_535, 0, 513]);
    }

    #[test]
    fn a_canvas_keeps_its_colours_and_its_way_up() {
        let mut canvas = Canvas::new(2, 3, Rgb([0, 0, 0])).unwrap();
        canvas.fill_rect([1, 2], [1, 1], Rgb([9, 80, 250]));
        let file = rgb8(&canvas).unwrap();
        assert_header(&file, 2, 3, 8, 2);
        let back = image::load_from_memory(&file).unwrap().into_rgb8();
        assert_eq!(
            back.get_pixel(1, 0).0,
            [9, 80, 250],
            "row 2 of three is the top row"
        );
        assert_eq!(back.get_pixel(1, 2).0, [0, 0, 0]);
    }

    #[test]
    fn an_array_stored_by_columns_gives_the_same_bytes() {
        let by_rows = arr2(&[[1u8, 2, 3], [4, 5, 6]]);
        let by_columns = arr2(&[[1u8, 4], [2, 5], [3, 6]]).reversed_axes();
        assert_eq!(gray8(&by_rows).unwrap(), gray8(&by_columns).unwrap());
    }

    #[test]
    fn an_empty_picture_is_refused_in_words() {
        let error = gray8(&Array2::zeros((0, 7))).unwrap_err();
        assert_eq!(
            error.to_string(),
            "a picture of 7 × 0 pixels cannot be written: each side must be from 1 to 65535"
        );
        assert!(error.hint().is_some());
    }
}
