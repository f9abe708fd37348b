//! How well the photons of one frame allow anything to be measured: the Cramér–Rao bound.
//!
//! Fisher's information matrix (S. M. Kay, Fundamentals of Statistical Signal Processing, ch. 3, from memory) is here Σ dμ_i dμ_j / var
//! over the pixels, μ the expected electrons of a pixel, var = expected electrons + read noise² + gain²/12 (rounding to
//! counts). Full pixels are left out: they say nothing about small changes. No unbiased fit of the same free parameters
//! scatters less, and a good one comes close to it. What the frame does not determine is `None`, never infinite.
//!
//! The bound is local: it knows the slope of the frame at the true state, not a second solution further away.

use super::jacobian::{Jacobian, Parameter};
use crate::instrument::Electronics;
use crate::math::LeastSquares;
use crate::sensor::{saturation_e, variance_e2};

/// Standard deviations that no unbiased measurement of the same free parameters can beat.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    /// The parameters that were free, all at once.
    pub parameters: Vec<Parameter>,
    /// For each, its standard deviation in its own unit; `None` where the frame does not determine it.
    pub sigmas: Vec<Option<f64>>,
    /// Pixels that were not full.
    pub used_px: usize,
}

/// A column of derivatives whose length is below this share of the largest that a parameter of its kind can have is taken for
/// zero: what is left of it is rounding.
const FLOOR: f64 = 1e-6;

impl Bound {
    /// The bound for a frame in electrons; for one in shares of the light it means nothing.
    pub fn new(jacobian: &Jacobian, electronics: &Electronics) -> Self {
        Self::given(jacobian, &[], electronics)
    }

    /// The same for whoever knows some of the parameters: they are not free.
    pub fn given(jacobian: &Jacobian, known: &[Parameter], electronics: &Electronics) -> Self {
        let free: Vec<usize> = (0..jacobian.parameters.len())
            .filter(|at| !known.contains(&jacobian.parameters[*at]))
            .collect();
        let limit_e = saturation_e(electronics);
        let expected = &jacobian.expected.image;
        let weights: Vec<f64> = expected
            .iter()
            .map(|e| match variance_e2(*e, electronics) {
                variance if *e < limit_e && variance > 0.0 => 1.0 / variance.sqrt(),
                _ => 0.0,
            })
            .collect();
        let weighed = |image: &ndarray::Array2<f64>| -> Vec<f64> {
            image.iter().zip(&weights).map(|(v, w)| v * w).collect()
        };
        let star: f64 = weighed(&jacobian.star).iter().map(|v| v * v).sum();
        let floors: Vec<f64> = free
            .iter()
            .map(|at| FLOOR * jacobian.steepest[*at] * star.sqrt())
            .collect();
        let columns = free
            .iter()
            .map(|at| weighed(&jacobian.columns[*at]))
            .collect();
        Bound {
            parameters: free.iter().map(|at| jacobian.parameters[*at]).collect(),
            sigmas: LeastSquares::new(columns, &floors).sigmas(),
            used_px: weights.iter().filter(|w| **w > 0.0).count(),
        }
    }

    /// Standard deviation of one parameter; `None` where it was not free or is not determined.
    pub fn sigma(&self, parameter: Parameter) -> Option<f64> {
        let at = self.parameters.iter().position(|p| *p == parameter)?;
        self.sigmas[at]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::predict::Expected;
    use approx::assert_relative_eq;
    use ndarray::Array2;
    use std::f64::consts::TAU;

    const SPREAD_PX: f64 = 2.3;
    const STAR_E: f64 = 4.7e5;

    /// A camera whose rounding and converter set no limit.
    fn camera(full_well_e: f64, read_noise_e: f64) -> Electronics {
        Electronics {
            quantum_efficiency: 1.0,
            gain_e_per_adu: 1e-3,
            bias_adu: -1e12,
            read_noise_e,
            dark_e_per_s: 0.0,
            full_well_e,
            bits: 16,
            pixel_response_rms: 0.0,
        }
    }

    /// A well sampled Gaussian spot, off the middle, with its derivatives in closed form.
    fn spot() -> Jacobian {
        let from = |row: usize, column: usize| [column as f64 - 20.3, row as f64 - 19.6];
        let star = Array2::from_shape_fn((41, 43), |(row, column)| {
            let [x, y] = from(row, column);
            let exponent = -(x * x + y * y) / (2.0 * SPREAD_PX * SPREAD_PX);
            STAR_E / (TAU * SPREAD_PX * SPREAD_PX) * exponent.exp()
        });
        let moved = |axis: usize| {
            Array2::from_shape_fn(star.dim(), |(row, column)| {
                star[[row, column]] * from(row, column)[axis] / (SPREAD_PX * SPREAD_PX)
            })
        };
        Jacobian {
            parameters: vec![Parameter::PlaceX, Parameter::PlaceY, Parameter::Flux],
            columns: vec![moved(0), moved(1), star.clone()],
            steepest: vec![1.0, 1.0, 1.0],
            expected: Expected {
                image: star.clone(),
                in_electrons: true,
                star_total: STAR_E,
                light_in_frame: 1.0,
                background_per_px: 0.0,
                dark_per_px: 0.0,
            },
            star,
        }
    }

    /// σ_x = s/√N and σ_flux = 1/√N for a Gaussian spot without background (textbook identity).
    #[test]
    fn gaussian_spot_is_located_to_its_spread_over_root_n() {
        let mut jacobian = spot();
        let bound = Bound::new(&jacobian, &camera(f64::INFINITY, 0.0));
        let want = SPREAD_PX / STAR_E.sqrt();
        for parameter in [Parameter::PlaceX, Parameter::PlaceY] {
            let got = bound.sigma(parameter).unwrap();
            assert_relative_eq!(got, want, max_relative = 1e-5);
        }
        let flux = bound.sigma(Parameter::Flux).unwrap();
        assert_relative_eq!(flux, 1.0 / STAR_E.sqrt(), max_relative = 1e-5);
        assert_eq!(bound.sigma(Parameter::Seeing), None);

        // another unit for a parameter: the same bound in that unit
        jacobian.columns[0] *= 3.7e-9;
        jacobian.steepest[0] *= 3.7e-9;
        let scaled = Bound::new(&jacobian, &camera(f64::INFINITY, 0.0));
        let in_unit = scaled.sigmas[0].unwrap() * 3.7e-9;
        assert_relative_eq!(in_unit, bound.sigmas[0].unwrap(), max_relative = 1e-12);
    }

    /// What is known costs nothing: two columns a and b whose cosine is c leave σ_a = 1/(|a|·√(1 − c²)), and 1/|a| with b known.
    #[test]
    fn what_is_known_is_not_free() {
        let mut jacobian = spot();
        jacobian.columns[1] = &jacobian.columns[1] + &(&jacobian.columns[0] * 0.75);
        let camera = camera(f64::INFINITY, 0.0);
        let free = Bound::new(&jacobian, &camera);
        let given = Bound::given(&jacobian, &[Parameter::PlaceY], &camera);
        assert_eq!(given.parameters, [Parameter::PlaceX, Parameter::Flux]);
        assert_eq!(given.sigma(Parameter::PlaceY), None);
        let ratio =
            free.sigma(Parameter::PlaceX).unwrap() / given.sigma(Parameter::PlaceX).unwrap();
        // x and y alike and independent: cos = 0.75/√(1 + 0.75²) = 0.6, so that the ratio is 1/0.8
        assert_relative_eq!(ratio, 1.25, max_relative = 1e-4);
    }

    #[test]
    fn full_pixels_say_nothing_and_read_noise_costs() {
        let jacobian = spot();
        let sigma = |full_well_e: f64, read_noise_e: f64| {
            let bound = Bound::new(&jacobian, &camera(full_well_e, read_noise_e));
            (bound.sigmas[0].unwrap(), bound.used_px)
        };
        let peak = jacobian.star.iter().copied().fold(0.0, f64::max);
        let (free, all) = sigma(1.001 * peak, 0.0);
        let (one_full, rest) = sigma(0.999 * peak, 0.0);
        assert_eq!((all, rest), (41 * 43, 41 * 43 - 1));
        assert!(one_full > free);
        assert!(sigma(1.001 * peak, 12.0).0 > 1.01 * free);
        let none = Bound::new(&jacobian, &camera(0.0, 0.0));
        assert!(none.sigmas.iter().all(Option::is_none) && none.used_px == 0);
    }

    /// A column of rounding noise, and two that act alike, are `None`; the others stay as they were.
    #[test]
    fn what_the_frame_does_not_determine_is_none() {
        let camera = camera(f64::INFINITY, 1.4);
        let alone = Bound::new(&spot(), &camera);
        let mut jacobian = spot();
        let noise = jacobian.star.mapv(|v| 1e-9 * (37.0 * v).sin() * v);
        for (noll, column) in [(4, noise), (5, &spot().columns[1] * -2.5)] {
            jacobian.parameters.push(Parameter::Mode(noll));
            jacobian.columns.push(column);
            jacobian.steepest.push(1.0);
        }
        let bound = Bound::new(&jacobian, &camera);
        assert_eq!(bound.sigma(Parameter::Mode(4)), None);
        assert_eq!(bound.sigma(Parameter::Mode(5)), None);
        assert_eq!(bound.sigma(Parameter::PlaceY), None);
        for at in [0, 2] {
            let (got, want) = (bound.sigmas[at].unwrap(), alone.sigmas[at].unwrap());
            assert_relative_eq!(got, want, max_relative = 1e-9);
        }
    }
}
