//! `[[assembly.prescription.surfaces]]`: whether each surface can be meant, and the telescope that they make.
//!
//! In the file light comes along −z and radii count towards the sky, as in `scenario/raw/assembly.rs`; the tracer's z runs along the
//! starlight, so that every place, radius and height changes its sign here, and nowhere else.

use super::prescription::{CONIC, CONIC_ALLOWED, CONIC_HINT, SECTION};
use crate::math::nearest;
use crate::mechanics::fits::SystemError;
use crate::mechanics::glass::Glass;
use crate::mechanics::prescription::{Derived, PrescriptionError};
use crate::mechanics::system::{Away, Clearance, Element, Group, System, Unit};
use crate::mechanics::trace::{Effect, Name, RayError};
use crate::scenario::advice::missing;
use crate::scenario::error::{Problem, number, quoted};
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{RawAfter, RawAway, RawPrescription, RawSurface, RawTelescope};
use crate::scenario::rules::one_of;
use crate::units::MM;

/// Whether each surface and each group can be meant.
pub(super) fn check(
    surfaces: &[RawSurface],
    p: &RawPrescription,
    findings: &mut Contradictions<'_>,
) -> bool {
    for (index, surface) in surfaces.iter().enumerate() {
        check_surface(surface, index, &surfaces[..index], findings);
    }
    check_stops(surfaces, findings);
    check_unit(p, findings);
    check_sensor(p, findings);
    findings.is_empty()
}

/// Keys that need surfaces have no meaning without.
pub(super) fn check_without(p: &RawPrescription, findings: &mut Contradictions<'_>) -> bool {
    let given = [
        ("sensor_group", p.sensor_group.is_some()),
        ("unit_moves", p.unit_moves.is_some()),
    ];
    for (name, _) in given.iter().filter(|(_, given)| *given) {
        let key = format!("{SECTION}.{name}");
        let problem = Problem::NoMeaning {
            key: key.clone(),
            condition: "without surfaces".to_owned(),
        };
        findings.wrong_key(
            &key,
            problem,
            "list the surfaces in place of kind, or leave it out",
        );
    }
    given.iter().all(|(_, given)| !given)
}

/// The telescope, its glasses not yet at any wavelength; `None` where something that [`check`] refuses is amiss.
pub(super) fn system(p: &RawPrescription, telescope: &RawTelescope) -> Option<System> {
    let groups = groups(p);
    let group = |name: &str| groups.iter().position(|known| *known == name).map(Group);
    let elements = p.surfaces.iter().map(|surface| {
        let (effect, glass) = behind(&surface.after)?;
        Some(Element {
            name: shown_name(surface),
            effect,
            glass,
            curvature_per_m: if surface.radius_mm == 0.0 {
                0.0
            } else {
                -1.0 / (surface.radius_mm * MM)
            },
            conic: surface.conic,
            asphere: asphere(&surface.even_asphere),
            z_m: -surface.z_mm * MM,
            diameter_m: surface.diameter_mm.map(|mm| mm * MM),
            inner_diameter_m: surface.inner_diameter_mm.map(|mm| mm * MM),
            group: surface.group.as_deref().and_then(group),
        })
    });
    Some(System {
        elements: elements.collect::<Option<_>>()?,
        aperture_m: telescope.aperture_mm * MM,
        stop: p
            .surfaces
            .iter()
            .position(|surface| surface.stop == Some(true))
            .unwrap_or(0),
        unit: Unit {
            group: group(unit(p)?)?,
            pivot_m: p.pivot_mm * MM,
            away: p.unit_moves.map(|way| match way {
                RawAway::ToSky => Away::ToSky,
                RawAway::FromSky => Away::FromSky,
            }),
        },
        sensor: p.sensor_group.as_deref().and_then(group),
        clearance: Clearance::Edges,
    })
}

/// The surface that an error is about.
pub(super) fn place_of(error: &PrescriptionError, p: &RawPrescription) -> Option<String> {
    let PrescriptionError::System(error) = error else {
        return None;
    };
    let index = match error {
        SystemError::Ray(RayError::Misses(name) | RayError::TotalReflection(name))
        | SystemError::Cross(_, name)
        | SystemError::Backwards(_, name)
        | SystemError::FocusInside(name)
        | SystemError::EndsEarly { name, .. }
        | SystemError::CutsBeam { name, .. }
        | SystemError::StopDiffers { name, .. }
        | SystemError::EndsInGlass(name)
        | SystemError::NoImage(name)
        | SystemError::Colour { name, .. } => {
            p.surfaces.iter().position(|s| shown_name(s) == *name)
        }
        SystemError::NoFocus => p.surfaces.len().checked_sub(1),
    };
    index.map(|index| format!("{SECTION}.surfaces[{index}]"))
}

/// The next step for surfaces that make no telescope.
pub(super) fn hint_for(error: &SystemError) -> &'static str {
    match error {
        SystemError::Ray(RayError::Misses(_)) => {
            "its radius_mm is too short for the light there, or has the wrong sign: it is positive where the centre lies towards the sky"
        }
        SystemError::Ray(RayError::TotalReflection(_)) => {
            "the light meets it too steeply from inside the glass: check the sign of radius_mm, and that `after` says what comes after it"
        }
        SystemError::Cross(..) => {
            "move them apart (z_mm), or make the smaller diameter_mm of the two smaller"
        }
        SystemError::Backwards(..) => {
            "list surfaces as the light meets them: it goes towards smaller z_mm until a mirror turns it, and then towards larger ones"
        }
        SystemError::NoFocus | SystemError::NoImage(_) => {
            "check the signs of the radii (positive where the centre lies towards the sky: a concave primary's is) and what comes after each"
        }
        SystemError::FocusInside(_) => {
            "telescopes with an image inside are not traced: move that surface before the focus, or type [assembly.response] instead"
        }
        SystemError::EndsEarly { .. } => {
            "make diameter_mm smaller or radius_mm larger; both are in mm, and diameter_mm is the whole width"
        }
        SystemError::CutsBeam { .. } => {
            "make its diameter_mm at least as large, or telescope.aperture_mm smaller; if it is the aperture, say stop = true there"
        }
        SystemError::StopDiffers { .. } => {
            "give the stop that diameter_mm, or leave it out; telescope.aperture_mm is the width of the light that comes in"
        }
        SystemError::EndsInGlass(_) => {
            "its `after` is \"air\" where the light leaves the last glass"
        }
        SystemError::Colour { .. } => {
            "make the camera's passband narrower, or write { index = … } for an index that is the same for all"
        }
    }
}

/// A hole that shows beyond the obstruction would lose light that the pupil has.
pub(super) fn check_holes(
    derived: &Derived,
    p: &RawPrescription,
    telescope: &RawTelescope,
    findings: &mut Contradictions<'_>,
) {
    let covered_mm = telescope
        .obstruction
        .as_ref()
        .map_or(0.0, |o| o.diameter_mm);
    for (name, seen_m) in &derived.holes {
        let index = p.surfaces.iter().position(|s| shown_name(s) == *name);
        if let (Some(index), true) = (index, seen_m / MM > covered_mm) {
            let hole_mm = p.surfaces[index].inner_diameter_mm.unwrap_or_default();
            let value = format!(
                "{} ({name}), {:.1} mm as the star sees it over the aperture",
                number(hole_mm),
                seen_m / MM
            );
            let allowed = format!("covered by telescope.obstruction.diameter_mm ({covered_mm})");
            let hint = "the hole loses the light that the obstruction does not cover: make it smaller, or say what covers it in [telescope.obstruction]";
            let key = format!("{SECTION}.surfaces[{index}].inner_diameter_mm");
            findings.out_of_range(&key, value, allowed, hint);
        }
    }
}

fn check_surface(
    surface: &RawSurface,
    index: usize,
    earlier: &[RawSurface],
    findings: &mut Contradictions<'_>,
) {
    let key = |name: &str| format!("{SECTION}.surfaces[{index}].{name}");
    let of = |value: String| format!("{value} ({})", shown_name(surface));
    if earlier.iter().any(|other| other.name == surface.name) {
        let allowed = "different from the names of the other surfaces";
        let hint = "messages name a surface: \"lens 1, front\" and \"lens 1, back\", for example";
        findings.out_of_range(&key("name"), quoted(&surface.name), allowed, hint);
    }
    if surface.radius_mm != 0.0 && surface.radius_mm.abs() < 1.0 {
        let allowed = "0 for a flat surface, or 1 mm or more to either side";
        let hint =
            "it is a radius in mm, positive where the centre lies towards the sky; not a curvature";
        findings.out_of_range(
            &key("radius_mm"),
            of(number(surface.radius_mm)),
            allowed,
            hint,
        );
    }
    if !CONIC.contains(&surface.conic) {
        findings.out_of_range(
            &key("conic"),
            of(number(surface.conic)),
            CONIC_ALLOWED,
            CONIC_HINT,
        );
    }
    if let RawAfter::Word(word) = &surface.after
        && behind(&surface.after).is_none()
    {
        let words = || ["mirror", "air"].into_iter().chain(Glass::names());
        let allowed = "\"mirror\", \"air\", the name of a glass, or { index = … }";
        let known: Vec<&str> = Glass::names().collect();
        let hint = match nearest(word, words()) {
            Some(meant) => format!("did you mean \"{meant}\"?"),
            None => format!(
                "glasses are {}; write {{ index = 1.52 }} for another one",
                one_of(&known)
            ),
        };
        findings.out_of_range(&key("after"), of(quoted(word)), allowed, &hint);
    }
    if let (Some(outer_mm), Some(inner_mm)) = (surface.diameter_mm, surface.inner_diameter_mm)
        && inner_mm >= outer_mm
    {
        let allowed = format!("smaller than its diameter_mm ({})", number(outer_mm));
        let hint = "it is the diameter of the hole in its middle; leave it out where there is none";
        findings.out_of_range(
            &key("inner_diameter_mm"),
            of(number(inner_mm)),
            allowed,
            hint,
        );
    }
}

fn check_stops(surfaces: &[RawSurface], findings: &mut Contradictions<'_>) {
    let stops = || {
        surfaces
            .iter()
            .enumerate()
            .filter(|(_, surface)| surface.stop == Some(true))
    };
    if let (Some((_, first)), Some((index, second))) = (stops().next(), stops().nth(1)) {
        let value = format!("true ({})", shown_name(second));
        let allowed = format!(
            "true for one surface only; {} is the stop",
            shown_name(first)
        );
        let hint = "the aperture stop is the edge that is smallest for the star on the axis";
        let key = format!("{SECTION}.surfaces[{index}].stop");
        findings.out_of_range(&key, value, allowed, hint);
    }
}

fn check_unit(p: &RawPrescription, findings: &mut Contradictions<'_>) {
    let groups = groups(p);
    let key = format!("{SECTION}.unit");
    match &p.unit {
        Some(typed) if !groups.contains(&typed.as_str()) => {
            out_of_groups(&key, typed, &groups, findings);
        }
        None if groups.is_empty() => {
            let tell = || {
                missing(
                    "assembly.prescription.surfaces[].group",
                    Some("the screws hold one"),
                )
            };
            findings.missing_from(SECTION, tell);
        }
        None if groups.len() > 1 => {
            let reason = format!("the groups are {}", groups.join(" and "));
            findings.missing_from(SECTION, move || missing(&key, Some(&reason)));
        }
        _ => {}
    }
}

fn check_sensor(p: &RawPrescription, findings: &mut Contradictions<'_>) {
    let Some(typed) = &p.sensor_group else { return };
    let mut others: Vec<&str> = groups_of_surfaces(p);
    // a unit may hold the sensor and nothing else
    if let Some(unit) = p.unit.as_deref().filter(|unit| !others.contains(unit)) {
        others.push(unit);
    }
    if !others.contains(&typed.as_str()) {
        out_of_groups(&format!("{SECTION}.sensor_group"), typed, &others, findings);
    }
}

fn out_of_groups(key: &str, typed: &str, groups: &[&str], findings: &mut Contradictions<'_>) {
    let shown: Vec<String> = groups.iter().map(|name| quoted(name)).collect();
    let allowed = if shown.is_empty() {
        "the `group` of a surface, and no surface has one".to_owned()
    } else {
        one_of(&shown)
    };
    let hint = match nearest(typed, groups.iter().copied()) {
        Some(meant) => format!("did you mean {}?", quoted(meant)),
        None => "surfaces that move as one have the same `group`; the screws hold one of them"
            .to_owned(),
    };
    findings.out_of_range(key, quoted(typed), allowed, &hint);
}

/// Names of all rigid bodies, in the order of the file; that of the sensor last where no surface has it.
fn groups(p: &RawPrescription) -> Vec<&str> {
    let mut names = groups_of_surfaces(p);
    let sensor = p.sensor_group.as_deref();
    // a misspelt group of the sensor is not a unit of its own: only one that the screws are said to hold
    if let Some(name) = sensor.filter(|name| !names.contains(name) && p.unit.as_deref() == sensor) {
        names.push(name);
    }
    names
}

fn groups_of_surfaces(p: &RawPrescription) -> Vec<&str> {
    let mut names: Vec<&str> = Vec::new();
    for name in p
        .surfaces
        .iter()
        .filter_map(|surface| surface.group.as_deref())
    {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

/// The group that the screws hold: the only one where it is not named.
fn unit(p: &RawPrescription) -> Option<&str> {
    match (p.unit.as_deref(), groups(p).as_slice()) {
        (Some(name), _) => Some(name),
        (None, [only]) => Some(only),
        _ => None,
    }
}

/// What a surface does, and the glass that sets its index; an index of glass is filled in for each wavelength.
fn behind(after: &RawAfter) -> Option<(Effect, Option<&'static Glass>)> {
    match after {
        RawAfter::Index(fixed) => Some((Effect::Refract(fixed.index), None)),
        RawAfter::Word(word) if word == "mirror" => Some((Effect::Mirror, None)),
        RawAfter::Word(word) if word == "air" => Some((Effect::Refract(1.0), None)),
        RawAfter::Word(word) => Glass::named(word).map(|glass| (Effect::Refract(1.0), Some(glass))),
    }
}

fn asphere(terms: &[f64]) -> Vec<f64> {
    let power = |term: usize| 2 * term as i32 + 4;
    let terms = terms.iter().enumerate();
    terms
        .map(|(term, height)| -height * MM.powi(1 - power(term)))
        .collect()
}

fn shown_name(surface: &RawSurface) -> Name {
    format!("surface {}", quoted(&surface.name)).into()
}
