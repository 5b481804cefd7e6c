//! Where the centre line of a course may lie, and what is already laid there.

mod laying;
mod told;

use super::Course;
use super::order::Order;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Path, Point, bend, combine, offset, smooth};
use crate::reinforcement::LeftOut;

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
pub(super) const LOOK_MM: f64 = 0.25;

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
}
