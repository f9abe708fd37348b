//! `check`: reads a scenario and says what follows from it.

use super::args::ScenarioArgs;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::load;
use super::printer::Printer;
use super::progress::Progress;
use crate::mask;
use crate::predict::{Expected, Model, Settings};
use crate::scenario::Scenario;
use crate::simulate::saturation_adu;
use crate::state::State;
use crate::units::{ARCSEC, UM};
use serde::Serialize;

/// What follows from a scenario.
#[derive(Debug, Serialize)]
struct Findings {
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
    /// From the middle to the first order of each region's streak.
    streak_first_order_px: Vec<f64>,
}

/// Reads, validates and reports.
pub fn run(args: &ScenarioArgs, printer: &Printer) -> Result<(), CliError> {
    let scenario = load(args)?;
    let settings = Settings {
        portable: args.portable,
        ..Settings::default()
    };
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

fn findings(
    scenario: &Scenario,
    settings: Settings,
) -> Result<Findings, crate::predict::PredictError> {
    let (instrument, state) = (&scenario.instrument, &scenario.state);
    let (telescope, camera) = (&instrument.telescope, &instrument.camera);
    let model = Model::new(instrument, state, settings)?;
    let expected = Expected::new(&model, instrument, state, settings)?;
    let scale = camera.pixel_m / telescope.focal_length_m / ARCSEC;
    let ratio = telescope.focal_ratio();
    let side = |px: usize| px as f64 * scale / 60.0;
    let brightest = expected.image.iter().copied().fold(0.0, f64::max);
    let electrons = |value: f64| expected.in_electrons.then_some(value);
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
    let order_px =
        |pitch_m: f64| model.reference_m * telescope.focal_length_m / pitch_m / camera.pixel_m;
    let regions = instrument
        .mask
        .as_ref()
        .map(mask::regions)
        .unwrap_or_default();
    let circle = std::f64::consts::PI * telescope.aperture_radius_m().powi(2);
    Ok(Findings {
        format: "skewstar-check/1",
        title: scenario.title.clone(),
        focal_ratio: ratio,
        scale_arcsec_per_px: scale,
        frame_arcmin: [side(camera.width_px), side(camera.height_px)],
        critical_focus_um: 2.0 * model.reference_m * ratio * ratio / UM,
        airy_diameter_px: 2.44 * model.reference_m * ratio / camera.pixel_m,
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
        streak_first_order_px: regions
            .iter()
            .map(|region| order_px(region.pitch_m))
            .collect(),
    })
}

fn report(f: &Findings) -> String {
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
            "saturation             at {full:.0} e, after {time:.3} s at this brightness"
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
            "                       {state}: after {other:.3} s"
        ));
    }
    if let Some((near, far)) = range(&f.streak_first_order_px) {
        let places = if far - near < 0.05 {
            format!("{near:.1}")
        } else {
            format!("{near:.1} to {far:.1}")
        };
        lines.push(format!(
            "streaks                first order {places} px from the middle"
        ));
    }
    lines.join("\n")
}

fn range(values: &[f64]) -> Option<(f64, f64)> {
    let low = values.iter().copied().reduce(f64::min)?;
    Some((low, values.iter().copied().fold(low, f64::max)))
}
