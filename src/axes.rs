//! Vectors that know their axes and their unit, so that one in pupil axes cannot stand for one in frame axes.
//!
//! ```text
//!   pupil axes: +x right, +y up, as seen from the sensor       FieldM   metres on the sensor
//!         |   turned by camera.rotation_rad, then mirrored where the camera mirrors      (crate::pupil)
//!   frame axes: +x along the rows, +y up in the picture        FrameM   metres on the sensor
//!         |   one pixel is camera.pixel_m
//!   frame axes                                                 FramePx  pixels; the first one's centre is (0, 0)
//! ```
//!
//! The functions of [`pupil`](crate::pupil) are the only way across: [`to_frame`](crate::pupil::to_frame) and
//! [`to_field`](crate::pupil::to_field) turn a shift, [`frame_px`](crate::pupil::frame_px) and
//! [`field_m`](crate::pupil::field_m) a place.
//!
//! ```
//! use skewstar::{axes::FieldM, frame::clock, instrument::*, pupil::shift_px, units::*};
//!
//! let mut camera = Camera::new(4.0 * UM, [64, 48], Passband::Band([500.0 * NM, 600.0 * NM]));
//! camera.rotation_rad = 90.0 * DEG; // the columns run up in the pupil
//! let instrument = Instrument::new(Telescope::new(120.0 * MM, 360.0 * MM), camera);
//! let shift_m = FieldM::new([0.0, 40.0 * UM]);
//! let moved_px = instrument.camera.middle_px() + shift_px(&instrument, shift_m);
//! assert!((moved_px[0] - 41.5).abs() < 1e-9 && (moved_px[1] - 23.5).abs() < 1e-9);
//! assert_eq!(clock(shift_px(&instrument, shift_m)), "3 o'clock (0 degrees)");
//! ```
//!
//! What is left in the other axes does not compile, neither where a direction of the picture is asked for nor in a sum:
//!
//! ```compile_fail,E0308
//! # use skewstar::{axes::FieldM, frame::clock};
//! let towards = clock(FieldM::new([0.0, 40e-6]));
//! ```
//!
//! ```compile_fail,E0308
//! # use skewstar::axes::{FieldM, FramePx};
//! let (shift_m, star_px) = (FieldM::new([0.0, 40e-6]), FramePx::new([31.5, 23.5]));
//! let moved_px = star_px + shift_m;
//! ```

use serde::{Serialize, Serializer};
use std::marker::PhantomData;
use std::ops::{Add, AddAssign, Index, IndexMut, Mul, Neg, Sub};

/// A place or a shift `[x, y]`; what its axes and its unit are, the type `A` says.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Vector<A> {
    xy: [f64; 2],
    axes: PhantomData<A>,
}

/// Frame axes, pixels.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FramePixels;

/// Frame axes, metres on the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FrameMetres;

/// Pupil axes, metres on the sensor.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FieldMetres;

/// A place in the frame, or a shift in it: frame axes, pixels.
pub type FramePx = Vector<FramePixels>;

/// A shift on the sensor: frame axes, metres.
pub type FrameM = Vector<FrameMetres>;

/// A place in the field, from the sensor's middle, or a shift: pupil axes, metres on the sensor (not in the pupil).
pub type FieldM = Vector<FieldMetres>;

impl<A> Vector<A> {
    /// The two components, to be changed in place.
    pub fn xy_mut(&mut self) -> &mut [f64; 2] {
        &mut self.xy
    }

    /// The middle, or no shift.
    pub const ZERO: Vector<A> = Vector::new([0.0; 2]);

    /// A vector whose axes and unit are those of the type.
    pub const fn new(xy: [f64; 2]) -> Self {
        Vector {
            xy,
            axes: PhantomData,
        }
    }

    /// Its components, for whoever knows what they are.
    pub fn xy(&self) -> [f64; 2] {
        self.xy
    }

    /// Its components in another unit: `field_m.in_units_of(MM)` is in millimetres.
    pub fn in_units_of(&self, unit: f64) -> [f64; 2] {
        self.xy.map(|value| value / unit)
    }

    /// Its length.
    pub fn length(&self) -> f64 {
        self.xy[0].hypot(self.xy[1])
    }
}

impl FrameM {
    /// The same in pixels of this pitch.
    pub fn in_pixels(&self, pixel_m: f64) -> FramePx {
        Vector::new(self.xy.map(|m| m / pixel_m))
    }
}

impl FramePx {
    /// The same in metres, for pixels of this pitch.
    pub fn in_metres(&self, pixel_m: f64) -> FrameM {
        Vector::new(self.xy.map(|px| px * pixel_m))
    }
}

impl<A> Index<usize> for Vector<A> {
    type Output = f64;

    fn index(&self, axis: usize) -> &f64 {
        &self.xy[axis]
    }
}

impl<A> IndexMut<usize> for Vector<A> {
    fn index_mut(&mut self, axis: usize) -> &mut f64 {
        &mut self.xy[axis]
    }
}

impl<A> Add for Vector<A> {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Vector::new([self.xy[0] + other.xy[0], self.xy[1] + other.xy[1]])
    }
}

impl<A: Copy> AddAssign for Vector<A> {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl<A> Sub for Vector<A> {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Vector::new([self.xy[0] - other.xy[0], self.xy[1] - other.xy[1]])
    }
}

impl<A> Neg for Vector<A> {
    type Output = Self;

    fn neg(self) -> Self {
        Vector::new(self.xy.map(|value| -value))
    }
}

impl<A> Mul<f64> for Vector<A> {
    type Output = Self;

    fn mul(self, factor: f64) -> Self {
        Vector::new(self.xy.map(|value| value * factor))
    }
}

impl<A> Serialize for Vector<A> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.xy.serialize(serializer)
    }
}
