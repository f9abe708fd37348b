//! The recipes in `scenarios/recipes`: each can be made, and its coarse, quick frames are those of `render` but for little.

use skewstar::dataset::{Opening, Set};
use skewstar::predict::{Expected, Model, Settings};
use std::fs;
use std::path::{Path, PathBuf};

fn recipes() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/recipes");
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    files.sort();
    assert!(files.len() >= 4, "only {} recipes", files.len());
    files
}

fn set_of(path: &Path) -> Set {
    Set::open(path, &Opening::default()).unwrap_or_else(|error| panic!("{error}"))
}

/// The limit is half of the photon noise of the brightest stars of the recipes, 4e6 electrons in some 1500 pixels.
#[test]
fn quick_frames_are_those_of_render_but_for_little() {
    for path in recipes() {
        let set = set_of(&path);
        let mut worst: f64 = 0.0;
        for item in 0..3 {
            let (scenario, _) = set.scenario(item).expect("an item");
            let image = |settings: Settings| {
                let (instrument, state) = (&scenario.instrument, &scenario.state);
                let model = Model::new(instrument, state, settings).expect("a model");
                let expected = Expected::new(&model, instrument, state, settings).expect("a frame");
                expected.image.mapv(|e| e - expected.background_per_px)
            };
            let (quick, full) = (image(set.settings()), image(Settings::default()));
            let size = |image: &ndarray::Array2<f64>| image.mapv(|v| v * v).sum().sqrt();
            worst = worst.max(size(&(&quick - &full)) / size(&full));
        }
        println!("{}: quick frames differ by {worst:.1e}", path.display());
        assert!(
            worst > 0.0 && worst < 3e-3,
            "{}: {worst:.1e}",
            path.display()
        );
    }
}

#[test]
fn every_recipe_makes_frames_that_can_be_used() {
    for path in recipes() {
        let set = set_of(&path);
        let item = set.make(7).unwrap_or_else(|error| panic!("{error}"));
        assert_eq!(item.truth.title, "item 7");
        let saturated = item.truth.saturated_px.expect("counts");
        assert!(
            saturated < 30,
            "{}: {saturated} saturated pixels",
            path.display()
        );
        assert!(
            item.truth.light_in_frame > 0.5,
            "{}: {}",
            path.display(),
            item.truth.light_in_frame
        );
        assert_eq!(
            item.truth.sigma_photon_nm.is_some(),
            set.recipe.photon_bound
        );
        assert!(item.truth.sigma_seeing_nm.is_some());
    }
}
