//! What was learned, laid over an instrument.

use super::{LearnError, LearnedResponse, LearnedScrew};
use crate::flag::{Flag, Flags};
use crate::instrument::{Assembly, Instrument, Response};

impl LearnedResponse {
    /// Numbers of the screws whose effect was seen.
    pub fn tried(&self, assembly: &Assembly) -> Vec<usize> {
        let number = |screw: &LearnedScrew| assembly.screw(&screw.name).ok();
        self.screws.iter().filter_map(number).collect()
    }

    /// Lays what was learned over what was typed. Returns what is still open: what the trials left so, and, where no response had been
    /// typed, what the advice cannot tell ([`Flag::FocusResponseUnknown`], [`Flag::ImageShiftUnknown`]).
    ///
    /// # Errors
    /// [`LearnError::NoScrews`] and [`LearnError::UnknownScrew`] where it was learned on another assembly.
    pub fn apply(&self, instrument: &mut Instrument) -> Result<Flags, LearnError> {
        let assembly = instrument.assembly.as_mut().ok_or(LearnError::NoScrews)?;
        for screw in &self.screws {
            assembly.screw(&screw.name)?;
        }
        let shift = self.image_shift_m_per_rad.map(|s| s.value);
        let mut lacking = self.open();
        match &mut assembly.response {
            Some(response) => {
                response.coma_m_per_rad = self.coma_m_per_rad.value;
                if let Some(shift) = shift {
                    response.image_shift_m_per_rad = shift;
                }
            }
            none => {
                lacking.raise(Flag::FocusResponseUnknown);
                if shift.is_none() {
                    lacking.raise(Flag::ImageShiftUnknown);
                }
                *none = Some(Response {
                    coma_m_per_rad: self.coma_m_per_rad.value,
                    image_shift_m_per_rad: shift.unwrap_or(0.0),
                    ..Response::default()
                });
            }
        }
        instrument.camera.rotation_rad = self.rotation_rad.value;
        instrument.camera.mirrored = self.mirrored;
        Ok(lacking)
    }

    /// What the trials left open, as flags of a measurement.
    fn open(&self) -> Flags {
        [
            (Flag::MirrorOpen, Flag::ResponseMirrorOpen),
            (Flag::TrialsDisagree, Flag::ResponseTrialsDisagree),
        ]
        .into_iter()
        .filter(|(learned, _)| self.flags.has(*learned))
        .map(|(_, of_measurement)| of_measurement)
        .collect()
    }
}
