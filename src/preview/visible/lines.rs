//! The spikes of a mask as lines through the star, and which of them are judged against one another.

use crate::atmosphere::{airmass, seeing_fwhm_rad};
use crate::geometry::area;
use crate::instrument::{Instrument, MaskDesign};
use crate::mask::{regions, triplets};
use crate::pupil::{Pupil, frame_axes};
use crate::spectrum::{Bin, bins, reference_m};
use crate::state::State;
use std::f64::consts::{FRAC_PI_2, PI};

/// Directions that differ by less than this are the same, radians; pitches by less than this fraction.
const SAME: f64 = 1e-6;
/// Lines that are judged against one another without being a triplet are apart by so much, radians.
const NEIGHBOURS_RAD: [f64; 2] = [0.07, 1.2];

/// Regions whose spikes lie on one another.
#[derive(Debug, Clone, PartialEq)]
pub struct SpikeLine {
    /// Their numbers.
    pub regions: Vec<usize>,
    /// Unit vector along the spike, frame axes.
    pub along: [f64; 2],
    /// Unit vector across it, along the first region's slots, frame axes.
    pub across: [f64; 2],
    /// From the star to the first order of the passband's two ends.
    pub reach_px: [f64; 2],
    /// Full width at half maximum: the longest lit slot, the seeing and the pixel.
    pub width_px: f64,
}

impl SpikeLine {
    /// Turn from this line to another, −90 to 90 degrees, in radians.
    pub fn turn_to(&self, other: &SpikeLine) -> f64 {
        let [a, b] = [self, other].map(|l| libm::atan2(l.along[1], l.along[0]));
        (b - a + FRAC_PI_2).rem_euclid(PI) - FRAC_PI_2
    }
}

/// The passband in seven wavelengths, which is enough to say where spikes lie.
pub fn lit(instrument: &Instrument, state: &State) -> Vec<Bin> {
    let temperature_k = state.star.as_ref().map(|s| s.temperature_k);
    bins(&instrument.camera.passband, 7, temperature_k)
}

/// The spikes of all regions that light comes through; none for a drawing and for holes.
pub fn lines(instrument: &Instrument, state: &State, band: &[Bin]) -> Vec<SpikeLine> {
    let Some(design) = &instrument.mask else {
        return Vec::new();
    };
    let pupil = Pupil::new(instrument, state);
    let frame = frame_axes(instrument);
    let pixel_m = instrument.camera.pixel_m;
    let per_pixel = instrument.telescope.focal_length_m / pixel_m;
    let reference_m = reference_m(band);
    let lit = band
        .iter()
        .filter(|b| b.weight > 0.0)
        .map(|b| b.wavelength_m);
    let (shortest, longest) = lit.fold((f64::INFINITY, 0.0_f64), |(s, l), w| (s.min(w), l.max(w)));
    let seeing_px = seeing_px(instrument, state, reference_m);
    let mut found: Vec<(f64, f64, SpikeLine)> = Vec::new();
    for (number, region) in regions(design).iter().enumerate() {
        let widest_m2 = pupil.pieces_of_region(number).map(area).fold(0.0, f64::max);
        let slot_m = widest_m2 / (region.pitch_m * region.open_fraction);
        if slot_m <= 0.0 {
            continue;
        }
        let diffraction_px = 0.886 * reference_m * per_pixel / slot_m;
        let width_px = diffraction_px.hypot(seeing_px).hypot(0.9);
        let same = found.iter_mut().find(|(slot_rad, pitch_m, _)| {
            let turn = (slot_rad - region.slot_rad).rem_euclid(PI);
            turn.min(PI - turn) < SAME && (pitch_m / region.pitch_m - 1.0).abs() < SAME
        });
        if let Some((_, _, line)) = same {
            line.regions.push(number);
            line.width_px = line.width_px.max(width_px);
            continue;
        }
        let slot_rad = region.slot_rad + design.rotation_rad;
        let unit = |a: f64| frame.forward([libm::cos(a), libm::sin(a)]);
        let line = SpikeLine {
            regions: vec![number],
            along: unit(slot_rad + FRAC_PI_2),
            across: unit(slot_rad),
            reach_px: [shortest, longest].map(|w| w * per_pixel / region.pitch_m),
            width_px,
        };
        found.push((region.slot_rad, region.pitch_m, line));
    }
    found.into_iter().map(|f| f.2).collect()
}

/// FWHM of the seeing on the sensor; 0 without.
fn seeing_px(instrument: &Instrument, state: &State, wavelength_m: f64) -> f64 {
    let airmass = state.star.as_ref().map_or(1.0, |s| airmass(s.altitude_rad));
    state.sky.seeing_rad.map_or(0.0, |zenith_rad| {
        seeing_fwhm_rad(zenith_rad, airmass, wavelength_m) * instrument.telescope.focal_length_m
            / instrument.camera.pixel_m
    })
}

/// Places of spikes that are judged against one another: a sum of places across, each with its share; 0 for a star that is merely displaced.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Number of the line, and its share.
    pub parts: Vec<(usize, f64)>,
    /// What is looked at.
    pub words: String,
}

impl Judged {
    /// The judged place from the place of each line across itself; `None` where one is missing.
    pub fn place(&self, of: impl Fn(usize) -> Option<f64>) -> Option<f64> {
        let mut sum = 0.0;
        for (line, share) in &self.parts {
            sum += share * of(*line)?;
        }
        Some(sum)
    }
}

/// What is judged with a mask: triplets, and parallel spikes of different pitches; where a layout has neither, each spike against the
/// crossing of its two neighbours.
pub fn judged(design: &MaskDesign, lines: &[SpikeLine]) -> Vec<Judged> {
    let of_regions = |wanted: &[usize]| -> Vec<usize> {
        let holds = |l: &SpikeLine| wanted.iter().any(|w| l.regions.contains(w));
        (0..lines.len()).filter(|n| holds(&lines[*n])).collect()
    };
    let mut found: Vec<Judged> = triplets(design)
        .iter()
        .filter_map(|t| {
            let [middle, left, right] = [&t.middle, &t.left, &t.right].map(|r| of_regions(r));
            against_crossing(lines, &middle, &left, &right)
        })
        .collect();
    for (i, a) in lines.iter().enumerate() {
        for (j, b) in lines.iter().enumerate().skip(i + 1) {
            let room_px = 0.5 * (a.width_px + b.width_px);
            let beyond = |x: &SpikeLine, y: &SpikeLine| x.reach_px[0] > y.reach_px[1] + room_px;
            if a.turn_to(b).abs() < SAME && (beyond(a, b) || beyond(b, a)) {
                let sign = (a.across[0] * b.across[0] + a.across[1] * b.across[1]).signum();
                found.push(Judged {
                    parts: vec![(i, 1.0), (j, -sign)],
                    words: format!(
                        "the spike of {} against the parallel one of {}",
                        named(a),
                        named(b)
                    ),
                });
            }
        }
    }
    if found.is_empty() {
        found = (0..lines.len())
            .filter_map(|n| by_neighbours(lines, n))
            .collect();
    }
    found
}

fn named(line: &SpikeLine) -> String {
    let list: Vec<String> = line.regions.iter().map(usize::to_string).collect();
    match list.len() {
        1 => format!("region {}", list[0]),
        _ => format!("regions {}", list.join(" and ")),
    }
}

/// A middle spike against the crossing of two others; each may be several lines that run alike, of which the mean counts.
fn against_crossing(
    lines: &[SpikeLine],
    middle: &[usize],
    left: &[usize],
    right: &[usize],
) -> Option<Judged> {
    let [m, l, r] = [middle, left, right].map(|group| group.first().map(|n| lines[*n].across));
    let (m, l, r) = (m?, l?, r?);
    // m = a·l + b·r, so that m·p = a (l·p) + b (r·p) for a displaced star p
    let det = l[0] * r[1] - l[1] * r[0];
    if det.abs() < 0.02 {
        return None;
    }
    let a = (m[0] * r[1] - m[1] * r[0]) / det;
    let b = (l[0] * m[1] - l[1] * m[0]) / det;
    let mut parts = Vec::new();
    for (group, share) in [(middle, 1.0), (left, -a), (right, -b)] {
        let first = lines[*group.first()?].across;
        for number in group {
            let own = lines[*number].across;
            let sign = (own[0] * first[0] + own[1] * first[1]).signum();
            parts.push((*number, sign * share / group.len() as f64));
        }
    }
    Some(Judged {
        parts,
        words: format!(
            "the spike of {} against the crossing of {} and {}",
            named(&lines[middle[0]]),
            named(&lines[left[0]]),
            named(&lines[right[0]])
        ),
    })
}

/// A line against the crossing of its nearest neighbours on both sides.
fn by_neighbours(lines: &[SpikeLine], number: usize) -> Option<Judged> {
    let own = &lines[number];
    let nearest = |side: f64| {
        let turns = lines
            .iter()
            .enumerate()
            .map(|(n, other)| (n, side * own.turn_to(other)));
        turns
            .filter(|(_, turn)| (NEIGHBOURS_RAD[0]..NEIGHBOURS_RAD[1]).contains(turn))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(n, _)| n)
    };
    against_crossing(lines, &[number], &[nearest(1.0)?], &[nearest(-1.0)?])
}
