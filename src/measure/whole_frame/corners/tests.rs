//! Kinds of trouble in rendered fields, named blindly. Run with `-- --nocapture` to see each.

use crate::instrument::{Electronics, FieldTerms, Instrument, Response};
use crate::measure::Picture;
use crate::measure::whole_frame::{Corners, WholeFrameOptions, whole_frame};
use crate::mechanics::{Plane, turns_for};
use crate::predict::Settings;
use crate::rng::Seed;
use crate::simulate::{field_stars, star_field};
use crate::state::{Exposure, FieldStars, Sky, Star, State};
use crate::testing::fast_unit;
use crate::units::{ARCMIN, ARCSEC, DEG, MM, NM, UM};
use ndarray::Array2;

/// A prime-focus unit with a corrector whose tilt and decentre act apart, on a sensor of 11 by 9 mm.
fn with_corrector() -> Instrument {
    let mut unit = fast_unit();
    unit.camera.rotation_rad = 37.0 * DEG;
    unit.camera.mirrored = true;
    (unit.camera.width_px, unit.camera.height_px) = (3000, 2300);
    unit.camera.wavelengths = Some(1);
    unit.camera.electronics = Some(Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 1.0,
        bias_adu: 400.0,
        read_noise_e: 2.0,
        dark_e_per_s: 0.1,
        full_well_e: 60_000.0,
        bits: 16,
        pixel_response_rms: 0.0,
    });
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

#[derive(Clone, Default)]
struct Hidden {
    offset_um: f64,
    tilt_arcmin: [f64; 2],
    decentre_mm: [f64; 2],
    sensor_tilt_arcmin: [f64; 2],
    spacing_mm: f64,
    drift_px: [f64; 2],
}

fn counts(instrument: &Instrument, hidden: &Hidden, seed: u64) -> Array2<f64> {
    let assembly = instrument.assembly.as_ref().expect("screws");
    let plane = Plane {
        piston_m: 0.0,
        tilt_rad: hidden.tilt_arcmin.map(|t| t * ARCMIN),
    };
    let state = State {
        sensor_offset_m: hidden.offset_um * UM,
        turns: turns_for(assembly, &plane),
        decentre_m: hidden.decentre_mm.map(|d| d * MM),
        sensor_tilt_rad: hidden.sensor_tilt_arcmin.map(|t| t * ARCMIN),
        spacing_m: hidden.spacing_mm * MM,
        star: Some(Star {
            magnitude: 8.0,
            temperature_k: 6000.0,
            altitude_rad: 65.0 * DEG,
        }),
        exposure: Some(Exposure { time_s: 2.0 }),
        sky: Sky {
            seeing_rad: Some(2.5 * ARCSEC),
            brightness_mag_per_arcsec2: Some(19.5),
            tracking_drift_px: hidden.drift_px,
            ..Sky::default()
        },
        ..State::default()
    };
    let drawn = FieldStars::Drawn {
        count: 110,
        magnitudes: [9.3, 12.0],
        slope_per_magnitude: 0.3,
    };
    let stars = field_stars(instrument, &drawn, Seed(seed));
    let field = star_field(
        instrument,
        &state,
        &stars,
        Seed(seed),
        Settings::default(),
        &|| {},
    );
    field.expect("a field").frame.counts_adu.mapv(f64::from)
}

fn corners(values: Array2<f64>, instrument: &Instrument) -> Corners {
    let found = whole_frame(
        &Picture::new(values),
        instrument,
        &WholeFrameOptions::default(),
    );
    found.expect("stars").corners.expect("corners")
}

fn at(length: f64, deg: f64) -> [f64; 2] {
    [length * (deg * DEG).cos(), length * (deg * DEG).sin()]
}

fn kinds() -> Vec<(&'static str, Hidden)> {
    let none = Hidden::default();
    vec![
        ("", none.clone()),
        (
            "drift",
            Hidden {
                drift_px: [2.5, 1.6],
                ..none.clone()
            },
        ),
        (
            "focus",
            Hidden {
                offset_um: 28.0,
                ..none.clone()
            },
        ),
        (
            "spacing",
            Hidden {
                spacing_mm: 1.0,
                ..none.clone()
            },
        ),
        (
            "sensor_tilt",
            Hidden {
                sensor_tilt_arcmin: at(8.0, 70.0),
                ..none.clone()
            },
        ),
        (
            "unit_tilt",
            Hidden {
                tilt_arcmin: at(2.4, -40.0),
                ..none.clone()
            },
        ),
        (
            "decentre",
            Hidden {
                decentre_mm: at(1.1, 160.0),
                ..none.clone()
            },
        ),
        (
            "drift unit_tilt",
            Hidden {
                drift_px: [2.5, 1.6],
                tilt_arcmin: at(2.4, -40.0),
                ..none.clone()
            },
        ),
        (
            "sensor_tilt unit_tilt",
            Hidden {
                sensor_tilt_arcmin: at(8.0, 70.0),
                tilt_arcmin: at(2.4, -40.0),
                ..none.clone()
            },
        ),
    ]
}

/// Some kinds alone, and two together, in focus to a few micrometres: named, and no turn where a turn mends nothing. All nine, twenty times
/// each and by a simulator that shares nothing with the engine: `python -m world corners` in `tests/references`.
#[test]
fn each_kind_of_trouble_is_named() {
    let instrument = with_corrector();
    for (seed, (wanted, mut hidden)) in kinds().into_iter().enumerate() {
        hidden.offset_um += [3.0, -4.0][seed % 2];
        let found = corners(counts(&instrument, &hidden, 700 + seed as u64), &instrument);
        let mut named: Vec<&str> = found.troubles.iter().map(|t| t.kind).collect();
        println!(
            "{wanted:<24} named {named:?}, or {:?}; offset {:.1} ± {:.1} um, scatter {:.2}, {} stars, side open {}",
            found.or_else,
            found.sensor_offset_um.value,
            found.sensor_offset_um.sigma,
            found.scatter_ratio,
            found.stars_used,
            found.side_open
        );
        for line in found.sentences() {
            println!("    {line}");
        }
        named.sort_unstable();
        assert_eq!(named.join(" "), wanted);
        if ["", "drift", "focus", "spacing"].contains(&wanted) {
            assert!(!found.turn_is_worth_it(), "{wanted}: {:?}", found.trade);
        }
    }
}
