//! What is hidden from whoever measures: how far out of line the telescope is, and which star, sky and exposure were used.
//!
//! Plain data, SI units; [`scenario::check_parts`](crate::scenario::check_parts) checks it, whoever made it. The [`Modes`] type
//! carries Zernike coefficients everywhere in the crate.

mod coma;
mod turns;

pub use coma::Coma;
pub use turns::ScrewTurns;

use crate::axes::{FieldM, FramePx};
use std::collections::BTreeMap;

/// Zernike coefficients: Noll index → metres RMS over the full clear circle of the aperture.
///
/// W is positive where the wavefront leads (the optical path is shorter). Indices start at 2: piston has no effect. Modes that
/// are collected keep whatever index they are given, so that [`check_parts`](crate::scenario::check_parts) can refuse it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Modes(BTreeMap<u32, f64>);

impl Modes {
    /// No aberration.
    pub fn none() -> Self {
        Self::default()
    }

    /// Coefficient of one Noll index in metres RMS, 0 where none was set.
    pub fn get(&self, noll: u32) -> f64 {
        self.0.get(&noll).copied().unwrap_or(0.0)
    }

    /// Adds `rms_m` to the coefficient of one Noll index. Piston (index 1), which such a sum may hold, is dropped; so is 0,
    /// which is no index.
    pub fn add(&mut self, noll: u32, rms_m: f64) {
        if noll >= 2 {
            *self.0.entry(noll).or_insert(0.0) += rms_m;
        }
    }

    /// Adds `factor` times all of `other`.
    pub fn add_scaled(&mut self, other: &Modes, factor: f64) {
        for (noll, rms_m) in other.iter() {
            self.add(noll, factor * rms_m);
        }
    }

    /// The set coefficients in ascending order of index.
    pub fn iter(&self) -> impl Iterator<Item = (u32, f64)> + '_ {
        self.0.iter().map(|(noll, rms_m)| (*noll, *rms_m))
    }

    /// The largest index that was set, 1 when there is none.
    pub fn highest(&self) -> u32 {
        self.0.keys().next_back().copied().unwrap_or(1)
    }
}

impl FromIterator<(u32, f64)> for Modes {
    /// Collects pairs of Noll index and metres RMS; repeated indices add up.
    fn from_iter<I: IntoIterator<Item = (u32, f64)>>(pairs: I) -> Self {
        let mut modes = Self::none();
        for (noll, rms_m) in pairs {
            *modes.0.entry(noll).or_insert(0.0) += rms_m;
        }
        modes
    }
}

/// Everything that a measurement is not told.
#[derive(Debug, Clone, PartialEq)]
pub struct State {
    /// How far the sensor sits beyond best focus (outside): the total, whatever the screws' piston, unless that is added.
    pub sensor_offset_m: f64,
    /// Whether the screws' piston, times the response's focus, is added to the sensor offset.
    pub piston_moves_focus: bool,
    /// Whether the frame follows the star.
    pub recentred: bool,
    /// How far the star stands from where it would be else: from the frame's middle, or where a frame that is not recentred has it.
    pub place_px: FramePx,
    /// Where the star stands from the middle of a frame that is not recentred, besides the image shift; pupil axes.
    pub aside_m: FieldM,
    /// Where the star is on the sensor, from its centre, pupil axes.
    pub field_m: FieldM,
    /// Whether the mask is on the telescope.
    pub mask_on: bool,
    /// Turns of each screw; the default, none, leaves every screw at its nominal length.
    pub turns: ScrewTurns,
    /// Tilt of the unit that no screw shows: it leans under its own weight. Points at the raised edge.
    pub flexure_rad: [f64; 2],
    /// How far the unit sits aside, pupil axes.
    pub decentre_m: [f64; 2],
    /// Tilt of the sensor against the unit, pupil axes; points at the edge that lies farther beyond focus.
    pub sensor_tilt_rad: [f64; 2],
    /// How much too far from the corrector the sensor stands, refocused; below 0 too near.
    pub spacing_m: f64,
    /// Any other aberration, full-circle Noll modes.
    pub modes: Modes,
    /// The star; `None` gives relative units.
    pub star: Option<Star>,
    /// The sky.
    pub sky: Sky,
    /// The exposure; `None` gives relative units.
    pub exposure: Option<Exposure>,
}

impl Default for State {
    /// Aligned, in focus, no mask, no star given.
    fn default() -> Self {
        State {
            sensor_offset_m: 0.0,
            piston_moves_focus: false,
            recentred: true,
            place_px: FramePx::ZERO,
            aside_m: FieldM::ZERO,
            field_m: FieldM::ZERO,
            mask_on: false,
            turns: ScrewTurns::default(),
            flexure_rad: [0.0; 2],
            decentre_m: [0.0; 2],
            sensor_tilt_rad: [0.0; 2],
            spacing_m: 0.0,
            modes: Modes::none(),
            star: None,
            sky: Sky::default(),
            exposure: None,
        }
    }
}

/// The star.
#[derive(Debug, Clone, PartialEq)]
pub struct Star {
    /// Johnson V magnitude above the atmosphere.
    pub magnitude: f64,
    /// Temperature of its Planck spectrum.
    pub temperature_k: f64,
    /// Altitude above the horizon.
    pub altitude_rad: f64,
}

/// The sky.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Sky {
    /// Long-exposure FWHM at the zenith and 500 nm; `None` for no seeing.
    pub seeing_rad: Option<f64>,
    /// Wind speed, for how fast the seeing averages out.
    pub wind_m_per_s: Option<f64>,
    /// V magnitudes per square arcsecond; `None` for a black sky.
    pub brightness_mag_per_arcsec2: Option<f64>,
    /// Magnitudes lost per airmass.
    pub extinction_mag_per_airmass: f64,
    /// Drift over the exposure, frame axes, pixels.
    pub tracking_drift_px: [f64; 2],
    /// Whether the star's light scintillates, where counts are drawn.
    pub scintillation: bool,
    /// Height of the site above sea level, for how strongly it does.
    pub site_height_m: f64,
}

/// The exposure.
#[derive(Debug, Clone, PartialEq)]
pub struct Exposure {
    /// Duration.
    pub time_s: f64,
}

/// The stars of a whole sensor.
#[derive(Debug, Clone, PartialEq)]
pub enum FieldStars {
    /// One after the other.
    Listed(Vec<FieldStar>),
    /// Drawn from a seed, evenly over the sensor.
    Drawn {
        /// How many.
        count: usize,
        /// Brightest and faintest magnitude.
        magnitudes: [f64; 2],
        /// The number of stars brighter than m grows as 10^(slope·m).
        slope_per_magnitude: f64,
    },
}

/// One star of a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FieldStar {
    /// Where it is on the sensor, from its centre, pupil axes.
    pub field_m: FieldM,
    /// Johnson V magnitude above the atmosphere.
    pub magnitude: f64,
    /// Temperature of its spectrum; `None` for that of the scenario's star.
    pub temperature_k: Option<f64>,
}
