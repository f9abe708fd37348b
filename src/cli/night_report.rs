//! `night report`: the night as one page to keep, a card of the telescope to print, and what was learned.

use super::args::Files;
use super::console::Console;
use super::error::CliError;
use super::finish;
use super::interrupt::Interrupt;
use super::night_screen::beside;
use super::output::{OutputPlan, OutputSet};
use super::stem;
use crate::logbook::Logbook;
use crate::night::{card, page};
use std::path::Path;

/// Writes STEM.night.html, STEM.card.html and, where turns taught something, STEM.response.toml.
pub fn run(session: &Path, files: &Files, console: &Console) -> Result<(), CliError> {
    let book = Logbook::open(session)?;
    let night = book.night();
    let (learned, _) = night.learned();
    let name = |ending: &str| format!("{}.{ending}", stem(session));
    let mut names = vec![name("night.html"), name("card.html")];
    let learned = learned.filter(|_| !night.story().trials(night.instrument()).is_empty());
    if learned.is_some() {
        names.push(name("response.toml"));
    }
    let interrupt = Interrupt::install()?;
    let mut set = OutputSet::plan(&OutputPlan {
        folder: &files.out,
        files: &names,
        truth: None,
        force: files.force,
    })?;
    // a picture that is not there is left out of the page
    let pictures =
        ["first.png", "star.png"].map(|ending| std::fs::read(beside(session, ending)).ok());
    set.put(&names[0], page(night, &pictures).as_bytes())?;
    set.put(&names[1], card(night).as_bytes())?;
    if let Some(learned) = &learned {
        set.put(&names[2], learned.to_toml().as_bytes())?;
    }
    finish(set, &interrupt, console)?;
    console.answer(format!(
        "{} rounds, {} frames. For the next night with the camera held as it is: night start --response {}",
        night.story().round(),
        night.story().states.iter().map(|state| state.stars.len() + state.masked.len()).sum::<usize>(),
        names.get(2).map_or("(nothing was learned)", String::as_str)
    ))?;
    console.answer_json(&serde_json::json!({
        "format": "skewstar-night/1",
        "rounds": night.story().round(),
        "knows": night.knows(),
        "files": names,
    }))?;
    Ok(())
}
