//! The turn to make after turns whose effect was seen: of all that a hand can set, the one after which least is expected to be left to do.

use super::learn::{Belief, Outlook};
use super::settings::{AdviceSettings, LearningSettings};
use super::step::Step;
use crate::instrument::Assembly;
use crate::instrument::WRENCH_STEP_DEG as STEP_DEG;
use crate::mechanics::turned;
use num_complex::Complex64;

/// A turn that was chosen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plan {
    /// Number of the screw.
    pub screw: usize,
    /// Its turns; positive lengthens.
    pub turns: f64,
    /// Whether coma is known well enough to become less; else it is a trial.
    pub sure: bool,
    /// What becomes of coma.
    pub outlook: Outlook,
}

/// What a plan is made of.
pub struct PlanFor<'a> {
    /// What told turns leave.
    pub belief: &'a Belief,
    /// Coma as it is, less that of the aligned telescope; frame axes, x + iy, metres RMS.
    pub now: Complex64,
    /// Below which coma is good enough, metres RMS.
    pub stop_m: f64,
    /// Most turns of a trial.
    pub trial_turns: f64,
    /// Numbers of the screws whose effect was seen.
    pub tried: &'a [usize],
    /// Numbers of the screws that cannot be turned.
    pub barred: &'a [usize],
    /// The screws.
    pub assembly: &'a Assembly,
    /// How far a star may be turned with a star in view, and what share of what would be right a trial is.
    pub advice: &'a AdviceSettings,
    /// How sure a turn must be.
    pub learning: &'a LearningSettings,
}

impl PlanFor<'_> {
    /// The turn. Once two screws were seen, the one of all sure turns and all trials after which least is expected to be left to do. While
    /// fewer were seen, a sure one only where it gains much, else a trial of a screw that was not seen.
    pub fn chosen(&self) -> Option<Plan> {
        let all = self.all();
        let least = |plans: &mut dyn Iterator<Item = Plan>| {
            plans.min_by(|a, b| a.outlook.cost_m.total_cmp(&b.outlook.cost_m))
        };
        let sure = least(&mut all.iter().copied().filter(|plan| plan.sure));
        let trials = self.trials(&all);
        let fresh = |plan: &Plan| !self.tried.contains(&plan.screw);
        let two_seen = self.tried.len() > 1 || self.belief.screws() < 2;
        if two_seen {
            return least(&mut sure.into_iter().chain(trials));
        }
        let trial = least(&mut trials.iter().copied().filter(fresh));
        // a turn that gains little tells less than another screw does
        let gains =
            |plan: &Plan| plan.outlook.leaves_m < self.learning.gains_much_share * self.now.norm();
        sure.filter(gains).or(trial)
    }

    /// Every turn that a hand can set with a star in view and that the travel has room for.
    fn all(&self) -> Vec<Plan> {
        let most_deg = self.advice.most_turns_in_view * 360.0;
        let steps = (most_deg / f64::from(STEP_DEG) + 1e-9).floor() as i32;
        let travel_m = self.assembly.travel_m;
        let fits = |screw: usize, turns: f64| {
            let length_m = turns * self.assembly.pitch_m_per_turn;
            let whole = turned(self.assembly, screw, turns);
            let step = Step::nearest(self.assembly, screw, &whole, self.advice);
            step.is_some_and(|step| !step.is_part())
                && travel_m.is_none_or(|[low_m, high_m]| (low_m..=high_m).contains(&length_m))
        };
        let mut all = Vec::new();
        for screw in (0..self.belief.screws()).filter(|screw| !self.barred.contains(screw)) {
            for step in (-steps..=steps).filter(|step| *step != 0) {
                let turns = f64::from(step * STEP_DEG) / 360.0;
                if fits(screw, turns) {
                    all.push(self.plan(screw, turns));
                }
            }
        }
        all
    }

    fn plan(&self, screw: usize, turns: f64) -> Plan {
        let most = self.advice.most_turns_in_view;
        let outlook = self
            .belief
            .outlook(self.now, (screw, turns), self.stop_m, most);
        let own = self.learning;
        let large = turns.abs() > own.planned_turns_at_least - 1e-9;
        Plan {
            screw,
            turns,
            sure: large
                && outlook.grows <= own.grows_at_most
                && outlook.grows_at_worst <= own.grows_at_most_in_image,
            outlook,
        }
    }

    /// Trials that are allowed and safe; where none is safe, the one that leaves least of those that are allowed.
    fn trials(&self, all: &[Plan]) -> Vec<Plan> {
        let worth = self.advice.trial_share * self.belief.turns_worth(self.now);
        let step = f64::from(STEP_DEG) / 360.0;
        let most = self.trial_turns.min(worth).max(step) + 1e-9;
        let allowed = || all.iter().filter(|plan| plan.turns.abs() <= most);
        let safe = |plan: &&Plan| plan.outlook.beyond_twice <= self.learning.beyond_twice_at_most;
        let trial = |plan: &Plan| Plan {
            sure: false,
            ..*plan
        };
        let trials: Vec<Plan> = allowed().filter(safe).map(trial).collect();
        if !trials.is_empty() {
            return trials;
        }
        let least = allowed().min_by(|a, b| a.outlook.leaves_m.total_cmp(&b.outlook.leaves_m));
        least.map(trial).into_iter().collect()
    }
}

#[cfg(test)]
mod tests;
