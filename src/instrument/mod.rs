//! What the owner of a telescope knows: its dimensions, its screws, its mask and its camera. Plain data, SI units.
//!
//! An [`Instrument`] holds nothing about how far out of line the telescope is; that is [`State`](crate::state::State).
//! Anybody may fill it in: [`scenario::check_parts`](crate::scenario::check_parts) checks what was filled in by the rules of a
//! scenario file, and names the field that cannot be meant.
//!
//! Axes: x to the right, y up, azimuth counter-clockwise from +x, always *looking from the sensor towards the pupil*.
//!
//! What has a natural zero is zero in the constructors ([`Telescope::new`], [`Assembly::new`], [`MaskDesign::new`],
//! [`Camera::new`]); every field is public, so set what differs:
//!
//! ```
//! use skewstar::instrument::*;
//! use skewstar::predict::{Model, Settings};
//! use skewstar::state::State;
//! use skewstar::units::{MM, NM, UM};
//!
//! let mut instrument = Instrument::new(
//!     Telescope::new(120.0 * MM, 360.0 * MM),
//!     Camera::new(3.0 * UM, [48, 40], Passband::Band([500.0 * NM, 600.0 * NM])),
//! );
//! instrument.telescope.obstruction = Some(Obstruction::disc(50.0 * MM));
//! instrument.camera.wavelengths = Some(3);
//! let state = State { sensor_offset_m: 120.0 * UM, ..State::default() };
//!
//! let model = Model::new(&instrument, &state, Settings::default())?;
//! let light = model.light::<f64>();     // share of the star's light in each pixel, element [[row, column]]
//! assert_eq!(light.dim(), (40, 48));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod assembly;
mod camera;
mod layout_names;
mod layouts;
mod mask;
mod mask_fit;
mod surfaces;
mod telescope;
mod turns;

pub use assembly::{
    Assembly, AssemblyKind, ClockwiseTurn, Response, Screw, WRENCH_STEP_DEG, end, fraction,
    part_of_a_turn, read_turns, turn_in_words, way, wrench_degrees,
};
pub use camera::{Camera, Colour, ColourArray, Electronics, Hold, Orientation, Passband, wrapped};
pub use layout_names::{KeyUse, LayoutKey, LayoutName};
pub use layouts::{ABERRATIONS, SlotAngle, SlotLayout, Wedge, WedgePitch, Zone};
pub use mask::{
    Drawing, DrawingFills, HoleSpec, LeftOut, MaskDesign, MaskLayout, Printer, RegionSpec,
};
pub use mask_fit::{CableSlit, CameraBody, Grip, LEDGE_M, Plugs, Seat, Tabs};
pub use surfaces::{BeyondLaws, Moved, StarTracer, Surfaces};
pub use telescope::{
    ChromaticPoint, FieldTerms, FocusLaw, Obstruction, ObstructionShape, RoundStop, Telescope, Vane,
};
pub use turns::TurnsError;

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

impl Instrument {
    /// A telescope with a camera: nothing to turn, no mask.
    pub fn new(telescope: Telescope, camera: Camera) -> Self {
        Instrument {
            telescope,
            assembly: None,
            mask: None,
            camera,
        }
    }

    /// The same with the camera held otherwise.
    pub fn held(&self, hold: Hold) -> Instrument {
        let mut other = self.clone();
        other.camera.rotation_rad = hold.rotation_rad;
        other.camera.mirrored = hold.mirrored;
        other
    }
}
