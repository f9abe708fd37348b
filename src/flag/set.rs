//! The flags that stand beside one result: each once, in the order in which they were raised.

use super::Flag;
use serde::de::{Deserializer, Error};
use serde::{Deserialize, Serialize};

/// A set of flags that keeps the order in which they were raised. In files it is a list of names.
///
/// ```
/// use skewstar::flag::{Flag, Flags};
/// let mut flags = Flags::default();
/// flags.raise(Flag::Saturated);
/// flags.extend([Flag::PoorFit, Flag::Saturated]);
/// assert_eq!(flags, Flags::from([Flag::Saturated, Flag::PoorFit]));
/// assert!(flags.has(Flag::PoorFit) && !flags.is_sound());
/// ```
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize)]
#[serde(transparent)]
pub struct Flags(Vec<Flag>);

impl Flags {
    /// Raises a flag; whether it was not up before.
    pub fn raise(&mut self, flag: Flag) -> bool {
        let new = !self.has(flag);
        if new {
            self.0.push(flag);
        }
        new
    }

    /// Whether a flag is up.
    pub fn has(&self, flag: Flag) -> bool {
        self.0.contains(&flag)
    }

    /// Whether a result that carries these flags may be acted on: none of them says otherwise.
    pub fn is_sound(&self) -> bool {
        self.iter().all(Flag::is_sound)
    }

    /// The flag to put right first where the result may not be acted on: a wrong pattern of filters, and then how the picture is
    /// held, explain everything else that is wrong with a star, and come first; else the one that was raised first.
    pub fn first_unsound(&self) -> Option<Flag> {
        const ROOTS: [Flag; 5] = [
            Flag::ColourPatternOffFrame,
            Flag::ColourPatternOpen,
            Flag::MirroredFitsBetter,
            Flag::HalfTurnFitsBetter,
            Flag::UpsideDownFitsBetter,
        ];
        let root = ROOTS.into_iter().find(|flag| self.has(*flag));
        root.or_else(|| self.iter().find(|flag| !flag.is_sound()))
    }

    /// Whether none is up.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// All that are up, in the order in which they were raised.
    pub fn iter(&self) -> impl Iterator<Item = Flag> + '_ {
        self.0.iter().copied()
    }

    /// The others, where a flag turned out not to apply.
    pub fn without(&self, flag: Flag) -> Flags {
        self.iter().filter(|other| *other != flag).collect()
    }
}

impl<'a> IntoIterator for &'a Flags {
    type Item = Flag;
    type IntoIter = std::iter::Copied<std::slice::Iter<'a, Flag>>;

    fn into_iter(self) -> Self::IntoIter {
        self.0.iter().copied()
    }
}

impl Extend<Flag> for Flags {
    fn extend<T: IntoIterator<Item = Flag>>(&mut self, flags: T) {
        for flag in flags {
            self.raise(flag);
        }
    }
}

impl FromIterator<Flag> for Flags {
    fn from_iter<T: IntoIterator<Item = Flag>>(flags: T) -> Flags {
        let mut set = Flags::default();
        set.extend(flags);
        set
    }
}

impl<const N: usize> From<[Flag; N]> for Flags {
    fn from(flags: [Flag; N]) -> Flags {
        flags.into_iter().collect()
    }
}

impl<'de> Deserialize<'de> for Flags {
    /// A list of names, each once.
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Flags, D::Error> {
        let mut set = Flags::default();
        for flag in Vec::<Flag>::deserialize(deserializer)? {
            if !set.raise(flag) {
                return Err(D::Error::custom(format!("the flag {flag} stands twice")));
            }
        }
        Ok(set)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flags_stand_once_and_in_order() {
        let mut flags = Flags::from([Flag::Lossy, Flag::EightBits, Flag::Lossy]);
        assert!(!flags.raise(Flag::EightBits) && flags.raise(Flag::FewStars));
        assert_eq!(
            serde_json::to_string(&flags).unwrap(),
            r#"["lossy","eight_bits","few_stars"]"#
        );
        let fewer = flags.without(Flag::EightBits);
        assert_eq!(fewer, Flags::from([Flag::Lossy, Flag::FewStars]));
        assert!(Flags::default().is_empty() && !fewer.is_empty());
    }

    /// Exactly the flags that say so make a result one that must not be acted on.
    #[test]
    fn one_unsound_flag_is_enough() {
        assert!(Flags::default().is_sound());
        for flag in Flag::ALL {
            let beside = Flags::from([Flag::Saturated, *flag]);
            assert_eq!(beside.is_sound(), flag.is_sound(), "{flag}");
        }
    }

    #[test]
    fn what_is_to_be_put_right_first_is_named() {
        let first = |flags: &[Flag]| flags.iter().copied().collect::<Flags>().first_unsound();
        assert_eq!(first(&[Flag::Saturated]), None);
        let poor = [Flag::Saturated, Flag::PoorFit, Flag::ComaUncertain];
        assert_eq!(first(&poor), Some(Flag::PoorFit));
        let held = [Flag::PoorFit, Flag::HalfTurnFitsBetter];
        assert_eq!(first(&held), Some(Flag::HalfTurnFitsBetter));
        let colours = [Flag::MirroredFitsBetter, Flag::ColourPatternOpen];
        assert_eq!(first(&colours), Some(Flag::ColourPatternOpen));
    }

    #[test]
    fn lists_of_files_are_read() {
        let read = |json: &str| serde_json::from_str::<Flags>(json).map_err(|e| e.to_string());
        let both = Flags::from([Flag::PhotonBoundSingular(5), Flag::NoWind]);
        assert_eq!(read(r#"["photon_bound_singular:5","no_wind"]"#), Ok(both));
        let twice = read(r#"["lossy","lossy"]"#).unwrap_err();
        assert!(twice.contains("the flag lossy stands twice"), "{twice}");
        let unknown = read(r#"["no_win"]"#).unwrap_err();
        assert!(unknown.contains("did you mean no_wind?"), "{unknown}");
        assert!(read("7").is_err() && read("[7]").is_err() && read("null").is_err());
    }
}
