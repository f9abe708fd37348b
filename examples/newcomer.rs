//! What a newcomer to the crate writes first: a star with known truth, measured back, and a mask looked at before it is printed.
//!
//! ```text
//! cargo run --example newcomer --no-default-features
//! ```

use serde_json::json;
use skewstar::measure::{MeasureOptions, Picture, Side};
use skewstar::scene::PreviewOptions;
use skewstar::{Diagnosis, DiagnosisOptions, Scene, files};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let scene = Scene::of(files::scenario("scenarios/night-fast-unit.toml", &[])?)?;
    let star = scene.star()?;
    let frame = star.frame.ok_or("the scenario gives no counts")?;

    let options = DiagnosisOptions {
        measure: MeasureOptions {
            side: Some(Side::Inside),
            ..MeasureOptions::default()
        },
        ..DiagnosisOptions::default()
    };
    let found = Diagnosis::of(&Picture::from(&frame), scene.instrument(), &options)?;

    let masked = Scene::of(files::scenario("scenarios/mask-two-zone-coma.toml", &[])?)?;
    let preview = masked.mask_preview(&PreviewOptions::default())?;

    let seen =
        json!({ "truth": star.truth.undo_turns, "next": found.next(), "mask_shows": preview.sees });
    println!("{seen:#}");
    Ok(())
}
