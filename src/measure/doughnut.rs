//! A defocused star without a mask: from its edges to a first guess, from there to modes by the whole model.
//!
//! The wavefronts W(x) and −W(−x) give the same picture when half a turn does not change the pupil: one frame then leaves open on
//! which side of focus it was taken, and with it the sign of the even modes (defocus, astigmatism, spherical aberration). Odd
//! modes (coma) come out the same on either side. Where the owner does not tell the side and half a turn does change the pupil,
//! as with three vanes or an obstruction that sits aside, both sides are fitted and compared.

use super::fit::{self, Dimension, Fitted, FrameView, TrialState, Unknown};
use super::ring::Ring;
use super::settings::MeasureSettings;
use crate::axes::FrameM;
use crate::geometry::Frame2;
use crate::instrument::{Instrument, ObstructionShape, Vane};
use crate::predict::{PredictError, dark_shift_per_coma, doughnut};
use crate::pupil::frame_axes;
use crate::state::{Coma, State};
use crate::wavefront::Wavefront;
use serde::{Deserialize, Serialize};
use std::f64::consts::{PI, TAU};

/// On which side of focus a frame was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// The sensor short of focus.
    Inside,
    /// The sensor beyond focus.
    Outside,
}

impl Side {
    /// Sign of the sensor offset.
    pub fn sign(self) -> f64 {
        match self {
            Side::Inside => -1.0,
            Side::Outside => 1.0,
        }
    }

    /// Its name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Side::Inside => "inside",
            Side::Outside => "outside",
        }
    }

    /// The other one.
    pub fn other(self) -> Side {
        match self {
            Side::Inside => Side::Outside,
            Side::Outside => Side::Inside,
        }
    }
}

/// Where the sign of the even modes comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SideFrom {
    /// It was told.
    Told,
    /// The pupil changes when it is turned by half a turn, as by an odd number of vanes, and the frame shows which way round it is.
    Vanes,
    /// Nothing says it: outside was assumed.
    Assumed,
}

impl SideFrom {
    /// Its name in reports.
    pub fn name(self) -> &'static str {
        match self {
            SideFrom::Told => "told",
            SideFrom::Vanes => "vanes",
            SideFrom::Assumed => "assumed",
        }
    }
}

/// Noll indices of the modes that every star is fitted with: astigmatism, coma, trefoil, primary spherical aberration. Defocus is
/// fitted as the sensor offset.
pub(super) const FREE_MODES: std::ops::RangeInclusive<u32> = 5..=11;

/// A doughnut measured.
#[derive(Debug, Clone)]
pub struct DoughnutFit {
    /// What the fit found.
    pub fitted: Fitted,
    /// On which side of focus.
    pub side: Side,
    /// Who says so.
    pub side_from: SideFrom,
}

/// Fits one doughnut.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn measure_doughnut(
    view: &mut FrameView,
    ring: &Ring,
    instrument: &Instrument,
    told: Option<Side>,
    settings: &MeasureSettings,
) -> Result<DoughnutFit, PredictError> {
    let mut other_view = view.afresh();
    let side = told.unwrap_or(Side::Outside);
    let fitted = on_side(view, ring, instrument, side, settings, &[])?;
    let first = DoughnutFit {
        fitted,
        side,
        side_from: told.map_or(SideFrom::Assumed, |_| SideFrom::Told),
    };
    if told.is_some() || looks_same_from_both_ends(instrument) {
        return Ok(first);
    }
    let other = on_side(
        &mut other_view,
        ring,
        instrument,
        side.other(),
        settings,
        &[],
    )?;
    // each fit left out other pixels and weighed the dark ones anew: both must agree on which is better
    let spread = first.fitted.chi_square.min(other.chi_square).max(1.0);
    let limit = settings.doughnut.other_side_chi_square * spread;
    let mut by: Vec<f64> = Vec::new();
    for view in [view, &mut other_view] {
        let views = std::slice::from_mut(view);
        let mut sum = |trial| fit::sum_of_squares(views, trial, instrument, &settings.fit);
        by.push(sum(&first.fitted.trial)? - sum(&other.trial)?);
    }
    if by.iter().all(|by| *by > limit) {
        return Ok(DoughnutFit {
            fitted: other,
            side: side.other(),
            side_from: SideFrom::Vanes,
        });
    }
    let side_from = match by.iter().all(|by| *by < -limit) {
        true => SideFrom::Vanes,
        false => SideFrom::Assumed,
    };
    Ok(DoughnutFit { side_from, ..first })
}

/// Fits one doughnut on one side of focus; these dimensions are freed at the end too.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub(super) fn on_side(
    view: &mut FrameView,
    ring: &Ring,
    instrument: &Instrument,
    side: Side,
    settings: &MeasureSettings,
    freed: &[Dimension],
) -> Result<Fitted, PredictError> {
    let views = std::slice::from_mut(view);
    // dimensions are freed last: each change of one costs a new pupil
    let start = first_guess(views, ring, side, instrument, settings);
    let mut near = approached(views, start, instrument, settings)?;
    for dimension in freed {
        near.push(Unknown::Dimension(*dimension), dimension.neutral());
    }
    if instrument.telescope.obstruction.is_some() {
        let size = Dimension::ObstructionSize;
        near.push(Unknown::Dimension(size), size.neutral());
    }
    fit::finish(views, near, instrument, &settings.fit)
}

/// Goes from the first guess towards the minimum; where that fails, from other guesses of coma too.
fn approached(
    views: &mut [FrameView],
    start: TrialState,
    instrument: &Instrument,
    settings: &MeasureSettings,
) -> Result<TrialState, PredictError> {
    let (own, fit) = (&settings.doughnut, &settings.fit);
    let best = fit::approach(views, start.clone(), instrument, fit, fit.far)?;
    if best.1 < own.good_start_per_px {
        return Ok(best.0);
    }
    let mut best = best;
    let coma = [8, 7].map(|noll| start.get(Unknown::Mode(noll)).unwrap_or(0.0));
    for guess in own.other_comas {
        let (sin, cos) = (libm::sin(guess.turn_rad), libm::cos(guess.turn_rad));
        let size = guess.size_factor;
        let mut other = start.clone();
        other.set(Unknown::Mode(8), size * (cos * coma[0] - sin * coma[1]));
        other.set(Unknown::Mode(7), size * (sin * coma[0] + cos * coma[1]));
        let found = fit::approach(views, other, instrument, fit, fit.attempt)?;
        if found.1 < best.1 {
            best = found;
        }
        if best.1 < own.good_start_per_px {
            return Ok(best.0);
        }
    }
    Ok(fit::approach(views, best.0, instrument, fit, fit.far)?.0)
}

/// Fits two doughnuts of the same telescope together; an obstruction that sits aside is then told from coma.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn measure_pair(
    views: &mut [FrameView],
    rings: [&Ring; 2],
    instrument: &Instrument,
    told: Option<Side>,
    settings: &MeasureSettings,
) -> Result<DoughnutFit, PredictError> {
    let fit = &settings.fit;
    let sides: Vec<Side> = match told {
        Some(side) => vec![side],
        None if looks_same_from_both_ends(instrument) => vec![Side::Outside],
        None => vec![Side::Outside, Side::Inside],
    };
    let dimensions = [
        Dimension::ObstructionSize,
        Dimension::ObstructionX,
        Dimension::ObstructionY,
    ];
    let mut tried: Vec<(Side, TrialState, f64)> = Vec::new();
    for first in sides {
        for second in [first.other(), first] {
            let sides = [(rings[0], first), (rings[1], second)];
            let start = start(views, &sides, instrument, &dimensions, settings);
            let (trial, sum) = fit::approach(views, start, instrument, fit, fit.far)?;
            tried.push((first, trial, sum));
        }
    }
    tried.sort_by(|a, b| a.2.total_cmp(&b.2));
    let (side, near, sum) = tried.first().cloned().ok_or(PredictError::Dark)?;
    let of_other = tried.iter().find(|t| t.0 != side).map(|t| t.2);
    let ruled_out = settings.doughnut.other_side_of_pair_factor * sum;
    let side_from = match (told, of_other) {
        (Some(_), _) => SideFrom::Told,
        (None, Some(other)) if other > ruled_out => SideFrom::Vanes,
        _ => SideFrom::Assumed,
    };
    Ok(DoughnutFit {
        fitted: fit::finish(views, near, instrument, fit)?,
        side,
        side_from,
    })
}

/// Whether half a turn leaves the pupil as it is.
fn looks_same_from_both_ends(instrument: &Instrument) -> bool {
    let telescope = &instrument.telescope;
    let aside = telescope
        .obstruction
        .as_ref()
        .is_some_and(|o| o.offset_m != [0.0; 2]);
    !aside && telescope.field.vignetting.is_none() && vanes_are_opposite(&telescope.vanes)
}

/// Whether nothing in the pupil depends on direction.
pub(super) fn is_round(instrument: &Instrument) -> bool {
    let telescope = &instrument.telescope;
    let square = telescope.obstruction.as_ref();
    let square = square.is_some_and(|o| o.shape == ObstructionShape::Square);
    !square && telescope.vanes.is_empty() && looks_same_from_both_ends(instrument)
}

/// Whether each vane has another one opposite: half a turn leaves their shadows where they are.
fn vanes_are_opposite(vanes: &[Vane]) -> bool {
    /// Angles in radians and lengths in metres that differ by less are the same, typed in different words.
    const SAME: f64 = 1e-9;
    let opposite = |a: &Vane, b: &Vane| {
        let apart = (a.azimuth_rad - b.azimuth_rad).rem_euclid(TAU);
        (apart - PI).abs() < SAME
            && [
                a.width_m - b.width_m,
                a.offset_m - b.offset_m,
                a.inner_radius_m - b.inner_radius_m,
                a.outer_radius_m - b.outer_radius_m,
            ]
            .iter()
            .all(|differs| differs.abs() < SAME)
    };
    vanes
        .iter()
        .all(|vane| vanes.iter().any(|other| opposite(vane, other)))
}

/// A first guess of one doughnut from its edges.
pub(super) fn first_guess(
    views: &[FrameView],
    ring: &Ring,
    side: Side,
    instrument: &Instrument,
    settings: &MeasureSettings,
) -> TrialState {
    start(views, &[(ring, side)], instrument, &[], settings)
}

/// A first guess from the edges.
fn start(
    views: &[FrameView],
    rings: &[(&Ring, Side)],
    instrument: &Instrument,
    dimensions: &[Dimension],
    settings: &MeasureSettings,
) -> TrialState {
    let mut trial = TrialState {
        unknowns: Vec::new(),
        values: Vec::new(),
        fixed: instrument.telescope.design.clone(),
    };
    let guesses: Vec<Guess> = rings
        .iter()
        .map(|(ring, side)| Guess::new(ring, *side, instrument))
        .collect();
    for (v, (view, guess)) in views.iter().zip(&guesses).enumerate() {
        trial.push(Unknown::Place(v, 0), guess.place_px[0]);
        trial.push(Unknown::Place(v, 1), guess.place_px[1]);
        trial.push(Unknown::SensorOffset(v), guess.offset_m);
        trial.push(Unknown::Seeing(v), libm::log(settings.fit.prior.seeing_rad));
        trial.push(Unknown::Slope(v, 0), 0.0);
        trial.push(Unknown::Slope(v, 1), 0.0);
        for p in 0..view.planes() {
            trial.push(Unknown::Flux(v, p), view.light_e(p));
            trial.push(Unknown::Background(v, p), 0.0);
        }
    }
    let mean = |of: &dyn Fn(&Guess) -> f64| {
        guesses.iter().map(of).sum::<f64>() / guesses.len().max(1) as f64
    };
    for noll in FREE_MODES {
        let value = match noll {
            5 => mean(&|g| g.astigmatism_m[1]),
            6 => mean(&|g| g.astigmatism_m[0]),
            7 | 8 => mean(&|g| g.coma.modes().get(noll)),
            other => instrument.telescope.design.get(other),
        };
        trial.push(Unknown::Mode(noll), value);
    }
    for dimension in dimensions {
        let there = instrument.telescope.obstruction.is_some();
        if there {
            trial.push(Unknown::Dimension(*dimension), dimension.neutral());
        }
    }
    trial
}

/// What the edges of one doughnut say.
struct Guess {
    place_px: [f64; 2],
    offset_m: f64,
    coma: Coma,
    /// Noll 6 and 5.
    astigmatism_m: [f64; 2],
}

impl Guess {
    fn new(ring: &Ring, side: Side, instrument: &Instrument) -> Self {
        let (telescope, camera) = (&instrument.telescope, &instrument.camera);
        let (frame, ratio) = (frame_axes(instrument), telescope.focal_ratio());
        let offset_m =
            side.sign() * ring.outer_radius_px * camera.pixel_m / rim_tangent(instrument);
        let obstruction = telescope.obstruction_ratio();
        let known = telescope.obstruction.as_ref().map_or([0.0; 2], |o| {
            frame.forward(o.offset_m.map(|d| -offset_m * d / telescope.focal_length_m))
        });
        let coma = ring.dark_shift_px().map_or([0.0; 2], |shift| {
            let by_coma = [0, 1].map(|axis| shift[axis] * camera.pixel_m - known[axis]);
            let per_m = dark_shift_per_coma(ratio, obstruction);
            frame.backward(by_coma).map(|s| s / per_m)
        });
        let per_m = 4.0 * 6f64.sqrt() * ratio * side.sign();
        let astigmatism_m = turned_twice(ring.oval_px, &frame).map(|a| a * camera.pixel_m / per_m);
        let mut guess = Guess {
            place_px: ring.outer_centre_px.xy(),
            offset_m,
            coma: Coma::along_axes(coma),
            astigmatism_m,
        };
        if let Some(outer_m) = guess.traced_outer_centre_m(instrument) {
            let moved = outer_m.in_pixels(camera.pixel_m);
            guess.place_px = [0, 1].map(|axis| guess.place_px[axis] - moved[axis]);
        }
        guess
    }

    /// Centre of the outer edge that rays of the guess make, from the star's place, metres in frame axes; `None` where rays
    /// cross or diffraction is wider than the ring.
    fn traced_outer_centre_m(&self, instrument: &Instrument) -> Option<FrameM> {
        let modes = self.coma.modes();
        let wavelength_m = 550e-9; // only says what is too small to be a ring
        let frame = frame_axes(instrument);
        let telescope = &instrument.telescope;
        let wavefront = Wavefront::new(telescope, &modes, self.offset_m, wavelength_m, frame);
        let edges = doughnut(instrument, &State::default(), &wavefront, wavelength_m)?;
        Some(edges.outer_centre_m)
    }
}

/// Tangent of the angle between the axis and the ray from the rim of the aperture to focus: by it a doughnut's radius grows with the
/// sensor offset.
fn rim_tangent(instrument: &Instrument) -> f64 {
    let telescope = &instrument.telescope;
    let height = telescope.aperture_radius_m();
    let sine =
        Wavefront::radial_map(telescope).forward([height, 0.0])[0] / telescope.focal_length_m;
    sine / (1.0 - sine * sine).sqrt()
}

/// Amplitudes of cos 2θ and sin 2θ in frame axes → the same in pupil axes.
fn turned_twice(amplitudes: [f64; 2], frame: &Frame2) -> [f64; 2] {
    let size = amplitudes[0].hypot(amplitudes[1]);
    let direction = 0.5 * libm::atan2(amplitudes[1], amplitudes[0]);
    let [x, y] = frame.backward([libm::cos(direction), libm::sin(direction)]);
    let doubled = 2.0 * libm::atan2(y, x);
    [size * libm::cos(doubled), size * libm::sin(doubled)]
}
