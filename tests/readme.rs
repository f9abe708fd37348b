//! README is true: every command in it is run, in its order, in one folder; what it says is printed is printed; its pictures of
//! measuring, masks and scores are what these commands draw; its table names every verb of the program and no other.

use crate::renders::differs;
use std::collections::BTreeSet;
use std::fs;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

const PROGRAM: &str = env!("CARGO_BIN_EXE_skewstar");
const ROOT: &str = env!("CARGO_MANIFEST_DIR");

/// Pictures in README that its commands draw: where they are drawn, name in `renders/`.
const PICTURES: [(&str, &str); 4] = [
    ("tonight.star.png", "night"),
    ("out/mask-two-zone-coma.preview.png", "mask-preview"),
    ("out/night-fast-unit.counts.annotated.png", "measured"),
    ("out/outside.score.png", "score"),
];

#[test]
fn every_command_runs_and_prints_what_is_said() {
    let readme = fs::read_to_string(format!("{ROOT}/README.md")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    copy(
        &Path::new(ROOT).join("scenarios"),
        &folder.path().join("scenarios"),
    );
    let mut printed = String::new();
    let mut commands = 0;
    for line in blocks(&readme, "sh").flat_map(|block| block.lines()) {
        let command = line.split(" #").next().unwrap_or_default().trim();
        if let Some(said) = run(command, folder.path()) {
            printed += &said;
            commands += 1;
        }
    }
    assert!(commands > 15, "only {commands} commands were found");
    for line in blocks(&readme, "text").flat_map(|block| block.lines()) {
        assert!(
            printed.lines().any(|p| p == line),
            "README says that this is printed: {line}\n{printed}"
        );
    }
    let wrong: Vec<String> = PICTURES
        .iter()
        .filter_map(|(made, kept)| {
            let kept = Path::new(ROOT).join(format!("renders/{kept}.png"));
            Some(format!(
                "{made}: {}",
                differs(&folder.path().join(made), &kept)?
            ))
        })
        .collect();
    assert!(
        wrong.is_empty(),
        "{wrong:#?}\nUPDATE_RENDERS=1 writes them anew"
    );
}

#[test]
fn the_table_names_every_verb_and_no_other() {
    let readme = fs::read_to_string(format!("{ROOT}/README.md")).unwrap();
    let help = Command::new(PROGRAM).arg("--help").output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let listed: BTreeSet<&str> = subverbs(&help).collect();
    let told: BTreeSet<&str> = readme
        .split("`skewstar ")
        .skip(1)
        .filter_map(|rest| rest.split(|c: char| !c.is_ascii_lowercase()).next())
        .collect();
    assert_eq!(listed, told);
}

/// The code blocks of a language.
fn blocks<'a>(text: &'a str, language: &'a str) -> impl Iterator<Item = &'a str> {
    let fence = format!("```{language}\n");
    text.match_indices("```")
        .filter(move |(at, _)| text[*at..].starts_with(&fence))
        .filter_map(move |(at, _)| {
            let body = &text[at + 4 + language.len()..];
            body.split("```").next()
        })
}

/// Runs one line of README; what it printed, or `None` for what is not ours to run here.
fn run(command: &str, folder: &Path) -> Option<String> {
    let words: Vec<&str> = command.split_whitespace().collect();
    let arguments = match words.as_slice() {
        ["skewstar", "serve", ..] => return Some(served(folder)),
        ["skewstar", rest @ ..] => rest,
        ["cargo", "run", "--release", "--", rest @ ..] => rest,
        // run by .ci/sets, which compares the answers with these
        ["python3", .., answers] => {
            let kept = format!("{ROOT}/tests/data/scores/outside-answers.csv");
            fs::copy(kept, folder.join(answers)).unwrap();
            return None;
        }
        // what passes the tests is running now
        ["cargo", "test"] | [] => return None,
        _ => panic!("README has a command that no test runs: {command}"),
    };
    let done = Command::new(PROGRAM)
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap();
    let said = String::from_utf8(done.stdout).unwrap();
    // a goal that is not reached is no failure of README
    let good: &[i32] = if arguments.contains(&"reveal") {
        &[0, 1]
    } else {
        &[0]
    };
    assert!(
        done.status.code().is_some_and(|code| good.contains(&code)),
        "{command}: {}\n{said}{}",
        done.status,
        String::from_utf8_lossy(&done.stderr)
    );
    Some(said)
}

/// The page is started, says where it is, and is ended.
fn served(folder: &Path) -> String {
    let mut page = Command::new(PROGRAM)
        .current_dir(folder)
        .args(["serve", "--port", "0"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let mut line = String::new();
    let out = page.stdout.take().unwrap();
    BufReader::new(out).read_line(&mut line).unwrap();
    page.kill().unwrap();
    page.wait().unwrap();
    assert!(line.starts_with("Open http://"), "{line}");
    line
}

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// Every verb shows an example in its help, and what the example names is there.
#[test]
fn every_help_has_an_example_that_can_be_typed() {
    let mut without = Vec::new();
    let mut verbs: Vec<Vec<String>> = vec![Vec::new()];
    while let Some(words) = verbs.pop() {
        let help = Command::new(PROGRAM).args(&words).arg("--help").output();
        let help = String::from_utf8(help.unwrap().stdout).unwrap();
        verbs.extend(subverbs(&help).map(|verb| [words.clone(), vec![verb.to_owned()]].concat()));
        let Some(example) = help.lines().find_map(|line| line.strip_prefix("Example: ")) else {
            without.push(words.join(" "));
            continue;
        };
        assert!(
            example.starts_with(&format!("skewstar {}", words.first().unwrap())),
            "{example}"
        );
        for named in example
            .split_whitespace()
            .filter(|w| w.starts_with("scenarios/"))
        {
            assert!(Path::new(ROOT).join(named).exists(), "{example}");
        }
    }
    assert_eq!(without, [""], "no example in their help");
}

fn subverbs(help: &str) -> impl Iterator<Item = &str> {
    help.lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.split_whitespace().next())
        .filter(|verb| *verb != "help")
}

/// The table of measuring in DEVELOPERS.md has the figures of `benches/measuring.json`.
#[test]
fn the_guide_has_the_figures_of_the_evidence() {
    let text = fs::read_to_string(format!("{ROOT}/benches/measuring.json")).unwrap();
    let evidence: serde_json::Value = serde_json::from_str(&text).unwrap();
    let guide = fs::read_to_string(format!("{ROOT}/DEVELOPERS.md")).unwrap();
    let mut rows = 0;
    for (part, what) in [
        ("matched", "model known"),
        ("differs", "reality differs"),
        ("capture", "no guess"),
    ] {
        for tally in evidence[part]["found"].as_array().unwrap() {
            let name = tally["name"].as_str().unwrap().replace(" electrons", "");
            let (stars, electrons) = name.rsplit_once(", ").unwrap();
            let over = tally["error_over_bound"].as_f64();
            let row = format!(
                "| {what}: {stars} | {} | {electrons} | {:.2} | {} | {:.2} | {} |",
                tally["worlds"],
                tally["coma_error_nm"].as_f64().unwrap(),
                over.map_or("–".into(), |ratio| format!("{ratio:.2}")),
                tally["pulls"].as_f64().unwrap(),
                tally["failed"].as_array().unwrap().len()
            );
            assert!(
                guide.lines().any(|line| line == row),
                "not in the guide: {row}"
            );
            rows += 1;
        }
    }
    assert!(rows >= 18, "{rows} rows");
}
