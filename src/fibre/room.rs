//! Where the centre line of a course may lie, and what is already laid there.

use super::Course;
use super::order::Order;
use super::trail;
use crate::count::f64_of;
use crate::geom::leading::Wanted;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Path, Point, bend, combine, offset, polyline, smooth};
use crate::job::Rule;
use crate::reinforcement::{LeftOut, Reason};
use std::collections::BTreeMap;

/// A room being filled.
#[derive(Clone, Debug)]
pub(super) struct Room<'a> {
    pub(super) order: Order<'a>,
    /// Centre lines may lie here.
    pub(super) area: Area,
    boundary: Lines,
    taken: Lines,
    pub(super) courses: Vec<Course>,
    pub(super) left_out: Vec<LeftOut>,
    /// Legal paths that were just too short: led on to a wall they may be laid.
    pub(super) short: Vec<Path>,
    /// Round these points no closed course is laid that is too short by itself.
    pub(super) unwound: Vec<Point>,
}

/// How far apart the places are at which a path is looked at, mm. Half the
/// narrowest tow: nothing that matters fits between two of them.
const LOOK_MM: f64 = 0.25;

/// The path lies throughout in the area with this boundary, up to `tolerance` mm.
pub(super) fn within(boundary: &Lines, path: &Path, tolerance: f64) -> bool {
    let total = path.length();
    let mut walk = path.walk();
    let mut at = 0.0;
    loop {
        let Some(p) = walk.point_at(at) else { return false };
        let edge = boundary.distance(p);
        if edge > tolerance && !boundary.enclose(p) {
            return false;
        }
        if at >= total {
            return true;
        }
        at = (at + edge.max(0.1)).min(total);
    }
}

/// The nozzle has room on a way: it is over what has this boundary, or no more than `off` mm
/// beside that or the line that is laid. Strips have walls, not the nozzle: where it swings out
/// of a bend it passes over beads.
pub(super) fn has_way(over: &Lines, way: &Path, wanted: &Wanted<'_>, off: f64) -> bool {
    !way.segments.is_empty()
        && way
            .places(LOOK_MM)
            .all(|p| wanted.distance(p) <= off || over.enclose(p) || over.distance(p) <= off)
}

/// What rounding and tidying of areas may take of the room, mm.
pub(super) const HAIR_MM: f64 = 1.5e-3;

impl<'a> Room<'a> {
    /// From the area in which whole strips must lie.
    pub(super) fn new(order: Order<'a>, strips_within: &Area) -> Self {
        // a hair less than half a width: walls that are a whole number of widths apart hold
        // that number. A fitted line may lie half a deviation outside, within what strips are
        // held to
        let inset = 0.5 * order.width - HAIR_MM;
        let area = offset::shrunk(strips_within, inset, bend::PROPOSAL_CHORD_MM);
        let boundary = Lines::boundary(&area);
        Self {
            order,
            area,
            boundary,
            taken: Lines::default(),
            courses: Vec::new(),
            left_out: Vec::new(),
            short: Vec::new(),
            unwound: Vec::new(),
        }
    }

    /// Where centre lines may still lie: the room less a spacing round what is laid.
    pub(super) fn rest(&self) -> Area {
        self.rest_of(&self.area, 0)
    }

    /// The same of an area, less what was laid from a course on.
    pub(super) fn rest_of(&self, area: &Area, from: usize) -> Area {
        let chord = bend::PROPOSAL_CHORD_MM;
        let w = self.order.spacing;
        let mut near: Vec<Area> = Vec::new();
        for c in self.courses.iter().skip(from) {
            let path = c.path();
            near.push(offset::strip(&path.flatten(chord), 2.0 * w, path.closed, chord));
            if !path.closed {
                near.extend(
                    [path.start(), path.end()].into_iter().flatten().map(|p| smooth::disc(p, w, chord)),
                );
            }
        }
        let rest = combine::difference_all(area, &near);
        combine::without_specks(&combine::simplified(&rest, 0.5 * offset::TIDY_MM), 1e-4, 0.0)
    }

    /// What later rounds laid after all is not left out.
    pub(super) fn settle_left_out(&mut self) {
        let limit = 0.9 * self.order.width;
        let taken = &self.taken;
        self.left_out.retain(|l| l.at_mm.is_none_or(|[x, y]| taken.distance(Point::new(x, y)) > limit));
    }

    /// A path that was told as left out was laid after all.
    pub(super) fn not_left_out(&mut self, path: &Path) {
        let at = path.point_at(0.5 * path.length()).map(|p| [p.x, p.y]);
        self.left_out.retain(|l| l.at_mm != at);
    }

    /// How much room a point has, mm: negative outside or too near to tow.
    pub(super) fn room_at(&self, p: Point) -> f64 {
        let edge = self.boundary.distance(p);
        if edge > self.order.outside() && !self.boundary.enclose(p) {
            return -edge;
        }
        let apart = self.order.apart();
        edge.min(self.taken.distance_within(p, edge + apart) - apart)
    }

    /// A point has room, as [`Self::room_at`] tells: quicker where how much is not asked.
    pub(super) fn is_free(&self, p: Point) -> bool {
        self.taken.distance_within(p, self.order.apart()).is_infinite() && self.is_within(p)
    }

    /// A point lies where centre lines may, whatever is laid there.
    pub(super) fn is_within(&self, p: Point) -> bool {
        self.boundary.enclose(p) || self.boundary.distance_within(p, self.order.outside()).is_finite()
    }

    /// A path has room at a length of it.
    fn has_room(&self, path: &Path, at: f64) -> bool {
        path.point_at(at).is_some_and(|p| self.is_free(p))
    }

    /// The stretches of a path that have room, as lengths from its start.
    fn free(&self, path: &Path) -> Vec<(f64, f64)> {
        let total = path.length();
        let mut out: Vec<(f64, f64)> = Vec::new();
        let mut open: Option<f64> = None;
        let mut before = 0.0;
        let mut walk = path.walk();
        let mut at = 0.0;
        loop {
            let room = walk.point_at(at).map_or(-1.0, |p| self.room_at(p));
            match (room >= 0.0, open) {
                (true, None) => open = Some(if at > 0.0 { self.border(path, before, at) } else { 0.0 }),
                (false, Some(from)) => {
                    out.push((from, self.border(path, at, before)));
                    open = None;
                }
                _ => {}
            }
            if at >= total {
                break;
            }
            before = at;
            // nothing nearer than the room can be in the way
            at = (at + room.max(LOOK_MM)).min(total);
        }
        if let Some(from) = open {
            out.push((from, total));
        }
        out
    }

    /// A path has room all along but for what chords and tidying of the strip that it follows
    /// take: less than a loop is worth cutting open for.
    fn lacks_a_hair(&self, path: &Path) -> bool {
        let hair = (bend::PROPOSAL_CHORD_MM + HAIR_MM).min(0.4 * self.order.deviation);
        let total = path.length();
        let mut walk = path.walk();
        let mut at = 0.0;
        while at < total {
            let Some(room) = walk.point_at(at).map(|p| self.room_at(p)).filter(|room| *room >= -hair) else {
                return false;
            };
            at += room.max(LOOK_MM);
        }
        true
    }

    /// The free place next to the border between a blocked and a free length.
    fn border(&self, path: &Path, blocked: f64, free: f64) -> f64 {
        let (mut blocked, mut free) = (blocked, free);
        for _ in 0..8 {
            let mid = 0.5 * (blocked + free);
            if self.has_room(path, mid) { free = mid } else { blocked = mid }
        }
        free
    }

    /// Lays as much of a line as has room. Gives the length laid.
    pub(super) fn lay_where_free(&mut self, points: &[Point], closed: bool) -> f64 {
        let fit = self.fit(points, closed);
        let asked = if closed {
            crate::geom::polyline::ring_length(points)
        } else {
            crate::geom::polyline::length(points)
        };
        self.lay_pieces(fit, asked)
    }

    pub(super) fn lay_pieces(&mut self, fit: bend::Fit, asked: f64) -> f64 {
        let mut laid = 0.0;
        let mut fitted = 0.0;
        for path in fit.pieces {
            fitted += path.length();
            laid += self.lay_path(&path);
        }
        if let Some(kink) = fit.kinks.first()
            && asked - fitted > 1.0
        {
            self.leave_out(Reason::TooTight, asked - fitted, Some(*kink));
        }
        laid
    }

    /// Lays as much of a legal path as has room.
    pub(super) fn lay_path(&mut self, path: &Path) -> f64 {
        let total = path.length();
        let mut free = self.free(path);
        if let [(from, to)] = free.as_slice()
            && *from <= 0.0
            && *to >= total
        {
            return self.accept(path.clone());
        }
        // a fill covers more with loops that are cut open
        let fills = self.order.rule == Rule::Contour && self.order.courses.is_none();
        if path.closed && self.order.closes && !fills && self.lacks_a_hair(path) {
            return self.accept(path.clone());
        }
        let mut path = path.clone();
        if path.closed && free.len() > 1 {
            // opened where it is blocked, not at its own start
            if let (Some((0.0, _)), Some(&(_, to))) = (free.first(), free.last())
                && to >= total
            {
                let at = free[0].1 + 1e-3;
                path = path.restarted(at);
                free = self.free(&path);
            }
        }
        let open: f64 = free.iter().map(|(a, b)| b - a).sum();
        if total - open > 1.0 {
            let at = path.point_at(free.first().map_or(0.0, |f| if f.0 > 0.0 { 0.0 } else { f.1 }));
            self.leave_out(Reason::NoRoom, total - open, at);
        }
        let mut laid = 0.0;
        for (from, to) in self.spaced(&free, total, path.closed) {
            if to - from > 1e-3 {
                let mut piece = path.between(from, to);
                piece.closed = false;
                // another piece of the same path may come near from the far side of
                // a narrow place
                laid += if laid > 0.0 { self.lay_path(&piece) } else { self.accept(piece) };
            }
        }
        laid
    }

    /// Stretches of one path cut back so that the ends that face each other stay a
    /// tow's width apart.
    fn spaced(&self, free: &[(f64, f64)], total: f64, closed: bool) -> Vec<(f64, f64)> {
        let mut out = free.to_vec();
        // along a bend the chord is shorter than the path
        let apart = 1.05 * self.order.width;
        for i in 1..out.len() {
            let lack = apart - (out[i].0 - out[i - 1].1);
            if lack > 0.0 {
                out[i].0 += lack;
            }
        }
        let first = out.first().map(|f| f.0);
        if closed && let (Some(first), Some(last)) = (first, out.last_mut()) {
            let lack = apart - (first + total - last.1);
            if lack > 0.0 {
                last.1 -= lack;
            }
        }
        out
    }

    /// Lays in that part of the room which lies in a body.
    pub(super) fn only_in(&mut self, body: &Area, lay: impl FnOnce(&mut Self)) {
        if combine::difference(&self.area, body).is_empty() {
            return lay(self);
        }
        let area = combine::intersection(&self.area, body);
        let boundary = std::mem::replace(&mut self.boundary, Lines::boundary(&area));
        let whole = std::mem::replace(&mut self.area, area);
        lay(self);
        (self.area, self.boundary) = (whole, boundary);
    }

    /// The same room with nothing laid in it.
    pub(super) fn empty_copy(&self) -> Room<'a> {
        Room {
            order: self.order,
            area: self.area.clone(),
            boundary: self.boundary.clone(),
            taken: Lines::default(),
            courses: Vec::new(),
            left_out: Vec::new(),
            short: Vec::new(),
            unwound: self.unwound.clone(),
        }
    }

    /// The room as it was with so many courses, paths left out and short ones.
    pub(super) fn back_to(&self, courses: usize, (left_out, short): (usize, usize)) -> Room<'a> {
        let mut room = self.empty_copy();
        room.replace(self.courses.iter().take(courses).cloned().collect());
        room.left_out.extend(self.left_out.iter().take(left_out).cloned());
        room.short.extend(self.short.iter().take(short).cloned());
        room
    }

    /// Parts courses whose trailing tow lies astray, and leaves out what of them does still.
    pub(super) fn part_astray(&mut self, over: &Lines, leads: trail::Leads) {
        let mut kept = Vec::new();
        for course in std::mem::take(&mut self.courses) {
            match course.trail.as_ref().and_then(|t| Some((t.astray(leads.most)?, t.at_mm))) {
                Some((reason, [x, y])) => {
                    let pieces = trail::parted(&course, over, leads);
                    let laid: f64 = pieces.iter().map(|p| p.wanted().length()).sum();
                    self.leave_out(reason, course.wanted().length() - laid, Some(Point::new(x, y)));
                    kept.extend(pieces);
                }
                None => kept.push(course),
            }
        }
        self.replace(kept);
    }

    /// Shortest length, mm, at which a path may be laid for now.
    pub(super) fn least(&self, path: &Path) -> f64 {
        let o = self.order;
        if path.closed && path.length() < o.shortest && !self.unwound.is_empty() {
            let ring = path.flatten(bend::PROPOSAL_CHORD_MM);
            if self.unwound.iter().any(|p| polyline::ring_contains(&ring, *p)) {
                return o.shortest;
            }
        }
        o.least(path.closed)
    }

    /// Closed courses that are too short to be cut and laid by themselves: their places
    /// among the courses.
    pub(super) fn short_loops(&self) -> Vec<usize> {
        let short = |i: &usize| {
            let course = &self.courses[*i];
            course.path().closed && course.length_mm() < self.order.shortest
        };
        (0..self.courses.len()).filter(short).collect()
    }

    /// Leaves out closed courses that are too short and were not wound. Gives a point
    /// inside each.
    pub(super) fn give_up_short_loops(&mut self) -> Vec<Point> {
        let short = self.short_loops();
        if short.is_empty() {
            return Vec::new();
        }
        let mut within = Vec::new();
        let mut kept = Vec::new();
        for (i, course) in std::mem::take(&mut self.courses).into_iter().enumerate() {
            if short.contains(&i) {
                let at = course.path().point_at(0.5 * course.length_mm());
                self.leave_out(Reason::TooShort { shortest_mm: self.order.shortest }, course.length_mm(), at);
                let ring = course.path().flatten(bend::PROPOSAL_CHORD_MM);
                let share = 1.0 / f64_of(ring.len().max(1));
                within.push(ring.iter().fold(Point::default(), |sum, p| sum + *p * share));
            } else {
                kept.push(course);
            }
        }
        self.replace(kept);
        within
    }

    /// The boundary of where centre lines may lie.
    pub(super) fn walls(&self) -> &Lines {
        &self.boundary
    }

    /// The path lies where centre lines may lie, whatever is laid there.
    pub(super) fn inside(&self, path: &Path) -> bool {
        within(&self.boundary, path, self.order.outside())
    }

    /// Holds these courses and no others.
    pub(super) fn replace(&mut self, courses: Vec<Course>) {
        self.taken = Lines::default();
        for c in &courses {
            self.taken.add(&c.path().flatten(bend::PROPOSAL_CHORD_MM));
        }
        self.courses = courses;
    }

    /// Nothing laid here comes too near to a path.
    pub(super) fn clear(&self, path: &Path) -> bool {
        let limit = self.order.apart();
        let line = path.flatten(bend::PROPOSAL_CHORD_MM);
        !line.windows(2).any(|w| self.taken.nearer(w[0], w[1], limit))
    }

    /// Remembers where a course lies that was made elsewhere.
    pub(super) fn note(&mut self, line: &[Point]) {
        self.taken.add(line);
    }

    /// The nearest point of what is laid here within `reach` mm, and its direction.
    pub(super) fn nearest_tow(&self, p: Point, reach: f64) -> Option<(Point, Point)> {
        self.taken.nearest_within(p, reach)
    }

    /// Lays an open line as far as it can be bent and has room.
    pub(super) fn lay_line(&mut self, line: &[Point]) -> f64 {
        let fit =
            bend::fit(line, false, self.order.radius, (0.4 * self.order.deviation).min(self.order.outside()));
        fit.pieces.iter().map(|p| self.lay_path(p)).sum()
    }

    fn fit(&self, points: &[Point], closed: bool) -> bend::Fit {
        // as near as the line allows: half the deviation first
        let near = bend::fit(points, closed, self.order.radius, self.order.fit());
        if near.kinks.is_empty() {
            return near;
        }
        bend::fit(points, closed, self.order.radius, self.order.deviation)
    }

    /// Lays a path that keeps clear of other courses by construction, but perhaps
    /// not of those from the far side of a narrow place. No wall is asked: it lies as
    /// far within as its rule has made it. Gives the length laid.
    pub(super) fn lay_row(&mut self, path: Path) -> f64 {
        if self.clear(&path) { self.accept(path) } else { self.lay_path(&path) }
    }

    /// Makes a path a course, or leaves it out. Where it would come nearer than a
    /// tow's width to itself it is opened. Gives the length laid.
    pub(super) fn accept(&mut self, path: Path) -> f64 {
        let total = path.length();
        let mut free = self.clear_of_itself(&path);
        if let [(from, to)] = free.as_slice()
            && *from <= 0.0
            && *to >= total
        {
            return self.make(path);
        }
        let mut path = path;
        if path.closed
            && let Some(&(first, at)) = free.first()
            && first <= 0.0
        {
            // opened where it is blocked, not at its own start
            path = path.restarted((at + 1e-3).min(total));
            free = self.clear_of_itself(&path);
        }
        let open: f64 = free.iter().map(|(a, b)| b - a).sum();
        let at = path.point_at(free.first().map_or(0.0, |f| if f.0 > 0.0 { 0.0 } else { f.1 }));
        self.leave_out(Reason::NearItself, total - open, at);
        let mut laid = 0.0;
        for (from, to) in self.spaced(&free, total, path.closed) {
            if to - from > 1e-3 {
                let mut piece = path.between(from, to);
                piece.closed = false;
                laid += self.make(piece);
            }
        }
        laid
    }

    /// A path nowhere comes nearer than a tow's width to itself.
    pub(super) fn keeps_off_itself(&self, path: &Path) -> bool {
        let total = path.length();
        matches!(self.clear_of_itself(path).as_slice(), [(from, to)] if *from <= 0.0 && *to >= total)
    }

    /// The stretches of a path that keep a tow's width from what lies before them
    /// on it, as lengths from its start.
    fn clear_of_itself(&self, path: &Path) -> Vec<(f64, f64)> {
        let total = path.length();
        let o = self.order;
        if path.segments.len() < 2 {
            return vec![(0.0, total)];
        }
        // round a bend a path is within a width of itself for 2 R asin(w / 2 R): pi / 2 widths
        // where the radius is half a width, which is the least, and less where it is more
        let own = 1.6 * o.width;
        let limit = o.apart_from_itself();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a length in steps")]
        let n = ((total / LOOK_MM).ceil() as usize).max(1);
        let s = |i: usize| total * f64_of(i) / f64_of(n);
        #[expect(clippy::cast_possible_truncation, reason = "a place in tow widths")]
        let cell = |v: f64| (v / o.width).floor() as i64;
        let mut walk = path.walk();
        let places: Vec<Point> = (0..=n).filter_map(|i| walk.point_at(s(i))).collect();
        let mut passed: BTreeMap<(i64, i64), Vec<usize>> = BTreeMap::new();
        let mut out: Vec<(f64, f64)> = Vec::new();
        let mut open: Option<usize> = None;
        for (i, &p) in places.iter().enumerate() {
            let (cx, cy) = (cell(p.x), cell(p.y));
            let near =
                (cx - 1..=cx + 1).flat_map(|x| passed.range((x, cy - 1)..=(x, cy + 1))).flat_map(|(_, v)| v);
            let blocked = near.into_iter().any(|&j| {
                let gap = s(i) - s(j);
                gap > own
                    && (!path.closed || total - gap > own)
                    && polyline::point_segment_distance(p, places[j], places[j + 1]) < limit
            });
            match (blocked, open) {
                (true, Some(from)) => {
                    if i > from + 1 {
                        out.push((s(from), s(i - 1)));
                    }
                    open = None;
                }
                (false, None) => open = Some(i),
                _ => {}
            }
            if !blocked {
                passed.entry((cx, cy)).or_default().push(i);
            }
        }
        if let Some(from) = open
            && n > from
        {
            out.push((s(from), total));
        }
        out
    }

    /// Makes a path a course, or leaves it out. Gives the length laid.
    fn make(&mut self, path: Path) -> f64 {
        let o = self.order;
        let length = path.length();
        let middle = path.point_at(0.5 * length);
        let kept = (length < o.shortest && !path.closed).then(|| path.clone());
        let least = self.least(&path);
        match o.course(path, o.radius, least) {
            Ok(course) => {
                self.taken.add(&course.path().flatten(bend::PROPOSAL_CHORD_MM));
                self.courses.push(course);
                length
            }
            Err(super::CourseFault::TooShort { .. }) => {
                if length > o.shortest - 4.0 * o.width
                    && let Some(path) = kept
                {
                    self.short.push(path);
                }
                // a row's strip ends square at either wall, half a width from where its middle line may
                let ends = if o.rule == Rule::Unidirectional { o.width } else { 0.0 };
                self.leave_out(Reason::TooShort { shortest_mm: o.shortest }, length + ends, middle);
                0.0
            }
            Err(super::CourseFault::TooTight { .. } | super::CourseFault::Joint { .. }) => {
                self.leave_out(Reason::TooTight, length, middle);
                0.0
            }
            Err(super::CourseFault::Empty) => 0.0,
        }
    }

    /// Records tow that was asked for and is not laid.
    pub(super) fn leave_out(&mut self, reason: Reason, length_mm: f64, at: Option<Point>) {
        // what waits for its turn misses nothing, and is told all the same
        if length_mm <= 0.0 && reason != Reason::NotItsTurn {
            return;
        }
        self.left_out.push(LeftOut {
            region: self.order.region.to_string(),
            // layers that ask for the same are laid once: numbered when they are copied
            layer: 0,
            reason,
            length_mm,
            at_mm: at.map(|p| [p.x, p.y]),
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn tow_that_bends_more_tightly_than_it_is_wide_keeps_off_itself() {
        // two pads joined by a neck of one and a half widths: a loop round both would lie on itself
        let pad = |x: f64| smooth::disc(pt(x, 0.0), 15.0, 2e-3);
        let neck = combine::ring_area(&[pt(0.0, -2.25), pt(50.0, -2.25), pt(50.0, 2.25), pt(0.0, 2.25)]);
        let part = combine::union_all(&[pad(0.0), neck, pad(50.0)]);
        for radius in [2.0, 3.0] {
            let order = Order {
                width: 3.0,
                spacing: 3.0,
                radius,
                courses: Some(1),
                closes: true,
                ..Order::sample(Rule::Contour)
            };
            let mut room = Room::new(order, &part);
            super::super::contour::lay(&mut room);
            let strip = |c: &Course| offset::strip(&c.path().flatten(0.005), 3.0, c.path().closed, 0.005);
            let strips: Vec<Area> = room.courses.iter().map(strip).collect();
            let tow: f64 = 3.0 * room.courses.iter().map(Course::length_mm).sum::<f64>();
            let covered = combine::union_all(&strips).area();
            assert!(tow > 400.0 && covered > 0.995 * tow, "radius {radius}: {tow} mm2 of tow on {covered}");
        }
    }

    #[test]
    fn a_closed_path_blocked_where_it_begins_is_opened_there() {
        let plate = combine::ring_area(&[pt(0.0, 0.0), pt(60.0, 0.0), pt(60.0, 40.0), pt(0.0, 40.0)]);
        let fit = |ring: &[Point]| bend::fit(ring, true, 5.0, 0.01).pieces.remove(0);
        let circle = fit(smooth::disc(pt(30.0, 20.0), 15.0, 0.002).polygons()[0].outer());
        for share in [0.0, 0.25, 0.5] {
            let mut room = Room::new(Order::sample(Rule::Contour), &plate);
            let at = circle.point_at(share * circle.length()).expect("on it");
            // a course that crosses the circle there
            room.note(&[at + (at - pt(30.0, 20.0)) * 0.2, at - (at - pt(30.0, 20.0)) * 0.2]);
            let laid = room.lay_path(&circle);
            let [open] = room.courses.as_slice() else { panic!("{} pieces", room.courses.len()) };
            // closed form: chords of a width on either side
            let gap = 2.0 * 2.0 * 15.0 * crate::geom::trig::asin(0.5 * 0.99 / 15.0);
            assert!(!open.path().closed && (circle.length() - gap - laid).abs() < 0.2, "{share}: {laid} mm");
        }
    }
}
