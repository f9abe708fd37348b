//! Quantities with a direction, judged as vectors: how far off, which way, and how far beyond the bound.

use super::answers::Answer;
use super::quantity::Quantity;
use super::report::{NamedItems, SMALL};
use super::statistics::{quantile, rms};
use super::truth::TruthRow;
use serde::Serialize;
use std::collections::BTreeMap;

/// How well a direction was answered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Direction {
    /// Answers of both components.
    pub vectors: usize,
    /// RMS length of the vector between answer and truth, in the quantity's unit.
    pub rms: f64,
    /// Half of these are shorter.
    pub p50: f64,
    /// 95 percent are.
    pub p95: f64,
    /// The longest.
    pub worst: f64,
    /// Its item.
    pub worst_item: u64,
    /// RMS, over both components, of error over the item's Cramér–Rao bound; `None` where no bound is known.
    pub photon_ratio: Option<f64>,
    /// Answers where the truth is not small, whose direction is judged.
    pub answers: usize,
    /// Median angle between answer and truth, degrees, without sign.
    pub median_deg: f64,
    /// 45 to 135 degrees off.
    pub turned: NamedItems,
    /// More than 135 degrees off.
    pub opposite: NamedItems,
}

type Both<'a> = &'a dyn Fn(&BTreeMap<Quantity, f64>) -> Option<[f64; 2]>;

/// For each item with both components its length of error, and the RMS of both components over their bounds.
fn vector_errors(
    parts: &[Quantity; 2],
    pairs: &[(&TruthRow, &Answer)],
    both: Both<'_>,
) -> Vec<(u64, f64, Option<f64>)> {
    let of = |(row, answer): &(&TruthRow, &Answer)| {
        let (truth, found) = (both(&row.values)?, both(&answer.values)?);
        let error = [found[0] - truth[0], found[1] - truth[1]];
        let bound = |part: &Quantity| match part {
            Quantity::Mode(noll) => row.photon_nm.get(noll).copied().filter(|nm| *nm > 0.0),
            _ => None,
        };
        let over = bound(&parts[0])
            .zip(bound(&parts[1]))
            .map(|(a, b)| (0.5 * ((error[0] / a).powi(2) + (error[1] / b).powi(2))).sqrt());
        Some((row.item, error[0].hypot(error[1]), over))
    };
    pairs.iter().filter_map(of).collect()
}

impl Direction {
    pub(super) fn of(parts: &[Quantity; 2], pairs: &[(&TruthRow, &Answer)]) -> Option<Direction> {
        let both = |values: &BTreeMap<Quantity, f64>| {
            let pair = [values.get(&parts[0])?, values.get(&parts[1])?];
            pair.iter()
                .all(|v| v.is_finite())
                .then_some(pair.map(|v| *v))
        };
        let errors = vector_errors(parts, pairs, &both);
        let sizes_of_errors: Vec<f64> = errors.iter().map(|(_, size, _)| *size).collect();
        let over: Vec<f64> = errors.iter().filter_map(|(.., over)| *over).collect();
        let worst = errors.iter().max_by(|a, b| a.1.total_cmp(&b.1))?;
        let found: Vec<(u64, [f64; 2], [f64; 2])> = pairs
            .iter()
            .filter_map(|(row, answer)| Some((row.item, both(&row.values)?, both(&answer.values)?)))
            .collect();
        let lengths: Vec<f64> = found
            .iter()
            .map(|(_, truth, _)| truth[0].hypot(truth[1]))
            .collect();
        let least = SMALL * rms(&lengths)?;
        let angles: Vec<(u64, f64)> = found
            .iter()
            .zip(&lengths)
            .filter(|(_, length)| **length >= least && **length > 0.0)
            .map(|((item, truth, answer), _)| (*item, angle_deg(*truth, *answer)))
            .collect();
        let sizes: Vec<f64> = angles.iter().map(|(_, angle)| *angle).collect();
        let between = |from: f64, to: f64| {
            let inside = angles
                .iter()
                .filter(|(_, angle)| (from..to).contains(angle));
            NamedItems::of(inside.map(|(item, _)| *item).collect())
        };
        Some(Direction {
            vectors: errors.len(),
            rms: rms(&sizes_of_errors)?,
            p50: quantile(&sizes_of_errors, 0.5)?,
            p95: quantile(&sizes_of_errors, 0.95)?,
            worst: worst.1,
            worst_item: worst.0,
            photon_ratio: rms(&over),
            answers: angles.len(),
            median_deg: quantile(&sizes, 0.5)?,
            turned: between(45.0, 135.0),
            opposite: between(135.0, 181.0),
        })
    }
}

/// Angle between two directions, 0 to 180 degrees; an answer of no length is 90 degrees off.
fn angle_deg(truth: [f64; 2], answer: [f64; 2]) -> f64 {
    let along = truth[0] * answer[0] + truth[1] * answer[1];
    let across = truth[0] * answer[1] - truth[1] * answer[0];
    if along == 0.0 && across == 0.0 {
        return 90.0;
    }
    across.abs().atan2(along).to_degrees()
}
