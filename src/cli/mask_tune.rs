//! `mask tune`: better numbers, beside the customary layouts, in one table and one picture.

use super::args::{MaskTuneArgs, TuneBy, TuneFor};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::mask_preview::put;
use super::progress::Progress;
use super::{finish, load, one_file, stem};
use crate::image_io::canvas::{AMBER, Anchor, BLACK, Canvas, EDGE, PALE};
use crate::image_io::png;
use crate::image_io::stretch::{Stretch, display};
use crate::instrument::{Instrument, KeyUse, LayoutKey, MaskDesign, MaskLayout, SlotLayout};
use crate::predict::{Expected, Model, Settings};
use crate::preview::search::{
    Candidate, Refinement, SpikeReader, TunePurpose, candidates, judge, variations,
};
use crate::scenario::Scenario;
use crate::scene::SceneError;
use crate::state::{Modes, State};
use crate::units::{DEG, MM, NM};
use serde::Serialize;

/// About as many masks are tried round the best of the list.
const MORE_TRIALS: usize = 12;

#[derive(Serialize)]
struct TuneOutput {
    format: &'static str,
    purpose: TunePurpose,
    reader: SpikeReader,
    best: String,
    mask_toml: String,
    /// Keys of the scenario's [mask] that the best mask has otherwise.
    replaced_toml: String,
    /// Keys of the scenario's [mask] that the best mask's layout does not look at.
    idle_keys: Vec<&'static str>,
    rows: Vec<TuneRow>,
}

#[derive(Serialize)]
struct TuneRow {
    label: String,
    customary: bool,
    /// `null`: hidden.
    focus_nm: Option<f64>,
    coma_nm: Option<f64>,
    merit_nm: Option<f64>,
}

pub fn run(args: &MaskTuneArgs, printer: &Console) -> Result<(), CliError> {
    let scenario = load(&args.scenario)?;
    let path = args.scenario.scenario.clone();
    let design = scenario
        .instrument
        .mask
        .clone()
        .ok_or(SceneError::NoMask)
        .map_err(CliError::of_scene(&path))?;
    let reader = match args.by {
        TuneBy::Eye => SpikeReader::Eye(args.eye_px),
        TuneBy::Measurement
            if scenario.state.star.is_none() || scenario.state.exposure.is_none() =>
        {
            return Err(CliError::of_scene(&path)(SceneError::NoCounts));
        }
        TuneBy::Measurement => SpikeReader::Photons,
    };
    let purpose = match args.purpose {
        TuneFor::Focus => TunePurpose::Focus,
        TuneFor::Coma => TunePurpose::Coma,
        TuneFor::Both => TunePurpose::Both,
    };
    let interrupt = Interrupt::install()?;
    let name = format!("{}.tune.png", stem(&path));
    let mut set = one_file(&args.files, &name)?;
    let settings = args.scenario.settings();
    let mut trials = candidates(&design);
    let progress = Progress::start(printer, "masks", (trials.len() + MORE_TRIALS) as u64);
    let mut judged: Vec<Candidate> = Vec::new();
    let mut refinements = Refinement::ALL.into_iter();
    while !trials.is_empty() {
        for trial in std::mem::take(&mut trials) {
            let job = scenario.clone();
            let done = interrupt
                .or_done(move || judge(&job.instrument, &job.state, reader, trial, settings))?;
            judged.push(done.map_err(|source| CliError::of_scene(&path)(source.into()))?);
            progress.step();
        }
        let best = judged
            .iter()
            .min_by(|a, b| a.merit_nm(purpose).total_cmp(&b.merit_nm(purpose)));
        while let (Some(best), true, Some(what)) = (best, trials.is_empty(), refinements.next()) {
            trials = variations(best, what);
        }
    }
    judged.sort_by(|a, b| a.merit_nm(purpose).total_cmp(&b.merit_nm(purpose)));
    let shown: Vec<Candidate> = chosen(&judged);
    let canvas = picture(&scenario, &shown, settings).map_err(|e| e.into_cli(&path))?;
    set.put(&name, &png::rgb8(&canvas)?)?;
    drop(progress);
    finish(set, &interrupt, printer)?;
    let answer = answer(&judged, purpose, reader, &design);
    printer.answer(words(&answer))?;
    printer.answer_json(&answer)?;
    Ok(())
}

/// The best mask, and with the owner's numbers the customary layouts that better numbers were looked for.
fn chosen(judged: &[Candidate]) -> Vec<Candidate> {
    let searched = SlotLayout::all().filter(|layout| layout.customary && layout.searched);
    let customary = searched.filter_map(|layout| {
        let mut own = judged.iter().filter(|c| c.customary);
        own.find(|c| c.design.layout.slots() == Some(layout))
    });
    judged
        .first()
        .into_iter()
        .chain(customary)
        .cloned()
        .collect()
}

fn answer(
    judged: &[Candidate],
    purpose: TunePurpose,
    reader: SpikeReader,
    own: &MaskDesign,
) -> TuneOutput {
    let known = |v: f64| v.is_finite().then_some(v);
    TuneOutput {
        format: "skewstar-mask-tune/1",
        purpose,
        reader,
        best: judged[0].label.clone(),
        mask_toml: toml_of(&judged[0]),
        replaced_toml: replaced(&judged[0], own),
        idle_keys: idle_keys(&judged[0], own),
        rows: judged
            .iter()
            .map(|c| TuneRow {
                label: c.label.clone(),
                customary: c.customary,
                focus_nm: known(c.focus_nm),
                coma_nm: known(c.coma_nm),
                merit_nm: known(c.merit_nm(purpose)),
            })
            .collect(),
    }
}

/// The keys to put under [mask]: those that the layout looks at.
fn toml_of(candidate: &Candidate) -> String {
    let d = &candidate.design;
    let name = d.layout.name();
    let looks_at = |key| name.use_of(key) != KeyUse::Idle;
    let two = d.layout.slots().is_some_and(SlotLayout::has_two_pitches);
    let pitches: Vec<String> = d
        .slot_pitch_m
        .iter()
        .map(|p| format!("{:.3}", p / MM))
        .collect();
    let pitch = if two && pitches.len() > 1 {
        format!("[{}]", pitches.join(", "))
    } else {
        pitches[0].clone()
    };
    let mut out = format!(
        "layout = \"{}\"\nslot_pitch_mm = {pitch}\nopen_fraction = {}\n",
        name.word(),
        d.open_fraction
    );
    if looks_at(LayoutKey::Slant) {
        out.push_str(&format!("slant_deg = {:.1}\n", d.slant_rad / DEG));
    }
    if let Some(zone) = d.zone_radius_m.filter(|_| looks_at(LayoutKey::ZoneRadius)) {
        out.push_str(&format!("zone_radius_mm = {:.2}\n", zone / MM));
    }
    out
}

/// The keys that the scenario's layout may have and the best one does not look at.
fn idle_keys(best: &Candidate, own: &MaskDesign) -> Vec<&'static str> {
    let idle = |layout: &MaskLayout, key| layout.name().use_of(key) == KeyUse::Idle;
    LayoutKey::ALL
        .into_iter()
        .filter(|key| idle(&best.design.layout, *key) && !idle(&own.layout, *key))
        .map(LayoutKey::word)
        .collect()
}

/// The keys of the scenario's [mask] that are to be changed.
fn replaced(best: &Candidate, own: &MaskDesign) -> String {
    let d = &best.design;
    let mut out = String::new();
    if d.sense != own.sense && d.layout.name().use_of(LayoutKey::Sense) != KeyUse::Idle {
        out.push_str(&format!("sense = {:.0}\n", d.sense));
    }
    for (key, now, before) in [
        ("outer_rim_mm", d.outer_rim_m, own.outer_rim_m),
        ("inner_rim_mm", d.inner_rim_m, own.inner_rim_m),
    ] {
        if now != before {
            out.push_str(&format!("{key} = {:.2}\n", now / MM));
        }
    }
    out
}

fn words(answer: &TuneOutput) -> String {
    let shown = answer.rows.iter().enumerate();
    let shown: Vec<&TuneRow> = shown
        .filter(|(n, row)| *n < 8 || row.customary)
        .map(|(_, row)| row)
        .collect();
    let longest = shown.iter().map(|row| row.label.chars().count() + 2);
    let wide = longest.max().unwrap_or(0);
    let purpose = match answer.purpose {
        TunePurpose::Focus => "focus",
        TunePurpose::Coma => "coma",
        TunePurpose::Both => "focus and coma",
    };
    let reader = match answer.reader {
        SpikeReader::Eye(px) => format!("an eye that judges {px} px"),
        SpikeReader::Photons => "a measuring program".to_owned(),
    };
    let mut lines = vec![
        format!("Smallest error of {purpose} that {reader} can see, nm RMS, with the best first:"),
        format!("{:<wide$}{:>10}{:>10}", "", "focus", "coma"),
    ];
    let cell = |v: Option<f64>| {
        v.map_or("hidden".to_owned(), |v| {
            if v < 10.0 {
                format!("{v:.2}")
            } else {
                format!("{v:.0}")
            }
        })
    };
    for row in shown {
        let mark = if row.customary { " *" } else { "" };
        lines.push(format!(
            "{:<wide$}{:>10}{:>10}",
            format!("{}{mark}", row.label),
            cell(row.focus_nm),
            cell(row.coma_nm)
        ));
    }
    lines.push("* customary layout with your numbers; hidden: not seen at all, or spikes of one pitch part without saying which way".into());
    let best = |of: &dyn Fn(&TuneRow) -> Option<f64>, customary: bool| {
        answer
            .rows
            .iter()
            .filter(|r| r.customary == customary)
            .filter_map(of)
            .reduce(f64::min)
    };
    for (name, of) in [
        (
            "focus",
            (&|r: &TuneRow| r.focus_nm) as &dyn Fn(&TuneRow) -> Option<f64>,
        ),
        ("coma", &|r: &TuneRow| r.coma_nm),
    ] {
        if let (Some(old), Some(new)) = (best(of, true), best(of, false))
            && old <= new
        {
            lines.push(format!("For {name} alone a customary layout is as good as or better than anything found: {old:.1} against {new:.1} nm."));
        }
    }
    lines.push(format!(
        "Best: {}. In [mask], in place of the same keys:\n{}",
        answer.best, answer.mask_toml
    ));
    if !answer.replaced_toml.is_empty() {
        lines.push(format!("and:\n{}", answer.replaced_toml));
    }
    if !answer.idle_keys.is_empty() {
        lines.push(format!(
            "Take out, where they are there: {}.",
            answer.idle_keys.join(", ")
        ));
    }
    lines.push(super::mask::CAUTIONS.into());
    lines.join("\n")
}

/// Predicting failed, or drawing did.
enum Failed {
    Predict(crate::predict::PredictError),
    Picture(crate::image_io::PictureError),
}

impl Failed {
    fn into_cli(self, path: &std::path::Path) -> CliError {
        match self {
            Failed::Predict(source) => CliError::of_scene(path)(source.into()),
            Failed::Picture(source) => source.into(),
        }
    }
}

/// Rows are the masks, columns the errors.
fn picture(scenario: &Scenario, masks: &[Candidate], settings: Settings) -> Result<Canvas, Failed> {
    const GAP_PX: usize = 16;
    const HEAD_PX: usize = 40;
    let errors = [
        ("no error", 4, 0.0),
        ("focus 100 nm", 4, 100.0),
        ("coma 100 nm", 7, 100.0),
        ("coma 300 nm", 7, 300.0),
    ];
    let camera = &scenario.instrument.camera;
    let magnification = (300 / camera.width_px.max(1)).clamp(1, 4);
    let (wide, high) = (
        camera.width_px * magnification,
        camera.height_px * magnification,
    );
    let width = GAP_PX + errors.len() * (wide + GAP_PX);
    let height = HEAD_PX + masks.len() * (high + HEAD_PX + GAP_PX);
    let mut canvas = Canvas::new(width, height, BLACK).map_err(Failed::Picture)?;
    for (r, mask) in masks.iter().enumerate() {
        let instrument = Instrument {
            mask: Some(mask.design.clone()),
            ..scenario.instrument.clone()
        };
        let bottom = height - HEAD_PX - (r + 1) * (high + HEAD_PX + GAP_PX) + GAP_PX;
        put(
            &mut canvas,
            [GAP_PX, bottom + high + HEAD_PX / 2],
            &mask.label,
            Anchor::Left,
            PALE,
        );
        let mut stretch = None;
        for (c, (words, noll, nm)) in errors.iter().enumerate() {
            let modes: Modes = [(*noll, nm * NM)].into_iter().collect();
            let state = State {
                mask_on: true,
                sensor_offset_m: 0.0,
                modes,
                ..scenario.state.clone()
            };
            let model = Model::new(&instrument, &state, settings).map_err(Failed::Predict)?;
            let image = Expected::new(&model, &instrument, &state, settings)
                .map_err(Failed::Predict)?
                .image;
            let stretch = *stretch.get_or_insert_with(|| Stretch::of(&image));
            let left = GAP_PX + c * (wide + GAP_PX);
            let view = canvas.gray(&display(&image, &stretch), [left, bottom], magnification);
            canvas.edge(&view, EDGE);
            if r == 0 {
                put(
                    &mut canvas,
                    [left + wide / 2, height - HEAD_PX / 2],
                    words,
                    Anchor::Centre,
                    AMBER,
                );
            }
        }
    }
    Ok(canvas)
}
