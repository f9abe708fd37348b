//! Pictures for practice: quick ones, from a few models that are kept.
//!
//! A turn changes the wavefront but not the pupil, so the sampled pupil and the plan of an earlier picture serve again; a
//! new model is made only when the mask, the defocus range, the place in the field or the kind of seeing changes. Fewer wavelengths and
//! coarser sampling than `render` uses: a few per cent off (`practice::eye::tests`), which no eye sees and nothing is measured by.

use crate::atmosphere::{ScaleRange, Screen, ScreenOnGrid};
use crate::axes::{FieldM, FrameM, FramePx};
use crate::frame::Frame;
use crate::instrument::{Camera, Instrument};
use crate::mechanics::align;
use crate::predict::{Expected, Instants, Model, PredictError, Settings, atmosphere_of};
use crate::propagation::Accuracy;
use crate::pupil::{shift_px, to_field};
use crate::rng::Seed;
use crate::simulate::read_out;
use crate::state::{Exposure, ScrewTurns, State};
use crate::units::{NM, UM};
use lru::LruCache;
use ndarray::{Array2, Axis, Slice};
use std::num::NonZeroUsize;

/// A picture.
#[derive(Debug, Clone)]
pub struct Picture {
    /// Electrons to expect, or shares of the light, element `[[row, column]]`, row 0 at the bottom.
    pub expected: Array2<f64>,
    /// Counts with noise; `None` without a star, an exposure or the camera's electronics.
    pub frame: Option<Frame>,
}

impl Picture {
    /// What is shown: the counts where there are any.
    pub fn shown(&self) -> Array2<f64> {
        match &self.frame {
            Some(frame) => frame.counts_adu.mapv(f64::from),
            None => self.expected.clone(),
        }
    }
}

/// When a picture is taken, and which chance enters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moment {
    /// Start of the exposure: where the wind has carried the atmosphere.
    pub start_s: f64,
    /// The atmosphere's seed.
    pub atmosphere: Seed,
    /// The noise's seed.
    pub noise: Seed,
}

/// Longer exposures than this take the transfer function of the long exposure instead of an atmosphere that is drawn.
const DRAWN_ATMOSPHERE_S: f64 = 2.0;
/// Moments of the atmosphere in one picture at most, without and with a mask.
const MOMENTS_AT_MOST: [usize; 2] = [3, 2];
/// Outer scale of the atmosphere (common practice, no source).
const OUTER_SCALE_M: f64 = 25.0;
/// Direction of the wind.
const WIND_RAD: f64 = 0.6;
/// Models that are kept.
const MODELS_AT_MOST: NonZeroUsize = NonZeroUsize::new(5).unwrap();
/// Wavelengths without and with a mask.
const WAVELENGTHS: [usize; 2] = [3, 7];

/// No picture takes more memory, with a few models kept: a page stays below 600 MB.
const MEMORY_GIB: f64 = 0.25;

/// A session's eye.
pub struct Eye {
    instrument: Instrument,
    kept: LruCache<Key, Prepared>,
}

/// What a model depends on; lengths in metres by their bits, so that they can be looked up.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Key {
    mask_on: bool,
    off_centre: bool,
    /// Defocus up to this, with its sign.
    offset_bits: u64,
    field_bits: [u64; 2],
    drift_bits: [u64; 2],
    atmosphere: AtmosphereKind,
    /// The atmosphere the screen was drawn for.
    seed: Option<Seed>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum AtmosphereKind {
    Still,
    Drawn,
    Long,
}

struct Prepared {
    model: Model,
    screen: Option<ScreenOnGrid>,
    in_electrons: bool,
    star_e_per_s: f64,
    background_e_per_s: f64,
    dark_e_per_s: f64,
}

impl Eye {
    /// An eye for a telescope and a camera as they really stand.
    pub fn new(instrument: &Instrument) -> Self {
        Eye {
            instrument: instrument.clone(),
            kept: LruCache::new(MODELS_AT_MOST),
        }
    }

    /// Takes a picture.
    ///
    /// # Errors
    /// [`PredictError`] when no light passes or the job is too large.
    pub fn look(&mut self, state: &State, moment: Moment) -> Result<Picture, PredictError> {
        let time_s = state.exposure.as_ref().map_or(1.0, |e| e.time_s);
        let alignment = align(&self.instrument, state);
        let camera = self.instrument.camera.clone();
        let shift_px = if state.recentred {
            FramePx::ZERO
        } else {
            shift_px(&self.instrument, alignment.image_shift_m)
        };
        let aside_px = shift_px + state.place_px;
        let centre = camera.middle_px();
        let outside = aside_px[0].abs() > 2.0 * centre[0] || aside_px[1].abs() > 2.0 * centre[1];
        let key = self.key(state, alignment.sensor_offset_m, aside_px, time_s, moment);
        let masked = key.mask_on;
        let (wind, aperture_m) = (
            state.sky.wind_m_per_s.unwrap_or(0.0),
            self.instrument.telescope.aperture_m,
        );
        let prepared = self.prepared(state, key)?;
        prepared.model.star_px = centre + aside_px;
        let (modes, offset_m) = (&alignment.modes, alignment.sensor_offset_m);
        let light = if outside {
            Array2::zeros((camera.height_px, camera.width_px))
        } else if let Some(screen) = &prepared.screen {
            let most = MOMENTS_AT_MOST[usize::from(masked)];
            let instants = Instants::of_wind(moment.start_s, time_s, wind, aperture_m, most);
            prepared
                .model
                .light_through::<f32>(modes, offset_m, screen, instants)
        } else {
            let bins = prepared.model.bins.clone();
            prepared.model.light_of::<f32>(modes, offset_m, &bins)
        };
        Ok(prepared.picture(&camera, light, time_s, moment.noise))
    }

    /// Five stars, one in the middle of the sensor and four in its corners, on one picture of three by three frames.
    ///
    /// # Errors
    /// As [`look`](Self::look).
    pub fn corners(
        &mut self,
        state: &State,
        corner_m: [f64; 2],
        moment: Moment,
    ) -> Result<Array2<f64>, PredictError> {
        let (rows, columns) = (
            self.instrument.camera.height_px,
            self.instrument.camera.width_px,
        );
        let mut sheet = Array2::zeros((3 * rows, 3 * columns));
        for [x, y] in [[1, 1], [0, 0], [2, 0], [0, 2], [2, 2]] {
            let place = FrameM::new([
                (x as f64 - 1.0) * corner_m[0],
                (y as f64 - 1.0) * corner_m[1],
            ]);
            let mut there = state.clone();
            there.recentred = true;
            there.field_m = state.field_m + to_field(&self.instrument, place);
            let picture = self.look(&there, moment)?.expected;
            let mut tile = sheet.view_mut();
            tile.slice_axis_inplace(Axis(0), Slice::from(y * rows..(y + 1) * rows));
            tile.slice_axis_inplace(Axis(1), Slice::from(x * columns..(x + 1) * columns));
            tile.assign(&picture);
        }
        Ok(sheet)
    }

    fn key(
        &self,
        state: &State,
        offset_m: f64,
        aside_px: FramePx,
        time_s: f64,
        moment: Moment,
    ) -> Key {
        let seeing = state.sky.seeing_rad.is_some_and(|s| s > 0.0);
        let atmosphere = match (seeing, time_s > DRAWN_ATMOSPHERE_S) {
            (false, _) => AtmosphereKind::Still,
            (true, false) => AtmosphereKind::Drawn,
            (true, true) => AtmosphereKind::Long,
        };
        // steps of a factor of 1.5 from 40 um on
        let mut size_m = 40.0 * UM;
        while size_m < offset_m.abs() {
            size_m *= 1.5;
        }
        Key {
            mask_on: state.mask_on && self.instrument.mask.is_some(),
            off_centre: aside_px[0].abs().max(aside_px[1].abs()) > 0.02,
            offset_bits: size_m.copysign(offset_m).to_bits(),
            // plus 0: −0 is the same place
            field_bits: state.field_m.xy().map(|f| (f + 0.0).to_bits()),
            drift_bits: state.sky.tracking_drift_px.map(|d| (d + 0.0).to_bits()),
            atmosphere,
            seed: (atmosphere == AtmosphereKind::Drawn).then_some(moment.atmosphere),
        }
    }

    fn prepared(&mut self, state: &State, key: Key) -> Result<&mut Prepared, PredictError> {
        let make = || Prepared::new(&self.instrument, state, &key);
        self.kept.try_get_or_insert_mut(key.clone(), make)
    }
}

impl Prepared {
    fn new(instrument: &Instrument, state: &State, key: &Key) -> Result<Self, PredictError> {
        let mut instrument = instrument.clone();
        let most = WAVELENGTHS[usize::from(key.mask_on)];
        let asked = instrument.camera.wavelengths.unwrap_or(most);
        instrument.camera.wavelengths = Some(asked.min(most));
        instrument.camera.colour = None;
        // a state whose rays go as far as those of any picture that this model will make
        let mut widest = state.clone();
        widest.sensor_offset_m = f64::from_bits(key.offset_bits);
        widest.modes.add(8, 400.0 * NM);
        widest.modes.add(7, 400.0 * NM);
        widest.turns = ScrewTurns::default();
        widest.recentred = !key.off_centre;
        let camera = &instrument.camera;
        let half = 0.5 * camera.width_px.max(camera.height_px) as f64 * camera.pixel_m;
        widest.aside_m = if key.off_centre {
            FieldM::new([half, 0.0])
        } else {
            FieldM::ZERO
        };
        widest.exposure = Some(Exposure { time_s: 1.0 });
        let atmosphere = atmosphere_of(state, OUTER_SCALE_M, WIND_RAD)
            .filter(|_| key.atmosphere == AtmosphereKind::Drawn);
        if key.atmosphere != AtmosphereKind::Long {
            widest.sky.seeing_rad = None;
        }
        let settings = Settings {
            accuracy: QUICK,
            memory_gib: MEMORY_GIB,
            ..Settings::default()
        };
        let model = Model::new(&instrument, &widest, settings)?;
        let expected = Expected::new(&model, &instrument, &widest, settings)?;
        let screen = atmosphere.zip(key.seed).map(|(atmosphere, seed)| {
            let scales = ScaleRange {
                finest_m: instrument.telescope.aperture_m / 16.0,
                ripples_a_ring: 8,
                ..ScaleRange::of_aperture(instrument.telescope.aperture_m)
            };
            Screen::new(&atmosphere, scales, seed).on(model.grid())
        });
        Ok(Prepared {
            model,
            screen,
            in_electrons: expected.in_electrons,
            star_e_per_s: expected.star_total,
            background_e_per_s: expected.background_per_px,
            dark_e_per_s: expected.dark_per_px,
        })
    }

    fn picture(&self, camera: &Camera, light: Array2<f64>, time_s: f64, noise: Seed) -> Picture {
        let time_s = if self.in_electrons { time_s } else { 1.0 };
        let (star, background) = (self.star_e_per_s * time_s, self.background_e_per_s * time_s);
        let expected = Expected {
            light_in_frame: light.sum(),
            image: light.mapv(|share| (share * star).max(0.0) + background),
            in_electrons: self.in_electrons,
            star_total: star,
            background_per_px: background,
            dark_per_px: self.dark_e_per_s * time_s,
        };
        let electronics = camera.electronics.as_ref().filter(|_| self.in_electrons);
        let frame = electronics.map(|e| read_out(&expected, e, camera.pixel_m, noise));
        Picture {
            expected: expected.image,
            frame,
        }
    }
}

/// Coarser than the default in everything.
const QUICK: Accuracy = Accuracy {
    oversize: 1.4,
    oversize_slotted: 2.2,
    sub_sampling: 0.9,
    wavelengths_per_cycle: 1.0,
    guard_widths: 3.0,
    blur_sampling: 0.8,
};

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::{BENCH, Level, Session};

    fn session(level: Level) -> Session {
        let read = crate::scenario::read(BENCH, "bench", &[]).unwrap();
        Session::new(&read.instrument, &read.state, level, Seed(5)).unwrap()
    }

    const NOW: Moment = Moment {
        start_s: 0.0,
        atmosphere: Seed(1),
        noise: Seed(2),
    };

    /// Relative L2 distance of the expected star, background taken off.
    fn distance(a: &Array2<f64>, b: &Array2<f64>) -> f64 {
        let difference: f64 = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum();
        (difference / b.iter().map(|b| b * b).sum::<f64>()).sqrt()
    }

    #[test]
    fn quick_pictures_are_those_of_the_full_model() {
        for (level, tolerance) in [(Level::TwoScrews, 0.08), (Level::Mask, 0.15)] {
            let session = session(level);
            let state = session.state();
            let quick = Eye::new(session.instrument())
                .look(&state, NOW)
                .unwrap()
                .expected;
            let settings = Settings::default();
            let mut full = session.instrument().clone();
            full.camera.wavelengths = None;
            let model = Model::new(&full, &state, settings).unwrap();
            let exact = Expected::new(&model, &full, &state, settings)
                .unwrap()
                .image;
            let off = distance(&quick, &exact);
            println!("{level:?}: quick picture {off:.4} from the full one (relative L2)");
            assert!(off < tolerance, "{level:?}: {off}");
        }
    }

    #[test]
    fn moving_air_changes_from_moment_to_moment_and_repeats() {
        let session = session(Level::Seeing);
        let mut eye = Eye::new(session.instrument());
        let mut at = |start_s| {
            eye.look(&session.state(), Moment { start_s, ..NOW })
                .unwrap()
                .expected
        };
        let (first, later, again) = (at(0.0), at(1.0), at(0.0));
        assert_eq!(first, again);
        assert!(distance(&first, &later) > 0.1);
    }

    #[test]
    fn a_star_far_outside_leaves_a_dark_frame() {
        let session = session(Level::OneScrew);
        let mut state = session.state();
        state.aside_m = FieldM::new([1e-3, 0.0]);
        let mut eye = Eye::new(session.instrument());
        let dark = eye.look(&state, NOW).unwrap().expected;
        let lit = eye.look(&session.state(), NOW).unwrap().expected;
        assert!(dark.sum() < 0.2 * lit.sum(), "{} {}", dark.sum(), lit.sum());
    }
}
