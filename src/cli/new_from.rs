//! `new --from`: a telescope from a frame of its own and a few answers.

use super::args::{ClockwiseArg, FirstFrameArgs, NewArgs};
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::new::kind;
use crate::first_frame::{Answers, FirstFrame, FirstScenario, Lacking};
use crate::instrument::ClockwiseTurn;
use crate::units::{DEG, MM, UM};
use std::io::{self, BufRead, IsTerminal, Write};
use std::path::Path;

/// The scenario's text. What only the owner can say is asked where a person sits at a terminal.
pub fn scenario(
    frame: &Path,
    args: &NewArgs,
    console: &Console,
    interrupt: &Interrupt,
) -> Result<String, CliError> {
    let frame = FirstFrame::read(frame)?;
    for warning in &frame.reading.warnings {
        console.warning(format!("{}: {warning}", frame.name));
    }
    let mut answers = answers(&args.first)?;
    answers.kind = Some(kind(args.kind));
    if io::stdin().is_terminal() && !console.quiet {
        for what in answers.lacking(&frame) {
            let value = ask(what, &answers)?;
            answers.take(what, value);
        }
    }
    let title = args.name.clone();
    let found = interrupt.or_done(move || FirstScenario::of(&frame, &answers, &title))??;
    console.answer(found.words.join("\n"))?;
    Ok(found.text)
}

fn answers(args: &FirstFrameArgs) -> Result<Answers, CliError> {
    let mut answers = Answers {
        kind: None,
        aperture_m: args.aperture.map(|mm| mm * MM),
        focal_length_m: args.focal_length.map(|mm| mm * MM),
        pixel_m: args.pixel.map(|um| um * UM),
        cell: args.cell,
        screws: args
            .screws
            .iter()
            .map(|(name, degrees)| (name.clone(), degrees * DEG))
            .collect(),
        circle_m: args.circle.map(|mm| mm * MM),
        pitch_m: args.pitch.map(|mm| mm * MM),
        clockwise: args.clockwise.map(|way| match way {
            ClockwiseArg::Lengthens => ClockwiseTurn::Lengthens,
            ClockwiseArg::Shortens => ClockwiseTurn::Shortens,
        }),
        shadow_rad: None,
    };
    if let Some(text) = &args.shadow_at {
        let degrees = place(text, &answers).ok_or_else(|| CliError::Place {
            given: text.clone(),
            screws: answers.screws().into_iter().map(|(name, _)| name).collect(),
        })?;
        answers.shadow_rad = Some(degrees * DEG);
    }
    Ok(answers)
}

/// Degrees of a place that was typed, within its range.
fn place(text: &str, answers: &Answers) -> Option<f64> {
    let [least, most] = Lacking::ShadowAt.range();
    let degrees = answers.azimuth_deg(text)?;
    let inside = |degrees: f64| (least..=most).contains(&degrees);
    Some(degrees).filter(|degrees| inside(*degrees))
}

/// Asks until there is an answer; the end of the input is none.
fn ask(what: Lacking, answers: &Answers) -> Result<f64, CliError> {
    let [least, most] = what.range();
    loop {
        let mut out = io::stderr().lock();
        write!(out, "{}: ", what.question()).and_then(|()| out.flush())?;
        let mut line = String::new();
        if io::stdin().lock().read_line(&mut line)? == 0 {
            return Err(CliError::NotAnswered {
                option: what.option(),
            });
        }
        let number = match what {
            Lacking::ShadowAt => place(&line, answers),
            _ => line.trim().parse().ok(),
        };
        match number.filter(|n: &f64| (least..=most).contains(n)) {
            Some(number) => return Ok(number),
            None => writeln!(out, "  please a number from {least} to {most}")?,
        }
    }
}
