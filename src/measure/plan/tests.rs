//! Hands drawn at random follow the plan on telescopes whose camera, response and tightening nobody knows: no frames, only mechanics, so
//! that hundreds of nights take seconds. The same with frames of an independent simulator is `tests/references/world/loop.py`.

use super::*;
use crate::axes::{FieldM, FramePx};
use crate::instrument::{AssemblyKind, ClockwiseTurn, Hold, Instrument, Orientation, Response};
use crate::measure::learn::{Lesson, Sighting, TrialTurn, learn};
use crate::measure::orientation::{FoundTilt, HoldCase};
use crate::measure::settings::MeasureSettings;
use crate::measure::step::Step;
use crate::measure::trial::trial;
use crate::mechanics::{plane_of, turned};
use crate::pupil::axes_of;
use crate::state::{Coma, ScrewTurns};
use crate::testing::fast_unit;
use crate::units::{ARCMIN, DEG, MM, NM};
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::TAU;

/// One night: the truth, and a hand.
struct Night {
    typed: Instrument,
    hold: Hold,
    response_m: Complex64,
    push: Vec<f64>,
    last_way: Vec<f64>,
    turns: ScrewTurns,
    locked_m: Complex64,
    backlash: f64,
    rng: ChaCha8Rng,
}

/// Focal ratio, screw circle (mm), pitch (mm), coma (nm per arcmin), backlash (turns); invented, the same as those of the simulator.
const TELESCOPES: [(f64, f64, f64, f64, f64); 6] = [
    (1.8, 62.0, 0.5, 88.0, 0.02),
    (2.4, 51.0, 0.7, -44.0, 0.03),
    (3.0, 84.0, 0.8, 31.0, 0.04),
    (4.6, 78.0, 1.0, -15.0, 0.05),
    (6.2, 66.0, 0.5, 27.0, 0.02),
    (9.8, 33.0, 0.5, -13.0, 0.04),
];

impl Night {
    fn new(seed: u64) -> Night {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let (ratio, circle_mm, pitch_mm, coma_nm, backlash) =
            TELESCOPES[seed as usize % TELESCOPES.len()];
        let mut typed = fast_unit();
        typed.telescope.focal_length_m = ratio * typed.telescope.aperture_m;
        let assembly = typed.assembly.as_mut().unwrap();
        assembly.kind = AssemblyKind::PushPull;
        assembly.screw_circle_radius_m = circle_mm * MM;
        assembly.pitch_m_per_turn = pitch_mm * MM;
        assembly.clockwise = ClockwiseTurn::Lengthens;
        assembly.backlash_turns = backlash;
        assembly.travel_m = None;
        let response_m = coma_nm * NM / ARCMIN;
        assembly.response = Some(Response {
            coma_m_per_rad: response_m,
            ..assembly.response.clone().unwrap()
        });
        typed.camera.rotation_rad = 0.0;
        typed.camera.mirrored = false;
        typed.camera.orientation = Orientation::Assumed;
        let sign = |rng: &mut ChaCha8Rng| if rng.random::<bool>() { 1.0 } else { -1.0 };
        let wrong = Complex64::from_polar(1.0 + 0.2 * sign(&mut rng), 15.0 * DEG * sign(&mut rng));
        let hold = Hold {
            rotation_rad: TAU * rng.random::<f64>(),
            mirrored: rng.random::<bool>(),
        };
        let push = (0..3).map(|_| TAU * rng.random::<f64>()).collect();
        let last_way = (0..3).map(|_| sign(&mut rng)).collect();
        let start_m = (80.0 + 180.0 * rng.random::<f64>()) * NM;
        let mut night = Night {
            turns: ScrewTurns::zero(typed.assembly.as_ref().unwrap()),
            hold,
            response_m: response_m * wrong,
            push,
            last_way,
            locked_m: Complex64::from_polar(start_m, TAU * rng.random::<f64>()),
            backlash,
            typed,
            rng,
        };
        night.turns.iter_mut().for_each(|turn| *turn = 0.0);
        night
    }

    fn coma(&self) -> Complex64 {
        let assembly = self.typed.assembly.as_ref().unwrap();
        let [x, y] = plane_of(assembly, &self.turns).tilt_rad;
        self.response_m * Complex64::new(x, y) + self.locked_m
    }

    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }

    fn turn(&mut self, screw: usize, asked: f64) {
        let given = asked * (1.0 + 0.10 * self.normal()) + 4.0 / 360.0 * self.normal();
        let way = given.signum();
        let done = match way == self.last_way[screw] {
            true => given,
            false => way * (given.abs() - self.backlash).max(0.0),
        };
        self.last_way[screw] = way;
        self.turns[screw] += done;
        let size = (20.0 + 10.0 * self.normal()).max(0.0) * NM;
        self.locked_m += Complex64::from_polar(size, self.push[screw]);
    }

    /// What a frame shows, to about 3 nm.
    fn sighting(&mut self) -> Sighting {
        let coma = self.coma();
        let noise = [self.normal(), self.normal()].map(|n| 3.0 * NM * n);
        let frame = axes_of(self.hold).forward([coma.re + noise[0], coma.im + noise[1]]);
        let typed = self.typed.camera.hold();
        let [x, y] = axes_of(typed).backward(frame);
        Sighting {
            coma: Coma::of(&[(8, x), (7, y)].into_iter().collect()).with_sigma(3.0 * NM),
            hold: typed,
            star_px: FramePx::new([0.0, 0.0]),
            field_m: FieldM::ZERO,
        }
    }

    /// The next turn by all that was seen, as a diagnosis chooses it.
    fn asked(&self, trials: &[TrialTurn], now: &Sighting, stop_m: f64) -> (usize, f64) {
        let settings = MeasureSettings::default();
        let assembly = self.typed.assembly.as_ref().unwrap();
        let most = settings.advice.trial_turns_of(&self.typed);
        let lesson = Lesson {
            trials,
            ..Lesson::default()
        };
        let learned = learn(&self.typed, &lesson, &settings).ok();
        let belief = learned
            .as_ref()
            .and_then(|learned| Belief::of(learned, &self.typed, &settings));
        let [x, y] = now.in_frame_m(&self.typed);
        if let Some(belief) = belief {
            let tried = learned.unwrap().tried(assembly);
            let plan = PlanFor {
                belief: &belief,
                now: Complex64::new(x, y),
                stop_m,
                trial_turns: most,
                tried: &tried,
                barred: &[],
                assembly,
                advice: &settings.advice,
                learning: &settings.learning,
            };
            if let Some(plan) = plan.chosen() {
                return (plan.screw, plan.turns);
            }
        }
        let per_rad = assembly.response.as_ref().unwrap().coma_m_per_rad;
        let case = HoldCase {
            hold: self.typed.camera.hold(),
            coma_m_per_rad: per_rad,
            weight: 1.0,
        };
        let tilt = FoundTilt {
            tilt_rad: now.coma.xy_m().map(|c| c / per_rad),
            as_if: case,
        };
        let one = trial(Some((tilt, case)), assembly, &[], most, &settings.advice);
        let whole = turned(assembly, one.screw, one.turns);
        let step = Step::at_most(assembly, one.screw, &whole, &settings.advice).unwrap();
        (step.screw, step.turns[step.screw])
    }
}

/// How nights ended.
#[derive(Debug, Default)]
struct Ends {
    within_five: usize,
    above_twice: usize,
    rounds: Vec<usize>,
    lost: Vec<u64>,
}

fn nights(count: u64, first: u64) -> Ends {
    let mut ends = Ends::default();
    for seed in first..first + count {
        let mut night = Night::new(seed);
        let start_m = night.coma().norm();
        let assembly = night.typed.assembly.as_ref().unwrap();
        // four degrees of the screw that does least, and tightening: about what the stop level is
        let per_turn = night.response_m.norm() * 2.0 / 3.0 * assembly.pitch_m_per_turn
            / assembly.screw_circle_radius_m;
        let goal_m = (30.0 * NM).max((4.0 / 360.0 * per_turn).hypot(20.0 * NM) * 1.1);
        let (mut trials, mut before) = (Vec::new(), night.sighting());
        let (mut largest, mut reached) = (start_m, None);
        for round in 0..9 {
            if night.coma().norm() <= goal_m {
                reached = Some(round);
                break;
            }
            let (screw, turns) = night.asked(&trials, &before, goal_m);
            night.turn(screw, turns);
            let after = night.sighting();
            let name = night.typed.assembly.as_ref().unwrap().screws[screw]
                .name
                .clone();
            trials.push(TrialTurn {
                screw: name,
                turns,
                before,
                after,
            });
            before = after;
            largest = largest.max(night.coma().norm());
        }
        match reached {
            Some(round) if round <= 5 => ends.within_five += 1,
            _ => ends.lost.push(seed),
        }
        ends.rounds.push(reached.unwrap_or(9));
        ends.above_twice += usize::from(largest > 2.0 * start_m);
    }
    ends.rounds.sort_unstable();
    ends
}

/// The share of so many hands that came home within five rounds, and how many of them were ever above twice their start; printed.
fn came_home(count: u64) -> (f64, usize) {
    let ends = nights(count, 5000);
    let share = ends.within_five as f64 / count as f64;
    let median = ends.rounds[ends.rounds.len() / 2];
    let _ = std::io::Write::write_all(
        &mut std::io::stderr(),
        format!(
            "within five rounds {share:.3}, median {median}, above twice their start {} of {count}; lost: {:?}\n",
            ends.above_twice, ends.lost
        )
        .as_bytes(),
    );
    (share, ends.above_twice)
}

/// Three standard deviations of a share of 150 below the one of six hundred.
#[test]
fn hands_that_know_nothing_come_home() {
    let (share, above_twice) = came_home(150);
    assert!(share > 0.49, "{share}");
    assert!(above_twice < 8, "{above_twice}");
}

/// `cargo test --lib six_hundred_hands -- --ignored --nocapture` prints the figures.
#[test]
#[ignore = "takes minutes: .ci/long runs it"]
fn six_hundred_hands_that_know_nothing_come_home() {
    let (share, above_twice) = came_home(600);
    // 0.61 and 8 of 600 when these limits were set
    assert!(share > 0.56, "{share}");
    assert!(above_twice < 16, "{above_twice}");
}
