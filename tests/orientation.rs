//! How the camera is held: what a frame tells of it, what no frame can, and that no turn is sure on what was only typed.

mod cards;
mod hidden;
mod measured;
mod parity;
