//! Whole frames of a star in focus: encircled light, all the light, the transfer function, and how finely to sample.
//!
//! Sampling: encircled light comes from pixels of λN/20 with the circle's exact share of each, allowed 1e-5; the transfer
//! function from a frame of 120 λN in pixels of 0.4 λN, allowed 1e-5. All the light is allowed 1 % of what lies beyond the
//! frame, where the pupil's own sampling shows first. `a_finer_sampling_comes_closer` shows that it shrinks.

use crate::support::bench::Bench;
use crate::support::checks::{agrees, input, list, number};
use crate::support::light::{transform, within_star};
use ndarray::Array2;
use skewstar::units::NM;
use skewstar::wavefront::Seidel;
use std::f64::consts::PI;

pub const USED: &[&str] = &[
    "airy.encircled_energy_dark_rings",
    "airy.encircled_energy_points",
    "airy.parseval",
    "airy.mtf",
    "annulus.encircled_energy_first_dark",
    "annulus.mtf",
    "sampling.fft_pixel",
    "sampling.nyquist_pitch",
];

const ENCIRCLED: f64 = 1e-5;
const TRANSFER: f64 = 1e-5;

fn star(obstruction_ratio: f64) -> Bench {
    Bench::annular(5.0, 550.0 * NM, obstruction_ratio)
}

fn encircled(star: &Bench, v: f64) -> f64 {
    let unit = star.lambda_n_m();
    within_star(star, v / PI * unit, unit / 20.0)
}

#[test]
fn encircled_light() {
    let id = "airy.encircled_energy_dark_rings";
    for (ring, value) in list(id).into_iter().enumerate() {
        let found = encircled(&star(0.0), list("airy.dark_ring_v")[ring]);
        agrees(id, &format!("ring {}", ring + 1), value, found, ENCIRCLED);
    }
    let id = "airy.encircled_energy_points";
    for (v, value) in input(id, "v").list().into_iter().zip(list(id)) {
        let found = encircled(&star(0.0), v);
        agrees(id, &format!("v {v}"), value, found, ENCIRCLED);
    }
    let id = "annulus.encircled_energy_first_dark";
    for (i, ratio) in input(id, "eps").list().into_iter().enumerate() {
        let found = encircled(&star(ratio), list("annulus.first_dark_ring_v")[i]);
        agrees(id, &format!("eps {ratio}"), list(id)[i], found, ENCIRCLED);
    }
}

/// A circle, with what Rayleigh's law says lies beyond it; and ever larger square frames, with the mean of the law's leading
/// term 2/(πv) over the frame's border (the oscillating rest averages out there).
#[test]
fn all_the_light_arrives() {
    let id = "airy.parseval";
    let star = star(0.0);
    let v = input(id, "v_cut").number();
    let inside = encircled(&star, v);
    let beyond = libm::j0(v).powi(2) + libm::j1(v).powi(2);
    agrees(
        id,
        &format!("v {v} and beyond"),
        number(id),
        inside + beyond,
        3e-3 * beyond,
    );

    let unit = star.lambda_n_m();
    let mut before = 0.0;
    for half in [20, 60, 180] {
        let light = star.frame([0.0; 2], unit, [2 * half, 2 * half]).sum();
        let beyond = beyond_a_square(half);
        let name = format!("frame of {} lambda N", 2 * half);
        agrees(id, &name, number(id), light + beyond, 0.01 * beyond);
        assert!(light > before && light < 1.0, "more light, never too much");
        before = light;
    }
}

/// Light of an Airy pattern outside a square of `half` λN each way, on the average over its rings.
fn beyond_a_square(half: usize) -> f64 {
    let border = (PI / 4.0).sin() / (PI / 4.0); // mean of cos over an eighth of a turn each way
    border * 2.0 / (PI * PI * half as f64)
}

#[test]
fn transfer_functions() {
    let clear = ("airy.mtf", 0.0);
    let annulus = ("annulus.mtf", input("annulus.mtf", "eps").number());
    for (id, ratio) in [clear, annulus] {
        let star = star(ratio);
        let (light, pixel_m) = frame_for_transfer(&star);
        for (s, value) in input(id, "s").list().into_iter().zip(list(id)) {
            for (direction, azimuth) in
                [("along x", 0.0f64), ("aslant", 0.6), ("along y", 0.5 * PI)]
            {
                let per_m = s / star.lambda_n_m();
                let frequency = [per_m * azimuth.cos(), per_m * azimuth.sin()];
                let found = transform(&light, pixel_m, frequency).re;
                agrees(id, &format!("s {s} {direction}"), value, found, TRANSFER);
            }
        }
    }
}

fn frame_for_transfer(star: &Bench) -> (Array2<f64>, f64) {
    let pixel_m = 0.4 * star.lambda_n_m();
    (star.frame([0.0; 2], pixel_m, [300, 300]), pixel_m)
}

/// A pixel as wide as one step of the discrete transform; a pupil tilt of one wave across that transform's grid then moves
/// the image by one pixel.
#[test]
fn one_step_of_a_discrete_transform() {
    let id = "sampling.fft_pixel";
    let (across, grid) = (
        input(id, "n_across_pupil").number(),
        input(id, "M_grid").number(),
    );
    let star = Bench::clear(input(id, "N").number(), input(id, "lambda_m").number());
    let tilt_m = 0.5 * star.wavelength_m() * across / grid; // at the pupil's edge, one wave across the grid
    let tilted = star.clone().with(&Seidel {
        tilt_m,
        ..Seidel::default()
    });
    let pixel_m = number(id);
    let frame = |star: &Bench| star.frame([0.0; 2], pixel_m, [40, 24]);
    let (still, moved) = (frame(&star), frame(&tilted));
    let worst = (0..24)
        .flat_map(|row| (1..40).map(move |column| (row, column)))
        .map(|(row, column)| (moved[[row, column - 1]] - still[[row, column]]).abs())
        .fold(0.0f64, f64::max);
    let peak = still.iter().fold(0.0f64, |top, v| top.max(*v));
    assert!(worst < 1e-6 * peak, "{:e}", worst / peak);
    // the same as a length: where the tilted star's centre lies
    let wavefront = tilted.wavefront();
    agrees(
        id,
        "ray of the tilted star",
        pixel_m,
        -wavefront.ray_m([0.0; 2])[0],
        0.0,
    );
}

/// The transfer function of a disc ends like (1 − s)^(3/2): its power 2/3 runs straight into the end, which is half a cycle
/// per pitch sought. The straight line is good to 0.5 %.
#[test]
fn nothing_is_finer_than_half_lambda_n() {
    let id = "sampling.nyquist_pitch";
    let star = Bench::clear(input(id, "N").number(), input(id, "lambda_m").number());
    let (light, pixel_m) = frame_for_transfer(&star);
    let at = |s: f64| transform(&light, pixel_m, [s / star.lambda_n_m(), 0.0]).re;
    let [a, b] = [0.9, 0.95].map(|s| at(s).powf(2.0 / 3.0));
    let end = 0.95 + 0.05 * b / (a - b);
    let pitch_m = 0.5 * star.lambda_n_m() / end;
    agrees(
        id,
        "end of the transfer function",
        number(id),
        pitch_m,
        0.005 * number(id),
    );
    for s in [1.02, 1.1, 1.3] {
        assert!(at(s).abs() < TRANSFER, "nothing at s = {s}: {:e}", at(s));
    }
    for pixel_m in [0.3e-6, 1.4e-6, 3.8e-6, 9.0e-6] {
        let plan = star.model([0.0; 2], pixel_m, [20, 20]).plan;
        assert!(pixel_m / plan.sub_samples as f64 <= number(id), "{plan:?}");
    }
}

#[test]
fn a_finer_sampling_comes_closer() {
    let half = 60;
    let unit = star(0.0).lambda_n_m();
    let off = |factor: f64| {
        let light = star(0.0)
            .finer(factor)
            .frame([0.0; 2], unit, [2 * half, 2 * half]);
        light.sum() + beyond_a_square(half) - number("airy.parseval")
    };
    let (coarse, fine) = (off(1.0), off(2.0));
    println!("all the light, frame of 120 lambda N: off by {coarse:.1e}, twice as fine {fine:.1e}");
    assert!(fine.abs() < 0.4 * coarse.abs());
}
