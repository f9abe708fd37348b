//! Which ways of holding the camera fit, and how much each is to be believed.
//!
//! Two laws are exact and no fit gets round them. A pupil turned by half a turn with all of W negated (focus included) gives the
//! same picture: each way of holding the camera has a twin, half a turn further and on the other side of focus. And a pupil
//! that nothing marks gives the same picture however the camera is turned. So what was typed is a prior, and what a frame shows
//! multiplies it.

use super::super::doughnut::Side;
use super::super::settings::OrientationSettings;
use super::card::{CardSeen, hold_of_cards};
use crate::instrument::{Hold, Instrument, Orientation, wrapped};
use crate::measure::{MeasureOptions, Picture};
use std::f64::consts::{PI, TAU};

/// One way to hold the camera that fits the frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OrientationAnswer {
    /// How the camera would be held.
    pub hold: Hold,
    /// The side of focus that goes with it; `None` near focus, where a frame is on neither side.
    pub side: Option<Side>,
    /// How much it is to be believed; all answers together have 1.
    pub weight: f64,
}

/// What is believed of how the camera is held before a frame is seen.
#[derive(Debug, Clone, Copy)]
pub struct OrientationPrior {
    /// As typed.
    pub typed: Hold,
    /// How what was typed is known; `None` where nothing was typed that means anything.
    pub known: Option<Orientation>,
    /// Whether the camera mirrors by what the file says of the sky in it.
    pub by_header: Option<bool>,
    /// Side of focus as told.
    pub side: Option<Side>,
    /// Cards that other frames on the same side show at screws.
    pub cards: [Option<CardSeen>; 2],
    /// By which numbers.
    pub settings: OrientationSettings,
}

impl OrientationPrior {
    /// As an instrument, its owner and the file have it.
    pub fn of(
        instrument: &Instrument,
        picture: &Picture,
        options: &MeasureOptions,
    ) -> OrientationPrior {
        OrientationPrior {
            typed: instrument.camera.hold(),
            known: (!options.camera_unknown).then_some(instrument.camera.orientation),
            by_header: picture.camera_mirrors(&instrument.telescope),
            side: options.side,
            cards: options.cards,
            settings: options.settings.orientation,
        }
    }

    /// Belief that the typed rotation and mirroring are right.
    fn believed(&self) -> [f64; 2] {
        let own = &self.settings;
        match self.known {
            None => [0.0, 0.5],
            Some(Orientation::Assumed) => {
                [own.typed_rotation_believed, own.typed_mirroring_believed]
            }
            Some(Orientation::Known) => [own.known_believed; 2],
        }
    }

    /// Density of a rotation, per radian.
    fn rotation(&self, rotation_rad: f64) -> f64 {
        let [typed, _] = self.believed();
        let sigma = self.settings.typed_rotation_sigma_rad;
        let off = wrapped(rotation_rad - self.typed.rotation_rad) / sigma;
        let peak = libm::exp(-0.5 * off * off) / (sigma * TAU.sqrt());
        typed * peak + (1.0 - typed) / TAU
    }

    fn mirroring(&self, mirrored: bool) -> f64 {
        let [_, typed] = self.believed();
        let own = believed(typed, mirrored == self.typed.mirrored);
        let header = self.by_header.map_or(0.5, |by_header| {
            believed(self.settings.header_parity_believed, mirrored == by_header)
        });
        own * header / (own * header + (1.0 - own) * (1.0 - header))
    }

    fn side(&self, side: Side) -> f64 {
        let told_believed = match self.has_cards() {
            true => self.settings.told_side_believed_with_card,
            false => self.settings.told_side_believed,
        };
        self.side
            .map_or(0.5, |told| believed(told_believed, told == side))
    }

    /// Whether any frame shows a card.
    pub fn has_cards(&self) -> bool {
        self.cards.iter().any(Option::is_some)
    }

    /// What is believed of a hold on a side of focus.
    fn both(&self, hold: Hold, side: Side) -> f64 {
        let agrees = |card: &CardSeen| card.agrees(hold, side, &self.settings);
        let cards: f64 = self.cards.iter().flatten().map(agrees).product();
        self.hold(hold) * self.side(side) * cards
    }

    fn hold(&self, hold: Hold) -> f64 {
        self.rotation(hold.rotation_rad) * self.mirroring(hold.mirrored)
    }
}

/// How much an answer is to be believed that agrees with a source, or does not.
fn believed(source: f64, agrees: bool) -> f64 {
    if agrees { source } else { 1.0 - source }
}

/// A way of holding the camera that was tried on one side of focus, and how much worse than the best one it fits: the difference of
/// χ² in units of the best one's spread.
pub type Tried = (Hold, f64);

/// Answers where ways were tried on a frame taken on `side`: each of them, and its twin on the other side. The heaviest is first.
pub fn answers_of_doughnut(
    prior: &OrientationPrior,
    side: Side,
    tried: &[Tried],
) -> Vec<OrientationAnswer> {
    let both = tried.iter().flat_map(|(hold, worse)| {
        let fits = libm::exp(-0.5 * worse.max(0.0));
        [(*hold, side), (hold.turned(PI), side.other())].map(|(hold, side)| OrientationAnswer {
            hold,
            side: Some(side),
            weight: fits * prior.both(hold, side),
        })
    });
    shared_out(both.collect())
}

/// Answers near focus: each way that was tried, and its twin with all of W negated.
pub fn answers_near_focus(prior: &OrientationPrior, tried: &[Tried]) -> Vec<OrientationAnswer> {
    let both = tried.iter().flat_map(|(hold, worse)| {
        let fits = libm::exp(-0.5 * worse.max(0.0));
        [*hold, hold.turned(PI)].map(|hold| OrientationAnswer {
            hold,
            side: None,
            weight: fits * prior.hold(hold),
        })
    });
    shared_out(both.collect())
}

/// Answers where the frame shows nothing of how the camera is held: what cards say; without any, rotations all round stand for all of
/// them, the typed one first.
pub fn answers_of_prior(prior: &OrientationPrior) -> Vec<OrientationAnswer> {
    if prior.has_cards() {
        return answers_of_cards(prior);
    }
    let own = &prior.settings;
    let count = own.rotations_listed;
    let [typed, _] = prior.believed();
    let sides: &[Side] = match prior.side {
        Some(Side::Inside) => &[Side::Inside],
        Some(Side::Outside) => &[Side::Outside],
        None => &[Side::Inside, Side::Outside],
    };
    let mut all = Vec::new();
    for k in 0..count {
        let alone = (1.0 - typed) / count as f64;
        let rotation = alone + if k == 0 { typed } else { 0.0 };
        for mirrored in [prior.typed.mirrored, !prior.typed.mirrored] {
            let hold = Hold {
                mirrored,
                ..prior.typed.turned(k as f64 * TAU / count as f64)
            };
            all.extend(sides.iter().map(|side| OrientationAnswer {
                hold,
                side: Some(*side),
                weight: rotation * prior.mirroring(mirrored),
            }));
        }
    }
    shared_out(all)
}

/// For each mirror image and side the hold that agrees best with the cards.
fn answers_of_cards(prior: &OrientationPrior) -> Vec<OrientationAnswer> {
    let cards: Vec<CardSeen> = prior.cards.iter().flatten().copied().collect();
    let ways = [false, true].map(|mirrored| {
        [Side::Inside, Side::Outside].map(|side| {
            hold_of_cards(&cards, mirrored, side).map(|hold| OrientationAnswer {
                hold,
                side: Some(side),
                weight: prior.both(hold, side),
            })
        })
    });
    shared_out(ways.into_iter().flatten().flatten().collect())
}

/// Answers of less weight than this are not told.
const TOLD_FROM: f64 = 1e-4;

/// The same with weights that sum up to 1, the heaviest first.
fn shared_out(mut all: Vec<OrientationAnswer>) -> Vec<OrientationAnswer> {
    let share = |all: &mut Vec<OrientationAnswer>| {
        let sum: f64 = all.iter().map(|a| a.weight).sum();
        all.iter_mut().for_each(|a| a.weight /= sum);
    };
    share(&mut all);
    all.retain(|a| a.weight >= TOLD_FROM);
    share(&mut all);
    all.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::DEG;

    fn prior(known: Option<Orientation>, side: Option<Side>) -> OrientationPrior {
        OrientationPrior {
            typed: Hold {
                rotation_rad: 40.0 * DEG,
                mirrored: false,
            },
            known,
            by_header: None,
            side,
            cards: [None; 2],
            settings: OrientationSettings::default(),
        }
    }

    fn weight(answers: &[OrientationAnswer], degrees: f64, mirrored: bool, side: Side) -> f64 {
        let is_it = |a: &&OrientationAnswer| {
            wrapped(a.hold.rotation_rad - degrees * DEG).abs() < 1.0 * DEG
                && a.hold.mirrored == mirrored
                && a.side == Some(side)
        };
        answers.iter().filter(is_it).map(|a| a.weight).sum()
    }

    #[test]
    fn weights_sum_up_to_one_and_the_rotation_is_spread_evenly() {
        // a fine sum over all rotations: the density is one
        let prior = prior(Some(Orientation::Assumed), None);
        let steps = 36_000;
        let sum: f64 = (0..steps)
            .map(|k| prior.rotation(k as f64 * TAU / f64::from(steps)) * TAU / f64::from(steps))
            .sum();
        assert!((sum - 1.0).abs() < 1e-6, "{sum}");
        let answers = answers_of_prior(&prior);
        assert!((answers.iter().map(|a| a.weight).sum::<f64>() - 1.0).abs() < 1e-12);
        assert_eq!(answers.len(), 48);
    }

    /// One vane that fits as typed on the outside: inside, with the camera half a turn further, is the same picture.
    #[test]
    fn without_a_side_the_twin_keeps_a_weight_that_counts() {
        let as_typed = [(prior(None, None).typed, 0.0)];
        let counts = OrientationSettings::default().weight_that_counts;
        let untold = prior(Some(Orientation::Assumed), None);
        let answers = answers_of_doughnut(&untold, Side::Outside, &as_typed);
        assert!(weight(&answers, 40.0, false, Side::Outside) > 0.5);
        assert!(weight(&answers, 220.0, false, Side::Inside) > counts);
        // a side that was told makes it unlikely, a camera that was checked rules it out
        let told = prior(Some(Orientation::Assumed), Some(Side::Outside));
        let answers = answers_of_doughnut(&told, Side::Outside, &as_typed);
        let twin = weight(&answers, 220.0, false, Side::Inside);
        assert!(twin > counts && twin < 0.05, "{twin}");
        let known = prior(Some(Orientation::Known), None);
        let answers = answers_of_doughnut(&known, Side::Outside, &as_typed);
        assert!(weight(&answers, 220.0, false, Side::Inside) < counts);
    }

    /// A card at a screw, on a told side, leaves the two mirror images; a second one leaves the right one.
    #[test]
    fn two_cards_leave_one_answer_and_one_card_two() {
        let truth = Hold {
            rotation_rad: -100.0 * DEG,
            mirrored: true,
        };
        let card = |screw: usize, at_deg: f64| {
            let mut card = CardSeen {
                screw,
                azimuth_rad: at_deg * DEG,
                direction_rad: 0.0,
            };
            card.direction_rad = -card.off_rad(truth, Side::Outside);
            Some(card)
        };
        let counts = OrientationSettings::default().weight_that_counts;
        let open = |cards| {
            let mut prior = prior(Some(Orientation::Assumed), Some(Side::Outside));
            prior.cards = cards;
            let mut all = answers_of_prior(&prior);
            all.retain(|answer| answer.weight > counts);
            all
        };
        let two = open([card(0, 90.0), card(1, 210.0)]);
        assert_eq!(two.len(), 1, "{two:?}");
        assert!(two[0].hold.is_near(truth, 1e-9), "{two:?}");
        let one = open([card(0, 90.0), None]);
        assert_eq!(one.len(), 2, "{one:?}");
        assert!(one[0].hold.mirrored != one[1].hold.mirrored);
    }

    /// The shadows contradict what was typed and told together: neither is believed.
    #[test]
    fn a_contradiction_of_side_and_rotation_stays_open() {
        let told = prior(Some(Orientation::Assumed), Some(Side::Inside));
        let seen = [(told.typed.turned(PI), 0.0)];
        let answers = answers_of_doughnut(&told, Side::Inside, &seen);
        let counts = OrientationSettings::default().weight_that_counts;
        assert!(weight(&answers, 220.0, false, Side::Inside) > counts);
        assert!(weight(&answers, 40.0, false, Side::Outside) > counts);
    }

    #[test]
    fn a_mirror_image_that_fits_as_well_counts_until_the_camera_is_known() {
        let tried = |p: &OrientationPrior| {
            let mirrored = Hold {
                mirrored: true,
                ..p.typed
            };
            [(p.typed, 0.0), (mirrored, 0.0)]
        };
        let told = Some(Side::Outside);
        let assumed = prior(Some(Orientation::Assumed), told);
        let known = prior(Some(Orientation::Known), told);
        let of = |p: &OrientationPrior| {
            weight(
                &answers_of_doughnut(p, Side::Outside, &tried(p)),
                40.0,
                true,
                Side::Outside,
            )
        };
        assert!((of(&assumed) - 0.1).abs() < 0.01, "{}", of(&assumed));
        assert!(of(&known) < 0.01, "{}", of(&known));
    }
}
