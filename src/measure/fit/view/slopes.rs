//! How the light of a view changes with what a fit is free to change: with the wavefront by the model's own derivatives, with dimensions and
//! drift by the difference to another model.

use super::super::dimension::Dimension;
use super::super::unknown::{TrialState, Unknown};
use super::{FrameView, PlaneSlopes, beside, picked};
use crate::predict::{LightSlopes, Parameter, PredictError};

/// Step of the difference that stands for the derivative by drift, pixels.
const DRIFT_STEP_PX: f64 = 0.3;

impl FrameView {
    /// The light of a plane with its derivatives by every free optical unknown and dimension.
    ///
    /// # Errors
    /// As [`Model::new`](crate::predict::Model::new).
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
    /// As [`Model::new`](crate::predict::Model::new).
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
        let mut parameters: Vec<Parameter> = own.iter().map(|o| o.1).collect();
        let neighbour = trial.neighbour();
        for place in [Parameter::PlaceX, Parameter::PlaceY] {
            // a second star moves as the first one does
            if neighbour.is_some() && !parameters.contains(&place) {
                parameters.push(place);
            }
        }
        let pixels = self.planes[plane].pixels.clone();
        let sight = self.sight(trial);
        let Some(built) = &mut self.planes[plane].built else {
            return Err(PredictError::NoBand(0));
        };
        let kept = built.maps.take().filter(|(of, _)| *of == parameters);
        let (_, maps) = built.maps.insert(kept.unwrap_or_else(|| {
            let maps = built.model.slope_maps(&parameters);
            (parameters.clone(), maps)
        }));
        let model = &mut built.model;
        let bins = &built.bins_of_slopes;
        let LightSlopes {
            mut light,
            columns: mut images,
        } = model.light_and_slopes_over::<f32>(maps, &modes, offset, bins)?;
        let mut columns = Vec::new();
        if let Some(neighbour) = neighbour {
            beside(sight, neighbour).of(model);
            let other = model.light_and_slopes_over::<f32>(maps, &modes, offset, bins)?;
            sight.of(model);
            light.scaled_add(neighbour.share, &other.light);
            for (image, more) in images.iter_mut().zip(&other.columns) {
                image.scaled_add(neighbour.share, more);
            }
            columns.push((Unknown::NeighbourShare, picked(&other.light, &pixels)));
            for (axis, place) in [Parameter::PlaceX, Parameter::PlaceY].iter().enumerate() {
                let at = parameters.iter().position(|p| p == place).unwrap_or(0);
                let column = &other.columns[at] * neighbour.share;
                columns.push((Unknown::NeighbourAside(axis), picked(&column, &pixels)));
            }
            columns.retain(|(unknown, _)| wanted(unknown));
        }
        let optical = own.iter().zip(&images);
        columns.extend(optical.map(|((unknown, _), image)| (*unknown, picked(image, &pixels))));
        let slopes_light = picked(&light, &pixels);
        for axis in [0, 1] {
            let unknown = Unknown::Drift(self.number, axis);
            if trial.position(unknown).is_some() && wanted(&unknown) {
                let mut aside = trial.clone();
                let here = trial.get(unknown).unwrap_or(0.0);
                aside.set(unknown, here + DRIFT_STEP_PX);
                let column = self.difference(plane, &aside, DRIFT_STEP_PX, &slopes_light)?;
                columns.push((unknown, column));
            }
        }
        for (dimension, _) in trial.dimensions() {
            let unknown = Unknown::Dimension(dimension);
            if wanted(&unknown) {
                columns.push((
                    unknown,
                    self.by_dimension(plane, trial, dimension, &slopes_light)?,
                ));
            }
        }
        Ok(columns)
    }

    /// Derivatives by dimensions that need not be free, all from the same light.
    ///
    /// # Errors
    /// As [`Model::new`](crate::predict::Model::new).
    pub fn slopes_by_dimensions(
        &mut self,
        plane: usize,
        trial: &TrialState,
        dimensions: &[Dimension],
    ) -> Result<Vec<Vec<f64>>, PredictError> {
        let here = self.light_of_slopes(plane, trial)?;
        dimensions
            .iter()
            .map(|dimension| self.by_dimension(plane, trial, *dimension, &here))
            .collect()
    }

    /// How much the light of a plane changes from one trial to another, in the wavelengths of derivatives.
    ///
    /// # Errors
    /// As [`Model::new`](crate::predict::Model::new).
    pub fn change(
        &mut self,
        plane: usize,
        [from, to]: [&TrialState; 2],
    ) -> Result<Vec<f64>, PredictError> {
        let here = self.light_of_slopes(plane, from)?;
        self.difference(plane, to, 1.0, &here)
    }

    /// The light of a plane in the wavelengths of derivatives.
    fn light_of_slopes(
        &mut self,
        plane: usize,
        trial: &TrialState,
    ) -> Result<Vec<f64>, PredictError> {
        self.prepare(plane, trial)?;
        let nothing = vec![0.0; self.planes[plane].pixels.len()];
        self.difference(plane, trial, 1.0, &nothing)
    }

    /// Derivative by a dimension: another model, a little aside.
    fn by_dimension(
        &self,
        plane: usize,
        trial: &TrialState,
        dimension: Dimension,
        light: &[f64],
    ) -> Result<Vec<f64>, PredictError> {
        let step = dimension.step(&self.instrument, &self.look.settings.prior);
        let unknown = Unknown::Dimension(dimension);
        let mut aside = trial.clone();
        if aside.position(unknown).is_none() {
            aside.push(unknown, dimension.neutral());
        }
        let here = aside.get(unknown).unwrap_or(dimension.neutral());
        aside.set(unknown, here + step);
        self.difference(plane, &aside, step, light)
    }

    /// (light of another trial − this light) / step, by a model of its own with the sampling of the one that is there.
    fn difference(
        &self,
        plane: usize,
        aside: &TrialState,
        step: f64,
        light: &[f64],
    ) -> Result<Vec<f64>, PredictError> {
        let Some(built) = &self.planes[plane].built else {
            return Err(PredictError::NoBand(0));
        };
        let mut model = self.model(plane, aside, built.planned)?;
        let (modes, offset) = self.wavefront(aside);
        let sight = self.sight(aside);
        sight.of(&mut model);
        let mut there = model.light_of::<f32>(&modes, offset, &built.bins_of_slopes);
        if let Some(neighbour) = aside.neighbour() {
            beside(sight, neighbour).of(&mut model);
            let other = model.light_of::<f32>(&modes, offset, &built.bins_of_slopes);
            there.scaled_add(neighbour.share, &other);
        }
        let there = picked(&there, &self.planes[plane].pixels);
        Ok(there
            .iter()
            .zip(light)
            .map(|(b, a)| (b - a) / step)
            .collect())
    }
}
