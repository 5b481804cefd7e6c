//! Which rows of a field turns join: at each side the nests that are worth most.

use super::RowFrame;
use super::chains::{LEAST_SHARE, chains, mostly_rows, rows_in};
use super::rows::{Field, Row};
use super::turn::{Front, Side, Turn};
use crate::fibre::nests::{self, Nest};
use crate::fibre::room::Room;
use crate::fibre::runs::Runs;
use crate::fibre::worth::Worth;
use crate::geom::{Path, Segment, pt};

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

/// Courses of a field, not laid yet.
#[derive(Default)]
pub(super) struct Planned {
    pub(super) worth: f64,
    /// In the turned frame.
    pub(super) paths: Vec<Path>,
}

/// A row shorter than this share of the shortest course does not keep turns from passing
/// beyond it.
const STUB: f64 = 0.25;

/// The turns of one field that are worth most, before its stubs or past them.
pub(super) fn plan_field(room: &Room<'_>, frame: &RowFrame, field: &Field) -> Planned {
    let value_of = Worth::in_order(&room.order, frame.radius, field.rows.iter().map(Row::length));
    let planned = plan_turns(room, frame, field, value_of);
    let Some(past) = field.past_stubs(frame.spacing, STUB * room.order.shortest) else { return planned };
    let mut other = plan_turns(room, frame, &past, value_of);
    if other.worth <= planned.worth + 1e-6 {
        return planned;
    }
    let stub = |r: &Row| Path::new(vec![Segment::Line { from: pt(r.a, r.y), to: pt(r.b, r.y) }], false);
    other.paths.extend(past.stubs.iter().map(stub));
    other
}

fn plan_turns(room: &Room<'_>, frame: &RowFrame, field: &Field, value_of: Worth) -> Planned {
    let shortest = room.order.shortest;
    let median = median(&field.rows);
    let (share, most) = if room.order.few_cuts { DEEPEST_FOR_FEW_CUTS } else { DEEPEST };
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few rows")]
    let deepest = ((share * median / frame.spacing) as usize).clamp(1, most);
    // rows too short to be laid alone are only laid by joining them: as deep as it goes
    let deepest = if median < shortest { most } else { deepest };
    let depths = DEPTHS.into_iter().filter(|d| *d < deepest).chain([deepest]);
    let joining = Joining {
        frame,
        field,
        fronts: [(Side::Left, &field.left), (Side::Right, &field.right)].map(|(side, of)| {
            of.iter().map(|f| Front::new(side, f, &field.rows, frame.radius, frame.spacing)).collect()
        }),
        value_of,
        least: rows_across(frame.radius * 2.0, frame.spacing),
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

fn median(rows: &[Row]) -> f64 {
    let mut lengths: Vec<f64> = rows.iter().map(Row::length).collect();
    lengths.sort_by(f64::total_cmp);
    lengths.get(lengths.len() / 2).copied().unwrap_or(0.0)
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
        let Joining { frame, field, value_of, least, .. } = joining;
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
                let Some(made) = front.placed(nest, &|p: &Path| frame.inside(p)) else { continue };
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
    frame: &'a RowFrame,
    field: &'a Field,
    /// At the left, at the right.
    fronts: [Vec<Front<'a>>; 2],
    value_of: Worth,
    /// Rows from one to the nearest that a turn can join it to.
    least: usize,
}
