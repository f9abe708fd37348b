//! Scores of parts of a set: quarters along a number, and groups by name.

use super::report::Judged;
use super::statistics::{mean, rms};
use serde::Serialize;

/// Parts along a number.
const BINS: usize = 4;

/// A quarter of the items along something.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScoreBin {
    /// Smallest value in it.
    pub from: f64,
    /// Largest value in it.
    pub to: f64,
    /// Answers.
    pub answers: usize,
    /// RMS error.
    pub rms: f64,
    /// RMS of the items' Cramér–Rao bounds; `None` where one is not known.
    pub photon: Option<f64>,
    /// RMS of what the atmosphere adds; `None` where one is not known.
    pub seeing: Option<f64>,
}

/// The items of one group.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupScore {
    /// The column of the truth that names it.
    pub column: &'static str,
    /// Its name.
    pub name: String,
    /// Answers.
    pub answers: usize,
    /// Mean error.
    pub bias: f64,
    /// RMS error.
    pub rms: f64,
    /// RMS of error over the item's Cramér–Rao bound; `None` where no bound is known.
    pub photon_ratio: Option<f64>,
}

/// The groups of some items; none of a column that is the same for all.
pub(super) fn groups(errors: &[Judged]) -> Vec<GroupScore> {
    let mut names: Vec<(&'static str, String)> = Vec::new();
    for group in errors.iter().flat_map(|judged| &judged.groups) {
        if !names.contains(group) {
            names.push(group.clone());
        }
    }
    names.sort();
    let alone = |column: &str| names.iter().filter(|(own, _)| *own == column).count() == 1;
    let scored = |group: &(&'static str, String)| {
        let of: Vec<&Judged> = errors.iter().filter(|j| j.groups.contains(group)).collect();
        let own: Vec<f64> = of.iter().map(|judged| judged.error).collect();
        let ratios: Vec<f64> = of
            .iter()
            .filter_map(|j| j.photon.filter(|nm| *nm > 0.0).map(|nm| j.error / nm))
            .collect();
        Some(GroupScore {
            column: group.0,
            name: group.1.clone(),
            answers: own.len(),
            bias: mean(&own)?,
            rms: rms(&own)?,
            photon_ratio: rms(&ratios),
        })
    };
    names
        .iter()
        .filter(|(column, _)| !alone(column))
        .filter_map(scored)
        .collect()
}

/// Quarters of equal size along something; none where it is not known or the same for all.
pub(super) fn bins(errors: &[Judged], along: &dyn Fn(&Judged) -> Option<f64>) -> Vec<ScoreBin> {
    let mut placed: Vec<(f64, &Judged)> =
        errors.iter().filter_map(|j| Some((along(j)?, j))).collect();
    placed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let varies = placed
        .first()
        .zip(placed.last())
        .is_some_and(|(a, b)| a.0 < b.0);
    if !varies || placed.len() < BINS {
        return Vec::new();
    }
    (0..BINS)
        .filter_map(|number| {
            let part = &placed[number * placed.len() / BINS..(number + 1) * placed.len() / BINS];
            let own: Vec<f64> = part.iter().map(|(_, judged)| judged.error).collect();
            let limit = |of: fn(&Judged) -> Option<f64>| {
                let all: Option<Vec<f64>> = part.iter().map(|(_, judged)| of(judged)).collect();
                all.and_then(|all| rms(&all))
            };
            Some(ScoreBin {
                photon: limit(|judged| judged.photon),
                seeing: limit(|judged| judged.seeing),
                from: part.first()?.0,
                to: part.last()?.0,
                answers: part.len(),
                rms: rms(&own)?,
            })
        })
        .collect()
}
