//! A doughnut whose camera may be held otherwise than typed: the turns that its shadows speak for are fitted and compared.
//!
//! All ways are tried on one side of focus. The other side needs no fit: by the law of the half turn it is the same picture with the
//! camera half a turn further.

use super::super::doughnut::{
    DoughnutFit, Side, SideFrom, first_guess, is_round, measure_doughnut, on_side,
};
use super::super::fit::{self, Dimension, Fitted, FrameView, Look, Recorded, TrialState, Unknown};
use super::super::picture::CutStar;
use super::super::ring::Ring;
use super::super::settings::MeasureSettings;
use super::answers::{
    OrientationAnswer, OrientationPrior, Tried, answers_of_doughnut, answers_of_prior,
};
use super::carried::{carried, carried_field, carried_vector};
use super::profile::{Candidate, Profile, candidates_by_shadows};
use crate::instrument::{Hold, Instrument, Orientation};
use crate::predict::FWHM_PER_SIGMA;
use crate::predict::PredictError;
use crate::pupil::axes_of;
use crate::state::Modes;
use crate::wavefront::Wavefront;
use std::f64::consts::PI;

/// A doughnut measured, with the camera held as fits best.
pub struct HeldFit {
    /// The fit, in pupil axes of `hold`.
    pub fit: DoughnutFit,
    /// How the camera is held.
    pub hold: Hold,
    /// All ways that fit.
    pub answers: Vec<OrientationAnswer>,
    /// The star with the models that the fit ended with.
    pub view: FrameView,
}

/// What all ways of holding the camera share.
pub struct HoldSearch<'a> {
    /// The star.
    pub star: &'a CutStar,
    /// Its edges.
    pub edges: &'a Ring,
    /// The instrument as typed.
    pub instrument: &'a Instrument,
    /// How it is looked at.
    pub look: Look,
    /// By which numbers.
    pub settings: &'a MeasureSettings,
    /// What is believed beforehand.
    pub prior: OrientationPrior,
}

impl HoldSearch<'_> {
    /// Fits the star with the camera held as typed, as a checked orientation asks for; answers are what that leaves open.
    ///
    /// # Errors
    /// As [`Model::new`](crate::predict::Model::new).
    pub fn as_typed(&self) -> Result<HeldFit, PredictError> {
        let hold = self.prior.typed;
        let mut view = self.view(self.recorded(hold), hold);
        let fit = measure_doughnut(
            &mut view,
            self.edges,
            self.instrument,
            self.prior.side,
            self.settings,
        )?;
        let answers = match fit.side_from {
            SideFrom::Assumed => answers_of_prior(&self.prior),
            _ => answers_of_doughnut(&self.prior, fit.side, &[(hold, 0.0)]),
        };
        Ok(HeldFit {
            fit,
            hold,
            answers,
            view,
        })
    }

    /// Fits the star with the camera held in the ways that its shadows speak for, and says how much each is to be believed.
    ///
    /// # Errors
    /// As [`Model::new`](crate::predict::Model::new).
    pub fn any_way(&self) -> Result<HeldFit, PredictError> {
        if self.prior.known == Some(Orientation::Known) {
            return self.as_typed();
        }
        let side = self.prior.side.unwrap_or(Side::Outside);
        let found = match is_round(self.instrument) {
            true => Vec::new(),
            false => self.candidates(side),
        };
        let at_most = self.settings.orientation.tried_at_most;
        if found.is_empty() || found.len() > at_most {
            // no shadow is seen: every turn of the camera fits
            let typed = self.as_typed()?;
            let answers = answers_of_prior(&self.prior);
            return Ok(match self.prior.has_cards() {
                true => {
                    let side = typed.fit.side;
                    self.told_as_heaviest(typed, side, answers)
                }
                false => HeldFit { answers, ..typed },
            });
        }
        let first = self.first_to_fit(&found);
        let mut best = self.fitted(first.hold, side)?;
        let mut tried: Vec<Tried> = vec![(best.hold, 0.0)];
        let mut reference = None;
        for other in found.iter().filter(|c| c.hold != first.hold) {
            let here = match reference {
                Some(here) => here,
                None => self.sum_near(&best, best.hold)?.2,
            };
            reference = Some(here);
            let (trial, hold, there) = self.sum_near(&best, other.hold)?;
            let worse = (there - here) / best.fit.fitted.chi_square.max(1.0);
            if worse < -self.settings.orientation.better_chi_square {
                best = self.finished(trial, hold, side)?;
                reference = None;
                tried.iter_mut().for_each(|t| t.1 -= worse);
                tried.push((best.hold, 0.0));
            } else {
                tried.push((hold, worse));
            }
        }
        let answers = answers_of_doughnut(&self.prior, side, &tried);
        Ok(self.told_as_heaviest(best, side, answers))
    }

    /// The typed hold (or, where the side was not told, its twin) if shadows speak for it, else the one they speak for most.
    fn first_to_fit(&self, candidates: &[Candidate]) -> Candidate {
        let typed = self.prior.typed;
        let twin = self.prior.side.is_none().then(|| typed.turned(PI));
        let within = self.settings.orientation.apart_rad;
        let as_typed = candidates.iter().find(|candidate| {
            let mut likely = [Some(typed), twin].into_iter().flatten();
            likely.any(|hold| candidate.hold.is_near(hold, within))
        });
        *as_typed.unwrap_or(&candidates[0])
    }

    fn candidates(&self, side: Side) -> Vec<Candidate> {
        let hold = self.prior.typed;
        let recorded = self.recorded(hold);
        let field_m = recorded.field_m;
        let mut view = self.view(recorded, hold);
        let views = std::slice::from_mut(&mut view);
        let guess = first_guess(views, self.edges, side, self.instrument, self.settings);
        let at = |unknown| guess.get(unknown).unwrap_or(0.0);
        let offset_m = at(Unknown::SensorOffset(0));
        // only the chromatic focus depends on it
        const MIDDLE_M: f64 = 550e-9;
        let wavefront = Wavefront::new(
            &self.instrument.telescope,
            &guess.modes(),
            offset_m,
            MIDDLE_M,
            axes_of(hold),
        );
        let place_px = [at(Unknown::Place(0, 0)), at(Unknown::Place(0, 1))];
        let seen = Profile::of_picture(&self.star.light_adu, place_px, self.instrument, &wavefront);
        candidates_by_shadows(
            &seen,
            self.instrument,
            field_m,
            self.blur_rad(),
            &self.settings.orientation,
        )
    }

    /// Azimuth by which atmosphere and pixels blur a shadow, standard deviation, radians.
    fn blur_rad(&self) -> f64 {
        let camera = &self.instrument.camera;
        let seeing_m =
            self.settings.fit.prior.seeing_rad * self.instrument.telescope.focal_length_m;
        let blur_px = seeing_m / camera.pixel_m / FWHM_PER_SIGMA + 0.5;
        let outer = self.edges.outer_radius_px;
        let middle_px = 0.5 * (outer + self.edges.inner_radius_px.unwrap_or(0.0));
        blur_px / middle_px.max(1.0)
    }

    /// The recorded star with its place in the field as this hold has it.
    fn recorded(&self, hold: Hold) -> Recorded {
        let as_typed = self.star.recorded.field_m;
        Recorded {
            field_m: carried_field(as_typed, self.prior.typed, hold),
            ..self.star.recorded.clone()
        }
    }

    fn view(&self, recorded: Recorded, hold: Hold) -> FrameView {
        FrameView::new(0, recorded, &self.instrument.held(hold), self.look)
    }

    /// Fits from the edges with the camera near a hold.
    fn fitted(&self, hold: Hold, side: Side) -> Result<HeldFit, PredictError> {
        let held = self.instrument.held(hold);
        let mut view = self.view(self.recorded(hold), hold);
        let fitted = on_side(
            &mut view,
            self.edges,
            &held,
            side,
            self.settings,
            &[Dimension::CameraTurn],
        )?;
        Ok(self.held_fit(fitted, hold, side, view))
    }

    /// Fits to the end from a trial that came near.
    fn finished(&self, trial: TrialState, hold: Hold, side: Side) -> Result<HeldFit, PredictError> {
        let held = self.instrument.held(hold);
        let mut view = self.view(self.recorded(hold), hold);
        let views = std::slice::from_mut(&mut view);
        let fitted = fit::finish(views, trial, &held, &self.settings.fit)?;
        Ok(self.held_fit(fitted, hold, side, view))
    }

    fn held_fit(&self, fitted: Fitted, hold: Hold, side: Side, view: FrameView) -> HeldFit {
        let turn = fitted.get(Unknown::Dimension(Dimension::CameraTurn));
        HeldFit {
            hold: hold.turned(turn.map_or(0.0, |t| t.0)),
            fit: DoughnutFit {
                fitted,
                side,
                side_from: SideFrom::Assumed,
            },
            answers: Vec::new(),
            view,
        }
    }

    /// The best fit carried over to a hold and let go a little from there, in the same pixels and with few wavelengths: where it comes to,
    /// how the camera then is held, and the sum of squares that is left.
    fn sum_near(
        &self,
        best: &HeldFit,
        hold: Hold,
    ) -> Result<(TrialState, Hold, f64), PredictError> {
        let own = &self.settings.fit;
        let held = self.instrument.held(hold);
        let start = carried_trial(&best.fit.fitted.trial, best.hold, hold);
        let recorded = Recorded {
            field_m: self.recorded(hold).field_m,
            ..best.view.recorded.clone()
        };
        let mut views = [self.view(recorded, hold)];
        let (trial, _) = fit::approach(&mut views, start, &held, own, own.near)?;
        let sum = fit::sum_of_squares(&mut views, &trial, &held, own)?;
        let turn = trial
            .get(Unknown::Dimension(Dimension::CameraTurn))
            .unwrap_or(0.0);
        Ok((trial, hold.turned(turn), sum))
    }

    /// The fit in pupil axes of the heaviest answer: that may be the twin of the way that was fitted, or its mirror image.
    fn told_as_heaviest(
        &self,
        best: HeldFit,
        side: Side,
        answers: Vec<OrientationAnswer>,
    ) -> HeldFit {
        let heaviest = answers.first().copied();
        let (hold, on) = heaviest.map_or((best.hold, side), |a| (a.hold, a.side.unwrap_or(side)));
        let others: f64 = answers
            .iter()
            .filter(|answer| answer.side != Some(on))
            .map(|answer| answer.weight)
            .sum();
        let side_from = match self.prior.side {
            Some(told) if told == on => SideFrom::Told,
            _ if others < self.settings.orientation.weight_that_counts => SideFrom::Vanes,
            _ => SideFrom::Assumed,
        };
        let fitted = match on == side {
            true => carried_fit(best.fit.fitted, best.hold, hold),
            false => {
                let twin = best.fit.fitted.with_wavefront_negated();
                carried_fit(twin, best.hold.turned(PI), hold)
            }
        };
        HeldFit {
            fit: DoughnutFit {
                fitted,
                side: on,
                side_from,
            },
            hold,
            answers,
            view: best.view,
        }
    }
}

/// A fit in the pupil axes of another hold, its modes and their covariance with it: the wavefront stays where it is in the frame.
fn carried_fit(mut fitted: Fitted, from: Hold, to: Hold) -> Fitted {
    if from == to {
        return fitted;
    }
    let unknowns = &fitted.trial.unknowns;
    let change = change_of_axes(unknowns, from, to);
    let times =
        |row: &[f64], vector: &[f64]| -> f64 { row.iter().zip(vector).map(|(a, b)| a * b).sum() };
    fitted.trial.values = change
        .iter()
        .map(|row| times(row, &fitted.trial.values))
        .collect();
    turn_strip(&mut fitted.trial, from, to);
    // M·C·Mᵀ: rows of C are its columns
    let half: Vec<Vec<f64>> = change
        .iter()
        .map(|row| {
            fitted
                .covariance
                .iter()
                .map(|column| times(row, column))
                .collect()
        })
        .collect();
    fitted.covariance = half
        .iter()
        .map(|row| change.iter().map(|other| times(other, row)).collect())
        .collect();
    for (at, sigma) in fitted.sigmas.iter_mut().enumerate() {
        let unknown = fitted.trial.unknowns[at];
        if sigma.is_some() && matches!(unknown, Unknown::Mode(_) | Unknown::Dimension(_)) {
            *sigma = Some(fitted.covariance[at][at].max(0.0).sqrt());
        }
    }
    fitted
}

/// What a unit of each unknown becomes in the pupil axes of another hold, in which everything stays where it is in the frame: element
/// `[to][from]`, in the order of the unknowns.
fn change_of_axes(unknowns: &[Unknown], from: Hold, to: Hold) -> Vec<Vec<f64>> {
    let count = unknowns.len();
    let mut change = vec![vec![0.0; count]; count];
    let row_of = |unknown: Unknown| unknowns.iter().position(|other| *other == unknown);
    for (column, unknown) in unknowns.iter().enumerate() {
        if let Unknown::Mode(noll) = unknown {
            let alone: Modes = [(*noll, 1.0)].into_iter().collect();
            let becomes = carried(&alone, from, to);
            for (row, other) in unknowns.iter().enumerate() {
                if let Unknown::Mode(other) = other {
                    change[row][column] = becomes.get(*other);
                }
            }
            continue;
        }
        let pair = VECTORS.iter().find_map(|vector| {
            let own = vector.map(Unknown::Dimension);
            let axis = own.iter().position(|other| other == unknown)?;
            Some((axis, [row_of(own[0])?, row_of(own[1])?]))
        });
        if let Some((axis, rows)) = pair {
            let alone = [0, 1].map(|other| if other == axis { 1.0 } else { 0.0 });
            let becomes = carried_vector(alone, from, to);
            rows.iter()
                .zip(becomes)
                .for_each(|(row, value)| change[*row][column] = value);
            continue;
        }
        let turns = matches!(
            unknown,
            Unknown::Dimension(Dimension::VaneTurn(_) | Dimension::StripAzimuth)
        );
        let mirrored = from.mirrored != to.mirrored;
        change[column][column] = if turns && mirrored { -1.0 } else { 1.0 };
    }
    change
}

/// Dimensions that are the two parts of a vector of the pupil.
const VECTORS: [[Dimension; 2]; 2] = [
    [Dimension::ObstructionX, Dimension::ObstructionY],
    [Dimension::CutX, Dimension::CutY],
];

/// Where azimuth 0 comes to is added to the azimuth of a strip, whose sense has been changed already.
fn turn_strip(trial: &mut TrialState, from: Hold, to: Hold) {
    let strip = Unknown::Dimension(Dimension::StripAzimuth);
    if let Some(azimuth) = trial.get(strip) {
        let [x, y] = carried_vector([1.0, 0.0], from, to);
        trial.set(strip, azimuth + libm::atan2(y, x));
    }
}

/// A trial for another hold of the camera: the wavefront stays where it is in the frame, and the camera is not turned any further.
fn carried_trial(trial: &TrialState, from: Hold, to: Hold) -> TrialState {
    let mut other = trial.clone();
    let change = change_of_axes(&trial.unknowns, from, to);
    let modes = carried(&trial.modes(), from, to);
    for (at, unknown) in trial.unknowns.iter().enumerate() {
        let with_others = || change[at].iter().zip(&trial.values).map(|(c, v)| c * v);
        other.values[at] = match unknown {
            Unknown::Mode(noll) => modes.get(*noll),
            Unknown::Dimension(Dimension::CameraTurn) => 0.0,
            _ => with_others().sum(),
        };
    }
    turn_strip(&mut other, from, to);
    other
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::FRAC_PI_2;

    /// An edge that cuts in from pupil +x with the camera at 0 degrees cuts in from the frame's +x; with the camera a quarter turn further the
    /// frame's +x is pupil +y. In a mirrored frame +x is pupil −x.
    #[test]
    fn what_sits_aside_stays_where_it_is_in_the_frame() {
        let hold = |rotation_rad, mirrored| Hold {
            rotation_rad,
            mirrored,
        };
        let dimensions = [Dimension::CutX, Dimension::CutY, Dimension::StripAzimuth];
        let trial = TrialState {
            unknowns: dimensions.map(Unknown::Dimension).to_vec(),
            values: vec![2.0, 0.0, 0.3],
            fixed: Modes::none(),
        };
        for (to, expected) in [
            (hold(FRAC_PI_2, false), [0.0, 2.0, 0.3 + FRAC_PI_2]),
            (hold(0.0, true), [-2.0, 0.0, PI - 0.3]),
        ] {
            let other = carried_trial(&trial, hold(0.0, false), to);
            for (found, expected) in other.values.iter().zip(expected) {
                assert!((found - expected).abs() < 1e-12, "{found} {expected}");
            }
        }
    }
}
