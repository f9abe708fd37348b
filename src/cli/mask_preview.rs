//! `mask preview`: the star through the mask, and what the mask can and cannot show.

use super::args::MaskPreviewArgs;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::mask_picture;
use super::progress::Progress;
use super::{finish, one_file, scene, stem};
use crate::image_io::png;
use crate::preview::check::MASK_CAUTIONS;
use crate::preview::visible::{Observer, Sees, ViewingConditions};
use crate::scene::{MaskPreview, NM_RMS_IN_WORDS, PreviewOptions, SceneError};

/// Draws the preview and prints what it shows.
pub fn run(args: &MaskPreviewArgs, console: &Console) -> Result<(), CliError> {
    let scene = scene(&args.scenario)?;
    let path = &args.scenario.scenario;
    let refused = CliError::of_scene(path);
    if scene.instrument().mask.is_none() {
        return Err(refused(SceneError::NoMask));
    }
    let interrupt = Interrupt::install()?;
    let name = format!("{}.preview.png", stem(path));
    let mut set = one_file(&args.files, &name)?;
    let shown = Progress::waiting(console, "looking through the mask");
    let options = PreviewOptions {
        observer: Observer {
            eye_px: args.eye_px,
            contrast: args.contrast,
            ..Observer::default()
        },
        error_nm: args.error_nm,
        depth_um: args.depth_um,
    };
    let preview = interrupt
        .or_done(move || scene.mask_preview(&options))?
        .map_err(&refused)?;
    set.put(&name, &png::rgb8(&mask_picture::draw(&preview)?)?)?;
    drop(shown);
    finish(set, &interrupt, console)?;
    console.answer(lines(&preview).join("\n"))?;
    console.answer_json(&preview)?;
    Ok(())
}

/// Two figures are enough: the least error holds within a quarter.
pub(super) fn nanometres(value: Option<f64>) -> String {
    match value {
        None => "hidden".to_owned(),
        Some(v) if v < 9.95 => format!("{v:.1} nm"),
        Some(v) => format!("{v:.0} nm"),
    }
}

/// An error's name; of the pairs, which of the two.
pub(super) fn error_words(row: &Sees) -> String {
    match row.noll {
        4 | 11 => row.error.to_owned(),
        noll => format!("{} (Noll {noll})", row.error),
    }
}

fn lines(preview: &MaskPreview) -> Vec<String> {
    let mut out = vec![preview.title.clone()];
    out.push(format!("The smallest error that you would see, told from none in three of four looks ({NM_RMS_IN_WORDS}):"));
    for row in &preview.sees {
        out.push(format!(
            "  {:<21}{:>9}  {}",
            error_words(row),
            nanometres(row.smallest_nm),
            row.why
        ));
    }
    out.extend(coma_sentence(preview));
    out.push("Spikes, by region of the mask:".into());
    for spike in &preview.spikes {
        let verdict = if spike.seen {
            "seen".to_owned()
        } else {
            format!("not seen: {}", spike.why)
        };
        let apart = spike
            .apart_px
            .map_or("-".to_owned(), |px| format!("{px:.1}"));
        out.push(format!(
            "  region {:<3} {:>6.1} px from the star, {:>4.1} px wide, {apart:>5} px from the next, stands out by {:>4.0} %: {verdict}",
            spike.region, spike.first_order_px, spike.width_px, 100.0 * spike.stands_out
        ));
    }
    out.extend(condition_lines(&preview.conditions));
    out.push(format!(
        "{:<21}{:>13}{:>15}{:>12}{:>15}",
        "", "(1) px", "(2) px", "(3) nm", "(4) nm"
    ));
    let amount = |value: Option<f64>| value.map_or("-".to_owned(), |v| format!("{v:.1}"));
    for row in &preview.shows {
        out.push(format!(
            "{:<21}{:>13.2}{:>15.2}{:>12}{:>15}",
            format!("{} (Noll {})", row.name, row.noll),
            row.crossing_px,
            row.separation_px,
            amount(row.photon_nm),
            amount(row.seeing_nm)
        ));
    }
    out.push("For comparison, by calculation alone, whether an eye sees it or not: how far 100 nm RMS of each error move (1) the middle spike against its partners' crossing and (2) parallel spikes apart; (3) the least that a measuring program can tell in this exposure; (4) what the moving atmosphere itself adds.".into());
    out.push(MASK_CAUTIONS.into());
    out
}

/// Coma in words, beside what a turn of a screw makes.
pub(super) fn coma_sentence(preview: &MaskPreview) -> Option<String> {
    let coma: Vec<&Sees> = preview
        .sees
        .iter()
        .filter(|s| matches!(s.noll, 7 | 8))
        .collect();
    let turn = preview.eighth_turn_coma_nm.map_or(String::new(), |nm| {
        format!("; 1/8 turn of a screw makes {nm:.0} nm")
    });
    let worst = coma
        .iter()
        .map(|s| s.smallest_nm)
        .reduce(|a, b| Some(a?.max(b?)))?;
    Some(match worst {
        Some(nm) => {
            format!("So coma is seen from {nm:.0} nm on, whichever way it points{turn}.")
        }
        None => format!("So coma of one direction at least stays hidden behind this mask{turn}."),
    })
}

/// For which conditions the least errors hold.
pub(super) fn condition_lines(c: &ViewingConditions) -> Vec<String> {
    let seeing = c.seeing_arcsec.map_or("no seeing".to_owned(), |s| {
        format!("seeing of {s:.1} arcsec")
    });
    let light = match (c.magnitude, c.exposure_s) {
        (Some(magnitude), Some(time_s)) => {
            format!("a star of magnitude {magnitude:.1} for {time_s:.3} s")
        }
        _ => "a star bright enough for a good exposure".to_owned(),
    };
    let mut out = vec![format!(
        "For {seeing}, pixels of {:.2} um, {light}: the brightest spike is at {:.0} % of a full pixel, the core {:.0} times full.",
        c.pixel_um,
        100.0 * c.spike_level,
        c.core_level
    )];
    if let Some(time_s) = c.good_exposure_s {
        out.push(format!("Expose about {time_s:.3} s: spikes at 40 % of a full pixel, or the core 50 times full if that is shorter. The picture is shown so."));
    }
    out.push(format!(
        "The eye is trusted with {} px, and with spikes that are {:.0} % brighter than the light beside them; the screen is stretched straight from the sky to 1.25 times the brightest spike.",
        c.observer.eye_px,
        100.0 * c.observer.contrast
    ));
    if !c.assumed.is_empty() {
        out.push(format!("Assumed, because the scenario does not say: {}. Give [sky], [star], [exposure] and the camera's numbers.", c.assumed.join("; ")));
    }
    out
}
