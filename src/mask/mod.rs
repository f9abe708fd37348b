//! A slotted mask: regions of parallel slots, and the openings they leave in the plate.
//!
//! The plate is opaque between its inner and outer diameter, open in its slots only. A slot angle is the direction *along*
//! the slot. In every region one slot is centred on the line through the mask's centre. Slots stop at the rims and at ribs
//! centred on the borders between regions, zones included. [`plate`] and
//! [`solid`] turn a design into what is cut or printed, [`cutouts`] is what a camera and its cables need, [`pieces`] cuts it to fit a bed, [`sheet`] makes it ready for a
//! cutter, [`drawing`] reads one from an SVG text. This room makes shapes; it opens no file.

pub mod cutouts;
pub mod drawing;
mod gauge;
mod layouts;
mod lettering;
mod parallel;
pub mod pieces;
pub mod plate;
mod raster;
pub mod sheet;
mod slots;
pub mod solid;
mod triplets;

pub use layouts::{Region, overlapping, regions};
pub use parallel::{ParallelPair, parallel_pairs};
pub use slots::{openings, to_pupil};
pub use triplets::{Triplet, TripletReading, triplets};
