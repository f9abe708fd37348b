//! What told turns say of every screw, all together: how the camera is held, what a tilt does, and where tightening pushes the unit.
//!
//! A turn of screw j tilts the unit by t and changes coma, in frame axes, by p·t + s where the camera does not mirror, and by
//! −conj(p·t + s) where it does: p = k·exp(−i·rotation), and s is where tightening that pair pushes the unit, about the same way each time
//! and another way for each pair. A hand errs by a share of what the turn does, so that what turns say of p is no Gaussian, and neither is what
//! is believed beside them (a response of about the typed size, cards, the file). The belief is therefore kept as points in the plane
//! of p, each with its weight ([`Agreement`]).

use super::agreement::{Agreement, Given, changes_seen, last_way};
use super::fit::{Beside, freedom};
use super::grid::{LEAST_WEIGHT, Weighed, searched, sizes_to_search};
use super::{LEAST_SIGMA_M, LearnedResponse, Lesson, ToldTurn, complex, unmirrored};
use crate::instrument::{Assembly, Instrument};
use crate::measure::orientation::CardSeen;
use crate::measure::settings::{LearningSettings, MeasureSettings};
use crate::mechanics::tilt_per_turn;
use num_complex::Complex64;
use std::f64::consts::SQRT_2;

/// Every way things may be, after told turns.
#[derive(Debug, Clone)]
pub struct Belief {
    points: Vec<Point>,
    /// The mean of the points of each mirror image; `None` where one is ruled out.
    images: [Option<Point>; 2],
    /// How little is known of what turns do, 0 to 1: the share of their square that is not in the mean of all points, frame axes.
    vague: f64,
    /// Coma before the first of the turns, metres RMS.
    start_m: f64,
    /// The last turn of each screw, where one was told.
    last_turns: Vec<Option<f64>>,
    backlash_turns: f64,
    settings: LearningSettings,
}

/// Whether a turn leaves both mirror images open.
#[derive(Debug, Clone, Copy, Default)]
struct Open {
    /// How likely that is.
    share: f64,
    /// What is then left, metres RMS.
    leaves_m: f64,
}

/// One way things may be.
#[derive(Debug, Clone)]
struct Point {
    mirrored: bool,
    weight: f64,
    /// How far the points that this one stands for lie from it, square of a share of what a turn does; 0 of one that stands for itself.
    spread: f64,
    /// Change of coma in one turn of each screw, unmirrored frame axes, metres RMS.
    per_turn: Vec<Complex64>,
    /// Where tightening each pair is expected to push, unmirrored frame axes, metres RMS.
    pushes: Vec<Complex64>,
    /// Variance of that along each axis, square metres.
    push_variances_m2: Vec<f64>,
}

/// What becomes of coma when a screw is turned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook {
    /// How likely it is that coma grows.
    pub grows: f64,
    /// How likely it is that it grows in the mirror image that is worse for it, where that one counts.
    pub grows_at_worst: f64,
    /// How likely it is that it becomes more than twice as large as before the first turn.
    pub beyond_twice: f64,
    /// Coma that is expected to be left, metres RMS.
    pub leaves_m: f64,
    /// The same, where that is good enough or may be followed by another turn, at its price; where the turn leaves both mirror images open, by one that must serve both.
    pub cost_m: f64,
}

impl LearnedResponse {
    /// The cards as an assembly has the screws; those at screws that it does not have are left out.
    fn cards_on(&self, assembly: &Assembly) -> Vec<CardSeen> {
        let cards = self.cards.iter();
        cards
            .filter_map(|card| CardSeen::at_screw(assembly, &card.screw, card.direction_rad))
            .collect()
    }
}

impl Belief {
    /// What a learned response's turns leave; `None` without any, or where they do not fit the instrument.
    pub fn of(
        learned: &LearnedResponse,
        instrument: &Instrument,
        settings: &MeasureSettings,
    ) -> Option<Belief> {
        let cards = learned.cards_on(instrument.assembly.as_ref()?);
        let lesson = Lesson {
            cards: &cards,
            by_header: learned.by_header,
            ..Lesson::default()
        };
        let beside = Beside::of(&lesson, &instrument.camera, settings);
        Belief::of_told(&learned.trials, &beside, instrument, settings)
    }

    /// What told turns leave, in their order, with what is believed beside them; `None` as for [`Belief::of`].
    pub fn of_told(
        told: &[ToldTurn],
        beside: &Beside,
        instrument: &Instrument,
        settings: &MeasureSettings,
    ) -> Option<Belief> {
        let assembly = instrument.assembly.as_ref()?;
        let own = &settings.learning;
        let expected_m = assembly.response.as_ref().map(|r| r.coma_m_per_rad);
        let seen = changes_seen(assembly, told, own)?;
        let tilts: Vec<Complex64> = (0..assembly.screws.len())
            .map(|screw| complex(tilt_per_turn(assembly, screw)))
            .collect();
        let sizes = sizes_to_search(&seen, &tilts, expected_m);
        let weighed = |mirrored: bool| {
            searched(sizes, &|product: Complex64| {
                let per_turn: Vec<Complex64> = tilts.iter().map(|tilt| product * tilt).collect();
                Weighed {
                    agrees: Agreement::of(&seen, &per_turn, mirrored, own),
                    beside: beside.of_product(product, mirrored, expected_m, own),
                    product,
                    per_turn,
                }
            })
        };
        let both = [weighed(false), weighed(true)];
        let every = || both.iter().flatten();
        let least = every()
            .map(|node| node.agrees.chi_square)
            .fold(f64::INFINITY, f64::min);
        let wider = (least / freedom(seen.len()).max(1) as f64).max(1.0);
        let best = every()
            .map(|node| node.ln_weight(wider))
            .fold(f64::NEG_INFINITY, f64::max);
        let mut points: Vec<Point> = both
            .into_iter()
            .zip([false, true])
            .flat_map(|(nodes, mirrored)| nodes.into_iter().map(move |node| (node, mirrored)))
            .map(|(node, mirrored)| Point {
                mirrored,
                weight: libm::exp(node.ln_weight(wider) - best),
                spread: 0.0,
                per_turn: node.per_turn,
                pushes: node.agrees.pushes,
                push_variances_m2: node.agrees.push_variances_m2,
            })
            .collect();
        points.retain(|point| point.weight > LEAST_WEIGHT);
        let sum: f64 = points.iter().map(|point| point.weight).sum();
        points.iter_mut().for_each(|point| point.weight /= sum);
        (sum > 0.0).then(|| Belief {
            vague: vague(&points),
            images: images(&points, own.mirror_open_weight),
            points,
            start_m: complex(told[0].before_m).norm(),
            last_turns: assembly
                .screws
                .iter()
                .map(|screw| last_way(told, &screw.name))
                .collect(),
            backlash_turns: assembly.backlash_turns,
            settings: *own,
        })
    }

    /// What a turn of a screw does to coma as it is now (frame axes, x + iy, metres RMS), where coma below `stop_m` is good enough and at
    /// most `most_turns` of any screw follow.
    pub fn outlook(
        &self,
        now: Complex64,
        (screw, turns): (usize, f64),
        stop_m: f64,
        most_turns: f64,
    ) -> Outlook {
        let Given {
            turns: done,
            variance,
        } = self.given(screw, turns);
        let mut all = Outlook {
            grows: 0.0,
            grows_at_worst: 0.0,
            beyond_twice: 0.0,
            leaves_m: 0.0,
            cost_m: 0.0,
        };
        let mut images = [(0.0, 0.0); 2];
        let open = self.images_open(now, (screw, turns), most_turns);
        for point in &self.points {
            let before = unmirrored(now, point.mirrored);
            let left = before + point.per_turn[screw] * done + point.pushes[screw];
            let moved = self.moved_m2(point, screw) + variance * point.per_turn[screw].norm_sqr();
            let sigma = (0.5 * moved).sqrt().max(LEAST_SIGMA_M);
            let above = |level_m: f64| normal((left.norm() - level_m) / sigma);
            let leaves_m = (left.norm_sqr() + moved).sqrt();
            let vague = self.vague_after(point.per_turn[screw], done, moved);
            let known = self.followed(point, left, most_turns);
            let settled = known + vague * (left.norm() - known).max(0.0);
            let after = settled
                + open.share * (open.leaves_m - settled).clamp(0.0, self.settings.round_costs_m);
            let cost_m = match leaves_m < stop_m {
                true => 0.5 * leaves_m,
                false => leaves_m.min(after + self.settings.round_costs_m),
            };
            let grows = above(now.norm());
            all.grows += point.weight * grows;
            all.beyond_twice += point.weight * above(2.0 * self.start_m);
            all.leaves_m += point.weight * leaves_m;
            all.cost_m += point.weight * cost_m;
            let image = &mut images[usize::from(point.mirrored)];
            *image = (image.0 + point.weight, image.1 + point.weight * grows);
        }
        let counting = images
            .into_iter()
            .filter(|image| image.0 > self.settings.mirror_open_weight);
        all.grows_at_worst = counting.map(|(all, grows)| grows / all).fold(0.0, f64::max);
        all
    }

    /// How likely it is that a turn leaves both mirror images open, and what the best next turn then leaves that must serve both.
    fn images_open(&self, now: Complex64, (screw, turns): (usize, f64), most_turns: f64) -> Open {
        let [Some(one), Some(other)] = &self.images else {
            return Open::default();
        };
        let Given {
            turns: done,
            variance,
        } = self.given(screw, turns);
        let lefts = [one, other].map(|image| {
            unmirrored(now, image.mirrored) + image.per_turn[screw] * done + image.pushes[screw]
        });
        let seen = [one, other].map(|image| {
            unmirrored(
                image.per_turn[screw] * done + image.pushes[screw],
                image.mirrored,
            )
        });
        let within = [one, other].map(|image| {
            image.weight
                * image.per_turn[screw].norm_sqr()
                * (variance + image.spread * done * done)
        });
        let still_m2 = [one, other].map(|image| image.weight * self.moved_m2(image, screw));
        let square_m2 = still_m2.iter().chain(&within).sum::<f64>();
        let apart = (seen[0] - seen[1]).norm() / (0.5 * square_m2).sqrt().max(LEAST_SIGMA_M);
        let leaves = |other_screw: usize, turns: f64| -> f64 {
            let image = |image: &Point, left: Complex64| {
                let rest = left + image.pushes[other_screw] + image.per_turn[other_screw] * turns;
                image.weight * (rest.norm_sqr() + self.moved_m2(image, other_screw)).sqrt()
            };
            image(one, lefts[0]) + image(other, lefts[1])
        };
        let undoes = |image: &Point, left: Complex64, other_screw: usize| {
            let own = image.per_turn[other_screw];
            let turns = -((left + image.pushes[other_screw]) * own.conj()).re / own.norm_sqr();
            turns.clamp(-most_turns, most_turns)
        };
        let untouched = one.weight * lefts[0].norm() + other.weight * lefts[1].norm();
        let best = (0..self.screws()).flat_map(|next| {
            let [a, b] = [undoes(one, lefts[0], next), undoes(other, lefts[1], next)];
            [a, b, one.weight * a + other.weight * b].map(|turns| leaves(next, turns))
        });
        Open {
            share: 2.0 * normal(-0.5 * apart),
            leaves_m: best.fold(untouched, f64::min),
        }
    }

    /// How little is known once a turn was seen: what it changes stands against what hand and tightening do, as two measurements of one
    /// number are put together.
    fn vague_after(&self, per_turn: Complex64, done: f64, moved_m2: f64) -> f64 {
        let seen_m2 = per_turn.norm_sqr() * done * done;
        self.vague * moved_m2 / (moved_m2 + self.vague * seen_m2)
    }

    /// How many turns of the screw that does least would undo coma as it is (frame axes, metres RMS), at the response that is expected.
    pub fn turns_worth(&self, now: Complex64) -> f64 {
        let per_turn = |point: &Point| {
            let sizes = point.per_turn.iter().map(|change| change.norm());
            point.weight * sizes.fold(f64::INFINITY, f64::min)
        };
        let mean: f64 = self.points.iter().map(per_turn).sum();
        now.norm() / mean
    }

    /// What a hand makes of a turn that is asked for.
    fn given(&self, screw: usize, turns: f64) -> Given {
        let last = self.last_turns[screw];
        Given::of(turns, last, self.backlash_turns, &self.settings)
    }

    /// How much each mirror image is to be believed: unmirrored, mirrored; together 1.
    pub fn images_believed(&self) -> [f64; 2] {
        [false, true].map(|mirrored| {
            let own = self.points.iter().filter(|p| p.mirrored == mirrored);
            own.map(|point| point.weight).sum()
        })
    }

    /// Number of screws.
    pub fn screws(&self) -> usize {
        self.points.first().map_or(0, |point| point.per_turn.len())
    }

    /// Coma that the best next turn then leaves, if things are as at a point.
    fn followed(&self, point: &Point, left: Complex64, most_turns: f64) -> f64 {
        let leaves = |other: usize| {
            let (own, base) = (point.per_turn[other], left + point.pushes[other]);
            let turns = -(base * own.conj()).re / own.norm_sqr();
            let rest = base + own * turns.clamp(-most_turns, most_turns);
            (rest.norm_sqr() + self.moved_m2(point, other)).sqrt()
        };
        (0..self.screws()).map(leaves).fold(f64::INFINITY, f64::min)
    }

    /// Square of how far tightening a pair moves coma from where it is expected, both axes together.
    fn moved_m2(&self, point: &Point, screw: usize) -> f64 {
        2.0 * point.push_variances_m2[screw] + self.settings.lock_spread_m.powi(2)
    }
}

/// The share of the square of what a turn does that is not in its mean over the points of its mirror image.
fn vague(points: &[Point]) -> f64 {
    let images = [false, true].map(|mirrored| image(points, mirrored));
    let mean = |image: &Point| image.weight * image.per_turn[0].norm_sqr();
    let of_means: f64 = images.iter().flatten().map(mean).sum();
    let square: f64 = points.iter().map(mean).sum();
    match square > 0.0 {
        true => (1.0 - of_means / square).clamp(0.0, 1.0),
        false => 1.0,
    }
}

/// Both mirror images, where neither is ruled out.
fn images(points: &[Point], least_weight: f64) -> [Option<Point>; 2] {
    let both = [false, true].map(|mirrored| image(points, mirrored));
    let counts = |image: &Option<Point>| image.as_ref().is_some_and(|i| i.weight > least_weight);
    match both.iter().all(counts) {
        true => both,
        false => [None, None],
    }
}

/// The mean of the points of one mirror image, with their weight together.
fn image(points: &[Point], mirrored: bool) -> Option<Point> {
    let own = || points.iter().filter(|point| point.mirrored == mirrored);
    let weight: f64 = own().map(|point| point.weight).sum();
    let screws = own().next()?.per_turn.len();
    let mean = |of: &dyn Fn(&Point) -> Complex64| -> Complex64 {
        own().map(|point| of(point) * (point.weight / weight)).sum()
    };
    let per_turn: Vec<Complex64> = (0..screws).map(|j| mean(&|p| p.per_turn[j])).collect();
    let square: f64 = own()
        .map(|p| p.per_turn[0].norm_sqr() * (p.weight / weight))
        .sum();
    Some(Point {
        mirrored,
        weight,
        spread: (square / per_turn[0].norm_sqr() - 1.0).max(0.0),
        pushes: (0..screws).map(|j| mean(&|p| p.pushes[j])).collect(),
        push_variances_m2: (0..screws)
            .map(|j| mean(&|p| p.push_variances_m2[j].into()).re)
            .collect(),
        per_turn,
    })
}

/// Probability that a normal variable lies below this many standard deviations.
fn normal(sigmas: f64) -> f64 {
    0.5 * libm::erfc(-sigmas / SQRT_2)
}
