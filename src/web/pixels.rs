//! Pictures as the page reads them: sixteen bits a pixel on a straight scale, so that stretch and zoom are the page's own.
//!
//! | bytes | content (little-endian) |
//! |---|---|
//! | 4 | "SKW1" |
//! | 2 + 2 | columns, rows |
//! | 4 + 4 + 4 | black, white and middle in the picture's own unit, 32-bit floats |
//! | 2 each | pixels, top row first: 0 is black, 65535 white |

use crate::image_io::stretch::Stretch;
use ndarray::Array2;

/// Packs one picture.
pub fn pack(image: &Array2<f64>) -> Vec<u8> {
    let stretch = Stretch::of(image);
    let (rows, columns) = image.dim();
    let mut bytes = Vec::with_capacity(20 + 2 * image.len());
    bytes.extend_from_slice(b"SKW1");
    for side in [columns, rows] {
        bytes.extend_from_slice(&u16::try_from(side).unwrap_or(u16::MAX).to_le_bytes());
    }
    for limit in [stretch.black, stretch.white, stretch.middle] {
        bytes.extend_from_slice(&(limit as f32).to_le_bytes());
    }
    let span = (stretch.white - stretch.black).max(f64::MIN_POSITIVE);
    for row in image.rows().into_iter().rev() {
        for value in row {
            let level = ((value - stretch.black) / span * 65_535.0).clamp(0.0, 65_535.0);
            bytes.extend_from_slice(&(level.round() as u16).to_le_bytes());
        }
    }
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_top_row_comes_first_and_the_peak_is_white() {
        let mut image = Array2::zeros((5, 7));
        image[[4, 2]] = 900.0; // upper row
        let bytes = pack(&image);
        assert_eq!(&bytes[..8], b"SKW1\x07\0\x05\0");
        assert_eq!(bytes.len(), 20 + 2 * 35);
        assert_eq!(bytes[20 + 4..20 + 6], [255, 255]);
        assert!(bytes[20 + 14..].iter().all(|byte| *byte == 0));
    }
}
