//! The score: every number that says how good the answers are, and why.
//!
//! - An item that was answered more than once counts as not answered. Flagged answers are counted and left out of the errors.
//! - A *sign mistake* is an answer that is at least twice as near to −truth as to truth, where the truth is not small (at least
//!   a fifth of its RMS over the set). It is counted apart; `rms_without_sign_mistakes` shows what is left.
//! - A direction (coma, astigmatism, dark centre) is *turned* when it is 45 to 135 degrees off, *opposite* beyond. Astigmatism is
//!   compared in the plane of its two modes, where opposite means an axis turned by 90 degrees.
//! - σ is honest when the error over it has an RMS of 1, and 68.3 and 95.4 percent of the errors are within one and two.

use super::answers::Answer;
use super::direction::Direction;
use super::error::ScoreError;
use super::groups::{GroupScore, ScoreBin, bins, groups};
use super::quantity::Quantity;
use super::sigma::SigmaScore;
use super::statistics::{mean, outliers, quantile, rms};
use super::truth::TruthRow;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// The score of a file of answers.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScoreReport {
    /// `skewstar-score/1`.
    pub format: &'static str,
    /// Items of the truth.
    pub items: usize,
    /// Items answered once, with at least one finite number that the truth knows.
    pub answered: usize,
    /// The same as a share.
    pub coverage: f64,
    /// Items that the program itself does not trust.
    pub flagged: NamedItems,
    /// Items without an answer.
    pub missing: NamedItems,
    /// Items answered more than once.
    pub duplicate: NamedItems,
    /// Items that the truth does not know.
    pub extra: NamedItems,
    /// Items with an answer that is no finite number.
    pub not_a_number: NamedItems,
    /// Every quantity that was answered.
    pub quantities: BTreeMap<String, QuantityScore>,
    /// Directions, where both components were answered.
    pub directions: BTreeMap<String, Direction>,
}

/// Items, counted and named.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NamedItems {
    /// How many.
    pub count: usize,
    /// Which.
    pub items: Vec<u64>,
}

/// The score of one quantity, in its own unit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct QuantityScore {
    /// Answers that were judged.
    pub answers: usize,
    /// The same over the items where the truth knows it.
    pub coverage: f64,
    /// Mean error, answer minus truth.
    pub bias: f64,
    /// RMS error.
    pub rms: f64,
    /// RMS error of the answers without a sign mistake; `None` when none is left.
    pub rms_without_sign_mistakes: Option<f64>,
    /// RMS of the truth, which is the RMS error of who always answers 0.
    pub rms_of_truth: f64,
    /// Half of the absolute errors are smaller.
    pub p50: f64,
    /// 68.3 percent are.
    pub p68: f64,
    /// 90 percent are.
    pub p90: f64,
    /// 95 percent are.
    pub p95: f64,
    /// 99 percent are.
    pub p99: f64,
    /// Largest absolute error.
    pub worst: f64,
    /// Its item.
    pub worst_item: u64,
    /// Errors more than 5 robust standard deviations from their median.
    pub outliers: NamedItems,
    /// Answers with the wrong sign.
    pub sign_mistakes: NamedItems,
    /// How honest the claimed uncertainties are; `None` when none was claimed.
    pub sigma: Option<SigmaScore>,
    /// RMS of error over the item's Cramér–Rao bound; `None` where no bound is known.
    pub photon_ratio: Option<f64>,
    /// The same over the bound with the star's place in the frame known, which holds where a set has it in every frame alike or hands it out.
    pub photon_place_known_ratio: Option<f64>,
    /// RMS of error over what the atmosphere adds; `None` where that is not known.
    pub seeing_ratio: Option<f64>,
    /// RMS error in quarters of the items, from few electrons to many.
    pub by_electrons: Vec<ScoreBin>,
    /// The same from good seeing to bad.
    pub by_seeing_arcsec: Vec<ScoreBin>,
    /// The same from small misalignments (Noll 5 to 11, nm) to large ones.
    pub by_misalignment_nm: Vec<ScoreBin>,
    /// The score of each case of a mixture, and of each side of focus; empty where all items are of one.
    pub by_group: Vec<GroupScore>,
    /// Every error, for plots.
    #[serde(skip)]
    pub errors: Vec<Judged>,
}

/// One judged answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// The item.
    pub item: u64,
    /// What is true.
    pub truth: f64,
    /// Answer minus truth.
    pub error: f64,
    /// Claimed uncertainty.
    pub sigma: Option<f64>,
    /// Cramér–Rao bound.
    pub photon: Option<f64>,
    /// The same with the star's place known.
    pub place_known: Option<f64>,
    /// What the atmosphere adds.
    pub seeing: Option<f64>,
    /// Groups that the item is of: the case of a mixture, the side of focus.
    pub groups: Vec<(&'static str, String)>,
    /// Electrons of the star.
    pub electrons: Option<f64>,
    /// Seeing.
    pub seeing_arcsec: Option<f64>,
    /// Size of the misalignment.
    pub misalignment_nm: f64,
}

/// Truth below this share of its RMS is too small to have a sign or a direction.
pub(super) const SMALL: f64 = 0.2;

/// Compares answers with truth.
///
/// # Errors
/// [`ScoreError`] when either is empty, they have no quantity in common, or the truth has an item twice.
pub fn score(truth: &[TruthRow], answers: &[Answer]) -> Result<ScoreReport, ScoreError> {
    if truth.is_empty() {
        return Err(ScoreError::Empty("the truth"));
    }
    if answers.is_empty() {
        return Err(ScoreError::Empty("the file of answers"));
    }
    let mut rows: BTreeMap<u64, &TruthRow> = BTreeMap::new();
    for row in truth {
        if rows.insert(row.item, row).is_some() {
            return Err(ScoreError::TruthTwice(row.item));
        }
    }
    let sorted = Sorted::of(&rows, answers);
    let quantities: BTreeSet<&Quantity> = sorted
        .judged
        .iter()
        .flat_map(|(_, answer)| answer.values.keys())
        .filter(|quantity| rows.values().any(|row| row.values.contains_key(quantity)))
        .collect();
    let scored: BTreeMap<String, QuantityScore> = quantities
        .iter()
        .filter_map(|quantity| {
            let known = rows
                .values()
                .filter(|row| row.values.contains_key(quantity));
            let errors = judged(quantity, &sorted.judged);
            Some((
                quantity.to_string(),
                QuantityScore::of(errors, known.count())?,
            ))
        })
        .collect();
    if scored.is_empty() && sorted.flagged.is_empty() {
        return Err(ScoreError::NothingInCommon);
    }
    let directions = Quantity::DIRECTIONS.iter().filter_map(|(name, parts)| {
        Some(((*name).to_owned(), Direction::of(parts, &sorted.judged)?))
    });
    Ok(ScoreReport {
        format: "skewstar-score/1",
        items: rows.len(),
        answered: sorted.judged.len(),
        coverage: sorted.judged.len() as f64 / rows.len() as f64,
        flagged: NamedItems::of(sorted.flagged),
        missing: NamedItems::of(sorted.missing),
        duplicate: NamedItems::of(sorted.duplicate),
        extra: NamedItems::of(sorted.extra),
        not_a_number: NamedItems::of(sorted.not_a_number),
        quantities: scored,
        directions: directions.collect(),
    })
}

/// Answers by what can be done with them.
#[derive(Default)]
struct Sorted<'a> {
    judged: Vec<(&'a TruthRow, &'a Answer)>,
    flagged: Vec<u64>,
    missing: Vec<u64>,
    duplicate: Vec<u64>,
    extra: Vec<u64>,
    not_a_number: Vec<u64>,
}

impl<'a> Sorted<'a> {
    fn of(rows: &BTreeMap<u64, &'a TruthRow>, answers: &'a [Answer]) -> Sorted<'a> {
        let mut by_item: BTreeMap<u64, Vec<&Answer>> = BTreeMap::new();
        for answer in answers {
            by_item.entry(answer.item).or_default().push(answer);
        }
        let mut sorted = Sorted::default();
        for (item, given) in &by_item {
            let strange = |value: &f64| !value.is_finite();
            if given
                .iter()
                .any(|answer| answer.values.values().any(strange))
            {
                sorted.not_a_number.push(*item);
            }
            match (rows.get(item), given.as_slice()) {
                (None, _) => sorted.extra.push(*item),
                (Some(_), [_, _, ..]) => sorted.duplicate.push(*item),
                (Some(_), [answer]) if answer.flagged => sorted.flagged.push(*item),
                (Some(row), [answer]) if has_number(row, answer) => {
                    sorted.judged.push((*row, *answer))
                }
                _ => sorted.missing.push(*item),
            }
        }
        let unanswered = rows.keys().filter(|item| !by_item.contains_key(item));
        sorted.missing.extend(unanswered);
        sorted.missing.sort_unstable();
        sorted
    }
}

fn has_number(row: &TruthRow, answer: &Answer) -> bool {
    let mut known = answer
        .values
        .iter()
        .filter(|(q, _)| row.values.contains_key(q));
    known.any(|(_, value)| value.is_finite())
}

fn judged(quantity: &Quantity, pairs: &[(&TruthRow, &Answer)]) -> Vec<Judged> {
    let limit = |list: &BTreeMap<u32, f64>| match quantity {
        Quantity::Mode(noll) => list.get(noll).copied(),
        _ => None,
    };
    pairs
        .iter()
        .filter_map(|(row, answer)| {
            let truth = *row.values.get(quantity)?;
            let value = answer
                .values
                .get(quantity)
                .filter(|value| value.is_finite())?;
            Some(Judged {
                item: row.item,
                truth,
                error: value - truth,
                sigma: answer
                    .sigmas
                    .get(quantity)
                    .copied()
                    .filter(|s| *s > 0.0 && s.is_finite()),
                photon: limit(&row.photon_nm),
                place_known: limit(&row.photon_place_known_nm),
                seeing: limit(&row.seeing_nm),
                groups: row.groups.clone(),
                electrons: row.electrons,
                seeing_arcsec: row.seeing_arcsec,
                misalignment_nm: row.misalignment_nm(),
            })
        })
        .collect()
}

impl Judged {
    /// At least twice as near to −truth as to truth.
    fn wrong_sign(&self) -> bool {
        (self.error + 2.0 * self.truth).abs() < 0.5 * self.error.abs()
    }
}

impl QuantityScore {
    fn of(errors: Vec<Judged>, known: usize) -> Option<QuantityScore> {
        let all: Vec<f64> = errors.iter().map(|j| j.error).collect();
        let sizes: Vec<f64> = all.iter().map(|e| e.abs()).collect();
        let truths: Vec<f64> = errors.iter().map(|j| j.truth).collect();
        let rms_of_truth = rms(&truths)?;
        let mistaken = |j: &&Judged| j.truth.abs() >= SMALL * rms_of_truth && j.wrong_sign();
        let right: Vec<f64> = errors
            .iter()
            .filter(|j| !mistaken(j))
            .map(|j| j.error)
            .collect();
        let far = outliers(&all);
        let far_items = errors
            .iter()
            .zip(&far)
            .filter(|(_, far)| **far)
            .map(|(j, _)| j.item);
        let worst = errors
            .iter()
            .max_by(|a, b| a.error.abs().total_cmp(&b.error.abs()))?;
        let ratio = |limit: &dyn Fn(&Judged) -> Option<f64>| {
            let ratios: Vec<f64> = errors
                .iter()
                .filter_map(|j| limit(j).filter(|l| *l > 0.0).map(|l| j.error / l))
                .collect();
            rms(&ratios)
        };
        Some(QuantityScore {
            answers: errors.len(),
            coverage: errors.len() as f64 / known as f64,
            bias: mean(&all)?,
            rms: rms(&all)?,
            rms_without_sign_mistakes: rms(&right),
            rms_of_truth,
            p50: quantile(&sizes, 0.5)?,
            p68: quantile(&sizes, 0.683)?,
            p90: quantile(&sizes, 0.9)?,
            p95: quantile(&sizes, 0.95)?,
            p99: quantile(&sizes, 0.99)?,
            worst: worst.error.abs(),
            worst_item: worst.item,
            outliers: NamedItems::of(far_items.collect()),
            sign_mistakes: NamedItems::of(errors.iter().filter(mistaken).map(|j| j.item).collect()),
            sigma: SigmaScore::of(&errors),
            photon_ratio: ratio(&|j| j.photon),
            photon_place_known_ratio: ratio(&|j| j.place_known),
            seeing_ratio: ratio(&|j| j.seeing),
            by_electrons: bins(&errors, &|j| j.electrons),
            by_seeing_arcsec: bins(&errors, &|j| j.seeing_arcsec),
            by_misalignment_nm: bins(&errors, &|j| Some(j.misalignment_nm)),
            by_group: groups(&errors),
            errors,
        })
    }
}

impl NamedItems {
    pub(super) fn of(mut items: Vec<u64>) -> NamedItems {
        items.sort_unstable();
        NamedItems {
            count: items.len(),
            items,
        }
    }
}

impl ScoreReport {
    /// Every number by its name, such as `modes_nm.7.rms`; those that are not known are left out.
    pub fn numbers(&self) -> BTreeMap<String, f64> {
        let mut numbers: BTreeMap<String, f64> = BTreeMap::new();
        let mut put = |name: String, value: Option<f64>| {
            if let Some(value) = value {
                numbers.insert(name, value);
            }
        };
        for (name, named) in [
            ("flagged", &self.flagged),
            ("missing", &self.missing),
            ("duplicate", &self.duplicate),
            ("extra", &self.extra),
            ("not_a_number", &self.not_a_number),
        ] {
            put(name.into(), Some(named.count as f64));
        }
        put("coverage".into(), Some(self.coverage));
        for (name, score) in &self.quantities {
            for (own, value) in score.numbers() {
                put(format!("{name}.{own}"), value);
            }
        }
        for (name, direction) in &self.directions {
            put(format!("{name}.median_deg"), Some(direction.median_deg));
            put(format!("{name}.rms"), Some(direction.rms));
            put(format!("{name}.p95"), Some(direction.p95));
            put(format!("{name}.photon_ratio"), direction.photon_ratio);
            put(
                format!("{name}.turned"),
                Some(direction.turned.count as f64),
            );
            put(
                format!("{name}.opposite"),
                Some(direction.opposite.count as f64),
            );
        }
        numbers
    }
}

impl QuantityScore {
    fn numbers(&self) -> Vec<(&'static str, Option<f64>)> {
        let sigma = self.sigma.as_ref();
        vec![
            ("coverage", Some(self.coverage)),
            ("bias", Some(self.bias)),
            ("absolute_bias", Some(self.bias.abs())),
            ("rms", Some(self.rms)),
            ("rms_without_sign_mistakes", self.rms_without_sign_mistakes),
            ("rms_of_truth", Some(self.rms_of_truth)),
            ("p50", Some(self.p50)),
            ("p68", Some(self.p68)),
            ("p90", Some(self.p90)),
            ("p95", Some(self.p95)),
            ("p99", Some(self.p99)),
            ("worst", Some(self.worst)),
            ("outliers", Some(self.outliers.count as f64)),
            ("sign_mistakes", Some(self.sign_mistakes.count as f64)),
            ("pull_rms", sigma.map(|s| s.pull_rms)),
            ("within_1", sigma.map(|s| s.within_1)),
            ("within_2", sigma.map(|s| s.within_2)),
            ("calibration_error", sigma.map(|s| s.calibration_error)),
            ("photon_ratio", self.photon_ratio),
            ("photon_place_known_ratio", self.photon_place_known_ratio),
            ("seeing_ratio", self.seeing_ratio),
        ]
    }
}
