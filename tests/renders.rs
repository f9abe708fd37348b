//! The pictures in `renders/` are what the program makes today: one for every lesson in `scenarios/`.
//!
//! `UPDATE_RENDERS=1 cargo test renders` writes them anew and still fails that run, so that nobody updates by accident. On a
//! difference a picture of three panels (committed, difference, now) is left in `target/renders/`.

use crate::twins::lessons;
use image::GrayImage;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Levels by which a pixel may differ: other processors round the last bit of a transform differently.
const THRESHOLD: u8 = 1;

#[test]
fn every_lesson_has_its_picture_and_the_program_still_makes_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut wrong = Vec::new();
    for lesson in lessons() {
        let stem = lesson.file_stem().unwrap().to_str().unwrap().to_owned();
        let done = Command::new(env!("CARGO_BIN_EXE_skewstar"))
            .args(["render", "--annotate", "--quiet", "--out"])
            .arg(folder.path())
            .arg(&lesson)
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        let made = folder.path().join(format!("{stem}.annotated.png"));
        if let Some(problem) = differs(&made, &committed(&stem)) {
            wrong.push(format!("{stem}: {problem}"));
        }
    }
    assert!(
        wrong.is_empty(),
        "{}\nUPDATE_RENDERS=1 writes them anew",
        wrong.join("\n")
    );
}

/// Sheets and cut-outs: name of the picture, verb, scenario, further arguments, and the file that the program writes.
const MORE: [(&str, &[&str], &str); 6] = [
    (
        "sheet-through-focus",
        &[
            "sheet",
            "scenarios/fast-unit-one-screw.toml",
            "--set",
            "title=\"Screw B too short, right and too long, through focus\"",
            "--rows",
            "state.turns.B=-0.125,0,0.125",
            "--columns",
            "state.sensor_offset_um=-480,-240,0,240,480",
        ],
        "fast-unit-one-screw.sheet.png",
    ),
    (
        "sheet-coma",
        &[
            "sheet",
            "scenarios/fast-unit-one-screw.toml",
            "--set",
            "title=\"Coma in focus: how much, and which way\"",
            "--set",
            "state.turns.B=0",
            "--set",
            "state.sensor_offset_um=0",
            "--set",
            "camera.width_px=28",
            "--set",
            "camera.height_px=28",
            "--set",
            "state.seidel_waves.reference_wavelength_nm=550",
            "--rows",
            "state.seidel_waves.coma=0,1,2,4",
            "--columns",
            "state.seidel_waves.coma_deg=0,90,180,270",
        ],
        "fast-unit-one-screw.sheet.png",
    ),
    (
        "sheet-doughnut-and-mask",
        &[
            "sheet",
            "scenarios/mask-two-zone-coma.toml",
            "--set",
            "title=\"The same error as a doughnut and behind a mask with slots in two zones\"",
            "--columns",
            "state.turns.B=0,-0.05,-0.1,-0.2",
            "--rows",
            "state.mask_on=false,true&state.sensor_offset_um=-330,0",
        ],
        "mask-two-zone-coma.sheet.png",
    ),
    (
        "field-tilt-0",
        &field_with("title=\"Fast unit, tilt 0 arcmin\"", "state.turns.A=0"),
        "whole-sensor.field.cutouts.png",
    ),
    (
        "field-tilt-2",
        &field_with("title=\"Fast unit, tilt 2 arcmin\"", "state.turns.A=0.0838"),
        "whole-sensor.field.cutouts.png",
    ),
    (
        "field-tilt-5",
        &field_with("title=\"Fast unit, tilt 5 arcmin\"", "state.turns.A=0.2094"),
        "whole-sensor.field.cutouts.png",
    ),
];

/// A smaller part of the sensor and one star: only the cut-outs are kept.
const fn field_with(title: &'static str, turns: &'static str) -> [&'static str; 12] {
    [
        "field",
        "scenarios/fields/whole-sensor.toml",
        "--set",
        "camera.width_px=3000",
        "--set",
        "camera.height_px=2000",
        "--set",
        "field.count=1",
        "--set",
        title,
        "--set",
        turns,
    ]
}

#[test]
fn every_sheet_and_field_is_still_made() {
    let mut wrong = Vec::new();
    for (name, arguments, file) in MORE {
        let folder = tempfile::tempdir().unwrap();
        let done = Command::new(env!("CARGO_BIN_EXE_skewstar"))
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .args(arguments)
            .args(["--quiet", "--out"])
            .arg(folder.path())
            .output()
            .unwrap();
        assert!(
            done.status.success(),
            "{name}: {}",
            String::from_utf8_lossy(&done.stderr)
        );
        if let Some(problem) = differs(&folder.path().join(file), &committed(name)) {
            wrong.push(format!("{name}: {problem}"));
        }
    }
    assert!(
        wrong.is_empty(),
        "{}\nUPDATE_RENDERS=1 writes them anew",
        wrong.join("\n")
    );
}

fn committed(stem: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("renders")
        .join(format!("{stem}.png"))
}

/// What is wrong with the committed picture, or `None`.
pub fn differs(made: &Path, kept: &Path) -> Option<String> {
    let now = image::open(made).unwrap().into_luma8();
    if std::env::var_os("UPDATE_RENDERS").is_some() {
        std::fs::create_dir_all(kept.parent().unwrap()).unwrap();
        std::fs::copy(made, kept).unwrap();
        return Some("written anew".into());
    }
    let Ok(before) = image::open(kept) else {
        return Some(format!("{} is missing", kept.display()));
    };
    let before = before.into_luma8();
    if before.dimensions() != now.dimensions() {
        return Some(format!(
            "{:?} pixels, was {:?}",
            now.dimensions(),
            before.dimensions()
        ));
    }
    let worst = before
        .iter()
        .zip(now.iter())
        .map(|(a, b)| a.abs_diff(*b))
        .max()
        .unwrap_or(0);
    (worst > THRESHOLD).then(|| {
        let shown = three_panels(&before, &now, kept);
        format!("differs by up to {worst} levels, see {}", shown.display())
    })
}

fn three_panels(before: &GrayImage, now: &GrayImage, kept: &Path) -> PathBuf {
    let (width, height) = before.dimensions();
    let mut sheet = GrayImage::new(3 * width, height);
    for (x, y, pixel) in before.enumerate_pixels() {
        let other = now.get_pixel(x, y);
        sheet.put_pixel(x, y, *pixel);
        sheet.put_pixel(
            width + x,
            y,
            image::Luma([pixel.0[0].abs_diff(other.0[0]).saturating_mul(40)]),
        );
        sheet.put_pixel(2 * width + x, y, *other);
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/renders");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(kept.file_name().unwrap());
    sheet.save(&path).unwrap();
    path
}
