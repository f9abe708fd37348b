//! The word somebody probably meant: edit distance, for "did you mean".

/// The candidate nearest to `word`, or `None` when none is near enough to be a slip of the fingers.
///
/// Distance counts insertions, deletions, replacements and swaps of neighbours; a third of the word's length, and at
/// least one, is near enough. Of equally near candidates the first wins. Words over 64 characters have no neighbour.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let letters: Vec<char> = word.chars().take(LONGEST + 1).collect();
    if letters.is_empty() || letters.len() > LONGEST {
        return None;
    }
    let limit = (letters.len() / 3).max(1);
    candidates
        .into_iter()
        .map(|candidate| {
            (
                distance(&letters, &candidate.chars().collect::<Vec<_>>()),
                candidate,
            )
        })
        .filter(|(edits, _)| *edits <= limit)
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, candidate)| candidate)
}

const LONGEST: usize = 64;

/// Optimal string alignment distance (restricted Damerau and Levenshtein), three rows at a time.
fn distance(from: &[char], to: &[char]) -> usize {
    let mut before_last: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=to.len()).collect();
    for i in 1..=from.len() {
        let mut row = vec![i];
        for j in 1..=to.len() {
            let replaced = last[j - 1] + usize::from(from[i - 1] != to[j - 1]);
            let mut edits = replaced.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && from[i - 1] == to[j - 2] && from[i - 2] == to[j - 1] {
                edits = edits.min(before_last[j - 2] + 1);
            }
            row.push(edits);
        }
        before_last = std::mem::replace(&mut last, row);
    }
    last[to.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn edits(from: &str, to: &str) -> usize {
        distance(
            &from.chars().collect::<Vec<_>>(),
            &to.chars().collect::<Vec<_>>(),
        )
    }

    #[test]
    fn distances_of_textbook_pairs() {
        // Common textbook values for edit distance, from memory.
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("flaw", "lawn"), 2);
        assert_eq!(edits("ca", "ac"), 1);
        assert_eq!(edits("", "abc"), 3);
        assert_eq!(edits("same", "same"), 0);
    }

    #[test]
    fn a_slip_finds_its_key_and_a_stranger_finds_none() {
        let keys = ["aperture_mm", "focal_length_mm", "reflections"];
        assert_eq!(nearest("apperture_mm", keys), Some("aperture_mm"));
        assert_eq!(nearest("aperture_cm", keys), Some("aperture_mm"));
        assert_eq!(nearest("refelctions", keys), Some("reflections"));
        assert_eq!(nearest("brightness", keys), None);
        assert_eq!(nearest("", keys), None);
        assert_eq!(nearest(&"a".repeat(1_000_000), keys), None);
    }
}
