//! From a frame to what is out of line. Blind: it is handed pixel values and an instrument, never what is hidden.
//!
//! | file | what it does |
//! |---|---|
//! | `backdrop.rs`, `defects.rs` | level, slope and noise of what lies behind the stars; pixels that are hot, dead or full |
//! | `stars.rs`, `regions.rs` | where the stars are, from focused points to doughnuts and streaks |
//! | `whole_frame.rs`, `whole_frame/` | many stars: sizes and shapes, tilt of the focal plane, coma node |
//! | `frame_error.rs` | why a frame cannot be measured, in words |
//!
//! Arrays have row 0 at the bottom; places are `[x, y]` in pixels of the frame, (0, 0) at the centre of the first pixel.

mod backdrop;
mod defects;
mod frame_error;
mod regions;
mod stars;
mod whole_frame;

pub use backdrop::Backdrop;
pub use frame_error::FrameError;
pub use stars::{Search, Source, Stars};
pub use whole_frame::{
    ComaField, Estimate, FocalPlane, StarShape, WholeFrame, WholeFrameOptions, place_in_words,
    whole_frame,
};
