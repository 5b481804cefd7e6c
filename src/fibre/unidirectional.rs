//! Parallel courses, joined by turns of legal radius where that saves cuts.
//!
//! Rows are nodes, turns are links between row ends at one side. Which links to
//! make is a matching problem at each side ([`super::nests`]); the second side is
//! matched knowing the runs that the first made. Of several limits to how deep
//! turns nest the answer that is worth most is laid: as much tow as possible,
//! every cut costing what [`cut_cost`] says.

use super::nests::{self, Nest};
use super::room::Room;
use super::rows::{self, Field, Row};
use crate::geom::nearest::Lines;
use crate::geom::{Arc, Path, Point, Segment, hatch, pt, trig};

/// Radius of the turns above the least, mm: the plan's rounding.
const TURN_MARGIN_MM: f64 = 2e-3;

/// What a cut costs, in tow, mm. A turn rounds two corners and so gives up
/// (4 - pi) R = 0.86 R of tow, and some widths where rows inside it end at its
/// bend. As a rule a turn is made only where it costs less than half of that: where
/// rows end at an edge that falls in with it. Where few cuts are asked for, one may
/// cost all of it.
fn cut_cost(o: &super::room::Order<'_>, radius: f64) -> f64 {
    let turn = 1.6 * radius + 4.0 * o.width;
    let share = if o.few_cuts { FEW_CUTS.0 } else { 0.3 };
    (share * turn).min(0.95 * o.shortest)
}

/// How deep turns may nest, as a share of the rows' length on either side: what
/// lies in the turns does not lie in the direction asked for. The fewer nests, the
/// less is lost in the bend of the innermost turn.
const DEEPEST_SHARE: f64 = 0.2;

/// The same two where few cuts are asked for.
const FEW_CUTS: (f64, f64) = (1.7, 0.35);

/// Most turns in a nest, whatever the rows' length: searching deeper costs time
/// and saves hardly more.
const DEEPEST: usize = 12;

/// Rounds over what earlier rows left: a place beside an edge that the first
/// field's rows fell badly into gets rows of its own.
const ROUNDS: usize = 4;

/// Lays unidirectional courses. Gives the number of cuts that turns saved.
pub(super) fn lay(room: &mut Room<'_>) -> usize {
    let o = room.order;
    let mut saved = 0;
    for round in 0..ROUNDS {
        let area = if round == 0 { room.area.clone() } else { room.rest() };
        let turned = Turned::new(&area, &o);
        let before = room.courses.len();
        let told = room.left_out.len();
        for field in rows::fields(&area, o.angle, turned.spacing, o.shortest) {
            let planned = plan_field(room, &turned, &field);
            saved += lay_planned(room, planned, turned.angle);
        }
        if round > 0 {
            // told once, by the round that found it
            room.left_out.truncate(told);
        }
        if room.courses.len() == before || o.spacing > 1.5 * o.width {
            break;
        }
    }
    room.settle_left_out();
    saved
}

/// Lays straight courses in a part of the room, joined by turns where they are too
/// short alone, in the direction of those tried that gives most, without a word
/// about what is not laid.
pub(super) fn lay_best(room: &mut Room<'_>, part: &crate::geom::Area, angles: &[f64]) {
    let o = room.order;
    let mut long: Vec<(f64, f64)> = Vec::new();
    let mut all: Vec<(f64, f64)> = Vec::new();
    for &angle in angles {
        let fields = rows::fields(part, angle, o.spacing, o.shortest);
        let lengths = || fields.iter().flat_map(|f| &f.rows).map(Row::length);
        long.push((lengths().filter(|l| *l >= o.shortest).sum(), angle));
        all.push((lengths().sum(), angle));
    }
    let most = |of: &mut Vec<(f64, f64)>| {
        of.sort_by(|a, b| b.0.total_cmp(&a.0));
        of.first().copied()
    };
    let Some((straight, angle)) = most(&mut long) else { return };
    let plan = |angle: f64| {
        let turned = Turned::new(part, &super::room::Order { angle, ..o });
        let fields = rows::fields(part, angle, turned.spacing, o.shortest);
        let plans: Vec<Planned> = fields.iter().map(|f| plan_field(room, &turned, f)).collect();
        (plans.iter().map(|p| p.worth).sum::<f64>(), angle, plans)
    };
    // where straight rows alone serve it well no turns are looked for
    let tried: Vec<f64> = if straight * o.spacing >= SERVED * part.area() {
        vec![angle]
    } else {
        most(&mut all);
        let mut tried: Vec<f64> = all.iter().take(TRIED).map(|a| a.1).collect();
        if straight > 0.0 {
            tried.insert(0, angle);
        }
        tried
    };
    let mut best: Option<(f64, f64, Vec<Planned>)> = None;
    for angle in tried {
        let made = plan(angle);
        if made.0 > best.as_ref().map_or(0.0, |b| b.0) + 1e-6 {
            best = Some(made);
        }
    }
    let Some((_, angle, plans)) = best else { return };
    let told = room.left_out.len();
    for plan in plans {
        lay_planned(room, plan, angle);
    }
    room.left_out.truncate(told);
}

/// Share of a place under straight rows alone from which on no turns are tried.
const SERVED: f64 = 0.75;

/// Directions tried with turns.
const TRIED: usize = 6;

/// The room in the frame whose x runs along the rows.
struct Turned {
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

    /// Its length: two arcs that together turn by half a circle, and the straight.
    fn length(&self) -> f64 {
        let straight = (self.y1 - self.y0 - 2.0 * self.radius) / trig::sin(self.phi);
        std::f64::consts::PI * self.radius + straight
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
    fn new(area: &crate::geom::Area, o: &super::room::Order<'_>) -> Self {
        let rings: Vec<Vec<Point>> =
            area.rings().map(|r| r.iter().map(|p| p.turned(-o.angle)).collect()).collect();
        let area = crate::geom::combine::enclosed(
            rings.iter().map(Vec::as_slice),
            crate::geom::combine::FillRule::Positive,
        );
        let boundary = Lines::boundary(&area);
        let radius = o.radius + TURN_MARGIN_MM;
        Self { boundary, angle: o.angle, radius, spacing: pitch(o.spacing, 2.0 * radius) }
    }

    /// The path lies in the room throughout.
    fn inside(&self, path: &Path) -> bool {
        super::room::within(&self.boundary, path, 2e-3)
    }
}

/// The spacing, stretched by a hair where the width of a turn is just more than a
/// whole number of it: one row fewer then lies inside every turn.
fn pitch(spacing: f64, across: f64) -> f64 {
    let whole = (across / spacing).floor();
    let stretched = across / whole.max(1.0);
    if stretched < spacing * 1.002 { stretched.max(spacing) } else { spacing }
}

/// One side of a field: a front's rows as they are now, from the lowest.
struct RowEnds<'a> {
    side: Side,
    rows: &'a [Row],
    radius: f64,
    spacing: f64,
}

impl RowEnds<'_> {
    fn end(&self, k: usize) -> f64 {
        self.side.end(&self.rows[k]) * self.side.sign()
    }

    /// The turn between two rows that lies farthest out, no farther than `limit`,
    /// by the rows' ends alone.
    fn fitted(&self, lower: usize, upper: usize, slope: Option<f64>, limit: f64) -> Turn {
        let (y0, y1) = (self.rows[lower].y, self.rows[upper].y);
        // along the line through the two rows' ends, or the nest's
        let phi = slope.unwrap_or_else(|| {
            trig::atan2(y1 - y0, self.end(upper) - self.end(lower)).clamp(SLOPES.0, SLOPES.1)
        });
        let mut turn = Turn { side: self.side, lower, upper, y0, y1, u0: 0.0, phi, radius: self.radius };
        // every row between must reach the turn, which so lies inside the front
        turn.u0 = (lower..=upper)
            .map(|k| {
                let at = if k == lower || k == upper {
                    turn.end_of(k, self.rows[k].y, 0.0)
                } else {
                    turn.across(self.rows[k].y, 0.0)
                };
                self.end(k) - at
            })
            .fold(limit, f64::min);
        turn
    }

    /// The turns of a nest, outermost first, each one spacing inside the one
    /// before; `inside` says whether a turn has room where the boundary bulges
    /// between two rows, and if not it steps back.
    fn turns(&self, nest: Nest, inside: Option<&dyn Fn(&Path) -> bool>) -> Option<Vec<Turn>> {
        let mut out: Vec<Turn> = Vec::new();
        let (mut limit, mut slope) = (f64::INFINITY, None);
        for (lower, upper) in nest.pairs() {
            let mut turn = self.fitted(lower, upper, slope, limit);
            if let Some(inside) = inside {
                let give_up = turn.u0 - 1.5 * self.radius;
                while !inside(&turn.path()) {
                    turn.u0 -= 0.25 * self.spacing;
                    if turn.u0 < give_up {
                        return (!out.is_empty()).then_some(out);
                    }
                }
            }
            // one spacing inside this turn the next one has its place
            limit = turn.u0 - self.spacing * trig::tan(0.5 * turn.phi);
            slope = Some(turn.phi);
            out.push(turn);
        }
        Some(out)
    }

    /// How much each row of a nest, its first first, is cut back by its turns.
    fn lost(&self, turns: &[Turn], nest: Nest) -> Vec<f64> {
        (nest.first..=nest.last)
            .map(|k| {
                let paired = (k - nest.first).min(nest.last - k);
                let u = match (turns.get(paired), turns.last()) {
                    (Some(t), _) => t.end_of(k, self.rows[k].y, self.spacing),
                    (None, Some(innermost)) => innermost.across(self.rows[k].y, self.spacing),
                    (None, None) => return 0.0,
                };
                (self.end(k) - u).max(0.0)
            })
            .collect()
    }

    /// Where along `u` row `k` ends once these turns are there, if they touch it.
    fn cut_back(&self, turns: &[Turn], k: usize) -> Option<f64> {
        let paired = turns.iter().find(|t| t.lower == k || t.upper == k);
        if let Some(t) = paired {
            return Some(t.end_of(k, self.rows[k].y, self.spacing));
        }
        let around = turns.iter().rev().find(|t| t.lower < k && k < t.upper)?;
        let u = around.across(self.rows[k].y, self.spacing);
        (u < self.end(k)).then_some(u)
    }
}

/// A field while its rows are being joined.
#[derive(Clone)]
struct Plan {
    rows: Vec<Row>,
    left: Vec<Turn>,
    right: Vec<Turn>,
}

/// What a run of tow is worth, mm: its length less its cut; below the shortest
/// course nothing yet, but the more the nearer it comes.
#[derive(Clone, Copy)]
struct Worth {
    shortest: f64,
    cut: f64,
}

impl Worth {
    fn of(self, length: f64) -> f64 {
        if length >= self.shortest {
            return length - self.cut;
        }
        let share = (length / self.shortest).max(0.0);
        0.5 * (self.shortest - self.cut) * share * share
    }
}

impl Plan {
    /// Joins ends at one side by the nests that are worth most.
    fn join(
        &mut self,
        turned: &Turned,
        field: &Field,
        side: Side,
        depth: usize,
        value_of: Worth,
        first: bool,
    ) {
        let fronts = if side == Side::Left { &field.left } else { &field.right };
        let least = rows_across(turned.radius * 2.0, turned.spacing);
        for front in fronts {
            if front.len() <= least {
                continue;
            }
            let runs = self.runs(field.rows.len());
            let rows: Vec<Row> = front.iter().map(|&i| self.rows[i]).collect();
            let at = RowEnds { side, rows: &rows, radius: turned.radius, spacing: turned.spacing };
            let short = |i: usize| field.rows[i].length() < value_of.shortest;
            let spared = |lost: &[f64], nest: Nest| {
                (nest.first..).zip(lost).all(|(k, lost)| {
                    let keep = if short(front[k]) { 0.02 } else { 0.5 };
                    rows[k].length() - lost >= keep * field.rows[front[k]].length()
                })
            };
            let value = |nest: Nest| {
                if nest.pairs().any(|(i, j)| runs.id[front[i]] == runs.id[front[j]]) {
                    return None;
                }
                let turns = at.turns(nest, None)?;
                let lost = at.lost(&turns, nest);
                if !spared(&lost, nest) {
                    return None;
                }
                let mut sum = 0.0;
                let after = |k: usize| runs.length[front[k]] - lost[k - nest.first];
                for t in &turns {
                    let (i, j) = (front[t.lower], front[t.upper]);
                    let before = value_of.of(runs.length[i]) + value_of.of(runs.length[j]);
                    let turn = t.length();
                    let joined = after(t.lower) + after(t.upper) + turn;
                    // of answers that save as much, the one with shorter turns
                    sum += value_of.of(joined) - before - 1e-3 * turn;
                }
                let inner = nest.first + nest.depth..=nest.last - nest.depth;
                for (k, &row) in inner.clone().zip(&front[inner]) {
                    let (was, now) = (runs.length[row], after(k));
                    // what the first side leaves short the second may yet join
                    let loss = value_of.of(was) - value_of.of(now);
                    let short = value_of.shortest;
                    sum -= if first && now < short { loss.min(was - now + 0.3 * short) } else { loss };
                }
                Some(sum)
            };
            let (_, nests) = nests::best(front.len(), least, depth, value);
            for nest in nests {
                let Some(turns) = at.turns(nest, Some(&|p: &Path| turned.inside(p))) else { continue };
                let nest = Nest { depth: turns.len(), ..nest };
                if !spared(&at.lost(&turns, nest), nest) {
                    continue;
                }
                let all = nest.first..=nest.last;
                for (k, &row) in all.clone().zip(&front[all]) {
                    if let Some(u) = at.cut_back(&turns, k) {
                        side.set_end(&mut self.rows[row], u * side.sign());
                    }
                }
                let placed =
                    turns.into_iter().map(|t| Turn { lower: front[t.lower], upper: front[t.upper], ..t });
                match side {
                    Side::Left => self.left.extend(placed),
                    Side::Right => self.right.extend(placed),
                }
            }
        }
    }

    /// Which run each row is in, and how long that is.
    fn runs(&self, count: usize) -> Runs {
        let mut id: Vec<usize> = (0..count).collect();
        for t in self.left.iter().chain(&self.right) {
            let (a, b) = (id[t.lower], id[t.upper]);
            id.iter_mut().filter(|x| **x == b).for_each(|x| *x = a);
        }
        let mut of = vec![0.0; count];
        for (i, r) in self.rows.iter().enumerate() {
            of[id[i]] += r.length();
        }
        for t in self.left.iter().chain(&self.right) {
            of[id[t.lower]] += t.path().length();
        }
        Runs { length: id.iter().map(|i| of[*i]).collect(), id }
    }
}

struct Runs {
    id: Vec<usize>,
    length: Vec<f64>,
}

/// Rows that lie at least `distance` apart, in steps of the spacing.
fn rows_across(distance: f64, spacing: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few rows")]
    let n = ((distance / spacing - 1e-9).ceil()).max(1.0) as usize;
    n
}

/// The turns of one field that are worth most.
fn plan_field(room: &Room<'_>, turned: &Turned, field: &Field) -> Planned {
    let shortest = room.order.shortest;
    let value_of = Worth { shortest, cut: cut_cost(&room.order, turned.radius) };
    let median = median(&field.rows);
    let share = if room.order.few_cuts { FEW_CUTS.1 } else { DEEPEST_SHARE };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few rows")]
    let deepest = ((share * median / turned.spacing) as usize).clamp(1, DEEPEST);
    // rows too short to be laid alone are only laid by joining them: as deep as it goes
    let deepest = if median < shortest { DEEPEST } else { deepest };
    let mut depths = vec![0, 1, 2, 4, 6, 9, 12];
    depths.retain(|d| *d < deepest);
    depths.push(deepest);
    let mut best: Option<(f64, Vec<Path>, bool)> = None;
    for depth in depths {
        // where shallow nests pay nothing only the deepest may
        let paid = best.as_ref().is_some_and(|b| b.2);
        if depth > 2 && depth < deepest && !paid {
            continue;
        }
        for sides in [[Side::Right, Side::Left], [Side::Left, Side::Right]] {
            let mut plan = Plan { rows: field.rows.clone(), left: Vec::new(), right: Vec::new() };
            plan.join(turned, field, sides[0], depth, value_of, true);
            plan.join(turned, field, sides[1], depth, value_of, false);
            let paths = chains(&plan.rows, &plan.right, &plan.left);
            let laid = || paths.iter().filter(|p| p.length() >= shortest && mostly_rows(p));
            let sum: f64 = laid().map(|p| value_of.of(p.length())).sum();
            let joined = laid().any(|p| rows_in(p) > 1);
            if best.as_ref().is_none_or(|(w, ..)| sum > *w + 1e-6) {
                best = Some((sum, paths, joined));
            }
            if depth == 0 {
                break;
            }
        }
    }
    best.map(|(worth, paths, _)| Planned { worth, paths }).unwrap_or_default()
}

/// Courses of a field, not laid yet.
#[derive(Default)]
struct Planned {
    worth: f64,
    /// In the turned frame.
    paths: Vec<Path>,
}

/// Lays what was planned. Gives the cuts saved: each course one less than its rows.
fn lay_planned(room: &mut Room<'_>, planned: Planned, angle: f64) -> usize {
    let mut saved = 0;
    for path in planned.paths {
        let plane = turned_back(&path, angle);
        if mostly_rows(&path) {
            let before = room.courses.len();
            room.lay_row(plane);
            let laid = room.courses[before..].iter().map(|c| rows_in(&turned_back(c.path(), -angle)));
            saved += laid.map(|rows| rows.saturating_sub(1)).sum::<usize>();
        } else {
            let at = plane.start();
            room.leave_out("rows too short for the turns that would join them", path.length(), at);
        }
    }
    saved
}

/// Rows that a run is made of.
fn rows_in(path: &Path) -> usize {
    path.segments.iter().filter(|s| along_rows(s)).count()
}

fn along_rows(s: &Segment) -> bool {
    (s.to().y - s.from().y).abs() < 1e-6 && s.radius().is_infinite()
}

/// At least this share of a course lies along the rows: with less, turns would
/// make another laminate than the map asks for.
const LEAST_SHARE: f64 = 0.55;

fn mostly_rows(path: &Path) -> bool {
    let along: f64 = path.segments.iter().filter(|s| along_rows(s)).map(Segment::length).sum();
    along >= LEAST_SHARE * path.length()
}

fn median(rows: &[Row]) -> f64 {
    let mut lengths: Vec<f64> = rows.iter().map(Row::length).collect();
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

#[cfg(test)]
mod tests {
    use super::super::room::Order;
    use super::*;
    use crate::geom::combine;
    use crate::job::Rule;

    fn room(ring: &[Point], width: f64, radius: f64, shortest: f64) -> Room<'static> {
        let order = Order {
            region: "test",
            rule: Rule::Unidirectional,
            rank: 0,
            layer: 1,
            width,
            spacing: width,
            radius,
            shortest,
            deviation: 0.02,
            courses: None,
            angle: 0.0,
            few_cuts: false,
        };
        Room::new(order, &combine::ring_area(ring))
    }

    fn plate(w: f64, h: f64) -> Vec<Point> {
        vec![pt(0.0, 0.0), pt(w, 0.0), pt(w, h), pt(0.0, h)]
    }

    #[test]
    fn rows_too_short_to_be_laid_alone_are_joined() {
        let mut room = room(&plate(38.0, 40.0), 1.0, 4.0, 43.0);
        lay(&mut room);
        let laid: f64 = room.courses.iter().map(|c| c.length_mm()).sum();
        assert!(laid > 0.8 * 38.0 * 40.0, "{laid} mm in {} courses", room.courses.len());
    }
}
