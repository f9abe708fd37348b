//! Drawn atmosphere against the theory it is drawn from: Noll's residuals, the long-exposure transfer function, how modes average over
//! an exposure, and the star itself from a tenth of a second to minutes.

use ndarray::Array2;
use skewstar::atmosphere::{Atmosphere, Layer, ScaleRange, Screen};
use skewstar::geometry::CellGrid;
use skewstar::predict::{Instants, Model, Settings, atmosphere_of, averaged_variance};
use skewstar::rng::Seed;
use skewstar::scenario;
use skewstar::wavefront::ZernikeSum;
use std::f64::consts::TAU;

/// Kolmogorov's law over an aperture of 1 m with D = r0; a path in metres is a phase in radians.
fn unit_atmosphere(wind_m_per_s: f64) -> Atmosphere {
    Atmosphere {
        fried_m: 1.0,
        wavelength_m: TAU,
        outer_scale_m: f64::INFINITY,
        layers: vec![Layer {
            share: 1.0,
            wind_m_per_s: [wind_m_per_s, 0.0],
        }],
    }
}

const SCALES: ScaleRange = ScaleRange {
    widest_m: 1e6,
    finest_m: 0.025,
    ripples_a_ring: 10,
};

const GRID: CellGrid = CellGrid {
    count: 26,
    cell_m: 1.0 / 26.0,
};

fn disc() -> Vec<[usize; 2]> {
    let inside = |i: usize, j: usize| GRID.centre_m(i).hypot(GRID.centre_m(j)) < 0.5;
    (0..GRID.count)
        .flat_map(|j| (0..GRID.count).map(move |i| [j, i]))
        .filter(|[j, i]| inside(*i, *j))
        .collect()
}

/// Noll's modes 1 to `last` on the cells of the disc, made orthonormal there (Gram-Schmidt), so that projections are exact.
fn modes(last: u32) -> Vec<Vec<f64>> {
    let cells = disc();
    let mut made: Vec<Vec<f64>> = Vec::new();
    for noll in 1..=last {
        let sum = ZernikeSum::new(&[(noll, 1.0)].into_iter().collect());
        let mut mode: Vec<f64> = cells
            .iter()
            .map(|[j, i]| match noll {
                1 => 1.0,
                _ => sum.value(2.0 * GRID.centre_m(*i), 2.0 * GRID.centre_m(*j)),
            })
            .collect();
        for other in &made {
            let part = mean(&mode, other);
            mode.iter_mut().zip(other).for_each(|(m, o)| *m -= part * o);
        }
        let size = mean(&mode, &mode).sqrt();
        mode.iter_mut().for_each(|m| *m /= size);
        made.push(mode);
    }
    made
}

fn mean(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>() / a.len() as f64
}

fn on_disc(path: &Array2<f64>, cells: &[[usize; 2]]) -> Vec<f64> {
    cells.iter().map(|cell| path[*cell]).collect()
}

/// Check value `zernike.kolmogorov_residual`. The mean of 300 draws is as uncertain as the few strongest modes: piston-removed by 5 %,
/// tilt-removed by 2 % (one standard deviation); three of them are allowed.
#[test]
fn residuals_are_nolls() {
    let (cells, modes, draws) = (disc(), modes(21), 300);
    let mut residual = [0.0; 21];
    for seed in 0..draws {
        let path = Screen::new(&unit_atmosphere(0.0), SCALES, Seed(seed))
            .on(GRID)
            .at(0.0);
        let mut left = on_disc(&path, &cells);
        for (number, mode) in modes.iter().enumerate() {
            let part = mean(&left, mode);
            left.iter_mut().zip(mode).for_each(|(l, m)| *l -= part * m);
            residual[number] += mean(&left, &left) / draws as f64;
        }
    }
    let published = [
        (1, 1.032_421_582_17, 0.15),
        (3, 0.134_663_634_812, 0.06),
        (4, 0.111_445_756_863, 0.06),
        (6, 0.065_010_000_965, 0.06),
        (10, 0.040_244_264_486, 0.05),
        (21, 0.020_832_174_661, 0.05),
    ];
    for (removed, want, tolerance) in published {
        let got = residual[removed - 1];
        println!("after {removed:2} modes: {got:.5} rad^2, Noll {want:.5}");
        assert!(
            (got / want - 1.0).abs() < tolerance,
            "{removed}: {got} {want}"
        );
    }
}

/// Check value `seeing.mtf`: the mean of exp(i(φ(x+b) − φ(x))) is the long-exposure transfer at baseline b.
#[test]
fn phase_differences_give_the_long_exposure_transfer() {
    let published = [
        (0.1, 0.928_567_174_625),
        (0.25, 0.710_851_859_392),
        (0.5, 0.338_398_155_163),
        (1.0, 0.032_064_685_327_9),
    ];
    let draws = 1000;
    let mut sums = [0.0; 4];
    for seed in 0..draws {
        let screen = Screen::new(&unit_atmosphere(0.0), SCALES, Seed(10_000 + seed));
        for turn in 0..2 {
            let angle = 0.4 + 1.9 * f64::from(turn);
            let here = screen.path_m([3.0 * angle, -2.0 * angle], 0.0);
            for (sum, (baseline, _)) in sums.iter_mut().zip(published) {
                let step = [baseline * angle.cos(), baseline * angle.sin()];
                let there = screen.path_m([3.0 * angle + step[0], -2.0 * angle + step[1]], 0.0);
                *sum += (there - here).cos() / (2 * draws) as f64;
            }
        }
    }
    for (got, (baseline, want)) in sums.into_iter().zip(published) {
        println!("b = {baseline} r0: {got:.4}, exp(-3.44 (b/r0)^(5/3)) = {want:.4}");
        // the spread of a cosine is at most 0.71; 2000 of them, three standard deviations, and the ripples left out
        assert!((got - want).abs() < 0.04, "{baseline}: {got} {want}");
    }
}

/// Variance of the mean of a mode over an exposure against the integral of `predict::averaged_variance`: pairs of modes, since the
/// integral averages the wind's direction.
#[test]
fn modes_average_over_an_exposure_as_the_integral_says() {
    let (cells, modes, draws, moments) = (disc(), modes(10), 100, 12);
    let pairs = [(2, [5, 6]), (3, [7, 8]), (3, [9, 10])];
    for path_radii in [0.0, 1.5, 6.0] {
        let mut variance = [0.0; 3];
        for seed in 0..draws {
            // the aperture's radius is 0.5: `path_radii` of them in one second
            let atmosphere = unit_atmosphere(0.5 * path_radii);
            let screen = Screen::new(&atmosphere, SCALES, Seed(50_000 + seed)).on(GRID);
            let mut averaged = vec![0.0; cells.len()];
            for moment in 0..moments {
                let time_s = (f64::from(moment) + 0.5) / f64::from(moments);
                let path = on_disc(&screen.at(time_s), &cells);
                averaged
                    .iter_mut()
                    .zip(path)
                    .for_each(|(a, p)| *a += p / f64::from(moments));
            }
            for (sum, (_, pair)) in variance.iter_mut().zip(pairs) {
                let square = |noll: usize| mean(&averaged, &modes[noll - 1]).powi(2);
                *sum += (square(pair[0]) + square(pair[1])) / (2 * draws) as f64;
            }
        }
        for (got, (order, pair)) in variance.into_iter().zip(pairs) {
            let want = averaged_variance(order, 1.0, path_radii);
            println!("{path_radii} radii, modes {pair:?}: {got:.6} rad^2, integral {want:.6}");
            // two squares a draw: 10 % one standard deviation, three and a half allowed
            assert!(
                (got / want - 1.0).abs() < 0.35,
                "{path_radii} {pair:?}: {got} {want}"
            );
        }
    }
}

const STAR: &str = r#"
format = 1
title = "A star through moving atmosphere"
[telescope]
aperture_mm = 176.0
focal_length_mm = 805.0
[telescope.obstruction]
diameter_mm = 74.0
[camera]
pixel_um = 3.8
width_px = 31
height_px = 29
passband_nm = [540.0, 560.0]
wavelengths = 1
[sky]
seeing_arcsec = 3.1
wind_m_per_s = 9.0
"#;

fn relative_l2(a: &Array2<f64>, b: &Array2<f64>) -> f64 {
    let difference: f64 = a.iter().zip(b).map(|(a, b)| (a - b).powi(2)).sum();
    (difference / b.iter().map(|b| b * b).sum::<f64>()).sqrt()
}

/// The mean of many moments of drawn atmosphere is the star with the long exposure's transfer function. One exposure of 0.1 s is far
/// from it, one of 10 s comes near, once the outer scale is short against what the wind carries past: slow wandering of the whole
/// star is then part of the exposure.
#[test]
fn a_tenth_of_a_second_boils_and_ten_seconds_converge() {
    let read = scenario::read(STAR, "star.toml", &[]).expect("a scenario");
    let (instrument, state) = (read.instrument, read.state);
    let long = Model::new(&instrument, &state, Settings::default()).expect("a model");
    let long = long.light::<f64>();
    let mut still = state.clone();
    still.sky.seeing_rad = None;
    let model = Model::new(&instrument, &still, Settings::default()).expect("a model");
    let aperture_m = instrument.telescope.aperture_m;
    let expose = |seed: u64, outer_scale_m: f64, time_s: f64, most: usize| {
        let atmosphere = atmosphere_of(&state, outer_scale_m, 0.3).expect("seeing");
        let scales = ScaleRange::of_aperture(aperture_m);
        let screen = Screen::new(&atmosphere, scales, Seed(seed)).on(model.grid());
        let instants = Instants::of_wind(0.0, time_s, 9.0, aperture_m, most);
        model.light_through::<f32>(&model.alignment.modes, 0.0, &screen, instants)
    };
    let mean = |outer_scale_m: f64| {
        let draws = 110;
        (0..draws)
            .map(|seed| expose(seed, outer_scale_m, 0.0, 1))
            .fold(Array2::zeros(long.dim()), |sum, light| {
                sum + light / draws as f64
            })
    };
    let kolmogorov = relative_l2(&mean(1e5), &long);
    let (near, far) = (expose(900, 10.0, 0.1, 20), expose(901, 10.0, 0.1, 20));
    let (want, ten) = (mean(10.0), expose(902, 10.0, 10.0, 110));
    let [boiling, converged] = [&near, &ten].map(|light| relative_l2(light, &want));
    let change = relative_l2(&near, &far);
    println!("relative L2: mean of 110 draws from the transfer function {kolmogorov:.3}");
    println!(
        "from the mean: 0.1 s {boiling:.2}, 10 s {converged:.2}; two exposures of 0.1 s: {change:.2}"
    );
    assert!(kolmogorov < 0.15, "{kolmogorov}");
    assert!(change > 0.3 && converged < 0.25 && converged < 0.5 * boiling);
}

/// A longer exposure of atmosphere that blows twice as fast is the same frame.
#[test]
fn moments_follow_the_wind() {
    let slow = Instants::of_wind(0.0, 2.0, 5.0, 0.2, 1000);
    let fast = Instants::of_wind(0.0, 1.0, 10.0, 0.2, 1000);
    assert_eq!((slow.count, fast.count), (150, 150));
    assert_eq!(Instants::of_wind(0.0, 2.0, 0.0, 0.2, 1000).count, 1);
    assert_eq!(Instants::of_wind(0.0, 2.0, 5.0, 0.2, 7).count, 7);
    let times: Vec<f64> = Instants {
        start_s: 3.0,
        time_s: 1.0,
        count: 2,
    }
    .times_s()
    .collect();
    assert_eq!(times, [3.25, 3.75]);
}
