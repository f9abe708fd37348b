//! A telescope, a night and a frame drawn from a seed: what measuring is judged on.
//!
//! Nothing here is shared with the fit but the engine itself; frames are sampled finer than the fit samples them, have more
//! wavelengths where the world is mismatched, and are then blurred by another law of seeing than the fit knows.

use ndarray::Array2;
use rand::RngExt;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use skewstar::instrument::{Electronics, Instrument, MaskLayout, Passband};
use skewstar::measure::Picture;
use skewstar::predict::{Expected, Model, Settings};
use skewstar::rng::Seed;
use skewstar::scenario;
use skewstar::simulate::read_out;
use skewstar::state::{Modes, Sky, Star, State};
use skewstar::units::{ARCSEC, DEG, MM, NM, UM};
use std::f64::consts::{FRAC_PI_2, TAU};

/// What is in the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// Doughnuts of some width in pixels, from … to.
    Doughnut([f64; 2]),
    /// A star near focus behind a mask.
    Masked(Layout),
}

/// Which mask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Layout {
    OneTriplet,
    ThreeTriplet,
    TwoZone,
}

/// What the world is like.
#[derive(Debug, Clone, Copy)]
pub struct Climate {
    pub kind: Kind,
    pub electrons: f64,
    /// Coma is drawn evenly between these, nm RMS, in any direction.
    pub coma_nm: [f64; 2],
    /// Whether reality differs from what the owner typed.
    pub mismatched: bool,
    /// How far the obstruction sits aside without the owner knowing, mm.
    pub aside_mm: f64,
}

/// One world.
pub struct World {
    /// What the owner knows.
    pub typed: Instrument,
    /// What is there.
    pub real: Instrument,
    pub state: State,
    climate: Climate,
    seed: u64,
    /// FWHM in arcsec, Moffat's β.
    moffat: [f64; 2],
    drift_px: [f64; 2],
    hot_px: usize,
}

const BACKGROUND_E: f64 = 24.0;
/// Sub-pixels in which a mismatched frame is blurred.
const FINER: usize = 2;

impl World {
    pub fn new(climate: Climate, seed: u64) -> World {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut even = |from: f64, to: f64| from + (to - from) * rng.random::<f64>();
        let mut typed = base(climate.kind);
        let ratio = typed.telescope.focal_ratio();
        let mut state = State {
            mask_on: matches!(climate.kind, Kind::Masked(_)),
            sky: Sky {
                seeing_rad: Some(even(1.5, 3.2) * ARCSEC),
                ..Sky::default()
            },
            star: Some(Star {
                magnitude: 0.0,
                temperature_k: even(3500.0, 10_000.0),
                altitude_rad: FRAC_PI_2,
            }),
            ..State::default()
        };
        let side_px = match climate.kind {
            Kind::Doughnut([from, to]) => {
                let width_px = even(from, to);
                let outside = if even(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 };
                state.sensor_offset_m = outside * width_px * ratio * typed.camera.pixel_m;
                // a large coma pushes the ring far from the middle; stars cut by the edge are another matter
                let pushed_px = (0.06 * (climate.coma_nm[1] - 300.0)).max(0.0);
                (1.25 * width_px + 20.0 + 2.0 * pushed_px) as usize
            }
            Kind::Masked(_) => {
                state.sensor_offset_m = even(-8.0, 8.0) * UM;
                80
            }
        };
        (typed.camera.width_px, typed.camera.height_px) = (side_px, side_px + 4);
        let (coma_nm, azimuth) = (even(climate.coma_nm[0], climate.coma_nm[1]), even(0.0, TAU));
        let mut modes: Modes = [(8, coma_nm * azimuth.cos()), (7, coma_nm * azimuth.sin())]
            .map(|(noll, nm)| (noll, nm * NM))
            .into_iter()
            .collect();
        for noll in [5, 6, 9, 10, 11] {
            modes.add(noll, even(-20.0, 20.0) * NM);
        }
        let mut world = World {
            moffat: [even(1.5, 3.2), even(2.5, 4.0)],
            drift_px: [even(-0.8, 0.8), even(-0.8, 0.8)],
            hot_px: side_px * side_px / 1000,
            real: typed.clone(),
            typed,
            state,
            climate,
            seed,
        };
        if climate.mismatched {
            world.real.camera.wavelengths = Some(9);
            world.typed.camera.wavelengths = None;
            let signs: Vec<f64> = (0..6)
                .map(|_| if even(0.0, 1.0) < 0.5 { -1.0 } else { 1.0 })
                .collect();
            spoil(&mut world.real, &signs);
            for (noll, sign) in [(9, signs[3]), (10, signs[4]), (11, signs[5])] {
                modes.add(noll, 30.0 * NM * sign);
            }
        }
        let aside = climate.aside_mm * MM;
        let towards = even(0.0, TAU);
        if let Some(obstruction) = &mut world.real.telescope.obstruction {
            obstruction.offset_m[0] += aside * towards.cos();
            obstruction.offset_m[1] += aside * towards.sin();
        }
        world.state.modes = modes;
        world
    }

    /// The same telescope with its sensor on the other side of focus.
    pub fn other_side(&self) -> World {
        let mut other = World {
            typed: self.typed.clone(),
            real: self.real.clone(),
            state: self.state.clone(),
            seed: self.seed + 1_000_000,
            ..*self
        };
        other.state.sensor_offset_m *= -1.0;
        other
    }

    pub fn coma_nm(&self) -> [f64; 2] {
        [7, 8].map(|noll| self.state.modes.get(noll) / NM)
    }

    /// What the camera delivers.
    pub fn picture(&self) -> Picture {
        let expected = if self.climate.mismatched {
            self.blurred_by_moffat()
        } else {
            let model = Model::new(&self.real, &self.state, Settings::default()).expect("a model");
            model.light::<f64>()
        };
        let expected = Expected {
            image: expected.mapv(|share| share * self.climate.electrons + BACKGROUND_E),
            in_electrons: true,
            star_total: self.climate.electrons,
            light_in_frame: 1.0,
            background_per_px: BACKGROUND_E,
            dark_per_px: 0.0,
        };
        let electronics = electronics();
        let frame = read_out(
            &expected,
            &electronics,
            self.real.camera.pixel_m,
            Seed(self.seed),
        );
        let mut values_adu = frame.counts_adu.mapv(f64::from);
        if self.climate.mismatched {
            let mut rng = ChaCha8Rng::seed_from_u64(self.seed ^ 0x00c0_ffee);
            for _ in 0..self.hot_px {
                let (rows, columns) = values_adu.dim();
                let place = [rng.random_range(0..rows), rng.random_range(0..columns)];
                values_adu[place] += 3000.0 * rng.random::<f64>();
            }
        }
        Picture {
            values_adu,
            ceiling_adu: Some(65_535.0),
            gain_e_per_adu: None,
            exposure_s: None,
            mosaic: false,
            pattern: None,
            sky_mirrored: None,
            filled_in: false,
            missing_px: Vec::new(),
        }
    }

    /// Moffat's law of seeing and a drift, on pixels cut in `FINER`.
    fn blurred_by_moffat(&self) -> Array2<f64> {
        let mut fine = self.real.clone();
        let camera = &mut fine.camera;
        camera.pixel_m /= FINER as f64;
        const GUARD_PX: usize = 12;
        camera.width_px = (camera.width_px + 2 * GUARD_PX) * FINER;
        camera.height_px = (camera.height_px + 2 * GUARD_PX) * FINER;
        let state = State {
            sky: Sky::default(),
            ..self.state.clone()
        };
        let model = Model::new(&fine, &state, Settings::default()).expect("a model");
        let sharp = model.light::<f64>();
        let fine_arcsec = fine.camera.pixel_m / fine.telescope.focal_length_m / ARCSEC;
        let kernel = self.kernel(fine_arcsec);
        let reach = kernel.nrows() / 2;
        let camera = &self.real.camera;
        let mut blurred = Array2::zeros((camera.height_px, camera.width_px));
        for ((row, column), pixel) in blurred.indexed_iter_mut() {
            let mut sum = 0.0;
            for (dy, dx) in (0..FINER * FINER).map(|i| (i / FINER, i % FINER)) {
                let (y, x) = (
                    (row + GUARD_PX) * FINER + dy - reach,
                    (column + GUARD_PX) * FINER + dx - reach,
                );
                for (k, line) in kernel.outer_iter().enumerate() {
                    let from = sharp.row(y + k);
                    sum += line
                        .iter()
                        .enumerate()
                        .map(|(m, w)| w * from[x + m])
                        .sum::<f64>();
                }
            }
            *pixel = sum;
        }
        blurred
    }

    fn kernel(&self, fine_arcsec: f64) -> Array2<f64> {
        const REACH: i32 = 20;
        const STEPS: i32 = 9;
        let [fwhm, beta] = self.moffat;
        let scale = fwhm / (2.0 * (2f64.powf(1.0 / beta) - 1.0).sqrt());
        let side = (2 * REACH + 1) as usize;
        let mut kernel = Array2::from_shape_fn((side, side), |(row, column)| {
            let (y, x) = (row as i32 - REACH, column as i32 - REACH);
            (0..STEPS)
                .map(|i| f64::from(i) / f64::from(STEPS - 1) - 0.5)
                .map(|t| {
                    let dx = f64::from(x) - t * self.drift_px[0] * FINER as f64;
                    let dy = f64::from(y) - t * self.drift_px[1] * FINER as f64;
                    (1.0 + dx.hypot(dy).powi(2) * (fine_arcsec / scale).powi(2)).powf(-beta)
                })
                .sum::<f64>()
        });
        let total = kernel.sum();
        kernel /= total;
        kernel
    }
}

/// Obstruction wrong by 1 %, mask turned by 1 degree, band off by 10 nm, focal ratio off by 2 %.
fn spoil(real: &mut Instrument, signs: &[f64]) {
    if let Some(obstruction) = &mut real.telescope.obstruction {
        obstruction.diameter_m *= 1.0 + 0.01 * signs[0];
    }
    if let Some(mask) = &mut real.mask {
        mask.rotation_rad += signs[1] * DEG;
    }
    if let Passband::Band(band) = &mut real.camera.passband {
        band.iter_mut()
            .for_each(|edge| *edge += 10.0 * NM * signs[2]);
    }
    real.telescope.focal_length_m *= 1.0 + 0.02 * signs[3];
}

/// The camera of all frames.
pub fn electronics() -> Electronics {
    Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 1.2,
        bias_adu: 310.0,
        read_noise_e: 2.1,
        dark_e_per_s: 0.0,
        full_well_e: 1e9,
        bits: 16,
        pixel_response_rms: 0.0,
    }
}

/// An invented fast unit on a turned camera, with the mask of a lesson.
pub fn base(kind: Kind) -> Instrument {
    let text = match kind {
        Kind::Masked(Layout::TwoZone) => include_str!("../../scenarios/mask-two-zone-coma.toml"),
        Kind::Masked(_) => include_str!("../../scenarios/mask-three-triplet-focus.toml"),
        Kind::Doughnut(_) => include_str!("../../scenarios/night-fast-unit.toml"),
    };
    let scenario = scenario::read_bytes(text.as_bytes(), "lesson", &[]).expect("a lesson");
    let mut instrument = scenario.instrument;
    let camera = &mut instrument.camera;
    camera.rotation_rad = 25.0 * DEG;
    camera.passband = Passband::Band([500.0 * NM, 600.0 * NM]);
    camera.wavelengths = Some(5);
    camera.electronics = Some(electronics());
    if let (Kind::Masked(Layout::OneTriplet), Some(mask)) = (kind, &mut instrument.mask) {
        mask.layout = MaskLayout::ONE_TRIPLET;
    }
    instrument
}
