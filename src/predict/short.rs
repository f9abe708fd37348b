//! Short exposures: the star through the atmosphere of single moments, added up over the exposure.
//!
//! The model must have been prepared without seeing ([`State::sky`](crate::state::Sky)): here the atmosphere stands in the
//! wavefront itself, not in a transfer function. A tenth of a second shows a boiling star, a long exposure comes to what the
//! transfer function gives (`tests/screens.rs`). No chance here: the screen is handed in.

use super::model::{Model, Waves, airmass_of};
use crate::atmosphere::{Atmosphere, Layer, ScreenOnGrid, fried_m, seeing_fwhm_rad};
use crate::math::Real;
use crate::state::{Modes, State};
use crate::units::SEEING_REFERENCE_M;
use ndarray::Array2;

/// The moments of one exposure, evenly spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instants {
    /// When the exposure starts.
    pub start_s: f64,
    /// How long it lasts.
    pub time_s: f64,
    /// How many moments stand for it, at least 1.
    pub count: usize,
}

impl Instants {
    /// As many moments as it takes for the wind to carry the atmosphere by no more than a third of an aperture from one to the next, but at
    /// most `most`.
    ///
    /// Fewer leave a long exposure grainier than it is; the grain falls as one over the square root of their number.
    pub fn of_wind(
        start_s: f64,
        time_s: f64,
        wind_m_per_s: f64,
        aperture_m: f64,
        most: usize,
    ) -> Self {
        let paths = 3.0 * time_s * wind_m_per_s.abs() / aperture_m;
        Instants {
            start_s,
            time_s,
            count: (paths.ceil().max(1.0).min(most.max(1) as f64)) as usize,
        }
    }

    /// The moments, in the middle of equal stretches.
    pub fn times_s(&self) -> impl Iterator<Item = f64> + use<> {
        let Instants {
            start_s,
            time_s,
            count,
        } = *self;
        (0..count).map(move |i| start_s + time_s * (i as f64 + 0.5) / count as f64)
    }
}

/// The atmosphere of a state's sky in one layer that the wind carries towards an azimuth (frame axes); `None` without seeing.
pub fn atmosphere_of(state: &State, outer_scale_m: f64, wind_rad: f64) -> Option<Atmosphere> {
    let zenith_rad = state.sky.seeing_rad.filter(|s| *s > 0.0)?;
    let fwhm_rad = seeing_fwhm_rad(zenith_rad, airmass_of(state), SEEING_REFERENCE_M);
    let wind = state.sky.wind_m_per_s.unwrap_or(0.0);
    Some(Atmosphere {
        fried_m: fried_m(fwhm_rad, SEEING_REFERENCE_M),
        wavelength_m: SEEING_REFERENCE_M,
        outer_scale_m,
        layers: vec![Layer {
            share: 1.0,
            wind_m_per_s: [wind * libm::cos(wind_rad), wind * libm::sin(wind_rad)],
        }],
    })
}

impl Model {
    /// Share of the light in each pixel of a short exposure (element `[[row, column]]`, row 0 at the bottom), for modes (metres RMS) and a
    /// sensor offset over the same pupil.
    ///
    /// `screen` must have been prepared on [`grid`](Self::grid).
    pub fn light_through<T: Real>(
        &self,
        modes: &Modes,
        sensor_offset_m: f64,
        screen: &ScreenOnGrid,
        instants: Instants,
    ) -> Array2<f64> {
        let mut sum: Option<Array2<f64>> = None;
        for time_s in instants.times_s() {
            let atmosphere_m = screen.at(time_s);
            let waves = Waves::through(self, modes, sensor_offset_m, Some(&atmosphere_m));
            let light = self.light_in::<T>(&waves, &self.bins);
            match &mut sum {
                None => sum = Some(light),
                Some(sum) => *sum += &light,
            }
        }
        let camera = &self.instrument.camera;
        let nothing = || Array2::zeros((camera.height_px, camera.width_px));
        sum.unwrap_or_else(nothing) / instants.count.max(1) as f64
    }
}
