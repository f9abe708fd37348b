//! What follows from a telescope's surfaces: the response of its unit, the field, its own aberrations, colour, and what edges cut off.
//!
//! What an owner sees at a fixed place of the sensor, after pointing the telescope anew, is not what the star on the old axis
//! does: the star's own angle changes too. For a paraboloid that turns the sign of the coma over. The response is traced
//! for the fixed place. Displacements are along x only; what they do along other azimuths follows from rotational symmetry.

use super::bench::{Bench, SensorStar, Standing};
use super::fits::SystemError;
use super::sphere::Launch;
use super::system::{Motion, System};
use super::trace::{Name, RayError, trace};
use crate::axes::FieldM;
use crate::instrument::{ChromaticPoint, FieldTerms, Response, RoundStop};
use crate::state::Modes;
use crate::units::{ARCMIN, MM};

/// What follows from a prescription.
#[derive(Debug, Clone, PartialEq)]
pub struct Derived {
    /// What was traced, at the reference wavelength.
    pub system: System,
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
    /// The aligned telescope's own modes on the axis.
    pub design: Modes,
    /// Focus and modes against wavelength; empty where nothing depends on it, or no wavelengths were asked for.
    pub chromatic: Vec<ChromaticPoint>,
    /// Edges that cut stars beside the axis, the one that begins nearest to it first.
    pub edges: Vec<CuttingEdge>,
    /// Holes as the star on the axis sees them over the aperture: whose, and its diameter.
    pub holes: Vec<(Name, f64)>,
}

/// The edge of a surface, as stars see it over the aperture.
#[derive(Debug, Clone, PartialEq)]
pub struct CuttingEdge {
    /// Whose edge.
    pub name: Name,
    /// The opening.
    pub opening: RoundStop,
    /// How far from the axis, on the sensor, it begins to cut.
    pub begins_m: f64,
}

/// A tilt and a decentre small enough for the linear law, large enough for the digits.
const TILT_STEP_RAD: f64 = ARCMIN;
const DECENTRE_STEP_M: f64 = MM;
/// Field angle from which the field terms are taken.
const FIELD_STEP_RAD: f64 = 10.0 * ARCMIN;
/// Modes that a telescope can have on its axis.
const ON_AXIS: [u32; 2] = [11, 22];

/// Traces the response, the field and the focus of a telescope, and its colour at these wavelengths.
///
/// # Errors
/// [`SystemError`] when it is no telescope, or a glass has no index at one of the wavelengths.
pub fn derive(system: &System, wavelengths_m: &[f64]) -> Result<Derived, SystemError> {
    let steps = Steps::of(Bench::new(system.clone())?);
    let chromatic = steps.colours(wavelengths_m)?;
    let response = steps.response()?;
    Ok(Derived {
        system: system.clone(),
        field: steps.field()?,
        focal_length_m: steps.bench.focal_length_m,
        focus_m_per_rad2: -response.focus_m_per_rad2,
        focus_m_per_m2: -response.decentre_focus_m_per_m2,
        response,
        pivot_m: system.unit.pivot_m,
        design: steps.design()?,
        chromatic,
        edges: steps.edges()?,
        holes: steps.holes()?,
    })
}

/// A bench, and the steps of which its derivatives are made.
struct Steps {
    bench: Bench,
    field_m: f64,
}

/// One star, or a derivative of what it shows.
#[derive(Debug, Clone, Copy)]
struct Shown {
    coma_m: f64,
    secondary_coma_m: f64,
    astigmatism_m: f64,
    spherical_m: f64,
    focus_m: f64,
}

impl Shown {
    fn of(star: &SensorStar) -> Shown {
        Shown {
            coma_m: star.mode(8),
            secondary_coma_m: star.mode(16),
            astigmatism_m: star.mode(6),
            spherical_m: star.mode(11),
            focus_m: star.beyond_m,
        }
    }

    /// A weighted sum of stars.
    fn sum(parts: &[(f64, Shown)]) -> Shown {
        let of = |part: &dyn Fn(&Shown) -> f64| parts.iter().map(|(w, s)| w * part(s)).sum();
        Shown {
            coma_m: of(&|s| s.coma_m),
            secondary_coma_m: of(&|s| s.secondary_coma_m),
            astigmatism_m: of(&|s| s.astigmatism_m),
            spherical_m: of(&|s| s.spherical_m),
            focus_m: of(&|s| s.focus_m),
        }
    }
}

/// The unit's standing, and a place of the sensor along x.
type Case = (Standing, f64);

impl Steps {
    fn of(bench: Bench) -> Steps {
        Steps {
            field_m: FIELD_STEP_RAD * bench.focal_length_m,
            bench,
        }
    }

    fn standing(&self, motion: Motion) -> Standing {
        self.bench.unit(motion)
    }

    fn aligned(&self, field: f64) -> Case {
        (self.standing(Motion::default()), field * self.field_m)
    }

    fn tilted(&self, sign: f64) -> Case {
        let motion = Motion {
            tilt_rad: [sign * TILT_STEP_RAD, 0.0],
            ..Motion::default()
        };
        (self.standing(motion), 0.0)
    }

    fn aside(&self, sign: f64) -> Case {
        let motion = Motion {
            decentre_m: [sign * DECENTRE_STEP_M, 0.0],
            ..Motion::default()
        };
        (self.standing(motion), 0.0)
    }

    fn lifted(&self, piston_m: f64) -> Case {
        let motion = Motion {
            piston_m,
            ..Motion::default()
        };
        (self.standing(motion), 0.0)
    }

    fn shown(&self, (standing, place_m): Case) -> Result<Shown, RayError> {
        Ok(Shown::of(&self.bench.star_at(&standing, [place_m, 0.0])?))
    }

    /// Half the difference of both signs, per step.
    fn odd(&self, case: Case, step: f64) -> Result<Shown, RayError> {
        let (plus, minus) = (self.shown(case)?, self.shown(opposite(case))?);
        Ok(Shown::sum(&[(0.5 / step, plus), (-0.5 / step, minus)]))
    }

    /// Half the sum of both signs less what the aligned telescope shows, per square of the step.
    fn even(&self, case: Case, step: f64) -> Result<Shown, RayError> {
        let (plus, minus) = (self.shown(case)?, self.shown(opposite(case))?);
        let middle = self.shown(self.aligned(0.0))?;
        let per = 1.0 / (step * step);
        Ok(Shown::sum(&[
            (0.5 * per, plus),
            (0.5 * per, minus),
            (-per, middle),
        ]))
    }

    /// What two displacements do together: what is left of four stars with both signs of each, per product of the steps.
    fn mixed(&self, case: &dyn Fn(f64, f64) -> Case, steps: f64) -> Result<Shown, RayError> {
        let per = 0.25 / steps;
        Ok(Shown::sum(&[
            (per, self.shown(case(1.0, 1.0))?),
            (-per, self.shown(case(-1.0, 1.0))?),
            (-per, self.shown(case(1.0, -1.0))?),
            (per, self.shown(case(-1.0, -1.0))?),
        ]))
    }

    /// How far the image of the star on the axis moves, per step, the telescope not pointed anew.
    fn image_shift(&self, case: Case, step: f64) -> Result<f64, RayError> {
        let place =
            |(standing, _): Case| self.bench.star(&standing, [0.0; 2]).map(|s| s.landing_m[0]);
        Ok((place(case)? - place(opposite(case))?) / (2.0 * step))
    }

    fn response(&self) -> Result<Response, RayError> {
        let (t, e, h) = (TILT_STEP_RAD, DECENTRE_STEP_M, self.field_m);
        let at_field = |case: Case, field: f64| (case.0, field * h);
        let tilt = self.odd(self.tilted(1.0), t)?;
        let tilt_tilt = self.even(self.tilted(1.0), t)?;
        let tilt_field = self.mixed(&|a, b| at_field(self.tilted(a), b), t * h)?;
        let aside = self.odd(self.aside(1.0), e)?;
        let aside_aside = self.even(self.aside(1.0), e)?;
        let aside_field = self.mixed(&|a, b| at_field(self.aside(a), b), e * h)?;
        let aside_tilt = self.mixed(&|a, b| both(self.aside(a), self.tilted(b)), e * t)?;
        // the sensor's offset grows where the best focus comes nearer
        let focus_m_per_m = -self.odd(self.lifted(e), e)?.focus_m;
        let away_is_outside = if focus_m_per_m < 0.0 { -1.0 } else { 1.0 };
        let (spacing_spherical, spacing_astigmatism) = self.spacing()?;
        Ok(Response {
            coma_m_per_rad: tilt.coma_m,
            astigmatism_m_per_rad2: tilt_tilt.astigmatism_m,
            astigmatism_m_per_rad_m: tilt_field.astigmatism_m,
            image_shift_m_per_rad: self.image_shift(self.tilted(1.0), t)?,
            focus_m_per_m,
            sensor_tilt_per_tilt: -away_is_outside * tilt_field.focus_m,
            decentre_coma_m_per_m: aside.coma_m,
            decentre_image_shift_m_per_m: self.image_shift(self.aside(1.0), e)?,
            astigmatism_m_per_m_rad: aside_tilt.astigmatism_m,
            decentre_astigmatism_m_per_m2: aside_aside.astigmatism_m,
            decentre_astigmatism_m_per_m_m: aside_field.astigmatism_m,
            spacing_spherical_m_per_m: spacing_spherical,
            spacing_astigmatism_m_per_m_m2: spacing_astigmatism,
            secondary_coma_m_per_rad: tilt.secondary_coma_m,
            decentre_secondary_coma_m_per_m: aside.secondary_coma_m,
            focus_m_per_rad2: -tilt_tilt.focus_m,
            focus_m_per_m_rad: -aside_tilt.focus_m,
            decentre_focus_m_per_m2: -aside_aside.focus_m,
            decentre_sensor_tilt_rad_per_m: -aside_field.focus_m,
        })
    }

    fn field(&self) -> Result<FieldTerms, RayError> {
        let h = self.field_m;
        let grows = self.odd(self.aligned(1.0), h)?;
        let bends = self.even(self.aligned(1.0), h)?;
        Ok(FieldTerms {
            axis_m: FieldM::ZERO,
            vignetting: None,
            coma_per_m: grows.coma_m,
            secondary_coma_per_m: grows.secondary_coma_m,
            astigmatism_per_m2: bends.astigmatism_m,
            curvature_per_m2: -bends.focus_m,
        })
    }

    /// Spherical aberration, and astigmatism per square of the field, of a sensor too far from what carries it, refocused by the unit's
    /// own lift; nothing where the sensor does not ride on a unit that has surfaces.
    fn spacing(&self) -> Result<(f64, f64), RayError> {
        let system = &self.bench.system;
        let group = Some(system.unit.group);
        if system.sensor != group || system.elements.iter().all(|e| e.group != group) {
            return Ok((0.0, 0.0));
        }
        let refocused = |spacing_m: f64| -> Result<Standing, RayError> {
            const STEPS: usize = 12;
            let mut standing = self.standing(Motion::default());
            standing.spacing_m = spacing_m;
            let per_lift = self
                .odd(self.lifted(DECENTRE_STEP_M), DECENTRE_STEP_M)?
                .focus_m;
            for _ in 0..STEPS {
                let beyond_m = self.shown((standing, 0.0))?.focus_m;
                standing.motion.piston_m -= beyond_m / per_lift;
                if beyond_m.abs() < 1e-12 {
                    break;
                }
            }
            Ok(standing)
        };
        let h = self.field_m;
        let [far, near] = [refocused(DECENTRE_STEP_M)?, refocused(-DECENTRE_STEP_M)?];
        let shown = |standing: Standing, place_m: f64| self.shown((standing, place_m));
        let per_m = |a: f64, b: f64| (a - b) / (2.0 * DECENTRE_STEP_M);
        let (far_axis, near_axis) = (shown(far, 0.0)?, shown(near, 0.0)?);
        let (far_field, near_field) = (shown(far, h)?, shown(near, h)?);
        Ok((
            per_m(far_axis.spherical_m, near_axis.spherical_m),
            per_m(far_field.astigmatism_m, near_field.astigmatism_m) / (h * h),
        ))
    }

    /// Modes of the star on the axis of the aligned telescope.
    fn design(&self) -> Result<Modes, RayError> {
        let star = self.bench.star(&self.aligned(0.0).0, [0.0; 2])?;
        Ok(ON_AXIS
            .map(|noll| (noll, star.mode(noll)))
            .into_iter()
            .collect())
    }

    /// Focus and modes at wavelengths, against those that the system stands for.
    fn colours(&self, wavelengths_m: &[f64]) -> Result<Vec<ChromaticPoint>, SystemError> {
        if !self.bench.system.is_coloured() {
            return Ok(Vec::new());
        }
        let aligned = self.aligned(0.0).0;
        let middle = self.bench.star(&aligned, [0.0; 2])?;
        let point = |wavelength_m: &f64| {
            let star = self.bench.at(*wavelength_m)?.star(&aligned, [0.0; 2])?;
            let modes = ON_AXIS.map(|noll| (noll, star.mode(noll) - middle.mode(noll)));
            Ok(ChromaticPoint {
                wavelength_m: *wavelength_m,
                focus_m: star.beyond_m,
                modes: modes.into_iter().collect(),
            })
        };
        wavelengths_m.iter().map(point).collect()
    }

    /// Height of a ray at a surface, in units of its height over the aperture.
    fn shrinks(&self, which: usize) -> Result<f64, RayError> {
        let system = &self.bench.system;
        let launch = system.launch(system.unit.group, &Motion::default(), [0.0; 2])?;
        let surfaces = system.aligned();
        let ray = trace(&surfaces[..which], launch.ray(1.0, 0.0))?;
        let (_, hit) = surfaces[which].pass_where(ray)?;
        Ok(hit[0] / (0.5 * launch.aperture_m))
    }

    /// Edges other than the stop's, as stars see them over the aperture.
    ///
    /// A ray from pupil height p to field place h meets the surface at A p + B h: its edge is a circle about −(B/A) h.
    fn edges(&self) -> Result<Vec<CuttingEdge>, RayError> {
        let system = &self.bench.system;
        let aligned = self.aligned(0.0).0;
        let sine = libm::sin(FIELD_STEP_RAD);
        let star = self.bench.star(&aligned, [sine, 0.0])?;
        let launch: Launch = system.launch(system.unit.group, &Motion::default(), [sine, 0.0])?;
        let surfaces = system.aligned();
        let mut edges = Vec::new();
        for (which, element) in system.elements.iter().enumerate() {
            let Some(diameter_m) = element.diameter_m else {
                continue;
            };
            if which == system.stop {
                continue;
            }
            let per_height = self.shrinks(which)?;
            let per_field = system.on_surface(&surfaces, &launch, which)?[0] / star.landing_m[0];
            let moves = -per_field / per_height;
            let seen_m = diameter_m / per_height.abs();
            edges.push(CuttingEdge {
                name: element.name.clone(),
                opening: RoundStop {
                    diameter_m: seen_m,
                    distance_m: moves * self.bench.focal_length_m,
                },
                begins_m: (0.5 * (seen_m - system.aperture_m) / moves.abs()).max(0.0),
            });
        }
        edges.sort_by(|a, b| a.begins_m.total_cmp(&b.begins_m));
        Ok(edges)
    }

    fn holes(&self) -> Result<Vec<(Name, f64)>, RayError> {
        let elements = self.bench.system.elements.iter().enumerate();
        elements
            .filter_map(|(which, element)| {
                let diameter_m = element.inner_diameter_m?;
                let seen = |shrinks: f64| (element.name.clone(), diameter_m / shrinks.abs());
                Some(self.shrinks(which).map(seen))
            })
            .collect()
    }
}

/// The same with every displacement, and the place, turned over.
fn opposite((standing, place_m): Case) -> Case {
    let Motion {
        tilt_rad,
        decentre_m,
        piston_m,
    } = standing.motion;
    let motion = Motion {
        tilt_rad: tilt_rad.map(|v| -v),
        decentre_m: decentre_m.map(|v| -v),
        piston_m: -piston_m,
    };
    (Standing { motion, ..standing }, -place_m)
}

/// Both displacements at once, on the axis.
fn both((a, _): Case, (b, _): Case) -> Case {
    let motion = Motion {
        tilt_rad: [0, 1].map(|axis| a.motion.tilt_rad[axis] + b.motion.tilt_rad[axis]),
        decentre_m: [0, 1].map(|axis| a.motion.decentre_m[axis] + b.motion.decentre_m[axis]),
        piston_m: a.motion.piston_m + b.motion.piston_m,
    };
    (Standing { motion, ..a }, 0.0)
}
