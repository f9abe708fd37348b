//! Telescopes as lists of surfaces: against two other ray tracers, and what a star takes from the trace.

use super::number;
use serde_json::Value;
use skewstar::axes::FieldM;
use skewstar::math::LeastSquares;
use skewstar::mechanics::bench::{Bench, Standing};
use skewstar::mechanics::prescription::Derived;
use skewstar::mechanics::system::{Clearance, Motion};
use skewstar::mechanics::{Plane, align, turns_for};
use skewstar::scenario::{self, Scenario};
use skewstar::state::{Modes, State};
use skewstar::units::{ARCMIN, MM, NM, UM};
use skewstar::wavefront::ZernikeSum;

/// Ten telescopes by other libraries: see tests/references/README.md.
fn reference() -> Value {
    let text = include_str!("../references/data/surfaces.json");
    serde_json::from_str(text).expect("the reference is JSON")
}

pub(super) fn cases() -> Vec<Value> {
    reference()["cases"].as_array().expect("cases").clone()
}

/// The scenario file that a system of the reference is, with the wavelength that it was traced at.
fn text_of(system: &Value, focal_length_mm: f64) -> String {
    let mut text = format!(
        "format = 1\ntitle = \"one of ten\"\n[telescope]\naperture_mm = {:?}\nfocal_length_mm = {focal_length_mm:?}\n\
         [camera]\npixel_um = 3.8\nwidth_px = 64\nheight_px = 64\npassband_nm = [540.0, 560.0]\nwavelengths = 1\n\
         [assembly]\nscrew_circle_radius_mm = 50.0\npitch_mm_per_turn = 0.5\n\
         screws = [{{ name = \"A\", azimuth_deg = 0 }}, {{ name = \"B\", azimuth_deg = 120 }}, {{ name = \"C\", azimuth_deg = 240 }}]\n\
         [assembly.prescription]\nunit = {}\npivot_mm = {}\n",
        number(system, "aperture_mm"),
        system["unit"],
        system["pivot_mm"],
    );
    if system["sensor_group"] != "" {
        text += &format!("sensor_group = {}\n", system["sensor_group"]);
    }
    for surface in system["surfaces"].as_array().expect("surfaces") {
        text += "[[assembly.prescription.surfaces]]\n";
        for (key, value) in surface.as_object().expect("a surface") {
            match (key.as_str(), value) {
                ("group", value) if value == "" => {}
                ("after", Value::Object(fixed)) => {
                    text += &format!("after = {{ index = {} }}\n", fixed["index"]);
                }
                _ => text += &format!("{key} = {value}\n"),
            }
        }
    }
    text
}

pub(super) fn scenario_of(case: &Value) -> Scenario {
    let focal_mm = number(&case["batoid"], "focal_length_mm");
    let text = text_of(&case["system"], focal_mm);
    scenario::read(&text, "surfaces.toml", &[])
        .unwrap_or_else(|e| panic!("{}: {e}\n{}", case["name"], e.hint()))
}

/// Value, and how far it may be off as a share; what vanishes is below 0.02 of its unit.
fn found_and_limits(d: &Derived) -> Vec<(&'static str, f64, f64)> {
    let (r, f) = (&d.response, &d.field);
    vec![
        ("coma_nm_per_arcmin", r.coma_m_per_rad * ARCMIN / NM, 5e-3),
        (
            "decentre_coma_nm_per_mm",
            r.decentre_coma_m_per_m * MM / NM,
            5e-3,
        ),
        ("field_coma_nm_per_mm", f.coma_per_m * MM / NM, 5e-3),
        (
            "secondary_coma_nm_per_arcmin",
            r.secondary_coma_m_per_rad * ARCMIN / NM,
            1e-2,
        ),
        (
            "astigmatism_nm_per_arcmin2",
            r.astigmatism_m_per_rad2 * ARCMIN * ARCMIN / NM,
            1e-2,
        ),
        (
            "decentre_astigmatism_nm_per_mm2",
            r.decentre_astigmatism_m_per_m2 * MM * MM / NM,
            1e-2,
        ),
        (
            "field_astigmatism_nm_per_mm2",
            f.astigmatism_per_m2 * MM * MM / NM,
            1e-2,
        ),
        (
            "field_curvature_um_per_mm2",
            f.curvature_per_m2 * MM * MM / UM,
            2e-2,
        ),
        (
            "image_shift_um_per_arcmin",
            r.image_shift_m_per_rad * ARCMIN / UM,
            1e-3,
        ),
        (
            "decentre_image_shift_um_per_mm",
            r.decentre_image_shift_m_per_m * MM / UM,
            1e-3,
        ),
        ("focus_um_per_mm", r.focus_m_per_m * MM / UM, 1e-3),
        ("spherical_nm", d.design.get(11) / NM, 1e-2),
        ("focal_length_mm", d.focal_length_m / MM, 1e-5),
    ]
}

/// Ten telescopes by batoid and optiland, each library with its own finite steps: coma of tilt, decentre and field within 0.5 %,
/// astigmatism 1 %, curvature 2 %, image shift and focus 0.1 %, spherical aberration 1 %, with sign. A number near zero may be off by what
/// a picometre in a star makes of it.
#[test]
fn two_other_ray_tracers_find_the_same_responses_of_ten_telescopes() {
    let mut compared = 0;
    for case in cases() {
        let derived = scenario_of(&case).traced.expect("a trace");
        let name = case["name"].as_str().expect("a name");
        for library in ["batoid", "optiland"] {
            for (key, found, share) in found_and_limits(&derived) {
                let wanted = number(&case[library], key);
                println!(
                    "{name:<55} {library:<9} {key:<32} {found:>13.6} against {wanted:>13.6}: {:+.1e}",
                    found / wanted - 1.0
                );
                assert!(
                    (found - wanted).abs() <= share * wanted.abs() + 1e-3,
                    "{name}, {library}: {key} is {found}, was {wanted}"
                );
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 10 * 2 * 13);
}

/// The same telescope with the unit tilted, aside and moved along at once, in two dimensions, at three places of the sensor: whole
/// wavefronts by batoid within 2 nm RMS after piston, tilt and focus, and best focus within 0.1 % or 0.02 um.
#[test]
fn whole_wavefronts_of_moved_units_are_those_of_another_tracer() {
    let mut maps = 0;
    for case in cases() {
        let name = case["name"].as_str().expect("a name");
        let bench = bench_of(&case);
        let standing: Standing = bench.unit(motion_of(&case));
        for star in case["moved_stars"].as_array().expect("stars") {
            let list = |key: &str| -> Vec<f64> {
                let values = star[key].as_array().expect("a list").iter();
                values.map(|v| v.as_f64().expect("a number")).collect()
            };
            let place = list("field_mm");
            let found = bench
                .star_at(&standing, [place[0] * MM, place[1] * MM])
                .expect("it can be traced");
            let points: Vec<[f64; 2]> = list("x")
                .into_iter()
                .zip(list("y"))
                .map(|(x, y)| [x, y])
                .collect();
            let leads = found.leads_at(&points).expect("it can be traced");
            let wanted = list("wave_nm");
            let apart: Vec<f64> = leads.iter().zip(&wanted).map(|(w, v)| w / NM - v).collect();
            let mean = apart.iter().sum::<f64>() / apart.len() as f64;
            let rms =
                (apart.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / apart.len() as f64).sqrt();
            let size = (wanted.iter().map(|w| w * w).sum::<f64>() / wanted.len() as f64).sqrt();
            let (focus_um, wanted_um) = (found.beyond_m / UM, number(star, "beyond_um"));
            println!(
                "{name:<55} {place:?}: {rms:.4} nm RMS of {size:.0}, focus {focus_um:.4} against {wanted_um:.4} um"
            );
            assert!(size > 5.0, "{name}: the case shows nothing");
            assert!(rms < 2.0, "{name} at {place:?}: {rms} nm RMS of {size}");
            assert!(
                (focus_um - wanted_um).abs() < 1e-3 * wanted_um.abs() + 0.02,
                "{name}"
            );
            maps += 1;
        }
    }
    assert_eq!(maps, 30);
}

/// What a frame is rendered from, modes to Noll 22 and sensor offset by [`align`], against whole wavefronts by batoid: the same ten
/// telescopes, moved in all ways at once, at three places of the sensor. Beyond Noll 22 there are up to 3 nm RMS in the fastest ones; what
/// the laws of response and field alone are off by is printed beside, and the tracing of each star mends it where it is more than that.
#[test]
fn the_star_that_is_rendered_is_that_of_another_tracer() {
    let mut mended = 0;
    for case in cases() {
        let scenario = scenario_of(&case);
        let instrument = &scenario.instrument;
        let assembly = instrument.assembly.as_ref().expect("screws");
        let mut by_laws = instrument.clone();
        by_laws.telescope.surfaces = None;
        let motion = motion_of(&case);
        let plane = Plane {
            piston_m: motion.piston_m,
            tilt_rad: motion.tilt_rad,
        };
        for star in case["moved_stars"].as_array().expect("stars") {
            let [x_mm, y_mm] = [0, 1].map(|k| star["field_mm"][k].as_f64().expect("mm"));
            let state = State {
                turns: turns_for(assembly, &plane),
                decentre_m: motion.decentre_m,
                piston_moves_focus: true,
                field_m: FieldM::new([x_mm * MM, y_mm * MM]),
                ..State::default()
            };
            let wanted_um = -number(star, "beyond_um");
            let [(rms, focus_um), (laws_rms, laws_um)] = [instrument, &by_laws].map(|instrument| {
                let seen = align(instrument, &state);
                (
                    apart_nm(&seen.modes, star),
                    seen.sensor_offset_m / UM - wanted_um,
                )
            });
            println!(
                "{} [{x_mm}, {y_mm}]: {rms:.2} nm RMS and {focus_um:.3} um off; by laws alone {laws_rms:.2} and {laws_um:.3}",
                case["name"]
            );
            assert!(rms < 3.0, "{}: {rms} nm RMS", case["name"]);
            assert!(
                focus_um.abs() < 1e-3 * wanted_um.abs() + 0.02,
                "{}",
                case["name"]
            );
            mended += u32::from(laws_rms > 10.0 + rms);
        }
    }
    assert!(mended >= 2, "nothing was left to mend");
}

/// RMS of modes against the wavefront of a reference, piston, tilt and focus taken out of the difference.
fn apart_nm(modes: &Modes, star: &Value) -> f64 {
    let list = |key: &str| -> Vec<f64> {
        let values = star[key].as_array().expect("a list").iter();
        values.map(|v| v.as_f64().expect("a number")).collect()
    };
    let (x, y, wanted) = (list("x"), list("y"), list("wave_nm"));
    let sum = ZernikeSum::new(modes);
    let mut apart: Vec<f64> = (0..x.len())
        .map(|k| sum.value(x[k], y[k]) / NM - wanted[k])
        .collect();
    let squares = x.iter().zip(&y).map(|(x, y)| x * x + y * y).collect();
    let columns = vec![vec![1.0; x.len()], x.clone(), y.clone(), squares];
    let fit = LeastSquares::new(columns.clone(), &[0.0; 4]).solve(&apart);
    for (column, share) in columns.iter().zip(&fit) {
        for (left, value) in apart.iter_mut().zip(column) {
            *left -= share * value;
        }
    }
    (apart.iter().map(|d| d * d).sum::<f64>() / apart.len() as f64).sqrt()
}

fn motion_of(case: &Value) -> Motion {
    let moved = &case["system"]["moved"];
    let pair = |key: &str| [0, 1].map(|i| moved[key][i].as_f64().expect("a number"));
    Motion {
        tilt_rad: pair("tilt_arcmin").map(|t| t * ARCMIN),
        decentre_m: pair("decentre_mm").map(|d| d * MM),
        piston_m: number(moved, "piston_mm") * MM,
    }
}

/// The tracer behind a case; its surfaces are read from the same scenario text as the responses.
pub(super) fn bench_of(case: &Value) -> Bench {
    let scenario = scenario_of(case);
    let system = scenario.traced.expect("a trace").system;
    assert_eq!(system.clearance, Clearance::Edges);
    Bench::new(system).expect("a telescope")
}
