//! Turns between the ends of parallel rows, and the nests that they form along a
//! front.

use super::rows::Row;
use crate::fibre::nests::Nest;
use crate::geom::{Arc, Path, Segment, pt, trig};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Which end of the rows.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Side {
    Left,
    Right,
}

impl Side {
    pub(super) fn sign(self) -> f64 {
        match self {
            Self::Left => -1.0,
            Self::Right => 1.0,
        }
    }

    pub(super) fn end(self, r: &Row) -> f64 {
        match self {
            Self::Left => r.a,
            Self::Right => r.b,
        }
    }

    pub(super) fn set_end(self, r: &mut Row, x: f64) {
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
pub(super) struct Turn {
    pub(super) side: Side,
    pub(super) lower: usize,
    pub(super) upper: usize,
    y0: f64,
    y1: f64,
    /// Where the lower row ends, along `u`.
    u0: f64,
    slope: Slope,
    radius: f64,
}

/// The slope of the straight, asked for time and again.
#[derive(Clone, Copy, Debug)]
struct Slope {
    /// Radians from `u`.
    phi: f64,
    sin: f64,
    cos: f64,
}

impl Slope {
    fn new(phi: f64) -> Self {
        let (sin, cos) = trig::sin_cos(phi);
        Self { phi, sin, cos }
    }
}

/// Slopes of the straight between the two arcs, radians: flatter ones need more
/// length than they save.
const SLOPES: (f64, f64) = (0.6, std::f64::consts::PI - 0.6);

impl Turn {
    /// Where the upper row ends, along `u`.
    pub(super) fn u1(&self) -> f64 {
        self.u0 + (self.y1 - self.y0 - 2.0 * self.radius) * self.slope.cos / self.slope.sin
    }

    /// Where the curve that runs `inset` mm inside the turn crosses `y`, along `u`.
    pub(super) fn across(&self, y: f64, inset: f64) -> f64 {
        let r = (self.radius - inset).max(0.0);
        let Slope { sin, cos, .. } = self.slope;
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
    pub(super) fn length(&self) -> f64 {
        let straight = (self.y1 - self.y0 - 2.0 * self.radius) / self.slope.sin;
        std::f64::consts::PI * self.radius + straight
    }

    /// The same turn between rows that bear other numbers.
    pub(super) fn renumbered(self, number: impl Fn(usize) -> usize) -> Self {
        Self { lower: number(self.lower), upper: number(self.upper), ..self }
    }

    /// The path from the lower row to the upper one, in the turned frame.
    pub(super) fn path(&self) -> Path {
        let s = self.side.sign();
        let Slope { sin, cos, .. } = self.slope;
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
    pub(super) fn end_of(&self, k: usize, y: f64, spacing: f64) -> f64 {
        if k == self.lower {
            self.u0
        } else if k == self.upper {
            self.u1()
        } else {
            self.across(y, spacing)
        }
    }
}

/// A nest as it would be laid.
pub(super) struct Made {
    /// Outermost first; numbers of rows are the front's.
    pub(super) turns: Vec<Turn>,
    /// How much each row of the nest, its first first, is cut back.
    pub(super) lost: Vec<f64>,
}

/// The rows' ends at one side of a field that lie one above the other, and the turns
/// that have been looked at: the same ones come up again for every depth and price.
pub(super) struct Front<'a> {
    side: Side,
    /// The rows' numbers in the field, from the lowest.
    pub(super) numbers: &'a [usize],
    rows: Vec<Row>,
    radius: f64,
    spacing: f64,
    /// Turns from a row to another and those inside them, as far as they were asked for.
    columns: RefCell<BTreeMap<(usize, usize), Vec<Turn>>>,
    proposed: RefCell<BTreeMap<Nest, Rc<Made>>>,
    placed: RefCell<BTreeMap<Nest, Option<Rc<Made>>>>,
}

impl<'a> Front<'a> {
    pub(super) fn new(side: Side, numbers: &'a [usize], rows: &[Row], radius: f64, spacing: f64) -> Self {
        Self {
            side,
            numbers,
            rows: numbers.iter().map(|&i| rows[i]).collect(),
            radius,
            spacing,
            columns: RefCell::default(),
            proposed: RefCell::default(),
            placed: RefCell::default(),
        }
    }

    fn end(&self, k: usize) -> f64 {
        self.side.end(&self.rows[k]) * self.side.sign()
    }

    /// The turn between two rows that lies farthest out, no farther than `limit`,
    /// by the rows' ends alone.
    fn fitted(&self, lower: usize, upper: usize, slope: Option<Slope>, limit: f64) -> Turn {
        let (y0, y1) = (self.rows[lower].y, self.rows[upper].y);
        // along the line through the two rows' ends, or the nest's
        let slope = slope.unwrap_or_else(|| {
            Slope::new(trig::atan2(y1 - y0, self.end(upper) - self.end(lower)).clamp(SLOPES.0, SLOPES.1))
        });
        let mut turn = Turn { side: self.side, lower, upper, y0, y1, u0: 0.0, slope, radius: self.radius };
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

    /// The turn of a nest that lies inside the one before it, one spacing from it.
    fn next(&self, (lower, upper): (usize, usize), before: Option<&Turn>) -> Turn {
        match before {
            Some(t) => {
                let limit = t.u0 - self.spacing * trig::tan(0.5 * t.slope.phi);
                self.fitted(lower, upper, Some(t.slope), limit)
            }
            None => self.fitted(lower, upper, None, f64::INFINITY),
        }
    }

    /// A nest by the rows' ends alone.
    pub(super) fn proposed(&self, nest: Nest) -> Rc<Made> {
        if let Some(made) = self.proposed.borrow().get(&nest) {
            return Rc::clone(made);
        }
        let turns = {
            let mut columns = self.columns.borrow_mut();
            let column = columns.entry((nest.first, nest.last)).or_default();
            for pair in nest.pairs().skip(column.len()) {
                let turn = self.next(pair, column.last());
                column.push(turn);
            }
            column[..nest.depth].to_vec()
        };
        let made = Rc::new(Made { lost: self.lost(&turns, nest), turns });
        self.proposed.borrow_mut().insert(nest, Rc::clone(&made));
        made
    }

    /// A nest as it has room: `inside` says whether a turn has where the boundary
    /// bulges between two rows, and if not it steps back. Without its innermost turns
    /// where those have none; `None` where no turn has.
    pub(super) fn placed(&self, nest: Nest, inside: &dyn Fn(&Path) -> bool) -> Option<Rc<Made>> {
        if let Some(made) = self.placed.borrow().get(&nest) {
            return made.clone();
        }
        let mut turns: Vec<Turn> = Vec::new();
        'turns: for pair in nest.pairs() {
            let mut turn = self.next(pair, turns.last());
            let give_up = turn.u0 - 1.5 * self.radius;
            while !inside(&turn.path()) {
                turn.u0 -= 0.25 * self.spacing;
                if turn.u0 < give_up {
                    break 'turns;
                }
            }
            turns.push(turn);
        }
        let made = (!turns.is_empty()).then(|| Rc::new(Made { lost: self.lost(&turns, nest), turns }));
        self.placed.borrow_mut().insert(nest, made.clone());
        made
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
}
