//! `[assembly.prescription]`: which keys belong to which kind of telescope, and whether the surfaces make one.

use crate::mechanics::prescription::{
    Corrector, Derived, Lens, Optics, Prescription, PrescriptionError, TwoMirror, Unit, respond,
};
use crate::scenario::advice::missing;
use crate::scenario::error::{Problem, number};
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{
    RawAssembly, RawCorrector, RawOptics, RawPrescription, RawTelescope, RawUnit,
};
use crate::units::{MM, UM};

const SECTION: &str = "assembly.prescription";
/// How far the traced focal length may be from the stated one, as a share of it.
const SAME_FOCAL_LENGTH: f64 = 0.01;

pub(super) fn check(
    assembly: &RawAssembly,
    telescope: &RawTelescope,
    findings: &mut Contradictions<'_>,
) {
    let Some(prescription) = &assembly.prescription else {
        return;
    };
    if !check_keys(prescription, findings) || !check_shape(prescription, findings) {
        return;
    }
    match traced(assembly, telescope) {
        Some(Err(error)) => {
            let problem = Problem::NoTelescope {
                key: SECTION.to_owned(),
                reason: error.to_string(),
            };
            findings.wrong_key(SECTION, problem, hint_for(&error));
        }
        Some(Ok(derived)) => check_focal_length(&derived, telescope, findings),
        None => {}
    }
}

/// The response, the field and more of a prescription; `None` where there is none or a key is missing.
pub(super) fn traced(
    assembly: &RawAssembly,
    telescope: &RawTelescope,
) -> Option<Result<Derived, PrescriptionError>> {
    Some(respond(&domain(
        assembly.prescription.as_ref()?,
        telescope,
    )?))
}

/// A key of a prescription: its name, the kind it belongs to, whether that kind needs it, whether it is given.
type KeyOfKind = (&'static str, RawOptics, bool, bool);

fn keys(p: &RawPrescription) -> [KeyOfKind; 10] {
    use RawOptics::{Lens, TwoMirror};
    [
        (
            "primary_radius_mm",
            TwoMirror,
            true,
            p.primary_radius_mm.is_some(),
        ),
        ("primary_conic", TwoMirror, true, p.primary_conic.is_some()),
        (
            "secondary_radius_mm",
            TwoMirror,
            true,
            p.secondary_radius_mm.is_some(),
        ),
        (
            "secondary_conic",
            TwoMirror,
            true,
            p.secondary_conic.is_some(),
        ),
        ("spacing_mm", TwoMirror, true, p.spacing_mm.is_some()),
        ("corrector", TwoMirror, false, p.corrector.is_some()),
        ("front_radius_mm", Lens, true, p.front_radius_mm.is_some()),
        ("back_radius_mm", Lens, true, p.back_radius_mm.is_some()),
        ("index", Lens, true, p.index.is_some()),
        ("thickness_mm", Lens, false, p.thickness_mm.is_some()),
    ]
}

/// Whether the keys are those of the kind.
fn check_keys(p: &RawPrescription, findings: &mut Contradictions<'_>) -> bool {
    let word = word(p.kind);
    let mut right = true;
    for (name, kind, needed, given) in keys(p) {
        let key = format!("{SECTION}.{name}");
        if kind != p.kind && given {
            right = false;
            let problem = Problem::NoMeaning {
                key: key.clone(),
                condition: format!("with kind \"{word}\""),
            };
            let hint = format!("it belongs to kind \"{}\"", self::word(kind));
            findings.wrong_key(&key, problem, &hint);
        } else if kind == p.kind && needed && !given {
            right = false;
            let reason = format!("{SECTION}.kind is {word:?}");
            findings.missing_from(SECTION, move || missing(&key, Some(&reason)));
        }
    }
    right
}

/// Radii of 0 have no meaning, and the unit must be part of the telescope.
fn check_shape(p: &RawPrescription, findings: &mut Contradictions<'_>) -> bool {
    let mut right = true;
    for (name, radius_mm) in [
        ("front_radius_mm", p.front_radius_mm),
        ("back_radius_mm", p.back_radius_mm),
    ] {
        if radius_mm.is_some_and(|r| r.abs() < 1.0) {
            right = false;
            let key = format!("{SECTION}.{name}");
            let allowed = "1 mm or more to either side";
            let hint = "a plane face has a very large radius, such as 2e6";
            findings.out_of_range(&key, number(radius_mm.unwrap_or(0.0)), allowed, hint);
        }
    }
    let (fits, allowed) = match p.kind {
        RawOptics::Paraboloid => (
            unit(p) == Unit::Primary,
            "\"primary\" with kind \"paraboloid\"",
        ),
        RawOptics::TwoMirror => (
            unit(p) != Unit::Lens,
            "\"primary\" or \"secondary\" with kind \"two-mirror\"",
        ),
        RawOptics::Lens => (unit(p) == Unit::Lens, "\"lens\" with kind \"lens\""),
    };
    if !fits {
        right = false;
        let shown = p.unit.map_or("", unit_word);
        findings.out_of_range(
            "assembly.prescription.unit",
            format!("{shown:?}"),
            allowed,
            "it is what the screws hold",
        );
    }
    right
}

fn check_focal_length(
    derived: &Derived,
    telescope: &RawTelescope,
    findings: &mut Contradictions<'_>,
) {
    let traced_mm = derived.focal_length_m / MM;
    let stated_mm = telescope.focal_length_mm;
    if (traced_mm / stated_mm - 1.0).abs() > SAME_FOCAL_LENGTH {
        findings.out_of_range(
            "telescope.focal_length_mm",
            number(stated_mm),
            format!("within 1 % of {traced_mm:.1}, which [assembly.prescription] gives"),
            "correct the radii and the spacing, or the focal length",
        );
    }
}

fn hint_for(error: &PrescriptionError) -> &'static str {
    match error {
        PrescriptionError::Ray(_) => {
            "a radius is too short for the aperture, or the conic constant has the wrong sign"
        }
        PrescriptionError::Cross(..) => {
            "check the spacing, the thickness and the radii; lengths are in mm"
        }
        PrescriptionError::BeyondFocus => "spacing_mm must be less than half of primary_radius_mm",
        PrescriptionError::NoFocus => {
            "the secondary is too strongly curved for its place, or the lens is a negative one"
        }
        PrescriptionError::NoSuchUnit => {
            "unit is \"secondary\" or \"primary\" with two mirrors, \"lens\" with a lens"
        }
    }
}

fn domain(p: &RawPrescription, telescope: &RawTelescope) -> Option<Prescription> {
    let aperture_m = telescope.aperture_mm * MM;
    let optics = match p.kind {
        RawOptics::Paraboloid => Optics::Paraboloid {
            focal_length_m: telescope.focal_length_mm * MM,
        },
        RawOptics::TwoMirror => Optics::TwoMirror(TwoMirror {
            primary_radius_m: p.primary_radius_mm? * MM,
            primary_conic: p.primary_conic?,
            secondary_radius_m: p.secondary_radius_mm? * MM,
            secondary_conic: p.secondary_conic?,
            spacing_m: p.spacing_mm? * MM,
            corrector: p.corrector.as_ref().map(|c| corrector(c, 0.5 * aperture_m)),
        }),
        RawOptics::Lens => Optics::Lens(Lens {
            front_radius_m: p.front_radius_mm? * MM,
            back_radius_m: p.back_radius_mm? * MM,
            index: p.index?,
            thickness_m: p.thickness_mm.unwrap_or(0.0) * MM,
        }),
    };
    Some(Prescription {
        optics,
        unit: unit(p),
        pivot_m: p.pivot_mm * MM,
        aperture_m,
    })
}

fn corrector(plate: &RawCorrector, radius_m: f64) -> Corrector {
    let terms = [(plate.r4_um, 4), (plate.r6_um, 6), (plate.r8_um, 8)];
    Corrector {
        index: plate.plate_index,
        thickness_m: plate.plate_thickness_mm * MM,
        gap_m: plate.gap_mm * MM,
        asphere: terms
            .map(|(edge_um, power)| edge_um * UM / radius_m.powi(power))
            .to_vec(),
    }
}

fn unit(p: &RawPrescription) -> Unit {
    match (p.unit, p.kind) {
        (Some(RawUnit::Primary), _) | (None, RawOptics::Paraboloid) => Unit::Primary,
        (Some(RawUnit::Secondary), _) | (None, RawOptics::TwoMirror) => Unit::Secondary,
        (Some(RawUnit::Lens), _) | (None, RawOptics::Lens) => Unit::Lens,
    }
}

fn word(kind: RawOptics) -> &'static str {
    match kind {
        RawOptics::Paraboloid => "paraboloid",
        RawOptics::TwoMirror => "two-mirror",
        RawOptics::Lens => "lens",
    }
}

fn unit_word(unit: RawUnit) -> &'static str {
    match unit {
        RawUnit::Primary => "primary",
        RawUnit::Secondary => "secondary",
        RawUnit::Lens => "lens",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 70 um at the edge of 100 mm are 70e-6 / 1e-4 of r⁴ in metres; 3 um of r⁶ are 3e-6 / 1e-6, 0.2 um of r⁸ 0.2e-6 / 1e-8.
    #[test]
    fn a_plate_is_typed_by_its_heights_at_the_edge() {
        let typed = "plate_index = 1.5\nplate_thickness_mm = 4.0\ngap_mm = 10.0\nr4_um = 70.0\nr6_um = -3.0\nr8_um = 0.2";
        let plate = corrector(&toml::from_str(typed).expect("valid"), 0.1);
        for (found, wanted) in plate.asphere.iter().zip([0.7, -3.0, 20.0]) {
            assert!((found / wanted - 1.0).abs() < 1e-12, "{found} {wanted}");
        }
        assert_eq!(plate.asphere.len(), 3);
    }

    /// The thickness of a lens may be left out, and is none then.
    #[test]
    fn a_lens_is_thin_unless_its_thickness_is_typed() {
        let telescope: RawTelescope =
            toml::from_str("aperture_mm = 80.0\nfocal_length_mm = 560.0").expect("valid");
        let thickness_m = |more: &str| {
            let typed = format!(
                "kind = \"lens\"\npivot_mm = 0.0\nfront_radius_mm = 590.0\nback_radius_mm = -590.0\nindex = 1.52\n{more}"
            );
            let lens: RawPrescription = toml::from_str(&typed).expect("valid");
            match domain(&lens, &telescope).expect("all keys").optics {
                Optics::Lens(lens) => lens.thickness_m,
                other => panic!("{other:?}"),
            }
        };
        assert_eq!(thickness_m(""), 0.0);
        assert!((thickness_m("thickness_mm = 7.0") - 7e-3).abs() < 1e-15);
    }
}
