//! Rows of parallel courses and the stacks that they form.

use crate::geom::{Area, hatch};

/// One straight row of tow in the turned frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Row {
    /// Distance along the normal, mm.
    pub(super) y: f64,
    /// Left end, mm.
    pub(super) a: f64,
    /// Right end, mm.
    pub(super) b: f64,
}

impl Row {
    pub(super) fn length(&self) -> f64 {
        self.b - self.a
    }
}

/// Rows one spacing apart, each beside the one before: where a boundary splits
/// them, stacks end and begin.
pub(super) type Stack = Vec<Row>;

/// Rows at `pitch` along `angle` (radians), laid out evenly across each polygon.
pub(super) fn stacks(area: &Area, angle: f64, pitch: f64) -> Vec<Stack> {
    area.split().flat_map(|part| stacks_of(&part, angle, pitch)).collect()
}

fn stacks_of(part: &Area, angle: f64, pitch: f64) -> Vec<Stack> {
    let ys = || part.rings().flatten().map(|p| p.turned(-angle).y);
    let (lo, hi) = (ys().fold(f64::INFINITY, f64::min), ys().fold(f64::NEG_INFINITY, f64::max));
    if hi < lo {
        return Vec::new();
    }
    // the rows that fit, in the middle of the extent; a hair inside so that the
    // outermost rows still meet the boundary
    let spare = (hi - lo) % pitch;
    let phase = lo + (0.5 * spare).max(1e-4);
    let mut open: Vec<(Stack, bool)> = Vec::new();
    let mut done: Vec<Stack> = Vec::new();
    let mut last = None;
    for row in hatch::rows(part, angle, pitch, phase) {
        let follows = last.is_some_and(|l| row.index == l + 1);
        last = Some(row.index);
        let spans: Vec<Row> = row.spans.iter().map(|(a, b)| Row { y: row.offset, a: *a, b: *b }).collect();
        let beside = |s: &Stack, r: &Row| s.last().is_some_and(|t| t.a.max(r.a) < t.b.min(r.b));
        let mut next: Vec<(Stack, bool)> = Vec::new();
        for r in &spans {
            let above: Vec<usize> = (0..open.len()).filter(|&k| follows && beside(&open[k].0, r)).collect();
            // one to one only: a row that meets two, or two that meet one, start anew
            if let [k] = above.as_slice()
                && spans.iter().filter(|q| beside(&open[*k].0, q)).count() == 1
            {
                let mut stack = std::mem::take(&mut open[*k].0);
                stack.push(*r);
                open[*k].1 = true;
                next.push((stack, false));
            } else {
                next.push((vec![*r], false));
            }
        }
        done.extend(open.drain(..).filter(|(_, continued)| !continued).map(|(s, _)| s));
        open = next;
    }
    done.extend(open.into_iter().map(|(s, _)| s));
    done.retain(|s| !s.is_empty());
    done
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{combine, pt};

    #[test]
    fn a_hole_splits_the_rows_into_four_stacks() {
        let plate = [pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 20.0), pt(0.0, 20.0)];
        let hole = [pt(15.0, 5.0), pt(25.0, 5.0), pt(25.0, 15.0), pt(15.0, 15.0)];
        let area = combine::enclosed([&plate[..], &hole[..]], combine::FillRule::EvenOdd);
        let stacks = stacks(&area, 0.0, 1.0);
        assert_eq!(stacks.len(), 4, "below, left, right, above");
        let rows: usize = stacks.iter().map(Vec::len).sum();
        assert!((28..=32).contains(&rows), "{rows} rows");
        for s in &stacks {
            for w in s.windows(2) {
                assert!((w[1].y - w[0].y - 1.0).abs() < 1e-9, "one pitch apart");
            }
        }
    }
}
