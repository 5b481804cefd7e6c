//! Parallel courses, joined by turns of legal radius where that saves cuts.

use super::room::Room;
use super::rows::{self, Row, Stack};
use crate::geom::nearest::Lines;
use crate::geom::{Arc, Path, Point, Segment, hatch, pt, trig};

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
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
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

/// A turn between rows `lower` and `upper`: an arc off the lower row, a straight
/// along the slope of the boundary, an arc onto the upper row.
///
/// `u` runs along the rows towards the end that the turn is at, `y` across them.
/// With D the distance of the rows, r the radius and phi the slope of the
/// straight, its length is (D - 2 r) / sin phi, and the upper row is met
/// (D - 2 r) cot phi further along than the lower one is left.
#[derive(Clone, Copy, Debug)]
struct Turn {
    side: Side,
    lower: usize,
    upper: usize,
    y0: f64,
    y1: f64,
    /// Where the lower row ends, along `u`.
    u0: f64,
    /// Slope of the straight, radians from `u`.
    phi: f64,
    radius: f64,
}

/// Slopes of the straight between the two arcs, radians: flatter ones need more
/// length than they save.
const SLOPES: (f64, f64) = (0.6, std::f64::consts::PI - 0.6);

impl Turn {
    /// Where the upper row ends, along `u`.
    fn u1(&self) -> f64 {
        self.u0 + (self.y1 - self.y0 - 2.0 * self.radius) * trig::cos(self.phi) / trig::sin(self.phi)
    }

    /// Where the curve that runs `inset` mm inside the turn crosses `y`, along `u`.
    fn across(&self, y: f64, inset: f64) -> f64 {
        let r = (self.radius - inset).max(0.0);
        let (sin, cos) = trig::sin_cos(self.phi);
        let (c0, c1) = (self.y0 + self.radius, self.y1 - self.radius);
        let bulge = |d: f64| (r * r - d * d).max(0.0).sqrt();
        if y < c0 - r * cos {
            self.u0 + bulge(y - c0)
        } else if y > c1 - r * cos {
            self.u1() + bulge(y - c1)
        } else {
            self.u0 + r * sin + (y - (c0 - r * cos)) * cos / sin
        }
    }

    /// The path from the lower row to the upper one, in the turned frame.
    fn path(&self) -> Path {
        let s = self.side.sign();
        let (sin, cos) = trig::sin_cos(self.phi);
        let (r, u1) = (self.radius, self.u1());
        let at = |u: f64, y: f64| pt(s * u, y);
        let ccw = self.side == Side::Right;
        let (c0, c1) = (self.y0 + r, self.y1 - r);
        let (leave, meet) = (at(self.u0 + r * sin, c0 - r * cos), at(u1 + r * sin, c1 - r * cos));
        let arc = |from, to, centre| Segment::Arc(Arc { from, to, centre, ccw });
        let mut segments = vec![arc(at(self.u0, self.y0), leave, at(self.u0, c0))];
        if leave.dist(meet) > 1e-9 {
            segments.push(Segment::Line { from: leave, to: meet });
        }
        segments.push(arc(meet, at(u1, self.y1), at(u1, c1)));
        Path::new(segments, false)
    }

    /// Where along `u` row `k` ends once the turn is there.
    fn end_of(&self, k: usize, y: f64, spacing: f64) -> f64 {
        if k == self.lower {
            self.u0
        } else if k == self.upper {
            self.u1()
        } else {
            self.across(y, spacing)
        }
    }
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

    /// The path lies in the room throughout.
    fn inside(&self, path: &Path) -> bool {
        let total = path.length();
        let mut at = 0.0;
        loop {
            let Some(p) = path.point_at(at) else { return false };
            let edge = self.boundary.distance(p);
            if edge > 2e-3 && !self.area.contains(p) {
                return false;
            }
            if at >= total {
                return true;
            }
            at = (at + edge.max(0.1)).min(total);
        }
    }

    /// The turn between two rows that lies farthest out, no farther than `limit`.
    fn place(
        &self,
        stack: &Stack,
        side: Side,
        lower: usize,
        upper: usize,
        slope: Option<f64>,
        limit: f64,
    ) -> Option<Turn> {
        let s = side.sign();
        let end = |k: usize| side.end(&stack[k]) * s;
        let (y0, y1) = (stack[lower].y, stack[upper].y);
        // along the line through the two rows' ends, or the nest's
        let phi =
            slope.unwrap_or_else(|| trig::atan2(y1 - y0, end(upper) - end(lower)).clamp(SLOPES.0, SLOPES.1));
        let mut turn = Turn { side, lower, upper, y0, y1, u0: 0.0, phi, radius: self.radius };
        // every row between must reach the turn, which so lies inside the stack
        turn.u0 = (lower..=upper)
            .map(|k| {
                end(k)
                    - if k == lower || k == upper {
                        turn.end_of(k, stack[k].y, 0.0)
                    } else {
                        turn.across(stack[k].y, 0.0)
                    }
            })
            .fold(limit, f64::min);
        let give_up = turn.u0 - 1.5 * self.radius;
        while turn.u0 > give_up {
            if self.inside(&turn.path()) {
                return Some(turn);
            }
            // the boundary bulges inwards somewhere: step back
            turn.u0 -= 0.25 * self.spacing;
        }
        None
    }
}

/// The turns at one end of a stack: nests side by side, each of at most `depth`.
/// A row keeps at least the share `keep` of its length in `whole`.
fn turns(
    turned: &Turned,
    stack: &mut Stack,
    whole: &Stack,
    side: Side,
    first: usize,
    depth: usize,
    keep: f64,
) -> Vec<Turn> {
    let mut out = Vec::new();
    let least = rows_across(turned.radius * 2.0, turned.spacing);
    let size = least + 2 * (depth - 1);
    let s = side.sign();
    let mut from = first;
    while from + least < stack.len() {
        let top = (from + size).min(stack.len() - 1);
        let (mut lower, mut upper) = (from, top);
        let mut limit = f64::INFINITY;
        let mut slope = None;
        while upper >= lower + least {
            if let Some(turn) = turned.place(stack, side, lower, upper, slope, limit) {
                let spared = (lower..=upper).all(|k| {
                    let lost =
                        (side.end(&stack[k]) * s - turn.end_of(k, stack[k].y, turned.spacing)).max(0.0);
                    stack[k].length() - lost >= keep * whole[k].length()
                });
                if spared {
                    for (k, row) in stack.iter_mut().enumerate().take(upper + 1).skip(lower) {
                        let u = turn.end_of(k, row.y, turned.spacing);
                        if k == lower || k == upper || side.end(row) * s > u {
                            side.set_end(row, u * s);
                        }
                    }
                    // one spacing inside this turn the next one has its place
                    limit = turn.u0 - turned.spacing * trig::tan(0.5 * turn.phi);
                    slope = Some(turn.phi);
                    out.push(turn);
                }
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

/// Lays one stack with the turns that save most. Gives the cuts saved.
fn lay_stack(room: &mut Room<'_>, turned: &Turned, stack: Stack) -> usize {
    let shortest = room.order.shortest;
    // rows too short to be laid alone are only laid by joining them: nest as deep
    // as it goes and keep whatever is left of them
    let short = median(&stack) < shortest;
    let (depths, keep) =
        if short { (vec![stack.len(), 2 * NEST, NEST, 2, 1, 0], 0.02) } else { (vec![NEST, 2, 1, 0], 0.5) };
    let mut best: Option<(f64, usize, Vec<Path>)> = None;
    for depth in depths {
        for (sides, shift) in [(BOTH, 0), (BOTH, 1), (BOTH, 2), ([true, false], 0), ([false, true], 0)] {
            let mut rows = stack.clone();
            let mut at = |side: Side, wanted: bool, first: usize| {
                if wanted && depth > 0 {
                    turns(turned, &mut rows, &stack, side, first, depth, keep)
                } else {
                    Vec::new()
                }
            };
            let right = at(Side::Right, sides[0], 0);
            let left = at(Side::Left, sides[1], shift);
            let paths = chains(&rows, &right, &left);
            let laid = || paths.iter().filter(|p| p.length() >= shortest && mostly_rows(p));
            // a cut costs time and an end in the part: worth half the shortest
            // course of tow
            let worth = laid().map(Path::length).sum::<f64>() - 0.5 * shortest * f64_of(laid().count());
            if best.as_ref().is_none_or(|(w, ..)| worth > *w) {
                best = Some((worth, right.len() + left.len(), paths));
            }
            if depth == 0 {
                break;
            }
        }
    }
    let Some((_, joined, paths)) = best else { return 0 };
    let before = room.courses.len();
    let loops = paths.iter().filter(|p| p.closed).count();
    for path in paths {
        let plane = turned_back(&path, turned.angle);
        if mostly_rows(&path) {
            room.lay_row(plane);
        } else {
            let at = plane.start();
            room.leave_out("rows too short for the turns that would join them", path.length(), at);
        }
    }
    // every turn joins two rows into one course, but for the one that closes a loop
    if room.courses.len() == before { 0 } else { joined.saturating_sub(loops) }
}

const BOTH: [bool; 2] = [true, true];

/// At least this share of a course lies along the rows: with less, turns would
/// make another laminate than the map asks for.
const LEAST_SHARE: f64 = 0.55;

fn mostly_rows(path: &Path) -> bool {
    let along: f64 = path
        .segments
        .iter()
        .filter(|s| (s.to().y - s.from().y).abs() < 1e-9 && s.radius().is_infinite())
        .map(Segment::length)
        .sum();
    along >= LEAST_SHARE * path.length()
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
fn chains(rows: &[Row], right: &[Turn], left: &[Turn]) -> Vec<Path> {
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
                let turn = match entered {
                    Side::Left => at_right[row].map(|k| right[k]),
                    Side::Right => at_left[row].map(|k| left[k]),
                };
                let Some(t) = turn else { break };
                let path = t.path();
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
                entered = t.side;
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
