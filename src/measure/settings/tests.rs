//! Settings act where they are handed in: a changed number changes the decision that its description names. That the defaults
//! give today's results is what all other tests of measuring hold.

use super::super::learn::{LearnError, Lesson, Sighting, TrialTurn, learn};
use super::super::{
    Aim, FrameError, MeasureError, MeasureOptions, Measurement, Misaligned, Picture, Side, Verdict,
    WholeFrameOptions, advise, measure, whole_frame,
};
use super::*;
use crate::flag::Flag;
use crate::instrument::{Electronics, Instrument};
use crate::predict::Settings;
use crate::simulate::{Provenance, simulate};
use crate::state::{Coma, Exposure, Sky, Star, State};
use crate::testing::fast_unit;
use crate::units::{ARCSEC, NM, UM};

fn unit() -> Instrument {
    let mut unit = fast_unit();
    unit.camera.electronics = Some(Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 1.0,
        bias_adu: 400.0,
        read_noise_e: 2.0,
        dark_e_per_s: 0.0,
        full_well_e: 1e6,
        bits: 16,
        pixel_response_rms: 0.0,
    });
    unit
}

/// A doughnut 27 pixels wide with 60 nm of coma.
fn doughnut(unit: &Instrument) -> Picture {
    let state = State {
        sensor_offset_m: 250.0 * UM,
        modes: [(8, 60.0 * NM)].into_iter().collect(),
        star: Some(Star {
            magnitude: 6.5,
            temperature_k: 6000.0,
            altitude_rad: 1.2,
        }),
        exposure: Some(Exposure { time_s: 0.5 }),
        sky: Sky {
            seeing_rad: Some(2.0 * ARCSEC),
            ..Sky::default()
        },
        ..State::default()
    };
    let provenance = Provenance {
        title: String::new(),
        seed: Some(1),
        ..Provenance::default()
    };
    let made = simulate(unit, &state, &provenance, Settings::default()).expect("a star");
    Picture::from(&made.frame.expect("counts"))
}

fn measured(
    picture: &Picture,
    unit: &Instrument,
    settings: MeasureSettings,
) -> Result<Measurement, MeasureError> {
    let options = MeasureOptions {
        side: Some(Side::Outside),
        settings,
        ..MeasureOptions::default()
    };
    measure(picture, unit, &options)
}

/// Finding, ring, fit and judging, through the options of `measure`.
#[test]
fn what_is_handed_in_decides_about_a_star() {
    let unit = unit();
    let picture = doughnut(&unit);
    let with = |change: &dyn Fn(&mut MeasureSettings)| {
        let mut settings = MeasureSettings::default();
        change(&mut settings);
        measured(&picture, &unit, settings)
    };
    let usual = with(&|_| {}).expect("a doughnut");
    assert!(usual.is_sound(), "{:?}", usual.flags);
    let coma_m = |found: &Measurement| found.mode_m(8).expect("coma").value;
    assert!((coma_m(&usual) / (60.0 * NM) - 1.0).abs() < 0.1);

    let strict = with(&|s| s.judging.coma_sigma_m = 1e-3 * NM).expect("a doughnut");
    assert!(strict.flags.has(Flag::ComaUncertain) && !strict.is_sound());
    assert_eq!(coma_m(&strict), coma_m(&usual), "judging moves no value");

    let sure = with(&|s| s.fit.prior.mode_m = 1.0 * NM).expect("a doughnut");
    assert!(coma_m(&sure) < 0.5 * coma_m(&usual), "{}", coma_m(&sure));

    match with(&|s| s.finding.search.limit_sigma = 1e6) {
        Err(MeasureError::Frame(FrameError::NothingFound { limit_sigma, .. })) => {
            assert_eq!(limit_sigma, 1e6);
        }
        other => panic!("{other:?}"),
    }
    let narrow = with(&|s| s.ring.outer_radius_px_at_least = 20.0);
    assert!(
        matches!(narrow, Err(MeasureError::NoRing { .. })),
        "{narrow:?}"
    );
}

#[test]
fn what_is_handed_in_decides_about_turning() {
    let unit = unit();
    let found = Misaligned {
        coma: Some(Coma::along_axes([70.0 * NM, 0.0]).with_sigma(20.0 * NM)),
        ..Misaligned::default()
    };
    let verdict = |settings: AdviceSettings| {
        let advice = advise(&unit, &found, Aim::Coma, &settings).expect("turns");
        advice.verdict(25.0 * NM)
    };
    let usual = AdviceSettings::default();
    assert_eq!(verdict(usual), Verdict::Turn);
    let coma_seen_sigma = 5.0;
    assert_eq!(
        verdict(AdviceSettings {
            coma_seen_sigma,
            ..usual
        }),
        Verdict::LookAgain
    );
    let least_turns = 1.0;
    assert_eq!(
        verdict(AdviceSettings {
            least_turns,
            ..usual
        }),
        Verdict::Stop
    );
}

#[test]
fn what_is_handed_in_decides_about_fields_and_trials() {
    let unit = unit();
    let picture = doughnut(&unit);
    let field = |stars_at_least: usize| {
        let mut options = WholeFrameOptions::default();
        options.settings.whole_frame.stars_at_least = stars_at_least;
        whole_frame(&picture, &unit, &options).expect("a star")
    };
    assert!(field(8).flags.has(Flag::FewStars));
    assert!(!field(0).flags.has(Flag::FewStars));

    let sighting = |coma_nm: f64| Sighting {
        coma: Coma::along_axes([coma_nm * NM, 0.0]).with_sigma(1.0 * NM),
        hold: unit.camera.hold(),
        star_px: crate::axes::FramePx::new([30.0, 30.0]),
        field_m: crate::axes::FieldM::new([0.0; 2]),
    };
    let trial = TrialTurn {
        screw: "A".into(),
        turns: 0.125,
        before: sighting(0.0),
        after: sighting(8.0),
    };
    let taught = |change_seen_sigma: f64| {
        let mut settings = MeasureSettings::default();
        settings.learning.change_seen_sigma = change_seen_sigma;
        let lesson = Lesson {
            trials: std::slice::from_ref(&trial),
            ..Lesson::default()
        };
        learn(&unit, &lesson, &settings)
    };
    assert!(taught(3.0).is_ok());
    let refused = taught(10.0).expect_err("not seen");
    assert!(matches!(refused, LearnError::NoChange { .. }));
    assert!(
        refused.to_string().contains("less than 10 sigma"),
        "{refused}"
    );
}
