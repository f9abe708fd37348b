//! Phases counted in turns, by a polynomial that every machine evaluates to the same bits.

use super::real::Real;
use num_complex::Complex;
use std::f64::consts::{PI, TAU};

/// exp(2πi·turns) for any finite number of turns.
///
/// The turns are reduced to ±1/2 in double precision first, so that large phases keep their accuracy.
///
/// # Accuracy
/// 2e-14 in `f64`, 3e-7 in `f32` (`math::phase::tests::matches_sine_and_cosine`).
///
/// # Source
/// Taylor series about 0 within 1/4 turn, and the symmetries of the circle. No branch and no table: loops over it run on
/// several numbers at once.
#[inline(always)]
pub fn cis_turns<T: Real>(turns: f64) -> Complex<T> {
    let (folded, sign) = folded_turns(turns);
    let (cosine, sine) = cosine_and_sine(T::narrow(folded * TAU));
    Complex::new(T::narrow(sign) * cosine, sine)
}

/// Elements that [`waves`] works on at once.
pub const WAVES_AT_ONCE: usize = 16;

/// amplitude · exp(2πi·(offset + turns − length/wavelength)), element by element, and · sinc(across x/wavelength) ·
/// sinc(across y/wavelength) where lengths across the elements are given; at most [`WAVES_AT_ONCE`] elements.
///
/// The phases are reduced in double precision, all else is done in the type asked for. Closed elements (amplitude 0) in a
/// row are passed over.
#[inline(always)]
pub fn waves<T: Real>(
    per_wavelength: f64,
    length: &[f64],
    (offset, turns): (f64, &[f64]),
    across: Option<[&[f64]; 2]>,
    amplitude: &[f64],
    out: &mut [Complex<T>],
) {
    let [room_length, room_turns, room_amplitude, room_x, room_y] = &mut [[0.0; WAVES_AT_ONCE]; 5];
    let amplitude = whole(amplitude, room_amplitude);
    let lit = amplitude.iter().fold(false, |lit, a| lit | (*a != 0.0));
    if !lit {
        out.fill(Complex::new(T::zero(), T::zero()));
        return;
    }
    let (length, turns) = (whole(length, room_length), whole(turns, room_turns));
    let mut heights = amplitude.map(T::narrow);
    let mut folds = [T::zero(); WAVES_AT_ONCE];
    let mut signs = [T::zero(); WAVES_AT_ONCE];
    for k in 0..WAVES_AT_ONCE {
        let (folded, sign) = folded_turns((offset + turns[k]) - length[k] * per_wavelength);
        folds[k] = T::narrow(folded * TAU);
        signs[k] = T::narrow(sign);
    }
    if let Some([x, y]) = across {
        let (x, y) = (whole(x, room_x), whole(y, room_y));
        for k in 0..WAVES_AT_ONCE {
            let across = [x[k], y[k]].map(|across| T::narrow(across * per_wavelength));
            heights[k] = heights[k] * (gentle_sinc(across[0]) * gentle_sinc(across[1]));
        }
    }
    let mut made = [Complex::new(T::zero(), T::zero()); WAVES_AT_ONCE];
    for k in 0..WAVES_AT_ONCE {
        let (cosine, sine) = cosine_and_sine(folds[k]);
        made[k] = Complex::new(heights[k] * signs[k] * cosine, heights[k] * sine);
    }
    match <&mut [Complex<T>; WAVES_AT_ONCE]>::try_from(&mut *out) {
        Ok(out) => *out = made,
        Err(_) => out.copy_from_slice(&made[..out.len()]),
    }
}

/// The values themselves where there are as many as are worked on at once, else a copy with zeros behind.
#[inline(always)]
fn whole<'a>(values: &'a [f64], room: &'a mut [f64; WAVES_AT_ONCE]) -> &'a [f64; WAVES_AT_ONCE] {
    match values.try_into() {
        Ok(values) => values,
        Err(_) => {
            room[..values.len()].copy_from_slice(values);
            room
        }
    }
}

/// Turns within ±1/4 that have the same sine, and the sign to give to the cosine.
#[inline(always)]
fn folded_turns(turns: f64) -> (f64, f64) {
    let rest = turns - nearest_whole(turns); // within ±1/2
    let beyond = rest.abs() > 0.25;
    let mirrored = if rest < 0.0 { -0.5 - rest } else { 0.5 - rest };
    if beyond {
        (mirrored, -1.0)
    } else {
        (rest, 1.0)
    }
}

/// Cosine and sine of an angle within ±π/2.
#[inline(always)]
fn cosine_and_sine<T: Real>(angle: T) -> (T, T) {
    let square = angle * angle;
    (
        T::horner_quarter(square, &COSINE),
        angle * T::horner_quarter(square, &SINE),
    )
}

/// sinc(x) within ±1, and sinc(1) beyond.
#[inline(always)]
fn gentle_sinc<T: Real>(x: T) -> T {
    let square = x * x;
    let square = if square < T::one() { square } else { T::one() };
    T::horner(square * T::narrow(PI * PI), &SINE)
}

/// The nearest whole number, by adding and taking away a number whose last digit is 1.
#[inline(always)]
fn nearest_whole(x: f64) -> f64 {
    const LARGE: f64 = 6_755_399_441_055_744.0; // 1.5 · 2^52
    (x + LARGE) - LARGE
}

/// sin(πx)/(πx), 1 at 0.
pub fn sinc(x: f64) -> f64 {
    let angle = std::f64::consts::PI * x;
    if angle.abs() < 0.8 {
        f64::horner(angle * angle, &SINE)
    } else {
        libm::sin(angle) / angle
    }
}

/// Slope of [`sinc`]: d/dx of sin(πx)/(πx).
pub fn sinc_slope(x: f64) -> f64 {
    let angle = std::f64::consts::PI * x;
    if angle.abs() < 1e-2 {
        let square = angle * angle;
        -std::f64::consts::PI * angle / 3.0 * (1.0 - square / 10.0 + square * square / 280.0)
    } else {
        (libm::cos(angle) - sinc(x)) / x
    }
}

/// Relative slope of [`sinc`]: π·cot(πx) − 1/x.
///
/// # Accuracy
/// 1e-10 for |x| < 1/2, which is what well sampled fields need.
///
/// # Source
/// −2 Σ ζ(2n) x^(2n−1), with the pole at |x| = 1 taken out (Abramowitz and Stegun 4.3.91 and 23.2.18).
pub fn sinc_relative_slope(x: f64) -> f64 {
    if x.abs() < 0.5 {
        let square = x * x;
        -2.0 * x
            * (1.0 / (1.0 - square)
                + ZETA_LESS_ONE
                    .iter()
                    .rev()
                    .fold(0.0, |sum, c| sum * square + c))
    } else {
        sinc_slope(x) / sinc(x)
    }
}

/// ζ(2n) − 1 for n = 1, 2, …
const ZETA_LESS_ONE: [f64; 8] = [
    0.644_934_066_848_226_4,
    0.082_323_233_711_138_2,
    0.017_343_061_984_449_1,
    0.004_077_356_197_944_3,
    0.000_994_575_127_818_1,
    0.000_246_086_553_308_0,
    0.000_061_248_135_058_7,
    0.000_015_282_259_408_7,
];

/// Coefficients of angle^0, angle^2, … of sin(angle)/angle.
const SINE: [f64; 12] = [
    1.0,
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5_040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 1_307_674_368_000.0,
    1.0 / 355_687_428_096_000.0,
    -1.0 / 121_645_100_408_832_000.0,
    1.0 / 51_090_942_171_709_440_000.0,
    -1.0 / 25_852_016_738_884_976_640_000.0,
];

/// Coefficients of angle^0, angle^2, … of cos(angle).
const COSINE: [f64; 12] = [
    1.0,
    -1.0 / 2.0,
    1.0 / 24.0,
    -1.0 / 720.0,
    1.0 / 40_320.0,
    -1.0 / 3_628_800.0,
    1.0 / 479_001_600.0,
    -1.0 / 87_178_291_200.0,
    1.0 / 20_922_789_888_000.0,
    -1.0 / 6_402_373_705_728_000.0,
    1.0 / 2_432_902_008_176_640_000.0,
    -1.0 / 1_124_000_727_777_607_680_000.0,
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slope_of_sinc_equals_central_difference() {
        for x in [0.0, 1e-3, 3.1e-3, 3.3e-3, 0.27, -0.61, 1.0, 2.4] {
            let step = 1e-4;
            let difference = (sinc(x + step) - sinc(x - step)) / (2.0 * step);
            assert!((sinc_slope(x) - difference).abs() < 3e-8, "{x}");
        }
        for i in -60..60 {
            let x = f64::from(i) / 97.0 + 1e-3;
            let ratio = sinc_slope(x) / sinc(x);
            assert!((sinc_relative_slope(x) - ratio).abs() < 1e-10, "{x}");
        }
    }

    #[test]
    fn matches_sine_and_cosine() {
        for i in -2000..2000 {
            let turns = f64::from(i) * 0.003_217 + 0.000_1;
            let (sin, cos) = (turns * std::f64::consts::TAU).sin_cos();
            let double: Complex<f64> = cis_turns(turns);
            assert!(
                (double.re - cos).abs() < 2e-14 && (double.im - sin).abs() < 2e-14,
                "{turns}"
            );
            let single: Complex<f32> = cis_turns(turns);
            assert!(
                (f64::from(single.re) - cos).abs() < 3e-7
                    && (f64::from(single.im) - sin).abs() < 3e-7
            );
        }
        let large: Complex<f64> = cis_turns(1e6 + 0.25);
        assert!((large.im - 1.0).abs() < 1e-9);
    }
}
