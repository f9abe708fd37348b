//! What can be done in a session, what it costs, and why it may be refused.

use crate::instrument::turn_in_words;
use serde::{Deserialize, Serialize};

/// Something that can be done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Action {
    /// Loosen a screw's partner, turn the screw, tighten the partner.
    Turn {
        /// Its name.
        screw: String,
        /// Turns of the wrench, clockwise facing the head; negative: anticlockwise.
        clockwise_turns: f64,
    },
    /// Move the focuser outwards; negative: inwards.
    Focus {
        /// How far the sensor goes.
        outward_um: f64,
    },
    /// Point the telescope so that the star is in the middle again.
    Recentre,
    /// Put the mask on, or take it off.
    Mask {
        /// Whether it is on afterwards.
        on: bool,
    },
    /// Choose the exposure.
    Expose {
        /// How long.
        time_s: f64,
    },
    /// Let the atmosphere move, or hold it still.
    Atmosphere {
        /// Whether it moves.
        moves: bool,
    },
    /// Look again.
    Look,
    /// Look at stars in the corners of the sensor.
    Corners,
    /// Have the star measured.
    Measure,
    /// Have the situation explained.
    ShowMe,
    /// Take the last turn, focus or mask change back.
    Undo,
    /// Say that it is done.
    Finish,
}

impl Action {
    /// Minutes at the telescope that it costs (common practice, no source).
    pub fn cost_min(&self) -> f64 {
        match self {
            Action::Turn { .. } | Action::Undo => 1.0,
            Action::Focus { .. } | Action::Recentre | Action::Look => 0.5,
            Action::Mask { .. } | Action::Measure => 2.0,
            Action::Expose { .. } => 0.2,
            Action::Corners => 1.5,
            Action::ShowMe => 5.0,
            Action::Atmosphere { .. } | Action::Finish => 0.0,
        }
    }
}

/// Why something cannot be done. The session is as it was.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Refusal {
    /// No such screw.
    #[error("there is no screw {name:?}; the screws are {known}")]
    NoSuchScrew {
        /// What was asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// Too much in one go.
    #[error(
        "the unit binds: {} in one go is more than the {} that the other screws allow", turn_in_words(*turns), turn_in_words(*limit)
    )]
    Binds {
        /// Asked for.
        turns: f64,
        /// Limit.
        limit: f64,
    },
    /// The screw stands at its end.
    #[error("screw {name} is at the end of its travel")]
    AtEnd {
        /// The screw.
        name: String,
    },
    /// A number that means nothing.
    #[error("{what} is {value}, but must be {allowed}")]
    Range {
        /// Its name.
        what: &'static str,
        /// Given.
        value: f64,
        /// Allowed.
        allowed: &'static str,
    },
    /// The star would be spread far beyond the frame.
    #[error("the ring would be {ring_px:.0} px across, and the frame is {frame_px:.0} px")]
    RingBeyondFrame {
        /// Across the ring.
        ring_px: f64,
        /// The frame's smaller side.
        frame_px: f64,
    },
    /// There is no mask.
    #[error("this telescope has no mask")]
    NoMask,
    /// The level fixes it.
    #[error("on this level {what}")]
    Fixed {
        /// What.
        what: &'static str,
    },
    /// It is so already.
    #[error("{what} already")]
    Already {
        /// What.
        what: &'static str,
    },
    /// Nothing was done yet.
    #[error("there is nothing to take back")]
    NothingToUndo,
    /// The session is over.
    #[error("the session is finished")]
    Finished,
    /// Too long a session.
    #[error("{0} actions are enough for one session")]
    TooLong(usize),
}

impl Refusal {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            Refusal::NoSuchScrew { .. } => "name one of them",
            Refusal::Binds { .. } => {
                "never force a screw; turn in steps of 1/4 or less, and look in between"
            }
            Refusal::AtEnd { .. } => {
                "never force it; turn the other screws the other way instead, which tilts the unit the same way"
            }
            Refusal::Range { .. } => "give a number inside these limits",
            Refusal::RingBeyondFrame { .. } => "go less far, or back towards focus",
            Refusal::NoMask => "leave the mask off, or practise on a scenario with a [mask]",
            Refusal::Fixed { .. } => "choose another level to change it",
            Refusal::Already { .. } => "look at the star, or do something else",
            Refusal::NothingToUndo => "turn a screw first",
            Refusal::Finished | Refusal::TooLong(_) => {
                "start a new session: skewstar practice start --session FILE, or the button on the page"
            }
        }
    }
}

/// What came of an action.
#[derive(Debug, Clone, PartialEq)]
pub struct Done {
    /// In words.
    pub words: String,
    /// Minutes it cost.
    pub cost_min: f64,
}
