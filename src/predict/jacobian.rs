//! How the expected frame changes with everything a fit of a star is free to change.
//!
//! The derivatives are analytic and those of the frame as it is computed: each wavelength's field is transformed once, and
//! once more for each parameter that changes it; flux, background and seeing need no transform of their own. All images
//! of a wavelength share its phases, its plans and its seeing.

use super::expected::{Expected, electrons, mosaic, pick, single};
use super::model::{MEMORY_LIMIT_GIB, Model, PredictError, Waves, within_memory};
use crate::atmosphere::{Spectrum, Transformed, remembered_map, transfer_map};
use crate::instrument::Colour;
use crate::math::Real;
use crate::propagation::{CellAverages, Change, LengthMap, Propagator};
use crate::spectrum::Bin;
use crate::state::Modes;
use ndarray::Array2;
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Something a fit is free to change, and the unit its derivative is per.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Parameter {
    /// Place of the star along x, frame axes, per pixel.
    PlaceX,
    /// Place of the star along y, frame axes, per pixel.
    PlaceY,
    /// The star's light, relative to what it is.
    Flux,
    /// Electrons added to every pixel alike, per electron.
    Background,
    /// Width of the seeing, relative to what it is. Without seeing the derivative is zero everywhere, which is exact: a
    /// width that starts from nothing acts by its 5/3 power.
    Seeing,
    /// Exact defocus, per metre of sensor offset.
    SensorOffset,
    /// A mode, Noll index, full circle, per metre RMS.
    Mode(u32),
}

impl Parameter {
    /// The 13 that the photon bound leaves free: place, flux, background, seeing width and Noll 4 to 11.
    pub fn standard() -> Vec<Parameter> {
        use Parameter::*;
        [PlaceX, PlaceY, Flux, Background, Seeing]
            .into_iter()
            .chain((4..=11).map(Mode))
            .collect()
    }

    /// Whether it changes the field, so that a transform is needed.
    fn is_optical(self) -> bool {
        matches!(
            self,
            Parameter::PlaceX | Parameter::PlaceY | Parameter::SensorOffset | Parameter::Mode(_)
        )
    }
}

/// A frame to expect and its derivatives.
#[derive(Debug, Clone, PartialEq)]
pub struct Jacobian {
    /// The parameters, in the order asked for.
    pub parameters: Vec<Parameter>,
    /// For each parameter, the change of every pixel per unit, in electrons or shares of the light as in `expected`; element
    /// `[[row, column]]`, row 0 at the bottom.
    pub columns: Vec<Array2<f64>>,
    /// For each parameter, about the largest relative change of the light per unit that a parameter of its kind can cause. A column
    /// smaller than a millionth of that is zero but for rounding. 0 for the background, which changes no light.
    pub steepest: Vec<f64>,
    /// The star without sky and dark current, in the unit of `expected` and of the same shape.
    pub star: Array2<f64>,
    /// The frame to expect.
    pub expected: Expected,
}

impl Jacobian {
    /// Differentiates the frame of a state. Colour arrays take, in each pixel, what its own passband gives.
    ///
    /// # Errors
    /// As [`Model::new`], and when the derivatives do not fit in memory.
    ///
    /// # Accuracy
    /// Each column equals the central differences of the frame to 1e-5 relative L2
    /// (`predict::jacobian::tests::columns_equal_central_differences`).
    pub fn new(model: &Model, parameters: &[Parameter]) -> Result<Self, PredictError> {
        let Some(array) = &model.instrument.camera.colour else {
            let plane = PassbandSlopes::new(model, parameters)?;
            return Ok(Self::of_plane(plane, model, parameters));
        };
        let mut planes: Vec<(Colour, PassbandSlopes)> = Vec::new();
        for (colour, passband) in Colour::ALL.into_iter().zip(&array.passbands) {
            let own = model.in_passband(passband)?;
            planes.push((colour, PassbandSlopes::new(&own, parameters)?));
        }
        let image = |of: &dyn Fn(&PassbandSlopes) -> &Array2<f64>| {
            let images: Vec<(Colour, &Array2<f64>)> =
                planes.iter().map(|(colour, p)| (*colour, of(p))).collect();
            pick(&array.pattern, &images)
        };
        let columns = (0..parameters.len())
            .map(|k| image(&|plane| &plane.columns[k]))
            .collect();
        let star = image(&|plane| &plane.star);
        let expected: Vec<(Colour, Expected)> =
            planes.into_iter().map(|(c, p)| (c, p.expected)).collect();
        let plane = PassbandSlopes {
            columns,
            star,
            expected: mosaic(&array.pattern, &expected),
        };
        Ok(Self::of_plane(plane, model, parameters))
    }

    fn of_plane(plane: PassbandSlopes, model: &Model, parameters: &[Parameter]) -> Self {
        let PassbandSlopes {
            columns,
            star,
            expected,
        } = plane;
        Jacobian {
            parameters: parameters.to_vec(),
            columns,
            steepest: parameters.iter().map(|p| steepest(model, *p)).collect(),
            star,
            expected,
        }
    }
}

/// About the largest relative change of the light, |dI/dp|/I, that one unit of a parameter can cause. A mode of 1 m RMS turns the
/// field's phase by 2π/λ; light is the field squared, which doubles that: 4π/λ. A shift moves the light by one detail of size λN for
/// each 2π. Only the size matters: columns are compared with it to tell zero from rounding.
fn steepest(model: &Model, parameter: Parameter) -> f64 {
    let telescope = &model.instrument.telescope;
    match parameter {
        Parameter::PlaceX | Parameter::PlaceY => {
            let detail_m = model.reference_m * telescope.focal_ratio();
            TAU * model.instrument.camera.pixel_m / detail_m
        }
        Parameter::Mode(_) => 2.0 * TAU / model.reference_m,
        // W = ρ²/(8N²) per metre of offset: its RMS about the mean over the circle is 1/(8N²√12)
        Parameter::SensorOffset => {
            let rms = 1.0 / (8.0 * telescope.focal_ratio().powi(2) * 12f64.sqrt());
            2.0 * TAU * rms / model.reference_m
        }
        Parameter::Flux | Parameter::Seeing => 1.0,
        Parameter::Background => 0.0,
    }
}

/// The derivatives in one passband.
struct PassbandSlopes {
    columns: Vec<Array2<f64>>,
    star: Array2<f64>,
    expected: Expected,
}

impl PassbandSlopes {
    fn new(model: &Model, parameters: &[Parameter]) -> Result<Self, PredictError> {
        let Model {
            instrument,
            state,
            passband,
            alignment,
            ..
        } = model;
        // six digits of a derivative are plenty: single precision; the frame itself keeps double precision
        let slopes = model.light_and_slopes::<f32>(
            &alignment.modes,
            alignment.sensor_offset_m,
            &model.bins,
            parameters,
        )?;
        let light = model.light::<f64>();
        let star_total =
            electrons(model, instrument, state, passband).map_or(1.0, |e| e.star_total);
        let in_electrons = |(parameter, column): (&Parameter, Array2<f64>)| match parameter {
            Parameter::Background => column,
            Parameter::Flux => &light * star_total,
            _ => column * star_total,
        };
        let columns = parameters
            .iter()
            .zip(slopes.columns)
            .map(in_electrons)
            .collect();
        Ok(PassbandSlopes {
            expected: single(model, instrument, state, passband, &light),
            columns,
            star: light * star_total,
        })
    }
}

/// Shares of the light in every pixel, and their derivatives in the order asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct LightSlopes {
    /// Share of the light in each pixel, as [`Model::light_of`] gives it: element `[[row, column]]`, row 0 at the bottom.
    pub light: Array2<f64>,
    /// For each parameter, the change of the light per unit, of the same shape as `light`; that of the background is 1 everywhere.
    pub columns: Vec<Array2<f64>>,
}

/// By how much the wavefront W changes per parameter, over the pupil cells of one model.
pub struct SlopeMaps {
    parameters: Vec<Parameter>,
    optical: Vec<Parameter>,
    maps: Vec<LengthMap>,
}

impl Model {
    /// The light in every pixel and its derivatives, also for other modes, another sensor offset or other wavelengths.
    ///
    /// # Errors
    /// [`PredictError::TooLarge`] when the derivatives do not fit in memory.
    pub fn light_and_slopes<T: Real>(
        &self,
        modes: &Modes,
        sensor_offset_m: f64,
        bins: &[Bin],
        parameters: &[Parameter],
    ) -> Result<LightSlopes, PredictError> {
        let maps = self.slope_maps(parameters);
        self.light_and_slopes_over::<T>(&maps, modes, sensor_offset_m, bins)
    }

    /// By how much W changes per parameter, over the pupil: made once for many calls of
    /// [`light_and_slopes_over`](Self::light_and_slopes_over).
    pub fn slope_maps(&self, parameters: &[Parameter]) -> SlopeMaps {
        let is_optical = |p: &Parameter| p.is_optical();
        let optical: Vec<Parameter> = parameters.iter().copied().filter(is_optical).collect();
        SlopeMaps {
            parameters: parameters.to_vec(),
            maps: self.mode_maps(&optical),
            optical,
        }
    }

    /// As [`light_and_slopes`](Self::light_and_slopes), with maps made before by the same model.
    ///
    /// # Errors
    /// [`PredictError::TooLarge`] when the derivatives do not fit in memory.
    pub fn light_and_slopes_over<T: Real>(
        &self,
        slope_maps: &SlopeMaps,
        modes: &Modes,
        sensor_offset_m: f64,
        bins: &[Bin],
    ) -> Result<LightSlopes, PredictError> {
        let SlopeMaps {
            parameters,
            optical,
            maps,
        } = slope_maps;
        let frame_px = [
            self.instrument.camera.width_px,
            self.instrument.camera.height_px,
        ];
        let bytes = self.plan.memory_bytes(frame_px)
            + self.plan.slope_memory_bytes(frame_px, optical.len());
        within_memory(&self.plan, frame_px, bytes, MEMORY_LIMIT_GIB)?;
        let waves = Waves::new(self, modes, sensor_offset_m);
        let mut sums = SlopeSums::new(
            self,
            optical.len() + 1,
            parameters.contains(&Parameter::Seeing),
        );
        let propagator = Propagator::<T>::new(self.settings.portable);
        for bin in bins.iter().filter(|b| b.weight > 0.0) {
            let images = self.images_at::<T>(&propagator, &waves, bin, optical, maps);
            sums.add(self, &images, bin);
        }
        let (mut images, seeing) = sums.finish(self);
        let light = images.remove(0);
        let mut images = images
            .into_iter()
            .zip(optical)
            .map(|(image, parameter)| image * steepest(self, *parameter));
        let columns = parameters
            .iter()
            .map(|parameter| match parameter {
                Parameter::Flux => light.clone(),
                Parameter::Background => Array2::ones(light.dim()),
                Parameter::Seeing => seeing.clone().unwrap_or(Array2::zeros(light.dim())),
                _ => images.next().unwrap_or(Array2::zeros(light.dim())),
            })
            .collect();
        Ok(LightSlopes { light, columns })
    }

    /// Change of W over the pupil's cells by each mode and by defocus, metres, per λ/4π RMS of it at the reference wavelength: an amount
    /// that changes the light by about its own size. The same for all wavelengths.
    fn mode_maps(&self, optical: &[Parameter]) -> Vec<LengthMap> {
        let wavefront = self.reference_wavefront();
        optical
            .iter()
            .filter_map(|parameter| {
                let change = match parameter {
                    Parameter::Mode(noll) => wavefront.mode(*noll),
                    Parameter::SensorOffset => wavefront.focus(),
                    _ => return None,
                };
                let amount = 1.0 / steepest(self, *parameter);
                Some(self.maps.lengths(&change).scaled(amount))
            })
            .collect()
    }

    /// One wavelength's light and its optical derivatives on the window's cells, not blurred yet. Each derivative is per 1/`steepest` of
    /// its unit, so that all images are of about the same size: two of them will share a transform, and with it its rounding.
    fn images_at<T: Real>(
        &self,
        propagator: &Propagator<T>,
        waves: &Waves,
        bin: &Bin,
        optical: &[Parameter],
        maps: &[LengthMap],
    ) -> Vec<Array2<f64>> {
        let lengths = waves.at(bin.wavelength_m);
        let averages = CellAverages::new(&lengths, bin.wavelength_m);
        let field = self.field::<T>(&averages, bin.wavelength_m);
        let mut maps = maps.iter();
        let changes: Vec<Change> = optical
            .iter()
            .filter_map(|parameter| match parameter {
                Parameter::PlaceX => Some(Change::Place(0)),
                Parameter::PlaceY => Some(Change::Place(1)),
                _ => maps.next().map(|map| Change::Length(&averages, map)),
            })
            .collect();
        let mut images = propagator.irradiance_and_slopes(&field, &changes, &self.window());
        for (parameter, image) in optical.iter().zip(&mut images[1..]) {
            if matches!(parameter, Parameter::PlaceX | Parameter::PlaceY) {
                *image *= self.instrument.camera.pixel_m / steepest(self, *parameter);
            }
        }
        images
    }
}

/// The sum over wavelengths of the light and its derivatives.
enum SlopeSums {
    Plain(Vec<Array2<f64>>),
    /// Two images in each spectrum, as real and imaginary part; the light once more for the derivative by the seeing.
    Blurred {
        pairs: Vec<Spectrum>,
        seeing: Option<Spectrum>,
    },
}

impl SlopeSums {
    fn new(model: &Model, images: usize, seeing: bool) -> Self {
        let window = model.window();
        let (rows, columns) = (window.rows, window.columns);
        let Some(blur) = &model.blur else {
            return SlopeSums::Plain(vec![Array2::zeros((rows, columns)); images]);
        };
        let empty = || Spectrum::new(rows, columns, window.cell_m, model.settings.portable);
        SlopeSums::Blurred {
            pairs: (0..images.div_ceil(2)).map(|_| empty()).collect(),
            seeing: (seeing && blur.zenith_fwhm_rad.is_some()).then(empty),
        }
    }

    fn add(&mut self, model: &Model, images: &[Array2<f64>], bin: &Bin) {
        match self {
            SlopeSums::Plain(sums) => {
                for (sum, image) in sums.iter_mut().zip(images) {
                    sum.scaled_add(bin.weight, image);
                }
            }
            SlopeSums::Blurred { pairs, seeing } => {
                let blur = model.blur_at(bin.wavelength_m);
                let (rows, columns) = images[0].dim();
                let cell_m = model.window().cell_m;
                let transfer = remembered_map(rows, columns, cell_m, &blur);
                for (number, (sum, pair)) in pairs.iter_mut().zip(images.chunks(2)).enumerate() {
                    let both = Transformed::new(&pair[0], pair.get(1), model.settings.portable);
                    sum.add_product(&both, &transfer, bin.weight);
                    if let (0, Some(seeing)) = (number, seeing.as_mut()) {
                        let slope = transfer_map(rows, columns, cell_m, |f| blur.transfer_slope(f));
                        seeing.add_product(&both, &slope, bin.weight);
                    }
                }
            }
        }
    }

    /// Pixel images, and the one of the seeing's derivative.
    fn finish(self, model: &Model) -> (Vec<Array2<f64>>, Option<Array2<f64>>) {
        match self {
            SlopeSums::Plain(sums) => (sums, None),
            SlopeSums::Blurred { pairs, seeing } => (
                pairs
                    .into_par_iter()
                    .flat_map(|pair| pair.into_images().map(|image| model.pixels(&image)))
                    .collect(),
                seeing.map(|spectrum| model.pixels(&spectrum.into_image())),
            ),
        }
    }
}

#[cfg(test)]
mod tests;
