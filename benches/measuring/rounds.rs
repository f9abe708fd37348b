//! The whole loop: frame, measurement, advice, a hand that turns screws badly, the next frame.
//!
//! Errors: the response is known to ±20 %, a hand makes 15 % and 0.01 turn of error, locking moves each screw by 3 µm, the frame
//! has noise, and the atmosphere adds its own coma to each exposure. Beside it stands trial and error: a random screw, turned by a
//! random amount, kept when the star looks better.

use super::world::{Climate, Kind, World};
use rand::RngExt;
use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use serde::Serialize;
use skewstar::instrument::{Assembly, Instrument, Response};
use skewstar::measure::{
    Aim, MeasureOptions, MeasureSettings, Measurement, Misaligned, Side, advise, good_enough,
    measure,
};
use skewstar::mechanics::plane_of;
use skewstar::state::{Coma, ScrewTurns};
use skewstar::units::{ARCSEC, NM, UM};

/// Which errors are there.
#[derive(Debug, Clone, Copy)]
pub struct Errors {
    pub response: f64,
    pub hand: f64,
    pub hand_turn: f64,
    pub lock_up_um: f64,
    pub atmosphere: bool,
    /// Measuring by the frame; or else the truth plus this scatter, nm.
    pub frames: Result<(), f64>,
}

impl Errors {
    pub const ALL: Errors = Errors {
        response: 0.2,
        hand: 0.15,
        hand_turn: 0.01,
        lock_up_um: 3.0,
        atmosphere: true,
        frames: Ok(()),
    };
}

/// What many runs came to.
#[derive(Debug, Clone, Serialize)]
pub struct Loops {
    pub name: String,
    pub runs: usize,
    /// Share of the runs below 30 nm after 1, 2, … rounds.
    pub within: Vec<f64>,
    pub median_rounds: f64,
    /// Median, and ninth decile, of coma after the last round, nm.
    pub final_median_nm: f64,
    pub final_ninth_decile_nm: f64,
    /// Typical distance (root of the median square) of the measured coma from the true one, the atmosphere's own in it, nm.
    pub measuring_typical_nm: Option<f64>,
    /// Frames that could not be measured, or were flagged as failed: nothing was turned then.
    pub refused_frames: usize,
}

pub const GOAL_NM: f64 = 30.0;
const ROUNDS: usize = 6;
const START_TURNS: f64 = 0.3;
const ELECTRONS: f64 = 3e5;
const EXPOSURE_S: f64 = 0.5;

struct Run {
    /// Coma before the first and after each round, nm.
    coma_nm: Vec<f64>,
    measured_off_nm: Vec<f64>,
    refused: usize,
}

/// Runs of seeds 1 to `count`.
pub fn loops(name: &str, errors: Errors, count: u64) -> Loops {
    let runs: Vec<Run> = (1..=count)
        .into_par_iter()
        .map(|seed| run(errors, seed))
        .collect();
    summary(name, &runs)
}

/// Trial and error by eye, as many rounds as it takes, at most 60.
pub fn trial_and_error(count: u64) -> Loops {
    let runs: Vec<Run> = (1..=count).into_par_iter().map(guess).collect();
    summary("a random screw, kept when it looks better", &runs)
}

struct Bench {
    instrument: Instrument,
    assembly: Assembly,
    real: Response,
    turns: ScrewTurns,
    rng: ChaCha8Rng,
}

impl Bench {
    fn new(errors: Errors, seed: u64) -> Bench {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let instrument = super::world::base(Kind::Doughnut([50.0, 50.0]));
        let assembly = instrument.assembly.clone().expect("screws");
        let mut real = assembly.response.clone().expect("a response");
        real.coma_m_per_rad *= 1.0 + errors.response * (2.0 * rng.random::<f64>() - 1.0);
        let turns =
            ScrewTurns::zero(&assembly).map(|_| START_TURNS * (2.0 * rng.random::<f64>() - 1.0));
        Bench {
            instrument,
            assembly,
            real,
            turns,
            rng,
        }
    }

    /// Coma along x and y, nm.
    fn coma_nm(&self) -> [f64; 2] {
        let tilt = plane_of(&self.assembly, &self.turns).tilt_rad;
        tilt.map(|t| t * self.real.coma_m_per_rad / NM)
    }

    fn normal(&mut self) -> f64 {
        StandardNormal.sample(&mut self.rng)
    }

    fn turn(&mut self, asked: &ScrewTurns, errors: Errors) {
        for (screw, turn) in asked.iter().enumerate() {
            if turn.abs() < 1.0 / 128.0 {
                continue;
            }
            let made =
                turn * (1.0 + errors.hand * self.normal()) + errors.hand_turn * self.normal();
            let slip = errors.lock_up_um * UM * self.normal() / self.assembly.pitch_m_per_turn;
            self.turns[screw] += made + slip;
        }
    }
}

fn length(v: [f64; 2]) -> f64 {
    v[0].hypot(v[1])
}

fn run(errors: Errors, seed: u64) -> Run {
    let mut bench = Bench::new(errors, seed);
    let mut run = Run {
        coma_nm: vec![length(bench.coma_nm())],
        measured_off_nm: Vec::new(),
        refused: 0,
    };
    for round in 0..ROUNDS {
        let coma = bench.coma_nm();
        let Some(found) = look(&mut bench, errors, coma, seed * 100 + round as u64) else {
            // nothing is turned on a frame that says it is not to be trusted: the round is lost
            run.refused += 1;
            run.coma_nm.push(length(coma));
            continue;
        };
        run.measured_off_nm
            .push(length([0, 1].map(|i| found.seen_nm[i] - coma[i])));
        if length(found.seen_nm) * NM > found.stop_m {
            bench.turn(&found.turns, errors);
        }
        run.coma_nm.push(length(bench.coma_nm()));
    }
    run
}

/// What one frame says of coma, the advice, and when to stop.
struct Look {
    seen_nm: [f64; 2],
    turns: ScrewTurns,
    stop_m: f64,
}

/// Takes a frame and reads it.
fn look(bench: &mut Bench, errors: Errors, coma_nm: [f64; 2], seed: u64) -> Option<Look> {
    let seeing_rad = 2.2 * ARCSEC;
    let settings = MeasureSettings::default().advice;
    let stop = good_enough(
        &bench.instrument,
        seeing_rad,
        Some(EXPOSURE_S),
        550.0 * NM,
        &settings,
    );
    let atmosphere_nm = if errors.atmosphere {
        stop.atmosphere_m.unwrap_or(0.0) / NM / 2f64.sqrt()
    } else {
        0.0
    };
    let there = [0, 1].map(|i| coma_nm[i] + atmosphere_nm * bench.normal());
    let (seen, measured) = match errors.frames {
        Err(scatter) => ([0, 1].map(|i| there[i] + scatter * bench.normal()), None),
        Ok(()) => {
            // a wide doughnut for a large error, a small and bright one for a small error
            let width_px = if length(there) > 200.0 { 100.0 } else { 48.0 };
            let climate = Climate {
                kind: Kind::Doughnut([width_px, width_px]),
                electrons: ELECTRONS,
                coma_nm: [0.0, 0.0],
                mismatched: false,
                aside_mm: 0.0,
            };
            let mut world = World::new(climate, seed);
            for (noll, nm) in [(8, there[0]), (7, there[1])] {
                world.state.modes.add(noll, nm * NM);
            }
            let side = if world.state.sensor_offset_m > 0.0 {
                Side::Outside
            } else {
                Side::Inside
            };
            let options = MeasureOptions {
                side: Some(side),
                mask_on: Some(false),
                ..MeasureOptions::default()
            };
            let found = measure(&world.picture(), &world.typed, &options).ok();
            let found = found.filter(Measurement::is_sound)?;
            let coma = found.coma()?;
            (coma.xy_nm(), Some(coma))
        }
    };
    let typed = || {
        let modes = [(8, seen[0] * NM), (7, seen[1] * NM)];
        Coma::of(&modes.into_iter().collect())
    };
    let misaligned = Misaligned {
        coma: Some(measured.unwrap_or_else(typed)),
        ..Misaligned::default()
    };
    let advice = advise(&bench.instrument, &misaligned, Aim::Coma, &settings).ok()?;
    Some(Look {
        seen_nm: seen,
        turns: advice.turns,
        stop_m: stop.stop_m,
    })
}

fn guess(seed: u64) -> Run {
    const GUESSES: usize = 60;
    /// What an eye tells apart of two stars, nm.
    const EYE_NM: f64 = 20.0;
    let errors = Errors::ALL;
    let mut bench = Bench::new(errors, seed);
    let mut run = Run {
        coma_nm: vec![length(bench.coma_nm())],
        measured_off_nm: Vec::new(),
        refused: 0,
    };
    for _ in 0..GUESSES {
        let before = length(bench.coma_nm());
        let screw = bench.rng.random_range(0..3);
        let mut asked = ScrewTurns::zero(&bench.assembly);
        asked[screw] = 0.25 * (2.0 * bench.rng.random::<f64>() - 1.0);
        bench.turn(&asked, errors);
        let after = length(bench.coma_nm());
        let seems = after - before + EYE_NM * bench.normal();
        if seems > 0.0 {
            asked[screw] = -asked[screw];
            bench.turn(&asked, errors);
        }
        run.coma_nm.push(length(bench.coma_nm()));
    }
    run
}

fn summary(name: &str, runs: &[Run]) -> Loops {
    let longest = runs.iter().map(|r| r.coma_nm.len()).max().unwrap_or(1);
    let rounds = |run: &Run| run.coma_nm.iter().position(|nm| *nm < GOAL_NM);
    let count = runs.len() as f64;
    let within = (1..longest)
        .map(|n| {
            runs.iter()
                .filter(|r| rounds(r).is_some_and(|m| m <= n))
                .count() as f64
                / count
        })
        .collect();
    let decile = |mut values: Vec<f64>, share: f64| {
        values.sort_unstable_by(f64::total_cmp);
        values[((values.len() - 1) as f64 * share) as usize]
    };
    let finals: Vec<f64> = runs
        .iter()
        .filter_map(|r| r.coma_nm.last().copied())
        .collect();
    let off: Vec<f64> = runs
        .iter()
        .flat_map(|r| r.measured_off_nm.iter().copied())
        .collect();
    let taken = |r: &Run| rounds(r).map_or(f64::INFINITY, |n| n as f64);
    let median = decile(runs.iter().map(taken).collect(), 0.5);
    Loops {
        name: name.into(),
        runs: runs.len(),
        within,
        median_rounds: if median.is_finite() { median } else { -1.0 },
        final_median_nm: decile(finals.clone(), 0.5),
        final_ninth_decile_nm: decile(finals, 0.9),
        measuring_typical_nm: (!off.is_empty()).then(|| decile(off, 0.5)),
        refused_frames: runs.iter().map(|r| r.refused).sum(),
    }
}
