//! Parallel spikes: regions whose slots run along the same line, and how far apart their spikes lie.
//!
//! A spike is the line u · p = shift, with u the direction along its slots. Slots along u and slots along −u make parallel
//! spikes, and the second one's line is u · p = −shift: only then are both places counted the same way.

use super::layouts::Region;
use std::f64::consts::PI;

/// Directions that differ by less than this, in radians, are the same.
const SAME_RAD: f64 = 1e-6;

/// Two regions whose spikes are parallel, by their numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ParallelPair {
    /// The two regions, the smaller number first.
    pub regions: [usize; 2],
    /// Whether the directions along their slots are opposite, so that their shifts are counted opposite ways.
    pub opposite: bool,
}

impl ParallelPair {
    /// How far the second spike's place is behind the first one's along the first one's slots, from the shift of each region's
    /// spike along its own slots and in their unit; `None` where a region has no spike.
    pub fn separation(&self, shift_of_region: impl Fn(usize) -> Option<f64>) -> Option<f64> {
        let [first, second] = self.regions.map(&shift_of_region);
        let (first, second) = (first?, second?);
        Some(if self.opposite {
            first + second
        } else {
            first - second
        })
    }
}

/// All pairs of regions with parallel slots.
pub fn parallel_pairs(regions: &[Region]) -> Vec<ParallelPair> {
    let mut pairs = Vec::new();
    for (i, a) in regions.iter().enumerate() {
        for (j, b) in regions.iter().enumerate().skip(i + 1) {
            let turn = (a.slot_rad - b.slot_rad).rem_euclid(PI);
            if turn.min(PI - turn) < SAME_RAD {
                pairs.push(ParallelPair {
                    regions: [i, j],
                    opposite: libm::cos(a.slot_rad - b.slot_rad) < 0.0,
                });
            }
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::super::layouts::regions;
    use super::*;
    use crate::instrument::{MaskLayout, SlotLayout};
    use crate::testing;
    use approx::assert_abs_diff_eq;

    /// A star at p has every spike through p: its shift along u is u · p.
    #[test]
    fn spikes_of_a_star_that_is_merely_displaced_lie_on_each_other() {
        let place = [2.3, -0.9];
        let mut pairs_seen = [0; 2];
        for layout in SlotLayout::all() {
            let all = regions(&testing::mask(MaskLayout::Slots(layout)));
            let shift = |n: usize| {
                let (sin, cos) = all[n].slot_rad.sin_cos();
                Some(cos * place[0] + sin * place[1])
            };
            for pair in parallel_pairs(&all) {
                assert_abs_diff_eq!(pair.separation(shift).unwrap(), 0.0, epsilon = 1e-12);
                pairs_seen[usize::from(pair.opposite)] += 1;
            }
        }
        assert!(pairs_seen.iter().all(|seen| *seen > 0), "{pairs_seen:?}");
    }

    /// Tangent wedges at 30 degrees (slots along 120) and opposite (slots along 300): shifts of 1.5 along the first one's slots
    /// and of 0.25 along the second one's are places 1.5 and −0.25 on the axis at 120 degrees, so they are 1.75 apart. The
    /// inner wedge at 30 degrees has the same direction: 1.5 and 0.25 are 1.25 apart.
    #[test]
    fn separations_are_counted_along_the_first_ones_slots() {
        let all = regions(&testing::mask(MaskLayout::TANGENT_WEDGES));
        let pairs = parallel_pairs(&all);
        let of_first: Vec<ParallelPair> = pairs
            .iter()
            .filter(|p| p.regions[0] == 0)
            .copied()
            .collect();
        let pair = |second: usize, opposite: bool| ParallelPair {
            regions: [0, second],
            opposite,
        };
        assert_eq!(of_first, [pair(1, false), pair(6, true), pair(7, true)]);
        let shift = |n: usize| (n != 7).then_some(if n == 0 { 1.5 } else { 0.25 });
        assert_eq!(of_first[0].separation(shift), Some(1.25));
        assert_eq!(of_first[1].separation(shift), Some(1.75));
        assert_eq!(of_first[2].separation(shift), None);
        assert_eq!(
            pairs.len(),
            3 * 6,
            "three directions with four regions each"
        );
    }
}
