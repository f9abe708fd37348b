//! `[assembly.prescription]`: which keys belong to which kind of telescope, and whether the surfaces make one.

use super::{camera, surfaces};
use crate::instrument::{Instrument, Passband, RoundStop};
use crate::math::nearest;
use crate::mechanics::beyond::surfaces_of;
use crate::mechanics::fits::SystemError;
use crate::mechanics::prescription::{
    Corrector, Derived, Lens, Optics, Prescription, PrescriptionError, TwoMirror, Unit,
};
use crate::mechanics::respond::derive;
use crate::scenario::advice::missing;
use crate::scenario::error::{Problem, number};
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{RawCorrector, RawOptics, RawPrescription, RawScenario, RawTelescope};
use crate::spectrum::{bins, edges, reference_m};
use crate::units::{MM, UM};
use std::ops::RangeInclusive;

pub(super) const SECTION: &str = "assembly.prescription";
/// How far the traced focal length may be from the stated one, as a share of it.
const SAME_FOCAL_LENGTH: f64 = 0.01;
/// Conic constants that a surface may have. Common practice, no source: beyond them a number is mistyped.
pub(super) const CONIC: RangeInclusive<f64> = -100.0..=2.0;
pub(super) const CONIC_ALLOWED: &str = "from -100 to 2";
pub(super) const CONIC_HINT: &str = "0 is a sphere, -1 a paraboloid, less than -1 a hyperboloid; a number above 0, an oblate ellipsoid, is rare and small";
/// Wavelengths at which the colour of a prescription is traced.
const COLOURS: usize = 13;
/// Wavelengths by which the middle of the light is found where the file names no number of them.
const BINS: usize = 24;
/// Traced modes below this are rounding.
const ROUNDING_M: f64 = 1e-13;

/// To be called after the checks of everything else: the light's wavelengths are those of the camera and the star. Hands out what was
/// traced.
pub(super) fn check(raw: &RawScenario, findings: &mut Contradictions<'_>) -> Option<Derived> {
    let prescription = raw.assembly.as_ref()?.prescription.as_ref()?;
    let right = match (prescription.kind, prescription.surfaces.is_empty()) {
        (Some(_), false) => {
            let keys = ["kind", "surfaces"].map(|key| format!("{SECTION}.{key}"));
            findings.exclude_each_other(&keys[0], &keys[1], "leave one of them out");
            false
        }
        (None, true) => {
            let key = format!("{SECTION}.kind");
            findings.missing_from(SECTION, move || {
                missing(&key, Some("there are no surfaces"))
            });
            false
        }
        (Some(kind), true) => {
            surfaces::check_without(prescription, findings)
                && check_keys(prescription, kind, findings)
                && check_shape(prescription, kind, findings)
        }
        (None, false) => {
            check_no_short_form(prescription, findings)
                && surfaces::check(&prescription.surfaces, prescription, findings)
        }
    };
    if !right || !findings.is_empty() {
        return None;
    }
    match traced(prescription, raw)? {
        Err(error) => {
            let problem = Problem::NoTelescope {
                key: SECTION.to_owned(),
                reason: error.to_string(),
            };
            let place = surfaces::place_of(&error, prescription).unwrap_or(SECTION.to_owned());
            findings.wrong_key(&place, problem, hint_for(&error, prescription));
            None
        }
        Ok(derived) => {
            check_focal_length(&derived, &raw.telescope, findings);
            surfaces::check_holes(&derived, prescription, &raw.telescope, findings);
            Some(derived)
        }
    }
}

/// The response, the field and more of a prescription; `None` where there is none or a key is missing.
fn traced(
    prescription: &RawPrescription,
    raw: &RawScenario,
) -> Option<Result<Derived, PrescriptionError>> {
    let light = Light::of(raw);
    let system = if prescription.surfaces.is_empty() {
        let short = domain(prescription, &raw.telescope)?;
        short.check().map(|()| short.system())
    } else {
        surfaces::system(prescription, &raw.telescope)?
            .at(light.reference_m)
            .map_err(PrescriptionError::from)
    };
    Some(system.and_then(|system| Ok(derive(&system, &light.wavelengths_m)?)))
}

/// What the star takes from the trace: what is typed stands, what is left out is traced.
pub(super) fn lay_over(derived: &Derived, raw: &RawScenario, instrument: &mut Instrument) {
    let telescope = &mut instrument.telescope;
    for (noll, rms_m) in derived.design.iter() {
        if !raw.telescope.design_nm.0.contains_key(&noll) && rms_m.abs() > ROUNDING_M {
            telescope.design.add(noll, rms_m);
        }
    }
    if raw.telescope.chromatic.is_empty() {
        telescope.chromatic = derived.chromatic.clone();
    }
    let typed_opening = telescope.field.vignetting;
    if raw.telescope.field.is_none() {
        telescope.field = derived.field.clone();
    }
    // what was derived can be traced, so that there are surfaces
    telescope.surfaces = surfaces_of(derived).ok();
    telescope.field.vignetting = typed_opening.or_else(|| cutting(derived, raw));
    if let Some(unit) = &mut instrument.assembly {
        unit.response = Some(derived.response.clone());
    }
}

/// The edge that begins to cut nearest to the axis, where a star of this frame can stand that far out.
fn cutting(derived: &Derived, raw: &RawScenario) -> Option<RoundStop> {
    let camera = &raw.camera;
    let half_px = 0.5 * (camera.width_px as f64).hypot(camera.height_px as f64);
    let [x_mm, y_mm] = raw.state.field_mm;
    let reach_m = half_px * camera.pixel_um * UM + x_mm.hypot(y_mm) * MM;
    let first = derived.edges.first()?;
    (first.begins_m < reach_m).then_some(first.opening)
}

/// The light that a prescription is traced in.
struct Light {
    reference_m: f64,
    wavelengths_m: Vec<f64>,
}

impl Light {
    /// The photon-weighted mean of the camera's light, and wavelengths over all that it lets through.
    fn of(raw: &RawScenario) -> Light {
        let camera = camera::build(&raw.camera);
        let temperature_k = raw.star.as_ref().map(|star| star.temperature_k);
        let count = camera.wavelengths.unwrap_or(BINS);
        let filters = camera.colour.iter().flat_map(|colour| &colour.passbands);
        let bands: Vec<&Passband> = filters.chain([&camera.passband]).collect();
        let ends = bands.iter().map(|band| edges(band));
        let (from, to) = ends.fold((f64::INFINITY, 0.0f64), |(from, to), [first, last]| {
            (from.min(first), to.max(last))
        });
        let step = (to - from) / (COLOURS - 1) as f64;
        Light {
            reference_m: reference_m(&bins(&camera.passband, count, temperature_k)),
            wavelengths_m: (0..COLOURS).map(|i| from + step * i as f64).collect(),
        }
    }
}

/// Keys of the short forms have no meaning beside surfaces.
fn check_no_short_form(p: &RawPrescription, findings: &mut Contradictions<'_>) -> bool {
    let mut right = true;
    for (name, kind, _, given) in keys(p) {
        if given {
            right = false;
            let key = format!("{SECTION}.{name}");
            let problem = Problem::NoMeaning {
                key: key.clone(),
                condition: "with surfaces".to_owned(),
            };
            let hint = format!("it belongs to kind \"{}\"", word(kind));
            findings.wrong_key(&key, problem, &hint);
        }
    }
    right
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
fn check_keys(p: &RawPrescription, kind: RawOptics, findings: &mut Contradictions<'_>) -> bool {
    let word = word(kind);
    let mut right = true;
    for (name, its_kind, needed, given) in keys(p) {
        let key = format!("{SECTION}.{name}");
        if its_kind != kind && given {
            right = false;
            let problem = Problem::NoMeaning {
                key: key.clone(),
                condition: format!("with kind \"{word}\""),
            };
            let hint = format!("it belongs to kind \"{}\"", self::word(its_kind));
            findings.wrong_key(&key, problem, &hint);
        } else if its_kind == kind && needed && !given {
            right = false;
            let reason = format!("{SECTION}.kind is {word:?}");
            findings.missing_from(SECTION, move || missing(&key, Some(&reason)));
        }
    }
    right
}

/// Radii of 0 have no meaning, and the unit must be part of the telescope.
fn check_shape(p: &RawPrescription, kind: RawOptics, findings: &mut Contradictions<'_>) -> bool {
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
    let (words, allowed): (&[&str], _) = match kind {
        RawOptics::Paraboloid => (&["primary"], "\"primary\" with kind \"paraboloid\""),
        RawOptics::TwoMirror => (
            &["primary", "secondary"],
            "\"primary\" or \"secondary\" with kind \"two-mirror\"",
        ),
        RawOptics::Lens => (&["lens"], "\"lens\" with kind \"lens\""),
    };
    if let Some(shown) = p.unit.as_deref().filter(|typed| !words.contains(typed)) {
        right = false;
        let hint = match nearest(shown, words.iter().copied()) {
            Some(word) => format!("did you mean \"{word}\"? It is what the screws hold"),
            None => "it is what the screws hold".to_owned(),
        };
        let key = format!("{SECTION}.unit");
        findings.out_of_range(&key, format!("{shown:?}"), allowed, &hint);
    }
    for (name, conic) in [
        ("primary_conic", p.primary_conic),
        ("secondary_conic", p.secondary_conic),
    ] {
        if let Some(conic) = conic.filter(|conic| !CONIC.contains(conic)) {
            right = false;
            let key = format!("{SECTION}.{name}");
            findings.out_of_range(&key, number(conic), CONIC_ALLOWED, CONIC_HINT);
        }
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

fn hint_for(error: &PrescriptionError, p: &RawPrescription) -> &'static str {
    match error {
        PrescriptionError::System(error) if !p.surfaces.is_empty() => surfaces::hint_for(error),
        PrescriptionError::System(SystemError::Ray(_)) => {
            "a radius is too short for the aperture, or the conic constant has the wrong sign"
        }
        PrescriptionError::System(SystemError::Cross(..)) => {
            "check the spacing, the thickness and the radii; lengths are in mm"
        }
        PrescriptionError::BeyondFocus => "spacing_mm must be less than half of primary_radius_mm",
        PrescriptionError::System(SystemError::NoFocus) => {
            "the secondary is too strongly curved for its place, or the lens is a negative one"
        }
        PrescriptionError::System(error) => surfaces::hint_for(error),
        PrescriptionError::NoSuchUnit => {
            "unit is \"secondary\" or \"primary\" with two mirrors, \"lens\" with a lens"
        }
    }
}

fn domain(p: &RawPrescription, telescope: &RawTelescope) -> Option<Prescription> {
    let aperture_m = telescope.aperture_mm * MM;
    let kind = p.kind?;
    let optics = match kind {
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
        unit: unit(p, kind),
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

fn unit(p: &RawPrescription, kind: RawOptics) -> Unit {
    match (p.unit.as_deref(), kind) {
        (Some("primary"), _) | (None, RawOptics::Paraboloid) => Unit::Primary,
        (Some("secondary"), _) | (None, RawOptics::TwoMirror) => Unit::Secondary,
        _ => Unit::Lens,
    }
}

fn word(kind: RawOptics) -> &'static str {
    match kind {
        RawOptics::Paraboloid => "paraboloid",
        RawOptics::TwoMirror => "two-mirror",
        RawOptics::Lens => "lens",
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
