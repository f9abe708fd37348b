//! How the camera is held, from changes of coma: the best product k·exp(−i·rotation) for each mirror image, and their weights.

use super::{ComaChange, Lesson};
use crate::instrument::{Camera, Hold, Orientation, wrapped};
use crate::measure::doughnut::Side;
use crate::measure::orientation::{CardSeen, HoldCase};
use crate::measure::settings::{LearningSettings, MeasureSettings, OrientationSettings};
use num_complex::Complex64;
use std::f64::consts::PI;

/// The best product k·exp(−i·rotation) for one of the mirror images.
#[derive(Debug, Clone, Copy)]
pub struct HoldFit {
    /// Whether the camera mirrors.
    pub mirrored: bool,
    /// k·exp(−i·rotation), metres RMS per radian.
    pub product: Complex64,
    /// Size of k, between what the trials say and what was typed.
    pub size_m_per_rad: f64,
    /// Standard deviation of the product in either direction.
    pub sigma: f64,
    /// Sum of squares that is left.
    pub chi_square: f64,
}

/// The fit of one mirror image. What was typed of the response keeps a single unsteady trial from saying too much of its size.
pub fn fit(
    changes: &[ComaChange],
    mirrored: bool,
    expected_m: Option<f64>,
    settings: &LearningSettings,
) -> HoldFit {
    let sum_of_squares: f64 = changes.iter().map(|c| c.weight() * c.tilt.norm_sqr()).sum();
    let product = changes
        .iter()
        .map(|c| c.coma_unmirrored(mirrored) * c.tilt.conj() * c.weight())
        .sum::<Complex64>()
        / sum_of_squares;
    let rest = |c: &ComaChange| (c.coma_unmirrored(mirrored) - product * c.tilt).norm_sqr();
    let size_m_per_rad = match expected_m {
        Some(expected) if expected != 0.0 => {
            let width = settings.typed_response_share * expected.abs();
            let typed_weight = width.powi(-2);
            (product.norm() * sum_of_squares + expected.abs() * typed_weight)
                / (sum_of_squares + typed_weight)
        }
        _ => product.norm(),
    };
    HoldFit {
        mirrored,
        product,
        size_m_per_rad,
        sigma: sum_of_squares.sqrt().recip(),
        chi_square: changes.iter().map(|c| c.weight() * rest(c)).sum(),
    }
}

impl HoldFit {
    /// How many times farther the trials lie from the fit than frames and hands explain; 0 where nothing tells.
    pub fn spread(&self, trials: usize) -> f64 {
        match freedom(trials) {
            0 => 0.0,
            freedom => (self.chi_square / freedom as f64).sqrt(),
        }
    }
}

/// Degrees of freedom: two components of coma a trial, less the two of the product that is fitted.
fn freedom(trials: usize) -> usize {
    2 * trials - 2
}

/// What is believed of mirroring apart from trials: what was typed, cards, and the file.
pub struct Beside<'a> {
    typed_mirrored: bool,
    typed_believed: f64,
    by_header: Option<bool>,
    cards: &'a [CardSeen],
    settings: OrientationSettings,
}

impl<'a> Beside<'a> {
    pub fn of(lesson: &Lesson<'a>, typed: &Camera, settings: &MeasureSettings) -> Beside<'a> {
        Beside {
            typed_mirrored: typed.mirrored,
            typed_believed: match typed.orientation {
                Orientation::Known => settings.learning.known_mirroring_believed,
                Orientation::Assumed => settings.learning.typed_mirroring_believed,
            },
            by_header: lesson.by_header,
            cards: lesson.cards,
            settings: settings.orientation,
        }
    }

    /// How much a hold that explains trials is to be believed. Half a turn of the camera, and the side of focus, move a card to the other side
    /// of the ring; trials tell neither, so that the better of both ways round counts.
    fn of_hold(&self, hold: Hold) -> f64 {
        let agreeing = |source: f64, mirrored: bool| match hold.mirrored == mirrored {
            true => source,
            false => 1.0 - source,
        };
        let header = self.by_header.map_or(1.0, |mirrored| {
            agreeing(self.settings.header_parity_believed, mirrored)
        });
        let [one, other] = [hold, hold.turned(PI)].map(|hold| {
            let agrees = |card: &CardSeen| card.agrees(hold, Side::Inside, &self.settings);
            self.cards.iter().map(agrees).product::<f64>()
        });
        agreeing(self.typed_believed, self.typed_mirrored) * header * one.max(other)
    }
}

/// Both mirror images with their weights, the heavier first; the lighter only where it is not ruled out.
pub fn weighed(
    fits: [HoldFit; 2],
    beside: &Beside,
    expected_m: Option<f64>,
    settings: &LearningSettings,
) -> Vec<(HoldCase, HoldFit)> {
    let least = fits[0].chi_square.min(fits[1].chi_square);
    let mut all: Vec<(HoldCase, HoldFit)> = fits
        .into_iter()
        .map(|fit| {
            let sense = if expected_m.unwrap_or(1.0) < 0.0 {
                -1.0
            } else {
                1.0
            };
            let product = fit.product * sense;
            let hold = Hold {
                rotation_rad: wrapped(-libm::atan2(product.im, product.re)),
                mirrored: fit.mirrored,
            };
            let learned = HoldCase {
                hold,
                coma_m_per_rad: sense * fit.size_m_per_rad,
                weight: beside.of_hold(hold) * libm::exp(-0.5 * (fit.chi_square - least)),
            };
            (learned, fit)
        })
        .collect();
    all.sort_by(|a, b| b.0.weight.total_cmp(&a.0.weight));
    let sum: f64 = all.iter().map(|h| h.0.weight).sum();
    all.iter_mut().for_each(|h| h.0.weight /= sum);
    if all[1].0.weight < settings.mirror_open_weight {
        all.truncate(1);
        all[0].0.weight = 1.0;
    }
    all
}
