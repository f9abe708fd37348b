//! `learn`: from frames before and after trial turns to the telescope's own response. Every frame is measured once; trials with a frame
//! that cannot be trusted are left out and said, as the program does.

use super::input::{Image, OwnImage, Source};
use super::measuring::Told;
use super::output::json;
use super::refusal::Refusal;
use super::work::work;
use pyo3::prelude::*;
use skewstar::flag::{Flag, Flags};
use skewstar::instrument::Instrument;
use skewstar::measure::learn::{Lesson, Sighting, TrialTurn, learn as learn_from};
use skewstar::measure::{MeasureOptions, Picture, measure};

/// A trial: numbers of its frames before and after, the screw, its turns.
type Typed = (usize, usize, String, f64);

/// A frame and its name for messages.
struct Named {
    name: String,
    picture: Picture,
}

/// The record, the text of the response file, and what is to be said about frames.
#[pyfunction]
pub fn learn<'py>(
    py: Python<'py>,
    source: Source,
    frames: Vec<Image<'py>>,
    trials: Vec<Typed>,
    told: Told,
) -> PyResult<(String, String, Vec<String>)> {
    let frames: Vec<OwnImage> = frames.into_iter().map(Image::own).collect();
    Ok(work(
        py,
        move |worker| -> Result<(String, String, Vec<String>), Refusal> {
            let instrument = source.read()?.instrument;
            let options = told.options();
            let mut warnings = Vec::new();
            let frames = read_all(frames, &instrument, &mut warnings)?;
            refuse_sizes(&frames, &trials)?;
            let seen: Vec<Result<Sighting, Refusal>> = worker.compute(|stop| {
                let measured = frames.iter().map(|frame| {
                    stop.end_if_raised();
                    sighting(frame, &instrument, &options)
                });
                measured.collect()
            });
            let trials = usable(&trials, &seen, &mut warnings)?;
            // as the program does, the first file by name that says how the sky lies in it
            let mut by_name: Vec<&Named> = frames.iter().collect();
            by_name.sort_by(|a, b| a.name.cmp(&b.name));
            let mirrors = |frame: &&Named| frame.picture.camera_mirrors(&instrument.telescope);
            let lesson = Lesson {
                trials: &trials,
                cards: &[],
                by_header: by_name.iter().find_map(mirrors),
            };
            let learned = learn_from(&instrument, &lesson, &options.settings).map_err(|error| {
                let name = source.path().display();
                Refusal::new(format!("{name}: {error}"), error.hint())
            })?;
            Ok((json(&learned.report())?, learned.to_toml(), warnings))
        },
    )??)
}

fn read_all(
    frames: Vec<OwnImage>,
    instrument: &Instrument,
    warnings: &mut Vec<String>,
) -> Result<Vec<Named>, Refusal> {
    let mut named = Vec::new();
    for (number, frame) in frames.into_iter().enumerate() {
        let name = frame.name(&format!("frame {number}"));
        let read = frame.read(&name, instrument)?;
        let flags = read.flags.into_iter();
        let of_flags = flags.map(|flag| flag.warning());
        let said = read.warnings.into_iter().chain(of_flags);
        warnings.extend(said.map(|words| format!("{name}: {words}")));
        named.push(Named {
            name,
            picture: read.picture,
        });
    }
    Ok(named)
}

/// Two frames of different cuts: how far the star moved is not known.
fn refuse_sizes(frames: &[Named], trials: &[Typed]) -> Result<(), Refusal> {
    for (before, after, ..) in trials {
        let [before, after] = [*before, *after].map(|number| &frames[number]);
        if before.picture.values_adu.dim() != after.picture.values_adu.dim() {
            return Err(Refusal::new(
                format!("{} and {} have different sizes", before.name, after.name),
                "use frames of one size, cut at the same place",
            ));
        }
    }
    Ok(())
}

fn sighting(
    frame: &Named,
    instrument: &Instrument,
    options: &MeasureOptions,
) -> Result<Sighting, Refusal> {
    let name = &frame.name;
    let measured = measure(&frame.picture, instrument, options)
        .map_err(|error| Refusal::new(format!("{name}: {error}"), error.hint()))?;
    let refuse = |flags: &Flags| {
        let unsound = flags.iter().filter(|flag| !flag.is_sound());
        let names: Vec<&str> = unsound.map(Flag::name).collect();
        let first = flags.first_unsound().unwrap_or(Flag::ComaUncertain);
        Refusal::new(
            format!("{name}: the star cannot be trusted ({})", names.join(", ")),
            first.remedy(),
        )
    };
    if !measured.is_sound() {
        return Err(refuse(&measured.flags));
    }
    Sighting::of(&measured).ok_or_else(|| refuse(&Flags::from([Flag::ComaUncertain])))
}

/// The trials whose frames could both be measured; where none is left, what was wrong with the first frame.
fn usable(
    typed: &[Typed],
    seen: &[Result<Sighting, Refusal>],
    warnings: &mut Vec<String>,
) -> Result<Vec<TrialTurn>, Refusal> {
    let good = |number: usize| seen[number].as_ref().ok().copied();
    let trial = |(before, after, screw, turns): &Typed| {
        Some(TrialTurn {
            screw: screw.clone(),
            turns: *turns,
            before: good(*before)?,
            after: good(*after)?,
        })
    };
    let trials: Vec<TrialTurn> = typed.iter().filter_map(trial).collect();
    let mut bad = seen.iter().filter_map(|sighting| sighting.as_ref().err());
    if trials.is_empty()
        && let Some(first) = bad.next()
    {
        return Err(first.clone());
    }
    warnings.extend(bad.map(|refusal| {
        let (message, hint) = (refusal.message(), refusal.hint().unwrap_or_default());
        format!("{message}; its trials are left out: {hint}")
    }));
    Ok(trials)
}
