#![forbid(unsafe_code)]
//! Physical optics of a misaligned star: from a turned screw to the star frame a camera records, with exact ground truth.
//!
//! Whoever comes for the first time reads the [`guide`]: five stories, with commands that can be typed.
//!
//! # Map, in the order light takes
//!
//! | layer | modules | what happens there |
//! |---|---|---|
//! | 0 | [`axes`], [`math`], [`rng`], [`units`] | vectors that know their axes, numerics, random streams, units |
//! | 1 | [`instrument`], [`state`], [`frame`], [`spectrum`], [`geometry`], [`flag`] | plain data: what an owner knows, what is hidden, shapes, what stands beside a result |
//! | 2 | [`mask`], [`pupil`], [`wavefront`], [`mechanics`] | openings, W, screws → tilt → modes |
//! | 3 | [`propagation`], [`atmosphere`], [`sensor`] | irradiance, seeing, photons → electrons |
//! | 4 | [`predict`] | Instrument + State → expected frame |
//! | 5 | [`simulate`], [`score`] | noise from the seed ([`rng`]), counts, truth; answers against truth |
//! | 5 | [`measure`] | a frame, blindly → stars, what is out of line, which screw to turn |
//! | 5 | [`preview`] | a mask before it is printed: whether it can be, what it will show, better numbers |
//! | 6 | [`scenario`], [`image_io`], [`solid_io`] | text → instrument and state, frames ↔ bytes, masks → files for the printer |
//! | 7 | [`files`], [`scene`], [`diagnosis`] | what an owner names, read whole; the way out and the way back, each in one checked value |
//! | 8 | [`first_frame`], [`practice`], [`lessons`], [`night`], [`dataset`] | an instrument from a first frame; a hidden misalignment to put right, and short lessons; the real thing; recipes → sets of frames and truth |
//! | 9 | [`logbook`] | the session of a night on disk, the folder that a camera writes into |
//! | – | [`guide`] | pages for whoever uses the program |
//! | 9 | [`web`], [`cli`] | the page in a browser, the program: features `page`, `serve` and `cli` |
//!
//! # Conventions in nine lines
//!
//! - Every azimuth and (x, y) is seen *looking from the sensor towards the pupil*: +x right, +y up, counter-clockwise from +x.
//! - W is positive where the wavefront *leads*; a ray from pupil point (x, y) lands at −2N·(∂W/∂x, ∂W/∂y).
//! - `sensor_offset` > 0: the sensor sits beyond focus; the doughnut is then the pupil turned by 180 degrees.
//! - Modes are Noll's Zernikes over the full clear circle, metres RMS, exact defocus not included.
//! - A positive turn lengthens a screw; the tilt vector points at the raised edge.
//! - Images: element `[[row, column]]`, row 0 at the bottom, pixel (0, 0) centred at (0, 0), frame axes.
//! - Frame position = Mirror · R(−rotation) · position in pupil axes.
//! - SI units inside, human units in files and reports only (`units`).
//! - The same version, the same binary, the same class of processor: the same bytes, on any number of threads.
//!
//! # A frame with known truth, and back
//!
//! ```
//! use skewstar::measure::{MeasureOptions, Picture, Side};
//! use skewstar::{Diagnosis, DiagnosisOptions, Scene};
//!
//! let text = r#"
//!     format = 1
//!     title = "one screw short"
//!     telescope = { aperture_mm = 130, focal_length_mm = 390, obstruction = { diameter_mm = 52 } }
//!     camera = { pixel_um = 3.5, width_px = 64, height_px = 64, orientation = "known", passband_nm = [500, 560], wavelengths = 3,
//!                quantum_efficiency = 0.7, gain_e_per_adu = 1.0, bias_adu = 300, read_noise_e = 2, full_well_e = 40000, bits = 16 }
//!     state = { sensor_offset_um = 420, turns = { B = -0.1 } }
//!     star = { magnitude = 4.0, temperature_k = 5800 }
//!     exposure = { time_s = 0.3 }
//!     sky = { seeing_arcsec = 2.0 }
//!     [assembly]
//!     screw_circle_radius_mm = 50
//!     pitch_mm_per_turn = 0.5
//!     screws = [{ name = "A", azimuth_deg = 90 }, { name = "B", azimuth_deg = 210 }, { name = "C", azimuth_deg = 330 }]
//!     response = { coma_nm_per_arcmin = 40, image_shift_um_per_arcmin = 20, focus_um_per_mm = 1000, sensor_tilt_per_tilt = 1 }
//! "#;
//! let scene = Scene::of(skewstar::scenario::read(text, "example.toml", &[])?)?.with_seed(11);
//! let frame = scene.star()?.frame.ok_or("[star], [exposure] and a seed make counts")?;
//!
//! // Whoever measures gets pixel values and the instrument, nothing that is hidden.
//! let measure = MeasureOptions { side: Some(Side::Outside), ..MeasureOptions::default() };
//! let options = DiagnosisOptions { measure, ..DiagnosisOptions::default() };
//! let found = Diagnosis::of(&Picture::from(&frame), scene.instrument(), &options)?;
//!
//! let next = found.next();
//! assert_eq!(next.screw.as_deref(), Some("B"));
//! let turns = next.turns.ok_or("a screw is to be turned")?;
//! assert!((turns - 0.1).abs() < 0.01, "{turns}");             // the tenth of a turn that was hidden
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub use diagnosis::{Diagnosis, DiagnosisError, DiagnosisOptions};
pub use scene::{Scene, SceneError};

pub mod atmosphere;
pub mod axes;
#[cfg(feature = "cli")]
pub mod cli;
pub mod dataset;
pub mod diagnosis;
pub mod files;
pub mod first_frame;
pub mod flag;
pub mod frame;
pub mod geometry;
pub mod guide;
pub mod image_io;
pub mod instrument;
pub mod lessons;
pub mod logbook;
pub mod mask;
pub mod math;
pub mod measure;
pub mod mechanics;
pub mod night;
pub mod practice;
pub mod predict;
pub mod preview;
pub mod propagation;
pub mod pupil;
pub mod rng;
pub mod scenario;
pub mod scene;
pub mod score;
pub mod sensor;
pub mod simulate;
pub mod solid_io;
pub mod spectrum;
pub mod state;
#[cfg(test)]
mod testing;
pub mod units;
pub mod wavefront;
#[cfg(feature = "page")]
pub mod web;
