//! `serve --night`: a night on the page. The camera's folder is followed by a thread beside the server's own.

use super::console::Console;
use super::error::CliError;
use super::night_screen;
use super::practice_args::ServeArgs;
use super::stem;
use crate::logbook::{Beginning, LOOK_EVERY, Logbook, NightDesk, now};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// How long frames take to settle after a change, where `night start` did not say it.
const SETTLE_S: f64 = 5.0;
/// A session of the same name that is older was another night's.
const SAME_NIGHT_S: f64 = 18.0 * 3600.0;

/// A night that is served.
pub struct Served {
    /// It, for the page.
    pub desk: Arc<NightDesk>,
    /// Its session.
    pub session: PathBuf,
    /// The text of its instrument.
    pub instrument: String,
}

/// Begins the night that was asked for, or goes on with it; `None` where none was asked for.
pub fn prepare(args: &ServeArgs, console: &Console) -> Result<Option<Served>, CliError> {
    let Some(folder) = &args.night else {
        return Ok(None);
    };
    let session = match (&args.session, &args.instrument) {
        (Some(session), _) => session.clone(),
        (None, Some(instrument)) => PathBuf::from(format!("{}.night.toml", stem(instrument))),
        (None, None) => return Err(CliError::NightWithoutInstrument),
    };
    // what cannot be followed is said before a session is begun
    let unreadable = |source| CliError::Unreadable {
        path: folder.clone(),
        source,
    };
    folder.read_dir().map_err(unreadable)?;
    let book = match session.exists() {
        true => go_on(&session, args, console)?,
        false => begin(&session, args, console)?,
    };
    let instrument = book.night().head().instrument.clone();
    let beside = session.clone();
    let seen = Box::new(move |picture: &_, looked: &_| {
        // a picture beside the session is for the report: a full disk must not end the night
        night_screen::picture(&beside, picture, looked).unwrap_or_default();
    });
    let desk = NightDesk::open(&session, folder, seen)?.map_err(unreadable)?;
    Ok(Some(Served {
        desk: Arc::new(desk),
        session,
        instrument,
    }))
}

fn begin(session: &Path, args: &ServeArgs, console: &Console) -> Result<Logbook, CliError> {
    let instrument = args.instrument.as_deref();
    let instrument = instrument.ok_or(CliError::NightWithoutInstrument)?;
    let beginning = Beginning {
        settle_s: SETTLE_S,
        ..Beginning::default()
    };
    let book = Logbook::begin(session, instrument, &beginning)?;
    console.note(format!("wrote {}: a night begins", session.display()));
    Ok(book)
}

/// A session that is there: of the same instrument, and where nobody named it, of the same night.
fn go_on(session: &Path, args: &ServeArgs, console: &Console) -> Result<Logbook, CliError> {
    let book = Logbook::open(session)?;
    let head = book.night().head();
    if let Some(instrument) = &args.instrument {
        let text = crate::files::text_bytes(instrument)?;
        if text != head.instrument.as_bytes() {
            return Err(CliError::OtherInstrument {
                session: session.to_owned(),
                instrument: instrument.clone(),
            });
        }
    }
    if args.session.is_none() && now().seconds() - head.started.seconds() > SAME_NIGHT_S {
        return Err(CliError::OtherNight {
            session: session.to_owned(),
            started: head.started.to_string(),
        });
    }
    console.note(format!(
        "goes on with {}, begun {}",
        session.display(),
        head.started
    ));
    Ok(book)
}

/// Follows the folder until the program ends. What goes wrong with the session is said once.
pub fn follow(desk: &Arc<NightDesk>, console: Console) {
    let desk = desk.clone();
    std::thread::spawn(move || {
        let mut said = String::new();
        loop {
            // a fault of ours in one frame must not end the night for all that follow
            let step = catch_unwind(AssertUnwindSafe(|| desk.step()));
            match step {
                Ok(Ok(true)) => continue,
                Ok(Ok(false)) => said.clear(),
                Err(_) => console.warning(
                    "a frame could not be measured, by a fault of the program; the night goes on with the next",
                ),
                Ok(Err(error)) => {
                    let words = format!("{error}; {}", error.hint());
                    if words != said {
                        console.warning(&words);
                        said = words;
                    }
                }
            }
            std::thread::sleep(LOOK_EVERY);
        }
    });
}
