//! The sensor's own tilt: signs and axes.

use super::{light, turned};
use crate::support::lens::{self, unit};
use skewstar::axes::FieldM;
use skewstar::instrument::Response;
use skewstar::mechanics::align;
use skewstar::state::State;
use skewstar::units::*;

/// A sensor that rides on the unit goes with the raised edge: by tilt × place along each axis, farther out where lifting the unit
/// sets the sensor farther out, farther in where it sets it farther in. By hand: an arcminute over a millimetre is 0.290888 um, so that
/// 20 arcmin over 15 mm are 87.27 um, and (12, −16) arcmin at (20, 5) mm are (240 − 80) · 0.290888 = 46.54 um.
#[test]
fn the_sensor_goes_with_the_raised_edge() {
    for (tilt_arcmin, field_mm, lifting, share, wanted_um) in [
        ([20.0, 0.0], [15.0, 0.0], 1.0, 1.0, 87.266),
        ([20.0, 0.0], [-15.0, 0.0], 1.0, 1.0, -87.266),
        ([0.0, 20.0], [0.0, 15.0], 1.0, 1.0, 87.266),
        ([0.0, 20.0], [15.0, 0.0], 1.0, 1.0, 0.0),
        ([20.0, 0.0], [0.0, 15.0], 1.0, 1.0, 0.0),
        ([12.0, -16.0], [20.0, 5.0], 1.0, 1.0, 46.542),
        ([12.0, -16.0], [20.0, 5.0], -1.3, 1.0, -46.542),
        ([12.0, -16.0], [20.0, 5.0], 1.0, -1.5, -69.813),
    ] {
        let mut instrument = unit();
        // frame axes are turned and mirrored, but what happens is told in pupil axes; a large doughnut needs room
        instrument.camera.rotation_rad = 35.0 * DEG;
        instrument.camera.mirrored = true;
        (instrument.camera.width_px, instrument.camera.height_px) = (104, 100);
        let assembly = instrument.assembly.as_mut().unwrap();
        let (radius_m, pitch_m) = (assembly.screw_circle_radius_m, assembly.pitch_m_per_turn);
        assembly.response = Some(Response {
            focus_m_per_m: lifting,
            sensor_tilt_per_tilt: share,
            ..Response::default()
        });
        // A stands up, B down to the left, C down to the right: the height of the plane there, in turns
        let [up, right] = [tilt_arcmin[1], tilt_arcmin[0]].map(|t| t * ARCMIN * radius_m / pitch_m);
        let half = 0.75f64.sqrt() * right;
        let turns = [up, -half - 0.5 * up, half - 0.5 * up];
        for focus_um in [-700.0, 700.0] {
            let state = State {
                sensor_offset_m: focus_um * UM,
                turns: turned(&instrument, turns),
                field_m: FieldM::new(field_mm.map(|h| h * MM)),
                ..State::default()
            };
            let case = format!("{tilt_arcmin:?} at {field_mm:?}, {focus_um}");
            let offset_um = align(&instrument, &state).sensor_offset_m / UM;
            assert!(
                (offset_um - focus_um - wanted_um).abs() < 2e-3,
                "{case}: {offset_um}"
            );
            // and the doughnut is as large as the sensor stands off: radius = offset · tan u, at sin u = 85/408; the quarter-light edge
            // is known to a third of a pixel (`rendered_radii_follow_offset_times_tan_u`), while 46 um are 2.6
            let sine: f64 = 85.0 / 408.0;
            let tangent = sine / (1.0 - sine * sine).sqrt();
            let wanted_px = (focus_um + wanted_um).abs() * tangent / 3.8;
            let found_px = lens::outer_edge_px(&light(&instrument, &state), [51.5, 49.5]);
            println!("{case}: {found_px:.2} px, by hand {wanted_px:.2}");
            assert!(
                (found_px - wanted_px).abs() < 0.35,
                "{case}: {found_px} px, by hand {wanted_px}"
            );
        }
    }
}
