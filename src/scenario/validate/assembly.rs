//! `[assembly]`.

use crate::instrument::{Assembly, AssemblyKind, ClockwiseTurn, Response, Screw};
use crate::scenario::error::quoted;
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{RawAssembly, RawClockwise, RawKind, RawResponse};
use crate::units::{ARCMIN, DEG, MM, NM, UM};

use super::{pair, scaled};

/// Azimuths closer than this count as one, since screws there could not be told apart by what they do.
const SAME_AZIMUTH_DEG: f64 = 1.0;

pub(super) fn check(assembly: &RawAssembly, findings: &mut Contradictions<'_>) {
    check_travel(assembly, findings);
    check_names(assembly, findings);
    check_azimuths(assembly, findings);
    check_response(assembly, findings);
}

pub(super) fn build(assembly: &RawAssembly) -> Assembly {
    let screws = assembly.screws.iter().map(|screw| Screw {
        name: screw.name.clone(),
        azimuth_rad: screw.azimuth_deg * DEG,
    });
    Assembly {
        kind: match assembly.kind {
            RawKind::PushPull => AssemblyKind::PushPull,
            RawKind::Spring => AssemblyKind::Spring,
            RawKind::Pivot => AssemblyKind::Pivot,
            RawKind::LockNut => AssemblyKind::LockNut,
        },
        screw_circle_radius_m: assembly.screw_circle_radius_mm * MM,
        pitch_m_per_turn: assembly.pitch_mm_per_turn * MM,
        clockwise: match assembly.clockwise {
            RawClockwise::Lengthens => ClockwiseTurn::Lengthens,
            RawClockwise::Shortens => ClockwiseTurn::Shortens,
        },
        travel_m: assembly.travel_mm.map(|travel_mm| scaled(travel_mm, MM)),
        backlash_turns: assembly.backlash_turns,
        screws: screws.collect(),
        response: assembly.response.as_ref().map(response),
    }
}

fn check_travel(assembly: &RawAssembly, findings: &mut Contradictions<'_>) {
    if let Some(travel_mm) = assembly.travel_mm
        && !(travel_mm[0] <= 0.0 && travel_mm[1] >= 0.0 && travel_mm[0] < travel_mm[1])
    {
        findings.out_of_range(
            "assembly.travel_mm",
            pair(travel_mm),
            "two lengths, the first at most 0, the second at least 0, not both 0",
            "lengths count from the nominal one, for example [-0.35, 0.35]",
        );
    }
}

fn check_names(assembly: &RawAssembly, findings: &mut Contradictions<'_>) {
    for (index, screw) in assembly.screws.iter().enumerate() {
        let key = format!("assembly.screws[{index}].name");
        let shown = quoted(&screw.name);
        if !screw
            .name
            .chars()
            .all(|letter| letter.is_alphanumeric() || letter == '-' || letter == '_')
        {
            let allowed = "made of letters, digits, hyphens and underscores";
            findings.out_of_range(
                &key,
                shown,
                allowed,
                "short names are best, such as A, B and C",
            );
        } else if assembly.screws[..index]
            .iter()
            .any(|earlier| earlier.name == screw.name)
        {
            let allowed = "different from the names of the other screws";
            findings.out_of_range(
                &key,
                shown,
                allowed,
                "short names are best, such as A, B and C",
            );
        }
    }
}

fn check_azimuths(assembly: &RawAssembly, findings: &mut Contradictions<'_>) {
    let mut distinct: Vec<f64> = Vec::new();
    for screw in &assembly.screws {
        if distinct
            .iter()
            .all(|other| apart_deg(*other, screw.azimuth_deg) >= SAME_AZIMUTH_DEG)
        {
            distinct.push(screw.azimuth_deg);
        }
    }
    if distinct.len() < 3 {
        findings.out_of_range(
            "assembly.screws",
            format!(
                "a list of {} screws at {} different azimuths",
                assembly.screws.len(),
                distinct.len()
            ),
            "a list with 3 different azimuths at least, 1 degree or more apart",
            "three lengths make a plane only where the screws do not stand on one line",
        );
    }
}

fn check_response(assembly: &RawAssembly, findings: &mut Contradictions<'_>) {
    if assembly.response.is_some() && assembly.prescription.is_some() {
        findings.exclude_each_other(
            "assembly.response",
            "assembly.prescription",
            "leave one of them out",
        );
    }
}

/// Angle between two azimuths, 0 to 180 degrees.
fn apart_deg(first_deg: f64, second_deg: f64) -> f64 {
    let turn = (first_deg - second_deg).rem_euclid(360.0);
    turn.min(360.0 - turn)
}

fn response(response: &RawResponse) -> Response {
    Response {
        coma_m_per_rad: response.coma_nm_per_arcmin * NM / ARCMIN,
        astigmatism_m_per_rad2: response.astigmatism_nm_per_arcmin2 * NM / (ARCMIN * ARCMIN),
        astigmatism_m_per_rad_m: response.astigmatism_nm_per_arcmin_mm * NM / (ARCMIN * MM),
        image_shift_m_per_rad: response.image_shift_um_per_arcmin * UM / ARCMIN,
        focus_m_per_m: response.focus_um_per_mm * UM / MM,
        sensor_tilt_per_tilt: response.sensor_tilt_per_tilt,
        decentre_coma_m_per_m: response.decentre_coma_nm_per_mm * NM / MM,
        decentre_image_shift_m_per_m: response.decentre_image_shift_um_per_mm * UM / MM,
        astigmatism_m_per_m_rad: response.astigmatism_nm_per_mm_arcmin * NM / (MM * ARCMIN),
        decentre_astigmatism_m_per_m2: response.decentre_astigmatism_nm_per_mm2 * NM / (MM * MM),
        decentre_astigmatism_m_per_m_m: response.decentre_astigmatism_nm_per_mm_mm * NM / (MM * MM),
        spacing_spherical_m_per_m: response.spacing_spherical_nm_per_mm * NM / MM,
        spacing_astigmatism_m_per_m_m2: response.spacing_astigmatism_nm_per_mm_mm2 * NM
            / (MM * MM * MM),
        secondary_coma_m_per_rad: response.secondary_coma_nm_per_arcmin * NM / ARCMIN,
        decentre_secondary_coma_m_per_m: response.decentre_secondary_coma_nm_per_mm * NM / MM,
        focus_m_per_rad2: response.focus_um_per_arcmin2 * UM / (ARCMIN * ARCMIN),
        focus_m_per_m_rad: response.focus_um_per_mm_arcmin * UM / (MM * ARCMIN),
        decentre_focus_m_per_m2: response.decentre_focus_um_per_mm2 * UM / (MM * MM),
        decentre_sensor_tilt_rad_per_m: response.decentre_sensor_tilt_arcmin_per_mm * ARCMIN / MM,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn azimuths_are_compared_around_the_circle() {
        assert_eq!(apart_deg(359.5, 0.25), 0.75);
        assert_eq!(apart_deg(-90.0, 270.0), 0.0);
        assert_eq!(apart_deg(10.0, 190.0), 180.0);
        assert_eq!(apart_deg(10.0, 350.0), 20.0);
    }
}
