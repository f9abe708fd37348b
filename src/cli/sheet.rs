//! `sheet`: how a star changes along one or two keys, as one labelled picture.
//!
//! Every panel is the star to expect, without noise: what changes is the key and nothing else. Each panel has its own stretch
//! of brightness, since a star in focus and a doughnut differ by far more than a screen can show; the picture says so.

use super::args::SheetArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{finish, one_file, stem};
use crate::files;
use crate::image_io::PictureError;
use crate::image_io::canvas::{
    AMBER, Anchor, BLACK, Canvas, DIM, EDGE, TextStyle, Viewport, shorten, text_width_px,
};
use crate::image_io::png;
use crate::image_io::stretch::{Stretch, display};
use crate::predict::Settings;
use crate::scenario::{self, Scenario};
use crate::scene::{Scene, SceneError};
use ndarray::Array2;
use rayon::prelude::*;
use serde::Serialize;

/// A sheet of more panels than this cannot be looked at.
const PANELS_AT_MOST: usize = 400;
/// A panel is magnified to about this many canvas pixels.
const PANEL_PX: usize = 230;
const GAP_PX: usize = 10;
const LINE_PX: usize = 20;
const MARGIN_PX: usize = 18;

/// What was drawn where, for `--json`.
#[derive(Debug, Serialize)]
struct Contents {
    format: &'static str,
    title: String,
    /// Overrides of each row, the top one first, and of each column, the left one first.
    rows: Vec<Vec<String>>,
    columns: Vec<Vec<String>>,
    file: String,
}

/// The steps along both axes; a missing axis has one step without overrides.
struct Axes {
    rows: Vec<Vec<String>>,
    columns: Vec<Vec<String>>,
}

/// Draws the sheet and writes it.
pub fn run(args: &SheetArgs, console: &Console) -> Result<(), CliError> {
    let axes = Axes::read(args)?;
    let scenarios = scenarios(args, &axes)?;
    let path = &args.scenario.scenario;
    let name = format!("{}.sheet.png", stem(path));
    let interrupt = Interrupt::install()?;
    let mut set = one_file(&args.files, &name)?;
    let settings = args.scenario.settings();
    let shown = Progress::start(console, "panels", scenarios.len() as u64);
    let title = scenarios[0].title.clone();
    let panels = interrupt
        .or_done(move || -> Result<Vec<Array2<u8>>, SceneError> {
            scenarios
                .par_iter()
                .map(|scenario| {
                    let panel = panel(scenario, settings);
                    shown.step();
                    panel
                })
                .collect()
        })?
        .map_err(CliError::of_scene(path))?;
    let canvas = draw(&title, &axes, &panels)?;
    set.put(&name, &png::rgb8(&canvas)?)?;
    finish(set, &interrupt, console)?;
    console.answer(format!(
        "{} by {} panels of \"{title}\", without noise; each has its own brightness.",
        axes.rows.len(),
        axes.columns.len()
    ))?;
    console.answer_json(&Contents {
        format: "skewstar-sheet/1",
        title,
        rows: axes.rows,
        columns: axes.columns,
        file: name,
    })?;
    Ok(())
}

impl Axes {
    fn read(args: &SheetArgs) -> Result<Axes, CliError> {
        let axis = |option: &str, series: &Option<String>| match series {
            Some(series) => scenario::steps(option, series),
            None => Ok(vec![Vec::new()]),
        };
        let axes = Axes {
            rows: axis("--rows", &args.rows)?,
            columns: axis("--columns", &args.columns)?,
        };
        let panels = axes.rows.len() * axes.columns.len();
        if panels > PANELS_AT_MOST {
            return Err(CliError::TooManyPanels {
                panels,
                limit: PANELS_AT_MOST,
            });
        }
        Ok(axes)
    }
}

/// All scenarios of the sheet, row after row; refused before anything is computed when one of them is.
fn scenarios(args: &SheetArgs, axes: &Axes) -> Result<Vec<Scenario>, CliError> {
    let bytes = files::text_bytes(&args.scenario.scenario)?;
    let mut scenarios = Vec::with_capacity(axes.rows.len() * axes.columns.len());
    for row in &axes.rows {
        for column in &axes.columns {
            let sets: Vec<String> = args
                .scenario
                .set
                .iter()
                .chain(row)
                .chain(column)
                .cloned()
                .collect();
            scenarios.push(files::scenario_of(&bytes, &args.scenario.scenario, &sets)?);
        }
    }
    Ok(scenarios)
}

fn panel(scenario: &Scenario, settings: Settings) -> Result<Array2<u8>, SceneError> {
    let scene = Scene::of(scenario.clone())?.with_settings(settings);
    let image = scene.expected()?.image;
    Ok(display(&image, &Stretch::of(&image)))
}

fn draw(title: &str, axes: &Axes, panels: &[Array2<u8>]) -> Result<Canvas, PictureError> {
    let side = panels
        .iter()
        .map(|p| p.nrows().max(p.ncols()))
        .max()
        .unwrap_or(1);
    let magnification = (PANEL_PX / side).max(1);
    let cell = side * magnification + GAP_PX;
    let labels = |steps: &[Vec<String>]| -> Vec<Vec<String>> {
        steps
            .iter()
            .map(|step| step.iter().map(|set| label(set)).collect())
            .collect()
    };
    let row_labels = labels(&axes.rows);
    let room_px = (side * magnification) as f64;
    let column_labels: Vec<Vec<String>> = labels(&axes.columns)
        .iter()
        .map(|words| {
            words
                .iter()
                .flat_map(|label| folded(label, room_px))
                .collect()
        })
        .collect();
    let widest = row_labels
        .iter()
        .flatten()
        .map(|l| text_width_px(l, SIZE_PX))
        .fold(0.0, f64::max);
    let left = MARGIN_PX
        + if widest > 0.0 {
            widest.ceil() as usize + GAP_PX
        } else {
            0
        };
    let head_lines = column_labels.iter().map(Vec::len).max().unwrap_or(0);
    let grid = [cell * axes.columns.len(), cell * axes.rows.len()];
    let width = (left + grid[0] + MARGIN_PX).max(460);
    let below = MARGIN_PX + LINE_PX;
    let height = below + grid[1] + LINE_PX * head_lines + 2 * LINE_PX + MARGIN_PX;
    let mut canvas = Canvas::new(width, height, BLACK)?;
    for (number, panel) in panels.iter().enumerate() {
        let (row, column) = (number / axes.columns.len(), number % axes.columns.len());
        let spare = [side - panel.ncols(), side - panel.nrows()].map(|s| s * magnification / 2);
        let corner = [
            left + column * cell + spare[0],
            below + (axes.rows.len() - 1 - row) * cell + spare[1],
        ];
        let view = canvas.gray(panel, corner, magnification);
        canvas.edge(&view, EDGE);
    }
    let page = Viewport::whole(&canvas);
    let style = TextStyle::CAPTION.with_size_px(SIZE_PX);
    for (row, words) in row_labels.iter().enumerate() {
        let middle = below + (axes.rows.len() - 1 - row) * cell + (cell - GAP_PX) / 2;
        for (line, word) in words.iter().enumerate() {
            let y =
                middle as f64 + LINE_PX as f64 * (0.5 * (words.len() as f64 - 1.0) - line as f64);
            canvas.text(&page, [MARGIN_PX as f64, y], word, &style);
        }
    }
    for (column, words) in column_labels.iter().enumerate() {
        let x = left + column * cell + (cell - GAP_PX) / 2;
        for (line, word) in words.iter().enumerate() {
            let y = below + grid[1] + LINE_PX * (words.len() - 1 - line) + LINE_PX / 2;
            let word = shorten(word, SIZE_PX, cell as f64);
            canvas.text(
                &page,
                [x as f64, y as f64],
                &word,
                &style.with_anchor(Anchor::Centre),
            );
        }
    }
    let room = (width - 2 * MARGIN_PX) as f64;
    let top = (height - MARGIN_PX) as f64;
    canvas.text(
        &page,
        [MARGIN_PX as f64, top],
        &shorten(title, 16.0, room),
        &style.with_size_px(16.0).with_colour(AMBER),
    );
    let note = "each panel has its own brightness; no noise";
    canvas.text(
        &page,
        [MARGIN_PX as f64, 0.5 * below as f64],
        note,
        &style.with_colour(DIM),
    );
    Ok(canvas)
}

const SIZE_PX: f64 = 15.0;

/// A label in one line, or, where it is too wide, with its value in a second one.
fn folded(label: &str, room_px: f64) -> Vec<String> {
    let fold = label.find(|c: char| c.is_ascii_digit() || c == '−');
    match fold {
        Some(at) if at > 0 && text_width_px(label, SIZE_PX) > room_px => {
            vec![label[..at].trim_end().to_owned(), label[at..].to_owned()]
        }
        _ => vec![label.to_owned()],
    }
}

/// Endings of keys that are units, the longer first, and how they are written.
const UNITS: [(&str, &str); 15] = [
    ("_arcmin", "′"),
    ("_arcsec", "″"),
    ("_e_per_adu", "e/adu"),
    ("_nm_per_mm", "nm/mm"),
    ("_mm", "mm"),
    ("_um", "µm"),
    ("_nm", "nm"),
    ("_deg", "°"),
    ("_px", "px"),
    ("_adu", "adu"),
    ("_e", "e"),
    ("_s", "s"),
    ("_k", "K"),
    ("_turns", "turns"),
    ("_rms", "rms"),
];

/// What a panel is labelled with: `state.sensor_offset_um=-400` as "sensor offset −400 µm".
fn label(set: &str) -> String {
    let (key, value) = set.split_once('=').unwrap_or((set, ""));
    let value = words_of(value.trim());
    let mut parts = key.trim().rsplit('.');
    let (last, above) = (parts.next().unwrap_or(key), parts.next().unwrap_or(""));
    match above {
        "turns" => return format!("{last} {value} turns"),
        "modes_nm" | "design_nm" | "modes_annular_nm" => return format!("Noll {last} {value} nm"),
        "seidel_waves" if !last.contains('_') => return format!("{last} {value} waves"),
        _ => {}
    }
    if let (Some(what), "on" | "off") = (last.strip_suffix("_on"), value.as_str()) {
        return format!("{} {value}", what.replace('_', " "));
    }
    let unit = UNITS.iter().find(|(ending, _)| last.ends_with(ending));
    let (name, unit) = unit.map_or((last, ""), |(ending, unit)| {
        (last.trim_end_matches(ending), *unit)
    });
    let name = name.replace('_', " ");
    let apart = if unit.is_empty() || matches!(unit, "°" | "′" | "″") {
        ""
    } else {
        " "
    };
    format!("{name} {value}{apart}{unit}")
}

/// A TOML value as it is read: on or off, words without quotes, numbers with a proper minus.
fn words_of(value: &str) -> String {
    match value {
        "true" => "on".into(),
        "false" => "off".into(),
        text if text.starts_with('"') => text.trim_matches('"').into(),
        number => number.replace('-', "−"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_label_is_the_key_in_words() {
        for (set, words) in [
            ("state.sensor_offset_um=-400", "sensor offset −400 µm"),
            ("state.turns.B=0.25", "B 0.25 turns"),
            ("state.modes_nm.8=-80", "Noll 8 −80 nm"),
            ("state.mask_on=true", "mask on"),
            ("state.mask_on=false", "mask off"),
            ("star.altitude_deg=30", "altitude 30°"),
            ("mask.layout=\"two-zone\"", "layout two-zone"),
            ("state.seidel_waves.coma=0.5", "coma 0.5 waves"),
        ] {
            assert_eq!(label(set), words);
        }
    }
}
