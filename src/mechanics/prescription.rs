//! Telescopes in a few numbers: one paraboloid, two mirrors with or without a corrector plate, one lens. Short ways of writing a
//! [`System`].
//!
//! Axes as in [`trace`](super::trace): starlight along +z, x and y those of the pupil. A positive screw moves the unit away
//! from its base: a secondary towards the primary, a primary or a lens towards the sky. A tilt points at the raised edge; the
//! unit turns about the middle of the screw circle, `pivot` behind its vertex.

use super::bench::{Bench, SensorStar};
use super::fits::SystemError;
use super::respond::derive;
use super::sphere::TracedStar;
use super::system::{self, Clearance, Element, Group, Motion, System};
use super::trace::{Effect, RayError, Surface};

pub use super::respond::Derived;

/// Surfaces and the unit that the screws hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Prescription {
    /// The surfaces.
    pub optics: Optics,
    /// What the screws move.
    pub unit: Unit,
    /// How far behind the unit's vertex, towards its base, the middle of the screw circle lies.
    pub pivot_m: f64,
    /// Diameter of the clear opening.
    pub aperture_m: f64,
}

/// The surfaces of a telescope. Radii of mirrors are absolute values.
#[derive(Debug, Clone, PartialEq)]
pub enum Optics {
    /// A single paraboloid.
    Paraboloid {
        /// Focal length.
        focal_length_m: f64,
    },
    /// A concave primary and a convex secondary.
    TwoMirror(TwoMirror),
    /// One lens, thin or with a thickness.
    Lens(Lens),
}

/// A concave primary and a convex secondary, with or without a corrector plate.
#[derive(Debug, Clone, PartialEq)]
pub struct TwoMirror {
    /// Radius of the primary.
    pub primary_radius_m: f64,
    /// Its conic constant.
    pub primary_conic: f64,
    /// Radius of the secondary.
    pub secondary_radius_m: f64,
    /// Its conic constant.
    pub secondary_conic: f64,
    /// From vertex to vertex.
    pub spacing_m: f64,
    /// The plate.
    pub corrector: Option<Corrector>,
}

/// A full-aperture plate, flat towards the sky, aspheric inside; the flat face is the entrance pupil.
#[derive(Debug, Clone, PartialEq)]
pub struct Corrector {
    /// Refractive index.
    pub index: f64,
    /// Thickness.
    pub thickness_m: f64,
    /// From its inner face to the secondary's vertex.
    pub gap_m: f64,
    /// Inner face: coefficients of r⁴, r⁶, r⁸ in m⁻³, m⁻⁵, m⁻⁷, positive along the light.
    pub asphere: Vec<f64>,
}

/// A lens of two spheres; a radius is positive where its centre lies towards the sensor.
#[derive(Debug, Clone, PartialEq)]
pub struct Lens {
    /// Radius of the face towards the sky; infinite for a plane.
    pub front_radius_m: f64,
    /// Radius of the face towards the sensor; infinite for a plane.
    pub back_radius_m: f64,
    /// Refractive index.
    pub index: f64,
    /// Thickness at the vertex; 0 for a thin lens.
    pub thickness_m: f64,
}

/// What the screws move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// The primary mirror.
    Primary,
    /// The secondary mirror.
    Secondary,
    /// The lens.
    Lens,
}

/// How the unit stands away from its nominal place.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Displacement {
    /// Tilt about the pivot; positive raises the edge at +x.
    pub tilt_rad: f64,
    /// Shift towards +x.
    pub decentre_m: f64,
    /// Away from the base.
    pub piston_m: f64,
}

/// Why a prescription gives no telescope.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PrescriptionError {
    /// Its surfaces do not make one.
    #[error("{0}")]
    System(#[from] SystemError),
    /// The secondary stands where the primary's light is already past its focus.
    #[error("the secondary stands at or beyond the focus of the primary")]
    BeyondFocus,
    /// The screws are said to hold something that the telescope does not have.
    #[error("these optics have no such unit")]
    NoSuchUnit,
}

impl From<RayError> for PrescriptionError {
    fn from(error: RayError) -> Self {
        SystemError::from(error).into()
    }
}

/// The rigid bodies of the short forms.
const HELD: Group = Group(0);
const FIXED: Group = Group(1);

impl Prescription {
    /// The same telescope as a row of surfaces; the first one is the stop, and the sensor stands by itself.
    pub fn system(&self) -> System {
        System {
            elements: self.elements(),
            aperture_m: self.aperture_m,
            stop: 0,
            unit: system::Unit {
                group: HELD,
                pivot_m: self.pivot_m,
                away: None,
            },
            sensor: None,
            clearance: Clearance::Aperture,
        }
    }

    /// Surfaces in the light's order, with the unit displaced.
    pub fn surfaces(&self, displacement: &Displacement) -> Vec<Surface> {
        self.system().surfaces(HELD, &displacement.motion())
    }

    fn elements(&self) -> Vec<Element> {
        let body = |unit: Unit| if unit == self.unit { HELD } else { FIXED };
        match &self.optics {
            Optics::Paraboloid { focal_length_m } => vec![mirror(
                "primary",
                2.0 * focal_length_m,
                -1.0,
                0.0,
                body(Unit::Primary),
            )],
            Optics::TwoMirror(pair) => {
                let mut row: Vec<Element> = pair
                    .corrector
                    .iter()
                    .flat_map(|plate| plate_faces(plate, pair.spacing_m))
                    .collect();
                row.push(mirror(
                    "primary",
                    pair.primary_radius_m,
                    pair.primary_conic,
                    0.0,
                    body(Unit::Primary),
                ));
                row.push(mirror(
                    "secondary",
                    pair.secondary_radius_m,
                    pair.secondary_conic,
                    -pair.spacing_m,
                    body(Unit::Secondary),
                ));
                row
            }
            Optics::Lens(lens) => lens_faces(lens, body(Unit::Lens)).to_vec(),
        }
    }

    /// Checks what can be told without tracing a star, then that every ray of the aligned telescope passes.
    ///
    /// # Errors
    /// [`PrescriptionError`]: the first thing that makes it no telescope.
    pub fn check(&self) -> Result<(), PrescriptionError> {
        let fits = matches!(
            (&self.optics, self.unit),
            (Optics::Paraboloid { .. }, Unit::Primary)
                | (Optics::TwoMirror(_), Unit::Primary | Unit::Secondary)
                | (Optics::Lens(_), Unit::Lens)
        );
        if !fits {
            return Err(PrescriptionError::NoSuchUnit);
        }
        if let Optics::TwoMirror(pair) = &self.optics
            && pair.spacing_m >= 0.5 * pair.primary_radius_m
        {
            return Err(PrescriptionError::BeyondFocus);
        }
        Ok(self.system().check()?)
    }

    /// Focal length, and where the paraxial focus lies along z.
    ///
    /// # Errors
    /// [`PrescriptionError::System`] when even a ray beside the axis misses.
    pub fn paraxial(&self) -> Result<(f64, f64), PrescriptionError> {
        Ok(self.system().paraxial()?)
    }

    /// +1 where the light travels along +z behind the last surface, −1 where it travels back to the sky.
    pub fn onward(&self) -> f64 {
        self.system().onward()
    }

    /// The telescope with its sensor at the paraxial focus.
    fn bench(&self) -> Result<Bench, PrescriptionError> {
        let (focal_length_m, focus_z_m) = self.paraxial()?;
        Ok(Bench {
            system: self.system(),
            focal_length_m,
            sensor_z_m: focus_z_m,
            best_focus_m: 0.0,
        })
    }
}

impl Displacement {
    fn motion(&self) -> Motion {
        Motion {
            tilt_rad: [self.tilt_rad, 0.0],
            decentre_m: [self.decentre_m, 0.0],
            piston_m: self.piston_m,
        }
    }
}

/// A star at a field angle (its light travels along (sin, 0, cos)) with the unit displaced: the star itself, the telescope
/// not pointed anew. The second value is where its central ray meets the paraxial focal plane of the aligned telescope.
///
/// # Errors
/// [`PrescriptionError::System`] when a ray misses a surface.
pub fn misaligned_star(
    prescription: &Prescription,
    displacement: &Displacement,
    field_rad: f64,
) -> Result<(TracedStar, f64), PrescriptionError> {
    let bench = prescription.bench()?;
    let standing = bench.unit(displacement.motion());
    let SensorStar {
        traced, landing_m, ..
    } = bench.star(&standing, [libm::sin(field_rad), 0.0])?;
    Ok((traced, landing_m[0]))
}

/// The star whose central ray meets the paraxial focal plane at `place_m` along x: what a fixed place of the sensor shows.
///
/// # Errors
/// As [`misaligned_star`].
pub fn star_at_place(
    prescription: &Prescription,
    displacement: &Displacement,
    place_m: f64,
) -> Result<TracedStar, PrescriptionError> {
    let bench = prescription.bench()?;
    let standing = bench.unit(displacement.motion());
    Ok(bench.star_at(&standing, [place_m, 0.0])?.traced)
}

/// Traces the response, the field and the focus of a prescription.
///
/// # Errors
/// [`PrescriptionError`] when it is no telescope.
pub fn respond(prescription: &Prescription) -> Result<Derived, PrescriptionError> {
    prescription.check()?;
    Ok(derive(&prescription.system(), &[])?)
}

/// A mirror whose centre of curvature lies towards the sky, as those of a concave primary and a convex secondary do.
fn mirror(name: &str, radius_m: f64, conic: f64, z_m: f64, group: Group) -> Element {
    Element {
        effect: Effect::Mirror,
        curvature_per_m: -1.0 / radius_m,
        conic,
        ..face(name, 1.0, 0.0, z_m, group)
    }
}

fn face(name: &str, index_behind: f64, curvature_per_m: f64, z_m: f64, group: Group) -> Element {
    Element {
        name: name.into(),
        effect: Effect::Refract(index_behind),
        glass: None,
        curvature_per_m,
        conic: 0.0,
        asphere: Vec::new(),
        z_m,
        diameter_m: None,
        inner_diameter_m: None,
        group: Some(group),
    }
}

fn plate_faces(plate: &Corrector, spacing_m: f64) -> [Element; 2] {
    let inner_z_m = -(spacing_m + plate.gap_m);
    let outer_z_m = inner_z_m - plate.thickness_m;
    let mut inner = face("corrector's inner face", 1.0, 0.0, inner_z_m, FIXED);
    inner.asphere = plate.asphere.clone();
    let outer = face("corrector's outer face", plate.index, 0.0, outer_z_m, FIXED);
    [outer, inner]
}

fn lens_faces(lens: &Lens, group: Group) -> [Element; 2] {
    let curvatures = [1.0 / lens.front_radius_m, 1.0 / lens.back_radius_m];
    [
        face("lens's front face", lens.index, curvatures[0], 0.0, group),
        face(
            "lens's back face",
            1.0,
            curvatures[1],
            lens.thickness_m,
            group,
        ),
    ]
}
