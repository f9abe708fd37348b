//! Turns for a coma and for a tilt of the focal plane, by hand.

use super::*;
use crate::testing::fast_unit;
use crate::units::{ARCMIN, DEG, NM};
use approx::assert_abs_diff_eq;

fn coma(c8: f64, c7: f64) -> Misaligned {
    Misaligned {
        coma: Some(Coma::along_axes([c8, c7])),
        ..Misaligned::default()
    }
}

fn advised(instrument: &Instrument, found: &Misaligned, aim: Aim) -> Result<Advice, NoAdvice> {
    advise(instrument, found, aim, &AdviceSettings::default())
}

fn with_response() -> Instrument {
    let mut unit = fast_unit();
    if let Some(assembly) = &mut unit.assembly {
        assembly.travel_m = None;
    }
    unit
}

/// The coma that some turns make is taken away by the same turns back, less their piston.
#[test]
fn turns_that_made_the_coma_are_undone() {
    let unit = with_response();
    let assembly = unit.assembly.as_ref().unwrap();
    let k = assembly.response.as_ref().unwrap().coma_m_per_rad;
    let made = ScrewTurns::of(assembly, [0.05, -0.11, 0.06]).unwrap();
    let tilt = plane_of(assembly, &made).tilt_rad;
    let advice = advised(&unit, &coma(k * tilt[0], k * tilt[1]), Aim::Coma).unwrap();
    let mean = made.iter().sum::<f64>() / 3.0;
    for (turn, made) in advice.turns.iter().zip(made.iter()) {
        assert_abs_diff_eq!(*turn, mean - made, epsilon = 1e-12);
    }
    assert_abs_diff_eq!(advice.remaining_coma_m.unwrap(), 0.0, epsilon = 1e-15);
    assert_abs_diff_eq!(advice.focus_change_m, 0.0, epsilon = 1e-12);
}

#[test]
fn a_single_turn_is_found_and_travel_is_kept() {
    let mut unit = with_response();
    let assembly = unit.assembly.as_ref().unwrap();
    let k = assembly.response.as_ref().unwrap().coma_m_per_rad;
    let b_turned = ScrewTurns::named(assembly, [("B", 0.2)]).unwrap();
    let tilt = plane_of(assembly, &b_turned).tilt_rad;
    let found = coma(k * tilt[0], k * tilt[1]);
    let one = advised(&unit, &found, Aim::Coma)
        .unwrap()
        .one_screw
        .unwrap();
    assert_eq!(one.screw, 1);
    assert_abs_diff_eq!(one.turns, -0.2, epsilon = 1e-12);
    assert_abs_diff_eq!(one.leaves_m, 0.0, epsilon = 1e-15);

    let pitch = assembly.pitch_m_per_turn;
    unit.assembly.as_mut().unwrap().travel_m = Some([-0.1 * pitch, 0.5 * pitch]);
    let advice = advised(&unit, &found, Aim::Coma).unwrap();
    let limits = Flags::from([Flag::TravelLimits, Flag::ScrewPositionsAssumed]);
    assert_eq!(advice.flags, limits);
    assert_abs_diff_eq!(advice.reach, 1.0, epsilon = 1e-12);
    assert!(
        advice
            .turns
            .iter()
            .all(|t| *t > -0.1 - 1e-9 && *t < 0.5 + 1e-9)
    );
    assert!(advice.remaining_coma_m.unwrap() < 1e-3 * NM && advice.focus_change_m != 0.0);

    unit.assembly.as_mut().unwrap().travel_m = Some([-0.05 * pitch, 0.05 * pitch]);
    let short = advised(&unit, &found, Aim::Coma).unwrap();
    assert_abs_diff_eq!(short.reach, 0.5, epsilon = 1e-9);
    assert!(short.turns.iter().all(|t| t.abs() < 0.05 + 1e-9));
}

/// By hand: the sensor's columns run up in the pupil, so that what moves down in the pupil (coma along +y is taken away by a
/// tilt along −y) moves left in the frame, and right where the camera mirrors.
#[test]
fn the_image_shift_is_turned_into_the_frame() {
    for (mirrored, sense) in [(false, -1.0), (true, 1.0)] {
        let mut unit = with_response();
        unit.camera.rotation_rad = 90.0 * DEG;
        unit.camera.mirrored = mirrored;
        let advice = advised(&unit, &coma(0.0, 62.0 * NM), Aim::Coma).unwrap();
        // 62 nm of coma and 29 um of shift are an arcminute each
        let [x, y] = advice.image_shift_px.xy();
        assert_abs_diff_eq!(x, sense * 29.0 / 3.8, epsilon = 1e-9);
        assert_abs_diff_eq!(y, 0.0, epsilon = 1e-9);
    }
}

/// A faint star is neither turned after nor called good enough before it is known well enough.
#[test]
fn uncertainty_decides_between_stop_turn_and_another_look() {
    let unit = with_response();
    let verdict = |coma_nm: f64, sigma_nm: f64| {
        let coma = Coma::along_axes([coma_nm * NM, 0.0]).with_sigma(sigma_nm * NM);
        let found = Misaligned {
            coma: Some(coma),
            ..Misaligned::default()
        };
        advised(&unit, &found, Aim::Coma)
            .unwrap()
            .verdict(25.0 * NM)
    };
    assert_eq!(verdict(12.0, 2.0), Verdict::Stop);
    assert_eq!(verdict(24.0, 12.0), Verdict::Stop);
    assert_eq!(verdict(2.0, 22.0), Verdict::Stop);
    assert_eq!(verdict(12.0, 20.0), Verdict::LookAgain);
    assert_eq!(verdict(40.0, 30.0), Verdict::LookAgain);
    assert_eq!(verdict(80.0, 30.0), Verdict::Turn);
    assert_eq!(verdict(80.0, f64::INFINITY), Verdict::LookAgain);
}

#[test]
fn what_is_missing_is_named() {
    let mut unit = with_response();
    let found = coma(1e-8, 0.0);
    assert_eq!(
        advised(&unit, &found, Aim::Tilt),
        Err(NoAdvice::NotMeasured)
    );
    unit.assembly.as_mut().unwrap().response = None;
    assert_eq!(advised(&unit, &found, Aim::Coma), Err(NoAdvice::NoResponse));
    unit.assembly = None;
    assert_eq!(advised(&unit, &found, Aim::Coma), Err(NoAdvice::NoScrews));
}

/// By hand: the star asks for (1.2, −0.4) arcmin, the focal plane for (0.2, 1.0): the middle is (0.7, 0.3), and what either of them
/// wants beyond it is (0.5, −0.7) arcmin, 0.8602 arcmin long; an arcminute makes 62 nm.
#[test]
fn both_aims_meet_in_the_middle_along_each_axis() {
    let found = Misaligned {
        plane_tilt_rad: Some([0.2 * ARCMIN, 1.0 * ARCMIN]),
        ..coma(1.2 * 62.0 * NM, -0.4 * 62.0 * NM)
    };
    let advice = advised(&with_response(), &found, Aim::Both).unwrap();
    let [x, y] = advice.tilt_rad.map(|tilt| tilt / ARCMIN);
    assert_abs_diff_eq!(x, -0.7, epsilon = 1e-12);
    assert_abs_diff_eq!(y, -0.3, epsilon = 1e-12);
    let apart = 0.74f64.sqrt();
    let left = advice.remaining_plane_rad.unwrap() / ARCMIN;
    assert_abs_diff_eq!(left, apart, epsilon = 1e-12);
    let left_nm = advice.remaining_coma_m.unwrap() / NM;
    assert_abs_diff_eq!(left_nm, 62.0 * apart, epsilon = 1e-9);
    assert_eq!(advice.one_screw, None, "one screw cannot do for both");
}

/// By hand: the coma points 10 degrees up from +x. Screw B stands at 210 degrees, its line 20 degrees away; turned alone it takes what
/// lies along that line, 62 cos 20°, and leaves 62 sin 20° = 21.205 nm. A turn tilts by ⅔ · 0.5 mm / 55 mm = 20.835 arcmin, so that
/// cos 20° of an arcminute is 0.0451 turn, longer. What C could leave, 40 degrees away, and A, 80 degrees, is more.
#[test]
fn one_screw_takes_the_part_along_its_own_line() {
    let (sin, cos) = (libm::sin(10.0 * DEG), libm::cos(10.0 * DEG));
    let found = coma(62.0 * cos * NM, 62.0 * sin * NM);
    let advice = advised(&with_response(), &found, Aim::Coma).unwrap();
    let one = advice.one_screw.unwrap();
    assert_eq!(one.screw, 1);
    assert_abs_diff_eq!(one.leaves_m / NM, 21.205, epsilon = 1e-3);
    assert_abs_diff_eq!(one.turns, 0.045_102, epsilon = 1e-6);
}

/// Turns that take all of the coma away leave its errors: 10 nm along each axis are 14.14 nm together.
#[test]
fn what_is_not_known_may_be_left() {
    let found = Misaligned {
        coma: Some(Coma::along_axes([30.0 * NM, -12.0 * NM]).with_sigma(10.0 * NM)),
        ..Misaligned::default()
    };
    let advice = advised(&with_response(), &found, Aim::Coma).unwrap();
    let left_nm = advice.remaining_coma_m.unwrap() / NM;
    assert_abs_diff_eq!(left_nm, 14.142_136, epsilon = 1e-6);
}
