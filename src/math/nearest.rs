//! The word somebody probably meant: edit distance, for "did you mean".

use strsim::osa_distance;

/// The candidate nearest to `word`, or `None` when none is near enough to be a slip of the fingers.
///
/// Distance (optimal string alignment) counts insertions, deletions, replacements and swaps of neighbours; a third of the word's length, and at
/// least one, is near enough. Of equally near candidates the first wins. Words over 64 characters have no neighbour.
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let letters = word.chars().take(LONGEST + 1).count();
    if letters == 0 || letters > LONGEST {
        return None;
    }
    let limit = (letters / 3).max(1);
    candidates
        .into_iter()
        .map(|candidate| (osa_distance(word, candidate), candidate))
        .filter(|(edits, _)| *edits <= limit)
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, candidate)| candidate)
}

const LONGEST: usize = 64;

#[cfg(test)]
mod tests {
    use super::*;

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
