//! One cut-out star and the models that predict it: one for each colour of the sensor.
//!
//! A model is kept as long as the trial's dimensions and its defocus stay near those it was planned for. Frames are computed
//! in single precision, sampled coarsely: [`FitSettings::accuracy`].

use super::super::settings::FitSettings;
use super::unknown::{Dimension, TrialState, Unknown};
use crate::axes::{FieldM, FramePx};
use crate::instrument::{Colour, Instrument, Passband};
use crate::predict::{LightSlopes, Model, Parameter, PredictError, Settings, SlopeMaps};
use crate::spectrum::{self, Bin};
use crate::state::{Modes, Sky, Star, State};
use ndarray::Array2;

/// A model is planned anew when the sensor offset grows beyond this many times the one it was planned for …
const REPLANNED_OFFSET_FACTOR: f64 = 1.2;
/// … and this, metres: the guard bands of its sampling reach so far.
const REPLANNED_OFFSET_ROOM_M: f64 = 20e-6;
/// A model is planned anew when the seeing grows beyond this many times the one it was planned for.
const REPLANNED_SEEING_FACTOR: f64 = 1.5;

/// How many wavelengths a fit spends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Few: far from the minimum.
    Coarse,
    /// All in the frame, some in the derivatives.
    Fine,
}

impl Stage {
    /// Wavelengths of a frame and of its derivatives, at most.
    fn at_most(self, slotted: bool, settings: &FitSettings) -> [usize; 2] {
        let [open, behind_slots] = settings.fine_slope_wavelengths;
        match (self, slotted) {
            (Stage::Coarse, false) => settings.coarse_wavelengths,
            (Stage::Coarse, true) => settings.coarse_wavelengths_slotted,
            (Stage::Fine, false) => [usize::MAX, open],
            (Stage::Fine, true) => [usize::MAX, behind_slots],
        }
    }
}

/// What is common to all views of a fit.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// The same bytes on all processors.
    pub portable: bool,
    /// Temperature of the star's spectrum; `None` for a flat one.
    pub temperature_k: Option<f64>,
    /// How finely frames are computed.
    pub settings: FitSettings,
}

/// One star as it was recorded, cut out.
#[derive(Debug, Clone)]
pub struct Recorded {
    /// Electrons above an unknown level; element `[[row, column]]`, row 0 at the bottom.
    pub image_e: Array2<f64>,
    /// Whether each pixel may be used; as `image_e`.
    pub usable: Array2<bool>,
    /// Variance of a pixel without starlight.
    pub floor_e2: f64,
    /// The filter pattern of the cut-out, from its own corner.
    pub pattern: Option<[Colour; 4]>,
    /// Whether the mask was on.
    pub mask_on: bool,
    /// Place of the star in the field, pupil axes.
    pub field_m: FieldM,
    /// Modes of this frame alone that are known beforehand, as the defocus between a pair of frames; they are added to the trial's.
    pub known: Modes,
    /// Whether the atmosphere blurs it.
    pub through_atmosphere: bool,
}

/// A recorded star with its models.
pub struct FrameView {
    number: usize,
    /// The star.
    pub recorded: Recorded,
    instrument: Instrument,
    look: Look,
    stage: Stage,
    planes: Vec<ColourPlane>,
    left_out_px: usize,
}

struct ColourPlane {
    passband: Passband,
    /// Pixels of this colour that may be used.
    pixels: Vec<[usize; 2]>,
    built: Option<BuiltModel>,
}

/// A model, and the trial values that its sampling was planned for.
struct BuiltModel {
    model: Model,
    maps: Option<(Vec<Parameter>, SlopeMaps)>,
    dimensions: Vec<(Dimension, f64)>,
    offset_m: f64,
    seeing_rad: f64,
    bins: Vec<Bin>,
    bins_of_slopes: Vec<Bin>,
}

/// The light of one plane and its derivatives, in used pixels.
pub struct PlaneSlopes {
    /// Share of the light in each used pixel.
    pub light: Vec<f64>,
    /// Optical unknowns and the derivative of the light by each.
    pub columns: Vec<(Unknown, Vec<f64>)>,
}

impl FrameView {
    /// Sets a view up. `instrument` has the cut-out's size as its frame.
    pub fn new(number: usize, recorded: Recorded, instrument: &Instrument, look: Look) -> Self {
        let mut instrument = instrument.clone();
        (instrument.camera.height_px, instrument.camera.width_px) = recorded.image_e.dim();
        let mut view = FrameView {
            number,
            recorded,
            instrument,
            look,
            stage: Stage::Coarse,
            planes: Vec::new(),
            left_out_px: 0,
        };
        view.planes = view.colours();
        view
    }

    /// The same star once more, nothing computed yet.
    pub fn afresh(&self) -> FrameView {
        FrameView::new(
            self.number,
            self.recorded.clone(),
            &self.instrument,
            self.look,
        )
    }

    fn colours(&self) -> Vec<ColourPlane> {
        let plane = |passband: &Passband, colour: Option<Colour>| ColourPlane {
            passband: passband.clone(),
            pixels: self.pixels_of(colour),
            built: None,
        };
        match (&self.instrument.camera.colour, self.recorded.pattern) {
            (Some(array), Some(_)) => Colour::ALL
                .into_iter()
                .zip(&array.passbands)
                .map(|(colour, passband)| plane(passband, Some(colour)))
                .filter(|plane| !plane.pixels.is_empty())
                .collect(),
            (Some(array), None) => vec![plane(&array.passbands[1], None)],
            (None, _) => vec![plane(&self.instrument.camera.passband, None)],
        }
    }

    fn pixels_of(&self, colour: Option<Colour>) -> Vec<[usize; 2]> {
        let own = |row: usize, column: usize| match (colour, self.recorded.pattern) {
            (Some(colour), Some(pattern)) => pattern[2 * (row % 2) + column % 2] == colour,
            _ => true,
        };
        self.recorded
            .usable
            .indexed_iter()
            .filter(|((row, column), usable)| **usable && own(*row, *column))
            .map(|((row, column), _)| [row, column])
            .collect()
    }

    /// Spends more or fewer wavelengths from now on.
    pub fn set_stage(&mut self, stage: Stage) {
        if self.stage != stage {
            self.stage = stage;
            self.planes.iter_mut().for_each(|plane| plane.built = None);
        }
    }

    /// Leaves pixels out from now on.
    pub fn leave_out(&mut self, unwanted: &[[usize; 2]]) {
        for place in unwanted {
            self.recorded.usable[*place] = false;
        }
        self.left_out_px += unwanted.len();
        for plane in &mut self.planes {
            plane.pixels.retain(|place| !unwanted.contains(place));
        }
    }

    /// Number of pixels that [`leave_out`](Self::leave_out) took away.
    pub fn left_out_px(&self) -> usize {
        self.left_out_px
    }

    /// Number of planes.
    pub fn planes(&self) -> usize {
        self.planes.len()
    }

    /// Number of used pixels in all planes.
    pub fn used_px(&self) -> usize {
        self.planes.iter().map(|plane| plane.pixels.len()).sum()
    }

    /// Electrons that the recorded star would have on a sensor that is all of one plane's colour.
    pub fn light_e(&self, plane: usize) -> f64 {
        let pixels = &self.planes[plane].pixels;
        let share = self.recorded.image_e.len() as f64 / pixels.len().max(1) as f64;
        let sum: f64 = pixels
            .iter()
            .map(|place| self.recorded.image_e[*place])
            .sum();
        (sum * share).max(1.0)
    }

    /// The used pixels of a plane.
    pub fn pixels(&self, plane: usize) -> &[[usize; 2]] {
        &self.planes[plane].pixels
    }

    /// Reference wavelength of a plane's model, once it has been computed.
    pub fn reference_m(&self, plane: usize) -> Option<f64> {
        self.planes[plane]
            .built
            .as_ref()
            .map(|b| b.model.reference_m)
    }

    /// Share of the light in each used pixel of a plane.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn light(&mut self, plane: usize, trial: &TrialState) -> Result<Vec<f64>, PredictError> {
        self.prepare(plane, trial)?;
        let light = self.image(plane, trial)?;
        Ok(picked(&light, &self.planes[plane].pixels))
    }

    /// The whole image of a plane: share of the light in each pixel.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn image(&mut self, plane: usize, trial: &TrialState) -> Result<Array2<f64>, PredictError> {
        self.prepare(plane, trial)?;
        let (modes, offset) = self.wavefront(trial);
        let Some(built) = &self.planes[plane].built else {
            return Err(PredictError::NoBand(0));
        };
        Ok(built.model.light_of::<f32>(&modes, offset, &built.bins))
    }

    /// The light of a plane with its derivatives by every free optical unknown and dimension.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn slopes(
        &mut self,
        plane: usize,
        trial: &TrialState,
    ) -> Result<PlaneSlopes, PredictError> {
        let columns = self.slopes_by(plane, trial, |_| true)?;
        Ok(PlaneSlopes {
            light: self.light(plane, trial)?,
            columns,
        })
    }

    /// Derivatives of the light of a plane by those optical unknowns and dimensions that are wanted.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn slopes_by(
        &mut self,
        plane: usize,
        trial: &TrialState,
        wanted: impl Fn(&Unknown) -> bool,
    ) -> Result<Vec<(Unknown, Vec<f64>)>, PredictError> {
        self.prepare(plane, trial)?;
        let (modes, offset) = self.wavefront(trial);
        let mut own = self.optical(trial);
        own.retain(|(unknown, _)| wanted(unknown));
        let parameters: Vec<Parameter> = own.iter().map(|o| o.1).collect();
        let pixels = self.planes[plane].pixels.clone();
        let Some(built) = &mut self.planes[plane].built else {
            return Err(PredictError::NoBand(0));
        };
        let model = &built.model;
        let kept = built.maps.take().filter(|(of, _)| *of == parameters);
        let (_, maps) = built.maps.insert(kept.unwrap_or_else(|| {
            let maps = model.slope_maps(&parameters);
            (parameters, maps)
        }));
        let LightSlopes { light, columns } =
            model.light_and_slopes_over::<f32>(maps, &modes, offset, &built.bins_of_slopes)?;
        let mut columns: Vec<(Unknown, Vec<f64>)> = own
            .iter()
            .zip(&columns)
            .map(|((unknown, _), column)| (*unknown, picked(column, &pixels)))
            .collect();
        let slopes_light = picked(&light, &pixels);
        for (dimension, _) in trial.dimensions() {
            let unknown = Unknown::Dimension(dimension);
            if wanted(&unknown) {
                let column = self.difference(plane, trial, dimension, &slopes_light)?;
                columns.push((unknown, column));
            }
        }
        Ok(columns)
    }

    /// Derivative by a dimension: another model, a little aside.
    fn difference(
        &self,
        plane: usize,
        trial: &TrialState,
        dimension: Dimension,
        light: &[f64],
    ) -> Result<Vec<f64>, PredictError> {
        let step = dimension.step(&self.instrument, &self.look.settings.prior);
        let mut aside = trial.clone();
        let here = trial
            .get(Unknown::Dimension(dimension))
            .unwrap_or(dimension.neutral());
        aside.set(Unknown::Dimension(dimension), here + step);
        let Some(built) = &self.planes[plane].built else {
            return Err(PredictError::NoBand(0));
        };
        let planned = (built.offset_m, built.seeing_rad);
        let mut model = self.model(plane, &aside, planned)?;
        let (place, seeing) = self.place_and_seeing(&aside);
        model.look(FramePx::new(place), seeing);
        let (modes, offset) = self.wavefront(&aside);
        let there = model.light_of::<f32>(&modes, offset, &built.bins_of_slopes);
        let there = picked(&there, &self.planes[plane].pixels);
        Ok(there
            .iter()
            .zip(light)
            .map(|(b, a)| (b - a) / step)
            .collect())
    }

    /// The optical unknowns of this view, as the model calls them.
    fn optical(&self, trial: &TrialState) -> Vec<(Unknown, Parameter)> {
        let mine = |view: &usize| *view == self.number;
        trial
            .unknowns
            .iter()
            .filter_map(|unknown| {
                let parameter = match unknown {
                    Unknown::Place(view, 0) if mine(view) => Parameter::PlaceX,
                    Unknown::Place(view, _) if mine(view) => Parameter::PlaceY,
                    Unknown::SensorOffset(view) if mine(view) => Parameter::SensorOffset,
                    Unknown::Seeing(view) if mine(view) => Parameter::Seeing,
                    Unknown::Mode(noll) => Parameter::Mode(*noll),
                    _ => return None,
                };
                Some((*unknown, parameter))
            })
            .collect()
    }

    fn wavefront(&self, trial: &TrialState) -> (Modes, f64) {
        let mut modes = trial.modes();
        modes.add_scaled(&self.recorded.known, 1.0);
        let offset = trial.get(Unknown::SensorOffset(self.number)).unwrap_or(0.0);
        (modes, offset)
    }

    fn place_and_seeing(&self, trial: &TrialState) -> ([f64; 2], f64) {
        let axis = |axis| trial.get(Unknown::Place(self.number, axis)).unwrap_or(0.0);
        let seeing = trial
            .get(Unknown::Seeing(self.number))
            .map_or(0.0, libm::exp);
        ([axis(0), axis(1)], seeing)
    }

    /// Makes the plane's model see the trial, planning it anew where the trial has left what it was planned for.
    fn prepare(&mut self, plane: usize, trial: &TrialState) -> Result<(), PredictError> {
        let (place, seeing) = self.place_and_seeing(trial);
        let offset = self.wavefront(trial).1;
        let fits = self.planes[plane].built.as_ref().is_some_and(|built| {
            let reach_m = REPLANNED_OFFSET_FACTOR * built.offset_m.abs() + REPLANNED_OFFSET_ROOM_M;
            offset.abs() <= reach_m
                && seeing <= REPLANNED_SEEING_FACTOR * built.seeing_rad
                && built.dimensions == trial.dimensions()
        });
        if !fits {
            self.build(plane, trial)?;
        }
        if let Some(built) = &mut self.planes[plane].built {
            built.model.look(FramePx::new(place), seeing);
        }
        Ok(())
    }

    fn build(&mut self, plane: usize, trial: &TrialState) -> Result<(), PredictError> {
        let (_, seeing_rad) = self.place_and_seeing(trial);
        let offset_m = self.wavefront(trial).1;
        let model = self.model(plane, trial, (offset_m, seeing_rad))?;
        let slotted = self.recorded.mask_on && self.instrument.mask.is_some();
        let [bins, bins_of_slopes] =
            self.stage
                .at_most(slotted, &self.look.settings)
                .map(|at_most| {
                    if model.bins.len() > at_most {
                        let passband = &self.planes[plane].passband;
                        spectrum::bins(passband, at_most, self.look.temperature_k)
                    } else {
                        model.bins.clone()
                    }
                });
        self.planes[plane].built = Some(BuiltModel {
            bins,
            bins_of_slopes,
            model,
            maps: None,
            dimensions: trial.dimensions(),
            offset_m,
            seeing_rad,
        });
        Ok(())
    }

    /// A model of the trial, planned for an offset and a seeing.
    fn model(
        &self,
        plane: usize,
        trial: &TrialState,
        (offset_m, seeing_rad): (f64, f64),
    ) -> Result<Model, PredictError> {
        let mut instrument = self.instrument.clone();
        for (dimension, value) in trial.dimensions() {
            dimension.apply(&mut instrument, value);
        }
        instrument.telescope.design = trial.modes();
        instrument.assembly = None;
        let state = State {
            sensor_offset_m: offset_m,
            field_m: self.recorded.field_m,
            mask_on: self.recorded.mask_on,
            star: self.look.temperature_k.map(|temperature_k| Star {
                magnitude: 0.0,
                temperature_k,
                altitude_rad: std::f64::consts::FRAC_PI_2,
            }),
            sky: Sky {
                seeing_rad: self.recorded.through_atmosphere.then_some(seeing_rad),
                ..Sky::default()
            },
            ..State::default()
        };
        let slotted = self.recorded.mask_on && self.instrument.mask.is_some();
        let own = &self.look.settings;
        let accuracy = match slotted && self.stage == Stage::Fine {
            true => own.accuracy_slotted,
            false => own.accuracy,
        };
        let settings = Settings {
            accuracy,
            portable: self.look.portable,
            ..Settings::default()
        };
        let passband = &self.planes[plane].passband;
        let mut planned = Model::with_passband(&instrument, &state, passband, settings)?;
        if instrument.camera.wavelengths.is_none() && planned.bins.len() > own.wavelengths_at_most {
            instrument.camera.wavelengths = Some(own.wavelengths_at_most);
            planned = Model::with_passband(&instrument, &state, passband, settings)?;
        }
        Ok(planned)
    }
}

fn picked(image: &Array2<f64>, pixels: &[[usize; 2]]) -> Vec<f64> {
    pixels.iter().map(|place| image[*place]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::MaskLayout;
    use crate::propagation::Accuracy;
    use crate::testing;
    use crate::units::{ARCSEC, NM, UM};

    /// What [`FitSettings::accuracy`] and [`FitSettings::accuracy_slotted`] promise: less than 1e-3 (relative L2) from finely sampled frames.
    #[test]
    fn coarse_frames_are_close() {
        let own = FitSettings::default();
        for (offset_m, mask_on, accuracy) in [
            (350.0 * UM, false, own.accuracy),
            (-420.0 * UM, false, own.accuracy),
            (6.0 * UM, true, own.accuracy_slotted),
        ] {
            let mut unit = testing::fast_unit();
            unit.mask = Some(testing::mask(MaskLayout::TWO_ZONE));
            (unit.camera.width_px, unit.camera.height_px) = (72, 68);
            unit.camera.wavelengths = Some(2);
            let state = State {
                sensor_offset_m: offset_m,
                mask_on,
                modes: [(8, 70.0 * NM), (5, -20.0 * NM)].into_iter().collect(),
                sky: Sky {
                    seeing_rad: Some(1.8 * ARCSEC),
                    ..Sky::default()
                },
                ..State::default()
            };
            let light = |accuracy: Accuracy| {
                let settings = Settings {
                    accuracy,
                    ..Settings::default()
                };
                let model = Model::new(&unit, &state, settings).unwrap();
                let (modes, bins) = (&model.alignment.modes, &model.bins);
                model.light_of::<f32>(modes, model.alignment.sensor_offset_m, bins)
            };
            let (coarse, fine) = (light(accuracy), light(Accuracy::default()));
            let off = (&coarse - &fine).mapv(|v| v * v).sum();
            let error = (off / fine.mapv(|v| v * v).sum()).sqrt();
            println!("{offset_m:.1e} {mask_on}: {error:.1e}");
            assert!(error < 1e-3, "{offset_m} {mask_on}: {error:.1e}");
        }
    }
}
