//! Just enough reading of Rust to know which paths a file names: comments, strings and characters are left out, unit tests
//! are told apart from the rest, and `use` groups are written out. Not a parser: it knows nothing of what the code means.

/// A word or a sign of the code.
#[derive(Debug, Clone, PartialEq)]
pub struct Token {
    pub text: String,
    pub line: usize,
    /// Whether it is part of a unit test.
    pub in_test: bool,
    /// How many modules with a body are around it.
    pub modules: usize,
}

/// A path that the code names, such as `crate::units::DEG`, written out.
#[derive(Debug, Clone, PartialEq)]
pub struct Named {
    pub path: Vec<String>,
    pub line: usize,
    pub in_test: bool,
    pub modules: usize,
}

/// Words and signs (`::` is one sign) of a text.
pub fn tokens(text: &str) -> Vec<Token> {
    let letters: Vec<char> = text.chars().collect();
    let (mut found, mut at, mut line) = (Vec::new(), 0, 1);
    while at < letters.len() {
        let end = end_of_one(&letters, at);
        let piece: String = letters[at..end].iter().collect();
        let silent = piece.starts_with(char::is_whitespace)
            || piece.starts_with("//")
            || piece.starts_with("/*")
            || piece.contains('"')
            || (piece.starts_with('\'') && piece.len() > 1);
        if !silent {
            found.push(Token {
                text: piece.clone(),
                line,
                in_test: false,
                modules: 0,
            });
        }
        line += piece.matches('\n').count();
        at = end;
    }
    mark_tests(&mut found);
    count_modules(&mut found);
    found
}

/// Every path of two and more parts; groups are written out, `as` names left out.
pub fn named(tokens: &[Token]) -> Vec<Named> {
    let is = |at: usize, text: &str| tokens.get(at).is_some_and(|token| token.text == text);
    let (mut found, mut at) = (Vec::new(), 0);
    while at < tokens.len() {
        if is_word(&tokens[at].text) && is(at + 1, "::") {
            at = follow(tokens, at, &mut Vec::new(), &mut found);
        } else {
            at += 1;
        }
    }
    found
}

/// Follows one path from its first word and returns where it ends.
fn follow(
    tokens: &[Token],
    mut at: usize,
    before: &mut Vec<String>,
    found: &mut Vec<Named>,
) -> usize {
    let depth = before.len();
    let text = |at: usize| tokens.get(at).map_or("", |token| token.text.as_str());
    while is_word(text(at)) || text(at) == "*" {
        before.push(text(at).to_owned());
        at += 1;
        if text(at) != "::" {
            break;
        }
        at += 1;
    }
    if text(at) == "{" && text(at - 1) == "::" {
        at += 1;
        while at < tokens.len() && text(at) != "}" {
            at = match text(at) {
                "," => at + 1,
                "as" => at + 2,
                _ => follow(tokens, at, before, found).max(at + 1),
            };
        }
        at += 1;
    } else if before.len() > 1 {
        let last = &tokens[at.min(tokens.len()) - 1];
        found.push(Named {
            path: before.clone(),
            line: last.line,
            in_test: last.in_test,
            modules: last.modules,
        });
    }
    before.truncate(depth);
    at
}

fn is_word(text: &str) -> bool {
    text.starts_with(|letter: char| letter.is_alphabetic() || letter == '_')
}

/// Where the space, comment, text, word or sign that starts at `at` ends.
fn end_of_one(letters: &[char], at: usize) -> usize {
    let starts = |text: &str| {
        letters[at..]
            .iter()
            .copied()
            .take(text.len())
            .eq(text.chars())
    };
    let first = letters[at];
    let while_ = |test: &dyn Fn(char) -> bool| {
        at + letters[at..]
            .iter()
            .take_while(|letter| test(**letter))
            .count()
    };
    if first.is_whitespace() {
        while_(&char::is_whitespace)
    } else if starts("//") {
        while_(&|letter| letter != '\n')
    } else if starts("/*") {
        end_of_block(letters, at)
    } else if let Some(hashes) = raw_text(letters, at) {
        end_of_raw(letters, at, hashes)
    } else if first == '"' || starts("b\"") || starts("c\"") {
        let open = at + usize::from(first != '"');
        end_of_text(letters, open, '"')
    } else if first == '\'' || starts("b'") {
        end_of_character(letters, at + usize::from(first != '\''))
    } else if first.is_alphanumeric() || first == '_' {
        while_(&|letter| letter.is_alphanumeric() || letter == '_')
    } else {
        at + if starts("::") { 2 } else { 1 }
    }
}

fn end_of_block(letters: &[char], at: usize) -> usize {
    let (mut depth, mut here) = (0, at);
    while here + 1 < letters.len() {
        match (letters[here], letters[here + 1]) {
            ('/', '*') => (depth, here) = (depth + 1, here + 2),
            ('*', '/') => (depth, here) = (depth - 1, here + 2),
            _ => here += 1,
        }
        if depth == 0 {
            return here;
        }
    }
    letters.len()
}

/// Number of `#` where a raw string starts.
fn raw_text(letters: &[char], at: usize) -> Option<usize> {
    let rest: String = letters[at..].iter().take(12).collect();
    let rest = rest.strip_prefix(['b', 'c']).unwrap_or(&rest);
    let rest = rest.strip_prefix('r')?;
    let hashes = rest.len() - rest.trim_start_matches('#').len();
    rest[hashes..].starts_with('"').then_some(hashes)
}

fn end_of_raw(letters: &[char], at: usize, hashes: usize) -> usize {
    let close: Vec<char> = std::iter::once('"')
        .chain(std::iter::repeat_n('#', hashes))
        .collect();
    let open = at + letters[at..].iter().take_while(|l| **l != '"').count() + 1;
    (open..letters.len())
        .find(|here| letters[*here..].starts_with(&close))
        .map_or(letters.len(), |here| here + close.len())
}

fn end_of_text(letters: &[char], open: usize, close: char) -> usize {
    let mut here = open + 1;
    while here < letters.len() && letters[here] != close {
        here += if letters[here] == '\\' { 2 } else { 1 };
    }
    (here + 1).min(letters.len())
}

/// A character in quotes, or a lifetime, whose quote alone is taken.
fn end_of_character(letters: &[char], open: usize) -> usize {
    let is = |at: usize, letter: char| letters.get(at) == Some(&letter);
    if is(open + 1, '\\') || is(open + 2, '\'') {
        end_of_text(letters, open, '\'')
    } else {
        open + 1
    }
}

/// Marks what stands in `#[cfg(test)] … { … }`, and in `#[test] fn`.
fn mark_tests(tokens: &mut [Token]) {
    let mut at = 0;
    while at < tokens.len() {
        let here: String = tokens[at..]
            .iter()
            .take(7)
            .map(|t| t.text.as_str())
            .collect();
        if here.starts_with("#[cfg(test)]") || here.starts_with("#[test]") {
            let end = end_of_item(tokens, at);
            tokens[at..end]
                .iter_mut()
                .for_each(|token| token.in_test = true);
            at = end;
        } else {
            at += 1;
        }
    }
}

/// Counts the modules with a body around every word.
fn count_modules(tokens: &mut [Token]) {
    let (mut depth, mut open) = (0, Vec::new());
    for at in 0..tokens.len() {
        match tokens[at].text.as_str() {
            "{" => {
                depth += 1;
                if at > 1 && tokens[at - 2].text == "mod" {
                    open.push(depth);
                }
            }
            "}" => {
                if open.last() == Some(&depth) {
                    open.pop();
                }
                depth -= 1;
            }
            _ => {}
        }
        tokens[at].modules = open.len();
    }
}

/// Where the item that starts at `at` with its attributes ends: behind its braces or its semicolon.
fn end_of_item(tokens: &[Token], at: usize) -> usize {
    let mut depth = 0_i32;
    for (index, token) in tokens.iter().enumerate().skip(at) {
        match token.text.as_str() {
            "{" | "(" | "[" => depth += 1,
            ")" | "]" => depth -= 1,
            "}" => {
                depth -= 1;
                if depth == 0 {
                    return index + 1;
                }
            }
            ";" if depth == 0 => return index + 1,
            _ => {}
        }
    }
    tokens.len()
}

#[test]
fn paths_are_written_out_and_texts_left_out() {
    let text = r##"
        //! crate::nowhere::at_all
        use crate::a::{b, c::{D, self}, e as f};
        use std::{fs, io::{self, Write}};
        fn one<'a>(x: &'a str) -> char { let _ = "crate::x::y"; let _ = r#"crate::"z::z"#; crate::g::h(super::i::J); 'x' }
        /* crate::k::l /* nested */ crate::m::n */
        const Q: char = '"'; const R: char = '\''; const S: crate::o::P = crate::o::P;
        #[cfg(test)]
        mod tests { use super::*; fn two() { crate::t::u() } }
        fn three() { crate::v::w() }
    "##;
    let found: Vec<(String, usize, bool)> = named(&tokens(text))
        .into_iter()
        .inspect(|named| assert_eq!(named.modules, usize::from(named.in_test)))
        .map(|named| (named.path.join("::"), named.line, named.in_test))
        .collect();
    let expected = [
        ("crate::a::b", 3, false),
        ("crate::a::c::D", 3, false),
        ("crate::a::c::self", 3, false),
        ("crate::a::e", 3, false),
        ("std::fs", 4, false),
        ("std::io::self", 4, false),
        ("std::io::Write", 4, false),
        ("crate::g::h", 5, false),
        ("super::i::J", 5, false),
        ("crate::o::P", 7, false),
        ("crate::o::P", 7, false),
        ("super::*", 9, true),
        ("crate::t::u", 9, true),
        ("crate::v::w", 10, false),
    ];
    let expected = expected.map(|(path, line, test)| (path.to_owned(), line, test));
    assert_eq!(found, expected);
}
