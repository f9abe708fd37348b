//! `dataset verify`: reads the files of a set and says whether it is whole; writes its manifest where that is asked for.

use super::args::SetArgs;
use super::console::Console;
use super::dataset::{open_set, seal_name, shared_files, use_threads};
use super::dataset_folder::SetFolder;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{json_file, stem};
use crate::dataset::{
    Manifest, Set, SetError, Shard, Table, Verifier, VerifyReport, read_secret, shard_stem,
};
use rand::TryRng;
use std::collections::BTreeSet;
use std::sync::atomic::Ordering;

/// Checks a set; `false` when it is not whole.
pub fn verify(args: &SetArgs, console: &Console) -> Result<bool, CliError> {
    use_threads(args.threads);
    let out = SetFolder::existing(&args.out);
    let name = stem(&args.recipe);
    let names = out.names()?;
    let secret = args.secret.as_deref().map(read_secret).transpose()?;
    let sealed = names.contains(&seal_name(&name));
    let set = open_set(args, sealed, secret)?;
    let interrupt = Interrupt::install()?;
    let again = items_to_remake(args, &set)?;
    let table = Table::of(&set)?;
    let mut verifier = Verifier::new(&set, &table, &name, args.start..args.start + args.count);
    let shared = shared_files(&set, &table, &name)?;
    for (file, bytes) in &shared {
        verifier.shared(file, bytes, out.read(file)?.as_deref());
    }
    if sealed && secret.is_none() {
        verifier.seal(&seal_name(&name), out.read(&seal_name(&name))?.as_deref());
    }
    let manifest = format!("{name}.manifest.json");
    verifier.belongs(&manifest);
    check_records(
        args,
        &out,
        &names,
        &mut verifier,
        &again,
        console,
        &interrupt,
    )?;
    let mut report = verifier.finish(&names);
    let seal = secret_of_seal(&out, &name)?;
    let own = Manifest::of(&set, &report, args.start, &shared, seal, &target(&set));
    if let Some(bytes) = out.read(&manifest)? {
        if let Some(fault) = own.as_ref().and_then(|own| own.fault(&bytes)) {
            report.damaged.push(format!("{manifest} {fault}"));
            report.complete = false;
            report.content_sha256 = None;
        }
    } else if let Some(own) = own.filter(|_| args.manifest) {
        out.place(&manifest, &json_file(&own)?)?;
    }
    console.answer(sentences(&report))?;
    console.answer_json(&report)?;
    Ok(report.complete)
}

/// Processor and system, and whether the set's bytes depend on them.
fn target(set: &Set) -> String {
    let portable = if set.portable() { ", portable" } else { "" };
    format!(
        "{}-{}{portable}",
        std::env::consts::ARCH,
        std::env::consts::OS
    )
}

/// The published checksum of the secret of a sealed set.
fn secret_of_seal(out: &SetFolder, name: &str) -> Result<Option<String>, CliError> {
    let bytes = out.read(&seal_name(name))?;
    let seal: Option<crate::dataset::Seal> = bytes.and_then(|b| serde_json::from_slice(&b).ok());
    Ok(seal.map(|seal| seal.secret_sha256))
}

fn check_records(
    args: &SetArgs,
    out: &SetFolder,
    names: &[String],
    verifier: &mut Verifier<'_>,
    again: &BTreeSet<u64>,
    console: &Console,
    interrupt: &Interrupt,
) -> Result<(), CliError> {
    let name = stem(&args.recipe);
    let withheld = args.truth_out.as_deref().map(SetFolder::existing);
    let secret = args.secret.as_deref().map(read_secret).transpose()?;
    let is_record =
        |file: &&String| file.starts_with(&format!("{name}.")) && file.ends_with(".shard.json");
    let progress = Progress::start(console, "items made again", again.len() as u64);
    for file in names.iter().filter(is_record) {
        let bytes = out.read(file)?.unwrap_or_default();
        let Some(record) = verifier.record(file, &bytes) else {
            continue;
        };
        for own in &record.files {
            verifier.file(&record, own, out.read(&own.name)?.as_deref());
        }
        #[cfg(feature = "parquet")]
        for own in record
            .files
            .iter()
            .filter(|own| own.name.ends_with(".parquet"))
        {
            let csv = out.read(&own.name.replace(".parquet", ".csv"))?;
            if let (Some(csv), Some(found)) = (csv, out.read(&own.name)?) {
                verifier.beside(&own.name, &csv, &found);
            }
        }
        if let (Some(folder), Some(secret)) = (&withheld, &secret) {
            let truth = format!("{}.truth.csv", shard_stem(&name, record.items));
            verifier.withheld(&truth, &record, secret, folder.read(&truth)?.as_deref());
        }
        for item in again.range(record.items.first..=record.items.last) {
            if interrupt.flag().load(Ordering::SeqCst) {
                return Err(SetError::Stopped.into());
            }
            verifier.remade(&record, *item)?;
            progress.step();
        }
    }
    Ok(())
}

/// As many items as were asked for, drawn by the system's chance, so that nobody knows beforehand which.
fn items_to_remake(args: &SetArgs, set: &Set) -> Result<BTreeSet<u64>, CliError> {
    let wanted = args.remake.min(args.count);
    let mut items = BTreeSet::new();
    if wanted == 0 {
        return Ok(items);
    }
    if set.sealed() && set.secret().is_none() {
        return Err(CliError::RemakeSealed);
    }
    if wanted == args.count {
        return Ok((args.start..args.start + args.count).collect());
    }
    while (items.len() as u64) < wanted {
        let drawn = rand::rngs::SysRng.try_next_u64();
        let drawn = drawn.map_err(|_| CliError::NoChance)?;
        items.insert(args.start + drawn % args.count);
    }
    Ok(items)
}

/// Most names in a sentence; `--json` has all.
const NAMED: usize = 5;

fn sentences(report: &VerifyReport) -> String {
    let runs = |runs: &[Shard]| {
        let words: Vec<String> = runs.iter().take(NAMED).map(run_words).collect();
        let more = runs.len().saturating_sub(NAMED);
        words.join(", ")
            + &if more > 0 {
                format!(" and {more} more")
            } else {
                String::new()
            }
    };
    let mut lines = vec![format!(
        "{} of {} items are there.",
        report.items_found, report.items_wanted
    )];
    for (found, words) in [
        (&report.gaps, "Missing: items"),
        (&report.duplicates, "More than once: items"),
        (&report.beyond, "Outside the range: items"),
    ] {
        if !found.is_empty() {
            lines.push(format!("{words} {}.", runs(found)));
        }
    }
    let foreign = report
        .foreign
        .iter()
        .map(|name| format!("{name} is not of this set"));
    let faults: Vec<String> = report.damaged.iter().cloned().chain(foreign).collect();
    lines.extend(
        faults
            .iter()
            .take(2 * NAMED)
            .map(|fault| format!("{fault}.")),
    );
    if faults.len() > 2 * NAMED {
        lines.push(format!(
            "{} more faults; --json lists all.",
            faults.len() - 2 * NAMED
        ));
    }
    if !report.remade.is_empty() {
        let words: Vec<String> = report
            .remade
            .iter()
            .take(NAMED)
            .map(u64::to_string)
            .collect();
        let more = if report.remade.len() > NAMED {
            " …"
        } else {
            ""
        };
        lines.push(format!(
            "{} items were made again: {}{more}.",
            report.remade.len(),
            words.join(", ")
        ));
    }
    if report.commitments_checked > 0 {
        lines.push(format!(
            "The withheld truth of {} shards is the one committed to.",
            report.commitments_checked
        ));
    }
    lines.push(match &report.content_sha256 {
        Some(sha256) => format!("The set is whole; its content has the checksum {sha256}."),
        None => "The set is not whole: run dataset make again for what is missing; what is damaged, move away first.".to_owned(),
    });
    lines.join("\n")
}

fn run_words(run: &Shard) -> String {
    if run.first == run.last {
        run.first.to_string()
    } else {
        format!("{} to {}", run.first, run.last)
    }
}
