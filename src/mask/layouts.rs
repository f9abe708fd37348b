//! A mask's layout as a list of regions: the wedges of its entry in the table of layouts, or the owner's own list.

use crate::instrument::{MaskDesign, MaskLayout, SlotAngle, Wedge, WedgePitch, Zone};
use crate::units::DEG;
use std::f64::consts::TAU;

/// An annular wedge that carries parallel slots, in the mask's own axes, before rims and ribs are taken off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Region {
    /// First and last azimuth, the second the larger.
    pub azimuth_rad: [f64; 2],
    /// Inner and outer radius.
    pub radius_m: [f64; 2],
    /// Direction along the slots.
    pub slot_rad: f64,
    /// Distance from slot to slot.
    pub pitch_m: f64,
    /// Slot width over pitch.
    pub open_fraction: f64,
}

impl Region {
    /// Azimuth of its middle, 0 … 2π.
    pub fn middle_rad(&self) -> f64 {
        (0.5 * (self.azimuth_rad[0] + self.azimuth_rad[1])).rem_euclid(TAU)
    }
}

/// The regions of a mask, direction by direction in the order of its layout's entry; none for round holes and for a drawing.
pub fn regions(design: &MaskDesign) -> Vec<Region> {
    match &design.layout {
        MaskLayout::Slots(layout) => layout
            .directions_deg
            .iter()
            .flat_map(|c| layout.wedges.iter().map(|w| region(design, *c, w)))
            .collect(),
        MaskLayout::Regions(list) => list
            .iter()
            .map(|spec| Region {
                azimuth_rad: spec.azimuth_rad,
                radius_m: spec.radius_m,
                slot_rad: spec.slot_rad,
                pitch_m: spec.pitch_m,
                open_fraction: spec.open_fraction,
            })
            .collect(),
        MaskLayout::Holes(_) | MaskLayout::Drawing(_) => Vec::new(),
    }
}

/// A wedge at one of the directions of its layout.
fn region(design: &MaskDesign, direction_deg: f64, wedge: &Wedge) -> Region {
    let slant_deg = design.slant_rad * design.sense / DEG;
    let [inner, outer] = [0.5 * design.inner_diameter_m, 0.5 * design.outer_diameter_m];
    let border = design.zone_radius_m.unwrap_or(0.5 * (inner + outer));
    let first = design.slot_pitch_m.first().copied().unwrap_or_default();
    let second = design.slot_pitch_m.get(1).copied().unwrap_or(first);
    let SlotAngle { base_deg, leans } = wedge.slots;
    Region {
        azimuth_rad: wedge.azimuth_deg.map(|a| (direction_deg + a) * DEG),
        radius_m: match wedge.zone {
            Zone::Whole => [inner, outer],
            Zone::Outer => [border, outer],
            Zone::Inner => [inner, border],
        },
        slot_rad: (direction_deg + base_deg + f64::from(leans) * slant_deg) * DEG,
        pitch_m: match wedge.pitch {
            WedgePitch::First => first,
            WedgePitch::Second => second,
        },
        open_fraction: design.open_fraction,
    }
}

/// The first two regions, or holes, of the owner's own list that share area, by their place in the list.
pub fn overlapping(layout: &MaskLayout) -> Option<(usize, usize)> {
    let pairs = |count: usize| (0..count).flat_map(move |i| (i + 1..count).map(move |j| (i, j)));
    match layout {
        MaskLayout::Holes(holes) => pairs(holes.len()).find(|&(i, j)| {
            let centre = |k: usize| {
                let (sin, cos) = (
                    libm::sin(holes[k].azimuth_rad),
                    libm::cos(holes[k].azimuth_rad),
                );
                [holes[k].radius_m * cos, holes[k].radius_m * sin]
            };
            let (a, b) = (centre(i), centre(j));
            (a[0] - b[0]).hypot(a[1] - b[1]) < 0.5 * (holes[i].diameter_m + holes[j].diameter_m)
        }),
        MaskLayout::Regions(list) => pairs(list.len()).find(|&(i, j)| {
            let (a, b) = (&list[i], &list[j]);
            let radii = a.radius_m[0] < b.radius_m[1] && b.radius_m[0] < a.radius_m[1];
            radii && azimuths_meet(a.azimuth_rad, b.azimuth_rad)
        }),
        _ => None,
    }
}

/// Whether two ranges of azimuth share more than a border.
fn azimuths_meet(a: [f64; 2], b: [f64; 2]) -> bool {
    let slack = 1e-9;
    let gap = (b[0] - a[0]).rem_euclid(TAU);
    gap < a[1] - a[0] - slack || TAU - gap < b[1] - b[0] - slack
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing;
    use crate::units::MM;
    use approx::assert_relative_eq;

    /// Azimuths, radii in mm, direction along the slots, pitch in mm: worked out by hand from the description of the layouts,
    /// for a plate from 42 to 94 mm, a border at 71 mm, pitches 3.4 and 3.0 mm and a slant of 20 degrees.
    type ByHand = ([f64; 2], [f64; 2], f64, f64);

    fn check(layout: MaskLayout, by_hand: &[ByHand]) {
        let found = regions(&testing::mask(layout.clone()));
        assert_eq!(found.len(), by_hand.len(), "{layout:?}");
        for (at, (region, (azimuth_deg, radius_mm, slot_deg, pitch_mm))) in
            found.iter().zip(by_hand).enumerate()
        {
            println!("{layout:?}, region {at}: {region:?}");
            for side in [0, 1] {
                let azimuth_rad = azimuth_deg[side] * DEG;
                assert_relative_eq!(region.azimuth_rad[side], azimuth_rad, epsilon = 1e-12);
                assert_relative_eq!(region.radius_m[side], radius_mm[side] * MM, epsilon = 1e-12);
            }
            assert_relative_eq!(region.slot_rad, slot_deg * DEG, epsilon = 1e-12);
            assert_relative_eq!(region.pitch_m, pitch_mm * MM, epsilon = 1e-12);
        }
    }

    const OUTER: [f64; 2] = [71.0, 94.0];
    const INNER: [f64; 2] = [42.0, 71.0];

    #[test]
    fn tangent_wedges_have_slots_at_right_angles_to_their_middles() {
        check(
            MaskLayout::TANGENT_WEDGES,
            &[
                ([0.0, 60.0], OUTER, 120.0, 3.4),
                ([0.0, 60.0], INNER, 120.0, 3.0),
                ([60.0, 120.0], OUTER, 180.0, 3.4),
                ([60.0, 120.0], INNER, 180.0, 3.0),
                ([120.0, 180.0], OUTER, 240.0, 3.4),
                ([120.0, 180.0], INNER, 240.0, 3.0),
                ([180.0, 240.0], OUTER, 300.0, 3.4),
                ([180.0, 240.0], INNER, 300.0, 3.0),
                ([240.0, 300.0], OUTER, 360.0, 3.4),
                ([240.0, 300.0], INNER, 360.0, 3.0),
                ([300.0, 360.0], OUTER, 420.0, 3.4),
                ([300.0, 360.0], INNER, 420.0, 3.0),
            ],
        );
    }

    #[test]
    fn two_pitch_has_the_second_pitch_opposite_the_first() {
        check(
            MaskLayout::TWO_PITCH,
            &[
                ([60.0, 120.0], OUTER, 90.0, 3.4),
                ([240.0, 300.0], OUTER, 90.0, 3.0),
                ([150.0, 180.0], INNER, 110.0, 3.0),
                ([0.0, 30.0], INNER, 110.0, 3.0),
                ([180.0, 210.0], INNER, 70.0, 3.0),
                ([-30.0, 0.0], INNER, 70.0, 3.0),
                ([180.0, 240.0], OUTER, 210.0, 3.4),
                ([360.0, 420.0], OUTER, 210.0, 3.0),
                ([270.0, 300.0], INNER, 230.0, 3.0),
                ([120.0, 150.0], INNER, 230.0, 3.0),
                ([300.0, 330.0], INNER, 190.0, 3.0),
                ([90.0, 120.0], INNER, 190.0, 3.0),
                ([300.0, 360.0], OUTER, 330.0, 3.4),
                ([480.0, 540.0], OUTER, 330.0, 3.0),
                ([390.0, 420.0], INNER, 350.0, 3.0),
                ([240.0, 270.0], INNER, 350.0, 3.0),
                ([420.0, 450.0], INNER, 310.0, 3.0),
                ([210.0, 240.0], INNER, 310.0, 3.0),
            ],
        );
    }
}
