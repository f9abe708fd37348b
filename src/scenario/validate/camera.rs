//! `[camera]`, and what the other sections ask of it.

use crate::instrument::{Camera, Colour, ColourArray, Electronics, Orientation, Passband};
use crate::scenario::advice::missing;
use crate::scenario::error::{Problem, number, quoted};
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{
    RawCamera, RawOrientation, RawPassband, RawPassbandPoint, RawPassbands, RawScenario,
};
use crate::spectrum::{both, edges};
use crate::units::{DEG, NM, UM};

use super::{pair, scaled};

/// Most pixels of a frame.
const MOST_PIXELS: usize = 40_000_000;
/// Passband of a camera whose scenario names none: green light, where an eye is most sensitive.
const DEFAULT_PASSBAND_NM: [f64; 2] = [500.0, 600.0];

pub(super) fn check(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let camera = &raw.camera;
    check_size(camera, findings);
    check_passband(
        &camera.passband_nm,
        &camera.passband_table,
        "camera",
        findings,
    );
    check_colours(camera, findings);
    check_electronics(raw, findings);
    let largest_adu = f64::from((1_u32 << camera.bits) - 1);
    if camera.bias_adu >= largest_adu {
        let allowed = format!(
            "less than the largest count of {} bits ({})",
            camera.bits,
            number(largest_adu)
        );
        findings.out_of_range(
            "camera.bias_adu",
            number(camera.bias_adu),
            allowed,
            "counts need room above the bias",
        );
    }
}

pub(super) fn build(camera: &RawCamera) -> Camera {
    let colour = camera
        .colour_pattern
        .as_deref()
        .and_then(Colour::pattern)
        .zip(camera.passbands.as_ref());
    let own = passband(&camera.passband_nm, &camera.passband_table);
    let behind = |band: Passband| match &own {
        Some(own) => both(own, &band).unwrap_or(band),
        None => band,
    };
    let colour = colour.map(|(pattern, bands)| ColourArray {
        pattern,
        passbands: filters(bands).map(|(_, band)| behind(filter(band))),
    });
    Camera {
        pixel_m: camera.pixel_um * UM,
        width_px: camera.width_px,
        height_px: camera.height_px,
        rotation_rad: camera.rotation_deg * DEG,
        mirrored: camera.mirrored,
        orientation: match camera.orientation {
            RawOrientation::Assumed => Orientation::Assumed,
            RawOrientation::Known => Orientation::Known,
        },
        passband: own
            .or_else(|| colour.as_ref().map(span_of_filters))
            .unwrap_or_else(default_passband),
        wavelengths: camera.wavelengths,
        throughput: camera.throughput,
        electronics: electronics(camera),
        colour,
    }
}

fn check_size(camera: &RawCamera, findings: &mut Contradictions<'_>) {
    if camera.width_px.saturating_mul(camera.height_px) > MOST_PIXELS {
        findings.out_of_range(
            "camera.height_px",
            camera.height_px.to_string(),
            format!(
                "at most {} for camera.width_px {} (40 million pixels)",
                MOST_PIXELS / camera.width_px,
                camera.width_px
            ),
            "a star needs a few hundred pixels each way; cut the frame out around it",
        );
    }
}

fn check_passband(
    band_nm: &Option<[f64; 2]>,
    table: &Option<Vec<RawPassbandPoint>>,
    section: &str,
    findings: &mut Contradictions<'_>,
) {
    let (band_key, table_key) = (
        format!("{section}.passband_nm"),
        format!("{section}.passband_table"),
    );
    if band_nm.is_some() && table.is_some() {
        findings.exclude_each_other(&band_key, &table_key, "leave one of them out");
    }
    if let Some(band_nm) = band_nm.filter(|[from_nm, to_nm]| from_nm >= to_nm) {
        let allowed = "two ascending wavelengths, the shorter one first";
        findings.out_of_range(
            &band_key,
            pair(band_nm),
            allowed,
            "for example [480.0, 620.0]",
        );
    }
    let Some(points) = table else { return };
    for (index, two) in points
        .windows(2)
        .enumerate()
        .filter(|(_, two)| two[1].nm <= two[0].nm)
    {
        findings.out_of_range(
            &format!("{table_key}[{}].nm", index + 1),
            number(two[1].nm),
            format!("more than the point before it ({})", number(two[0].nm)),
            "list the points in ascending order of wavelength, each wavelength once",
        );
    }
    if points.iter().all(|point| point.transmission == 0.0) {
        let allowed = "a list with at least one transmission above 0";
        findings.out_of_range(
            &table_key,
            "a list without any light",
            allowed,
            "transmission is a fraction, 0 to 1",
        );
    }
}

fn check_colours(camera: &RawCamera, findings: &mut Contradictions<'_>) {
    match (&camera.colour_pattern, &camera.passbands) {
        (Some(letters), _) if Colour::pattern(letters).is_none() => findings.out_of_range(
            "camera.colour_pattern",
            quoted(letters),
            "one R, two G and one B in any order",
            "for example \"RGGB\", read from row 0, the bottom, from left to right",
        ),
        (Some(_), None) => {
            let tell = || missing("camera.passbands", Some("camera.colour_pattern is given"));
            findings.missing_from("camera", tell);
        }
        (None, Some(_)) => {
            let (key, condition) = (
                "camera.passbands".to_owned(),
                "where there is no camera.colour_pattern".to_owned(),
            );
            let hint = "write colour_pattern under [camera], or passband_nm for a camera without colour filters";
            findings.wrong_key(
                "camera.passbands",
                Problem::NoMeaning { key, condition },
                hint,
            );
        }
        _ => {}
    }
    for (name, band) in camera.passbands.iter().flat_map(filters) {
        let section = format!("camera.passbands.{name}");
        check_passband(&band.passband_nm, &band.passband_table, &section, findings);
        if band.passband_nm.is_none() && band.passband_table.is_none() {
            let key = format!("{section}.passband_nm");
            findings.missing_from(&section, move || {
                missing(&key, Some("a filter has a passband_nm or a passband_table"))
            });
            continue;
        }
        check_behind(camera, band, &section, findings);
    }
}

/// A colour that the filter before the whole sensor takes away leaves its pixels dark.
fn check_behind(
    camera: &RawCamera,
    band: &RawPassband,
    section: &str,
    findings: &mut Contradictions<'_>,
) {
    let Some(own) = passband(&camera.passband_nm, &camera.passband_table) else {
        return;
    };
    if both(&own, &filter(band)).is_some() {
        return;
    }
    let key = match &band.passband_nm {
        Some(_) => format!("{section}.passband_nm"),
        None => format!("{section}.passband_table"),
    };
    let [from, to] = edges(&own).map(|m| number((m / NM * 1e3).round() / 1e3));
    findings.out_of_range(
        &key,
        pair(edges(&filter(band)).map(|m| (m / NM * 1e3).round() / 1e3)),
        format!("a part of what the camera's own passband lets through ({from} to {to} nm)"),
        "camera.passband_nm is a filter before the whole sensor; leave it out where there is none",
    );
}

/// Counts need all three numbers that turn photons into them; relative units need none.
fn check_electronics(raw: &RawScenario, findings: &mut Contradictions<'_>) {
    let camera = &raw.camera;
    let keys = [
        ("gain_e_per_adu", camera.gain_e_per_adu.is_some()),
        ("quantum_efficiency", camera.quantum_efficiency.is_some()),
        ("read_noise_e", camera.read_noise_e.is_some()),
    ];
    let given = keys.iter().find(|(_, given)| *given).map(|(key, _)| *key);
    let reason = match given {
        _ if raw.star.is_some() && raw.exposure.is_some() => {
            "[star] and [exposure] together ask for a frame in counts".to_owned()
        }
        Some(key) => {
            format!("camera.{key} is given, and only the three together turn light into counts")
        }
        None => return,
    };
    for (key, _) in keys.iter().filter(|(_, given)| !given) {
        let (key, reason) = (format!("camera.{key}"), reason.clone());
        findings.missing_from("camera", move || missing(&key, Some(&reason)));
    }
}

fn electronics(camera: &RawCamera) -> Option<Electronics> {
    Some(Electronics {
        quantum_efficiency: camera.quantum_efficiency?,
        gain_e_per_adu: camera.gain_e_per_adu?,
        bias_adu: camera.bias_adu,
        read_noise_e: camera.read_noise_e?,
        dark_e_per_s: camera.dark_e_per_s,
        full_well_e: camera.full_well_e.unwrap_or(f64::INFINITY),
        bits: camera.bits,
        pixel_response_rms: camera.pixel_response_rms,
    })
}

fn passband(band_nm: &Option<[f64; 2]>, table: &Option<Vec<RawPassbandPoint>>) -> Option<Passband> {
    let points = |table: &Vec<RawPassbandPoint>| {
        table
            .iter()
            .map(|point| (point.nm * NM, point.transmission))
            .collect()
    };
    band_nm
        .map(|band_nm| Passband::Band(scaled(band_nm, NM)))
        .or_else(|| table.as_ref().map(|table| Passband::Table(points(table))))
}

fn filter(band: &RawPassband) -> Passband {
    passband(&band.passband_nm, &band.passband_table).unwrap_or_else(default_passband)
}

fn default_passband() -> Passband {
    Passband::Band(scaled(DEFAULT_PASSBAND_NM, NM))
}

/// The three colour filters with their names.
fn filters(bands: &RawPassbands) -> [(&'static str, &RawPassband); 3] {
    [
        ("red", &bands.red),
        ("green", &bands.green),
        ("blue", &bands.blue),
    ]
}

/// From the shortest to the longest wavelength that any of the filters lets through.
pub(in crate::scenario) fn span_of_filters(colour: &ColourArray) -> Passband {
    let ends = colour.passbands.iter().flat_map(|band| match band {
        Passband::Band(ends_m) => ends_m.to_vec(),
        Passband::Table(points) => points
            .iter()
            .map(|(wavelength_m, _)| *wavelength_m)
            .collect(),
    });
    let limits = ends.fold([f64::INFINITY, 0.0], |[low, high], end: f64| {
        [low.min(end), high.max(end)]
    });
    Passband::Band(limits)
}
