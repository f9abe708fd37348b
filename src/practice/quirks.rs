//! In what a unit and a hand differ from what their owner believes, for a night that is practised indoors.
//!
//! All amounts are common practice, no source: what a turn does is up to a fifth more or less than was typed, and points up to
//! 15 degrees aside; a hand that is told an eighth errs by a tenth of it and by 4 degrees of the wrench; tightening a pair draws the unit by
//! 20 ± 10 nm of coma in a direction of the pair's own; now and then a cloud passes.

use crate::instrument::{Assembly, Instrument, Response};
use crate::mechanics::{Plane, turns_for};
use crate::rng::{Purpose, Seed};
use crate::state::ScrewTurns;
use crate::units::{DEG, NM};
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use std::f64::consts::TAU;

/// What a turn does is at most this share more or less than was typed.
const RESPONSE_SHARE: f64 = 0.2;
/// And points at most so far aside.
const RESPONSE_RAD: f64 = 15.0 * DEG;
/// Standard deviation of a hand: a share of the turn, and a part of a whole turn.
const HAND: [f64; 2] = [0.10, 4.0 / 360.0];
/// Mean and standard deviation of the coma by which tightening a pair draws the unit.
const LOCK_M: [f64; 2] = [20.0 * NM, 10.0 * NM];
/// Share of the frames that a cloud spoils.
const CLOUDS_SHARE: f64 = 0.08;

/// What nobody at the telescope knows of it; drawn from a seed.
#[derive(Debug, Clone, PartialEq)]
pub struct Quirks {
    /// What a turn does, in parts of what the owner believes.
    pub response_ratio: f64,
    /// How far the unit's screws stand turned from where the owner believes them to be, and the coma of a turn with them.
    pub response_turn_rad: f64,
    /// What tightening each pair on average does to the heights of all screws.
    pub locks: Vec<ScrewTurns>,
}

impl Quirks {
    /// Draws them for a unit with the response that its owner believes in.
    pub fn draw(assembly: &Assembly, response: &Response, seed: Seed) -> Quirks {
        let mut stream = seed.stream(Purpose::Quirks, 0);
        let mut either_way = || 2.0 * stream.random::<f64>() - 1.0;
        let response_ratio = 1.0 + RESPONSE_SHARE * either_way();
        let response_turn_rad = RESPONSE_RAD * either_way();
        let locks = assembly.screws.iter().map(|_| {
            let azimuth: f64 = TAU * stream.random::<f64>();
            let tilt_rad = LOCK_M[0] / (response_ratio * response.coma_m_per_rad).abs();
            let plane = Plane {
                tilt_rad: [libm::cos(azimuth), libm::sin(azimuth)].map(|part| part * tilt_rad),
                ..Plane::default()
            };
            turns_for(assembly, &plane)
        });
        Quirks {
            response_ratio,
            response_turn_rad,
            locks: locks.collect(),
        }
    }

    /// The unit as it really is, from the unit as its owner believes it to be.
    pub fn put_into(&self, instrument: &mut Instrument) {
        let Some(assembly) = &mut instrument.assembly else {
            return;
        };
        for screw in &mut assembly.screws {
            screw.azimuth_rad += self.response_turn_rad;
        }
        if let Some(response) = &mut assembly.response {
            response.coma_m_per_rad *= self.response_ratio;
        }
    }

    /// What a hand does that means to turn a screw by so much, and what tightening the pair does to all heights afterwards.
    pub fn hand(&self, seed: Seed, turn: u64, screw: usize, asked: f64) -> (f64, ScrewTurns) {
        let mut stream = seed.stream(Purpose::Quirks, 1 + turn);
        let mut normal = || -> f64 { StandardNormal.sample(&mut stream) };
        let made = asked * (1.0 + HAND[0] * normal()) + HAND[1] * normal();
        let size = (1.0 + LOCK_M[1] / LOCK_M[0] * normal()).max(0.0);
        (made, self.locks[screw].map(|height| height * size))
    }

    /// Whether a cloud spoils the frame of this number.
    pub fn cloud(seed: Seed, frame: u64) -> bool {
        // far from the numbers of turns
        let mut stream = seed.stream(Purpose::Quirks, (1 << 32) + frame);
        stream.random::<f64>() < CLOUDS_SHARE
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mechanics::plane_of;
    use crate::testing::fast_unit;

    fn drawn(seed: u64) -> (Assembly, Quirks) {
        let assembly = fast_unit().assembly.unwrap();
        let response = assembly.response.clone().unwrap();
        let quirks = Quirks::draw(&assembly, &response, Seed(seed));
        (assembly, quirks)
    }

    /// The laws that the head of this file states, over many draws: means within four standard errors.
    #[test]
    fn hands_and_locks_follow_their_laws() {
        let (assembly, quirks) = drawn(3);
        let response = assembly.response.clone().unwrap();
        let count = 4000;
        let asked = 0.125;
        let drawn = (0..count).map(|turn| quirks.hand(Seed(9), turn, 1, asked));
        let (hands, locks): (Vec<f64>, Vec<ScrewTurns>) = drawn.unzip();
        let mean = |of: &[f64]| of.iter().sum::<f64>() / of.len() as f64;
        let spread = |of: &[f64]| {
            let middle = mean(of);
            mean(&of.iter().map(|v| (v - middle).powi(2)).collect::<Vec<_>>()).sqrt()
        };
        let error = 4.0 / f64::from(count as u32).sqrt();
        let wanted = (0.1f64 * asked).hypot(4.0 / 360.0);
        assert!((mean(&hands) - asked).abs() < error * wanted);
        assert!((spread(&hands) / wanted - 1.0).abs() < error);
        let comas: Vec<f64> = locks
            .iter()
            .map(|heights| {
                let [x, y] = plane_of(&assembly, heights).tilt_rad;
                quirks.response_ratio * response.coma_m_per_rad.abs() * x.hypot(y) / NM
            })
            .collect();
        // a normal law cut off at two standard deviations below its mean gains 0.0085 of one (by its closed form)
        assert!(
            (mean(&comas) - 20.0).abs() < error * 10.0 + 0.1,
            "{}",
            mean(&comas)
        );
    }

    #[test]
    fn what_a_turn_does_stays_within_its_range_and_goes_both_ways() {
        let all: Vec<Quirks> = (0..200).map(|seed| drawn(seed).1).collect();
        let ratios: Vec<f64> = all.iter().map(|q| q.response_ratio).collect();
        let turns: Vec<f64> = all.iter().map(|q| q.response_turn_rad / DEG).collect();
        assert!(ratios.iter().all(|r| (0.8..=1.2).contains(r)));
        assert!(turns.iter().all(|t| t.abs() <= 15.0));
        for (values, middle) in [(&ratios, 1.0), (&turns, 0.0)] {
            assert!(values.iter().any(|v| *v > middle) && values.iter().any(|v| *v < middle));
        }
    }
}
