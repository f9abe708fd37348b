//! `[telescope]`.

use crate::axes::FieldM;
use crate::instrument::{
    ChromaticPoint, FieldTerms, FocusLaw, Obstruction, ObstructionShape, RoundStop, Telescope, Vane,
};
use crate::scenario::error::number;
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{
    RawField, RawFocusLaw, RawObstruction, RawShape, RawTelescope, RawVane,
};
use crate::units::{DEG, MM, NM, UM};

use super::{ROUNDING, length, modes, pair, scaled};

/// Largest focal ratio.
const SLOWEST: f64 = 100.0;
/// Farthest point of the field, as a fraction of the focal length: about 11 degrees.
pub(super) const WIDEST_FIELD: f64 = 0.2;

pub(super) fn check(telescope: &RawTelescope, findings: &mut Contradictions<'_>) {
    check_focal_ratio(telescope, findings);
    if let Some(obstruction) = &telescope.obstruction {
        check_obstruction(obstruction, telescope.aperture_mm, findings);
    }
    for (index, vane) in telescope.vanes.iter().enumerate() {
        check_vane(
            vane,
            telescope.aperture_mm,
            &format!("telescope.vanes[{index}]"),
            findings,
        );
    }
    check_chromatic(telescope, findings);
    if let Some(field) = &telescope.field {
        check_field_point(
            "telescope.field.axis_mm",
            field.axis_mm,
            telescope.focal_length_mm,
            findings,
        );
    }
}

pub(super) fn build(telescope: &RawTelescope) -> Telescope {
    let chromatic = telescope.chromatic.iter().map(|point| ChromaticPoint {
        wavelength_m: point.wavelength_nm * NM,
        focus_m: point.focus_um * UM,
        modes: modes(&point.modes_nm),
    });
    Telescope {
        aperture_m: telescope.aperture_mm * MM,
        focal_length_m: telescope.focal_length_mm * MM,
        reflections: telescope.reflections,
        focus_law: match telescope.focus_law {
            RawFocusLaw::Sine => FocusLaw::Sine,
            RawFocusLaw::Paraboloid => FocusLaw::Paraboloid,
        },
        obstruction: telescope
            .obstruction
            .as_ref()
            .filter(|disc| disc.diameter_mm > 0.0)
            .map(obstruction),
        vanes: telescope
            .vanes
            .iter()
            .map(|strip| vane(strip, telescope.aperture_mm))
            .collect(),
        design: modes(&telescope.design_nm),
        chromatic: chromatic.collect(),
        field: FieldTerms {
            vignetting: telescope.vignetting.as_ref().map(|opening| RoundStop {
                diameter_m: opening.diameter_mm * MM,
                distance_m: opening.distance_mm * MM,
            }),
            ..telescope
                .field
                .as_ref()
                .map(field_terms)
                .unwrap_or_default()
        },
        surfaces: None,
    }
}

/// Refuses a point of the field that is too far out for the model.
pub(in crate::scenario) fn check_field_point(
    key: &str,
    point_mm: [f64; 2],
    focal_length_mm: f64,
    findings: &mut Contradictions<'_>,
) {
    let farthest_mm = WIDEST_FIELD * focal_length_mm;
    if length(point_mm) > farthest_mm * (1.0 + ROUNDING) {
        let allowed = format!(
            "at most {} mm from the centre, a fifth of the focal length",
            number(farthest_mm)
        );
        findings.out_of_range(
            key,
            pair(point_mm),
            allowed,
            "it is measured on the sensor, from its centre",
        );
    }
}

fn check_focal_ratio(telescope: &RawTelescope, findings: &mut Contradictions<'_>) {
    let (fastest, law) = match telescope.focus_law {
        RawFocusLaw::Sine => (1.0, "sine"),
        RawFocusLaw::Paraboloid => (0.8, "paraboloid"),
    };
    let ratio = telescope.focal_length_mm / telescope.aperture_mm;
    if !(fastest - ROUNDING..=SLOWEST + SLOWEST * ROUNDING).contains(&ratio) {
        let (least, most) = (
            number(fastest * telescope.aperture_mm),
            number(SLOWEST * telescope.aperture_mm),
        );
        findings.out_of_range(
            "telescope.focal_length_mm",
            number(telescope.focal_length_mm),
            format!(
                "from {least} to {most} (focal ratio {} to {} with focus_law \"{law}\")",
                number(fastest),
                number(SLOWEST)
            ),
            "the focal ratio is focal_length_mm / aperture_mm; is one of the two mistyped?",
        );
    }
}

fn check_obstruction(
    obstruction: &RawObstruction,
    aperture_mm: f64,
    findings: &mut Contradictions<'_>,
) {
    if obstruction.diameter_mm >= aperture_mm {
        findings.out_of_range(
            "telescope.obstruction.diameter_mm",
            number(obstruction.diameter_mm),
            format!(
                "smaller than telescope.aperture_mm ({})",
                number(aperture_mm)
            ),
            "it is the diameter of the central disc, usually 15 to 45 % of the aperture",
        );
    }
    check_centre(
        "telescope.obstruction.offset_mm",
        obstruction.offset_mm,
        aperture_mm,
        findings,
    );
}

/// Refuses something whose centre lies outside the aperture.
pub(super) fn check_centre(
    key: &str,
    offset_mm: [f64; 2],
    aperture_mm: f64,
    findings: &mut Contradictions<'_>,
) {
    let radius_mm = 0.5 * aperture_mm;
    if length(offset_mm) >= radius_mm {
        let allowed = format!(
            "less than the radius of the aperture ({} mm) from the centre",
            number(radius_mm)
        );
        findings.out_of_range(
            key,
            pair(offset_mm),
            allowed,
            "it says where the centre really sits, usually within a few mm",
        );
    }
}

fn check_vane(vane: &RawVane, aperture_mm: f64, path: &str, findings: &mut Contradictions<'_>) {
    if vane.width_mm >= aperture_mm {
        findings.out_of_range(
            &format!("{path}.width_mm"),
            number(vane.width_mm),
            format!(
                "smaller than telescope.aperture_mm ({})",
                number(aperture_mm)
            ),
            "it is the full width of the strip",
        );
    }
    if vane.inner_radius_mm >= outer_radius_mm(vane, aperture_mm) {
        findings.out_of_range(
            &format!("{path}.inner_radius_mm"),
            number(vane.inner_radius_mm),
            format!("smaller than its outer_radius_mm ({})", number(outer_radius_mm(vane, aperture_mm))),
            "radii are measured along the strip; left out, the outer one is the radius of the aperture",
        );
    }
    if vane.offset_mm.abs() >= 0.5 * aperture_mm {
        findings.out_of_range(
            &format!("{path}.offset_mm"),
            number(vane.offset_mm),
            format!(
                "smaller than the radius of the aperture ({} mm), either way",
                number(0.5 * aperture_mm)
            ),
            "it is the sideways distance from the radial line",
        );
    }
}

fn check_chromatic(telescope: &RawTelescope, findings: &mut Contradictions<'_>) {
    let points = telescope.chromatic.windows(2).enumerate();
    for (index, two) in points.filter(|(_, two)| two[1].wavelength_nm <= two[0].wavelength_nm) {
        findings.out_of_range(
            &format!("telescope.chromatic[{}].wavelength_nm", index + 1),
            number(two[1].wavelength_nm),
            format!(
                "more than the point before it ({})",
                number(two[0].wavelength_nm)
            ),
            "list the points in ascending order of wavelength, each wavelength once",
        );
    }
}

fn obstruction(disc: &RawObstruction) -> Obstruction {
    Obstruction {
        diameter_m: disc.diameter_mm * MM,
        offset_m: scaled(disc.offset_mm, MM),
        shape: match disc.shape {
            RawShape::Round => ObstructionShape::Round,
            RawShape::Square => ObstructionShape::Square,
        },
        distance_m: disc.distance_mm * MM,
    }
}

fn vane(strip: &RawVane, aperture_mm: f64) -> Vane {
    Vane {
        azimuth_rad: strip.azimuth_deg * DEG,
        width_m: strip.width_mm * MM,
        inner_radius_m: strip.inner_radius_mm * MM,
        outer_radius_m: outer_radius_mm(strip, aperture_mm) * MM,
        offset_m: strip.offset_mm * MM,
    }
}

fn outer_radius_mm(vane: &RawVane, aperture_mm: f64) -> f64 {
    vane.outer_radius_mm.unwrap_or(0.5 * aperture_mm)
}

fn field_terms(field: &RawField) -> FieldTerms {
    FieldTerms {
        axis_m: FieldM::new(scaled(field.axis_mm, MM)),
        coma_per_m: field.coma_nm_per_mm * NM / MM,
        secondary_coma_per_m: field.secondary_coma_nm_per_mm * NM / MM,
        astigmatism_per_m2: field.astigmatism_nm_per_mm2 * NM / (MM * MM),
        curvature_per_m2: field.curvature_um_per_mm2 * UM / (MM * MM),
        vignetting: None,
    }
}
