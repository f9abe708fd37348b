//! `measure`: a frame and an instrument in; modes, geometry and turns out.

use super::args::{AimArg, MeasureArgs, Switch};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::learn::NotLearned;
use super::measure_picture;
use super::progress::Progress;
use super::{finish, image_of, load, one_file, scenario_text, stem};
use crate::flag::{Flag, Flags};
use crate::image_io::png;
use crate::instrument::Instrument;
use crate::measure::learn::LearnedResponse;
use crate::measure::{
    Advice, Aim, Findings, GoodEnough, MeasureOptions, MeasureReport, Measurement, Misaligned,
    NoAdvice, Picture, Side, WholeFrame, WholeFrameOptions, advise, findings, good_enough, measure,
    measure_two, steps, whole_frame,
};
use crate::units::{ARCMIN, ARCSEC};

/// Seeing for the stop rule where no star was measured.
const COMMON_SEEING_RAD: f64 = 2.0 * ARCSEC;

/// Measures the image; returns whether the result is sound.
pub fn run(args: &MeasureArgs, printer: &Console) -> Result<bool, CliError> {
    let scenario = load(&args.scenario_args())?;
    let mut instrument = scenario.instrument;
    let lacking = lay_over(args, &mut instrument)?;
    let interrupt = Interrupt::install()?;
    let name = format!("{}.annotated.png", stem(&args.image));
    let mut set = match args.annotate {
        true => Some(one_file(&args.files, &name)?),
        false => None,
    };
    let mut frames = Frames::read(args, &instrument, printer)?;
    frames.flags.extend(&lacking);
    // nothing else of the file is looked at: what is hidden stays hidden
    let typed_s = scenario.state.exposure.as_ref().map(|e| e.time_s);
    let exposure_s = typed_s.or(frames.first.exposure_s);
    let shown = Progress::waiting(printer, "measuring");
    let job = (frames.clone(), instrument.clone(), Wanted::of(args));
    let seen = interrupt.or_done(move || look(&job.0, &job.1, &job.2))??;
    drop(shown);
    let stop = stop_rule(&instrument, seen.star.as_ref(), exposure_s);
    // with it the wrong screws might be named
    let mirror_open = frames.flags.has(Flag::ResponseMirrorOpen);
    let advice = match mirror_open {
        true => Err(NoAdvice::MirrorOpen),
        false => seen.advice(&instrument, args),
    };
    let found = Findings {
        star: seen.star.as_ref(),
        whole_frame: seen.whole.as_ref(),
        stop: Some(stop),
        advice: advice.as_ref().map_err(|no| *no),
        exposure_s,
        flags: &frames.flags,
    };
    let report = MeasureReport::new(&found, &instrument);
    if let (Some(set), Some(star)) = (&mut set, &seen.star) {
        let canvas = measure_picture::draw(&frames.first.values_adu, star, &instrument)?;
        set.put(&name, &png::rgb8(&canvas)?)?;
    }
    if let Some(set) = set.filter(|_| seen.star.is_some()) {
        finish(set, &interrupt, printer)?;
    }
    for flag in &report.flags {
        printer.warning(flag.warning());
    }
    printer.answer(seen.sentences(&instrument, &stop, &advice, report.sound))?;
    printer.answer_json(&report)?;
    Ok(report.sound)
}

/// Lays a learned response over what was typed; returns flags of what is still unknown.
fn lay_over(args: &MeasureArgs, instrument: &mut Instrument) -> Result<Flags, CliError> {
    let Some(path) = &args.response else {
        return Ok(Flags::default());
    };
    let text = scenario_text(path)?;
    let learned = LearnedResponse::read(&text, &path.display().to_string())?;
    let lacking = learned
        .apply(instrument)
        .map_err(|source| NotLearned::Learn {
            path: path.clone(),
            source,
        })?;
    Ok(lacking)
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
        printer: &Console,
    ) -> Result<Frames, CliError> {
        let (first, mut flags) = image_of(&args.image, instrument, printer)?;
        let second = match &args.second {
            None => None,
            Some(path) => {
                let (shot, more) = image_of(path, instrument, printer)?;
                flags.extend(&more);
                Some(shot)
            }
        };
        Ok(Frames {
            first,
            second,
            flags,
        })
    }
}

/// What is to be measured.
struct Wanted {
    options: MeasureOptions,
    whole_frame: bool,
}

impl Wanted {
    fn of(args: &MeasureArgs) -> Wanted {
        Wanted {
            options: MeasureOptions {
                mask_on: args.mask.map(|m| m == Switch::On),
                side: args.side.map(Side::from),
                at_px: args.at,
                temperature_k: args.temperature,
                portable: args.portable,
            },
            whole_frame: args.whole_frame,
        }
    }
}

/// What was seen.
struct Seen {
    star: Option<Measurement>,
    whole: Option<WholeFrame>,
}

fn look(frames: &Frames, instrument: &Instrument, wanted: &Wanted) -> Result<Seen, CliError> {
    if wanted.whole_frame {
        let options = WholeFrameOptions {
            side: wanted.options.side,
            ..WholeFrameOptions::default()
        };
        let whole = whole_frame(&frames.first, instrument, &options);
        return Ok(Seen {
            star: None,
            whole: Some(whole.map_err(|e| CliError::Measure(e.into()))?),
        });
    }
    let star = match &frames.second {
        Some(second) => measure_two([&frames.first, second], instrument, &wanted.options),
        None => measure(&frames.first, instrument, &wanted.options),
    };
    Ok(Seen {
        star: Some(star?),
        whole: None,
    })
}

/// When to stop, under the seeing of the star.
fn stop_rule(
    instrument: &Instrument,
    star: Option<&Measurement>,
    exposure_s: Option<f64>,
) -> GoodEnough {
    let seeing_rad = star
        .and_then(Measurement::seeing_rad)
        .unwrap_or(COMMON_SEEING_RAD);
    let middle_m = 0.5
        * crate::spectrum::edges(&instrument.camera.passband)
            .iter()
            .sum::<f64>();
    let wavelength_m = star.and_then(|s| s.reference_m).unwrap_or(middle_m);
    good_enough(instrument, seeing_rad, exposure_s, wavelength_m)
}

impl Seen {
    fn advice(&self, instrument: &Instrument, args: &MeasureArgs) -> Result<Advice, NoAdvice> {
        let star = self.star.as_ref().filter(|s| s.is_sound());
        let whole = self.whole.as_ref();
        let plane = whole.and_then(WholeFrame::plane_to_act_on);
        let coma = whole
            .filter(|w| w.is_sound())
            .and_then(WholeFrame::sound_coma);
        let in_rad = |tilt: [crate::measure::Estimate; 2]| tilt.map(|t| t.value * ARCMIN);
        let found = Misaligned {
            coma_m: star.and_then(|s| Some([s.mode_m(8)?, s.mode_m(7)?])),
            field_m: star.map_or([0.0; 2], |s| s.field_m),
            node_tilt_rad: coma.and_then(|c| c.tilt_arcmin).map(in_rad),
            plane_tilt_rad: plane.and_then(|p| p.tilt_arcmin).map(in_rad),
        };
        let aim = match args.aim {
            AimArg::Coma => Aim::Coma,
            AimArg::Tilt => Aim::Tilt,
            AimArg::Both => Aim::Both,
        };
        advise(instrument, &found, aim)
    }

    fn sentences(
        &self,
        instrument: &Instrument,
        stop: &GoodEnough,
        advice: &Result<Advice, NoAdvice>,
        sound: bool,
    ) -> String {
        let mut said = Vec::new();
        if let Some(star) = &self.star {
            said.extend(findings(star, instrument, stop));
        }
        if let Some(whole) = &self.whole {
            said.push(whole.sentences());
        }
        match advice {
            Ok(advice) => said.extend(steps(advice, instrument, stop.stop_m)),
            Err(_) if !sound => {
                said.push("No turns are advised on a measurement that failed.".into());
            }
            Err(no) => said.push(format!("No turns: {no}; {}.", no.hint())),
        }
        said.join("\n")
    }
}
