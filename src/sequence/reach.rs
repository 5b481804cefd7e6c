//! Every place that a nozzle goes to lies in the reach of its head.

use super::{Move, Program};
use crate::diagnostic::{Diagnostic, Faults, Outcome};
use crate::geom::{Arc, Point, Segment, pt, trig};
use crate::job::{Head, Job};

/// A place this far outside counts as inside, mm: the last written digit.
const SLACK_MM: f64 = 1e-3;

/// Checks every move of a program.
///
/// Errors: `out-of-reach`, one for each head and axis, at the first place.
pub(super) fn check(job: &Job, program: &Program) -> Outcome<()> {
    let mut faults: Vec<((Head, usize), Diagnostic)> = Vec::new();
    let mut head = None;
    let (mut layer, mut z) = ((0, 0.0), None);
    for m in &program.moves {
        let places: Vec<Point> = match m {
            Move::Select(h) => {
                head = Some(*h);
                continue;
            }
            Move::Layer { number, z_mm } => {
                layer = (*number, *z_mm);
                continue;
            }
            Move::Z(to) => {
                z = Some(*to);
                Vec::new()
            }
            Move::Travel(to) | Move::Extrude { to, .. } => vec![*to],
            Move::Lay { segment, .. } => extremes(segment),
            _ => continue,
        };
        let Some(head) = head else { continue };
        let reach = job.printer.head(head).reach_mm;
        let xy = places.iter().flat_map(|p| [(0, p.x, *p), (1, p.y, *p)]);
        let of_z = z.iter().map(|z| (2, *z, places.first().copied().unwrap_or_default()));
        for (axis, value, at) in xy.chain(of_z) {
            let [lo, hi] = reach[axis];
            if value >= lo - SLACK_MM && value <= hi + SLACK_MM {
                continue;
            }
            if faults.iter().any(|(place, _)| *place == (head, axis)) {
                continue;
            }
            let origin = program.placements.first().copied().unwrap_or_default();
            let here = at - origin;
            let d = Diagnostic::error(
                "out-of-reach",
                format!(
                    "a move goes to {} {value:.3} mm, the {} head of printer `{}` reaches {lo} to {hi} mm",
                    ["x", "y", "z"][axis],
                    head.word(),
                    job.printer.name
                ),
            )
            .in_part(layer.0, layer.1, (axis < 2).then_some([here.x, here.y]))
            .help("machine coordinates of the nozzle; divide the part, or choose a larger printer");
            faults.push(((head, axis), d));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(Faults(faults.into_iter().map(|(_, d)| d).collect())) }
}

/// The places of a segment that lie furthest out: its end and, on an arc, where
/// it runs along an axis.
fn extremes(segment: &Segment) -> Vec<Point> {
    let mut out = vec![segment.to()];
    if let Segment::Arc(a) = segment {
        let r = a.radius();
        let quarters = [pt(r, 0.0), pt(0.0, r), pt(-r, 0.0), pt(0.0, -r)];
        out.extend(quarters.into_iter().filter(|d| passes(a, *d)).map(|d| a.centre + d));
    }
    out
}

/// The arc passes its centre in this direction.
fn passes(a: &Arc, direction: Point) -> bool {
    let from = a.from - a.centre;
    let turn = from.turn_to(direction);
    trig::positive(a.sign() * turn) <= a.sweep()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_arc_reaches_further_than_its_ends() {
        let over = Arc { from: pt(5.0, 0.0), to: pt(-5.0, 0.0), centre: pt(0.0, 0.0), ccw: true };
        let top = |a: Arc| extremes(&Segment::Arc(a)).iter().map(|p| p.y).fold(f64::MIN, f64::max);
        assert!((top(over) - 5.0).abs() < 1e-12, "over the top");
        assert!(top(Arc { ccw: false, ..over }).abs() < 1e-9, "below it");
    }
}
