//! What is cut or printed: the plate with its slots, letters, marks and grip ring, as seen from the sky side.
//!
//! The picture is in the mask's own axes (its turn in the tube is not applied), seen from the front: as it is when the light
//! is reflected an odd number of times, mirrored left-right when even. The up mark shows where the top of the pupil is, the
//! screws' names where the screws are, both as they lie when the mask is worn with its `rotation_deg`.

use super::cutouts::{apart, cut_area, slit_strip};
use super::lettering::{STEM_OVER_CAPITAL, bent};
use super::slots::openings;
use crate::geometry::outline::{Fill, Outline, convex_piece, outline_of};
use crate::geometry::{Frame2, Piece};
use crate::instrument::{Grip, Instrument, MaskDesign, MaskLayout};
use std::f64::consts::{FRAC_PI_2, PI, TAU};

/// Plastic that the printed plate keeps outside a ring.
pub(super) const LIP_M: f64 = 0.8e-3;
/// Plastic kept on both sides of the letters.
const MARGIN_M: f64 = 0.7e-3;
/// Smallest and largest letters.
const CAPITAL_M: [f64; 2] = [1.2e-3, 6e-3];

/// The parts of a mask in the plane.
#[derive(Debug, Clone, PartialEq)]
pub struct Plate {
    /// The plate, all through.
    pub plate: Outline,
    /// The openings, in all.
    pub open: Outline,
    /// Letters, sunk into the sky side.
    pub letters: Outline,
    /// The ring on the other side; empty without a grip.
    pub ring: Outline,
    /// Feet on the same side, which keep the plate off the tube's end; empty without them.
    pub feet: Outline,
    /// The words that were put on the plate.
    pub words: Vec<String>,
    /// Height of their capitals; 0 when there is no room for them.
    pub capital_m: f64,
    /// Thickness of the letters' stems.
    pub stem_m: f64,
    /// Corners that only touched and were joined.
    pub bridges: usize,
    /// How much of the ring stands over openings, in square metres.
    pub ring_over_slots_m2: f64,
    /// Thickness of the plate, depth of the letters, height of the ring.
    pub heights_m: [f64; 3],
    /// Height of the feet; 0 without them.
    pub feet_m: f64,
    /// Outer radius of the printed plate, the flange of the ring included.
    pub outer_radius_m: f64,
    /// The same with tabs: how far the plate reaches from its middle.
    pub reach_m: f64,
}

impl Plate {
    /// The parts of an instrument's mask; `None` without a mask.
    pub fn new(instrument: &Instrument) -> Option<Self> {
        let design = instrument.mask.as_ref()?;
        let mirrored = instrument.telescope.seen_mirrored();
        let view = Frame2::new(0.0, mirrored);
        let pieces: Vec<Piece> = openings(design)
            .iter()
            .map(|(_, piece)| piece.in_frame(&view))
            .collect();
        let open = open_outline(design, &pieces, mirrored);
        let outer_radius_m = outer_radius_m(design);
        let seen = |azimuth: f64| front(azimuth - design.rotation_rad, mirrored);
        let [cut, _] = cut_area(design).map(|area| area.seen(mirrored));
        let solid = Outline::ring(0.5 * design.inner_diameter_m, outer_radius_m)
            .plus(&tabs(design, outer_radius_m, seen))
            .minus(&open)
            .minus(&cut);
        let (plate, bridges) = solid.bridged();
        let apart = slit_strip(design, LIP_M).seen(mirrored);
        let full_ring = design
            .grip
            .as_ref()
            .map_or_else(Outline::default, |grip| ring(grip, seen))
            .minus(&apart);
        let feet = design
            .grip
            .as_ref()
            .map_or_else(Outline::default, |grip| feet(grip, &full_ring, &plate));
        let over = full_ring.minus(&plate);
        let reach_m = plate.farthest_m();
        let mut parts = Plate {
            plate,
            open,
            letters: Outline::default(),
            ring: full_ring,
            feet_m: if feet.is_empty() {
                0.0
            } else {
                design.grip.as_ref().map_or(0.0, |grip| grip.feet_m)
            },
            feet,
            words: Vec::new(),
            capital_m: 0.0,
            stem_m: 0.0,
            bridges,
            ring_over_slots_m2: over.area_m2(),
            heights_m: [
                design.thickness_m,
                design.printer.engraving_m,
                design.grip.as_ref().map_or(0.0, |g| g.height_m),
            ],
            outer_radius_m,
            reach_m,
        };
        parts.put_words(instrument, design, mirrored);
        Some(parts)
    }

    /// Writes "SKY SIDE", the up mark and the screws' names on the outer rim, if there is room.
    fn put_words(&mut self, instrument: &Instrument, design: &MaskDesign, mirrored: bool) {
        let inner = 0.5 * design.outer_diameter_m - design.outer_rim_m;
        let band = [inner, self.outer_radius_m];
        let capital_m = (band[1] - band[0] - 2.0 * MARGIN_M).min(CAPITAL_M[1]);
        if capital_m < CAPITAL_M[0] || self.heights_m[1] <= 0.0 {
            return;
        }
        let radius_m = 0.5 * (band[0] + band[1]);
        let mut taken: Vec<[f64; 2]> = Vec::new();
        let place = |azimuth: f64| front(azimuth - design.rotation_rad, mirrored);
        let mut marks: Vec<(f64, String)> = vec![(place(FRAC_PI_2), "↑UP".to_owned())];
        for screw in instrument.assembly.iter().flat_map(|a| &a.screws) {
            let azimuth = place(screw.azimuth_rad);
            let near = |m: &&mut (f64, String)| apart(m.0, azimuth) < 12.0 * capital_m / radius_m;
            match marks.iter_mut().find(near) {
                Some(mark) => mark.1.push_str(&format!(" SCREW {}", screw.name)),
                None => marks.push((azimuth, format!("↑SCREW {}", screw.name))),
            }
        }
        for (azimuth, words) in marks {
            // where the slit or a gap is in the way, beside it
            let aside =
                [0.0, 1.0, -1.0, 2.0, -2.0].map(|k| azimuth + k * 6.0 * capital_m / radius_m);
            let _ = aside
                .into_iter()
                .any(|azimuth| self.put(&words, capital_m, radius_m, azimuth, &mut taken));
        }
        let (_, width) = bent("SKY SIDE", capital_m, radius_m, 0.0);
        let free = |azimuth: &f64| {
            let gap =
                |t: &[f64; 2]| apart(t[0], *azimuth) > 0.5 * (t[1] + width) + capital_m / radius_m;
            taken.iter().all(gap)
        };
        let places = (1..72).map(|k| FRAC_PI_2 - f64::from(k) * TAU / 72.0);
        if let Some(azimuth) = places.into_iter().find(free) {
            self.put("SKY SIDE", capital_m, radius_m, azimuth, &mut taken);
        }
        self.capital_m = capital_m;
        self.stem_m = STEM_OVER_CAPITAL * capital_m;
    }

    fn put(
        &mut self,
        words: &str,
        capital_m: f64,
        radius_m: f64,
        azimuth: f64,
        taken: &mut Vec<[f64; 2]>,
    ) -> bool {
        let (outline, width) = bent(words, capital_m, radius_m, azimuth);
        // a letter that would reach an opening or an edge would tear the solid: such words are left out
        if outline.is_empty() || !outline.minus(&self.plate).is_empty() {
            return false;
        }
        self.letters = self.letters.plus(&outline);
        self.words.push(words.to_owned());
        taken.push([azimuth, width]);
        true
    }
}

/// The openings as one outline; a drawing's convex parts are put together again.
fn open_outline(design: &MaskDesign, pieces: &[Piece], mirrored: bool) -> Outline {
    if let MaskLayout::Drawing(drawing) = &design.layout {
        let flip = if mirrored { -1.0 } else { 1.0 };
        let parts: Vec<Vec<[f64; 2]>> = drawing
            .openings_m
            .iter()
            .map(|part| part.iter().map(|p| [flip * p[0], p[1]]).collect())
            .collect();
        let [_, solid] = cut_area(design);
        return Outline::filled(&parts, Fill::NonZero).minus(&solid.seen(mirrored));
    }
    outline_of(&pieces.iter().collect::<Vec<_>>())
}

fn outer_radius_m(design: &MaskDesign) -> f64 {
    let plate = 0.5 * design.outer_diameter_m;
    let flange = design.grip.as_ref().map_or(0.0, |g| g.outer_m() + LIP_M);
    plate.max(flange)
}

/// Azimuth as seen from the front.
fn front(azimuth_rad: f64, mirrored: bool) -> f64 {
    if mirrored {
        PI - azimuth_rad
    } else {
        azimuth_rad
    }
}

fn ring(grip: &Grip, seen: impl Fn(f64) -> f64) -> Outline {
    let walls = grip.walls_m();
    let outer = grip.outer_m();
    let whole = walls.iter().fold(Outline::default(), |sum, [from, to]| {
        sum.plus(&Outline::ring(*from, *to))
    });
    let Some((azimuth_rad, width_m)) = grip.notch else {
        return whole;
    };
    let azimuth = seen(azimuth_rad);
    let (sin, cos) = (libm::sin(azimuth), libm::cos(azimuth));
    let half = 0.5 * width_m;
    let gap: Vec<[f64; 2]> = [
        (0.0, -half),
        (2.0 * outer, -half),
        (2.0 * outer, half),
        (0.0, half),
    ]
    .iter()
    .map(|&(along, across)| [along * cos - across * sin, along * sin + across * cos])
    .collect();
    whole.minus(&outline_of(&[&convex_piece(&gap)]))
}

/// Number of feet, and how wide each is along the tube's end.
const FEET: usize = 3;
const FOOT_M: f64 = 12e-3;
/// A foot keeps this distance from the ring and from edges …
const ROUND_FOOT_M: f64 = 0.4e-3;
/// … and a little less is enough: flattened circles of one radius are not the same polygon.
const NEARLY_M: f64 = 0.02e-3;

/// Three feet on the tube's end, evenly round, each turned on to where plate is under all of it; one that finds no such place is left out.
fn feet(grip: &Grip, ring: &Outline, plate: &Outline) -> Outline {
    if grip.feet_m <= 0.0 {
        return Outline::default();
    }
    let [from, to] = grip.bearing_m();
    let band = Outline::ring(from + ROUND_FOOT_M, to - ROUND_FOOT_M);
    let room = plate.grown(NEARLY_M - ROUND_FOOT_M);
    let clear = ring.grown(ROUND_FOOT_M);
    let mut feet = Outline::default();
    for number in 0..FEET {
        let even = PI / 6.0 + TAU * number as f64 / FEET as f64;
        let places = (0..18).map(|k| even + f64::from(k) * PI / 54.0);
        let found = places.into_iter().find_map(|azimuth| {
            let foot = band
                .common(&sector(azimuth, 0.5 * FOOT_M / to, 2.0 * to))
                .minus(&clear);
            let whole = foot.shapes.len() == 1 && foot.minus(&room).is_empty();
            whole.then_some(foot)
        });
        feet = feet.plus(&found.unwrap_or_default());
    }
    feet
}

/// The points within an angle of an azimuth (below a right angle), and a distance of the middle.
pub(super) fn sector(azimuth_rad: f64, half_rad: f64, reach_m: f64) -> Outline {
    let at = |azimuth: f64| {
        let far_m = reach_m / libm::cos(half_rad);
        [far_m * libm::cos(azimuth), far_m * libm::sin(azimuth)]
    };
    let corners = vec![
        [0.0; 2],
        at(azimuth_rad - half_rad),
        at(azimuth_rad + half_rad),
    ];
    Outline::filled(&[corners], Fill::NonZero)
}

/// Tabs beyond the plate's edge, round at their ends, with the tether's hole in the first.
fn tabs(design: &MaskDesign, edge_m: f64, seen: impl Fn(f64) -> f64) -> Outline {
    /// How far a tab reaches into the plate's rim.
    const ROOT_M: f64 = 1e-3;
    let Some(tabs) = &design.tabs else {
        return Outline::default();
    };
    let mut all = Outline::default();
    for (number, azimuth) in tabs.azimuths_rad.iter().enumerate() {
        let azimuth = seen(*azimuth);
        let (sin, cos) = (libm::sin(azimuth), libm::cos(azimuth));
        let place =
            |along: f64, across: f64| [along * cos - across * sin, along * sin + across * cos];
        // corners as round as the tab allows
        let half = 0.5 * tabs.width_m;
        let round = half.min(tabs.reach_m);
        let (from, to) = (edge_m - ROOT_M, edge_m + tabs.reach_m);
        let body = [
            (from, -half),
            (to - round, -half),
            (to - round, half),
            (from, half),
        ];
        let middle = [
            (from, round - half),
            (to, round - half),
            (to, half - round),
            (from, half - round),
        ];
        let mut tab = Outline::filled(
            &[body, middle].map(|box_| box_.map(|(along, across)| place(along, across)).to_vec()),
            Fill::NonZero,
        );
        for side in [-1.0, 1.0] {
            let corner = place(to - round, side * (half - round));
            tab = tab.plus(&Outline::disc(corner, round));
        }
        if number == 0 && tabs.tether_hole_m > 0.0 {
            let hole = place(edge_m + 0.5 * tabs.reach_m, 0.0);
            tab = tab.minus(&Outline::disc(hole, 0.5 * tabs.tether_hole_m));
        }
        all = all.plus(&tab);
    }
    all
}
