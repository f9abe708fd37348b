//! Drills and questions of a page: what its addresses for sessions do.

use super::pixels::pack;
use super::reply::Reply;
use super::request::Request;
use super::rooms::{NoRoom, Room, locked};
use super::routes::{Site, body, cannot_draw};
use super::view;
use crate::practice::{
    Action, CORNER_M, Eye, Guess, Level, MeasureRequest, Moment, Question, Refusal, front_screws,
};
use serde::Deserialize;
use serde_json::{Value, json};

impl Site {
    pub(super) fn start(&self, request: &Request) -> Reply {
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

    pub(super) fn ask(&self, request: &Request) -> Reply {
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

    pub(super) fn room(&self, method: &str, name: &str, rest: &[&str], request: &Request) -> Reply {
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

    pub(super) fn question(
        &self,
        method: &str,
        name: &str,
        rest: &[&str],
        request: &Request,
    ) -> Reply {
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
