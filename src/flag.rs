//! Flags: what stands beside a result or a truth so that whoever reads it knows how far it goes.
//!
//! There is one [`Flag`] for each thing to be known, and no other text counts as one. Everything that is said of a flag is in one
//! table (`flag/table.rs`): its name in files, what it means, what to do next, whether a result that carries it must not be acted
//! on, and where it is raised. The list in DEVELOPERS.md, "Flags", is made from that table and compared with it by
//! `tests/flags.rs`.

mod set;
mod table;

pub use set::Flags;
pub use table::Flag;

use crate::math::nearest;
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use std::fmt;
use std::str::FromStr;
use table::FlagRow;

/// What raises a flag, and with it the record in which the flag is first seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RaisedBy {
    /// Measuring a star or a whole frame, or advising turns.
    Measure,
    /// Learning the response from trial turns.
    Learn,
    /// Reading an image file; the flag goes on into what is measured on it.
    ImageFile,
    /// The truth about one star.
    Truth,
    /// The truth about a field of stars.
    Field,
}

impl RaisedBy {
    /// Its name in lists.
    pub fn name(self) -> &'static str {
        match self {
            RaisedBy::Measure => "measure",
            RaisedBy::Learn => "learn",
            RaisedBy::ImageFile => "image file",
            RaisedBy::Truth => "truth",
            RaisedBy::Field => "field",
        }
    }
}

/// What stands for the number in the name of the flag that has one.
const NUMBER: &str = ":NOLL";

impl Flag {
    /// Its name as files and reports have it. The flag that has a Noll index is named `photon_bound_singular:NOLL`; as text
    /// (as `Display` writes it) it has the number itself.
    pub fn name(self) -> &'static str {
        self.row().name
    }

    /// What it means, a whole sentence.
    pub fn meaning(self) -> &'static str {
        self.row().meaning
    }

    /// What to do next, a whole sentence.
    pub fn remedy(self) -> &'static str {
        self.row().remedy
    }

    /// Whether a result that carries it may be acted on.
    pub fn is_sound(self) -> bool {
        self.row().sound
    }

    /// Who raises it.
    pub fn raised_by(self) -> &'static [RaisedBy] {
        self.row().raised_by
    }

    /// Name, meaning and remedy, as a warning has them.
    ///
    /// ```
    /// use skewstar::flag::Flag;
    /// assert_eq!(
    ///     Flag::EightBits.warning(),
    ///     "eight_bits: The file has eight bits a pixel, so that faint light is rounded off. \
    ///      Use the camera's own file with all of its bits."
    /// );
    /// ```
    pub fn warning(self) -> String {
        let FlagRow {
            meaning, remedy, ..
        } = self.row();
        format!("{self}: {meaning} {remedy}")
    }

    fn noll(self) -> Option<u32> {
        match self {
            Flag::PhotonBoundSingular(noll) => Some(noll),
            _ => None,
        }
    }

    /// The flag of the same kind with another number, where it has one.
    fn with_noll(self, noll: u32) -> Flag {
        match self {
            Flag::PhotonBoundSingular(_) => Flag::PhotonBoundSingular(noll),
            plain => plain,
        }
    }
}

impl fmt::Display for Flag {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.noll() {
            Some(noll) => write!(out, "{}:{noll}", self.name().trim_end_matches(NUMBER)),
            None => out.write_str(self.name()),
        }
    }
}

/// A text that is no flag.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{found:?} is no flag; {}", self.hint())]
pub struct UnknownFlag {
    /// The text.
    pub found: String,
    /// The flag whose name is nearest, where one is near enough to be a slip of the fingers.
    pub nearest: Option<&'static str>,
}

impl UnknownFlag {
    fn new(found: &str) -> UnknownFlag {
        UnknownFlag {
            found: found.chars().take(80).collect(),
            nearest: nearest(found, Flag::ALL.iter().map(|flag| flag.name())),
        }
    }

    /// What to try next.
    pub fn hint(&self) -> String {
        match self.nearest {
            Some(name) => format!("did you mean {name}?"),
            None => "all flags are listed in DEVELOPERS.md, \"Flags\"".to_owned(),
        }
    }
}

impl FromStr for Flag {
    type Err = UnknownFlag;

    /// Reads what `Display` writes.
    ///
    /// ```
    /// use skewstar::flag::Flag;
    /// assert_eq!("photon_bound_singular:7".parse(), Ok(Flag::PhotonBoundSingular(7)));
    /// let error = "sturated".parse::<Flag>().unwrap_err();
    /// assert_eq!(error.to_string(), "\"sturated\" is no flag; did you mean saturated?");
    /// ```
    fn from_str(text: &str) -> Result<Flag, UnknownFlag> {
        let (stem, noll) = match text.split_once(':') {
            Some((stem, number)) => (stem, number.parse().unwrap_or_default()),
            None => (text, 0),
        };
        let kinds = Flag::ALL.iter();
        let same_name = |flag: &&Flag| flag.name().trim_end_matches(NUMBER) == stem;
        let named = kinds.copied().find(|flag| same_name(&flag));
        named
            .map(|flag| flag.with_noll(noll))
            .filter(|flag| flag.noll() != Some(0) && flag.to_string() == text)
            .ok_or_else(|| UnknownFlag::new(text))
    }
}

impl Serialize for Flag {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Flag {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Flag, D::Error> {
        String::deserialize(deserializer)?
            .parse()
            .map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn each_flag_stands_once_and_is_read_as_it_is_written() {
        let names: BTreeSet<&str> = Flag::ALL.iter().map(|flag| flag.name()).collect();
        assert_eq!(names.len(), Flag::ALL.len());
        for flag in Flag::ALL {
            assert_eq!(flag.to_string().parse(), Ok(*flag));
            let json = serde_json::to_string(flag).unwrap();
            assert_eq!(json, format!("\"{flag}\""));
            assert_eq!(serde_json::from_str::<Flag>(&json).unwrap(), *flag);
        }
    }

    /// Whole sentences, in words of their own, and a place where each is raised.
    #[test]
    fn each_flag_has_a_meaning_and_a_remedy() {
        let mut said = BTreeSet::new();
        for flag in Flag::ALL {
            for sentence in [flag.meaning(), flag.remedy()] {
                assert!(
                    sentence.starts_with(char::is_uppercase),
                    "{flag}: {sentence}"
                );
                assert!(sentence.ends_with('.'), "{flag}: {sentence}");
                assert!(!sentence.contains(['|', '\n']), "{flag}: {sentence}");
            }
            assert!(
                said.insert(flag.meaning()),
                "{flag} means what another means"
            );
            assert!(!flag.raised_by().is_empty(), "{flag}");
            let name = flag.name().trim_end_matches(NUMBER);
            let plain = |c: char| c.is_ascii_lowercase() || c == '_';
            assert!(name.chars().all(plain), "{name}");
        }
    }

    /// Only what is measured, or read in order to be measured, can be something not to act on.
    #[test]
    fn truths_are_sound() {
        for flag in Flag::ALL.iter().filter(|flag| !flag.is_sound()) {
            let of_frame = [RaisedBy::Measure, RaisedBy::ImageFile];
            assert!(
                flag.raised_by().iter().all(|who| of_frame.contains(who)),
                "{flag}"
            );
        }
    }

    #[test]
    fn other_texts_are_refused_with_the_nearest_flag() {
        let nearest = |text: &str| text.parse::<Flag>().unwrap_err().nearest;
        assert_eq!(nearest("poorfit"), Some("poor_fit"));
        assert_eq!(nearest("Saturated"), Some("saturated"));
        assert_eq!(nearest("saturated:4"), Some("saturated"));
        let number = Some("photon_bound_singular:NOLL");
        for text in ["", ":", "x", ":4", "rain", "saturated;lossy"] {
            assert_eq!(nearest(text), None, "{text}");
        }
        for number_text in ["", "0", "+4", "04", "4 ", "-4", "4.0", "4294967296", "NOLL"] {
            let text = format!("photon_bound_singular:{number_text}");
            assert_eq!(nearest(&text), number, "{text}");
        }
        assert_eq!(nearest("photon_bound_singular"), number);
        let long = "a".repeat(1_000_000).parse::<Flag>().unwrap_err();
        assert!(long.to_string().len() < 200);
        assert_eq!(
            "rain".parse::<Flag>().unwrap_err().to_string(),
            "\"rain\" is no flag; all flags are listed in DEVELOPERS.md, \"Flags\""
        );
    }
}
