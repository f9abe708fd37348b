//! `[state]`, `[star]`, `[sky]` and `[exposure]`.

use crate::axes::{FieldM, FramePx};
use crate::instrument::Instrument;
use crate::math::nearest;
use crate::mechanics::{Flexure, Pointing};
use crate::scenario::advice::missing;
use crate::scenario::error::{Problem, number};
use crate::scenario::findings::Contradictions;
use crate::scenario::path::joined;
use crate::scenario::raw::{RawAssembly, RawScenario, RawSeidel, RawShape, RawSky, RawStar};
use crate::state::{Exposure, FieldStar, FieldStars, Modes, ScrewTurns, Sky, Star, State};
use crate::units::{ARCMIN, ARCSEC, DEG, MM, NM, UM};
use crate::wavefront::{self, Seidel};

use super::telescope::check_field_point;
use super::{ROUNDING, modes, pair, scaled};

/// Largest defocus, as a fraction of the focal length.
const WIDEST_DEFOCUS: f64 = 0.1;
/// Slack of a screw's length in mm: turns times pitch is a product of typed decimals.
const ROUNDING_MM: f64 = 1e-9;

pub(super) fn check(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    check_focus(raw, findings);
    check_field_point(
        "state.field_mm",
        raw.state.field_mm,
        raw.telescope.focal_length_mm,
        findings,
    );
    check_mask_on(raw, findings);
    check_turns(raw, findings);
    check_unit(raw, findings);
    check_annulus(raw, findings);
    check_flexure(raw, findings);
    check_field(raw, findings);
}

pub(super) fn build(raw: &RawScenario, instrument: &Instrument) -> State {
    let state = &raw.state;
    State {
        sensor_offset_m: state.sensor_offset_um * UM,
        piston_moves_focus: state.piston_moves_focus,
        recentred: state.recentred,
        place_px: FramePx::new(state.place_px),
        aside_m: FieldM::ZERO,
        field_m: FieldM::new(scaled(state.field_mm, MM)),
        mask_on: state.mask_on.unwrap_or(raw.mask.is_some()),
        turns: turns(raw, instrument),
        flexure_rad: flexure_tilt(raw),
        decentre_m: scaled(state.decentre_mm, MM),
        sensor_tilt_rad: scaled(state.sensor_tilt_arcmin, ARCMIN),
        spacing_m: state.spacing_mm * MM,
        modes: all_modes(raw, instrument),
        star: raw.star.as_ref().map(star),
        sky: sky(&raw.sky),
        exposure: raw.exposure.as_ref().map(|exposure| Exposure {
            time_s: exposure.time_s,
        }),
    }
}

fn check_focus(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let largest_um = WIDEST_DEFOCUS * raw.telescope.focal_length_mm * MM / UM;
    if raw.state.sensor_offset_um.abs() > largest_um * (1.0 + ROUNDING) {
        let shown = number(raw.state.sensor_offset_um);
        let allowed = format!(
            "from -{0} to {0} (a tenth of the focal length)",
            number(largest_um)
        );
        let hint = "it is how far the sensor sits beyond best focus; a few hundred µm make a good doughnut";
        findings.out_of_range("state.sensor_offset_um", shown, allowed, hint);
    }
}

fn check_mask_on(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    if raw.state.mask_on == Some(true) && raw.mask.is_none() {
        let hint = "add a section [mask], or take mask_on out";
        findings.out_of_range(
            "state.mask_on",
            "true",
            "false where there is no [mask]",
            hint,
        );
    }
}

fn check_turns(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let Some(turns) = &raw.state.turns else {
        return;
    };
    let Some(assembly) = &raw.assembly else {
        let problem = Problem::NoMeaning {
            key: "state.turns".into(),
            condition: "where there is no [assembly]".into(),
        };
        findings.wrong_key(
            "state.turns",
            problem,
            "add a section [assembly] with the screws, or take turns out",
        );
        return;
    };
    for (name, turned) in &turns.0 {
        let key = joined("state.turns", name);
        if assembly.screws.iter().any(|screw| screw.name == *name) {
            check_turned(&key, *turned, assembly, findings);
        } else {
            let names: Vec<&str> = assembly
                .screws
                .iter()
                .map(|screw| screw.name.as_str())
                .collect();
            let guess = nearest(name, names.iter().copied());
            let hint = match guess {
                Some(guess) => format!("did you mean {guess}? The screws are {}", names.join(", ")),
                None => format!("the screws are {}", names.join(", ")),
            };
            let problem = Problem::UnknownKey {
                key: key.clone(),
                section: "[state.turns], which has one for each screw".to_owned(),
                nearest: guess.map(|guess| joined("state.turns", guess)),
            };
            findings.wrong_in("state.turns", name, problem, &hint);
        }
    }
}

fn check_turned(key: &str, turned: f64, assembly: &RawAssembly, findings: &mut Contradictions<'_>) {
    let length_mm = turned * assembly.pitch_mm_per_turn;
    if let Some([shortest_mm, longest_mm]) = assembly.travel_mm
        && !(shortest_mm - ROUNDING_MM..=longest_mm + ROUNDING_MM).contains(&length_mm)
    {
        let in_turns = |mm: f64| number(mm / assembly.pitch_mm_per_turn);
        let allowed = format!(
            "from {} to {} turns, since assembly.travel_mm is [{}, {}]",
            in_turns(shortest_mm),
            in_turns(longest_mm),
            number(shortest_mm),
            number(longest_mm)
        );
        let hint = format!(
            "with assembly.pitch_mm_per_turn it would be {} mm off its nominal length",
            number(length_mm)
        );
        findings.out_of_range(key, number(turned), allowed, &hint);
    } else if turned != 0.0 && assembly.response.is_none() && assembly.prescription.is_none() {
        let allowed = "0 where there is neither [assembly.response] nor [assembly.prescription]";
        let hint =
            "without a response nobody knows what a turn does to the star; type it in or learn it";
        findings.out_of_range(key, number(turned), allowed, hint);
    }
}

/// A unit that sits aside, or a spacing, does nothing that anybody knows where there is no response.
fn check_unit(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let known = raw
        .assembly
        .as_ref()
        .is_some_and(|unit| unit.response.is_some() || unit.prescription.is_some());
    let state = &raw.state;
    let asked = [
        ("state.decentre_mm", state.decentre_mm != [0.0; 2]),
        ("state.spacing_mm", state.spacing_mm != 0.0),
        ("state.piston_moves_focus", state.piston_moves_focus),
    ];
    for (key, _) in asked.into_iter().filter(|(_, asked)| *asked && !known) {
        let problem = Problem::NoMeaning {
            key: key.into(),
            condition: "where there is neither [assembly.response] nor [assembly.prescription]"
                .into(),
        };
        let hint = "without a response nobody knows what the unit's place does to the star; type it in, or give the surfaces";
        findings.wrong_key(key, problem, hint);
    }
}

fn check_flexure(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let unit = raw.assembly.as_ref().filter(|unit| unit.flexure.is_some());
    if unit.is_some_and(|unit| unit.response.is_none() && unit.prescription.is_none()) {
        let problem = Problem::NoMeaning {
            key: "assembly.flexure".into(),
            condition: "where there is neither [assembly.response] nor [assembly.prescription]"
                .into(),
        };
        let hint =
            "without a response nobody knows what a tilt does to the star; type it in or learn it";
        findings.wrong_key("assembly.flexure", problem, hint);
    }
}

fn check_annulus(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let square = raw
        .telescope
        .obstruction
        .as_ref()
        .is_some_and(|middle| middle.shape == RawShape::Square);
    if square && !raw.state.modes_annular_nm.0.is_empty() {
        let condition = "where telescope.obstruction.shape is \"square\"".to_owned();
        let problem = Problem::NoMeaning {
            key: "state.modes_annular_nm".into(),
            condition,
        };
        findings.wrong_key(
            "state.modes_annular_nm",
            problem,
            "annular modes need a round hole; use [state.modes_nm]",
        );
    }
    let highest = wavefront::HIGHEST_ANNULAR;
    for noll in raw
        .state
        .modes_annular_nm
        .0
        .keys()
        .filter(|noll| **noll > highest)
    {
        let problem = Problem::BadNollIndex {
            table: "state.modes_annular_nm".into(),
            found: noll.to_string(),
            allowed: format!("Noll indices from 2 to {highest} in plain digits"),
        };
        findings.wrong_key(
            &format!("state.modes_annular_nm.{noll}"),
            problem,
            "higher modes over an annulus cannot be told from rounding; [state.modes_nm] goes up to 861",
        );
    }
}

/// Turns in the order of the screws.
fn turns(raw: &RawScenario, instrument: &Instrument) -> ScrewTurns {
    let Some(assembly) = &instrument.assembly else {
        return ScrewTurns::default();
    };
    let typed = raw.state.turns.clone().unwrap_or_default().0;
    let mut turns = ScrewTurns::zero(assembly);
    for (turned, screw) in turns.iter_mut().zip(&assembly.screws) {
        *turned = typed.get(&screw.name).copied().unwrap_or(0.0);
    }
    turns
}

/// The stars of `skewstar field`, where the file names any.
pub(super) fn field(raw: &RawScenario) -> Option<FieldStars> {
    let field = raw.field.as_ref()?;
    if let Some(list) = &field.stars {
        let stars = list.iter().map(|star| FieldStar {
            field_m: FieldM::new(scaled(star.field_mm, MM)),
            magnitude: star.magnitude,
            temperature_k: star.temperature_k,
        });
        return Some(FieldStars::Listed(stars.collect()));
    }
    Some(FieldStars::Drawn {
        count: field.count? as usize,
        magnitudes: field.magnitudes?,
        slope_per_magnitude: field.slope_per_magnitude,
    })
}

fn check_field(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let Some(field) = &raw.field else {
        return;
    };
    for (index, star) in field.stars.iter().flatten().enumerate() {
        let key = format!("field.stars[{index}].field_mm");
        check_field_point(&key, star.field_mm, raw.telescope.focal_length_mm, findings);
    }
    if field.stars.is_some() && field.count.is_some() {
        findings.exclude_each_other("field.stars", "field.count", "leave one of them out");
    } else if field.stars.is_none() {
        for (key, absent) in [
            ("field.count", field.count.is_none()),
            ("field.magnitudes", field.magnitudes.is_none()),
        ] {
            if absent {
                findings.missing_from("field", move || {
                    missing(key, Some("field.stars is left out"))
                });
            }
        }
    }
    if let Some([bright, faint]) = field.magnitudes
        && bright > faint
    {
        findings.out_of_range(
            "field.magnitudes",
            pair([bright, faint]),
            "the brightest, then the faintest",
            "bright stars have the smaller magnitude",
        );
    }
}

/// How the unit leans, where the file says so.
pub(super) fn flexure(raw: &RawScenario) -> Option<Flexure> {
    let flexure = raw.assembly.as_ref()?.flexure.as_ref()?;
    Some(Flexure {
        level_tilt_rad: flexure.level_tilt_arcmin * ARCMIN,
        when_set: Pointing {
            altitude_rad: flexure.set_at_altitude_deg * DEG,
            down_rad: flexure.set_at_down_deg * DEG,
        },
    })
}

/// Tilt of the unit under its own weight; at the zenith where no star says how high the telescope points.
fn flexure_tilt(raw: &RawScenario) -> [f64; 2] {
    let altitude_deg = raw.star.as_ref().map_or(90.0, |star| star.altitude_deg);
    let now = Pointing {
        altitude_rad: altitude_deg * DEG,
        down_rad: raw.state.down_deg * DEG,
    };
    flexure(raw).map_or([0.0; 2], |flexure| flexure.tilt_rad(now))
}

/// The sum of the three ways of writing aberrations, over the full circle.
fn all_modes(raw: &RawScenario, instrument: &Instrument) -> Modes {
    let mut sum = modes(&raw.state.modes_nm);
    let annular = modes(&raw.state.modes_annular_nm);
    if annular != Modes::none() {
        sum.add_scaled(
            &wavefront::annular_to_noll(&annular, instrument.telescope.obstruction_ratio()),
            1.0,
        );
    }
    if let Some(terms) = &raw.state.seidel_waves {
        sum.add_scaled(&wavefront::seidel_to_noll(&seidel(terms)), 1.0);
    }
    sum
}

fn seidel(terms: &RawSeidel) -> Seidel {
    let wave_m = terms.reference_wavelength_nm * NM;
    Seidel {
        defocus_m: terms.defocus * wave_m,
        spherical_m: terms.spherical * wave_m,
        coma_m: terms.coma * wave_m,
        coma_azimuth_rad: terms.coma_deg * DEG,
        astigmatism_m: terms.astigmatism * wave_m,
        astigmatism_azimuth_rad: terms.astigmatism_deg * DEG,
        tilt_m: terms.tilt * wave_m,
        tilt_azimuth_rad: terms.tilt_deg * DEG,
    }
}

fn star(star: &RawStar) -> Star {
    Star {
        magnitude: star.magnitude,
        temperature_k: star.temperature_k,
        altitude_rad: star.altitude_deg * DEG,
    }
}

fn sky(sky: &RawSky) -> Sky {
    Sky {
        seeing_rad: sky
            .seeing_arcsec
            .filter(|seeing| *seeing > 0.0)
            .map(|seeing| seeing * ARCSEC),
        wind_m_per_s: sky.wind_m_per_s,
        brightness_mag_per_arcsec2: sky.brightness_mag_per_arcsec2,
        extinction_mag_per_airmass: sky.extinction_mag_per_airmass,
        tracking_drift_px: sky.tracking_drift_px,
        scintillation: sky.scintillation,
        site_height_m: sky.site_height_m,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seidel_waves_are_lengths_of_the_reference_wavelength() {
        let typed = "reference_wavelength_nm = 550.0\ncoma = -0.5\ncoma_deg = 30.0\ntilt = 2.0\nastigmatism_deg = 45.0";
        let terms: RawSeidel = toml::from_str(typed).expect("valid");
        let converted = seidel(&terms);
        assert!((converted.coma_m + 275e-9).abs() < 1e-18);
        assert!((converted.tilt_m - 1.1e-6).abs() < 1e-18);
        assert!((converted.coma_azimuth_rad - std::f64::consts::PI / 6.0).abs() < 1e-15);
        assert!((converted.astigmatism_azimuth_rad - std::f64::consts::PI / 4.0).abs() < 1e-15);
        assert_eq!(converted.spherical_m, 0.0);
    }
}
