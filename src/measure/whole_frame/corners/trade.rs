//! What turning the unit's screws would make of the middle and of the corners: seen and told, never decided alone.
//!
//! A tilt of the unit adds coma everywhere, leans the focal plane and adds astigmatism that grows with the field, all by the response. Where
//! these were found to be wrong together, whatever the cause, some tilt is best for the worst corner; it may cost the middle. Sizes are
//! half-flux diameters by rays, in focus, under the blur of the frame.

use super::super::FieldOfFrame;
use super::super::rays::FieldRays;
use super::fit::{
    BLUR, COMA, FieldFit, FieldModel, FieldValues, HALO, LINEAR, OFFSET, Place, SLOPE,
};
use super::rays::Light;
use crate::axes::{FieldM, FramePx};
use crate::instrument::Response;
use crate::mechanics::rigid::away_is_outside;
use crate::pupil::to_field;
use crate::state::Modes;
use crate::units::ARCMIN;
use serde::Serialize;

/// What the best tilt of the unit trades.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trade {
    /// Tilt to add to the unit, pupil axes.
    pub tilt_arcmin: [f64; 2],
    /// Half-flux diameter of a star in the middle, in focus: now, and after the turns.
    pub middle_px: [f64; 2],
    /// The same of the worst of the four corners.
    pub worst_corner_px: [f64; 2],
    /// The four corners now, counter-clockwise from the bottom left.
    pub corners_px: [f64; 4],
    /// The four corners after the turns.
    pub corners_after_px: [f64; 4],
    /// The same of the worst corner of the aligned telescope.
    pub aligned_corner_px: f64,
    /// Whether the corners gain more than can be doubted, and the middle loses no more than is allowed.
    pub worth_it: bool,
    /// In a sentence.
    pub words: String,
}

/// The middle may grow by this share.
const MIDDLE_MAY_LOSE: f64 = 0.05;
/// The worst corner must shrink by this share for a turn to be worth its risk.
const CORNER_MUST_GAIN: f64 = 0.05;
/// And the tilt must be this many standard deviations from none.
const TILT_SEEN_SIGMA: f64 = 3.0;
/// Rays of each star.
const RAYS: usize = 700;
/// Rounds of the search, each with half of the step before.
const ROUNDS: usize = 9;
/// Half-flux diameter of a normal spread over its standard deviation.
const DIAMETER_OF_BLUR: f64 = 2.354_820_045;

/// How much a halo widens the half-flux circle: 8 % in diameter for Kolmogorov's law (summed from the two Gaussians).
const HALO_WIDENS: f64 = 0.6;

pub(super) struct Stars<'a> {
    model: &'a FieldModel,
    rays: FieldRays,
    design: &'a Modes,
    middle: Place,
    corners: [Place; 4],
    pixel_m: f64,
}

/// Sizes in pixels: the middle, then the corners.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sizes {
    pub middle: f64,
    pub corners: [f64; 4],
}

impl Sizes {
    pub fn worst(&self) -> f64 {
        self.corners.iter().copied().fold(0.0, f64::max)
    }
}

/// Works out the best tilt and what it trades; `None` without a response.
pub(super) fn trade(field: &FieldOfFrame<'_>, model: &FieldModel, fit: &FieldFit) -> Option<Trade> {
    let response = field.instrument.assembly.as_ref()?.response.as_ref()?;
    let stars = Stars::of(field, model);
    let mut in_focus = fit.values;
    in_focus[OFFSET] = 0.0;
    let now = stars.sizes(&in_focus);
    let cost = |tilt: [f64; 2]| {
        let after = stars.sizes(&tilted(&in_focus, response, tilt));
        let lost = (after.middle / now.middle - 1.0 - MIDDLE_MAY_LOSE).max(0.0);
        after.worst() * (1.0 + 20.0 * lost)
    };
    let (tilt, _) = best(starts(fit, response), &cost);
    let after = stars.sizes(&tilted(&in_focus, response, tilt));
    let mut aligned = [0.0; super::fit::COUNT];
    aligned[BLUR] = fit.values[BLUR];
    aligned[HALO] = fit.values[HALO];
    let worst = [now.worst(), after.worst()];
    let seen = tilt[0].hypot(tilt[1]) > TILT_SEEN_SIGMA * tilt_sigma(fit, response);
    let corner_gains = worst[1] < (1.0 - CORNER_MUST_GAIN) * worst[0];
    let middle_gains = after.middle < (1.0 - CORNER_MUST_GAIN) * now.middle && worst[1] <= worst[0];
    let gains = corner_gains || middle_gains;
    let keeps = after.middle <= (1.0 + MIDDLE_MAY_LOSE + 1e-3) * now.middle;
    let leans = response.sensor_tilt_per_tilt != 0.0 && fit.sign_open && slope_counts(fit);
    let worth_it = seen && gains && keeps && !leans;
    let middle = [now.middle, after.middle];
    Some(Trade {
        tilt_arcmin: tilt.map(|t| t / ARCMIN),
        middle_px: middle,
        worst_corner_px: worst,
        corners_px: now.corners,
        corners_after_px: after.corners,
        aligned_corner_px: stars.sizes(&aligned).worst(),
        worth_it,
        words: said(middle, worst, worth_it, gains && leans),
    })
}

/// Whether a slope of the focal plane was seen at all.
fn slope_counts(fit: &FieldFit) -> bool {
    [SLOPE, SLOPE + 1]
        .iter()
        .any(|k| fit.values[*k].abs() > 3.0 * fit.covariance[*k][*k].sqrt())
}

fn said(middle: [f64; 2], worst: [f64; 2], worth_it: bool, side_is_wanted: bool) -> String {
    let sizes = format!(
        "middle {:.1} to {:.1} px, worst corner {:.1} to {:.1} px",
        middle[0], middle[1], worst[0], worst[1]
    );
    if worth_it {
        format!(
            "What the turn below makes of the stars: {sizes}. If the middle matters more to you than the corners, leave the screws as they are."
        )
    } else if side_is_wanted {
        format!(
            "The screws might trade ({sizes}), but this frame leaves open which way the sensor leans: say on which side of focus it was taken (--side), or take it a little to one side."
        )
    } else {
        format!("Turning the screws gains nothing that is worth it ({sizes}): leave them.")
    }
}

pub(super) fn tilted(values: &FieldValues, response: &Response, tilt: [f64; 2]) -> FieldValues {
    let mut after = *values;
    for axis in [0, 1] {
        after[SLOPE + axis] +=
            away_is_outside(response) * response.sensor_tilt_per_tilt * tilt[axis];
        after[COMA + axis] += response.coma_m_per_rad * tilt[axis];
        after[LINEAR + axis] += response.astigmatism_m_per_rad_m * tilt[axis];
    }
    after
}

/// Tilts from which the search starts: none, those that would undo the coma or the lean, and halfway.
fn starts(fit: &FieldFit, response: &Response) -> Vec<[f64; 2]> {
    let per_slope = away_is_outside(response) * response.sensor_tilt_per_tilt;
    let mut starts = vec![[0.0; 2]];
    for (first, per) in [(COMA, response.coma_m_per_rad), (SLOPE, per_slope)] {
        if per != 0.0 {
            let whole = [0, 1].map(|axis| -fit.values[first + axis] / per);
            starts.extend([whole, whole.map(|t| 0.5 * t)]);
        }
    }
    starts
}

/// Standard deviation of a tilt, by what shows it best.
fn tilt_sigma(fit: &FieldFit, response: &Response) -> f64 {
    let sigma = |k: usize| {
        fit.covariance[k][k]
            .max(fit.covariance[k + 1][k + 1])
            .sqrt()
    };
    let by = |k: usize, per: f64| {
        if per == 0.0 {
            f64::INFINITY
        } else {
            sigma(k) / per.abs()
        }
    };
    by(COMA, response.coma_m_per_rad).min(by(SLOPE, response.sensor_tilt_per_tilt))
}

/// The cheapest place near the cheapest start: a compass search.
fn best(starts: Vec<[f64; 2]>, cost: &dyn Fn([f64; 2]) -> f64) -> ([f64; 2], f64) {
    let widest = starts
        .iter()
        .map(|t| t[0].hypot(t[1]))
        .fold(0.3 * ARCMIN, f64::max);
    let mut here = ([0.0; 2], f64::INFINITY);
    for start in starts {
        let found = cost(start);
        if found < here.1 {
            here = (start, found);
        }
    }
    let mut step = 0.5 * widest;
    for _ in 0..ROUNDS {
        loop {
            let around = [
                [1.0, 0.0],
                [-1.0, 0.0],
                [0.0, 1.0],
                [0.0, -1.0],
                [0.7, 0.7],
                [-0.7, 0.7],
                [0.7, -0.7],
                [-0.7, -0.7],
            ];
            let near = around.map(|[x, y]| {
                let tilt = [here.0[0] + step * x, here.0[1] + step * y];
                (tilt, cost(tilt))
            });
            let least = near.into_iter().min_by(|a, b| a.1.total_cmp(&b.1));
            match least {
                Some(least) if least.1 < here.1 * (1.0 - 1e-4) => here = least,
                _ => break,
            }
        }
        step *= 0.5;
    }
    here
}

impl<'a> Stars<'a> {
    /// The middle and the corners of a frame.
    pub fn of(field: &FieldOfFrame<'a>, model: &'a FieldModel) -> Self {
        let telescope = &field.instrument.telescope;
        let [half_x, half_y] = field.middle_px;
        let corner = |x: f64, y: f64| {
            let px = FramePx::new([x * half_x, y * half_y]);
            model.place(to_field(field.instrument, px.in_metres(field.pixel_m())))
        };
        Stars {
            model,
            rays: FieldRays::of(RAYS, telescope.obstruction_ratio(), telescope.focal_ratio()),
            design: &telescope.design,
            middle: model.place(FieldM::ZERO),
            corners: [
                corner(-1.0, -1.0),
                corner(1.0, -1.0),
                corner(1.0, 1.0),
                corner(-1.0, 1.0),
            ],
            pixel_m: field.pixel_m(),
        }
    }

    /// Sizes with these numbers of the field.
    pub fn sizes(&self, values: &FieldValues) -> Sizes {
        Sizes {
            middle: self.size(values, &self.middle),
            corners: self
                .corners
                .each_ref()
                .map(|place| self.size(values, place)),
        }
    }

    fn size(&self, values: &FieldValues, place: &Place) -> f64 {
        let Light {
            offset_m,
            coma_m,
            astigmatism_m,
            spherical_m,
            blur_m2,
            halo_share,
            ..
        } = self.model.light(values, place);
        let mut modes = self.design.clone();
        for (noll, size) in [
            (8, coma_m[0]),
            (7, coma_m[1]),
            (6, astigmatism_m[0]),
            (5, astigmatism_m[1]),
            (11, spherical_m),
        ] {
            modes.add(noll, size);
        }
        let in_focus_m =
            DIAMETER_OF_BLUR * (blur_m2.max(0.0) * (1.0 + HALO_WIDENS * halo_share)).sqrt();
        self.rays.half_flux_diameter_m(offset_m, &modes, in_focus_m) / self.pixel_m
    }
}
