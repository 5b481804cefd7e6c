//! Laying paths: as much of each as has room, each piece of it a course or told as left out.

use super::{HAIR_MM, LOOK_MM, Room};
use crate::count::f64_of;
use crate::fibre::CourseFault;
use crate::geom::{Path, Point, bend, polyline};
use crate::job::Rule;
use crate::reinforcement::Reason;
use std::collections::BTreeMap;

impl Room<'_> {
    /// Lays as much of a line as has room. Gives the length laid.
    pub(in crate::fibre) fn lay_where_free(&mut self, points: &[Point], closed: bool) -> f64 {
        let fit = self.fit(points, closed);
        let asked = if closed { polyline::ring_length(points) } else { polyline::length(points) };
        self.lay_pieces(fit, asked)
    }

    pub(in crate::fibre) fn lay_pieces(&mut self, fit: bend::Fit, asked: f64) -> f64 {
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

    /// Lays an open line as far as it can be bent and has room.
    pub(in crate::fibre) fn lay_line(&mut self, line: &[Point]) -> f64 {
        let fit =
            bend::fit(line, false, self.order.radius, (0.4 * self.order.deviation).min(self.order.outside()));
        fit.pieces.iter().map(|p| self.lay_path(p)).sum()
    }

    /// Lays as much of a legal path as has room.
    pub(in crate::fibre) fn lay_path(&mut self, path: &Path) -> f64 {
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

    /// Lays a path that keeps clear of other courses by construction, but perhaps
    /// not of those from the far side of a narrow place. No wall is asked: it lies as
    /// far within as its rule has made it. Gives the length laid.
    pub(in crate::fibre) fn lay_row(&mut self, path: Path) -> f64 {
        if self.clear(&path) { self.accept(path) } else { self.lay_path(&path) }
    }

    /// Makes a path a course, or leaves it out. Where it would come nearer than a
    /// tow's width to itself it is opened. Gives the length laid.
    pub(in crate::fibre) fn accept(&mut self, path: Path) -> f64 {
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

    /// Shortest length, mm, at which a path may be laid for now.
    pub(in crate::fibre) fn least(&self, path: &Path) -> f64 {
        let o = self.order;
        if path.closed && path.length() < o.shortest && !self.unwound.is_empty() {
            let ring = path.flatten(bend::PROPOSAL_CHORD_MM);
            if self.unwound.iter().any(|p| polyline::ring_contains(&ring, *p)) {
                return o.shortest;
            }
        }
        o.least(path.closed)
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
            Err(CourseFault::TooShort { .. }) => {
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
            Err(CourseFault::TooTight { .. } | CourseFault::Joint { .. }) => {
                self.leave_out(Reason::TooTight, length, middle);
                0.0
            }
            Err(CourseFault::Empty) => 0.0,
        }
    }

    fn fit(&self, points: &[Point], closed: bool) -> bend::Fit {
        // as near as the line allows: half the deviation first
        let near = bend::fit(points, closed, self.order.radius, self.order.fit());
        if near.kinks.is_empty() {
            return near;
        }
        bend::fit(points, closed, self.order.radius, self.order.deviation)
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

    /// A path has room at a length of it.
    fn has_room(&self, path: &Path, at: f64) -> bool {
        path.point_at(at).is_some_and(|p| self.is_free(p))
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

    /// A path nowhere comes nearer than a tow's width to itself.
    pub(in crate::fibre) fn keeps_off_itself(&self, path: &Path) -> bool {
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
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fibre::order::Order;
    use crate::fibre::{Course, contour};
    use crate::geom::{Area, combine, offset, pt, smooth};

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
            contour::lay(&mut room);
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
