//! The unit as a rigid body: tilted, aside, and with a sensor that leans against it or stands at the wrong distance.
//!
//! Everything here is at a fixed place of the sensor, after the telescope was pointed anew, in pupil axes. Coma is linear in
//! tilt t and decentre d; astigmatism is the whole quadratic form in t, d and the field h, in which two vectors act along the sum of
//! their azimuths (products of complex numbers). Spacing is rotationally symmetric: spherical aberration, and astigmatism that
//! grows with the square of the field. Source: nodal aberration theory (R. V. Shack and K. P. Thompson, Proc. SPIE 251, 146 (1980),
//! from memory) for the form; the coefficients are the response's.

use crate::axes::FieldM;
use crate::instrument::Response;
use crate::state::{Modes, State};

/// How the unit stands away from its nominal place, but for its height.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Pose {
    /// Tilt of the unit; points at the raised edge.
    pub tilt_rad: [f64; 2],
    /// How far it sits aside.
    pub decentre_m: [f64; 2],
    /// How much too far from the corrector the sensor stands, refocused.
    pub spacing_m: f64,
}

impl Pose {
    /// The unit of a state whose screws and own weight tilt it by so much.
    pub fn of(state: &State, tilt_rad: [f64; 2]) -> Self {
        Pose {
            tilt_rad,
            decentre_m: state.decentre_m,
            spacing_m: state.spacing_m,
        }
    }

    /// Coma [Noll 8, Noll 7] that it adds, the same everywhere in the field, metres RMS.
    pub fn coma_m(&self, response: &Response) -> [f64; 2] {
        [0, 1].map(|axis| {
            response.coma_m_per_rad * self.tilt_rad[axis]
                + response.decentre_coma_m_per_m * self.decentre_m[axis]
        })
    }

    /// Secondary coma [Noll 16, Noll 17] that it adds, the same everywhere in the field, metres RMS.
    fn secondary_coma_m(&self, response: &Response) -> [f64; 2] {
        [0, 1].map(|axis| {
            response.secondary_coma_m_per_rad * self.tilt_rad[axis]
                + response.decentre_secondary_coma_m_per_m * self.decentre_m[axis]
        })
    }

    /// How far beyond the focus it puts the sensor on the axis: quadratic in tilt and decentre.
    pub fn sensor_offset_m(&self, response: &Response) -> f64 {
        let (t, d) = (self.tilt_rad, self.decentre_m);
        response.focus_m_per_rad2 * scalar(t, t)
            + response.focus_m_per_m_rad * scalar(d, t)
            + response.decentre_focus_m_per_m2 * scalar(d, d)
    }

    /// How far it moves the image.
    pub fn image_shift_m(&self, response: &Response) -> FieldM {
        FieldM::new([0, 1].map(|axis| {
            response.image_shift_m_per_rad * self.tilt_rad[axis]
                + response.decentre_image_shift_m_per_m * self.decentre_m[axis]
        }))
    }

    /// Modes that it adds at a place in the field, counted from the field's axis.
    pub fn modes(&self, response: &Response, from_axis_m: FieldM) -> Modes {
        let [coma_x, coma_y] = self.coma_m(response);
        let [secondary_x, secondary_y] = self.secondary_coma_m(response);
        let [cosine, sine] = self.astigmatism_m(response, from_axis_m);
        [
            (8, coma_x),
            (7, coma_y),
            (16, secondary_x),
            (17, secondary_y),
            (6, cosine),
            (5, sine),
            (11, response.spacing_spherical_m_per_m * self.spacing_m),
        ]
        .into_iter()
        .collect()
    }

    /// Astigmatism [Noll 6, Noll 5]: the quadratic form in tilt, decentre and field without that of the field alone, which is the
    /// aligned telescope's.
    fn astigmatism_m(&self, response: &Response, from_axis_m: FieldM) -> [f64; 2] {
        let (t, d, h) = (self.tilt_rad, self.decentre_m, from_axis_m.xy());
        let terms = [
            (response.astigmatism_m_per_rad2, product(t, t)),
            (response.astigmatism_m_per_rad_m, product(t, h)),
            (response.astigmatism_m_per_m_rad, product(d, t)),
            (response.decentre_astigmatism_m_per_m2, product(d, d)),
            (response.decentre_astigmatism_m_per_m_m, product(d, h)),
            (
                response.spacing_astigmatism_m_per_m_m2 * self.spacing_m,
                product(h, h),
            ),
        ];
        let sum = |axis: usize| terms.iter().map(|(k, along)| k * along[axis]).sum();
        [sum(0), sum(1)]
    }
}

/// |a||b| (cos(φa + φb), sin(φa + φb)).
fn product(a: [f64; 2], b: [f64; 2]) -> [f64; 2] {
    [a[0] * b[0] - a[1] * b[1], a[0] * b[1] + a[1] * b[0]]
}

fn scalar(a: [f64; 2], b: [f64; 2]) -> f64 {
    a[0] * b[0] + a[1] * b[1]
}

/// How much the sensor offset grows per metre of field: the sensor's own tilt, and what it has of the unit's tilt and decentre.
pub fn focus_slope(response: Option<&Response>, state: &State, tilt_rad: [f64; 2]) -> [f64; 2] {
    let per_tilt = response.map_or(0.0, |response| {
        away_is_outside(response) * response.sensor_tilt_per_tilt
    });
    let per_decentre = response.map_or(0.0, |response| response.decentre_sensor_tilt_rad_per_m);
    [0, 1].map(|axis| {
        state.sensor_tilt_rad[axis]
            + per_tilt * tilt_rad[axis]
            + per_decentre * state.decentre_m[axis]
    })
}

/// +1 where a unit that is lifted off its base takes the sensor farther out, −1 where farther in.
pub fn away_is_outside(response: &Response) -> f64 {
    if response.focus_m_per_m < 0.0 {
        -1.0
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: lengths 2 and 3 at 20 and 50 degrees make 6 at 70 degrees.
    #[test]
    fn two_vectors_act_along_the_sum_of_their_azimuths() {
        let at = |length: f64, deg: f64| {
            let rad = deg.to_radians();
            [length * rad.cos(), length * rad.sin()]
        };
        let found = product(at(2.0, 20.0), at(3.0, 50.0));
        for (found, wanted) in found.into_iter().zip(at(6.0, 70.0)) {
            assert!((found - wanted).abs() < 1e-12, "{found} {wanted}");
        }
    }
}
