//! One next step: what the person at the telescope does now, as numbers for a program and as words for a reader.
//!
//! There is always one. Where nothing is to be turned it says what else would help, and why.

use super::advice::{Advice, Aim, NoAdvice, Verdict};
use super::follows::{Follows, outwards, refocus_first_m};
use super::good_enough::StopBy;
use super::hands::hands;
use super::orientation::{HoldCase, OrientationAnswer};
use super::plan::Plan;
use super::report::Findings;
use super::settings::AdviceSettings;
use super::step::{Step, eighths_said};
use super::trial::{fresh_screws, trial as trial_of};
use super::whole_frame::Corners;
use super::words::told_nm;
use crate::flag::Flag;
use crate::frame::hour;
use crate::instrument::{Instrument, Orientation};
use crate::mechanics::turned;
use crate::units::{DEG, NM, UM};
use serde::Serialize;

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Deed {
    /// Turn a screw.
    Turn,
    /// Turn a screw a little, to see what it does.
    Trial,
    /// Tighten the screws, and look whether that moved anything.
    Lock,
    /// Bring the star back to the middle of the frame.
    Recentre,
    /// Move the sensor along the axis.
    Refocus,
    /// Expose longer, or take a brighter star.
    Expose,
    /// Wait for another frame of the same.
    Wait,
    /// Hold a card over the rim at a screw's place, and take a frame.
    Card,
    /// Take out of the beam what stands in it.
    ClearBeam,
    /// Put the mask on.
    MaskOn,
    /// Take the mask off.
    MaskOff,
    /// Look at the corners of the frame.
    Corners,
    /// End the session: its goal is reached.
    Finish,
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
    /// How far the sensor is to be moved, after the turn where there is one; positive outwards. `None` where it may stay.
    pub focus_um: Option<f64>,
    /// Exposure to take.
    pub time_s: Option<f64>,
    /// The step in one sentence.
    pub words: String,
    /// The reason in one sentence.
    pub why: String,
}

impl NextStep {
    /// A step that is nothing but its words.
    pub fn new(deed: Deed, words: impl Into<String>, why: impl Into<String>) -> NextStep {
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

    /// What to do and why, a sentence each.
    pub fn lines(&self) -> Vec<String> {
        vec![self.words.clone(), format!("Why: {}.", self.why)]
    }

    /// The turn of one screw, never more than is asked for; `None` without screws.
    pub fn of_screw(
        deed: Deed,
        instrument: &Instrument,
        screw: usize,
        turns: f64,
        settings: &AdviceSettings,
        why: &str,
    ) -> Option<NextStep> {
        let assembly = instrument.assembly.as_ref()?;
        let step = Step::at_most(assembly, screw, &turned(assembly, screw, turns), settings)?;
        Some(NextStep::of_step(deed, instrument, &step, why.to_owned()))
    }

    /// A step at the screws.
    fn of_step(deed: Deed, instrument: &Instrument, step: &Step, why: String) -> NextStep {
        let plain = NextStep::new(deed, String::new(), why);
        let Some(assembly) = &instrument.assembly else {
            return plain;
        };
        let part = match step.is_part() {
            true => format!(
                " That is a part of {}: more is not turned with a star in view.",
                eighths_said(step.wanted_deg)
            ),
            false => String::new(),
        };
        NextStep {
            screw: Some(assembly.screws[step.screw].name.clone()),
            turns: Some(step.turns[step.screw]),
            degrees: Some(step.degrees()),
            hands: Some(hands(assembly, step)),
            words: step_words(instrument, step) + &part,
            ..plain
        }
    }
}

/// "B: 1/8 turn clockwise (45 degrees), it lengthens (at 8 o'clock seen from the front): first loosen …"; nothing without screws.
pub(super) fn step_words(instrument: &Instrument, step: &Step) -> String {
    let Some(assembly) = &instrument.assembly else {
        return String::new();
    };
    let screw = &assembly.screws[step.screw];
    let front_rad = instrument.telescope.front_rad(screw.azimuth_rad);
    format!(
        "{}: {} (at {} o'clock seen from the front): {}.",
        screw.name,
        step.number(),
        hour(front_rad / DEG),
        hands(assembly, step)
    )
}

/// What to do now, by a verdict on findings.
pub fn next_step(found: &Findings, verdict: Verdict, instrument: &Instrument) -> NextStep {
    let first_m = found
        .star
        .filter(|_| found.is_sound())
        .and_then(|star| refocus_first_m(star, instrument, found.settings));
    if let Some(move_m) = first_m {
        return refocus(move_m, instrument.camera.orientation);
    }
    if let (Verdict::Stop, Some(corners)) = (verdict, corners_of(found)) {
        return corners_step(corners);
    }
    match (verdict, &found.advice) {
        (Verdict::Stop, advice) => stop(found, advice.ok()),
        (Verdict::Turn, Ok(advice)) => turn(found, advice, instrument),
        (Verdict::Trial, Err(NoAdvice::CardOverRim)) => after_card(found, instrument),
        (Verdict::Trial, _) | (Verdict::Turn, Err(_)) => trial(found, instrument),
        (Verdict::LookAgain, Ok(advice)) if found.is_sound() => expose(found, advice),
        (Verdict::LookAgain, _) => look_again(found),
    }
}

/// The corners of a frame of many stars, where they can be believed and something is wrong with them.
fn corners_of<'a>(found: &Findings<'a>) -> Option<&'a Corners> {
    let corners = found.whole_frame?.corners.as_ref()?;
    (corners.is_sound() && !corners.troubles.is_empty()).then_some(corners)
}

/// What is to be done about corners that no turn mends.
fn corners_step(corners: &Corners) -> NextStep {
    let first = &corners.troubles[0];
    let known_side = !corners.side_open;
    if first.kind == "focus" && known_side {
        let move_m = -first.size.value * UM;
        return NextStep {
            focus_um: Some(move_m / UM),
            ..NextStep::new(
                Deed::Refocus,
                format!(
                    "Turn nothing. Refocus: move the sensor {}, then look again.",
                    outwards(move_m)
                ),
                "the stars are out of focus, and no screw mends that",
            )
        };
    }
    let why = match &corners.trade {
        Some(trade) => trade.words.trim_end_matches('.').to_owned(),
        None => "no screw of the unit changes what is wrong".to_owned(),
    };
    NextStep::new(Deed::Stop, format!("Turn nothing. {}", first.words), why)
}

fn refocus(move_m: f64, orientation: Orientation) -> NextStep {
    let unsure = match orientation {
        Orientation::Known => "",
        // half a turn of the camera with all of W negated is the same picture
        Orientation::Assumed => {
            " If the spikes move apart instead, the camera is turned half round: go back, and as far again the other way."
        }
    };
    let side = if move_m < 0.0 { "outside" } else { "inside" };
    NextStep {
        focus_um: Some(move_m / UM),
        ..NextStep::new(
            Deed::Refocus,
            format!(
                "Refocus: move the sensor {}, then look again.{unsure}",
                outwards(move_m)
            ),
            format!(
                "the star is {:.0} um {side} focus, and out of focus every middle spike misses its crossing, whatever the screws do",
                (move_m / UM).abs()
            ),
        )
    }
}

pub(super) fn stop(found: &Findings, advice: Option<&Advice>) -> NextStep {
    let stop_m = found.stop.map_or(0.0, |stop| stop.stop_m);
    let left = advice
        .and_then(|a| a.undone_m)
        .map_or(String::new(), |coma| {
            format!(
                " ({} nm RMS of coma; good enough is {:.0})",
                told_nm(coma),
                stop_m / NM
            )
        });
    let is_below = |advice: &Advice| advice.undone_m.is_some_and(|coma| coma.value < stop_m);
    let why = match found.stop.map(|stop| stop.decided_by()) {
        _ if !advice.is_none_or(is_below) => "what is left is less than a hand can set",
        Some(StopBy::Hand) => "what is left is less than a hand can improve on",
        Some(StopBy::Atmosphere) => "what is left is less than the atmosphere makes by itself",
        Some(StopBy::NotSeen) | None => "what is left is less than anybody sees in a picture",
    };
    NextStep::new(
        Deed::Stop,
        "Good enough: stop here.",
        format!("{why}{left}"),
    )
}

pub(super) fn turn(found: &Findings, advice: &Advice, instrument: &Instrument) -> NextStep {
    let stop_m = found.stop.map_or(0.0, |s| s.stop_m);
    let by_plan = found
        .plan
        .and_then(|plan| step_of(&plan, instrument, found.settings));
    let step = by_plan.or_else(|| advice.step(instrument, stop_m));
    let (Some(assembly), Some(step)) = (&instrument.assembly, step) else {
        return stop(found, Some(advice));
    };
    let plane = step.plane(assembly);
    let settings = &advice.settings;
    let follows = Follows::of(&plane, found.star, instrument, stop_m, settings);
    let next = NextStep::of_step(
        Deed::Turn,
        instrument,
        &step,
        match (found.plan, advice.undone_m) {
            (Some(plan), Some(now)) => why_planned(&plan, now.value),
            _ => why_turn(advice, instrument, &step, stop_m),
        },
    );
    let after = follows
        .words()
        .iter()
        .map(|said| format!(" {said}"))
        .collect::<String>();
    NextStep {
        focus_um: follows.refocus_m.map(|m| m / UM),
        words: next.words + &after,
        ..next
    }
}

/// The step that a plan asks for.
fn step_of(plan: &Plan, instrument: &Instrument, settings: &AdviceSettings) -> Option<Step> {
    let assembly = instrument.assembly.as_ref()?;
    let turns = turned(assembly, plan.screw, plan.turns);
    Step::nearest(assembly, plan.screw, &turns, settings)
}

/// Why a turn is made that told turns speak for.
fn why_planned(plan: &Plan, now_m: f64) -> String {
    let grows = 100.0 * plan.outlook.grows;
    let risk = match grows < 0.5 {
        true => String::new(),
        false => format!(
            "; with a hand's errors and what tightening does, the chance that it grows is {grows:.0} %"
        ),
    };
    format!(
        "the screws can take away {:.0} nm of coma, and judging by the turns so far about {:.0} nm will be left after this one{risk}",
        now_m / NM,
        plan.outlook.leaves_m / NM
    )
}

/// What a turn leaves; below the stop level a number would say more than a hand can do.
fn left_in_words(left_m: f64, stop_m: f64) -> String {
    match left_m < stop_m {
        true => format!("no more than is good enough ({:.0} nm)", stop_m / NM),
        false => format!("{:.0} nm of it", left_m / NM),
    }
}

fn why_turn(advice: &Advice, instrument: &Instrument, step: &Step, stop_m: f64) -> String {
    let assembly = instrument.assembly.as_ref();
    let response = assembly.and_then(|assembly| assembly.response.as_ref());
    match (advice.undone_m, assembly.zip(response)) {
        (Some(now), Some((assembly, response))) => format!(
            "the screws can take away {:.0} nm of coma, and this turn leaves {}",
            now.value / NM,
            left_in_words(
                (response.coma_m_per_rad * advice.left_rad(assembly, step)).abs(),
                stop_m
            )
        ),
        _ => format!(
            "of all the screws {} has to go farthest to {}",
            instrument.assembly.as_ref().map_or("this one", |assembly| {
                assembly.screws[step.screw].name.as_str()
            }),
            match advice.aim {
                Aim::Coma => "bring the place without coma to the optical axis",
                Aim::Tilt => "make the focal plane level with the sensor",
                Aim::Both => "take coma away and make the focal plane level with the sensor",
            }
        ),
    }
}

fn trial(found: &Findings, instrument: &Instrument) -> NextStep {
    let why = match (&found.advice, &found.cases) {
        (Err(no), _) => no.to_string(),
        (Ok(_), cases) => open_cases(cases),
    };
    let settings = found.settings;
    if let (Some(plan), Ok(advice)) = (found.plan, &found.advice)
        && let Some(step) = step_of(&plan, instrument, settings)
    {
        let now_m = advice.undone_m.map_or(0.0, |coma| coma.value);
        let why = format!(
            "this is a trial, for the turns so far leave open what this screw does: {}",
            why_planned(&plan, now_m)
        );
        return NextStep::of_step(Deed::Trial, instrument, &step, why);
    }
    let most_turns = settings.trial_turns_of(instrument);
    let blind = || {
        NextStep::new(
            Deed::Trial,
            "Describe the screws under [assembly] in the instrument file, then measure this frame again and it says which one to turn. Until then: turn one screw by at most an eighth of a turn, and see whether the dark centre goes towards the middle.",
            why.clone(),
        )
    };
    let Some(assembly) = &instrument.assembly else {
        return blind();
    };
    let tilt = found.tilt.zip(found.cases.first().copied());
    let one = trial_of(tilt, assembly, found.tried, most_turns, settings);
    NextStep::of_screw(
        Deed::Trial,
        instrument,
        one.screw,
        one.turns,
        settings,
        &why,
    )
    .unwrap_or_else(blind)
}

/// What follows a frame that shows a card: another card while mirroring is open, and then the star without any.
fn after_card(found: &Findings, instrument: &Instrument) -> NextStep {
    let counts = |answer: &&OrientationAnswer| answer.weight > found.weight_that_counts;
    let open: Vec<&OrientationAnswer> = found.orientations.iter().filter(counts).collect();
    let carded: Vec<usize> = found.cards.iter().map(|card| card.screw).collect();
    let assembly = instrument.assembly.as_ref();
    let screw = assembly.and_then(|assembly| {
        let fresh = fresh_screws(assembly, &carded);
        Some(&assembly.screws[*fresh.first()?].name)
    });
    let sides_open = open.iter().any(|answer| answer.side != open[0].side);
    match screw.filter(|_| open.len() > 1 && carded.len() < 2) {
        Some(screw) => NextStep {
            screw: Some(screw.clone()),
            ..NextStep::new(
                Deed::Card,
                format!(
                    "Hold the card over the rim at screw {screw} instead, take a frame, and name both frames: --card-at SCREW=IMAGE for each."
                ),
                "one card does not tell whether the picture is mirrored",
            )
        },
        None => NextStep::new(
            Deed::ClearBeam,
            "Take the card away, take a frame, and measure it with --card-at SCREW=IMAGE for each frame that shows a card.",
            match sides_open {
                true => "how the camera is held depends on the side of focus: say --side too",
                false => "the cards say how the camera is held, if the side of focus is right",
            },
        ),
    }
}

/// Why a turn is only tried: in how much of what fits it would help.
fn open_cases(cases: &[HoldCase]) -> String {
    let likeliest = cases.first().map_or(0.0, |case| case.weight);
    format!(
        "this is a trial, and small: nobody has checked how the camera is turned in its holder, which decides which turn is right; this one is the likeliest ({:.0} %), and the next frame shows whether it was",
        100.0 * likeliest
    )
}

pub(super) fn expose(found: &Findings, advice: &Advice) -> NextStep {
    let stop_m = found.stop.map_or(0.0, |s| s.stop_m);
    let sigma_m = advice.undone_m.and_then(|coma| coma.sigma);
    // σ falls with the root of the light, until it is the share of the stop level at which coma is known well enough
    let wanted_m = found.settings.known_to_share_of_stop * stop_m;
    let [least, most] = found.settings.longer_factor;
    let factor = sigma_m
        .filter(|_| stop_m > 0.0)
        .map(|sigma| (sigma / wanted_m).powi(2).min(most).max(least));
    let time_s = found.exposure_s.zip(factor).map(|(now_s, by)| now_s * by);
    let words = match time_s {
        Some(time_s) => format!(
            "Do not turn yet: expose {time_s:.1} s, or take a brighter star, and look again."
        ),
        None => {
            "Do not turn yet: expose longer, or take a brighter star, and look again.".to_owned()
        }
    };
    let known = advice
        .undone_m
        .map_or(String::new(), |coma| format!("{} nm", told_nm(coma)));
    NextStep {
        time_s,
        ..NextStep::new(
            Deed::Expose,
            words,
            format!(
                "this frame shows {known} of coma and good enough is {:.0} nm: too faint to say whether anything is left to turn",
                stop_m / NM
            ),
        )
    }
}

fn look_again(found: &Findings) -> NextStep {
    let mut flags = found.flags.clone();
    flags.extend(found.star.iter().flat_map(|star| &star.flags));
    flags.extend(found.whole_frame.iter().flat_map(|whole| &whole.flags));
    if let Some(flag) = flags.first_unsound() {
        // where the frame cuts the star, that comes first: it explains much of what else is wrong
        let flag = match flags.has(Flag::StarCutByEdge) {
            true => Flag::StarCutByEdge,
            false => flag,
        };
        return NextStep::new(
            mends(flag),
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
        "Turn nothing on this frame: put right what the reason below names, and take it again.",
        why,
    )
}

/// What is done about a frame that cannot be acted on.
fn mends(flag: Flag) -> Deed {
    match flag {
        Flag::StarCutByEdge => Deed::Recentre,
        Flag::ComaUncertain | Flag::FewStars => Deed::Expose,
        Flag::SizesOffModel | Flag::AsymmetriesOffModel => Deed::Refocus,
        _ => Deed::LookAgain,
    }
}
