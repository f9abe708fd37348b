//! The unknowns of a fit, and a trial: values for all of them.

use super::dimension::Dimension;
use crate::state::Modes;

/// One unknown. Views are frames of the same telescope; planes are the colours of a filter array.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unknown {
    /// Place of the star in a view along an axis, pixels.
    Place(usize, usize),
    /// Sensor offset of a view, metres.
    SensorOffset(usize),
    /// Natural logarithm of the seeing's FWHM in a view, radians.
    Seeing(usize),
    /// Electrons of the whole star in a view and plane.
    Flux(usize, usize),
    /// Electrons in every pixel of a view and plane.
    Background(usize, usize),
    /// Rise of the background of a view along an axis, electrons from one edge of the cut-out to the other.
    Slope(usize, usize),
    /// A mode, metres RMS; the same in all views.
    Mode(u32),
    /// A dimension of the telescope; the same in all views.
    Dimension(Dimension),
    /// How far the star of a view drifted during the exposure along an axis, pixels in frame axes; both signs are the same picture.
    Drift(usize, usize),
    /// How far a second star stands from the first along an axis, pixels in frame axes; in a single view only.
    NeighbourAside(usize),
    /// Its light, as a share of the first one's.
    NeighbourShare,
}

/// A second star in the same view.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Neighbour {
    /// From the first star, pixels in frame axes.
    pub aside_px: [f64; 2],
    /// Share of the first star's light.
    pub share: f64,
}

/// The unknowns and their values.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialState {
    /// In the order of the fit's columns.
    pub unknowns: Vec<Unknown>,
    /// One each.
    pub values: Vec<f64>,
    /// Modes that are not free.
    pub fixed: Modes,
}

impl TrialState {
    /// The value of an unknown, when it is free.
    pub fn get(&self, wanted: Unknown) -> Option<f64> {
        self.position(wanted).map(|at| self.values[at])
    }

    /// Its column.
    pub fn position(&self, wanted: Unknown) -> Option<usize> {
        self.unknowns.iter().position(|u| *u == wanted)
    }

    /// The same unknowns elsewhere.
    pub fn at(&self, values: &[f64]) -> TrialState {
        TrialState {
            values: values.to_vec(),
            ..self.clone()
        }
    }

    /// Adds an unknown.
    pub fn push(&mut self, unknown: Unknown, value: f64) {
        self.unknowns.push(unknown);
        self.values.push(value);
    }

    /// Sets an unknown; does nothing when it is not free.
    pub fn set(&mut self, wanted: Unknown, value: f64) {
        if let Some(at) = self.position(wanted) {
            self.values[at] = value;
        }
    }

    /// All modes: the free ones at their values, the others as they are fixed.
    pub fn modes(&self) -> Modes {
        let mut modes: Modes = self
            .fixed
            .iter()
            .filter(|(noll, _)| self.position(Unknown::Mode(*noll)).is_none())
            .collect();
        for (unknown, value) in self.unknowns.iter().zip(&self.values) {
            if let Unknown::Mode(noll) = unknown {
                modes.add(*noll, *value);
            }
        }
        modes
    }

    /// Drift of a view's star over the exposure, pixels in frame axes; 0 where it is not free.
    pub fn drift_px(&self, view: usize) -> [f64; 2] {
        [0, 1].map(|axis| self.get(Unknown::Drift(view, axis)).unwrap_or(0.0))
    }

    /// The second star, where one is free.
    pub fn neighbour(&self) -> Option<Neighbour> {
        let share = self.get(Unknown::NeighbourShare)?;
        let aside_px = [0, 1].map(|axis| self.get(Unknown::NeighbourAside(axis)).unwrap_or(0.0));
        Some(Neighbour { aside_px, share })
    }

    /// The free dimensions and their values.
    pub fn dimensions(&self) -> Vec<(Dimension, f64)> {
        self.unknowns
            .iter()
            .zip(&self.values)
            .filter_map(|(unknown, value)| match unknown {
                Unknown::Dimension(dimension) => Some((*dimension, *value)),
                _ => None,
            })
            .collect()
    }
}
