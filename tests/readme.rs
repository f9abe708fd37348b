//! README and the guide are true: every command in them is run, in their order, in one folder, or at least read against the program's help;
//! what they say is printed is printed; their pictures are what these commands draw; their links lead somewhere; the table of verbs names
//! every verb of the program and no other.

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

/// The pages in the order in which somebody reads them; commands of a later one may use what an earlier one left.
const PAGES: [&str; 12] = [
    "README.md",
    "src/guide/learn.md",
    "src/guide/mask.md",
    "src/guide/telescope.md",
    "src/guide/night.md",
    "src/guide/authors.md",
    "src/guide/scale.md",
    "src/guide/scenario.md",
    "src/guide/sets.md",
    "src/guide/verbs.md",
    "src/guide/page.md",
    "src/guide/platforms.md",
];

fn text_of(page: &str) -> String {
    fs::read_to_string(Path::new(ROOT).join(page)).unwrap()
}

#[test]
fn every_command_runs_and_prints_what_is_said() {
    let folder = tempfile::tempdir().unwrap();
    copy(
        &Path::new(ROOT).join("scenarios"),
        &folder.path().join("scenarios"),
    );
    let mut printed = String::new();
    let mut commands = 0;
    for page in PAGES.map(text_of) {
        for line in blocks(&page, "sh").flat_map(|block| block.lines()) {
            if let Some(said) = run(command_of(line), folder.path()) {
                printed += &said;
                commands += 1;
            }
        }
    }
    assert!(commands > 25, "only {commands} commands were found");
    for page in PAGES {
        let text = text_of(page);
        for line in blocks(&text, "text").flat_map(|block| block.lines()) {
            assert!(
                printed.lines().any(|p| p == line),
                "{page} says that this is printed: {line}\n{printed}"
            );
        }
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

/// Whoever opens README is not to be buried: the guide has the rest.
#[test]
fn readme_is_short() {
    let lines = text_of("README.md").lines().count();
    assert!(lines <= 150, "{lines} lines");
}

/// What takes too long to be run, or goes on until somebody ends it, and commands within sentences: verbs and options are there.
#[test]
fn commands_that_are_not_run_can_be_typed() {
    let mut commands = 0;
    for page in PAGES {
        let text = text_of(page);
        let long = blocks(&text, "console").flat_map(|block| block.lines());
        let in_sentences = spans(&text).map(str::trim);
        for command in long.map(command_of).chain(in_sentences) {
            let words: Vec<&str> = command.split_whitespace().collect();
            let ["skewstar", rest @ ..] = words.as_slice() else {
                continue;
            };
            let verb: Vec<&str> = rest
                .iter()
                .copied()
                .take_while(|word| is_verb(word))
                .take(2)
                .collect();
            let help = help_of(&verb)
                .or_else(|| help_of(&verb[..verb.len().min(1)]))
                .unwrap_or_else(|| panic!("{page}: no such verb: {command}"));
            for option in rest.iter().filter(|word| word.starts_with("--")) {
                let name = option.split('=').next().unwrap_or(option);
                let there = help
                    .split(|c: char| c.is_whitespace() || c == ',')
                    .any(|word| word == name);
                assert!(there, "{page}: {name} is no option of: {command}");
            }
            commands += 1;
        }
    }
    assert!(commands > 20, "only {commands} commands were found");
}

fn is_verb(word: &str) -> bool {
    word.chars().all(|c| c.is_ascii_lowercase() || c == '-') && !word.starts_with('-')
}

/// What `--help` prints for a verb; `None` where there is none.
fn help_of(verb: &[&str]) -> Option<String> {
    let help = Command::new(PROGRAM).args(verb).arg("--help").output();
    let help = help.unwrap();
    let is_its_own = |text: &str| text.contains(&format!("Usage: {}", usage(verb)));
    let text = String::from_utf8(help.stdout).unwrap();
    // the program's file has an ending where the system wants one
    let text = text.replace("skewstar.exe", "skewstar");
    (help.status.success() && is_its_own(&text)).then_some(text)
}

/// How the line of usage of a verb begins.
fn usage(verb: &[&str]) -> String {
    [&["skewstar"][..], verb].concat().join(" ")
}

/// Pieces of code within sentences.
fn spans(text: &str) -> impl Iterator<Item = &str> {
    let outside_blocks = text.split("```").step_by(2);
    outside_blocks.flat_map(|part| part.split('`').skip(1).step_by(2))
}

/// Links and pictures lead to files of the repository, or to another page of the guide.
#[test]
fn links_lead_somewhere() {
    let mut links = 0;
    for page in PAGES {
        let text = text_of(page);
        let folder = Path::new(ROOT).join(page);
        let folder = folder.parent().unwrap();
        let inline = text
            .split("](")
            .skip(1)
            .filter_map(|rest| rest.split(')').next());
        let defined = text.lines().filter_map(|line| {
            let (name, target) = line.split_once("]: ")?;
            name.starts_with('[').then_some(target)
        });
        for target in inline.chain(defined) {
            let file = folder.join(target.split('#').next().unwrap_or(target));
            assert!(file.exists(), "{page}: {target} leads nowhere");
            links += 1;
        }
    }
    assert!(links > 20, "only {links} links were found");
}

/// Every page of the guide is in the crate's documentation, and one of the pages that are tested.
#[test]
fn every_page_of_the_guide_is_in_the_documentation() {
    let module = text_of("src/guide.rs");
    let mut pages: Vec<String> = fs::read_dir(Path::new(ROOT).join("src/guide"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    pages.sort();
    let mut tested: Vec<&str> = PAGES
        .iter()
        .filter_map(|page| page.strip_prefix("src/guide/"))
        .collect();
    tested.sort_unstable();
    assert_eq!(pages, tested);
    for page in &pages {
        assert!(
            module.contains(&format!("include_str!(\"guide/{page}\")")),
            "{page} is in no module of src/guide.rs"
        );
    }
}

#[test]
fn the_table_names_every_verb_and_no_other() {
    let table = text_of("src/guide/verbs.md");
    let help = help_of(&[]).unwrap();
    let listed: BTreeSet<&str> = subverbs(&help).collect();
    let told: BTreeSet<&str> = table
        .lines()
        .filter(|line| line.starts_with('|'))
        .flat_map(|line| line.split("`skewstar ").skip(1))
        .filter_map(|rest| rest.split(|c: char| !c.is_ascii_lowercase()).next())
        .collect();
    assert_eq!(listed, told);
}

/// A line of a block without its remark.
fn command_of(line: &str) -> &str {
    line.split(" #").next().unwrap_or_default().trim()
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

/// Runs one line of a page; what it printed, or `None` for what is not ours to run here.
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
        _ => panic!("a page has a command that no test runs: {command}"),
    };
    let done = Command::new(PROGRAM)
        .current_dir(folder)
        .args(arguments)
        .output()
        .unwrap();
    let said = String::from_utf8(done.stdout).unwrap();
    // a goal that is not reached is no failure of a page
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

/// The verbs that a help lists, in groups or not.
fn subverbs(help: &str) -> impl Iterator<Item = &str> {
    help.lines()
        .skip_while(|line| !line.starts_with("Usage:"))
        .take_while(|line| *line != "Options:")
        .filter_map(|line| line.strip_prefix("  "))
        .filter(|line| line.starts_with(|letter: char| letter.is_ascii_lowercase()))
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
