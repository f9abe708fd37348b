//! What a traced star has beyond the laws of response and field: astigmatism and curvature that grow with the fourth power of the field,
//! spherical aberration that grows with its square, trefoil, and what tilt, decentre and field do together at third order and more.
//!
//! The laws are what an owner can be told in a few numbers, and what measuring turns round; the star itself is as the rays have it.

use super::bench::Bench;
use super::field_modes;
use super::fits::SystemError;
use super::respond::Derived;
use super::rigid::{Pose, focus_slope};
use super::system::Motion;
use crate::axes::FieldM;
use crate::instrument::{BeyondLaws, FieldTerms, Moved, Response, StarTracer, Surfaces};
use crate::state::{Modes, State};

/// Modes that are traced.
const TRACED: std::ops::RangeInclusive<u32> = 5..=22;
/// Less than this is rounding and no mode.
const LEAST_M: f64 = 1e-12;

/// A telescope's surfaces with the laws that were derived from them.
#[derive(Debug)]
struct TracedTelescope {
    bench: Bench,
    design: Modes,
    field: FieldTerms,
    response: Response,
}

/// The surfaces of a derived telescope, to be kept by its instrument.
///
/// # Errors
/// [`SystemError`] when the surfaces are no telescope.
pub fn surfaces_of(derived: &Derived) -> Result<Surfaces, SystemError> {
    Ok(Surfaces::new(TracedTelescope {
        bench: Bench::new(derived.system.clone())?,
        design: derived.design.clone(),
        field: derived.field.clone(),
        response: derived.response.clone(),
    }))
}

impl StarTracer for TracedTelescope {
    fn beyond_laws(&self, moved: &Moved, from_axis_m: FieldM) -> BeyondLaws {
        let standing = self.bench.unit(Motion {
            tilt_rad: moved.tilt_rad,
            decentre_m: moved.decentre_m,
            piston_m: moved.piston_m,
        });
        let Ok(star) = self.bench.star_at(&standing, from_axis_m.xy()) else {
            return BeyondLaws::default();
        };
        let by_laws = self.modes_by_laws(moved, from_axis_m);
        let modes = TRACED
            .map(|noll| (noll, star.mode(noll) - by_laws.get(noll)))
            .filter(|(_, left_m)| left_m.abs() > LEAST_M);
        BeyondLaws {
            modes: modes.collect(),
            // the sensor's offset grows where the light comes together nearer
            sensor_offset_m: -star.beyond_m - self.offset_by_laws_m(moved, from_axis_m),
        }
    }
}

impl TracedTelescope {
    fn modes_by_laws(&self, moved: &Moved, from_axis_m: FieldM) -> Modes {
        let mut modes = self.design.clone();
        modes.add_scaled(&field_modes(&self.field, from_axis_m), 1.0);
        modes.add_scaled(&pose_of(moved).modes(&self.response, from_axis_m), 1.0);
        modes
    }

    fn offset_by_laws_m(&self, moved: &Moved, from_axis_m: FieldM) -> f64 {
        let aside = State {
            decentre_m: moved.decentre_m,
            ..State::default()
        };
        let slope = focus_slope(Some(&self.response), &aside, moved.tilt_rad);
        let [x, y] = from_axis_m.xy();
        self.field.curvature_per_m2 * (x * x + y * y)
            + slope[0] * x
            + slope[1] * y
            + pose_of(moved).sensor_offset_m(&self.response)
            + self.response.focus_m_per_m * moved.piston_m
    }
}

fn pose_of(moved: &Moved) -> Pose {
    Pose {
        tilt_rad: moved.tilt_rad,
        decentre_m: moved.decentre_m,
        spacing_m: 0.0,
    }
}
