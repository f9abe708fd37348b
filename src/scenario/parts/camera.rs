//! The camera as the tables of `[camera]`.
//!
//! The camera's own passband is left out where it is the one that its colour filters imply. Filters are taken over as they
//! are; [`filters`](super::filters) says what a file must give in their place.

use super::keys::{Keys, in_unit, list, pair, text, whole};
use crate::instrument::{Camera, Colour, ColourArray, Electronics, Orientation, Passband};
use crate::scenario::document::Value;
use crate::scenario::validate::span_of_filters;
use crate::units::{DEG, NM, UM};

/// Names of the three filters, in the order of [`ColourArray::passbands`].
pub(super) const FILTERS: [&str; 3] = ["red", "green", "blue"];

pub(super) fn camera(camera: &Camera) -> Value {
    let Camera {
        pixel_m,
        width_px,
        height_px,
        rotation_rad,
        mirrored,
        orientation,
        passband,
        wavelengths,
        throughput,
        electronics,
        colour,
    } = camera;
    let mut keys = Keys::default();
    keys.put("pixel_um", in_unit(*pixel_m, UM));
    keys.put("width_px", whole(*width_px));
    keys.put("height_px", whole(*height_px));
    keys.put("rotation_deg", in_unit(*rotation_rad, DEG));
    keys.put("mirrored", Value::Flag(*mirrored));
    let known_from = match orientation {
        Orientation::Assumed => "assumed",
        Orientation::Known => "known",
    };
    keys.put("orientation", text(known_from));
    keys.put_some("wavelengths", wavelengths.map(whole));
    keys.put("throughput", Value::Number(*throughput));
    if !is_implied(camera) {
        put_passband(passband, &mut keys);
    }
    if let Some(electronics) = electronics {
        put_electronics(electronics, &mut keys);
    }
    if let Some(colour) = colour {
        put_colour(colour, &mut keys);
    }
    keys.table()
}

/// Whether the camera's own passband is the one that a file without any implies.
pub(super) fn is_implied(camera: &Camera) -> bool {
    let implied = camera.colour.as_ref().map(span_of_filters);
    implied.as_ref() == Some(&camera.passband)
}

fn put_colour(colour: &ColourArray, camera: &mut Keys) {
    let ColourArray { pattern, passbands } = colour;
    camera.put("colour_pattern", text(&Colour::letters(pattern)));
    let mut filters = Keys::default();
    for (name, behind) in FILTERS.iter().zip(passbands) {
        let mut filter = Keys::default();
        put_passband(behind, &mut filter);
        filters.put(name, filter.table());
    }
    camera.put("passbands", filters.table());
}

fn put_passband(passband: &Passband, keys: &mut Keys) {
    match passband {
        Passband::Band(ends_m) => keys.put("passband_nm", pair(*ends_m, NM)),
        Passband::Table(points) => {
            let points = points.iter().map(|(wavelength_m, transmission)| {
                let mut point = Keys::default();
                point.put("nm", in_unit(*wavelength_m, NM));
                point.put("transmission", Value::Number(*transmission));
                point.table()
            });
            keys.put("passband_table", list(points));
        }
    }
}

fn put_electronics(electronics: &Electronics, keys: &mut Keys) {
    let Electronics {
        quantum_efficiency,
        gain_e_per_adu,
        bias_adu,
        read_noise_e,
        dark_e_per_s,
        full_well_e,
        bits,
        pixel_response_rms,
    } = electronics;
    keys.put("quantum_efficiency", Value::Number(*quantum_efficiency));
    keys.put("gain_e_per_adu", Value::Number(*gain_e_per_adu));
    keys.put("bias_adu", Value::Number(*bias_adu));
    keys.put("read_noise_e", Value::Number(*read_noise_e));
    keys.put("dark_e_per_s", Value::Number(*dark_e_per_s));
    let stated = Some(*full_well_e).filter(|full_well_e| *full_well_e != f64::INFINITY);
    keys.put_some("full_well_e", stated.map(Value::Number));
    keys.put("bits", whole(*bits));
    keys.put("pixel_response_rms", Value::Number(*pixel_response_rms));
}
