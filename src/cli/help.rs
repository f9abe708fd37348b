//! The help: verbs by who needs them, in the order in which somebody meets them.

use super::args::Cli;
use clap::{Command, CommandFactory};
use std::fmt::Write;

/// Who needs a verb, and the verbs.
type Group = (&'static str, &'static [&'static str]);

/// The verbs of the program.
const VERBS: [Group; 5] = [
    (
        "To learn what a misaligned star looks like",
        &["render", "sheet", "field", "practice", "serve"],
    ),
    (
        "At the telescope",
        &["new", "check", "measure", "learn", "night"],
    ),
    ("For mask makers", &["mask"]),
    (
        "For authors of measuring code",
        &["dataset", "score", "schema"],
    ),
    ("For your shell", &["completions", "man"]),
];

/// What is done in a drill, and what drills the drills.
const PRACTICE: [Group; 2] = [
    (
        "In a drill",
        &[
            "start",
            "turn",
            "recentre",
            "focus",
            "look",
            "corners",
            "expose",
            "mask",
            "atmosphere",
            "show-me",
            "undo",
            "reveal",
            "question",
        ],
    ),
    (TESTERS, &["rehearse"]),
];

/// Heading of what only those need who test the program, or a set of others.
pub const TESTERS: &str = "For those who test";

/// The command line with its help in groups.
pub fn command() -> Command {
    let command = Cli::command();
    let template = template(&command, &VERBS);
    command
        .help_template(template)
        .mut_subcommand("practice", |practice| {
            let template = self::template(&practice, &PRACTICE);
            practice.help_template(template)
        })
}

/// A help page whose verbs stand in groups. A verb that is not there, because its feature is off, is left out.
fn template(command: &Command, groups: &[Group]) -> String {
    let mut page = String::from("{about-with-newline}\n{usage-heading} {usage}\n");
    for (who, verbs) in groups {
        let there: Vec<&Command> = verbs
            .iter()
            .filter_map(|verb| command.find_subcommand(verb))
            .collect();
        if there.is_empty() {
            continue;
        }
        // writing to a string cannot fail
        write!(page, "\n{who}:\n").unwrap_or_default();
        for verb in there {
            let about = verb
                .get_about()
                .map_or_else(String::new, ToString::to_string);
            writeln!(page, "  {:<13}{about}", verb.get_name()).unwrap_or_default();
        }
    }
    page + "\nOptions:\n{options}{after-help}"
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// A new verb has to be given its place.
    #[test]
    fn every_verb_has_its_group() {
        let command = Cli::command();
        let practice = command.find_subcommand("practice").unwrap();
        for (command, groups) in [(&command, &VERBS[..]), (practice, &PRACTICE[..])] {
            let there: BTreeSet<&str> = command.get_subcommands().map(Command::get_name).collect();
            let told: Vec<&str> = groups.iter().flat_map(|group| group.1).copied().collect();
            let once: BTreeSet<&str> = told.iter().copied().collect();
            assert_eq!(once.len(), told.len(), "a verb stands twice: {told:?}");
            assert_eq!(there, once);
        }
    }
}
