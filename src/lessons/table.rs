//! The lessons, each once. Adding one is one entry here: what it says, what is moved, what that does to the star, and what is asked.

use super::lesson::{Handle, Lesson, Shown, one_tile};
use super::parts::{
    all_round, any, at, coma, has_ring, has_screws, pupil_deg, quarter_of_the_clock, reads_coma,
    screw_names, turn_each, value, with, words,
};
use super::scale::with_seeing;
use crate::practice::moved_back;
use crate::state::ScrewTurns;
use crate::units::MM;
use rand::RngExt;

/// The lesson of an address.
pub fn lesson(word: &str) -> Option<&'static Lesson> {
    LESSONS.iter().find(|lesson| lesson.word == word)
}

/// All lessons, in the order in which they are taken.
pub static LESSONS: [Lesson; 10] = [
    Lesson {
        word: "finished",
        title: "What finished looks like",
        words: &[
            "A star out of focus is a picture of the telescope's opening: a bright ring with a dark centre. When everything is in line the ring is equally wide all round.",
            "Move the slider. Out of line, the dark centre leaves the middle: one side of the ring becomes thin and bright, the other wide and faint. That one look is the whole of the test.",
        ],
        shown: Shown::Star,
        arrows: false,
        can: has_ring,
        handles: |_| vec![Handle::amount("Out of line", 1.0)],
        tiles: one_tile,
        set: |scale, values, star| coma(scale, star, value(values, 0), at(values, 1, 40.0)),
        asks: "Is this one finished?",
        choices: |_| words(&["Finished: leave it", "Not yet"]),
        draw: |_, dice| {
            let out: f64 = match dice.random() {
                true => dice.random_range(0.45..1.0),
                false => dice.random_range(0.0..0.06),
            };
            vec![vec![out, all_round(dice)]]
        },
        right: |_, tiles, _| usize::from(tiles[0][0] > 0.2),
        because: &[
            "The ring is equally wide all round.",
            "One side of the ring is thinner than the side opposite.",
        ],
    },
    Lesson {
        word: "focus",
        title: "The ring, and which side of focus",
        words: &[
            "The ring's size is the distance from focus, nothing else: twice as far, twice as wide.",
            "One ring does not say on which side you are. Move the focus a little and look: what makes the ring grow goes away from focus.",
        ],
        shown: Shown::Star,
        arrows: false,
        can: any,
        handles: |_| vec![Handle::either_way("Sensor: in, out", -0.8)],
        tiles: one_tile,
        set: |scale, values, star| {
            star.state.sensor_offset_m = -scale.offset_m * value(values, 0);
        },
        asks: "Left, then right after the sensor went outwards. On which side of focus is it?",
        choices: |_| words(&["Inside: the sensor is too near", "Outside: it is too far"]),
        draw: |_, dice| {
            let before: f64 =
                dice.random_range(0.55..0.75) * if dice.random() { 1.0 } else { -1.0 };
            vec![vec![before], vec![before + 0.25]]
        },
        right: |_, tiles, _| usize::from(tiles[0][0] > 0.0),
        because: &[
            "Outwards made the ring smaller: it was going towards focus.",
            "Outwards made the ring larger: it was going away from focus.",
        ],
    },
    Lesson {
        word: "seeing",
        title: "Moving: average, do not chase",
        words: &[
            "The atmosphere bends the ring about, a little different in every exposure. Step through the moments and watch the thin side wander.",
            "Never turn after one short exposure. Look at several, or expose longer: what stays in all of them is the telescope, what changes is the sky.",
        ],
        shown: Shown::Star,
        arrows: false,
        can: has_ring,
        handles: |_| {
            vec![
                Handle {
                    high: 20.0,
                    step: 1.0,
                    ..Handle::amount("Moment", 0.0)
                },
                Handle::amount("Out of line", 0.0),
            ]
        },
        tiles: one_tile,
        set: |scale, values, star| {
            with_seeing(&mut star.state, scale.seeing_rad);
            star.start_s = 0.7 * value(values, 0);
            coma(scale, star, value(values, 1), at(values, 2, 40.0));
        },
        asks: "Three short exposures of one star. Turn, or wait?",
        choices: |_| words(&["Wait: it only wanders", "Turn: all three lean one way"]),
        draw: |_, dice| {
            let out: f64 = if dice.random() {
                dice.random_range(0.8..1.2)
            } else {
                0.0
            };
            let (way, from): (f64, f64) = (all_round(dice), dice.random_range(0.0..400.0));
            (0..3)
                .map(|k| vec![from + 9.0 * f64::from(k), out, way])
                .collect()
        },
        right: |_, tiles, _| usize::from(tiles[0][1] > 0.4),
        because: &[
            "The thin side is elsewhere in each of the three: that is the sky.",
            "The same side is thin in all three: that is the telescope.",
        ],
    },
    Lesson {
        word: "thin-side",
        title: "The thin side",
        words: &[
            "Directions are read like a clock on the picture: 12 is up, 3 is right. The thin side is where the dark centre went.",
            "Turn the error round and say the hour before you have it pointed out.",
        ],
        shown: Shown::Star,
        arrows: false,
        can: has_ring,
        handles: |_| {
            vec![
                Handle::direction("Direction, degrees"),
                Handle::amount("Out of line", 0.9),
            ]
        },
        tiles: one_tile,
        set: |scale, values, star| coma(scale, star, at(values, 1, 0.9), value(values, 0)),
        asks: "Towards which hour is the ring thin?",
        choices: |_| words(&["12 o'clock", "3 o'clock", "6 o'clock", "9 o'clock"]),
        draw: |scale, dice| {
            let quarter: i32 = dice.random_range(0..4);
            let off: f64 = dice.random_range(-18.0..18.0);
            let size = dice.random_range(0.6..1.0);
            // hours are read in the picture, however the camera is held
            vec![vec![
                pupil_deg(scale, 90.0 * f64::from(quarter) + off),
                size,
            ]]
        },
        right: |_, _, sights| quarter_of_the_clock(sights),
        because: &["The dark centre is nearest to the edge there."],
    },
    Lesson {
        word: "screws",
        title: "Your screws' arrows",
        words: &[
            "Each screw pushes the dark centre along a line of its own. Turn one at a time and watch: its arrow on the rim shows where the dark centre goes when the screw is turned clockwise.",
            "Nobody needs to know how the camera is held. Turn a screw a little, look where it went, and you have its arrow; two screws give all of them.",
        ],
        shown: Shown::Star,
        arrows: true,
        can: |instrument| has_ring(instrument) && has_screws(instrument),
        handles: |scale| {
            let names = screw_names(scale);
            let start = |number: usize| if number == 0 { 0.8 } else { 0.0 };
            let made = names.iter().enumerate();
            made.map(|(number, name)| Handle::either_way(&format!("{name}: ↺, ↻"), start(number)))
                .collect()
        },
        tiles: one_tile,
        set: turn_each,
        asks: "The star was in line. Which screw was turned clockwise?",
        choices: screw_names,
        draw: |scale, dice| {
            let count = screw_names(scale).len();
            let mut turned = vec![0.0; count];
            let screw: usize = dice.random_range(0..count);
            turned[screw] = dice.random_range(0.7..1.0);
            vec![turned]
        },
        right: |_, tiles, _| {
            tiles[0]
                .iter()
                .position(|turned| *turned != 0.0)
                .unwrap_or(0)
        },
        because: &["The dark centre went along its arrow."],
    },
    Lesson {
        word: "turning",
        title: "Turn, play, overshoot",
        words: &[
            "A screw that is turned back does nothing at first: its play has to be taken up. Turn the wrench back slowly and see when the star begins to move.",
            "So turn a part of the way, tighten, look. What a turn did tells how much is left: a dark centre that went half of the way needs the same again; one that went too far goes back by what is left, and the play on top.",
        ],
        shown: Shown::Star,
        arrows: true,
        can: |instrument| has_ring(instrument) && has_screws(instrument),
        handles: |_| vec![Handle::amount("Wrench back, from where it stopped", 0.0)],
        tiles: one_tile,
        set: |scale, values, star| {
            let (Some(assembly), Some(clear)) = (&scale.instrument.assembly, scale.turns) else {
                return;
            };
            // a question says where the screw stands; by hand it is turned back through its play
            let stands = match values.get(1) {
                Some(stands) => stands * clear,
                None => {
                    let play = assembly.backlash_turns.max(0.2 * clear);
                    clear - moved_back(value(values, 0) * (clear + play), play)
                }
            };
            star.state.turns = ScrewTurns::zero(assembly);
            star.state.turns[0] = stands * assembly.clockwise.sign();
        },
        asks: "Left before a turn of one screw, right after it. What is next?",
        choices: |_| {
            words(&[
                "The same again",
                "A third of it back",
                "Nothing: it is right",
            ])
        },
        draw: |_, dice| {
            let after: f64 = [0.5, -0.5, 0.0][dice.random_range(0..3)];
            vec![vec![0.0, 1.0], vec![0.0, after]]
        },
        right: |_, tiles, _| match tiles[1][1] {
            after if after > 0.1 => 0,
            after if after < -0.1 => 1,
            _ => 2,
        },
        because: &[
            "It went half of the way: as much is left as was done.",
            "It went beyond the middle by half of where it came from: a third of the turn was too much.",
            "The ring is equally wide all round.",
        ],
    },
    Lesson {
        word: "shadow",
        title: "Out of line, or a shadow aside",
        words: &[
            "A holder or a mirror that sits aside moves the dark centre too, and no screw of the unit takes that away. Left is the star inside focus, right outside.",
            "Coma is thin on the same side in both. A shadow that is merely aside changes sides through focus. Try each of the two.",
        ],
        shown: Shown::Star,
        arrows: false,
        can: has_ring,
        handles: |_| {
            vec![
                Handle::amount("Out of line", 0.8),
                Handle::amount("Shadow aside", 0.0),
            ]
        },
        tiles: |values| vec![with(values, 1.0), with(values, -1.0)],
        set: |scale, values, star| {
            star.state.sensor_offset_m = scale.offset_m * values.last().copied().unwrap_or(1.0);
            coma(scale, star, value(values, 0), 60.0);
            let telescope = &mut star.instrument.telescope;
            let room_m = telescope.aperture_radius_m();
            if let Some(disc) = &mut telescope.obstruction {
                let free_m = room_m - 0.5 * disc.diameter_m;
                disc.offset_m[0] += 0.45 * free_m * value(values, 1);
                star.changed = value(values, 1) != 0.0;
            }
        },
        asks: "Left inside focus, right outside. What is it?",
        choices: |_| words(&["Out of line: turn a screw", "A shadow aside: turn none"]),
        draw: |_, dice| {
            let size: f64 = dice.random_range(0.7..1.0);
            let values = if dice.random() {
                [size, 0.0]
            } else {
                [0.0, size]
            };
            vec![with(&values, 1.0), with(&values, -1.0)]
        },
        right: |_, tiles, _| usize::from(tiles[0][1] > 0.0),
        because: &[
            "The same side is thin on both sides of focus.",
            "The thin side changes sides through focus.",
        ],
    },
    Lesson {
        word: "spikes",
        title: "Spikes of a mask",
        words: &[
            "Behind a mask the star has spikes. In each triplet the middle spike belongs on the crossing of its two slanted partners; the short ticks at the ends show where.",
            "With slots in two zones, focus splits the middle spike and coma moves it off the crossing. Move one at a time.",
        ],
        shown: Shown::Masked,
        arrows: false,
        can: |instrument| has_ring(instrument) && reads_coma(instrument),
        handles: |_| {
            vec![
                Handle::either_way("Focus: in, out", 0.0),
                Handle::amount("Out of line", 0.8),
            ]
        },
        tiles: one_tile,
        set: |scale, values, star| {
            star.state.sensor_offset_m = scale.focus_m * value(values, 0);
            coma(scale, star, 1.4 * value(values, 1), at(values, 2, 90.0));
        },
        asks: "What is wrong?",
        choices: |_| words(&["Nothing: all cross", "Focus", "Out of line"]),
        draw: |_, dice| {
            let wrong: usize = dice.random_range(0..3);
            let size: f64 = dice.random_range(0.8..1.0);
            let part = |which| if wrong == which { size } else { 0.0 };
            vec![vec![part(1), part(2), 90.0]]
        },
        right: |_, tiles, _| match (tiles[0][0] != 0.0, tiles[0][1] != 0.0) {
            (true, _) => 1,
            (_, true) => 2,
            _ => 0,
        },
        because: &[
            "Every middle spike is whole and on its crossing.",
            "The middle spikes are split.",
            "A middle spike is whole and off its crossing.",
        ],
    },
    Lesson {
        word: "corners",
        title: "Corners: which of four",
        words: &[
            "Bad corners have more than one cause, and each has its own pattern over the five stars. Tracking draws all the same way. A sensor that leans puts two opposite corners out of focus, one inside, one outside. A wrong spacing spoils all corners alike and leaves the middle. A unit that leans gives coma to all five, the middle too.",
            "Move one at a time, and look at the middle star first.",
        ],
        shown: Shown::Corners,
        arrows: false,
        can: any,
        handles: |_| {
            vec![
                Handle::amount("Tracking", 0.0),
                Handle::amount("Sensor leans", 1.0),
                Handle::amount("Spacing", 0.0),
                Handle::amount("Unit leans", 0.0),
            ]
        },
        tiles: one_tile,
        set: |scale, values, star| {
            star.state.sky.tracking_drift_px = [9.0 * value(values, 0), 4.0 * value(values, 0)];
            // a corner lies 10 mm from the middle
            let corner_m = 10.0 * MM;
            let out_m = 1.6 * scale.focus_m;
            star.state.sensor_tilt_rad =
                [0.8, 0.6].map(|part| part * value(values, 1) * out_m / corner_m);
            star.instrument.telescope.field.curvature_per_m2 +=
                value(values, 2) * out_m / (corner_m * corner_m);
            star.changed = value(values, 2) != 0.0;
            coma(scale, star, 1.6 * value(values, 3), 60.0);
        },
        asks: "What spoils these corners?",
        choices: |_| {
            words(&[
                "Tracking",
                "The sensor leans",
                "The spacing",
                "The unit leans",
            ])
        },
        draw: |_, dice| {
            let wrong: usize = dice.random_range(0..4);
            let mut values = vec![0.0; 4];
            values[wrong] = dice.random_range(0.85..1.0);
            vec![values]
        },
        right: |_, tiles, _| tiles[0].iter().position(|size| *size != 0.0).unwrap_or(0),
        because: &[
            "All five are drawn out the same way, the middle too.",
            "Two opposite corners are spread, the middle is not.",
            "All four corners are spread alike, the middle is not.",
            "All five have the same tail, the middle too.",
        ],
    },
    Lesson {
        word: "stop",
        title: "Stop, or go on",
        words: &[
            "The last turns cost more than they bring. Below a fourteenth of a wave of coma no picture shows the difference, and each turn of a hand, each tightening of a screw, moves that much again.",
            "An error that you cannot tell from the sky's wandering is no error. Turning then is a false alarm: most units are spoilt at the end, not at the beginning.",
        ],
        shown: Shown::Star,
        arrows: false,
        can: has_ring,
        handles: |_| {
            vec![
                Handle::amount("Out of line", 0.2),
                Handle {
                    high: 20.0,
                    step: 1.0,
                    ..Handle::amount("Moment", 0.0)
                },
            ]
        },
        tiles: one_tile,
        set: |scale, values, star| {
            with_seeing(&mut star.state, scale.seeing_rad);
            star.start_s = 0.7 * value(values, 1);
            coma(scale, star, value(values, 0), at(values, 2, 40.0));
        },
        asks: "Three exposures of one star. Stop here, or turn?",
        choices: |_| words(&["Stop here", "Turn"]),
        draw: |scale, dice| {
            let stop = scale.stop_m / scale.coma_m;
            let out: f64 = match dice.random() {
                true => dice.random_range(3.0 * stop..5.0 * stop),
                false => dice.random_range(0.0..0.6 * stop),
            };
            let (way, from): (f64, f64) = (all_round(dice), dice.random_range(0.0..400.0));
            (0..3)
                .map(|k| vec![out, from + 9.0 * f64::from(k), way])
                .collect()
        },
        right: |scale, tiles, _| usize::from(tiles[0][0] * scale.coma_m > scale.stop_m),
        because: &[
            "What is left is below a fourteenth of a wave: a turn here would be a false alarm.",
            "The same side is thin in all three, by more than a fourteenth of a wave.",
        ],
    },
];
