//! Other people's code: every crate is used, named with a reason, and under a licence that anybody may use.

use super::source::{named, tokens};
use super::{read_folder, root, sources};
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::process::Command;

/// Names in one table of `Cargo.toml`.
fn listed(table: &str) -> Vec<String> {
    listed_in("Cargo.toml", table)
}

/// Packages beside the program: the Python package, the page without a server.
const MEMBERS: [&str; 2] = ["src/python", "src/site"];

fn listed_of(member: &str) -> Vec<String> {
    listed_in(&format!("{member}/Cargo.toml"), "dependencies")
}

fn listed_in(manifest: &str, table: &str) -> Vec<String> {
    let text = fs::read_to_string(root().join(manifest)).expect("a manifest");
    let manifest: toml::Table = text.parse().expect("TOML");
    manifest[table]
        .as_table()
        .expect("a table")
        .keys()
        .cloned()
        .collect()
}

/// First words of all paths in a folder, such as `serde` of `serde::Serialize`.
fn crates_used(folder: &str, in_tests: bool) -> BTreeSet<String> {
    let files = if folder == "src" {
        let mut files = sources();
        files.retain(|file| !["python", "site"].contains(&file.room()));
        files
    } else {
        let mut files = Vec::new();
        read_folder(&root().join(folder), "", &mut files);
        files
    };
    files
        .iter()
        .flat_map(|file| &file.named)
        .filter(|named| in_tests || !named.in_test)
        .map(|named| named.path[0].clone())
        .collect()
}

#[test]
fn every_dependency_is_used() {
    let (program, tests) = (crates_used("src", false), crates_used("tests", true));
    let unit_tests = crates_used("src", true);
    for name in listed("dependencies") {
        assert!(
            program.contains(&name.replace('-', "_")),
            "src does not use {name}"
        );
    }
    for name in listed("dev-dependencies") {
        let word = name.replace('-', "_");
        assert!(
            tests.contains(&word) || unit_tests.contains(&word),
            "no test uses {name}"
        );
        assert!(
            !program.contains(&word),
            "{name} is for tests only, and src uses it"
        );
    }
    for member in MEMBERS {
        let package = crates_used(member, false);
        for name in listed_of(member) {
            assert!(
                package.contains(&name.replace('-', "_")),
                "{member} does not use {name}"
            );
        }
    }
    assert_eq!(named(&tokens("use serde::Serialize;"))[0].path[0], "serde");
}

/// Crate → reason, from the table under "## Dependencies".
fn reasons(text: &str) -> BTreeMap<String, String> {
    text.lines()
        .skip_while(|line| line.trim() != "## Dependencies")
        .skip(1)
        .take_while(|line| !line.starts_with("## "))
        .filter_map(|line| {
            let mut cells = line.strip_prefix("| `")?.splitn(2, "` |");
            let (name, reason) = (cells.next()?, cells.next()?);
            Some((name.to_owned(), reason.trim_matches([' ', '|']).to_owned()))
        })
        .collect()
}

#[test]
fn every_dependency_has_a_reason() {
    let text = fs::read_to_string(root().join("DEVELOPERS.md")).expect("DEVELOPERS.md");
    let reasons = reasons(&text);
    let mut names: BTreeSet<String> = [
        listed("dependencies"),
        listed("dev-dependencies"),
        MEMBERS.map(listed_of).concat(),
    ]
    .concat()
    .into_iter()
    .collect();
    // the library itself, which the other packages are made of
    names.remove("skewstar");
    for name in &names {
        let reason = reasons.get(name).map_or("", String::as_str);
        assert!(
            reason.len() > 4,
            "{name} has no row with a reason under \"## Dependencies\" in DEVELOPERS.md"
        );
    }
    for name in reasons.keys() {
        assert!(
            names.contains(name),
            "{name} is explained in DEVELOPERS.md, but is no dependency"
        );
    }
}

#[test]
fn the_table_of_reasons_is_read() {
    let text = "# Head\n| `no` | not here |\n## Dependencies\n\n| crate | why |\n|---|---|\n| `a-b` | for c |\n\n## Next\n| `d` | no |\n";
    let expected = BTreeMap::from([("a-b".to_owned(), "for c".to_owned())]);
    assert_eq!(reasons(text), expected);
}

/// Licences under which a crate may be part of the program: permissive ones only.
const PERMISSIVE: [&str; 9] = [
    "MIT",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "0BSD",
    "Zlib",
    "Unlicense",
    "Unicode-3.0",
];

/// Whether an SPDX expression can be met with permissive licences only. `/` is the old way of writing OR.
fn permissive(expression: &str) -> bool {
    let expression = expression.replace('/', " OR ");
    let either = split_outside(&expression, " OR ");
    let all = split_outside(&expression, " AND ");
    let inner = expression.trim();
    let inside = inner
        .strip_prefix('(')
        .and_then(|rest| rest.strip_suffix(')'));
    match (either.len(), all.len(), inside) {
        (2.., _, _) => either.iter().any(|part| permissive(part)),
        (_, 2.., _) => all.iter().all(|part| permissive(part)),
        (_, _, Some(inside)) => permissive(inside),
        _ => PERMISSIVE.contains(&inner),
    }
}

/// Splits at an operator that stands outside all brackets.
fn split_outside<'a>(text: &'a str, operator: &str) -> Vec<&'a str> {
    let depth = |end: usize| text[..end].matches('(').count() - text[..end].matches(')').count();
    let (mut parts, mut from) = (Vec::new(), 0);
    for (at, _) in text
        .match_indices(operator)
        .filter(|(at, _)| depth(*at) == 0)
    {
        parts.push(&text[from..at]);
        from = at + operator.len();
    }
    parts.push(&text[from..]);
    parts
}

#[test]
fn licence_expressions_are_understood() {
    for good in [
        "MIT",
        "MIT OR GPL-3.0",
        "MIT/Apache-2.0",
        "(MIT OR Apache-2.0) AND Unicode-3.0",
        "GPL-3.0 OR (MIT AND Zlib)",
        "Apache-2.0 WITH LLVM-exception OR GPL-2.0",
    ] {
        assert!(permissive(good), "{good}");
    }
    for bad in [
        "GPL-3.0",
        "MIT AND GPL-3.0",
        "(MIT OR Zlib) AND LGPL-2.1",
        "",
        "MPL-2.0",
    ] {
        assert!(!permissive(bad), "{bad}");
    }
}

#[test]
fn every_crate_may_be_used_by_anybody() {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    // The tree of the program on this platform: crates for other systems and for the Python package need not be there.
    let output = Command::new(&cargo)
        .args(["tree", "--offline", "--locked", "--package", "skewstar"])
        .args(["--prefix", "none", "--format", "{p}|{l}"])
        .current_dir(root())
        .output()
        .expect("cargo runs");
    assert!(
        output.status.success(),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let tree = String::from_utf8(output.stdout).expect("text");
    let packages: BTreeSet<&str> = tree
        .lines()
        .map(|line| line.trim_end_matches(" (*)"))
        .collect();
    assert!(packages.len() > 50, "only {} packages", packages.len());
    for package in packages {
        let (name, licence) = package.split_once('|').expect("name and licence");
        assert!(permissive(licence), "{name} is under {licence:?}");
    }
}
