//! The unit as a rigid body: what its decentre, its sensor's own tilt and its spacing do, each sign on rendered frames.
//!
//! Lengths and angles are worked out by hand beside each case, with cosines and sines of azimuths where the engine multiplies components.

use super::{apart, light, noll, truth, turned};
use crate::support::lens::{self, brightest_direction_deg, centroid, unit};
use ndarray::Array2;
use skewstar::axes::FieldM;
use skewstar::instrument::{FieldTerms, Instrument, Response};
use skewstar::mechanics::{Plane, align, coma_node_m, turns_for};
use skewstar::state::State;
use skewstar::units::*;

/// A telescope whose unit does nothing but what a case says, with a camera that is turned and mirrored and has room.
fn held_askew(response: Response) -> Instrument {
    let mut instrument = unit();
    instrument.camera.rotation_rad = 35.0 * DEG;
    instrument.camera.mirrored = true;
    (instrument.camera.width_px, instrument.camera.height_px) = (104, 100);
    instrument.assembly.as_mut().expect("screws").response = Some(response);
    instrument
}

/// A direction of the pupil in the frame of that camera: turned back by 35 degrees, then mirrored.
fn in_frame_deg(azimuth_deg: f64) -> f64 {
    180.0 - (azimuth_deg - 35.0)
}

fn at(length: f64, azimuth_deg: f64) -> [f64; 2] {
    let rad = azimuth_deg * DEG;
    [length * rad.cos(), length * rad.sin()]
}

/// The ring is thin and bright where coma [Noll 8, Noll 7] points, on both sides of focus, so that a unit aside shows it along its
/// decentre, with the sign of its response.
#[test]
fn a_unit_aside_makes_coma_along_its_decentre() {
    for (per_mm, azimuth_deg, bright_deg) in [
        (70.0, 25.0, 25.0),
        (70.0, 140.0, 140.0),
        (-70.0, 25.0, 205.0),
    ] {
        let instrument = held_askew(Response {
            decentre_coma_m_per_m: per_mm * NM / MM,
            ..Response::default()
        });
        for offset_um in [-430.0, 430.0] {
            let state = State {
                sensor_offset_m: offset_um * UM,
                decentre_m: at(1.3 * MM, azimuth_deg),
                ..State::default()
            };
            let image = light(&instrument, &state);
            let found = truth(&instrument, &state);
            let ring = found.doughnut.as_ref().expect("a doughnut");
            let bright =
                brightest_direction_deg(&image, ring.outer_centre_px.xy(), ring.outer_radius_px);
            let wanted = in_frame_deg(bright_deg);
            assert!(apart(bright, wanted) < 20.0, "{bright} {wanted}");
            // 6N W131 (1 − ε²) with W131 = √72 · 91 nm: the closed form of the check values, on the frame's own dark centre
            let size_m = 6.0 * 2.4 * 72f64.sqrt() * 91.0 * NM * (1.0 - (70.0f64 / 170.0).powi(2));
            let shift_px = ring.dark_shift_px.expect("dark").length();
            assert!(
                (shift_px * 3.8 * UM / size_m - 1.0).abs() < 0.1,
                "{shift_px}"
            );
        }
    }
}

/// A unit that carries the sensor aside leaves the star behind: 0.05 mm to azimuth 25 is 0.05 mm of star to azimuth 205. Tilt and decentre
/// add: 26 um per arcmin of 1.5 arcmin towards azimuth 90 are 39 um up.
#[test]
fn image_shifts_of_tilt_and_decentre_add() {
    let mut instrument = held_askew(Response {
        image_shift_m_per_rad: 26.0 * UM / ARCMIN,
        decentre_image_shift_m_per_m: -1.0,
        ..Response::default()
    });
    // screws that stand so that A alone tilts by 1.5 arcmin towards azimuth 90
    let assembly = instrument.assembly.as_mut().expect("screws");
    assembly.screw_circle_radius_m = 52.0 * MM;
    let turns = turns_for(
        assembly,
        &Plane {
            piston_m: 0.0,
            tilt_rad: [0.0, 1.5 * ARCMIN],
        },
    );
    let state = State {
        turns,
        decentre_m: at(0.05 * MM, 25.0),
        recentred: false,
        ..State::default()
    };
    let image = light(&instrument, &state);
    let found = centroid(&image, [51.5, 49.5]);
    let aside = at(0.05 * MM, 205.0);
    let moved = [aside[0], aside[1] + 39.0 * UM];
    let length_px = moved[0].hypot(moved[1]) / (3.8 * UM);
    let deg = moved[1].atan2(moved[0]) / DEG;
    assert!(
        (found[0].hypot(found[1]) - length_px).abs() < 0.1,
        "{found:?} {length_px}"
    );
    assert!(
        apart(found[1].atan2(found[0]) / DEG, in_frame_deg(deg)) < 0.5,
        "{found:?} {deg}"
    );
}

/// [Noll 6, Noll 5] of a doughnut from its second moments: with W020 of the defocus, ⟨x²⟩ − ⟨y²⟩ = 64 √6 N² ⟨px²⟩ W020 a6 and
/// 2⟨xy⟩ = 64 √6 N² ⟨px²⟩ W020 a5, ⟨px²⟩ = (1 + ε²)/4 over the ring: rays at −2N times the slope. Turned back into pupil axes.
fn astigmatism_nm(instrument: &Instrument, state: &State) -> [f64; 2] {
    let moments = |image: &Array2<f64>| {
        let (mut sum, mut xx_yy, mut xy2) = (0.0, 0.0, 0.0);
        for ((row, column), light) in image.indexed_iter() {
            let (x, y) = (column as f64 - 51.5, row as f64 - 49.5);
            if x.hypot(y) < 45.0 {
                sum += light;
                xx_yy += light * (x * x - y * y);
                xy2 += light * 2.0 * x * y;
            }
        }
        [xx_yy / sum, xy2 / sum]
    };
    let plain = State {
        sensor_offset_m: state.sensor_offset_m,
        ..State::default()
    };
    let (with, without) = (
        moments(&light(instrument, state)),
        moments(&light(instrument, &plain)),
    );
    let [x, y] = [0, 1].map(|axis| (with[axis] - without[axis]) * (3.8 * UM) * (3.8 * UM));
    let w020_m = state.sensor_offset_m / (8.0 * 2.4 * 2.4);
    let mean_square = 0.25 * (1.0 + (70.0f64 / 170.0).powi(2));
    let per_m = 64.0 * 6f64.sqrt() * 2.4 * 2.4 * mean_square * w020_m;
    // a second moment turns twice as fast as the frame, and mirroring turns its sine over
    let (size, frame_deg) = (x.hypot(y) / per_m.abs() / NM, y.atan2(x) / DEG);
    let pupil_deg = -(frame_deg) + 70.0;
    at(size * per_m.signum(), pupil_deg)
}

/// Every term of the quadratic form, alone and all together, on both sides of focus: two vectors act along the sum of their azimuths.
#[test]
fn astigmatism_of_tilt_decentre_and_field_has_all_its_cross_terms() {
    let (t_deg, d_deg, h_deg) = (40.0, 115.0, -65.0);
    let (t, d, h, spacing) = (1.7, 0.8, 6.0, 0.5);
    let nothing = Response::default();
    let cases = [
        (
            "tt",
            Response {
                astigmatism_m_per_rad2: 14.0 * NM / (ARCMIN * ARCMIN),
                ..nothing.clone()
            },
            at(14.0 * t * t, 2.0 * t_deg),
        ),
        (
            "th",
            Response {
                astigmatism_m_per_rad_m: 4.0 * NM / (ARCMIN * MM),
                ..nothing.clone()
            },
            at(4.0 * t * h, t_deg + h_deg),
        ),
        (
            "dt",
            Response {
                astigmatism_m_per_m_rad: -30.0 * NM / (MM * ARCMIN),
                ..nothing.clone()
            },
            at(-30.0 * d * t, d_deg + t_deg),
        ),
        (
            "dd",
            Response {
                decentre_astigmatism_m_per_m2: 60.0 * NM / (MM * MM),
                ..nothing.clone()
            },
            at(60.0 * d * d, 2.0 * d_deg),
        ),
        (
            "dh",
            Response {
                decentre_astigmatism_m_per_m_m: -9.0 * NM / (MM * MM),
                ..nothing.clone()
            },
            at(-9.0 * d * h, d_deg + h_deg),
        ),
        (
            "spacing",
            Response {
                spacing_astigmatism_m_per_m_m2: 2.2 * NM / (MM * MM * MM),
                ..nothing.clone()
            },
            at(2.2 * spacing * h * h, 2.0 * h_deg),
        ),
    ];
    let mut all = nothing;
    let mut sum = [0.0; 2];
    for (_, response, wanted) in &cases {
        all.astigmatism_m_per_rad2 += response.astigmatism_m_per_rad2;
        all.astigmatism_m_per_rad_m += response.astigmatism_m_per_rad_m;
        all.astigmatism_m_per_m_rad += response.astigmatism_m_per_m_rad;
        all.decentre_astigmatism_m_per_m2 += response.decentre_astigmatism_m_per_m2;
        all.decentre_astigmatism_m_per_m_m += response.decentre_astigmatism_m_per_m_m;
        all.spacing_astigmatism_m_per_m_m2 += response.spacing_astigmatism_m_per_m_m2;
        sum = [sum[0] + wanted[0], sum[1] + wanted[1]];
    }
    for (name, response, wanted) in cases.into_iter().chain([("all", all, sum)]) {
        let instrument = held_askew(response);
        let assembly = instrument.assembly.as_ref().expect("screws");
        for offset_um in [-430.0, 430.0] {
            let state = State {
                sensor_offset_m: offset_um * UM,
                turns: turns_for(
                    assembly,
                    &Plane {
                        piston_m: 0.0,
                        tilt_rad: at(t * ARCMIN, t_deg),
                    },
                ),
                decentre_m: at(d * MM, d_deg),
                field_m: FieldM::new(at(h * MM, h_deg)),
                spacing_m: spacing * MM,
                ..State::default()
            };
            let found = astigmatism_nm(&instrument, &state);
            println!("{name} {offset_um:+}: {found:.1?} nm, by hand {wanted:.1?}");
            let off = (found[0] - wanted[0]).hypot(found[1] - wanted[1]);
            let size = wanted[0].hypot(wanted[1]);
            // moments within a circle leave out the diffracted light beyond it
            assert!(
                off < 0.08 * size,
                "{name} {offset_um}: {found:?} {wanted:?}"
            );
        }
    }
}

/// Positive spacing times a positive response is a positive Noll 11, whose rays at the edge land 2N · 12√5 times it farther out beyond focus
/// and farther in before it: 4.8 · 26.83 · 88 nm = 11.3 um, 2.98 px.
#[test]
fn spacing_makes_spherical_aberration() {
    let instrument = held_askew(Response {
        spacing_spherical_m_per_m: 40.0 * NM / MM,
        ..Response::default()
    });
    for (offset_um, spacing_mm, sign) in
        [(700.0, 2.2, 1.0), (-700.0, 2.2, -1.0), (700.0, -2.2, -1.0)]
    {
        let edge = |spacing_mm: f64| {
            let state = State {
                sensor_offset_m: offset_um * UM,
                spacing_m: spacing_mm * MM,
                ..State::default()
            };
            lens::outer_edge_px(&light(&instrument, &state), [51.5, 49.5])
        };
        let grown = edge(spacing_mm) - edge(0.0);
        println!(
            "{offset_um:+} um, {spacing_mm:+} mm: {grown:+.2} px, by rays {:+.2}",
            sign * 2.98
        );
        // the ring thins out towards an edge that moves outwards, and its quarter-light radius stays a little behind the last rays
        assert!((0.75..1.1).contains(&(grown / (sign * 2.98))), "{grown}");
        let state = State {
            spacing_m: spacing_mm * MM,
            ..State::default()
        };
        let typed = noll(&[(11, 40.0 * spacing_mm)]);
        assert!((align(&instrument, &state).modes.get(11) - typed.get(11)).abs() < 1e-18);
    }
}

/// The sensor's own tilt adds to what it has of the unit's: offset += (s + away · share · t) · h. By hand: (9, −16) arcmin and
/// −1.5 · (4, 6) arcmin at (20, 5) mm are (3 · 20 − 25 · 5) · 0.290888 = −18.91 um where lifting goes outwards, and with the unit's part
/// turned over (15 · 20 − 7 · 5) · 0.290888 = 77.09 um where it goes inwards.
#[test]
fn the_sensors_own_tilt_adds_to_the_units() {
    for (lifting, wanted_um) in [(1.0, -18.908), (-1.0, 77.085)] {
        let instrument = held_askew(Response {
            focus_m_per_m: lifting,
            sensor_tilt_per_tilt: -1.5,
            ..Response::default()
        });
        let assembly = instrument.assembly.as_ref().expect("screws");
        for focus_um in [-700.0, 700.0] {
            let state = State {
                sensor_offset_m: focus_um * UM,
                turns: turns_for(
                    assembly,
                    &Plane {
                        piston_m: 0.0,
                        tilt_rad: [4.0 * ARCMIN, 6.0 * ARCMIN],
                    },
                ),
                sensor_tilt_rad: [9.0 * ARCMIN, -16.0 * ARCMIN],
                field_m: FieldM::new([20.0 * MM, 5.0 * MM]),
                ..State::default()
            };
            let sine: f64 = 85.0 / 408.0;
            let wanted_px = (focus_um + wanted_um).abs() * sine / (1.0 - sine * sine).sqrt() / 3.8;
            let found_px = lens::outer_edge_px(&light(&instrument, &state), [51.5, 49.5]);
            println!("{lifting:+} {focus_um:+}: {found_px:.2} px, by hand {wanted_px:.2}");
            assert!(
                (found_px - wanted_px).abs() < 0.35,
                "{found_px} {wanted_px}"
            );
        }
    }
}

/// A tenth of a turn of 0.5 mm at one of three screws lifts the middle by 16.67 um: with 1300 um per mm 21.67 um of focus, counted only
/// where the state says so.
#[test]
fn piston_moves_the_focus_where_the_state_says_so() {
    let instrument = held_askew(Response {
        focus_m_per_m: -1.3,
        ..Response::default()
    });
    for (counted, wanted_um) in [(false, 700.0), (true, 700.0 - 21.667)] {
        let state = State {
            sensor_offset_m: 700.0 * UM,
            piston_moves_focus: counted,
            turns: turned(&instrument, [0.1, 0.0, 0.0]),
            ..State::default()
        };
        let found = truth(&instrument, &state);
        assert!(
            (found.sensor_offset_um - wanted_um).abs() < 1e-3,
            "{}",
            found.sensor_offset_um
        );
        let sine: f64 = 85.0 / 408.0;
        let wanted_px = wanted_um * sine / (1.0 - sine * sine).sqrt() / 3.8;
        let found_px = lens::outer_edge_px(&light(&instrument, &state), [51.5, 49.5]);
        assert!(
            (found_px - wanted_px).abs() < 0.35,
            "{found_px} {wanted_px}"
        );
    }
}

/// h0 = axis − (kt·t + kd·d)/k_field: a star there has a round ring, one 4 mm to its right is thin to the right (k_field > 0).
#[test]
fn tilt_and_decentre_move_the_coma_node_together() {
    let mut instrument = held_askew(Response {
        coma_m_per_rad: 61.0 * NM / ARCMIN,
        decentre_coma_m_per_m: -17.0 * NM / MM,
        ..Response::default()
    });
    instrument.telescope.field = FieldTerms {
        axis_m: FieldM::new([0.3 * MM, -0.2 * MM]),
        coma_per_m: 17.0 * NM / MM,
        ..FieldTerms::default()
    };
    let assembly = instrument.assembly.as_ref().expect("screws");
    let state = State {
        sensor_offset_m: -430.0 * UM,
        turns: turns_for(
            assembly,
            &Plane {
                piston_m: 0.0,
                tilt_rad: [0.5 * ARCMIN, -1.1 * ARCMIN],
            },
        ),
        decentre_m: [1.4 * MM, 0.6 * MM],
        ..State::default()
    };
    // by hand: 0.3 − (30.5 − 23.8)/17 and −0.2 − (−67.1 − 10.2)/17
    let by_hand = [-0.094_118 * MM, 4.347_059 * MM];
    let node = coma_node_m(&instrument, &state).expect("a node");
    for axis in [0, 1] {
        assert!((node[axis] - by_hand[axis]).abs() < 1e-9, "{node:?}");
    }
    let shift_at = |field_m: [f64; 2]| {
        let here = State {
            field_m: FieldM::new(field_m),
            ..state.clone()
        };
        let found = truth(&instrument, &here);
        let ring = found.doughnut.as_ref().expect("a doughnut");
        let bright = brightest_direction_deg(
            &light(&instrument, &here),
            ring.outer_centre_px.xy(),
            ring.outer_radius_px,
        );
        (ring.dark_shift_px.expect("dark"), bright)
    };
    let (at_node, _) = shift_at(by_hand);
    assert!(at_node.length() < 0.01, "{at_node:?}");
    let (beside, bright) = shift_at([by_hand[0] + 4.0 * MM, by_hand[1]]);
    assert!(beside.length() > 1.5, "{beside:?}");
    assert!(apart(bright, in_frame_deg(0.0)) < 20.0, "{bright}");
}
