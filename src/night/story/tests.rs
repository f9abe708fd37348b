//! Events as a night has them, and what they add up to.

use super::super::event::FileSeen;
use super::*;
use crate::testing::fast_unit;
use approx::assert_relative_eq;

fn star(x_nm: f64, y_nm: f64) -> StarSeen {
    StarSeen {
        coma_nm: [x_nm, y_nm],
        sigma_nm: 2.0,
        rotation_deg: 0.0,
        mirrored: false,
        star_px: [31.5, 31.5],
        field_mm: [0.0, 0.0],
        atmosphere_nm: 4.0,
        stop_nm: 30.0,
        offset_um: Some(-400.0),
        ring_px: Some(60.0),
        seeing_arcsec: Some(2.0),
    }
}

fn frame(star: StarSeen) -> Happening {
    Happening::Frame(FrameSeen {
        file: FileSeen {
            file: "a.fits".into(),
            bytes: 1,
            written_ms: 1,
            sha256: "0".repeat(16),
        },
        began_s: None,
        exposure_s: Some(0.5),
        mask: false,
        verdict: "turn".into(),
        star: Some(star),
    })
}

fn turned(screw: &str, clockwise_turns: f64) -> Happening {
    Happening::Turned {
        screw: screw.into(),
        clockwise_turns,
    }
}

fn story(what: Vec<Happening>) -> Story {
    let events: Vec<Event> = what
        .into_iter()
        .enumerate()
        .map(|(k, what)| Event {
            at: Instant::of_seconds(1.8e9 + k as f64),
            what,
        })
        .collect();
    Story::of(&events, &fast_unit(), None)
}

/// A turn between frames is a trial; two of one screw without a frame between are one; of two screws nobody knows which did what; and what
/// tightening did is no turn's doing.
#[test]
fn turns_between_frames_teach() {
    let told = story(vec![
        frame(star(100.0, 0.0)),
        turned("A", 0.125),
        frame(star(100.0, 80.0)),
        turned("B", 0.0625),
        turned("B", 0.0625),
        frame(star(40.0, 80.0)),
        turned("A", 0.125),
        turned("C", 0.125),
        frame(star(0.0, 0.0)),
        Happening::Locked { screw: None },
        frame(star(20.0, 0.0)),
        turned("C", -0.1),
        frame(star(5.0, 0.0)),
    ]);
    let trials = told.trials(&fast_unit());
    let said: Vec<(&str, f64)> = trials.iter().map(|t| (t.screw.as_str(), t.turns)).collect();
    let clockwise = fast_unit().assembly.unwrap().clockwise.sign();
    assert_eq!(
        said,
        [
            ("A", 0.125 * clockwise),
            ("B", 0.125 * clockwise),
            ("C", -0.1 * clockwise)
        ]
    );
    assert_relative_eq!(trials[2].before.coma.xy_nm()[0], 20.0, max_relative = 1e-9);
    assert_eq!(told.round(), 6);
}

#[test]
fn what_was_told_last_is_taken_back() {
    let told = story(vec![
        frame(star(100.0, 0.0)),
        turned("A", 0.125),
        Happening::Undo,
        turned("A", 0.0625),
        frame(star(100.0, 40.0)),
        Happening::Side { side: Side::Inside },
        Happening::Undo,
    ]);
    assert_eq!((told.round(), told.side), (1, None));
    assert_eq!(told.turns[0].clockwise_turns, 0.0625);
    // three are taken back, and what is left is the frame
    let none = story(vec![
        turned("A", 0.1),
        Happening::Undo,
        Happening::Undo,
        frame(star(1.0, 0.0)),
    ]);
    assert_eq!((none.round(), none.now().stars.len()), (0, 1));
}

/// A frame far from the others is kept apart until somebody says what it was.
#[test]
fn a_jump_is_asked_about() {
    let frames = vec![
        frame(star(100.0, 0.0)),
        frame(star(103.0, 2.0)),
        frame(star(30.0, 10.0)),
    ];
    let asked = story(frames.clone());
    assert_eq!((asked.now().stars.len(), asked.now().jumped.len()), (2, 1));
    assert!(asked.trials(&fast_unit()).is_empty());
    // told late: the frame was of the state after the turn or of the turn itself, and nothing is learned of it
    let late = story([frames.clone(), vec![turned("A", 0.1)]].concat());
    assert_eq!((late.now().stars.len(), late.round()), (0, 1));
    // nothing was turned: that is how things are now
    let skipped = story([frames, vec![Happening::Skip]].concat());
    assert_eq!(
        (&skipped.now().by, skipped.now().stars.len()),
        (&Change::Untold, 1)
    );
    assert!(!skipped.skipped, "the step itself is not left out");
}

#[test]
fn worse_is_said_beyond_what_frames_leave_open() {
    let worse = |after: StarSeen| {
        let told = story(vec![
            frame(star(100.0, 0.0)),
            turned("A", 0.1),
            frame(after),
        ]);
        told.worse(&fast_unit())
    };
    assert_eq!(worse(star(130.0, 0.0)), Some(true));
    assert_eq!(worse(star(70.0, 0.0)), Some(false));
    assert_eq!(worse(star(103.0, 20.0)), None);
    assert_eq!(
        story(vec![frame(star(100.0, 0.0))]).worse(&fast_unit()),
        None
    );
}

/// Two moves of a motor and the rings after them: by hand, steps of 0.5 and 0.52 µm weighed by their sizes.
#[test]
fn frames_tell_what_a_step_of_the_motor_is() {
    let at = |offset_um: f64| {
        frame(StarSeen {
            offset_um: Some(offset_um),
            ..star(100.0, 0.0)
        })
    };
    let steps = |n: f64| Happening::Focused {
        by: Focusing::Steps(n),
    };
    let told = story(vec![
        at(-400.0),
        steps(100.0),
        at(-350.0),
        steps(-200.0),
        at(-454.0),
    ]);
    let by_hand = (100.0 * 50.0 + 200.0 * 104.0) / (100.0f64.powi(2) + 200.0f64.powi(2));
    assert_relative_eq!(told.um_per_step().unwrap(), by_hand, max_relative = 1e-12);
}

/// A card that no frame shows is not waited for all night: after two such frames stars are measured again.
#[test]
fn a_card_that_is_not_seen_is_given_up() {
    let card = || Happening::Card { screw: "A".into() };
    let none = || Happening::Skipped {
        file: FileSeen {
            file: "a.fits".into(),
            bytes: 1,
            written_ms: 1,
            sha256: "0".repeat(16),
        },
        reason: "no card".into(),
    };
    assert_eq!(story(vec![card(), none()]).card_at.as_deref(), Some("A"));
    assert_eq!(story(vec![card(), none(), none()]).card_at, None);
    let again = story(vec![card(), none(), none(), card(), none()]);
    assert_eq!(again.card_at.as_deref(), Some("A"));
}

/// Slow twin of a story that grows: told anew from all events after each, it is the same.
#[test]
fn a_story_that_grows_is_the_story_of_all_its_events() {
    let what = [
        frame(star(100.0, 0.0)),
        turned("A", 0.125),
        frame(star(100.0, 80.0)),
        frame(star(10.0, 0.0)),
        Happening::Skip,
        Happening::Locked { screw: None },
        Happening::Card { screw: "B".into() },
        Happening::Mask { on: true },
        frame(star(20.0, 0.0)),
    ];
    let events: Vec<Event> = what
        .into_iter()
        .enumerate()
        .map(|(k, what)| Event {
            at: Instant::of_seconds(1.8e9 + k as f64),
            what,
        })
        .collect();
    let mut growing = Story::of(&[], &fast_unit(), None);
    for end in 1..=events.len() {
        growing.goes_on(&events[end - 1], &fast_unit());
        let anew = Story::of(&events[..end], &fast_unit(), None);
        assert_eq!(format!("{growing:?}"), format!("{anew:?}"), "{end}");
    }
}
