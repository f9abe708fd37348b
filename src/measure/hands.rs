//! What the hands do at a pair of screws, one that pushes and one that pulls: the order in which nothing works against anything.
//!
//! ```text
//!            head that the wrench sits on
//!   push ──┤█ ─▶ its end presses on the base: clockwise lengthens the pair
//!   pull ──┤█ ─▶ its thread draws the unit to the base: clockwise shortens it
//! ```
//! The letter of the instrument file stands on one of the two: a screw whose clockwise turn lengthens is the one that pushes. A
//! turn of that screw against its partner would only strain both; so the one that gives way is loosened first. (Common practice,
//! no source.)

use crate::instrument::ClockwiseTurn;

/// A wrench's angle is told in steps of this.
const STEP_DEG: f64 = 5.0;

/// The angle of the wrench on the lettered screw, to the nearest 5 degrees; positive clockwise facing the head.
pub fn degrees(clockwise: ClockwiseTurn, turns: f64) -> i32 {
    ((clockwise.sign() * turns * 360.0 / STEP_DEG).round() * STEP_DEG) as i32
}

/// What the hands do, in their order, for turns of the lettered screw (positive lengthens).
pub fn hands(clockwise: ClockwiseTurn, turns: f64) -> &'static str {
    match (clockwise, turns > 0.0) {
        (ClockwiseTurn::Lengthens, true) => {
            "first loosen the pull screw beside it, then turn it clockwise by that much, then tighten the pull screw until it holds"
        }
        (ClockwiseTurn::Lengthens, false) => {
            "loosen it anticlockwise by that much, then tighten the pull screw beside it clockwise until it holds"
        }
        (ClockwiseTurn::Shortens, false) => {
            "first loosen the push screw beside it, then turn it clockwise by that much, then bring the push screw up until it holds"
        }
        (ClockwiseTurn::Shortens, true) => {
            "loosen it anticlockwise by that much, then bring the push screw beside it up clockwise until it holds"
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The wrench turns the way the words say, for either kind of letter and either sense.
    #[test]
    fn degrees_and_words_agree() {
        for clockwise in [ClockwiseTurn::Lengthens, ClockwiseTurn::Shortens] {
            for turns in [0.13, -0.13] {
                let words = hands(clockwise, turns);
                let own_way = if words.contains("it clockwise by that much") {
                    1
                } else {
                    assert!(words.contains("it anticlockwise by that much"), "{words}");
                    -1
                };
                assert_eq!(degrees(clockwise, turns).signum(), own_way, "{words}");
                assert_eq!(degrees(clockwise, turns).abs(), 45);
            }
        }
        assert_eq!(degrees(ClockwiseTurn::Shortens, 0.125), -45);
        assert_eq!(degrees(ClockwiseTurn::Lengthens, 1.0 / 32.0), 10);
    }
}
