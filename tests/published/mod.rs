//! What the engine gives, against values from outside the project (`tests/data/published`).
//!
//! Where a value is about an image, a frame is rendered and the value read off it; nothing is evaluated by the formula it
//! comes from. The deviation allowed is the check's own tolerance plus what the sampling costs, which each module states at
//! its head, with a test that it shrinks. `cargo test published -- --nocapture` prints every comparison, one a line.

mod atmosphere;
mod coma;
mod defocus;
mod doughnuts;
mod energy;
mod fast_beams;
mod focus;
mod index;
mod masks;
mod photons;
mod polygons;
mod prescriptions;
mod screws;
mod strehl;
mod zernike;
