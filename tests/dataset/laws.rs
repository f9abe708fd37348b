//! Draws follow the laws they are asked for: tests of Kolmogorov and Smirnov, chi-square, moments. Limits are those of a chance
//! of about 1e-4 for a right program; the seed is fixed, so a right program passes always.

use skewstar::dataset::{Distribution, Draws, Varied, read};
use skewstar::rng::{Seed, SetSeed};

const DRAWS: u64 = 20_000;

fn draws(key: &str, distribution: Distribution) -> Vec<Vec<f64>> {
    let seed = SetSeed {
        seed: Seed(20_417),
        secret: None,
    };
    let varied = Varied::new(key, distribution);
    let screws = ["A", "B", "C"].map(String::from);
    let with = Draws {
        screws: &screws,
        ..Draws::default()
    };
    (0..DRAWS)
        .map(|item| {
            let drawn = varied.draw(&seed, item, &with).expect("within its limits");
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

#[test]
fn log_normal_numbers_have_normal_logarithms_cut_where_asked() {
    let law = |within| Distribution::LogNormal {
        median: 1.8,
        sigma_ln: 0.4,
        within,
    };
    let share = |v: f64| normal_below((v / 1.8).ln() / 0.4);
    let whole = distance(single(law(None)), share);
    let [low, high] = [1.2, 5.0].map(share);
    let cut = distance(single(law(Some([1.2, 5.0]))), |v| {
        (share(v) - low) / (high - low)
    });
    println!("log-normal: {whole:.2}, cut: {cut:.2} of 2.2");
    assert!(whole < 2.2 && cut < 2.2);
}

/// 1 − exp(−(v/scale)^shape): Weibull's law as textbooks have it.
#[test]
fn speeds_of_the_wind_follow_weibull() {
    let values = single(Distribution::Weibull {
        scale: 8.0,
        shape: 2.0,
    });
    let found = distance(values, |v| 1.0 - (-(v / 8.0).powi(2)).exp());
    println!("Weibull: {found:.2} of 2.2");
    assert!(found < 2.2);
}

/// On a sphere, equal heights have equal areas (Archimedes).
#[test]
fn altitudes_are_those_of_stars_spread_over_the_sky() {
    let values = single(Distribution::UniformSine {
        low_deg: 25.0,
        high_deg: 80.0,
    });
    let sine = |deg: f64| deg.to_radians().sin();
    let found = distance(values, |v| {
        (sine(v) - sine(25.0)) / (sine(80.0) - sine(25.0))
    });
    println!("uniform sine: {found:.2} of 2.2");
    assert!(found < 2.2);
}

#[test]
fn magnitudes_come_as_often_as_stars_have_them() {
    let law = |slope_per_magnitude| Distribution::StarCounts {
        bright: 1.0,
        faint: 6.0,
        slope_per_magnitude,
    };
    let count = |m: f64| 10f64.powf(0.5 * m);
    let found = distance(single(law(0.5)), |m| {
        (count(m) - count(1.0)) / (count(6.0) - count(1.0))
    });
    let flat = distance(single(law(0.0)), |m| (m - 1.0) / 5.0);
    println!("star counts: {found:.2}, without growth {flat:.2} of 2.2");
    assert!(found < 2.2 && flat < 2.2);
}

/// Keys that are correlated keep their laws, and their ranks go together as those of a Gaussian copula do: Spearman's coefficient
/// is 6/π·asin(r/2) (Kruskal 1958, from memory), with a standard error of about 1/√n.
#[test]
fn correlated_keys_keep_their_laws_and_go_together() {
    let recipe = super::RECIPE.to_owned()
        + "\"sky.wind_m_per_s\" = { weibull = [8.0, 2.0] }\n[[correlate]]\nkeys = [\"sky.seeing_arcsec\", \"sky.wind_m_per_s\"]\ncorrelation = 0.6\n\
           [[correlate]]\nkeys = [\"star.magnitude\", \"sky.seeing_arcsec\"]\ncorrelation = -0.5\n";
    let recipe = read(recipe.as_bytes(), "set.toml").expect("a recipe");
    let seed = SetSeed {
        seed: Seed(20_417),
        secret: None,
    };
    let column = |key: &str| -> Vec<f64> {
        let varied = recipe.vary.iter().find(|v| v.key == key).expect(key);
        (0..DRAWS)
            .map(|item| {
                let scores = recipe.correlations.scores(&seed, item);
                let with = Draws {
                    scores: &scores,
                    ..Draws::default()
                };
                let drawn = varied.draw(&seed, item, &with).expect("a draw");
                drawn[0].number().expect("a number")
            })
            .collect()
    };
    let keys = ["sky.seeing_arcsec", "sky.wind_m_per_s", "star.magnitude"];
    let [seeing, wind, magnitude] = keys.map(column);
    let laws = [
        distance(seeing.clone(), |v| v.ln() / 3f64.ln()),
        distance(wind.clone(), |v| 1.0 - (-(v / 8.0).powi(2)).exp()),
        distance(magnitude.clone(), |v| (v - 3.0) / 2.0),
    ];
    println!("laws of correlated keys: {laws:.2?} of 2.2");
    assert!(laws.iter().all(|found| *found < 2.2));
    for (a, b, r) in [
        (&seeing, &wind, 0.6),
        (&seeing, &magnitude, -0.5),
        (&wind, &magnitude, 0.0),
    ] {
        let (found, wanted) = (
            spearman(a, b),
            6.0 / std::f64::consts::PI * (r / 2.0f64).asin(),
        );
        println!("rank correlation {found:.3}, {wanted:.3} of a Gaussian copula");
        assert!(
            (found - wanted).abs() < 4.0 / (DRAWS as f64).sqrt(),
            "{found} {wanted}"
        );
    }
}

fn spearman(a: &[f64], b: &[f64]) -> f64 {
    let ranks = |values: &[f64]| {
        let mut order: Vec<usize> = (0..values.len()).collect();
        order.sort_by(|i, j| values[*i].total_cmp(&values[*j]));
        let mut ranks = vec![0.0; values.len()];
        for (rank, at) in order.into_iter().enumerate() {
            ranks[at] = rank as f64;
        }
        ranks
    };
    let (a, b) = (ranks(a), ranks(b));
    let n = a.len() as f64;
    let apart: f64 = a.iter().zip(&b).map(|(x, y)| (x - y).powi(2)).sum();
    1.0 - 6.0 * apart / (n * (n * n - 1.0))
}

/// Rows are drawn alike, and all keys of one table take the same row.
#[test]
fn a_table_of_ones_own_is_drawn_row_by_row() {
    let place = super::place();
    place.write(
        "nights.csv",
        "seeing,wind\n1.0,10\n2.0,20\n3.0,30\n4.0,40\n",
    );
    let tables = "\"sky.seeing_arcsec\" = { table = \"nights.csv\", column = \"seeing\" }\n\
                  \"sky.wind_m_per_s\" = { table = \"nights.csv\", column = \"wind\" }\n";
    let recipe = super::RECIPE.replace(
        "\"sky.seeing_arcsec\" = { log_uniform = [1.0, 3.0] }\n",
        tables,
    );
    place.write("set.toml", &recipe);
    let set = skewstar::dataset::Set::open(&place.path("set.toml"), &Default::default());
    let set = set.expect("a set");
    let mut seen = [0.0; 4];
    for item in 0..4000 {
        let drawn = set.drawn(item).expect("values");
        let value = |key: &str| drawn.iter().find(|d| d.key == key).and_then(|d| d.number());
        let (seeing, wind) = (value("sky.seeing_arcsec"), value("sky.wind_m_per_s"));
        assert_eq!(seeing.map(|s| 10.0 * s), wind);
        seen[seeing.expect("a number") as usize - 1] += 1.0;
    }
    let chi_square: f64 = seen
        .iter()
        .map(|n: &f64| (n - 1000.0).powi(2) / 1000.0)
        .sum();
    println!("rows of a table: chi-square {chi_square:.2} of 21.1 with 3 degrees of freedom");
    assert!(chi_square < 21.1);
    place.write(
        "set.toml",
        recipe.replace("column = \"wind\"", "column = \"gust\""),
    );
    let told = place.run(&super::make(&["--count", "1"])).unable().stderr;
    assert!(
        told.starts_with(
            "error: nights.csv has no column \"gust\"; its columns are seeing, wind\nhint: "
        ),
        "{told}"
    );
}
