//! The committed picture of masked stars is what the engine draws today.

use super::table::printed;
use crate::support::masked_errors::{Column, draw};
use skewstar::image_io::png;
use skewstar::instrument::*;
use skewstar::units::{NM, UM};
use std::path::Path;

/// Grays may differ by this much from the committed file: other processors add up in another order.
const LEVELS: u8 = 1;
const LARGEST_BYTES: usize = 400_000;

/// The telescope of the table with a broad passband, on pixels half as large, so that spikes look smooth.
fn column(name: &'static str, layout: MaskLayout) -> Column {
    let mut instrument = printed(layout);
    let camera = &mut instrument.camera;
    camera.pixel_m = 1.9 * UM;
    (camera.width_px, camera.height_px) = (108, 108);
    camera.passband = Passband::Band([480.0 * NM, 620.0 * NM]);
    camera.wavelengths = Some(7);
    Column { name, instrument }
}

/// With UPDATE_RENDERS=1 the file is written anew; the run fails all the same, so that nobody does so unawares.
#[test]
fn the_committed_picture_is_what_is_drawn_today() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("renders/masked-errors.png");
    let canvas = draw(&[
        column("three-triplet", MaskLayout::THREE_TRIPLET),
        column("two-zone", MaskLayout::TWO_ZONE),
    ])
    .unwrap();
    let drawn = png::rgb8(&canvas).unwrap();
    assert!(drawn.len() < LARGEST_BYTES, "{} bytes", drawn.len());
    if std::env::var_os("UPDATE_RENDERS").is_some_and(|v| v == "1") {
        std::fs::write(&path, &drawn).unwrap();
        panic!(
            "renders/masked-errors.png was written anew: look at it, then run again without UPDATE_RENDERS"
        );
    }
    let committed = std::fs::read(&path)
        .unwrap_or_else(|e| panic!("renders/masked-errors.png: {e}; UPDATE_RENDERS=1 makes it"));
    let open = |bytes: &[u8]| image::load_from_memory(bytes).unwrap().into_rgb8();
    let (drawn, committed) = (open(&drawn), open(&committed));
    assert_eq!(drawn.dimensions(), committed.dimensions());
    let differ = |a: &u8, b: &u8| a.abs_diff(*b) > LEVELS;
    let pairs = || drawn.iter().zip(committed.iter());
    let changed = pairs().filter(|(a, b)| differ(a, b)).count();
    let worst = pairs().map(|(a, b)| a.abs_diff(*b)).max().unwrap_or(0);
    assert_eq!(
        changed, 0,
        "colour values differ from renders/masked-errors.png by up to {worst}; if the change is wanted, run with UPDATE_RENDERS=1"
    );
}
