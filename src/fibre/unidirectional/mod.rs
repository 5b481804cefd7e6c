//! Parallel courses, joined by turns of legal radius where that saves cuts.
//!
//! Rows are nodes, turns are links between row ends at one side. Which links to
//! make is a matching problem at each side ([`super::nests`]); the second side is
//! matched knowing the runs that the first made. Of several limits to how deep
//! turns nest the answer that is worth most is laid ([`plan`]): as much tow as possible,
//! every cut costing what [`Worth`](super::worth::Worth) says.

mod chains;
mod plan;
mod rows;
mod turn;

use super::nests::MARGIN_MM;
use super::order::Order;
use super::room::Room;
use crate::count::f64_of;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Path, bend, combine, offset};
use crate::reinforcement::Reason;
use chains::{mostly_rows, rows_in, turned_back};
use plan::{Planned, plan_field};
use rows::Row;

/// Rounds over what earlier rows left: a place beside an edge that the first
/// field's rows fell badly into gets rows of its own.
const ROUNDS: usize = 4;

/// Lays unidirectional courses. Gives the number of cuts that turns saved.
pub(super) fn lay(room: &mut Room<'_>) -> usize {
    let o = room.order;
    let mut saved = 0;
    for round in 0..ROUNDS {
        let area = if round == 0 { room.area.clone() } else { room.rest() };
        let frame = RowFrame::new(&area, &o);
        let before = room.courses.len();
        let told = room.told();
        for field in rows::fields(&area, o.angle, frame.spacing, o.shortest) {
            let planned = plan_field(room, &frame, &field);
            saved += lay_planned(room, planned, frame.angle);
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
        let frame = RowFrame::new(part, &Order { angle, spacing, ..o });
        let fields = rows::fields(part, angle, frame.spacing, o.shortest);
        let plans: Vec<Planned> = fields.iter().map(|f| plan_field(room, &frame, f)).collect();
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
struct RowFrame {
    boundary: Lines,
    angle: f64,
    radius: f64,
    spacing: f64,
}

impl RowFrame {
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

#[cfg(test)]
mod tests {
    use super::super::order::Order;
    use super::chains::along_rows;
    use super::*;
    use crate::geom::{Point, Segment, pt, smooth};
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
