//! Who may touch the world outside: files, network, clock, environment, screen; and who may panic.

use super::{SourceFile, none, sources};

/// A path that leads outside, who may take it, and why nobody else.
const DOORS: [(&str, &[&str], &str); 9] = [
    (
        "std::fs",
        &["cli", "files", "logbook"],
        "only the shell and the room of files open them; formats turn bytes into frames and back",
    ),
    (
        "tempfile",
        &["cli", "logbook"],
        "only the shell opens files",
    ),
    ("std::net", &["web"], "only the page talks to a browser"),
    (
        "std::env",
        &["cli", "web", "main"],
        "the same input gives the same bytes, whatever the environment",
    ),
    (
        "std::time",
        &["cli", "web", "logbook", "main", "python"],
        "the same input gives the same bytes at any time",
    ),
    (
        "std::process",
        &["cli", "main", "python"],
        "only the shell ends the program, or asks which process it is",
    ),
    ("std::io::stdout", &["cli"], "only the console prints"),
    ("std::io::stderr", &["cli"], "only the console prints"),
    ("indicatif", &["cli"], "only the shell shows progress"),
];

/// Macros that print: nobody's, since they panic when a pipe is closed. The console in `cli` does not.
const PRINTING: [&str; 4] = ["println", "eprintln", "print", "eprint"];
/// Macros that panic on purpose.
const PANICKING: [&str; 2] = ["panic", "unreachable"];
/// Where `unwrap`, `expect` or a panic may stand outside unit tests, how often, and why it cannot happen.
const CERTAIN: [(&str, usize, &str); 4] = [
    (
        "image_io/text.rs",
        1,
        "the font is part of the program, and a unit test draws with it",
    ),
    ("practice/eye.rs", 1, CONSTANT),
    ("web/rooms.rs", 2, CONSTANT),
    ("web/telescopes.rs", 1, CONSTANT),
];
const CONSTANT: &str = "a constant: worked out while it is compiled, a zero would not compile";

fn doors_taken(file: &SourceFile) -> Vec<String> {
    let outside_tests = file.named.iter().filter(|named| !named.in_test);
    outside_tests
        .filter_map(|named| {
            let path = named.path.join("::");
            let leads = |door: &str| path == door || path.starts_with(&format!("{door}::"));
            let (door, _, why) = DOORS
                .iter()
                .find(|(door, rooms, _)| leads(door) && !rooms.contains(&file.room()))?;
            Some(format!("{} uses {door}: {why}", file.at(named.line)))
        })
        .collect()
}

/// Lines outside unit tests with one of these macros.
fn macros(file: &SourceFile, names: &[&str]) -> Vec<usize> {
    let two = file
        .tokens
        .windows(2)
        .filter(|two| !two[0].in_test && two[1].text == "!");
    two.filter(|two| names.contains(&two[0].text.as_str()))
        .map(|two| two[0].line)
        .collect()
}

/// Lines outside unit tests with `.unwrap()` or `.expect(`.
fn unwraps(file: &SourceFile) -> Vec<usize> {
    let three = file.tokens.windows(3).filter(|three| !three[0].in_test);
    three
        .filter(|three| three[0].text == "." && three[2].text == "(")
        .filter(|three| matches!(three[1].text.as_str(), "unwrap" | "expect" | "unwrap_err"))
        .map(|three| three[1].line)
        .collect()
}

#[test]
fn only_the_shell_touches_the_world() {
    let breaches: Vec<String> = sources().iter().flat_map(doors_taken).collect();
    none(&breaches);
    let taken = |name: &str, text: &str| doors_taken(&SourceFile::new(name, text)).len();
    assert_eq!(
        taken("image_io/png.rs", "use std::{fs::File, io::Write};"),
        1
    );
    assert_eq!(
        taken("image_io/png.rs", "fn x() { std::fs::read(\"y\"); }"),
        1
    );
    assert_eq!(
        taken("simulate/mod.rs", "let t = std::time::Instant::now();"),
        1
    );
    assert_eq!(
        taken(
            "cli/output.rs",
            "use std::fs::File; use tempfile::NamedTempFile;"
        ),
        0
    );
    assert_eq!(
        taken("frame.rs", "#[cfg(test)] mod tests { use std::fs::File; }"),
        0
    );
}

#[test]
fn nobody_prints_but_the_console() {
    let breaches: Vec<String> = sources()
        .iter()
        .flat_map(|file| {
            macros(file, &PRINTING)
                .into_iter()
                .map(|line| file.at(line))
                .collect::<Vec<_>>()
        })
        .collect();
    none(&breaches);
    let planted = SourceFile::new(
        "frame.rs",
        "fn x() { println!(\"y\"); // eprintln!\n eprint!(\"z\") }",
    );
    assert_eq!(macros(&planted, &PRINTING), [1, 2]);
}

#[test]
fn nothing_a_user_does_makes_the_program_panic_on_purpose() {
    let mut breaches = Vec::new();
    for file in sources() {
        let mut lines = unwraps(&file);
        lines.extend(macros(&file, &PANICKING));
        let allowed = CERTAIN
            .iter()
            .find(|entry| entry.0 == file.name)
            .map_or(0, |entry| entry.1);
        if lines.len() != allowed {
            let found: Vec<String> = lines.iter().map(|line| file.at(*line)).collect();
            breaches.push(format!(
                "{allowed} allowed, found: {} {}",
                file.name,
                found.join(" ")
            ));
        }
    }
    none(&breaches);
    let planted =
        "fn x() { a.unwrap(); b.unwrap_or(1); c\n.expect(\"d\"); } #[test] fn t() { e.unwrap() }";
    assert_eq!(unwraps(&SourceFile::new("frame.rs", planted)), [1, 2]);
    let planted = SourceFile::new("frame.rs", "fn x() { unreachable!() }");
    assert_eq!(macros(&planted, &PANICKING), [1]);
}
