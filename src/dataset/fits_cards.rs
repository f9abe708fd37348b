//! What the header of a FITS file says of a scenario: its title, and what the owner of the camera knows.

use crate::image_io::fits::{Card, CardValue, Cards};
use crate::instrument::Colour;
use crate::scenario::Scenario;
use crate::simulate::saturation_adu;

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

/// The same with what only counts have: pedestal, saturation, and the pattern of a filter array.
pub fn counts_cards(scenario: &Scenario) -> Cards {
    let camera = &scenario.instrument.camera;
    let mut extra = Vec::new();
    let mut put = |keyword: &str, value: CardValue, comment: &str| {
        extra.push(Card {
            keyword: keyword.to_owned(),
            value,
            comment: comment.to_owned(),
        });
    };
    if let Some(electronics) = &camera.electronics {
        let saturation = i64::from(saturation_adu(electronics));
        put(
            "PEDESTAL",
            CardValue::Real(electronics.bias_adu),
            "[adu] counts of a pixel without light",
        );
        put(
            "SATURATE",
            CardValue::Integer(saturation),
            "[adu] counts of a full pixel",
        );
    }
    if let Some(colour) = &camera.colour {
        put(
            "BAYERPAT",
            CardValue::Text(Colour::letters(&colour.pattern)),
            "filters of the first two stored rows",
        );
    }
    Cards {
        extra,
        ..fits_cards(scenario)
    }
}
