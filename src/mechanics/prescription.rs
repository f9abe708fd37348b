//! A telescope's surfaces → what its adjustable unit does to the star, by exact ray trace.
//!
//! Axes as in [`trace`](super::trace): starlight along +z, x and y those of the pupil. A positive screw moves the unit away
//! from its base: a secondary towards the primary, a primary or a lens towards the sky. A tilt points at the raised edge; the
//! unit turns about the middle of the screw circle, `pivot` behind its vertex.
//!
//! What an owner sees at a fixed place of the sensor, after pointing the telescope anew, is not what the star on the old axis
//! does: the star's own angle changes too. For a paraboloid that turns the sign of the coma over. The response is traced
//! for the fixed place ([`respond`]); [`misaligned_star`] traces the star itself.
//!
//! Decentres and tilts are along x only; what they do along other azimuths follows from rotational symmetry.

use super::sphere::{Launch, TracedStar, traced_star};
use super::trace::{Effect, RayError, Surface, trace};
use crate::axes::FieldM;
use crate::instrument::{FieldTerms, Response};
use crate::units::{ARCMIN, MM};

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

/// What follows from a prescription.
#[derive(Debug, Clone, PartialEq)]
pub struct Derived {
    /// At a fixed place of the sensor.
    pub response: Response,
    /// Growth across the field of the aligned telescope.
    pub field: FieldTerms,
    /// Of the whole telescope, paraxial.
    pub focal_length_m: f64,
    /// Best focus beyond its place when aligned, per square radian of tilt.
    pub focus_m_per_rad2: f64,
    /// Best focus beyond its place when aligned, per square metre of decentre.
    pub focus_m_per_m2: f64,
    /// How far behind the unit's vertex lies what it turns about.
    pub pivot_m: f64,
}

/// Why a prescription gives no telescope.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PrescriptionError {
    /// A ray cannot pass.
    #[error("{0}")]
    Ray(#[from] RayError),
    /// Two surfaces go through each other inside the aperture.
    #[error("the {0} and the {1} cross inside the aperture")]
    Cross(&'static str, &'static str),
    /// The secondary stands where the primary's light is already past its focus.
    #[error("the secondary stands at or beyond the focus of the primary")]
    BeyondFocus,
    /// Parallel light is not brought together behind the last surface.
    #[error("the light never comes to a focus behind the last surface")]
    NoFocus,
    /// The screws are said to hold something that the telescope does not have.
    #[error("these optics have no such unit")]
    NoSuchUnit,
}

/// A tilt and a decentre small enough for the linear law, large enough for the digits.
const TILT_STEP_RAD: f64 = ARCMIN;
const DECENTRE_STEP_M: f64 = MM;
/// Field angle from which the field terms are taken.
const FIELD_STEP_RAD: f64 = 10.0 * ARCMIN;
/// A paraxial ray's height over the aperture.
const PARAXIAL: f64 = 1e-5;

impl Prescription {
    /// Surfaces in the light's order, with the unit displaced.
    pub fn surfaces(&self, displacement: &Displacement) -> Vec<Surface> {
        match &self.optics {
            Optics::Paraboloid { focal_length_m } => {
                let mirror = mirror("primary", 2.0 * focal_length_m, -1.0, 0.0);
                vec![self.moved(mirror, Unit::Primary, displacement)]
            }
            Optics::TwoMirror(pair) => {
                let primary = mirror("primary", pair.primary_radius_m, pair.primary_conic, 0.0);
                let secondary = mirror(
                    "secondary",
                    pair.secondary_radius_m,
                    pair.secondary_conic,
                    -pair.spacing_m,
                );
                let mut row = pair
                    .corrector
                    .iter()
                    .flat_map(|plate| plate_faces(plate, pair.spacing_m))
                    .collect::<Vec<_>>();
                row.push(self.moved(primary, Unit::Primary, displacement));
                row.push(self.moved(secondary, Unit::Secondary, displacement));
                row
            }
            Optics::Lens(lens) => lens_faces(lens)
                .map(|face| self.moved(face, Unit::Lens, displacement))
                .to_vec(),
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
        let surfaces = self.surfaces(&Displacement::default());
        if let Optics::TwoMirror(pair) = &self.optics
            && pair.spacing_m >= 0.5 * pair.primary_radius_m
        {
            return Err(PrescriptionError::BeyondFocus);
        }
        not_crossing(&surfaces, self.thin(), 0.5 * self.aperture_m)?;
        let (_, focus_z_m) = self.paraxial()?;
        let last = surfaces.last().map_or(0.0, |s| s.vertex_m[2]);
        if !focus_z_m.is_finite() || (focus_z_m - last) * self.onward() <= 0.0 {
            return Err(PrescriptionError::NoFocus);
        }
        traced_star(&surfaces, &self.launch(0.0, &Displacement::default()))?;
        Ok(())
    }

    /// Focal length, and where the paraxial focus lies along z.
    ///
    /// # Errors
    /// [`PrescriptionError::Ray`] when even a ray beside the axis misses.
    pub fn paraxial(&self) -> Result<(f64, f64), PrescriptionError> {
        let height_m = 0.5 * PARAXIAL * self.aperture_m;
        let ray = trace(
            &self.surfaces(&Displacement::default()),
            self.launch(0.0, &Displacement::default())
                .ray(PARAXIAL, 0.0),
        )?;
        let slope = ray.direction[0] / ray.direction[2];
        let focus_z_m = ray.place_m[2] - ray.place_m[0] / slope;
        // negative where the light comes together, whichever way it travels
        Ok((-height_m / (slope * self.onward()), focus_z_m))
    }

    /// +1 where the light travels along +z behind the last surface, −1 where it travels back to the sky.
    pub fn onward(&self) -> f64 {
        if matches!(self.optics, Optics::Paraboloid { .. }) {
            -1.0
        } else {
            1.0
        }
    }

    fn thin(&self) -> bool {
        matches!(&self.optics, Optics::Lens(lens) if lens.thickness_m == 0.0)
    }

    /// The star's light over the entrance pupil: the edge of the primary or the lens, which moves aside with it, or the
    /// corrector, which stays.
    fn launch(&self, field_rad: f64, displacement: &Displacement) -> Launch {
        let surfaces = self.surfaces(displacement);
        let pupil_m = match &self.optics {
            Optics::TwoMirror(TwoMirror {
                corrector: Some(plate),
                spacing_m,
                ..
            }) => [0.0, -(spacing_m + plate.gap_m + plate.thickness_m)],
            _ => [surfaces.first().map_or(0.0, |s| s.vertex_m[0]), 0.0],
        };
        Launch {
            aperture_m: self.aperture_m,
            pupil_m,
            field_rad,
        }
    }

    /// Moves a surface with the unit it belongs to.
    fn moved(&self, mut surface: Surface, unit: Unit, displacement: &Displacement) -> Surface {
        if unit != self.unit {
            return surface;
        }
        let away = if unit == Unit::Secondary { 1.0 } else { -1.0 };
        // raising the edge at +x by `tilt` puts the surface on z = away · tilt · x: a turn by −away · tilt
        let turn_rad = -away * displacement.tilt_rad;
        let unit_vertex_z_m =
            if let (Unit::Secondary, Optics::TwoMirror(pair)) = (unit, &self.optics) {
                -pair.spacing_m
            } else {
                0.0
            };
        let pivot_z_m = unit_vertex_z_m - away * self.pivot_m;
        let arm_m = surface.vertex_m[2] - pivot_z_m;
        surface.vertex_m = [
            arm_m * libm::sin(turn_rad) + displacement.decentre_m,
            0.0,
            pivot_z_m + arm_m * libm::cos(turn_rad) + away * displacement.piston_m,
        ];
        surface.turn_rad = turn_rad;
        surface
    }
}

/// A star at a field angle (its light travels along (sin, 0, cos)) with the unit displaced: the star itself, the telescope
/// not pointed anew. The second value is where its central ray meets the paraxial focal plane of the aligned telescope.
///
/// # Errors
/// [`PrescriptionError::Ray`] when a ray misses a surface.
pub fn misaligned_star(
    prescription: &Prescription,
    displacement: &Displacement,
    field_rad: f64,
) -> Result<(TracedStar, f64), PrescriptionError> {
    let (_, focus_z_m) = prescription.paraxial()?;
    let star = traced_star(
        &prescription.surfaces(displacement),
        &prescription.launch(field_rad, displacement),
    )?;
    let landing_m = star.chief.at_plane(focus_z_m)[0];
    Ok((star, landing_m))
}

/// The star whose central ray meets the focal plane at `place_m` along x: what a fixed place of the sensor shows.
///
/// # Errors
/// As [`misaligned_star`].
pub fn star_at_place(
    prescription: &Prescription,
    displacement: &Displacement,
    place_m: f64,
) -> Result<TracedStar, PrescriptionError> {
    let (focal_length_m, focus_z_m) = prescription.paraxial()?;
    let surfaces = prescription.surfaces(displacement);
    let landing = |field_rad: f64| -> Result<f64, PrescriptionError> {
        Ok(trace(
            &surfaces,
            prescription.launch(field_rad, displacement).ray(0.0, 0.0),
        )?
        .at_plane(focus_z_m)[0])
    };
    let mut field_rad = 0.0;
    for _ in 0..30 {
        let miss_m = place_m - landing(field_rad)?;
        field_rad += miss_m / focal_length_m;
        if miss_m.abs() < 1e-14 * focal_length_m {
            break;
        }
    }
    Ok(traced_star(
        &surfaces,
        &prescription.launch(field_rad, displacement),
    )?)
}

/// Traces the response, the field and the focus of a prescription.
///
/// # Errors
/// [`PrescriptionError`] when it is no telescope.
pub fn respond(prescription: &Prescription) -> Result<Derived, PrescriptionError> {
    prescription.check()?;
    let (focal_length_m, focus_z_m) = prescription.paraxial()?;
    let (t, e) = (TILT_STEP_RAD, DECENTRE_STEP_M);
    let h = FIELD_STEP_RAD * focal_length_m;
    let tilted = |sign: f64| Displacement {
        tilt_rad: sign * t,
        ..Displacement::default()
    };
    let shifted = |sign: f64| Displacement {
        decentre_m: sign * e,
        ..Displacement::default()
    };
    let raised = |sign: f64| Displacement {
        piston_m: sign * e,
        ..Displacement::default()
    };
    let place =
        |displacement: Displacement, place_m: f64| -> Result<OffAxisStar, PrescriptionError> {
            let star = star_at_place(prescription, &displacement, place_m)?;
            let beyond_m = prescription.onward() * (star.centre_m[2] - focus_z_m);
            Ok(OffAxisStar {
                coma_m: star.modes.get(8),
                astigmatism_m: star.modes.get(6),
                focus_m: beyond_m,
            })
        };
    let aligned = place(Displacement::default(), 0.0)?;
    let (plus, minus) = (place(tilted(1.0), 0.0)?, place(tilted(-1.0), 0.0)?);
    let (right, left) = (
        place(Displacement::default(), h)?,
        place(Displacement::default(), -h)?,
    );
    let (east, west) = (place(shifted(1.0), 0.0)?, place(shifted(-1.0), 0.0)?);
    let (up, down) = (place(raised(1.0), 0.0)?, place(raised(-1.0), 0.0)?);
    let both = |tilt: f64, decentre: f64| Displacement {
        decentre_m: decentre * e,
        ..tilted(tilt)
    };
    // both signs of each of two displacements: what they do together is left of the four
    let of_four = |at: &dyn Fn(f64, f64) -> Result<OffAxisStar, PrescriptionError>| {
        Ok::<_, PrescriptionError>([
            at(1.0, 1.0)?,
            at(-1.0, 1.0)?,
            at(1.0, -1.0)?,
            at(-1.0, -1.0)?,
        ])
    };
    let tilt_field = of_four(&|a, b| place(tilted(a), b * h))?;
    let decentre_field = of_four(&|a, b| place(shifted(a), b * h))?;
    let decentre_tilt = of_four(&|a, b| place(both(b, a), 0.0))?;
    let mixed = |corners: &[OffAxisStar; 4], steps: f64, part: &dyn Fn(&OffAxisStar) -> f64| {
        let [pp, mp, pm, mm] = [0, 1, 2, 3].map(|i| part(&corners[i]));
        (pp - mp - pm + mm) / (4.0 * steps)
    };
    let shift = |a: Displacement, b: Displacement, step: f64| -> Result<f64, PrescriptionError> {
        Ok(
            (misaligned_star(prescription, &a, 0.0)?.1 - misaligned_star(prescription, &b, 0.0)?.1)
                / (2.0 * step),
        )
    };
    let even = |a: f64, b: f64, middle: f64, step: f64| (0.5 * (a + b) - middle) / (step * step);
    // the sensor's offset grows where the best focus comes nearer
    let focus_m_per_m = -(up.focus_m - down.focus_m) / (2.0 * e);
    let away_is_outside = if focus_m_per_m < 0.0 { -1.0 } else { 1.0 };
    Ok(Derived {
        response: Response {
            coma_m_per_rad: (plus.coma_m - minus.coma_m) / (2.0 * t),
            astigmatism_m_per_rad2: even(
                plus.astigmatism_m,
                minus.astigmatism_m,
                aligned.astigmatism_m,
                t,
            ),
            astigmatism_m_per_rad_m: mixed(&tilt_field, t * h, &|s| s.astigmatism_m),
            image_shift_m_per_rad: shift(tilted(1.0), tilted(-1.0), t)?,
            focus_m_per_m,
            sensor_tilt_per_tilt: -away_is_outside * mixed(&tilt_field, t * h, &|s| s.focus_m),
            decentre_coma_m_per_m: (east.coma_m - west.coma_m) / (2.0 * e),
            decentre_image_shift_m_per_m: shift(shifted(1.0), shifted(-1.0), e)?,
            astigmatism_m_per_m_rad: mixed(&decentre_tilt, e * t, &|s| s.astigmatism_m),
            decentre_astigmatism_m_per_m2: even(
                east.astigmatism_m,
                west.astigmatism_m,
                aligned.astigmatism_m,
                e,
            ),
            decentre_astigmatism_m_per_m_m: mixed(&decentre_field, e * h, &|s| s.astigmatism_m),
            // these optics have no corrector from which the sensor alone could stand too far
            spacing_spherical_m_per_m: 0.0,
            spacing_astigmatism_m_per_m_m2: 0.0,
        },
        field: FieldTerms {
            axis_m: FieldM::ZERO,
            vignetting: None,
            coma_per_m: (right.coma_m - left.coma_m) / (2.0 * h),
            astigmatism_per_m2: even(
                right.astigmatism_m,
                left.astigmatism_m,
                aligned.astigmatism_m,
                h,
            ),
            curvature_per_m2: -even(right.focus_m, left.focus_m, aligned.focus_m, h),
        },
        focal_length_m,
        focus_m_per_rad2: even(plus.focus_m, minus.focus_m, aligned.focus_m, t),
        focus_m_per_m2: even(east.focus_m, west.focus_m, aligned.focus_m, e),
        pivot_m: prescription.pivot_m,
    })
}

/// What one traced star shows.
struct OffAxisStar {
    coma_m: f64,
    astigmatism_m: f64,
    focus_m: f64,
}

/// A mirror whose centre of curvature lies towards the sky, as those of a concave primary and a convex secondary do.
fn mirror(name: &'static str, radius_m: f64, conic: f64, z_m: f64) -> Surface {
    Surface {
        name,
        effect: Effect::Mirror,
        curvature_per_m: -1.0 / radius_m,
        conic,
        asphere: Vec::new(),
        vertex_m: [0.0, 0.0, z_m],
        turn_rad: 0.0,
    }
}

fn face(name: &'static str, index_behind: f64, curvature_per_m: f64, z_m: f64) -> Surface {
    Surface {
        name,
        effect: Effect::Refract(index_behind),
        curvature_per_m,
        conic: 0.0,
        asphere: Vec::new(),
        vertex_m: [0.0, 0.0, z_m],
        turn_rad: 0.0,
    }
}

fn plate_faces(plate: &Corrector, spacing_m: f64) -> [Surface; 2] {
    let inner_z_m = -(spacing_m + plate.gap_m);
    let mut inner = face("corrector's inner face", 1.0, 0.0, inner_z_m);
    inner.asphere = plate.asphere.clone();
    [
        face(
            "corrector's outer face",
            plate.index,
            0.0,
            inner_z_m - plate.thickness_m,
        ),
        inner,
    ]
}

fn lens_faces(lens: &Lens) -> [Surface; 2] {
    [
        face(
            "lens's front face",
            lens.index,
            1.0 / lens.front_radius_m,
            0.0,
        ),
        face(
            "lens's back face",
            1.0,
            1.0 / lens.back_radius_m,
            lens.thickness_m,
        ),
    ]
}

/// Two neighbours along z must keep their order out to the edge of the aperture.
fn not_crossing(surfaces: &[Surface], thin: bool, radius_m: f64) -> Result<(), PrescriptionError> {
    let mut row: Vec<&Surface> = surfaces.iter().collect();
    row.sort_by(|a, b| a.vertex_m[2].total_cmp(&b.vertex_m[2]));
    for pair in row.windows(2).filter(|_| !thin) {
        let place = |s: &Surface, r: f64| s.height(r, 0.0).map(|h| h.0 + s.vertex_m[2]);
        for step in 0..=20 {
            let r = radius_m * f64::from(step) / 20.0;
            // a secondary is smaller than the aperture: beyond its own sphere there is nothing to cross
            if let (Ok(first), Ok(second)) = (place(pair[0], r), place(pair[1], r))
                && first >= second
            {
                return Err(PrescriptionError::Cross(pair[0].name, pair[1].name));
            }
        }
    }
    Ok(())
}
