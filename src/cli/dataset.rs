//! `dataset make` and `dataset verify`: files in, files out; what they hold is made in `crate::dataset`.

use super::args::{DatasetArgs, DatasetVerb, SetArgs};
use super::console::Console;
use super::dataset_folder::SetFolder;
use super::dataset_verify::verify;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{json_file, stem};
use crate::dataset::{
    self, Opening, Seal, Set, SetError, Shard, ShardRecord, Table, read_secret, shard_of_record,
    shard_stem, shards,
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

/// Limits the threads of this program; nothing is changed without a number.
pub(super) fn use_threads(threads: Option<usize>) {
    if let Some(threads) = threads {
        // an error says that the threads were started before, which nothing does
        let _ = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build_global();
    }
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
    use_threads(args.threads);
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
    for folder in [Some(&out), withheld.as_ref()].into_iter().flatten() {
        folder.sweep(&name)?;
    }
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
    let mut items_made = 0;
    for shard in &left {
        // another run may have made it meanwhile, or a part of it
        if is_done(&out, &set, &name, *shard)? {
            (0..=shard.last - shard.first).for_each(|_| progress.step());
            continue;
        }
        refuse_overlap(&out, &name, std::slice::from_ref(shard))?;
        items_made += shard.last - shard.first + 1;
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
        "{items_made} items in {seconds:.2} s: {:.1} a second",
        items_made as f64 / seconds.max(1e-9)
    ));
    let made = Made {
        format: "skewstar-made/1",
        set_sha256: set.sha256.clone(),
        items: args.count,
        items_there_before: args.count - items_made,
        shards: all.len(),
    };
    console.answer(format!(
        "Items {} to {} of \"{}\" lie in {} shard(s) in the folder {}; {} of the items were there before.\nWhether the set is whole says: skewstar dataset verify, with the same recipe, --out and --count.",
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

/// Files that every part of the set has, whatever its range.
pub(super) fn shared_files(
    set: &Set,
    table: &Table,
    name: &str,
) -> Result<Vec<(String, Vec<u8>)>, CliError> {
    let card = dataset::card(set, table, name)?;
    let recipe = set.recipe.text.clone().into_bytes();
    let mut files = vec![(format!("{name}.recipe.toml"), recipe)];
    for (ending, text) in set.scenario_texts() {
        files.push((format!("{name}.{ending}"), text.as_bytes().to_vec()));
    }
    for (file, bytes) in set.table_files() {
        let own = Path::new(file).file_name().unwrap_or_default();
        files.push((
            format!("{name}.table.{}", own.to_string_lossy()),
            bytes.clone(),
        ));
    }
    if let Some(regions) = dataset::regions_file(set)? {
        files.push((format!("{name}.regions.json"), regions));
    }
    for (ending, flat) in dataset::flat_files(set) {
        files.push((format!("{name}.{ending}"), flat));
    }
    files.push((
        format!("{name}.truth.schema.json"),
        table.schema().into_bytes(),
    ));
    files.push((format!("{name}.card.md"), card.into_bytes()));
    if let Some(secret) = set.secret() {
        files.push((seal_name(name), json_file(&Seal::of(&secret))?));
    }
    Ok(files)
}

pub(super) fn seal_name(name: &str) -> String {
    format!("{name}.seal.json")
}

/// The set of the recipe that was named.
pub(super) fn open_set(
    args: &SetArgs,
    sealed: bool,
    secret: Option<[u8; 16]>,
) -> Result<Set, CliError> {
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
        let folder = SetFolder::open(folder.unwrap_or(Path::new(".")))?;
        match folder.place_private(&name, line.as_bytes()) {
            // another run that makes the same set was faster: its secret is the set's
            Err(CliError::SetFile { .. }) => {}
            placed => placed?,
        }
    }
    Ok(read_secret(path)?)
}
