//! Signs by hand, then what trials recover, leave open and refuse.

use super::*;
use crate::instrument::{Orientation, Screw};
use crate::measure::Side;
use crate::testing::fast_unit;
use crate::units::{ARCMIN, DEG, MM, UM};
use approx::assert_abs_diff_eq;

/// Turns made exactly, pairs that hold still, and nothing believed of the typed response: what the frames say.
fn exact() -> MeasureSettings {
    let learning = LearningSettings {
        hand_share: 0.0,
        hand_turns: 0.0,
        lock_shift_m: 0.0,
        lock_spread_m: 0.0,
        typed_response_share: 1e6,
        ..LearningSettings::default()
    };
    MeasureSettings {
        learning,
        ..MeasureSettings::default()
    }
}

fn of_trials(trials: &[TrialTurn]) -> Lesson<'_> {
    Lesson {
        trials,
        ..Lesson::default()
    }
}

fn learned(instrument: &Instrument, trials: &[TrialTurn]) -> Result<LearnedResponse, LearnError> {
    learn(instrument, &of_trials(trials), &exact())
}

/// A fast unit with four screws in the directions of the axes, whose typed camera sits like this.
fn unit(rotation_deg: f64, mirrored: bool) -> Instrument {
    let mut unit = fast_unit();
    unit.camera.rotation_rad = rotation_deg * DEG;
    unit.camera.mirrored = mirrored;
    if let Some(assembly) = &mut unit.assembly {
        let screw = |(name, azimuth): (&str, f64)| Screw {
            name: name.into(),
            azimuth_rad: azimuth * DEG,
        };
        let four = [("A", 0.0), ("B", 90.0), ("C", 180.0), ("D", 270.0)];
        assembly.screws = four.map(screw).to_vec();
    }
    unit
}

const SIGMA_M: f64 = 0.5 * NM;

/// Turns of a screw that tilt those units by one arcminute: of four heights h, 0, 0, 0 at (R, 0), (0, R), (−R, 0), (0, −R) the
/// least-squares plane leans by h/2R towards the first.
fn one_arcmin() -> f64 {
    ARCMIN * 2.0 * 55.0 * MM / (0.5 * MM)
}

/// A trial whose change in frame axes is given, as a camera typed like the instrument's would see it.
fn trial(typed: &Instrument, screw: &str, coma_nm: [f64; 2], shift_px: [f64; 2]) -> TrialTurn {
    let start_nm = [31.0, -17.0];
    let sighting = |frame_nm: [f64; 2], star_px: [f64; 2]| Sighting {
        coma: Coma::along_axes(axes_of(typed.camera.hold()).backward(frame_nm.map(|c| c * NM)))
            .with_sigma(SIGMA_M),
        hold: typed.camera.hold(),
        star_px: FramePx::new(star_px),
        field_m: FieldM::ZERO,
    };
    let ended_nm = [start_nm[0] + coma_nm[0], start_nm[1] + coma_nm[1]];
    TrialTurn {
        screw: screw.into(),
        turns: one_arcmin(),
        before: sighting(start_nm, [30.0, 28.0]),
        after: sighting(ended_nm, [30.0 + shift_px[0], 28.0 + shift_px[1]]),
    }
}

fn per_arcmin_nm(learned: &LearnedResponse) -> f64 {
    learned.coma_m_per_rad.value * ARCMIN / NM
}

/// A camera turned by 90 degrees has its columns along the pupil's +y: coma along the pupil's +x is seen along the frame's −y,
/// coma along +y along the frame's +x; mirrored, the latter along −x.
#[test]
fn signs_by_hand() {
    for (mirrored, along_y) in [(false, [50.0, 0.0]), (true, [-50.0, 0.0])] {
        let typed = unit(60.0, false);
        let trials = [
            trial(&typed, "A", [0.0, -50.0], [0.0, -8.0]),
            trial(&typed, "B", along_y, along_y.map(|c| c * 8.0 / 50.0)),
        ];
        let found = learned(&typed, &trials).unwrap();
        assert_abs_diff_eq!(per_arcmin_nm(&found), 50.0, epsilon = 1e-6);
        assert_abs_diff_eq!(found.rotation_rad.value, 90.0 * DEG, epsilon = 1e-9);
        assert_eq!(found.mirrored, mirrored);
        let shift = found.image_shift_m_per_rad.unwrap().value * ARCMIN;
        assert_abs_diff_eq!(shift, 8.0 * typed.camera.pixel_m, epsilon = 1e-6 * UM);
        assert!(found.flags.is_empty(), "{:?}", found.flags);
        // a turn of A raises the edge at +x: Noll 8; one of B that at +y: Noll 7
        let [a, b] = [0, 1].map(|i| found.screws[i].coma_per_turn.xy_nm());
        assert_abs_diff_eq!(a[0] * one_arcmin(), 50.0, epsilon = 1e-6);
        assert_abs_diff_eq!(a[1], 0.0, epsilon = 1e-6);
        assert_abs_diff_eq!(b[1] * one_arcmin(), 50.0, epsilon = 1e-6);
    }
}

/// The same frames in a camera typed the other way round, and far from it: the sign of k is as typed, and the rotation goes with it.
#[test]
fn the_typed_sign_decides_between_the_two_ways_round() {
    for (typed_nm, degrees) in [(62.0, 90.0), (-62.0, -90.0)] {
        for typed_deg in [-60.0, 15.0, 170.0] {
            let mut typed = unit(typed_deg, false);
            let assembly = typed.assembly.as_mut().unwrap();
            assembly.response.as_mut().unwrap().coma_m_per_rad = typed_nm * NM / ARCMIN;
            let trials = [
                trial(&typed, "A", [0.0, -50.0], [0.0, -8.0]),
                trial(&typed, "B", [50.0, 0.0], [8.0, 0.0]),
            ];
            let found = learned(&typed, &trials).unwrap();
            let sign = f64::signum(typed_nm);
            assert_abs_diff_eq!(per_arcmin_nm(&found), sign * 50.0, epsilon = 1e-6);
            assert_abs_diff_eq!(found.rotation_rad.value, degrees * DEG, epsilon = 1e-9);
            let shift = found.image_shift_m_per_rad.unwrap().value;
            assert_eq!(shift.signum(), sign);
            assert!(found.flags.is_empty(), "{:?}", found.flags);
        }
    }
}

/// One trial leaves both mirror images; a card at a screw that is neither in line with it nor at a right angle, or the file's word on the
/// sky, settles which, whatever half turn the sign of the response stands for. A card at the screw that was tried says nothing new.
#[test]
fn a_card_or_the_file_settles_the_mirror_image_of_one_trial() {
    for mirrored in [false, true] {
        for half_turn in [0.0, 180.0] {
            let real = unit(30.0, mirrored).camera.hold();
            let mut typed = unit(0.0, false);
            typed.camera.orientation = Orientation::Assumed;
            // as the real camera shows coma along the pupil's +x
            let seen = axes_of(real).forward([50.0, 0.0]);
            let trials = [trial(&typed, "A", seen, [0.0; 2])];
            let card = |screw: usize, azimuth_deg: f64| {
                let mut card = CardSeen {
                    screw,
                    azimuth_rad: azimuth_deg * DEG,
                    direction_rad: 0.0,
                };
                let shown = real.turned(half_turn * DEG);
                card.direction_rad = -card.off_rad(shown, Side::Inside);
                card
            };
            let settled = |cards: &[CardSeen], by_header: Option<bool>| {
                let lesson = Lesson {
                    trials: &trials,
                    cards,
                    by_header,
                };
                let found = learn(&typed, &lesson, &exact()).unwrap();
                let open = found.flags.has(Flag::MirrorOpen);
                (found.holds[0].hold, open)
            };
            assert!(settled(&[], None).1);
            assert!(settled(&[card(0, 0.0)], None).1);
            // half a turn, which trials do not tell, shows a card at a right angle where the mirror image has it
            assert!(settled(&[card(1, 90.0)], None).1);
            let (hold, open) = settled(&[card(1, 120.0)], None);
            assert!(!open && hold.is_near(real, 1e-6), "{mirrored} {hold:?}");
            // the file and what was typed agree, or contradict each other
            let (hold, open) = settled(&[], Some(mirrored));
            assert_eq!((hold.mirrored, open), (mirrored, mirrored));
        }
    }
}

/// Both mirror images of one trial explain it exactly: what the screw that was tried does is the same in both.
#[test]
fn one_line_of_screws_leaves_the_mirroring_open() {
    for mirrored in [false, true] {
        let mut typed = unit(60.0, mirrored);
        typed.camera.orientation = Orientation::Assumed;
        let one = [trial(&typed, "A", [0.0, -50.0], [0.0, 1.0])];
        let found = learned(&typed, &one).unwrap();
        assert_eq!(found.mirrored, mirrored);
        let open = Flags::from([Flag::MirrorOpen, Flag::Recentred]);
        assert_eq!(found.flags, open);
        assert_abs_diff_eq!(found.rotation_rad.value, 90.0 * DEG, epsilon = 1e-9);
        assert_eq!(found.holds.len(), 2);
        let effects: Vec<[f64; 2]> = found
            .holds
            .iter()
            .map(|h| axes_of(h.hold).forward([h.coma_m_per_rad * ARCMIN / NM, 0.0]))
            .collect();
        for [x, y] in effects {
            assert_abs_diff_eq!(x, 0.0, epsilon = 1e-6);
            assert_abs_diff_eq!(y, -50.0, epsilon = 1e-6);
        }
        // the screw opposite moves coma the other way and tells nothing new
        let two = [one[0].clone(), trial(&typed, "C", [0.0, 50.0], [0.0, 1.0])];
        assert_eq!(learned(&typed, &two).unwrap().flags, open);
    }
}

/// Turns made by hand are not what was said: the trials disagree, and every sigma grows with them.
#[test]
fn inexact_turns_widen_the_uncertainty() {
    let typed = unit(85.0, false);
    let even = [
        trial(&typed, "A", [0.0, -50.0], [0.0; 2]),
        trial(&typed, "B", [50.0, 0.0], [0.0; 2]),
    ];
    let rough = [
        trial(&typed, "A", [0.0, -51.7], [0.0; 2]),
        trial(&typed, "B", [48.3, 0.0], [0.0; 2]),
    ];
    let [even, rough] = [even, rough].map(|trials| learned(&typed, &trials).unwrap());
    assert!(rough.flags.has(Flag::TrialsDisagree));
    assert!(!rough.mirrored && !rough.flags.has(Flag::MirrorOpen));
    let sigma = |l: &LearnedResponse| l.coma_m_per_rad.sigma.unwrap();
    // by hand: each trial's sigma is √2 × 0.5 nm, two of them make 0.5 nm of k per arcmin
    assert_abs_diff_eq!(sigma(&even) * ARCMIN / NM, 0.5, epsilon = 1e-6);
    // residuals of 1.7 nm along and against: spread √(2·1.7²/0.5/2)
    assert_abs_diff_eq!(
        sigma(&rough) / sigma(&even),
        1.7 * 2f64.sqrt(),
        epsilon = 1e-6
    );
    assert_abs_diff_eq!(per_arcmin_nm(&rough), 50.0, epsilon = 1e-6);
}

/// What a hand and tightening add, by hand: a change of 50 nm by 0.064 turns, known to 0.7 nm by its frames, where 62 nm were to be expected: the hand errs
/// by a share of what it should have changed.
#[test]
fn hand_and_tightening_are_reckoned_with() {
    let typed = unit(85.0, false);
    let own = MeasureSettings::default();
    let trials = [
        trial(&typed, "A", [0.0, -50.0], [0.0; 2]),
        trial(&typed, "B", [50.0, 0.0], [0.0; 2]),
    ];
    let found = learn(&typed, &of_trials(&trials), &own).unwrap();
    let hand = (0.1_f64.powi(2) + (4.0 / 360.0 / one_arcmin()).powi(2)).sqrt();
    // 20 nm in a direction that is not known are 200 nm² along each axis
    let one = (0.5 + 200.0 + (hand * 62.0).powi(2)).sqrt();
    let sigma = found.coma_m_per_rad.sigma.unwrap() * ARCMIN / NM;
    assert_abs_diff_eq!(sigma, one / 2f64.sqrt(), epsilon = 1e-6);
    // what was typed, 62 nm known to 30 %, draws the size to itself by its own weight
    let typed_weight = (0.3 * 62.0_f64).powi(-2);
    let seen_weight = sigma.powi(-2);
    let drawn = (50.0 * seen_weight + 62.0 * typed_weight) / (seen_weight + typed_weight);
    assert_abs_diff_eq!(per_arcmin_nm(&found), drawn, epsilon = 1e-6);
}

/// One frame of another star among good ones does no harm; with nothing to outvote it, all are refused.
#[test]
fn one_bad_trial_is_left_out_of_several() {
    let typed = unit(85.0, false);
    let good = [
        trial(&typed, "A", [0.0, -50.0], [0.0; 2]),
        trial(&typed, "B", [50.0, 0.0], [0.0; 2]),
        trial(&typed, "C", [0.0, 50.0], [0.0; 2]),
    ];
    let alone = learned(&typed, &good).unwrap();
    let bad = trial(&typed, "D", [40.0, 90.0], [0.0; 2]);
    for place in 0..=3 {
        let mut all = good.to_vec();
        all.insert(place, bad.clone());
        let found = learned(&typed, &all).unwrap();
        assert_eq!(
            found.flags,
            Flags::from([Flag::TrialsDisagree, Flag::Recentred])
        );
        assert_abs_diff_eq!(per_arcmin_nm(&found), per_arcmin_nm(&alone), epsilon = 1e-6);
        assert!(found.screws.iter().all(|s| s.name != "D"));
    }
    let two = [good[0].clone(), bad];
    assert!(matches!(
        learned(&typed, &two),
        Err(LearnError::Contradiction { .. })
    ));
}

/// A star that moved across the field has another coma of the aligned telescope, which is not the screw's doing.
#[test]
fn the_fields_own_coma_is_taken_off() {
    let mut typed = unit(85.0, false);
    let plain = [
        trial(&typed, "A", [0.0, -50.0], [0.0, -8.0]),
        trial(&typed, "B", [50.0, 0.0], [8.0, 0.0]),
    ];
    let clean = learned(&typed, &plain).unwrap();
    typed.telescope.field.coma_per_m = 9.0 * NM / MM;
    let moved = plain.map(|mut trial| {
        trial.after.field_m = FieldM::new([0.7 * MM, -0.4 * MM]);
        let of_field = Coma::along_axes([-0.7 * 9.0 * NM, 0.4 * 9.0 * NM]);
        trial.after.coma = trial.after.coma.less(&of_field);
        trial
    });
    let found = learned(&typed, &moved).unwrap();
    assert_abs_diff_eq!(
        found.coma_m_per_rad.value,
        clean.coma_m_per_rad.value,
        epsilon = 1e-9 * clean.coma_m_per_rad.value
    );
}

#[test]
fn what_is_learned_is_laid_over_the_instrument() {
    let typed = unit(60.0, false);
    let trials = [
        trial(&typed, "A", [0.0, -50.0], [0.0; 2]),
        trial(&typed, "B", [-50.0, 0.0], [0.0; 2]),
    ];
    let learned = learned(&typed, &trials).unwrap();
    let mut told = typed.clone();
    assert!(learned.apply(&mut told).unwrap().is_empty());
    assert!(told.camera.mirrored);
    assert_abs_diff_eq!(told.camera.rotation_rad, 90.0 * DEG, epsilon = 1e-9);
    let response = |i: &Instrument| i.assembly.clone().unwrap().response.unwrap();
    let (before, after) = (response(&typed), response(&told));
    assert_abs_diff_eq!(after.coma_m_per_rad * ARCMIN / NM, 50.0, epsilon = 1e-6);
    assert_eq!(after.image_shift_m_per_rad, before.image_shift_m_per_rad);
    assert_eq!(after.focus_m_per_m, before.focus_m_per_m);

    let mut bare = typed.clone();
    bare.assembly.as_mut().unwrap().response = None;
    let lacking = learned.apply(&mut bare).unwrap();
    let unknown = [Flag::FocusResponseUnknown, Flag::ImageShiftUnknown];
    assert_eq!(lacking, Flags::from(unknown));
    bare.assembly.as_mut().unwrap().screws[0].name = "top".into();
    assert!(matches!(
        learned.apply(&mut bare),
        Err(LearnError::UnknownScrew { .. })
    ));
    bare.assembly = None;
    assert_eq!(learned.apply(&mut bare), Err(LearnError::NoScrews));
}

/// What the trials left open goes on into every measurement with that response.
#[test]
fn what_was_left_open_goes_on_into_measurements() {
    let mut typed = unit(60.0, false);
    let trials = [
        trial(&typed, "A", [0.0, -50.0], [0.0; 2]),
        trial(&typed, "B", [-50.0, 0.0], [0.0; 2]),
    ];
    let found = learned(&typed, &trials).unwrap();
    for (flag, of_measurement) in [
        (Flag::MirrorOpen, Some(Flag::ResponseMirrorOpen)),
        (Flag::TrialsDisagree, Some(Flag::ResponseTrialsDisagree)),
        (Flag::Recentred, None),
        (Flag::ShiftUnsteady, None),
    ] {
        let flags = Flags::from([flag]);
        let open = LearnedResponse {
            flags,
            ..found.clone()
        };
        let told = open.apply(&mut typed).unwrap();
        assert_eq!(told, of_measurement.into_iter().collect(), "{flag}");
    }
}

/// A tilt along x and one along y move the star at a right angle to each other; here both move it along the frame's y.
#[test]
fn a_star_that_moved_by_something_else_is_flagged() {
    let typed = unit(60.0, false);
    let moved = |second: [f64; 2]| {
        let trials = [
            trial(&typed, "A", [0.0, -50.0], [0.0, -8.0]),
            trial(&typed, "B", [50.0, 0.0], second),
        ];
        learned(&typed, &trials).unwrap().flags
    };
    assert!(moved([8.0, 0.0]).is_empty());
    assert_eq!(moved([0.0, -8.0]), Flags::from([Flag::ShiftUnsteady]));
}

#[test]
fn what_teaches_nothing_is_refused_in_words() {
    let typed = unit(0.0, false);
    assert_eq!(learned(&typed, &[]), Err(LearnError::NoTrial));
    // √2 × 0.5 nm of sigma, a change of 2 nm
    let small = TrialTurn {
        turns: 0.125,
        ..trial(&typed, "A", [2.0, 0.0], [0.0; 2])
    };
    let error = learned(&typed, &[small]).unwrap_err();
    assert_eq!(
        error.to_string(),
        "0.125 turns of screw A changed coma by 2.0 nm with a sigma of 0.7 nm: less than 3 sigma, that is no change seen"
    );
    assert!(
        error
            .hint()
            .starts_with("try a turn about four times as large")
    );
    let good = trial(&typed, "A", [50.0, 0.0], [0.0; 2]);
    for turns in [0.0, f64::NAN, 1e3] {
        let none = TrialTurn {
            turns,
            ..good.clone()
        };
        assert!(matches!(
            learned(&typed, &[none]),
            Err(LearnError::NoTurn { .. })
        ));
    }
    let stranger = TrialTurn {
        screw: "E".into(),
        ..good
    };
    assert_eq!(
        learned(&typed, &[stranger]).unwrap_err().to_string(),
        "the assembly has no screw \"E\"; its screws are A, B, C, D"
    );
}

/// Two exact trials say everything: the belief foresees what a turn of the third screw does, by the geometry of the four screws in the
/// directions of the axes alone, and is sure of what helps.
#[test]
fn a_belief_foresees_what_an_untried_screw_does() {
    for mirrored in [false, true] {
        let real = unit(30.0, mirrored).camera.hold();
        let mut typed = unit(-100.0, false);
        typed.camera.orientation = Orientation::Assumed;
        let shown = |pupil_nm: [f64; 2]| axes_of(real).forward(pupil_nm);
        let trials = [
            trial(&typed, "A", shown([50.0, 0.0]), [0.0; 2]),
            trial(&typed, "B", shown([0.0, 50.0]), [0.0; 2]),
        ];
        let learned = learn(&typed, &of_trials(&trials), &exact()).unwrap();
        let belief = Belief::of(&learned, &typed, &exact()).unwrap();
        // C is opposite to A: the same turns take away what A added
        let now = complex(shown([80.0 * NM, 0.0]));
        let after = belief.outlook(now, (2, one_arcmin()), 5.0 * NM, 10.0);
        assert_abs_diff_eq!(after.leaves_m, 30.0 * NM, epsilon = 1.0 * NM);
        assert!(after.grows < 1e-6 && after.grows_at_worst < 1e-6);
        let worse = belief.outlook(now, (0, one_arcmin()), 5.0 * NM, 10.0);
        assert_abs_diff_eq!(worse.leaves_m, 130.0 * NM, epsilon = 1.0 * NM);
        assert!(worse.grows > 1.0 - 1e-6);
    }
}

/// One trial along the screw's own line says what that screw does in both mirror images, and leaves another screw open.
#[test]
fn one_trial_is_sure_of_its_own_screw_alone() {
    let mut typed = unit(0.0, false);
    typed.camera.orientation = Orientation::Assumed;
    let trials = [trial(&typed, "A", [50.0, 0.0], [0.0; 2])];
    let learned = learn(&typed, &of_trials(&trials), &exact()).unwrap();
    let belief = Belief::of(&learned, &typed, &exact()).unwrap();
    let turn = |screw: usize, now: [f64; 2]| {
        let now = complex(now.map(|nm| nm * NM));
        belief.outlook(now, (screw, -one_arcmin()), 5.0 * NM, 10.0)
    };
    assert!(turn(0, [80.0, 0.0]).grows < 1e-6);
    // B moves coma up the frame or down it
    let open = turn(1, [0.0, 80.0]);
    assert!(open.grows > 0.02 && open.grows_at_worst > 0.9, "{open:?}");
}

/// Where tightening pushes is told from what a turn does once a pair was turned both ways, and is reckoned with.
#[test]
fn a_push_of_tightening_is_learned_by_turning_both_ways() {
    let typed = unit(0.0, false);
    let push = [0.0, 20.0];
    let there = trial(&typed, "A", [50.0, push[1]], [0.0; 2]);
    let mut back = trial(&typed, "A", [-50.0, push[1]], [0.0; 2]);
    back.turns = -back.turns;
    let settings = MeasureSettings::default();
    let known = |trials: &[TrialTurn]| {
        let learned = learn(&typed, &of_trials(trials), &settings).unwrap();
        let belief = Belief::of(&learned, &typed, &settings).unwrap();
        let after = |now: [f64; 2]| {
            let now = complex(now.map(|nm| nm * NM));
            let least = 1e-9 * one_arcmin();
            belief.outlook(now, (0, least), 1.0 * NM, 1.0).leaves_m
        };
        // less is left where the push takes coma away than where it adds to it
        after([0.0, 100.0]) - after([0.0, -100.0])
    };
    let once = known(std::slice::from_ref(&there));
    let both = known(&[there, back]);
    assert!(
        both > 20.0 * NM && both > once,
        "{} {}",
        once / NM,
        both / NM
    );
}
