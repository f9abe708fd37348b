//! The optics: opening, obstruction, vanes, and what the aligned telescope does to a star by colour and by field.

use super::surfaces::Surfaces;
use crate::axes::FieldM;
use crate::state::Modes;
use std::f64::consts::PI;

/// The optics as built and aligned.
#[derive(Debug, Clone, PartialEq)]
pub struct Telescope {
    /// Diameter of the clear opening.
    pub aperture_m: f64,
    /// Focal length.
    pub focal_length_m: f64,
    /// Number of reflections; odd means that a person in front sees the pupil as it is, even means mirrored.
    pub reflections: u32,
    /// How pupil height maps to beam angle.
    pub focus_law: FocusLaw,
    /// Central obstruction.
    pub obstruction: Option<Obstruction>,
    /// Spider vanes and cables.
    pub vanes: Vec<Vane>,
    /// Aberrations of the aligned telescope, on axis.
    pub design: Modes,
    /// Focus and modes against wavelength, in ascending order of wavelength; empty for an achromatic telescope.
    pub chromatic: Vec<ChromaticPoint>,
    /// Growth of aberrations across the field.
    pub field: FieldTerms,
    /// Its surfaces, where they are known: stars then have what the laws of response and field leave out.
    pub surfaces: Option<Surfaces>,
}

impl Telescope {
    /// A clear opening with a sharp focus: one reflection, the sine condition, nothing in the way.
    pub fn new(aperture_m: f64, focal_length_m: f64) -> Self {
        Telescope {
            aperture_m,
            focal_length_m,
            reflections: 1,
            focus_law: FocusLaw::Sine,
            obstruction: None,
            vanes: Vec::new(),
            design: Modes::none(),
            chromatic: Vec::new(),
            field: FieldTerms::default(),
            surfaces: None,
        }
    }

    /// Whether a person in front of the telescope sees the pupil mirrored left-right: after an even number of reflections.
    pub fn seen_mirrored(&self) -> bool {
        self.reflections.is_multiple_of(2)
    }

    /// An azimuth of the pupil as that person sees it.
    pub fn front_rad(&self, azimuth_rad: f64) -> f64 {
        if self.seen_mirrored() {
            PI - azimuth_rad
        } else {
            azimuth_rad
        }
    }

    /// Focal ratio N = focal length / aperture.
    pub fn focal_ratio(&self) -> f64 {
        self.focal_length_m / self.aperture_m
    }

    /// Radius of the clear opening.
    pub fn aperture_radius_m(&self) -> f64 {
        0.5 * self.aperture_m
    }

    /// Largest linear obstruction ratio: the obstruction's size over the aperture's diameter, 0 without one.
    pub fn obstruction_ratio(&self) -> f64 {
        self.obstruction
            .as_ref()
            .map_or(0.0, |o| o.diameter_m / self.aperture_m)
    }
}

/// How a pupil height r maps to the angle u at which that light reaches the focus.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FocusLaw {
    /// Abbe's sine condition, sin u = r/f: well-corrected units.
    Sine,
    /// A bare paraboloid, tan(u/2) = r/(2f).
    Paraboloid,
}

/// Outline of the central obstruction.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ObstructionShape {
    /// A disc.
    Round,
    /// A square with sides along x and y.
    Square,
}

/// The opaque part in the middle of the aperture.
#[derive(Debug, Clone, PartialEq)]
pub struct Obstruction {
    /// Diameter of the disc, or side of the square.
    pub diameter_m: f64,
    /// Where its centre really sits.
    pub offset_m: [f64; 2],
    /// Outline.
    pub shape: ObstructionShape,
    /// Distance ahead of the pupil; its shadow moves by +distance·h/f at field point h.
    pub distance_m: f64,
}

impl Obstruction {
    /// A disc in the middle of the pupil.
    pub fn disc(diameter_m: f64) -> Self {
        Obstruction {
            diameter_m,
            offset_m: [0.0; 2],
            shape: ObstructionShape::Round,
            distance_m: 0.0,
        }
    }
}

/// A straight opaque strip with square ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Vane {
    /// Azimuth of the radial line it lies along.
    pub azimuth_rad: f64,
    /// Full width.
    pub width_m: f64,
    /// Where it starts, measured along the strip.
    pub inner_radius_m: f64,
    /// Where it ends, measured along the strip.
    pub outer_radius_m: f64,
    /// Sideways displacement (counter-clockwise) from the radial line.
    pub offset_m: f64,
}

/// Focus and modes of one wavelength, relative to the reference wavelength.
#[derive(Debug, Clone, PartialEq)]
pub struct ChromaticPoint {
    /// Wavelength.
    pub wavelength_m: f64,
    /// How far this wavelength's best focus lies beyond the reference wavelength's.
    pub focus_m: f64,
    /// Higher-order modes of this wavelength.
    pub modes: Modes,
}

/// How aberrations grow with the distance from the field's axis.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FieldTerms {
    /// Where the axis meets the sensor, from its centre, pupil axes.
    pub axis_m: FieldM,
    /// Coma, metres RMS per metre of field.
    pub coma_per_m: f64,
    /// Secondary coma (Noll 16, 17), metres RMS per metre of field.
    pub secondary_coma_per_m: f64,
    /// Astigmatism, metres RMS per square metre of field.
    pub astigmatism_per_m2: f64,
    /// Medial field curvature: metres of sensor offset per square metre of field.
    pub curvature_per_m2: f64,
    /// A second opening that cuts stars off the axis.
    pub vignetting: Option<RoundStop>,
}

/// A round opening, as the star on the axis sees it over the aperture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoundStop {
    /// Diameter.
    pub diameter_m: f64,
    /// Distance ahead of the pupil; seen displaced by +distance·h/f at field point h.
    pub distance_m: f64,
}
