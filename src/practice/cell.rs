//! A push–pull cell: what a turn of the wrench does to the height of a screw.
//!
//! Each place has a pushing and a pulling screw. To turn one its partner is loosened first and tightened again afterwards; only
//! ever one place at a time, so the unit is never free. Four things keep the height from following the wrench exactly:
//!
//! - *play*: after a change of direction the first part of a turn moves nothing;
//! - *lock-up*: tightening the partner draws the unit a little;
//! - *binding*: the others hold the unit, so one go is at most half a turn;
//! - *travel*: at the end of it the screw stops.
//!
//! The amounts of lock-up and binding are from common practice, no source.

use crate::instrument::Assembly;
use crate::rng::{Purpose, Seed};
use crate::state::ScrewTurns;
use rand_distr::{Distribution, StandardNormal};

/// Standard deviation of what tightening the partner adds to a height.
const LOCK_UP_TURNS: f64 = 0.003;
/// The most that one go allows before the unit binds against its other screws.
pub const BINDS_AT_TURNS: f64 = 0.5;
/// Travel where none is stated.
const TRAVEL_TURNS: f64 = 2.0;

/// Heights of the screws and where the wrench stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Cell {
    heights: ScrewTurns,
    wrenches: ScrewTurns,
    half_play: f64,
    limits: [f64; 2],
    seed: Seed,
    turns_made: u64,
}

/// What became of a turn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turned {
    /// How far the height went.
    pub moved_turns: f64,
    /// How far the wrench went.
    pub wrench_turns: f64,
    /// Whether the end of the travel stopped it.
    pub at_end: bool,
}

impl Cell {
    /// A cell as it is found: `play` says where in its play each screw stands, −0.5 to 0.5.
    pub fn new(assembly: &Assembly, heights: &ScrewTurns, play: &[f64], seed: Seed) -> Self {
        let whole = assembly.backlash_turns.abs();
        let mut parts = play.iter().chain(std::iter::repeat(&0.0));
        Cell {
            heights: heights.clone(),
            wrenches: heights.map(|h| h + parts.next().unwrap_or(&0.0) * whole),
            half_play: 0.5 * whole,
            limits: travel_turns(assembly),
            seed,
            turns_made: 0,
        }
    }

    /// Heights of all screws, in turns from the nominal length.
    pub fn heights(&self) -> &ScrewTurns {
        &self.heights
    }

    /// How many turns were made.
    pub fn turns_made(&self) -> u64 {
        self.turns_made
    }

    /// Tightening has drawn the whole unit a little: every height changes by so much, within the travel.
    pub fn drawn_by(&mut self, heights: &ScrewTurns) {
        let [low, high] = self.limits;
        for (height, by) in self.heights.iter_mut().zip(heights.iter()) {
            *height = (*height + by).clamp(low, high);
        }
    }

    /// Turns one screw; positive lengthens.
    pub fn turn(&mut self, screw: usize, turns: f64) -> Turned {
        let before = self.heights[screw];
        let wanted = self.wrenches[screw] + turns;
        let reachable = [
            self.limits[0] - self.half_play,
            self.limits[1] + self.half_play,
        ];
        let wrench = wanted.clamp(reachable[0], reachable[1]);
        let wrench_turns = wrench - self.wrenches[screw];
        self.wrenches[screw] = wrench;
        let driven = before.clamp(wrench - self.half_play, wrench + self.half_play);
        let mut stream = self.seed.stream(Purpose::Hand, self.turns_made);
        self.turns_made += 1;
        let drawn: f64 = StandardNormal.sample(&mut stream);
        let locked = driven + LOCK_UP_TURNS * drawn.clamp(-2.0, 2.0);
        self.heights[screw] = locked.clamp(self.limits[0], self.limits[1]);
        Turned {
            moved_turns: self.heights[screw] - before,
            wrench_turns,
            at_end: wrench != wanted,
        }
    }
}

/// How far a screw goes when its wrench, which was turned one way, is turned back: its play is taken up first.
pub fn moved_back(wrench_turns: f64, play_turns: f64) -> f64 {
    (wrench_turns - play_turns).max(0.0)
}

/// Shortest and longest a screw may be, in turns from its nominal length.
pub fn travel_turns(assembly: &Assembly) -> [f64; 2] {
    let stated = assembly
        .travel_m
        .map(|limits| limits.map(|m| m / assembly.pitch_m_per_turn));
    let [a, b] = stated.unwrap_or([-TRAVEL_TURNS, TRAVEL_TURNS]);
    [a.min(b).min(0.0), a.max(b).max(0.0)]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::fast_unit;
    use crate::units::MM;

    fn cell(play_turns: f64) -> Cell {
        let mut assembly = fast_unit().assembly.unwrap();
        assembly.backlash_turns = play_turns;
        assembly.travel_m = Some([-0.3 * MM, 0.4 * MM]);
        let heights = ScrewTurns::of(&assembly, [0.1, -0.2, 0.0]).unwrap();
        Cell::new(&assembly, &heights, &[0.5, 0.5, 0.5], Seed(3))
    }

    /// Twice the largest lock-up that is drawn.
    const DRAWN: f64 = 4.0 * LOCK_UP_TURNS;

    #[test]
    fn the_first_part_of_a_turn_back_is_lost() {
        let mut cell = cell(0.06);
        let on = cell.turn(0, 0.125);
        assert!((on.moved_turns - 0.125).abs() < DRAWN, "{on:?}");
        let back = cell.turn(0, -0.125);
        assert!((back.moved_turns + 0.125 - 0.06).abs() < DRAWN, "{back:?}");
        let further = cell.turn(0, -0.125);
        assert!((further.moved_turns + 0.125).abs() < DRAWN, "{further:?}");
    }

    #[test]
    fn the_end_of_the_travel_stops_the_screw() {
        let mut cell = cell(0.0);
        let stopped = cell.turn(2, 1.5);
        assert!(
            stopped.at_end && (stopped.wrench_turns - 0.8).abs() < 1e-12,
            "{stopped:?}"
        );
        assert!(cell.heights()[2] <= 0.8);
    }

    #[test]
    fn tightening_draws_a_little_and_the_same_each_time() {
        let moved = || cell(0.0).turn(1, 0.25).moved_turns;
        assert_eq!(moved(), moved());
        assert!(moved() != 0.25 && (moved() - 0.25).abs() <= 2.0 * LOCK_UP_TURNS);
    }
}
