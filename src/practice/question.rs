//! Question mode: one star, one screw out, three questions. Which screw, which way, how much; each part counts.

use super::action::Refusal;
use super::level::{Level, SetupError, parts};
use super::session::Session;
use crate::instrument::{Instrument, turn_in_words, way};
use crate::rng::Seed;
use crate::state::State;

/// A star to be judged.
#[derive(Debug, Clone)]
pub struct Question {
    session: Session,
    screw: usize,
    /// What puts it right.
    clockwise_turns: f64,
}

/// An answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Guess {
    /// Which screw.
    pub screw: String,
    /// Turns that put it right, clockwise facing the head.
    pub clockwise_turns: f64,
}

/// How good an answer is.
#[derive(Debug, Clone, PartialEq)]
pub struct Grade {
    /// Out of 40: the screw.
    pub screw_points: f64,
    /// Out of 30: the way.
    pub way_points: f64,
    /// Out of 30: the amount; none left at a factor of 3.
    pub amount_points: f64,
    /// In words, with what would have been right.
    pub words: String,
}

impl Grade {
    /// Out of 100.
    pub fn points(&self) -> f64 {
        self.screw_points + self.way_points + self.amount_points
    }
}

impl Question {
    /// Draws a question.
    ///
    /// # Errors
    /// As [`Session::new`].
    pub fn draw(
        instrument: &Instrument,
        state: &State,
        seed: Seed,
    ) -> Result<Question, SetupError> {
        let session = Session::new(instrument, state, Level::OneScrew, seed)?;
        let (assembly, _) = parts(instrument)?;
        let turns = &session.hidden().turns;
        let screw = turns.iter().position(|t| *t != 0.0).unwrap_or(0);
        let clockwise_turns = -assembly.clockwise.sign() * turns[screw];
        Ok(Question {
            session,
            screw,
            clockwise_turns,
        })
    }

    /// The star as a session that nobody has touched.
    pub fn session(&self) -> &Session {
        &self.session
    }

    /// Grades an answer. Way and amount count only for the right screw, or for a neighbour turned the other way, which helps too
    /// and earns half of the screw.
    ///
    /// # Errors
    /// [`Refusal::NoSuchScrew`].
    pub fn grade(&self, answer: &Guess) -> Result<Grade, Refusal> {
        let (turned, _) = self.session.screw(&answer.screw)?;
        let right = turned == self.screw;
        let same_way = answer.clockwise_turns * self.clockwise_turns > 0.0;
        let helps = right == same_way && answer.clockwise_turns != 0.0;
        let screw_points = match (right, helps) {
            (true, _) => 40.0,
            (false, true) => 20.0,
            _ => 0.0,
        };
        let way_points = if helps { 30.0 } else { 0.0 };
        let ratio = (answer.clockwise_turns / self.clockwise_turns).abs();
        let closeness = 1.0 - (libm::log(ratio.max(1e-6)) / libm::log(3.0)).abs();
        let amount_points = if right && helps {
            30.0 * closeness.clamp(0.0, 1.0)
        } else {
            0.0
        };
        let mut grade = Grade {
            screw_points,
            way_points,
            amount_points,
            words: String::new(),
        };
        grade.words = self.words(&grade, right, helps);
        Ok(grade)
    }

    fn words(&self, grade: &Grade, right: bool, helps: bool) -> String {
        let screws = self.session.owner().assembly.iter().flat_map(|a| &a.screws);
        let name = screws.map(|s| s.name.as_str()).nth(self.screw);
        let verdict = match (right, helps) {
            (true, true) => "The right screw, the right way.",
            (true, false) => "The right screw, but the wrong way: it would have made things worse.",
            (false, true) => "Another screw: that would have helped, but not all the way.",
            (false, false) => "Another screw, and the wrong way for it.",
        };
        format!(
            "{verdict} Screw {:.0} of 40, way {:.0} of 30, amount {:.0} of 30. What puts it right: screw {} {} by {}.",
            grade.screw_points,
            grade.way_points,
            grade.amount_points,
            name.unwrap_or_default(),
            way(self.clockwise_turns),
            turn_in_words(self.clockwise_turns),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::fast_unit;

    #[test]
    fn each_part_of_an_answer_counts() {
        let question = Question::draw(&fast_unit(), &State::default(), Seed(12)).unwrap();
        let names = ["A", "B", "C"];
        let turns = question.clockwise_turns;
        let points = |screw: usize, turns: f64| {
            question
                .grade(&Guess {
                    screw: names[screw].into(),
                    clockwise_turns: turns,
                })
                .unwrap()
                .points()
        };
        let (right, other) = (question.screw, (question.screw + 1) % 3);
        assert!((points(right, turns) - 100.0).abs() < 1e-9);
        assert!((points(right, 3.0 * turns) - 70.0).abs() < 1e-9);
        assert!((points(right, 3f64.sqrt() * turns) - 85.0).abs() < 1e-9);
        assert!((points(right, -turns) - 40.0).abs() < 1e-9);
        assert!((points(other, -turns) - 50.0).abs() < 1e-9);
        assert_eq!(points(other, turns), 0.0);
        assert!((points(right, 0.0) - 40.0).abs() < 1e-9);
        let unknown = question.grade(&Guess {
            screw: "Q".into(),
            clockwise_turns: -turns,
        });
        assert!(matches!(unknown, Err(Refusal::NoSuchScrew { .. })));
    }
}
