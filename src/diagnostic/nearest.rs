//! "Did you mean": the known word closest to what was typed.

/// The known word that a person most likely meant, if one is close enough.
///
/// A word that lacks only its unit (`thickness` for `thickness_mm`) counts as
/// close, as do a third of its letters wrong, missing, doubled or swapped.
pub fn nearest<'a>(typed: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let typed = folded(typed);
    let letters = typed.chars().count();
    let mut best: Option<(usize, &'a str)> = None;
    for word in known {
        let candidate = folded(word);
        let lacks_unit = letters >= 3
            && (candidate.strip_prefix(&typed).is_some_and(|rest| rest.starts_with('_'))
                || typed.strip_prefix(&candidate).is_some_and(|rest| rest.starts_with('_')));
        // a shared unit says nothing: `chord_mm` is not nearly `anchor_mm`
        let counted = letters.max(candidate.chars().count()) - shared_unit(&typed, &candidate);
        // one wrong letter is the least that helps, even in a short word
        let allowed = (counted / 3).max(1);
        let distance = if lacks_unit { 0 } else { distance(&typed, &candidate) };
        if distance <= allowed && distance < letters && best.is_none_or(|(d, _)| distance < d) {
            best = Some((distance, word));
        }
    }
    best.map(|(_, word)| word)
}

/// Letters of the suffix, from its first `_` on, that two words share.
fn shared_unit(a: &str, b: &str) -> usize {
    let same = a.chars().rev().zip(b.chars().rev()).take_while(|(x, y)| x == y).map(|(x, _)| x);
    let suffix: Vec<char> = same.collect();
    suffix.iter().rposition(|c| *c == '_').map_or(0, |at| at + 1)
}

/// Lower case, and `-` as `_`: neither is what a person gets wrong on purpose.
fn folded(word: &str) -> String {
    word.to_lowercase().replace('-', "_")
}

/// Letters to insert, remove, replace, or swap with their neighbour.
///
/// Damerau, "A technique for computer detection and correction of spelling
/// errors", 1964, in the form where no place is edited twice.
pub fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().collect(), b.chars().collect());
    let width = b.len() + 1;
    // three rows are enough: a swap looks two back
    let mut before = vec![0; width];
    let mut last: Vec<usize> = (0..width).collect();
    let mut row = vec![0; width];
    for i in 1..=a.len() {
        row[0] = i;
        for j in 1..=b.len() {
            let replace = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut d = replace.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                d = d.min(before[j - 2] + 1);
            }
            row[j] = d;
        }
        std::mem::swap(&mut before, &mut last);
        std::mem::swap(&mut last, &mut row);
    }
    last[b.len()]
}

/// A help line for a misspelt word: the likely one, or all there are.
pub fn help(typed: &str, known: &[&str], what: &str) -> String {
    match nearest(typed, known.iter().copied()) {
        Some(word) => format!("did you mean `{word}`?"),
        None => format!("{what}: {}", listed(known)),
    }
}

/// Words in backticks, separated by commas.
pub fn listed(words: &[&str]) -> String {
    words.iter().map(|w| format!("`{w}`")).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_by_hand() {
        assert_eq!(distance("", ""), 0);
        assert_eq!(distance("tow", ""), 3);
        assert_eq!(distance("", "tow"), 3);
        assert_eq!(distance("tow", "tow"), 0);
        assert_eq!(distance("tow", "two"), 1);
        assert_eq!(distance("hoop", "hop"), 1);
        assert_eq!(distance("contuor", "contour"), 1);
        assert_eq!(distance("kitten", "sitting"), 3);
        // one place is edited only once: three, not two
        assert_eq!(distance("ca", "abc"), 3);
    }

    #[test]
    fn the_distance_is_the_same_both_ways() {
        for (a, b) in [("perimeters", "permiter"), ("unidirectional", "undirectional"), ("z", "layers")] {
            assert_eq!(distance(a, b), distance(b, a), "{a} {b}");
        }
    }

    #[test]
    fn a_near_word_is_found() {
        let rules = ["hoop", "contour", "unidirectional"];
        assert_eq!(nearest("hop", rules), Some("hoop"));
        assert_eq!(nearest("Hoop", rules), Some("hoop"));
        assert_eq!(nearest("undirectional", rules), Some("unidirectional"));
        assert_eq!(nearest("wave", rules), None);
        assert_eq!(nearest("x", ["y", "z"]), None);
    }

    #[test]
    fn a_missing_unit_is_found() {
        assert_eq!(nearest("thickness", ["outline", "thickness_mm"]), Some("thickness_mm"));
        assert_eq!(nearest("copies_mm", ["copies"]), Some("copies"));
        assert_eq!(nearest("chord_mm", ["anchor_mm"]), None);
        assert_eq!(nearest("cord_mm", ["anchor_mm", "chord_mm"]), Some("chord_mm"));
        assert_eq!(nearest("bead-width-mm", ["bead_width_mm"]), Some("bead_width_mm"));
    }

    #[test]
    fn what_is_not_near_is_listed() {
        assert_eq!(help("wave", &["hoop", "contour"], "rules"), "rules: `hoop`, `contour`");
        assert_eq!(help("hopo", &["hoop", "contour"], "rules"), "did you mean `hoop`?");
    }
}
