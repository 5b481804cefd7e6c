//! Faults that do not follow from one another are told together.

use crate::diagnostic::{Diagnostic, Faults, Outcome};

/// Faults kept of one package: more mostly share a cause.
const MOST: usize = 20;

/// The faults found so far.
#[derive(Default)]
pub(super) struct Gathered(Vec<Diagnostic>);

impl Gathered {
    /// A value, or nothing and one fault more.
    pub(super) fn take<T>(&mut self, outcome: Outcome<T>) -> Option<T> {
        match outcome {
            Ok(value) => Some(value),
            Err(faults) => {
                self.add(faults);
                None
            }
        }
    }

    /// All values of a few, or nothing and each of their faults.
    pub(super) fn all<T: Default + Copy, const N: usize>(
        &mut self,
        outcomes: [Outcome<T>; N],
    ) -> Option<[T; N]> {
        let mut values = [T::default(); N];
        let mut whole = true;
        for (place, outcome) in values.iter_mut().zip(outcomes) {
            match self.take(outcome) {
                Some(value) => *place = value,
                None => whole = false,
            }
        }
        whole.then_some(values)
    }

    /// Keeps faults, as many as are told.
    pub(super) fn add(&mut self, Faults(faults): Faults) {
        for d in faults {
            // one object placed twice has its faults once
            if self.0.len() < MOST && !self.0.contains(&d) {
                self.0.push(d);
            }
        }
    }

    /// The value, if nothing is at fault.
    pub(super) fn or<T>(self, value: T) -> Outcome<T> {
        if self.0.is_empty() { Ok(value) } else { Err(Faults(self.0)) }
    }
}
