//! Which address does what.

use super::frames;
use super::lessons::{LessonAsked, Lessons};
use super::masks::MaskQuestion;
use super::night;
use super::pixels::pack;
use super::play;
use super::reply::Reply;
use super::request::Request;
use super::rooms::{Keeper, NoRoom, Room, Rooms, locked};
use super::telescopes::{Telescope, Telescopes};
use super::turnstile::Turnstile;
use super::view;
use crate::night::Desk;
use crate::practice::{
    Action, BENCH, CORNER_M, Cautions, Eye, Guess, Level, MeasureRequest, Measurer, Moment,
    Question, Refusal, front_screws,
};
use crate::predict::PredictError;
use crate::scenario::{self, Scenario};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};
use std::sync::{Arc, Mutex};

/// All that a request can reach.
pub struct Site {
    telescopes: Telescopes,
    rooms: Rooms,
    /// The eye of free play, and whose telescope it has.
    play: Mutex<Option<(String, Eye)>>,
    lessons: Lessons,
    /// Pictures wait for each other here.
    turnstile: Turnstile,
    /// Measures the frame of a drill, where the program can.
    measurer: Option<Arc<Measurer>>,
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

    fn telescope(&self, name: Option<&str>) -> Result<Arc<Telescope>, Reply> {
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

    fn start(&self, request: &Request) -> Reply {
        let asked: Start = match body(request) {
            Ok(asked) => asked,
            Err(reply) => return reply,
        };
        let telescope = match self.telescope(asked.telescope.as_deref()) {
            Ok(telescope) => telescope,
            Err(reply) => return reply,
        };
        match self.rooms.start(&telescope, asked.level, asked.seed) {
            Ok((name, room)) => Reply::json(&view::session(&name, &locked(&room).session, None)),
            Err(error) => no_room(error),
        }
    }

    fn ask(&self, request: &Request) -> Reply {
        let asked: Ask = match body(request) {
            Ok(asked) => asked,
            Err(reply) => return reply,
        };
        let telescope = match self.telescope(asked.telescope.as_deref()) {
            Ok(telescope) => telescope,
            Err(reply) => return reply,
        };
        match self.rooms.ask(&telescope, asked.seed) {
            Ok((name, question)) => Reply::json(&json!({
                "question": name,
                "screws": front_screws(question.session().owner()),
            })),
            Err(error) => no_room(error),
        }
    }

    fn room(&self, method: &str, name: &str, rest: &[&str], request: &Request) -> Reply {
        let known = matches!(rest, [] | ["star" | "corners" | "actions" | "measure"]);
        let Some(room) = known.then(|| self.rooms.find(name)).flatten() else {
            return Reply::error(404, "there is no such session", "start a new one");
        };
        let mut room = locked(&room);
        match (method, rest) {
            ("GET", []) => Reply::json(&view::session(name, &room.session, None)),
            ("GET", ["star"]) => self.star(&mut room, request),
            ("GET", ["corners"]) => self.corners(&mut room),
            ("POST", ["actions"]) => self.act(name, &mut room, request),
            ("POST", ["measure"]) => self.measure(name, &mut room, request),
            _ => Reply::refusal(405),
        }
    }

    fn act(&self, name: &str, room: &mut Room, request: &Request) -> Reply {
        match action(request) {
            Ok(Action::Measure) => Reply::error(
                400,
                "measure has an address of its own",
                "POST to …/measure",
            ),
            Ok(action) => self.done(name, room, &action, None),
            Err(reply) => reply,
        }
    }

    fn measure(&self, name: &str, room: &mut Room, request: &Request) -> Reply {
        if let Err(reply) = body::<Nothing>(request) {
            return reply;
        }
        let Some(measurer) = &self.measurer else {
            return Reply::error(
                404,
                "this program cannot measure",
                "start it with `skewstar serve`",
            );
        };
        let (now, state) = (room.session.moment(0.0), room.session.state());
        let eye = &mut room.eye;
        let picture = match self.turnstile.through(|| eye.look(&state, now)) {
            Ok(picture) => picture,
            Err(error) => return cannot_draw(&error),
        };
        let Some(frame) = picture.frame else {
            return Reply::error(
                409,
                "there are no counts to measure",
                "practise on a scenario with [star] and the camera's electronics",
            );
        };
        let [mask_on, _] = room.session.mask_and_atmosphere();
        let asked = MeasureRequest {
            frame: &frame,
            owner: room.session.owner(),
            mask_on,
            inside: room.session.state().sensor_offset_m < 0.0,
            camera_known: !room.session.level().hides_camera(),
        };
        match self.turnstile.through(|| measurer(&asked)) {
            Ok(words) => {
                let goal = format!(
                    "The drill is won below {:.0} nm: that is a level of its own, and not the stop level of one measured frame.",
                    room.session.goal_nm()
                );
                self.done(
                    name,
                    room,
                    &Action::Measure,
                    Some(format!("{words}\n{goal}")),
                )
            }
            Err(words) => Reply::error(409, &words, "recentre the star, or take the mask off"),
        }
    }

    /// Does it, keeps the session, and shows how it stands.
    fn done(&self, name: &str, room: &mut Room, action: &Action, words: Option<String>) -> Reply {
        match room.session.act(action) {
            Err(refusal) => refused(&refusal),
            Ok(done) => match self.rooms.keep(name, room) {
                Err(error) => no_room(error),
                Ok(()) => {
                    let said = words.unwrap_or(done.words);
                    Reply::json(&view::session(name, &room.session, Some(&said)))
                }
            },
        }
    }

    fn question(&self, method: &str, name: &str, rest: &[&str], request: &Request) -> Reply {
        let known = matches!(rest, ["star" | "answer"]);
        let Some(question) = known.then(|| self.rooms.question(name)).flatten() else {
            return Reply::error(404, "there is no such question", "ask for a new one");
        };
        match (method, rest) {
            ("GET", ["star"]) => self.question_star(&question),
            ("POST", ["answer"]) => match body::<Given>(request) {
                Ok(given) if given.clockwise_turns.is_finite() => {
                    let answer = Guess {
                        screw: given.screw,
                        clockwise_turns: given.clockwise_turns,
                    };
                    match question.grade(&answer) {
                        Ok(grade) => {
                            Reply::json(&json!({ "points": grade.points(), "words": grade.words }))
                        }
                        Err(refusal) => refused(&refusal),
                    }
                }
                Ok(_) => Reply::error(
                    400,
                    "clockwise_turns is no number",
                    "give turns such as 0.125",
                ),
                Err(reply) => reply,
            },
            _ => Reply::refusal(405),
        }
    }

    fn star(&self, room: &mut Room, request: &Request) -> Reply {
        let at_s = match request.asked("at_s").map(str::parse::<f64>) {
            None => 0.0,
            Some(Ok(at_s)) if (0.0..1e6).contains(&at_s) => at_s,
            Some(_) => {
                return Reply::error(
                    400,
                    "at_s is not a number of seconds below 1000000",
                    "leave it out for the present moment",
                );
            }
        };
        let (now, state) = (room.session.moment(at_s), room.session.state());
        let eye = &mut room.eye;
        match self.turnstile.through(|| eye.look(&state, now)) {
            Ok(picture) => Reply::bytes(pack(&picture.shown())),
            Err(error) => cannot_draw(&error),
        }
    }

    fn corners(&self, room: &mut Room) -> Reply {
        let (now, state) = (room.session.moment(0.0), room.session.state());
        let eye = &mut room.eye;
        match self
            .turnstile
            .through(|| eye.corners(&state, CORNER_M, now))
        {
            Ok(sheet) => Reply::bytes(pack(&sheet)),
            Err(error) => cannot_draw(&error),
        }
    }

    fn question_star(&self, question: &Question) -> Reply {
        let session = question.session();
        let seed = session.seed();
        let now = Moment {
            start_s: 0.0,
            atmosphere: seed,
            noise: seed,
        };
        let look = || Eye::new(session.instrument()).look(&session.state(), now);
        match self.turnstile.through(look) {
            Ok(picture) => Reply::bytes(pack(&picture.shown())),
            Err(error) => cannot_draw(&error),
        }
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

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Start {
    telescope: Option<String>,
    level: Level,
    seed: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Ask {
    telescope: Option<String>,
    seed: Option<u64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Given {
    screw: String,
    clockwise_turns: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Nothing {}

/// The body as JSON, or the reply that says what is wrong with it.
fn body<T: DeserializeOwned>(request: &Request) -> Result<T, Reply> {
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

/// An action with no key too many: serde lets extra keys of actions without values pass.
fn action(request: &Request) -> Result<Action, Reply> {
    let given: serde_json::Map<String, Value> = body(request)?;
    let action: Action = body(request)?;
    let meant = serde_json::to_value(&action).unwrap_or_default();
    match given.keys().find(|key| meant.get(key.as_str()).is_none()) {
        None => Ok(action),
        Some(key) => Err(Reply::error(
            400,
            &format!("the body cannot be meant: {key} is no part of this action"),
            "send the JSON that the page sends",
        )),
    }
}

fn refused(refusal: &Refusal) -> Reply {
    Reply::error(409, &refusal.to_string(), refusal.hint())
}

fn cannot_draw(error: &PredictError) -> Reply {
    Reply::error(409, &error.to_string(), error.hint())
}

fn no_room(error: NoRoom) -> Reply {
    match error {
        NoRoom::Setup(error) => Reply::error(409, &error.to_string(), error.hint()),
        NoRoom::SeedTooLarge => Reply::error(400, "seed is too large", "give a number below 2^53"),
        NoRoom::NoChance => Reply::error(503, "the system gives no random numbers", "try again"),
        NoRoom::NotKept(words) => Reply::error(
            503,
            &format!("the session cannot be kept: {words}"),
            "make room on the disc",
        ),
    }
}
