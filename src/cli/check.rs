//! `check`: reads a scenario and says what follows from it.

use super::args::ScenarioArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{least_and_most, load};
use crate::atmosphere::airmass;
use crate::mask;
use crate::mechanics::Pointing;
use crate::mechanics::prescription::Derived;
use crate::predict::{Expected, Model, Settings, airy_radius_m, critical_focus_m, first_order_m};
use crate::scenario::Scenario;
use crate::simulate::saturation_adu;
use crate::state::State;
use crate::units::{ARCMIN, ARCSEC, DEG, MM, NM, UM};
use serde::Serialize;

/// What follows from a scenario.
#[derive(Debug, Serialize)]
struct CheckOutput {
    format: &'static str,
    title: String,
    focal_ratio: f64,
    scale_arcsec_per_px: f64,
    frame_arcmin: [f64; 2],
    critical_focus_um: f64,
    airy_diameter_px: f64,
    open_area_fraction: f64,
    pupil_cells: usize,
    sub_samples_per_px: usize,
    wavelengths: usize,
    light_in_frame: f64,
    star_electrons: Option<f64>,
    brightest_px_electrons: Option<f64>,
    background_e_per_px: Option<f64>,
    saturation_e: Option<f64>,
    saturates_after_s: Option<f64>,
    /// The same with the mask taken off where it is on, and put on where it is off.
    saturates_after_s_other: Option<f64>,
    mask_on: Option<bool>,
    /// From the middle to the first order of each region's spike.
    spike_first_order_px: Vec<f64>,
    reference_wavelength_nm: f64,
    colour_focus_um: Option<f64>,
    /// What was traced from [assembly.prescription].
    traced: Option<Traced>,
    /// What the unit's own weight does at some altitudes, pointed as in the scenario.
    flexure: Vec<Leaning>,
}

/// A traced prescription in the words of the scenario file; the first eleven can be typed in as they stand.
#[derive(Debug, Serialize)]
struct Traced {
    coma_nm_per_arcmin: f64,
    astigmatism_nm_per_arcmin2: f64,
    astigmatism_nm_per_arcmin_mm: f64,
    image_shift_um_per_arcmin: f64,
    focus_um_per_mm: f64,
    sensor_tilt_per_tilt: f64,
    field_coma_nm_per_mm: f64,
    field_astigmatism_nm_per_mm2: f64,
    field_curvature_um_per_mm2: f64,
    focal_length_mm: f64,
    focus_shift_um_per_arcmin2: f64,
    decentre_coma_nm_per_mm: f64,
    decentre_image_shift_um_per_mm: f64,
    decentre_focus_shift_um_per_mm2: f64,
}

/// The unit's own weight at one altitude, next to what the atmosphere does there.
#[derive(Debug, Serialize)]
struct Leaning {
    altitude_deg: f64,
    tilt_arcmin: f64,
    coma_nm: f64,
    airmass: f64,
}

/// Reads, validates and reports.
pub fn run(args: &ScenarioArgs, printer: &Console) -> Result<(), CliError> {
    let scenario = load(args)?;
    let settings = args.settings();
    let shown = Progress::waiting(printer, "checking");
    let findings = Interrupt::install()?
        .or_done(move || findings(&scenario, settings))?
        .map_err(|source| CliError::Predict {
            path: args.scenario.clone(),
            source,
        })?;
    drop(shown);
    printer.answer(report(&findings))?;
    printer.answer_json(&findings)?;
    Ok(())
}

/// Side of the frame in which the star of a whole sensor is looked at.
const STAMP_PX: usize = 256;

fn findings(
    scenario: &Scenario,
    settings: Settings,
) -> Result<CheckOutput, crate::predict::PredictError> {
    let state = &scenario.state;
    let mut instrument = scenario.instrument.clone();
    if scenario.field.is_some() {
        // a whole sensor: one star is looked at, in a frame of its own
        let camera = &mut instrument.camera;
        camera.width_px = camera.width_px.min(STAMP_PX);
        camera.height_px = camera.height_px.min(STAMP_PX);
    }
    let instrument = &instrument;
    let (telescope, camera) = (&instrument.telescope, &scenario.instrument.camera);
    let model = Model::new(instrument, state, settings)?;
    let expected = Expected::new(&model, instrument, state, settings)?;
    let scale = camera.pixel_m / telescope.focal_length_m / ARCSEC;
    let ratio = telescope.focal_ratio();
    let side = |px: usize| px as f64 * scale / 60.0;
    let brightest = expected.image.iter().copied().fold(0.0, f64::max);
    let electrons = |value: f64| expected.in_electrons.then_some(value);
    // of whole counts, as they are read out: up to half a count beside `sensor::saturation_e`
    let saturation_e = camera
        .electronics
        .as_ref()
        .filter(|_| expected.in_electrons)
        .map(|e| (f64::from(saturation_adu(e)) - e.bias_adu) * e.gain_e_per_adu);
    let after_s = |brightest: f64| match (saturation_e, &state.exposure) {
        (Some(full), Some(exposure)) if brightest > 0.0 => Some(exposure.time_s * full / brightest),
        _ => None,
    };
    let saturates_after_s = after_s(brightest);
    let saturates_after_s_other = match &instrument.mask {
        Some(_) if saturation_e.is_some() => {
            let other = State {
                mask_on: !state.mask_on,
                ..state.clone()
            };
            let model = Model::new(instrument, &other, settings)?;
            let image = Expected::new(&model, instrument, &other, settings)?.image;
            after_s(image.iter().copied().fold(0.0, f64::max))
        }
        _ => None,
    };
    let order_px = |pitch_m: f64| {
        first_order_m(model.reference_m, telescope.focal_length_m, pitch_m) / camera.pixel_m
    };
    let regions = instrument
        .mask
        .as_ref()
        .map(mask::regions)
        .unwrap_or_default();
    let circle = std::f64::consts::PI * telescope.aperture_radius_m().powi(2);
    Ok(CheckOutput {
        format: "skewstar-check/1",
        title: scenario.title.clone(),
        focal_ratio: ratio,
        scale_arcsec_per_px: scale,
        frame_arcmin: [side(camera.width_px), side(camera.height_px)],
        critical_focus_um: critical_focus_m(model.reference_m, ratio) / UM,
        airy_diameter_px: 2.0 * airy_radius_m(model.reference_m, ratio) / camera.pixel_m,
        open_area_fraction: model.open_area_m2 / circle,
        pupil_cells: model.plan.grid.count,
        sub_samples_per_px: model.plan.sub_samples,
        wavelengths: model.plan.wavelengths,
        light_in_frame: expected.light_in_frame,
        star_electrons: electrons(expected.star_total),
        brightest_px_electrons: electrons(brightest),
        background_e_per_px: electrons(expected.background_per_px),
        saturation_e,
        saturates_after_s,
        saturates_after_s_other,
        mask_on: instrument.mask.as_ref().map(|_| state.mask_on),
        spike_first_order_px: regions
            .iter()
            .map(|region| order_px(region.pitch_m))
            .collect(),
        reference_wavelength_nm: model.reference_m / NM,
        colour_focus_um: model.colour_focus_m().map(|m| m / UM),
        traced: scenario.traced.as_ref().map(traced),
        flexure: leaning(scenario),
    })
}

fn traced(derived: &Derived) -> Traced {
    let (response, field) = (&derived.response, &derived.field);
    Traced {
        coma_nm_per_arcmin: response.coma_m_per_rad * ARCMIN / NM,
        astigmatism_nm_per_arcmin2: response.astigmatism_m_per_rad2 * ARCMIN * ARCMIN / NM,
        astigmatism_nm_per_arcmin_mm: response.astigmatism_m_per_rad_m * ARCMIN * MM / NM,
        image_shift_um_per_arcmin: response.image_shift_m_per_rad * ARCMIN / UM,
        focus_um_per_mm: response.focus_m_per_m * MM / UM,
        sensor_tilt_per_tilt: response.sensor_tilt_per_tilt,
        field_coma_nm_per_mm: field.coma_per_m * MM / NM,
        field_astigmatism_nm_per_mm2: field.astigmatism_per_m2 * MM * MM / NM,
        field_curvature_um_per_mm2: field.curvature_per_m2 * MM * MM / UM,
        focal_length_mm: derived.focal_length_m / MM,
        focus_shift_um_per_arcmin2: derived.focus_m_per_rad2 * ARCMIN * ARCMIN / UM,
        decentre_coma_nm_per_mm: derived.coma_m_per_m * MM / NM,
        decentre_image_shift_um_per_mm: derived.image_shift_m_per_m * MM / UM,
        decentre_focus_shift_um_per_mm2: derived.focus_m_per_m2 * MM * MM / UM,
    }
}

/// Altitudes at which the unit's own weight is told.
const ALTITUDES_DEG: [f64; 4] = [30.0, 45.0, 60.0, 90.0];

fn leaning(scenario: &Scenario) -> Vec<Leaning> {
    let assembly = scenario.instrument.assembly.as_ref();
    let response = assembly.and_then(|a| a.response.as_ref());
    let (Some(flexure), Some(response)) = (&scenario.flexure, response) else {
        return Vec::new();
    };
    ALTITUDES_DEG
        .iter()
        .map(|altitude_deg| {
            let altitude_rad = altitude_deg * DEG;
            let now = Pointing {
                altitude_rad,
                ..flexure.when_set
            };
            let [x, y] = flexure.tilt_rad(now);
            Leaning {
                altitude_deg: *altitude_deg,
                tilt_arcmin: x.hypot(y) / ARCMIN,
                coma_nm: (response.coma_m_per_rad * x.hypot(y)).abs() / NM,
                airmass: airmass(altitude_rad),
            }
        })
        .collect()
}

fn report(f: &CheckOutput) -> String {
    let mut lines = vec![
        f.title.clone(),
        format!("focal ratio            f/{:.2}", f.focal_ratio),
        format!(
            "scale                  {:.3} arcsec per pixel, frame {:.2} x {:.2} arcmin",
            f.scale_arcsec_per_px, f.frame_arcmin[0], f.frame_arcmin[1]
        ),
        format!(
            "critical focus zone    +-{:.1} um (a quarter wave at the edge of the pupil)",
            f.critical_focus_um
        ),
        format!(
            "Airy disc              {:.2} px across, first dark ring",
            f.airy_diameter_px
        ),
        format!(
            "open part of aperture  {:.1} %",
            100.0 * f.open_area_fraction
        ),
        format!("light in the frame     {:.1} %", 100.0 * f.light_in_frame),
        format!(
            "sampling               {} cells across the pupil, {} samples a pixel side, {} wavelengths",
            f.pupil_cells, f.sub_samples_per_px, f.wavelengths
        ),
    ];
    if let Some(focus_um) = f.colour_focus_um {
        lines.push(format!(
            "colours                at {:.1} nm, the middle of the light, telescope.chromatic gives {focus_um:+.1} um of focus:",
            f.reference_wavelength_nm
        ));
        lines.push("                       state.sensor_offset_um counts from the table's zero, not from this colour's focus".into());
    }
    if let (Some(star), Some(peak), Some(background)) = (
        f.star_electrons,
        f.brightest_px_electrons,
        f.background_e_per_px,
    ) {
        lines.push(format!("star                   {star:.0} e, brightest pixel {peak:.0} e, background {background:.2} e per pixel"));
    } else {
        lines.push(
            "star                   relative units: give [star] and [exposure] for electrons"
                .into(),
        );
    }
    if let (Some(full), Some(time)) = (f.saturation_e, f.saturates_after_s) {
        lines.push(format!(
            "saturation             at {full:.0} e, after {time:.3} s at this brightness and focus"
        ));
        if f.brightest_px_electrons.is_some_and(|peak| peak > full) {
            lines.push("                       this exposure saturates: shorten exposure.time_s, or defocus more".into());
        }
    }
    if let (Some(on), Some(other)) = (f.mask_on, f.saturates_after_s_other) {
        let state = if on {
            "without the mask"
        } else {
            "with the mask"
        };
        lines.push(format!(
            "                       {state}, at the same focus: after {other:.3} s"
        ));
    }
    if let Some((near, far)) = least_and_most(&f.spike_first_order_px) {
        let places = if far - near < 0.05 {
            format!("{near:.1}")
        } else {
            format!("{near:.1} to {far:.1}")
        };
        lines.push(format!(
            "spikes                first order {places} px from the middle"
        ));
    }
    if let Some(traced) = &f.traced {
        lines.extend(words_of_trace(traced));
    }
    for at in &f.flexure {
        lines.push(format!(
            "own weight at {:2.0} deg     tilts the unit by {:.2} arcmin: {:.0} nm RMS of coma; airmass {:.2}",
            at.altitude_deg, at.tilt_arcmin, at.coma_nm, at.airmass
        ));
    }
    lines.join("\n")
}

fn words_of_trace(t: &Traced) -> Vec<String> {
    vec![
        format!(
            "traced, per arcmin     coma {:.2} nm RMS (telescope pointed anew), image moves {:.1} um, focus {:+.3} um per arcmin squared",
            t.coma_nm_per_arcmin, t.image_shift_um_per_arcmin, t.focus_shift_um_per_arcmin2
        ),
        format!(
            "traced, per mm aside   coma {:.2} nm RMS, image moves {:.1} um",
            t.decentre_coma_nm_per_mm, t.decentre_image_shift_um_per_mm
        ),
        format!(
            "traced, the field      coma {:.2} nm per mm, astigmatism {:.3} nm per mm2, curvature {:.4} um per mm2",
            t.field_coma_nm_per_mm, t.field_astigmatism_nm_per_mm2, t.field_curvature_um_per_mm2
        ),
        format!(
            "traced, focus          {:.0} um per mm of piston; focal length {:.1} mm",
            t.focus_um_per_mm, t.focal_length_mm
        ),
    ]
}
