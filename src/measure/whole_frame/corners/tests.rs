//! What the advice trades, against a grid of tilts. What is named in rendered fields is asked by `python -m world corners` in
//! `tests/references`.

use super::fit::{BLUR, COMA, COUNT, FieldFit, HALO, LINEAR, SLOPE};
use super::trade::{Stars, tilted, trade};
use crate::instrument::{FieldTerms, Instrument, Response};
use crate::measure::whole_frame::{FieldOfFrame, WholeFrameOptions};
use crate::testing::fast_unit;
use crate::units::{ARCMIN, DEG, MM, NM, UM};

/// A prime-focus unit with a corrector whose tilt and decentre act apart, on a sensor of 11 by 9 mm.
fn with_corrector() -> Instrument {
    let mut unit = fast_unit();
    unit.camera.rotation_rad = 37.0 * DEG;
    unit.camera.mirrored = true;
    (unit.camera.width_px, unit.camera.height_px) = (3000, 2300);
    unit.camera.wavelengths = Some(1);
    unit.telescope.field = FieldTerms {
        coma_per_m: 9.0 * NM / MM,
        astigmatism_per_m2: 1.1 * NM / (MM * MM),
        curvature_per_m2: 0.05 * UM / (MM * MM),
        ..FieldTerms::default()
    };
    unit.assembly.as_mut().expect("screws").response = Some(Response {
        coma_m_per_rad: 62.0 * NM / ARCMIN,
        astigmatism_m_per_rad2: 0.4 * NM / (ARCMIN * ARCMIN),
        astigmatism_m_per_rad_m: 0.9 * NM / (ARCMIN * MM),
        image_shift_m_per_rad: 29.0 * UM / ARCMIN,
        focus_m_per_m: 1.0,
        sensor_tilt_per_tilt: 1.0,
        decentre_coma_m_per_m: -120.0 * NM / MM,
        decentre_image_shift_m_per_m: -1.0,
        decentre_astigmatism_m_per_m_m: 6.0 * NM / (MM * MM),
        spacing_spherical_m_per_m: 4.0 * NM / MM,
        spacing_astigmatism_m_per_m_m2: 2.5 * NM / (MM * MM * MM),
        ..Response::default()
    });
    unit
}

/// The worst corner after the advised tilt is no more than 10 % larger than the smallest that any tilt of a grid of 31 by 31 leaves without
/// costing the middle more than its 5 %: for a unit aside, a leaning sensor, and both.
#[test]
fn the_advised_trade_is_as_good_as_the_best_of_a_grid() {
    let instrument = with_corrector();
    let options = WholeFrameOptions::default();
    let field = FieldOfFrame {
        middle_px: [1499.5, 1149.5],
        instrument: &instrument,
        options: &options,
    };
    let model = field.field_model();
    let response = instrument
        .assembly
        .as_ref()
        .and_then(|a| a.response.as_ref());
    let response = response.expect("a response");
    for (decentre_mm, lean_arcmin) in [
        ([0.9, 0.4], [0.0, 0.0]),
        ([0.0, 0.0], [7.0, -3.0]),
        ([-0.6, 0.7], [4.0, 5.0]),
    ] {
        let mut values = [0.0; COUNT];
        for axis in [0, 1] {
            values[SLOPE + axis] = lean_arcmin[axis] * ARCMIN;
            values[COMA + axis] = response.decentre_coma_m_per_m * decentre_mm[axis] * MM;
            values[LINEAR + axis] =
                response.decentre_astigmatism_m_per_m_m * decentre_mm[axis] * MM;
        }
        (values[BLUR], values[HALO]) = ((2.6 * UM).powi(2), 0.27);
        let fit = FieldFit {
            values,
            covariance: vec![vec![1e-24; COUNT]; COUNT],
            scale: 1.0,
            chi_square: 0.0,
            used: 100,
            sign_open: false,
        };
        let traded = trade(&field, &model, &fit).expect("a response");
        let stars = Stars::of(&field, &model);
        let now = stars.sizes(&values);
        let mut least = now.worst();
        for i in -15..=15 {
            for j in -15..=15 {
                let tilt = [i, j].map(|k| 0.25 * f64::from(k) * ARCMIN);
                let after = stars.sizes(&tilted(&values, response, tilt));
                if after.middle <= 1.05 * now.middle {
                    least = least.min(after.worst());
                }
            }
        }
        let [before, after] = traded.worst_corner_px;
        println!(
            "{decentre_mm:?} mm, {lean_arcmin:?} arcmin: worst corner {before:.2} to {after:.2} px, grid {least:.2} px; {}",
            traded.words
        );
        assert!(after <= 1.1 * least, "{after} {least}");
        assert!(traded.middle_px[1] <= 1.0501 * traded.middle_px[0]);
    }
}
