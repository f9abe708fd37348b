//! A card held over the rim at a screw's place: the dark bite that it takes out of the ring says where that screw is in the picture.
//!
//! One card and the side of focus leave two ways of holding the camera, one of each mirror image; a second card, at a screw that is
//! not opposite to the first, leaves one.

use super::super::doughnut::Side;
use super::super::ring::{Ring, Sector};
use super::super::settings::OrientationSettings;
use crate::instrument::{Hold, wrapped};
use crate::pupil::axes_of;
use num_complex::Complex64;
use std::f64::consts::PI;

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
    /// The bite of a ring; `None` where no single stretch of it is dark.
    ///
    /// # Accuracy
    /// Within 4 degrees of the middle of a card that covers 20 to 60 degrees of the rim (`tests/orientation/cards.rs`).
    pub fn in_ring(
        ring: &Ring,
        (screw, azimuth_rad): (usize, f64),
        settings: &OrientationSettings,
    ) -> Option<CardSeen> {
        let dark = darkness(&ring.sectors);
        let bites = stretches(&dark, settings.card_dark_share);
        let [first, others @ ..] = &bites[..] else {
            return None;
        };
        let second = others.first().map_or(0.0, |stretch| stretch.norm());
        let alone = second < settings.card_second_share * first.norm();
        let wide = first.norm() >= settings.card_sectors_at_least;
        (alone && wide).then(|| CardSeen {
            screw,
            azimuth_rad,
            direction_rad: first.arg(),
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

/// Share of light that is missing in each sector, against the usual one.
fn darkness(sectors: &[Sector]) -> Vec<(f64, f64)> {
    let mut light: Vec<f64> = sectors.iter().map(|s| s.brightness).collect();
    light.sort_by(f64::total_cmp);
    let usual = light.get(light.len() / 2).copied().unwrap_or(0.0);
    let missing = |s: &Sector| (s.azimuth_rad, (1.0 - s.brightness / usual).max(0.0));
    sectors.iter().filter(|_| usual > 0.0).map(missing).collect()
}

/// Neighbouring sectors that are dark, each stretch as the sum of its darkness with directions, the darkest first.
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
    use std::f64::consts::TAU;

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
        let ring = |dark: &[usize]| Ring {
            outer_centre_px: crate::axes::FramePx::new([50.0, 50.0]),
            outer_radius_px: 40.0,
            dark_centre_px: None,
            inner_radius_px: None,
            sectors: (0..36)
                .map(|k| Sector {
                    azimuth_rad: k as f64 * TAU / 36.0,
                    thickness_px: 20.0,
                    brightness: if dark.contains(&k) { 0.1 } else { 1.1 },
                })
                .collect(),
            shadows: Vec::new(),
            oval_px: [0.0, 0.0],
        };
        let seen = |dark: &[usize]| CardSeen::in_ring(&ring(dark), (0, 0.0), &settings);
        // across the seam of directions too
        let found = seen(&[34, 35, 0]).unwrap();
        assert!((wrapped(found.direction_rad + 10.0 * DEG)).abs() < 1e-9);
        assert!((seen(&[8, 9, 10]).unwrap().direction_rad - 90.0 * DEG).abs() < 1e-9);
        assert!(seen(&[]).is_none());
        assert!(seen(&[4]).is_none(), "a vane is no card");
        assert!(seen(&[4, 5, 6, 20, 21, 22]).is_none());
    }
}
