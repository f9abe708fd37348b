//! `dataset make` and `dataset verify`: files in, files out; what they hold is made in `crate::dataset`.

use super::args::{DatasetArgs, DatasetVerb, SetArgs};
use super::console::Console;
use super::dataset_folder::SetFolder;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::stem;
use crate::dataset::{
    self, Opening, Set, SetError, Shard, ShardRecord, Table, Verifier, VerifyReport, read_secret,
    secret_sha256, shard_of_record, shard_stem, shards,
};
use crate::scenario::hex;
use rand::TryRng;
use rayon::prelude::*;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::path::Path;
use std::sync::atomic::Ordering;
use std::time::Instant;

/// Does what was asked; `false` when a set is not whole.
pub fn run(args: &DatasetArgs, console: &Console) -> Result<bool, CliError> {
    match &args.what {
        DatasetVerb::Make(args) => make(args, console).map(|()| true),
        DatasetVerb::Verify(args) => verify(args, console),
    }
}

/// What was made, for `--json`.
#[derive(Debug, Serialize)]
struct Made {
    format: &'static str,
    set_sha256: String,
    items: u64,
    items_there_before: u64,
    shards: usize,
}

/// What is withheld must not lie in the folder that is handed out.
fn refuse_truth_inside(args: &SetArgs) -> Result<(), CliError> {
    let absolute = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let out = absolute(&args.out);
    let withheld = [&args.truth_out, &args.secret];
    match withheld
        .into_iter()
        .flatten()
        .find(|path| absolute(path).starts_with(&out))
    {
        None => Ok(()),
        Some(inside) => Err(CliError::Withheld {
            path: inside.clone(),
            out: args.out.clone(),
        }),
    }
}

fn make(args: &SetArgs, console: &Console) -> Result<(), CliError> {
    refuse_truth_inside(args)?;
    let out = SetFolder::open(&args.out)?;
    let withheld = args.truth_out.as_deref().map(SetFolder::open).transpose()?;
    let secret = args
        .secret
        .as_deref()
        .map(read_or_make_secret)
        .transpose()?;
    let set = open_set(args, secret.is_some(), secret)?;
    let name = stem(&args.recipe);
    let interrupt = Interrupt::install()?;
    let table = Table::of(&set)?;
    for (file, bytes) in shared_files(&set, &table, &name)? {
        out.place(&file, &bytes)?;
    }
    let range = args.start..args.start + args.count;
    let all: Vec<Shard> = shards(range, set.recipe.shard_items).collect();
    refuse_overlap(&out, &name, &all)?;
    let mut left = Vec::new();
    for shard in &all {
        if !is_done(&out, &set, &name, *shard)? {
            left.push(*shard);
        }
    }
    check_all(&set, &left, &interrupt)?;
    note_foreign(&out, &name, console)?;
    let items_left: u64 = left.iter().map(|shard| shard.last - shard.first + 1).sum();
    let progress = Progress::start(console, "items", items_left);
    let began = Instant::now();
    for shard in &left {
        let files = dataset::build(&set, &table, &name, *shard, interrupt.flag(), &|| {
            progress.step()
        })?;
        if let Some(folder) = &withheld {
            for (file, bytes) in &files.withheld {
                folder.place(file, bytes)?;
            }
        }
        for (file, bytes) in &files.public {
            out.place(file, bytes)?;
        }
    }
    drop(progress);
    let seconds = began.elapsed().as_secs_f64();
    console.note(format!(
        "{items_left} items in {seconds:.2} s: {:.1} a second",
        items_left as f64 / seconds.max(1e-9)
    ));
    let made = Made {
        format: "skewstar-made/1",
        set_sha256: set.sha256.clone(),
        items: args.count,
        items_there_before: args.count - items_left,
        shards: all.len(),
    };
    console.answer(format!(
        "Items {} to {} of \"{}\" lie in {} shards in {}; {} were there before.\nskewstar dataset verify says whether the set is whole.",
        args.start,
        args.start + args.count - 1,
        set.recipe.title,
        made.shards,
        args.out.display(),
        made.items_there_before,
    ))?;
    console.answer_json(&made)?;
    Ok(())
}

/// Items that another run cut otherwise would be in the folder twice.
fn refuse_overlap(out: &SetFolder, name: &str, wanted: &[Shard]) -> Result<(), CliError> {
    for file in out.names()? {
        let there = shard_of_record(&file, name);
        let crosses = |a: &Shard, b: &Shard| a != b && a.first <= b.last && b.first <= a.last;
        if there.is_some_and(|there| wanted.iter().any(|shard| crosses(shard, &there))) {
            return Err(CliError::SetOverlap {
                path: out.place_of(&file),
            });
        }
    }
    Ok(())
}

fn verify(args: &SetArgs, console: &Console) -> Result<bool, CliError> {
    let out = SetFolder::existing(&args.out);
    let name = stem(&args.recipe);
    let names = out.names()?;
    let secret = args.secret.as_deref().map(read_secret).transpose()?;
    let sealed = names.contains(&seal_name(&name));
    let set = open_set(args, sealed, secret)?;
    let table = Table::of(&set)?;
    let mut verifier = Verifier::new(&set, args.start..args.start + args.count);
    for (file, bytes) in shared_files(&set, &table, &name)? {
        verifier.shared(&file, &bytes, out.read(&file)?.as_deref());
    }
    if sealed && secret.is_none() {
        let found = out.read(&seal_name(&name))?;
        verifier.shared(
            &seal_name(&name),
            found.as_deref().unwrap_or_default(),
            found.as_deref(),
        );
    }
    let withheld = args.truth_out.as_deref().map(SetFolder::existing);
    let is_record =
        |file: &&String| file.starts_with(&format!("{name}.")) && file.ends_with(".shard.json");
    for file in names.iter().filter(is_record) {
        let bytes = out.read(file)?.unwrap_or_default();
        let Some(record) = verifier.record(file, &bytes) else {
            continue;
        };
        for own in &record.files {
            verifier.file(&record, own, out.read(&own.name)?.as_deref());
        }
        if let (Some(folder), Some(secret)) = (&withheld, &secret) {
            let truth = format!("{}.truth.csv", shard_stem(&name, record.items));
            verifier.withheld(&truth, &record, secret, folder.read(&truth)?.as_deref());
        }
    }
    let report = verifier.finish(&names);
    console.answer(sentences(&report))?;
    console.answer_json(&report)?;
    Ok(report.complete)
}

/// Files that every part of the set has, whatever its range.
fn shared_files(set: &Set, table: &Table, name: &str) -> Result<Vec<(String, Vec<u8>)>, CliError> {
    let card = dataset::card(set, table, name)?;
    let mut files = vec![
        (
            format!("{name}.recipe.toml"),
            set.recipe.text.clone().into_bytes(),
        ),
        (
            format!("{name}.scenario.toml"),
            set.scenario_text.clone().into_bytes(),
        ),
        (
            format!("{name}.truth.schema.json"),
            table.schema().into_bytes(),
        ),
        (format!("{name}.card.md"), card.into_bytes()),
    ];
    if let Some(secret) = set.secret() {
        let seal = format!(
            "{{\n  \"format\": \"skewstar-seal/1\",\n  \"secret_sha256\": \"{}\"\n}}\n",
            secret_sha256(&secret)
        );
        files.push((seal_name(name), seal.into_bytes()));
    }
    Ok(files)
}

fn seal_name(name: &str) -> String {
    format!("{name}.seal.json")
}

/// The set of the recipe that was named.
fn open_set(args: &SetArgs, sealed: bool, secret: Option<[u8; 16]>) -> Result<Set, CliError> {
    let opening = Opening {
        sealed,
        secret,
        portable: args.portable,
    };
    Ok(Set::open(&args.recipe, &opening)?)
}

/// Whether a shard is there, complete. What is there and does not fit its record is an error, never repaired.
fn is_done(out: &SetFolder, set: &Set, name: &str, shard: Shard) -> Result<bool, CliError> {
    let file = format!("{}.shard.json", shard_stem(name, shard));
    let Some(bytes) = out.read(&file)? else {
        return Ok(false);
    };
    let refuse = |file: &str, reason| {
        Err(CliError::SetFile {
            path: out.place_of(file),
            reason,
        })
    };
    let record: ShardRecord = match serde_json::from_slice(&bytes) {
        Ok(record) => record,
        Err(_) => return refuse(&file, "is there already and is no record of a shard"),
    };
    if record.set_sha256 != set.sha256 || record.items != shard {
        return refuse(&file, "belongs to another recipe or scenario");
    }
    for own in &record.files {
        match out.read(&own.name)? {
            None => return Ok(false),
            Some(bytes) if hex(&Sha256::digest(&bytes)) != own.sha256 => {
                return refuse(&own.name, "does not fit the checksum in its record");
            }
            Some(_) => {}
        }
    }
    Ok(true)
}

/// Reads the scenario of every item that is to be made: what cannot be meant is told before the work.
fn check_all(set: &Set, left: &[Shard], interrupt: &Interrupt) -> Result<(), CliError> {
    for shard in left {
        (shard.first..=shard.last)
            .into_par_iter()
            .try_for_each(|item| {
                if interrupt.flag().load(Ordering::SeqCst) {
                    return Err(SetError::Stopped);
                }
                set.scenario(item).map(|_| ())
            })?;
    }
    Ok(())
}

/// Says which files in the folder are strangers; they are left alone.
fn note_foreign(out: &SetFolder, name: &str, console: &Console) -> Result<(), CliError> {
    let names = out.names()?;
    let own = |file: &&String| {
        file.starts_with(&format!("{name}.")) || file.starts_with(&format!(".{name}."))
    };
    let strangers: Vec<&String> = names.iter().filter(|file| !own(file)).collect();
    if let Some(first) = strangers.first() {
        console.warning(format!(
            "{} of {} files in {} are not of this set, the first is {first}; they are left alone",
            strangers.len(),
            names.len(),
            out.place_of("").display(),
        ));
    }
    Ok(())
}

fn read_or_make_secret(path: &Path) -> Result<[u8; 16], CliError> {
    if !path.exists() {
        let mut secret = [0; 16];
        let drawn = rand::rngs::SysRng.try_fill_bytes(&mut secret);
        drawn.map_err(|_| SetError::Secret {
            path: path.to_owned(),
            reason: "cannot be made: the system gives no random numbers",
        })?;
        let folder = path
            .parent()
            .filter(|parent| !parent.as_os_str().is_empty());
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let line = format!("{}\n", hex(&secret));
        SetFolder::open(folder.unwrap_or(Path::new(".")))?.place_private(&name, line.as_bytes())?;
    }
    Ok(read_secret(path)?)
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
    if report.commitments_checked > 0 {
        lines.push(format!(
            "The withheld truth of {} shards is the one committed to.",
            report.commitments_checked
        ));
    }
    lines.push(match &report.content_sha256 {
        Some(sha256) => format!("The set is whole; its content has the checksum {sha256}."),
        None => "The set is not whole.".to_owned(),
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
