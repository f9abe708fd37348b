//! A star on the sensor of a telescope whose unit is moved: its modes, where it lands, and how far beyond the sensor it comes together.
//!
//! The sensor stands in the paraxial focal plane of the aligned telescope, by itself or carried by a group; focus is counted from where the
//! aligned telescope brings the star on the axis together best. A star is named by its place on the sensor, where its central ray lands,
//! after the telescope was pointed anew.

use super::fits::SystemError;
use super::sphere::{Launch, TracedStar, leads_at, traced_star};
use super::system::{Frame, Group, Motion, System};
use super::trace::{Ray, RayError, Surface, minus, trace};

/// A telescope and where its sensor stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    /// The surfaces.
    pub system: System,
    /// Focal length.
    pub focal_length_m: f64,
    /// Where the sensor of the aligned telescope stands.
    pub sensor_z_m: f64,
    /// How far beyond that the star on the axis of the aligned telescope comes together best: spherical aberration.
    pub best_focus_m: f64,
}

/// How one group stands, and the sensor against what carries it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Standing {
    /// Which group is moved, about the pivot of the unit.
    pub group: Group,
    /// How.
    pub motion: Motion,
    /// How much too far beyond the last surface the sensor stands.
    pub spacing_m: f64,
}

/// What the sensor sees of a star.
#[derive(Debug, Clone, PartialEq)]
pub struct SensorStar {
    /// Modes over the full disc, and the sphere they are counted from.
    pub traced: TracedStar,
    /// Where the central ray meets the sensor, in the sensor's own axes.
    pub landing_m: [f64; 2],
    /// How far beyond the best focus of the aligned telescope's axis, carried along by the sensor, the light comes together.
    pub beyond_m: f64,
    launch: Launch,
    surfaces: Vec<Surface>,
}

impl Bench {
    /// Puts the sensor into the paraxial focal plane.
    ///
    /// # Errors
    /// [`SystemError`] when the surfaces are no telescope.
    pub fn new(system: System) -> Result<Bench, SystemError> {
        system.check()?;
        let (focal_length_m, sensor_z_m) = system.paraxial()?;
        let mut bench = Bench {
            system,
            focal_length_m,
            sensor_z_m,
            best_focus_m: 0.0,
        };
        let aligned = bench.unit(Motion::default());
        bench.best_focus_m = bench.star(&aligned, [0.0; 2])?.beyond_m;
        Ok(bench)
    }

    /// The same telescope at another wavelength, the sensor where it stands.
    ///
    /// # Errors
    /// [`SystemError::Colour`] where a glass's formula does not reach that far.
    pub fn at(&self, wavelength_m: f64) -> Result<Bench, SystemError> {
        Ok(Bench {
            system: self.system.at(wavelength_m)?,
            ..self.clone()
        })
    }

    /// The unit moved, the sensor at its right distance.
    pub fn unit(&self, motion: Motion) -> Standing {
        Standing {
            group: self.system.unit.group,
            motion,
            spacing_m: 0.0,
        }
    }

    /// A star whose light travels along (sin, sin, cos), the telescope not pointed anew.
    ///
    /// # Errors
    /// [`RayError`] when a ray cannot pass.
    pub fn star(&self, standing: &Standing, sines: [f64; 2]) -> Result<SensorStar, RayError> {
        let Standing { group, motion, .. } = standing;
        let launch = self.system.launch(*group, motion, sines)?;
        let surfaces = self.system.surfaces(*group, motion);
        let traced = traced_star(&surfaces, &launch)?;
        let sensor = self.sensor(standing);
        let above = sensor
            .turn
            .to_local(minus(traced.centre_m, sensor.origin_m));
        Ok(SensorStar {
            landing_m: landing(&traced.chief, &sensor),
            beyond_m: self.system.onward() * above[2] - self.best_focus_m,
            traced,
            launch,
            surfaces,
        })
    }

    /// The star whose central ray lands at a place of the sensor.
    ///
    /// # Errors
    /// [`RayError`] when a ray cannot pass.
    pub fn star_at(&self, standing: &Standing, place_m: [f64; 2]) -> Result<SensorStar, RayError> {
        self.star(standing, self.sines_of(standing, place_m)?)
    }

    /// Direction of the light of a star whose central ray lands at a place of the sensor.
    fn sines_of(&self, standing: &Standing, place_m: [f64; 2]) -> Result<[f64; 2], RayError> {
        const STEPS: usize = 40;
        let Standing { group, motion, .. } = standing;
        let surfaces = self.system.surfaces(*group, motion);
        let sensor = self.sensor(standing);
        let mut sines = [0.0; 2];
        let mut launch = self.system.launch(*group, motion, sines)?;
        for _ in 0..STEPS {
            launch.direction = along(sines);
            let there = landing(&trace(&surfaces, launch.ray(0.0, 0.0))?, &sensor);
            let miss = [place_m[0] - there[0], place_m[1] - there[1]];
            sines = [0, 1].map(|axis| sines[axis] + miss[axis] / self.focal_length_m);
            if miss[0].hypot(miss[1]) < 1e-14 * self.focal_length_m {
                break;
            }
        }
        Ok(sines)
    }

    /// Where the sensor is.
    fn sensor(&self, standing: &Standing) -> Frame {
        let z_m = self.sensor_z_m + self.system.onward() * standing.spacing_m;
        if self.system.sensor == Some(standing.group) {
            self.system.carried(z_m, &standing.motion)
        } else {
            Frame::on_axis(z_m)
        }
    }
}

impl SensorStar {
    /// W at points of the pupil, in units of its radius, tilt and focus taken out: how far the wavefront leads.
    ///
    /// # Errors
    /// [`RayError`] when a ray cannot pass.
    pub fn leads_at(&self, points: &[[f64; 2]]) -> Result<Vec<f64>, RayError> {
        leads_at(&self.surfaces, &self.launch, &self.traced, points)
    }

    /// A Noll mode, metres RMS.
    pub fn mode(&self, noll: u32) -> f64 {
        self.traced.modes.get(noll)
    }
}

fn along([x, y]: [f64; 2]) -> [f64; 3] {
    [x, y, (1.0 - x * x - y * y).max(0.0).sqrt()]
}

/// Where a ray meets the sensor, in the sensor's own axes.
fn landing(ray: &Ray, sensor: &Frame) -> [f64; 2] {
    let place = sensor.turn.to_local(minus(ray.place_m, sensor.origin_m));
    let direction = sensor.turn.to_local(ray.direction);
    let length = -place[2] / direction[2];
    [0, 1].map(|axis| place[axis] + length * direction[axis])
}
