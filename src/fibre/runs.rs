//! Runs: what turns make of the pieces that they join.

/// Which run each of some pieces is in.
pub(super) struct Runs {
    /// The first piece of its run, for each piece.
    of: Vec<usize>,
}

impl Runs {
    /// Of so many pieces, joined in these pairs.
    pub(super) fn new(pieces: usize, joined: impl IntoIterator<Item = (usize, usize)>) -> Self {
        let mut parent: Vec<usize> = (0..pieces).collect();
        for (a, b) in joined {
            let (a, b) = (first(&mut parent, a), first(&mut parent, b));
            parent[b] = a;
        }
        Self { of: (0..pieces).map(|i| first(&mut parent, i)).collect() }
    }

    /// Two pieces are in one run.
    pub(super) fn same(&self, a: usize, b: usize) -> bool {
        self.of[a] == self.of[b]
    }

    /// One piece of each run.
    pub(super) fn each(&self) -> impl Iterator<Item = usize> {
        (0..self.of.len()).filter(|&i| self.of[i] == i)
    }

    /// For each piece what those of its run add up to, from shares of pieces.
    pub(super) fn sums(&self, shares: impl IntoIterator<Item = (usize, f64)>) -> Vec<f64> {
        let mut sums = vec![0.0; self.of.len()];
        for (piece, share) in shares {
            sums[self.of[piece]] += share;
        }
        self.of.iter().map(|first| sums[*first]).collect()
    }
}

/// The piece that stands for a piece's run; what is passed on the way is led there more
/// directly.
fn first(parent: &mut [usize], mut piece: usize) -> usize {
    while parent[piece] != piece {
        parent[piece] = parent[parent[piece]];
        piece = parent[piece];
    }
    piece
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_piece_knows_what_is_in_its_run() {
        let runs = Runs::new(6, [(0, 3), (5, 4), (3, 5), (0, 4)]);
        assert!(runs.same(0, 4) && runs.same(3, 5), "joined by way of others");
        assert!(!runs.same(0, 1) && !runs.same(1, 2), "never joined");
        assert_eq!(runs.each().count(), 3);
        let sums = runs.sums([(0, 1.0), (1, 2.0), (3, 4.0), (4, 8.0), (4, 0.5)]);
        assert_eq!(sums, [13.5, 2.0, 0.0, 13.5, 13.5, 13.5]);
    }
}
