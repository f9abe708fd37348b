//! A card held over the rim at a screw's place: the dark bite that it takes out of the ring says where that screw is in the picture.
//!
//! One card and the side of focus leave two ways of holding the camera, one of each mirror image; a second card, at a screw that is
//! not opposite to the first, leaves one.

use super::super::doughnut::Side;
use super::super::harmonics::Harmonics;
use super::super::ring::Ring;
use super::super::settings::OrientationSettings;
use super::profile::interpolated;
use crate::instrument::{Assembly, Hold, wrapped};
use crate::math::robust::median;
use crate::pupil::axes_of;
use ndarray::Array2;
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// A card that a frame shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CardSeen {
    /// Number of the screw at whose place it was held.
    pub screw: usize,
    /// Azimuth of that screw, pupil axes.
    pub azimuth_rad: f64,
    /// Direction of the bite from the middle of the ring, frame axes.
    pub direction_rad: f64,
}

impl CardSeen {
    /// A card that was seen at a screw's place; `None` where the assembly has no such screw.
    pub fn at_screw(assembly: &Assembly, name: &str, direction_rad: f64) -> Option<CardSeen> {
        let screw = assembly.screw(name).ok()?;
        Some(CardSeen {
            screw,
            azimuth_rad: assembly.screws[screw].azimuth_rad,
            direction_rad,
        })
    }

    /// The bite in a ring of a picture (element `[[row, column]]`, row 0 at the bottom, its sky zero); `None` where no single stretch of
    /// the ring is dark.
    ///
    /// # Accuracy
    /// Within 4 degrees of the middle of a card that covers 24 to 60 degrees of the rim (`tests/orientation/cards.rs`).
    pub fn in_ring(
        picture: &Array2<f64>,
        ring: &Ring,
        (screw, azimuth_rad): (usize, f64),
        settings: &OrientationSettings,
    ) -> Option<CardSeen> {
        let dark = darkness(picture, ring, settings.card_dark_share)?;
        let bites = stretches(&dark, settings.card_dark_share);
        let [first, others @ ..] = &bites[..] else {
            return None;
        };
        let second = others.first().map_or(0.0, |stretch| stretch.norm());
        let alone = second < settings.card_second_share * first.norm();
        let wide = first.norm() * TAU / DIRECTIONS as f64 >= settings.card_rad_at_least;
        (alone && wide).then(|| CardSeen {
            screw,
            azimuth_rad,
            direction_rad: first.arg(),
        })
    }

    /// The bite by what a star lacks against the same star without a card: `lights` are the star without and with it (element
    /// `[[row, column]]`, row 0 at the bottom, their sky zero), `ring` is that of the first. `None` where nothing is missing, or where it is
    /// missing all round.
    ///
    /// # Accuracy
    /// Within 10 degrees of the middle of a card, also where coma of 100 nm at f/2.4 crowds one side
    /// (`tests/orientation/cards.rs`).
    pub fn against(
        lights: [&Array2<f64>; 2],
        ring: &Ring,
        (screw, azimuth_rad): (usize, f64),
        settings: &OrientationSettings,
    ) -> Option<CardSeen> {
        let lacking = Lacking::of(lights, ring)?;
        let in_one_direction = lacking.towards.norm() / lacking.light;
        let enough = lacking.light > settings.card_light_share * lacking.of_all;
        (enough && in_one_direction > settings.card_towards_share).then(|| CardSeen {
            screw,
            azimuth_rad,
            direction_rad: lacking.towards.arg(),
        })
    }

    /// How far the bite is from where a card would show it, radians.
    pub fn off_rad(&self, hold: Hold, side: Side) -> f64 {
        wrapped(self.direction_rad - shown_at(self.azimuth_rad, hold, side))
    }

    /// How well a way of holding the camera agrees with it: 1 at best. A hand does not hold a card better than within some degrees, and now
    /// and then holds it at another screw.
    pub fn agrees(&self, hold: Hold, side: Side, settings: &OrientationSettings) -> f64 {
        let off = self.off_rad(hold, side) / settings.card_sigma_rad;
        let slip = settings.card_slip_believed;
        slip + (1.0 - slip) * libm::exp(-0.5 * off * off)
    }
}

/// What a star lacks against the same star without a card.
struct Lacking {
    /// Sum of the light that is missing, each pixel's with its direction from the middle of the ring.
    towards: Complex64,
    /// Sum of the light that is missing.
    light: f64,
    /// All light.
    of_all: f64,
}

impl Lacking {
    /// The second star is laid over the first where it fits best, and made as bright as it in the pixels that both light.
    fn of([without, with]: [&Array2<f64>; 2], ring: &Ring) -> Option<Lacking> {
        let brightest = without.iter().copied().fold(0.0, f64::max);
        let bright: Vec<([f64; 2], f64)> = without
            .indexed_iter()
            .filter(|(_, light)| **light > BRIGHT_FROM * brightest)
            .map(|((row, column), light)| ([column as f64, row as f64], *light))
            .collect();
        let middle = |picture: &Array2<f64>| {
            let (mut sum, mut at) = (0.0, [0.0; 2]);
            for ((row, column), light) in picture.indexed_iter() {
                let light = light.max(0.0);
                sum += light;
                at[0] += light * column as f64;
                at[1] += light * row as f64;
            }
            (sum > 0.0).then(|| at.map(|a| (a / sum).round()))
        };
        let (from, to) = (middle(without)?, middle(with)?);
        let reach = (SHIFT_SHARE * ring.outer_radius_px).ceil() as i32 + 1;
        let laid = |shift: [f64; 2]| {
            let there = |place: [f64; 2]| {
                interpolated(with, [0, 1].map(|k| place[k] + to[k] - from[k] + shift[k]))
            };
            let shares: Vec<f64> = bright
                .iter()
                .map(|(place, light)| there(*place) / light)
                .collect();
            let usual = median(&mut shares.clone());
            let worth = |(share, (_, light)): (&f64, &([f64; 2], f64))| {
                // what is missing in a bite counts no more than a little elsewhere
                light * ((share / usual - 1.0).abs()).min(MISSING_COUNTS_AS)
            };
            let off: f64 = shares.iter().zip(&bright).map(worth).sum();
            (off, usual, shares)
        };
        let places = (-reach..=reach).flat_map(|y| (-reach..=reach).map(move |x| [x, y]));
        let (_, usual, shares) = places
            .map(|place| laid(place.map(f64::from)))
            .filter(|(off, usual, _)| off.is_finite() && *usual > 0.0)
            .min_by(|a, b| a.0.total_cmp(&b.0))?;
        let centre = ring.outer_centre_px.xy();
        let mut lacking = Lacking {
            towards: Complex64::ZERO,
            light: 0.0,
            of_all: 0.0,
        };
        for (share, ([x, y], light)) in shares.iter().zip(&bright) {
            let aside = Complex64::new(x - centre[0], y - centre[1]);
            let missing = 1.0 - share / usual;
            lacking.of_all += light;
            if missing > MISSING_FROM && aside.norm() > 0.0 {
                lacking.light += missing * light;
                lacking.towards += missing * light * aside / aside.norm();
            }
        }
        (lacking.light > 0.0).then_some(lacking)
    }
}

/// Pixels of so much of the brightest one's light are compared.
const BRIGHT_FROM: f64 = 0.12;
/// A star with a card lies within this share of its radius of where its light's middle says.
const SHIFT_SHARE: f64 = 0.35;
/// Less missing than this is noise or the atmosphere.
const MISSING_FROM: f64 = 0.35;
/// A share that is off by more counts as this while pictures are laid over each other.
const MISSING_COUNTS_AS: f64 = 0.3;

/// Direction in which a picture shows what is at an azimuth of the pupil: rays that have not yet crossed lie where the pupil has them,
/// and beyond focus on the other side.
fn shown_at(azimuth_rad: f64, hold: Hold, side: Side) -> f64 {
    let [x, y] = axes_of(hold).forward([libm::cos(azimuth_rad), libm::sin(azimuth_rad)]);
    let crossed = match side {
        Side::Inside => 0.0,
        Side::Outside => PI,
    };
    libm::atan2(y, x) + crossed
}

/// The rotation that agrees best with cards, for one mirror image and side; `None` without a card.
pub fn hold_of_cards(cards: &[CardSeen], mirrored: bool, side: Side) -> Option<Hold> {
    let upright = Hold {
        rotation_rad: 0.0,
        mirrored,
    };
    let sum: Complex64 = cards
        .iter()
        .map(|card| Complex64::cis(card.off_rad(upright, side)))
        .sum();
    (sum.norm() > 0.0).then(|| upright.showing_turned(sum.arg()))
}

/// Share of light that is missing in each direction near the outer circle (a circle, for the edge itself gives way to a card), against the
/// smooth course of the light round the ring. Coma crowds the rays of a ring by 1/(1 − a·cos φ), so that the reciprocal of the light is
/// drawn as a mean and one harmonic, through all directions but dark ones.
fn darkness(picture: &Array2<f64>, ring: &Ring, dark_share: f64) -> Option<Vec<(f64, f64)>> {
    let outer = ring.outer_radius_px * MARGIN;
    let dark_px = ring.inner_radius_px.unwrap_or(0.0) / MARGIN;
    let inner = dark_px.max(RIM_FROM * outer).min(RIM_TO * outer);
    let centre = ring.outer_centre_px.xy();
    let light = |azimuth: f64| {
        let ahead = [libm::cos(azimuth), libm::sin(azimuth)];
        let at = |k: usize| {
            let radius = inner + (outer - inner) * (k as f64 + 0.5) / ALONG as f64;
            interpolated(
                picture,
                [0, 1].map(|axis| centre[axis] + radius * ahead[axis]),
            )
        };
        (0..ALONG).map(at).sum::<f64>()
    };
    let azimuths = (0..DIRECTIONS).map(|k| k as f64 * TAU / DIRECTIONS as f64);
    let all: Vec<(f64, f64)> = azimuths.map(|azimuth| (azimuth, light(azimuth))).collect();
    let most = all.iter().map(|light| light.1).fold(0.0, f64::max);
    let missing = |usual: &Harmonics| -> Vec<(f64, f64)> {
        let share = |(azimuth, light): &(f64, f64)| {
            // the usual light is the reciprocal of a smooth course
            let missing = 1.0 - light * usual.value(*azimuth).max(most.recip());
            (*azimuth, missing.max(0.0))
        };
        all.iter().map(share).collect()
    };
    let half = 0.5 * median(&mut all.iter().map(|light| light.1).collect::<Vec<f64>>());
    let mut lit: Vec<(f64, f64)> = all.iter().copied().filter(|light| light.1 > half).collect();
    for round in 0..=ROUNDS {
        let slowness: Vec<(f64, f64)> =
            lit.iter().map(|light| (light.0, light.1.recip())).collect();
        let dark = missing(&Harmonics::through(&slowness, 1)?);
        if round == ROUNDS {
            return Some(dark);
        }
        let pairs = all
            .iter()
            .zip(&dark)
            .filter(|(_, dark)| dark.1 < dark_share);
        lit = pairs
            .map(|(light, _)| *light)
            .filter(|light| light.1 > 0.0)
            .collect();
    }
    None
}

/// Times that the smooth course is drawn anew without dark directions.
const ROUNDS: usize = 4;
/// Directions in which the ring's light is read.
const DIRECTIONS: usize = 72;
/// Samples between the edges.
const ALONG: usize = 16;
/// The rim itself, where edges blur, is left out by this factor.
const MARGIN: f64 = 0.94;

/// A card stands at the rim: farther in than this share of the outer radius nothing is read, so that small obstructions leave no light
/// that it does not cover.
const RIM_FROM: f64 = 0.6;
/// Where the obstruction is larger than this share, its edge is read too.
const RIM_TO: f64 = 0.85;

/// Neighbouring directions that are dark, each stretch as the sum of its darkness with directions, the darkest first.
fn stretches(dark: &[(f64, f64)], from: f64) -> Vec<Complex64> {
    let lit = dark.iter().position(|(_, missing)| *missing < from);
    let mut all = vec![Complex64::ZERO];
    for (azimuth, missing) in dark.iter().cycle().skip(lit.unwrap_or(0)).take(dark.len()) {
        match *missing < from {
            true => all.push(Complex64::ZERO),
            false => {
                if let Some(stretch) = all.last_mut() {
                    *stretch += Complex64::from_polar(*missing, *azimuth);
                }
            }
        }
    }
    all.retain(|stretch| stretch.norm() > 0.0);
    all.sort_by(|a, b| b.norm().total_cmp(&a.norm()));
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::DEG;

    /// Two cards at 90 and 210 degrees, each shown where a hold has them, lead back to that hold and to no other mirror image.
    #[test]
    fn two_cards_lead_back_to_the_hold() {
        let settings = OrientationSettings::default();
        for (degrees, mirrored, side) in [
            (20.0, false, Side::Inside),
            (131.0, true, Side::Outside),
            (-75.0, true, Side::Inside),
            (165.0, false, Side::Outside),
        ] {
            let hold = Hold {
                rotation_rad: degrees * DEG,
                mirrored,
            };
            let card = |screw: usize, at_deg: f64| CardSeen {
                screw,
                azimuth_rad: at_deg * DEG,
                direction_rad: shown_at(at_deg * DEG, hold, side),
            };
            let cards = [card(0, 90.0), card(1, 210.0)];
            let agreeing = |mirrored| {
                let found = hold_of_cards(&cards, mirrored, side).unwrap();
                let both = cards.iter().map(|c| c.agrees(found, side, &settings));
                (found, both.product::<f64>())
            };
            let (found, agrees) = agreeing(mirrored);
            assert!(found.is_near(hold, 1e-9), "{found:?}");
            assert!((agrees - 1.0).abs() < 1e-9);
            assert!(agreeing(!mirrored).1 < 1e-4);
            // one card leaves both mirror images
            let one = hold_of_cards(&cards[..1], !mirrored, side).unwrap();
            assert!((cards[0].agrees(one, side, &settings) - 1.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_bite_is_found_and_two_alike_are_none() {
        let settings = OrientationSettings::default();
        let ring = Ring {
            outer_centre_px: crate::axes::FramePx::new([50.0, 50.0]),
            outer_radius_px: 40.0,
            dark_centre_px: None,
            inner_radius_px: Some(15.0),
            sectors: Vec::new(),
            shadows: Vec::new(),
            oval_px: [0.0, 0.0],
        };
        // dark from 24 px outwards within so many degrees of each direction
        let seen = |dark: &[(f64, f64)]| {
            let picture = Array2::from_shape_fn((101, 101), |(row, column)| {
                let [x, y] = [column as f64 - 50.0, row as f64 - 50.0];
                let off = |to: f64| wrapped(libm::atan2(y, x) - to * DEG).abs() / DEG;
                let covered = dark.iter().any(|(to, half)| off(*to) < *half);
                let radius = x.hypot(y);
                let lit = (15.0..40.0).contains(&radius) && !(covered && radius > 24.0);
                if lit { 1.0 } else { 0.0 }
            });
            CardSeen::in_ring(&picture, &ring, (0, 0.0), &settings)
        };
        // across the seam of directions too
        for to in [-3.0, 90.0, 171.0] {
            let found = seen(&[(to, 18.0)]).expect("a card");
            let off = wrapped(found.direction_rad - to * DEG) / DEG;
            assert!(off.abs() < 2.5, "{to}: {off}");
        }
        assert!(seen(&[]).is_none());
        assert!(seen(&[(40.0, 4.0)]).is_none(), "a vane is no card");
        assert!(seen(&[(40.0, 18.0), (200.0, 17.0)]).is_none());
    }
}
