//! Which row ends to join by turns: nests of turns side by side along a front.
//!
//! Turns at one end of a field of rows do not cross, so they pair rows like
//! brackets; two rows can be paired when they lie at least two bend radii apart.
//! That is the matching problem of folding (Nussinov et al., *Algorithms for
//! loop matchings*, SIAM J. Appl. Math. 35 (1978) 68-82, from memory) with a
//! least loop. With a limit to how deep turns may nest, brackets inside a bracket
//! in two groups pair no more rows than two groups side by side, so nests in a
//! row are enough and the table has one dimension instead of two.

/// Radius of turns above the least, mm: what rounding to the program's three decimals takes.
pub(super) const MARGIN_MM: f64 = 2e-3;

/// A nest: rows `first..first + depth` are paired with `last - depth + 1..=last`,
/// outermost first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Nest {
    pub(super) first: usize,
    pub(super) last: usize,
    pub(super) depth: usize,
}

impl Nest {
    /// Its pairs, outermost first.
    pub(super) fn pairs(self) -> impl Iterator<Item = (usize, usize)> {
        (0..self.depth).map(move |k| (self.first + k, self.last - k))
    }
}

/// Rows beyond the fewest that a nest may enclose: room to fall in with uneven ends.
const SLACK: usize = 3;

/// The nests along a front of `count` rows whose values add up to most. A pair is
/// at least `least` rows apart, at most `depth` are nested, `between` rows are left
/// free from one nest to the next. `value` gives what a nest is worth, `None` where
/// it cannot be laid.
pub(super) fn best(
    count: usize,
    least: usize,
    depth: usize,
    between: usize,
    value: impl Fn(Nest) -> Option<f64>,
) -> (f64, Vec<Nest>) {
    if depth == 0 || count <= least {
        return (0.0, Vec::new());
    }
    // worth of rows i.. and the nest that begins at i in the best answer
    let mut worth = vec![0.0; count + 1 + between];
    let mut begins: Vec<Option<Nest>> = vec![None; count];
    for i in (0..count).rev() {
        worth[i] = worth[i + 1];
        for size in least + 1..=(least - 1 + 2 * depth + SLACK).min(count - i) {
            let deepest = ((size + 1 - least) / 2).min(depth);
            for d in 1..=deepest {
                // fewer turns than fit only where a nest falls in with the end
                if d < deepest && size > least - 1 + 2 * d + SLACK {
                    continue;
                }
                let nest = Nest { first: i, last: i + size - 1, depth: d };
                if let Some(v) = value(nest)
                    && v + worth[i + size + between] > worth[i] + 1e-9
                {
                    worth[i] = v + worth[i + size + between];
                    begins[i] = Some(nest);
                }
            }
        }
    }
    let mut nests = Vec::new();
    let mut i = 0;
    while i < count {
        match begins[i] {
            Some(nest) => {
                nests.push(nest);
                i = nest.last + 1 + between;
            }
            None => i += 1,
        }
    }
    (worth[0], nests)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Most pairs over all non-crossing matchings, by looking at every one; `deep`
    /// limits how many pairs enclose one another.
    fn brute(lo: usize, hi: usize, least: usize, deep: usize) -> usize {
        if deep == 0 || hi - lo <= least {
            return 0;
        }
        let mut most = brute(lo + 1, hi, least, deep);
        for j in lo + least..hi {
            most = most.max(1 + brute(lo + 1, j, least, deep - 1) + brute(j + 1, hi, least, deep));
        }
        most
    }

    fn pairs(count: usize, least: usize, depth: usize) -> usize {
        let (_, nests) = best(count, least, depth, 0, |n| Some(n.depth as f64));
        let pairs: Vec<(usize, usize)> = nests.iter().flat_map(|n| n.pairs()).collect();
        for &(i, j) in &pairs {
            assert!(j >= i + least && j < count, "{i} {j}");
        }
        pairs.len()
    }

    #[test]
    fn as_many_pairs_as_by_looking_at_every_matching() {
        for count in 1..=11 {
            for least in 1..=5 {
                for depth in 1..=4 {
                    assert_eq!(
                        pairs(count, least, depth),
                        brute(0, count, least, depth),
                        "{count} rows, {least} apart, {depth} deep"
                    );
                }
            }
        }
    }

    #[test]
    fn without_a_limit_all_but_the_innermost_rows_are_paired() {
        // closed form: one nest; only the least - 1 rows inside its innermost turn
        // stay alone, and one more where the number is odd
        for count in 2..60 {
            for least in 1..20 {
                let form = if count > least { (count + 1 - least) / 2 } else { 0 };
                assert_eq!(pairs(count, least, count), form, "{count} rows, {least} apart");
            }
        }
    }

    #[test]
    fn nests_side_by_side_by_the_closed_form() {
        // a period of least - 1 + 2 depth rows for depth pairs
        for (least, depth, periods) in [(15, 5, 4), (8, 3, 6), (3, 1, 9)] {
            let count = (least - 1 + 2 * depth) * periods;
            assert_eq!(pairs(count, least, depth), depth * periods, "{least} apart, {depth} deep");
        }
    }

    #[test]
    fn nests_with_rows_left_free_between_them_by_the_closed_form() {
        // as above, and so many rows more from one nest to the next
        for (least, depth, between, periods) in [(15, 5, 5, 4), (8, 3, 2, 6), (3, 1, 1, 9)] {
            let count = (least - 1 + 2 * depth + between) * periods - between;
            let (_, nests) = best(count, least, depth, between, |n| Some(n.depth as f64));
            assert_eq!(nests.iter().map(|n| n.depth).sum::<usize>(), depth * periods);
            assert!(nests.windows(2).all(|w| w[1].first > w[0].last + between), "{nests:?}");
            let (fewer, _) = best(count - 1, least, depth, between, |n| Some(n.depth as f64));
            assert!(fewer < (depth * periods) as f64, "{least} {depth} {between}");
        }
    }

    #[test]
    fn nests_taken_are_worth_what_is_told_and_keep_as_far_apart_as_asked() {
        for (least, depth, between) in [(8, 3, 2), (5, 2, 4), (3, 1, 1), (15, 5, 5)] {
            for count in 1..70 {
                // worth more at some rows than at others, so that gaps are not where they fit
                let value = |n: Nest| Some(n.depth as f64 + ((n.first * 7) % 5) as f64 * 0.1);
                let (worth, nests) = best(count, least, depth, between, value);
                let sum: f64 = nests.iter().filter_map(|n| value(*n)).sum();
                assert!((worth - sum).abs() < 1e-9, "{count} rows: {worth} told, {sum} taken");
                assert!(nests.windows(2).all(|w| w[1].first > w[0].last + between), "{nests:?}");
                assert!(nests.iter().all(|n| n.last < count), "{nests:?}");
            }
        }
    }

    #[test]
    fn of_equal_counts_the_shorter_turns_are_taken() {
        let (_, nests) = best(12, 4, 1, 0, |n| Some(100.0 - (n.last - n.first) as f64));
        assert!(nests.iter().all(|n| n.last - n.first == 4), "{nests:?}");
    }
}
