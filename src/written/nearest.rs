//! Which known word did someone mean?

/// The known word fewest edits away, or `None` where none is near: more than a third of the letters (at least one,
/// for short words two) would have to change. Of equals the first wins.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    // Distance costs length squared; nothing this long is a slip of the finger.
    if word.len() > 200 {
        return None;
    }
    let allowed = |candidate: &str| (candidate.chars().count().max(word.chars().count()) / 3).max(2);
    known
        .into_iter()
        .map(|candidate| (distance(word, candidate), candidate))
        .filter(|&(edits, candidate)| edits <= allowed(candidate))
        .min_by_key(|&(edits, _)| edits)
        .map(|(_, candidate)| candidate)
}

/// Edit distance (Levenshtein) with letter case ignored; two swapped neighbours count once.
fn distance(a: &str, b: &str) -> usize {
    let lower = |text: &str| text.chars().flat_map(char::to_lowercase).collect::<Vec<char>>();
    let (a, b) = (lower(a), lower(b));
    let mut before_last: Vec<usize> = Vec::new();
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for (row, &x) in a.iter().enumerate() {
        let mut now = vec![row + 1];
        for (column, &y) in b.iter().enumerate() {
            let mut best = (last[column] + usize::from(x != y))
                .min(last[column + 1] + 1)
                .min(now[column] + 1);
            if row > 0 && column > 0 && x == b[column - 1] && a[row - 1] == y {
                best = best.min(before_last[column - 1] + 1);
            }
            now.push(best);
        }
        before_last = std::mem::replace(&mut last, now);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_by_hand() {
        assert_eq!(distance("kitten", "sitting"), 3);
        assert_eq!(distance("abducton", "abduction"), 1);
        assert_eq!(distance("nkee", "knee"), 1);
        assert_eq!(distance("", "hip"), 3);
        assert_eq!(distance("HIP", "hip"), 0);
    }

    #[test]
    fn a_slip_is_caught_and_a_stranger_is_not() {
        let known = ["flexion", "abduction", "rotation"];
        assert_eq!(nearest("adduction", known), Some("abduction"));
        assert_eq!(nearest("rotate", known), None);
        assert_eq!(nearest("colour", known), None);
        assert_eq!(nearest(&"x".repeat(10_000), known), None);
    }
}
