//! Numbers of things, where lengths and times are reckoned with them.

/// A number of things as a real number: exact below 2^53, and what is counted here
/// (courses, points of a line, squares of a grid) is in memory.
#[expect(clippy::cast_precision_loss, reason = "nobody has 2^53 of anything in memory")]
pub(crate) fn f64_of(n: usize) -> f64 {
    n as f64
}
