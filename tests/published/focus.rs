//! A star in focus, point by point: rings, widths and heights of the pattern of a disc and of an annulus; what a tilt does.
//!
//! Sampling: rows of pixels of 0.02 λN, turned into point values by `support::bench`. Places of rings are allowed 4e-5 λN,
//! widths at half height 2e-6 λN, heights 2e-6 of the central one; `a_finer_sampling_comes_closer` shows that the deviations
//! shrink with the engine's sampling.

use crate::support::bench::{APERTURE_M, Bench};
use crate::support::checks::{agrees, input, list, number};
use crate::support::curve::{highest, passes, turning_point};
use crate::support::light::centroid;
use skewstar::units::NM;
use skewstar::wavefront::Seidel;
use std::f64::consts::PI;

pub const USED: &[&str] = &[
    "convention.tilt_shift",
    "airy.dark_ring_v",
    "airy.dark_ring_lambdaN",
    "airy.bright_ring_v",
    "airy.bright_ring_lambdaN",
    "airy.bright_ring_intensity",
    "airy.half_intensity_v",
    "airy.fwhm_lambdaN",
    "airy.central_irradiance",
    "airy.central_irradiance_per_watt",
    "annulus.first_dark_ring_v",
    "annulus.first_dark_ring_lambdaN",
    "annulus.second_dark_ring_v",
    "annulus.first_bright_ring_v",
    "annulus.first_bright_ring_intensity",
    "annulus.second_bright_ring_intensity",
    "annulus.fwhm_lambdaN",
    "annulus.intensity_profile",
    "annulus.central_irradiance_same_beam",
    "annulus.central_irradiance_same_power",
];

/// Allowed for the place of a ring, in λN.
const PLACE: f64 = 4e-5;
/// Allowed for a width at half height, in λN.
const WIDTH: f64 = 2e-6;
/// Allowed for a height, over the central one.
const HEIGHT: f64 = 2e-6;
/// Width of the pixels, in λN.
const STEP: f64 = 0.02;

/// Turning points of the light along a radius: place in λN and height over the centre's.
struct Rings {
    dark: Vec<(f64, f64)>,
    bright: Vec<(f64, f64)>,
    half_width: f64,
}

fn star(obstruction_ratio: f64) -> Bench {
    Bench::annular(5.0, 550.0 * NM, obstruction_ratio)
}

fn rings(star: &Bench, reach: f64) -> Rings {
    let row = star.row(0.0, STEP * star.lambda_n_m(), (reach / STEP) as usize);
    let mut found = Rings {
        dark: Vec::new(),
        bright: Vec::new(),
        half_width: 0.0,
    };
    for at in 2..row.len() - 2 {
        let [before, here, after] = [row[at - 1], row[at], row[at + 1]];
        let turn = || {
            let (place, height) = turning_point(&row, at);
            (place * STEP, height / row[0])
        };
        if here < before && here <= after {
            found.dark.push(turn());
        }
        if here > before && here >= after {
            found.bright.push(turn());
        }
    }
    let below = row.iter().position(|&v| v < 0.5 * row[0]).unwrap();
    found.half_width = passes(&row, 0.5 * row[0], below) * STEP;
    found
}

#[test]
fn rings_of_a_clear_aperture() {
    let found = rings(&star(0.0), 6.0);
    for (ring, value) in list("airy.dark_ring_lambdaN").into_iter().enumerate() {
        let name = format!("ring {}", ring + 1);
        let (place, depth) = found.dark[ring];
        agrees("airy.dark_ring_lambdaN", &name, value, place, PLACE);
        let value = list("airy.dark_ring_v")[ring];
        agrees("airy.dark_ring_v", &name, value, PI * place, PI * PLACE);
        assert!(depth.abs() < 1e-7, "{name} is dark: {depth:e}");
    }
    for (ring, value) in list("airy.bright_ring_lambdaN").into_iter().enumerate() {
        let name = format!("ring {}", ring + 1);
        let (place, height) = found.bright[ring];
        agrees("airy.bright_ring_lambdaN", &name, value, place, PLACE);
        let value = list("airy.bright_ring_v")[ring];
        agrees("airy.bright_ring_v", &name, value, PI * place, PI * PLACE);
        let value = list("airy.bright_ring_intensity")[ring];
        agrees("airy.bright_ring_intensity", &name, value, height, HEIGHT);
    }
    let (id, half) = ("airy.half_intensity_v", found.half_width);
    agrees(id, "", number(id), PI * half, PI * WIDTH);
    let id = "airy.fwhm_lambdaN";
    agrees(id, "", number(id), 2.0 * half, WIDTH);
}

#[test]
fn rings_of_an_annular_aperture() {
    let ratios = input("annulus.first_dark_ring_v", "eps").list();
    for (i, ratio) in ratios.into_iter().enumerate() {
        let found = rings(&star(ratio), 4.5);
        let name = format!("eps {ratio}");
        for (id, place) in [
            ("annulus.first_dark_ring_v", found.dark[0].0),
            ("annulus.second_dark_ring_v", found.dark[1].0),
            ("annulus.first_bright_ring_v", found.bright[0].0),
        ] {
            agrees(id, &name, list(id)[i], PI * place, PI * PLACE);
        }
        let id = "annulus.first_dark_ring_lambdaN";
        agrees(id, &name, list(id)[i], found.dark[0].0, PLACE);
        for (id, height) in [
            ("annulus.first_bright_ring_intensity", found.bright[0].1),
            ("annulus.second_bright_ring_intensity", found.bright[1].1),
        ] {
            agrees(id, &name, list(id)[i], height, HEIGHT);
        }
        let id = "annulus.fwhm_lambdaN";
        agrees(id, &name, list(id)[i], 2.0 * found.half_width, WIDTH);
    }
}

#[test]
fn light_along_a_radius_of_an_annulus() {
    let id = "annulus.intensity_profile";
    let star = star(input(id, "eps").number());
    for (v, value) in input(id, "v").list().into_iter().zip(list(id)) {
        // at an azimuth that is no axis of the grid
        let radius = v / PI * star.lambda_n_m();
        let found = star.relative([radius * 0.7f64.cos(), radius * 0.7f64.sin()]);
        agrees(id, &format!("v {v}"), value, found, HEIGHT);
    }
}

#[test]
fn irradiance_in_the_middle() {
    let id = "airy.central_irradiance_per_watt";
    let star = Bench::clear(input(id, "N").number(), input(id, "lambda_m").number());
    let value = number(id);
    agrees(id, "1/m2", value, star.irradiance([0.0; 2]), HEIGHT * value);

    let id = "airy.central_irradiance";
    assert_eq!(input(id, "D_m").number(), APERTURE_M);
    let focal_ratio = input(id, "f_m").number() / APERTURE_M;
    let star = Bench::clear(focal_ratio, input(id, "lambda_m").number());
    let power = input(id, "E0").number() * star.model([0.0; 2], 1e-7, [3, 3]).open_area_m2;
    let found = power * star.irradiance([0.0; 2]);
    agrees(id, "W/m2", number(id), found, HEIGHT * number(id));
}

#[test]
fn irradiance_in_the_middle_of_an_annulus() {
    let clear = star(0.0);
    let area = |star: &Bench| star.model([0.0; 2], 1e-7, [3, 3]).open_area_m2;
    let id = "annulus.central_irradiance_same_power";
    for (i, ratio) in input(id, "eps").list().into_iter().enumerate() {
        let annulus = star(ratio);
        let found = annulus.irradiance([0.0; 2]) / clear.irradiance([0.0; 2]);
        let name = format!("eps {ratio}");
        agrees(id, &name, list(id)[i], found, HEIGHT);
        let same_beam = found * area(&annulus) / area(&clear);
        let id = "annulus.central_irradiance_same_beam";
        agrees(id, &name, list(id)[i], same_beam, HEIGHT);
    }
}

/// The brightest point, and the centroid of the light, extrapolated from frames of 60 and 120 λN each way (0.1 %).
#[test]
fn a_wave_that_leads_on_the_right_moves_the_light_to_the_left() {
    let id = "convention.tilt_shift";
    let star =
        Bench::clear(input(id, "N").number(), input(id, "lambda_m").number()).with(&Seidel {
            tilt_m: input(id, "W111_m").number(),
            ..Seidel::default()
        });
    let (unit, value) = (star.lambda_n_m(), number(id));
    let row = star.row(-5.0 * unit, STEP * unit, 251);
    let (at, _) = turning_point(&row, highest(&row));
    let found = (at * STEP - 5.0) * unit;
    agrees(id, "brightest point", value, found, PLACE * unit);

    let [x, y] = centroid(&star, 60);
    agrees(id, "centroid of the light", value, x, 1e-3 * value.abs());
    assert!(y.abs() < 1e-4 * unit);
}

#[test]
fn a_finer_sampling_comes_closer() {
    let place = list("airy.dark_ring_lambdaN")[4];
    let height = list("airy.bright_ring_intensity")[0];
    let off = |factor: f64| {
        let found = rings(&star(0.0).finer(factor), 6.0);
        (
            (found.dark[4].0 - place).abs(),
            (found.bright[0].1 - height).abs(),
        )
    };
    let (coarse, fine) = (off(1.0), off(2.0));
    println!("fifth dark ring, first bright ring: off by {coarse:?}, twice as fine {fine:?}");
    assert!(fine.0 < 0.4 * coarse.0 && fine.1 < 0.4 * coarse.1);
}
