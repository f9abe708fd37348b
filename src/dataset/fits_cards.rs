//! What the header of a FITS file says of a scenario: its title, and what the owner of the camera knows.

use crate::image_io::fits::Cards;
use crate::scenario::Scenario;

/// The cards of a scenario's frame. Seed and place of the star are left to whoever knows them and may tell them.
pub fn fits_cards(scenario: &Scenario) -> Cards {
    let camera = &scenario.instrument.camera;
    Cards {
        title: scenario.title.clone(),
        pixel_m: camera.pixel_m,
        focal_length_m: scenario.instrument.telescope.focal_length_m,
        exposure_s: scenario.state.exposure.as_ref().map(|e| e.time_s),
        gain_e_per_adu: camera.electronics.as_ref().map(|e| e.gain_e_per_adu),
        seed: None,
        star_px: [f64::NAN; 2],
        extra: Vec::new(),
    }
}
