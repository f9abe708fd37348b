//! A night on the page: how it stands, its star, what is told, frames that are handed in. All of it is asked of a [`Desk`].

use super::pixels::pack;
use super::reply::Reply;
use super::request::Request;
use crate::night::{Desk, DeskError, Happening, Looked};
use serde::Deserialize;
use serde_json::{Value, json};

/// Address that a script posts a frame to.
pub const FRAME_ADDRESS: &str = "/night/frame";

/// How the night stands; nothing but its stamp where the query's `since` shows that the page knows it.
pub fn board(desk: &dyn Desk, request: &Request) -> Reply {
    match desk.board() {
        Err(error) => refused(&error),
        Ok(board) if request.asked("since") == Some(board.stamp.as_str()) => Reply::json(
            &json!({ "stamp": board.stamp, "settles_in_s": board.settles_in_s, "same": true }),
        ),
        Ok(board) => Reply::json(&board),
    }
}

/// The star of the last frame as a picture.
pub fn star(desk: &dyn Desk) -> Reply {
    match desk.star() {
        Some(star) => Reply::bytes(pack(&star.values_adu)),
        None => Reply::error(404, "no frame has shown a star yet", "let a frame come"),
    }
}

/// `done`: the step as it was asked for, with its big line where it was seen.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Done {
    #[serde(rename = "what")]
    _what: DoneWord,
    big: Option<String>,
}

#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum DoneWord {
    Done,
}

/// Something that is told: an event as a session has it, or `done`, the step as it was asked for.
pub fn tell(desk: &dyn Desk, body: &Value) -> Reply {
    let said = if let Ok(done) = Done::deserialize(body) {
        desk.tell_as_asked(done.big.as_deref())
    } else {
        match told(body) {
            Ok(what) => desk.tell(what),
            Err(reply) => return reply,
        }
    };
    match said {
        Ok(words) => Reply::json(&json!({ "said": words })),
        Err(error) => refused(&error),
    }
}

/// An event with no key too many, of those that people tell.
fn told(body: &Value) -> Result<Happening, Reply> {
    let refuse = |words: &str| {
        let words = format!("the body cannot be meant: {words}");
        Reply::error(400, &words, "send the JSON that the page sends")
    };
    let what: Happening =
        serde_json::from_value(body.clone()).map_err(|error| refuse(&error.to_string()))?;
    if !what.is_told() && what != Happening::Undo {
        return Err(refuse("only frames tell what frames showed"));
    }
    let meant = serde_json::to_value(&what).unwrap_or_default();
    let keys = body.as_object().map(|all| all.keys().cloned().collect());
    let keys: Vec<String> = keys.unwrap_or_default();
    match keys.iter().find(|key| meant.get(key.as_str()).is_none()) {
        None => Ok(what),
        Some(key) => Err(refuse(&format!("{key} is no part of this event"))),
    }
}

/// Measures the frame in a request's body. The query may have `name`, the file's, and `written_ms`, when it was written last.
pub fn frame(desk: &dyn Desk, request: &Request) -> Reply {
    let name = request.asked("name").unwrap_or("the frame that was sent");
    let written_ms = match request.asked("written_ms").map(str::parse::<u64>) {
        None => None,
        Some(Ok(written_ms)) => Some(written_ms),
        Some(Err(_)) => {
            return Reply::error(
                400,
                "written_ms is no whole number of milliseconds since 1970",
                "leave it out where it is not known",
            );
        }
    };
    let line = match desk.frame(name, written_ms, &request.body) {
        Ok(Looked::Seen(report)) => serde_json::to_vec(&report),
        Ok(Looked::Skipped(report)) => serde_json::to_vec(&report),
        Err(error) => return refused(&error),
    };
    match line {
        Ok(mut line) => {
            line.push(b'\n');
            Reply::file("application/json", line)
        }
        Err(_) => Reply::error(500, "the answer cannot be written", ""),
    }
}

/// Where no night is followed.
pub fn none() -> Reply {
    Reply::error(
        404,
        "no night is followed here",
        "start the program with `skewstar serve --night FOLDER --instrument FILE`",
    )
}

fn refused(error: &DeskError) -> Reply {
    Reply::error(409, &error.what, &error.hint)
}
