#![forbid(unsafe_code)]
//! Physical optics of a misaligned star: from a turned screw to the star frame a camera records, with exact ground truth.
//!
//! # Map, in the order light takes
//!
//! | layer | modules | what happens there |
//! |---|---|---|
//! | 1 | [`instrument`], [`state`], [`frame`], [`spectrum`], [`geometry`] | plain data: what an owner knows, what is hidden, shapes |
//! | 2 | [`mask`], [`pupil`], [`wavefront`], [`mechanics`] | openings, W, screws → tilt → modes |
//! | 3 | [`propagation`], [`atmosphere`], [`sensor`] | irradiance, seeing, photons → electrons |
//! | 4 | [`predict`] | Instrument + State → expected frame |
//! | 5 | [`simulate`], [`score`] | noise from the seed ([`rng`]), counts, truth; answers against truth |
//! | 5 | [`measure`] | a frame, blindly → stars, what is out of line, which screw to turn |
//! | 6 | [`scenario`], [`image_io`], [`solid_io`], [`dataset`] | text → instrument and state, frames ↔ bytes, masks → files for the printer, recipes → sets of frames and truth |
//!
//! # Conventions in ten lines
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

pub mod atmosphere;
pub mod cli;
pub mod dataset;
pub mod frame;
pub mod geometry;
pub mod image_io;
pub mod instrument;
pub mod mask;
pub mod math;
pub mod measure;
pub mod mechanics;
pub mod predict;
pub mod propagation;
pub mod pupil;
pub mod rng;
pub mod scenario;
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
