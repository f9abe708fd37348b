//! The data card: what a set holds, in which units and conventions, under which licence, and what it should not be used for.
//!
//! It depends on recipe and scenario only, not on how many items were made or where, so that the parts of a set carry the same
//! card. Its sampling error is measured, on the first items.

use super::card_laws::{cases, law_tables, place};
use super::distribution::number;
use super::error::SetError;
use super::frames::flat_files;
use super::recipe::FrameFiles;
use super::regions::regions_file;
use super::set::Set;
use super::table::Table;
use crate::predict::Settings;
use crate::units::{MM, UM};
use rayon::prelude::*;
use std::fmt::Write as _;

/// Items on which the sampling error is measured.
const MEASURED_ITEMS: u64 = 4;

/// The card as Markdown.
///
/// # Errors
/// One of the first items cannot be made.
pub fn card(set: &Set, table: &Table, stem: &str) -> Result<String, SetError> {
    let recipe = &set.recipe;
    let mut out = format!("# {}\n\n", recipe.title);
    let sealed = if set.sealed() {
        "; **sealed**: the truth is withheld, each shard's record commits to it"
    } else {
        ""
    };
    let _ = writeln!(
        out,
        "Version {} · licence {} · made with skewstar {}{sealed}\n\nRecipe, scenario and seed: `{}`\n",
        recipe.version,
        recipe.licence,
        env!("CARGO_PKG_VERSION"),
        set.sha256,
    );
    frames(&mut out, set, stem)?;
    cases(&mut out, set);
    law_tables(&mut out, set);
    place(&mut out, set);
    out.push_str(CONVENTIONS);
    columns(&mut out, table);
    out.push_str("\n## Limits\n\n");
    for limit in &recipe.limits {
        let _ = writeln!(out, "- {limit}");
    }
    out.push_str(NOT_MODELLED);
    Ok(out)
}

fn frames(out: &mut String, set: &Set, stem: &str) -> Result<(), SetError> {
    let [columns, rows] = set.frame_px();
    let _ = writeln!(
        out,
        "## Frames\n\n{columns} × {rows} pixels. Counts, 16 bits.\n"
    );
    for case in &set.cases {
        let instrument = &case.base.instrument;
        let (telescope, camera) = (&instrument.telescope, &instrument.camera);
        let name = case
            .name
            .as_ref()
            .map_or(String::new(), |name| format!("{name}: "));
        let _ = writeln!(
            out,
            "- {name}pixels of {:.2} µm, {} mm of aperture at {} mm of focal length{}",
            camera.pixel_m / UM,
            number(telescope.aperture_m / MM),
            number(telescope.focal_length_m / MM),
            if case.base.state.mask_on {
                ", with a slotted mask"
            } else {
                ""
            },
        );
    }
    out.push_str("\nFiles:\n\n");
    for kind in &set.recipe.files {
        let words = match kind {
            FrameFiles::Npz => format!(
                "- `{stem}.FIRST-LAST.npz`: `frames` (item, row, column; unsigned 16 bits), `item` (numbers), and known values by their key"
            ),
            FrameFiles::Npy => format!("- `{stem}.FIRST-LAST.npy`: the frames only"),
            FrameFiles::Fits => format!("- `{stem}.ITEM.fits`: one frame each"),
            FrameFiles::FitsCube => {
                format!(
                    "- `{stem}.FIRST-LAST.cube.fits`: the frames along a third axis; the card ITEM is the first one's number"
                )
            }
        };
        let _ = writeln!(out, "{words}");
    }
    if !set.known().is_empty() || set.recipe.case_known {
        let _ = writeln!(
            out,
            "- `{stem}.FIRST-LAST.known.csv`: what is handed out with the frames, one row an item"
        );
    }
    if set.recipe.expected {
        let _ = writeln!(
            out,
            "- `{stem}.FIRST-LAST.expected.npy`: electrons to expect in each pixel before any chance; part of the truth"
        );
    }
    for (ending, _) in flat_files(set) {
        let _ = writeln!(
            out,
            "- `{stem}.{ending}`: how sensitive each pixel of the camera is, the same in all of its frames (row, column)"
        );
    }
    if regions_file(set)?.is_some() {
        let _ = writeln!(
            out,
            "- `{stem}.regions.json`: which region of the mask makes which spike, and which spikes are read together"
        );
    }
    let _ = writeln!(
        out,
        "- `{stem}.FIRST-LAST.truth.csv`: one row an item, columns below; schema in `{stem}.truth.schema.json`\n- `{stem}.FIRST-LAST.shard.json`: checksums; where it lies, the shard is complete\n\nMeasured sampling error (relative change of a frame when every sampling is 1.5 times as fine; worst of items 0 to {}): {}.\n",
        MEASURED_ITEMS - 1,
        sampling_error(set)?,
    );
    Ok(())
}

/// The worst sampling error of the first items, with one digit.
fn sampling_error(set: &Set) -> Result<String, SetError> {
    let settings = Settings {
        sampling_check: true,
        bound: false,
        ..set.settings()
    };
    let errors = (0..MEASURED_ITEMS)
        .into_par_iter()
        .map(|item| Ok(set.example(item, settings)?.truth.sampling_error))
        .collect::<Result<Vec<Option<f64>>, SetError>>()?;
    let known: Option<Vec<f64>> = errors.into_iter().collect();
    let worst = known.map(|errors| errors.into_iter().fold(0.0, f64::max));
    Ok(worst.map_or(
        "not known (the finer frame does not fit in memory)".into(),
        |worst| format!("{worst:.0e}"),
    ))
}

fn columns(out: &mut String, table: &Table) {
    out.push_str("\n## Columns of the truth\n\n| column | meaning |\n|---|---|\n");
    for column in &table.columns {
        let _ = writeln!(out, "| `{}` | {} |", column.name, column.meaning);
    }
}

const CONVENTIONS: &str = "
## Conventions

Units are in the names. Pupil axes are seen from the sensor towards the pupil, +x right, +y up, angles counter-clockwise from +x.
Row 0 of a frame is its bottom row; pixel (0, 0) has its centre at (0, 0); `_px` places are in frame axes. Modes are Zernike
polynomials in Noll's order, RMS over the full aperture; the wavefront is positive where it leads. A sensor offset above 0 is
outside focus. Positive turns lengthen a screw.

The same version of the program, the same binary and the same class of processor make the same bytes, on any number of threads
and in any cutting into ranges.
";

const NOT_MODELLED: &str = "- Not modelled: sensor response against angle, polarisation, tilted filters, air currents in the tube, \
outer scale, atmospheric dispersion, near-field diffraction between mask and pupil, blooming, jitter, shadows that are not discs, \
squares or straight strips.
- Simulated frames stand for no real telescope; a program that does well on them may still fail under a real sky.
";
