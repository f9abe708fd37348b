//! The session's file as text: a head in TOML, then one line an event, each added whole.
//!
//! ```toml
//! format = "skewstar-night/1"
//! started = "2026-11-30T20:58:12.000Z"
//! …
//! event.1 = { at = "2026-11-30T21:04:05.123Z", what = "turned", screw = "B", clockwise_turns = 0.125 }
//! ```
//!
//! The file is TOML as a whole. A line without its line break is one that was cut off while it was being written: nobody was told that it
//! was kept, and it is left out.

use super::event::{Event, Instant};
use crate::measure::Side;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Format of the file.
pub const FORMAT: &str = "skewstar-night/1";

/// What a night starts with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Head {
    /// `skewstar-night/1`.
    pub format: String,
    /// When it began.
    pub started: Instant,
    /// How long after a told turn nothing swings any more.
    pub settle_s: f64,
    /// The side of focus, where it was told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub side: Option<Side>,
    /// Where the instrument file lay; a drawing of its mask is looked for beside it.
    pub instrument_file: String,
    /// Its text.
    pub instrument: String,
    /// What an earlier night learned, as text.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub response: Option<String>,
}

/// Why a text is no session of a night.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// It is not TOML, or a key is missing.
    #[error("this is no session of a night: {0}")]
    NotANight(String),
    /// Another format.
    #[error("the session's format is {0:?}, this program reads \"skewstar-night/1\"")]
    Format(String),
    /// A line that is no event.
    #[error("line {line} is no event of a night: {reason}")]
    Line {
        /// Its number, from 1.
        line: usize,
        /// Why.
        reason: String,
    },
}

impl RecordError {
    /// What to do next.
    pub fn hint(&self) -> &'static str {
        match self {
            RecordError::NotANight(_) | RecordError::Format(_) => {
                "give the file that `skewstar night start --session FILE` wrote, or start a night"
            }
            RecordError::Line { .. } => {
                "take that line out with an editor; every line stands for itself, and `skewstar night undo` takes back what was told last"
            }
        }
    }
}

const ABOUT: &str = "\
# A night at the telescope: what was seen and what was told, one line an event, added as it happens.
# Go on with `skewstar night watch FOLDER --session` and this file; take back what was told last with `skewstar night undo`.

";
/// The line between the head and the events. The last such line counts: the text of an instrument may hold anything, an event never a
/// whole line like this.
const MARK: &str = "\n# What happened:\n";

impl Head {
    /// The text of a night that has just begun.
    ///
    /// # Errors
    /// [`RecordError::NotANight`] where it cannot be written as TOML.
    pub fn text(&self) -> Result<String, RecordError> {
        let text =
            toml::to_string_pretty(self).map_err(|e| RecordError::NotANight(e.to_string()))?;
        Ok(format!("{ABOUT}{text}{MARK}"))
    }

    /// The head of a session's text, and the number of bytes before the first event.
    ///
    /// # Errors
    /// [`RecordError`].
    pub fn read(text: &str) -> Result<(Head, usize), RecordError> {
        let ends = text.rfind(MARK).map_or(text.len(), |at| at + MARK.len());
        let wrong = |e: toml::de::Error| RecordError::NotANight(e.message().to_owned());
        let formats: Formatted = toml::from_str(&text[..ends]).map_err(wrong)?;
        match formats.format {
            Some(format) if format == FORMAT => {}
            Some(format) => return Err(RecordError::Format(format)),
            None => return Err(RecordError::NotANight("it has no format".into())),
        }
        let head: Head = toml::from_str(&text[..ends]).map_err(wrong)?;
        Ok((head, ends))
    }
}

#[derive(Deserialize)]
struct Formatted {
    format: Option<String>,
}

/// The line of an event.
///
/// # Errors
/// [`RecordError::NotANight`] where it cannot be written as TOML.
pub fn line(number: usize, event: &Event) -> Result<String, RecordError> {
    let value = toml::Value::try_from(event).map_err(|e| RecordError::NotANight(e.to_string()))?;
    Ok(format!("event.{number} = {value}\n"))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Line {
    event: BTreeMap<String, Event>,
}

/// The events of whole lines, of which the first is line `first_line` of the file.
///
/// # Errors
/// [`RecordError::Line`].
pub fn events(text: &str, first_line: usize) -> Result<Vec<Event>, RecordError> {
    let mut events = Vec::new();
    for (k, line) in text.lines().enumerate() {
        if line.trim().is_empty() || line.starts_with('#') {
            continue;
        }
        let read: Line = toml::from_str(line).map_err(|e| RecordError::Line {
            line: first_line + k,
            reason: e.message().to_owned(),
        })?;
        events.extend(read.event.into_values());
    }
    Ok(events)
}

#[cfg(test)]
mod tests {
    use super::super::event::{FileSeen, Focusing, FrameSeen, Happening, StarSeen};
    use super::*;

    fn head() -> Head {
        Head {
            format: FORMAT.into(),
            started: Instant::of_seconds(1.796e9),
            settle_s: 5.0,
            side: Some(Side::Inside),
            instrument_file: "garden.toml".into(),
            instrument:
                "format = 1\ntitle = \"it's \\\"mine\\\"\"\nevent.9 = 3\n\n# What happened:\n"
                    .into(),
            response: None,
        }
    }

    fn file() -> FileSeen {
        FileSeen {
            file: "2026-11-30/ring 0001.fits".into(),
            bytes: 33_000_000,
            written_ms: 1_796_000_000_123,
            sha256: "0123456789abcdef".into(),
        }
    }

    fn all() -> Vec<Happening> {
        let star = StarSeen {
            coma_nm: [-12.25, 1.0 / 3.0],
            sigma_nm: 1.0,
            rotation_deg: 40.0,
            mirrored: true,
            star_px: [31.5, 30.0],
            field_mm: [0.0, -0.125],
            atmosphere_nm: 8.0,
            stop_nm: 27.0,
            offset_um: Some(-410.0),
            ring_px: None,
            seeing_arcsec: Some(2.0),
        };
        let frame = FrameSeen {
            file: file(),
            began_s: Some(1.796e9),
            exposure_s: Some(0.5),
            mask: false,
            verdict: "turn".into(),
            star: Some(star),
        };
        vec![
            Happening::Frame(frame),
            Happening::Skipped {
                file: file(),
                reason: "no star \"here\"".into(),
            },
            Happening::Card { screw: "A".into() },
            Happening::CardSeen {
                file: file(),
                screw: "A".into(),
                direction_deg: 151.25,
            },
            Happening::Turned {
                screw: "B".into(),
                clockwise_turns: -0.125,
            },
            Happening::Focused {
                by: Focusing::Steps(120.0),
            },
            Happening::Focused { by: Focusing::Out },
            Happening::Side {
                side: Side::Outside,
            },
            Happening::Recentred,
            Happening::Locked { screw: None },
            Happening::Mask { on: true },
            Happening::Cannot { screw: "C".into() },
            Happening::Skip,
            Happening::Undo,
        ]
    }

    /// Every event comes back as it was, out of a file that another library's rules of TOML hold for as a whole.
    #[test]
    fn what_is_written_is_read_again() {
        let mut text = head().text().unwrap();
        let mut written = Vec::new();
        for (k, what) in all().into_iter().enumerate() {
            let event = Event {
                at: Instant::of_seconds(1.796e9 + k as f64),
                what,
            };
            text += &line(k + 1, &event).unwrap();
            written.push(event);
        }
        let (read, ends) = Head::read(&text).unwrap();
        assert_eq!(read, head());
        assert_eq!(events(&text[ends..], 1).unwrap(), written);
        let whole: toml::Table = toml::from_str(&text).unwrap();
        assert_eq!(whole["event"].as_table().unwrap().len(), written.len());
        assert_eq!(
            text[ends..].lines().count(),
            written.len(),
            "one line an event"
        );
    }

    #[test]
    fn what_is_no_night_is_refused_with_its_line() {
        assert!(matches!(
            Head::read("format = \"skewstar-practice/1\"\n"),
            Err(RecordError::Format(_))
        ));
        assert!(matches!(
            Head::read("a = 1"),
            Err(RecordError::NotANight(_))
        ));
        let wrong = "event.1 = { at = \"2026-11-30T21:00:00Z\", what = \"skip\" }\nevent.2 = { what = \"dance\" }\n";
        let error = events(wrong, 11).unwrap_err();
        assert!(
            matches!(error, RecordError::Line { line: 12, .. }),
            "{error}"
        );
    }
}
