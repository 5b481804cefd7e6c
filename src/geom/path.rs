//! A path of lines and arcs.

use super::{Arc, Point};

/// One piece of a path.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Segment {
    /// A straight piece.
    Line {
        /// Start, mm.
        from: Point,
        /// End, mm.
        to: Point,
    },
    /// A circular piece.
    Arc(Arc),
}

impl Segment {
    /// Start, mm.
    pub fn from(&self) -> Point {
        match self {
            Self::Line { from, .. } => *from,
            Self::Arc(a) => a.from,
        }
    }

    /// End, mm.
    pub fn to(&self) -> Point {
        match self {
            Self::Line { to, .. } => *to,
            Self::Arc(a) => a.to,
        }
    }

    /// Length, mm.
    pub fn length(&self) -> f64 {
        match self {
            Self::Line { from, to } => from.dist(*to),
            Self::Arc(a) => a.length(),
        }
    }

    /// Radius, mm; infinite for a line.
    pub fn radius(&self) -> f64 {
        match self {
            Self::Line { .. } => f64::INFINITY,
            Self::Arc(a) => a.radius(),
        }
    }

    /// The point at a length from the start, mm.
    pub fn point_at(&self, s: f64) -> Point {
        match self {
            Self::Line { from, to } => {
                let l = from.dist(*to);
                if l > 0.0 { from.lerp(*to, s / l) } else { *from }
            }
            Self::Arc(a) => a.point_at(s),
        }
    }

    /// Unit tangent at a length from the start.
    pub fn tangent_at(&self, s: f64) -> Point {
        match self {
            Self::Line { from, to } => (*to - *from).normalised().unwrap_or(Point::new(1.0, 0.0)),
            Self::Arc(a) => a.tangent_at(s),
        }
    }

    /// The same piece walked the other way.
    pub fn reversed(&self) -> Self {
        match self {
            Self::Line { from, to } => Self::Line { from: *to, to: *from },
            Self::Arc(a) => Self::Arc(a.reversed()),
        }
    }

    /// Cut in two at a length from the start, strictly inside the piece.
    pub fn split(&self, s: f64) -> (Self, Self) {
        let p = self.point_at(s);
        match *self {
            Self::Line { from, to } => (Self::Line { from, to: p }, Self::Line { from: p, to }),
            Self::Arc(a) => (Self::Arc(Arc { to: p, ..a }), Self::Arc(Arc { from: p, ..a })),
        }
    }
}

/// A connected run of lines and arcs. Closed when it ends where it began.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Path {
    /// The pieces in order; each starts where the one before ends.
    pub segments: Vec<Segment>,
    /// The last piece ends at the start of the first.
    pub closed: bool,
}

/// A piece shorter than this is not worth a block of its own: 1 um is the
/// program's last written digit.
const SHORTEST_MM: f64 = 1e-3;

impl Path {
    /// A path from its pieces.
    pub fn new(segments: Vec<Segment>, closed: bool) -> Self {
        Self { segments, closed }
    }

    /// Total length, mm.
    pub fn length(&self) -> f64 {
        self.segments.iter().map(Segment::length).sum()
    }

    /// First point; `None` for an empty path.
    pub fn start(&self) -> Option<Point> {
        self.segments.first().map(Segment::from)
    }

    /// Last point; `None` for an empty path.
    pub fn end(&self) -> Option<Point> {
        self.segments.last().map(Segment::to)
    }

    /// Turn from start to end, radians, to the left above 0: bends to either side cancel.
    pub fn turned(&self) -> f64 {
        let bends = self.segments.iter().map(|s| match s {
            Segment::Arc(a) => a.sign() * a.sweep(),
            Segment::Line { .. } => 0.0,
        });
        bends.sum()
    }

    /// Radius of the tightest bend, mm. Infinite for a straight path.
    pub fn min_radius(&self) -> f64 {
        self.segments.iter().map(Segment::radius).fold(f64::INFINITY, f64::min)
    }

    /// Index of the piece at length `s` and the length into that piece.
    fn locate(&self, s: f64) -> Option<(usize, f64)> {
        let mut rest = s.max(0.0);
        for (i, seg) in self.segments.iter().enumerate() {
            let l = seg.length();
            if rest <= l || i + 1 == self.segments.len() {
                return Some((i, rest.min(l)));
            }
            rest -= l;
        }
        None
    }

    /// The point at a length from the start; `None` for an empty path.
    pub fn point_at(&self, s: f64) -> Option<Point> {
        self.locate(s).map(|(i, r)| self.segments[i].point_at(r))
    }

    /// For places at many lengths, one after the other.
    pub fn walk(&self) -> Walk<'_> {
        Walk { path: self, segment: 0, from: 0.0, length: self.segments.first().map_or(0.0, Segment::length) }
    }

    /// Places along the path so far apart, and its end, found in one walk.
    pub fn places(&self, apart_mm: f64) -> impl Iterator<Item = Point> + '_ {
        let mut segments = self.segments.iter();
        // the segment walked on, and the lengths at which it begins and ends
        let mut on: Option<(&Segment, f64, f64)> = None;
        let mut next = 0.0;
        let inner = std::iter::from_fn(move || {
            loop {
                if let Some((segment, from, until)) = on
                    && next < until
                {
                    let s = next - from;
                    next += apart_mm;
                    return Some(segment.point_at(s));
                }
                let from = on.map_or(0.0, |(.., until)| until);
                let segment = segments.next()?;
                on = Some((segment, from, from + segment.length()));
            }
        });
        inner.chain(self.end())
    }

    /// Unit tangent at a length from the start; `None` for an empty path.
    pub fn tangent_at(&self, s: f64) -> Option<Point> {
        self.locate(s).map(|(i, r)| self.segments[i].tangent_at(r))
    }

    /// The same path walked the other way.
    pub fn reversed(&self) -> Self {
        Self::new(self.segments.iter().rev().map(Segment::reversed).collect(), self.closed)
    }

    /// Where [`Self::split`] does cut the path that is to be cut at a length from its start: at a
    /// joint that is hardly away from there, lest a piece be too short to have a direction.
    pub fn cut_at(&self, s: f64) -> f64 {
        let joints = self.segments.iter().scan(0.0, |at, segment| {
            *at += segment.length();
            Some(*at)
        });
        let near = std::iter::once(0.0).chain(joints).filter(|at| (at - s).abs() <= SHORTEST_MM);
        near.last().unwrap_or(s)
    }

    /// The path cut in two at a length from the start, or at a joint up to [`SHORTEST_MM`] away
    /// ([`Self::cut_at`]); either part may be empty.
    pub fn split(&self, s: f64) -> (Self, Self) {
        let mut head = Vec::new();
        let mut tail = Vec::new();
        let mut at = 0.0;
        for seg in &self.segments {
            let l = seg.length();
            if at + l <= s + SHORTEST_MM {
                head.push(*seg);
            } else if at >= s - SHORTEST_MM {
                tail.push(*seg);
            } else {
                let (a, b) = seg.split(s - at);
                head.push(a);
                tail.push(b);
            }
            at += l;
        }
        (Self::new(head, false), Self::new(tail, false))
    }

    /// The part between two lengths, open.
    pub fn between(&self, from: f64, to: f64) -> Self {
        self.split(to).0.split(from).1
    }

    /// A closed path started elsewhere, at a length from its present start.
    pub fn restarted(&self, s: f64) -> Self {
        if !self.closed {
            return self.clone();
        }
        let (head, mut tail) = self.split(s);
        tail.segments.extend(head.segments);
        Self::new(tail.segments, true)
    }

    /// The path as points, chords within `chord_mm` of the arcs. A closed path
    /// repeats its first point at the end.
    pub fn flatten(&self, chord_mm: f64) -> Vec<Point> {
        let mut out = Vec::new();
        if let Some(p) = self.start() {
            out.push(p);
        }
        for seg in &self.segments {
            match seg {
                Segment::Line { to, .. } => out.push(*to),
                Segment::Arc(a) => a.flatten_into(chord_mm, &mut out),
            }
        }
        out
    }

    /// Largest angle between the pieces that meet at a joint, radians (the
    /// closing joint of a closed path counted).
    pub fn worst_joint(&self) -> f64 {
        let mut worst: f64 = 0.0;
        let n = self.segments.len();
        let last = if self.closed { n } else { n.saturating_sub(1) };
        for i in 0..last {
            let (a, b) = (&self.segments[i], &self.segments[(i + 1) % n]);
            let (t, u) = (a.tangent_at(a.length()), b.tangent_at(0.0));
            worst = worst.max(t.turn_to(u).abs());
        }
        worst
    }
}

/// A place on a path that moves on along it: lengths that rise are found in steps, not
/// from the path's start each time.
pub struct Walk<'a> {
    path: &'a Path,
    /// The piece walked on, the length at which it begins, and its own, mm.
    segment: usize,
    from: f64,
    length: f64,
}

impl<'a> Walk<'a> {
    /// Point and unit tangent at a length from the start, mm, as [`Path::point_at`] and
    /// [`Path::tangent_at`]; `None` for an empty path.
    pub fn at(&mut self, s: f64) -> Option<(Point, Point)> {
        self.to(s).map(|(segment, rest)| (segment.point_at(rest), segment.tangent_at(rest)))
    }

    /// The point alone.
    pub fn point_at(&mut self, s: f64) -> Option<Point> {
        self.to(s).map(|(segment, rest)| segment.point_at(rest))
    }

    /// The piece at a length, and the length into it.
    fn to(&mut self, s: f64) -> Option<(&'a Segment, f64)> {
        if s < self.from {
            *self = self.path.walk();
        }
        while s > self.from + self.length && self.segment + 1 < self.path.segments.len() {
            self.from += self.length;
            self.segment += 1;
            self.length = self.path.segments[self.segment].length();
        }
        Some((self.path.segments.get(self.segment)?, (s - self.from).clamp(0.0, self.length)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn places_are_those_at_lengths_so_far_apart_and_the_end() {
        let arc = |from, to, centre, ccw| Segment::Arc(Arc { from, to, centre, ccw });
        let path = Path::new(
            vec![
                Segment::Line { from: pt(0.0, 0.0), to: pt(0.35, 0.0) },
                arc(pt(0.35, 0.0), pt(5.35, 5.0), pt(0.35, 5.0), true),
                Segment::Line { from: pt(5.35, 5.0), to: pt(5.35, 5.07) },
                arc(pt(5.35, 5.07), pt(7.35, 7.07), pt(7.35, 5.07), false),
            ],
            false,
        );
        let found: Vec<Point> = path.places(0.25).collect();
        let mut wanted: Vec<Point> = Vec::new();
        let mut at = 0.0;
        while at < path.length() {
            wanted.extend(path.point_at(at));
            at += 0.25;
        }
        wanted.extend(path.end());
        assert_eq!(found.len(), wanted.len());
        for (p, q) in found.iter().zip(&wanted) {
            assert!(p.dist(*q) < 1e-9, "{p:?} for {q:?}");
        }
    }

    #[test]
    fn a_walk_finds_the_places_of_any_lengths() {
        let path = Path::new(
            vec![
                Segment::Line { from: pt(0.0, 0.0), to: pt(3.0, 0.0) },
                Segment::Arc(Arc { from: pt(3.0, 0.0), to: pt(5.0, 2.0), centre: pt(3.0, 2.0), ccw: true }),
                Segment::Line { from: pt(5.0, 2.0), to: pt(5.0, 7.0) },
            ],
            false,
        );
        let mut walk = path.walk();
        // forwards, back, over both ends
        for s in [-1.0, 0.0, 0.4, 2.9, 3.0, 3.1, 6.0, 6.2, 11.0, 20.0, 1.0, 7.0, 0.0, 100.0] {
            let (p, t) = walk.at(s).unwrap();
            assert!(p.dist(path.point_at(s).unwrap()) < 1e-12, "{s}");
            assert!(t.dist(path.tangent_at(s).unwrap()) < 1e-12, "{s}");
            assert_eq!(walk.point_at(s), Some(p), "{s}");
        }
        assert!(Path::default().walk().at(0.0).is_none(), "nothing to walk on");
    }
}
