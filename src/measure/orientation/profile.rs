//! What a picture shows against what it would show, direction by direction, for every turn of the camera: the shadows in a doughnut,
//! the spikes of a masked star.
//!
//! A doughnut is read at the places where the rays of the first guess land, so that coma does not bend the shadows; what is left
//! of it is smooth and is taken out with the lowest harmonics. No fit here: it only says which turns are worth one.

use super::super::harmonics::Harmonics;
use super::super::settings::OrientationSettings;
use crate::axes::FieldM;
use crate::instrument::{Hold, Instrument};
use crate::pupil::Pupil;
use crate::state::State;
use crate::wavefront::Wavefront;
use ndarray::Array2;
use std::f64::consts::TAU;

/// Directions in which a profile is read: one for each degree.
const DIRECTIONS: usize = 360;
/// Samples between the obstruction's edge and the rim.
const ALONG: usize = 12;
/// Part of the way from the obstruction's edge to the rim that is left out at either end, where the edges blur.
const MARGIN: f64 = 0.12;
/// Harmonics that are taken out of a doughnut: the sky's level, and what coma and astigmatism do to the light round the ring …
const SMOOTH_HARMONICS: usize = 2;
/// … and of a masked star: its spikes stand in opposite pairs.
const SMOOTH_HARMONICS_OF_SPIKES: usize = 1;

/// Light by direction in frame axes, counter-clockwise from +x, without its smooth part.
#[derive(Debug, Clone)]
pub struct Profile {
    light: Vec<f64>,
}

/// A turn of the camera that shadows speak for, and its misfit above the best one's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// How the camera would be held.
    pub hold: Hold,
    /// Sum of squares above that of the best, over the scatter of the best.
    pub worse: f64,
}

impl Profile {
    /// Reads a picture (element `[[row, column]]`, row 0 at the bottom) along the rays of a wavefront from the star's place.
    pub fn of_picture(
        picture: &Array2<f64>,
        place_px: [f64; 2],
        instrument: &Instrument,
        wavefront: &Wavefront,
    ) -> Profile {
        let map = Wavefront::radial_map(&instrument.telescope);
        let pixel_m = instrument.camera.pixel_m;
        let read = |height_m: [f64; 2]| {
            let ray = wavefront.ray_m(map.forward(height_m));
            interpolated(
                picture,
                [0, 1].map(|axis| place_px[axis] + ray[axis] / pixel_m),
            )
        };
        Profile::read(instrument, read)
    }

    /// The light of a masked star (element `[[row, column]]`, row 0 at the bottom) between two radii round its core. Roots are summed up, so
    /// that no single bright spike decides.
    pub fn of_spikes(picture: &Array2<f64>, core_px: [f64; 2], radii_px: [f64; 2]) -> Profile {
        let steps = (radii_px[1] - radii_px[0]).ceil().max(1.0) as usize;
        let root = |ahead: [f64; 2], k: usize| {
            let radius = radii_px[0] + k as f64;
            let place = [0, 1].map(|axis| core_px[axis] + radius * ahead[axis]);
            interpolated(picture, place).max(0.0).sqrt()
        };
        Profile::of_means(steps, root).without_smooth_part(SMOOTH_HARMONICS_OF_SPIKES)
    }

    /// The same of the picture flipped left to right.
    pub fn flipped(&self) -> Profile {
        let half = DIRECTIONS / 2;
        let at = |k: usize| self.light[(DIRECTIONS + half - k) % DIRECTIONS];
        Profile {
            light: (0..DIRECTIONS).map(at).collect(),
        }
    }

    /// What the pupil itself lets through, blurred by so much (radians of azimuth, standard deviation).
    fn of_pupil(instrument: &Instrument, field_m: FieldM, blur_rad: f64) -> Profile {
        let state = State {
            field_m,
            ..State::default()
        };
        let pupil = Pupil::new(instrument, &state);
        let open = |[x, y]: [f64; 2]| {
            let open = pupil.pieces().iter().any(|piece| piece.contains(x, y));
            if open { 1.0 } else { 0.0 }
        };
        Profile::read(instrument, open).blurred(blur_rad)
    }

    /// Means along the rays from the obstruction's edge to the rim, pupil heights in frame axes.
    fn read(instrument: &Instrument, at: impl Fn([f64; 2]) -> f64) -> Profile {
        let telescope = &instrument.telescope;
        let inner = telescope.obstruction_ratio();
        let light = |ahead: [f64; 2], k: usize| {
            let part = MARGIN + (1.0 - 2.0 * MARGIN) * (k as f64 + 0.5) / ALONG as f64;
            let height_m = telescope.aperture_radius_m() * (inner + part * (1.0 - inner));
            at(ahead.map(|a| a * height_m))
        };
        Profile::of_means(ALONG, light).without_smooth_part(SMOOTH_HARMONICS)
    }

    /// The mean in each direction of so many values along it; `at` is handed a unit vector and the number of the value.
    fn of_means(along: usize, at: impl Fn([f64; 2], usize) -> f64) -> Profile {
        let mean = |direction: usize| {
            let azimuth = azimuth_rad(direction);
            let ahead = [libm::cos(azimuth), libm::sin(azimuth)];
            (0..along).map(|k| at(ahead, k)).sum::<f64>() / along as f64
        };
        Profile {
            light: (0..DIRECTIONS).map(mean).collect(),
        }
    }

    fn without_smooth_part(mut self, harmonics: usize) -> Profile {
        let values = self.light.iter().enumerate();
        let points: Vec<(f64, f64)> = values.map(|(k, v)| (azimuth_rad(k), *v)).collect();
        if let Some(smooth) = Harmonics::through(&points, harmonics) {
            for ((azimuth, _), value) in points.iter().zip(&mut self.light) {
                *value -= smooth.value(*azimuth);
            }
        }
        self
    }

    fn blurred(self, sigma_rad: f64) -> Profile {
        let sigma = sigma_rad * DIRECTIONS as f64 / TAU;
        let reach = (3.0 * sigma).ceil().min(0.5 * DIRECTIONS as f64) as i64;
        let weight = |k: i64| libm::exp(-0.5 * (k as f64 / sigma.max(1e-3)).powi(2));
        let all: f64 = (-reach..=reach).map(weight).sum();
        let at = |k: i64| self.light[k.rem_euclid(DIRECTIONS as i64) as usize];
        let light = (0..DIRECTIONS as i64)
            .map(|k| (-reach..=reach).map(|d| weight(d) * at(k + d)).sum::<f64>() / all)
            .collect();
        Profile { light }
    }

    fn square(&self) -> f64 {
        self.light.iter().map(|v| v * v).sum()
    }

    /// Sum of products with another profile that is turned counter-clockwise by some directions.
    fn product(&self, other: &Profile, turned: usize) -> f64 {
        let shifted = other.light.iter().cycle().skip(DIRECTIONS - turned);
        self.light.iter().zip(shifted).map(|(a, b)| a * b).sum()
    }
}

/// Turns of the camera for which the shadows of the pupil lie where the picture has shadows, the best first; for both mirror images.
/// Empty where the pupil throws no shadows.
pub fn candidates_by_shadows(
    seen: &Profile,
    instrument: &Instrument,
    field_m: FieldM,
    blur_rad: f64,
    settings: &OrientationSettings,
) -> Vec<Candidate> {
    let thrown = [false, true].map(|mirrored| {
        let upright = Hold {
            rotation_rad: 0.0,
            mirrored,
        };
        let profile = Profile::of_pupil(&instrument.held(upright), field_m, blur_rad);
        (upright, profile)
    });
    match thrown.iter().all(|t| t.1.square() > LEAST_SHADOW) {
        true => candidates(seen, &thrown, settings),
        false => Vec::new(),
    }
}

/// Turns of the camera for which a picture shows what it would show (`expected`: two holds, one of each mirror image, and the picture
/// that each would give), the best first.
pub fn candidates(
    seen: &Profile,
    expected: &[(Hold, Profile); 2],
    settings: &OrientationSettings,
) -> Vec<Candidate> {
    let curves = expected.each_ref().map(|(hold, profile)| {
        let misfit = |turned: usize| {
            let along = seen.product(profile, turned).max(0.0);
            seen.square() - along * along / profile.square()
        };
        (hold, (0..DIRECTIONS).map(misfit).collect::<Vec<f64>>())
    });
    let least = curves
        .iter()
        .flat_map(|c| &c.1)
        .copied()
        .fold(f64::INFINITY, f64::min);
    let scatter = least.max(1e-9 * seen.square()) / DIRECTIONS as f64;
    let mut found: Vec<Candidate> = curves
        .iter()
        .flat_map(|(hold, curve)| {
            valleys(curve, settings.apart_rad)
                .into_iter()
                .map(|turned| {
                    let azimuth = azimuth_rad(turned);
                    Candidate {
                        hold: hold.showing_turned(azimuth),
                        worse: (curve[turned] - least) / scatter,
                    }
                })
        })
        .filter(|candidate| candidate.worse <= settings.worth_a_fit_chi_square)
        .collect();
    found.sort_by(|a, b| a.worse.total_cmp(&b.worse));
    found
}

/// Azimuth of a direction.
fn azimuth_rad(direction: usize) -> f64 {
    direction as f64 * TAU / DIRECTIONS as f64
}

/// A pupil whose profile has a smaller sum of squares throws no shadows that could be seen.
const LEAST_SHADOW: f64 = 1e-6;

/// Places of a closed curve that are the lowest within `apart_rad` either way.
fn valleys(curve: &[f64], apart_rad: f64) -> Vec<usize> {
    let count = curve.len() as i64;
    let reach = (apart_rad * curve.len() as f64 / TAU).round() as i64;
    let at = |k: i64| curve[k.rem_euclid(count) as usize];
    (0..count)
        .filter(|k| (1..=reach).all(|d| at(*k) < at(k - d) && at(*k) <= at(k + d)))
        .map(|k| k as usize)
        .collect()
}

/// Light between four pixels; 0 outside.
pub(super) fn interpolated(picture: &Array2<f64>, [x, y]: [f64; 2]) -> f64 {
    let (column, row) = (x.floor(), y.floor());
    let (fx, fy) = (x - column, y - row);
    let at = |dy: f64, dx: f64| {
        let (r, c) = (row + dy, column + dx);
        match r >= 0.0 && c >= 0.0 {
            true => picture
                .get((r as usize, c as usize))
                .copied()
                .unwrap_or(0.0),
            false => 0.0,
        }
    };
    (1.0 - fy) * ((1.0 - fx) * at(0.0, 0.0) + fx * at(0.0, 1.0))
        + fy * ((1.0 - fx) * at(1.0, 0.0) + fx * at(1.0, 1.0))
}
