//! Whether a step at the screws helps however the camera may be held.

use super::answers::OrientationAnswer;
use super::carried::carried_vector;
use crate::instrument::Hold;

/// One way things may be: how the camera is held, what a tilt does, and how much that is to be believed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoldCase {
    /// How the camera is held.
    pub hold: Hold,
    /// Coma per tilt, metres RMS per radian.
    pub coma_m_per_rad: f64,
    /// Its weight; all of them together have 1.
    pub weight: f64,
}

/// A tilt of the unit as a frame shows it: it explains what was found, if the camera is held so and a tilt does so much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundTilt {
    /// The tilt, radians, pupil axes of `as_if`.
    pub tilt_rad: [f64; 2],
    /// What it was worked out with.
    pub as_if: HoldCase,
}

impl FoundTilt {
    /// The tilt, pupil axes of another way things may be. What a frame shows is coma in its own axes, so this is exact.
    pub fn in_case(&self, other: &HoldCase) -> [f64; 2] {
        let scale = self.as_if.coma_m_per_rad / other.coma_m_per_rad;
        carried_vector(self.tilt_rad, self.as_if.hold, other.hold).map(|t| scale * t)
    }
}

/// Tilt that is left when another is added, over the tilt before, both as lengths.
fn share_left(tilt_rad: [f64; 2], added: [f64; 2]) -> f64 {
    let left = [0, 1].map(|axis| tilt_rad[axis] + added[axis]);
    left[0].hypot(left[1]) / tilt_rad[0].hypot(tilt_rad[1])
}

/// Whether a tilt that is added takes coma away in every case that counts.
pub fn helps(
    found: &FoundTilt,
    cases: &[HoldCase],
    added_rad: [f64; 2],
    weight_that_counts: f64,
) -> bool {
    let better = |case: &HoldCase| share_left(found.in_case(case), added_rad) < 1.0;
    let counts = |case: &&HoldCase| case.weight > weight_that_counts;
    cases.iter().filter(counts).all(better)
}

/// The cases that the orientations of a frame leave, with what a tilt does as typed.
pub fn cases_of_frame(answers: &[OrientationAnswer], coma_m_per_rad: f64) -> Vec<HoldCase> {
    let case = |answer: &OrientationAnswer| HoldCase {
        hold: answer.hold,
        coma_m_per_rad,
        weight: answer.weight,
    };
    answers.iter().map(case).collect()
}
