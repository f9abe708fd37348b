//! Two people to test the drills with: a beginner who follows the printed words and nothing else, and one who turns at random.

use super::action::Action;
use super::cell::BINDS_AT_TURNS;
use super::coach::Suggestion;
use super::level::{Level, SetupError};
use super::report::DrillReport;
use super::session::Session;
use crate::instrument::Instrument;
use crate::rng::{Purpose, Seed};
use crate::state::State;
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};

/// Who plays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Player {
    /// Reads the last line of what is printed and does it, with an unsteady hand.
    Beginner,
    /// Turns any screw by any amount.
    Random,
}

/// How a drill went.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Attempt {
    /// Whether the goal was reached.
    pub goal_reached: bool,
    /// Turns used.
    pub turns_used: f64,
    /// The shortest way.
    pub shortest_turns: f64,
}

impl Attempt {
    /// The goal, in at most twice the shortest way.
    pub fn is_good(&self) -> bool {
        self.goal_reached && self.turns_used <= 2.0 * self.shortest_turns
    }
}

/// Nobody goes on for longer.
const STEPS_AT_MOST: usize = 40;
/// A hand misses the amount by this share (one standard deviation),
const HAND_SHARE: f64 = 0.06;
/// and by this part of a turn.
const HAND_TURNS: f64 = 1.0 / 300.0;

/// Plays one drill.
///
/// # Errors
/// As [`Session::new`].
pub fn play(
    instrument: &Instrument,
    state: &State,
    level: Level,
    seed: Seed,
    player: Player,
) -> Result<Attempt, SetupError> {
    let mut session = Session::new(instrument, state, level, seed)?;
    let mut hand = seed.stream(Purpose::Hand, u64::MAX);
    for _ in 0..STEPS_AT_MOST {
        let action = match player {
            Player::Beginner => {
                let printed = printed(&session);
                let mut normal = || -> f64 { StandardNormal.sample(&mut hand) };
                follow(&printed, [normal(), normal()])
            }
            Player::Random => {
                let names: Vec<&str> = instrument
                    .assembly
                    .iter()
                    .flat_map(|a| &a.screws)
                    .map(|s| s.name.as_str())
                    .collect();
                let screw = names[hand.random_range(0..names.len())].to_owned();
                let turns: f64 = hand.random();
                Some(Action::Turn {
                    screw,
                    clockwise_turns: 0.5 * (turns - 0.5),
                })
            }
        };
        let Some(action) = action else { break };
        // what is refused is not done; a beginner who is refused stops
        if session.act(&action).is_err() && player == Player::Beginner {
            break;
        }
        let stops =
            action == Action::Finish || (player == Player::Random && session.goal_reached());
        if stops {
            break;
        }
    }
    let report = DrillReport::new(&session);
    Ok(Attempt {
        goal_reached: report.goal_reached,
        turns_used: report.turns_used,
        shortest_turns: report.shortest_turns,
    })
}

/// What the program prints after a look: all that the beginner gets.
fn printed(session: &Session) -> String {
    let assembly = session.owner().assembly.as_ref();
    assembly
        .and_then(|a| Suggestion::new(session).map(|advice| advice.words(a)))
        .unwrap_or_default()
}

/// Reads the line that starts with "Try:" as a person would.
fn follow(printed: &str, slip: [f64; 2]) -> Option<Action> {
    let line = printed
        .lines()
        .find_map(|line| line.strip_prefix("Try: "))?;
    let words: Vec<&str> = line.split_whitespace().collect();
    let after = |word: &str| {
        words
            .iter()
            .position(|w| *w == word)
            .and_then(|at| words.get(at + 1))
    };
    if line.starts_with("turn") {
        let size = after("by")?.parse::<f64>().ok()? / 360.0;
        let missed = size * (1.0 + HAND_SHARE * slip[0]) + HAND_TURNS * slip[1];
        let sign = if words.contains(&"anticlockwise") {
            -1.0
        } else {
            1.0
        };
        return Some(Action::Turn {
            screw: (*after("screw")?).to_owned(),
            clockwise_turns: sign * missed.clamp(1e-3, BINDS_AT_TURNS),
        });
    }
    if line.starts_with("focus") {
        let size: f64 = after("by")?.parse().ok()?;
        let sign = if words.contains(&"inwards") {
            -1.0
        } else {
            1.0
        };
        return Some(Action::Focus {
            outward_um: sign * size,
        });
    }
    if line.starts_with("recentre") {
        return Some(Action::Recentre);
    }
    line.starts_with("finish").then_some(Action::Finish)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_done_as_it_is_printed() {
        let done = |line: &str| follow(&format!("Seen: something.\n{line}"), [0.0; 2]);
        assert_eq!(
            done(
                "Try: turn screw B anticlockwise by 50 degrees (a little more than 1/8 turn), which shortens it; loosen its partner first."
            ),
            Some(Action::Turn {
                screw: "B".into(),
                clockwise_turns: -50.0 / 360.0
            })
        );
        assert_eq!(
            done("Try: focus inwards by 130 um."),
            Some(Action::Focus { outward_um: -130.0 })
        );
        assert_eq!(
            done("Try: recentre the star, before the frame cuts it."),
            Some(Action::Recentre)
        );
        assert_eq!(
            done("Try: finish. What is left does not show in a picture."),
            Some(Action::Finish)
        );
        assert_eq!(done("Nothing."), None);
    }
}
