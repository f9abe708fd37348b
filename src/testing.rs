//! An invented telescope for unit tests. Compiled for tests only.

use crate::instrument::*;
use crate::state::Modes;
use crate::units::{ARCMIN, DEG, MM, NM, UM};

/// A fast prime-focus unit on three screws.
pub fn fast_unit() -> Instrument {
    Instrument {
        telescope: Telescope {
            aperture_m: 190.0 * MM,
            focal_length_m: 456.0 * MM,
            reflections: 1,
            focus_law: FocusLaw::Sine,
            obstruction: Some(Obstruction {
                diameter_m: 81.0 * MM,
                offset_m: [0.0, 0.0],
                shape: ObstructionShape::Round,
                distance_m: 0.0,
            }),
            vanes: Vec::new(),
            design: Modes::none(),
            chromatic: Vec::new(),
            field: FieldTerms::default(),
        },
        assembly: Some(Assembly {
            screw_circle_radius_m: 55.0 * MM,
            pitch_m_per_turn: 0.5 * MM,
            clockwise: ClockwiseTurn::Lengthens,
            travel_m: None,
            backlash_turns: 0.0,
            screws: [("A", 90.0), ("B", 210.0), ("C", 330.0)]
                .map(|(name, azimuth)| Screw {
                    name: name.into(),
                    azimuth_rad: azimuth * DEG,
                })
                .to_vec(),
            response: Some(Response {
                coma_m_per_rad: 62.0 * NM / ARCMIN,
                astigmatism_m_per_rad2: 0.4 * NM / (ARCMIN * ARCMIN),
                astigmatism_m_per_rad_m: 0.0,
                image_shift_m_per_rad: 29.0 * UM / ARCMIN,
                focus_m_per_m: 1.0,
                sensor_tilt_per_tilt: 1.0,
            }),
        }),
        mask: None,
        camera: Camera {
            pixel_m: 3.8 * UM,
            width_px: 64,
            height_px: 60,
            rotation_rad: 0.0,
            mirrored: false,
            passband: Passband::Band([480.0 * NM, 620.0 * NM]),
            wavelengths: Some(3),
            throughput: 1.0,
            electronics: None,
            colour: None,
        },
    }
}

/// A mask for it, in a layout, all angles and offsets zero.
pub fn mask(layout: MaskLayout) -> MaskDesign {
    MaskDesign {
        layout,
        slot_pitch_m: vec![3.4 * MM, 3.0 * MM],
        open_fraction: 0.5,
        slant_rad: 20.0 * DEG,
        sense: 1.0,
        outer_diameter_m: 188.0 * MM,
        inner_diameter_m: 84.0 * MM,
        outer_rim_m: 4.0 * MM,
        inner_rim_m: 3.0 * MM,
        rib_m: 2.0 * MM,
        zone_radius_m: Some(71.0 * MM),
        thickness_m: 2.4 * MM,
        rotation_rad: 0.0,
        offset_m: [0.0; 2],
        distance_m: 0.0,
        grip: None,
        printer: Printer::default(),
    }
}
