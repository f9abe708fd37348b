//! `night`: the real thing. Frames in, one line each out; what hands did is told with the other verbs.

use super::args::Switch;
use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::night_args::{NightArgs, NightSessionArgs, NightStartArgs, NightVerb};
use super::night_screen::{self, first_words};
use crate::files;
use crate::instrument::read_turns;
use crate::measure::Side;
use crate::night::{
    Arrival, Beginning, FileSeen, Focusing, Folder, Happening, Instant, Looked, Night, NightError,
};
use std::path::Path;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

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
    let night = Night::begin(&args.session.session, &args.instrument, &beginning, now())?;
    console.note(format!("wrote {}", args.session.session.display()));
    console.answer(first_words(&night, &args.session.session))?;
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
    let mut night = Night::open(&session.session)?;
    let words = night_screen::told(&what, &night);
    night.told(now(), what)?;
    console.answer(words)?;
    console.answer_json(&serde_json::json!({
        "format": "skewstar-night/1",
        "round": night.story().round(),
        "knows": night.knows(),
    }))?;
    Ok(())
}

fn frame(image: &Path, session: &Path, console: &Console) -> Result<bool, CliError> {
    let mut night = Night::open(session)?;
    let interrupt = Interrupt::install()?;
    let bytes = files::image_bytes(image)?;
    let file = FileSeen::of(image, &bytes);
    let path = image.to_owned();
    let (night, looked) = interrupt.or_done(move || {
        let read = files::picture_of_bytes(&bytes, &path.display().to_string(), night.instrument());
        let looked = read
            .map_err(NightError::from)
            .and_then(|read| night.look(now(), file, &read).map(|looked| (looked, read)));
        (night, looked)
    })?;
    let (looked, read) = looked?;
    for warning in &read.warnings {
        console.warning(format!("{}: {warning}", image.display()));
    }
    night_screen::picture(session, &read.picture, &looked)?;
    night_screen::say(&night, &looked, console, false)?;
    Ok(looked.is_sound())
}

/// The folder is read again after this long.
const LOOK_EVERY: Duration = Duration::from_millis(200);

fn watch(folder: &Path, session: &Path, console: &Console) -> Result<(), CliError> {
    let mut night = Night::open(session)?;
    let interrupt = Interrupt::install()?;
    let since = UNIX_EPOCH + Duration::from_secs_f64(night.head().started.seconds());
    let mut camera = Folder::new(folder, since, night.events());
    let unreadable = |source| CliError::Unreadable {
        path: folder.to_owned(),
        source,
    };
    camera.next(SystemTime::now()).map_err(unreadable)?;
    console.note(format!(
        "watching {}; Ctrl-C ends it, and nothing is lost",
        folder.display()
    ));
    night_screen::standing(&night, console)?;
    while interrupt.check().is_ok() {
        for event in night.refresh()? {
            night_screen::noticed(&event, &night, console)?;
        }
        // a folder that is gone for a while, as a network share is, is waited for
        let Ok(Some(arrival)) = camera.next(SystemTime::now()) else {
            std::thread::sleep(LOOK_EVERY);
            continue;
        };
        let (back, looked) = interrupt_or(&interrupt, night, arrival, session)?;
        let Some(looked) = looked else { return Ok(()) };
        night = back;
        night_screen::say(&night, &looked?, console, true)?;
    }
    Ok(())
}

/// Measures an arrival beside the flag of Ctrl-C; no answer where it was raised.
fn interrupt_or(
    interrupt: &Interrupt,
    mut night: Night,
    arrival: Arrival,
    session: &Path,
) -> Result<(Night, Option<Result<Looked, CliError>>), CliError> {
    let session_path = session.to_owned();
    let again = session.to_owned();
    let done = interrupt.or_done(move || {
        let looked = looked_at(&mut night, arrival, &session_path);
        (night, looked)
    });
    match done {
        Ok((night, looked)) => Ok((night, Some(looked))),
        Err(_) => Ok((Night::open(&again)?, None)),
    }
}

fn looked_at(night: &mut Night, arrival: Arrival, session: &Path) -> Result<Looked, CliError> {
    let (file, bytes) = match arrival {
        Arrival::Whole(file, bytes) => (file, bytes),
        Arrival::Unreadable(file, reason) => return Ok(night.skip(now(), file, reason)?),
    };
    let read = match files::picture_of_bytes(&bytes, &file.file, night.instrument()) {
        Ok(read) => read,
        Err(error) => {
            let reason = format!("{error}; {}", error.hint());
            return Ok(night.skip(now(), file, reason)?);
        }
    };
    if let Some(reason) = night.overlaps_a_change(&file, &read) {
        return Ok(night.skip(now(), file, reason)?);
    }
    let looked = night.look(now(), file, &read)?;
    night_screen::picture(session, &read.picture, &looked)?;
    Ok(looked)
}

fn now() -> Instant {
    Instant::of_clock(SystemTime::now())
}
