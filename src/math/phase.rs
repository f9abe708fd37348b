//! Phases counted in turns, by a polynomial that every machine evaluates to the same bits.

use super::real::Real;
use num_complex::Complex;

/// exp(2πi·turns) for any finite number of turns.
///
/// The turns are reduced to ±1/2 in double precision first, so that large phases keep their accuracy.
///
/// # Accuracy
/// 1e-15 in `f64`, 1e-7 in `f32` (`math::phase::tests::matches_sine_and_cosine`).
///
/// # Source
/// Taylor series about 0 within 1/8 turn, and the symmetries of the circle.
pub fn cis_turns<T: Real>(turns: f64) -> Complex<T> {
    let turns = turns - turns.round();
    let quarter = (turns * 4.0).round();
    let angle = (turns - 0.25 * quarter) * std::f64::consts::TAU; // within ±π/4
    let square = angle * angle;
    let sine = angle * horner(square, &SINE);
    let cosine = horner(square, &COSINE);
    let (re, im) = match quarter as i32 & 3 {
        0 => (cosine, sine),
        1 => (-sine, cosine),
        2 => (-cosine, -sine),
        _ => (sine, -cosine),
    };
    Complex::new(T::narrow(re), T::narrow(im))
}

/// sin(πx)/(πx), 1 at 0.
pub fn sinc(x: f64) -> f64 {
    let angle = std::f64::consts::PI * x;
    if angle.abs() < 0.8 {
        horner(angle * angle, &SINE)
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

/// Coefficients of angle^0, angle^2, … of sin(angle)/angle.
const SINE: [f64; 8] = [
    1.0,
    -1.0 / 6.0,
    1.0 / 120.0,
    -1.0 / 5040.0,
    1.0 / 362_880.0,
    -1.0 / 39_916_800.0,
    1.0 / 6_227_020_800.0,
    -1.0 / 1_307_674_368_000.0,
];

/// Coefficients of angle^0, angle^2, … of cos(angle).
const COSINE: [f64; 9] = [
    1.0,
    -1.0 / 2.0,
    1.0 / 24.0,
    -1.0 / 720.0,
    1.0 / 40_320.0,
    -1.0 / 3_628_800.0,
    1.0 / 479_001_600.0,
    -1.0 / 87_178_291_200.0,
    1.0 / 20_922_789_888_000.0,
];

fn horner(x: f64, coefficients: &[f64]) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

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
                (f64::from(single.re) - cos).abs() < 1e-7
                    && (f64::from(single.im) - sin).abs() < 1e-7
            );
        }
        let large: Complex<f64> = cis_turns(1e6 + 0.25);
        assert!((large.im - 1.0).abs() < 1e-9);
    }
}
