//! Which regions an eye reads together, and what it reads: the middle spike against the crossing of its slanted partners.
//!
//! A region whose slots run along direction u makes a spike at right angles to them: the line of all points p with
//! u · p = shift. Take y along the middle slots and x to the right of them. The partners' slots are turned by ±s, so their
//! directions are (∓sin s, cos s), and their two spikes
//!
//! ```text
//! −x sin s + y cos s = left        x sin s + y cos s = right
//!
//! cross at   y = (left + right) / (2 cos s),   x = (right − left) / (2 sin s)
//! ```
//!
//! The middle spike is the line y = middle and has no x of its own, so what is judged is middle − (left + right)/(2 cos s).
//! A star that is merely displaced moves all three spikes together, and the reading stays 0.
//!
//! Pure geometry: shifts come in, from a wavefront or from a frame. An owner's own list of regions, and holes, have no
//! triplets here. What each layout shows of which error is tabulated, and checked, in `tests/masked/table.rs`.

use crate::instrument::{MaskDesign, SlotAngle};
use crate::units::DEG;

/// Three spikes that are read together, by the numbers of their regions (the order of [`regions`](super::regions)). In two zones each
/// spike comes from two regions on opposite sides, in the order of the layout's list.
#[derive(Debug, Clone, PartialEq)]
pub struct Triplet {
    /// Direction along the middle slots, mask axes.
    pub slot_rad: f64,
    /// Turn from the middle slots to the left ones; the right ones are turned by as much the other way.
    pub slant_rad: f64,
    /// Regions of the middle spike.
    pub middle: Vec<usize>,
    /// Regions with slots at `slot_rad + slant_rad`.
    pub left: Vec<usize>,
    /// Regions with slots at `slot_rad − slant_rad`.
    pub right: Vec<usize>,
}

/// What a triplet shows. All shifts in the unit of the spikes' own.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TripletReading {
    /// Place of the middle spike along the middle slots.
    pub middle: f64,
    /// Crossing of the partners: along the middle slots, and to the right of them.
    pub crossing: [f64; 2],
    /// First minus last of the regions of each spike (middle, left, right): how far it is split; 0 for a single region.
    pub split: [f64; 3],
}

impl TripletReading {
    /// Middle spike minus crossing, along the middle slots: what an eye judges.
    pub fn shift(&self) -> f64 {
        self.middle - self.crossing[0]
    }
}

/// The triplets of a layout, one at each of its directions: straight slots in the middle, those that lean by one slant to the
/// left and to the right as its partners. None where a layout lacks one of the three, for holes and for an owner's own regions.
pub fn triplets(design: &MaskDesign) -> Vec<Triplet> {
    let Some(layout) = design.layout.slots() else {
        return Vec::new();
    };
    let count = layout.wedges.len();
    let spike = |direction: usize, leans: i8| -> Vec<usize> {
        let slots = SlotAngle {
            base_deg: 0.0,
            leans,
        };
        (0..count)
            .filter(|at| layout.wedges[*at].slots == slots)
            .map(|at| direction * count + at)
            .collect()
    };
    layout
        .directions_deg
        .iter()
        .enumerate()
        .map(|(number, direction_deg)| Triplet {
            slot_rad: direction_deg * DEG,
            slant_rad: design.slant_rad * design.sense,
            middle: spike(number, 0),
            left: spike(number, 1),
            right: spike(number, -1),
        })
        .filter(|t| ![&t.middle, &t.left, &t.right].iter().any(|r| r.is_empty()))
        .collect()
}

impl Triplet {
    /// Reads the triplet from the shift of each region's spike along its own slots.
    ///
    /// Two regions of one spike count alike: their openings are each other's mirror image. `None` when a spike has no
    /// shift at all, and when the partners lean so little or so much that they do not cross at one place.
    pub fn read(&self, shift_of_region: impl Fn(usize) -> Option<f64>) -> Option<TripletReading> {
        let place = |numbers: &[usize]| -> Option<(f64, f64)> {
            let shifts: Vec<f64> = numbers.iter().filter_map(|n| shift_of_region(*n)).collect();
            let (first, last) = (shifts.first()?, shifts.last()?);
            let mean = shifts.iter().sum::<f64>() / shifts.len() as f64;
            Some((mean, first - last))
        };
        let (middle, middle_split) = place(&self.middle)?;
        let (left, left_split) = place(&self.left)?;
        let (right, right_split) = place(&self.right)?;
        Some(TripletReading {
            middle,
            crossing: crossing(left, right, self.slant_rad)?,
            split: [middle_split, left_split, right_split],
        })
    }
}

/// Where the spikes of slots turned by ±slant cross: along the middle slots, and to the right of them.
fn crossing(left: f64, right: f64, slant_rad: f64) -> Option<[f64; 2]> {
    const FLATTEST: f64 = 1e-6;
    let (sin, cos) = (libm::sin(slant_rad), libm::cos(slant_rad));
    (sin.abs() > FLATTEST && cos.abs() > FLATTEST)
        .then(|| [0.5 * (left + right) / cos, 0.5 * (right - left) / sin])
}

#[cfg(test)]
mod tests {
    use super::super::layouts::regions;
    use super::*;
    use crate::instrument::MaskLayout;
    use crate::testing;
    use approx::assert_abs_diff_eq;

    fn direction(azimuth_rad: f64) -> [f64; 2] {
        [azimuth_rad.cos(), azimuth_rad.sin()]
    }

    fn dot(a: [f64; 2], b: [f64; 2]) -> f64 {
        a[0] * b[0] + a[1] * b[1]
    }

    fn layouts() -> Vec<MaskDesign> {
        [
            MaskLayout::ONE_TRIPLET,
            MaskLayout::THREE_TRIPLET,
            MaskLayout::TWO_ZONE,
            MaskLayout::TWO_PITCH,
        ]
        .into_iter()
        .flat_map(|layout| {
            [1.0, -1.0].map(|sense| MaskDesign {
                sense,
                slant_rad: 23.0 * DEG,
                ..testing::mask(layout.clone())
            })
        })
        .collect()
    }

    #[test]
    fn every_region_is_read_once_and_leans_as_its_triplet_says() {
        for design in layouts() {
            let all = regions(&design);
            let mut read = vec![0; all.len()];
            for triplet in triplets(&design) {
                let groups = [
                    (&triplet.middle, 0.0),
                    (&triplet.left, triplet.slant_rad),
                    (&triplet.right, -triplet.slant_rad),
                ];
                for (numbers, lean) in groups {
                    for &number in numbers {
                        read[number] += 1;
                        let slot_rad = all[number].slot_rad;
                        assert_abs_diff_eq!(slot_rad, triplet.slot_rad + lean, epsilon = 1e-12);
                    }
                }
            }
            assert!(
                read.iter().all(|times| *times == 1),
                "{:?}: {read:?}",
                design.layout
            );
        }
    }

    #[test]
    fn a_star_that_is_merely_displaced_reads_nothing() {
        let place = [2.3, -0.9];
        for design in layouts() {
            let all = regions(&design);
            for triplet in triplets(&design) {
                let reading = triplet
                    .read(|n| Some(dot(direction(all[n].slot_rad), place)))
                    .unwrap();
                assert_abs_diff_eq!(reading.shift(), 0.0, epsilon = 1e-12);
                assert_abs_diff_eq!(reading.split[0], 0.0, epsilon = 1e-12);
                let across = direction(triplet.slot_rad - 90.0 * DEG);
                assert_abs_diff_eq!(reading.crossing[1], dot(across, place), epsilon = 1e-12);
            }
        }
    }

    /// The crossing lies on both partners' spikes, whatever their shifts.
    #[test]
    fn the_crossing_is_on_both_spikes() {
        for design in layouts() {
            let all = regions(&design);
            for triplet in triplets(&design) {
                let [left, right] = [&triplet.left, &triplet.right].map(|group| group[0]);
                let shift = |n: usize| match n {
                    n if triplet.left.contains(&n) => 1.7,
                    n if triplet.right.contains(&n) => -0.4,
                    _ => 0.6,
                };
                let reading = triplet.read(|n| Some(shift(n))).unwrap();
                let (along, across) = (
                    direction(triplet.slot_rad),
                    direction(triplet.slot_rad - 90.0 * DEG),
                );
                let [y, x] = reading.crossing;
                let place = [x * across[0] + y * along[0], x * across[1] + y * along[1]];
                for number in [left, right] {
                    let on_spike = dot(direction(all[number].slot_rad), place);
                    assert_abs_diff_eq!(on_spike, shift(number), epsilon = 1e-12);
                }
                assert_abs_diff_eq!(reading.shift(), 0.6 - y, epsilon = 1e-12);
            }
        }
    }

    #[test]
    fn a_spike_that_is_missing_or_partners_that_do_not_lean_give_no_reading() {
        let mut design = testing::mask(MaskLayout::TWO_ZONE);
        let first = triplets(&design).remove(0);
        assert!(first.read(|n| (n != 2 && n != 3).then_some(1.0)).is_none());
        assert!(first.read(|n| (n != 2).then_some(1.0)).is_some());
        design.slant_rad = 0.0;
        assert!(triplets(&design)[0].read(|_| Some(1.0)).is_none());
        assert!(triplets(&testing::mask(MaskLayout::Holes(vec![]))).is_empty());
    }

    #[test]
    fn two_regions_of_a_spike_that_part_are_reported_as_split() {
        let design = testing::mask(MaskLayout::TWO_ZONE);
        let reading = triplets(&design)[0]
            .read(|n| Some([2.5, -2.5, 1.0, 0.0, 0.0, -1.0][n]))
            .unwrap();
        assert_eq!((reading.middle, reading.split), (0.0, [5.0, 1.0, 1.0]));
    }
}
