//! TIFF files of counts, 16 bits a pixel, uncompressed. Writes only.
//!
//! Row 0 of the frame is the bottom row. TIFF starts at the top, so the rows are turned over on the way.

use super::{PictureError, counts_from_the_top, picture_sides};
use crate::frame::Frame;
use image::codecs::tiff::TiffEncoder;
use image::{ExtendedColorType, ImageEncoder};
use std::io::Cursor;

/// A 16-bit gray TIFF of the counts themselves, without any stretch.
///
/// # Errors
/// [`PictureError::Size`] for an empty frame or a side longer than [`MAX_SIDE_PX`](super::MAX_SIDE_PX).
pub fn gray16(frame: &Frame) -> Result<Vec<u8>, PictureError> {
    let counts = &frame.counts_adu;
    let [width, height] = picture_sides(counts.nrows(), counts.ncols())?;
    let bytes = counts_from_the_top(frame);
    let mut file = Cursor::new(Vec::new());
    TiffEncoder::new(&mut file).write_image(&bytes, width, height, ExtendedColorType::L16)?;
    Ok(file.into_inner())
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::{Array2, arr2};

    fn frame(counts_adu: Array2<u16>) -> Frame {
        Frame {
            counts_adu,
            pixel_m: 3.8e-6,
            saturation_adu: 65_535,
            saturated_px: 0,
        }
    }

    #[test]
    fn counts_survive_and_the_first_row_is_the_last_of_the_picture() {
        let file = gray16(&frame(arr2(&[[0u16, 513, 7], [40_000, 65_535, 8]]))).unwrap();
        // TIFF 6.0, section 2: byte order "II" or "MM", then 42.
        assert!(file.starts_with(b"II\x2a\x00") || file.starts_with(b"MM\x00\x2a"));
        let back = image::load_from_memory(&file).unwrap().into_luma16();
        assert_eq!(back.dimensions(), (3, 2));
        assert_eq!(back.into_raw(), [40_000, 65_535, 8, 0, 513, 7]);
    }

    #[test]
    fn an_empty_frame_is_refused() {
        assert!(matches!(
            gray16(&frame(Array2::zeros((3, 0)))),
            Err(PictureError::Size {
                width_px: 0,
                height_px: 3
            })
        ));
    }
}
