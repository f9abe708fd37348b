//! Sums over squares of a frame, and its connected regions. Knows nothing of stars.

use ndarray::Array2;

/// Sums over squares in a time that does not depend on their size.
pub(super) struct BoxSums {
    /// Element `[[row, column]]`: sum of all values below and to the left.
    sums: Array2<f64>,
}

impl BoxSums {
    /// Prepares the sums of an array.
    pub fn new(values: &Array2<f64>) -> BoxSums {
        let (rows, columns) = values.dim();
        let mut sums = Array2::zeros((rows + 1, columns + 1));
        for row in 0..rows {
            let mut along = 0.0;
            for column in 0..columns {
                along += values[[row, column]];
                sums[[row + 1, column + 1]] = sums[[row, column + 1]] + along;
            }
        }
        BoxSums { sums }
    }

    /// Sum and number of the pixels at most `half_px` rows and columns away.
    pub fn around(&self, [row, column]: [usize; 2], half_px: usize) -> (f64, usize) {
        let (rows, columns) = (self.sums.nrows() - 1, self.sums.ncols() - 1);
        let (low, left) = (row.saturating_sub(half_px), column.saturating_sub(half_px));
        let (high, right) = (
            (row + half_px + 1).min(rows),
            (column + half_px + 1).min(columns),
        );
        let sum = self.sums[[high, right]] - self.sums[[low, right]] - self.sums[[high, left]]
            + self.sums[[low, left]];
        (sum, (high - low) * (right - left))
    }
}

/// Every pixel at most `half_px` rows and columns from a set one.
pub(super) fn grown(set: &Array2<bool>, half_px: usize) -> Array2<bool> {
    let sums = BoxSums::new(&set.mapv(|is| f64::from(u8::from(is))));
    Array2::from_shape_fn(set.dim(), |(row, column)| {
        sums.around([row, column], half_px).0 > 0.5
    })
}

/// Connected regions of a set, over corners too, each with the holes it closes in and whatever stands in them.
pub(super) struct Regions {
    /// Pixels `[row, column]` of each region, holes included.
    pub pixels: Vec<Vec<[usize; 2]>>,
    /// Sizes of the holes of each region, in pixels.
    pub holes_px: Vec<Vec<usize>>,
}

impl Regions {
    /// Finds them, in the order of their first pixel.
    pub fn of(set: &Array2<bool>) -> Regions {
        let filled = with_holes(set);
        let mut seen = filled.mapv(|is| !is);
        let mut regions = Regions {
            pixels: Vec::new(),
            holes_px: Vec::new(),
        };
        for row in 0..filled.nrows() {
            for column in 0..filled.ncols() {
                if seen[[row, column]] {
                    continue;
                }
                let pixels = flood(&mut seen, [row, column], true);
                regions.holes_px.push(holes(set, &pixels));
                regions.pixels.push(pixels);
            }
        }
        regions
    }
}

/// The set and its holes: pixels from which no way over pixels outside the set, side to side, leads to the edge of the frame.
pub(super) fn with_holes(set: &Array2<bool>) -> Array2<bool> {
    let (rows, columns) = set.dim();
    let mut seen = set.clone();
    for row in 0..rows {
        for column in 0..columns {
            let at_edge = row == 0 || column == 0 || row + 1 == rows || column + 1 == columns;
            if at_edge && !seen[[row, column]] {
                flood(&mut seen, [row, column], false);
            }
        }
    }
    // pixels that were reached from the edge lie outside; all others belong to the set or are holes in it
    let mut outside = seen;
    outside.zip_mut_with(set, |reached, is| *reached = *reached && !*is);
    outside.mapv(|is| !is)
}

/// Sizes of the parts of a region that were not in the set.
fn holes(set: &Array2<bool>, pixels: &[[usize; 2]]) -> Vec<usize> {
    let open: Vec<[usize; 2]> = pixels.iter().copied().filter(|at| !set[*at]).collect();
    let Some([low, high]) = corners(&open) else {
        return Vec::new();
    };
    let mut seen = Array2::from_elem((high[0] - low[0] + 1, high[1] - low[1] + 1), true);
    let inside = |at: &[usize; 2]| [at[0] - low[0], at[1] - low[1]];
    open.iter().for_each(|at| seen[inside(at)] = false);
    let mut sizes = Vec::new();
    for at in &open {
        if !seen[inside(at)] {
            sizes.push(flood(&mut seen, inside(at), false).len());
        }
    }
    sizes
}

/// Lowest and highest row and column of some pixels; `None` without any.
pub(super) fn corners(pixels: &[[usize; 2]]) -> Option<[[usize; 2]; 2]> {
    let first = *pixels.first()?;
    let both = pixels.iter().fold([first, first], |[low, high], at| {
        [
            [low[0].min(at[0]), low[1].min(at[1])],
            [high[0].max(at[0]), high[1].max(at[1])],
        ]
    });
    Some(both)
}

/// Marks and returns all unseen pixels connected with the first; over corners too where `corners` says so.
fn flood(seen: &mut Array2<bool>, first: [usize; 2], corners: bool) -> Vec<[usize; 2]> {
    let (rows, columns) = (seen.nrows() as i64, seen.ncols() as i64);
    let mut found = vec![first];
    seen[first] = true;
    let mut next = 0;
    while next < found.len() {
        let [row, column] = found[next].map(|p| p as i64);
        next += 1;
        for j in -1..=1 {
            for i in -1..=1 {
                let (y, x) = (row + j, column + i);
                let inside = (0..rows).contains(&y) && (0..columns).contains(&x);
                if !inside || (!corners && i != 0 && j != 0) {
                    continue;
                }
                let at = [y as usize, x as usize];
                if !seen[at] {
                    seen[at] = true;
                    found.push(at);
                }
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use ndarray::arr2;

    fn set(text: &[&str]) -> Array2<bool> {
        Array2::from_shape_fn((text.len(), text[0].len()), |(row, column)| {
            text[row].as_bytes()[column] == b'#'
        })
    }

    #[test]
    fn sums_over_squares_stop_at_the_edge() {
        let sums = BoxSums::new(&arr2(&[[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]]));
        assert_eq!(sums.around([0, 0], 1), (12.0, 4));
        assert_eq!(sums.around([1, 1], 0), (5.0, 1));
        assert_eq!(sums.around([1, 2], 9), (21.0, 6));
    }

    /// A ring is one region with its hole and what stands in the hole; a gap at the frame's edge closes nothing in.
    #[test]
    fn a_ring_is_one_region_with_what_it_encloses() {
        let regions = Regions::of(&set(&[
            "#####...#",
            "#...#....",
            "#.#.#...#",
            "#...#..#.",
            "#####...#",
        ]));
        let sizes: Vec<usize> = regions.pixels.iter().map(Vec::len).collect();
        assert_eq!(sizes, [25, 1, 3]);
        assert_eq!(regions.holes_px[0], [8]);
        assert!(regions.holes_px[1].is_empty() && regions.holes_px[2].is_empty());
    }

    #[test]
    fn a_set_grows_by_whole_pixels_in_all_directions() {
        let found = grown(&set(&["......", "..#...", "......", "......"]), 1);
        assert_eq!(found, set(&[".###..", ".###..", ".###..", "......"]));
    }
}
