//! How the camera is turned, and whether it mirrors, from what the dark centre did when screws were turned.

use super::coach::TRIAL_TURNS;
use super::reckon::slopes;
use super::session::Session;
use super::sight::SightShape;
use crate::instrument::Assembly;
use crate::mechanics::plane_of;
use crate::state::ScrewTurns;

/// A change of the wrenches and what the dark centre did.
pub(super) struct Move {
    pub wrench: ScrewTurns,
    pub seen_px: Option<[f64; 2]>,
}

pub(super) fn moves(session: &Session) -> Vec<Move> {
    let pairs = session.rounds().windows(2);
    pairs
        .map(|two| {
            let mut before = two[0].wrench_turns.iter();
            let change = |after: f64| after - before.next().unwrap_or(&0.0);
            let wrench = two[1].wrench_turns.map(change);
            let seen_px = match (&two[0].sight.shape, &two[1].sight.shape) {
                (
                    SightShape::Doughnut { shift_px: a, .. },
                    SightShape::Doughnut { shift_px: b, .. },
                ) => Some((*b - *a).xy()),
                _ => None,
            };
            Move { wrench, seen_px }
        })
        .collect()
}

/// How the frame shows what the owner expects.
pub(super) struct ShownTurn {
    turn: [f64; 2],
    mirrored: bool,
}

impl ShownTurn {
    /// From the frame back to where the owner would expect it.
    pub fn undo(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let x = if self.mirrored { -x } else { x };
        let [c, s] = self.turn;
        [c * x + s * y, c * y - s * x]
    }
}

/// Trials of two screws tell how the camera is turned and whether it mirrors: of the two guesses, the one under which the
/// dark centre went where it should.
pub(super) fn orientation(session: &Session, assembly: &Assembly) -> Option<ShownTurn> {
    let latest = session.rounds().last()?;
    let (_, slopes) = slopes(session, latest)?;
    let expected = |wrench: &ScrewTurns| {
        let [tx, ty] = plane_of(assembly, wrench).tilt_rad;
        [0, 1].map(|k| slopes[0][k] * tx + slopes[1][k] * ty)
    };
    let (mut sums, mut tried) = ([[0.0; 2]; 2], vec![false; assembly.screws.len()]);
    for one in moves(session) {
        let (Some(seen), want) = (one.seen_px, expected(&one.wrench)) else {
            continue;
        };
        for (index, wrench) in one.wrench.iter().enumerate() {
            tried[index] |= wrench.abs() > 0.5 * TRIAL_TURNS;
        }
        for (mirror, sum) in sums.iter_mut().enumerate() {
            let x = if mirror == 1 { -seen[0] } else { seen[0] };
            sum[0] += x * want[0] + seen[1] * want[1];
            sum[1] += seen[1] * want[0] - x * want[1];
        }
    }
    if tried.iter().filter(|t| **t).count() < 2 {
        return None;
    }
    let size = |sum: [f64; 2]| sum[0].hypot(sum[1]);
    let mirrored = size(sums[1]) > size(sums[0]);
    let sum = sums[usize::from(mirrored)];
    let length = size(sum);
    (length > 0.0).then(|| ShownTurn {
        turn: [sum[0] / length, sum[1] / length],
        mirrored,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_orientation_is_undone() {
        // frame = Mirror · R(−rotation) · expected
        let rotation = 0.7f64;
        for mirrored in [false, true] {
            let (x, y) = (0.4, -1.3);
            let turned = [
                rotation.cos() * x + rotation.sin() * y,
                rotation.cos() * y - rotation.sin() * x,
            ];
            let seen = if mirrored {
                [-turned[0], turned[1]]
            } else {
                turned
            };
            let unmirrored = if mirrored { -seen[0] } else { seen[0] };
            let sum = [unmirrored * x + seen[1] * y, seen[1] * x - unmirrored * y];
            let length = f64::hypot(sum[0], sum[1]);
            let found = ShownTurn {
                turn: [sum[0] / length, sum[1] / length],
                mirrored,
            };
            let back = found.undo(seen);
            assert!(
                (back[0] - x).abs() < 1e-12 && (back[1] - y).abs() < 1e-12,
                "{back:?}"
            );
        }
    }
}
