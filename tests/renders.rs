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
