//! How far long work has come, told while it goes on.

use crate::count::f64_of;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

/// A share of the work, moved on by whoever does it, from any thread.
#[derive(Debug, Default)]
pub struct Progress {
    /// Bits of the shares of the whole between which the present stage lies.
    from: AtomicU64,
    to: AtomicU64,
    /// Steps of the stage, and how many are done.
    steps: AtomicUsize,
    done: AtomicUsize,
}

impl Progress {
    /// A stage begins: where it lies in the whole, as shares of 1, and its steps.
    pub fn stage(&self, within: [f64; 2], steps: usize) {
        self.from.store(within[0].to_bits(), Ordering::Relaxed);
        self.to.store(within[1].to_bits(), Ordering::Relaxed);
        self.steps.store(steps, Ordering::Relaxed);
        self.done.store(0, Ordering::Relaxed);
    }

    /// A step of the stage is done.
    pub fn step(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }

    /// Share of the work that is done, 0 to 1.
    pub fn share(&self) -> f64 {
        let at = |bits: &AtomicU64| f64::from_bits(bits.load(Ordering::Relaxed));
        let (from, to) = (at(&self.from), at(&self.to));
        let steps = self.steps.load(Ordering::Relaxed);
        let done = self.done.load(Ordering::Relaxed).min(steps);
        let inside = if steps == 0 { 0.0 } else { f64_of(done) / f64_of(steps) };
        (from + (to - from) * inside).clamp(0.0, 1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stages_lie_in_the_whole() {
        let p = Progress::default();
        assert!(p.share().abs() < 1e-12, "nothing is done yet");
        p.stage([0.2, 0.6], 4);
        p.step();
        assert!((p.share() - 0.3).abs() < 1e-12, "{}", p.share());
        for _ in 0..9 {
            p.step();
        }
        assert!((p.share() - 0.6).abs() < 1e-12, "no stage is more than done");
        p.stage([0.6, 1.0], 0);
        assert!((p.share() - 0.6).abs() < 1e-12, "a stage without steps has not begun");
    }
}
