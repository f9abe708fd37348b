//! What the hands do at the screws: the order in which nothing works against anything, and after which nothing is loose.
//!
//! ```text
//! push-pull          head that the wrench sits on
//!   push ──┤█ ─▶     its end presses on the base: clockwise lengthens the pair
//!   pull ──┤█ ─▶     its thread draws the unit to the base: clockwise shortens it
//! spring             clockwise goes against the spring, whether it lengthens (the spring draws) or shortens (the spring pushes)
//! pivot              clockwise presses the unit against the pivot; where one screw comes, others must have given way
//! lock-nut           the thread carries the unit both ways, and the nut holds the thread
//! ```
//! Push-pull: the letter of the instrument file stands on one screw of the pair; one whose clockwise turn lengthens is the one that
//! pushes, its partner pulls. A turn of that screw against its partner would only strain both, so the one that gives way is loosened
//! first. All of it is common practice, no source; `tests/advice/hands.rs` does the words literally on models of the four kinds.

use super::step::Step;
use crate::instrument::{Assembly, AssemblyKind, ClockwiseTurn, WRENCH_STEP_DEG as STEP_DEG, way};

/// A partner is loosened by this much more than its screw will come.
const SLACK_DEG: i32 = 2 * STEP_DEG;

/// What the hands do, in their order.
pub fn hands(assembly: &Assembly, step: &Step) -> String {
    let name = &assembly.screws[step.screw].name;
    let by = step.degrees().abs();
    let clockwise = step.degrees() > 0;
    match assembly.kind {
        AssemblyKind::PushPull => push_pull(name, partner(assembly.clockwise), by, clockwise),
        AssemblyKind::Spring => against_spring(name, by, clockwise, step.beyond_deg),
        AssemblyKind::Pivot => about_pivot(assembly, step),
        AssemblyKind::LockNut => format!(
            "first loosen the nut of {name} while you hold {name}, then turn {name} {} by {by} degrees while you hold the nut, then tighten the nut while you hold {name}",
            way(f64::from(step.degrees()))
        ),
    }
}

/// What the screw beside the lettered one does.
fn partner(clockwise: ClockwiseTurn) -> &'static str {
    match clockwise {
        ClockwiseTurn::Lengthens => "pull",
        ClockwiseTurn::Shortens => "push",
    }
}

fn push_pull(name: &str, partner: &str, by: i32, clockwise: bool) -> String {
    if clockwise {
        let slack = by + SLACK_DEG;
        format!(
            "first loosen the {partner} screw beside {name} by {slack} degrees, then turn {name} clockwise by {by} degrees, then tighten the {partner} screw until it holds"
        )
    } else {
        format!(
            "loosen {name} anticlockwise by {by} degrees, then tighten the {partner} screw beside {name} clockwise until it holds"
        )
    }
}

fn against_spring(name: &str, by: i32, clockwise: bool, beyond: i32) -> String {
    if clockwise {
        format!("turn {name} clockwise by {by} degrees, against its spring")
    } else {
        let far = by + beyond;
        format!(
            "turn {name} anticlockwise by {far} degrees, then back clockwise by {beyond} degrees, so that it comes to rest against its spring"
        )
    }
}

/// The screws that give way are loosened first, by at least their part; then those that come are turned, by at most theirs; at last all
/// but the one in the hand, whose part is exact, are brought up to hold.
fn about_pivot(assembly: &Assembly, step: &Step) -> String {
    let all = (0..assembly.screws.len()).map(|screw| (screw, step.wrench_deg(assembly, screw)));
    let part = |(screw, degrees): (usize, f64), round: fn(f64) -> f64| {
        let steps = round(degrees.abs() / f64::from(STEP_DEG) - 1e-9);
        (screw, steps as i32 * STEP_DEG)
    };
    let giving: Vec<(usize, i32)> = (all.clone().filter(|(_, degrees)| *degrees < -0.5))
        .map(|screw| part(screw, f64::ceil))
        .collect();
    let coming: Vec<(usize, i32)> = (all.clone().filter(|(_, degrees)| *degrees > 0.5))
        .map(|screw| match screw.0 == step.screw {
            true => (step.screw, step.degrees().abs()),
            false => part(screw, f64::floor),
        })
        .filter(|(_, degrees)| *degrees > 0)
        .collect();
    let followers: Vec<String> = (all.filter(|(_, degrees)| degrees.abs() > 0.5))
        .filter(|(screw, _)| *screw != step.screw)
        .map(|(screw, _)| assembly.screws[screw].name.clone())
        .collect();
    let each = |screws: &[(usize, i32)]| {
        let one = |(screw, by): &(usize, i32)| {
            format!("{} by {by} degrees", assembly.screws[*screw].name)
        };
        listed(&screws.iter().map(one).collect::<Vec<_>>())
    };
    let mut moves = vec![format!("first loosen {} (anticlockwise)", each(&giving))];
    if !coming.is_empty() {
        moves.push(format!("then turn {} (clockwise)", each(&coming)));
    }
    moves.push(match followers.as_slice() {
        [one] => format!("then tighten {one} until it holds"),
        _ => format!(
            "then tighten {} in turn, a little each, until they hold",
            listed(&followers)
        ),
    });
    moves.join(", ")
}

/// "A", "A and B", "A, B and C".
fn listed(words: &[String]) -> String {
    match words {
        [] => String::new(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::turned;
    use crate::testing::fast_unit;

    /// The contract's four sentences for a pair, and one of each other kind; that they can be done is another test's business.
    #[test]
    fn each_kind_has_its_own_order() {
        let mut assembly = fast_unit().assembly.unwrap();
        let settings = crate::measure::settings::AdviceSettings::default();
        let mut said = |kind, clockwise, turns: f64| {
            (assembly.kind, assembly.clockwise) = (kind, clockwise);
            let step = Step::nearest(&assembly, 1, &turned(&assembly, 1, turns), &settings);
            hands(&assembly, &step.unwrap())
        };
        use AssemblyKind::{LockNut, Pivot, PushPull, Spring};
        use ClockwiseTurn::{Lengthens, Shortens};
        for (kind, clockwise, turns, order) in [
            (
                PushPull,
                Lengthens,
                0.125,
                [
                    "loosen the pull",
                    "turn B clockwise by 45",
                    "tighten the pull",
                ],
            ),
            (
                PushPull,
                Lengthens,
                -0.125,
                [
                    "loosen B anticlockwise by 45",
                    "tighten the pull",
                    "clockwise until",
                ],
            ),
            (
                PushPull,
                Shortens,
                -0.125,
                [
                    "loosen the push",
                    "turn B clockwise by 45",
                    "tighten the push",
                ],
            ),
            (
                PushPull,
                Shortens,
                0.125,
                [
                    "loosen B anticlockwise by 45",
                    "tighten the push",
                    "clockwise until",
                ],
            ),
            (
                Spring,
                Shortens,
                0.125,
                ["anticlockwise by 65", "back clockwise by 20", "spring"],
            ),
            (
                Pivot,
                Lengthens,
                0.125,
                [
                    "loosen A by 25 degrees and C by 25",
                    "turn B by 45",
                    "tighten A and C",
                ],
            ),
            (
                Pivot,
                Lengthens,
                -0.125,
                [
                    "loosen B by 45",
                    "turn A by 20 degrees and C by 20",
                    "tighten A and C",
                ],
            ),
            (
                LockNut,
                Shortens,
                -0.125,
                [
                    "loosen the nut",
                    "turn B clockwise by 45",
                    "tighten the nut",
                ],
            ),
        ] {
            let words = said(kind, clockwise, turns);
            let places = order.map(|part| words.find(part));
            assert!(
                places.iter().all(Option::is_some) && places.is_sorted(),
                "{words}"
            );
        }
    }
}
