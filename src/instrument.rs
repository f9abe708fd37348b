//! What the owner of a telescope knows: its dimensions, its screws, its mask and its camera. Plain data, SI units.
//!
//! An [`Instrument`] holds nothing about how far out of line the telescope is; that is [`State`](crate::state::State).
//! Values are trusted here: the scenario reader validates them, with the limits it documents.
//!
//! Axes: x to the right, y up, azimuth counter-clockwise from +x, always *looking from the sensor towards the pupil*.

use crate::state::Modes;

/// A telescope, the unit its screws hold, an optional mask and a camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Instrument {
    /// The optics.
    pub telescope: Telescope,
    /// The adjustable unit; `None` when nothing can be turned.
    pub assembly: Option<Assembly>,
    /// The slotted mask for the front; whether it is on is part of the state.
    pub mask: Option<MaskDesign>,
    /// The camera.
    pub camera: Camera,
}

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
}

impl Telescope {
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
    /// Further modes of this wavelength.
    pub modes: Modes,
}

/// How aberrations grow with the distance from the field's axis.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FieldTerms {
    /// Where the axis meets the sensor, from its centre, pupil axes.
    pub axis_m: [f64; 2],
    /// Coma, metres RMS per metre of field.
    pub coma_per_m: f64,
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

/// The unit that the screws hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Assembly {
    /// Radius of the circle the screws stand on.
    pub screw_circle_radius_m: f64,
    /// Advance of a screw in one turn.
    pub pitch_m_per_turn: f64,
    /// What a clockwise turn does, facing the screw's head.
    pub clockwise: ClockwiseTurn,
    /// Shortest and longest a screw may be, from its nominal length; `None` when not stated.
    pub travel_m: Option<[f64; 2]>,
    /// Play of a screw on reversal.
    pub backlash_turns: f64,
    /// The screws, at least three, not all on one line.
    pub screws: Vec<Screw>,
    /// What a tilt of the unit does to the star; `None` where it is still to be learned.
    pub response: Option<Response>,
}

/// What a clockwise turn does to a screw.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockwiseTurn {
    /// It lengthens it.
    Lengthens,
    /// It shortens it.
    Shortens,
}

/// One screw.
#[derive(Debug, Clone, PartialEq)]
pub struct Screw {
    /// What the owner calls it.
    pub name: String,
    /// Where it stands.
    pub azimuth_rad: f64,
}

/// Effect of a tilt t of the unit, per radian, at a fixed place on the sensor after recentring.
#[derive(Debug, Clone, PartialEq)]
pub struct Response {
    /// Coma [Noll 8, Noll 7] in metres RMS per radian of (tx, ty).
    pub coma_m_per_rad: f64,
    /// Astigmatism [Noll 6, Noll 5] in metres RMS per square radian, along twice the tilt's azimuth.
    pub astigmatism_m_per_rad2: f64,
    /// Astigmatism linear in tilt and in field, metres RMS per radian and metre.
    pub astigmatism_m_per_rad_m: f64,
    /// Image shift in metres per radian.
    pub image_shift_m_per_rad: f64,
    /// Sensor offset in metres per metre of piston.
    pub focus_m_per_m: f64,
    /// 1 when the sensor rides on the unit, 0 when it does not.
    pub sensor_tilt_per_tilt: f64,
}

/// A slotted mask: an opaque plate between two diameters, open in its slots only.
#[derive(Debug, Clone, PartialEq)]
pub struct MaskDesign {
    /// How the slots are arranged.
    pub layout: MaskLayout,
    /// Distance from slot to slot: one value, or one a zone (outer, inner).
    pub slot_pitch_m: Vec<f64>,
    /// Slot width over slot pitch.
    pub open_fraction: f64,
    /// Angle between the straight and the slanted slots.
    pub slant_rad: f64,
    /// +1 or -1: which way the slanted slots lean.
    pub sense: f64,
    /// Outer diameter of the plate.
    pub outer_diameter_m: f64,
    /// Diameter of the plate's hole.
    pub inner_diameter_m: f64,
    /// Solid rim at the outer edge.
    pub outer_rim_m: f64,
    /// Solid rim at the hole.
    pub inner_rim_m: f64,
    /// Width of the solid strips centred on the borders between regions.
    pub rib_m: f64,
    /// Border between the zones, for layouts that have two.
    pub zone_radius_m: Option<f64>,
    /// Thickness of the plate.
    pub thickness_m: f64,
    /// Turn of the whole mask about its own centre.
    pub rotation_rad: f64,
    /// Where its centre really sits.
    pub offset_m: [f64; 2],
    /// Distance ahead of the pupil.
    pub distance_m: f64,
    /// The ring that holds it; `None` for a bare plate.
    pub grip: Option<Grip>,
    /// What it is printed with.
    pub printer: Printer,
}

/// How the slots of a mask are arranged.
#[derive(Debug, Clone, PartialEq)]
pub enum MaskLayout {
    /// One half with straight slots, the two opposite quarters slanted.
    OneTriplet,
    /// Three triplets, 120 degrees apart.
    ThreeTriplet,
    /// Straight slots in an outer zone, slanted ones in an inner zone.
    TwoZone,
    /// As `TwoZone`, but opposite outer wedges have different pitches, so that a split streak says which part is which.
    TwoPitch,
    /// Slots along the tangent in six wedges, each in two zones.
    TangentWedges,
    /// Round holes.
    Holes(Vec<HoleSpec>),
    /// The owner's own list of regions.
    Regions(Vec<RegionSpec>),
    /// An SVG file in millimetres, drawn as seen from the sky side.
    Drawing(Drawing),
}

/// A mask from a drawing. The scenario names the file; whoever reads that file fills in the openings
/// ([`drawing::read`](crate::mask::drawing::read)).
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// The file, as the scenario names it.
    pub file: String,
    /// Whether what is filled in the drawing is the plate (or else the openings).
    pub shows_plate: bool,
    /// Where the mask's centre is in the drawing, from its top left corner, right and down; `None` for the page's middle.
    pub centre_m: Option<[f64; 2]>,
    /// The openings between the plate's two diameters as convex polygons, counter-clockwise, mask axes; empty until read.
    pub openings_m: Vec<Vec<[f64; 2]>>,
}

/// The ring that holds the mask on a tube.
#[derive(Debug, Clone, PartialEq)]
pub struct Grip {
    /// Whether the ring goes over the tube (or else into it).
    pub over_tube: bool,
    /// Diameter of the tube where the ring touches it: outside where it goes over, inside where it goes in.
    pub tube_diameter_m: f64,
    /// Free room all round between ring and tube.
    pub clearance_m: f64,
    /// Thickness of the ring's wall.
    pub wall_m: f64,
    /// Height of the ring.
    pub height_m: f64,
    /// Gap for cables: azimuth of its middle (pupil axes) and width.
    pub notch: Option<(f64, f64)>,
}

impl Grip {
    /// Inner and outer radius of the ring.
    pub fn radii_m(&self) -> [f64; 2] {
        let tube = 0.5 * self.tube_diameter_m;
        if self.over_tube {
            let inner = tube + self.clearance_m;
            [inner, inner + self.wall_m]
        } else {
            let outer = tube - self.clearance_m;
            [outer - self.wall_m, outer]
        }
    }
}

impl Default for Printer {
    /// A common desktop printer: nozzle 0.4 mm, bed 220 × 220 mm (common practice, no source).
    fn default() -> Self {
        Printer {
            nozzle_m: 0.4e-3,
            bed_m: [0.22, 0.22],
            least_bar_m: 0.8e-3,
            density_kg_per_m3: 1240.0,
            flow_m3_per_s: 4e-9,
            engraving_m: 0.6e-3,
        }
    }
}

/// The printer, and what the estimates assume.
#[derive(Debug, Clone, PartialEq)]
pub struct Printer {
    /// Width of the nozzle.
    pub nozzle_m: f64,
    /// The bed, width and depth.
    pub bed_m: [f64; 2],
    /// Bars narrower than this are not printed well.
    pub least_bar_m: f64,
    /// Density of the plastic.
    pub density_kg_per_m3: f64,
    /// Plastic laid down per second, on the average.
    pub flow_m3_per_s: f64,
    /// Depth of the letters; 0 for none.
    pub engraving_m: f64,
}

/// A round hole of a mask.
#[derive(Debug, Clone, PartialEq)]
pub struct HoleSpec {
    /// Distance of its centre from the mask's.
    pub radius_m: f64,
    /// Azimuth of its centre.
    pub azimuth_rad: f64,
    /// Diameter.
    pub diameter_m: f64,
}

/// An annular wedge of parallel slots, before rims and ribs are taken off.
#[derive(Debug, Clone, PartialEq)]
pub struct RegionSpec {
    /// First and last azimuth; the second is the larger, by at most a full turn.
    pub azimuth_rad: [f64; 2],
    /// Inner and outer radius.
    pub radius_m: [f64; 2],
    /// Direction along the slots.
    pub slot_rad: f64,
    /// Distance from slot to slot.
    pub pitch_m: f64,
    /// Slot width over pitch.
    pub open_fraction: f64,
}

/// The camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Camera {
    /// Pixel pitch, square pixels.
    pub pixel_m: f64,
    /// Columns.
    pub width_px: usize,
    /// Rows.
    pub height_px: usize,
    /// Azimuth of the sensor's +x (columns) in pupil axes.
    pub rotation_rad: f64,
    /// Whether the columns are flipped, after the rotation.
    pub mirrored: bool,
    /// What light it takes.
    pub passband: Passband,
    /// Number of wavelengths; `None` lets the plan choose.
    pub wavelengths: Option<usize>,
    /// Transmission of optics and filter; applies to star and sky.
    pub throughput: f64,
    /// What turns light into counts; `None` when only relative images are wanted.
    pub electronics: Option<Electronics>,
    /// Colour filter array.
    pub colour: Option<ColourArray>,
}

/// Transmission against wavelength.
#[derive(Debug, Clone, PartialEq)]
pub enum Passband {
    /// Full transmission between two wavelengths.
    Band([f64; 2]),
    /// (wavelength in metres, transmission), ascending; linear in between, zero outside.
    Table(Vec<(f64, f64)>),
}

/// Photons to counts.
#[derive(Debug, Clone, PartialEq)]
pub struct Electronics {
    /// Electrons per photon.
    pub quantum_efficiency: f64,
    /// Electrons per count.
    pub gain_e_per_adu: f64,
    /// Counts added to every pixel.
    pub bias_adu: f64,
    /// Read noise, electrons RMS.
    pub read_noise_e: f64,
    /// Dark current, electrons per second and pixel.
    pub dark_e_per_s: f64,
    /// Electrons a pixel holds; infinite when not stated.
    pub full_well_e: f64,
    /// Bits of the converter, 1 to 16.
    pub bits: u32,
    /// Spread of the pixels' sensitivity, RMS fraction.
    pub pixel_response_rms: f64,
}

/// A colour filter array of 2 × 2 cells.
#[derive(Debug, Clone, PartialEq)]
pub struct ColourArray {
    /// Colours of (row 0, column 0), (0, 1), (1, 0), (1, 1); row 0 is the bottom row.
    pub pattern: [Colour; 4],
    /// Passband of red, green and blue.
    pub passbands: [Passband; 3],
}

/// One colour of a filter array.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Colour {
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
}

impl Colour {
    /// All three, in the order of [`ColourArray::passbands`].
    pub const ALL: [Colour; 3] = [Colour::Red, Colour::Green, Colour::Blue];
}
