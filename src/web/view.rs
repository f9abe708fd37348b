//! A session as the page sees it: everything that may be known, nothing that is hidden before the end.

use crate::axes::FramePx;
use crate::practice::{
    Action, DrillReport, Session, SightShape, Suggestion, action_words, front_screws, lesson,
};
use serde::Serialize;
use serde_json::{Value, json};

/// All of it.
pub fn session(name: &str, session: &Session, said: Option<&str>) -> Value {
    let [mask_on, atmosphere_moves] = session.mask_and_atmosphere();
    let assembly = session.owner().assembly.as_ref();
    let advice = Suggestion::new(session);
    let explained = session.actions().last() == Some(&Action::ShowMe);
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
        "drawing": explained.then(|| drawing(session, advice.as_ref())),
        "lesson": explained.then(|| lesson(session)),
        "path": path(session),
        "report": session.is_finished().then(|| report(session)),
    })
}

/// What "show me" draws on the star and on the unit.
#[derive(Serialize)]
struct UnitPicture {
    centre_px: FramePx,
    shift_px: Option<FramePx>,
    diameter_px: Option<f64>,
    raised_front_deg: Option<f64>,
}

fn drawing(session: &Session, advice: Option<&Suggestion>) -> Option<UnitPicture> {
    let sight = &session.rounds().last()?.sight;
    let (from_star, shift_px, diameter_px) = match &sight.shape {
        SightShape::Doughnut {
            centre_px,
            shift_px,
            diameter_px,
            ..
        } => (*centre_px, Some(*shift_px), Some(*diameter_px)),
        _ => (FramePx::ZERO, None, None),
    };
    Some(UnitPicture {
        centre_px: sight.aside_px + from_star,
        shift_px,
        diameter_px,
        raised_front_deg: advice.and_then(|a| a.raised_front_deg),
    })
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
