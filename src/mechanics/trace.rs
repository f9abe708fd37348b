//! Exact rays through a row of surfaces: conics, even aspheres, mirrors and glass.
//!
//! Axes: z along the starlight, x and y as in the pupil; they keep their labels through reflections. A surface's height over
//! its own vertex plane is c r²/(1 + √(1 − (1 + K) c² r²)) + a₄r⁴ + a₆r⁶ + …, its own frame may stand anywhere and be turned.
//! Nothing is paraxial. It refuses to guess: a ray that misses a surface, or that the glass reflects totally, is an
//! error with the surface's name.
//!
//! Source: Snell's law in vectors and Newton's iteration; compared with another ray tracer by `tests/prescriptions.rs`.

use std::sync::Arc;

/// A point or a direction: x, y, z.
pub type Vec3 = [f64; 3];

/// What a surface is called in messages.
pub type Name = Arc<str>;

/// What a surface does to light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Effect {
    /// It reflects.
    Mirror,
    /// It refracts; behind it lies a medium of this index.
    Refract(f64),
}

/// One surface in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Surface {
    /// What it is called in messages.
    pub name: Name,
    /// What it does.
    pub effect: Effect,
    /// One over the radius; positive where the centre of curvature lies at larger z.
    pub curvature_per_m: f64,
    /// Conic constant K = −e².
    pub conic: f64,
    /// Coefficients of r⁴, r⁶, r⁸ …, in m⁻³, m⁻⁵ …
    pub asphere: Vec<f64>,
    /// Place of the vertex.
    pub vertex_m: Vec3,
    /// How its own frame is turned.
    pub turn: Turn,
}

/// A rotation of a surface's own frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Turn {
    rows: [Vec3; 3],
}

impl Turn {
    /// No rotation.
    pub const NONE: Turn = Turn {
        rows: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
    };

    /// Carries +z towards a direction across it, by the direction's length in radians.
    pub fn towards([x, y]: [f64; 2]) -> Turn {
        let angle = x.hypot(y);
        if angle == 0.0 {
            return Turn::NONE;
        }
        let (u, v) = (x / angle, y / angle);
        let (sin, cos) = (libm::sin(angle), libm::cos(angle));
        Turn {
            rows: [
                [1.0 + (cos - 1.0) * u * u, (cos - 1.0) * u * v, sin * u],
                [(cos - 1.0) * u * v, 1.0 + (cos - 1.0) * v * v, sin * v],
                [-sin * u, -sin * v, cos],
            ],
        }
    }

    /// A vector of the turned frame in the axes of the telescope.
    pub fn to_global(&self, v: Vec3) -> Vec3 {
        self.rows.map(|row| dot(row, v))
    }

    /// A vector in the axes of the telescope, seen from the turned frame.
    pub fn to_local(&self, v: Vec3) -> Vec3 {
        [0, 1, 2].map(|axis| (0..3).map(|row| self.rows[row][axis] * v[row]).sum())
    }
}

/// A ray on its way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ray {
    /// Where it is.
    pub place_m: Vec3,
    /// Unit vector along it.
    pub direction: Vec3,
    /// Optical path since its start.
    pub path_m: f64,
    /// Refractive index of where it is.
    pub index: f64,
}

/// Why a ray could not be traced.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum RayError {
    /// It does not meet the surface.
    #[error("a ray at the edge of the aperture misses the {0}")]
    Misses(Name),
    /// The glass reflects it totally.
    #[error("the {0} reflects a ray totally instead of refracting it")]
    TotalReflection(Name),
}

/// Carries a ray through all surfaces in their order.
///
/// # Errors
/// [`RayError`] naming the first surface that the ray cannot pass.
pub fn trace(surfaces: &[Surface], ray: Ray) -> Result<Ray, RayError> {
    surfaces
        .iter()
        .try_fold(ray, |ray, surface| surface.pass(ray))
}

impl Surface {
    /// Carries a ray to the surface and through it.
    ///
    /// # Errors
    /// As [`trace`].
    pub fn pass(&self, ray: Ray) -> Result<Ray, RayError> {
        self.pass_where(ray).map(|(ray, _)| ray)
    }

    /// The same, and where it meets the surface, in the surface's own frame.
    ///
    /// # Errors
    /// As [`trace`].
    pub fn pass_where(&self, ray: Ray) -> Result<(Ray, Vec3), RayError> {
        let place = self.turn.to_local(minus(ray.place_m, self.vertex_m));
        let direction = self.turn.to_local(ray.direction);
        let length_m = self.distance(place, direction)?;
        let hit = along(place, direction, length_m);
        let (_, slope) = self.height(hit[0], hit[1])?;
        let normal = unit([-slope[0], -slope[1], 1.0]);
        let cos_in = dot(direction, normal);
        let (leaving, index) = match self.effect {
            Effect::Mirror => (along(direction, normal, -2.0 * cos_in), ray.index),
            Effect::Refract(index) => {
                let ratio = ray.index / index;
                let square = 1.0 - ratio * ratio * (1.0 - cos_in * cos_in);
                if square < 0.0 {
                    return Err(RayError::TotalReflection(self.name.clone()));
                }
                let cos_out = square.sqrt().copysign(cos_in);
                let bent = direction.map(|u| ratio * u);
                (along(bent, normal, cos_out - ratio * cos_in), index)
            }
        };
        let back = self.turn.to_global(hit);
        let on = Ray {
            place_m: [0, 1, 2].map(|axis| back[axis] + self.vertex_m[axis]),
            direction: self.turn.to_global(leaving),
            path_m: ray.path_m + ray.index * length_m,
            index,
        };
        Ok((on, hit))
    }

    /// Height over the vertex plane at (x, y), and its slope.
    ///
    /// # Errors
    /// [`RayError::Misses`] where the conic does not reach that far.
    pub fn height(&self, x_m: f64, y_m: f64) -> Result<(f64, [f64; 2]), RayError> {
        let square = x_m * x_m + y_m * y_m;
        let c = self.curvature_per_m;
        let under_root = 1.0 - (1.0 + self.conic) * c * c * square;
        if under_root.is_nan() || under_root <= 0.0 {
            return Err(RayError::Misses(self.name.clone()));
        }
        let root = under_root.sqrt();
        let mut height = c * square / (1.0 + root);
        let mut per_square = 0.5 * c / root;
        let mut power = square;
        for (term, coefficient) in self.asphere.iter().enumerate() {
            per_square += (term as f64 + 2.0) * coefficient * power;
            power *= square;
            height += coefficient * power;
        }
        Ok((height, [2.0 * x_m * per_square, 2.0 * y_m * per_square]))
    }

    /// Way along the ray to the surface, from the vertex plane by Newton's iteration.
    fn distance(&self, place: Vec3, direction: Vec3) -> Result<f64, RayError> {
        const STEPS: usize = 60;
        let mut length = -place[2] / direction[2];
        for _ in 0..STEPS {
            let here = along(place, direction, length);
            let (height, slope) = self.height(here[0], here[1])?;
            let closing = direction[2] - slope[0] * direction[0] - slope[1] * direction[1];
            let step = (here[2] - height) / closing;
            if !step.is_finite() {
                return Err(RayError::Misses(self.name.clone()));
            }
            length -= step;
            if step.abs() < 1e-15 * (1.0 + length.abs()) {
                return Ok(length);
            }
        }
        Err(RayError::Misses(self.name.clone()))
    }
}

impl Ray {
    /// Where the ray crosses the plane at `z_m`: x and y.
    pub fn at_plane(&self, z_m: f64) -> [f64; 2] {
        let length = (z_m - self.place_m[2]) / self.direction[2];
        let place = along(self.place_m, self.direction, length);
        [place[0], place[1]]
    }
}

/// `place` + `length` · `direction`.
pub(super) fn along(place: Vec3, direction: Vec3, length: f64) -> Vec3 {
    [0, 1, 2].map(|axis| place[axis] + length * direction[axis])
}

pub(super) fn minus(a: Vec3, b: Vec3) -> Vec3 {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

pub(super) fn dot(a: Vec3, b: Vec3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn unit(v: Vec3) -> Vec3 {
    let length = dot(v, v).sqrt();
    v.map(|part| part / length)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn start(x_m: f64, y_m: f64) -> Ray {
        Ray {
            place_m: [x_m, y_m, -3.0],
            direction: [0.0, 0.0, 1.0],
            path_m: 0.0,
            index: 1.0,
        }
    }

    fn surface(effect: Effect, curvature_per_m: f64, conic: f64) -> Surface {
        Surface {
            name: "test surface".into(),
            effect,
            curvature_per_m,
            conic,
            asphere: Vec::new(),
            vertex_m: [0.0; 3],
            turn: Turn::NONE,
        }
    }

    /// The focal property of the parabola: every ray meets the focus, after the same path.
    #[test]
    fn a_paraboloid_is_stigmatic_on_its_axis() {
        let focal_m = 0.83;
        let mirror = surface(Effect::Mirror, -0.5 / focal_m, -1.0);
        for (x, y) in [(0.11, -0.04), (0.0, 0.3), (-0.27, 0.19)] {
            let ray = mirror.pass(start(x, y)).expect("it meets the mirror");
            let [fx, fy] = ray.at_plane(-focal_m);
            assert_abs_diff_eq!(fx, 0.0, epsilon = 1e-14);
            assert_abs_diff_eq!(fy, 0.0, epsilon = 1e-14);
            let rest = (-focal_m - ray.place_m[2]) / ray.direction[2];
            assert_abs_diff_eq!(ray.path_m + rest, 3.0 + focal_m, epsilon = 1e-14);
        }
    }

    /// Snell's law at a plane, by angles instead of vectors.
    #[test]
    fn a_plane_refracts_by_the_sines() {
        let plane = surface(Effect::Refract(1.47), 0.0, 0.0);
        let ray = Ray {
            direction: [0.37f64.sin(), 0.0, 0.37f64.cos()],
            ..start(0.0, 0.0)
        };
        let refracted = plane.pass(ray).expect("it passes");
        assert_abs_diff_eq!(
            refracted.direction[0] * 1.47,
            0.37f64.sin(),
            epsilon = 1e-15
        );
        let grazing = surface(Effect::Refract(1.0), 0.0, 0.0).pass(Ray {
            index: 1.6,
            ..ray.turned(0.9)
        });
        assert_eq!(
            grazing,
            Err(RayError::TotalReflection("test surface".into()))
        );
    }

    /// The slope that bends rays must be the slope of the height that they meet.
    #[test]
    fn the_slope_is_the_heights_own() {
        let asphere = Surface {
            asphere: vec![0.7, -1.3, 2.9],
            ..surface(Effect::Mirror, 0.61, -0.4)
        };
        let (x, y, step) = (0.31, -0.17, 1e-6);
        let height = |x, y| asphere.height(x, y).expect("inside").0;
        let (_, slope) = asphere.height(x, y).expect("inside");
        assert_abs_diff_eq!(
            slope[0],
            (height(x + step, y) - height(x - step, y)) / (2.0 * step),
            epsilon = 1e-9
        );
        assert_abs_diff_eq!(
            slope[1],
            (height(x, y + step) - height(x, y - step)) / (2.0 * step),
            epsilon = 1e-9
        );
    }

    #[test]
    fn a_ray_beyond_the_sphere_misses_it() {
        let ball = surface(Effect::Mirror, 1.0 / 0.2, 0.0);
        assert_eq!(
            ball.pass(start(0.21, 0.0)),
            Err(RayError::Misses("test surface".into()))
        );
        assert!(ball.pass(start(0.19, 0.0)).is_ok());
        // nor has it a height there, nor where nobody says where that is
        for x_m in [0.21, f64::NAN] {
            assert_eq!(
                ball.height(x_m, 0.0),
                Err(RayError::Misses("test surface".into()))
            );
        }
    }

    /// The way to a ball is looked for from its vertex plane, however far aside the ray starts: this one comes from 0.3 m beside a
    /// ball of 0.2 m and meets its vertex after 3 m / cos 0.1.
    #[test]
    fn a_slanted_ray_finds_the_ball_from_far_aside() {
        let ball = surface(Effect::Mirror, 1.0 / 0.2, 0.0);
        let ray = ball.pass(start(-3.0 * 0.1f64.tan(), 0.0).turned(0.1));
        let ray = ray.expect("it meets the ball");
        assert_abs_diff_eq!(ray.path_m, 3.0 / 0.1f64.cos(), epsilon = 1e-14);
        for along in ray.place_m {
            assert_abs_diff_eq!(along, 0.0, epsilon = 1e-14);
        }
    }

    /// By hand: from z = −3 to −1 are 2.5 along (0.48, 0.36, 0.8), which is 1.2 along x and 0.9 along y.
    #[test]
    fn a_plane_is_crossed_in_x_and_y() {
        let ray = Ray {
            direction: [0.48, 0.36, 0.8],
            ..start(0.1, -0.2)
        };
        let [x, y] = ray.at_plane(-1.0);
        assert_abs_diff_eq!(x, 1.3, epsilon = 1e-14);
        assert_abs_diff_eq!(y, 0.7, epsilon = 1e-14);
    }

    #[test]
    fn a_turned_mirror_deflects_by_twice_its_turn_towards_x() {
        let mirror = Surface {
            turn: Turn::towards([0.01, 0.0]),
            ..surface(Effect::Mirror, 0.0, 0.0)
        };
        let ray = mirror.pass(start(0.0, 0.0)).expect("it meets the mirror");
        // its face looks along -z and +z turns towards +x, so -z turns towards -x
        assert_abs_diff_eq!(ray.direction[0], -0.02f64.sin(), epsilon = 1e-15);
        assert_abs_diff_eq!(ray.direction[2], -0.02f64.cos(), epsilon = 1e-15);
    }

    /// By hand: a quarter turn towards (0.6, 0.8) carries z there and that direction to −z; a way there and back changes nothing.
    #[test]
    fn a_turn_carries_the_axis_towards_its_direction() {
        let quarter = std::f64::consts::FRAC_PI_2;
        let turn = Turn::towards([0.6 * quarter, 0.8 * quarter]);
        for (from, wanted) in [
            ([0.0, 0.0, 1.0], [0.6, 0.8, 0.0]),
            ([0.6, 0.8, 0.0], [0.0, 0.0, -1.0]),
            ([0.8, -0.6, 0.0], [0.8, -0.6, 0.0]),
        ] {
            let found = turn.to_global(from);
            let back = turn.to_local(found);
            for axis in 0..3 {
                assert_abs_diff_eq!(found[axis], wanted[axis], epsilon = 1e-15);
                assert_abs_diff_eq!(back[axis], from[axis], epsilon = 1e-15);
            }
        }
    }

    impl Ray {
        fn turned(self, angle: f64) -> Ray {
            Ray {
                direction: [angle.sin(), 0.0, angle.cos()],
                ..self
            }
        }
    }
}
