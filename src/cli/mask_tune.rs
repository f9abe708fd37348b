//! `mask tune`: better numbers, beside the customary layouts, in one table and one picture.

use super::args::{MaskTuneArgs, TuneBy, TuneFor};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::mask_picture;
use super::mask_preview::{condition_lines, error_words, nanometres};
use super::progress::Progress;
use super::{finish, one_file, scene, stem};
use crate::image_io::png;
use crate::instrument::{KeyUse, LayoutKey, MaskDesign, MaskLayout, SlotLayout};
use crate::preview::check::MASK_CAUTIONS;
use crate::preview::search::{Candidate, SpikeReader, TIE, TunePurpose};
use crate::preview::visible::panels::Panel;
use crate::preview::visible::{Sees, ViewingConditions};
use crate::scene::{SceneError, TuneOptions, Tuned};
use crate::units::{DEG, MM};
use serde::Serialize;
use serde_json::{Map, Value, json};

#[derive(Serialize)]
struct TuneOutput {
    format: &'static str,
    purpose: TunePurpose,
    reader: SpikeReader,
    /// All masks that are as good as the best one, better first; empty where none shows what it is for.
    best: Vec<TunedMask>,
    /// Whether no mask that was found is better than the best customary one with the owner's numbers.
    customary_is_as_good: bool,
    /// Merits nearer to each other than this fraction are not ranked.
    tie: f64,
    conditions: Option<ViewingConditions>,
    rows: Vec<TuneRow>,
}

#[derive(Serialize)]
struct TunedMask {
    label: String,
    customary: bool,
    /// Keys and values for `--set`; `null` takes a key out.
    set: Map<String, Value>,
    sees: Vec<Sees>,
    mask_toml: String,
    /// Keys of the scenario's [mask] that this mask's layout does not look at.
    idle_keys: Vec<&'static str>,
}

#[derive(Serialize)]
struct TuneRow {
    label: String,
    customary: bool,
    /// `null`: hidden, or not asked for.
    focus_nm: Option<f64>,
    coma_nm: Option<f64>,
    merit_nm: Option<f64>,
}

pub fn run(args: &MaskTuneArgs, console: &Console) -> Result<(), CliError> {
    let scene = scene(&args.scenario)?;
    let path = args.scenario.scenario.clone();
    let refused = CliError::of_scene(&path);
    let reader = match args.by {
        TuneBy::Eye => SpikeReader::Eye(args.eye_px),
        TuneBy::Measurement => SpikeReader::Photons,
    };
    let purpose = match args.purpose {
        TuneFor::Focus => TunePurpose::Focus,
        TuneFor::Coma => TunePurpose::Coma,
        TuneFor::Both => TunePurpose::Both,
    };
    let count = scene.masks_to_judge().map_err(&refused)?;
    let Some(design) = scene.instrument().mask.clone() else {
        return Err(refused(SceneError::NoMask));
    };
    if reader == SpikeReader::Photons && !scene.gives_counts() {
        return Err(refused(SceneError::NoCounts));
    }
    let interrupt = Interrupt::install()?;
    let name = format!("{}.tune.png", stem(&path));
    let mut set = one_file(&args.files, &name)?;
    let progress = Progress::start(console, "masks", count as u64);
    let options = TuneOptions { purpose, reader };
    let (tuned, stars) = interrupt
        .or_done(move || -> Result<_, SceneError> {
            let tuned = scene.mask_tune(&options, &|| progress.step())?;
            let shown = chosen(&tuned).into_iter();
            let stars = shown.map(|mask| Ok((mask.label.clone(), scene.behind(&mask)?)));
            let stars = stars.collect::<Result<Vec<(String, Vec<Panel>)>, SceneError>>()?;
            Ok((tuned, stars))
        })?
        .map_err(&refused)?;
    set.put(&name, &png::rgb8(&mask_picture::masks(&stars)?)?)?;
    finish(set, &interrupt, console)?;
    let answer = answer(&tuned, purpose, reader, &design);
    console.answer(words(&answer))?;
    console.answer_json(&answer)?;
    Ok(())
}

/// The best mask, and the best customary one where that is another.
fn chosen(tuned: &Tuned) -> Vec<Candidate> {
    let best = tuned.best.first().or(tuned.judged.first());
    let customary = tuned.judged.iter().find(|c| c.customary);
    let mut list: Vec<Candidate> = best.into_iter().chain(customary).cloned().collect();
    list.dedup_by(|a, b| a.label == b.label);
    list
}

fn answer(
    tuned: &Tuned,
    purpose: TunePurpose,
    reader: SpikeReader,
    own: &MaskDesign,
) -> TuneOutput {
    let known = |v: f64| v.is_finite().then_some(v);
    let mask = |candidate: &Candidate| TunedMask {
        label: candidate.label.clone(),
        customary: candidate.customary,
        set: set_of(candidate, own),
        sees: candidate.sees.clone(),
        mask_toml: toml_of(candidate) + &replaced(candidate, own),
        idle_keys: idle_keys(candidate, own),
    };
    TuneOutput {
        format: "skewstar-mask-tune/1",
        purpose,
        reader,
        best: tuned.best.iter().map(mask).collect(),
        customary_is_as_good: tuned.best.iter().any(|c| c.customary),
        tie: TIE,
        conditions: tuned.conditions.clone(),
        rows: tuned
            .judged
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

/// Millimetres to the micrometre, as they are printed in the TOML too.
fn mm(value_m: f64) -> Value {
    json!((value_m / MM * 1000.0).round() / 1000.0)
}

/// Keys and values for `--set`: what the layout looks at, the rims, and `null` for what it does not look at and the scenario has.
fn set_of(candidate: &Candidate, own: &MaskDesign) -> Map<String, Value> {
    let d = &candidate.design;
    let name = d.layout.name();
    let two = d.layout.slots().is_some_and(SlotLayout::has_two_pitches);
    let pitch = if two && d.slot_pitch_m.len() > 1 {
        d.slot_pitch_m.iter().map(|p| mm(*p)).collect()
    } else {
        mm(d.slot_pitch_m[0])
    };
    let mut set = Map::new();
    let mut put = |key: &str, value: Value| {
        set.insert(format!("mask.{key}"), value);
    };
    put("layout", json!(name.word()));
    put("slot_pitch_mm", pitch);
    put("open_fraction", json!(d.open_fraction));
    if name.use_of(LayoutKey::Slant) == KeyUse::Needed {
        put(
            "slant_deg",
            json!((d.slant_rad / DEG * 10.0).round() / 10.0),
        );
    }
    if name.use_of(LayoutKey::ZoneRadius) == KeyUse::Needed
        && let Some(zone_m) = d.zone_radius_m
    {
        put("zone_radius_mm", mm(zone_m));
    }
    put("outer_rim_mm", mm(d.outer_rim_m));
    put("inner_rim_mm", mm(d.inner_rim_m));
    for key in idle_keys(candidate, own) {
        let there = match own.layout {
            _ if key == LayoutKey::ZoneRadius.word() => own.zone_radius_m.is_some(),
            MaskLayout::Drawing(_) => key == LayoutKey::Drawing.word(),
            MaskLayout::Holes(_) => key == LayoutKey::Holes.word(),
            MaskLayout::Regions(_) => key == LayoutKey::Regions.word(),
            MaskLayout::Slots(_) => false,
        };
        if there {
            put(key, Value::Null);
        }
    }
    set
}

/// The keys to put under [mask]: those that the layout looks at.
fn toml_of(candidate: &Candidate) -> String {
    let d = &candidate.design;
    let name = d.layout.name();
    let two = d.layout.slots().is_some_and(SlotLayout::has_two_pitches);
    let zoned = d.layout.slots().is_some_and(SlotLayout::has_zones);
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
    if name.use_of(LayoutKey::Slant) == KeyUse::Needed {
        out.push_str(&format!("slant_deg = {:.1}\n", d.slant_rad / DEG));
    }
    if let Some(zone) = d.zone_radius_m.filter(|_| zoned) {
        out.push_str(&format!("zone_radius_mm = {:.2}\n", zone / MM));
    }
    out
}

/// The keys that the scenario's layout may have and that are refused with the best one.
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
    if d.sense != own.sense {
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
        format!("Smallest error of {purpose} that {reader} can see in the picture, nm RMS:"),
        format!("{:<wide$}{:>10}{:>10}", "", "focus", "coma"),
    ];
    let asked = |v: Option<f64>, error: bool| match (v, error) {
        (_, false) => "-".to_owned(),
        (None, true) => "hidden".to_owned(),
        (Some(v), true) => format!("{v:.1}"),
    };
    for row in shown {
        let mark = if row.customary { " *" } else { "" };
        lines.push(format!(
            "{:<wide$}{:>10}{:>10}",
            format!("{}{mark}", row.label),
            asked(row.focus_nm, answer.purpose != TunePurpose::Coma),
            asked(row.coma_nm, answer.purpose != TunePurpose::Focus)
        ));
    }
    lines.push("* customary layout with your numbers; hidden: its spikes do not stand out, move together, or part without saying which way".into());
    lines.extend(answer.conditions.iter().flat_map(condition_lines));
    let Some(best) = answer.best.first() else {
        lines.push(format!("No mask that can be printed shows {purpose} under these conditions: try `--for focus` or `--for coma`, a finer nozzle, or better seeing."));
        lines.push(MASK_CAUTIONS.into());
        return lines.join("\n");
    };
    if answer.best.len() > 1 {
        let labels: Vec<&str> = answer.best.iter().map(|b| b.label.as_str()).collect();
        lines.push(format!(
            "As good as one another, within {:.0} %: {}.",
            100.0 * answer.tie,
            labels.join("; ")
        ));
    }
    if answer.customary_is_as_good {
        lines.push("No better mask than a customary one with your numbers was found.".into());
    }
    lines.push(format!("Best: {}. It shows:", best.label));
    lines.extend(best.sees.iter().map(|row| {
        format!(
            "  {:<21}{:>9}  {}",
            error_words(row),
            nanometres(row.smallest_nm),
            row.why
        )
    }));
    lines.push(format!(
        "In [mask], in place of the same keys:\n{}",
        best.mask_toml
    ));
    if !best.idle_keys.is_empty() {
        lines.push(format!(
            "Take out, where they are there: {}.",
            best.idle_keys.join(", ")
        ));
    }
    lines.push(MASK_CAUTIONS.into());
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::preview::search::candidates;
    use crate::scenario;
    use crate::state::State;
    use crate::testing;

    /// What is printed for a candidate is the mask that was judged, of whatever layout: read back, its slots are the same.
    #[test]
    fn the_keys_of_every_candidate_read_as_its_own_mask() {
        let own = testing::mask(MaskLayout::TWO_ZONE);
        let unit = testing::fast_unit();
        for (label, customary, design) in candidates(&unit, &State::default(), &own) {
            let candidate = Candidate {
                label,
                customary,
                design,
                sees: Vec::new(),
                focus_nm: 1.0,
                coma_nm: 1.0,
            };
            let text = format!(
                "format = 1\ntitle = \"Tuned\"\ntelescope = {{ aperture_mm = 190, focal_length_mm = 456 }}\n\
                 camera = {{ pixel_um = 3.8, width_px = 64, height_px = 60, passband_nm = [480, 620] }}\n\
                 [mask]\n{}outer_diameter_mm = 188\ninner_diameter_mm = 84\nouter_rim_mm = {}\ninner_rim_mm = {}\n\
                 rib_mm = 2\nthickness_mm = 2.4\n",
                toml_of(&candidate),
                candidate.design.outer_rim_m / MM,
                candidate.design.inner_rim_m / MM
            );
            let read = scenario::read(&text, "tuned", &[])
                .unwrap_or_else(|error| panic!("{}: {error}", candidate.label));
            let [found, wanted] = [read.instrument.mask.unwrap(), candidate.design.clone()];
            assert_eq!(found.layout, wanted.layout, "{}", candidate.label);
            let [found, wanted] = [&found, &wanted].map(crate::mask::regions);
            assert_eq!(found.len(), wanted.len(), "{}", candidate.label);
            for (a, b) in found.iter().zip(&wanted) {
                // two decimals of a millimetre are printed for the border, three for a pitch
                let off_m = (0..2).map(|side| (a.radius_m[side] - b.radius_m[side]).abs());
                assert!(
                    off_m.fold(0.0, f64::max) < 0.0051 * MM,
                    "{}",
                    candidate.label
                );
                assert!(
                    (a.pitch_m - b.pitch_m).abs() < 0.00051 * MM,
                    "{}",
                    candidate.label
                );
                assert!(
                    (a.slot_rad - b.slot_rad).abs() < 0.051 * DEG,
                    "{}",
                    candidate.label
                );
                assert_eq!(a.open_fraction, b.open_fraction, "{}", candidate.label);
            }
        }
    }

    #[test]
    fn keys_that_the_best_layout_does_not_look_at_are_named() {
        let best = |layout: MaskLayout| Candidate {
            label: String::new(),
            customary: false,
            design: testing::mask(layout),
            sees: Vec::new(),
            focus_nm: 1.0,
            coma_nm: 1.0,
        };
        let two_zone = testing::mask(MaskLayout::TWO_ZONE);
        assert!(idle_keys(&best(MaskLayout::TWO_PITCH), &two_zone).is_empty());
        assert_eq!(
            idle_keys(&best(MaskLayout::THREE_TRIPLET), &two_zone),
            ["zone_radius_mm"]
        );
        // its slots do not lean, but a slant may stay where it is
        assert!(idle_keys(&best(MaskLayout::TANGENT_WEDGES), &two_zone).is_empty());
        let holes = testing::mask(MaskLayout::Holes(vec![]));
        assert_eq!(idle_keys(&best(MaskLayout::TWO_ZONE), &holes), ["holes"]);
    }
}
