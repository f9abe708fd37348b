//! A picture in the terminal, where it can show one: two pixels a character, as half blocks in 24-bit grays.

use ndarray::Array2;
use std::fmt::Write;
use std::io::IsTerminal;

/// Whether standard output can show a picture: a terminal that says it has all colours, and nobody asked for none.
pub fn shows_pictures() -> bool {
    let says = |name: &str| std::env::var(name).unwrap_or_default();
    let colours = matches!(says("COLORTERM").as_str(), "truecolor" | "24bit");
    colours && says("NO_COLOR").is_empty() && std::io::stdout().is_terminal()
}

/// The picture as lines of characters, row 0 of `gray` at the bottom. Red only, for eyes that are used to the dark.
pub fn half_blocks(gray: &Array2<u8>) -> String {
    let (rows, columns) = gray.dim();
    let mut text = String::new();
    for upper in (0..rows).rev().step_by(2) {
        for column in 0..columns {
            let above = gray[[upper, column]];
            let below = upper.checked_sub(1).map_or(0, |row| gray[[row, column]]);
            // writing to a string cannot fail
            write!(text, "\x1b[38;2;{above};0;0m\x1b[48;2;{below};0;0m▀").unwrap_or_default();
        }
        text += "\x1b[0m\n";
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_rows_make_a_line_and_the_top_row_comes_first() {
        let mut gray = Array2::zeros((3, 2));
        gray[[2, 1]] = 200;
        let text = half_blocks(&gray);
        assert_eq!(text.lines().count(), 2);
        assert!(text.lines().next().unwrap().contains("38;2;200;0;0m"));
    }
}
