//! Light in pixels → electrons to expect.

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
    /// Star + sky + dark in electrons; share of the light where star or exposure are not given.
    pub image: Array2<f64>,
    /// Whether `image` is in electrons.
    pub in_electrons: bool,
    /// Electrons of the whole star on an unlimited sensor; 1 in relative units. For a colour array, of a pixel without filter pattern: the mean over the pattern.
    pub star_total: f64,
    /// Share of the star's light that falls inside the frame.
    pub light_in_frame: f64,
    /// Electrons of sky and dark current, mean over the pixels.
    pub background_per_px: f64,
    /// The dark current's part of it.
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
            let light = model.light::<f64>();
            return Ok(single(
                model,
                instrument,
                state,
                &instrument.camera.passband,
                &light,
            ));
        };
        let mut planes: Vec<(Colour, Expected)> = Vec::new();
        for (colour, passband) in [Colour::Red, Colour::Green, Colour::Blue]
            .into_iter()
            .zip(&array.passbands)
        {
            let own = Model::with_passband(instrument, state, passband, settings)?;
            let light = own.light::<f64>();
            planes.push((colour, single(&own, instrument, state, passband, &light)));
        }
        Ok(mosaic(&array.pattern, &planes))
    }
}

/// One passband over the whole frame.
fn single(
    model: &Model,
    instrument: &Instrument,
    state: &State,
    passband: &Passband,
    light: &Array2<f64>,
) -> Expected {
    let light_in_frame = light.sum();
    let (Some(star), Some(exposure), Some(electronics)) =
        (&state.star, &state.exposure, &instrument.camera.electronics)
    else {
        let image = light.clone();
        return Expected {
            image,
            in_electrons: false,
            star_total: 1.0,
            light_in_frame,
            background_per_px: 0.0,
            dark_per_px: 0.0,
        };
    };
    let bins = model.bins.len();
    let air = extinction_factor(
        state.sky.extinction_mag_per_airmass,
        airmass(star.altitude_rad),
    );
    let photons = star_photons_per_s(
        star.magnitude,
        star.temperature_k,
        model.open_area_m2,
        passband,
        bins,
    ) * air;
    let per_photon =
        instrument.camera.throughput * electronics.quantum_efficiency * exposure.time_s;
    let star_total = photons * per_photon;
    let sky = state.sky.brightness_mag_per_arcsec2.map_or(0.0, |mag| {
        let pixel_arcsec = instrument.camera.pixel_m / instrument.telescope.focal_length_m / ARCSEC;
        let patch = pixel_arcsec * pixel_arcsec;
        sky_photons_per_s(mag, patch, model.open_area_m2, passband, bins) * per_photon
    });
    let dark_per_px = electronics.dark_e_per_s * exposure.time_s;
    let background_per_px = sky + dark_per_px;
    let image = light.mapv(|share| share * star_total + background_per_px);
    Expected {
        image,
        in_electrons: true,
        star_total,
        light_in_frame,
        background_per_px,
        dark_per_px,
    }
}

/// Takes each pixel from the plane of its own colour.
fn mosaic(pattern: &[Colour; 4], planes: &[(Colour, Expected)]) -> Expected {
    let plane_of = |row: usize, column: usize| {
        let colour = pattern[2 * (row % 2) + column % 2];
        planes.iter().position(|p| p.0 == colour).unwrap_or(0)
    };
    let image = Array2::from_shape_fn(planes[0].1.image.dim(), |(row, column)| {
        planes[plane_of(row, column)].1.image[[row, column]]
    });
    let mean = |f: &dyn Fn(&Expected) -> f64| {
        (0..4)
            .map(|i| f(&planes[plane_of(i / 2, i % 2)].1))
            .sum::<f64>()
            / 4.0
    };
    Expected {
        image,
        in_electrons: planes[0].1.in_electrons,
        star_total: mean(&|e| e.star_total),
        light_in_frame: mean(&|e| e.light_in_frame),
        background_per_px: mean(&|e| e.background_per_px),
        dark_per_px: mean(&|e| e.dark_per_px),
    }
}
