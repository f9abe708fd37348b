//! One next step: what the person at the telescope does now, as numbers for a program and as words for a reader.
//!
//! There is always one. Where nothing is to be turned it says what else would help, and why.

use super::advice::{Advice, OneScrew, Verdict};
use super::hands::{degrees, hands};
use super::orientation::Possible;
use super::report::Findings;
use super::trial::trial as trial_of;
use super::words::turn_and_way;
use crate::instrument::{Assembly, Instrument};
use crate::units::{NM, UM};
use serde::Serialize;

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Deed {
    /// Turn a screw.
    Turn,
    /// Turn a screw a little, to see what it does.
    Trial,
    /// Expose longer, or take a brighter star.
    Expose,
    /// Nothing: it is good enough.
    Stop,
    /// Put right what the flags name, and take the frame again.
    LookAgain,
}

/// The next step.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NextStep {
    /// What kind of step.
    #[serde(rename = "do")]
    pub deed: Deed,
    /// Name of the screw.
    pub screw: Option<String>,
    /// Its turns; positive lengthens.
    pub turns: Option<f64>,
    /// The wrench's angle on the screw in the hand, a multiple of 5; positive clockwise facing its head.
    pub degrees: Option<i32>,
    /// What the hands do, in their order.
    pub hands: Option<String>,
    /// How far the sensor is to be moved; positive outwards.
    pub focus_um: Option<f64>,
    /// Exposure to take.
    pub time_s: Option<f64>,
    /// The step in one sentence.
    pub words: String,
    /// The reason in one sentence.
    pub why: String,
}

impl NextStep {
    fn new(deed: Deed, words: impl Into<String>, why: impl Into<String>) -> NextStep {
        NextStep {
            deed,
            screw: None,
            turns: None,
            degrees: None,
            hands: None,
            focus_um: None,
            time_s: None,
            words: words.into(),
            why: why.into(),
        }
    }

    /// The step of a screw.
    fn of_screw(
        deed: Deed,
        assembly: &Assembly,
        screw: usize,
        turns: f64,
        why: String,
    ) -> NextStep {
        let hands = hands(assembly.clockwise, turns);
        NextStep {
            screw: Some(assembly.screws[screw].name.clone()),
            turns: Some(turns),
            degrees: Some(degrees(assembly.clockwise, turns)),
            hands: Some(hands.to_owned()),
            ..NextStep::new(
                deed,
                format!("{}: {hands}.", turn_and_way(assembly, screw, turns)),
                why,
            )
        }
    }
}

/// What to do now, by a verdict on findings.
pub fn next_step(found: &Findings, verdict: Verdict, instrument: &Instrument) -> NextStep {
    match (verdict, &found.advice) {
        (Verdict::Stop, advice) => stop(advice.ok()),
        (Verdict::Turn, Ok(advice)) => turn(found, advice, instrument),
        (Verdict::Trial, _) | (Verdict::Turn, Err(_)) => trial(found, instrument),
        (Verdict::LookAgain, Ok(_)) if found.is_sound() => expose(found),
        (Verdict::LookAgain, _) => look_again(found),
    }
}

fn stop(advice: Option<&Advice>) -> NextStep {
    let left = advice.and_then(|a| a.undone_m).map_or(String::new(), |m| {
        format!("the screws could take away {:.0} nm more; ", m.value / NM)
    });
    NextStep::new(
        Deed::Stop,
        "Stop here.",
        format!("{left}what is left is less than anybody sees, or than a hand can set"),
    )
}

fn turn(found: &Findings, advice: &Advice, instrument: &Instrument) -> NextStep {
    let Some(assembly) = &instrument.assembly else {
        return look_again(found);
    };
    let stop_m = found.stop.map_or(0.0, |s| s.stop_m);
    let coma_nm = advice.undone_m.map_or(0.0, |m| m.value / NM);
    match planned_turn(advice, stop_m) {
        Some(PlannedTurn::Enough(one)) => {
            let why = format!(
                "it takes {coma_nm:.0} nm of coma away and leaves {:.0} nm",
                one.leaves_m / NM
            );
            NextStep {
                focus_um: Some(-one.focus_change_m / UM),
                ..NextStep::of_screw(Deed::Turn, assembly, one.screw, one.turns, why)
            }
        }
        Some(PlannedTurn::Largest(screw, turns)) => {
            let why =
                format!("it is the largest of the turns that take {coma_nm:.0} nm of coma away");
            NextStep::of_screw(Deed::Turn, assembly, screw, turns, why)
        }
        None => stop(Some(advice)),
    }
}

/// The screw that is turned now.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum PlannedTurn {
    /// One screw alone leaves less than the stop level.
    Enough(OneScrew),
    /// The largest of the turns of all screws: its number, and its turns.
    Largest(usize, f64),
}

impl PlannedTurn {
    /// Number of the screw, and its turns.
    pub fn screw_and_turns(&self) -> (usize, f64) {
        match self {
            PlannedTurn::Enough(one) => (one.screw, one.turns),
            PlannedTurn::Largest(screw, turns) => (*screw, *turns),
        }
    }
}

/// Of the turns of an advice the one that is made now; `None` where none is large enough for a hand.
pub fn planned_turn(advice: &Advice, stop_m: f64) -> Option<PlannedTurn> {
    let enough = |one: &&OneScrew| one.leaves_m <= stop_m;
    if let Some(one) = advice.one_screw.as_ref().filter(enough) {
        return Some(PlannedTurn::Enough(*one));
    }
    advice
        .turns
        .iter()
        .enumerate()
        .filter(|(_, turns)| turns.abs() >= advice.settings.least_turns)
        .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .map(|(screw, turns)| PlannedTurn::Largest(screw, *turns))
}

fn trial(found: &Findings, instrument: &Instrument) -> NextStep {
    let why = match (&found.advice, &found.cases) {
        (Err(no), _) => no.to_string(),
        (Ok(_), cases) => open_cases(cases),
    };
    let settings = found.settings;
    let fast = instrument.telescope.focal_ratio() <= settings.fast_up_to_focal_ratio;
    let most_turns = if fast {
        settings.trial_turns_fast
    } else {
        settings.trial_turns
    };
    let Some(assembly) = &instrument.assembly else {
        return NextStep::new(
            Deed::Trial,
            "Turn one screw by at most an eighth of a turn, watch which way the dark centre goes, and take a frame; describe the screws in [assembly] for more.",
            why,
        );
    };
    let likely = found.cases.first().copied();
    let tilt = found.tilt.zip(likely);
    let one = trial_of(tilt, assembly, found.tried, most_turns, settings);
    NextStep::of_screw(Deed::Trial, assembly, one.screw, one.turns, why)
}

/// Why a turn is only tried: in how much of what fits it would help.
fn open_cases(cases: &[Possible]) -> String {
    let likeliest = cases.first().map_or(0.0, |case| case.weight);
    format!(
        "how the camera is held is not certain: the likeliest of the ways that fit this frame has {:.0} % for it, and the screws' turns differ between them; the next frame tells, and `skewstar learn` keeps it",
        100.0 * likeliest
    )
}

fn expose(found: &Findings) -> NextStep {
    let stop_m = found.stop.map_or(0.0, |s| s.stop_m);
    let sigma_m = found.advice.ok().and_then(|a| a.undone_m?.sigma);
    // σ falls with the root of the light, until it is the share of the stop level at which coma is known well enough
    let wanted_m = found.settings.known_to_share_of_stop * stop_m;
    let [least, most] = found.settings.longer_factor;
    let factor = sigma_m
        .filter(|_| stop_m > 0.0)
        .map(|sigma| (sigma / wanted_m).powi(2).min(most).max(least));
    let time_s = found.exposure_s.zip(factor).map(|(now_s, by)| now_s * by);
    let words = match time_s {
        Some(time_s) => format!("Expose {time_s:.1} s, or take a brighter star, and look again."),
        None => "Expose longer, or take a brighter star, and look again.".to_owned(),
    };
    NextStep {
        time_s,
        ..NextStep::new(
            Deed::Expose,
            words,
            "this frame does not tell the coma from what is good enough",
        )
    }
}

fn look_again(found: &Findings) -> NextStep {
    let mut flags = found.flags.clone();
    flags.extend(found.star.iter().flat_map(|star| &star.flags));
    flags.extend(found.whole_frame.iter().flat_map(|whole| &whole.flags));
    if let Some(flag) = flags.first_unsound() {
        return NextStep::new(
            Deed::LookAgain,
            format!("{} Turn nothing on this frame.", flag.remedy()),
            flag.meaning().trim_end_matches('.'),
        );
    }
    let why = match &found.advice {
        Err(no) => format!("{no}; {}", no.hint()),
        Ok(_) => "this frame does not settle it".to_owned(),
    };
    NextStep::new(
        Deed::LookAgain,
        "Put that right and take the frame again; turn nothing on this one.",
        why,
    )
}
