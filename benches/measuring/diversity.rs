//! A published worked example as yardstick: a wavefront from a focused and a defocused frame.
//!
//! Source: A. Blanc, T. Fusco, M. Hartung, L. M. Mugnier, G. Rousset, Astron. Astrophys. 399, 373 (2003), "Calibration of NAOS and
//! CONICA static aberrations: application of the phase diversity technique" (article aa2912), section 4 and table 2; volume from
//! memory. Conditions: 2.166 µm, defocus of 641.5 nm RMS between the frames, white noise of 1/200 of the focused peak in both,
//! about 4 pixels per λ/D. A clear pupil is our own choice: the article's table does not depend on it much.

use super::world::{Kind, base};
use ndarray::Array2;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, Normal};
use rayon::prelude::*;
use serde::Serialize;
use skewstar::axes::FieldM;
use skewstar::instrument::{Instrument, Passband};
use skewstar::measure::fit::{FrameView, Look, Recorded, TrialState, Unknown, approach, finish};
use skewstar::measure::settings::FitSettings;
use skewstar::predict::{Model, Settings};
use skewstar::propagation::Accuracy;
use skewstar::state::{Modes, State};
use skewstar::units::NM;

const WAVELENGTH_NM: f64 = 2166.0;
const DEFOCUS_NM: f64 = 641.5;
const NOISE_OF_PEAK: f64 = 1.0 / 200.0;
const PIXELS_PER_RESOLUTION: f64 = 4.0;
/// Noll 4 to 15, nm RMS.
const TRUE_NM: [f64; 12] = [
    60.5, -39.3, 58.1, -16.2, -14.1, -2.5, 13.7, -24.3, 0.5, -3.2, 2.8, -2.4,
];
/// The article's errors of the same modes, nm RMS.
const PUBLISHED_NM: [f64; 12] = [1.0, 7.4, 3.6, 0.3, 3.1, 1.1, 0.7, 1.7, 0.7, 1.7, 0.4, 0.2];
const SIDE_PX: usize = 64;
/// Electrons so many that photon noise is nothing beside the white noise.
const ELECTRONS: f64 = 1e12;

/// Errors over all draws.
#[derive(Debug, Clone, Serialize)]
pub struct Yardstick {
    pub draws: usize,
    pub true_nm: Vec<f64>,
    /// Root mean square error of each mode.
    pub error_nm: Vec<f64>,
    pub bound_nm: Vec<f64>,
    pub published_nm: Vec<f64>,
    pub error_rms_nm: f64,
    pub bound_rms_nm: f64,
    pub published_rms_nm: f64,
}

/// Fits the pair with `draws` draws of the noise.
pub fn yardstick(draws: u64) -> Yardstick {
    let instrument = instrument();
    let frames = [0.0, DEFOCUS_NM].map(|defocus| light(&instrument, defocus));
    let peak = frames[0].iter().copied().fold(0.0, f64::max);
    let sigma_e = peak * NOISE_OF_PEAK;
    let found: Vec<Vec<(f64, f64)>> = (1..=draws)
        .into_par_iter()
        .map(|seed| fit(&instrument, &frames, sigma_e, seed))
        .collect();
    let rms = |values: &mut dyn Iterator<Item = f64>, count: usize| {
        (values.map(|v| v * v).sum::<f64>() / count as f64).sqrt()
    };
    let of_mode = |k: usize, pick: &dyn Fn(&(f64, f64)) -> f64| {
        rms(&mut found.iter().map(|f| pick(&f[k])), found.len())
    };
    let error_nm: Vec<f64> = (0..12).map(|k| of_mode(k, &|f| f.0 - TRUE_NM[k])).collect();
    let bound_nm: Vec<f64> = (0..12).map(|k| of_mode(k, &|f| f.1)).collect();
    let all = |values: &[f64]| rms(&mut values.iter().copied(), values.len());
    Yardstick {
        draws: found.len(),
        true_nm: TRUE_NM.to_vec(),
        error_rms_nm: all(&error_nm),
        bound_rms_nm: all(&bound_nm),
        published_rms_nm: all(&PUBLISHED_NM),
        error_nm,
        bound_nm,
        published_nm: PUBLISHED_NM.to_vec(),
    }
}

fn instrument() -> Instrument {
    let mut instrument = base(Kind::Doughnut([30.0, 30.0]));
    let (telescope, camera) = (&mut instrument.telescope, &mut instrument.camera);
    telescope.obstruction = None;
    telescope.vanes.clear();
    telescope.design = Modes::none();
    instrument.assembly = None;
    camera.rotation_rad = 0.0;
    (camera.width_px, camera.height_px) = (SIDE_PX, SIDE_PX);
    camera.wavelengths = Some(1);
    camera.passband = Passband::Band([WAVELENGTH_NM - 0.5, WAVELENGTH_NM + 0.5].map(|nm| nm * NM));
    telescope.focal_length_m =
        telescope.aperture_m * PIXELS_PER_RESOLUTION * camera.pixel_m / (WAVELENGTH_NM * NM);
    instrument
}

fn true_modes(defocus_nm: f64) -> Modes {
    let mut modes: Modes = (4u32..).zip(TRUE_NM.map(|nm| nm * NM)).collect();
    modes.add(4, defocus_nm * NM);
    modes
}

fn light(instrument: &Instrument, defocus_nm: f64) -> Array2<f64> {
    let state = State {
        modes: true_modes(defocus_nm),
        ..State::default()
    };
    // sampled finer than the fit samples
    let mut settings = Settings::default();
    settings.accuracy = settings.accuracy.finer(1.5);
    let model = Model::new(instrument, &state, settings).expect("a model");
    model.light::<f64>() * ELECTRONS
}

/// Noll 4 to 15: value and standard deviation, nm.
fn fit(
    instrument: &Instrument,
    frames: &[Array2<f64>; 2],
    sigma_e: f64,
    seed: u64,
) -> Vec<(f64, f64)> {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    let noise = Normal::new(0.0, sigma_e).expect("a width");
    let settings = FitSettings {
        accuracy: Accuracy::default(),
        ..FitSettings::default()
    };
    let look = Look {
        portable: false,
        temperature_k: None,
        settings,
    };
    let mut trial = TrialState {
        unknowns: Vec::new(),
        values: Vec::new(),
        fixed: Modes::none(),
    };
    let middle = 0.5 * (SIDE_PX as f64 - 1.0);
    let mut views: Vec<FrameView> = Vec::new();
    for (number, frame) in frames.iter().enumerate() {
        let recorded = Recorded {
            image_e: frame.mapv(|v| v + noise.sample(&mut rng)),
            usable: Array2::from_elem(frame.dim(), true),
            floor_e2: sigma_e * sigma_e,
            pattern: None,
            mask_on: false,
            field_m: FieldM::ZERO,
            known: [(4, [0.0, DEFOCUS_NM][number] * NM)].into_iter().collect(),
            through_atmosphere: false,
        };
        views.push(FrameView::new(number, recorded, instrument, look));
        trial.push(Unknown::Place(number, 0), middle);
        trial.push(Unknown::Place(number, 1), middle);
        trial.push(Unknown::Flux(number, 0), ELECTRONS);
        trial.push(Unknown::Background(number, 0), 0.0);
    }
    for noll in 4..=15 {
        trial.push(Unknown::Mode(noll), 0.0);
    }
    let near =
        approach(&mut views, trial, instrument, &settings, settings.far).expect("an approach");
    let fitted = finish(&mut views, near.0, instrument, &settings).expect("a fit");
    (4..=15)
        .map(|noll| {
            let (value, sigma) = fitted.get(Unknown::Mode(noll)).expect("a mode");
            (value / NM, sigma.expect("a sigma") / NM)
        })
        .collect()
}
