//! A telescope as surfaces in the light's order, in groups that move as rigid bodies.
//!
//! Axes as in [`trace`](super::trace): z along the starlight, x and y those of the pupil, whatever the light does afterwards. A tilt
//! points at the edge that is raised, that is moved away from the unit's base, about a pivot that lies `pivot_m` behind the vertex of the
//! unit's first surface, towards the base. Everything is symmetric about the axis until a group is moved.

use super::fits::{self, SystemError};
use super::glass::Glass;
use super::sphere::Launch;
use super::trace::{Effect, Name, RayError, Surface, Turn, Vec3, trace};

/// Surfaces, what moves, and how wide the light is.
#[derive(Debug, Clone, PartialEq)]
pub struct System {
    /// In the order in which the light meets them.
    pub elements: Vec<Element>,
    /// Diameter of the entrance pupil.
    pub aperture_m: f64,
    /// Which surface's edge is the aperture stop.
    pub stop: usize,
    /// What the screws hold.
    pub unit: Unit,
    /// The group that carries the sensor; `None`: it stands by itself.
    pub sensor: Option<Group>,
    /// How far out surfaces must keep clear of each other.
    pub clearance: Clearance,
}

/// One surface of the aligned telescope.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// What it is called in messages.
    pub name: Name,
    /// What it does at the wavelength that the system stands for.
    pub effect: Effect,
    /// The glass behind it, which sets the index at other wavelengths; `None`: the index is the same for all.
    pub glass: Option<&'static Glass>,
    /// One over the radius; positive where the centre of curvature lies at larger z.
    pub curvature_per_m: f64,
    /// Conic constant K = −e².
    pub conic: f64,
    /// Coefficients of r⁴, r⁶, r⁸ …, in m⁻³, m⁻⁵ …
    pub asphere: Vec<f64>,
    /// Place of its vertex on the axis.
    pub z_m: f64,
    /// Diameter of its edge.
    pub diameter_m: Option<f64>,
    /// Diameter of the hole in its middle.
    pub inner_diameter_m: Option<f64>,
    /// The rigid body that it belongs to.
    pub group: Option<Group>,
}

/// A number for each rigid body of a system.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Group(pub usize);

/// What the screws hold, and how.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unit {
    /// The rigid body.
    pub group: Group,
    /// How far behind the vertex of its first surface, towards its base, the middle of the screw circle lies.
    pub pivot_m: f64,
    /// Where it goes when its screws are lengthened; `None`: towards the side that a mirror faces, and a lens or a sensor towards the sky.
    pub away: Option<Away>,
}

/// The side of the base on which a unit stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Away {
    /// Against the starlight.
    ToSky,
    /// Along the starlight.
    FromSky,
}

impl Away {
    /// The sign of z.
    pub fn sign(self) -> f64 {
        match self {
            Away::ToSky => -1.0,
            Away::FromSky => 1.0,
        }
    }
}

/// How far out surfaces must keep clear of each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Clearance {
    /// All neighbours along z, out to the edge of the aperture: where no edges are given.
    Aperture,
    /// Those that follow each other in the light, out to the smaller one's edge.
    Edges,
}

/// How a rigid body stands away from its nominal place.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Motion {
    /// Tilt about the pivot; points at the raised edge.
    pub tilt_rad: [f64; 2],
    /// Shift across the axis.
    pub decentre_m: [f64; 2],
    /// Away from the base.
    pub piston_m: f64,
}

/// Where a plane of the moved telescope lies: its origin, and how it is turned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Its middle.
    pub origin_m: Vec3,
    /// Its turn.
    pub turn: Turn,
}

/// A paraxial ray's height over the aperture.
const PARAXIAL: f64 = 1e-5;

impl System {
    /// The same telescope at another wavelength.
    ///
    /// # Errors
    /// [`SystemError::Colour`] where a glass's formula does not reach that far.
    pub fn at(&self, wavelength_m: f64) -> Result<System, SystemError> {
        let mut other = self.clone();
        for element in &mut other.elements {
            let Some(glass) = element.glass else { continue };
            let index = glass
                .index(wavelength_m)
                .ok_or_else(|| SystemError::Colour {
                    name: element.name.clone(),
                    glass,
                    wavelength_m,
                })?;
            element.effect = Effect::Refract(index);
        }
        Ok(other)
    }

    /// Whether anything about it depends on the wavelength.
    pub fn is_coloured(&self) -> bool {
        self.elements.iter().any(|element| element.glass.is_some())
    }

    /// Checks that it is a telescope: what can be told without tracing a star, then that every ray of the aligned one passes.
    ///
    /// # Errors
    /// [`SystemError`]: the first thing that makes it none, with the surface's name.
    pub fn check(&self) -> Result<(), SystemError> {
        fits::check(self)
    }

    /// Surfaces in the light's order, with one group moved about the pivot of the unit.
    pub fn surfaces(&self, moved: Group, motion: &Motion) -> Vec<Surface> {
        let place = |element: &Element| {
            let frame = if element.group == Some(moved) {
                self.carried(element.z_m, motion)
            } else {
                Frame::on_axis(element.z_m)
            };
            element.surface(&frame)
        };
        self.elements.iter().map(place).collect()
    }

    /// Surfaces of the aligned telescope.
    pub fn aligned(&self) -> Vec<Surface> {
        self.surfaces(self.unit.group, &Motion::default())
    }

    /// A plane across the axis that stood at `z_m`, carried along by the unit.
    pub fn carried(&self, z_m: f64, motion: &Motion) -> Frame {
        let away = self.away();
        // raising the edge at +x by `tilt` puts the surface on z = away · tilt · x: a turn towards −away · tilt
        let turn = Turn::towards(motion.tilt_rad.map(|tilt| -away * tilt));
        let pivot_z_m = self.pivot_z_m();
        let [x, y, z] = turn.to_global([0.0, 0.0, z_m - pivot_z_m]);
        let [dx, dy] = motion.decentre_m;
        Frame {
            origin_m: [x + dx, y + dy, pivot_z_m + z + away * motion.piston_m],
            turn,
        }
    }

    /// +1 where the unit goes along the starlight when its screws are lengthened, −1 where against it.
    pub fn away(&self) -> f64 {
        self.unit.away.map_or_else(|| self.faces(), Away::sign)
    }

    /// The side that the unit's first mirror faces; towards the sky without one.
    fn faces(&self) -> f64 {
        let mut along = 1.0;
        for element in &self.elements {
            let mirror = element.effect == Effect::Mirror;
            if element.group == Some(self.unit.group) {
                return if mirror { -along } else { Away::ToSky.sign() };
            }
            if mirror {
                along = -along;
            }
        }
        Away::ToSky.sign()
    }

    /// The middle of the screw circle.
    pub fn pivot_z_m(&self) -> f64 {
        let first = self
            .elements
            .iter()
            .find(|element| element.group == Some(self.unit.group));
        let vertex_z_m = match first {
            Some(element) => element.z_m,
            // the unit holds nothing but the sensor
            None => self.paraxial().map_or(0.0, |(_, focus_z_m)| focus_z_m),
        };
        vertex_z_m - self.away() * self.unit.pivot_m
    }

    /// +1 where the light travels along +z behind the last surface, −1 where it travels back to the sky.
    pub fn onward(&self) -> f64 {
        let mirrors = self
            .elements
            .iter()
            .filter(|element| element.effect == Effect::Mirror);
        if mirrors.count() % 2 == 0 { 1.0 } else { -1.0 }
    }

    /// Focal length, negative where an image lies inside, and where the paraxial focus lies along z.
    ///
    /// # Errors
    /// [`RayError`] when even a ray beside the axis misses.
    pub fn paraxial(&self) -> Result<(f64, f64), RayError> {
        let height_m = 0.5 * PARAXIAL * self.aperture_m;
        let launch = Launch {
            aperture_m: self.aperture_m,
            pupil_m: [0.0, 0.0, self.elements.first().map_or(0.0, |e| e.z_m)],
            direction: [0.0, 0.0, 1.0],
        };
        let ray = trace(&self.aligned(), launch.ray(PARAXIAL, 0.0))?;
        let slope = ray.direction[0] / ray.direction[2];
        let focus_z_m = ray.place_m[2] - ray.place_m[0] / slope;
        // negative where the light comes together, whichever way it travels
        Ok((-height_m / (slope * self.onward()), focus_z_m))
    }

    /// The light of a star that travels along (sin, sin, cos), over the entrance pupil.
    ///
    /// The pupil's middle is where light along the axis meets the middle of the stop, moved aside with it; its place along z is the aligned
    /// telescope's.
    ///
    /// # Errors
    /// [`RayError`] when a ray through the middle misses.
    pub fn launch(
        &self,
        moved: Group,
        motion: &Motion,
        sines: [f64; 2],
    ) -> Result<Launch, RayError> {
        let surfaces = self.surfaces(moved, motion);
        let z_m = self.entrance_pupil_z_m()?;
        let [x, y] = self.middle_of_stop(&surfaces, z_m)?;
        let [sx, sy] = sines;
        Ok(Launch {
            aperture_m: self.aperture_m,
            pupil_m: [x, y, z_m],
            direction: [sx, sy, (1.0 - sx * sx - sy * sy).max(0.0).sqrt()],
        })
    }

    /// Where the image of the stop in the surfaces before it lies, of the aligned telescope.
    ///
    /// # Errors
    /// [`RayError`] when a ray beside the axis misses.
    pub fn entrance_pupil_z_m(&self) -> Result<f64, RayError> {
        let first_z_m = self.elements.first().map_or(0.0, |e| e.z_m);
        if self.stop == 0 {
            return Ok(first_z_m);
        }
        let surfaces = self.aligned();
        let sine = PARAXIAL;
        let step_m = PARAXIAL * self.aperture_m;
        let aside = |x_m: f64, sine: f64| -> Result<f64, RayError> {
            let launch = Launch {
                aperture_m: 2.0,
                pupil_m: [x_m, 0.0, first_z_m],
                direction: [sine, 0.0, (1.0 - sine * sine).sqrt()],
            };
            Ok(self.on_surface(&surfaces, &launch, self.stop)?[0])
        };
        let per_height = aside(step_m, 0.0)? / step_m;
        let per_sine = aside(0.0, sine)? / sine;
        Ok(first_z_m + per_sine / per_height)
    }

    /// Where the central ray of a launch meets a surface, in the surface's own frame.
    ///
    /// # Errors
    /// [`RayError`] when it misses one on its way.
    pub fn on_surface(
        &self,
        surfaces: &[Surface],
        launch: &Launch,
        which: usize,
    ) -> Result<[f64; 2], RayError> {
        let ray = trace(&surfaces[..which], launch.ray(0.0, 0.0))?;
        let (_, [x, y, _]) = surfaces[which].pass_where(ray)?;
        Ok([x, y])
    }

    /// Where light along the axis must enter to meet the middle of the stop.
    fn middle_of_stop(&self, surfaces: &[Surface], z_m: f64) -> Result<[f64; 2], RayError> {
        const STEPS: usize = 20;
        let [x, y, _] = surfaces[self.stop].vertex_m;
        if self.stop == 0 {
            return Ok([x, y]);
        }
        let along_axis = |[x, y]: [f64; 2]| Launch {
            aperture_m: self.aperture_m,
            pupil_m: [x, y, z_m],
            direction: [0.0, 0.0, 1.0],
        };
        let step_m = 1e-3 * self.aperture_m;
        let aligned = self.aligned();
        let per_height =
            self.on_surface(&aligned, &along_axis([step_m, 0.0]), self.stop)?[0] / step_m;
        let mut place = [0.0; 2];
        for _ in 0..STEPS {
            let [miss_x, miss_y] = self.on_surface(surfaces, &along_axis(place), self.stop)?;
            place = [
                place[0] - miss_x / per_height,
                place[1] - miss_y / per_height,
            ];
            if miss_x.hypot(miss_y) < 1e-15 {
                break;
            }
        }
        Ok(place)
    }
}

impl Element {
    /// The surface in its place.
    pub fn surface(&self, frame: &Frame) -> Surface {
        Surface {
            name: self.name.clone(),
            effect: self.effect,
            curvature_per_m: self.curvature_per_m,
            conic: self.conic,
            asphere: self.asphere.clone(),
            vertex_m: frame.origin_m,
            turn: frame.turn,
        }
    }
}

impl Frame {
    /// A plane across the axis.
    pub fn on_axis(z_m: f64) -> Frame {
        Frame {
            origin_m: [0.0, 0.0, z_m],
            turn: Turn::NONE,
        }
    }
}
