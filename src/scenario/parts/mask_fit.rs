//! How a mask gets onto the telescope, as the tables under `[mask]`.

use super::keys::{Keys, in_unit, list, text};
use crate::instrument::{CableSlit, CameraBody, Grip, Plugs, Seat, Tabs};
use crate::scenario::document::Value;
use crate::units::{DEG, MM};

pub(super) fn grip(ring: &Grip) -> Value {
    let Grip {
        seat,
        tube_diameter_m,
        clearance_m,
        wall_m,
        height_m,
        notch,
        feet_m,
    } = ring;
    let (fit, shield_m) = match seat {
        Seat::OverTube => ("over-tube", None),
        Seat::IntoTube => ("into-tube", None),
        Seat::DewShield { shield_wall_m } => ("dew-shield", Some(*shield_wall_m)),
    };
    let mut keys = Keys::default();
    keys.put("fit", text(fit));
    keys.put("tube_diameter_mm", in_unit(*tube_diameter_m, MM));
    keys.put("clearance_mm", in_unit(*clearance_m, MM));
    keys.put("wall_mm", in_unit(*wall_m, MM));
    keys.put("height_mm", in_unit(*height_m, MM));
    keys.put_some("notch_azimuth_deg", notch.map(|gap| in_unit(gap.0, DEG)));
    keys.put_some("notch_width_mm", notch.map(|gap| in_unit(gap.1, MM)));
    keys.put_some("shield_wall_mm", shield_m.map(|m| in_unit(m, MM)));
    keys.put("feet_mm", in_unit(*feet_m, MM));
    keys.table()
}

pub(super) fn camera(body: &CameraBody) -> Value {
    let CameraBody {
        diameter_m,
        square,
        turned_rad,
        air_m,
        stands_out_m,
        plugs,
    } = body;
    let mut keys = Keys::default();
    keys.put("diameter_mm", in_unit(*diameter_m, MM));
    keys.put("shape", text(if *square { "square" } else { "round" }));
    keys.put("turned_deg", in_unit(*turned_rad, DEG));
    keys.put("air_mm", in_unit(*air_m, MM));
    keys.put("stands_out_mm", in_unit(*stands_out_m, MM));
    if let Some(Plugs {
        azimuth_rad,
        width_m,
        reach_m,
    }) = plugs
    {
        keys.put("plugs_azimuth_deg", in_unit(*azimuth_rad, DEG));
        keys.put("plugs_width_mm", in_unit(*width_m, MM));
        keys.put("plugs_reach_mm", in_unit(*reach_m, MM));
    }
    keys.table()
}

pub(super) fn slit(slit: &CableSlit) -> Value {
    let CableSlit {
        azimuth_rad,
        width_m,
        cheek_m,
    } = slit;
    let mut keys = Keys::default();
    keys.put_some("azimuth_deg", azimuth_rad.map(|rad| in_unit(rad, DEG)));
    keys.put("width_mm", in_unit(*width_m, MM));
    keys.put("cheek_mm", in_unit(*cheek_m, MM));
    keys.table()
}

pub(super) fn tabs(tabs: &Tabs) -> Value {
    let Tabs {
        azimuths_rad,
        width_m,
        reach_m,
        tether_hole_m,
    } = tabs;
    let mut keys = Keys::default();
    keys.put(
        "azimuth_deg",
        list(azimuths_rad.iter().map(|rad| in_unit(*rad, DEG))),
    );
    keys.put("width_mm", in_unit(*width_m, MM));
    keys.put("reach_mm", in_unit(*reach_m, MM));
    keys.put("tether_hole_mm", in_unit(*tether_hole_m, MM));
    keys.table()
}
