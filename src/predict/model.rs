//! The prepared model of a star: pupil on its grid, wavelengths, window on the sensor.

use super::demand::demand;
use super::textbook::critical_focus_m;
use crate::atmosphere::{Blur, Spectrum, airmass, fried_m, seeing_fwhm_rad};
use crate::axes::FramePx;
use crate::geometry::CellGrid;
use crate::instrument::{Instrument, Passband};
use crate::math::Real;
use crate::mechanics::{Alignment, align};
use crate::propagation::{
    Accuracy, CellAverages, CellSum, Field, FieldMaps, LengthMap, Plan, Propagator, Sampling,
    Window,
};
use crate::pupil::{Pupil, frame_axes, frame_px};
use crate::spectrum::{Bin, bins, reference_m};
use crate::state::{Modes, State};
use crate::wavefront::Wavefront;
use ndarray::Array2;
use rayon::prelude::*;
use std::borrow::Cow;
use std::cell::RefCell;
use std::f64::consts::TAU;
use std::sync::Arc;

/// How a model computes, apart from what it computes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settings {
    /// How finely pupil, sensor and passband are sampled.
    pub accuracy: Accuracy,
    /// Whether the same bytes are wanted on all processors, more slowly.
    pub portable: bool,
    /// Whether the truth holds the photon bound, which takes about ten times as long as the frame.
    pub bound: bool,
    /// Whether the truth holds the measured sampling error, which takes several times as long as a small frame.
    pub sampling_check: bool,
    /// Frames in single precision, good to six digits, in half the time.
    pub single_precision: bool,
    /// A star that would take more memory than this is refused ([`PredictError::TooLarge`]) before anything is allocated.
    pub memory_gib: f64,
}

impl Default for Settings {
    /// The default accuracy, the fastest arithmetic, with the sampling error and without the photon bound.
    fn default() -> Self {
        Settings {
            accuracy: Accuracy::default(),
            portable: false,
            bound: false,
            sampling_check: true,
            single_precision: false,
            memory_gib: MEMORY_LIMIT_GIB,
        }
    }
}

/// Why a star cannot be predicted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PredictError {
    /// Nothing of the aperture is open.
    #[error("no light passes: the obstruction, vanes and mask cover the whole aperture")]
    Dark,
    /// The sampling that the job needs does not fit in memory.
    #[error(
        "this star needs about {needed_gib:.1} GiB ({cells} pupil cells and {samples} sensor samples a side), the limit is {limit_gib:.0} GiB"
    )]
    TooLarge {
        /// Estimate.
        needed_gib: f64,
        /// Limit.
        limit_gib: f64,
        /// Cells across the pupil grid.
        cells: usize,
        /// Samples along the longer side of the frame.
        samples: usize,
    },
    /// All wavelengths fall into gaps of the passband.
    #[error("the passband has no transmission at any of its {0} wavelengths")]
    NoBand(usize),
}

impl PredictError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            PredictError::Dark => {
                "make the obstruction smaller than the aperture, or take the mask off (state.mask_on = false)"
            }
            PredictError::TooLarge { .. } => {
                "make the frame smaller (camera.width_px, camera.height_px) or the defocus less; a whole sensor of stars is for skewstar field"
            }
            PredictError::NoBand(_) => {
                "raise camera.wavelengths, or give the passband table entries with transmission above 0"
            }
        }
    }
}

/// A star, prepared.
pub struct Model {
    /// Tilt and piston of the unit, and the modes, sensor offset and image shift that follow from them.
    pub alignment: Alignment,
    /// The sampling in use.
    pub plan: Plan,
    /// Wavelengths and their shares of the photons.
    pub bins: Vec<Bin>,
    /// Photon-weighted mean wavelength.
    pub reference_m: f64,
    /// Open area of the pupil.
    pub open_area_m2: f64,
    /// Where a wave with W = 0 would focus, frame pixels.
    pub star_px: FramePx,
    pub(super) instrument: Instrument,
    pub(super) state: State,
    pub(super) passband: Passband,
    pub(super) maps: Arc<FieldMaps>,
    pub(super) blur: Option<BlurTerms>,
    pub(super) settings: Settings,
}

/// What is common to the blur of all wavelengths.
#[derive(Debug, Clone, Copy)]
pub(super) struct BlurTerms {
    pub zenith_fwhm_rad: Option<f64>,
    pub airmass: f64,
    pub drift_m: [f64; 2],
}

/// No star takes more memory than this, its derivatives included ([`PredictError::TooLarge`]).
pub(super) const MEMORY_LIMIT_GIB: f64 = 6.0;
/// Images that take less memory than this are computed two wavelengths at a time: their loops are too short to share among threads.
const SMALL_BYTES: f64 = 60e6;
const GIB: f64 = 1024.0 * 1024.0 * 1024.0;

impl Model {
    /// Prepares the whole camera's passband.
    ///
    /// # Errors
    /// [`PredictError`] when no light passes, or the job does not fit in memory.
    pub fn new(
        instrument: &Instrument,
        state: &State,
        settings: Settings,
    ) -> Result<Self, PredictError> {
        Self::with_passband(instrument, state, &instrument.camera.passband, settings)
    }

    /// Prepares the star in another passband than the camera's: one colour of a filter array.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn with_passband(
        instrument: &Instrument,
        state: &State,
        passband: &Passband,
        settings: Settings,
    ) -> Result<Self, PredictError> {
        let alignment = align(instrument, state);
        let pupil = Pupil::new(instrument, state);
        if pupil.open_area_m2() < 1e-9 * instrument.telescope.aperture_m.powi(2) {
            return Err(PredictError::Dark);
        }
        let star_px = place_px(instrument, state, &alignment);
        let blur = blur_terms(instrument, state);
        let demand = demand(
            instrument,
            state,
            &alignment,
            passband,
            star_px,
            blur.as_ref(),
        );
        let plan = Plan::new(&demand, &settings.accuracy);
        let bytes = plan.memory_bytes(demand.frame_px);
        within_memory(&plan, demand.frame_px, bytes, settings.memory_gib)?;
        let bins = bins(
            passband,
            plan.wavelengths,
            state.star.as_ref().map(|s| s.temperature_k),
        );
        if bins.iter().all(|bin| bin.weight == 0.0) {
            return Err(PredictError::NoBand(bins.len()));
        }
        let reference_m = reference_m(&bins);
        Ok(Model {
            open_area_m2: pupil.open_area_m2(),
            maps: remembered_maps(pupil, plan.grid),
            instrument: instrument.clone(),
            state: state.clone(),
            passband: passband.clone(),
            alignment,
            plan,
            bins,
            reference_m,
            star_px,
            blur,
            settings,
        })
    }

    /// The same star in another passband.
    ///
    /// # Errors
    /// As [`Model::new`].
    pub fn in_passband(&self, passband: &Passband) -> Result<Self, PredictError> {
        Self::with_passband(&self.instrument, &self.state, passband, self.settings)
    }

    /// Looks at the star elsewhere in the frame, or through other atmosphere (FWHM at the zenith; 0 for none; a star that was
    /// prepared without atmosphere stays without), with the sampling as it was planned: for small changes, as a fit makes them.
    pub fn look(&mut self, star_px: FramePx, seeing_rad: f64) {
        self.star_px = star_px;
        if let Some(blur) = &mut self.blur {
            blur.zenith_fwhm_rad = Some(seeing_rad).filter(|s| *s > 0.0);
        }
    }

    /// Looks at a star that drifts so far over the exposure, pixels in frame axes; a star that was prepared with neither atmosphere nor
    /// drift stays without.
    pub fn drift(&mut self, drift_px: [f64; 2]) {
        let pixel_m = self.instrument.camera.pixel_m;
        if let Some(blur) = &mut self.blur {
            blur.drift_m = drift_px.map(|d| d * pixel_m);
        }
    }

    /// How it computes.
    pub fn settings(&self) -> Settings {
        self.settings
    }

    /// Share of the star's light in each pixel of the frame, all wavelengths, seeing and drift included; element `[[row, column]]`, row 0 at
    /// the bottom, in frame axes.
    pub fn light<T: Real>(&self) -> Array2<f64> {
        self.light_of::<T>(
            &self.alignment.modes,
            self.alignment.sensor_offset_m,
            &self.bins,
        )
    }

    /// The same for other modes (Noll, metres RMS), another sensor offset (metres beyond focus) or other wavelengths, over the same pupil
    /// and with the sampling as it was planned.
    pub fn light_of<T: Real>(
        &self,
        modes: &Modes,
        sensor_offset_m: f64,
        bins: &[Bin],
    ) -> Array2<f64> {
        self.light_in::<T>(&Waves::new(self, modes, sensor_offset_m), bins)
    }

    /// The light of prepared wavefronts.
    pub(super) fn light_in<T: Real>(&self, waves: &Waves, bins: &[Bin]) -> Array2<f64> {
        let window = self.window();
        let mut sum = match self.blur {
            None => Sum::Plain(Array2::zeros((window.rows, window.columns))),
            Some(_) => Sum::Blurred(Spectrum::new(
                window.rows,
                window.columns,
                window.cell_m,
                self.settings.portable,
            )),
        };
        let propagator = Propagator::<T>::new(self.settings.portable);
        let lit: Vec<&Bin> = bins.iter().filter(|b| b.weight > 0.0).collect();
        for together in lit.chunks(self.wavelengths_at_once()) {
            let images: Vec<Array2<f64>> = together
                .par_iter()
                .map(|bin| {
                    let lengths = waves.at(bin.wavelength_m);
                    let averages = CellAverages::new(&lengths, bin.wavelength_m);
                    let field = self.field::<T>(&averages, bin.wavelength_m);
                    propagator.irradiance(&field, &window)
                })
                .collect();
            for (bin, light) in together.iter().zip(&images) {
                match &mut sum {
                    Sum::Plain(total) => total.scaled_add(bin.weight, light),
                    Sum::Blurred(spectrum) => {
                        spectrum.add(light, &self.blur_at(bin.wavelength_m), bin.weight)
                    }
                }
            }
        }
        match sum {
            Sum::Plain(total) => total,
            Sum::Blurred(spectrum) => self.pixels(&spectrum.into_image()),
        }
    }

    /// The pupil field of one wavelength.
    pub(super) fn field<'a, T: Real>(
        &self,
        averages: &'a CellAverages,
        wavelength_m: f64,
    ) -> Field<'a, T> {
        Field {
            grid: self.maps.grid(),
            rows: averages,
            wavelength_m,
            focal_length_m: self.instrument.telescope.focal_length_m,
            open_area_m2: self.open_area_m2,
            sampling: Sampling::Averages,
        }
    }

    /// Estimated memory of a frame, bytes.
    pub fn memory_bytes(&self) -> f64 {
        let camera = &self.instrument.camera;
        self.plan.memory_bytes([camera.width_px, camera.height_px])
    }

    /// How many wavelengths are computed at the same time: see [`SMALL_BYTES`].
    fn wavelengths_at_once(&self) -> usize {
        let bytes = self.memory_bytes();
        if bytes < SMALL_BYTES { 2 } else { 1 }
    }

    /// W at a wavelength, in frame axes.
    pub fn wavefront(&self, modes: &Modes, sensor_offset_m: f64, wavelength_m: f64) -> Wavefront {
        let telescope = &self.instrument.telescope;
        Wavefront::new(
            telescope,
            modes,
            sensor_offset_m,
            wavelength_m,
            frame_axes(&self.instrument),
        )
    }

    /// W of the state at the reference wavelength.
    pub fn reference_wavefront(&self) -> Wavefront {
        self.wavefront(
            &self.alignment.modes,
            self.alignment.sensor_offset_m,
            self.reference_m,
        )
    }

    /// How far beyond the table's zero the reference wavelength comes to focus, metres, where that is more than a tenth of the critical
    /// focus zone; `None` where it is less. Sensor offsets are counted from the focus at which the telescope's chromatic table is
    /// zero: where this is `Some`, they are not counted from the reference wavelength's own focus.
    pub fn colour_focus_m(&self) -> Option<f64> {
        let zone_m = critical_focus_m(self.reference_m, self.instrument.telescope.focal_ratio());
        let focus_m = self.alignment.sensor_offset_m - self.reference_wavefront().sensor_offset_m;
        Some(focus_m).filter(|focus_m| focus_m.abs() > 0.1 * zone_m)
    }

    /// Error of the sampling: the relative L2 change of the reference wavelength's frame when all steps are made 1.5 times finer.
    ///
    /// # Errors
    /// [`PredictError::TooLarge`] when the finer frame does not fit in memory.
    pub fn sampling_error(&self) -> Result<f64, PredictError> {
        let bin = Bin {
            wavelength_m: self.reference_m,
            weight: 1.0,
        };
        let here = self.light_of::<f64>(
            &self.alignment.modes,
            self.alignment.sensor_offset_m,
            &[bin],
        );
        let settings = Settings {
            accuracy: self.settings.accuracy.finer(1.5),
            ..self.settings
        };
        let finer = Model::with_passband(&self.instrument, &self.state, &self.passband, settings)?;
        let there = finer.light_of::<f64>(
            &self.alignment.modes,
            self.alignment.sensor_offset_m,
            &[bin],
        );
        let change: f64 = here
            .iter()
            .zip(&there)
            .map(|(a, b)| (a - b) * (a - b))
            .sum();
        let size: f64 = there.iter().map(|b| b * b).sum();
        Ok((change / size).sqrt())
    }

    /// The pupil grid in use.
    pub fn grid(&self) -> CellGrid {
        self.maps.grid()
    }

    /// The window on the sensor: one cell a pixel, or several where the light is still to be blurred.
    pub(super) fn window(&self) -> Window {
        let camera = &self.instrument.camera;
        let guard = self.plan.guard_px;
        let per_pixel = self.plan.blur_cells;
        let edge = |axis: usize| -(self.star_px[axis] + 0.5 + guard as f64) * camera.pixel_m;
        Window {
            columns: (camera.width_px + 2 * guard) * per_pixel,
            rows: (camera.height_px + 2 * guard) * per_pixel,
            cell_m: camera.pixel_m / per_pixel as f64,
            sub_samples: self.plan.sub_samples / per_pixel,
            corner_m: [edge(0), edge(1)],
            sum: CellSum::Integral,
        }
    }

    pub(super) fn blur_at(&self, wavelength_m: f64) -> Blur {
        let terms = self.blur.unwrap_or(BlurTerms {
            zenith_fwhm_rad: None,
            airmass: 1.0,
            drift_m: [0.0; 2],
        });
        let fried = terms.zenith_fwhm_rad.map_or(f64::INFINITY, |zenith| {
            fried_m(
                seeing_fwhm_rad(zenith, terms.airmass, wavelength_m),
                wavelength_m,
            )
        });
        Blur {
            fried_m: fried,
            baseline_per_frequency_m2: wavelength_m * self.instrument.telescope.focal_length_m,
            drift_m: terms.drift_m,
        }
    }

    /// Cuts the guard off and adds the cells of each pixel.
    pub(super) fn pixels(&self, image: &Array2<f64>) -> Array2<f64> {
        let camera = &self.instrument.camera;
        let (k, guard) = (self.plan.blur_cells, self.plan.guard_px);
        Array2::from_shape_fn((camera.height_px, camera.width_px), |(row, column)| {
            let (y, x) = ((row + guard) * k, (column + guard) * k);
            (y..y + k)
                .map(|j| (x..x + k).map(|i| image[[j, i]]).sum::<f64>())
                .sum()
        })
    }
}

/// Cells of all pupils together that a thread remembers: frames of one set mostly share their pupil and differ in the wavefront.
const REMEMBERED_CELLS: usize = 2_500_000;

thread_local! {
    static PUPILS: RefCell<Vec<(Pupil, Arc<FieldMaps>)>> = const { RefCell::new(Vec::new()) };
}

/// The maps of a pupil: those made before for exactly the same openings and grid, or new ones. Memory only, never a result.
fn remembered_maps(pupil: Pupil, grid: CellGrid) -> Arc<FieldMaps> {
    let same = |entry: &&(Pupil, Arc<FieldMaps>)| entry.1.grid() == grid && entry.0 == pupil;
    let known = PUPILS.with_borrow(|all| all.iter().find(same).map(|entry| entry.1.clone()));
    if let Some(maps) = known {
        return maps;
    }
    let maps = Arc::new(FieldMaps::new(&pupil, grid));
    let cells = |entry: &(Pupil, Arc<FieldMaps>)| entry.1.grid().count.pow(2);
    PUPILS.with_borrow_mut(|all| {
        all.push((pupil, maps.clone()));
        while all.iter().map(cells).sum::<usize>() > REMEMBERED_CELLS {
            all.remove(0);
        }
    });
    maps
}

enum Sum {
    Plain(Array2<f64>),
    Blurred(Spectrum),
}

/// Refuses a job that does not fit in memory.
pub(super) fn within_memory(
    plan: &Plan,
    frame_px: [usize; 2],
    bytes: f64,
    limit_gib: f64,
) -> Result<(), PredictError> {
    let needed_gib = bytes / GIB;
    if needed_gib <= limit_gib {
        return Ok(());
    }
    Err(PredictError::TooLarge {
        needed_gib,
        limit_gib,
        cells: plan.grid.count,
        samples: frame_px[0].max(frame_px[1]) * plan.sub_samples,
    })
}

/// Where a wave with W = 0 would focus: the centre of the frame, moved by the image shift where the frame does not follow the star, and
/// from there by its place.
pub fn star_place_px(instrument: &Instrument, state: &State) -> FramePx {
    place_px(instrument, state, &align(instrument, state))
}

fn place_px(instrument: &Instrument, state: &State, alignment: &Alignment) -> FramePx {
    let from_px = if state.recentred {
        instrument.camera.middle_px()
    } else {
        frame_px(instrument, alignment.image_shift_m)
    };
    from_px + state.place_px
}

fn blur_terms(instrument: &Instrument, state: &State) -> Option<BlurTerms> {
    let drift_m = state
        .sky
        .tracking_drift_px
        .map(|d| d * instrument.camera.pixel_m);
    let zenith_fwhm_rad = state.sky.seeing_rad.filter(|s| *s > 0.0);
    if zenith_fwhm_rad.is_none() && drift_m == [0.0; 2] {
        return None;
    }
    Some(BlurTerms {
        zenith_fwhm_rad,
        airmass: airmass_of(state),
        drift_m,
    })
}

/// Airmass of the star; without a star, of the zenith.
pub(super) fn airmass_of(state: &State) -> f64 {
    airmass(state.star.as_ref().map_or(0.25 * TAU, |s| s.altitude_rad))
}

/// The wavefront W over the pupil's cells, in metres; made once where it is the same for all wavelengths.
pub(super) struct Waves<'a> {
    model: &'a Model,
    modes: &'a Modes,
    sensor_offset_m: f64,
    /// Path that the atmosphere adds in every cell, in a short exposure.
    atmosphere_m: Option<&'a Array2<f64>>,
    shared: Option<LengthMap>,
}

impl<'a> Waves<'a> {
    pub fn new(model: &'a Model, modes: &'a Modes, sensor_offset_m: f64) -> Self {
        Self::through(model, modes, sensor_offset_m, None)
    }

    /// The same through the atmosphere of one moment.
    pub fn through(
        model: &'a Model,
        modes: &'a Modes,
        sensor_offset_m: f64,
        atmosphere_m: Option<&'a Array2<f64>>,
    ) -> Self {
        let mut waves = Waves {
            model,
            modes,
            sensor_offset_m,
            atmosphere_m,
            shared: None,
        };
        if model.instrument.telescope.chromatic.is_empty() {
            waves.shared = Some(waves.make(model.reference_m));
        }
        waves
    }

    pub fn at(&self, wavelength_m: f64) -> Cow<'_, LengthMap> {
        match &self.shared {
            Some(lengths) => Cow::Borrowed(lengths),
            None => Cow::Owned(self.make(wavelength_m)),
        }
    }

    fn make(&self, wavelength_m: f64) -> LengthMap {
        let wavefront = self
            .model
            .wavefront(self.modes, self.sensor_offset_m, wavelength_m);
        self.model
            .maps
            .lengths_through(&wavefront, self.atmosphere_m)
    }
}
