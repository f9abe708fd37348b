//! Which address does what.

use super::frames;
use super::lessons::{LessonAsked, Lessons};
use super::masks::MaskQuestion;
use super::night;
use super::play;
use super::reply::Reply;
use super::request::Request;
use super::rooms::{Keeper, Rooms, locked};
use super::telescopes::{Telescope, Telescopes};
use super::turnstile::Turnstile;
use crate::night::Desk;
use crate::practice::{BENCH, Cautions, Eye, Measurer};
use crate::predict::PredictError;
use crate::scenario::{self, Scenario};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::sync::{Arc, Mutex};

/// All that a request can reach.
pub struct Site {
    telescopes: Telescopes,
    pub(super) rooms: Rooms,
    /// The eye of free play, and whose telescope it has.
    play: Mutex<Option<(String, Eye)>>,
    lessons: Lessons,
    /// Pictures wait for each other here.
    pub(super) turnstile: Turnstile,
    /// Measures the frame of a drill, where the program can.
    pub(super) measurer: Option<Arc<Measurer>>,
    /// The night that is followed.
    night: Option<Arc<dyn Desk>>,
}

impl Site {
    /// A page about a telescope. Sessions are kept by `keeper`, without one in memory alone; `measurer` measures the frame of a drill.
    pub fn new(
        scenario: Scenario,
        scenario_text: String,
        keeper: Option<Box<dyn Keeper>>,
        measurer: Option<Arc<Measurer>>,
    ) -> Site {
        // the bench is part of the program, and read by its tests; without it, lessons that a telescope cannot show are shown on it all the same
        let bench =
            scenario::read(BENCH, "the practice bench", &[]).map(|read| (read, BENCH.to_owned()));
        let (bench, bench_text) =
            bench.unwrap_or_else(|_| (scenario.clone(), scenario_text.clone()));
        Site {
            lessons: Lessons::new(bench, bench_text),
            telescopes: Telescopes::new(scenario, scenario_text),
            rooms: Rooms::new(keeper),
            play: Mutex::new(None),
            turnstile: Turnstile::default(),
            measurer,
            night: None,
        }
    }

    /// The same page with a night that is followed.
    pub fn with_night(self, night: Option<Arc<dyn Desk>>) -> Site {
        Site { night, ..self }
    }

    /// Answers a request that was let in.
    pub fn answer(&self, request: &Request) -> Reply {
        let parts: Vec<&str> = request.path.split('/').skip(1).collect();
        let method = if request.method == "HEAD" {
            "GET"
        } else {
            request.method.as_str()
        };
        match (method, parts.as_slice()) {
            ("GET", ["api", "about"]) => self.about(),
            ("GET", ["api", "play"]) => self.play(request),
            ("POST", ["api", "telescopes"]) => self.load(request),
            ("POST", ["api", "frames"]) => self.frame(request),
            ("POST", ["api", "mask", rest]) => self.mask(rest, request),
            ("POST", ["api", "sessions"]) => self.start(request),
            ("POST", ["api", "questions"]) => self.ask(request),
            ("POST", ["api", "lessons", word]) => self.lesson(word, "", request),
            ("POST", ["api", "lessons", word, what]) => self.lesson(word, what, request),
            (_, ["api", "lessons", ..]) => Reply::refusal(405),
            (_, ["api", "night", rest @ ..]) => self.night(method, rest, request),
            ("POST", ["night", "frame"]) => self.at_night(|desk| night::frame(desk, request)),
            (_, ["api", "sessions", name, rest @ ..]) => self.room(method, name, rest, request),
            (_, ["api", "questions", name, rest @ ..]) => {
                self.question(method, name, rest, request)
            }
            (
                _,
                [
                    "api",
                    "about" | "play" | "telescopes" | "frames" | "sessions" | "questions",
                ]
                | ["api", "mask", "plate" | "star" | "file"]
                | ["night", "frame"],
            ) => Reply::refusal(405),
            _ => Reply::refusal(404),
        }
    }

    fn about(&self) -> Reply {
        Reply::json(&json!({
            "version": env!("CARGO_PKG_VERSION"),
            "cautions": Cautions::LINES,
            "can_measure": self.measurer.is_some(),
            "night": self.night.is_some(),
            "lessons": Lessons::names(),
            "sliders": play::SLIDERS.iter().map(|(name, limit)| json!({ "name": name, "limit": limit })).collect::<Vec<_>>(),
        }))
    }

    /// Reads the text of a telescope; without one, shows the page's own.
    fn load(&self, request: &Request) -> Reply {
        let asked: Load = match body(request) {
            Ok(asked) => asked,
            Err(reply) => return reply,
        };
        match self.telescopes.load(asked.text) {
            Ok(telescope) => Reply::json(&telescope.view()),
            Err(error) => Reply::error(409, &error.to_string(), error.hint()),
        }
    }

    pub(super) fn telescope(&self, name: Option<&str>) -> Result<Arc<Telescope>, Reply> {
        self.telescopes.find(name).ok_or_else(unknown_telescope)
    }

    fn lesson(&self, word: &str, what: &str, request: &Request) -> Reply {
        match body::<LessonAsked>(request) {
            Ok(asked) => self
                .lessons
                .answer(word, what, &asked, &self.telescopes, &self.turnstile),
            Err(reply) => reply,
        }
    }

    fn frame(&self, request: &Request) -> Reply {
        match self.telescope(request.asked("telescope")) {
            Ok(telescope) => self
                .turnstile
                .through(|| frames::reply(request, &telescope)),
            Err(reply) => reply,
        }
    }

    fn mask(&self, what: &str, request: &Request) -> Reply {
        let asked: MaskQuestion = match body(request) {
            Ok(asked) => asked,
            Err(reply) => return reply,
        };
        let telescope = match self.telescope(asked.telescope.as_deref()) {
            Ok(telescope) => telescope,
            Err(reply) => return reply,
        };
        let answered = self.turnstile.through(|| match what {
            "plate" => asked.plate(&telescope),
            "star" => asked.star(&telescope),
            "file" => asked.file(&telescope),
            _ => Err(Reply::refusal(404)),
        });
        answered.unwrap_or_else(|refusal| refusal)
    }

    fn play(&self, request: &Request) -> Reply {
        let values = match play::read(request) {
            Ok(values) => values,
            Err(words) => return Reply::error(400, &words, "move the slider back into its range"),
        };
        let telescope = match self.telescope(request.asked("telescope")) {
            Ok(telescope) => telescope,
            Err(reply) => return reply,
        };
        let scenario = &telescope.scenario;
        let mut held = locked(&self.play);
        if held
            .as_ref()
            .is_none_or(|(name, _)| *name != telescope.name)
        {
            *held = None;
        }
        let (_, eye) =
            held.get_or_insert_with(|| (telescope.name.clone(), Eye::new(&scenario.instrument)));
        let part = match play::part(request) {
            Ok(part) => part,
            Err(words) => return Reply::error(400, &words, "leave it out for all three"),
        };
        let draw = || play::pictures(eye, &scenario.instrument, &scenario.state, values, part);
        match self.turnstile.through(draw) {
            Ok(reply) => reply,
            Err(error) => cannot_draw(&error),
        }
    }

    fn night(&self, method: &str, rest: &[&str], request: &Request) -> Reply {
        match (method, rest) {
            ("GET", []) => self.at_night(|desk| night::board(desk, request)),
            ("GET", ["star"]) => self.at_night(night::star),
            ("POST", ["tell"]) => match body::<Value>(request) {
                Ok(told) => self.at_night(|desk| night::tell(desk, &told)),
                Err(reply) => reply,
            },
            (_, [] | ["star" | "tell"]) => Reply::refusal(405),
            _ => Reply::refusal(404),
        }
    }

    /// What is answered where a night is followed.
    fn at_night(&self, answer: impl FnOnce(&dyn Desk) -> Reply) -> Reply {
        self.night.as_deref().map_or_else(night::none, answer)
    }
}

/// Where a telescope gave way to others; the page hands its text in again.
pub fn unknown_telescope() -> Reply {
    Reply::error(
        410,
        "this telescope is no longer held",
        "hand its text in again",
    )
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Load {
    text: Option<String>,
}

/// The body as JSON, or the reply that says what is wrong with it.
pub(super) fn body<T: DeserializeOwned>(request: &Request) -> Result<T, Reply> {
    let kind = request.header("content-type").unwrap_or_default();
    if kind.split(';').next().map(str::trim) != Some("application/json") {
        return Err(Reply::refusal(415));
    }
    serde_json::from_slice(&request.body).map_err(|error| {
        Reply::error(
            400,
            &format!("the body cannot be meant: {error}"),
            "send the JSON that the page sends",
        )
    })
}

pub(super) fn cannot_draw(error: &PredictError) -> Reply {
    Reply::error(409, &error.to_string(), error.hint())
}
