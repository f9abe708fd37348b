//! At the end of a session: the turns used against the shortest way, and the error round by round.

use super::action::Action;
use super::session::Session;
use super::sight::SightShape;
use crate::instrument::{turn_in_words, way, wrench_degrees};
use crate::math::robust::median;
use crate::simulate::clock;
use crate::units::{NM, UM};
use serde::Serialize;

/// One round, with what was hidden then.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RoundRecord {
    /// What was done.
    pub action: String,
    /// Coma of the tilt that was left, nm RMS.
    pub coma_nm: f64,
    /// Sensor offset, um.
    pub sensor_offset_um: f64,
    /// Where the thin side pointed, where there was one.
    pub thin_side: Option<String>,
}

/// The end of a session.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DrillReport {
    /// Whether the goal was reached.
    pub goal_reached: bool,
    /// Coma below which it is reached, nm RMS.
    pub goal_coma_nm: f64,
    /// Distance from focus and what counts as focused, um; `None` on levels that do not ask for focus.
    pub focus_um: Option<[f64; 2]>,
    /// Turns of the wrench, all added up.
    pub turns_used: f64,
    /// The least that would have done.
    pub shortest_turns: f64,
    /// Minutes at the telescope.
    pub cost_min: f64,
    /// 0 to 100: the goal, and how short the way was.
    pub score: f64,
    /// What was hidden: screw name and height in turns.
    pub hidden_turns: Vec<(String, f64)>,
    /// How the camera was turned, and whether it mirrored.
    pub hidden_camera_deg: f64,
    /// Whether the camera mirrored.
    pub hidden_mirrored: bool,
    /// Round by round.
    pub rounds: Vec<RoundRecord>,
}

impl DrillReport {
    /// Looks behind the curtain of a session: shows what is hidden.
    pub fn new(session: &Session) -> DrillReport {
        let hidden = session.hidden();
        let middle = median(&mut hidden.turns.to_vec());
        let shortest_turns = hidden.turns.iter().map(|t| (t - middle).abs()).sum::<f64>();
        let turns_used = turns_used(session);
        let goal_reached = session.goal_reached();
        let screws = session.owner().assembly.iter().flat_map(|a| &a.screws);
        DrillReport {
            goal_reached,
            goal_coma_nm: session.goal_coma_m() / NM,
            focus_um: session.focus_asked_m().map(|pair| pair.map(|m| m / UM)),
            turns_used,
            shortest_turns,
            cost_min: session.cost_min(),
            score: score(session, goal_reached, turns_used, shortest_turns),
            hidden_turns: screws
                .map(|s| s.name.clone())
                .zip(hidden.turns.iter().copied())
                .collect(),
            hidden_camera_deg: hidden.rotation_rad / crate::units::DEG,
            hidden_mirrored: hidden.mirrored,
            rounds: session.rounds().iter().map(record).collect(),
        }
    }

    /// In plain sentences.
    pub fn words(&self) -> String {
        let last = self.rounds.last().map_or(0.0, |round| round.coma_nm);
        let first = self.rounds.first().map_or(0.0, |round| round.coma_nm);
        let reached = if self.goal_reached {
            "The goal is reached"
        } else {
            "The goal is not reached"
        };
        let mut lines = vec![format!(
            "{reached}: of {first:.0} nm RMS of coma {last:.0} are left; from {:.0} on it shows in a picture.",
            self.goal_coma_nm
        )];
        if let Some([off, goal]) = self.focus_um {
            lines.push(format!(
                "Focus is {:.0} um off; {goal:.0} um count as focused.",
                off.abs()
            ));
        }
        lines.push(format!(
            "The wrench went {} degrees in all; {} would have done. Time at the telescope: {:.0} min. Score: {:.0} of 100.",
            wrench_degrees(self.turns_used),
            wrench_degrees(self.shortest_turns),
            self.cost_min,
            self.score
        ));
        let hidden: Vec<String> = self
            .hidden_turns
            .iter()
            .map(|(name, turns)| match wrench_degrees(*turns) {
                0 => format!("{name} right"),
                _ => format!(
                    "{name} too {} by {}",
                    if *turns < 0.0 { "short" } else { "long" },
                    turn_in_words(*turns)
                ),
            })
            .collect();
        lines.push(format!("Hidden at the start: {}.", hidden.join(", ")));
        if self.hidden_camera_deg != 0.0 || self.hidden_mirrored {
            let mirror = if self.hidden_mirrored {
                " and mirrored"
            } else {
                ""
            };
            lines.push(format!(
                "The camera was turned by {:.0} degrees{mirror}.",
                self.hidden_camera_deg
            ));
        }
        for (number, round) in self.rounds.iter().enumerate() {
            let said = round
                .thin_side
                .as_ref()
                .map_or(String::new(), |side| format!("; thin side at {side}"));
            lines.push(format!(
                "{number:3}  {:28} {:4.0} nm of coma{said}",
                round.action, round.coma_nm
            ));
        }
        lines.join("\n")
    }
}

fn turns_used(session: &Session) -> f64 {
    let rounds = session.rounds().windows(2);
    rounds
        .map(|two| {
            let turned = two[0].wrench_turns.iter().zip(two[1].wrench_turns.iter());
            turned.map(|(a, b)| (b - a).abs()).sum::<f64>()
        })
        .fold(0.0, |sum, turns| sum + turns)
}

/// Half for the goal, half for a short way: full up to the shortest one and a quarter more, none at four times; five points off
/// for each "show me" and each measurement.
fn score(session: &Session, goal_reached: bool, used: f64, shortest: f64) -> f64 {
    if !goal_reached {
        let rounds = session.rounds();
        let (first, last) = (
            rounds.first().map_or(0.0, |r| r.coma_m),
            session.tilt_coma_m(),
        );
        return if first > 0.0 {
            40.0 * (1.0 - last / first).clamp(0.0, 1.0)
        } else {
            0.0
        };
    }
    let ratio = used / shortest.max(1e-9);
    let way = ((4.0 - ratio) / (4.0 - 1.25)).clamp(0.0, 1.0);
    let helped = session
        .actions()
        .iter()
        .filter(|a| matches!(a, Action::ShowMe | Action::Measure))
        .count();
    (50.0 + 50.0 * way - 5.0 * helped as f64).max(0.0)
}

fn record(round: &super::session::Round) -> RoundRecord {
    RoundRecord {
        action: action_words(round.action.as_ref()),
        coma_nm: round.coma_m / NM,
        sensor_offset_um: round.sensor_offset_m / UM,
        thin_side: match &round.sight.shape {
            SightShape::Doughnut { shift_px, .. } if shift_px.length() >= 0.1 => {
                Some(clock(*shift_px))
            }
            _ => None,
        },
    }
}

/// An action in a few words, for lists.
pub fn action_words(action: Option<&Action>) -> String {
    match action {
        None => "first look".into(),
        Some(Action::Turn {
            screw,
            clockwise_turns,
        }) => {
            let way = way(*clockwise_turns);
            let degrees = wrench_degrees(*clockwise_turns).abs();
            format!("{screw} {degrees} degrees {way}")
        }
        Some(Action::Focus { outward_um }) => format!("focus {outward_um:+.0} um"),
        Some(Action::Recentre) => "recentred".into(),
        Some(Action::Mask { on: true }) => "mask on".into(),
        Some(Action::Mask { on: false }) => "mask off".into(),
        Some(Action::Expose { time_s }) => format!("exposure {time_s} s"),
        Some(Action::Atmosphere { moves: true }) => "atmosphere moves".into(),
        Some(Action::Atmosphere { moves: false }) => "atmosphere still".into(),
        Some(Action::Look) => "looked".into(),
        Some(Action::Undo) => "last step taken back".into(),
        Some(Action::Corners) => "looked at the corners".into(),
        Some(Action::Measure) => "measured".into(),
        Some(Action::ShowMe) => "show me".into(),
        Some(Action::Finish) => "finished".into(),
    }
}
