//! `practice … --as-camera`: frames of a drill fall into a folder as a capture program writes them, for `night` to follow.

use super::console::Console;
use super::error::CliError;
use super::interrupt::Interrupt;
use super::one_file_in;
use super::practice::SessionFile;
use super::practice_args::LookArgs;
use crate::dataset::fits_cards;
use crate::image_io::fits::{self, Card, CardValue, Cards};
use crate::practice::{Session, Shot, camera_frame};
use crate::scenario;
use jiff::Timestamp;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Name of a frame's file before and after its number.
const NAME: [&str; 2] = ["light-", ".fits"];

/// One frame of the session as it stands, into the folder. The file lies there whole or not at all.
pub fn expose(
    session: &Session,
    scenario_text: &str,
    folder: &Path,
    card: Option<&str>,
    interrupt: &Interrupt,
) -> Result<PathBuf, CliError> {
    let number = next_number(folder);
    let name = format!("{}{number:04}{}", NAME[0], NAME[1]);
    let mut set = one_file_in(folder, &name)?;
    let shot = Shot { number, card };
    let begun = Timestamp::now();
    let refused = CliError::of_scene(Path::new("the session's telescope"));
    let frame = camera_frame(session, shot).map_err(refused)?;
    let owner = scenario::read(scenario_text, "session", &[])?;
    let cards = Cards {
        exposure_s: Some(session.time_s()),
        extra: header(begun),
        ..fits_cards(&owner)
    };
    // nobody has the file before its exposure is over, by the clock that its header shows
    let left = Duration::from_secs_f64(session.time_s()).saturating_sub(elapsed(begun));
    std::thread::sleep(left);
    interrupt.check()?;
    set.put(&name, &fits::counts(&frame, &cards)?)?;
    set.finish(interrupt)?;
    Ok(folder.join(name))
}

fn elapsed(begun: Timestamp) -> Duration {
    Duration::try_from(begun.duration_until(Timestamp::now())).unwrap_or_default()
}

/// What a capture program says beside what `render` says: no seed, no place of the star.
fn header(begun: Timestamp) -> Vec<Card> {
    let text = |keyword: &str, value: String, comment: &str| Card {
        keyword: keyword.into(),
        value: CardValue::Text(value),
        comment: comment.into(),
    };
    let date = format!("{begun:.3}");
    vec![
        text("IMAGETYP", "Light Frame".into(), ""),
        text(
            "DATE-OBS",
            date.trim_end_matches('Z').into(),
            "UTC, start of the exposure",
        ),
    ]
}

/// One more than the largest number in the folder; a folder that is not there has none.
fn next_number(folder: &Path) -> u64 {
    let names = fs::read_dir(folder).into_iter().flatten().flatten();
    let numbers = names.filter_map(|entry| {
        let name = entry.file_name().into_string().ok()?;
        name.strip_prefix(NAME[0])?
            .strip_suffix(NAME[1])?
            .parse()
            .ok()
    });
    numbers
        .max()
        .map_or(1, |largest: u64| largest.saturating_add(1))
}

/// A camera that goes on: the session is read anew before each frame, so that what other windows do to the unit is in the next one.
pub fn run(
    args: &LookArgs,
    folder: &Path,
    every_s: f64,
    console: &Console,
) -> Result<(), CliError> {
    let interrupt = Interrupt::install()?;
    let file = SessionFile::new(&args.session.session);
    let mut taken = 0;
    while args.frames.is_none_or(|most| taken < most) {
        let begun = Instant::now();
        let (session, scenario) = file.read()?;
        known(&session, args.card.as_deref())?;
        let (folder_there, card) = (folder.to_owned(), args.card.clone());
        let watching = interrupt.clone();
        let exposed = interrupt.or_done(move || {
            expose(
                &session,
                &scenario,
                &folder_there,
                card.as_deref(),
                &watching,
            )
        });
        // Ctrl-C is how a camera is stopped
        let Ok(path) = exposed else {
            return Ok(());
        };
        taken += 1;
        console.note(format!("exposed {}", path?.display()));
        let wait = Duration::from_secs_f64(every_s).saturating_sub(begun.elapsed());
        let until = Instant::now() + wait;
        while Instant::now() < until && args.frames.is_none_or(|most| taken < most) {
            if interrupt.check().is_err() {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(100).min(until - Instant::now()));
        }
    }
    Ok(())
}

/// A card is held at a screw that there is.
pub fn known(session: &Session, card: Option<&str>) -> Result<(), CliError> {
    match card {
        None => Ok(()),
        Some(name) => session.named(name).map_err(CliError::Refused),
    }
}
