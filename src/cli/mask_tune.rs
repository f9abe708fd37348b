//! `mask tune`: better numbers, beside the customary layouts, in one table and one picture.

use super::args::{MaskTuneArgs, TuneBy, TuneFor};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::mask_preview::put;
use super::progress::Progress;
use super::{finish, one_file, scene, stem};
use crate::image_io::canvas::{AMBER, Anchor, BLACK, Canvas, EDGE, PALE};
use crate::image_io::stretch::{Stretch, display};
use crate::image_io::{PictureError, png};
use crate::instrument::{KeyUse, LayoutKey, MaskDesign, MaskLayout, SlotLayout};
use crate::preview::check::MASK_CAUTIONS;
use crate::preview::search::{Candidate, SpikeReader, TunePurpose};
use crate::scene::{SceneError, ShownError, TuneOptions};
use crate::units::{DEG, MM};
use ndarray::Array2;
use serde::Serialize;

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
    let (judged, stars) = interrupt
        .or_done(move || -> Result<_, SceneError> {
            let judged = scene.mask_tune(&options, &|| progress.step())?;
            let shown = chosen(&judged).into_iter();
            let stars = shown.map(|mask| Ok((mask.label.clone(), scene.behind(&mask)?)));
            let stars = stars.collect::<Result<Vec<MaskRow>, SceneError>>()?;
            Ok((judged, stars))
        })?
        .map_err(&refused)?;
    set.put(&name, &png::rgb8(&picture(&stars)?)?)?;
    finish(set, &interrupt, console)?;
    let answer = answer(&judged, purpose, reader, &design);
    console.answer(words(&answer))?;
    console.answer_json(&answer)?;
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
    lines.push(MASK_CAUTIONS.into());
    lines.join("\n")
}

/// A mask's label and its stars with each error.
type MaskRow = (String, Vec<Array2<f64>>);

/// Rows are the masks, columns the errors. A row has the stretch of its first star, so that what an error takes away is seen.
fn picture(masks: &[MaskRow]) -> Result<Canvas, PictureError> {
    const GAP_PX: usize = 16;
    const HEAD_PX: usize = 40;
    let (rows, columns) = masks[0].1[0].dim();
    let magnification = (300 / columns.max(1)).clamp(1, 4);
    let (wide, high) = (columns * magnification, rows * magnification);
    let width = GAP_PX + ShownError::ALL.len() * (wide + GAP_PX);
    let height = HEAD_PX + masks.len() * (high + HEAD_PX + GAP_PX);
    let mut canvas = Canvas::new(width, height, BLACK)?;
    let left = |column: usize| GAP_PX + column * (wide + GAP_PX);
    for (row, (label, stars)) in masks.iter().enumerate() {
        let bottom = height - HEAD_PX - (row + 1) * (high + HEAD_PX + GAP_PX) + GAP_PX;
        let above = [GAP_PX, bottom + high + HEAD_PX / 2];
        put(&mut canvas, above, label, Anchor::Left, PALE);
        let stretch = Stretch::of(&stars[0]);
        for (column, star) in stars.iter().enumerate() {
            let corner = [left(column), bottom];
            let view = canvas.gray(&display(star, &stretch), corner, magnification);
            canvas.edge(&view, EDGE);
        }
    }
    for (column, error) in ShownError::ALL.iter().enumerate() {
        let place = [left(column) + wide / 2, height - HEAD_PX / 2];
        put(&mut canvas, place, error.caption, Anchor::Centre, AMBER);
    }
    Ok(canvas)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::preview::search::candidates;
    use crate::scenario;
    use crate::testing;

    /// What is printed for a candidate is the mask that was judged, of whatever layout: read back, its slots are the same.
    #[test]
    fn the_keys_of_every_candidate_read_as_its_own_mask() {
        let own = testing::mask(MaskLayout::TWO_ZONE);
        for (label, customary, design) in candidates(&own) {
            let candidate = Candidate {
                label,
                customary,
                design,
                focus_nm: 1.0,
                coma_nm: 1.0,
            };
            let text = format!(
                "format = 1\ntitle = \"Tuned\"\ntelescope = {{ aperture_mm = 190, focal_length_mm = 456 }}\n\
                 camera = {{ pixel_um = 3.8, width_px = 64, height_px = 60, passband_nm = [480, 620] }}\n\
                 [mask]\n{}outer_diameter_mm = 188\ninner_diameter_mm = 84\nouter_rim_mm = 4\ninner_rim_mm = 3\n\
                 rib_mm = 2\nthickness_mm = 2.4\n",
                toml_of(&candidate)
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
