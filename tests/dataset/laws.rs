//! Draws follow the laws they are asked for: tests of Kolmogorov and Smirnov, chi-square, moments. Limits are those of a chance
//! of about 1e-4 for a right program; the seed is fixed, so a right program passes always.

use skewstar::dataset::{Distribution, Varied};
use skewstar::rng::{Seed, SetSeed};

const DRAWS: u64 = 20_000;

fn draws(key: &str, distribution: Distribution) -> Vec<Vec<f64>> {
    let seed = SetSeed {
        seed: Seed(20_417),
        secret: None,
    };
    let varied = Varied {
        key: key.into(),
        distribution,
        known: false,
    };
    let screws = ["A", "B", "C"].map(String::from);
    (0..DRAWS)
        .map(|item| {
            let drawn = varied
                .draw(&seed, item, &screws)
                .expect("within its limits");
            drawn
                .iter()
                .map(|d| d.number().expect("a number"))
                .collect()
        })
        .collect()
}

fn single(distribution: Distribution) -> Vec<f64> {
    draws("a.b", distribution)
        .into_iter()
        .map(|values| values[0])
        .collect()
}

/// Largest distance between the law and the draws, times √n; beyond 2.2 with a chance of 1.2e-4 (Kolmogorov's limit law,
/// 2·exp(−2x²)).
fn distance(mut values: Vec<f64>, law: impl Fn(f64) -> f64) -> f64 {
    values.sort_by(f64::total_cmp);
    let n = values.len() as f64;
    let gaps = values.iter().enumerate().map(|(at, value)| {
        let below = law(*value);
        (below - at as f64 / n)
            .abs()
            .max((at as f64 + 1.0) / n - below)
    });
    gaps.fold(0.0, f64::max) * n.sqrt()
}

/// Φ by Abramowitz and Stegun 7.1.26, good to 1.5e-7.
fn normal_below(z: f64) -> f64 {
    let x = z.abs() / 2f64.sqrt();
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let poly = t
        * (0.254_829_592
            + t * (-0.284_496_736
                + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    let tail = 0.5 * poly * (-x * x).exp();
    if z > 0.0 { 1.0 - tail } else { tail }
}

#[test]
fn uniform_numbers_are_uniform() {
    let values = single(Distribution::Uniform {
        low: -3.0,
        high: 7.0,
    });
    let found = distance(values.clone(), |v| (v + 3.0) / 10.0);
    println!("uniform: {found:.2} of 2.2");
    assert!(found < 2.2);
    let wrong = distance(values, |v| ((v + 3.0) / 10.0).powf(1.1));
    assert!(
        wrong > 2.2,
        "the test would not see a law that is 10 % off: {wrong}"
    );
}

#[test]
fn the_logarithm_of_a_log_uniform_number_is_uniform() {
    let values = single(Distribution::LogUniform {
        low: 0.5,
        high: 40.0,
    });
    let found = distance(values, |v| (v / 0.5).ln() / 80f64.ln());
    println!("log-uniform: {found:.2} of 2.2");
    assert!(found < 2.2);
}

#[test]
fn normal_numbers_are_normal_and_cut_where_asked() {
    let whole = Distribution::Normal {
        mean: 40.0,
        sigma: 3.0,
        within: None,
    };
    let found = distance(single(whole), |v| normal_below((v - 40.0) / 3.0));
    let cut = Distribution::Normal {
        mean: 40.0,
        sigma: 3.0,
        within: Some([39.0, 45.0]),
    };
    let [low, high] = [39.0, 45.0].map(|v| normal_below((v - 40.0) / 3.0));
    let cut = distance(single(cut), |v| {
        (normal_below((v - 40.0) / 3.0) - low) / (high - low)
    });
    println!("normal: {found:.2}, cut: {cut:.2} of 2.2");
    assert!(found < 2.2 && cut < 2.2);
}

#[test]
fn choices_come_as_often_as_their_weights() {
    let weights = vec![1.0, 2.0, 0.0, 5.0];
    let choice = Distribution::Choice {
        values: ["10", "20", "30", "40"].map(String::from).to_vec(),
        weights: weights.clone(),
    };
    let values = single(choice);
    let mut chi_square = 0.0;
    for (value, weight) in [10.0, 20.0, 30.0, 40.0].into_iter().zip(weights) {
        let seen = values.iter().filter(|v| **v == value).count() as f64;
        let wanted = DRAWS as f64 * weight / 8.0;
        if wanted == 0.0 {
            assert_eq!(seen, 0.0);
        } else {
            chi_square += (seen - wanted).powi(2) / wanted;
        }
    }
    println!("choices: chi-square {chi_square:.2} of 18.4 with 2 degrees of freedom");
    assert!(chi_square < 18.4);
}

#[test]
fn turns_have_the_spread_and_the_correlation_asked_for() {
    for correlation in [-0.5, -0.2, 0.0, 0.6] {
        let law = Distribution::Turns {
            sigma_turns: 0.1,
            correlation,
            within_turns: None,
        };
        let all = draws("state.turns", law);
        let n = DRAWS as f64;
        let product = |i: usize, j: usize| all.iter().map(|t| t[i] * t[j]).sum::<f64>() / n / 0.01;
        // standard errors: √2/√n of a variance, √(1 + r²)/√n of a product
        for i in 0..3 {
            let mean = all.iter().map(|t| t[i]).sum::<f64>() / n / 0.1;
            assert!(mean.abs() < 4.0 / n.sqrt(), "{correlation}: mean {mean}");
            assert!(
                (product(i, i) - 1.0).abs() < 4.0 * (2.0 / n).sqrt(),
                "{correlation}"
            );
            let found = product(i, (i + 1) % 3);
            let error = ((1.0 + correlation * correlation) / n).sqrt();
            println!("turns: correlation {found:.3}, asked {correlation}");
            assert!(
                (found - correlation).abs() < 4.0 * error,
                "{correlation}: {found}"
            );
        }
    }
}

#[test]
fn keys_and_items_are_independent() {
    let uniform = || Distribution::Uniform {
        low: -1.0,
        high: 1.0,
    };
    let first: Vec<f64> = draws("a.b", uniform()).into_iter().map(|v| v[0]).collect();
    let second: Vec<f64> = draws("a.c", uniform()).into_iter().map(|v| v[0]).collect();
    let n = DRAWS as f64;
    let product = |pairs: &mut dyn Iterator<Item = (f64, f64)>| {
        pairs.map(|(a, b)| a * b).sum::<f64>() * 3.0 / n
    };
    let keys = product(&mut first.iter().copied().zip(second));
    let items = product(&mut first.iter().copied().zip(first.iter().copied().skip(1)));
    println!("correlation of two keys {keys:.4}, of two items {items:.4}");
    assert!(keys.abs() < 4.0 / n.sqrt() && items.abs() < 4.0 / n.sqrt());
}
