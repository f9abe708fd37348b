//! The unknowns of a fit, and a trial: values for all of them.

use super::super::settings::PriorSettings;
use crate::instrument::Instrument;
use crate::state::Modes;

/// A dimension that the owner may have typed in slightly wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dimension {
    /// Size of the obstruction, as a factor on what was typed.
    ObstructionSize,
    /// How far the obstruction sits aside along pupil x, in metres from what was typed.
    ObstructionX,
    /// The same along pupil y.
    ObstructionY,
    /// Turn of the mask in radians, from what was typed.
    MaskRotation,
    /// Focal length, as a factor on what was typed.
    FocalLength,
    /// Turn of the camera in radians, counter-clockwise in pupil axes, from how it is held.
    CameraTurn,
}

impl Dimension {
    /// The value that leaves the instrument as typed.
    pub fn neutral(self) -> f64 {
        match self {
            Dimension::ObstructionSize | Dimension::FocalLength => 1.0,
            _ => 0.0,
        }
    }

    /// How far the value is believed to be off: a fit pays for going further.
    pub fn prior_width(self, instrument: &Instrument, prior: &PriorSettings) -> f64 {
        let aperture_m = instrument.telescope.aperture_m;
        match self {
            Dimension::ObstructionSize => prior.obstruction_size_share,
            Dimension::FocalLength => prior.focal_length_share,
            Dimension::ObstructionX | Dimension::ObstructionY => {
                prior.obstruction_aside_share * aperture_m
            }
            Dimension::MaskRotation => prior.mask_turn_rad,
            Dimension::CameraTurn => prior.camera_turn_rad,
        }
    }

    /// Step of the difference that stands for a derivative, in the unit of the value.
    pub fn step(self, instrument: &Instrument, prior: &PriorSettings) -> f64 {
        /// Small enough for the frame to change nearly in proportion, large enough to be seen beside the errors of its sampling.
        const STEP_OF_WIDTH: f64 = 0.1;
        STEP_OF_WIDTH * self.prior_width(instrument, prior)
    }

    /// The instrument with this dimension at `value`.
    pub fn apply(self, instrument: &mut Instrument, value: f64) {
        match self {
            Dimension::FocalLength => instrument.telescope.focal_length_m *= value,
            Dimension::CameraTurn => instrument.camera.rotation_rad += value,
            Dimension::MaskRotation => {
                if let Some(mask) = &mut instrument.mask {
                    mask.rotation_rad += value;
                }
            }
            _ => {
                if let Some(obstruction) = &mut instrument.telescope.obstruction {
                    match self {
                        Dimension::ObstructionX => obstruction.offset_m[0] += value,
                        Dimension::ObstructionY => obstruction.offset_m[1] += value,
                        _ => obstruction.diameter_m *= value,
                    }
                }
            }
        }
    }
}

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
