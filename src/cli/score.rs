//! `score`: reads truth and answers, prints how good the answers are, and holds them to limits.

use super::args::ScoreArgs;
use super::console::Console;
use super::dataset_folder::SetFolder;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::score_plots;
use super::{finish, one_file, stem};
use crate::image_io::png;
use crate::score::{
    Answers, NamedItems, QuantityScore, ScoreError, ScoreReport, TruthRow, read_csv,
    read_json_lines, read_truth_json, read_truth_table, score,
};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

/// Prints the score; `false` when a limit was not kept.
pub fn run(args: &ScoreArgs, console: &Console) -> Result<bool, CliError> {
    let limits = limits(args)?;
    let interrupt = Interrupt::install()?;
    let picture = format!("{}.score.png", stem(&args.answers));
    let mut set = if args.plot {
        Some(one_file(&args.files, &picture)?)
    } else {
        None
    };
    let truth = read_truth(&args.truth)?;
    let answers = read_answers(&args.answers)?;
    let report = score(&truth, &answers).map_err(|source| CliError::Score {
        path: args.answers.clone(),
        source,
    })?;
    let verdicts = verdicts(&limits, &report.numbers())?;
    if let Some(mut set) = set.take() {
        set.put(&picture, &png::rgb8(&score_plots::draw(&report)?)?)?;
        finish(set, &interrupt, console)?;
    }
    let kept = verdicts.iter().all(|verdict| verdict.kept);
    console.answer(sentences(&report, &verdicts))?;
    console.answer_json(&Shown {
        score: &report,
        numbers: report.numbers(),
        limits: &verdicts,
    })?;
    Ok(kept)
}

/// What `--json` shows.
#[derive(Serialize)]
struct Shown<'a> {
    #[serde(flatten)]
    score: &'a ScoreReport,
    numbers: BTreeMap<String, f64>,
    limits: &'a [ScoreOutput],
}

/// A number of the score that must not be larger, or smaller.
#[derive(Debug, Clone, PartialEq)]
struct Limit {
    number: String,
    limit: f64,
    at_most: bool,
}

/// Whether a limit was kept.
#[derive(Debug, Clone, PartialEq, Serialize)]
struct ScoreOutput {
    number: String,
    found: Option<f64>,
    at_most: Option<f64>,
    at_least: Option<f64>,
    kept: bool,
}

fn limits(args: &ScoreArgs) -> Result<Vec<Limit>, CliError> {
    let read = |argument: &String, at_most: bool| {
        let refuse = |reason: &str| CliError::Limit {
            argument: argument.clone(),
            reason: reason.to_owned(),
        };
        let (number, limit) = argument
            .split_once('=')
            .ok_or_else(|| refuse("no = between the number's name and its limit"))?;
        let limit = limit.trim().parse().ok().filter(|l: &f64| l.is_finite());
        Ok(Limit {
            number: number.trim().to_owned(),
            limit: limit.ok_or_else(|| refuse("the limit is not a number"))?,
            at_most,
        })
    };
    let most = args.at_most.iter().map(|argument| read(argument, true));
    let least = args.at_least.iter().map(|argument| read(argument, false));
    most.chain(least).collect()
}

/// Names of numbers whose value may be unknown although they exist.
const MAY_BE_UNKNOWN: [&str; 6] = [
    ".photon_ratio",
    ".seeing_ratio",
    ".pull_rms",
    ".within_1",
    ".within_2",
    ".rms_without_sign_mistakes",
];

fn verdicts(
    limits: &[Limit],
    numbers: &BTreeMap<String, f64>,
) -> Result<Vec<ScoreOutput>, CliError> {
    limits
        .iter()
        .map(|limit| {
            let found = numbers.get(&limit.number).copied();
            let may_be_unknown = || {
                let quantity = MAY_BE_UNKNOWN
                    .iter()
                    .find_map(|end| limit.number.strip_suffix(end));
                quantity.is_some_and(|quantity| numbers.contains_key(&format!("{quantity}.rms")))
            };
            let known = found.is_some() || may_be_unknown();
            if !known {
                return Err(CliError::Limit {
                    argument: limit.number.clone(),
                    reason: "this score has no such number".into(),
                });
            }
            let kept = found.is_some_and(|value| {
                if limit.at_most {
                    value <= limit.limit
                } else {
                    value >= limit.limit
                }
            });
            Ok(ScoreOutput {
                number: limit.number.clone(),
                found,
                at_most: limit.at_most.then_some(limit.limit),
                at_least: (!limit.at_most).then_some(limit.limit),
                kept,
            })
        })
        .collect()
}

fn read_truth(path: &Path) -> Result<Vec<TruthRow>, CliError> {
    let failed = |source: ScoreError| CliError::Score {
        path: path.to_owned(),
        source,
    };
    if path.is_dir() {
        let folder = SetFolder::existing(path);
        let mut rows = Vec::new();
        for name in folder
            .names()?
            .iter()
            .filter(|name| name.ends_with(".truth.csv"))
        {
            let bytes = folder.read(name)?.unwrap_or_default();
            rows.extend(read_truth_table(&bytes).map_err(|source| CliError::Score {
                path: folder.place_of(name),
                source,
            })?);
        }
        if rows.is_empty() {
            return Err(failed(ScoreError::NoTruth(
                "the folder has no .truth.csv".into(),
            )));
        }
        return Ok(rows);
    }
    let bytes = file(path)?;
    if path.extension().is_some_and(|ending| ending == "json") {
        read_truth_json(&bytes).map(|row| vec![row]).map_err(failed)
    } else {
        read_truth_table(&bytes).map_err(failed)
    }
}

fn read_answers(path: &Path) -> Result<Answers, CliError> {
    let ending = path
        .extension()
        .map(|e| e.to_string_lossy().to_ascii_lowercase());
    let json = ending.is_some_and(|e| ["json", "jsonl", "ndjson"].contains(&e.as_str()));
    let bytes = file(path)?;
    let read = if json {
        read_json_lines(&bytes)
    } else {
        read_csv(&bytes)
    };
    read.map_err(|source| CliError::Score {
        path: path.to_owned(),
        source,
    })
}

fn file(path: &Path) -> Result<Vec<u8>, CliError> {
    std::fs::read(path).map_err(|source| CliError::Unreadable {
        path: path.to_owned(),
        source,
    })
}

/// Most items named in a sentence.
const NAMED: usize = 5;

fn sentences(report: &ScoreReport, verdicts: &[ScoreOutput]) -> String {
    let mut out = format!(
        "{} of {} items answered ({:.1} %).\n",
        report.answered,
        report.items,
        100.0 * report.coverage
    );
    for (words, named) in [
        ("without an answer", &report.missing),
        (
            "answered more than once, and so not counted",
            &report.duplicate,
        ),
        ("answered that are not in the truth", &report.extra),
        ("with an answer that is no number", &report.not_a_number),
        (
            "flagged by the program itself, and so not counted",
            &report.flagged,
        ),
    ] {
        if named.count > 0 {
            let _ = writeln!(out, "{} items {words}: {}.", named.count, items(named));
        }
    }
    out.push_str(&table(&report.quantities));
    for (name, direction) in &report.directions {
        let _ = writeln!(
            out,
            "Direction of {}: median {:.1} degrees off; turned by 45 to 135: {}; opposite: {}; of {}.",
            name.replace('_', " "),
            direction.median_deg,
            direction.turned.count,
            direction.opposite.count,
            direction.answers
        );
    }
    for verdict in verdicts {
        let (words, limit) = match (verdict.at_most, verdict.at_least) {
            (Some(limit), _) => ("at most", limit),
            (_, limit) => ("at least", limit.unwrap_or(f64::NAN)),
        };
        let found = verdict.found.map_or("not known".to_owned(), short);
        let kept = if verdict.kept { "kept" } else { "NOT KEPT" };
        let _ = writeln!(
            out,
            "{}: {found}, {words} {limit} was asked for: {kept}.",
            verdict.number
        );
    }
    out
}

fn items(named: &NamedItems) -> String {
    let words: Vec<String> = named.items.iter().take(NAMED).map(u64::to_string).collect();
    let more = if named.count > NAMED { ", …" } else { "" };
    words.join(", ") + more
}

const HEADS: [&str; 11] = [
    "quantity",
    "answers",
    "bias",
    "rms",
    "median",
    "95 %",
    "outliers",
    "sign",
    "error/σ",
    "× photon",
    "× atmosphere",
];

/// One line a quantity; all errors in its own unit.
fn table(quantities: &BTreeMap<String, QuantityScore>) -> String {
    let mut rows = vec![HEADS.map(str::to_owned)];
    for (name, score) in quantities {
        let known = |value: Option<f64>| value.map_or("-".to_owned(), short);
        rows.push([
            name.clone(),
            score.answers.to_string(),
            short(score.bias),
            short(score.rms),
            short(score.p50),
            short(score.p95),
            score.outliers.count.to_string(),
            score.sign_mistakes.count.to_string(),
            known(score.sigma.as_ref().map(|s| s.pull_rms)),
            known(score.photon_ratio),
            known(score.seeing_ratio),
        ]);
    }
    let widths: Vec<usize> = (0..HEADS.len())
        .map(|column| {
            rows.iter()
                .map(|row| row[column].chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect();
    let mut out = String::new();
    for row in &rows {
        let cells = row
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(column, (cell, width))| {
                if column == 0 {
                    format!("{cell:<width$}")
                } else {
                    format!("{cell:>width$}")
                }
            });
        let _ = writeln!(out, "{}", cells.collect::<Vec<_>>().join("  ").trim_end());
    }
    out
}

/// Three significant digits.
fn short(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 {
        "0".into()
    } else if !(1e-3..1e6).contains(&size) {
        format!("{value:.2e}")
    } else {
        let digits = (2 - size.log10().floor() as i32).max(0) as usize;
        format!("{value:.digits$}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_three_digits() {
        let shown = [0.0, 0.012345, -1.2345, 123.45, 12345.6, 1.5e-7].map(short);
        assert_eq!(shown, ["0", "0.0123", "-1.23", "123", "12346", "1.50e-7"]);
    }
}
