//! Instrument + State → the frame to expect, before any chance.
//!
//! [`Model`] is prepared once (pupil, sampling, spectrum) and can then be asked for the light in every pixel, also for other
//! wavefronts over the same pupil, and for its derivatives ([`Jacobian`]), from which follows how well the photons allow
//! anything to be measured ([`Bound`]). It opens no file and draws no random number.

mod bound;
mod coma_scale;
mod demand;
mod edges;
mod expected;
mod jacobian;
mod model;
mod own_waves;
mod seeing_noise;
mod short;
mod textbook;

pub use bound::Bound;
pub use coma_scale::{
    COMET_SHARE, ComaLook, ComaScale, FWHM_PER_SIGMA, INVISIBLE_SHARE, NM_RMS_IN_WORDS,
    ORDINARY_SEEING_RAD, SHOWS_SHARE, widening_coma_m,
};
pub use demand::farthest_ray_m;
pub use edges::{Doughnut, Spike, doughnut, mean_ray_of_region_m, spikes};
pub use expected::Expected;
pub use jacobian::{Jacobian, LightSlopes, Parameter, SlopeMaps};
pub use model::{Model, PredictError, Settings, star_place_px};
pub use own_waves::{QUARTER_WAVE, design_waves};
pub use seeing_noise::{NoSeeing, averaged_variance, drift_average, seeing_sigma_m};
pub use short::{Instants, atmosphere_of};
pub use textbook::{airy_radius_m, critical_focus_m, dark_shift_per_coma, first_order_m};
