//! `measure`: a frame and an instrument in; modes, geometry and turns out.

use super::args::{AimArg, MeasureArgs, SideArg, Switch};
use super::cards::TypedCards;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::measure_picture;
use super::progress::Progress;
use super::{finish, image_of, load, one_file, stem};
use crate::diagnosis::{Diagnosis, DiagnosisError, DiagnosisOptions};
use crate::files;
use crate::flag::Flags;
use crate::image_io::png;
use crate::instrument::{Instrument, wrench_degrees};
use crate::measure::learn::LearnedResponse;
use crate::measure::{Aim, Deed, MeasureOptions, MeasureSettings, Picture, Side, Verdict};

/// Measures the image; `true` where the verdict is not to look again.
pub fn run(args: &MeasureArgs, console: &Console) -> Result<bool, CliError> {
    let scenario = load(&args.scenario_args())?;
    // nothing else of the file is looked at: what is hidden stays hidden
    let typed_s = scenario.state.exposure.as_ref().map(|e| e.time_s);
    let instrument = scenario.instrument;
    let response = args.response.as_ref().map(files::response).transpose()?;
    let interrupt = Interrupt::install()?;
    let name = format!("{}.annotated.png", stem(&args.image));
    let mut set = match args.annotate {
        true => Some(one_file(&args.files, &name)?),
        false => None,
    };
    let frames = Frames::read(args, &instrument, console)?;
    let cards = TypedCards::read(&args.card_at, &instrument, console)?;
    let job = Job {
        frames: frames.clone(),
        instrument,
        response,
        typed_s,
        wanted: Wanted::of(args),
        cards,
    };
    let shown = Progress::waiting(console, "measuring");
    let found = interrupt.or_done(move || job.diagnosis())??;
    drop(shown);
    if let (Some(mut set), Some(star)) = (set.take(), found.star()) {
        let canvas = measure_picture::draw(&frames.first.values_adu, star, &found.as_measured())?;
        set.put(&name, &png::rgb8(&canvas)?)?;
        finish(set, &interrupt, console)?;
    }
    let report = found.report();
    for flag in &report.flags {
        console.warning(flag.warning());
    }
    let mut words = found.words();
    words.extend(learn_next(args, &found));
    console.answer(words.join("\n"))?;
    console.answer_json(&report)?;
    Ok(found.verdict() != Verdict::LookAgain)
}

/// What is typed after a trial turn, so that its frames teach what the screw did.
fn learn_next(args: &MeasureArgs, found: &Diagnosis) -> Option<String> {
    let next = found.next();
    let (screw, turns) = (next.screw?, next.turns?);
    (next.deed == Deed::Trial).then(|| {
        let side = args.side.map_or("", |side| match side {
            SideArg::Inside => " --side inside",
            SideArg::Outside => " --side outside",
        });
        format!(
            "Then take a frame and type: skewstar learn --instrument {}{side} --trial {},THE-NEW-FRAME,{screw}={}deg",
            args.instrument.display(),
            args.image.display(),
            wrench_degrees(turns)
        )
    })
}

/// What is asked for.
struct Wanted {
    measure: MeasureOptions,
    whole_frame: bool,
    corners: bool,
    turned: bool,
    aim: Aim,
}

impl Wanted {
    fn of(args: &MeasureArgs) -> Wanted {
        Wanted {
            measure: MeasureOptions {
                mask_on: args.mask.map(|m| m == Switch::On),
                side: args.side.map(Side::from),
                at_px: args.at,
                temperature_k: args.temperature,
                portable: args.portable,
                camera_unknown: false,
                cards: [None; 2],
                settings: MeasureSettings::default(),
            },
            whole_frame: args.whole_frame,
            corners: args.corners || args.turned.is_some(),
            turned: args.turned.is_some(),
            aim: match args.aim {
                AimArg::Coma => Aim::Coma,
                AimArg::Tilt => Aim::Tilt,
                AimArg::Both => Aim::Both,
            },
        }
    }
}

/// All that a diagnosis is made of, for a thread of its own.
struct Job {
    frames: Frames,
    instrument: Instrument,
    response: Option<LearnedResponse>,
    /// The exposure of the instrument file.
    typed_s: Option<f64>,
    wanted: Wanted,
    cards: TypedCards,
}

impl Job {
    fn diagnosis(&self) -> Result<Diagnosis, DiagnosisError> {
        let options = DiagnosisOptions {
            measure: self.wanted.measure,
            cards: self.cards.frames(),
            second: self.frames.second.as_ref(),
            whole_frame: self.wanted.whole_frame,
            corners: self.wanted.corners,
            turned: self.wanted.turned,
            aim: self.wanted.aim,
            response: self.response.as_ref(),
            exposure_s: self.typed_s,
            flags: self.frames.flags.clone(),
            ..DiagnosisOptions::default()
        };
        Diagnosis::of(&self.frames.first, &self.instrument, &options)
    }
}

/// The images that were named.
#[derive(Clone)]
struct Frames {
    first: Picture,
    second: Option<Picture>,
    flags: Flags,
}

impl Frames {
    fn read(
        args: &MeasureArgs,
        instrument: &Instrument,
        console: &Console,
    ) -> Result<Frames, CliError> {
        if args.whole_frame && args.second.is_some() && args.turned.is_none() {
            return Err(CliError::SecondOfWholeFrame);
        }
        let (first, mut flags) = image_of(&args.image, instrument, console)?;
        let second = match &args.second {
            None => None,
            Some(path) => {
                let (picture, more) = image_of(path, instrument, console)?;
                flags.extend(&more);
                Some(picture)
            }
        };
        Ok(Frames {
            first,
            second,
            flags,
        })
    }
}
