//! `check`: reads a scenario and says what follows from it.

use super::args::ScenarioArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{least_and_most, scene};
use crate::scene::{Consequences, QUARTER_WAVE, ScrewTold, TracedNumbers};

/// Reads, validates and reports.
pub fn run(args: &ScenarioArgs, console: &Console) -> Result<(), CliError> {
    let scene = scene(args)?;
    let shown = Progress::waiting(console, "checking");
    let follows = Interrupt::install()?
        .or_done(move || scene.consequences())?
        .map_err(CliError::of_scene(&args.scenario))?;
    drop(shown);
    console.answer(report(&follows))?;
    console.answer_json(&follows)?;
    Ok(())
}

fn report(f: &Consequences) -> String {
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
        place_in_words(f),
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
            "spikes                 first order {places} px from the middle"
        ));
    }
    if let Some([Some(outer), inner]) = f.doughnut_px {
        let hole = inner.map_or(String::new(), |inner| {
            format!(", its dark centre {inner:.1} px")
        });
        lines.push(format!(
            "doughnut               {outer:.1} px across{hole}, at this focus"
        ));
    }
    lines.extend(f.screws.iter().map(words_of_screw));
    if let Some(traced) = &f.traced {
        lines.extend(words_of_trace(traced));
    }
    if f.design_waves > QUARTER_WAVE {
        lines.push(format!(
            "not sharp              the aligned telescope itself has {:.2} waves of aberration on its axis, from peak to valley",
            f.design_waves
        ));
    }
    if f.colour_waves > QUARTER_WAVE {
        lines.push(format!(
            "colours                up to {:.2} waves out of focus, where the middle of the light is in focus",
            f.colour_waves
        ));
    }
    for at in &f.flexure {
        lines.push(format!(
            "own weight at {:2.0} deg     tilts the unit by {:.2} arcmin: {:.0} nm RMS of coma; airmass {:.2}",
            at.altitude_deg, at.tilt_arcmin, at.coma_nm, at.airmass
        ));
    }
    lines.extend(
        f.implausible
            .iter()
            .map(|told| format!("looks mistyped         {told}")),
    );
    lines.join("\n")
}

fn place_in_words(f: &Consequences) -> String {
    let [x, y] = f.star_px.xy();
    let [right, up] = f.from_middle_px.xy();
    let aside = if f.from_middle_px.length() < 5e-3 {
        "the middle of the frame".to_owned()
    } else {
        let [across, along] = [
            if right < 0.0 { "left" } else { "right" },
            if up < 0.0 { "below" } else { "above" },
        ];
        format!(
            "{:.2} px {across} of and {:.2} px {along} the middle of the frame",
            right.abs(),
            up.abs()
        )
    };
    format!("star at                ({x:.2}, {y:.2}) px, {aside}")
}

/// A screw's place and what 1/8 turn of it does.
fn words_of_screw(s: &ScrewTold) -> String {
    let dark = s
        .dark_centre_px_per_eighth
        .map_or(String::new(), |px| format!(", its dark centre {px:.1} px"));
    let closely = s.tolerance_deg.map_or(String::new(), |deg| {
        format!("; set it to within {deg:.0} degrees of the wrench")
    });
    format!(
        "screw {:<17}at {} o'clock seen from the front; 1/8 turn: {:.2} arcmin, {:.0} nm of coma, star {:.1} px{dark}{closely}",
        s.name, s.front_hour, s.tilt_arcmin_per_eighth, s.coma_nm_per_eighth, s.star_px_per_eighth
    )
}

fn pivot_in_words(pivot_mm: f64) -> String {
    match pivot_mm {
        0.0 => "at the unit's vertex".into(),
        behind if behind > 0.0 => {
            format!("{behind:.1} mm behind the unit's vertex, towards its base")
        }
        before => format!(
            "{:.1} mm before the unit's vertex, away from its base",
            -before
        ),
    }
}

fn words_of_trace(t: &TracedNumbers) -> Vec<String> {
    let mut lines = vec![
        format!(
            "traced, per arcmin     coma {:.2} nm RMS (telescope pointed anew), image moves {:.1} um, focus {:+.3} um per arcmin squared",
            t.coma_nm_per_arcmin, t.image_shift_um_per_arcmin, t.focus_shift_um_per_arcmin2
        ),
        format!(
            "traced, per mm aside   coma {:.2} nm RMS, image moves {:.1} um, astigmatism {:.3} nm per mm squared, {:.3} per mm of field",
            t.decentre_coma_nm_per_mm,
            t.decentre_image_shift_um_per_mm,
            t.decentre_astigmatism_nm_per_mm2,
            t.decentre_astigmatism_nm_per_mm_mm
        ),
        format!(
            "traced, the pivot      {}; tilt and decentre together {:.3} nm of astigmatism per mm and arcmin",
            pivot_in_words(t.pivot_mm),
            t.astigmatism_nm_per_mm_arcmin
        ),
        format!(
            "traced, the field      coma {:.2} nm per mm, astigmatism {:.3} nm per mm2, curvature {:.4} um per mm2",
            t.field_coma_nm_per_mm, t.field_astigmatism_nm_per_mm2, t.field_curvature_um_per_mm2
        ),
        format!(
            "traced, focus          {:.0} um per mm of piston; focal length {:.1} mm",
            t.focus_um_per_mm, t.focal_length_mm
        ),
    ];
    let modes: Vec<String> = t
        .design_nm
        .iter()
        .filter(|(_, rms_nm)| rms_nm.abs() >= 0.005)
        .map(|(noll, rms_nm)| format!("Noll {noll} {rms_nm:.2} nm RMS"))
        .collect();
    if !modes.is_empty() {
        lines.push(format!("traced, on the axis    {}", modes.join(", ")));
    }
    if let (Some(first), Some(last)) = (t.chromatic.first(), t.chromatic.last()) {
        let focus =
            |far: fn(f64, f64) -> f64| t.chromatic.iter().map(|c| c.focus_um).fold(0.0, far);
        lines.push(format!(
            "traced, colours        from {:.0} to {:.0} nm the focus lies from {:+.1} to {:+.1} um beyond that of the middle of the light",
            first.wavelength_nm,
            last.wavelength_nm,
            focus(f64::min),
            focus(f64::max)
        ));
    }
    for edge in &t.edges {
        lines.push(format!(
            "traced, edges          the {} cuts off light of stars more than {:.1} mm from the axis",
            edge.name, edge.begins_mm
        ));
    }
    lines
}
