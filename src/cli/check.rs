//! `check`: reads a scenario and says what follows from it.

use super::args::ScenarioArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{least_and_most, scene};
use crate::scene::{Consequences, NM_RMS_IN_WORDS, QUARTER_WAVE, ScrewTold, TracedNumbers};

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
            "critical focus zone    +-{:.1} um (thousandths of a millimetre): within it a star is as sharp as in focus",
            f.critical_focus_um
        ),
        format!(
            "Airy disc              {:.2} px across (to the first dark ring): no star gets smaller",
            f.airy_diameter_px
        ),
        format!(
            "open part of aperture  {:.1} %, the rest is in shadow",
            100.0 * f.open_area_fraction
        ),
        place_in_words(f),
        format!(
            "light in the frame     {:.1} % of the star's",
            100.0 * f.light_in_frame
        ),
        format!(
            "computed with          {} cells across the pupil, {} samples a pixel side, {} wavelengths",
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
        lines.push(format!("star                   {star:.0} electrons, {peak:.0} in the brightest pixel, background {background:.2} a pixel"));
    } else {
        lines.push(
            "star                   no brightness given: add [star] and [exposure] to get electrons and noise"
                .into(),
        );
    }
    if let (Some(full), Some(time)) = (f.saturation_e, f.saturates_after_s) {
        lines.push(format!(
            "saturation             a pixel is full at {full:.0} electrons, the brightest after {time:.2} s at this brightness and focus"
        ));
        if f.brightest_px_electrons.is_some_and(|peak| peak > full) {
            lines.push("                       this exposure is too long: shorten exposure.time_s, or defocus more".into());
        }
    }
    if let (Some(on), Some(other)) = (f.mask_on, f.saturates_after_s_other) {
        let state = if on {
            "without the mask"
        } else {
            "with the mask"
        };
        lines.push(format!(
            "                       {state}, at the same focus: after {other:.2} s"
        ));
    }
    if let Some((near, far)) = least_and_most(&f.spike_first_order_px) {
        let places = if far - near < 0.05 {
            format!("{near:.1}")
        } else {
            format!("{near:.1} to {far:.1}")
        };
        lines.push(format!(
            "spikes                 begin {places} px from the star"
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
    lines.extend(words_of_screws(&f.screws));
    lines.push(format!(
        "coma, in nm RMS        good enough below {:.0}; {};",
        f.enough.good_enough_nm,
        f.enough.scale.words()
    ));
    lines.push(format!("                       {NM_RMS_IN_WORDS}"));
    if let Some(traced) = &f.traced {
        lines.extend(words_of_trace(traced));
    }
    if f.design_waves > QUARTER_WAVE {
        lines.push(format!(
            "not sharp              even aligned, the telescope is {:.2} waves from perfect in the middle of the field (peak to valley; 0.25 is good)",
            f.design_waves
        ));
    }
    if f.colour_waves > QUARTER_WAVE {
        lines.push(format!(
            "colours                the worst is {:.2} waves out of focus where the middle one is sharp (0.25 does not show)",
            f.colour_waves
        ));
    }
    for at in &f.flexure {
        lines.push(format!(
            "own weight at {:2.0} deg     tilts the unit by {:.2} arcmin: {:.0} nm RMS of coma; airmass {:.2}",
            at.altitude_deg, at.tilt_arcmin, at.coma_nm, at.airmass
        ));
    }
    lines.extend(f.implausible.iter().map(|told| {
        format!("please check           {told}; if it is right, nothing has to be done")
    }));
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

/// The screws' places and what 1/8 turn of each does; one line for those that do the same.
fn words_of_screws(screws: &[ScrewTold]) -> Vec<String> {
    let mut told: Vec<(String, Vec<&ScrewTold>)> = Vec::new();
    for screw in screws {
        let does = what_it_does(screw);
        match told.iter_mut().find(|(other, _)| *other == does) {
            Some((_, alike)) => alike.push(screw),
            None => told.push((does, vec![screw])),
        }
    }
    told.iter()
        .flat_map(|(does, alike)| {
            let places = alike
                .iter()
                .map(|s| format!("{} at {} o'clock", s.name, s.front_hour))
                .collect::<Vec<_>>()
                .join(", ");
            [
                format!("screws                 {places}, seen from the front of the telescope"),
                format!("                       {does}"),
            ]
        })
        .collect()
}

/// What 1/8 turn of a screw does.
fn what_it_does(s: &ScrewTold) -> String {
    let dark = s.dark_centre_px_per_eighth.map_or(String::new(), |px| {
        format!(", and the dark centre of the ring by {px:.1} px")
    });
    let closely = s.tolerance_deg.map_or(String::new(), |deg| {
        format!("; good enough is to within {deg:.0} degrees of the wrench")
    });
    format!(
        "1/8 turn tips the unit by {:.1} arcmin, makes {:.0} nm of coma, moves the star by {:.0} px{dark}{closely}",
        s.tilt_arcmin_per_eighth, s.coma_nm_per_eighth, s.star_px_per_eighth
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
            "traced, per arcmin     coma {:.2} nm RMS (the star brought back), image moves {:.1} um, focus {:+.3} um per arcmin squared",
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
