//! What all stars of a frame have in common: how the sensor stands in the light, and what the field adds to the aligned telescope's.
//!
//! Thirteen numbers describe the field (`FieldValues`), fitted together to six moments of every star. They are what a frame can show, whatever
//! its cause; `troubles.rs` asks which causes explain them.

use super::rays::{Light, Moments, PupilRays, USUAL_HALO};
use crate::axes::FieldM;
use crate::instrument::{BeyondLaws, FieldTerms, Moved, Surfaces};
use crate::math::LeastSquares;
use crate::measure::whole_frame::descent::damped;
use crate::units::{NM, UM};
use rayon::prelude::*;

/// Numbers of the fit.
pub(super) const COUNT: usize = 13;
pub(super) const OFFSET: usize = 0;
pub(super) const SLOPE: usize = 1;
pub(super) const COMA: usize = 3;
pub(super) const LINEAR: usize = 5;
pub(super) const SQUARE: usize = 7;
pub(super) const DRIFT: usize = 8;
pub(super) const BLUR: usize = 10;
pub(super) const HALO: usize = 11;
const FOURTH: usize = 12;

/// Sensor offset in the middle; its slope; coma [8, 7] beyond the aligned field's; astigmatism per metre of field by the sum of azimuths;
/// astigmatism per square metre; drift (half the difference of variances, doubled angle); variance of the blur's core and the share of its halo; by what share
/// all fourth moments are larger than two Gaussians make them. SI, pupil axes.
pub(super) type FieldValues = [f64; COUNT];

/// A star of the fit.
#[derive(Debug, Clone, Copy)]
pub(super) struct CornerStar {
    pub place: Place,
    pub window_m: f64,
    pub moments: Moments,
    pub sigmas: [f64; 6],
}

/// A place of the sensor, and what the aligned telescope's star has there beyond the laws of the field: nothing where no surfaces are known.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    field_m: FieldM,
    offset_m: f64,
    coma_m: [f64; 2],
    astigmatism_m: [f64; 2],
    spherical_m: f64,
}

/// What is known beforehand.
pub(super) struct FieldModel {
    pub rays: PupilRays,
    pub field: FieldTerms,
    pub surfaces: Option<Surfaces>,
    /// Noll 11 per metre of astigmatism per square metre that a wrong spacing adds; 0 where the response does not say.
    pub spherical_per_square_m2: f64,
    /// Variance of the blur that is usual, and its standard deviation.
    pub usual_blur_m2: [f64; 2],
    /// Half the diagonal of the sensor.
    pub half_m: f64,
}

/// The best fit.
#[derive(Debug, Clone)]
pub(super) struct FieldFit {
    pub values: FieldValues,
    /// Covariance of the values, widened by the stars' own scatter.
    pub covariance: Vec<Vec<f64>>,
    /// Standard deviation of the residuals over what was expected.
    pub scale: f64,
    pub chi_square: f64,
    pub used: usize,
    /// Whether the field turned over to the other side of focus fits as well.
    pub sign_open: bool,
}

/// Steps of the differences: what an owner would call a little. Near zero coma a star's asymmetry does not change at first order, so that
/// smaller steps would call what is hard to see invisible.
fn steps(half_m: f64) -> FieldValues {
    let mut steps = [0.0; COUNT];
    steps[OFFSET] = 4.0 * UM;
    steps[SLOPE..SLOPE + 2].fill(4.0 * UM / half_m);
    steps[COMA..COMA + 2].fill(15.0 * NM);
    steps[LINEAR..LINEAR + 2].fill(20.0 * NM / half_m);
    steps[SQUARE] = 20.0 * NM / (half_m * half_m);
    steps[DRIFT..DRIFT + 2].fill((0.6 * UM).powi(2));
    steps[BLUR] = (0.6 * UM).powi(2);
    steps[HALO] = 0.03;
    steps[FOURTH] = 0.02;
    steps
}

/// Standard deviations of what is expected beforehand: wide, so that they count only where the stars say nothing.
fn priors(half_m: f64) -> FieldValues {
    let mut priors = [f64::INFINITY; COUNT];
    priors[SLOPE..SLOPE + 2].fill(150.0 * UM / half_m);
    priors[COMA..COMA + 2].fill(1000.0 * NM);
    priors[LINEAR..LINEAR + 2].fill(300.0 * NM / half_m);
    priors[SQUARE] = 300.0 * NM / (half_m * half_m);
    priors[DRIFT..DRIFT + 2].fill((15.0 * UM).powi(2));
    priors
}

impl FieldModel {
    /// A place of the sensor.
    pub fn place(&self, field_m: FieldM) -> Place {
        let surfaces = self.surfaces.as_ref();
        let from_axis_m = field_m - self.field.axis_m;
        let beyond = surfaces.map(|s| s.beyond_laws(&Moved::default(), from_axis_m));
        let BeyondLaws {
            modes,
            sensor_offset_m,
        } = beyond.unwrap_or_default();
        Place {
            field_m,
            offset_m: sensor_offset_m,
            coma_m: [modes.get(8), modes.get(7)],
            astigmatism_m: [modes.get(6), modes.get(5)],
            spherical_m: modes.get(11),
        }
    }

    /// The star's light at its place.
    pub fn light(&self, values: &FieldValues, place: &Place) -> Light {
        let field_m = place.field_m;
        let from_axis = (field_m - self.field.axis_m).xy();
        let [x, y] = from_axis;
        let square = [x * x - y * y, 2.0 * x * y];
        let [bx, by] = [values[LINEAR], values[LINEAR + 1]];
        let linear = [bx * x - by * y, bx * y + by * x];
        let curved_m = self.field.curvature_per_m2 * (x * x + y * y);
        let growth = self.field.astigmatism_per_m2 + values[SQUARE];
        Light {
            offset_m: values[OFFSET]
                + values[SLOPE] * field_m[0]
                + values[SLOPE + 1] * field_m[1]
                + curved_m
                + place.offset_m,
            coma_m: [0, 1].map(|axis| {
                values[COMA + axis] + self.field.coma_per_m * from_axis[axis] + place.coma_m[axis]
            }),
            astigmatism_m: [0, 1]
                .map(|axis| growth * square[axis] + linear[axis] + place.astigmatism_m[axis]),
            spherical_m: values[SQUARE] * self.spherical_per_square_m2 + place.spherical_m,
            blur_m2: values[BLUR],
            halo_share: values[HALO],
            drift_m2: [values[DRIFT], values[DRIFT + 1]],
        }
    }

    fn residuals(&self, stars: &[CornerStar], values: &FieldValues) -> Vec<f64> {
        let mut all: Vec<f64> = stars
            .par_iter()
            .flat_map_iter(|star| {
                let mut model = self
                    .rays
                    .moments(&self.light(values, &star.place), star.window_m);
                model.values[5] *= 1.0 + values[FOURTH];
                (0..6).map(move |k| (star.moments.values[k] - model.values[k]) / star.sigmas[k])
            })
            .collect();
        let [usual, sigma] = self.usual_blur_m2;
        all.push((values[BLUR] - usual) / sigma);
        all.push((values[HALO] - USUAL_HALO) / HALO_SIGMA);
        all.push(values[FOURTH] / FOURTH_SIGMA);
        for (value, prior) in values.iter().zip(priors(self.half_m)) {
            all.push(value / prior);
        }
        all
    }

    fn slopes(&self, stars: &[CornerStar], values: &FieldValues, wide: bool) -> Vec<Vec<f64>> {
        let steps = steps(self.half_m);
        (0..COUNT)
            .map(|k| {
                let step = if wide { steps[k] } else { 0.1 * steps[k] };
                let moved = |by: f64| {
                    let mut there = *values;
                    there[k] += by;
                    self.residuals(stars, &there)
                };
                let (up, down) = (moved(step), moved(-step));
                up.iter()
                    .zip(&down)
                    .map(|(a, b)| (a - b) / (2.0 * step))
                    .collect()
            })
            .collect()
    }

    /// Fits the field to the stars: the best fit first, then the field turned over to the other side of focus where that fits as well and no
    /// side was told.
    pub fn fit(&self, stars: &[CornerStar], side: Option<f64>) -> Vec<FieldFit> {
        // a part of the stars, spread as all are, says which start leads down
        let every = stars.len().div_ceil(STARS_OF_STARTS).max(1);
        let some: Vec<CornerStar> = stars.iter().step_by(every).copied().collect();
        let first: Vec<(FieldValues, f64)> = self
            .starts(&some)
            .par_iter()
            .map(|start| self.descend(&some, *start))
            .collect();
        let Some(best) = first.iter().min_by(|a, b| a.1.total_cmp(&b.1)) else {
            return Vec::new();
        };
        let kept = self.without_outliers(stars, &best.0);
        if 2 * kept.len() < stars.len() {
            return Vec::new();
        }
        let mut ended: Vec<(FieldValues, f64)> = [best.0, turned_over(&best.0)]
            .par_iter()
            .map(|start| self.descend(&kept, *start))
            .collect();
        ended.sort_by(|a, b| a.1.total_cmp(&b.1));
        let off_side =
            |end: &(FieldValues, f64)| side.is_some_and(|side| side * end.0[OFFSET] < 0.0);
        if off_side(&ended[0]) && !off_side(&ended[1]) {
            ended.swap(0, 1);
        }
        let mut told: Vec<FieldFit> = ended.iter().map(|end| self.told(&kept, end)).collect();
        let scale = told[0].scale;
        let as_good =
            (told[1].chi_square - told[0].chi_square) / (scale * scale) < OTHER_SIDE_CHI_SQUARE;
        let told_which = side.is_some() && off_side(&ended[1]);
        if !as_good || told_which || told[0].is(&told[1]) {
            told.truncate(1);
        }
        let open = told.len() > 1;
        told.iter_mut().for_each(|fit| fit.sign_open = open);
        told
    }

    /// Flat fields at several distances from focus, on both sides.
    fn starts(&self, stars: &[CornerStar]) -> Vec<FieldValues> {
        let mut traces: Vec<f64> = stars.iter().map(|star| star.moments.values[0]).collect();
        traces.sort_by(f64::total_cmp);
        let blur = self.usual_blur_m2[0];
        // a window hides part of a wide star: the guess is coarse, and more than one is tried
        let middle = 2.0 * self.rays.focal_ratio() * traces[traces.len() / 2].sqrt();
        [-3.0, -1.6, -0.7, 0.0, 0.7, 1.6, 3.0]
            .map(|times| {
                let mut start = [0.0; COUNT];
                start[OFFSET] = times * middle;
                start[BLUR] = blur;
                start[HALO] = USUAL_HALO;
                start
            })
            .to_vec()
    }

    /// Damped Gauss-Newton steps.
    fn descend(&self, stars: &[CornerStar], mut values: FieldValues) -> (FieldValues, f64) {
        const STEPS: usize = 25;
        let square = |r: &[f64]| r.iter().map(|v| huber(*v)).sum::<f64>();
        let scales = steps(self.half_m);
        let (mut damping, mut here) = (1e-2, self.residuals(stars, &values));
        for _ in 0..STEPS {
            let columns = self.slopes(stars, &values, false);
            // far residuals pull with the force of near ones
            let weights: Vec<f64> = here
                .iter()
                .map(|r| (FAR / r.abs().max(FAR)).sqrt())
                .collect();
            let scaled: Vec<Vec<f64>> = columns
                .iter()
                .zip(scales)
                .map(|(column, scale)| {
                    column
                        .iter()
                        .zip(&weights)
                        .map(|(v, w)| v * w * scale)
                        .collect()
                })
                .collect();
            let data: Vec<f64> = here.iter().zip(&weights).map(|(r, w)| -r * w).collect();
            let before = square(&here);
            let mut done = true;
            while damping < 1e8 {
                let step = damped(&scaled, &data, damping);
                let mut there = values;
                for k in 0..COUNT {
                    there[k] += step[k] * scales[k];
                }
                there[BLUR] = there[BLUR].max(0.02 * self.usual_blur_m2[0]);
                let residuals = self.residuals(stars, &there);
                let after = square(&residuals);
                if after.is_finite() && after < before {
                    done = before - after < 1e-4 * before.max(1.0) * 0.1;
                    (values, here) = (there, residuals);
                    damping = (0.1 * damping).max(1e-8);
                    break;
                }
                damping *= 8.0;
            }
            if done || damping >= 1e8 {
                break;
            }
        }
        let chi_square = square(&here);
        (values, chi_square)
    }

    fn without_outliers(&self, stars: &[CornerStar], values: &FieldValues) -> Vec<CornerStar> {
        const FARTHEST: f64 = 5.0;
        let residuals = self.residuals(stars, values);
        let of_star: Vec<f64> = residuals[..6 * stars.len()]
            .chunks(6)
            .map(|six| (six.iter().map(|r| r * r).sum::<f64>() / 6.0).sqrt())
            .collect();
        let mut sorted = of_star.clone();
        sorted.sort_by(f64::total_cmp);
        let limit = FARTHEST * sorted[sorted.len() / 2].max(1.0);
        stars
            .iter()
            .zip(of_star)
            .filter(|(_, off)| *off <= limit)
            .map(|(star, _)| *star)
            .collect()
    }

    fn told(&self, stars: &[CornerStar], end: &(FieldValues, f64)) -> FieldFit {
        let (values, chi_square) = *end;
        let degrees = (6 * stars.len()).saturating_sub(COUNT).max(1) as f64;
        let scale = (chi_square / degrees).sqrt().max(LEAST_SCALE);
        let columns = self.slopes(stars, &values, true);
        let mut covariance = LeastSquares::new(columns, &[0.0; COUNT]).covariance();
        covariance
            .iter_mut()
            .flatten()
            .for_each(|c| *c *= scale * scale);
        FieldFit {
            values,
            covariance,
            scale,
            chi_square,
            used: stars.len(),
            sign_open: false,
        }
    }
}

/// Stars that the starts are tried on, at most.
const STARS_OF_STARTS: usize = 40;
/// Standard deviation of that share of the fourth moments: what a star's profile in focus is does not tell its focus.
const FOURTH_SIGMA: f64 = 0.15;
/// Standard deviation of the halo's share: diffraction and pixels change the wings.
const HALO_SIGMA: f64 = 0.15;
/// The stars' own scatter sets the standard deviations, down to this share of what was expected of the model's errors.
const LEAST_SCALE: f64 = 0.4;
/// The field turned over is ruled out when its sum of squares is larger by this.
const OTHER_SIDE_CHI_SQUARE: f64 = 12.0;

/// The same picture from the other side of focus: even modes change their sign, odd ones keep it (W(x) and −W(−x) look alike).
fn turned_over(values: &FieldValues) -> FieldValues {
    let mut over = *values;
    let even = (OFFSET..COMA).chain(LINEAR..DRIFT);
    even.for_each(|k| over[k] = -over[k]);
    over
}

impl FieldFit {
    /// Whether another fit ended in the same place.
    fn is(&self, other: &FieldFit) -> bool {
        (0..COUNT).all(|k| (self.values[k] - other.values[k]).abs() < self.covariance[k][k].sqrt())
    }
}

/// Residuals beyond this many standard deviations count by their length instead of its square.
const FAR: f64 = 4.0;

fn huber(residual: f64) -> f64 {
    let far = residual.abs();
    if far <= FAR {
        far * far
    } else {
        2.0 * FAR * far - FAR * FAR
    }
}
