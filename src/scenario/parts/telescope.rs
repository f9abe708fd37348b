//! The optics as the tables of `[telescope]`.

use super::keys::{Keys, in_unit, list, modes, pair, text, whole};
use crate::instrument::{
    ChromaticPoint, FieldTerms, FocusLaw, Obstruction, ObstructionShape, RoundStop, Telescope, Vane,
};
use crate::scenario::document::Value;
use crate::units::{DEG, MM, NM, UM};

pub(super) fn telescope(telescope: &Telescope) -> Value {
    let Telescope {
        aperture_m,
        focal_length_m,
        reflections,
        focus_law,
        obstruction,
        vanes,
        design,
        chromatic,
        field,
        // what is written is a telescope by its laws
        surfaces: _,
    } = telescope;
    let law = match focus_law {
        FocusLaw::Sine => "sine",
        FocusLaw::Paraboloid => "paraboloid",
    };
    let mut keys = Keys::default();
    keys.put("aperture_mm", in_unit(*aperture_m, MM));
    keys.put("focal_length_mm", in_unit(*focal_length_m, MM));
    keys.put("reflections", whole(*reflections));
    keys.put("focus_law", text(law));
    keys.put_some("obstruction", obstruction.as_ref().map(self::obstruction));
    keys.put("vanes", list(vanes.iter().map(vane)));
    keys.put_some("design_nm", modes(design));
    keys.put("chromatic", list(chromatic.iter().map(chromatic_point)));
    put_field(field, &mut keys);
    keys.table()
}

fn obstruction(disc: &Obstruction) -> Value {
    let Obstruction {
        diameter_m,
        offset_m,
        shape,
        distance_m,
    } = disc;
    let shape = match shape {
        ObstructionShape::Round => "round",
        ObstructionShape::Square => "square",
    };
    let mut keys = Keys::default();
    keys.put("diameter_mm", in_unit(*diameter_m, MM));
    keys.put("offset_mm", pair(*offset_m, MM));
    keys.put("shape", text(shape));
    keys.put("distance_mm", in_unit(*distance_m, MM));
    keys.table()
}

fn vane(strip: &Vane) -> Value {
    let Vane {
        azimuth_rad,
        width_m,
        inner_radius_m,
        outer_radius_m,
        offset_m,
    } = strip;
    let mut keys = Keys::default();
    keys.put("azimuth_deg", in_unit(*azimuth_rad, DEG));
    keys.put("width_mm", in_unit(*width_m, MM));
    keys.put("inner_radius_mm", in_unit(*inner_radius_m, MM));
    keys.put("outer_radius_mm", in_unit(*outer_radius_m, MM));
    keys.put("offset_mm", in_unit(*offset_m, MM));
    keys.table()
}

fn chromatic_point(point: &ChromaticPoint) -> Value {
    let ChromaticPoint {
        wavelength_m,
        focus_m,
        modes: own,
    } = point;
    let mut keys = Keys::default();
    keys.put("wavelength_nm", in_unit(*wavelength_m, NM));
    keys.put("focus_um", in_unit(*focus_m, UM));
    keys.put_some("modes_nm", modes(own));
    keys.table()
}

/// `[telescope.field]`, which is left out where it says nothing, and `[telescope.vignetting]`.
fn put_field(field: &FieldTerms, telescope: &mut Keys) {
    let FieldTerms {
        axis_m,
        coma_per_m,
        secondary_coma_per_m,
        astigmatism_per_m2,
        curvature_per_m2,
        vignetting,
    } = field;
    telescope.put_some("vignetting", vignetting.as_ref().map(round_stop));
    let terms = [
        axis_m[0],
        axis_m[1],
        *coma_per_m,
        *secondary_coma_per_m,
        *astigmatism_per_m2,
        *curvature_per_m2,
    ];
    if terms == [0.0; 6] {
        return;
    }
    let mut keys = Keys::default();
    keys.put("axis_mm", pair(axis_m.xy(), MM));
    keys.put("coma_nm_per_mm", in_unit(*coma_per_m, NM / MM));
    keys.put(
        "secondary_coma_nm_per_mm",
        in_unit(*secondary_coma_per_m, NM / MM),
    );
    keys.put(
        "astigmatism_nm_per_mm2",
        in_unit(*astigmatism_per_m2, NM / (MM * MM)),
    );
    keys.put(
        "curvature_um_per_mm2",
        in_unit(*curvature_per_m2, UM / (MM * MM)),
    );
    telescope.put("field", keys.table());
}

fn round_stop(opening: &RoundStop) -> Value {
    let RoundStop {
        diameter_m,
        distance_m,
    } = opening;
    let mut keys = Keys::default();
    keys.put("diameter_mm", in_unit(*diameter_m, MM));
    keys.put("distance_mm", in_unit(*distance_m, MM));
    keys.table()
}
