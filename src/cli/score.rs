//! `score`: reads truth and answers, prints how good the answers are, and holds them to limits.

use super::args::ScoreArgs;
use super::console::Console;
use super::dataset_folder::SetFolder;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::output::{OutputPlan, OutputSet};
use super::score_plots;
use super::{finish, stem};
use crate::image_io::png;
use crate::score::{
    Answers, NamedItems, QuantityScore, ScoreError, ScoreReport, TruthRow, read_csv, read_json,
    read_truth_json, read_truth_table, score,
};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Prints the score of each file of answers; `false` when a limit was not kept.
pub fn run(args: &ScoreArgs, console: &Console) -> Result<bool, CliError> {
    let limits = limits(args)?;
    let interrupt = Interrupt::install()?;
    let names = names(&args.answers);
    let mut set = plan(args, &names)?;
    let truth = read_truth(&args.truth)?;
    let mut programs = Vec::new();
    for (path, name) in args.answers.iter().zip(&names) {
        let report = score(&truth, &read_answers(path)?).map_err(|source| CliError::Score {
            path: path.clone(),
            source,
        })?;
        let numbers = report.numbers();
        programs.push(Program {
            name,
            limits: verdicts(&limits, &numbers)?,
            numbers,
            report,
        });
    }
    if let Some(mut set) = set.take() {
        for program in &programs {
            if args.plot {
                let picture = png::rgb8(&score_plots::draw(&program.report)?)?;
                set.put(&format!("{}.score.png", program.name), &picture)?;
            }
            if args.svg {
                let picture = score_plots::svg(&program.report);
                set.put(&format!("{}.score.svg", program.name), picture.as_bytes())?;
            }
        }
        finish(set, &interrupt, console)?;
    }
    match programs.as_slice() {
        [program] => {
            console.answer(sentences(&program.report, &program.limits))?;
            console.answer_json(&Shown::of(program))?;
        }
        several => {
            console.answer(comparison(several))?;
            console.answer_json(&Compared::of(several))?;
        }
    }
    let verdicts = programs.iter().flat_map(|program| &program.limits);
    Ok(verdicts.into_iter().all(|verdict| verdict.kept))
}

/// The score of one file of answers.
struct Program<'a> {
    name: &'a String,
    report: ScoreReport,
    numbers: BTreeMap<String, f64>,
    limits: Vec<ScoreOutput>,
}

/// Names of programs: those of their files without ending, made different where two are the same.
fn names(answers: &[PathBuf]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for path in answers {
        let own = stem(path);
        let taken = |name: &String| names.contains(name);
        let numbered = (2..).map(|number| format!("{own}-{number}"));
        let free = std::iter::once(own.clone())
            .chain(numbered)
            .find(|name| !taken(name));
        names.push(free.unwrap_or(own));
    }
    names
}

/// The pictures that were asked for.
fn plan(args: &ScoreArgs, names: &[String]) -> Result<Option<OutputSet>, CliError> {
    let wanted = [(args.plot, "png"), (args.svg, "svg")];
    let pictures: Vec<String> = names
        .iter()
        .flat_map(|name| wanted.map(|(is, ending)| is.then(|| format!("{name}.score.{ending}"))))
        .flatten()
        .collect();
    if pictures.is_empty() {
        return Ok(None);
    }
    Ok(Some(OutputSet::plan(&OutputPlan {
        folder: &args.files.out,
        files: &pictures,
        truth: None,
        force: args.files.force,
    })?))
}

/// What `--json` shows.
#[derive(Serialize)]
struct Shown<'a> {
    #[serde(flatten)]
    score: &'a ScoreReport,
    numbers: &'a BTreeMap<String, f64>,
    limits: &'a [ScoreOutput],
}

impl<'a> Shown<'a> {
    fn of(program: &'a Program<'a>) -> Shown<'a> {
        Shown {
            score: &program.report,
            numbers: &program.numbers,
            limits: &program.limits,
        }
    }
}

/// The same of several programs.
#[derive(Serialize)]
struct Compared<'a> {
    format: &'static str,
    programs: BTreeMap<&'a String, Shown<'a>>,
}

impl<'a> Compared<'a> {
    fn of(programs: &'a [Program<'a>]) -> Compared<'a> {
        Compared {
            format: "skewstar-scores/1",
            programs: programs
                .iter()
                .map(|own| (own.name, Shown::of(own)))
                .collect(),
        }
    }
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
const MAY_BE_UNKNOWN: [&str; 8] = [
    ".photon_ratio",
    ".photon_place_known_ratio",
    ".calibration_error",
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
        read_json(&bytes)
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
            "Direction of {}: as a vector {} off (RMS); its direction {:.1} degrees off in the median, 45 to 135 degrees in {}, the opposite way in {} of {}.",
            name.replace('_', " "),
            short(direction.rms),
            direction.median_deg,
            direction.turned.count,
            direction.opposite.count,
            direction.answers
        );
    }
    out.push_str(&groups(&report.quantities));
    out.push_str("Errors are answer minus truth: modes in nm RMS, shifts in px, offsets in um. error/σ is 1 where the claimed uncertainty is right; × photon and × atmosphere compare the RMS error with what light and air allow.\n");
    for verdict in verdicts {
        out.push_str(&verdict_words(verdict));
    }
    out
}

/// One line a group: RMS error of each quantity.
fn groups(quantities: &BTreeMap<String, QuantityScore>) -> String {
    let mut out = String::new();
    for (name, score) in quantities {
        let words: Vec<String> = score
            .by_group
            .iter()
            .map(|group| {
                let over = group.photon_ratio.map_or(String::new(), |ratio| {
                    format!(", {} x photon", short(ratio))
                });
                format!("{} {} {}{over}", group.column, group.name, short(group.rms))
            })
            .collect();
        if !words.is_empty() {
            let _ = writeln!(out, "{name} by group (RMS): {}.", words.join("; "));
        }
    }
    out
}

fn verdict_words(verdict: &ScoreOutput) -> String {
    let (words, limit) = match (verdict.at_most, verdict.at_least) {
        (Some(limit), _) => ("at most", limit),
        (_, limit) => ("at least", limit.unwrap_or(f64::NAN)),
    };
    let found = verdict.found.map_or("not known".to_owned(), short);
    let kept = if verdict.kept { "kept" } else { "NOT KEPT" };
    format!(
        "{}: {found}, {words} {limit} was asked for: {kept}.\n",
        verdict.number
    )
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
    let mut rows = vec![HEADS.map(str::to_owned).to_vec()];
    for (name, score) in quantities {
        rows.push([vec![name.clone()], cells(score)].concat());
    }
    aligned(&rows, 1)
}

fn cells(score: &QuantityScore) -> Vec<String> {
    let known = |value: Option<f64>| value.map_or("-".to_owned(), short);
    vec![
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
    ]
}

/// Several programs under each other, quantity by quantity.
fn comparison(programs: &[Program<'_>]) -> String {
    let mut out = String::new();
    for program in programs {
        let report = &program.report;
        let _ = writeln!(
            out,
            "{}: {} of {} items answered ({:.1} %), {} flagged.",
            program.name,
            report.answered,
            report.items,
            100.0 * report.coverage,
            report.flagged.count
        );
    }
    let mut heads = HEADS.map(str::to_owned).to_vec();
    heads.insert(1, "program".to_owned());
    let mut rows = vec![heads];
    let all = programs
        .iter()
        .flat_map(|program| program.report.quantities.keys());
    let quantities: std::collections::BTreeSet<&String> = all.collect();
    for name in quantities {
        for program in programs {
            if let Some(score) = program.report.quantities.get(name) {
                let front = vec![name.clone(), program.name.clone()];
                rows.push([front, cells(score)].concat());
            }
        }
    }
    out.push_str(&aligned(&rows, 2));
    for program in programs {
        for verdict in &program.limits {
            let _ = write!(out, "{}: {}", program.name, verdict_words(verdict));
        }
    }
    out
}

/// Rows under each other; the first columns start, the others end together.
fn aligned(rows: &[Vec<String>], words: usize) -> String {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let mut out = String::new();
    for row in rows {
        let cells = row
            .iter()
            .zip(&widths)
            .enumerate()
            .map(|(column, (cell, width))| {
                if column < words {
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
