//! A session as text that a person can read: level, telescope, actions. The hidden part is sealed.
//!
//! The seal keeps a curious eye from reading the answer by accident; it is no secret to somebody who reads this file's
//! source, and need not be. It also notices when the level or the telescope beside it was changed.

use super::action::{Action, Refusal};
use super::level::{Level, SetupError};
use super::session::Session;
use crate::rng::{LARGEST_SEED, Seed};
use crate::scenario::{self, ScenarioError, hex};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// Format of the file.
pub const FORMAT: &str = "skewstar-practice/1";
/// Larger files are refused before they are read.
pub const BYTES_AT_MOST: usize = 1 << 20;

#[derive(Debug, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct SessionRecord {
    format: String,
    level: Level,
    sealed: String,
    scenario: String,
    #[serde(default)]
    actions: Vec<Action>,
}

/// Why a session cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// It is not TOML, or not ours.
    #[error("this is no session file: {0}")]
    NotASession(String),
    /// Another format.
    #[error("the session's format is {0:?}, this program reads \"skewstar-practice/1\"")]
    Format(String),
    /// The seal is broken.
    #[error("the sealed part does not belong to this level and telescope: the file was changed")]
    Seal,
    /// The telescope in it is refused.
    #[error(transparent)]
    Scenario(#[from] ScenarioError),
    /// Nothing can be practised on it.
    #[error(transparent)]
    Setup(#[from] SetupError),
    /// An action in it cannot be done.
    #[error("action {number} of the session cannot be done: {refusal}")]
    Action {
        /// Its number, from 1.
        number: usize,
        /// Why not.
        refusal: Refusal,
    },
}

impl RecordError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            RecordError::Setup(error) => error.hint(),
            _ => {
                "start a new session with `skewstar practice start`; a session file is not meant to be edited"
            }
        }
    }
}

/// A session as text. `scenario_text` must be the text it was started from.
///
/// # Errors
/// [`RecordError::NotASession`] when it cannot be written as TOML.
pub fn write(session: &Session, scenario_text: &str) -> Result<String, RecordError> {
    let record = SessionRecord {
        format: FORMAT.into(),
        level: session.level(),
        sealed: seal(session.seed(), session.level(), scenario_text),
        scenario: scenario_text.into(),
        actions: session.actions().to_vec(),
    };
    let text =
        toml::to_string_pretty(&record).map_err(|e| RecordError::NotASession(e.to_string()))?;
    Ok(format!("{HEAD}{text}"))
}

const HEAD: &str = "\
# A practice session. `actions` is what was done so far; `sealed` is what is hidden: opening it would spoil the drill.
# Continue with `skewstar practice look --session` and this file.

";

/// The session of a text, replayed, and the scenario's text in it.
///
/// # Errors
/// [`RecordError`] says what is wrong with it.
pub fn read(text: &str) -> Result<(Session, String), RecordError> {
    let record: SessionRecord =
        toml::from_str(text).map_err(|e| RecordError::NotASession(e.message().to_owned()))?;
    if record.format != FORMAT {
        return Err(RecordError::Format(record.format));
    }
    let seed = open(&record.sealed, record.level, &record.scenario).ok_or(RecordError::Seal)?;
    let read = scenario::read(&record.scenario, "session", &[])?;
    let mut session = Session::new(&read.instrument, &read.state, record.level, seed)?;
    for (number, action) in record.actions.iter().enumerate() {
        session.act(action).map_err(|refusal| RecordError::Action {
            number: number + 1,
            refusal,
        })?;
    }
    Ok((session, record.scenario))
}

fn seal(seed: Seed, level: Level, scenario: &str) -> String {
    let key = digest(&[b"key", level.word().as_bytes(), scenario.as_bytes()]);
    let hidden: Vec<u8> = seed
        .0
        .to_be_bytes()
        .iter()
        .zip(&key)
        .map(|(a, b)| a ^ b)
        .collect();
    let check = digest(&[
        b"check",
        level.word().as_bytes(),
        scenario.as_bytes(),
        &seed.0.to_be_bytes(),
    ]);
    let bytes: Vec<u8> = hidden.iter().chain(&check[..8]).copied().collect();
    hex(&bytes)
}

fn open(sealed: &str, level: Level, scenario: &str) -> Option<Seed> {
    if sealed.len() != 32 || !sealed.is_ascii() {
        return None;
    }
    let key = digest(&[b"key", level.word().as_bytes(), scenario.as_bytes()]);
    let mut bytes = [0u8; 8];
    for (k, byte) in bytes.iter_mut().enumerate() {
        *byte = u8::from_str_radix(sealed.get(2 * k..2 * k + 2)?, 16).ok()? ^ key[k];
    }
    let seed = Seed(u64::from_be_bytes(bytes));
    (seed.0 <= LARGEST_SEED && seal(seed, level, scenario) == sealed).then_some(seed)
}

fn digest(parts: &[&[u8]]) -> [u8; 32] {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_be_bytes());
        hash.update(part);
    }
    hash.finalize().into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::practice::BENCH;

    fn started() -> Session {
        let read = scenario::read(BENCH, "bench", &[]).unwrap();
        Session::new(
            &read.instrument,
            &read.state,
            Level::TwoScrews,
            Seed(987_654_321),
        )
        .unwrap()
    }

    #[test]
    fn a_session_is_the_same_after_writing_and_reading() {
        let mut session = started();
        for action in [
            Action::Turn {
                screw: "B".into(),
                clockwise_turns: 0.125,
            },
            Action::Recentre,
            Action::Focus { outward_um: -40.0 },
            Action::Undo,
            Action::ShowMe,
        ] {
            session.act(&action).unwrap();
        }
        let text = write(&session, BENCH).unwrap();
        let (again, scenario) = read(&text).unwrap();
        assert_eq!(again.rounds(), session.rounds());
        assert_eq!(again.state(), session.state());
        assert_eq!(again.cost_min(), session.cost_min());
        assert_eq!(scenario, BENCH);
        assert!(
            !text.contains("987654321"),
            "the seed is not to be read off the file"
        );
    }

    #[test]
    fn a_changed_file_is_noticed() {
        let text = write(&started(), BENCH).unwrap();
        let changed = |from: &str, to: &str| {
            assert!(text.contains(from), "{from}");
            read(&text.replacen(from, to, 1)).map(|_| ()).unwrap_err()
        };
        assert!(matches!(
            changed("two-screws", "one-screw"),
            RecordError::Seal
        ));
        assert!(matches!(
            changed("diameter_mm = 74.0", "diameter_mm = 70.0"),
            RecordError::Seal
        ));
        assert!(matches!(
            changed("practice/1", "practice/2"),
            RecordError::Format(_)
        ));
        assert!(matches!(
            changed("sealed = \"", "sealed = \"é"),
            RecordError::Seal
        ));
        assert!(matches!(
            changed("format =", "fromat ="),
            RecordError::NotASession(_)
        ));
    }
}
