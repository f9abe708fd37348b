//! `new`: a commented scenario to fill in.

use super::args::{KindArg, NewArgs};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::new_from;
use super::output::{OutputPlan, OutputSet};
use crate::scenario::{TemplateKind, template};
use serde_json::json;
use std::path::Path;

/// Writes NAME.toml.
pub fn run(args: &NewArgs, console: &Console) -> Result<(), CliError> {
    let file = file_name(&args.name)?;
    let interrupt = Interrupt::install()?;
    let mut set = OutputSet::plan(&OutputPlan {
        folder: &args.files.out,
        files: std::slice::from_ref(&file),
        truth: None,
        force: args.files.force,
    })?;
    let text = match &args.first.from {
        None => template(kind(args.kind), &args.name),
        Some(frame) => new_from::scenario(frame, args, console, &interrupt)?,
    };
    set.put(&file, text.as_bytes())?;
    let paths = set.finish(&interrupt)?;
    for path in &paths {
        let path = path.strip_prefix(".").unwrap_or(path);
        console.note(format!("wrote {}", path.display()));
        console.answer(match args.first.from {
            None => format!(
                "Fill in the numbers, then: skewstar check {0} and skewstar render {0}",
                typed(path)
            ),
            Some(_) => format!(
                "Read it once, and put right what is called a guess where you know better. Then: skewstar check {0}, or begin: skewstar night start --instrument {0} --session night.toml",
                typed(path)
            ),
        })?;
        console.answer_json(&json!({ "file": path }))?;
    }
    Ok(())
}

/// A path as it can be typed on a command line: in quotes where it holds a blank or a sign that a shell reads.
fn typed(path: &Path) -> String {
    let text = path.display().to_string();
    let plain = |letter: char| letter.is_alphanumeric() || "._-/\\:".contains(letter);
    if text.chars().all(plain) {
        text
    } else {
        format!("\"{text}\"")
    }
}

pub(super) fn kind(kind: KindArg) -> TemplateKind {
    match kind {
        KindArg::PrimeFocus => TemplateKind::PrimeFocus,
        KindArg::TwoMirror => TemplateKind::TwoMirror,
        KindArg::Newtonian => TemplateKind::Newtonian,
        KindArg::Refractor => TemplateKind::Refractor,
        KindArg::PrimeFocusCorrector => TemplateKind::PrimeFocusCorrector,
        KindArg::CorrectorPlate => TemplateKind::CorrectorPlate,
        KindArg::Meniscus => TemplateKind::Meniscus,
        KindArg::Doublet => TemplateKind::Doublet,
    }
}

/// The title as a file name; what no file system likes is refused, not replaced.
fn file_name(name: &str) -> Result<String, CliError> {
    let refuse = |reason| {
        Err(CliError::Name {
            name: name.to_owned(),
            reason,
        })
    };
    if name.trim().is_empty() {
        return refuse("it is empty");
    }
    if name.starts_with(['.', '-']) || name.ends_with('.') {
        return refuse("it begins with a dot or a dash, or ends with a dot");
    }
    if name
        .chars()
        .any(|c| c.is_control() || "/\\:*?\"<>|".contains(c))
    {
        return refuse("it holds a character that file names cannot have");
    }
    if name.len() > 100 {
        return refuse("it is longer than 100 bytes");
    }
    Ok(format!(
        "{}.toml",
        name.strip_suffix(".toml").unwrap_or(name)
    ))
}
