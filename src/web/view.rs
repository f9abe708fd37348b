//! A session as the page sees it: everything that may be known, nothing that is hidden before the end.

use crate::practice::{
    Action, DrillReport, Session, SightShape, Suggestion, action_words, front_screws, lesson,
};
use serde_json::{Value, json};

/// All of it.
pub fn session(name: &str, session: &Session, said: Option<&str>) -> Value {
    let [mask_on, atmosphere_moves] = session.mask_and_atmosphere();
    let assembly = session.owner().assembly.as_ref();
    let advice = Suggestion::new(session);
    let explained = session.actions().last() == Some(&Action::ShowMe);
    let latest = session.rounds().last().filter(|_| explained);
    json!({
        "session": name,
        "level": session.level(),
        "task": session.level().sentence(),
        "round": session.rounds().len() - 1,
        "finished": session.is_finished(),
        "cost_min": session.cost_min(),
        "mask": session.owner().mask.is_some(),
        "mask_on": mask_on,
        "atmosphere_moves": atmosphere_moves,
        "time_s": session.time_s(),
        "screws": front_screws(session.owner()),
        "said": said,
        "seen": advice.as_ref().map(|a| a.seen.clone()),
        "advice": advice.as_ref().zip(assembly).map(|(advice, assembly)| advice.words(assembly)),
        "wrenches": wrenches(session),
        "drawing": latest.and_then(|round| round.sight.drawing()),
        "raised_front_deg": advice.as_ref().filter(|_| explained).and_then(|a| a.raised_front_deg),
        "lesson": explained.then(|| lesson(session)),
        "path": path(session),
        "report": session.is_finished().then(|| report(session)),
    })
}

/// How far each wrench stands from where it was found, turns clockwise facing the screw's head.
fn wrenches(session: &Session) -> Value {
    let Some((assembly, latest)) = session
        .owner()
        .assembly
        .as_ref()
        .zip(session.rounds().last())
    else {
        return json!({});
    };
    let sign = assembly.clockwise.sign();
    let turns = latest.wrench_turns.iter();
    let named = assembly.screws.iter().zip(turns);
    let pairs = named.map(|(screw, turns)| (screw.name.clone(), json!(sign * turns)));
    Value::Object(pairs.collect())
}

/// What was done, round by round, with what the thin side said.
fn path(session: &Session) -> Vec<Value> {
    let rounds = session.rounds().iter();
    rounds
        .map(|round| {
            let shift = match &round.sight.shape {
                SightShape::Doughnut { shift_px, .. } => Some(*shift_px),
                _ => None,
            };
            json!({ "action": action_words(round.action.as_ref()), "shift_px": shift })
        })
        .collect()
}

fn report(session: &Session) -> Value {
    let report = DrillReport::new(session);
    json!({ "words": report.words(), "numbers": report })
}
