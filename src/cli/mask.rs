//! `mask check` and `mask draw`; the two long ones have files of their own.

use super::args::{MaskArgs, MaskDrawArgs, MaskVerb, ScenarioArgs};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::output::{OutputPlan, OutputSet};
use super::{finish, load, mask_preview, mask_tune, scene, stem};
use crate::mask::pieces::{CLEARANCE_M, MOST_PIECES, pieces};
use crate::mask::plate::Plate;
use crate::mask::solid::Solid;
use crate::preview::check::{Finding, Limit, MASK_CAUTIONS, findings};
use crate::scenario::Scenario;
use crate::scene::SceneError;
use crate::solid_io::{dxf, stl, svg, three_mf};
use crate::units::MM;
use serde::Serialize;
use std::path::Path;

/// Does one of the four; true when the mask failed its limits.
pub fn run(args: &MaskArgs, console: &Console) -> Result<bool, CliError> {
    match &args.what {
        MaskVerb::Check(args) => check(args, console),
        MaskVerb::Draw(args) => draw(args, console).map(|()| false),
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
    let mut lines = vec![title.clone(), layout_words.clone()];
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

#[derive(Serialize)]
struct DrawAnswer {
    format: &'static str,
    files: Vec<String>,
    outer_diameter_mm: f64,
    plate_area_mm2: f64,
    open_area_mm2: f64,
    volume_mm3: f64,
    triangles: usize,
    words: Vec<String>,
    bridges: usize,
}

fn draw(args: &MaskDrawArgs, console: &Console) -> Result<(), CliError> {
    let scenario = load(&args.scenario)?;
    let path = &args.scenario.scenario;
    let no_mask = || CliError::of_scene(path)(SceneError::NoMask);
    let list = findings(&scenario.instrument).ok_or_else(no_mask)?;
    let plate = Plate::new(&scenario.instrument).ok_or_else(no_mask)?;
    let interrupt = Interrupt::install()?;
    let stem = stem(path);
    let parts = fitting(&scenario, &plate, console, path);
    let mut names: Vec<String> = ["svg", "dxf", "stl", "3mf"]
        .map(|end| format!("{stem}.{end}"))
        .into();
    let piece_names =
        |number: usize| ["stl", "3mf"].map(|end| format!("{stem}.piece-{number}.{end}"));
    names.extend((1..=parts.len()).flat_map(piece_names));
    let mut set = OutputSet::plan(&OutputPlan {
        folder: &args.files.out,
        files: &names,
        truth: None,
        force: args.files.force,
    })?;
    set.replaces(
        &(1..=MOST_PIECES)
            .flat_map(piece_names)
            .collect::<Vec<String>>(),
    );
    let unsound = |source| CliError::Solid {
        path: path.clone(),
        source,
    };
    let solid = Solid::new(&plate).map_err(unsound)?;
    set.put(&names[0], svg::write(&plate, &scenario.title).as_bytes())?;
    set.put(&names[1], dxf::write(&plate).as_bytes())?;
    set.put(&names[2], &stl::write(&solid))?;
    set.put(&names[3], &three_mf::write(&solid, &scenario.title)?)?;
    for (part, files) in parts.iter().zip(names[4..].chunks(2)) {
        let solid = Solid::new(part).map_err(unsound)?;
        set.put(&files[0], &stl::write(&solid))?;
        set.put(&files[1], &three_mf::write(&solid, &scenario.title)?)?;
    }
    let written = finish(set, &interrupt, console)?;
    for finding in list.iter().filter(|f| f.serious) {
        console.warning(format!(
            "{}: {:.2} {}; {}",
            finding.what, finding.value, finding.unit, finding.mend
        ));
    }
    let answer = DrawAnswer {
        format: "skewstar-mask-draw/1",
        files: written.iter().map(|f| f.display().to_string()).collect(),
        outer_diameter_mm: 2.0 * plate.outer_radius_m / MM,
        plate_area_mm2: plate.plate.area_m2() / (MM * MM),
        open_area_mm2: plate.open.area_m2() / (MM * MM),
        volume_mm3: solid.volume_m3() / MM.powi(3),
        triangles: solid.triangles.len(),
        words: plate.words.clone(),
        bridges: plate.bridges,
    };
    let mut text = words(&answer, !plate.ring.is_empty());
    if !parts.is_empty() {
        text.push_str(&format!(
            "\nLarger than the bed: {} pieces that key into each other, with {} mm of air; glue them on a flat plate.",
            parts.len(),
            CLEARANCE_M / MM
        ));
    }
    console.answer(text)?;
    console.answer_json(&answer)?;
    Ok(())
}

/// The pieces of a plate that is larger than the bed; none when it fits, or when it does not and cannot be cut: then a warning says
/// so, and the whole plate is still drawn, for a cutter has no bed.
fn fitting(scenario: &Scenario, plate: &Plate, console: &Console, path: &Path) -> Vec<Plate> {
    let Some(design) = &scenario.instrument.mask else {
        return Vec::new();
    };
    match pieces(plate, design.printer.bed_m) {
        Ok(parts) if parts.len() == 1 => Vec::new(),
        Ok(parts) => parts,
        Err(error) => {
            console.warning(format!("{}: {error}; {}", path.display(), error.hint()));
            Vec::new()
        }
    }
}

fn words(answer: &DrawAnswer, ring: bool) -> String {
    let mut lines = vec![format!(
        "Drawn as seen from the sky side, {:.1} mm across, {:.1} cm3 of plastic.",
        answer.outer_diameter_mm,
        answer.volume_mm3 / 1000.0
    )];
    if answer.words.is_empty() {
        lines.push("No room for letters: mark the sky side and the top by hand.".into());
    } else {
        lines.push(format!("On the rim: {}.", answer.words.join(", ")));
    }
    if ring {
        lines.push(
            "Solids lie ready for the bed, sky side down; the ring stands up from the plate."
                .into(),
        );
    }
    if answer.bridges > 0 {
        lines.push(format!(
            "{} corners only touched and were joined by a dot of 0.1 mm.",
            answer.bridges
        ));
    }
    lines.push(MASK_CAUTIONS.into());
    lines.join("\n")
}
