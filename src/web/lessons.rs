//! Lessons on the page: what there is, the star as its handles stand, questions.

use super::pixels::pack;
use super::reply::Reply;
use super::rooms::locked;
use super::telescopes::{Telescope, Telescopes};
use super::turnstile::Turnstile;
use crate::lessons::{LESSONS, Lesson, Question, Scale, lesson, view};
use crate::practice::Eye;
use crate::rng::{LARGEST_SEED, Seed};
use crate::scenario::Scenario;
use serde::Deserialize;
use serde_json::{Value, json};
use std::sync::{Arc, Mutex};

/// What is asked of a lesson.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LessonAsked {
    /// The telescope's name; the page's own without one.
    pub telescope: Option<String>,
    /// How the handles stand; as they start without them.
    values: Option<Vec<f64>>,
    /// The seed of a question, instead of handles.
    seed: Option<u64>,
    /// The number of an answer to that question.
    choice: Option<usize>,
}

/// Lessons, and an eye that is kept for the telescope of the last one.
pub struct Lessons {
    bench: Telescope,
    eye: Mutex<Option<(String, Eye)>>,
}

/// Values of a lesson are never beyond this.
const VALUE_AT_MOST: f64 = 1000.0;

impl Lessons {
    /// Lessons with the practice bench for telescopes that cannot show them.
    pub fn new(bench: Scenario, text: String) -> Lessons {
        Lessons {
            bench: Telescope::new(bench, text),
            eye: Mutex::new(None),
        }
    }

    /// Names of all lessons, in their order.
    pub fn names() -> Vec<Value> {
        let all = LESSONS.iter();
        all.map(|lesson| json!({ "word": lesson.word, "title": lesson.title }))
            .collect()
    }

    /// Answers: the lesson itself, its star, what is pointed out, a question, or what is said of an answer.
    pub fn answer(
        &self,
        word: &str,
        what: &str,
        asked: &LessonAsked,
        telescopes: &Telescopes,
        turnstile: &Turnstile,
    ) -> Reply {
        let Some(lesson) = lesson(word) else {
            return Reply::error(404, "there is no such lesson", "choose one of the list");
        };
        let Some(own) = telescopes.find(asked.telescope.as_deref()) else {
            return super::routes::unknown_telescope();
        };
        let shown = self.telescope(lesson, &own);
        let scale = Scale::of(&shown.scenario.instrument, &shown.scenario.state);
        let posed = asked.seed.filter(|seed| *seed <= LARGEST_SEED);
        let posed = posed.map(|seed| Question::draw(lesson, &scale, Seed(seed)));
        let tiles = match (&posed, &asked.values) {
            (Some(question), _) => question.tiles.clone(),
            (None, values) => match handled(lesson, &scale, values.as_deref()) {
                Ok(values) => (lesson.tiles)(&values),
                Err(reply) => return reply,
            },
        };
        match (what, &posed) {
            ("", _) => about(lesson, &scale, shown.name != own.name),
            ("star", _) => self.star(lesson, &scale, &shown.name, &tiles, turnstile),
            ("shown", _) => Reply::json(&view(lesson, &scale, &tiles)),
            ("question", Some(question)) => {
                Reply::json(&json!({ "asks": lesson.asks, "choices": question.choices }))
            }
            ("answer", Some(question)) => match asked.choice {
                Some(choice) if choice < question.choices.len() => {
                    let (right, words) = question.answered(lesson, choice);
                    Reply::json(
                        &json!({ "right": right, "words": words, "choice": question.right }),
                    )
                }
                _ => Reply::error(
                    400,
                    "choice is none of the answers",
                    "send its number from 0",
                ),
            },
            ("question" | "answer", None) => Reply::error(
                400,
                "a question needs a seed below 2^53",
                "send a whole number",
            ),
            _ => Reply::refusal(404),
        }
    }

    /// The telescope of a lesson: the own one, or the bench where that cannot show it.
    fn telescope<'a>(&'a self, lesson: &Lesson, own: &'a Arc<Telescope>) -> &'a Telescope {
        match (lesson.can)(&own.scenario.instrument) {
            true => own,
            false => &self.bench,
        }
    }

    fn star(
        &self,
        lesson: &Lesson,
        scale: &Scale,
        name: &str,
        tiles: &[Vec<f64>],
        turnstile: &Turnstile,
    ) -> Reply {
        let mut held = locked(&self.eye);
        if held.as_ref().is_none_or(|(of, _)| of != name) {
            *held = None;
        }
        let (_, eye) = held.get_or_insert_with(|| (name.to_owned(), Eye::new(&scale.instrument)));
        match turnstile.through(|| lesson.picture(scale, tiles, eye)) {
            Ok(picture) => Reply::bytes(pack(&picture)),
            Err(error) => Reply::error(409, &error.to_string(), error.hint()),
        }
    }
}

fn about(lesson: &Lesson, scale: &Scale, on_the_bench: bool) -> Reply {
    Reply::json(&json!({
        "word": lesson.word,
        "title": lesson.title,
        "words": lesson.words,
        "handles": (lesson.handles)(scale),
        "on_the_bench": on_the_bench,
    }))
}

/// The values of the handles, each within its limits.
fn handled(lesson: &Lesson, scale: &Scale, values: Option<&[f64]>) -> Result<Vec<f64>, Reply> {
    let handles = (lesson.handles)(scale);
    let Some(values) = values else {
        return Ok(handles.iter().map(|handle| handle.start).collect());
    };
    let within = |(value, handle): (&f64, &crate::lessons::Handle)| {
        (handle.low..=handle.high).contains(value) && value.abs() <= VALUE_AT_MOST
    };
    match values.len() == handles.len() && values.iter().zip(&handles).all(within) {
        true => Ok(values.to_vec()),
        false => Err(Reply::error(
            400,
            "the values are not those of this lesson's handles",
            "send one number a handle, between its low and its high",
        )),
    }
}
