//! The wavefront error W over the pupil.
//!
//! Sign, fixed here for the whole crate: **W is positive where the wavefront leads** (the optical path is shorter). The
//! pupil field is A·exp(−2πi·W/λ) and the image field its transform with kernel exp(−2πi·…). A ray from pupil point (x, y),
//! in aperture radii, lands at −2N·(∂W/∂x, ∂W/∂y). Other books count the path difference, with the opposite sign.

mod basis;
mod map;
mod zernike;

pub use basis::{HIGHEST_ANNULAR, Seidel, annular_radial, annular_to_noll, seidel_to_noll};
pub use map::Wavefront;
pub use zernike::{ValueSlope, ZernikeSum, noll_index, noll_n_m, noll_norm};
