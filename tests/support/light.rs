//! What can be read off a frame of light: how much lies within a circle, where its centroid is, its transform.

use super::bench::Bench;
use ndarray::Array2;
use num_complex::Complex;
use skewstar::geometry::{CellGrid, Piece, RadialMap, cover};
use std::f64::consts::{PI, TAU};

/// Share of the light within `radius_m` of the frame's middle.
///
/// A pixel that the circle cuts counts with the exact share of its area, and with its light taken as a plane over the pixel.
pub fn within(light: &Array2<f64>, pixel_m: f64, radius_m: f64) -> f64 {
    let count = light.nrows();
    assert_eq!(count, light.ncols(), "a square frame");
    assert!(radius_m < (0.5 * count as f64 - 1.0) * pixel_m);
    let grid = CellGrid {
        count,
        cell_m: pixel_m,
    };
    let disc = cover(
        &[Piece::disc([0.0; 2], radius_m)],
        RadialMap::Identity,
        grid,
    );
    let mut sum = 0.0;
    for row in 1..count - 1 {
        for column in 1..count - 1 {
            let slope_x = 0.5 * (light[[row, column + 1]] - light[[row, column - 1]]);
            let slope_y = 0.5 * (light[[row + 1, column]] - light[[row - 1, column]]);
            let off = [0, 1].map(|axis| disc.centroid_cells[axis][[row, column]]);
            let here = light[[row, column]] + slope_x * off[0] + slope_y * off[1];
            sum += disc.fraction[[row, column]] * here;
        }
    }
    sum
}

/// Share of the star's light within a circle about its place, with pixels of `pixel_m`.
pub fn within_star(bench: &Bench, radius_m: f64, pixel_m: f64) -> f64 {
    let half = (radius_m / pixel_m).ceil() as usize + 2;
    let light = bench.frame([0.0; 2], pixel_m, [2 * half + 1, 2 * half + 1]);
    within(&light, pixel_m, radius_m)
}

/// Centroid of the star's light on an endless sensor, from the star's place.
///
/// A hard edge of the pupil sends light c/x² (per length, over all y) out along x, so a frame that ends at ±L leaves out
/// something like 1/L of what the centroid needs. Frames of ±`half` λN and twice that tell how much.
pub fn centroid(star: &Bench, half: usize) -> [f64; 2] {
    let unit = star.lambda_n_m();
    let within = |half: usize| {
        let light = star.frame([0.0; 2], unit, [2 * half, 2 * half]);
        frame_centroid(&light).map(|px| px * unit)
    };
    let (near, far) = (within(half), within(2 * half));
    [0, 1].map(|axis| 2.0 * far[axis] - near[axis])
}

/// Centroid of the light in a frame, pixels from its middle.
fn frame_centroid(light: &Array2<f64>) -> [f64; 2] {
    let (rows, columns) = light.dim();
    let (mut sum, mut x, mut y) = (0.0, 0.0, 0.0);
    for ((row, column), value) in light.indexed_iter() {
        sum += value;
        x += value * (column as f64 - 0.5 * (columns as f64 - 1.0));
        y += value * (row as f64 - 0.5 * (rows as f64 - 1.0));
    }
    [x / sum, y / sum]
}

/// Transform of the light at a spatial frequency, the pixels' own averaging taken out.
///
/// The outer half of the frame is faded out smoothly. This blurs the transform by a kernel of which all moments vanish, and
/// costs nothing where the transform is smooth over a width of 1/frame; it is not for frequencies near 0.
pub fn transform(light: &Array2<f64>, pixel_m: f64, per_m: [f64; 2]) -> Complex<f64> {
    let (rows, columns) = light.dim();
    let along = |count: usize, frequency: f64| -> Vec<Complex<f64>> {
        let middle = 0.5 * (count as f64 - 1.0);
        let wave = |i: usize| {
            let place = i as f64 - middle;
            Complex::cis(-TAU * frequency * place * pixel_m) * fade(2.0 * place / count as f64)
        };
        (0..count).map(wave).collect()
    };
    let (waves_x, waves_y) = (along(columns, per_m[0]), along(rows, per_m[1]));
    let mut sum = Complex::new(0.0, 0.0);
    for (row, wave_y) in light.rows().into_iter().zip(&waves_y) {
        let line: Complex<f64> = row.iter().zip(&waves_x).map(|(v, w)| w * *v).sum();
        sum += line * wave_y;
    }
    sum / (sinc(per_m[0] * pixel_m) * sinc(per_m[1] * pixel_m))
}

/// 1 in the inner half, then half a cosine down to 0 at the edge.
fn fade(place: f64) -> f64 {
    let beyond = (2.0 * place.abs() - 1.0).clamp(0.0, 1.0);
    0.5 + 0.5 * (PI * beyond).cos()
}

fn sinc(x: f64) -> f64 {
    if x == 0.0 {
        1.0
    } else {
        (PI * x).sin() / (PI * x)
    }
}

/// A lens whose red and blue focus lie far apart, on either side of green, with 42 and -31 nm of coma (Noll 7 and 8), as a scenario; the
/// frame has 72 columns.
pub fn colours_apart(seed: u32, height_px: usize, pattern: &str) -> String {
    format!(
        r#"format = 1
title = "Colours apart"
seed = {seed}
telescope = {{ aperture_mm = 90.0, focal_length_mm = 630.0, reflections = 0, chromatic = [
    {{ wavelength_nm = 460.0, focus_um = 330.0 }},
    {{ wavelength_nm = 540.0, focus_um = 0.0 }},
    {{ wavelength_nm = 625.0, focus_um = -240.0 }},
] }}
star = {{ magnitude = 2.6, temperature_k = 4800.0 }}
exposure = {{ time_s = 0.25 }}
[camera]
pixel_um = 3.8
width_px = 72
height_px = {height_px}
passband_nm = [430.0, 660.0]
wavelengths = 2
quantum_efficiency = 0.7
gain_e_per_adu = 1.1
bias_adu = 200.0
read_noise_e = 1.9
full_well_e = 60000.0
colour_pattern = "{pattern}"
passbands = {{ red = {{ passband_nm = [590.0, 660.0] }}, green = {{ passband_nm = [500.0, 580.0] }}, blue = {{ passband_nm = [430.0, 490.0] }} }}
[state]
sensor_offset_um = 1100.0
modes_nm = {{ 7 = 42.0, 8 = -31.0 }}
"#
    )
}
