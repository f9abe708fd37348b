//! Drills as people do them: a beginner who follows the printed words reaches the goal, somebody who turns at random does not;
//! what a session refuses; what costs what; and that signs on every side agree.

use skewstar::practice::{
    Action, BENCH, DrillReport, Eye, Level, Moment, Player, Refusal, Session, SightShape, Step,
    Suggestion, play, read, write,
};
use skewstar::rng::Seed;
use skewstar::scenario::{self, Scenario};

fn bench() -> Scenario {
    scenario::read(BENCH, "bench", &[]).expect("the bench is a scenario")
}

fn session(level: Level, seed: u64) -> Session {
    let bench = bench();
    Session::new(&bench.instrument, &bench.state, level, Seed(seed)).expect("a session")
}

fn turn(screw: &str, clockwise_turns: f64) -> Action {
    Action::Turn {
        screw: screw.into(),
        clockwise_turns,
    }
}

/// Twenty drills a level here; `skewstar practice rehearse` plays two hundred.
#[test]
fn who_follows_the_words_arrives_and_who_turns_at_random_does_not() {
    let bench = bench();
    for level in Level::DRILLS {
        let drills = if level == Level::Mask { 8 } else { 20 };
        let good = |player| {
            (0..drills)
                .map(|seed| {
                    play(&bench.instrument, &bench.state, level, Seed(seed), player)
                        .expect("a drill")
                })
                .filter(|attempt| attempt.is_good())
                .count()
        };
        let (beginner, random) = (good(Player::Beginner), good(Player::Random));
        println!(
            "{}: beginner {beginner} of {drills}, at random {random}",
            level.word()
        );
        assert!(
            10 * beginner >= 8 * drills as usize,
            "{level:?}: {beginner} of {drills}"
        );
        assert!(
            4 * random < drills as usize,
            "{level:?}: {random} of {drills}"
        );
    }
}

/// A screw lengthened raises its edge, and the dark centre goes there: the same sign in the cell, the sight and the picture.
#[test]
fn a_turn_moves_the_dark_centre_to_the_screw() {
    let mut session = session(Level::OneScrew, 4);
    let before = shift(&session);
    session.act(&turn("A", 0.25)).expect("a turn");
    session.act(&Action::Recentre).expect("recentred");
    let after = shift(&session);
    let gone = [after[0] - before[0], after[1] - before[1]];
    // screw A stands at 90 degrees; clockwise lengthens it
    assert!(gone[1] > 5.0 && gone[0].abs() < 1.0, "{gone:?}");
    let mut eye = Eye::new(session.instrument());
    let moment = Moment {
        start_s: 0.0,
        atmosphere: Seed(0),
        noise: Seed(0),
    };
    let picture = eye
        .look(&session.state(), moment)
        .expect("a picture")
        .expected;
    let (rows, columns) = picture.dim();
    let half = |upper: bool| -> f64 {
        picture
            .indexed_iter()
            .filter(|((row, column), _)| {
                (*row > rows / 2) == upper && column.abs_diff(columns / 2) < 6
            })
            .map(|(_, value)| *value)
            .fold(0.0, f64::max)
    };
    let wanted = after[1] > 0.0;
    assert!(
        (half(true) > half(false)) == wanted,
        "the thin side is the bright one: {} {} {after:?}",
        half(true),
        half(false)
    );
}

fn shift(session: &Session) -> [f64; 2] {
    match &session.rounds().last().expect("a look").sight.shape {
        SightShape::Doughnut { shift_px, .. } => shift_px.xy(),
        other => panic!("{other:?}"),
    }
}

/// A turn moves the whole star and the focus, as the design's responses say: image shift k·t, sensor offset k·piston.
#[test]
fn a_turn_shifts_the_image_and_the_focus() {
    let mut session = session(Level::TwoScrews, 9);
    let (offset, aside) = (
        session.state().sensor_offset_m,
        session.rounds()[0].sight.aside_px,
    );
    assert!(aside[0].abs() < 1e-9 && aside[1].abs() < 1e-9);
    session.act(&turn("B", -0.25)).expect("a turn");
    let moved = -0.25 + 0.0225; // play and lock-up at most
    let piston_um = (session.state().sensor_offset_m - offset) * 1e6;
    assert!(
        (piston_um / (0.25 * 500.0 / 3.0) + 1.0).abs() < 0.12,
        "{piston_um} {moved}"
    );
    let [x, y] = session.rounds()[1].sight.aside_px.xy();
    // screw B at 210 degrees goes down: the raised edge is at 30 degrees; 0.125 mm over 72 mm, 27 um an arcmin
    let azimuth = y.atan2(x).to_degrees();
    assert!((azimuth - 30.0).abs() < 1.0, "{azimuth}");
    assert!(
        (x.hypot(y) / (5.97 * 27.0 / 3.8) - 1.0).abs() < 0.12,
        "{x} {y}"
    );
    session.act(&Action::Recentre).expect("recentred");
    assert!(session.rounds()[2].sight.aside_px[0].abs() < 1e-9);
}

#[test]
fn what_cannot_be_done_is_refused_and_changes_nothing() {
    let mut session = session(Level::OneScrew, 1);
    let before = session.clone();
    let mut refused = |action: &Action| session.act(action).expect_err("refused");
    assert!(matches!(
        refused(&turn("Q", 0.1)),
        Refusal::NoSuchScrew { .. }
    ));
    assert!(matches!(refused(&turn("A", 0.75)), Refusal::Binds { .. }));
    assert!(matches!(
        refused(&turn("A", f64::NAN)),
        Refusal::Range { .. }
    ));
    assert!(matches!(refused(&turn("A", 0.0)), Refusal::Range { .. }));
    assert!(matches!(
        refused(&Action::Focus { outward_um: 1e9 }),
        Refusal::Range { .. }
    ));
    assert!(matches!(
        refused(&Action::Expose { time_s: -1.0 }),
        Refusal::Range { .. }
    ));
    assert!(matches!(
        refused(&Action::Mask { on: false }),
        Refusal::Already { .. }
    ));
    assert_eq!(refused(&Action::Undo), Refusal::NothingToUndo);
    assert_eq!(session.rounds(), before.rounds());
    assert_eq!(session.cost_min(), 0.0);
    session.act(&Action::Finish).expect("finished");
    assert_eq!(
        session.act(&Action::Look).expect_err("refused"),
        Refusal::Finished
    );
}

#[test]
fn a_screw_at_its_end_stops_and_then_refuses() {
    let mut session = session(Level::OneScrew, 2);
    let mut stopped = false;
    for _ in 0..8 {
        match session.act(&turn("C", 0.5)) {
            Ok(_) => {}
            Err(Refusal::AtEnd { name }) => {
                assert_eq!(name, "C");
                stopped = true;
                break;
            }
            Err(other) => panic!("{other}"),
        }
    }
    assert!(stopped);
}

/// Costs are those of the table, and the report adds the turns up.
#[test]
fn everything_costs_something_and_the_report_adds_it_up() {
    let mut session = session(Level::TwoScrews, 3);
    let actions = [
        turn("A", 0.125),
        Action::Undo,
        Action::Mask { on: true },
        Action::Measure,
        Action::ShowMe,
    ];
    let cost: f64 = actions.iter().map(Action::cost_min).sum();
    for action in &actions {
        session.act(action).expect("done");
    }
    assert!(
        (session.cost_min() - cost).abs() < 1e-12 && cost == 11.0,
        "{cost}"
    );
    let report = DrillReport::new(&session);
    assert!(
        (report.turns_used - 0.25).abs() < 1e-9,
        "{}",
        report.turns_used
    );
    assert!(report.shortest_turns > 0.1 && report.rounds.len() == 4);
    assert!(!report.goal_reached && report.words().contains("not reached"));
}

/// What is printed does not depend on what is hidden but on what is seen: the same sights give the same words.
#[test]
fn advice_names_a_screw_and_helps() {
    for seed in 20..30 {
        let mut session = session(Level::OneScrew, seed);
        let before = DrillReport::new(&session).rounds[0].coma_nm;
        let advice = Suggestion::new(&session).expect("advice");
        let Step::Turn {
            screw,
            clockwise_turns,
            trial: false,
        } = advice.step
        else {
            panic!("{advice:?}");
        };
        session.act(&turn(&screw, clockwise_turns)).expect("a turn");
        let after = DrillReport::new(&session)
            .rounds
            .last()
            .expect("a round")
            .coma_nm;
        assert!(after < 0.4 * before, "{seed}: {before} {after}");
    }
}

#[test]
fn a_finished_session_is_read_back_finished() {
    let mut session = session(Level::Camera, 77);
    session.act(&turn("B", 0.0625)).expect("a turn");
    session.act(&Action::Finish).expect("finished");
    let text = write(&session, BENCH).expect("text");
    let (again, _) = read(&text).expect("a session");
    assert!(again.is_finished());
    assert_eq!(DrillReport::new(&again), DrillReport::new(&session));
}
