//! W over the pupil at one wavelength: modes, exact defocus, and the ray that each point sends to the sensor.
//!
//! Positions are *sine-space heights* σ = f sin u, in metres and in the axes of the frame: under the sine condition σ is the
//! pupil height itself, under the paraboloid's law it is r/(1 + (r/2f)²). Everything that is transformed lives here.
//!
//! Source: derived from the parabola; tan(u/2) = r/(2f) for a paraboloid (check values `fast_defocus.*`, `paraboloid.*`).

use super::zernike::{ValueSlope, ZernikeSum};
use crate::geometry::{Frame2, RadialMap};
use crate::instrument::{FocusLaw, Telescope};
use crate::state::Modes;

/// W of a telescope at one wavelength.
#[derive(Debug, Clone)]
pub struct Wavefront {
    sum: ZernikeSum,
    /// Sensor beyond this wavelength's best focus.
    pub sensor_offset_m: f64,
    law: FocusLaw,
    focal_length_m: f64,
    aperture_radius_m: f64,
    frame: Frame2,
}

impl Wavefront {
    /// W from the modes and the sensor offset at the reference wavelength, corrected to `wavelength_m` by the telescope's
    /// chromatic table; `frame` turns pupil axes into frame axes.
    pub fn new(
        telescope: &Telescope,
        modes: &Modes,
        sensor_offset_m: f64,
        wavelength_m: f64,
        frame: Frame2,
    ) -> Self {
        let (focus_m, extra) = chromatic_at(telescope, wavelength_m);
        let mut total = modes.clone();
        total.add_scaled(&extra, 1.0);
        Wavefront {
            sum: ZernikeSum::new(&total),
            sensor_offset_m: sensor_offset_m - focus_m,
            law: telescope.focus_law,
            focal_length_m: telescope.focal_length_m,
            aperture_radius_m: telescope.aperture_radius_m(),
            frame,
        }
    }

    /// What W gains over the same pupil per metre RMS of one mode.
    pub fn mode(&self, noll: u32) -> Wavefront {
        Wavefront {
            sum: ZernikeSum::new(&[(noll, 1.0)].into_iter().collect()),
            sensor_offset_m: 0.0,
            ..self.clone()
        }
    }

    /// What W gains over the same pupil per metre of sensor offset.
    pub fn focus(&self) -> Wavefront {
        Wavefront {
            sum: ZernikeSum::new(&Modes::none()),
            sensor_offset_m: 1.0,
            ..self.clone()
        }
    }

    /// W in metres at a sine-space height.
    pub fn value_m(&self, sigma_m: [f64; 2]) -> f64 {
        let [x, y] = self.pupil_radii(sigma_m);
        let of_modes = self.sum.value(x, y);
        if self.sensor_offset_m == 0.0 {
            return of_modes;
        }
        of_modes + self.sensor_offset_m * one_minus_cos(self.sine_squared(sigma_m))
    }

    /// Where the ray from a sine-space height lands on the sensor, from the star's place, in frame axes.
    pub fn ray_m(&self, sigma_m: [f64; 2]) -> [f64; 2] {
        let pupil = self.frame.backward(sigma_m);
        let [x, y] = self.pupil_radii(sigma_m);
        let ValueSlope { slope, .. } = self.sum.value_slope(x, y);
        let [along, across] = self.stretch(pupil);
        let size = pupil[0].hypot(pupil[1]);
        let unit = if size > 0.0 {
            [pupil[0] / size, pupil[1] / size]
        } else {
            [1.0, 0.0]
        };
        let radial = (slope[0] * unit[0] + slope[1] * unit[1]) * along;
        let around = (slope[1] * unit[0] - slope[0] * unit[1]) * across;
        let sine_squared = self.sine_squared(sigma_m);
        let tangent = size / self.focal_length_m / (1.0 - sine_squared).sqrt();
        let reach = -self.focal_length_m / self.aperture_radius_m;
        let inward = reach * radial - self.sensor_offset_m * tangent;
        let sideways = reach * around;
        self.frame.forward([
            inward * unit[0] - sideways * unit[1],
            inward * unit[1] + sideways * unit[0],
        ])
    }

    /// Whether [`amplitude`](Self::amplitude) is 1 everywhere.
    pub fn has_even_amplitude(&self) -> bool {
        self.law == FocusLaw::Sine
    }

    /// Amplitude that keeps the energy when pupil area is counted in sine space: √(dA_r/dA_σ).
    pub fn amplitude(&self, sigma_m: [f64; 2]) -> f64 {
        let [along, across] = self.stretch(sigma_m);
        (along * across).sqrt()
    }

    /// Focal length in metres.
    pub fn focal_length_m(&self) -> f64 {
        self.focal_length_m
    }

    /// The map from pupil heights to sine-space heights.
    pub fn radial_map(telescope: &Telescope) -> RadialMap {
        match telescope.focus_law {
            FocusLaw::Sine => RadialMap::Identity,
            FocusLaw::Paraboloid => RadialMap::Paraboloid {
                focal_length_m: telescope.focal_length_m,
            },
        }
    }

    /// Pupil position in aperture radii and pupil axes.
    fn pupil_radii(&self, sigma_m: [f64; 2]) -> [f64; 2] {
        let scale = self.stretch(sigma_m)[1] / self.aperture_radius_m;
        self.frame.backward(sigma_m).map(|v| v * scale)
    }

    /// dr/dσ along the radius and r/σ across it.
    fn stretch(&self, sigma_m: [f64; 2]) -> [f64; 2] {
        match self.law {
            FocusLaw::Sine => [1.0, 1.0],
            FocusLaw::Paraboloid => {
                let cos = (1.0 - self.sine_squared(sigma_m)).sqrt();
                // r = 2f tan(u/2), σ = f sin u: r/σ = 2/(1 + cos u), dr/dσ = 1/(cos²(u/2) cos u)
                [2.0 / ((1.0 + cos) * cos), 2.0 / (1.0 + cos)]
            }
        }
    }

    fn sine_squared(&self, sigma_m: [f64; 2]) -> f64 {
        let square = sigma_m[0] * sigma_m[0] + sigma_m[1] * sigma_m[1];
        (square / (self.focal_length_m * self.focal_length_m)).min(0.999_999)
    }
}

/// 1 − cos u without loss of digits.
fn one_minus_cos(sine_squared: f64) -> f64 {
    sine_squared / (1.0 + (1.0 - sine_squared).sqrt())
}

/// Focus and modes of a wavelength: linear between the given ones, constant outside.
fn chromatic_at(telescope: &Telescope, wavelength_m: f64) -> (f64, Modes) {
    let table = &telescope.chromatic;
    let Some(last) = table.last() else {
        return (0.0, Modes::none());
    };
    let above = table.iter().position(|p| p.wavelength_m >= wavelength_m);
    let (low, high) = match above {
        None => (last, last),
        Some(0) => (&table[0], &table[0]),
        Some(at) => (&table[at - 1], &table[at]),
    };
    let span = high.wavelength_m - low.wavelength_m;
    let t = if span > 0.0 {
        (wavelength_m - low.wavelength_m) / span
    } else {
        0.0
    };
    let mut modes = Modes::none();
    modes.add_scaled(&low.modes, 1.0 - t);
    modes.add_scaled(&high.modes, t);
    (low.focus_m + t * (high.focus_m - low.focus_m), modes)
}
