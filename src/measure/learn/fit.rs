//! How the camera is held, from changes of coma: the best product k·exp(−i·rotation) for each mirror image, and their weights.

use super::{Lesson, complex, unmirrored, with_the_hand};
use crate::instrument::{Assembly, Camera, Hold, Orientation, wrapped};
use crate::measure::doughnut::Side;
use crate::measure::orientation::{CardSeen, HoldCase};
use crate::measure::settings::{LearningSettings, MeasureSettings, OrientationSettings};
use crate::mechanics::{plane_of, turned};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// What a told turn changed, in frame axes.
#[derive(Debug, Clone, Copy)]
pub struct TurnSeen {
    /// Number of the screw.
    pub screw: usize,
    /// Tilt of the unit, radians.
    pub tilt: Complex64,
    /// Change of coma, metres RMS.
    pub coma: Complex64,
    /// Standard deviation of the change in either direction, but for where tightening that pair always pushes.
    pub sigma_m: f64,
    /// How far the star moved.
    pub shift_px: Complex64,
}

impl TurnSeen {
    /// Of a change of coma that two frames tell to `frames_m` in either direction. Where it is smaller than a typed response makes it, hand and
    /// backlash may have lost what is missing.
    pub fn of(
        assembly: &Assembly,
        screw: usize,
        turns: f64,
        coma: Complex64,
        frames_m: f64,
        settings: &LearningSettings,
    ) -> TurnSeen {
        let tilt = complex(plane_of(assembly, &turned(assembly, screw, turns)).tilt_rad);
        let response = assembly.response.as_ref();
        let expected_m = response.map_or(0.0, |r| r.coma_m_per_rad.abs() * tilt.norm());
        TurnSeen {
            screw,
            tilt,
            coma,
            sigma_m: with_the_hand(
                frames_m,
                coma.norm().max(expected_m),
                turns,
                assembly.backlash_turns,
                settings,
            ),
            shift_px: Complex64::ZERO,
        }
    }

    /// Weight of one component of the change.
    pub fn weight(&self) -> f64 {
        self.sigma_m.powi(-2)
    }

    /// The coma as an unmirrored camera at the same rotation would have it.
    pub fn coma_unmirrored(&self, mirrored: bool) -> Complex64 {
        unmirrored(self.coma, mirrored)
    }
}

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

impl LearningSettings {
    /// Variance of where tightening a pair pushes every time, along each axis: of its shift what does not vary.
    pub fn push_m2(&self) -> f64 {
        0.5 * (self.lock_shift_m.powi(2) - self.lock_spread_m.powi(2)).max(0.0)
    }
}

/// Sums over the turns of one pair, or of all; a push by tightening that is the same in all of them and otherwise unknown is allowed for.
#[derive(Default, Clone, Copy)]
struct Sums {
    tilt_tilt: f64,
    tilt_coma: Complex64,
    coma_coma: f64,
}

impl Sums {
    fn of_pair<'a>(
        turns: impl Iterator<Item = &'a TurnSeen>,
        mirrored: bool,
        push_m2: f64,
    ) -> Sums {
        let mut all = Sums::default();
        let (mut weights, mut tilts, mut comas) = (0.0, Complex64::ZERO, Complex64::ZERO);
        for turn in turns {
            let (weight, coma) = (turn.weight(), turn.coma_unmirrored(mirrored));
            all.tilt_tilt += weight * turn.tilt.norm_sqr();
            all.tilt_coma += weight * turn.tilt.conj() * coma;
            all.coma_coma += weight * coma.norm_sqr();
            weights += weight;
            tilts += weight * turn.tilt;
            comas += weight * coma;
        }
        // integrated over the push, a Gaussian of this variance
        let share = push_m2 / (1.0 + push_m2 * weights);
        Sums {
            tilt_tilt: all.tilt_tilt - share * tilts.norm_sqr(),
            tilt_coma: all.tilt_coma - share * tilts.conj() * comas,
            coma_coma: all.coma_coma - share * comas.norm_sqr(),
        }
    }

    fn and(self, other: Sums) -> Sums {
        Sums {
            tilt_tilt: self.tilt_tilt + other.tilt_tilt,
            tilt_coma: self.tilt_coma + other.tilt_coma,
            coma_coma: self.coma_coma + other.coma_coma,
        }
    }
}

/// The fit of one mirror image. What was typed of the response keeps a single unsteady trial from saying too much of its size.
pub fn fit(
    changes: &[TurnSeen],
    mirrored: bool,
    expected_m: Option<f64>,
    settings: &LearningSettings,
) -> HoldFit {
    let push_m2 = settings.push_m2();
    let screws = changes.iter().map(|c| c.screw).max().unwrap_or(0);
    let sums = (0..=screws).fold(Sums::default(), |sums, screw| {
        let own = changes.iter().filter(|c| c.screw == screw);
        sums.and(Sums::of_pair(own, mirrored, push_m2))
    });
    let product = sums.tilt_coma / sums.tilt_tilt;
    let size_m_per_rad = match expected_m {
        Some(expected) if expected != 0.0 => {
            let width = settings.typed_response_share * expected.abs();
            let typed_weight = width.powi(-2);
            (product.norm() * sums.tilt_tilt + expected.abs() * typed_weight)
                / (sums.tilt_tilt + typed_weight)
        }
        _ => product.norm(),
    };
    HoldFit {
        mirrored,
        product,
        size_m_per_rad,
        sigma: sums.tilt_tilt.sqrt().recip(),
        chi_square: (sums.coma_coma - product.norm_sqr() * sums.tilt_tilt).max(0.0),
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
pub fn freedom(trials: usize) -> usize {
    2 * trials - 2
}

/// What is believed of mirroring apart from trials: what was typed, cards, and the file.
pub struct Beside<'a> {
    typed: Hold,
    known: bool,
    believed: f64,
    by_header: Option<bool>,
    cards: &'a [CardSeen],
    settings: OrientationSettings,
    response_turn_rad: f64,
}

impl<'a> Beside<'a> {
    pub fn of(lesson: &Lesson<'a>, typed: &Camera, settings: &MeasureSettings) -> Beside<'a> {
        let known = typed.orientation == Orientation::Known;
        Beside {
            typed: typed.hold(),
            known,
            believed: match known {
                true => settings.learning.known_mirroring_believed,
                false => settings.learning.typed_mirroring_believed,
            },
            by_header: lesson.by_header,
            cards: lesson.cards,
            settings: settings.orientation,
            response_turn_rad: settings.learning.response_turn_rad,
        }
    }

    /// How much a product is to be believed apart from trials, up to a factor: a response of about the typed size, and a camera held so.
    pub fn of_product(
        &self,
        product: Complex64,
        mirrored: bool,
        expected_m: Option<f64>,
        settings: &LearningSettings,
    ) -> f64 {
        let hold = hold_of(product, mirrored, expected_m);
        let size = match expected_m {
            Some(expected) if expected != 0.0 => {
                let off = (product.norm() / expected.abs() - 1.0) / settings.typed_response_share;
                libm::exp(-0.5 * off * off)
            }
            _ => 1.0,
        };
        // an area of the plane holds less of directions the farther out it lies
        size / product.norm().max(f64::MIN_POSITIVE) * self.rotation(hold) * self.of_hold(hold)
    }

    /// How much a rotation is to be believed where it was checked; where it was only typed, all are alike.
    fn rotation(&self, hold: Hold) -> f64 {
        if !self.known {
            return 1.0;
        }
        let sigma = self
            .settings
            .typed_rotation_sigma_rad
            .hypot(self.response_turn_rad);
        let off = wrapped(hold.rotation_rad - self.typed.rotation_rad) / sigma;
        let peak = libm::exp(-0.5 * off * off) / (sigma * TAU.sqrt());
        self.believed * peak + (1.0 - self.believed) / TAU
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
        // what a tilt does may be turned against the tilt
        let card_sigma_rad = self.settings.card_sigma_rad.hypot(self.response_turn_rad);
        let wide = OrientationSettings {
            card_sigma_rad,
            ..self.settings
        };
        let [one, other] = [hold, hold.turned(PI)].map(|hold| {
            let agrees = |card: &CardSeen| card.agrees(hold, Side::Inside, &wide);
            self.cards.iter().map(agrees).product::<f64>()
        });
        agreeing(self.believed, self.typed.mirrored) * header * one.max(other)
    }
}

/// Both mirror images, each as much believed as `believed` says (unmirrored, mirrored), the heavier first; the lighter only where it is not
/// ruled out.
pub fn weighed(
    fits: [HoldFit; 2],
    believed: [f64; 2],
    expected_m: Option<f64>,
    settings: &LearningSettings,
) -> Vec<(HoldCase, HoldFit)> {
    let mut all: Vec<(HoldCase, HoldFit)> = fits
        .into_iter()
        .map(|fit| {
            let learned = HoldCase {
                hold: hold_of(fit.product, fit.mirrored, expected_m),
                coma_m_per_rad: sense(expected_m) * fit.size_m_per_rad,
                weight: believed[usize::from(fit.mirrored)],
            };
            (learned, fit)
        })
        .collect();
    all.sort_by(|a, b| b.0.weight.total_cmp(&a.0.weight));
    if all[1].0.weight < settings.mirror_open_weight {
        all.truncate(1);
        all[0].0.weight = 1.0;
    }
    all
}

/// The sign of the response, as typed: trials do not tell it from half a turn of the camera.
fn sense(expected_m: Option<f64>) -> f64 {
    if expected_m.unwrap_or(1.0) < 0.0 {
        -1.0
    } else {
        1.0
    }
}

/// How the camera is held where k·exp(−i·rotation) is so.
fn hold_of(product: Complex64, mirrored: bool, expected_m: Option<f64>) -> Hold {
    let product = product * sense(expected_m);
    Hold {
        rotation_rad: wrapped(-libm::atan2(product.im, product.re)),
        mirrored,
    }
}
