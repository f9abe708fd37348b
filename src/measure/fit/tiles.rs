//! How much less is known than the residuals' size says, where the model is wrong: by how the tiles of the picture disagree.
//!
//! Where chance alone is left over, neighbouring residuals have nothing to do with each other, and the inverse of the normal matrix is the
//! covariance. A wrong model leaves residuals that hang together, and pulls the unknowns by whole patches. The scores (derivatives times
//! residuals) of tiles that are larger than such a patch are independent again: their outer products between two inverses of the
//! normal matrix are the covariance that holds anyhow (the sandwich estimator; H. White, Econometrica 50, 1 (1982), from memory).

use super::problem::FitPixel;

/// Factors, none below 1, by which the standard deviations of the unknowns grow. `columns` are the derivatives, their first rows the pixels;
/// `covariance` is the inverse of the normal matrix, for residuals of size 1, and `spread` the mean square that the residuals have.
pub fn wider(
    columns: &[Vec<f64>],
    pixels: &[FitPixel],
    model_error: f64,
    covariance: &[Vec<f64>],
    spread: f64,
    tiles_along: usize,
) -> Vec<f64> {
    let scores = scores(columns, pixels, model_error, tiles_along);
    // as many tiles as unknowns would be fitted without any disagreement
    let (tiles, unknowns) = (scores.len() as f64, columns.len() as f64);
    let few = tiles / (tiles - unknowns).max(0.25 * tiles).max(1.0);
    (0..columns.len())
        .map(|k| {
            let pulled = |score: &Vec<f64>| -> f64 {
                covariance[k].iter().zip(score).map(|(c, s)| c * s).sum()
            };
            let variance: f64 = scores.iter().map(|score| pulled(score).powi(2)).sum();
            let expected = covariance[k][k] * spread.max(1.0);
            match expected > 0.0 {
                true => (few * variance / expected).sqrt().max(1.0),
                false => 1.0,
            }
        })
        .collect()
}

/// The scores of all tiles in which the star has light.
fn scores(
    columns: &[Vec<f64>],
    pixels: &[FitPixel],
    model_error: f64,
    tiles_along: usize,
) -> Vec<Vec<f64>> {
    let last = pixels.iter().flat_map(|p| p.place).max().unwrap_or(0);
    let side_px = (last + 1).div_ceil(tiles_along).max(1);
    let tile_of = |p: &FitPixel| (p.view, p.place.map(|at| at / side_px));
    let mut tiles = std::collections::BTreeMap::new();
    for (row, pixel) in pixels.iter().enumerate() {
        let (score, lit) = tiles
            .entry(tile_of(pixel))
            .or_insert_with(|| (vec![0.0; columns.len()], false));
        let residual = pixel.residual(model_error);
        for (sum, column) in score.iter_mut().zip(columns) {
            *sum += column[row] * residual;
        }
        *lit |= pixel.star_e * pixel.star_e > pixel.noise_e2;
    }
    tiles
        .into_values()
        .filter(|(_, lit)| *lit)
        .map(|(score, _)| score)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const SIDE: usize = 48;

    fn pixels(off: impl Fn(usize, usize) -> f64) -> Vec<FitPixel> {
        let pixel = |k: usize| FitPixel {
            view: 0,
            place: [k / SIDE, k % SIDE],
            off_e: off(k / SIDE, k % SIDE),
            star_e: 10.0,
            noise_e2: 1.0,
        };
        (0..SIDE * SIDE).map(pixel).collect()
    }

    /// One unknown, the level: residuals ±1 that alternate from pixel to pixel cancel in every tile, those that have one sign over patches of
    /// 8 pixels pull it 8 times as much as as many independent ones do (by hand: 36 patches of 64 make √(36·64²) of √2304).
    #[test]
    fn residuals_that_hang_together_count_as_few() {
        let columns = vec![vec![1.0; SIDE * SIDE]];
        let covariance = vec![vec![1.0 / (SIDE * SIDE) as f64]];
        let factor = |pixels: &[FitPixel]| wider(&columns, pixels, 0.0, &covariance, 1.0, 6)[0];
        let sign = |odd: usize| if odd.is_multiple_of(2) { 1.0 } else { -1.0 };
        assert_eq!(factor(&pixels(|row, column| sign(row + column))), 1.0);
        let patches = pixels(|row, column| sign(row / 8 + column / 8));
        // 36 tiles, one unknown
        let few: f64 = 36.0 / 35.0;
        assert_relative_eq!(factor(&patches), 8.0 * few.sqrt(), max_relative = 1e-12);
    }
}
