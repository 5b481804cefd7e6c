//! What lies beside what in a layer: courses apart, beads on tow, travels over tow.

use super::Replay;
use crate::verify::against::Against;
use crate::verify::course::Course;
use crate::verify::findings::{Check, Place};
use crate::verify::geometry::{Curve, steps, to_stretch};
use crate::verify::ground::Stretch;
use crate::verify::trail;

/// Two courses may come this much closer than the tow's width, mm.
const APART_MM: f64 = 0.05;

/// Share of a layer's tow that beads may lie on.
const OVER_TOW: f64 = 0.01;

/// What looking at beads in steps is good for, a share of the tow; and the share that
/// is a fault even of a planner that tells it.
const OVER_TOW_STEPS: f64 = 0.005;
const MOST_OVER_TOW: f64 = 0.05;

/// Steps along beads and travels at which they are looked at, mm.
const STEP_MM: f64 = 0.25;

/// The same along courses: a neighbour's distance changes by its square over twice a
/// bend radius within half of it, a few micrometres.
const COURSE_STEP_MM: f64 = 0.5;

impl Replay<'_> {
    /// How much of the layer's tow has beads on it.
    pub(super) fn over_tow(&mut self) {
        let Some(width) = self.facts.tow_width_mm else { return };
        let tow_mm2 = self.layer_tow_mm * width;
        if tow_mm2 <= 0.0 {
            return;
        }
        let across = [-0.4, -0.2, 0.0, 0.2, 0.4];
        let (mut area, mut worst) = (0.0, (0.0, self.place()));
        for b in &self.beads.stretches {
            let reach = 0.5 * (width + b.width);
            let piece = Curve::line(b.a, b.b);
            let Some(d) = piece.direction(0.5) else { continue };
            let length = piece.length();
            let n = steps(length, STEP_MM);
            let mut here = 0.0;
            for k in 0..n {
                let p = piece.at((f64::from(k) + 0.5) / f64::from(n));
                if !self.tows.any(p, reach, |_| true) {
                    continue;
                }
                for s in across {
                    let q = [p[0] - d[1] * s * b.width, p[1] + d[0] * s * b.width];
                    if self.tows.any(q, 0.5 * width, |t| beside(q, t)) {
                        here += length / f64::from(n) * b.width / 5.0;
                    }
                }
            }
            area += here;
            if here > worst.0 {
                worst = (here, Place { line: b.line, layer: self.layer, at_mm: Some(piece.at(0.5)) });
            }
        }
        let share = area / tow_mm2;
        // beads as drawn may lie on more, which the planner warns of
        let told = self.against.as_ref().and_then(Against::over_tow).unwrap_or(0.0);
        let most = (told + OVER_TOW_STEPS).clamp(OVER_TOW + OVER_TOW_STEPS, MOST_OVER_TOW);
        self.ledger.most(Check::OverTow, 100.0 * share, 100.0 * most, worst.1, || {
            "matrix laid on the layer's tow".to_owned()
        });
        if share > OVER_TOW + OVER_TOW_STEPS && share <= most {
            let text = format!("beads lie on {:.2} % of the layer's tow, as the plan tells", 100.0 * share);
            self.ledger.warn(Check::OverTow, worst.1, text);
        }
    }

    /// Puts a course among those of its layer and looks how near it comes.
    pub(super) fn apart(&mut self, c: &Course) {
        let owner = self.courses;
        self.courses = self.courses.wrapping_add(1);
        let width = self.facts.tow_width_mm.unwrap_or(0.0);
        let trailing;
        let pieces = if self.facts.trail_mm > 0.0 {
            trailing = trail::laid(&c.pieces, self.facts.trail_mm);
            &trailing
        } else {
            &c.pieces
        };
        if let Some(a) = &mut self.against {
            a.strip(&mut self.ledger, pieces, width, self.layer);
        }
        // trailing tow that cannot be led nearer to its line comes nearer to its neighbour
        let off = self.against.as_ref().map_or(0.0, Against::trails_off);
        if off > 0.0 {
            self.off_mm.insert(owner, off);
        }
        let mut s = 0.0;
        for p in pieces {
            s = self.tows.add_curve(&p.curve, owner, s, width, p.line);
        }
        if width <= 0.0 {
            return;
        }
        let (length, closed) = (s, c.closed());
        // a bend that the tow can make comes back to itself only after more than this
        let own = 1.6 * width;
        let mut worst: Option<(f64, f64, [f64; 2], u64)> = None;
        let mut from = 0.0;
        for p in pieces {
            let l = p.curve.length();
            let n = steps(l, COURSE_STEP_MM);
            for k in 0..=n {
                let share = f64::from(k) / f64::from(n);
                let (q, here) = (p.curve.at(share), from + share * l);
                let found = self.tows.nearest(q, 1.1 * width, |t, along| {
                    if t.owner != owner {
                        return true;
                    }
                    let gap = (along - here).abs();
                    gap > own && (!closed || length - gap > own)
                });
                if let Some((d, other, _)) = found {
                    let theirs = self.off_mm.get(&other.owner).copied().unwrap_or(0.0);
                    let least = (width - APART_MM - off - theirs).max(0.0);
                    if worst.is_none_or(|w| d - least < w.0 - w.1) {
                        worst = Some((d, least, q, p.line));
                    }
                }
            }
            from += l;
        }
        if let Some((d, least, q, line)) = worst {
            let place = Place { line, layer: self.layer, at_mm: Some(q) };
            self.ledger.least(Check::Apart, d, least, place, || format!("course {} and its neighbour", c.id));
        }
    }

    /// A travel does not pass over tow of its layer without a lift.
    pub(super) fn drag(&mut self, curve: &Curve, z: f64) {
        if self.layer == 0 || z >= self.top + 0.02 || curve.length() <= 1e-9 {
            return;
        }
        self.ledger.look(Check::Drag);
        let half = (0.5 * self.facts.tow_width_mm.unwrap_or(0.0) - 0.1).max(0.05);
        let n = steps(curve.length(), STEP_MM);
        for k in 0..=n {
            let p = curve.at(f64::from(k) / f64::from(n));
            if self.tows.any(p, half, |_| true) {
                let place = self.at(p);
                self.ledger.say(Check::Drag, place, format!("a travel at z {z:.3} passes over tow"));
                return;
            }
        }
    }
}

/// A place within the square ends of a stretch.
fn beside(p: [f64; 2], s: &Stretch) -> bool {
    let t = to_stretch(p, s.a, s.b).1;
    // inner joints are covered by the next stretch; ends of a course are square
    t > 0.0 && t < 1.0
}
