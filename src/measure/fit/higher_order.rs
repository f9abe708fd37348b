//! Aberrations of higher order than a fit is free in: whether a star shows them, and then they are fitted too.
//!
//! A little secondary coma changes a doughnut much as coma does. A fit without secondary coma explains it by coma, which is then
//! wrong, although the residuals hardly grow; the same holds for the other modes of higher order. Whether it is there is asked once at the
//! minimum, by how much the sum of squares would fall (the score test: one more set of derivatives, of these modes alone), so
//! that a star without costs little and keeps its standard deviations. Stars behind masks are not asked: their few slots do not
//! tell these modes from dimensions that are slightly wrong.

use super::super::settings::FitSettings;
use super::levenberg::{Minimum, Problem as _};
use super::problem::StarProblem;
use super::strays;
use super::unknown::{TrialState, Unknown};
use crate::math::LeastSquares;
use crate::predict::PredictError;

/// Secondary astigmatism, tetrafoil, secondary coma, secondary spherical aberration.
pub const HIGHER_ORDER_MODES: [u32; 7] = [12, 13, 14, 15, 16, 17, 22];

/// The trial at the minimum with higher-order modes, where the star shows them.
///
/// # Errors
/// As [`StarProblem::columns_of`].
pub fn shown(
    problem: &mut StarProblem<'_>,
    found: &Minimum,
    settings: &FitSettings,
) -> Result<Option<TrialState>, PredictError> {
    let mut residuals = problem.residuals(&found.unknowns)?;
    let mut columns = found.columns.clone();
    columns.extend(problem.columns_of(&HIGHER_ORDER_MODES, &found.unknowns)?);
    // single pixels that nothing explains must not be explained by these
    for row in strays(&residuals[..problem.pixels().len()], settings) {
        residuals[row] = 0.0;
        columns.iter_mut().for_each(|column| column[row] = 0.0);
    }
    let narrow = fall(&columns[..found.columns.len()], &residuals);
    let mut more = problem.trial.at(&found.unknowns);
    for noll in HIGHER_ORDER_MODES {
        more.push(Unknown::Mode(noll), more.fixed.get(noll));
    }
    let gain = fall(&columns, &residuals) - narrow;
    Ok((gain > settings.higher_order_from_chi_square).then_some(more))
}

/// By how much the sum of squared residuals falls in a linear fit of these columns to them.
fn fall(columns: &[Vec<f64>], residuals: &[f64]) -> f64 {
    let step = LeastSquares::new(columns.to_vec(), &vec![0.0; columns.len()]).solve(residuals);
    let square = |values: &[f64]| values.iter().map(|v| v * v).sum::<f64>();
    let mut left = residuals.to_vec();
    for (column, amount) in columns.iter().zip(&step) {
        left.iter_mut()
            .zip(column)
            .for_each(|(l, c)| *l -= amount * c);
    }
    square(residuals) - square(&left)
}
