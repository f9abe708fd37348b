//! From shares of the light in pixels to the electrons that each pixel is expected to collect: star, sky and dark current.

use super::model::{Model, PredictError, Settings};
use crate::atmosphere::airmass;
use crate::instrument::{Colour, Instrument, Passband};
use crate::sensor::{extinction_factor, sky_photons_per_s, star_photons_per_s};
use crate::state::State;
use crate::units::ARCSEC;
use ndarray::Array2;

/// The frame to expect, before noise and saturation.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// Electrons of star, sky and dark current in each pixel, or shares of the star's light where star, exposure or electronics are not
    /// given; element `[[row, column]]`, row 0 at the bottom.
    pub image: Array2<f64>,
    /// Whether `image` is in electrons.
    pub in_electrons: bool,
    /// Electrons of the whole star on an unlimited sensor; 1 in shares of the light. With a filter array it is the mean over the four
    /// pixels of the pattern of what a sensor all of that pixel's colour would collect.
    pub star_total: f64,
    /// Share of the star's light that falls inside the frame.
    pub light_in_frame: f64,
    /// Electrons of sky and dark current in a pixel, the mean over all pixels.
    pub background_per_px: f64,
    /// The part of these electrons that the dark current makes.
    pub dark_per_px: f64,
}

impl Expected {
    /// Predicts a frame. Colour arrays take, in each pixel, what its own passband gives.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn new(
        model: &Model,
        instrument: &Instrument,
        state: &State,
        settings: Settings,
    ) -> Result<Self, PredictError> {
        let Some(array) = &instrument.camera.colour else {
            let light = light(model, settings);
            let passband = &instrument.camera.passband;
            return Ok(single(model, instrument, state, passband, &light));
        };
        let mut planes: Vec<(Colour, Expected)> = Vec::new();
        for (colour, passband) in Colour::ALL.into_iter().zip(&array.passbands) {
            let own = Model::with_passband(instrument, state, passband, settings)?;
            let light = light(&own, settings);
            planes.push((colour, single(&own, instrument, state, passband, &light)));
        }
        Ok(mosaic(&array.pattern, &planes))
    }
}

/// Light in the precision asked for.
fn light(model: &Model, settings: Settings) -> Array2<f64> {
    if settings.single_precision {
        model.light::<f32>()
    } else {
        model.light::<f64>()
    }
}

/// One passband over the whole frame.
pub(super) fn single(
    model: &Model,
    instrument: &Instrument,
    state: &State,
    passband: &Passband,
    light: &Array2<f64>,
) -> Expected {
    let electrons = electrons(model, instrument, state, passband);
    let Electrons {
        star_total,
        background_per_px,
        dark_per_px,
    } = electrons.unwrap_or(Electrons::RELATIVE);
    Expected {
        image: light.mapv(|share| share * star_total + background_per_px),
        in_electrons: electrons.is_some(),
        star_total,
        light_in_frame: light.sum(),
        background_per_px,
        dark_per_px,
    }
}

/// Electrons of a star on an unlimited sensor, and of sky and dark current in a pixel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Electrons {
    pub star_total: f64,
    pub background_per_px: f64,
    pub dark_per_px: f64,
}

impl Electrons {
    /// Shares of the light, when star or exposure are not given.
    pub const RELATIVE: Electrons = Electrons {
        star_total: 1.0,
        background_per_px: 0.0,
        dark_per_px: 0.0,
    };
}

/// Electrons in one passband; `None` unless star, exposure and electronics are all given.
pub(super) fn electrons(
    model: &Model,
    instrument: &Instrument,
    state: &State,
    passband: &Passband,
) -> Option<Electrons> {
    let (Some(star), Some(exposure), Some(electronics)) =
        (&state.star, &state.exposure, &instrument.camera.electronics)
    else {
        return None;
    };
    let bins = model.bins.len();
    let atmosphere = extinction_factor(
        state.sky.extinction_mag_per_airmass,
        airmass(star.altitude_rad),
    );
    let photons = star_photons_per_s(
        star.magnitude,
        star.temperature_k,
        model.open_area_m2,
        passband,
        bins,
    ) * atmosphere;
    let per_photon =
        instrument.camera.throughput * electronics.quantum_efficiency * exposure.time_s;
    let sky = state.sky.brightness_mag_per_arcsec2.map_or(0.0, |mag| {
        let pixel_arcsec = instrument.camera.pixel_m / instrument.telescope.focal_length_m / ARCSEC;
        let patch = pixel_arcsec * pixel_arcsec;
        sky_photons_per_s(mag, patch, model.open_area_m2, passband, bins) * per_photon
    });
    let dark_per_px = electronics.dark_e_per_s * exposure.time_s;
    Some(Electrons {
        star_total: photons * per_photon,
        background_per_px: sky + dark_per_px,
        dark_per_px,
    })
}

/// Takes each pixel from the plane of its own colour.
pub(super) fn mosaic(pattern: &[Colour; 4], planes: &[(Colour, Expected)]) -> Expected {
    let images: Vec<(Colour, &Array2<f64>)> = planes.iter().map(|(c, e)| (*c, &e.image)).collect();
    let own = pattern.map(|colour| &planes[number_of(colour, &images)].1);
    let mean = |f: &dyn Fn(&Expected) -> f64| own.iter().map(|e| f(e)).sum::<f64>() / 4.0;
    Expected {
        image: pick(pattern, &images),
        in_electrons: planes[0].1.in_electrons,
        star_total: mean(&|e| e.star_total),
        light_in_frame: mean(&|e| e.light_in_frame),
        background_per_px: mean(&|e| e.background_per_px),
        dark_per_px: mean(&|e| e.dark_per_px),
    }
}

/// The image that takes each pixel from the one of its own colour.
pub(super) fn pick(pattern: &[Colour; 4], images: &[(Colour, &Array2<f64>)]) -> Array2<f64> {
    let own = pattern.map(|colour| images[number_of(colour, images)].1);
    Array2::from_shape_fn(images[0].1.dim(), |(row, column)| {
        own[2 * (row % 2) + column % 2][[row, column]]
    })
}

fn number_of(colour: Colour, images: &[(Colour, &Array2<f64>)]) -> usize {
    images.iter().position(|i| i.0 == colour).unwrap_or(0)
}
