//! What a check found, reduced to the one that is told: the earliest in the file.
//!
//! A missing key counts as later than everything else, since it is usually there under a misspelt name, and the file
//! counts before the command line. Messages are made for the told finding only.

use super::document::{Document, Origin};
use super::error::{Problem, ScenarioError};

/// The earliest finding so far.
pub(super) struct Contradictions<'d> {
    document: &'d Document,
    earliest: Option<(Order, Telling<'d>)>,
}

type Telling<'d> = Box<dyn FnOnce() -> (Problem, String) + 'd>;

/// Missing keys last, then by place.
type Order = (bool, bool, Origin);

impl<'d> Contradictions<'d> {
    /// Nothing found yet.
    pub fn of(document: &'d Document) -> Self {
        Contradictions {
            document,
            earliest: None,
        }
    }

    /// Whether nothing was found yet.
    pub fn is_empty(&self) -> bool {
        self.earliest.is_none()
    }

    /// Notes a wrong key or value typed at `origin`.
    pub fn wrong(&mut self, origin: Origin, tell: impl FnOnce() -> (Problem, String) + 'd) {
        self.note((false, false, origin), Box::new(tell));
    }

    /// Notes a key that is missing from the table at `origin`; `whole` when the key is a section.
    pub fn missing(
        &mut self,
        origin: Origin,
        whole: bool,
        tell: impl FnOnce() -> (Problem, String) + 'd,
    ) {
        self.note((true, whole, origin), Box::new(tell));
    }

    /// Notes a key that is missing from a section that is there.
    pub fn missing_from(&mut self, section: &str, tell: impl FnOnce() -> (Problem, String) + 'd) {
        self.missing(self.document.origin(section), false, tell);
    }

    /// Notes a value that is at odds with another one: what it is, and what it must be.
    pub fn out_of_range(
        &mut self,
        key: &str,
        value: impl Into<String>,
        allowed: impl Into<String>,
        hint: &str,
    ) {
        let problem = Problem::OutOfRange {
            key: key.to_owned(),
            value: value.into(),
            allowed: allowed.into(),
        };
        self.wrong_key(key, problem, hint);
    }

    /// Notes a problem of the key at a path.
    pub fn wrong_key(&mut self, key: &str, problem: Problem, hint: &str) {
        let hint = hint.to_owned();
        self.wrong(self.document.origin(key), move || (problem, hint));
    }

    /// Notes a problem of a key that the user named, in the table at a path.
    pub fn wrong_in(&mut self, table: &str, key: &str, problem: Problem, hint: &str) {
        let hint = hint.to_owned();
        self.wrong(self.document.origin_in(table, key), move || (problem, hint));
    }

    /// Notes two keys that exclude each other.
    pub fn exclude_each_other(&mut self, first: &str, second: &str, hint: &str) {
        let document = self.document;
        let (first_at, second_at) = (document.origin(first), document.origin(second));
        let problem = Problem::ExcludeEachOther {
            first: first.to_owned(),
            first_place: document.place(first_at),
            second: second.to_owned(),
            second_place: document.place(second_at),
        };
        let hint = hint.to_owned();
        self.wrong(first_at.max(second_at), move || (problem, hint));
    }

    /// The earliest finding as an error, or nothing.
    pub fn finish(self) -> Result<(), ScenarioError> {
        match self.earliest {
            Some(((_, _, origin), tell)) => {
                let (problem, hint) = tell();
                Err(self.document.error(origin, problem, hint))
            }
            None => Ok(()),
        }
    }

    fn note(&mut self, order: Order, tell: Telling<'d>) {
        if self
            .earliest
            .as_ref()
            .is_none_or(|(earliest, _)| order < *earliest)
        {
            self.earliest = Some((order, tell));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_earliest_is_told_and_missing_keys_last() {
        let document = Document::parse("a = 1\nb = 2", "t.toml").expect("valid TOML");
        let mut findings = Contradictions::of(&document);
        findings.missing(Origin::Byte(0), true, || panic!("not told"));
        findings.wrong(Origin::Argument(0), || panic!("not told"));
        findings.out_of_range("b", "2", "3", "hint b");
        findings.out_of_range("a", "1", "3", "hint a");
        let error = findings.finish().expect_err("four findings");
        assert_eq!(error.to_string(), "t.toml:1:1: a is 1, but must be 3");
        assert_eq!(error.hint(), "hint a");
    }

    #[test]
    fn nothing_found_is_no_error() {
        let document = Document::parse("a = 1", "t.toml").expect("valid TOML");
        assert_eq!(Contradictions::of(&document).finish(), Ok(()));
    }
}
