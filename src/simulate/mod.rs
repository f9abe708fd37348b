//! The whole chain in one screen: scenario's instrument and state in, frame and truth out.
//!
//! [`simulate`] predicts the frame, draws the noise from the seed and writes down everything that is hidden. It opens no file.

mod flags;
mod limits;
mod readout;
mod scintillation;
mod sentences;
mod shape;
mod stamps;
mod starfield;
mod truth;

pub use crate::frame::clock;
pub use crate::predict::{Doughnut, Spike, doughnut, spikes};
pub use limits::Limits;
pub use readout::{flat, read_out, saturation_adu};
pub use sentences::sentences;
pub use shape::{ImageShape, shape};
pub use stamps::{Stamp, StarRecord, background, stamp};
pub use starfield::{FieldError, StarField, field_stars, star_field};
pub use truth::{DoughnutRecord, Numbered, Provenance, SpikeRecord, Truth};

use crate::frame::Frame;
use crate::instrument::Instrument;
use crate::predict::{Expected, Model, PredictError, Settings};
use crate::state::State;

/// A simulated star: what the camera recorded, what it was expected to record, and the truth.
#[derive(Debug, Clone, PartialEq)]
pub struct Simulation {
    /// Expected electrons, or shares of the light.
    pub expected: Expected,
    /// Counts; `None` in relative units.
    pub frame: Option<Frame>,
    /// Everything that is hidden.
    pub truth: Truth,
}

/// Runs the chain. Without a seed no counts are drawn.
///
/// # Errors
/// [`PredictError`] when no light passes or the job does not fit in memory.
pub fn simulate(
    instrument: &Instrument,
    state: &State,
    provenance: &Provenance,
    settings: Settings,
) -> Result<Simulation, PredictError> {
    let model = Model::new(instrument, state, settings)?;
    let expected = Expected::new(&model, instrument, state, settings)?;
    let frame = match (&instrument.camera.electronics, provenance.seed) {
        (Some(electronics), Some(seed)) if expected.in_electrons => {
            let chance = provenance.chance_of(seed);
            let seen = scintillation::seen(&expected, instrument, state, chance.noise);
            let pixel_m = instrument.camera.pixel_m;
            Some(read_out(&seen, electronics, pixel_m, chance))
        }
        _ => None,
    };
    let truth = Truth::new(
        instrument,
        state,
        &model,
        &expected,
        frame.as_ref(),
        Limits::new(instrument, state, &model, &expected),
        provenance,
    );
    Ok(Simulation {
        expected,
        frame,
        truth,
    })
}
