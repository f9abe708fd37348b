//! What the program says: answers to standard output, everything else to standard error.
//!
//! An answer is either plain sentences or, with `--json`, one JSON document, never both. A reader that stops reading early
//! (`skewstar … | head`) is no error. Nothing here is coloured.

use serde::Serialize;
use std::fmt::Display;
use std::io::{self, ErrorKind, IsTerminal, Write};

/// Where answers, notes, warnings and errors go.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Console {
    /// `--quiet`: no notes and no progress. Answers, warnings and errors are still printed.
    pub quiet: bool,
    /// `--json`: answers are JSON.
    pub json: bool,
}

impl Console {
    /// An answer in plain sentences; left out with `--json`.
    ///
    /// # Errors
    /// Standard output cannot take it, a full disc for instance. A closed pipe is no error.
    pub fn answer(&self, sentences: impl Display) -> io::Result<()> {
        if self.json {
            Ok(())
        } else {
            data(&mut io::stdout().lock(), &sentences.to_string())
        }
    }

    /// The same answer as a JSON document; left out without `--json`.
    ///
    /// # Errors
    /// As [`Console::answer`], or the value cannot be written as JSON.
    pub fn answer_json(&self, value: &impl Serialize) -> io::Result<()> {
        if self.json {
            data(
                &mut io::stdout().lock(),
                &serde_json::to_string_pretty(value)?,
            )
        } else {
            Ok(())
        }
    }

    /// Data that is asked for by itself (a schema, a completion script), whatever the options.
    ///
    /// # Errors
    /// As [`Console::answer`].
    pub fn data(&self, text: &str) -> io::Result<()> {
        data(&mut io::stdout().lock(), text)
    }

    /// Something good to know while it runs, such as which files were written; left out with `--quiet`.
    pub fn note(&self, text: impl Display) {
        if !self.quiet {
            aside(&mut io::stderr().lock(), &text.to_string());
        }
    }

    /// Something that may make the answer wrong.
    pub fn warning(&self, text: impl Display) {
        aside(&mut io::stderr().lock(), &format!("warning: {text}"));
    }

    /// A sound of the terminal, for eyes that are elsewhere; left out with `--quiet`.
    pub fn bell(&self) {
        if !self.quiet && io::stderr().is_terminal() {
            // no line end: the next line stays where it is
            write!(io::stderr().lock(), "\x07").unwrap_or_default();
        }
    }

    /// Why the program stops, and what to try next.
    pub fn error(&self, text: impl Display, hint: Option<&str>) {
        aside(&mut io::stderr().lock(), &error_lines(text, hint));
    }
}

fn error_lines(text: impl Display, hint: Option<&str>) -> String {
    hint.map_or_else(
        || format!("error: {text}"),
        |hint| format!("error: {text}\nhint: {hint}"),
    )
}

/// Writes text with a line end behind it, unless it has one.
fn data(sink: &mut impl Write, text: &str) -> io::Result<()> {
    let end = if text.ends_with('\n') { "" } else { "\n" };
    let written = write!(sink, "{text}{end}").and_then(|()| sink.flush());
    written.or_else(|error| {
        if error.kind() == ErrorKind::BrokenPipe {
            Ok(())
        } else {
            Err(error)
        }
    })
}

/// Says something on the side. When even that cannot be written there is nobody left to tell.
fn aside(sink: &mut impl Write, text: &str) {
    data(sink, text).unwrap_or_default();
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A sink that refuses everything for one reason.
    struct Refusing(ErrorKind);

    impl Write for Refusing {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(self.0.into())
        }
        fn flush(&mut self) -> io::Result<()> {
            Err(self.0.into())
        }
    }

    #[test]
    fn a_closed_pipe_is_no_error_but_a_full_disc_is() {
        assert!(data(&mut Refusing(ErrorKind::BrokenPipe), "an answer").is_ok());
        assert_eq!(
            data(&mut Refusing(ErrorKind::StorageFull), "an answer")
                .unwrap_err()
                .kind(),
            ErrorKind::StorageFull
        );
        aside(&mut Refusing(ErrorKind::StorageFull), "a note");
    }

    #[test]
    fn every_text_ends_with_exactly_one_line_end() {
        for text in ["one line", "one line\n"] {
            let mut sink = Vec::new();
            data(&mut sink, text).unwrap();
            assert_eq!(sink, b"one line\n");
        }
    }

    #[test]
    fn an_error_is_followed_by_its_hint() {
        assert_eq!(
            error_lines("no room", Some("use --out DIR")),
            "error: no room\nhint: use --out DIR"
        );
        assert_eq!(error_lines("no room", None), "error: no room");
    }
}
