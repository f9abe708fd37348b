//! Paths of keys as people type them: `telescope.vanes[0].width_mm`.

use std::fmt;

/// Steps from the top table to a value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct KeyPath(pub Vec<PathStep>);

/// One step of a path.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum PathStep {
    /// Into a table.
    Key(String),
    /// Into a list, from 0.
    Index(usize),
}

/// More steps than any key of a scenario has.
const LONGEST_PATH: usize = 16;

impl KeyPath {
    /// Reads a path that fills the whole text.
    pub fn parse(text: &str) -> Result<KeyPath, String> {
        match KeyPath::parse_front(text)? {
            (path, "") => Ok(path),
            (_, rest) => Err(format!(
                "unexpected {:?} in a key",
                rest.chars().next().unwrap_or(' ')
            )),
        }
    }

    /// Reads a path at the front of a text; returns it with the rest of the text.
    pub fn parse_front(text: &str) -> Result<(KeyPath, &str), String> {
        let mut steps = Vec::new();
        let mut rest = text;
        loop {
            let (key, after) = key_front(rest)?;
            steps.push(PathStep::Key(key));
            rest = after;
            while let Some(after) = rest.strip_prefix('[') {
                let (index, after) = index_front(after)?;
                steps.push(PathStep::Index(index));
                rest = after;
            }
            if steps.len() > LONGEST_PATH {
                return Err(format!("the key has more than {LONGEST_PATH} parts"));
            }
            match rest.strip_prefix('.') {
                Some(after) => rest = after,
                None => return Ok((KeyPath(steps), rest)),
            }
        }
    }
}

impl fmt::Display for KeyPath {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut text = String::new();
        for step in &self.0 {
            text = match step {
                PathStep::Key(key) => joined(&text, key),
                PathStep::Index(index) => format!("{text}[{index}]"),
            };
        }
        out.write_str(&text)
    }
}

/// The path of a key in a table.
pub(crate) fn joined(table: &str, key: &str) -> String {
    let key = shown_key(key);
    if table.is_empty() {
        key
    } else {
        format!("{table}.{key}")
    }
}

/// A key as a message shows it: bare where TOML allows that, else quoted, with nothing that could upset a terminal.
pub(crate) fn shown_key(key: &str) -> String {
    const LONGEST: usize = 60;
    let bare = !key.is_empty() && key.chars().all(is_bare);
    let cut: String = key.chars().take(LONGEST).collect();
    let dots = if cut.len() < key.len() { "…" } else { "" };
    if bare {
        format!("{cut}{dots}")
    } else {
        format!("\"{}{dots}\"", cut.escape_debug())
    }
}

fn is_bare(letter: char) -> bool {
    letter.is_ascii_alphanumeric() || letter == '_' || letter == '-'
}

fn key_front(text: &str) -> Result<(String, &str), String> {
    for quote in ['"', '\''] {
        if let Some(inner) = text.strip_prefix(quote) {
            let end = inner.find(quote).ok_or("a quoted key is not closed")?;
            return Ok((inner[..end].to_owned(), &inner[end + 1..]));
        }
    }
    let end = text.find(|letter| !is_bare(letter)).unwrap_or(text.len());
    if end == 0 {
        return Err("a part of the key is empty".to_owned());
    }
    Ok((text[..end].to_owned(), &text[end..]))
}

fn index_front(text: &str) -> Result<(usize, &str), String> {
    let end = text.find(']').ok_or("a bracket of the key is not closed")?;
    let index = text[..end]
        .parse()
        .map_err(|_| "brackets of a key hold a whole number from 0".to_owned())?;
    Ok((index, &text[end + 1..]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_are_read_and_shown_alike() {
        for text in [
            "seed",
            "telescope.vanes[0].width_mm",
            "state.modes_nm.5",
            "a[1][2]",
            "state.turns.\"ä b\"",
        ] {
            assert_eq!(
                KeyPath::parse(text).map(|path| path.to_string()),
                Ok(text.to_owned())
            );
        }
        assert_eq!(KeyPath::parse("'a.b'.c").map(|path| path.0.len()), Ok(2));
    }

    #[test]
    fn what_is_no_path_is_refused() {
        for text in [
            "", ".", "a.", ".a", "a[", "a[]", "a[-1]", "a[x]", "a b", "\"a", "[0]", "a..b",
        ] {
            assert!(KeyPath::parse(text).is_err(), "{text:?}");
        }
        assert!(KeyPath::parse(&vec!["a"; 17].join(".")).is_err());
    }

    #[test]
    fn strange_keys_are_quoted_and_cut() {
        assert_eq!(shown_key("a\u{1b}b"), "\"a\\u{1b}b\"");
        assert_eq!(shown_key(&"k".repeat(100)), format!("{}…", "k".repeat(60)));
        assert_eq!(joined("state.turns", ""), "state.turns.\"\"");
    }
}
