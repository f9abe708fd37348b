//! What was typed or assumed, asked at the minimum of a fit: what of it, were it free, would mend what the fit leaves over.
//!
//! Each suspect is a few unknowns that belong together. By how much the sum of squares would fall with them is found by one more set of
//! derivatives, of these unknowns alone, with what is believed of them beforehand as further data (the score test). Chance lets it
//! fall, too, the more the more unknowns there are; the suspect whose fall exceeds that limit by the largest factor is freed, the fit goes on
//! with it, and everything else is asked again. A star that is as typed pays for the question and keeps its standard deviations.
//!
//! A little secondary coma changes a doughnut much as coma does, and so does an obstruction that sits aside: a fit without them explains them
//! by coma, which is then wrong, although the residuals hardly grow. These, and drift, are therefore asked of every star without a
//! mask. The other suspects are asked where the residuals as a whole are larger than chance makes them. Behind a mask only the width of its
//! slots is asked: its few slots do not tell modes, drift or a mask aside from dimensions that are slightly wrong, and coma pays for them.

use super::super::settings::FitSettings;
use super::levenberg::{Minimum, Problem as _};
use super::problem::StarProblem;
use super::strays;
use super::suspects::{Question, questions, suspects};
use super::unknown::{TrialState, Unknown};
use crate::math::LeastSquares;
use crate::predict::PredictError;

/// The trial at the minimum with the suspect freed that mends it most; `None` where nothing does beyond chance.
///
/// # Errors
/// As [`StarProblem::columns_by`].
pub fn freed(
    problem: &mut StarProblem<'_>,
    found: &Minimum,
    settings: &FitSettings,
) -> Result<Option<TrialState>, PredictError> {
    let here = problem.trial.at(&found.unknowns);
    let mut residuals = problem.residuals(&found.unknowns)?;
    let mut columns = found.columns.clone();
    let data = problem.pixels().len();
    // single pixels that nothing explains must not be explained by these
    let strays = strays(&residuals[..data], settings);
    strays.iter().for_each(|row| residuals[*row] = 0.0);
    without(&strays, &mut columns);
    let narrow = fall(&columns, &residuals);
    let left = square(&residuals) - narrow;
    let per_datum = left / data.saturating_sub(columns.len()).max(1) as f64;
    let beyond_chance = (per_datum - 1.0) * (0.5 * data as f64).sqrt();
    let all = beyond_chance > settings.asked_more_from_sigma;
    let mut best: Option<(f64, Vec<(Unknown, f64)>)> = None;
    let as_typed = settings.takes_shadows_as_typed();
    for suspect in suspects(problem, all, as_typed) {
        let asked = match questions(problem, &here, suspect, settings) {
            // what no memory holds is not asked
            Err(PredictError::TooLarge { .. }) => continue,
            asked => asked?,
        };
        for mut question in asked {
            without(&strays, &mut question.columns);
            let (wide, amounts) = fall_with(&columns, &residuals, &question);
            let by_chance = by_chance(question.unknowns, settings.asked_from_sigma)
                + 2.0 * libm::log(question.looked_among as f64);
            // where the model is wrong anyhow, what is wrong falls by chance too
            let over = (wide - narrow) / (by_chance * per_datum.max(1.0));
            let better = over > best.as_ref().map_or(1.0, |b| b.0);
            if let Some(starts) = (question.starts)(&amounts).filter(|_| better) {
                best = Some((over, starts));
            }
        }
    }
    Ok(best.map(|(_, starts)| {
        let mut more = here;
        starts
            .into_iter()
            .for_each(|(unknown, at)| more.push(unknown, at));
        more
    }))
}

/// The fall of the sum of squares that chance exceeds as rarely as a normal law exceeds `sigma`, with so many unknowns: the approximation
/// of Wilson and Hilferty, Proc. Natl. Acad. Sci. 17, 684 (1931), from memory; off by less than 4 % here.
fn by_chance(unknowns: usize, sigma: f64) -> f64 {
    let count = unknowns as f64;
    let spread = 2.0 / (9.0 * count);
    count * libm::pow(1.0 - spread + sigma * spread.sqrt(), 3.0)
}

/// Takes rows out of columns.
fn without(rows: &[usize], columns: &mut [Vec<f64>]) {
    for column in columns {
        rows.iter().for_each(|row| column[*row] = 0.0);
    }
}

/// By how much the sum of squared residuals falls with the columns of a question, too, its priors among the data; and how far the
/// unknowns of the question go.
fn fall_with(columns: &[Vec<f64>], residuals: &[f64], question: &Question) -> (f64, Vec<f64>) {
    let rows = residuals.len() + question.columns.len();
    let mut all: Vec<Vec<f64>> = columns.iter().chain(&question.columns).cloned().collect();
    all.iter_mut().for_each(|column| column.resize(rows, 0.0));
    for (number, width) in question.widths.iter().enumerate() {
        all[columns.len() + number][residuals.len() + number] = 1.0 / width;
    }
    let mut data = residuals.to_vec();
    data.resize(rows, 0.0);
    let (fall, step) = solved(all, &data);
    (fall, step[columns.len()..].to_vec())
}

/// By how much the sum of squared residuals falls in a linear fit of these columns to them.
fn fall(columns: &[Vec<f64>], residuals: &[f64]) -> f64 {
    solved(columns.to_vec(), residuals).0
}

fn solved(columns: Vec<Vec<f64>>, residuals: &[f64]) -> (f64, Vec<f64>) {
    let step = LeastSquares::new(columns.clone(), &vec![0.0; columns.len()]).solve(residuals);
    let mut left = residuals.to_vec();
    for (column, amount) in columns.iter().zip(&step) {
        left.iter_mut()
            .zip(column)
            .for_each(|(l, c)| *l -= amount * c);
    }
    (square(residuals) - square(&left), step)
}

fn square(values: &[f64]) -> f64 {
    values.iter().map(|v| v * v).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// χ² that chance exceeds once in 1212 times (3.147 sigma to one side), by tables of the χ² distribution, from memory: 25.0 with seven
    /// unknowns, 14.2 with two, 11.2 with one.
    #[test]
    fn the_limit_follows_the_number_of_unknowns() {
        let sigma = FitSettings::default().asked_from_sigma;
        for (unknowns, limit) in [(7, 25.0), (2, 14.2), (1, 11.2)] {
            assert_relative_eq!(by_chance(unknowns, sigma), limit, max_relative = 0.04);
        }
    }

    /// A column that explains the residuals lets them fall to what its prior leaves: a²/(1 + 1/(w²·c²)) of a²c², by hand.
    #[test]
    fn what_is_believed_holds_the_fall_back() {
        let residuals = vec![2.0, -2.0, 2.0, -2.0];
        let question = Question {
            columns: vec![vec![0.5, -0.5, 0.5, -0.5]],
            widths: vec![4.0],
            unknowns: 1,
            looked_among: 1,
            starts: Box::new(|amounts| Some(vec![(Unknown::NeighbourShare, amounts[0])])),
        };
        let (fall, amounts) = fall_with(&[], &residuals, &question);
        assert_relative_eq!(fall, 16.0 / (1.0 + 1.0 / 16.0), max_relative = 1e-12);
        assert_relative_eq!(amounts[0], 4.0 / (1.0 + 1.0 / 16.0), max_relative = 1e-12);
    }
}
