//! An invented telescope for unit tests. Compiled for tests only.

use crate::axes::{FieldM, FramePx};
use crate::flag::Flags;
use crate::instrument::*;
use crate::measure::fit::Fitted;
use crate::measure::{Measurement, Method};
use crate::units::{ARCMIN, DEG, MM, NM, UM};

/// A fast prime-focus unit on three screws.
pub fn fast_unit() -> Instrument {
    let mut telescope = Telescope::new(190.0 * MM, 456.0 * MM);
    telescope.obstruction = Some(Obstruction::disc(81.0 * MM));
    let mut assembly = Assembly::new(
        55.0 * MM,
        0.5 * MM,
        [("A", 90.0), ("B", 210.0), ("C", 330.0)].map(|(name, azimuth)| (name, azimuth * DEG)),
    );
    assembly.response = Some(Response {
        coma_m_per_rad: 62.0 * NM / ARCMIN,
        astigmatism_m_per_rad2: 0.4 * NM / (ARCMIN * ARCMIN),
        astigmatism_m_per_rad_m: 0.0,
        image_shift_m_per_rad: 29.0 * UM / ARCMIN,
        focus_m_per_m: 1.0,
        sensor_tilt_per_tilt: 1.0,
        ..Response::default()
    });
    let mut camera = Camera::new(3.8 * UM, [64, 60], Passband::Band([480.0 * NM, 620.0 * NM]));
    camera.wavelengths = Some(3);
    camera.orientation = Orientation::Known;
    Instrument {
        assembly: Some(assembly),
        ..Instrument::new(telescope, camera)
    }
}

/// A mask for it, in a layout, all angles and offsets zero.
pub fn mask(layout: MaskLayout) -> MaskDesign {
    MaskDesign {
        slot_pitch_m: vec![3.4 * MM, 3.0 * MM],
        outer_rim_m: 4.0 * MM,
        inner_rim_m: 3.0 * MM,
        rib_m: 2.0 * MM,
        zone_radius_m: Some(71.0 * MM),
        thickness_m: 2.4 * MM,
        ..MaskDesign::new(layout, 3.4 * MM, 84.0 * MM, 188.0 * MM)
    }
}

/// A star of that unit, measured by this fit in the middle of a frame of 60 pixels; nothing else of it is known.
pub fn measured(method: Method, fitted: Fitted) -> Measurement {
    Measurement {
        method,
        fitted,
        star_px: FramePx::new([30.0; 2]),
        field_m: FieldM::ZERO,
        hold: fast_unit().camera.hold(),
        orientations: Vec::new(),
        ring: None,
        spikes: Vec::new(),
        region_rays: Vec::new(),
        triplets: Vec::new(),
        slopes: None,
        side: None,
        reference_m: None,
        cut_px: [[0; 2], [60; 2]],
        differs: Vec::new(),
        flags: Flags::default(),
    }
}
