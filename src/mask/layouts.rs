//! The named layouts as lists of regions, exactly as the design gives them.

use crate::instrument::{MaskDesign, MaskLayout};
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

/// The three directions of the layouts with triplets, in degrees.
pub(super) const TRIPLETS_DEG: [f64; 3] = [90.0, 210.0, 330.0];

/// The regions of a mask, in the order the design lists them; none for round holes and for a drawing.
pub fn regions(design: &MaskDesign) -> Vec<Region> {
    let slant = design.slant_rad * design.sense / DEG;
    let whole = [0.5 * design.inner_diameter_m, 0.5 * design.outer_diameter_m];
    let wedge = |from: f64, to: f64, slot: f64, radius_m: [f64; 2], pitch_m: f64| Region {
        azimuth_rad: [from * DEG, to * DEG],
        radius_m,
        slot_rad: slot * DEG,
        pitch_m,
        open_fraction: design.open_fraction,
    };
    let first = design.slot_pitch_m.first().copied().unwrap_or_default();
    let second = design.slot_pitch_m.get(1).copied().unwrap_or(first);
    match &design.layout {
        MaskLayout::OneTriplet => vec![
            wedge(0.0, 180.0, 90.0, whole, first),
            wedge(180.0, 270.0, 90.0 + slant, whole, first),
            wedge(270.0, 360.0, 90.0 - slant, whole, first),
        ],
        MaskLayout::ThreeTriplet => TRIPLETS_DEG
            .iter()
            .flat_map(|&c| {
                [
                    wedge(c - 30.0, c + 30.0, c, whole, first),
                    wedge(c + 180.0, c + 210.0, c + slant, whole, first),
                    wedge(c + 150.0, c + 180.0, c - slant, whole, first),
                ]
            })
            .collect(),
        MaskLayout::TwoZone | MaskLayout::TwoPitch => {
            let opposite = if design.layout == MaskLayout::TwoPitch {
                second
            } else {
                first
            };
            let border = design.zone_radius_m.unwrap_or(0.5 * (whole[0] + whole[1]));
            let (inner, outer) = ([whole[0], border], [border, whole[1]]);
            TRIPLETS_DEG
                .iter()
                .flat_map(|&c| {
                    [
                        wedge(c - 30.0, c + 30.0, c, outer, first),
                        wedge(c + 150.0, c + 210.0, c, outer, opposite),
                        wedge(c + 60.0, c + 90.0, c + slant, inner, second),
                        wedge(c - 90.0, c - 60.0, c + slant, inner, second),
                        wedge(c + 90.0, c + 120.0, c - slant, inner, second),
                        wedge(c - 120.0, c - 90.0, c - slant, inner, second),
                    ]
                })
                .collect()
        }
        MaskLayout::TangentWedges => {
            let border = design.zone_radius_m.unwrap_or(0.5 * (whole[0] + whole[1]));
            (0..6)
                .map(|k| 30.0 + 60.0 * f64::from(k))
                .flat_map(|c| {
                    [
                        wedge(c - 30.0, c + 30.0, c + 90.0, [border, whole[1]], first),
                        wedge(c - 30.0, c + 30.0, c + 90.0, [whole[0], border], second),
                    ]
                })
                .collect()
        }
        MaskLayout::Holes(_) | MaskLayout::Drawing(_) => Vec::new(),
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
