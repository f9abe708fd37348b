//! `mask draw`: files for the printer, or with `--sheet` for a laser cutter.

use super::args::MaskDrawArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::mask::left_out;
use super::output::{OutputPlan, OutputSet};
use super::{finish, load, stem};
use crate::instrument::{MaskDesign, MaskLayout};
use crate::mask::pieces::{CLEARANCE_M, MOST_PIECES, pieces};
use crate::mask::plate::Plate;
use crate::mask::sheet::Sheet;
use crate::mask::solid::Solid;
use crate::preview::check::{Finding, MASK_CAUTIONS, findings};
use crate::scenario::Scenario;
use crate::scene::SceneError;
use crate::solid_io::order::{self, Made, Order};
use crate::solid_io::{dxf, stl, svg, three_mf};
use crate::units::MM;
use serde::Serialize;
use serde_json::json;
use std::path::Path;

/// Writes the files of one mask.
pub fn run(args: &MaskDrawArgs, console: &Console) -> Result<(), CliError> {
    let scenario = load(&args.scenario)?;
    let path = &args.scenario.scenario;
    let no_mask = || CliError::of_scene(path)(SceneError::NoMask);
    let list = findings(&scenario.instrument).ok_or_else(no_mask)?;
    let design = scenario.instrument.mask.as_ref().ok_or_else(no_mask)?;
    if args.sheet {
        sheet(args, &scenario, design, &list, console)?;
    } else {
        let plate = Plate::new(&scenario.instrument).ok_or_else(no_mask)?;
        solids(args, &scenario, design, &plate, &list, console)?;
    }
    for finding in list.iter().filter(|f| f.serious) {
        console.warning(format!(
            "{}: {:.2} {}; {}",
            finding.what, finding.value, finding.unit, finding.mend
        ));
    }
    Ok(())
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
    /// What of a drawing is no part of the mask, each with its line; left out for other layouts.
    #[serde(skip_serializing_if = "Option::is_none")]
    left_out: Option<Vec<String>>,
}

fn solids(
    args: &MaskDrawArgs,
    scenario: &Scenario,
    design: &MaskDesign,
    plate: &Plate,
    list: &[Finding],
    console: &Console,
) -> Result<(), CliError> {
    let path = &args.scenario.scenario;
    let interrupt = Interrupt::install()?;
    let stem = stem(path);
    let parts = fitting(scenario, plate, console, path);
    let gauge = Plate::gauge(design);
    let drawing = match &design.layout {
        MaskLayout::Drawing(drawing) => Some(drawing),
        _ => None,
    };
    let understood = format!("{stem}.understood.svg");
    let whole = ["svg", "dxf", "stl", "3mf", "order.txt"].map(|end| format!("{stem}.{end}"));
    let gauge_names = ["stl", "3mf"].map(|end| format!("{stem}.gauge.{end}"));
    let piece_names =
        |number: usize| ["stl", "3mf"].map(|end| format!("{stem}.piece-{number}.{end}"));
    let mut names: Vec<String> = whole.to_vec();
    if gauge.is_some() {
        names.extend(gauge_names.clone());
    }
    names.extend(drawing.map(|_| understood.clone()));
    names.extend((1..=parts.len()).flat_map(piece_names));
    let mut set = OutputSet::plan(&OutputPlan {
        folder: &args.files.out,
        files: &names,
        truth: None,
        force: args.files.force,
    })?;
    let older = (1..=MOST_PIECES)
        .flat_map(piece_names)
        .chain(gauge_names.clone());
    set.replaces(&older.collect::<Vec<String>>());
    let unsound = |source| CliError::Solid {
        path: path.clone(),
        source,
    };
    let solid = Solid::new(plate).map_err(unsound)?;
    set.put(&whole[0], svg::write(plate, &scenario.title).as_bytes())?;
    set.put(&whole[1], dxf::write(plate).as_bytes())?;
    let mut put = |names: &[String], solid: &Solid| -> Result<(), CliError> {
        set.put(&names[0], &stl::write(solid))?;
        set.put(&names[1], &three_mf::write(solid, &scenario.title)?)?;
        Ok(())
    };
    put(&whole[2..4], &solid)?;
    if let Some(gauge) = &gauge {
        put(&gauge_names, &Solid::new(gauge).map_err(unsound)?)?;
    }
    for (number, part) in parts.iter().enumerate() {
        put(
            &piece_names(number + 1),
            &Solid::new(part).map_err(unsound)?,
        )?;
    }
    if let Some(drawing) = drawing {
        let mirrored = scenario.instrument.telescope.seen_mirrored();
        let picture = svg::write_understood(plate, &drawing.left_out, mirrored);
        set.put(&understood, picture.as_bytes())?;
    }
    let ordered = Order {
        title: &scenario.title,
        design,
        plate,
        made: Made::Printed,
        files: &whole[2..4],
        narrowest_m: narrowest_m(list),
    };
    set.put(&whole[4], order::write(&ordered).as_bytes())?;
    let written = finish(set, &interrupt, console)?;
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
        left_out: drawing.map(|drawing| drawing.left_out.iter().map(left_out).collect()),
    };
    let mut text = words(&answer, !plate.ring.is_empty());
    if !parts.is_empty() {
        text.push_str(&format!(
            "\nLarger than the bed: {} pieces that key into each other, with {} mm of air; glue them on a flat plate.",
            parts.len(),
            CLEARANCE_M / MM
        ));
    }
    if gauge.is_some() {
        text.push_str(&format!(
            "\nPrint {stem}.gauge first, a sixth of the ring, and try it on the tube: where it is tight or loose, change mask.grip.clearance_mm.",
        ));
    }
    console.answer(text)?;
    console.answer_json(&answer)?;
    Ok(())
}

fn sheet(
    args: &MaskDrawArgs,
    scenario: &Scenario,
    design: &MaskDesign,
    list: &[Finding],
    console: &Console,
) -> Result<(), CliError> {
    let path = &args.scenario.scenario;
    let interrupt = Interrupt::install()?;
    let stem = stem(path);
    let names = ["svg", "dxf", "order.txt"].map(|end| format!("{stem}.sheet.{end}"));
    let mut set = OutputSet::plan(&OutputPlan {
        folder: &args.files.out,
        files: &names,
        truth: None,
        force: args.files.force,
    })?;
    let kerf_m = args.kerf_mm * MM;
    let sheet = Sheet::new(&scenario.instrument, kerf_m)
        .ok_or_else(|| CliError::of_scene(path)(SceneError::NoMask))?
        .map_err(|source| CliError::Sheet {
            path: path.clone(),
            source,
        })?;
    set.put(
        &names[0],
        svg::write_sheet(&sheet, &scenario.title).as_bytes(),
    )?;
    set.put(&names[1], dxf::write_sheet(&sheet).as_bytes())?;
    let plate = &sheet.plate;
    let ordered = Order {
        title: &scenario.title,
        design,
        plate,
        made: Made::Cut { kerf_m },
        files: &names[..2],
        narrowest_m: narrowest_m(list),
    };
    set.put(&names[2], order::write(&ordered).as_bytes())?;
    let written = finish(set, &interrupt, console)?;
    console.answer(format!(
        "A sheet of {:.1} mm for a cutter, seen from the sky side: {} openings and {:.1} m of cut, half a kerf of {} mm allowed for. It has no ring: hold it by three blocks glued to its back, or by tape.\n{MASK_CAUTIONS}",
        2.0 * plate.reach_m / MM,
        sheet.openings().count(),
        sheet.length_m(),
        args.kerf_mm
    ))?;
    if sheet.left_out > 0 {
        console.answer(format!(
            "{} openings narrower than the kerf are left out: slivers beside ribs and rims, together below a thousandth of what is open.",
            sheet.left_out
        ))?;
    }
    console.answer_json(&json!({
        "format": "skewstar-mask-sheet/1",
        "files": written.iter().map(|f| f.display().to_string()).collect::<Vec<_>>(),
        "kerf_mm": args.kerf_mm,
        "openings": sheet.openings().count(),
        "left_out": sheet.left_out,
        "cut_mm": sheet.length_m() / MM,
        "plate_area_mm2": plate.plate.area_m2() / (MM * MM),
        "drawn_area_mm2": sheet.cut.area_m2() / (MM * MM),
        "words": plate.words,
    }))?;
    Ok(())
}

/// Narrowest opening and bar, as the check found them.
fn narrowest_m(list: &[Finding]) -> [f64; 2] {
    ["slot width", "thinnest bar"].map(|what| {
        let found = list.iter().find(|f| f.what == what);
        found.map_or(0.0, |f| f.value * MM)
    })
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
    if let Some(left) = &answer.left_out {
        lines.push(format!(
            "Of the drawing {} left out; what was understood is in the picture .understood.svg.",
            if left.is_empty() {
                "nothing was".to_owned()
            } else {
                format!("this was ({})", left.len())
            }
        ));
        lines.extend(left.iter().cloned());
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
