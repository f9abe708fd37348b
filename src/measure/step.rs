//! One step at the screws, as a hand can do it: degrees of a wrench in fives, not less than a hand can set, not more than is turned
//! with a star in view.

use super::advice::{Advice, Aim};
use super::settings::AdviceSettings;
use crate::instrument::{
    Assembly, AssemblyKind, Instrument, WRENCH_STEP_DEG as STEP_DEG, end, fraction, part_of_a_turn,
    way,
};
use crate::math::robust::median;
use crate::mechanics::{Plane, plane_of, turned};
use crate::state::ScrewTurns;

/// The most that a turn goes beyond its end and back; a larger play is a worn screw's.
const MOST_BEYOND_DEG: i32 = 45;

/// One screw in the hand, and on a pivot those that follow it.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Number of the screw in the hand.
    pub screw: usize,
    /// What each screw does, after rounding; positive lengthens. All 0 but the one in the hand, except on a pivot.
    pub turns: ScrewTurns,
    /// The wrench's degrees that would be right in one go, without the limit; clockwise positive.
    pub wanted_deg: i32,
    /// With a spring: how far a turn away from it goes beyond and comes back.
    pub(super) beyond_deg: i32,
    degrees: i32,
}

impl Step {
    /// The step nearest to what the screws should do, `screw` being the one in the hand; `None` where that is less than a hand can set.
    ///
    /// ```text
    /// 0.0703 turn = 25.3 degrees → 25;   0.62 turn → 90 with a star in view, 225 wanted;   0.009 turn = 3.2 degrees → None
    /// ```
    pub fn nearest(
        assembly: &Assembly,
        screw: usize,
        turns: &ScrewTurns,
        settings: &AdviceSettings,
    ) -> Option<Step> {
        // a half goes down: nobody is asked for more than is right
        Step::rounded(assembly, screw, turns, settings, |steps| {
            (steps - 0.5).ceil()
        })
    }

    /// The same, but never more than is asked for (one step of the wrench at least): for trials, which have a limit.
    pub fn at_most(
        assembly: &Assembly,
        screw: usize,
        turns: &ScrewTurns,
        settings: &AdviceSettings,
    ) -> Option<Step> {
        Step::rounded(assembly, screw, turns, settings, |steps| {
            (steps + 1e-9).floor().max(1.0)
        })
    }

    fn rounded(
        assembly: &Assembly,
        screw: usize,
        turns: &ScrewTurns,
        settings: &AdviceSettings,
        round: impl Fn(f64) -> f64,
    ) -> Option<Step> {
        let asked = turns[screw];
        if asked.abs() < settings.least_turns {
            return None;
        }
        let clockwise = assembly.clockwise.sign() * asked;
        let sense = if clockwise < 0.0 { -1 } else { 1 };
        let wanted = round(asked.abs() * 360.0 / f64::from(STEP_DEG)) as i32 * STEP_DEG;
        let beyond_deg = beyond_deg(assembly, sense, settings);
        let most = (settings.most_turns_in_view * 360.0).floor() as i32 - beyond_deg;
        let degrees = wanted.min(most).max(STEP_DEG);
        let share = f64::from(degrees) / (asked.abs() * 360.0);
        let mut done = turns.clone();
        done.iter_mut().for_each(|turns| *turns *= share);
        Some(Step {
            screw,
            turns: done,
            wanted_deg: sense * wanted,
            beyond_deg,
            degrees: sense * degrees,
        })
    }

    /// The wrench's angle on the screw in the hand, a multiple of 5; positive clockwise facing its head.
    pub fn degrees(&self) -> i32 {
        self.degrees
    }

    /// Whether it is only a part of what is wanted, because a star is in view.
    pub fn is_part(&self) -> bool {
        self.wanted_deg.abs() > self.degrees.abs()
    }

    /// The wrench's angle on any screw, not rounded.
    pub(super) fn wrench_deg(&self, assembly: &Assembly, screw: usize) -> f64 {
        assembly.clockwise.sign() * self.turns[screw] * 360.0
    }

    /// What it does to the unit.
    pub fn plane(&self, assembly: &Assembly) -> Plane {
        plane_of(assembly, &self.turns)
    }

    /// "1/8 turn clockwise (45 degrees), it lengthens".
    pub fn number(&self) -> String {
        format!(
            "{} {} ({} degrees), it {}",
            part_of_a_turn(self.degrees),
            way(f64::from(self.degrees)),
            self.degrees.abs(),
            end(self.turns[self.screw])
        )
    }
}

/// How far a turn away from a spring goes beyond its end: as far as the setting or the typed backlash asks, in steps of the wrench.
fn beyond_deg(assembly: &Assembly, sense: i32, settings: &AdviceSettings) -> i32 {
    if assembly.kind != AssemblyKind::Spring || sense > 0 {
        return 0;
    }
    let turns = settings.spring_beyond_turns.max(assembly.backlash_turns);
    let steps = (turns * 360.0 / f64::from(STEP_DEG) - 1e-9).ceil();
    // what is beyond the range of a whole number is far beyond the limit
    (steps.min(1e6) as i32 * STEP_DEG).min(MOST_BEYOND_DEG)
}

/// The part of a turn to the nearest eighth, for what is not turned now.
pub(super) fn eighths_said(degrees: i32) -> String {
    fraction((f64::from(degrees.abs()) / 45.0).round() / 8.0)
}

impl Advice {
    /// The next step at the screws: one screw where it is enough, else the first of two that are; on a pivot all of them together.
    /// `None` where no turn is left that a hand can set.
    ///
    /// Two screws can make any tilt, since the same length added to all of them tilts nothing: the screw whose turn lies between the
    /// others' is left where it is. The larger of the two comes first, and the next frame says how much of the other is left.
    pub fn step(&self, instrument: &Instrument, stop_m: f64) -> Option<Step> {
        let assembly = instrument.assembly.as_ref()?;
        let nearest =
            |screw, turns: &ScrewTurns| Step::nearest(assembly, screw, turns, &self.settings);
        if assembly.kind == AssemblyKind::Pivot {
            return nearest(largest(&self.turns)?, &self.turns);
        }
        let alone = |screw: usize, turns: f64| nearest(screw, &turned(assembly, screw, turns));
        let one = self
            .one_screw
            .filter(|one| self.has_room(assembly, one.turns));
        if let Some(one) = one.filter(|one| one.leaves_m <= stop_m) {
            return alone(one.screw, one.turns);
        }
        let two = self.with_one_left(assembly);
        let first = largest(&two)?;
        let step = match self.barred.contains(&first) {
            false => alone(first, two[first]),
            true => None,
        };
        let helps = |step: &Step| {
            self.aim != Aim::Coma || self.left_rad(assembly, step) < self.left_now_rad()
        };
        match (step.filter(helps), one) {
            (Some(step), _) => Some(step),
            (None, Some(one)) => alone(one.screw, one.turns),
            (None, None) => None,
        }
    }

    /// Tilt that a step leaves, radians.
    pub(super) fn left_rad(&self, assembly: &Assembly, step: &Step) -> f64 {
        let done = step.plane(assembly).tilt_rad;
        let left = [0, 1].map(|axis| self.tilt_rad[axis] / self.reach - done[axis]);
        left[0].hypot(left[1])
    }

    fn left_now_rad(&self) -> f64 {
        self.tilt_rad[0].hypot(self.tilt_rad[1]) / self.reach
    }

    fn has_room(&self, assembly: &Assembly, turns: f64) -> bool {
        let length_m = turns * assembly.pitch_m_per_turn;
        let within = |[low_m, high_m]: [f64; 2]| (low_m..=high_m).contains(&length_m);
        assembly.travel_m.is_none_or(within)
    }

    /// The same tilt with the turns of the screw at 0 that cannot be turned, else with the middle one of the turns, where the travel has room
    /// for it.
    fn with_one_left(&self, assembly: &Assembly) -> ScrewTurns {
        let mut turns = self.turns.clone();
        if turns.len() == 3 {
            let left = match self.barred.first() {
                Some(screw) => turns[*screw],
                None => median(&mut turns.to_vec()),
            };
            turns.iter_mut().for_each(|turn| *turn -= left);
        }
        match turns.iter().all(|turn| self.has_room(assembly, *turn)) {
            true => turns,
            false => self.turns.clone(),
        }
    }
}

fn largest(turns: &ScrewTurns) -> Option<usize> {
    let all = turns.iter().enumerate();
    all.max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
        .map(|(screw, _)| screw)
}
