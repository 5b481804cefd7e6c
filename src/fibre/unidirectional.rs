//! Parallel courses, joined by turns of legal radius where that saves cuts.

use super::room::Room;
use super::rows::{self, Row, Stack};
use crate::geom::nearest::Lines;
use crate::geom::{Arc, Path, Point, Segment, hatch, pt};

/// Turns nested inside one another at one end of a group of rows. Each turn
/// shortens the rows inside it by one spacing, so a deep nest trades tow along
/// the load for tow across it; four give up a few tow widths at the ends and save
/// some two cuts in five.
const NEST: usize = 4;

/// Radius of the turns above the least, mm: the plan's rounding.
const TURN_MARGIN_MM: f64 = 2e-3;

/// Lays unidirectional courses. Gives the number of cuts that turns saved.
pub(super) fn lay(room: &mut Room<'_>) -> usize {
    let o = room.order;
    let stacks = rows::stacks(&room.area, o.angle, o.spacing);
    let turned = Turned::new(room);
    let mut saved = 0;
    for stack in stacks {
        saved += lay_stack(room, &turned, stack);
    }
    saved
}

/// The room in the frame whose x runs along the rows.
struct Turned {
    area: crate::geom::Area,
    boundary: Lines,
    angle: f64,
    radius: f64,
    spacing: f64,
}

/// Which end of the rows.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Side {
    Left,
    Right,
}

impl Side {
    fn sign(self) -> f64 {
        match self {
            Self::Left => -1.0,
            Self::Right => 1.0,
        }
    }

    fn end(self, r: &Row) -> f64 {
        match self {
            Self::Left => r.a,
            Self::Right => r.b,
        }
    }

    fn set_end(self, r: &mut Row, x: f64) {
        match self {
            Self::Left => r.a = x,
            Self::Right => r.b = x,
        }
    }
}

/// A turn between rows `lower` and `upper`, whose straights end at `at`.
#[derive(Clone, Copy, Debug)]
struct Turn {
    lower: usize,
    upper: usize,
    at: f64,
}

impl Turned {
    fn new(room: &Room<'_>) -> Self {
        let o = room.order;
        let rings: Vec<Vec<Point>> =
            room.area.rings().map(|r| r.iter().map(|p| p.turned(-o.angle)).collect()).collect();
        let area = crate::geom::combine::enclosed(
            rings.iter().map(Vec::as_slice),
            crate::geom::combine::FillRule::Positive,
        );
        let boundary = Lines::boundary(&area);
        Self { area, boundary, angle: o.angle, radius: o.radius + TURN_MARGIN_MM, spacing: o.spacing }
    }

    /// The turn's path from the lower row to the upper one.
    fn path(&self, side: Side, at: f64, y0: f64, y1: f64) -> Path {
        let (r, s) = (self.radius, side.sign());
        let out = at + s * r;
        let ccw = side == Side::Right;
        let mut segments = vec![Segment::Arc(Arc {
            from: pt(at, y0),
            to: pt(out, y0 + r),
            centre: pt(at, y0 + r),
            ccw,
        })];
        if y1 - y0 - 2.0 * r > 1e-9 {
            segments.push(Segment::Line { from: pt(out, y0 + r), to: pt(out, y1 - r) });
        }
        segments.push(Segment::Arc(Arc { from: pt(out, y1 - r), to: pt(at, y1), centre: pt(at, y1 - r), ccw }));
        Path::new(segments, false)
    }

    /// The path lies in the room throughout.
    fn inside(&self, path: &Path) -> bool {
        let total = path.length();
        let mut at = 0.0;
        loop {
            let Some(p) = path.point_at(at) else { return false };
            if !self.area.contains(p) {
                return false;
            }
            if at >= total {
                return true;
            }
            at = (at + self.boundary.distance(p).max(0.1)).min(total);
        }
    }

    /// How far a row between two joined ones may reach, so that it stays one
    /// spacing from the turn.
    fn reach(&self, side: Side, at: f64, y0: f64, y1: f64, y: f64) -> f64 {
        let (r, s) = (self.radius, side.sign());
        let tight = (r - self.spacing).max(0.0);
        let corner = (y0 + r - y).max(y - (y1 - r)).max(0.0);
        let along = if corner >= tight { 0.0 } else { (tight * tight - corner * corner).sqrt() };
        at + s * along
    }

    /// The farthest place for a turn between two rows, not beyond `limit`.
    fn place(&self, stack: &Stack, side: Side, lower: usize, upper: usize, limit: f64) -> Option<f64> {
        let s = side.sign();
        let (l, u) = (&stack[lower], &stack[upper]);
        let far = [side.end(l) * s, side.end(u) * s, limit * s].into_iter().fold(f64::INFINITY, f64::min);
        // the rows between must reach the turn: it lies inside the stack
        let between = stack[lower + 1..upper].iter().map(|r| side.end(r) * s).fold(f64::INFINITY, f64::min);
        let mut at = far.min(between - self.radius).min(far);
        // step back until the turn fits; beyond one turn's depth nothing is won
        let give_up = at - 2.0 * self.radius;
        while at > give_up {
            let x = at * s;
            if self.inside(&self.path(side, x, l.y, u.y)) {
                return Some(x);
            }
            at -= 0.25 * self.spacing;
        }
        None
    }
}

/// The turns at one end of a stack: nests side by side, each of at most `depth`.
fn turns(turned: &Turned, stack: &mut Stack, side: Side, first: usize, depth: usize) -> Vec<Turn> {
    let mut out = Vec::new();
    let least = rows_across(turned.radius * 2.0, turned.spacing);
    let size = least + 2 * (depth - 1);
    let mut from = first;
    while from + least < stack.len() {
        let mut upper = (from + size).min(stack.len() - 1);
        let mut lower = from;
        let s = side.sign();
        let mut limit = s * f64::INFINITY;
        let top = upper;
        while upper >= lower + least {
            match turned.place(stack, side, lower, upper, limit) {
                Some(at) if keeps_rows(turned, stack, side, lower, upper, at) => {
                    trim(turned, stack, side, lower, upper, at);
                    out.push(Turn { lower, upper, at });
                    limit = at - s * turned.spacing;
                }
                _ => {}
            }
            lower += 1;
            upper -= 1;
        }
        from = top + 1;
    }
    out
}

/// Rows that lie at least `distance` apart, in steps of the spacing.
fn rows_across(distance: f64, spacing: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few rows")]
    let n = ((distance / spacing - 1e-9).ceil()).max(1.0) as usize;
    n
}

/// No row between loses more than it can spare: what it gives up at this end is
/// less than a third of it, or it was too short to be laid anyway.
fn keeps_rows(turned: &Turned, stack: &Stack, side: Side, lower: usize, upper: usize, at: f64) -> bool {
    let s = side.sign();
    let ends = |r: &Row, x: f64| (side.end(r) - x) * s < r.length() / 3.0;
    ends(&stack[lower], at)
        && ends(&stack[upper], at)
        && (lower + 1..upper).all(|k| {
            let x = turned.reach(side, at, stack[lower].y, stack[upper].y, stack[k].y);
            ends(&stack[k], x)
        })
}

fn trim(turned: &Turned, stack: &mut Stack, side: Side, lower: usize, upper: usize, at: f64) {
    let s = side.sign();
    let (y0, y1) = (stack[lower].y, stack[upper].y);
    side.set_end(&mut stack[lower], at);
    side.set_end(&mut stack[upper], at);
    for row in &mut stack[lower + 1..upper] {
        let x = turned.reach(side, at, y0, y1, row.y);
        if side.end(row) * s > x * s {
            side.set_end(row, x);
        }
    }
}

/// Lays one stack with the turns that save most. Gives the cuts saved.
fn lay_stack(room: &mut Room<'_>, turned: &Turned, stack: Stack) -> usize {
    let shortest = room.order.shortest;
    let usual = median(&stack);
    // rows too short to be laid alone are only laid by joining them: nest as deep
    // as it goes
    let depth = if usual < shortest { stack.len() } else { NEST };
    let mut best: Option<(f64, usize, Vec<Path>, Vec<Row>)> = None;
    for depth in [depth, 1, 0] {
        for shift in 0..2 {
            if depth == 0 && shift > 0 {
                continue;
            }
            let mut rows = stack.clone();
            let (right, left) = if depth == 0 {
                (Vec::new(), Vec::new())
            } else {
                let right = turns(turned, &mut rows, Side::Right, 0, depth);
                let left = turns(turned, &mut rows, Side::Left, 1 + shift, depth);
                (right, left)
            };
            let paths = chains(turned, &rows, &right, &left);
            let laid: f64 = paths.iter().map(Path::length).filter(|l| *l >= shortest).sum();
            let count = paths.iter().filter(|p| p.length() >= shortest).count();
            // a cut is worth as much tow as it takes to thread: the shortest course
            let worth = laid - shortest * 0.5 * f64_of(count);
            if best.as_ref().is_none_or(|(w, ..)| worth > *w) {
                best = Some((worth, right.len() + left.len(), paths, rows));
            }
        }
    }
    let Some((_, joined, paths, _)) = best else { return 0 };
    let before = room.courses.len();
    let closed = paths.iter().filter(|p| p.closed).count();
    for path in paths {
        let plane = turned_back(&path, turned.angle);
        room.accept(plane);
    }
    // a row alone is a cut; every turn joins two, a loop joins its own ends
    if room.courses.len() == before { 0 } else { joined - closed.min(joined) }
}

#[expect(clippy::cast_precision_loss, reason = "a number of courses")]
fn f64_of(n: usize) -> f64 {
    n as f64
}

fn median(stack: &Stack) -> f64 {
    let mut lengths: Vec<f64> = stack.iter().map(Row::length).collect();
    lengths.sort_by(f64::total_cmp);
    lengths.get(lengths.len() / 2).copied().unwrap_or(0.0)
}

/// Joins rows and turns into runs. A run of rows joined at both ends all the way
/// round is closed.
fn chains(turned: &Turned, rows: &[Row], right: &[Turn], left: &[Turn]) -> Vec<Path> {
    let link = |turns: &[Turn]| -> Vec<Option<usize>> {
        let mut of = vec![None; rows.len()];
        for (k, t) in turns.iter().enumerate() {
            of[t.lower] = Some(k);
            of[t.upper] = Some(k);
        }
        of
    };
    let (at_right, at_left) = (link(right), link(left));
    let mut used = vec![false; rows.len()];
    let mut paths = Vec::new();
    // runs with a free end first, loops after them
    for loops in [false, true] {
        for start in 0..rows.len() {
            if used[start] {
                continue;
            }
            let from = match (at_left[start], at_right[start]) {
                (None, _) => Side::Left,
                (_, None) => Side::Right,
                _ if loops => Side::Left,
                _ => continue,
            };
            let mut segments = Vec::new();
            let mut row = start;
            let mut entered = from;
            let mut closed = false;
            loop {
                used[row] = true;
                let r = rows[row];
                let (x0, x1) = if entered == Side::Left { (r.a, r.b) } else { (r.b, r.a) };
                segments.push(Segment::Line { from: pt(x0, r.y), to: pt(x1, r.y) });
                let (side, turn) = if entered == Side::Left {
                    (Side::Right, at_right[row].map(|k| right[k]))
                } else {
                    (Side::Left, at_left[row].map(|k| left[k]))
                };
                let Some(t) = turn else { break };
                let path = turned.path(side, t.at, rows[t.lower].y, rows[t.upper].y);
                let (path, next) = if t.lower == row { (path, t.upper) } else { (path.reversed(), t.lower) };
                segments.extend(path.segments);
                if next == start {
                    closed = true;
                    break;
                }
                if used[next] {
                    break;
                }
                row = next;
                entered = side;
            }
            paths.push(Path::new(segments, closed));
        }
    }
    // rows that the turns left no length
    paths.retain(|p| p.length() > 1e-6 && p.segments.iter().all(|s| s.length() > 1e-9));
    paths
}

fn turned_back(path: &Path, angle: f64) -> Path {
    let back = |p: Point| hatch::to_plane(p.x, p.y, angle);
    let segments = path
        .segments
        .iter()
        .map(|s| match *s {
            Segment::Line { from, to } => Segment::Line { from: back(from), to: back(to) },
            Segment::Arc(a) => {
                Segment::Arc(Arc { from: back(a.from), to: back(a.to), centre: back(a.centre), ccw: a.ccw })
            }
        })
        .collect();
    Path::new(segments, path.closed)
}
