//! `mask check`; the others have files of their own.

use super::args::{MaskArgs, MaskVerb, ScenarioArgs};
use super::console::Console;
use super::error::CliError;
use super::{mask_draw, mask_preview, mask_tune, scene};
use crate::instrument::{LeftOut, MaskDesign, MaskLayout};
use crate::preview::check::{Finding, Limit, MASK_CAUTIONS};
use crate::units::MM;
use serde::Serialize;

/// Does one of the four; true when the mask failed its limits.
pub fn run(args: &MaskArgs, console: &Console) -> Result<bool, CliError> {
    match &args.what {
        MaskVerb::Check(args) => check(args, console),
        MaskVerb::Draw(args) => mask_draw::run(args, console).map(|()| false),
        MaskVerb::Preview(args) => mask_preview::run(args, console).map(|()| false),
        MaskVerb::Tune(args) => mask_tune::run(args, console).map(|()| false),
    }
}

#[derive(Serialize)]
struct CheckAnswer<'a> {
    format: &'static str,
    title: &'a str,
    /// The word of the layout.
    layout: &'static str,
    /// What it is, what it shows an eye and what it hides.
    layout_words: &'a str,
    printable: bool,
    findings: &'a [Finding],
}

fn check(args: &ScenarioArgs, console: &Console) -> Result<bool, CliError> {
    let scene = scene(args)?;
    let list = scene
        .mask_findings()
        .map_err(CliError::of_scene(&args.scenario))?;
    let design = scene.mask().map_err(CliError::of_scene(&args.scenario))?;
    let layout = design.layout.name();
    let layout_words = layout.words();
    let serious = list.iter().any(|f| f.serious);
    let title = &scene.provenance().title;
    let mut lines = vec![title.clone(), layout_words.clone(), sizes(design)];
    if let MaskLayout::Drawing(drawing) = &design.layout {
        lines.extend(drawing.left_out.iter().map(left_out));
    }
    for finding in &list {
        lines.extend(sentences(finding));
    }
    lines.push(MASK_CAUTIONS.to_owned());
    let verdict = if serious {
        "Do not print this mask yet."
    } else {
        "This mask can be printed."
    };
    lines.push(verdict.to_owned());
    console.answer(lines.join("\n"))?;
    console.answer_json(&CheckAnswer {
        format: "skewstar-mask-check/1",
        title,
        layout: layout.word(),
        layout_words: &layout_words,
        printable: !serious,
        findings: &list,
    })?;
    Ok(serious)
}

/// What of a drawing is no part of the mask.
pub(super) fn left_out(left: &LeftOut) -> String {
    format!("left out: line {}: {}, {}", left.line, left.what, left.why)
}

/// The plate's sizes, typed or worked out.
fn sizes(design: &MaskDesign) -> String {
    format!(
        "Plate of {:.1} mm, hole of {:.1} mm, rims of {:.1} mm outside and {:.1} mm at the hole, {:.1} mm thick.",
        design.outer_diameter_m / MM,
        design.inner_diameter_m / MM,
        design.outer_rim_m / MM,
        design.inner_rim_m / MM,
        design.thickness_m / MM
    )
}

fn sentences(f: &Finding) -> Vec<String> {
    let mark = match (f.serious, f.kept) {
        (true, _) => "SERIOUS",
        (false, false) => "note",
        _ => "ok",
    };
    let limit = f.limit.zip(f.bound).map_or(String::new(), |(l, bound)| {
        let side = match bound {
            Limit::AtLeast => "at least",
            Limit::AtMost => "at most",
        };
        format!(" ({side} {l:.2})")
    });
    let mut lines = vec![format!(
        "{mark:<8}{:<27}{:>8.2} {}{limit}: {}",
        f.what, f.value, f.unit, f.words
    )];
    if !f.mend.is_empty() {
        lines.push(format!("        to mend it: {}", f.mend));
    }
    lines
}
