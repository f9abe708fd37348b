//! The traced response: against another ray tracer, against third order, and against what symmetry allows.

mod decentre;
mod focus;
mod put_right;
mod star;
mod surfaces;
mod templates;

use crate::support::third_order::{paraxial, third_order};
use serde_json::Value;
use skewstar::mechanics::prescription::{
    Corrector, Derived, Displacement, Lens, Optics, Prescription, TwoMirror, Unit, misaligned_star,
    respond, star_at_place,
};
use skewstar::units::{ARCMIN, MM, NM, UM};

/// Rays, modes and places by another library: see tests/references/README.md.
fn reference() -> Value {
    let text = include_str!("references/data/prescriptions.json");
    serde_json::from_str(text).expect("the reference is JSON")
}

fn number(value: &Value, key: &str) -> f64 {
    value[key]
        .as_f64()
        .unwrap_or_else(|| panic!("{key} of {value}"))
}

fn optics(system: &Value) -> (Optics, Unit) {
    let mm = |key: &str| number(system, key) * MM;
    match system["kind"].as_str().expect("a kind") {
        "paraboloid" => (
            Optics::Paraboloid {
                focal_length_m: mm("focal_length_mm"),
            },
            Unit::Primary,
        ),
        "lens" => (
            Optics::Lens(Lens {
                front_radius_m: mm("front_radius_mm"),
                back_radius_m: mm("back_radius_mm"),
                index: number(system, "index"),
                thickness_m: mm("thickness_mm"),
            }),
            Unit::Lens,
        ),
        _ => {
            let plate = &system["corrector"];
            let corrector = plate.is_object().then(|| Corrector {
                index: number(plate, "index"),
                thickness_m: number(plate, "thickness_mm") * MM,
                gap_m: number(plate, "gap_mm") * MM,
                asphere: plate["r4_r6_r8_per_m"]
                    .as_array()
                    .expect("a list")
                    .iter()
                    .map(|a| a.as_f64().expect("a number"))
                    .collect(),
            });
            let pair = TwoMirror {
                primary_radius_m: mm("primary_radius_mm"),
                primary_conic: number(system, "primary_conic"),
                secondary_radius_m: mm("secondary_radius_mm"),
                secondary_conic: number(system, "secondary_conic"),
                spacing_m: mm("spacing_mm"),
                corrector,
            };
            (Optics::TwoMirror(pair), Unit::Secondary)
        }
    }
}

/// The same star by two tracers: 1 pm + 1e-6 in the modes, a nanometre in the places.
#[test]
fn another_ray_tracer_finds_the_same_modes_and_places() {
    let reference = reference();
    let mut compared = 0;
    for case in reference["cases"].as_array().expect("cases") {
        let (optics, unit) = optics(&case["system"]);
        let prescription = Prescription {
            optics,
            unit,
            pivot_m: number(case, "pivot_mm") * MM,
            aperture_m: number(&case["system"], "aperture_mm") * MM,
        };
        let displacement = Displacement {
            tilt_rad: number(case, "tilt_arcmin") * ARCMIN,
            decentre_m: number(case, "decentre_mm") * MM,
            piston_m: number(case, "piston_mm") * MM,
        };
        let field_rad = number(case, "field_arcmin") * ARCMIN;
        let (star, landing_m) =
            misaligned_star(&prescription, &displacement, field_rad).expect("it can be traced");
        let name = case["name"].as_str().expect("a name");
        let mut worst_nm = 0.0f64;
        for (noll, value) in case["modes_nm"].as_object().expect("modes") {
            let value_nm = value.as_f64().expect("a number");
            let found_nm = star.modes.get(noll.parse().expect("a Noll index")) / NM;
            worst_nm = worst_nm.max((found_nm - value_nm).abs());
            assert!(
                (found_nm - value_nm).abs() < 1e-3 + 1e-6 * value_nm.abs(),
                "{name}: Noll {noll} is {found_nm}, was {value_nm}"
            );
        }
        let off_um = (landing_m / UM - number(case, "landing_um")).abs();
        let focus_off_um = (star.centre_m[2] / MM - number(case, "focus_z_mm")).abs() * 1e3;
        println!(
            "{name:<44} modes off by {worst_nm:.1e} nm, landing {off_um:.1e} um, focus {focus_off_um:.1e} um"
        );
        assert!(off_um < 1e-3, "{name}: landing off by {off_um} um");
        assert!(
            focus_off_um < 0.01,
            "{name}: focus off by {focus_off_um} um"
        );
        compared += 1;
    }
    assert!(compared >= 20, "{compared} cases");
}

fn paraboloid() -> Prescription {
    Prescription {
        optics: Optics::Paraboloid {
            focal_length_m: 0.83,
        },
        unit: Unit::Primary,
        pivot_m: 0.0,
        aperture_m: 0.21,
    }
}

fn folded(pivot_m: f64) -> Prescription {
    let pair = TwoMirror {
        primary_radius_m: 0.91,
        primary_conic: -1.07,
        secondary_radius_m: 0.37,
        secondary_conic: -3.9,
        spacing_m: 0.317,
        corrector: None,
    };
    Prescription {
        optics: Optics::TwoMirror(pair),
        unit: Unit::Secondary,
        pivot_m,
        aperture_m: 0.152,
    }
}

fn lens(front_m: f64, back_m: f64, aperture_m: f64) -> Prescription {
    Prescription {
        optics: Optics::Lens(Lens {
            front_radius_m: front_m,
            back_radius_m: back_m,
            index: 1.53,
            thickness_m: 0.0,
        }),
        unit: Unit::Lens,
        pivot_m: 0.0,
        aperture_m,
    }
}

fn close(what: &str, found: f64, expected: f64, relative: f64) {
    println!(
        "{what:<58} {found:>14.6e} against {expected:>14.6e}: {:+.1e}",
        found / expected - 1.0
    );
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{what}: {found} against {expected}"
    );
}

/// Third order is met as the aperture shrinks: at a fifth of it, where higher orders have fallen 25-fold, within 0.002.
#[test]
fn the_trace_meets_third_order_in_small_apertures() {
    for (name, full) in [
        ("paraboloid", paraboloid()),
        ("two mirrors", folded(0.0)),
        ("lens", lens(0.9, -2.3, 0.08)),
        ("bent lens", lens(0.5, 4.1, 0.08)),
    ] {
        let small = Prescription {
            aperture_m: 0.2 * full.aperture_m,
            ..full
        };
        let order = third_order(&small).expect("closed forms");
        let derived = respond(&small).expect("a telescope");
        let r72 = 72f64.sqrt();
        close(
            &format!("{name}: coma of a tilt, fixed place"),
            derived.response.coma_m_per_rad * r72,
            order.at_fixed_place(),
            2e-3,
        );
        close(
            &format!("{name}: coma across the field"),
            derived.field.coma_per_m * r72,
            order.field_w131_m_per_m,
            2e-3,
        );
        close(
            &format!("{name}: image shift of a decentre"),
            derived.response.decentre_image_shift_m_per_m,
            order.decentre_shift_m_per_m,
            1e-4,
        );
        if order.tilt_shift_m_per_rad != 0.0 {
            close(
                &format!("{name}: image shift of a tilt"),
                derived.response.image_shift_m_per_rad,
                order.tilt_shift_m_per_rad,
                1e-4,
            );
        }
        let fixed =
            order.decentre_w131_m_per_m - order.field_w131_m_per_m * order.decentre_shift_m_per_m;
        close(
            &format!("{name}: coma of a decentre, fixed place"),
            derived.response.decentre_coma_m_per_m * r72,
            fixed,
            2e-3,
        );
    }
}

/// Where the linear law and third order part from the trace: printed for a growing tilt, and bounded where an owner works.
#[test]
fn where_the_trace_parts_from_third_order() {
    println!(
        "folded telescope: tilt, traced coma (fixed place), linear law, third order, all nm; Noll 16; astigmatism"
    );
    let telescope = folded(0.0);
    let derived = respond(&telescope).expect("a telescope");
    let order = third_order(&telescope).expect("closed forms");
    for tilt_arcmin in [1.0, 3.0, 10.0, 30.0, 100.0] {
        let tilt_rad = tilt_arcmin * ARCMIN;
        let tilted = Displacement {
            tilt_rad,
            ..Displacement::default()
        };
        let star = star_at_place(&telescope, &tilted, 0.0).expect("it can be traced");
        let traced = star.modes.get(8);
        let linear = derived.response.coma_m_per_rad * tilt_rad;
        let third = order.at_fixed_place() * tilt_rad / 72f64.sqrt();
        println!(
            "{tilt_arcmin:5.0} arcmin {:10.3} {:10.3} {:10.3} {:8.3} {:10.3}",
            traced / NM,
            linear / NM,
            third / NM,
            star.modes.get(16) / NM,
            star.modes.get(6) / NM
        );
        if tilt_arcmin <= 10.0 {
            assert!((traced / linear - 1.0).abs() < 1e-3, "{tilt_arcmin} arcmin");
        }
        // fifth order in the aperture is there from the start: it does not fade with the tilt
        assert!((third / linear - 1.0).abs() > 1e-4 && (third / linear - 1.0).abs() < 0.05);
    }
}

/// Nodal aberration theory: a tilted paraboloid is a paraboloid about a tilted axis, which meets the focal plane at f·t. Its coma is
/// k (h − f t) and its astigmatism k (h − f t)².
#[test]
fn a_tilted_paraboloid_carries_its_whole_field_with_it() {
    let mirror = paraboloid();
    let Derived {
        response,
        field,
        focal_length_m,
        ..
    } = respond(&mirror).expect("a telescope");
    let node = -response.coma_m_per_rad / field.coma_per_m;
    close("coma node per tilt", node, -focal_length_m, 2e-5);
    close(
        "astigmatism, quadratic in the tilt",
        response.astigmatism_m_per_rad2,
        field.astigmatism_per_m2 * node * node,
        2e-4,
    );
    close(
        "astigmatism, tilt times field",
        response.astigmatism_m_per_rad_m,
        -2.0 * field.astigmatism_per_m2 * node,
        2e-4,
    );
    // raised, the mirror comes nearer to the sensor, and its focus goes as far beyond it
    close("focus per piston", response.focus_m_per_m, -1.0, 1e-9);
}

/// A unit on a cell of some depth swings aside as it tilts: the response is that of the tilt less that of the swing.
#[test]
fn a_pivot_behind_the_vertex_is_a_tilt_and_a_decentre() {
    let (vertex, depth_m) = (respond(&folded(0.0)).expect("a telescope"), 0.04);
    let cell = respond(&folded(depth_m)).expect("a telescope");
    close(
        "coma",
        cell.response.coma_m_per_rad,
        vertex.response.coma_m_per_rad - depth_m * vertex.response.decentre_coma_m_per_m,
        1e-4,
    );
    let shift = vertex.response.image_shift_m_per_rad
        - depth_m * vertex.response.decentre_image_shift_m_per_m;
    close(
        "image shift",
        cell.response.image_shift_m_per_rad,
        shift,
        1e-4,
    );
}

/// Longitudinal magnification: a secondary that comes nearer by d pushes the focus out by (m² + 1) d.
#[test]
fn piston_moves_the_focus_by_the_square_of_the_magnification() {
    let telescope = Prescription {
        aperture_m: 0.02,
        ..folded(0.0)
    };
    let derived = respond(&telescope).expect("a telescope");
    let Optics::TwoMirror(pair) = &telescope.optics else {
        panic!("two mirrors")
    };
    let m = paraxial(pair).magnification;
    // finite steps of 1 mm: the even terms drop out, the cubic one is 1e-4
    close(
        "focus per piston",
        derived.response.focus_m_per_m,
        -(m * m + 1.0),
        1e-3,
    );
}
