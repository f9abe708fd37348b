//! `learn`: from frames before and after trial turns to the telescope's own response, as a file that `measure` reads.

use super::args::{LearnArgs, Switch};
use super::cards::TypedCards;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::progress::Progress;
use super::{finish, image_of, one_file, stem};
use crate::files;
use crate::flag::{Flag, Flags};
use crate::instrument::{Instrument, read_turns, turn_in_words};
use crate::measure::learn::{
    LearnError, LearnedResponse, Lesson, Sighting, ToldTurn, TrialTurn, learn,
};
use crate::measure::{MeasureError, MeasureOptions, NM_RMS_IN_WORDS, Picture, Side, measure};
use crate::units::{ARCMIN, DEG, NM, UM};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why nothing was learned.
#[derive(Debug, Error)]
pub enum NotLearned {
    /// A trial that does not read as one.
    #[error("--trial {typed} is {reason}, but must be BEFORE,AFTER,SCREW=TURNS")]
    TrialTurn {
        /// What was typed.
        typed: String,
        /// What is wrong with it.
        reason: &'static str,
    },
    /// A card without the frame that shows it.
    #[error("--card-at {screw} names no image")]
    CardWithoutImage {
        /// The screw.
        screw: String,
    },
    /// A card that is not seen.
    #[error("--card-at: {0}")]
    Card(MeasureError),
    /// A star that cannot be measured.
    #[error("{}: {source}", path.display())]
    Measure {
        /// The frame.
        path: PathBuf,
        /// Why.
        source: MeasureError,
    },
    /// A star that was measured, but whose numbers cannot be trusted.
    #[error("{}: the star cannot be trusted ({})", path.display(), unsound(flags))]
    Unsound {
        /// The frame.
        path: PathBuf,
        /// Its flags.
        flags: Flags,
    },
    /// Two frames of different cuts: how far the star moved is not known.
    #[error("{} and {} have different sizes", paths[0].display(), paths[1].display())]
    Sizes {
        /// The frames.
        paths: [PathBuf; 2],
    },
    /// The trials teach nothing.
    #[error("{}: {source}", path.display())]
    Learn {
        /// The scenario.
        path: PathBuf,
        /// Why.
        source: LearnError,
    },
}

impl NotLearned {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            NotLearned::TrialTurn { .. } => "for example --trial before.fits,after.fits,A=0.125",
            NotLearned::CardWithoutImage { .. } => {
                "name the frame that shows the card, for example --card-at A=card.fits"
            }
            NotLearned::Card(source) | NotLearned::Measure { source, .. } => source.hint(),
            NotLearned::Unsound { flags, .. } => {
                let first = flags.first_unsound().unwrap_or(Flag::ComaUncertain);
                first.remedy()
            }
            NotLearned::Sizes { .. } => "use frames of one size, cut at the same place",
            NotLearned::Learn { source, .. } => source.hint(),
        }
    }

    /// 1 where all was read and measured, but the result is of no use; else 2.
    pub fn exit_status(&self) -> i32 {
        match self {
            NotLearned::Unsound { .. }
            | NotLearned::Learn {
                source: LearnError::NoChange { .. } | LearnError::Contradiction { .. },
                ..
            } => 1,
            _ => 2,
        }
    }
}

/// The names of the flags that say "do not act on it".
fn unsound(flags: &Flags) -> String {
    let unsound = flags.iter().filter(|flag| !flag.is_sound());
    unsound.map(Flag::name).collect::<Vec<&str>>().join(", ")
}

/// Learns, and writes STEM.response.toml.
pub fn run(args: &LearnArgs, console: &Console) -> Result<(), CliError> {
    let path = &args.instrument;
    let scenario = files::scenario(path, &args.set)?;
    let instrument = scenario.instrument;
    let typed: Vec<TypedTrial> = args
        .trial
        .iter()
        .map(|t| TypedTrial::read(t))
        .collect::<Result<_, _>>()?;
    let frames = open_frames(&typed, &instrument, console)?;
    let cards = TypedCards::read(&args.card_at, &instrument, console)?;
    if let Some(screw) = cards.without_image() {
        let screw = screw.to_owned();
        return Err(NotLearned::CardWithoutImage { screw }.into());
    }
    let interrupt = Interrupt::install()?;
    let name = format!("{}.response.toml", stem(path));
    let mut set = one_file(&args.files, &name)?;
    let options = MeasureOptions {
        mask_on: args.mask.map(|switch| switch == Switch::On),
        side: args.side.map(Side::from),
        portable: args.portable,
        ..MeasureOptions::default()
    };
    let shown = Progress::start(console, "frames", frames.len() as u64);
    // cards are held before anything is turned
    let first = typed.first().map(|trial| trial.frames[0].clone());
    let job = (instrument.clone(), frames);
    let (seen, cards, by_header) = interrupt.or_done(move || {
        let (instrument, frames) = &job;
        let seen = sightings(instrument, frames, &options, &|| shown.step());
        let mirrors = |picture: &Picture| picture.camera_mirrors(&instrument.telescope);
        let by_header = frames.values().find_map(mirrors);
        let clear = first.and_then(|path| frames.get(&path));
        let cards = clear.map_or(Ok(Vec::new()), |clear| {
            cards.seen(clear, instrument, &options)
        });
        (seen, cards, by_header)
    })?;
    let trials = usable_trials(&typed, seen, console)?;
    let lesson = Lesson {
        trials: &trials,
        cards: &cards?,
        by_header,
    };
    let learned =
        learn(&instrument, &lesson, &options.settings).map_err(|source| NotLearned::Learn {
            path: path.clone(),
            source,
        })?;
    set.put(&name, learned.to_toml().as_bytes())?;
    finish(set, &interrupt, console)?;
    console.answer(sentences(&learned, &instrument))?;
    console.answer_json(&learned.report())?;
    Ok(())
}

/// `BEFORE,AFTER,A=0.125`.
struct TypedTrial {
    frames: [PathBuf; 2],
    screw: String,
    turns: f64,
}

impl TypedTrial {
    fn read(typed: &str) -> Result<TypedTrial, NotLearned> {
        let refuse = |reason| NotLearned::TrialTurn {
            typed: typed.into(),
            reason,
        };
        let parts: Vec<&str> = typed.split(',').map(str::trim).collect();
        let [before, after, turn] = parts[..] else {
            return Err(refuse("not three parts with commas between"));
        };
        if before.is_empty() || after.is_empty() {
            return Err(refuse("without the name of a frame"));
        }
        let (screw, turns) = turn
            .split_once('=')
            .ok_or_else(|| refuse("without a turn"))?;
        Ok(TypedTrial {
            frames: [before.into(), after.into()],
            screw: screw.trim().into(),
            turns: read_turns(turns).ok_or_else(|| refuse("a turn that is no number"))?,
        })
    }

    /// `None` where one of its frames could not be measured.
    fn trial(&self, seen: &BTreeMap<PathBuf, Sighting>) -> Option<TrialTurn> {
        let [before, after] = [0, 1].map(|i| seen.get(&self.frames[i]).copied());
        Some(TrialTurn {
            screw: self.screw.clone(),
            turns: self.turns,
            before: before?,
            after: after?,
        })
    }
}

/// The trials whose frames could both be measured. A frame that could not be is said and its trials are left out; where no trial is
/// left, it is the error.
fn usable_trials(
    typed: &[TypedTrial],
    seen: BTreeMap<PathBuf, Result<Sighting, NotLearned>>,
    console: &Console,
) -> Result<Vec<TrialTurn>, NotLearned> {
    let (mut good, mut bad) = (BTreeMap::new(), Vec::new());
    for (path, sighting) in seen {
        match sighting {
            Ok(sighting) => {
                good.insert(path, sighting);
            }
            Err(error) => bad.push(error),
        }
    }
    let trials: Vec<TrialTurn> = typed.iter().filter_map(|t| t.trial(&good)).collect();
    if trials.is_empty() && !bad.is_empty() {
        return Err(bad.swap_remove(0));
    }
    for error in bad {
        console.warning(format!(
            "{error}; its trials are left out: {}",
            error.hint()
        ));
    }
    Ok(trials)
}

/// Reads every frame once, however many trials name it.
fn open_frames(
    trials: &[TypedTrial],
    instrument: &Instrument,
    console: &Console,
) -> Result<BTreeMap<PathBuf, Picture>, CliError> {
    let mut frames = BTreeMap::new();
    for path in trials.iter().flat_map(|trial| &trial.frames) {
        if frames.contains_key(path) {
            continue;
        }
        let (picture, flags) = image_of(path, instrument, console)?;
        for flag in &flags {
            console.warning(format!("{}: {}", path.display(), flag.warning()));
        }
        frames.insert(path.clone(), picture);
    }
    for trial in trials {
        let [before, after] = [0, 1].map(|i| frames[&trial.frames[i]].values_adu.dim());
        if before != after {
            let paths = trial.frames.clone();
            return Err(NotLearned::Sizes { paths }.into());
        }
    }
    Ok(frames)
}

/// Measures every frame; what could not be measured says why.
fn sightings(
    instrument: &Instrument,
    frames: &BTreeMap<PathBuf, Picture>,
    options: &MeasureOptions,
    step: &dyn Fn(),
) -> BTreeMap<PathBuf, Result<Sighting, NotLearned>> {
    let mut seen = BTreeMap::new();
    for (path, picture) in frames {
        seen.insert(path.clone(), sighting(instrument, path, picture, options));
        step();
    }
    seen
}

fn sighting(
    instrument: &Instrument,
    path: &Path,
    picture: &Picture,
    options: &MeasureOptions,
) -> Result<Sighting, NotLearned> {
    let measured = measure(picture, instrument, options).map_err(|source| NotLearned::Measure {
        path: path.to_owned(),
        source,
    })?;
    let refuse = |flags: Flags| NotLearned::Unsound {
        path: path.to_owned(),
        flags,
    };
    if !measured.is_sound() {
        return Err(refuse(measured.flags));
    }
    Sighting::of(&measured).ok_or_else(|| refuse(Flags::from([Flag::ComaUncertain])))
}

/// What was learned, for a person.
fn sentences(learned: &LearnedResponse, instrument: &Instrument) -> String {
    let per_arcmin = |m_per_rad: f64| m_per_rad * ARCMIN / NM;
    let coma = learned.coma_m_per_rad;
    let sigma = |s: Option<f64>| s.unwrap_or(0.0);
    let mut lines = vec![format!(
        "Tipping the unit by an arcminute (a sixtieth of a degree) makes {:.0} ± {:.0} nm RMS of coma; {NM_RMS_IN_WORDS}.",
        per_arcmin(coma.value),
        per_arcmin(sigma(coma.sigma)).max(1.0)
    )];
    if let Some(shift) = learned.image_shift_m_per_rad {
        lines.push(format!(
            "It moves the star by {:.0} ± {:.0} um on the sensor.",
            shift.value * ARCMIN / UM,
            (sigma(shift.sigma) * ARCMIN / UM).max(1.0)
        ));
    }
    let mirroring = |mirrored| if mirrored { "mirrored" } else { "not mirrored" };
    lines.push(format!(
        "The camera is turned by {:.0} ± {:.0} degrees and {}; in your file it was {:.0} degrees and {}.",
        learned.rotation_rad.value / DEG,
        (sigma(learned.rotation_rad.sigma) / DEG).max(1.0),
        mirroring(learned.mirrored),
        instrument.camera.rotation_rad / DEG,
        mirroring(instrument.camera.mirrored),
    ));
    for screw in &learned.screws {
        const EIGHTH: f64 = 1.0 / 8.0;
        lines.push(format!(
            "1/8 turn of {} changes coma by {:.0} ± {:.0} nm.",
            screw.name,
            EIGHTH * screw.coma_per_turn.size_nm().value,
            (EIGHTH * sigma(screw.coma_per_turn.sigma_per_axis_m()) / NM).max(1.0)
        ));
    }
    let last = learned.trials.last();
    lines.extend(
        last.filter(|told| told.grew_m().is_some())
            .map(grew_in_words),
    );
    let open = learned.flags.iter();
    lines.extend(open.map(|flag| format!("{} {}", flag.meaning(), flag.remedy())));
    lines.push("Now measure the last frame again with --response and the file that was written: the turn that it names is then by what your screws did. What a turn does to the focus was not learned; refocus as the ring tells.".into());
    lines.join("\n")
}

/// "The last turn, of B by 45 degrees (1/8 turn), made coma grow from 143 to 251 nm: turn B the other way."
fn grew_in_words(told: &ToldTurn) -> String {
    let size_nm = |[x, y]: [f64; 2]| x.hypot(y) / NM;
    format!(
        "The last turn, of {} by {}, made coma grow from {:.0} to {:.0} nm: turn {} the other way.",
        told.screw,
        turn_in_words(told.turns),
        size_nm(told.before_m),
        size_nm(told.after_m),
        told.screw
    )
}
