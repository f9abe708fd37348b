//! The state as the tables of `[state]`, `[star]`, `[sky]` and `[exposure]`.

use super::keys::{Keys, in_unit, modes, pair, plain_pair};
use crate::instrument::Assembly;
use crate::scenario::document::Value;
use crate::state::{Exposure, Sky, Star, State};
use crate::units::{ARCMIN, ARCSEC, DEG, MM, UM};

/// Puts the state's sections into a scenario and returns `[state]` itself, for what a file says in another way.
pub(super) fn state(state: &State, assembly: Option<&Assembly>, top: &mut Keys) -> Keys {
    let State {
        sensor_offset_m,
        piston_moves_focus,
        recentred,
        place_px,
        aside_m: _,
        field_m,
        mask_on,
        turns,
        flexure_rad: _,
        decentre_m,
        sensor_tilt_rad,
        spacing_m,
        modes: other,
        star,
        sky,
        exposure,
    } = state;
    let mut keys = Keys::default();
    keys.put("sensor_offset_um", in_unit(*sensor_offset_m, UM));
    keys.put("piston_moves_focus", Value::Flag(*piston_moves_focus));
    keys.put("decentre_mm", pair(*decentre_m, MM));
    keys.put("sensor_tilt_arcmin", pair(*sensor_tilt_rad, ARCMIN));
    keys.put("spacing_mm", in_unit(*spacing_m, MM));
    keys.put("recentred", Value::Flag(*recentred));
    keys.put("place_px", plain_pair(place_px.xy()));
    keys.put("field_mm", pair(field_m.xy(), MM));
    keys.put("mask_on", Value::Flag(*mask_on));
    keys.put_some("turns", self::turns(turns, assembly));
    keys.put_some("modes_nm", modes(other));
    top.put_some("star", star.as_ref().map(self::star));
    top.put("sky", self::sky(sky));
    top.put_some("exposure", exposure.as_ref().map(self::exposure));
    keys
}

/// Turns under the names of their screws; those without a screw, which are refused, under their number from 1.
fn turns(turns: &[f64], assembly: Option<&Assembly>) -> Option<Value> {
    let mut names = assembly.into_iter().flat_map(|unit| &unit.screws);
    let mut table = Keys::default();
    for (index, turned) in turns.iter().enumerate() {
        let name = names.next().map(|screw| screw.name.clone());
        let name = name.unwrap_or_else(|| (index + 1).to_string());
        table.put(&name, Value::Number(*turned));
    }
    (!turns.is_empty()).then(|| table.table())
}

fn star(star: &Star) -> Value {
    let Star {
        magnitude,
        temperature_k,
        altitude_rad,
    } = star;
    let mut keys = Keys::default();
    keys.put("magnitude", Value::Number(*magnitude));
    keys.put("temperature_k", Value::Number(*temperature_k));
    keys.put("altitude_deg", in_unit(*altitude_rad, DEG));
    keys.table()
}

fn sky(sky: &Sky) -> Value {
    let Sky {
        seeing_rad,
        wind_m_per_s,
        brightness_mag_per_arcsec2,
        extinction_mag_per_airmass,
        tracking_drift_px,
        scintillation,
        site_height_m,
    } = sky;
    let mut keys = Keys::default();
    keys.put_some(
        "seeing_arcsec",
        seeing_rad.map(|fwhm| in_unit(fwhm, ARCSEC)),
    );
    keys.put_some("wind_m_per_s", wind_m_per_s.map(Value::Number));
    keys.put_some(
        "brightness_mag_per_arcsec2",
        brightness_mag_per_arcsec2.map(Value::Number),
    );
    keys.put(
        "extinction_mag_per_airmass",
        Value::Number(*extinction_mag_per_airmass),
    );
    keys.put("tracking_drift_px", plain_pair(*tracking_drift_px));
    keys.put("scintillation", Value::Flag(*scintillation));
    keys.put("site_height_m", Value::Number(*site_height_m));
    keys.table()
}

fn exposure(exposure: &Exposure) -> Value {
    let Exposure { time_s } = exposure;
    let mut keys = Keys::default();
    keys.put("time_s", Value::Number(*time_s));
    keys.table()
}
