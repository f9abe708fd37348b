//! `night`: the real thing. Frames in, one line each out; what hands did is told with the other verbs.

use super::args::Switch;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::night_args::{NightArgs, NightSessionArgs, NightStartArgs, NightVerb};
use super::night_screen::{self, first_words};
use crate::files;
use crate::instrument::read_turns;
use crate::logbook::{Beginning, LOOK_EVERY, Logbook, LogbookError, Watch, named_file};
use crate::measure::Side;
use crate::night::{self, Focusing, Happening};
use std::path::Path;
use std::time::SystemTime;

/// Does what was typed; `false` where a frame was of no use.
pub fn run(args: &NightArgs, console: &Console) -> Result<bool, CliError> {
    match &args.what {
        NightVerb::Start(args) => start(args, console).map(|()| true),
        NightVerb::Watch { folder, session } => {
            watch(folder, &session.session, console).map(|()| true)
        }
        NightVerb::Frame { image, session } => frame(image, &session.session, console),
        NightVerb::Report { session, files } => {
            super::night_report::run(&session.session, files, console).map(|()| true)
        }
        told => tell(told.session(), happening(told)?, console).map(|()| true),
    }
}

/// What was told, by its verb.
fn happening(verb: &NightVerb) -> Result<Happening, CliError> {
    Ok(match verb {
        NightVerb::Turned { screw, turns, .. } => Happening::Turned {
            screw: screw.clone(),
            clockwise_turns: read_turns(turns).ok_or_else(|| CliError::Turns {
                given: turns.clone(),
            })?,
        },
        NightVerb::Focused { by, .. } => Happening::Focused { by: focusing(by)? },
        NightVerb::Side { side, .. } => Happening::Side {
            side: Side::from(*side),
        },
        NightVerb::Recentred(_) => Happening::Recentred,
        NightVerb::Locked { screw, .. } => Happening::Locked {
            screw: screw.clone(),
        },
        NightVerb::Mask { way, .. } => Happening::Mask {
            on: *way == Switch::On,
        },
        NightVerb::Card { screw, .. } => Happening::Card {
            screw: screw.clone(),
        },
        NightVerb::Cannot { screw, .. } => Happening::Cannot {
            screw: screw.clone(),
        },
        NightVerb::Undo(_) => Happening::Undo,
        // the others tell nothing, and are done before this is asked
        _ => Happening::Skip,
    })
}

/// `+30`, `-30um`, `+120 steps`, `in`, `out`.
fn focusing(text: &str) -> Result<Focusing, CliError> {
    let typed = text.trim();
    let number = |unit: &str| -> Option<f64> {
        let number = typed.strip_suffix(unit)?.trim().trim_start_matches('+');
        number
            .parse()
            .ok()
            .filter(|n: &f64| n.is_finite() && n.abs() <= 1e6)
    };
    let steps = number("steps").or_else(|| number("step"));
    let um = number("um").or_else(|| number(""));
    match typed {
        "in" => Some(Focusing::In),
        "out" => Some(Focusing::Out),
        _ => steps.map(Focusing::Steps).or(um.map(Focusing::Um)),
    }
    .ok_or_else(|| CliError::Focusing {
        given: text.to_owned(),
    })
}

fn start(args: &NightStartArgs, console: &Console) -> Result<(), CliError> {
    let beginning = Beginning {
        side: args.side.map(Side::from),
        settle_s: args.settle,
        response: args.response.as_deref(),
    };
    let book = Logbook::begin(&args.session.session, &args.instrument, &beginning)?;
    let night = book.night();
    console.note(format!("wrote {}", args.session.session.display()));
    console.answer(first_words(night, &args.session.session))?;
    console.answer_json(&serde_json::json!({
        "format": "skewstar-night/1",
        "session": args.session.session,
        "knows": night.knows(),
        "side": night.story().side,
        "settle_s": args.settle,
    }))?;
    Ok(())
}

fn tell(session: &NightSessionArgs, what: Happening, console: &Console) -> Result<(), CliError> {
    let mut book = Logbook::open(&session.session)?;
    let words = night::told(&what, book.night());
    book.told(what)?;
    let night = book.night();
    console.answer(words)?;
    console.answer_json(&serde_json::json!({
        "format": "skewstar-night/1",
        "round": night.story().round(),
        "knows": night.knows(),
    }))?;
    Ok(())
}

fn frame(image: &Path, session: &Path, console: &Console) -> Result<bool, CliError> {
    let mut book = Logbook::open(session)?;
    let interrupt = Interrupt::install()?;
    let bytes = files::image_bytes(image)?;
    let file = named_file(image, &bytes);
    let name = image.display().to_string();
    let (book, looked) = interrupt.or_done(move || {
        let read = files::picture_from(&bytes, &name, book.night().instrument());
        let looked = read
            .map_err(LogbookError::from)
            .and_then(|read| book.look(file, &read).map(|looked| (looked, read)));
        (book, looked)
    })?;
    let (looked, read) = looked?;
    for warning in &read.warnings {
        console.warning(format!("{}: {warning}", image.display()));
    }
    night_screen::picture(session, &read.picture, &looked)?;
    night_screen::say(book.night(), &looked, console, false)?;
    Ok(looked.is_sound())
}

fn watch(folder: &Path, session: &Path, console: &Console) -> Result<(), CliError> {
    let book = Logbook::open(session)?;
    let interrupt = Interrupt::install()?;
    let mut watch = Watch::of(book, folder).map_err(|source| CliError::Unreadable {
        path: folder.to_owned(),
        source,
    })?;
    console.note(format!(
        "watching {}; Ctrl-C ends it, and nothing is lost",
        folder.display()
    ));
    night_screen::standing(watch.night(), console)?;
    while interrupt.check().is_ok() {
        for event in watch.news()? {
            night_screen::noticed(&event, watch.night(), console)?;
        }
        let Some(arrival) = watch.arrival(SystemTime::now()) else {
            std::thread::sleep(LOOK_EVERY);
            continue;
        };
        let done = interrupt.or_done(move || {
            let looked = watch.look(arrival);
            (watch, looked)
        });
        // what was being measured when Ctrl-C came is measured by the next watch
        let Ok((back, looked)) = done else {
            return Ok(());
        };
        watch = back;
        let (looked, picture) = looked?;
        if let Some(picture) = picture {
            night_screen::picture(session, &picture, &looked)?;
        }
        night_screen::say(watch.night(), &looked, console, true)?;
    }
    Ok(())
}
