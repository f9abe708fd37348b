//! Three (or more) screws → the plane of the unit they hold → aberrations and image shift.
//!
//! ```text
//!            A (azimuth 90)              Looking from the sensor towards the pupil: +x right, +y up.
//!            |                           A positive turn lengthens a screw: that edge of the unit moves away
//!        .---+---.                       from its base by turns × pitch. The tilt vector points at the edge
//!       /         \                      that was raised; its length is the angle.
//!   B  '           '  C (330)
//!  (210)
//! ```
//!
//! Sources: the plane through three heights is elementary geometry (check values `screws.*`); coma linear and astigmatism
//! quadratic in the tilt, with their nodes in the field: nodal aberration theory, R. V. Shack and K. P. Thompson, Proc. SPIE
//! 251, 146 (1980), from memory. This file refuses to know where the response comes from; [`prescription`] traces one from
//! the surfaces of a telescope.

pub mod bench;
pub mod beyond;
pub mod fits;
mod front;
pub mod glass;
pub mod prescription;
pub mod respond;
pub mod rigid;
pub mod sphere;
pub mod system;
pub mod trace;

pub use front::{FrontScrew, front_screws};

use crate::axes::FieldM;
use crate::instrument::{Assembly, AssemblyKind, FieldTerms, Instrument, Moved, Response};
use crate::state::{Modes, ScrewTurns, State};
use rigid::Pose;

/// Height and slope of the unit on its screws.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Plane {
    /// Height at the centre of the screw circle.
    pub piston_m: f64,
    /// Slope along x and y; points at the raised edge.
    pub tilt_rad: [f64; 2],
}

/// The optical effect of an instrument in a state, at the star's place in the field, at the reference wavelength.
#[derive(Debug, Clone, PartialEq)]
pub struct Alignment {
    /// Where the screws and its own weight put the unit.
    pub plane: Plane,
    /// All modes: design, response, field and state.
    pub modes: Modes,
    /// Sensor beyond best focus, field curvature and sensor tilt included.
    pub sensor_offset_m: f64,
    /// How far tilt and decentre, and the place the state asks for, move the image, pupil axes.
    pub image_shift_m: FieldM,
}

/// Works out what the screws, the field and the rest of the state do to the star.
pub fn align(instrument: &Instrument, state: &State) -> Alignment {
    let telescope = &instrument.telescope;
    let mut plane = instrument
        .assembly
        .as_ref()
        .map_or(Plane::default(), |a| plane_of(a, &state.turns));
    plane.tilt_rad = [0, 1].map(|axis| plane.tilt_rad[axis] + state.flexure_rad[axis]);
    let mut modes = Modes::none();
    modes.add_scaled(&telescope.design, 1.0);
    modes.add_scaled(&state.modes, 1.0);
    modes.add_scaled(&field_modes(&telescope.field, state.field_m), 1.0);
    let from_axis = state.field_m - telescope.field.axis_m;
    let square = from_axis[0].powi(2) + from_axis[1].powi(2);
    let mut sensor_offset_m = state.sensor_offset_m + telescope.field.curvature_per_m2 * square;
    let mut image_shift_m = state.aside_m;
    let response = response_of(instrument);
    let slope = rigid::focus_slope(response, state, plane.tilt_rad);
    sensor_offset_m += slope[0] * state.field_m[0] + slope[1] * state.field_m[1];
    let piston_m = if state.piston_moves_focus {
        plane.piston_m
    } else {
        0.0
    };
    if let Some(response) = response {
        let pose = Pose::of(state, plane.tilt_rad);
        modes.add_scaled(&pose.modes(response, from_axis), 1.0);
        image_shift_m += pose.image_shift_m(response);
        sensor_offset_m += pose.sensor_offset_m(response) + response.focus_m_per_m * piston_m;
    }
    if let Some(surfaces) = &telescope.surfaces {
        let moved = Moved {
            tilt_rad: plane.tilt_rad,
            decentre_m: state.decentre_m,
            piston_m,
        };
        let beyond = surfaces.beyond_laws(&moved, from_axis);
        modes.add_scaled(&beyond.modes, 1.0);
        sensor_offset_m += beyond.sensor_offset_m;
    }
    Alignment {
        plane,
        modes,
        sensor_offset_m,
        image_shift_m,
    }
}

fn response_of(instrument: &Instrument) -> Option<&Response> {
    instrument.assembly.as_ref()?.response.as_ref()
}

/// Where in the field the coma of field, tilt and decentre cancel, from the frame's middle in pupil axes:
/// −(k_tilt·t + k_decentre·d)/k_field from the field's axis. Coma of design and state, which is the same everywhere, is left out; `None` where the field has no coma.
pub fn coma_node_m(instrument: &Instrument, state: &State) -> Option<FieldM> {
    let field = &instrument.telescope.field;
    let pose = Pose::of(state, align(instrument, state).plane.tilt_rad);
    let unit_m = response_of(instrument).map_or([0.0; 2], |response| pose.coma_m(response));
    let from_axis_m = unit_m.map(|coma_m| coma_m / field.coma_per_m);
    (field.coma_per_m != 0.0 && from_axis_m.iter().all(|m| m.is_finite()))
        .then(|| field.axis_m - FieldM::new(from_axis_m))
}

/// How a unit leans under its own weight.
///
/// Of gravity only the part across the telescope tilts the unit: it grows as the cosine of the altitude and points to the edge
/// next to the ground. What it was when the screws were set is already in their zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flexure {
    /// Tilt with the telescope level; positive raises the edge next to the ground.
    pub level_tilt_rad: f64,
    /// How the telescope stood when the screws were set.
    pub when_set: Pointing,
}

impl Flexure {
    /// Tilt that the unit's own weight adds to what the screws show.
    pub fn tilt_rad(&self, now: Pointing) -> [f64; 2] {
        let across = |p: Pointing| {
            let size = self.level_tilt_rad * libm::cos(p.altitude_rad);
            [size * libm::cos(p.down_rad), size * libm::sin(p.down_rad)]
        };
        let (now, set) = (across(now), across(self.when_set));
        [now[0] - set[0], now[1] - set[1]]
    }
}

/// How a telescope stands to the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pointing {
    /// Altitude above the horizon.
    pub altitude_rad: f64,
    /// Azimuth, in pupil axes, of the edge next to the ground.
    pub down_rad: f64,
}

/// The plane through the screws' heights; with more than three screws, the least-squares one.
///
/// # Panics
/// Where the turns were made for another assembly, with another number of screws.
pub fn plane_of(assembly: &Assembly, turns: &ScrewTurns) -> Plane {
    if turns.is_empty() {
        return Plane::default();
    }
    assert_eq!(
        turns.len(),
        assembly.screws.len(),
        "the turns were made for another assembly"
    );
    let radius = assembly.screw_circle_radius_m;
    let places: Vec<[f64; 2]> = assembly
        .screws
        .iter()
        .map(|s| {
            [
                radius * libm::cos(s.azimuth_rad),
                radius * libm::sin(s.azimuth_rad),
            ]
        })
        .collect();
    let heights: Vec<f64> = turns
        .iter()
        .map(|t| t * assembly.pitch_m_per_turn)
        .collect();
    let count = places.len() as f64;
    let mean = |f: &dyn Fn(usize) -> f64| (0..places.len()).map(f).sum::<f64>() / count;
    let [cx, cy] = [mean(&|i| places[i][0]), mean(&|i| places[i][1])];
    let ch = mean(&|i| heights[i]);
    let (mut xx, mut xy, mut yy, mut xh, mut yh) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for (place, height) in places.iter().zip(&heights) {
        let (x, y, h) = (place[0] - cx, place[1] - cy, height - ch);
        (xx, xy, yy, xh, yh) = (xx + x * x, xy + x * y, yy + y * y, xh + x * h, yh + y * h);
    }
    let determinant = xx * yy - xy * xy;
    let tilt_rad = [
        (xh * yy - yh * xy) / determinant,
        (yh * xx - xh * xy) / determinant,
    ];
    Plane {
        piston_m: ch - tilt_rad[0] * cx - tilt_rad[1] * cy,
        tilt_rad,
    }
}

/// Turns that set the screws to a plane: the inverse of [`plane_of`].
pub fn turns_for(assembly: &Assembly, plane: &Plane) -> ScrewTurns {
    let radius = assembly.screw_circle_radius_m;
    let height = |azimuth: f64| {
        let along = plane.tilt_rad[0] * libm::cos(azimuth) + plane.tilt_rad[1] * libm::sin(azimuth);
        plane.piston_m + radius * along
    };
    let mut turns = ScrewTurns::zero(assembly);
    for (turned, screw) in turns.iter_mut().zip(&assembly.screws) {
        *turned = height(screw.azimuth_rad) / assembly.pitch_m_per_turn;
    }
    turns
}

/// What the screws' lengths become when a hand turns one of them: only that one's, but on a pivot, which holds the middle where it is, the
/// others follow. Each then turns by the cosine of its azimuth from the turned one's (derived: the plane that tilts towards the turned
/// screw, without piston), so that the same turn tilts the unit by more than on a plate that lies on its screws.
pub fn turned(assembly: &Assembly, screw: usize, turns: f64) -> ScrewTurns {
    if assembly.kind == AssemblyKind::Pivot {
        let azimuth_rad = assembly.screws[screw].azimuth_rad;
        let tilt = turns * assembly.pitch_m_per_turn / assembly.screw_circle_radius_m;
        let plane = Plane {
            piston_m: 0.0,
            tilt_rad: [tilt * libm::cos(azimuth_rad), tilt * libm::sin(azimuth_rad)],
        };
        return turns_for(assembly, &plane);
    }
    let mut alone = ScrewTurns::zero(assembly);
    alone[screw] = turns;
    alone
}

/// Tilt of the unit that one turn of a screw makes, radians.
pub fn tilt_per_turn(assembly: &Assembly, screw: usize) -> [f64; 2] {
    plane_of(assembly, &turned(assembly, screw, 1.0)).tilt_rad
}

/// Modes that a tilt of the unit adds at a place in the field.
pub fn tilt_modes(response: &Response, tilt_rad: [f64; 2], from_axis_m: FieldM) -> Modes {
    let tilted = Pose {
        tilt_rad,
        ..Pose::default()
    };
    tilted.modes(response, from_axis_m)
}

/// Modes of the aligned telescope at a place in the field.
pub fn field_modes(field: &FieldTerms, field_m: FieldM) -> Modes {
    let [hx, hy] = (field_m - field.axis_m).xy();
    [
        (8, field.coma_per_m * hx),
        (7, field.coma_per_m * hy),
        (16, field.secondary_coma_per_m * hx),
        (17, field.secondary_coma_per_m * hy),
        (6, field.astigmatism_per_m2 * (hx * hx - hy * hy)),
        (5, field.astigmatism_per_m2 * 2.0 * hx * hy),
    ]
    .into_iter()
    .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::state::Coma;
    use crate::testing::fast_unit;
    use crate::units::{ARCMIN, DEG, MM, NM};

    /// By hand: screws on 50 mm at (50, 0), (0, 50) and (−30, −40) mm (a triangle of 3, 4 and 5) on the plane 0.1 mm + 2e-3 x − 1e-3 y
    /// stand 0.2, 0.05 and 0.08 mm high: 0.4, 0.1 and 0.16 turns of 0.5 mm.
    #[test]
    fn screws_at_uneven_angles_give_their_plane() {
        let third_rad = libm::atan2(-40.0, -30.0);
        let assembly = Assembly::new(
            50.0 * MM,
            0.5 * MM,
            [("P", 0.0), ("Q", 90.0 * DEG), ("R", third_rad)],
        );
        let by_hand = [0.4, 0.1, 0.16];
        let turns = ScrewTurns::of(&assembly, by_hand).expect("three");
        let plane = plane_of(&assembly, &turns);
        assert!((plane.piston_m - 0.1 * MM).abs() < 1e-15, "{plane:?}");
        assert!((plane.tilt_rad[0] - 2e-3).abs() < 1e-15, "{plane:?}");
        assert!((plane.tilt_rad[1] + 1e-3).abs() < 1e-15, "{plane:?}");
        for (found, wanted) in turns_for(&assembly, &plane).iter().zip(by_hand) {
            assert!((found - wanted).abs() < 1e-12, "{found} {wanted}");
        }
    }

    /// By hand: 2 arcmin when level are 1 at an altitude of 60 degrees; towards an edge at 30 degrees that is (√3/2, 1/2). The screws
    /// were set at the zenith, where the unit does not lean, whichever edge is next to the ground.
    #[test]
    fn a_unit_leans_along_both_axes() {
        let flexure = Flexure {
            level_tilt_rad: 2.0 * ARCMIN,
            when_set: Pointing {
                altitude_rad: 90.0 * DEG,
                down_rad: 47.0 * DEG,
            },
        };
        let now = Pointing {
            altitude_rad: 60.0 * DEG,
            down_rad: 30.0 * DEG,
        };
        let [x, y] = flexure.tilt_rad(now).map(|tilt| tilt / ARCMIN);
        assert!((x - 0.75f64.sqrt()).abs() < 1e-12, "{x}");
        assert!((y - 0.5).abs() < 1e-12, "{y}");
    }

    /// By hand: three screws 120 degrees apart, one of them a tenth of a turn longer. On a pivot the other two come in by half of it and
    /// the unit tilts by length over radius; a plate that lies on its screws tilts by two thirds of that, and its middle rises.
    #[test]
    fn on_a_pivot_the_others_follow() {
        let mut assembly = fast_unit().assembly.expect("screws");
        let lifted_m = 0.1 * assembly.pitch_m_per_turn;
        let whole = lifted_m / assembly.screw_circle_radius_m;
        for (kind, others, share, piston_m) in [
            (AssemblyKind::Pivot, -0.05, 1.0, 0.0),
            (AssemblyKind::PushPull, 0.0, 2.0 / 3.0, lifted_m / 3.0),
        ] {
            assembly.kind = kind;
            let turns = turned(&assembly, 1, 0.1);
            for (found, wanted) in turns.iter().zip([others, 0.1, others]) {
                assert!((found - wanted).abs() < 1e-12, "{kind:?}: {turns:?}");
            }
            let plane = plane_of(&assembly, &turns);
            let tilt = plane.tilt_rad[0].hypot(plane.tilt_rad[1]);
            assert!((tilt / (share * whole) - 1.0).abs() < 1e-12, "{kind:?}");
            assert!((plane.piston_m - piston_m).abs() < 1e-15, "{kind:?}");
        }
    }

    /// A star at the node has no coma, one beside it has the field's own.
    #[test]
    fn at_the_node_there_is_no_coma() {
        let mut instrument = fast_unit();
        let assembly = instrument.assembly.as_ref().expect("screws");
        let state = State {
            turns: ScrewTurns::of(assembly, [0.03, -0.05, 0.01]).expect("three"),
            ..State::default()
        };
        assert_eq!(coma_node_m(&instrument, &state), None);
        instrument.telescope.field.coma_per_m = -17.0 * NM / MM;
        instrument.telescope.field.axis_m = FieldM::new([0.7 * MM, -0.4 * MM]);
        let node_m = coma_node_m(&instrument, &state).expect("a node");
        assert!(node_m.length() > 2.0 * MM, "{node_m:?}");
        let coma_at = |field_m: FieldM| {
            let here = State {
                field_m,
                ..state.clone()
            };
            let modes = align(&instrument, &here).modes;
            Coma::of(&modes).xy_nm()
        };
        let [x, y] = coma_at(node_m);
        assert!(x.hypot(y) < 1e-9, "{x} {y}");
        let [x, y] = coma_at(node_m + FieldM::new([3.0 * MM, 0.0]));
        assert!((x + 51.0).abs() < 1e-9 && y.abs() < 1e-9, "{x} {y}");
    }
}
