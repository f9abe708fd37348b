//! Pixels that hold no number (NaN, infinity, the BLANK of a FITS file): programs write them where a sensor is dead or where a turned
//! picture has no light. They are left out of what is measured; here their places are listed, and they are given a number that a search
//! for stars passes over: the median of the numbers around them, else of the whole frame.

use crate::math::robust::median;
use ndarray::Array2;

/// Half side of the square that is looked at round such a pixel.
const AROUND_HALF_PX: usize = 2;
/// Only every second, third … pixel is looked at for the median of a frame that has more than this.
const MEDIAN_OF_AT_MOST: usize = 1_000_000;

/// Gives each pixel without a number one, and lists the `[column, row]` of all of them. `None` where half of the frame or more holds
/// no number.
pub(super) fn fill(values: &mut Array2<f64>) -> Option<Vec<[usize; 2]>> {
    let missing: Vec<[usize; 2]> = values
        .indexed_iter()
        .filter(|(_, value)| !value.is_finite())
        .map(|((row, column), _)| [column, row])
        .collect();
    if 2 * missing.len() >= values.len() {
        return None;
    }
    if missing.is_empty() {
        return Some(missing);
    }
    let stride = values.len().div_ceil(MEDIAN_OF_AT_MOST);
    let finite = values.iter().copied().filter(|value| value.is_finite());
    let mut sample: Vec<f64> = finite.step_by(stride).collect();
    let everywhere = median(&mut sample);
    let filled: Vec<f64> = missing
        .iter()
        .map(|at| around(values, *at).unwrap_or(everywhere))
        .collect();
    for ([column, row], value) in missing.iter().zip(filled) {
        values[[*row, *column]] = value;
    }
    Some(missing)
}

/// Median of the numbers in the square round a pixel.
fn around(values: &Array2<f64>, [column, row]: [usize; 2]) -> Option<f64> {
    let span = |at: usize, side: usize| {
        at.saturating_sub(AROUND_HALF_PX)..(at + AROUND_HALF_PX + 1).min(side)
    };
    let rows = span(row, values.nrows());
    let places = rows.flat_map(|y| span(column, values.ncols()).map(move |x| [y, x]));
    let mut numbers: Vec<f64> = places
        .map(|at| values[at])
        .filter(|v| v.is_finite())
        .collect();
    (!numbers.is_empty()).then(|| median(&mut numbers))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pixels_without_a_number_are_listed_and_filled_from_around() {
        let mut values = Array2::from_shape_fn((9, 8), |(row, _)| 10.0 * row as f64);
        for at in [[0, 0], [4, 3], [4, 4]] {
            values[at] = f64::NAN;
        }
        values[[8, 7]] = f64::NEG_INFINITY;
        let missing = fill(&mut values);
        assert_eq!(missing, Some(vec![[0, 0], [3, 4], [4, 4], [7, 8]]));
        assert_eq!(values[[4, 3]], 40.0);
        assert!((60.0..=80.0).contains(&values[[8, 7]]));
        // a hole that is wider than what is looked at gets the frame's median
        let hole = |at: usize| (4..13).contains(&at);
        let mut holed = Array2::from_shape_fn((20, 20), |(row, column)| {
            if hole(row) && hole(column) {
                f64::NAN
            } else {
                5.0
            }
        });
        assert_eq!(fill(&mut holed).map(|all| all.len()), Some(81));
        assert!(holed.iter().all(|value| *value == 5.0));
    }

    #[test]
    fn half_a_frame_without_numbers_is_none() {
        let mut values =
            Array2::from_shape_fn((4, 4), |(_, column)| [f64::INFINITY, 1.0][column / 2]);
        assert_eq!(fill(&mut values), None);
        values[[0, 0]] = 1.0;
        assert_eq!(fill(&mut values).map(|all| all.len()), Some(7));
    }
}
