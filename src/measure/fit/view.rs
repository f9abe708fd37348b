//! One cut-out star and the models that predict it: one for each colour of the sensor.
//!
//! A model is kept as long as the trial's dimensions and its defocus stay near those it was planned for. Frames are computed
//! in single precision, sampled coarsely: [`FitSettings::accuracy`].

mod slopes;

use super::super::settings::FitSettings;
use super::dimension::{Dimension, apply_all};
use super::unknown::{Neighbour, TrialState, Unknown};
use crate::axes::{FieldM, FramePx};
use crate::instrument::{Colour, Instrument, Passband};
use crate::predict::{Model, Parameter, PredictError, Settings, SlopeMaps};
use crate::propagation::Accuracy;
use crate::spectrum::{self, Bin};
use crate::state::{Modes, Sky, Star, State};
use ndarray::Array2;

/// A model is planned anew when the sensor offset grows beyond this many times the one it was planned for …
const REPLANNED_OFFSET_FACTOR: f64 = 1.2;
/// … and this, metres: the guard bands of its sampling reach so far.
const REPLANNED_OFFSET_ROOM_M: f64 = 20e-6;
/// A model is planned anew when the seeing grows beyond this many times the one it was planned for.
const REPLANNED_SEEING_FACTOR: f64 = 1.5;
/// A model is planned anew when drift and the distance of a second star grow beyond those it was planned for by this, pixels.
const REPLANNED_ROOM_PX: f64 = 3.0;

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
    /// Memory of the first model of this star; 0 before there is one.
    first_gib: f64,
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
    planned: Planned,
    bins: Vec<Bin>,
    bins_of_slopes: Vec<Bin>,
}

/// What the sampling of a model was planned for.
#[derive(Debug, Clone, Copy)]
struct Planned {
    offset_m: f64,
    seeing_rad: f64,
    drift_px: [f64; 2],
    /// Distance of a second star; 0 without one.
    neighbour_px: f64,
}

impl Planned {
    /// Whether it serves what is asked for now, too.
    fn serves(&self, now: &Planned) -> bool {
        let reach_m = REPLANNED_OFFSET_FACTOR * self.offset_m.abs() + REPLANNED_OFFSET_ROOM_M;
        let length = |v: [f64; 2]| v[0].hypot(v[1]);
        now.offset_m.abs() <= reach_m
            && now.seeing_rad <= REPLANNED_SEEING_FACTOR * self.seeing_rad
            && length(now.drift_px) <= length(self.drift_px) + REPLANNED_ROOM_PX
            && now.neighbour_px <= self.neighbour_px + REPLANNED_ROOM_PX
    }
}

/// What a model is told before it looks at the star.
#[derive(Debug, Clone, Copy)]
struct Sight {
    place_px: [f64; 2],
    seeing_rad: f64,
    drift_px: [f64; 2],
}

impl Sight {
    fn of(self, model: &mut Model) {
        model.look(FramePx::new(self.place_px), self.seeing_rad);
        model.drift(self.drift_px);
    }
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
            first_gib: 0.0,
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

    /// The whole image of a plane: share of the (first) star's light in each pixel.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn image(&mut self, plane: usize, trial: &TrialState) -> Result<Array2<f64>, PredictError> {
        self.prepare(plane, trial)?;
        let (modes, offset) = self.wavefront(trial);
        let sight = self.sight(trial);
        let Some(built) = &mut self.planes[plane].built else {
            return Err(PredictError::NoBand(0));
        };
        let mut light = built.model.light_of::<f32>(&modes, offset, &built.bins);
        if let Some(neighbour) = trial.neighbour() {
            beside(sight, neighbour).of(&mut built.model);
            let other = built.model.light_of::<f32>(&modes, offset, &built.bins);
            light.scaled_add(neighbour.share, &other);
            sight.of(&mut built.model);
        }
        Ok(light)
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

    fn sight(&self, trial: &TrialState) -> Sight {
        let axis = |axis| trial.get(Unknown::Place(self.number, axis)).unwrap_or(0.0);
        Sight {
            place_px: [axis(0), axis(1)],
            seeing_rad: trial
                .get(Unknown::Seeing(self.number))
                .map_or(0.0, libm::exp),
            drift_px: trial.drift_px(self.number),
        }
    }

    /// What a model of the trial is to be planned for.
    fn planned(&self, trial: &TrialState) -> Planned {
        let Sight {
            seeing_rad,
            drift_px,
            ..
        } = self.sight(trial);
        Planned {
            offset_m: self.wavefront(trial).1,
            seeing_rad,
            drift_px,
            neighbour_px: trial
                .neighbour()
                .map_or(0.0, |n| n.aside_px[0].hypot(n.aside_px[1])),
        }
    }

    /// Makes the plane's model see the trial, planning it anew where the trial has left what it was planned for.
    fn prepare(&mut self, plane: usize, trial: &TrialState) -> Result<(), PredictError> {
        let now = self.planned(trial);
        let fits = self.planes[plane].built.as_ref().is_some_and(|built| {
            built.planned.serves(&now) && built.dimensions == trial.dimensions()
        });
        if !fits {
            self.build(plane, trial, now)?;
        }
        let sight = self.sight(trial);
        if let Some(built) = &mut self.planes[plane].built {
            sight.of(&mut built.model);
        }
        Ok(())
    }

    fn build(
        &mut self,
        plane: usize,
        trial: &TrialState,
        planned: Planned,
    ) -> Result<(), PredictError> {
        let model = self.model(plane, trial, planned)?;
        if self.first_gib == 0.0 {
            self.first_gib = model.memory_bytes() / f64::from(1 << 30);
        }
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
            planned,
        });
        Ok(())
    }

    /// A model of the trial with its sampling planned for this.
    fn model(
        &self,
        plane: usize,
        trial: &TrialState,
        planned: Planned,
    ) -> Result<Model, PredictError> {
        let mut instrument = self.instrument.clone();
        apply_all(&trial.dimensions(), &mut instrument);
        instrument.telescope.design = trial.modes();
        instrument.assembly = None;
        let state = State {
            sensor_offset_m: planned.offset_m,
            field_m: self.recorded.field_m,
            mask_on: self.recorded.mask_on,
            star: self.look.temperature_k.map(|temperature_k| Star {
                magnitude: 0.0,
                temperature_k,
                altitude_rad: std::f64::consts::FRAC_PI_2,
            }),
            sky: Sky {
                seeing_rad: self
                    .recorded
                    .through_atmosphere
                    .then_some(planned.seeing_rad),
                tracking_drift_px: planned.drift_px,
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
        // the light of a second star lies farther from its place than the frame is wide
        let (rows, columns) = self.recorded.image_e.dim();
        let farther = 1.0 + 2.0 * planned.neighbour_px / rows.min(columns) as f64;
        let accuracy = Accuracy {
            oversize: accuracy.oversize * farther,
            oversize_slotted: accuracy.oversize_slotted * farther,
            ..accuracy
        };
        let settings = Settings {
            accuracy,
            portable: self.look.portable,
            memory_gib: own.memory_gib(rows * columns, self.first_gib),
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

/// The sight of the second star.
fn beside(sight: Sight, neighbour: Neighbour) -> Sight {
    let place_px = [0, 1].map(|axis| sight.place_px[axis] + neighbour.aside_px[axis]);
    Sight { place_px, ..sight }
}

fn picked(image: &Array2<f64>, pixels: &[[usize; 2]]) -> Vec<f64> {
    pixels.iter().map(|place| image[*place]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::MaskLayout;
    use crate::testing;
    use crate::units::{ARCSEC, NM, UM};

    /// An ordinary ring needs less than a tenth of what a trial may take, and one whose modes have run away is refused at once.
    #[test]
    fn a_trial_star_stays_small() {
        let own = FitSettings::default();
        let mut unit = testing::fast_unit();
        (unit.camera.width_px, unit.camera.height_px) = (72, 68);
        let limit = own.memory_gib(72 * 68, 0.0);
        let settings = Settings {
            accuracy: own.accuracy,
            memory_gib: limit,
            ..Settings::default()
        };
        let star = |modes: &[(u32, f64)]| {
            let state = State {
                sensor_offset_m: 350.0 * UM,
                modes: modes.iter().copied().collect(),
                ..State::default()
            };
            Model::new(&unit, &state, settings)
        };
        let plain = star(&[(8, 150.0 * NM)]).unwrap();
        let needed = plain.memory_bytes() / f64::from(1 << 30);
        println!("{needed:.4} of {limit:.4} GiB");
        assert!(needed < 0.1 * limit);
        let wild: Vec<(u32, f64)> = (12..=22)
            .map(|noll| (noll, own.prior.mode_m_at_most))
            .collect();
        assert!(matches!(star(&wild), Err(PredictError::TooLarge { .. })));
    }

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
