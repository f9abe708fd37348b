//! Whether surfaces make a telescope: edges, order, crossing, an image; and in whose name it is refused.

use super::glass::Glass;
use super::sphere::{Launch, traced_star};
use super::system::{Clearance, System};
use super::trace::{Effect, Name, Ray, RayError, Surface, Vec3, dot, minus};
use crate::units::{MM, NM};

/// Why a row of surfaces gives no telescope.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SystemError {
    /// A ray cannot pass.
    #[error("{0}")]
    Ray(#[from] RayError),
    /// Two surfaces go through each other inside the aperture.
    #[error("the {0} and the {1} cross inside the aperture")]
    Cross(Name, Name),
    /// The light would have to go back.
    #[error("from the {0} the light would have to go backwards to reach the {1}")]
    Backwards(Name, Name),
    /// Parallel light is not brought together behind the last surface.
    #[error("the light never comes to a focus behind the last surface")]
    NoFocus,
    /// The same, of a list of surfaces.
    #[error("the light never comes to a focus behind the {0}, the last one")]
    NoImage(Name),
    /// The light crosses over before the last surface.
    #[error("the light comes to a focus before the {0}, and crosses over")]
    FocusInside(Name),
    /// The surface ends before its own edge.
    #[error("the {name} does not reach its edge: its conic ends {ends_mm:.2} mm from its middle")]
    EndsEarly {
        /// Which one.
        name: Name,
        /// Largest radius of the conic.
        ends_mm: f64,
    },
    /// An edge cuts off light of the star on the axis.
    #[error(
        "the {name} cuts off light of the star on the axis, which is {beam_mm:.2} mm wide there"
    )]
    CutsBeam {
        /// Whose edge.
        name: Name,
        /// Diameter that the light has there.
        beam_mm: f64,
    },
    /// The stop's edge does not make the aperture.
    #[error(
        "the {name} is the stop, but light over the whole aperture is {beam_mm:.2} mm wide there"
    )]
    StopDiffers {
        /// The stop.
        name: Name,
        /// Diameter that the light has there.
        beam_mm: f64,
    },
    /// The sensor would stand in glass.
    #[error("behind the {0}, the last surface, the light is still in glass")]
    EndsInGlass(Name),
    /// A dispersion formula does not reach so far.
    #[error(
        "the formula of {}, the glass behind the {name}, holds from {:.0} to {:.0} nm, not at {:.0} nm",
        .glass.name, .glass.fitted_m()[0] / NM, .glass.fitted_m()[1] / NM, .wavelength_m / NM
    )]
    Colour {
        /// The surface.
        name: Name,
        /// The glass behind it.
        glass: &'static Glass,
        /// The wavelength that was asked for.
        wavelength_m: f64,
    },
}

/// How much wider than the beam the stop may be, as a share, and the other way.
const SAME_STOP: f64 = 0.01;
/// Rounding that an edge may be short of the beam.
const EDGE_SLACK: f64 = 1e-6;
/// Light that goes back by less than this is rounding.
const BACKWARDS_M: f64 = 1e-9;

/// Checks what can be told without tracing a star, then that every ray of the aligned telescope passes.
pub(super) fn check(system: &System) -> Result<(), SystemError> {
    let surfaces = system.aligned();
    ends_are_reached(system, &surfaces)?;
    match system.clearance {
        Clearance::Aperture => not_crossing_in_space(&surfaces, 0.5 * system.aperture_m)?,
        Clearance::Edges => not_crossing_in_light(system, &surfaces)?,
    }
    ends_outside_glass(system)?;
    let (focal_length_m, focus_z_m) = system.paraxial()?;
    let last = surfaces.last().map_or(0.0, |s| s.vertex_m[2]);
    let behind_m = (focus_z_m - last) * system.onward();
    let comes_together = focus_z_m.is_finite() && behind_m > 0.0;
    if !comes_together && system.clearance == Clearance::Aperture {
        return Err(SystemError::NoFocus);
    }
    let launch = system.launch(system.unit.group, &Default::default(), [0.0; 2])?;
    let beams = beams_m(system, &surfaces, &launch)?;
    if !comes_together {
        let name = surfaces
            .last()
            .map_or_else(|| "".into(), |s| s.name.clone());
        return Err(SystemError::NoImage(name));
    }
    if focal_length_m < 0.0 {
        let name = surfaces
            .last()
            .map_or_else(|| "".into(), |s| s.name.clone());
        return Err(SystemError::FocusInside(name));
    }
    traced_star(&surfaces, &launch)?;
    edges_are_clear(system, &beams)
}

/// A conic must reach the edge that it is given.
fn ends_are_reached(system: &System, surfaces: &[Surface]) -> Result<(), SystemError> {
    for (element, surface) in system.elements.iter().zip(surfaces) {
        let Some(diameter_m) = element.diameter_m else {
            continue;
        };
        if surface.height(0.5 * diameter_m, 0.0).is_err() {
            let factor = (1.0 + surface.conic).sqrt() * surface.curvature_per_m.abs();
            return Err(SystemError::EndsEarly {
                name: surface.name.clone(),
                ends_mm: 1.0 / factor / MM,
            });
        }
    }
    Ok(())
}

fn ends_outside_glass(system: &System) -> Result<(), SystemError> {
    let mut index = 1.0;
    for element in &system.elements {
        if let Effect::Refract(behind) = element.effect {
            index = behind;
        }
    }
    match system.elements.last() {
        Some(last) if index != 1.0 => Err(SystemError::EndsInGlass(last.name.clone())),
        _ => Ok(()),
    }
}

/// Diameter of the axial star's light at each surface, along rays of its edge; and that none of them goes backwards.
fn beams_m(
    system: &System,
    surfaces: &[Surface],
    launch: &Launch,
) -> Result<Vec<f64>, SystemError> {
    const RINGS: usize = 6;
    let mut widest = vec![0.0f64; surfaces.len()];
    for ring in 0..=RINGS {
        let mut ray = launch.ray(ring as f64 / RINGS as f64, 0.0);
        let mut from: Option<(&Name, f64, Vec3)> = None;
        for (index, surface) in surfaces.iter().enumerate() {
            let (behind, hit) = surface.pass_where(ray)?;
            if let Some((name, z_m, place_m)) = from {
                let ahead_m = dot(minus(behind.place_m, place_m), ray.direction);
                // a lens without thickness has its back face before its front one beside the axis
                let thin = z_m == system.elements[index].z_m;
                if ahead_m < -BACKWARDS_M && !thin {
                    let names = (name.clone(), surface.name.clone());
                    return Err(SystemError::Backwards(names.0, names.1));
                }
            }
            widest[index] = widest[index].max(2.0 * hit[0].hypot(hit[1]));
            from = Some((&surface.name, system.elements[index].z_m, behind.place_m));
            ray = Ray { ..behind };
        }
    }
    Ok(widest)
}

fn edges_are_clear(system: &System, beams_m: &[f64]) -> Result<(), SystemError> {
    for (index, (element, beam_m)) in system.elements.iter().zip(beams_m).enumerate() {
        let Some(diameter_m) = element.diameter_m else {
            continue;
        };
        let (name, beam_mm) = (element.name.clone(), beam_m / MM);
        if index == system.stop && (diameter_m / beam_m - 1.0).abs() > SAME_STOP {
            return Err(SystemError::StopDiffers { name, beam_mm });
        }
        if index != system.stop && diameter_m < beam_m * (1.0 - EDGE_SLACK) {
            return Err(SystemError::CutsBeam { name, beam_mm });
        }
    }
    Ok(())
}

/// Two neighbours along z must keep their order out to the edge of the aperture; a lens without thickness is let through.
fn not_crossing_in_space(surfaces: &[Surface], radius_m: f64) -> Result<(), SystemError> {
    let mut row: Vec<&Surface> = surfaces.iter().collect();
    row.sort_by(|a, b| a.vertex_m[2].total_cmp(&b.vertex_m[2]));
    for pair in row.windows(2) {
        if pair[0].vertex_m[2] != pair[1].vertex_m[2] && cross(pair[0], pair[1], radius_m) {
            return Err(SystemError::Cross(
                pair[0].name.clone(),
                pair[1].name.clone(),
            ));
        }
    }
    Ok(())
}

/// Two surfaces that follow each other in the light must not go through each other out to the smaller one's edge.
fn not_crossing_in_light(system: &System, surfaces: &[Surface]) -> Result<(), SystemError> {
    for (index, pair) in surfaces.windows(2).enumerate() {
        let edge = |which: usize| system.elements[which].diameter_m;
        let (Some(first_m), Some(second_m)) = (edge(index), edge(index + 1)) else {
            continue;
        };
        let (low, high) = if pair[0].vertex_m[2] < pair[1].vertex_m[2] {
            (&pair[0], &pair[1])
        } else {
            (&pair[1], &pair[0])
        };
        let radius_m = 0.5 * first_m.min(second_m);
        if low.vertex_m[2] != high.vertex_m[2] && cross(low, high, radius_m) {
            return Err(SystemError::Cross(
                pair[0].name.clone(),
                pair[1].name.clone(),
            ));
        }
    }
    Ok(())
}

/// Whether the lower surface reaches the upper one within a radius. Beyond a conic's own end there is nothing to cross.
fn cross(low: &Surface, high: &Surface, radius_m: f64) -> bool {
    let place = |s: &Surface, r: f64| s.height(r, 0.0).map(|h| h.0 + s.vertex_m[2]);
    (0..=20).any(|step| {
        let r = radius_m * f64::from(step) / 20.0;
        matches!((place(low, r), place(high, r)), (Ok(a), Ok(b)) if a >= b)
    })
}
