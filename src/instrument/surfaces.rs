//! A telescope that is known surface by surface: what its stars have beyond the laws of response and field.

use crate::axes::FieldM;
use crate::state::Modes;
use std::fmt::Debug;
use std::sync::Arc;

/// What the rays of one star have beyond the laws of response and field.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct BeyondLaws {
    /// Modes, Noll 5 to 22, metres RMS; none below a thousandth of a nanometre.
    pub modes: Modes,
    /// Sensor offset.
    pub sensor_offset_m: f64,
}

/// How the unit stands away from its nominal place, pupil axes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Moved {
    /// Tilt; points at the raised edge.
    pub tilt_rad: [f64; 2],
    /// How far it sits aside.
    pub decentre_m: [f64; 2],
    /// How far it was lifted off its base, where that is not refocused.
    pub piston_m: f64,
}

/// Who traces stars through the surfaces.
pub trait StarTracer: Debug + Send + Sync {
    /// What a star that far from the field's axis, pupil axes, has beyond the laws. Nothing where its rays cannot pass.
    fn beyond_laws(&self, moved: &Moved, from_axis_m: FieldM) -> BeyondLaws;
}

/// The surfaces of a telescope, ready to be traced. Two of them are equal where the surfaces and the unit are.
#[derive(Debug, Clone)]
pub struct Surfaces {
    tracer: Arc<dyn StarTracer>,
    written: Arc<str>,
}

impl Surfaces {
    /// Surfaces behind a tracer.
    pub fn new(tracer: impl StarTracer + 'static) -> Surfaces {
        Surfaces {
            written: format!("{tracer:?}").into(),
            tracer: Arc::new(tracer),
        }
    }

    /// What a star has beyond the laws: see [`StarTracer::beyond_laws`].
    pub fn beyond_laws(&self, moved: &Moved, from_axis_m: FieldM) -> BeyondLaws {
        self.tracer.beyond_laws(moved, from_axis_m)
    }
}

impl PartialEq for Surfaces {
    fn eq(&self, other: &Self) -> bool {
        self.written == other.written
    }
}
