//! Lengths at the focus of a perfect telescope in closed form, to compare pixels and steps of focus with.
//!
//! Textbook equations, from memory (M. Born and E. Wolf, Principles of Optics, ch. 8), each held against an independent
//! computation by its unit test. They are measures of size; no frame is made from them.

/// Radius of the first dark ring of a full disc's star on the sensor: 1.22 λN, the first zero of J1 over π to three digits.
pub fn airy_radius_m(wavelength_m: f64, focal_ratio: f64) -> f64 {
    1.22 * wavelength_m * focal_ratio
}

/// Critical focus zone: how far the sensor may sit from focus, either way, until W at the edge of the pupil has changed by a
/// quarter of a wavelength: 2λN². Right to 1/(16 N²) of itself.
pub fn critical_focus_m(wavelength_m: f64, focal_ratio: f64) -> f64 {
    2.0 * wavelength_m * focal_ratio * focal_ratio
}

/// How far coma moves the dark centre of a ring from the ring's centre, metres on the sensor for a metre RMS of coma and in its direction: 6N√72·(1−ε²).
/// The rays of a circle of radius ρ make a curve about a centre that coma c moves by −2N√8·(9ρ²−2)·c: its mean ray by 6ρ²−2, and what
/// goes with twice the angle by 3ρ² (derived here). `coma_pushes_the_dark_centre_the_same_way_on_both_sides` of `tests/conventions.rs`
/// pins the sign.
pub fn dark_shift_per_coma(focal_ratio: f64, obstruction_ratio: f64) -> f64 {
    6.0 * focal_ratio * 72f64.sqrt() * (1.0 - obstruction_ratio * obstruction_ratio)
}

/// From the middle of a spike to its first order on the sensor: λf/p for slots of period p, small angles.
pub fn first_order_m(wavelength_m: f64, focal_length_m: f64, period_m: f64) -> f64 {
    wavelength_m * focal_length_m / period_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const WAVELENGTH_M: f64 = 537e-9;

    /// J1 by its power series, its zero by halving.
    #[test]
    fn the_first_dark_ring_is_the_first_zero_of_j1() {
        let j1 = |x: f64| {
            let mut term = 0.5 * x;
            (1..40).fold(term, |sum, k| {
                term *= -0.25 * x * x / f64::from(k * (k + 1));
                sum + term
            })
        };
        let (mut low, mut high) = (3.0, 4.5);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if j1(middle) > 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        let exact_m = low / std::f64::consts::PI * WAVELENGTH_M * 3.7;
        // 1.22 is 1.21967 rounded
        assert_relative_eq!(
            airy_radius_m(WAVELENGTH_M, 3.7),
            exact_m,
            max_relative = 3e-4
        );
        assert!(j1(3.0) > 0.0 && j1(4.5) < 0.0);
    }

    /// Two spheres that touch in the middle of the pupil, one centred on focus and one on the sensor.
    #[test]
    fn at_the_end_of_the_zone_the_edge_is_a_quarter_wave_off() {
        let (ratio, focal_length_m) = (5.3, 0.7);
        let moved_m = critical_focus_m(WAVELENGTH_M, ratio);
        let sine = 0.5 / ratio;
        let depth_m = focal_length_m * (1.0 - (1.0 - sine * sine).sqrt());
        let (aside_m, along_m) = (focal_length_m * sine, focal_length_m + moved_m - depth_m);
        let edge_m = focal_length_m + moved_m - aside_m.hypot(along_m);
        // the next term of the sphere's depth is 1/(16 N²) = 0.2 %
        assert_relative_eq!(edge_m.abs(), 0.25 * WAVELENGTH_M, max_relative = 3e-3);
    }

    /// The grating equation: sin θ = λ/p.
    #[test]
    fn the_first_order_is_where_the_grating_equation_sends_it() {
        let (focal_length_m, period_m) = (0.61_f64, 2.3e-3);
        let exact_m = focal_length_m * (WAVELENGTH_M / period_m).asin().tan();
        assert_relative_eq!(
            first_order_m(WAVELENGTH_M, focal_length_m, period_m),
            exact_m,
            max_relative = 1e-6
        );
    }
}
