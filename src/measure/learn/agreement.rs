//! How well told turns agree with one response, and where tightening then pushes.
//!
//! With p and the mirror image given, a turn of screw j changes coma by a·b along u, where a·u = p·t, t is the tilt in one turn, and b is what the
//! hand gave: the turns that were asked for less what backlash took, with a spread that grows with a. So a change that is smaller than
//! expected says little against p, which a spread taken from the change itself would not know. Tightening adds a push s that is the same
//! each time for its pair, and a part that varies. Along u and across it these are two separate sums of squares with a common offset,
//! which is integrated out (a Gaussian of variance P):
//!
//! −2 ln L = Σ ln v + ln(1 + P·W) + Q − S²·P/(1 + P·W), with W = Σ 1/v, S = Σ r/v, Q = Σ r²/v.

use super::{LEAST_SIGMA_M, ToldTurn, complex, unmirrored};
use crate::instrument::Assembly;
use crate::measure::settings::LearningSettings;
use num_complex::Complex64;

/// What a hand makes of some turns.
#[derive(Debug, Clone, Copy)]
pub struct Given {
    /// How many are made on average.
    pub turns: f64,
    /// Variance of them.
    pub variance: f64,
}

impl Given {
    /// A screw that is turned the other way than last time loses its backlash first; `last` is the turn before, `None` where nobody knows it.
    pub fn of(
        turns: f64,
        last: Option<f64>,
        backlash_turns: f64,
        settings: &LearningSettings,
    ) -> Given {
        let [share, spread] = match last {
            None => [0.5, 0.5],
            Some(last) if last.signum() == turns.signum() => [0.0, 0.0],
            Some(_) => [1.0, settings.backlash_share],
        };
        let hand = (settings.hand_share * turns).powi(2) + settings.hand_turns.powi(2);
        Given {
            turns: turns.signum() * (turns.abs() - share * backlash_turns).max(0.0),
            variance: hand + (spread * backlash_turns).powi(2),
        }
    }
}

/// A told turn and the change that frames showed.
#[derive(Debug, Clone, Copy)]
pub struct ChangeSeen {
    /// Number of the screw.
    pub screw: usize,
    /// What the hand made of the turn.
    pub given: Given,
    /// Change of coma, frame axes, metres RMS.
    pub coma: Complex64,
    /// Standard deviation that the frames give it in either direction.
    pub frames_m: f64,
}

/// What told turns of all pairs say, if p is so.
#[derive(Debug, Clone)]
pub struct Agreement {
    /// Sum of squares that is left.
    pub chi_square: f64,
    /// Logarithm of how widely such changes scatter: with the sum of squares it makes −2 ln L, up to a constant that is the same for every p.
    ln_width: f64,
    /// Where tightening each pair is expected to push, unmirrored frame axes, metres RMS.
    pub pushes: Vec<Complex64>,
    /// Variance of that, the mean of both directions, square metres.
    pub push_variances_m2: Vec<f64>,
}

impl Agreement {
    /// Of all changes with coma that changes by `per_turn[j]` in one turn of screw j (unmirrored frame axes, metres RMS).
    pub fn of(
        changes: &[ChangeSeen],
        per_turn: &[Complex64],
        mirrored: bool,
        settings: &LearningSettings,
    ) -> Agreement {
        let push_m2 = settings.push_m2();
        let spread_m2 = 0.5 * settings.lock_spread_m.powi(2);
        let mut all = Agreement {
            chi_square: 0.0,
            ln_width: 0.0,
            pushes: Vec::with_capacity(per_turn.len()),
            push_variances_m2: Vec::with_capacity(per_turn.len()),
        };
        for (screw, change) in per_turn.iter().enumerate() {
            let (size, along) = (change.norm(), change / change.norm());
            let (mut ahead, mut across) = (Offset::default(), Offset::default());
            for seen in changes.iter().filter(|seen| seen.screw == screw) {
                let turned = unmirrored(seen.coma, mirrored) * along.conj();
                let still_m2 = seen.frames_m.powi(2) + spread_m2;
                ahead.add(
                    turned.re - size * seen.given.turns,
                    still_m2 + size * size * seen.given.variance,
                );
                across.add(turned.im, still_m2);
            }
            for offset in [&ahead, &across] {
                all.chi_square += offset.left(push_m2);
                all.ln_width += offset.ln_width(push_m2);
            }
            let push = Complex64::new(ahead.mean(push_m2), across.mean(push_m2));
            all.pushes.push(along * push);
            let variances = ahead.variance(push_m2) + across.variance(push_m2);
            all.push_variances_m2.push(0.5 * variances);
        }
        all
    }

    /// ln L where changes scatter `wider` times as much in their squares as hands and frames explain.
    pub fn ln_likelihood(&self, wider: f64) -> f64 {
        -0.5 * (self.chi_square / wider + self.ln_width)
    }
}

/// Residuals with one offset in common.
#[derive(Debug, Default)]
struct Offset {
    ln_variances: f64,
    weights: f64,
    sum: f64,
    squares: f64,
}

impl Offset {
    fn add(&mut self, residual_m: f64, variance_m2: f64) {
        let variance_m2 = variance_m2.max(LEAST_SIGMA_M.powi(2));
        self.ln_variances += libm::log(variance_m2);
        self.weights += variance_m2.recip();
        self.sum += residual_m / variance_m2;
        self.squares += residual_m * residual_m / variance_m2;
    }

    fn left(&self, push_m2: f64) -> f64 {
        (self.squares - self.sum * self.sum * self.variance(push_m2)).max(0.0)
    }

    fn ln_width(&self, push_m2: f64) -> f64 {
        self.ln_variances + libm::log1p(push_m2 * self.weights)
    }

    fn mean(&self, push_m2: f64) -> f64 {
        self.sum * self.variance(push_m2)
    }

    fn variance(&self, push_m2: f64) -> f64 {
        push_m2 / (1.0 + push_m2 * self.weights)
    }
}

/// Changes as told turns have them, in their order; `None` without any or with an unknown screw.
pub fn changes_seen(
    assembly: &Assembly,
    told: &[ToldTurn],
    settings: &LearningSettings,
) -> Option<Vec<ChangeSeen>> {
    let mut all: Vec<ChangeSeen> = Vec::with_capacity(told.len());
    for (number, turn) in told.iter().enumerate() {
        let last = last_way(&told[..number], &turn.screw);
        all.push(ChangeSeen {
            screw: assembly.screw(&turn.screw).ok()?,
            given: Given::of(turn.turns, last, assembly.backlash_turns, settings),
            coma: complex(turn.after_m) - complex(turn.before_m),
            frames_m: turn.sigma_m,
        });
    }
    (!all.is_empty()).then_some(all)
}

/// The last of told turns of a screw.
pub fn last_way(told: &[ToldTurn], screw: &str) -> Option<f64> {
    let own = told.iter().rev().find(|turn| turn.screw == screw);
    own.map(|turn| turn.turns)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::NM;
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};
    use rand_distr::{Distribution, StandardNormal};

    /// The twin: hands, pushes and spreads drawn by the hundred thousand instead of integrated. How often each change comes near the one that was
    /// seen goes with the likelihood; where the push then lies on average is the push that is expected.
    #[test]
    fn the_likelihood_is_how_often_a_change_comes_about() {
        let settings = LearningSettings::default();
        let mut rng = ChaCha8Rng::seed_from_u64(11);
        let mut normal = move || -> f64 { StandardNormal.sample(&mut rng) };
        let seen = ChangeSeen {
            screw: 0,
            given: Given::of(0.06, None, 0.03, &settings),
            coma: Complex64::new(35.0, 12.0) * NM,
            frames_m: 2.0 * NM,
        };
        let (near_m, draws) = (5.0 * NM, 400_000);
        let mut found = Vec::new();
        for per_turn in [(900.0, 0.0), (900.0, 0.9), (500.0, 1.4)] {
            let per_turn = Complex64::from_polar(per_turn.0 * NM, per_turn.1);
            let (mut near, mut push_sum) = (0, Complex64::ZERO);
            for _ in 0..draws {
                let done = seen.given.turns + seen.given.variance.sqrt() * normal();
                let push = Complex64::new(normal(), normal()) * settings.push_m2().sqrt();
                let own = (0.5 * settings.lock_spread_m.powi(2) + seen.frames_m.powi(2)).sqrt();
                let change = per_turn * done + push + Complex64::new(normal(), normal()) * own;
                if (change - seen.coma).norm() < near_m {
                    near += 1;
                    push_sum += push;
                }
            }
            let by_law = Agreement::of(&[seen], &[per_turn], false, &settings);
            let push = push_sum / f64::from(near.max(1));
            assert!(
                (push - by_law.pushes[0]).norm() < 1.5 * NM,
                "{push} {by_law:?}"
            );
            found.push((f64::from(near), by_law.ln_likelihood(1.0)));
        }
        for pair in found.windows(2) {
            let drawn = (pair[1].0 / pair[0].0).ln();
            let law = pair[1].1 - pair[0].1;
            assert!((drawn - law).abs() < 0.12, "{drawn} {law} {found:?}");
        }
    }

    /// Two turns of one pair share their push: what is left of it is less after the second.
    #[test]
    fn a_push_that_was_seen_twice_is_known_better() {
        let settings = LearningSettings::default();
        let mut rng = ChaCha8Rng::seed_from_u64(12);
        let change = |rng: &mut ChaCha8Rng| ChangeSeen {
            screw: 1,
            given: Given::of(0.1, None, 0.0, &settings),
            coma: Complex64::new(rng.random::<f64>(), 1.0) * NM,
            frames_m: NM,
        };
        let changes = [change(&mut rng), change(&mut rng)];
        let per_turn = [Complex64::new(100.0, 0.0) * NM; 3];
        let once = Agreement::of(&changes[..1], &per_turn, true, &settings);
        let twice = Agreement::of(&changes, &per_turn, true, &settings);
        assert!(twice.push_variances_m2[1] < 0.8 * once.push_variances_m2[1]);
        assert_eq!(once.push_variances_m2[0], settings.push_m2());
        assert_eq!(once.pushes[2], Complex64::ZERO);
    }

    /// By hand: of 0.1 turns a screw that comes back loses 0.03, one that goes on loses nothing, and nobody knows of the first.
    #[test]
    fn a_screw_that_comes_back_loses_its_backlash() {
        let settings = LearningSettings::default();
        let given = |last| Given::of(-0.1, last, 0.03, &settings);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} {b}");
        near(given(Some(-0.2)).turns, -0.1);
        near(given(Some(0.2)).turns, -0.07);
        near(given(None).turns, -0.085);
        assert!(given(Some(-0.2)).variance < given(Some(0.2)).variance);
        assert!(given(Some(0.2)).variance < given(None).variance);
        near(Given::of(0.02, Some(-1.0), 0.03, &settings).turns, 0.0);
    }
}
