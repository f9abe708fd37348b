//! The shape of the crate, read off its own text: who may know of whom, who may touch the world outside, and what no file may
//! hold. A rule that has to be broken is broken here first, in one line with a reason.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};

mod dependencies;
mod layers;
mod source;
mod world;

use source::{Named, Token};

/// One file of `src`.
pub struct SourceFile {
    /// As in `geometry/shape.rs`.
    pub name: String,
    pub text: String,
    pub tokens: Vec<Token>,
    pub named: Vec<Named>,
}

impl SourceFile {
    pub fn new(name: &str, text: &str) -> SourceFile {
        let tokens = source::tokens(text);
        SourceFile {
            name: name.to_owned(),
            text: text.to_owned(),
            named: source::named(&tokens),
            tokens,
        }
    }

    /// The module at the top of the crate that the file belongs to; `lib` and `main` for themselves.
    pub fn room(&self) -> &str {
        let first = self.name.split('/').next().unwrap_or_default();
        first.trim_end_matches(".rs")
    }

    /// Path of the file's module from the root of the crate.
    pub fn module(&self) -> Vec<String> {
        let mut parts: Vec<String> = self
            .name
            .trim_end_matches(".rs")
            .split('/')
            .map(str::to_owned)
            .collect();
        if parts.last().is_some_and(|last| last == "mod") || parts == ["lib"] || parts == ["main"] {
            parts.pop();
        }
        parts
    }

    pub fn at(&self, line: usize) -> String {
        format!("src/{}:{line}", self.name)
    }

    fn mark_as_test(&mut self) {
        self.tokens
            .iter_mut()
            .for_each(|token| token.in_test = true);
        self.named.iter_mut().for_each(|named| named.in_test = true);
    }
}

pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every file of `src`, in order of name; files that are modules of unit tests are marked as such.
pub fn sources() -> Vec<SourceFile> {
    let mut files = Vec::new();
    read_folder(&root().join("src"), "", &mut files);
    assert!(files.len() > 50, "only {} files", files.len());
    let tests: BTreeSet<String> = files.iter().flat_map(test_modules).collect();
    for file in &mut files {
        if tests.contains(&file.module().join("::")) {
            file.mark_as_test();
        }
    }
    files.sort_by(|a, b| a.name.cmp(&b.name));
    files
}

fn read_folder(folder: &Path, before: &str, files: &mut Vec<SourceFile>) {
    for entry in fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("an entry").path();
        let name = format!(
            "{before}{}",
            path.file_name().expect("a name").to_string_lossy()
        );
        if path.is_dir() {
            read_folder(&path, &format!("{name}/"), files);
        } else if name.ends_with(".rs") {
            files.push(SourceFile::new(
                &name,
                &fs::read_to_string(&path).expect("text"),
            ));
        }
    }
}

/// Modules that a file declares for unit tests only: `#[cfg(test)] mod testing;`.
fn test_modules(file: &SourceFile) -> Vec<String> {
    let declared = file
        .tokens
        .windows(3)
        .filter(|three| three[0].in_test && three[0].text == "mod" && three[2].text == ";");
    declared
        .map(|three| {
            let mut path = file.module();
            path.push(three[1].text.clone());
            path.join("::")
        })
        .collect()
}

/// Fails with every breach in one message.
#[track_caller]
fn none(breaches: &[String]) {
    assert!(breaches.is_empty(), "{}", breaches.join("\n"));
}

/// A file may be longer than this only with a reason; 400 are aimed at. Unit tests at its foot are not counted.
const LONGEST: usize = 450;
/// Unit tests in a file of their own are read one by one.
const LONGEST_TESTS: usize = 600;
const LONG_FILES: [(&str, &str); 16] = [
    (
        "measure/whole_frame.rs",
        "the records of a whole frame and what is told of plane and node, beside what finds them",
    ),
    (
        "predict/model.rs",
        "everything that is prepared once for a star, in the order in which light needs it",
    ),
    (
        "first_frame/text.rs",
        "one page of a file from top to bottom, each number with where it comes from",
    ),
    (
        "dataset/table.rs",
        "the table of truth: a column a line, and nothing else",
    ),
    (
        "measure/learn.rs",
        "one fit and the record that it fills, with every refusal beside its reason",
    ),
    (
        "practice/session.rs",
        "every action of a drill and what it costs, in one match",
    ),
    (
        "night/look.rs",
        "one frame from bytes to the next step, in one sequence",
    ),
    (
        "preview/check.rs",
        "one finding after the other, each a short function",
    ),
    (
        "measure/report.rs",
        "the record of a measurement: fields with their meaning, no decisions",
    ),
    (
        "measure/measurement.rs",
        "the whole chain of measuring in the order in which it runs",
    ),
    (
        "measure/next.rs",
        "every next step with its sentence: read together, so that no two plans are told",
    ),
    (
        "cli/practice.rs",
        "every verb of a drill, which share one session file and its pictures",
    ),
    (
        "cli/score.rs",
        "one verb: table, limits and comparison of the same numbers",
    ),
    (
        "measure/ring.rs",
        "one algorithm: the edges of a doughnut, sector by sector",
    ),
    (
        "measure/fit/view.rs",
        "one frame as a fit sees it, with its derivatives beside its values",
    ),
    (
        "measure/stars.rs",
        "one search: from points to doughnuts and spikes with the same growing regions",
    ),
];

#[test]
fn files_are_short_enough_to_read() {
    let mut reasons: BTreeMap<&str, &str> = LONG_FILES.into_iter().collect();
    let mut breaches = Vec::new();
    for file in sources() {
        let code = file.text.lines().take_while(|line| *line != "#[cfg(test)]");
        let lines = code.count();
        let longest = match file.name.ends_with("tests.rs") {
            true => LONGEST_TESTS,
            false => LONGEST,
        };
        if lines > longest && reasons.remove(file.name.as_str()).is_none() {
            breaches.push(format!(
                "src/{} has {lines} lines: split it by what it is about",
                file.name
            ));
        }
    }
    breaches.extend(
        reasons
            .keys()
            .map(|name| format!("src/{name} is no longer long")),
    );
    none(&breaches);
}

#[test]
fn every_file_says_why_it_exists() {
    let breaches: Vec<String> = sources()
        .iter()
        .filter(|file| header(&file.text).is_empty())
        .map(|file| format!("src/{} does not start with //!", file.name))
        .collect();
    none(&breaches);
    assert_eq!(
        header("#![forbid(unsafe_code)]\n//! Why.\n//! More.\n\nfn x() {}"),
        "Why. More."
    );
    assert_eq!(header("use std::fs;\n//! Why."), "");
}

/// The words of `//!` at the top, behind attributes of the whole crate.
fn header(text: &str) -> String {
    let lines = text
        .lines()
        .skip_while(|line| line.starts_with("#![") || line.is_empty());
    let words: Vec<&str> = lines
        .map_while(|line| line.strip_prefix("//!"))
        .map(str::trim)
        .collect();
    words.join(" ")
}

/// Marks of work that is not done, and of the machine it was done on. (Taken apart, so that this file does not hold them.)
const MARKS: [[&str; 2]; 10] = [
    ["TO", "DO"],
    ["FIX", "ME"],
    ["XX", "X"],
    ["HA", "CK"],
    ["to", "do!"],
    ["unimple", "mented!"],
    ["db", "g!("],
    ["/ro", "ot/"],
    ["/tm", "p/"],
    ["/wo", "rk/"],
];

#[test]
fn nothing_is_left_to_be_done_or_points_to_one_machine() {
    let mut files = Vec::new();
    for folder in ["src", "tests"] {
        read_folder(&root().join(folder), &format!("{folder}/"), &mut files);
    }
    let mut breaches = Vec::new();
    for file in &files {
        for (number, line) in file.text.lines().enumerate() {
            for mark in MARKS.map(|two| two.concat()) {
                if line.contains(&mark) {
                    breaches.push(format!("{}:{} holds {mark}", file.name, number + 1));
                }
            }
        }
    }
    none(&breaches);
    assert!(
        files
            .iter()
            .any(|file| file.name == "tests/architecture.rs")
    );
}
