//! What courses of a rule can reach at most: the bound that cover is held against.
//!
//! It is a bound: courses are looked at one by one, as if nothing else were laid,
//! so that no packing of them covers more.

use crate::geom::nearest::Lines;
use crate::geom::{Area, Point, combine, hatch, offset, pt, trig};
use std::f64::consts::PI;

/// What limits a course.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reach {
    /// Tow width, mm.
    pub(super) width: f64,
    /// Shortest piece, mm.
    pub(super) shortest: f64,
    /// For rows in one direction.
    pub(super) rows: Option<Rows>,
}

/// Rows and their turns.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rows {
    /// Direction, radians.
    pub(super) angle: f64,
    /// Least radius of turns between them, mm; `None` where none are made.
    pub(super) turns: Option<f64>,
}

/// Sagitta of chords, mm: an area told to a thousandth needs fewer points than a
/// line that is laid.
const CHORD_MM: f64 = 0.01;

/// Rows that are looked at per tow width.
const PER_WIDTH: f64 = 2.5;

/// Places along a turn that are looked at.
const ALONG_TURN: u32 = 8;

/// How far apart two rows are that a turn joins, in radii.
const ACROSS: [f64; 4] = [2.0, 2.5, 3.0, 4.0];

impl Reach {
    /// What can be covered of an area in which strips may lie.
    pub(super) fn of(&self, layable: &Area) -> Area {
        let half = 0.5 * self.width;
        // a band as wide as one course has a middle line
        let inset = half - 2.0 * CHORD_MM;
        let core = offset::shrunk(&combine::simplified(layable, 0.5 * CHORD_MM), inset, CHORD_MM);
        // the middle line of an island is about half its core's perimeter and at
        // most its core's perimeter long; a closed course runs all round it
        let long: Vec<Area> =
            core.split().filter(|a| a.perimeter().max(a.area() / self.width) >= self.shortest).collect();
        let core = combine::apart(long);
        let all = combine::intersection(&offset::grown(&core, half, CHORD_MM), layable);
        let Some(rows) = self.rows else { return all };
        let lost = self.out_of_reach(rows, &core);
        if lost.is_empty() {
            return all;
        }
        let pitch = self.width / PER_WIDTH;
        // between a slanting edge and the rows' ends stand teeth
        let core = offset::opened(&combine::difference(&core, &lost), 0.3 * pitch, CHORD_MM);
        // between two rows that are looked at a longer one may lie
        combine::intersection(&offset::grown(&core, half + 0.5 * pitch, CHORD_MM), &all)
    }

    /// Where middle lines of courses cannot lie: on rows too short for a piece that
    /// no turn joins to another, and where no turn passes.
    fn out_of_reach(&self, rows: Rows, core: &Area) -> Area {
        let pitch = self.width / PER_WIDTH;
        let hatched = hatch::rows_amid(core, rows.angle, pitch);
        let short = |(a, b): &(f64, f64)| b - a + self.width < self.shortest;
        if !hatched.iter().flat_map(|r| &r.spans).any(short) {
            return Area::empty();
        }
        let edge = Lines::boundary(&combine::turned(core, -rows.angle));
        let mut lost: Vec<Area> = Vec::new();
        let mut passed: Vec<Area> = Vec::new();
        for row in &hatched {
            for span in row.spans.iter().filter(|s| short(s)) {
                match rows.turns.and_then(|radius| joined(&edge, row.offset, *span, radius)) {
                    Some(ground) => passed.push(ground),
                    None => {
                        // a hair wider, so that neighbours are one
                        let (lo, hi) = (row.offset - 0.51 * pitch, row.offset + 0.51 * pitch);
                        let (a, b) = (span.0 - pitch, span.1 + pitch);
                        lost.push(combine::ring_area(&[pt(a, lo), pt(b, lo), pt(b, hi), pt(a, hi)]));
                    }
                }
            }
        }
        let lost = combine::difference_all(&combine::union_all(&lost), &passed);
        combine::turned(&lost, rows.angle)
    }
}

/// The ground that turns may pass which join a row to another one within the same
/// bounds; rows run along x. Where one turn has room it may also lie further in, so
/// that all between the two rows counts. `None` where none has room.
fn joined(edge: &Lines, y: f64, (a, b): (f64, f64), radius: f64) -> Option<Area> {
    let inside = |p: Point| edge.enclose(p) || edge.distance(p) < 2.0 * CHORD_MM;
    for side in [1.0, -1.0] {
        let mut back = 0.0;
        // from the end that lies farthest out inwards, up to a turn at the other end
        while back <= b - a {
            let end = if side > 0.0 { b - back } else { a + back };
            for up in [1.0, -1.0] {
                for across in ACROSS {
                    let (near, far) = (y + up * radius, y + up * (across - 1.0) * radius);
                    // where the turn lies farthest out it leaves the bounds first
                    let outermost = pt(end + side * radius, 0.5 * (near + far));
                    let mut turn = (0..=2 * ALONG_TURN).map(|k| {
                        let t = PI * f64::from(k) / f64::from(2 * ALONG_TURN);
                        let middle = if k <= ALONG_TURN { near } else { far };
                        let (sin, cos) = trig::sin_cos(t);
                        pt(end + side * radius * sin, middle - up * radius * cos)
                    });
                    if inside(outermost) && turn.all(inside) {
                        let (begin, other) = (if side > 0.0 { a } else { b }, y + up * across * radius);
                        let reach = end + side * radius;
                        return Some(combine::ring_area(&[
                            pt(begin.min(reach), y.min(other)),
                            pt(begin.max(reach), y.min(other)),
                            pt(begin.max(reach), y.max(other)),
                            pt(begin.min(reach), y.max(other)),
                        ]));
                    }
                }
            }
            back += 0.5 * radius;
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plate(w: f64, h: f64) -> Area {
        combine::ring_area(&[pt(0.0, 0.0), pt(w, 0.0), pt(w, h), pt(0.0, h)])
    }

    fn share(area: &Area, angle_deg: f64, radius: f64, shortest: f64) -> f64 {
        let rows = Some(Rows { angle: angle_deg.to_radians(), turns: (radius > 0.0).then_some(radius) });
        Reach { width: 1.0, shortest, rows }.of(area).area() / area.area()
    }

    #[test]
    fn rows_long_enough_reach_everything_but_round_corners() {
        assert!(share(&plate(60.0, 20.0), 0.0, 5.0, 43.0) > 0.998);
    }

    #[test]
    fn short_rows_are_reached_where_a_turn_has_room() {
        // rows of 30 mm, pieces of 43 mm: two and a turn are enough
        assert!(share(&plate(30.0, 40.0), 0.0, 5.0, 43.0) > 0.99, "room for turns");
        assert!(share(&plate(30.0, 40.0), 0.0, 0.0, 43.0) < 0.01, "none are made");
        // 8 mm across there is none of 5 mm radius
        assert!(share(&plate(30.0, 8.0), 0.0, 5.0, 43.0) < 0.01, "no room for turns");
        assert!(share(&plate(30.0, 12.0), 0.0, 5.0, 43.0) > 0.98, "room for one, anywhere along");
    }

    #[test]
    fn a_slender_band_across_the_direction_is_out_of_reach() {
        // 4 mm wide and 60 mm long: at 90 degrees to the rows nothing, along them all
        assert!(share(&plate(4.0, 60.0), 0.0, 5.0, 20.0) < 0.01);
        assert!(share(&plate(4.0, 60.0), 90.0, 5.0, 20.0) > 0.99);
        let nearly = share(&plate(4.0, 60.0), 89.0, 5.0, 20.0);
        assert!(nearly > 0.97, "{nearly}");
        let leaning = combine::ring_area(&[pt(0.0, 0.0), pt(4.0, 0.0), pt(44.0, 60.0), pt(40.0, 60.0)]);
        assert!(share(&leaning, 0.0, 5.0, 20.0) < 0.02, "{}", share(&leaning, 0.0, 5.0, 20.0));
    }

    #[test]
    fn other_rules_reach_whatever_a_strip_can_touch() {
        let reach = Reach { width: 1.0, shortest: 20.0, rows: None };
        assert!(reach.of(&plate(4.0, 60.0)).area() > 0.98 * 240.0);
        assert!(reach.of(&plate(4.0, 4.0)).is_empty(), "too small for a piece");
        assert!(reach.of(&plate(0.9, 60.0)).is_empty(), "narrower than tow");
        assert!(reach.of(&plate(1.0, 60.0)).area() > 0.95 * 60.0, "as wide as one course");
    }
}
