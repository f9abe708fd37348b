//! Coma as a vector, so that nobody has to remember which of Noll 7 and Noll 8 is x.

use super::Modes;
use crate::math::Uncertain;
use crate::units::NM;

/// Coma as a vector in pupil axes, metres RMS: x is the coefficient of Noll 8, y that of Noll 7, with their covariance.
///
/// A star's dark centre is pushed along this vector, and a tilt of the unit adds coma along its own direction. It is made from
/// [`Modes`] or by a measurement, never from two bare numbers, so that the two cannot change places:
///
/// ```
/// use skewstar::state::{Coma, Modes};
/// use skewstar::units::{DEG, NM};
///
/// let modes: Modes = [(7, 40.0 * NM), (8, -30.0 * NM)].into_iter().collect();
/// let coma = Coma::of(&modes);
/// let [x, y] = coma.xy_nm();
/// assert!((x + 30.0).abs() < 1e-9 && (y - 40.0).abs() < 1e-9);
/// assert!((coma.size_nm().value - 50.0).abs() < 1e-9);
/// assert_eq!(coma.size_nm().sigma, Some(0.0));    // these modes were typed, not measured
/// assert!((coma.azimuth_rad() / DEG - 126.87).abs() < 0.01);
/// ```
///
/// Two numbers are no coma:
///
/// ```compile_fail,E0308
/// # use skewstar::measure::Misaligned;
/// let swapped = Misaligned { coma: Some([40e-9, -30e-9]), ..Misaligned::default() };
/// ```
///
/// # Uncertainty
/// The uncertainty of coma is, everywhere in this crate (in words, on pictures, in reports and in the verdict of an advice), the
/// standard deviation of its *size*: σ² = uᵀCu with u the direction of the coma and C the covariance of its two components.
/// Coma of size 0 has no direction, and the root mean square of both components' standard deviations stands for it, as it does
/// where C is the same in all directions. Errors across the coma turn it and do not change its size to first order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coma {
    xy_m: [f64; 2],
    /// Variance of x, covariance, variance of y; `None` where what was measured does not determine them.
    covariance_m2: Option<[f64; 3]>,
}

impl Coma {
    /// The coma among modes, exactly known.
    pub fn of(modes: &Modes) -> Coma {
        Coma::along_axes([modes.get(8), modes.get(7)])
    }

    /// Coma with components along +x (Noll 8) and +y (Noll 7) of the pupil, exactly known.
    pub(crate) fn along_axes(xy_m: [f64; 2]) -> Coma {
        Coma {
            xy_m,
            covariance_m2: Some([0.0; 3]),
        }
    }

    /// The same coma, its components known with variance of x, covariance and variance of y; `None` where they are not known.
    pub(crate) fn with_covariance(self, covariance_m2: Option<[f64; 3]>) -> Coma {
        Coma {
            covariance_m2,
            ..self
        }
    }

    /// The same coma, each component known with this standard deviation, independently of the other. One that is not finite says
    /// that the coma is not determined.
    pub fn with_sigma(self, sigma_m: f64) -> Coma {
        let variance_m2 = sigma_m * sigma_m;
        let known = sigma_m.is_finite();
        self.with_covariance(known.then_some([variance_m2, 0.0, variance_m2]))
    }

    /// Components along +x (Noll 8) and +y (Noll 7) of the pupil, metres RMS.
    pub fn xy_m(&self) -> [f64; 2] {
        self.xy_m
    }

    /// Components along +x (Noll 8) and +y (Noll 7) of the pupil, nanometres RMS.
    pub fn xy_nm(&self) -> [f64; 2] {
        self.xy_m.map(|c| c / NM)
    }

    /// Its size and the uncertainty of its size, metres RMS.
    pub fn size_m(&self) -> Uncertain {
        let [x, y] = self.xy_m;
        let size = x.hypot(y);
        let along = |[xx, xy, yy]: [f64; 3]| match size > 0.0 {
            true => {
                let [ux, uy] = [x / size, y / size];
                (ux * ux * xx + 2.0 * ux * uy * xy + uy * uy * yy).max(0.0)
            }
            false => 0.5 * (xx + yy),
        };
        Uncertain {
            value: size,
            sigma: self.covariance_m2.map(along).map(f64::sqrt),
        }
    }

    /// The same in nanometres RMS.
    pub fn size_nm(&self) -> Uncertain {
        self.size_m().in_units_of(NM)
    }

    /// Standard deviation of either component, metres RMS: the root mean square of both.
    pub fn sigma_per_axis_m(&self) -> Option<f64> {
        self.covariance_m2
            .map(|[xx, _, yy]| (0.5 * (xx + yy)).sqrt())
    }

    /// Where it points, counter-clockwise from +x of the pupil; 0 for no coma.
    pub fn azimuth_rad(&self) -> f64 {
        libm::atan2(self.xy_m[1], self.xy_m[0])
    }

    /// The same coma in other axes: `matrix` (rows x and y) takes a vector of these axes to those.
    pub(crate) fn turned(&self, matrix: [[f64; 2]; 2]) -> Coma {
        let apply = |v: [f64; 2]| matrix.map(|row| row[0] * v[0] + row[1] * v[1]);
        let covariance = |[xx, xy, yy]: [f64; 3]| {
            // M·C·Mᵀ, by the columns of M·C
            let [a, b] = [apply([xx, xy]), apply([xy, yy])];
            let along = |row: [f64; 2], k: usize| row[0] * a[k] + row[1] * b[k];
            [
                along(matrix[0], 0),
                along(matrix[0], 1),
                along(matrix[1], 1),
            ]
        };
        Coma {
            xy_m: apply(self.xy_m),
            covariance_m2: self.covariance_m2.map(covariance),
        }
    }

    /// What is left when `other`, whose errors are its own, is taken off.
    pub fn less(&self, other: &Coma) -> Coma {
        let both = self.covariance_m2.zip(other.covariance_m2);
        Coma {
            xy_m: [0, 1].map(|axis| self.xy_m[axis] - other.xy_m[axis]),
            covariance_m2: both.map(|(a, b)| [0, 1, 2].map(|k| a[k] + b[k])),
        }
    }

    /// The modes it consists of: Noll 7 and 8.
    pub fn modes(&self) -> Modes {
        let [x, y] = self.xy_m;
        [(7, y), (8, x)].into_iter().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Errors of 3 along x and 1 along y, then the same turned by 45 degrees, by hand.
    #[test]
    fn the_uncertainty_of_the_size_is_the_one_along_the_coma() {
        let sigma = |x: f64, y: f64, covariance: [f64; 3]| {
            let coma = Coma::along_axes([x, y]).with_covariance(Some(covariance));
            coma.size_m().sigma.unwrap()
        };
        let upright = [9.0, 0.0, 1.0];
        assert_eq!(sigma(7.0, 0.0, upright), 3.0);
        assert_eq!(sigma(0.0, -7.0, upright), 1.0);
        assert_relative_eq!(sigma(7.0, 7.0, upright), 5f64.sqrt());
        assert_relative_eq!(sigma(0.0, 0.0, upright), 5f64.sqrt());
        let turned = [5.0, 4.0, 5.0];
        assert_relative_eq!(sigma(7.0, 7.0, turned), 3.0);
        assert_relative_eq!(sigma(7.0, -7.0, turned), 1.0);
        assert_relative_eq!(sigma(0.0, 7.0, turned), 5f64.sqrt());
    }

    /// The size of many comas drawn about one that is far from 0 scatters as the formula says.
    #[test]
    fn the_size_scatters_by_that_much() {
        let covariance = [4.0, -1.5, 1.0];
        let coma = Coma::along_axes([-300.0, 140.0]).with_covariance(Some(covariance));
        // Cholesky's factor of the covariance, and an even net of normal deviates in its place of chance
        let (a, b) = (2.0, -0.75);
        let c = (1.0f64 - b * b).sqrt();
        let net: Vec<f64> = (-400..=400).map(|k| f64::from(k) / 80.0).collect();
        let (mut weight, mut mean, mut square) = (0.0, 0.0, 0.0);
        for p in &net {
            for q in &net {
                let w = libm::exp(-0.5 * (p * p + q * q));
                let size = (-300.0 + a * p).hypot(140.0 + b * p + c * q);
                (weight, mean, square) = (weight + w, mean + w * size, square + w * size * size);
            }
        }
        let scatter = (square / weight - (mean / weight).powi(2)).sqrt();
        let sigma = coma.size_m().sigma.unwrap();
        assert_relative_eq!(sigma, scatter, max_relative = 1e-3);
    }

    #[test]
    fn what_is_not_determined_stays_so() {
        let unknown = Coma::along_axes([1.0, 2.0]).with_sigma(f64::INFINITY);
        assert_eq!(unknown.size_m().sigma, None);
        assert_eq!(unknown.sigma_per_axis_m(), None);
        let known = Coma::along_axes([1.0, 2.0]).with_sigma(0.5);
        assert_eq!(known.less(&unknown).size_m().sigma, None);
        assert_relative_eq!(known.less(&known).size_m().sigma.unwrap(), 0.5f64.sqrt());
    }
}
