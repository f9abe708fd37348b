//! The filter array that the cards of a file describe, turned into the pattern of the frame as it is read.
//!
//! `BAYERPAT` (else `COLORTYP`) names the filters of the first two *stored* rows, from left to right, first row first; `XBAYROFF` and
//! `YBAYROFF` say how many columns and rows of the pattern lie before the first stored pixel (common practice, no source: the FITS
//! standard does not know these cards). Row 0 of a frame is the bottom row, so that a file whose top row is stored first
//! (`ROWORDER = 'TOP-DOWN'`) has the pattern of its *last* stored row in row 0: with an even number of rows RGGB becomes GBRG, with an
//! odd number it stays.

/// The cards of one file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct MosaicCards {
    /// The filters of the first two stored rows.
    pub pattern: [char; 4],
    /// Columns and rows of the pattern before the first stored pixel.
    pub offset_px: [i64; 2],
}

impl MosaicCards {
    /// The pattern from row 0 of the frame upwards.
    pub fn upward(&self, rows: usize, top_row_first: bool) -> String {
        let stored = |row: usize, column: usize| {
            let [x, y] = [column, row].map(|place| place as i64);
            let [x, y] = [x + self.offset_px[0], y + self.offset_px[1]].map(|p| p.rem_euclid(2));
            self.pattern[(2 * y + x) as usize]
        };
        let letter = |cell: usize| {
            let (row, column) = (cell / 2, cell % 2);
            // a frame of one row has no second one; its pattern goes on as if it had
            let stored_row = if top_row_first {
                (rows + 1 - row) % 2
            } else {
                row
            };
            stored(stored_row, column)
        };
        (0..4).map(letter).collect()
    }
}

/// The letters of a pattern, small or capital; `None` unless there are one R, two G and one B.
pub(super) fn filters(letters: &str) -> Option<[char; 4]> {
    let capital: Vec<char> = letters.to_ascii_uppercase().chars().collect();
    let pattern: [char; 4] = capital.try_into().ok()?;
    let count = |letter| pattern.iter().filter(|other| **other == letter).count();
    (['R', 'G', 'B'].map(count) == [1, 2, 1]).then_some(pattern)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every pixel of a small sensor is followed from its card to its place in the frame, one by one, without the rule under test.
    #[test]
    fn each_pixel_keeps_its_filter() {
        for (letters, rows, top_row_first, offset_px) in cases() {
            let pattern = filters(letters).expect("a pattern");
            let cards = MosaicCards { pattern, offset_px };
            let found = cards.upward(rows, top_row_first);
            for stored_row in 0..rows {
                for column in 0..5 {
                    let seen_row = if top_row_first {
                        rows - 1 - stored_row
                    } else {
                        stored_row
                    };
                    let of_card = {
                        let row = (stored_row as i64 + offset_px[1]).rem_euclid(2) as usize;
                        let column = (column as i64 + offset_px[0]).rem_euclid(2) as usize;
                        pattern[2 * row + column]
                    };
                    let of_frame = found
                        .chars()
                        .nth(2 * (seen_row % 2) + column % 2)
                        .expect("four");
                    assert_eq!(
                        of_frame, of_card,
                        "{letters} {rows} {top_row_first} {offset_px:?}"
                    );
                }
            }
        }
    }

    fn cases() -> Vec<(&'static str, usize, bool, [i64; 2])> {
        let mut cases = Vec::new();
        for letters in ["RGGB", "BGGR", "GRBG", "GBRG"] {
            for rows in [6, 7] {
                for top_row_first in [false, true] {
                    for offset_px in [[0, 0], [1, 0], [0, 1], [1, 1], [-1, 3]] {
                        cases.push((letters, rows, top_row_first, offset_px));
                    }
                }
            }
        }
        cases
    }

    /// Published examples: an image turned upside down turns RGGB into GBRG (free-astro.org, "Orientation of FITS images").
    #[test]
    fn upside_down_rggb_is_gbrg() {
        let pattern = filters("RGGB").expect("a pattern");
        let cards = MosaicCards {
            pattern,
            offset_px: [0, 0],
        };
        let letters = |rows, top| cards.upward(rows, top);
        assert_eq!(letters(100, true), "GBRG");
        assert_eq!(letters(101, true), "RGGB");
        assert_eq!(letters(100, false), "RGGB");
    }
}
