//! The atmosphere above the aperture at one moment: a phase screen of von Kármán turbulence that the wind carries along.
//!
//! A screen is a sum of ripples with random strengths, their frequencies drawn ring by ring over everything from far above
//! the outer scale down to the finest detail asked for. So it has no period and no edge, holds tilts of all scales, and can
//! be read at any place and time: the wind (Taylor's frozen flow) only advances each ripple's phase. The same seed gives the
//! same atmosphere.
//!
//! Lengths are metres of path, positive where the wavefront leads, the same at every wavelength (dispersion in the atmosphere is left
//! out). Places are sine-space heights in frame axes; under the paraboloid's law they differ from pupil heights by less than
//! 1 % for beams slower than f/2.5, which no statistic here notices. Scintillation and the height of layers are left out.
//!
//! Sources: R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), eq. (21), the spectrum, with the outer scale put in as
//! (ν² + 1/L0²)^(−11/6) (von Kármán, from memory); ripples on rings of growing size: from memory, common practice. Check
//! values `kolmogorov.psd_constant`, `zernike.kolmogorov_residual`, `seeing.mtf`: `tests/screens.rs`.

use crate::geometry::CellGrid;
use crate::math::vectorised;
use crate::rng::{Purpose, Seed};
use ndarray::{Array2, Axis};
use num_complex::Complex;
use rand::RngExt;
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};

/// Constant of the phase spectrum c r0^(−5/3) ν^(−11/3), ν in cycles per metre.
const SPECTRUM: f64 = 0.022_895_587_108_6;

/// Turbulence to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Atmosphere {
    /// Fried's length of all layers together.
    pub fried_m: f64,
    /// The wavelength it belongs to.
    pub wavelength_m: f64,
    /// Outer scale; infinite for Kolmogorov's law down to [`ScaleRange::widest_m`].
    pub outer_scale_m: f64,
    /// Layers, each carried by its own wind.
    pub layers: Vec<Layer>,
}

/// A layer of turbulence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Layer {
    /// Its share of the strength (of r0^(−5/3)); the shares of all layers add up to 1.
    pub share: f64,
    /// Its wind, frame axes.
    pub wind_m_per_s: [f64; 2],
}

/// Scales that a screen holds. Finer ones scatter light too far to matter, wider ones only move the whole star slowly.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScaleRange {
    /// Longest period of a ripple; cut at ten outer scales, beyond which there is nothing.
    pub widest_m: f64,
    /// Shortest period of a ripple.
    pub finest_m: f64,
    /// Ripples in each ring; frequencies grow by the factor e^[`RING_STEP`] from ring to ring.
    pub ripples_a_ring: usize,
}

/// Natural logarithm of the growth of frequency from ring to ring.
pub const RING_STEP: f64 = 0.35;

impl ScaleRange {
    /// What a star through an aperture needs: ripples from 10 km down to a 24th of the aperture, 12 a ring.
    pub fn of_aperture(aperture_m: f64) -> Self {
        ScaleRange {
            widest_m: 1e4,
            finest_m: aperture_m / 24.0,
            ripples_a_ring: 12,
        }
    }
}

/// A phase screen.
#[derive(Debug, Clone)]
pub struct Screen {
    ripples: Vec<Ripple>,
}

#[derive(Debug, Clone, Copy)]
struct Ripple {
    cycles_per_m: [f64; 2],
    /// Path is the real part of this times exp(2πi ν·x).
    amount_m: Complex<f64>,
    turns_per_s: f64,
}

impl Screen {
    /// Draws the atmosphere of a seed.
    pub fn new(atmosphere: &Atmosphere, scales: ScaleRange, seed: Seed) -> Self {
        let mut ripples = Vec::new();
        let lowest = 1.0 / scales.widest_m.min(10.0 * atmosphere.outer_scale_m);
        let spread = (1.0 / (scales.finest_m * lowest)).ln().max(0.0);
        let rings = (spread / RING_STEP).ceil().max(1.0) as usize;
        let width = spread / rings as f64;
        for (number, layer) in atmosphere.layers.iter().enumerate() {
            let mut stream = seed.stream(Purpose::Screen, number as u64);
            for ring in 0..rings {
                let turn: f64 = stream.random();
                for place in 0..scales.ripples_a_ring {
                    let within: f64 = stream.random();
                    let nu = lowest * libm::exp(width * (ring as f64 + within));
                    let angle = PI * (place as f64 + turn) / scales.ripples_a_ring as f64;
                    let share = width / scales.ripples_a_ring as f64;
                    let variance_m2 = layer.share * atmosphere.power_m2(nu) * share;
                    ripples.push(Ripple::draw(
                        [nu * libm::cos(angle), nu * libm::sin(angle)],
                        variance_m2.sqrt(),
                        layer,
                        &mut stream,
                    ));
                }
            }
        }
        Screen { ripples }
    }

    /// Path at one place and time: the slow, obvious reading.
    pub fn path_m(&self, place_m: [f64; 2], time_s: f64) -> f64 {
        let of_one = |ripple: &Ripple| {
            let turns = ripple.cycles_per_m[0] * place_m[0] + ripple.cycles_per_m[1] * place_m[1]
                - ripple.turns_per_s * time_s;
            (ripple.amount_m * Complex::cis(TAU * turns)).re
        };
        self.ripples.iter().map(of_one).sum()
    }

    /// Prepares the reading at all cells of a grid.
    pub fn on(&self, grid: CellGrid) -> ScreenOnGrid {
        let waves = |axis: usize| {
            let places = (0..grid.count).map(|index| grid.centre_m(index));
            let wave = move |ripple: &Ripple, place_m: f64| {
                Complex::cis(TAU * ripple.cycles_per_m[axis] * place_m)
            };
            self.ripples
                .iter()
                .flat_map(move |ripple| places.clone().map(move |place_m| wave(ripple, place_m)))
        };
        ScreenOnGrid {
            cosines: waves(0).map(|wave| wave.re as f32).collect(),
            sines: waves(0).map(|wave| wave.im as f32).collect(),
            along_y: waves(1).collect(),
            ripples: self.ripples.clone(),
            grid,
        }
    }
}

impl Atmosphere {
    /// Variance of the path per unit of the frequency's natural logarithm, all directions.
    fn power_m2(&self, nu: f64) -> f64 {
        let square = nu * nu + self.outer_scale_m.powi(-2);
        let spectrum =
            SPECTRUM * libm::pow(self.fried_m, -5.0 / 3.0) * libm::pow(square, -11.0 / 6.0);
        TAU * nu * nu * spectrum * (self.wavelength_m / TAU).powi(2)
    }
}

impl Ripple {
    fn draw(
        cycles_per_m: [f64; 2],
        sigma_m: f64,
        layer: &Layer,
        stream: &mut impl rand::Rng,
    ) -> Self {
        let mut normal = || -> f64 { StandardNormal.sample(stream) };
        let wind = layer.wind_m_per_s;
        Ripple {
            cycles_per_m,
            amount_m: Complex::new(normal(), normal()) * sigma_m,
            turns_per_s: cycles_per_m[0] * wind[0] + cycles_per_m[1] * wind[1],
        }
    }
}

/// A screen prepared for the cells of a grid.
#[derive(Debug, Clone)]
pub struct ScreenOnGrid {
    /// exp(2πi νx·x): its parts for every column of the first ripple, then of the second, and so on.
    cosines: Vec<f32>,
    sines: Vec<f32>,
    /// exp(2πi νy·y), in the same order by rows.
    along_y: Vec<Complex<f64>>,
    ripples: Vec<Ripple>,
    grid: CellGrid,
}

/// Rows that are summed together, so that the tables are read less often.
const ROWS_TOGETHER: usize = 4;

impl ScreenOnGrid {
    /// The grid.
    pub fn grid(&self) -> CellGrid {
        self.grid
    }

    /// Path in metres at the middle of every cell, element `[[row, column]]`.
    ///
    /// # Accuracy
    /// The same as [`Screen::path_m`] to 1e-5 of the largest path: sums are in single precision (`atmosphere::screen::tests`).
    pub fn at(&self, time_s: f64) -> Array2<f64> {
        let moved: Vec<Complex<f64>> = self
            .ripples
            .iter()
            .map(|r| r.amount_m * Complex::cis(-TAU * r.turns_per_s * time_s))
            .collect();
        let count = self.grid.count;
        let mut path = Array2::zeros((count, count));
        path.axis_chunks_iter_mut(Axis(0), ROWS_TOGETHER)
            .into_par_iter()
            .enumerate()
            .for_each(|(number, mut rows)| {
                let mut sums = [(); ROWS_TOGETHER].map(|()| vec![0f32; count]);
                self.add_rows(number * ROWS_TOGETHER, &moved, &mut sums);
                for ((row, column), value) in rows.indexed_iter_mut() {
                    *value = f64::from(sums[row][column]);
                }
            });
        path
    }

    /// Adds every ripple to four rows; rows beyond the grid stay empty.
    fn add_rows(&self, first: usize, moved: &[Complex<f64>], sums: &mut [Vec<f32>; ROWS_TOGETHER]) {
        let count = self.grid.count;
        let [a, b, c, d] = sums.each_mut().map(|sum| &mut sum[..count]);
        for (number, moved) in moved.iter().enumerate() {
            let row = |k: usize| match self.along_y.get(number * count + first + k) {
                Some(wave) if first + k < count => moved * wave,
                _ => Complex::default(),
            };
            let [p, q, r, s] =
                [row(0), row(1), row(2), row(3)].map(|wave| [wave.re as f32, wave.im as f32]);
            let cosines = &self.cosines[number * count..][..count];
            let sines = &self.sines[number * count..][..count];
            vectorised(
                #[inline(always)]
                || {
                    for i in 0..count {
                        let (cosine, sine) = (cosines[i], sines[i]);
                        a[i] += p[0] * cosine - p[1] * sine;
                        b[i] += q[0] * cosine - q[1] * sine;
                        c[i] += r[0] * cosine - r[1] * sine;
                        d[i] += s[0] * cosine - s[1] * sine;
                    }
                },
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn atmosphere() -> Atmosphere {
        Atmosphere {
            fried_m: 0.083,
            wavelength_m: 550e-9,
            outer_scale_m: 23.0,
            layers: vec![
                Layer {
                    share: 0.7,
                    wind_m_per_s: [7.0, -3.0],
                },
                Layer {
                    share: 0.3,
                    wind_m_per_s: [-2.0, 11.0],
                },
            ],
        }
    }

    #[test]
    fn the_fast_reading_equals_the_slow_one() {
        let screen = Screen::new(&atmosphere(), ScaleRange::of_aperture(0.19), Seed(71));
        let grid = CellGrid {
            count: 23,
            cell_m: 9.1e-3,
        };
        let fast = screen.on(grid).at(1.37);
        let largest = fast.iter().fold(0.0f64, |most, p| most.max(p.abs()));
        for (row, column) in [(0, 0), (3, 19), (22, 7)] {
            let slow = screen.path_m([grid.centre_m(column), grid.centre_m(row)], 1.37);
            assert_abs_diff_eq!(fast[[row, column]], slow, epsilon = 1e-5 * largest);
        }
    }

    #[test]
    fn one_layer_is_carried_along_as_it_is() {
        let mut atmosphere = atmosphere();
        atmosphere.layers = vec![Layer {
            share: 1.0,
            wind_m_per_s: [7.0, -3.0],
        }];
        let screen = Screen::new(&atmosphere, ScaleRange::of_aperture(0.19), Seed(5));
        let (place, time_s) = ([0.031, -0.052], 0.83);
        let upwind = [place[0] - 7.0 * time_s, place[1] + 3.0 * time_s];
        assert_abs_diff_eq!(
            screen.path_m(place, time_s),
            screen.path_m(upwind, 0.0),
            epsilon = 1e-15
        );
    }

    #[test]
    fn seeds_give_different_atmospheres_and_the_same_one_the_same() {
        let at = |seed| {
            Screen::new(&atmosphere(), ScaleRange::of_aperture(0.19), Seed(seed))
                .path_m([0.01, 0.02], 0.0)
        };
        assert_eq!(at(3), at(3));
        assert_ne!(at(3), at(4));
    }
}
