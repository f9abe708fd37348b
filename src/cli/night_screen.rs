//! What a night says in the terminal: the big line, why, and a bar of coma against rounds.

use super::console::Console;
use super::error::CliError;
use crate::image_io::png;
use crate::measure::{Deed, Picture};
use crate::night::{BEFORE, Event, Happening, Looked, Night, NightReport, PathPoint, told};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// What is known when a night begins, and what comes first.
pub fn first_words(night: &Night, session: &Path) -> String {
    let knows = night.knows();
    let mut lines: Vec<String> = BEFORE.iter().map(|line| (*line).to_owned()).collect();
    lines.push(match knows.orientation {
        "known" => "How the camera is turned in its holder is known.".into(),
        _ => "How the camera is turned in its holder is not known: the first turns are small trials, and the frames after them show it.".into(),
    });
    lines.push(match knows.response {
        Some("learned") => "What a turn of a screw does is known from an earlier night.".into(),
        Some("traced") => {
            "What a turn of a screw does was worked out from the surfaces in the instrument file; what the frames show corrects it.".into()
        }
        Some(_) => "What a turn of a screw does stands in the instrument file; what the frames show corrects it.".into(),
        None => "What a turn of a screw does is not known; the frames will show it.".to_owned(),
    });
    let session = session.display();
    lines.push(format!(
        "What your hands do you tell it in another window: skewstar night turned B 45deg --session {session}; and in the same way focused, recentred, locked, mask on, card A, skip, undo."
    ));
    lines.push(format!(
        "Go on: skewstar night watch FOLDER --session {session}"
    ));
    lines.join("\n")
}

/// Says what came of a frame: one line of JSON while a folder is watched, else sentences.
pub fn say(
    night: &Night,
    looked: &Looked,
    console: &Console,
    watching: bool,
) -> Result<(), CliError> {
    if console.json {
        let line = match looked {
            Looked::Seen(report) if watching => serde_json::to_string(report),
            Looked::Seen(report) => serde_json::to_string_pretty(report),
            Looked::Skipped(report) => serde_json::to_string(report),
        };
        return Ok(console.data(&line.map_err(std::io::Error::from)?)?);
    }
    match looked {
        Looked::Skipped(report) => {
            console.answer(format!("{}: not measured: {}", report.file, report.skipped))?;
        }
        Looked::Seen(report) => {
            console.answer(screen(night, report))?;
            let rings = matches!(report.measured.next.deed, Deed::Stop | Deed::Lock)
                || report.worse == Some(true);
            if rings && watching {
                console.bell();
            }
        }
    }
    Ok(())
}

/// The big line, its small one, and the bars.
fn screen(night: &Night, report: &NightReport) -> String {
    let next = &report.measured.next;
    let mut text = format!("\n  {}\n\n", spaced(&report.big));
    let mut line = |said: &str| {
        // writing to a string cannot fail
        writeln!(text, "{said}").unwrap_or_default();
    };
    line(&next.words);
    line(&format!("Why: {}.", next.why.trim_end_matches('.')));
    if report.worse == Some(false) {
        line("Better than before.");
    }
    for said in bars(night) {
        line(&said);
    }
    line(&format!(
        "{}: {}, {} frame{} since",
        report.file,
        match report.round {
            0 => "nothing turned yet".to_owned(),
            1 => "after the first turn".to_owned(),
            round => format!("after {round} turns"),
        },
        report.frames,
        if report.frames == 1 { "" } else { "s" }
    ));
    text
}

/// Wide, so that it is read from farther away.
fn spaced(big: &str) -> String {
    let wide: Vec<String> = big.chars().map(String::from).collect();
    wide.join(" ").to_uppercase()
}

const BAR_CHARACTERS: f64 = 40.0;

/// A bar of coma for each state of the unit, with its uncertainty, and the stop level.
fn bars(night: &Night) -> Vec<String> {
    let seen = night.story().path(night.instrument());
    let Some(last) = seen.last() else {
        return Vec::new();
    };
    let stop_nm = last.stop_nm;
    let tops = seen.iter().map(|p| p.coma_nm + p.sigma_nm);
    let most = tops.fold(2.0 * stop_nm, f64::max);
    let column = |nm: f64| (BAR_CHARACTERS * nm / most).round() as usize;
    let bar = |point: &PathPoint| -> String {
        let character = |k: usize| match k {
            _ if k == column(stop_nm) => '|',
            _ if k <= column(point.coma_nm) => '=',
            _ if k <= column(point.coma_nm + point.sigma_nm) => '-',
            _ => ' ',
        };
        (0..=BAR_CHARACTERS as usize).map(character).collect()
    };
    let mut lines: Vec<String> = seen
        .iter()
        .enumerate()
        .map(|(number, point)| {
            format!(
                "{number:3} {} {:4.0} ± {:.0} nm",
                bar(point),
                point.coma_nm,
                point.sigma_nm
            )
        })
        .collect();
    lines.push(format!(
        "    =: nm RMS of coma after each turn, -: its uncertainty, |: good enough ({stop_nm:.0})"
    ));
    lines
}

/// How a night that goes on stands.
pub fn standing(night: &Night, console: &Console) -> Result<(), CliError> {
    if console.json {
        return Ok(());
    }
    Ok(console.answer(bars(night).join("\n"))?)
}

/// Something that was told in another window.
pub fn noticed(event: &Event, night: &Night, console: &Console) -> Result<(), CliError> {
    if console.json || !(event.what.is_told() || event.what == Happening::Undo) {
        return Ok(());
    }
    Ok(console.answer(told(&event.what, night))?)
}

/// Draws the star beside the session: SESSION.star.png, and the first one as SESSION.first.png.
pub fn picture(session: &Path, picture: &Picture, looked: &Looked) -> Result<(), CliError> {
    let Looked::Seen(report) = looked else {
        return Ok(());
    };
    let canvas = super::night_picture::draw(&picture.values_adu, report)?;
    let bytes = png::rgb8(&canvas)?;
    let first = beside(session, "first.png");
    if !first.exists() {
        put(&first, &bytes)?;
    }
    put(&beside(session, "star.png"), &bytes)
}

/// SESSION without its ending, with another.
pub fn beside(session: &Path, ending: &str) -> PathBuf {
    session.with_extension(ending)
}

/// A whole file or none.
fn put(path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let write = || {
        let mut new = tempfile::NamedTempFile::new_in(folder.unwrap_or(Path::new(".")))?;
        std::io::Write::write_all(&mut new, bytes)?;
        new.persist(path).map_err(|error| error.error)
    };
    write().map(|_| ()).map_err(|source| CliError::Unwritten {
        path: path.to_owned(),
        source,
    })
}
