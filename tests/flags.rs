//! The list of flags in DEVELOPERS.md is the table in `src/flag/table.rs`, and every flag of it is raised somewhere.
//!
//! After a change of the table run once with `SKEWSTAR_REWRITE=1`: the list is written anew and the run still fails, so that it
//! is looked at.

use crate::architecture::sources;
use skewstar::flag::{Flag, RaisedBy};
use std::collections::BTreeSet;
use std::fs;

const GUIDE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/DEVELOPERS.md");
const HEADING: &str = "### Flags\n";

/// The table as the guide has it.
fn table() -> String {
    let mut table = String::from(
        "| flag | raised by | may be acted on | meaning | what to do |\n|---|---|---|---|---|\n",
    );
    for flag in Flag::ALL {
        let who: Vec<&str> = flag
            .raised_by()
            .iter()
            .map(|who| RaisedBy::name(*who))
            .collect();
        let sound = if flag.is_sound() { "yes" } else { "**no**" };
        table += &format!(
            "| `{}` | {} | {sound} | {} | {} |\n",
            flag.name(),
            who.join(", "),
            flag.meaning(),
            flag.remedy()
        );
    }
    table
}

/// The guide, split before and behind the table of its section on flags.
fn around(guide: &str) -> [&str; 3] {
    let section = guide.find(HEADING).expect("a section on flags") + HEADING.len();
    let start = section + guide[section..].find("\n|").expect("a table") + 1;
    let end = guide[start..].find("|\n\n").expect("an end of the table") + start + 2;
    [&guide[..start], &guide[start..end], &guide[end..]]
}

#[test]
fn the_guide_lists_every_flag() {
    let guide = fs::read_to_string(GUIDE).unwrap();
    let [before, listed, behind] = around(&guide);
    if std::env::var_os("SKEWSTAR_REWRITE").is_some() {
        fs::write(GUIDE, format!("{before}{}{behind}", table())).unwrap();
        panic!("the list was written anew; look at it, then run again without SKEWSTAR_REWRITE");
    }
    let wrong: Vec<&str> = listed
        .lines()
        .filter(|line| !table().contains(line))
        .collect();
    assert_eq!(listed, table(), "not as the table has it: {wrong:#?}");
}

/// A flag that nothing raises is a promise that nobody keeps.
#[test]
fn every_flag_is_raised_somewhere() {
    let files = sources();
    // `has(Flag::X)` and `without(Flag::X)` ask for a flag, whatever else names one raises it
    let asks = |before: &str| ["has", "without"].contains(&before);
    let named: BTreeSet<&str> = files
        .iter()
        .filter(|file| file.room() != "flag")
        .flat_map(|file| file.tokens.windows(5))
        .filter(|five| !five[2].in_test && five[2].text == "Flag" && five[3].text == "::")
        .filter(|five| !asks(&five[0].text))
        .map(|five| five[4].text.as_str())
        .collect();
    for flag in Flag::ALL {
        let debug = format!("{flag:?}");
        let variant = debug.split('(').next().unwrap_or_default();
        assert!(named.contains(&variant), "nothing raises {flag}");
    }
}
