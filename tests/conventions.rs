//! Signs and handedness: one test for every sentence of the conventions, on rendered frames wherever a frame shows it.
//!
//! Everything is invented and ugly on purpose: no square frame, no angle that maps to itself, no coefficient of 1.

mod rigid;
mod sensor;
mod surfaces;

use crate::support::lens::{self, brightest_direction_deg, centroid, unit};
use approx::assert_abs_diff_eq;
use ndarray::Array2;
use skewstar::axes::{FieldM, FramePx};
use skewstar::instrument::*;
use skewstar::mechanics::{Plane, align, field_modes, plane_of, tilt_modes, turns_for};
use skewstar::predict::{Model, Settings};
use skewstar::simulate::{Provenance, Truth, sentences, simulate};
use skewstar::state::{Modes, ScrewTurns, State};
use skewstar::units::*;

fn light(instrument: &Instrument, state: &State) -> Array2<f64> {
    Model::new(instrument, state, Settings::default())
        .unwrap()
        .light::<f64>()
}

fn truth(instrument: &Instrument, state: &State) -> Truth {
    simulate(
        instrument,
        state,
        &Provenance::default(),
        Settings::default(),
    )
    .unwrap()
    .truth
}

fn noll(pairs: &[(u32, f64)]) -> Modes {
    pairs.iter().map(|(j, nm)| (*j, nm * NM)).collect()
}

/// Smallest angle between two directions in degrees.
fn apart(a: f64, b: f64) -> f64 {
    let gap = (a - b).rem_euclid(360.0);
    gap.min(360.0 - gap)
}

/// Direction, from the centre of the ring, in which a ring's light is weakest: where a vane casts its shadow.
fn shadow_deg(image: &Array2<f64>, centre: [f64; 2], from_px: f64, to_px: f64) -> f64 {
    lens::ring_profile(image, centre, from_px, to_px)
        .into_iter()
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|p| p.0)
        .unwrap()
}

fn with_vane(azimuth_deg: f64) -> Instrument {
    let mut instrument = unit();
    instrument.telescope.vanes = vec![Vane {
        azimuth_rad: azimuth_deg * DEG,
        width_m: 9.0 * MM,
        inner_radius_m: 30.0 * MM,
        outer_radius_m: 200.0 * MM,
        offset_m: 0.0,
    }];
    instrument
}

#[test]
fn inside_focus_is_the_upright_pupil_outside_is_turned_by_180() {
    let instrument = with_vane(33.0);
    for (offset_um, expected_deg) in [(-430.0, 33.0), (430.0, 213.0)] {
        let state = State {
            sensor_offset_m: offset_um * UM,
            ..State::default()
        };
        let found = shadow_deg(&light(&instrument, &state), [35.5, 29.5], 12.0, 21.0);
        assert!(apart(found, expected_deg) < 6.0, "{offset_um}: {found}");
    }
}

#[test]
fn a_vane_offset_is_counter_clockwise_from_its_radial_line() {
    let mut instrument = with_vane(0.0);
    instrument.telescope.vanes[0].offset_m = 20.0 * MM;
    let state = State {
        sensor_offset_m: -430.0 * UM,
        ..State::default()
    };
    // counter-clockwise from azimuth 0 is +y: the shadow lies above the x axis
    let found = shadow_deg(&light(&instrument, &state), [35.5, 29.5], 17.0, 21.0);
    assert!((8.0..30.0).contains(&found), "{found}");
}

/// Frame position = Mirror · R(−rotation) · position in pupil axes.
#[test]
fn camera_rotation_and_mirroring() {
    for (rotation_deg, mirrored, expected_deg) in [
        (25.0, false, 33.0 - 25.0),
        (25.0, true, 180.0 - (33.0 - 25.0)),
        (-70.0, true, 180.0 - (33.0 + 70.0)),
    ] {
        let mut instrument = with_vane(33.0);
        instrument.camera.rotation_rad = rotation_deg * DEG;
        instrument.camera.mirrored = mirrored;
        let state = State {
            sensor_offset_m: -430.0 * UM,
            ..State::default()
        };
        let found = shadow_deg(&light(&instrument, &state), [35.5, 29.5], 12.0, 21.0);
        assert!(
            apart(found, expected_deg) < 6.0,
            "{rotation_deg} {mirrored}: {found}"
        );
    }
}

/// `state.place_px` moves the star along the rows (+x) and up (+y) of the frame, however the camera is held; `star_px` follows. In a frame
/// that is not recentred it adds to the image shift.
#[test]
fn a_place_in_the_frame_moves_the_star_in_frame_axes() {
    let mut instrument = with_vane(33.0);
    instrument.camera.rotation_rad = 40.0 * DEG;
    instrument.camera.mirrored = true;
    let at = |place_px: [f64; 2], recentred: bool| State {
        sensor_offset_m: -300.0 * UM,
        modes: noll(&[(8, 60.0)]),
        place_px: FramePx::new(place_px),
        aside_m: FieldM::new([5.0 * instrument.camera.pixel_m, 0.0]),
        recentred,
        ..State::default()
    };
    let (still, moved) = (at([0.0; 2], true), at([6.0, -4.0], true));
    let (before, after) = (light(&instrument, &still), light(&instrument, &moved));
    let (mut change, mut wrong_way, mut size) = (0.0, 0.0, 0.0);
    for row in 8..48 {
        for column in 8..60 {
            let there = before[[row, column]];
            change += (after[[row - 4, column + 6]] - there).powi(2);
            wrong_way += (after[[row + 4, column - 6]] - there).powi(2);
            size += there.powi(2);
        }
    }
    let [change, wrong_way] = [change, wrong_way].map(|sum: f64| (sum / size).sqrt());
    assert!(change < 1e-3 && wrong_way > 0.3, "{change} {wrong_way}");

    let star = |state: &State| truth(&instrument, state).star_px.xy();
    let [x, y] = star(&still);
    assert_eq!(star(&moved), [x + 6.0, y - 4.0]);
    assert_eq!(truth(&instrument, &moved).place_px.xy(), [6.0, -4.0]);
    let [x, y] = star(&at([0.0; 2], false));
    let [moved_x, moved_y] = star(&at([6.0, -4.0], false));
    assert!((moved_x - x - 6.0).abs() < 1e-9 && (moved_y - y + 4.0).abs() < 1e-9);
}

/// A wavefront that leads at the +x side moves the light to −x: −2N ∂W/∂x (check value `convention.tilt_shift`).
#[test]
fn a_leading_edge_pulls_the_light_to_the_other_side() {
    let instrument = unit();
    // Noll 2 = 2x: the slope is 2c, the shift −2N·2c; these tilts are exactly −2 pixels along x and +1 along y
    let per_pixel_nm = instrument.camera.pixel_m / (4.0 * instrument.telescope.focal_ratio()) / NM;
    let modes = noll(&[(2, 2.0 * per_pixel_nm), (3, -per_pixel_nm)]);
    let tilted = light(
        &instrument,
        &State {
            modes,
            ..State::default()
        },
    );
    let flat = light(&instrument, &State::default());
    let (mut change, mut size) = (0.0, 0.0);
    for row in 5..50 {
        for column in 5..60 {
            change += (tilted[[row + 1, column - 2]] - flat[[row, column]]).powi(2);
            size += flat[[row, column]].powi(2);
        }
    }
    assert!((change / size).sqrt() < 1e-3, "{}", (change / size).sqrt());
}

/// A sensor beyond focus and a positive Noll 4 do the same: both turn the doughnut upside down.
#[test]
fn positive_noll_4_is_outside_focus() {
    let instrument = with_vane(33.0);
    let state = State {
        modes: noll(&[(4, 2700.0)]),
        ..State::default()
    };
    let found = shadow_deg(&light(&instrument, &state), [35.5, 29.5], 12.0, 21.0);
    assert!(apart(found, 213.0) < 6.0, "{found}");
}

/// Rays of a defocused star land at −offset·tan u, for both focus laws; the rendered edge is at |offset| tan u.
#[test]
fn rendered_radii_follow_offset_times_tan_u() {
    for law in [FocusLaw::Sine, FocusLaw::Paraboloid] {
        let mut instrument = unit();
        instrument.telescope.focus_law = law;
        instrument.telescope.aperture_m = 220.0 * MM; // f/1.84: the two laws part by half a pixel
        instrument.camera.width_px = 100;
        instrument.camera.height_px = 96;
        let offset_m = -560.0 * UM;
        let state = State {
            sensor_offset_m: offset_m,
            ..State::default()
        };
        let image = light(&instrument, &state);
        let height = instrument.telescope.aperture_radius_m() / instrument.telescope.focal_length_m;
        let tangent = match law {
            FocusLaw::Sine => height / (1.0 - height * height).sqrt(),
            FocusLaw::Paraboloid => {
                let half: f64 = 0.5 * height; // tan(u/2)
                2.0 * half / (1.0 - half * half)
            }
        };
        let expected_px = offset_m.abs() * tangent / instrument.camera.pixel_m;
        let found_px = lens::outer_edge_px(&image, [49.5, 47.5]);
        // at the edge of the geometrical shadow a straight edge has a quarter of the light (Fresnel; Born and Wolf 8.7.3,
        // from memory); curvature and pixels leave a third of a pixel
        assert_abs_diff_eq!(found_px, expected_px, epsilon = 0.35);
        let record = truth(&instrument, &state).doughnut.unwrap();
        assert_abs_diff_eq!(
            record.outer_radius_px,
            expected_px,
            epsilon = 1e-3 * expected_px
        );
    }
}

#[test]
fn field_curvature_adds_to_the_offset_and_chromatic_focus_takes_away() {
    let mut instrument = unit();
    instrument.telescope.field.curvature_per_m2 = 2.5 * UM / (MM * MM);
    instrument.telescope.field.axis_m = FieldM::new([0.4 * MM, -0.1 * MM]);
    let state = State {
        sensor_offset_m: 12.0 * UM,
        field_m: FieldM::new([3.4 * MM, 3.9 * MM]),
        ..State::default()
    };
    assert_abs_diff_eq!(
        align(&instrument, &state).sensor_offset_m,
        (12.0 + 2.5 * (9.0 + 16.0)) * UM,
        epsilon = 1e-12
    );

    instrument.telescope.chromatic = vec![
        ChromaticPoint {
            wavelength_m: 500.0 * NM,
            focus_m: 30.0 * UM,
            modes: Modes::none(),
        },
        ChromaticPoint {
            wavelength_m: 600.0 * NM,
            focus_m: -10.0 * UM,
            modes: noll(&[(11, 20.0)]),
        },
    ];
    let model = Model::new(&instrument, &State::default(), Settings::default()).unwrap();
    let at = |nm: f64| {
        model
            .wavefront(&Modes::none(), 100.0 * UM, nm * NM)
            .sensor_offset_m
    };
    assert_abs_diff_eq!(at(500.0), 70.0 * UM, epsilon = 1e-12);
    assert_abs_diff_eq!(at(525.0), 80.0 * UM, epsilon = 1e-12); // linear between
    assert_abs_diff_eq!(at(450.0), 70.0 * UM, epsilon = 1e-12); // constant outside
}

/// Positive Noll 8 moves the dark centre to +x, on both sides of focus, and the ring is thin and bright at +x.
#[test]
fn coma_pushes_the_dark_centre_the_same_way_on_both_sides() {
    for offset_um in [-430.0, 430.0] {
        for (j, expected_deg) in [(8, 0.0), (7, 90.0)] {
            let state = State {
                sensor_offset_m: offset_um * UM,
                modes: noll(&[(j, 130.0)]),
                ..State::default()
            };
            let record = truth(&unit(), &state).doughnut.unwrap();
            let shift = record.dark_shift_px.unwrap();
            assert!(
                apart(shift[1].atan2(shift[0]) / DEG, expected_deg) < 1.0,
                "{offset_um} {j}: {shift:?}"
            );
            let image = light(&unit(), &state);
            let bright = brightest_direction_deg(
                &image,
                record.outer_centre_px.xy(),
                record.outer_radius_px,
            );
            assert!(
                apart(bright, expected_deg) < 20.0,
                "{offset_um} {j}: {bright}"
            );
        }
    }
}

#[test]
fn decentred_obstruction_changes_sign_through_focus() {
    let mut instrument = unit();
    instrument.telescope.obstruction.as_mut().unwrap().offset_m = [5.0 * MM, 0.0];
    for (offset_um, sign) in [(-430.0, 1.0), (430.0, -1.0)] {
        let state = State {
            sensor_offset_m: offset_um * UM,
            ..State::default()
        };
        let shift = truth(&instrument, &state)
            .doughnut
            .unwrap()
            .dark_shift_px
            .unwrap();
        // −offset·d/f, to the few per cent that tan u and u differ by in this fast beam
        let expected = -offset_um * UM * 5.0 * MM
            / instrument.telescope.focal_length_m
            / instrument.camera.pixel_m;
        assert_abs_diff_eq!(shift[0], expected, epsilon = 0.04 * expected.abs());
        assert!(shift[0] * sign > 0.0);
    }
}

#[test]
fn star_px_is_where_a_flat_wave_focuses_not_a_centroid() {
    let state = State {
        modes: noll(&[(2, 310.0), (8, 90.0)]),
        ..State::default()
    };
    assert_eq!(truth(&unit(), &state).star_px.xy(), [35.5, 29.5]);
    let flat = centroid(&light(&unit(), &State::default()), [35.5, 29.5]);
    assert_abs_diff_eq!(flat[0], 0.0, epsilon = 1e-9);
    assert_abs_diff_eq!(flat[1], 0.0, epsilon = 1e-9);
}

fn turned(instrument: &Instrument, turns: [f64; 3]) -> ScrewTurns {
    ScrewTurns::of(instrument.assembly.as_ref().expect("screws"), turns).expect("three screws")
}

#[test]
fn a_longer_screw_raises_its_edge() {
    let assembly = unit().assembly.unwrap();
    for (index, screw) in assembly.screws.iter().enumerate() {
        let mut turns = ScrewTurns::zero(&assembly);
        turns[index] = 0.3;
        let plane = plane_of(&assembly, &turns);
        let azimuth = plane.tilt_rad[1].atan2(plane.tilt_rad[0]);
        assert_abs_diff_eq!(
            apart(azimuth / DEG, screw.azimuth_rad / DEG),
            0.0,
            epsilon = 1e-9
        );
        assert_abs_diff_eq!(
            plane.piston_m,
            0.1 * assembly.pitch_m_per_turn,
            epsilon = 1e-12
        );
        for (again, wanted) in turns_for(&assembly, &plane).iter().zip(turns.iter()) {
            assert_abs_diff_eq!(*again, *wanted, epsilon = 1e-12);
        }
    }
    // one screw of three by 0.3 turn: 2/(3R) · 0.3 · pitch
    let a_turned = ScrewTurns::of(&assembly, [0.3, 0.0, 0.0]).unwrap();
    let tilt = plane_of(&assembly, &a_turned).tilt_rad[1];
    assert_abs_diff_eq!(
        tilt,
        2.0 / 3.0 * 0.3 * assembly.pitch_m_per_turn / assembly.screw_circle_radius_m,
        epsilon = 1e-15
    );
}

#[test]
fn responses_follow_the_tilt_vector() {
    let instrument = unit();
    let response = instrument.assembly.clone().unwrap().response.unwrap();
    let (tx, ty) = (1.7 * ARCMIN, -0.6 * ARCMIN);
    let modes = tilt_modes(&response, [tx, ty], FieldM::new([2.0 * MM, 5.0 * MM]));
    assert_abs_diff_eq!(modes.get(8), response.coma_m_per_rad * tx, epsilon = 1e-18);
    assert_abs_diff_eq!(modes.get(7), response.coma_m_per_rad * ty, epsilon = 1e-18);
    let (size, phi) = (tx.hypot(ty), ty.atan2(tx));
    let (h, phi_h) = (29f64.sqrt() * MM, 5f64.atan2(2.0));
    let expected = |f: fn(f64) -> f64| {
        response.astigmatism_m_per_rad2 * size * size * f(2.0 * phi)
            + response.astigmatism_m_per_rad_m * size * h * f(phi + phi_h)
    };
    assert_abs_diff_eq!(modes.get(6), expected(f64::cos), epsilon = 1e-18);
    assert_abs_diff_eq!(modes.get(5), expected(f64::sin), epsilon = 1e-18);
}

/// Nodal aberration theory: a tilt t moves the place without coma to h0 = −k_tilt·t/k_field.
#[test]
fn tilt_moves_the_coma_node() {
    let mut instrument = unit();
    instrument.telescope.field = FieldTerms {
        axis_m: FieldM::new([0.2 * MM, 0.5 * MM]),
        coma_per_m: 9.0 * NM / MM,
        ..FieldTerms::default()
    };
    let assembly = instrument.assembly.as_ref().unwrap();
    let turns = ScrewTurns::of(assembly, [0.02, -0.05, 0.0]).unwrap();
    let Plane { tilt_rad, .. } = plane_of(assembly, &turns);
    let k =
        assembly.response.as_ref().unwrap().coma_m_per_rad / instrument.telescope.field.coma_per_m;
    let node = [0.2 * MM - k * tilt_rad[0], 0.5 * MM - k * tilt_rad[1]];
    let state = State {
        turns,
        field_m: FieldM::new(node),
        ..State::default()
    };
    let modes = align(&instrument, &state).modes;
    assert_abs_diff_eq!(modes.get(8), 0.0, epsilon = 1e-15);
    assert_abs_diff_eq!(modes.get(7), 0.0, epsilon = 1e-15);
    let far = field_modes(
        &instrument.telescope.field,
        FieldM::new([1.2 * MM, 0.5 * MM]),
    );
    assert_abs_diff_eq!(far.get(8), 9.0 * NM, epsilon = 1e-15);
}

#[test]
fn the_image_shift_is_in_pupil_axes_and_recentring_undoes_it() {
    let mut instrument = unit();
    instrument.camera.rotation_rad = 90.0 * DEG; // the sensor's +x points up in the pupil
    // screw A is up: the tilt points up, the star moves up in the pupil
    let turns = turned(&instrument, [0.03, 0.0, 0.0]);
    let followed = truth(
        &instrument,
        &State {
            turns: turns.clone(),
            ..State::default()
        },
    );
    assert_eq!(followed.star_px.xy(), [35.5, 29.5]);
    let left = truth(
        &instrument,
        &State {
            turns,
            recentred: false,
            ..State::default()
        },
    );
    let moved = [left.star_px[0] - 35.5, left.star_px[1] - 29.5];
    assert!(moved[0] > 1.0 && moved[1].abs() < 1e-9, "{moved:?}");
    assert_abs_diff_eq!(moved[0], followed.image_shift_px[0], epsilon = 1e-9);
}

#[test]
fn an_obstruction_ahead_of_the_pupil_is_seen_displaced_with_the_field() {
    let mut instrument = unit();
    instrument
        .telescope
        .obstruction
        .as_mut()
        .unwrap()
        .distance_m = 0.5;
    let state = State {
        sensor_offset_m: -430.0 * UM,
        field_m: FieldM::new([4.0 * MM, 0.0]),
        ..State::default()
    };
    // +distance·h/f = 4.9 mm towards +x; inside focus the picture is upright: the dark centre moves to +x
    let shift = truth(&instrument, &state)
        .doughnut
        .unwrap()
        .dark_shift_px
        .unwrap();
    assert!(shift[0] > 0.5 && shift[1].abs() < 1e-6, "{shift:?}");
}

/// The full chain, from a screw to the clock: both sides of focus, odd and even reflections, a turned and mirrored camera.
#[test]
fn from_the_screw_to_the_thin_side_and_back() {
    for (reflections, front) in [(1u32, "at 8 o'clock"), (2, "at 4 o'clock")] {
        for offset_um in [-430.0, 430.0] {
            for (rotation_deg, mirrored, thin_deg) in [
                (0.0, false, 30.0),
                (40.0, false, -10.0),
                (40.0, true, 190.0),
            ] {
                let mut instrument = unit();
                instrument.telescope.reflections = reflections;
                instrument.camera.rotation_rad = rotation_deg * DEG;
                instrument.camera.mirrored = mirrored;
                // screw B (azimuth 210) is short: the raised edge, and with it the thin side, is at azimuth 30
                let state = State {
                    sensor_offset_m: offset_um * UM,
                    turns: turned(&instrument, [0.0, -0.1, 0.0]),
                    ..State::default()
                };
                let found = truth(&instrument, &state);
                let shift = found.doughnut.as_ref().unwrap().dark_shift_px.unwrap();
                assert!(
                    apart(shift[1].atan2(shift[0]) / DEG, thin_deg) < 1.0,
                    "{shift:?} {thin_deg}"
                );
                let image = light(&instrument, &state);
                let ring = found.doughnut.as_ref().unwrap();
                let bright = brightest_direction_deg(
                    &image,
                    ring.outer_centre_px.xy(),
                    ring.outer_radius_px,
                );
                assert!(apart(bright, thin_deg) < 20.0, "{bright} {thin_deg}");
                let words = sentences(&instrument, None, &found);
                let hour = ((90.0 - thin_deg) / 30.0f64).round().rem_euclid(12.0);
                let hour = if hour == 0.0 { 12.0 } else { hour };
                assert!(
                    words.contains(&format!("towards {hour} o'clock")),
                    "{words}"
                );
                assert!(words.contains(front), "{words}");
                assert!(
                    words.contains(
                        "36 degrees (a little less than 1/8 turn) clockwise, which lengthens it"
                    ),
                    "{words}"
                );
                assert_eq!(found.undo_turns["B"], 0.1);
            }
        }
    }
}

#[test]
fn a_screw_whose_clockwise_turn_shortens_is_told_the_other_way() {
    let mut instrument = unit();
    instrument.assembly.as_mut().unwrap().clockwise = ClockwiseTurn::Shortens;
    let state = State {
        sensor_offset_m: 430.0 * UM,
        turns: turned(&instrument, [0.0, -0.1, 0.0]),
        ..State::default()
    };
    let words = sentences(&instrument, None, &truth(&instrument, &state));
    assert!(
        words
            .contains("36 degrees (a little less than 1/8 turn) anticlockwise, which lengthens it"),
        "{words}"
    );
}
