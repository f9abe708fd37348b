//! Claimed uncertainties, judged by the errors: how often these are within so many of them.

use super::report::Judged;
use super::statistics::{quantile, rms};
use serde::Serialize;

/// Claimed uncertainties against errors.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SigmaScore {
    /// Answers with a positive uncertainty.
    pub answers: usize,
    /// RMS of error over it: 1 is honest, more is boastful, less is timid.
    pub pull_rms: f64,
    /// Half of the absolute pulls are smaller; 0.674 is honest.
    pub pull_p50: f64,
    /// Share of errors within one, 0.683 is honest.
    pub within_1: f64,
    /// Share of errors within two, 0.954 is honest.
    pub within_2: f64,
    /// The calibration curve: what share of the errors a normal law has within so many σ, and what share is.
    pub calibration: Vec<CalibrationPoint>,
    /// Largest distance of that curve from the honest one; chance makes about 1/√answers.
    pub calibration_error: f64,
}

/// One point of a calibration curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CalibrationPoint {
    /// Errors within so many claimed σ.
    pub sigmas: f64,
    /// What share of them a normal law has.
    pub share: f64,
    /// What share is.
    pub found: f64,
}

/// Shares of a normal law, and within how many σ of its middle they lie (tables of the error function, from memory).
const LEVELS: [(f64, f64); 11] = [
    (0.1, 0.125_661),
    (0.2, 0.253_347),
    (0.3, 0.385_320),
    (0.4, 0.524_401),
    (0.5, 0.674_490),
    (0.6, 0.841_621),
    (0.7, 1.036_433),
    (0.8, 1.281_552),
    (0.9, 1.644_854),
    (0.95, 1.959_964),
    (0.99, 2.575_829),
];

impl SigmaScore {
    pub(super) fn of(errors: &[Judged]) -> Option<SigmaScore> {
        let pulls: Vec<f64> = errors
            .iter()
            .filter_map(|j| j.sigma.map(|s| (j.error / s).abs()))
            .collect();
        let within = |limit: f64| {
            pulls.iter().filter(|pull| **pull <= limit).count() as f64 / pulls.len() as f64
        };
        let calibration: Vec<CalibrationPoint> = LEVELS
            .iter()
            .map(|(share, sigmas)| CalibrationPoint {
                sigmas: *sigmas,
                share: *share,
                found: within(*sigmas),
            })
            .collect();
        let apart = calibration
            .iter()
            .map(|point| (point.found - point.share).abs());
        let calibration_error = apart.fold(0.0, f64::max);
        Some(SigmaScore {
            calibration,
            calibration_error,
            answers: pulls.len(),
            pull_rms: rms(&pulls)?,
            pull_p50: quantile(&pulls, 0.5)?,
            within_1: within(1.0),
            within_2: within(2.0),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::LEVELS;

    #[test]
    fn the_levels_are_those_of_the_error_function() {
        for (share, sigmas) in LEVELS {
            assert!(
                (libm::erf(sigmas / 2f64.sqrt()) - share).abs() < 1e-6,
                "{share}"
            );
        }
    }
}
