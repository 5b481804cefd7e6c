//! Parallel courses, joined by turns of legal radius where that saves cuts.
//!
//! Rows are nodes, turns are links between row ends at one side. Which links to
//! make is a matching problem at each side ([`super::nests`]); the second side is
//! matched knowing the runs that the first made. Of several limits to how deep
//! turns nest the answer that is worth most is laid: as much tow as possible,
//! every cut costing what [`Worth`] says.

mod rows;
mod turn;

use super::nests::{self, MARGIN_MM, Nest};
use super::order::Order;
use super::room::Room;
use super::runs::Runs;
use super::worth::Worth;
use crate::count::f64_of;
use crate::geom::nearest::Lines;
use crate::geom::{Arc, Area, Path, Point, Segment, bend, combine, hatch, offset, pt};
use crate::reinforcement::Reason;
use rows::{Field, Row};
use turn::{Front, Side, Turn};

/// How deep turns may nest, as a share of the rows' length on either side, and as a
/// number of turns: what lies in the turns does not lie in the direction asked for.
/// The fewer nests, the less is lost in the bend of the innermost turn.
const DEEPEST: (f64, usize) = (0.2, 12);

/// The same where few cuts are asked for.
const DEEPEST_FOR_FEW_CUTS: (f64, usize) = (0.5, 24);

/// Depths that are tried below the deepest.
const DEPTHS: [usize; 8] = [1, 2, 4, 6, 9, 12, 16, 20];

/// Share of itself that a row keeps at least which ends inside a nest, and one that goes
/// on in a turn: what is left of it is to be a row, not only the legs of turns.
const KEPT: f64 = 0.5;
const KEPT_JOINED: f64 = 0.25;

/// The same of a row that is too short to be laid alone: it is lost without a turn.
const KEPT_SHORT: f64 = 0.02;

/// What a row that the first side leaves too short costs at most beside its own tow, in
/// shortest pieces: the second side may yet join it. Found on the bench set.
const YET_JOINED: f64 = 0.3;

/// Share of the rows that are too short to be laid alone from which on nests are tried
/// that leave as many rows free between them as they are deep.
const INTERLOCKED: f64 = 0.2;

/// How often the sides are joined again in turn, each knowing what the other made.
const AGAIN: usize = 4;

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
        let told = room.told();
        for field in rows::fields(&area, o.angle, turned.spacing, o.shortest) {
            let planned = plan_field(room, &turned, &field);
            saved += lay_planned(room, planned, turned.angle);
        }
        if round > 0 {
            // told once, by the round that found it
            room.forget_since(told);
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
///
/// Between lines that were eased may lie a hair less than a whole number of widths: one
/// row more is laid there where that brings none nearer to another than [`NEARER`], and all
/// of them together no nearer than the deviation: on broad ground rows keep their spacing.
pub(super) fn lay_best(room: &mut Room<'_>, part: &Area, angles: &[f64]) {
    let o = room.order;
    // no nearer than courses may lie to each other, however coarsely they are led
    let give = (NEARER * o.deviation).min(0.8 * o.fit());
    let part = &offset::grown(part, give, bend::PROPOSAL_CHORD_MM);
    // what rows long enough to be laid alone have, all, and how many lie side by side
    let lengths = |angle: f64, spacing: f64| {
        let fields = rows::fields(part, angle, spacing, o.shortest);
        let each = || fields.iter().flat_map(|f| &f.rows).map(Row::length);
        let most = fields.iter().map(|f| f.rows.len()).max().unwrap_or(0);
        (each().filter(|l| *l >= o.shortest).sum::<f64>(), each().sum::<f64>(), most)
    };
    let mut long: Vec<(f64, f64, usize)> = Vec::new();
    let mut all: Vec<(f64, f64)> = Vec::new();
    for &angle in angles {
        let (straight, any, rows) = lengths(angle, o.spacing);
        long.push((straight, angle, rows));
        all.push((any, angle));
    }
    long.sort_by(|a, b| b.0.total_cmp(&a.0));
    all.sort_by(|a, b| b.0.total_cmp(&a.0));
    let Some(&(mut straight, mut angle, _)) = long.first() else { return };
    let mut spacing = o.spacing;
    for &(_, a, rows) in long.iter().take(TRIED_NEARER).filter(|l| l.0 > 0.0) {
        let by = give.min(o.deviation / f64_of(rows.max(1)));
        let (nearer, ..) = lengths(a, o.spacing - by);
        if nearer > straight + 0.5 * o.shortest {
            (straight, angle, spacing) = (nearer, a, o.spacing - by);
        }
    }
    let plan = |(angle, spacing): (f64, f64)| {
        let turned = Turned::new(part, &Order { angle, spacing, ..o });
        let fields = rows::fields(part, angle, turned.spacing, o.shortest);
        let plans: Vec<Planned> = fields.iter().map(|f| plan_field(room, &turned, f)).collect();
        (plans.iter().map(|p| p.worth).sum::<f64>(), angle, plans)
    };
    let mut tried: Vec<(f64, f64)> = Vec::new();
    if straight > 0.0 {
        tried.push((angle, spacing));
    }
    // where straight rows alone serve it well no turns are looked for
    if straight * o.spacing < SERVED * part.area() {
        tried.extend(all.iter().take(TRIED).map(|a| (a.1, o.spacing)));
    }
    let mut best: Option<(f64, f64, Vec<Planned>)> = None;
    for angle in tried {
        let made = plan(angle);
        if made.0 > best.as_ref().map_or(0.0, |b| b.0) + 1e-6 {
            best = Some(made);
        }
    }
    let Some((_, angle, plans)) = best else { return };
    let told = room.told();
    for plan in plans {
        lay_planned(room, plan, angle);
    }
    room.forget_since(told);
}

/// How much nearer than a spacing rows may lie for one row more, as a share of the
/// deviation: less than room is looked for with.
const NEARER: f64 = 0.4;

/// Directions tried with nearer rows: those in which straight rows give most.
const TRIED_NEARER: usize = 4;

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

impl Turned {
    fn new(area: &Area, o: &Order<'_>) -> Self {
        let boundary = Lines::boundary(&combine::turned(area, -o.angle));
        let radius = o.radius + MARGIN_MM;
        let spacing = if o.turns { pitch(o.spacing, 2.0 * radius) } else { o.spacing };
        Self { boundary, angle: o.angle, radius, spacing }
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

/// When a side's ends are joined.
#[derive(Clone, Copy)]
enum Comes {
    /// It leaves rows that the other side may yet join, so many of them from one nest to
    /// the next.
    First { between: usize },
    /// It knows what the other side made.
    Then,
}

impl Comes {
    fn between(self) -> usize {
        match self {
            Self::First { between } => between,
            Self::Then => 0,
        }
    }
}

/// A field while its rows are being joined.
#[derive(Clone)]
struct Plan {
    rows: Vec<Row>,
    /// At the left, at the right.
    turns: [Vec<Turn>; 2],
}

impl Plan {
    fn new(field: &Field) -> Self {
        Self { rows: field.rows.clone(), turns: [Vec::new(), Vec::new()] }
    }

    /// Joins ends at one side, all of them free, by the nests that are worth most.
    fn join(&mut self, joining: &Joining<'_>, side: Side, depth: usize, comes: Comes) {
        let Joining { turned, field, value_of, least, .. } = joining;
        for (row, whole) in self.rows.iter_mut().zip(&field.rows) {
            side.set_end(row, side.end(whole));
        }
        self.turns[side as usize].clear();
        for front in &joining.fronts[side as usize] {
            if front.numbers.len() <= *least {
                continue;
            }
            let of_front = |rows: &[Row]| front.numbers.iter().map(|&i| rows[i].length()).collect();
            let offers = Offers {
                front,
                rows: of_front(&self.rows),
                whole: of_front(&field.rows),
                so_far: self.runs(),
                comes,
                value_of: *value_of,
            };
            let count = front.numbers.len();
            let (_, nests) = nests::best(count, *least, depth, comes.between(), |nest| offers.worth(nest));
            for nest in nests {
                let Some(made) = front.placed(nest, &|p: &Path| turned.inside(p)) else { continue };
                let nest = Nest { depth: made.turns.len(), ..nest };
                if !offers.spare(&made.lost, nest) {
                    continue;
                }
                let all = nest.first..=nest.last;
                for (lost, &row) in made.lost.iter().zip(&front.numbers[all]) {
                    let row = &mut self.rows[row];
                    side.set_end(row, side.end(row) - side.sign() * lost);
                }
                let placed = made.turns.iter().map(|t| t.renumbered(|k| front.numbers[k]));
                self.turns[side as usize].extend(placed);
            }
        }
    }

    /// Which run each row is in, how long that is, and how much of that rows are.
    fn runs(&self) -> RowRuns {
        let turns = || self.turns.iter().flatten();
        let rows = || self.rows.iter().map(Row::length).enumerate();
        let runs = Runs::new(self.rows.len(), turns().map(|t| (t.lower, t.upper)));
        let length = runs.sums(rows().chain(turns().map(|t| (t.lower, t.length()))));
        RowRuns { length, along: runs.sums(rows()), runs }
    }

    /// The courses, in the turned frame, and what those that can be laid are worth.
    fn courses(&self, value_of: Worth) -> (f64, Vec<Path>) {
        let paths = chains(&self.rows, &self.turns[Side::Right as usize], &self.turns[Side::Left as usize]);
        let laid = paths.iter().filter(|p| p.length() >= value_of.shortest && mostly_rows(p));
        (laid.map(|p| value_of.of(p.length())).sum(), paths)
    }
}

struct RowRuns {
    runs: Runs,
    /// Length of each row's run, mm.
    length: Vec<f64>,
    /// How much of it lies along rows, mm.
    along: Vec<f64>,
}

/// The nests that one front offers.
struct Offers<'a> {
    front: &'a Front<'a>,
    /// Lengths of the front's rows, as they are and before any turn, mm.
    rows: Vec<f64>,
    whole: Vec<f64>,
    /// What the turns made so far join.
    so_far: RowRuns,
    comes: Comes,
    value_of: Worth,
}

impl Offers<'_> {
    /// A nest leaves enough of every row that it joins or encloses, where these lose so much.
    fn spare(&self, lost: &[f64], nest: Nest) -> bool {
        (nest.first..).zip(lost).all(|(k, lost)| {
            let paired = (k - nest.first).min(nest.last - k) < nest.depth;
            let keep = match () {
                () if self.whole[k] < self.value_of.shortest => KEPT_SHORT,
                () if paired => KEPT_JOINED,
                () => KEPT,
            };
            self.rows[k] - lost >= keep * self.whole[k]
        })
    }

    /// What a nest is worth; `None` where it cannot be laid.
    fn worth(&self, nest: Nest) -> Option<f64> {
        let RowRuns { runs, length, along } = &self.so_far;
        let value_of = self.value_of;
        let ends = |(i, j): (usize, usize)| (self.front.numbers[i], self.front.numbers[j]);
        if nest.pairs().map(ends).any(|(i, j)| runs.same(i, j)) {
            return None;
        }
        let made = self.front.proposed(nest);
        if !self.spare(&made.lost, nest) {
            return None;
        }
        let lost = |k: usize| made.lost[k - nest.first];
        let after = |k: usize| length[self.front.numbers[k]] - lost(k);
        let mut sum = 0.0;
        for t in &made.turns {
            let (i, j) = ends((t.lower, t.upper));
            let before = value_of.of(length[i]) + value_of.of(length[j]);
            let turn = t.length();
            let joined = after(t.lower) + after(t.upper) + turn;
            if along[i] + along[j] - lost(t.lower) - lost(t.upper) < LEAST_SHARE * joined {
                return None;
            }
            // of answers that save as much, the one with shorter turns
            sum += value_of.of(joined) - before - 1e-3 * turn;
        }
        let inner = nest.first + nest.depth..=nest.last - nest.depth;
        for (k, &row) in inner.clone().zip(&self.front.numbers[inner]) {
            let (was, now) = (length[row], after(k));
            // what the first side leaves short the second may yet join
            let loss = value_of.of(was) - value_of.of(now);
            let short = value_of.shortest;
            let yet = matches!(self.comes, Comes::First { .. }) && now < short;
            sum -= if yet { loss.min(was - now + YET_JOINED * short) } else { loss };
        }
        Some(sum)
    }
}

/// Rows that lie at least `distance` apart, in steps of the spacing.
fn rows_across(distance: f64, spacing: f64) -> usize {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few rows")]
    let n = ((distance / spacing - 1e-9).ceil()).max(1.0) as usize;
    n
}

/// What the search for turns in a field needs to know.
struct Joining<'a> {
    turned: &'a Turned,
    field: &'a Field,
    /// At the left, at the right.
    fronts: [Vec<Front<'a>>; 2],
    value_of: Worth,
    /// Rows from one to the nearest that a turn can join it to.
    least: usize,
}

/// A row shorter than this share of the shortest course does not keep turns from passing
/// beyond it.
const STUB: f64 = 0.25;

/// The turns of one field that are worth most, before its stubs or past them.
fn plan_field(room: &Room<'_>, turned: &Turned, field: &Field) -> Planned {
    let value_of = Worth::in_order(&room.order, turned.radius, field.rows.iter().map(Row::length));
    let planned = plan_turns(room, turned, field, value_of);
    let Some(past) = field.past_stubs(turned.spacing, STUB * room.order.shortest) else { return planned };
    let mut other = plan_turns(room, turned, &past, value_of);
    if other.worth <= planned.worth + 1e-6 {
        return planned;
    }
    let stub = |r: &Row| Path::new(vec![Segment::Line { from: pt(r.a, r.y), to: pt(r.b, r.y) }], false);
    other.paths.extend(past.stubs.iter().map(stub));
    other
}

fn plan_turns(room: &Room<'_>, turned: &Turned, field: &Field, value_of: Worth) -> Planned {
    let shortest = room.order.shortest;
    let median = median(&field.rows);
    let (share, most) = if room.order.few_cuts { DEEPEST_FOR_FEW_CUTS } else { DEEPEST };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few rows")]
    let deepest = ((share * median / turned.spacing) as usize).clamp(1, most);
    // rows too short to be laid alone are only laid by joining them: as deep as it goes
    let deepest = if median < shortest { most } else { deepest };
    let depths = DEPTHS.into_iter().filter(|d| *d < deepest).chain([deepest]);
    let joining = Joining {
        turned,
        field,
        fronts: [(Side::Left, &field.left), (Side::Right, &field.right)].map(|(side, of)| {
            of.iter().map(|f| Front::new(side, f, &field.rows, turned.radius, turned.spacing)).collect()
        }),
        value_of,
        least: rows_across(turned.radius * 2.0, turned.spacing),
    };
    // where many rows are only laid by joining them, nests of either side lie in one another
    // best: what a nest encloses and what lies beside it go on at the other end
    let short: f64 = field.rows.iter().map(Row::length).filter(|l| *l < shortest).sum();
    let interlocked = short > INTERLOCKED * field.rows.iter().map(Row::length).sum::<f64>();
    let between = |depth: usize| [Some(0), interlocked.then_some(depth)].into_iter().flatten();
    let mut best = Plan::new(field).courses(value_of);
    let mut paid = false;
    for depth in depths.filter(|_| room.order.turns) {
        // where shallow nests pay nothing only the deepest may
        if depth > 2 && depth < deepest && !paid {
            continue;
        }
        let orders = [[Side::Right, Side::Left], [Side::Left, Side::Right]];
        let ways = orders.into_iter().flat_map(|sides| between(depth).map(move |free| (sides, free)));
        for (sides, between) in ways {
            let mut plan = Plan::new(field);
            plan.join(&joining, sides[0], depth, Comes::First { between });
            plan.join(&joining, sides[1], depth, Comes::Then);
            let mut last = plan.courses(value_of);
            // each side again, now that it is known what the other made
            for k in 0..AGAIN {
                if plan.turns.iter().all(Vec::is_empty) {
                    break;
                }
                let mut next = plan.clone();
                next.join(&joining, sides[k % 2], depth, Comes::Then);
                let courses = next.courses(value_of);
                if courses.0 > last.0 + 1e-6 {
                    (plan, last) = (next, courses);
                } else if k > 0 {
                    break;
                }
            }
            if last.0 > best.0 + 1e-6 {
                paid |= last.1.iter().any(|p| rows_in(p) > 1);
                best = last;
            }
        }
    }
    Planned { worth: best.0, paths: best.1 }
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
            room.leave_out(Reason::RowsTooShort, path.length(), at);
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
const LEAST_SHARE: f64 = 0.5;

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
    use super::super::order::Order;
    use super::*;
    use crate::geom::smooth;
    use crate::job::Rule;

    fn room(ring: &[Point], width: f64, radius: f64, shortest: f64) -> Room<'static> {
        let order = Order { width, spacing: width, radius, shortest, ..Order::sample(Rule::Unidirectional) };
        Room::new(order, &combine::ring_area(ring))
    }

    fn plate(w: f64, h: f64) -> Vec<Point> {
        vec![pt(0.0, 0.0), pt(w, 0.0), pt(w, h), pt(0.0, h)]
    }

    #[test]
    fn rows_that_are_too_short_are_told_at_the_tow_that_would_fill_their_ground() {
        // across a bar as wide as two or three tows
        for tows in [2.0, 3.0] {
            let order = Order {
                width: 0.6,
                spacing: 0.6,
                angle: std::f64::consts::FRAC_PI_2,
                turns: false,
                ..Order::sample(Rule::Unidirectional)
            };
            let mut room = Room::new(order, &combine::ring_area(&plate(100.0, 0.6 * tows)));
            lay(&mut room);
            let told: f64 = room.left_out.iter().map(|l| l.length_mm).sum();
            assert!((told - 100.0 * tows).abs() < 5.0, "{tows} tows: {told} mm");
        }
    }

    #[test]
    fn nearer_rows_are_laid_as_planned() {
        for deviation in [0.02, 0.05, 0.0875, 0.09, 0.1] {
            let order =
                Order { width: 0.6, spacing: 0.6, radius: 4.0, deviation, ..Order::sample(Rule::Contour) };
            // ground of middle lines that lacks as much as rows may lie nearer and outside
            let give = (NEARER * deviation).min(0.8 * order.fit());
            for rows in [2_usize, 3, 4] {
                let between = f64_of(rows - 1);
                let high = between * (0.6 - give.min(deviation / f64_of(rows))) - 2.0 * give + 2e-3;
                let strips = offset::grown(
                    &combine::ring_area(&plate(60.0, high)),
                    0.3 - super::super::room::HAIR_MM,
                    0.004,
                );
                let mut room = Room::new(order, &strips);
                let part = room.area.clone();
                lay_best(&mut room, &part, &[0.0]);
                let ys: Vec<f64> =
                    room.courses.iter().filter_map(|c| c.path().start()).map(|p| p.y).collect();
                assert_eq!(ys.len(), rows, "deviation {deviation}, {high} mm: at {ys:?}");
                let outside = ys.iter().map(|y| (-y).max(y - high)).fold(0.0, f64::max);
                assert!(outside <= order.outside() + 2e-3, "deviation {deviation}: {outside} mm outside");
            }
        }
    }

    #[test]
    fn rows_too_short_to_be_laid_alone_are_joined() {
        let mut room = room(&plate(38.0, 40.0), 1.0, 4.0, 43.0);
        lay(&mut room);
        let laid: f64 = room.courses.iter().map(|c| c.length_mm()).sum();
        assert!(laid > 0.8 * 38.0 * 40.0, "{laid} mm in {} courses", room.courses.len());
    }

    #[test]
    fn without_turns_all_tow_lies_along_its_rows() {
        for (shortest, rows) in [(20.0, 40), (43.0, 0)] {
            let mut room = room(&plate(38.0, 40.0), 1.0, 4.0, shortest);
            room.order.turns = false;
            assert_eq!(lay(&mut room), 0, "no cut saved");
            assert_eq!(room.courses.len(), rows, "pieces of {shortest} mm");
            assert!(room.courses.iter().all(|c| c.path().min_radius().is_infinite()), "straight");
            let left: f64 = room.left_out.iter().map(|l| l.length_mm).sum();
            assert!(rows > 0 || left > 0.95 * 38.0 * 40.0, "{left} mm told");
        }
    }

    #[test]
    fn nests_of_either_side_lie_in_one_another_where_rows_are_short() {
        // without rows left free between the nests of the first side: 0.49, 0.61, 0.59, 0.79, 0.57
        for (w, h, radius, shortest, least) in [
            (11.5, 25.0, 3.0, 20.0, 0.55),
            (18.0, 60.0, 4.0, 30.0, 0.65),
            (22.0, 50.0, 5.0, 40.0, 0.62),
            (30.0, 60.0, 5.0, 43.0, 0.81),
            (16.0, 45.0, 4.0, 24.0, 0.60),
        ] {
            let mut room = room(&plate(w, h), 0.9, radius, shortest);
            lay(&mut room);
            let laid: f64 = room.courses.iter().map(|c| c.length_mm()).sum();
            let cover = laid * 0.9 / (w * h);
            assert!(cover > least, "{w} x {h}, radius {radius}, pieces of {shortest}: {cover:.3}");
        }
    }

    #[test]
    fn at_least_half_of_every_course_lies_along_its_rows() {
        let mut tightest = 1.0_f64;
        for (w, h, radius, shortest) in [
            (11.5, 25.0, 3.0, 20.0),
            (9.0, 40.0, 3.0, 20.0),
            (16.0, 45.0, 4.0, 24.0),
            (14.0, 60.0, 5.0, 43.0),
        ] {
            let mut room = room(&plate(w, h), 0.9, radius, shortest);
            lay(&mut room);
            for course in &room.courses {
                let along: f64 =
                    course.path().segments.iter().filter(|s| along_rows(s)).map(Segment::length).sum();
                tightest = tightest.min(along / course.length_mm());
            }
        }
        assert!(
            (0.5..0.6).contains(&tightest),
            "one of them has {tightest:.3}: none is near the limit, or beyond"
        );
    }

    #[test]
    fn turns_pass_beyond_stubs_of_rows_between_a_hole_and_the_edge() {
        // rows of up to 39 mm, pieces of 40; looked for before the stubs alone 323 mm
        let order = Order {
            width: 0.9,
            spacing: 0.9,
            radius: 3.0,
            shortest: 40.0,
            ..Order::sample(Rule::Unidirectional)
        };
        let hole = smooth::disc(pt(34.0, 7.0), 3.0, 0.01);
        let mut room = Room::new(order, &combine::difference(&combine::ring_area(&plate(39.0, 14.0)), &hole));
        lay(&mut room);
        let laid: f64 = room.courses.iter().map(|c| c.length_mm()).sum();
        assert!(laid > 370.0, "{laid:.0} mm");
    }
}
