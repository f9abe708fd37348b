//! The unit that the screws hold as the tables of `[assembly]`. A traced response is written as the numbers it gave.

use super::keys::{Keys, in_unit, list, pair, text};
use crate::instrument::{Assembly, ClockwiseTurn, Response, Screw};
use crate::scenario::document::Value;
use crate::units::{ARCMIN, DEG, MM, NM, UM};

pub(super) fn assembly(unit: &Assembly) -> Keys {
    let Assembly {
        kind,
        screw_circle_radius_m,
        pitch_m_per_turn,
        clockwise,
        travel_m,
        backlash_turns,
        screws,
        response,
    } = unit;
    let clockwise = match clockwise {
        ClockwiseTurn::Lengthens => "lengthens",
        ClockwiseTurn::Shortens => "shortens",
    };
    let mut keys = Keys::default();
    keys.put("kind", text(kind.word()));
    keys.put(
        "screw_circle_radius_mm",
        in_unit(*screw_circle_radius_m, MM),
    );
    keys.put("pitch_mm_per_turn", in_unit(*pitch_m_per_turn, MM));
    keys.put("clockwise", text(clockwise));
    keys.put_some("travel_mm", travel_m.map(|travel_m| pair(travel_m, MM)));
    keys.put("backlash_turns", Value::Number(*backlash_turns));
    keys.put("screws", list(screws.iter().map(screw)));
    keys.put_some("response", response.as_ref().map(self::response));
    keys
}

fn screw(screw: &Screw) -> Value {
    let Screw { name, azimuth_rad } = screw;
    let mut keys = Keys::default();
    keys.put("name", text(name));
    keys.put("azimuth_deg", in_unit(*azimuth_rad, DEG));
    keys.table()
}

fn response(response: &Response) -> Value {
    let Response {
        coma_m_per_rad,
        astigmatism_m_per_rad2,
        astigmatism_m_per_rad_m,
        image_shift_m_per_rad,
        focus_m_per_m,
        sensor_tilt_per_tilt,
        decentre_coma_m_per_m,
        decentre_image_shift_m_per_m,
        astigmatism_m_per_m_rad,
        decentre_astigmatism_m_per_m2,
        decentre_astigmatism_m_per_m_m,
        spacing_spherical_m_per_m,
        spacing_astigmatism_m_per_m_m2,
        secondary_coma_m_per_rad,
        decentre_secondary_coma_m_per_m,
        focus_m_per_rad2,
        focus_m_per_m_rad,
        decentre_focus_m_per_m2,
        decentre_sensor_tilt_rad_per_m,
    } = response;
    const PURE: f64 = 1.0;
    let mut keys = Keys::default();
    for (key, value, unit) in [
        ("coma_nm_per_arcmin", coma_m_per_rad, NM / ARCMIN),
        (
            "astigmatism_nm_per_arcmin2",
            astigmatism_m_per_rad2,
            NM / (ARCMIN * ARCMIN),
        ),
        (
            "astigmatism_nm_per_arcmin_mm",
            astigmatism_m_per_rad_m,
            NM / (ARCMIN * MM),
        ),
        (
            "image_shift_um_per_arcmin",
            image_shift_m_per_rad,
            UM / ARCMIN,
        ),
        ("focus_um_per_mm", focus_m_per_m, UM / MM),
        ("sensor_tilt_per_tilt", sensor_tilt_per_tilt, PURE),
        ("decentre_coma_nm_per_mm", decentre_coma_m_per_m, NM / MM),
        (
            "decentre_image_shift_um_per_mm",
            decentre_image_shift_m_per_m,
            UM / MM,
        ),
        (
            "astigmatism_nm_per_mm_arcmin",
            astigmatism_m_per_m_rad,
            NM / (MM * ARCMIN),
        ),
        (
            "decentre_astigmatism_nm_per_mm2",
            decentre_astigmatism_m_per_m2,
            NM / (MM * MM),
        ),
        (
            "decentre_astigmatism_nm_per_mm_mm",
            decentre_astigmatism_m_per_m_m,
            NM / (MM * MM),
        ),
        (
            "spacing_spherical_nm_per_mm",
            spacing_spherical_m_per_m,
            NM / MM,
        ),
        (
            "spacing_astigmatism_nm_per_mm_mm2",
            spacing_astigmatism_m_per_m_m2,
            NM / (MM * MM * MM),
        ),
        (
            "secondary_coma_nm_per_arcmin",
            secondary_coma_m_per_rad,
            NM / ARCMIN,
        ),
        (
            "decentre_secondary_coma_nm_per_mm",
            decentre_secondary_coma_m_per_m,
            NM / MM,
        ),
        (
            "focus_um_per_arcmin2",
            focus_m_per_rad2,
            UM / (ARCMIN * ARCMIN),
        ),
        (
            "focus_um_per_mm_arcmin",
            focus_m_per_m_rad,
            UM / (MM * ARCMIN),
        ),
        (
            "decentre_focus_um_per_mm2",
            decentre_focus_m_per_m2,
            UM / (MM * MM),
        ),
        (
            "decentre_sensor_tilt_arcmin_per_mm",
            decentre_sensor_tilt_rad_per_m,
            ARCMIN / MM,
        ),
    ] {
        keys.put(key, in_unit(*value, unit));
    }
    keys.table()
}
