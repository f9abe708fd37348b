//! From traced rays to W: the reference sphere of least rms, and the modes over it.
//!
//! W is positive where the wavefront leads, that is where the path is shorter than the central ray's. The sphere is centred on
//! the point that makes the rms of W over the full disc least, so that tilt and focus are taken out: the point is the image.

use super::trace::{Ray, RayError, Surface, Vec3, along, dot, minus, trace};
use crate::math::{LeastSquares, gauss_legendre};
use crate::state::Modes;
use crate::wavefront::ZernikeSum;

/// A star's light behind the last surface.
#[derive(Debug, Clone, PartialEq)]
pub struct TracedStar {
    /// W over the full disc, metres RMS, Noll 5 and up; Noll 2 to 4 are zero by the choice of the sphere.
    pub modes: Modes,
    /// Centre of the reference sphere.
    pub centre_m: Vec3,
    /// The central ray.
    pub chief: Ray,
}

/// A plane wave and the disc it fills.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Launch {
    /// Diameter of the entrance pupil.
    pub aperture_m: f64,
    /// Where its centre lies.
    pub pupil_m: Vec3,
    /// Unit vector along which the light travels.
    pub direction: Vec3,
}

/// Highest mode that is taken from the traced rays.
pub const HIGHEST_MODE: u32 = 22;
/// Rings of rays; Gauss points in ρ², exact for polynomials of degree 30 in ρ.
const RINGS: usize = 8;
const SPOKES: usize = 4 * RINGS;

/// Traces a star over the whole disc and fits its sphere.
///
/// # Errors
/// [`RayError`] when any ray misses a surface.
pub fn traced_star(surfaces: &[Surface], launch: &Launch) -> Result<TracedStar, RayError> {
    let chief = trace(surfaces, launch.ray(0.0, 0.0))?;
    let points = disc();
    let rays = points
        .iter()
        .map(|p| trace(surfaces, launch.ray(p.x, p.y)))
        .collect::<Result<Vec<Ray>, RayError>>()?;
    let centre_m = fitted_centre(&rays, &points, &chief);
    let leads = leads(&rays, &chief, centre_m);
    let modes = (5..=HIGHEST_MODE).map(|noll| (noll, projected(&points, &leads, noll)));
    Ok(TracedStar {
        modes: modes.collect(),
        centre_m,
        chief,
    })
}

/// How far the wavefront leads at points of the pupil, in units of its radius, about the sphere of a star that was traced: W in metres.
///
/// # Errors
/// [`RayError`] when any ray misses a surface.
pub fn leads_at(
    surfaces: &[Surface],
    launch: &Launch,
    star: &TracedStar,
    points: &[[f64; 2]],
) -> Result<Vec<f64>, RayError> {
    let rays = points
        .iter()
        .map(|[x, y]| trace(surfaces, launch.ray(*x, *y)))
        .collect::<Result<Vec<Ray>, RayError>>()?;
    Ok(leads(&rays, &star.chief, star.centre_m))
}

impl Launch {
    /// The ray through a point of the pupil, in units of its radius; all start on the plane wave through the
    /// origin (a line has no beginning: starting behind a surface is no error, and short paths keep digits).
    pub fn ray(&self, x: f64, y: f64) -> Ray {
        let direction = self.direction;
        let radius = 0.5 * self.aperture_m;
        let [centre_x, centre_y, z] = self.pupil_m;
        let place = [centre_x + radius * x, centre_y + radius * y, z];
        Ray {
            place_m: along(place, direction, -dot(place, direction)),
            direction,
            path_m: 0.0,
            index: 1.0,
        }
    }
}

struct Point {
    x: f64,
    y: f64,
    weight: f64,
}

/// Points of the unit disc with weights that sum to one.
fn disc() -> Vec<Point> {
    let mut points = Vec::with_capacity(RINGS * SPOKES);
    for (node, weight) in gauss_legendre(RINGS) {
        let rho = (0.5 * (node + 1.0)).sqrt();
        for spoke in 0..SPOKES {
            let angle = std::f64::consts::TAU * (spoke as f64 + 0.5) / SPOKES as f64;
            points.push(Point {
                x: rho * libm::cos(angle),
                y: rho * libm::sin(angle),
                weight: 0.5 * weight / SPOKES as f64,
            });
        }
    }
    points
}

/// The centre that makes the weighted rms of W least: Gauss-Newton from where the rays cross best.
fn fitted_centre(rays: &[Ray], points: &[Point], chief: &Ray) -> Vec3 {
    let roots: Vec<f64> = points.iter().map(|p| p.weight.sqrt()).collect();
    let weighted =
        |values: Vec<f64>| -> Vec<f64> { values.iter().zip(&roots).map(|(v, r)| v * r).collect() };
    let mut centre = crossing(rays);
    for _ in 0..12 {
        let step_m = 1e-6 * dot(minus(chief.place_m, centre), minus(chief.place_m, centre)).sqrt();
        let mut columns: Vec<Vec<f64>> = (0..3)
            .map(|axis| {
                let moved = |by: f64| {
                    let mut place = centre;
                    place[axis] += by;
                    leads(rays, chief, place)
                };
                let (up, down) = (moved(step_m), moved(-step_m));
                weighted(
                    up.iter()
                        .zip(&down)
                        .map(|(a, b)| (a - b) / (2.0 * step_m))
                        .collect(),
                )
            })
            .collect();
        columns.push(roots.clone());
        let here = weighted(leads(rays, chief, centre));
        let step = LeastSquares::new(columns, &[0.0; 4]).solve(&here);
        centre = [0, 1, 2].map(|axis| centre[axis] - step[axis]);
        if step[..3].iter().all(|s| s.abs() < 1e-9 * step_m) {
            break;
        }
    }
    centre
}

/// The point with the least sum of squared distances to the rays.
fn crossing(rays: &[Ray]) -> Vec3 {
    let mut columns = vec![Vec::new(); 3];
    let mut data = Vec::new();
    for ray in rays {
        let off_axis = dot(ray.place_m, ray.direction);
        for row in 0..3 {
            for (column, target) in columns.iter_mut().enumerate() {
                let one = if row == column { 1.0 } else { 0.0 };
                target.push(one - ray.direction[row] * ray.direction[column]);
            }
            data.push(ray.place_m[row] - off_axis * ray.direction[row]);
        }
    }
    let found = LeastSquares::new(columns, &[0.0; 3]).solve(&data);
    [found[0], found[1], found[2]]
}

/// How far each ray's wavefront leads the sphere about `centre` that the central ray's last point lies on.
fn leads(rays: &[Ray], chief: &Ray, centre: Vec3) -> Vec<f64> {
    let arm = minus(chief.place_m, centre);
    let radius_square = dot(arm, arm);
    rays.iter()
        .map(|ray| {
            let from_centre = minus(ray.place_m, centre);
            let along_ray = dot(from_centre, ray.direction);
            let root = (along_ray * along_ray - dot(from_centre, from_centre) + radius_square)
                .max(0.0)
                .sqrt();
            let (near, far) = (-along_ray - root, -along_ray + root);
            let length = if near.abs() < far.abs() { near } else { far };
            chief.path_m - (ray.path_m + ray.index * length)
        })
        .collect()
}

fn projected(points: &[Point], leads: &[f64], noll: u32) -> f64 {
    let mode = ZernikeSum::new(&[(noll, 1.0)].into_iter().collect());
    points
        .iter()
        .zip(leads)
        .map(|(p, w)| p.weight * w * mode.value(p.x, p.y))
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    fn ray(place_m: Vec3, direction: Vec3) -> Ray {
        Ray {
            place_m,
            direction,
            path_m: 1.95,
            index: 1.5,
        }
    }

    /// By hand: a line along z through x = 0.3 and one along y through x = −0.1, z = 0.4 come nearest half way between them.
    #[test]
    fn skew_rays_cross_half_way_between_them() {
        let found = crossing(&[
            ray([0.3, 0.2, -5.0], [0.0, 0.0, 1.0]),
            ray([-0.1, 7.0, 0.4], [0.0, 1.0, 0.0]),
        ]);
        for (found, wanted) in found.into_iter().zip([0.1, 0.2, 0.4]) {
            assert_abs_diff_eq!(found, wanted, epsilon = 1e-12);
        }
    }

    /// By hand: the unit sphere stands 0.8 high at x = 0.6. A ray that is at 0.9 there has 0.1 to go when it comes together and 0.1 too
    /// much when it spreads, in glass of index 1.5: its path to the sphere is 1.95 ± 0.15, the central ray's 2.
    #[test]
    fn rays_lead_by_their_way_to_the_nearer_side_of_the_sphere() {
        let chief = Ray {
            path_m: 2.0,
            ..ray([0.0, 0.0, 1.0], [0.0, 0.0, 1.0])
        };
        let lead = |down: f64| {
            let one = ray([0.6, 0.0, 0.9], [0.0, 0.0, down]);
            leads(&[one], &chief, [0.0; 3])[0]
        };
        assert_abs_diff_eq!(lead(-1.0), -0.1, epsilon = 1e-12);
        assert_abs_diff_eq!(lead(1.0), 0.2, epsilon = 1e-12);
    }

    /// Degree 15 is exact for eight Gauss points, degree 16 is not.
    #[test]
    fn gauss_points_integrate_the_degree_they_promise() {
        let mean = |power: i32| {
            gauss_legendre(8)
                .iter()
                .map(|(x, w)| w * (x + 0.3).powi(power))
                .sum::<f64>()
        };
        let exact = |power: i32| {
            (1.3f64.powi(power + 1) - (-0.7f64).powi(power + 1)) / f64::from(power + 1)
        };
        assert_abs_diff_eq!(mean(15), exact(15), epsilon = 1e-13);
        assert!((mean(16) - exact(16)).abs() > 1e-9);
        assert_abs_diff_eq!(
            disc().iter().map(|p| p.weight).sum::<f64>(),
            1.0,
            epsilon = 1e-14
        );
    }
}
