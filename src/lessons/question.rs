//! A question of a lesson, drawn from a seed.

use super::lesson::Lesson;
use super::scale::Scale;
use crate::rng::{Purpose, Seed};

/// A question.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// The stars that are shown beside each other.
    pub tiles: Vec<Vec<f64>>,
    /// The answers that can be given.
    pub choices: Vec<String>,
    /// Which one is right.
    pub right: usize,
}

impl Question {
    /// Draws a question of a lesson.
    pub fn draw(lesson: &Lesson, scale: &Scale, seed: Seed) -> Question {
        let mut dice = seed.stream(Purpose::Lesson, 0);
        let tiles = (lesson.draw)(scale, &mut dice);
        let sights = lesson.sights(scale, &tiles);
        Question {
            right: (lesson.right)(scale, &tiles, &sights),
            choices: (lesson.choices)(scale),
            tiles,
        }
    }

    /// What is said of an answer: whether it is right, and why the right one is.
    pub fn answered(&self, lesson: &Lesson, choice: usize) -> (bool, String) {
        let right = choice == self.right;
        let because = lesson.because.get(self.right).or(lesson.because.first());
        let name = self.choices.get(self.right).map_or("", String::as_str);
        let because = because.copied().unwrap_or_default();
        let words = match right {
            true => format!("Right. {because}"),
            false => format!("It was: {name}. {because}"),
        };
        (right, words)
    }
}
