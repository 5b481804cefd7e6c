//! Look-up of boundary pieces by place.

use super::{Area, Bounds, Point, polyline, pt};

/// A straight piece of some line, for look-up by place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Edge {
    /// Start, mm.
    pub a: Point,
    /// End, mm.
    pub b: Point,
}

impl Edge {
    /// It crosses this height; an end at the height counts as below it.
    fn passes_height(&self, y: f64) -> bool {
        (self.a.y > y) != (self.b.y > y)
    }

    /// Where it does.
    fn x_at(&self, y: f64) -> f64 {
        self.a.x + (y - self.a.y) / (self.b.y - self.a.y) * (self.b.x - self.a.x)
    }
}

/// Lines that can be asked how near they come to a point.
///
/// Pieces are kept in the squares of a grid that they pass through: pieces of
/// courses and boundaries are short and of like length, and lines are added one by
/// one, which a search tree takes ill (an insertion costs a hundred look-ups).
#[derive(Clone, Debug, Default)]
pub struct Lines {
    edges: Vec<Edge>,
    squares: Squares,
    /// Head of each square's chain in `links`, or [`NONE`].
    first: Vec<u32>,
    /// A piece and the next link of its square.
    links: Vec<(u32, u32)>,
    /// Pieces when the grid was laid out.
    laid_out: usize,
    /// Of a boundary: whether each square's upper right corner lies inside.
    inside: Vec<bool>,
}

const NONE: u32 = u32::MAX;

/// A grid over a rectangle.
#[derive(Clone, Copy, Debug, Default)]
struct Squares {
    lo: Point,
    side: f64,
    columns: i64,
    rows: i64,
}

impl Squares {
    /// About as many squares as four times the pieces that they are to hold.
    fn over(b: Bounds, pieces: usize) -> Self {
        let size = b.size();
        #[expect(clippy::cast_precision_loss, reason = "a count")]
        let wanted = 4.0 * pieces as f64 + 64.0;
        // of a line's worth of pieces in a row all squares are along it
        let side = (size.x * size.y / wanted).sqrt().max(size.x.max(size.y) / wanted).max(0.25);
        let lo = pt(b.lo.x - 0.01 * side, b.lo.y - 0.01 * side);
        let mut grid = Self { lo, side, columns: 1, rows: 1 };
        (grid.columns, grid.rows) = (grid.column(b.hi.x) + 1, grid.row(b.hi.y) + 1);
        grid
    }

    #[expect(clippy::cast_possible_truncation, reason = "saturates; the grid is small")]
    fn column(&self, x: f64) -> i64 {
        ((x - self.lo.x) / self.side).floor() as i64
    }

    #[expect(clippy::cast_possible_truncation, reason = "saturates; the grid is small")]
    fn row(&self, y: f64) -> i64 {
        ((y - self.lo.y) / self.side).floor() as i64
    }

    /// The upper right corner of a square.
    fn corner(&self, column: i64, row: i64) -> Point {
        #[expect(clippy::cast_precision_loss, reason = "a place in a grid")]
        let (columns, rows) = ((column + 1) as f64, (row + 1) as f64);
        pt(self.lo.x + columns * self.side, self.lo.y + rows * self.side)
    }

    fn holds(&self, p: Point) -> bool {
        (0..self.columns).contains(&self.column(p.x)) && (0..self.rows).contains(&self.row(p.y))
    }

    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "inside the grid")]
    fn index(&self, column: i64, row: i64) -> usize {
        (row * self.columns + column) as usize
    }

    /// Columns of each row within `margin` mm of a straight piece, as far as the grid
    /// goes; stops at the first answer.
    fn along<T>(
        &self,
        a: Point,
        b: Point,
        margin: f64,
        mut look: impl FnMut(i64, i64, i64) -> Option<T>,
    ) -> Option<T> {
        let (low, high) = if a.y <= b.y { (a, b) } else { (b, a) };
        let rows = self.row(low.y - margin).max(0)..=self.row(high.y + margin).min(self.rows - 1);
        for row in rows {
            #[expect(clippy::cast_precision_loss, reason = "a row of a grid")]
            let y = self.lo.y + row as f64 * self.side;
            let at = |y: f64| {
                let t = if high.y > low.y { ((y - low.y) / (high.y - low.y)).clamp(0.0, 1.0) } else { 0.0 };
                low.x + (high.x - low.x) * t
            };
            let (from, to) =
                if high.y > low.y { (at(y - margin), at(y + self.side + margin)) } else { (low.x, high.x) };
            // the digits lost in `at` are far below a hundredth of a square
            let slack = margin + 1e-3 * self.side;
            let from_column = self.column(from.min(to) - slack).max(0);
            let to_column = self.column(from.max(to) + slack).min(self.columns - 1);
            if from_column <= to_column
                && let Some(found) = look(row, from_column, to_column)
            {
                return Some(found);
            }
        }
        None
    }
}

impl Lines {
    /// The boundaries of an area.
    pub fn boundary(area: &Area) -> Self {
        Self::of_rings(area.rings())
    }

    /// Rings that are the boundaries of one area.
    pub fn of_rings<'a>(rings: impl Iterator<Item = &'a [Point]>) -> Self {
        let mut lines = Self::default();
        lines.edges.extend(rings.flat_map(polyline::ring_edges).map(|(a, b)| Edge { a, b }));
        lines.lay_out(0.0);
        lines.find_corners();
        lines
    }

    /// Lays the grid out over all pieces, and beyond them by a share of their extent:
    /// lines that come row by row would otherwise lay it out each time.
    fn lay_out(&mut self, beyond: f64) {
        let Some(mut bounds) = Bounds::of(self.edges.iter().flat_map(|e| [e.a, e.b])) else { return };
        let size = bounds.size();
        let more = beyond * size.x.max(size.y);
        bounds.lo = bounds.lo - pt(more, more);
        bounds.hi = bounds.hi + pt(more, more);
        self.squares = Squares::over(bounds, self.edges.len());
        self.laid_out = self.edges.len();
        self.first.clear();
        self.first.resize(self.squares.index(0, self.squares.rows), NONE);
        self.links.clear();
        for i in 0..self.edges.len() {
            self.enter(i);
        }
    }

    fn enter(&mut self, edge: usize) {
        let Edge { a, b } = self.edges[edge];
        let Ok(edge) = u32::try_from(edge) else { return };
        let (squares, first, links) = (&self.squares, &mut self.first, &mut self.links);
        squares.along(a, b, 0.0, |row, from, to| {
            for column in from..=to {
                let head = &mut first[squares.index(column, row)];
                let Ok(link) = u32::try_from(links.len()) else { break };
                links.push((edge, *head));
                *head = link;
            }
            None::<()>
        });
    }

    /// Finds the corners of squares that lie inside, row by row.
    fn find_corners(&mut self) {
        let s = &self.squares;
        // where pieces cross the upper edge of each row
        let mut crossings: Vec<(i64, f64)> = Vec::new();
        for e in &self.edges {
            let (low, high) = (e.a.y.min(e.b.y), e.a.y.max(e.b.y));
            for row in s.row(low).max(0)..=s.row(high).min(s.rows - 1) {
                let y = s.corner(0, row).y;
                if e.passes_height(y) {
                    crossings.push((row, e.x_at(y)));
                }
            }
        }
        crossings.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        self.inside.clear();
        let mut at = 0;
        for row in 0..s.rows {
            // an even number of pieces crosses a row: as many before a corner as behind it
            let mut inside = false;
            for column in 0..s.columns {
                let corner = s.corner(column, row);
                while crossings.get(at).is_some_and(|c| c.0 == row && c.1 <= corner.x) {
                    inside = !inside;
                    at += 1;
                }
                self.inside.push(inside);
            }
            // nothing lies beyond the last corner
            at += crossings[at..].iter().take_while(|c| c.0 == row).count();
        }
    }

    /// The point lies inside the area whose boundaries these are: as
    /// [`Area::contains`], looking only at the pieces in its own square, between it and
    /// the square's corner.
    pub fn enclose(&self, p: Point) -> bool {
        let s = &self.squares;
        let (column, row) = (s.column(p.x), s.row(p.y));
        if !s.holds(p) {
            return false;
        }
        let Some(&inside) = self.inside.get(s.index(column, row)) else { return false };
        let corner = s.corner(column, row);
        // to the right as far as the corner, then up
        let crossed = |e: &Edge| {
            let right = e.passes_height(p.y) && {
                let x = e.x_at(p.y);
                x > p.x && x <= corner.x
            };
            let up = (e.a.x > corner.x) != (e.b.x > corner.x) && {
                let y = e.a.y + (corner.x - e.a.x) / (e.b.x - e.a.x) * (e.b.y - e.a.y);
                y > p.y && y <= corner.y
            };
            right != up
        };
        let count = self.in_row(row, column, column).filter(|(_, e)| crossed(e)).count();
        inside != (count % 2 == 1)
    }

    /// Adds an open polyline.
    pub fn add(&mut self, points: &[Point]) {
        let before = self.edges.len();
        // a piece without length has no direction
        self.edges.extend(points.windows(2).filter(|w| w[0] != w[1]).map(|w| Edge { a: w[0], b: w[1] }));
        let outside = |e: &Edge| !self.squares.holds(e.a) || !self.squares.holds(e.b);
        if self.edges.len() > 4 * self.laid_out || self.edges[before..].iter().any(outside) {
            self.lay_out(0.3);
        } else {
            for i in before..self.edges.len() {
                self.enter(i);
            }
        }
    }

    /// Calls with the pieces in some squares of a row, some of them more than once.
    fn in_row<'a>(&'a self, row: i64, from: i64, to: i64) -> impl Iterator<Item = (u32, &'a Edge)> + 'a {
        (from..=to).flat_map(move |column| {
            let mut link = self.first[self.squares.index(column, row)];
            std::iter::from_fn(move || {
                let &(edge, next) = self.links.get(link as usize)?;
                link = next;
                Some((edge, &self.edges[edge as usize]))
            })
        })
    }

    /// Whether a straight piece comes nearer than `limit` mm to any line.
    pub fn nearer(&self, a: Point, b: Point, limit: f64) -> bool {
        let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
        let off = polyline::point_segment_distance;
        let meets = |e: &Edge| {
            let crosses =
                side(a, b, e.a) * side(a, b, e.b) < 0.0 && side(e.a, e.b, a) * side(e.a, e.b, b) < 0.0;
            // pieces that do not cross are nearest at an end of one of them
            crosses || off(e.a, a, b).min(off(e.b, a, b)).min(off(a, e.a, e.b)).min(off(b, e.a, e.b)) < limit
        };
        let look = |row, from, to| self.in_row(row, from, to).any(|(_, e)| meets(e)).then_some(());
        self.squares.along(a, b, limit.max(0.0), look).is_some()
    }

    /// The nearest piece within `reach` mm, and how near it is; of two as near the
    /// one added first.
    fn closest(&self, p: Point, reach: f64) -> Option<(f64, Edge)> {
        if self.edges.is_empty() {
            return None;
        }
        let s = &self.squares;
        let (column, row) = (s.column(p.x), s.row(p.y));
        #[expect(clippy::cast_precision_loss, reason = "a place in a grid")]
        let (left, low) = (s.lo.x + column as f64 * s.side, s.lo.y + row as f64 * s.side);
        // no square further out than the k-th ring round the point's own is nearer
        // than this and k sides
        let inner = (p.x - left).min(left + s.side - p.x).min(p.y - low).min(low + s.side - p.y);
        let mut best: (f64, u32) = (reach * reach, NONE);
        let mut ring = 0.max(-column).max(column + 1 - s.columns).max(-row).max(row + 1 - s.rows);
        let last = column.max(s.columns - 1 - column).max(row).max(s.rows - 1 - row);
        while ring <= last {
            #[expect(clippy::cast_precision_loss, reason = "a count of rings")]
            let beyond = inner + (ring - 1) as f64 * s.side;
            if ring > 0 && beyond > 0.0 && beyond * beyond > best.0 {
                break;
            }
            let mut look = |row: i64, from: i64, to: i64| {
                if row < 0 || row >= s.rows {
                    return;
                }
                for (i, e) in self.in_row(row, from.max(0), to.min(s.columns - 1)) {
                    let d2 = (e.a.lerp(e.b, polyline::nearest_share(p, e.a, e.b)) - p).norm2();
                    if (d2, i) < best {
                        best = (d2, i);
                    }
                }
            };
            look(row - ring, column - ring, column + ring);
            if ring > 0 {
                look(row + ring, column - ring, column + ring);
                for r in (row - ring + 1).max(0)..=(row + ring - 1).min(s.rows - 1) {
                    look(r, column - ring, column - ring);
                    look(r, column + ring, column + ring);
                }
            }
            ring += 1;
        }
        self.edges.get(best.1 as usize).map(|e| (best.0.sqrt(), *e))
    }

    /// The nearest point of any line within `reach` mm and the direction of the line
    /// there; `None` when there is none.
    pub fn nearest_within(&self, p: Point, reach: f64) -> Option<(Point, Point)> {
        let (_, e) = self.closest(p, reach)?;
        let at = e.a.lerp(e.b, polyline::nearest_share(p, e.a, e.b));
        Some((at, (e.b - e.a).normalised()?))
    }

    /// The nearest point of any line and the direction of the line there; `None`
    /// when there is none.
    pub fn nearest(&self, p: Point) -> Option<(Point, Point)> {
        self.nearest_within(p, f64::INFINITY)
    }

    /// Distance to the nearest line, mm; infinite when there is none.
    pub fn distance(&self, p: Point) -> f64 {
        self.distance_within(p, f64::INFINITY)
    }

    /// The same where only distances below `reach` mm matter: infinite from there on.
    pub fn distance_within(&self, p: Point, reach: f64) -> f64 {
        self.closest(p, reach).map_or(f64::INFINITY, |c| c.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    #[test]
    fn boundaries_enclose_what_the_area_contains() {
        let ring: Vec<Point> = (0..60)
            .map(|k| {
                let t = f64::from(k) * std::f64::consts::TAU / 60.0;
                Point::unit(t) * (if k % 2 == 0 { 10.0 } else { 4.0 })
            })
            .collect();
        let hole = [pt(-1.0, -1.0), pt(1.0, -1.0), pt(1.0, 1.0), pt(-1.0, 1.0)];
        let area =
            crate::geom::combine::enclosed([&ring[..], &hole[..]], crate::geom::combine::FillRule::EvenOdd);
        let lines = Lines::boundary(&area);
        for i in 0..60 {
            for k in 0..60 {
                let p = pt(f64::from(i) * 0.37 - 11.0, f64::from(k) * 0.37 - 11.0);
                assert_eq!(lines.enclose(p), area.contains(p), "{p:?}");
            }
        }
    }

    #[test]
    fn many_rings_enclose_what_an_odd_number_of_them_contains() {
        let mut seed = 5_u64;
        let mut random = move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(u32::try_from(seed >> 40).expect("24 bits")) / 16_777_216.0
        };
        // from specks to some across the whole, one over the other
        let rings: Vec<Vec<Point>> = (0..90)
            .map(|k| {
                let middle = pt(random(), random()) * 50.0;
                let size = if k % 15 == 0 { 60.0 } else { 0.1 + 0.05 * f64::from(k) };
                (0..3).map(|_| middle + pt(random() - 0.5, random() - 0.5) * size).collect()
            })
            .collect();
        let lines = Lines::of_rings(rings.iter().map(Vec::as_slice));
        let mut within = 0;
        for _ in 0..20_000 {
            let p = pt(random(), random()) * 90.0 - pt(20.0, 20.0);
            let odd = rings.iter().filter(|r| polyline::ring_contains(r, p)).count() % 2 == 1;
            assert_eq!(lines.enclose(p), odd, "{p:?}");
            within += u32::from(odd);
        }
        assert!((2_000..10_000).contains(&within), "{within} places within");
    }

    #[test]
    fn the_nearest_is_that_of_a_search_through_all() {
        let mut seed = 11_u64;
        let mut random = move || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            f64::from(u32::try_from(seed >> 40).expect("24 bits")) / 16_777_216.0
        };
        let mut lines = Lines::default();
        let mut all: Vec<(Point, Point)> = Vec::new();
        for k in 0..400 {
            // short and long, here and there, growing outwards
            let size = if k % 20 == 0 { 60.0 } else { 3.0 };
            let a = pt(random(), random()) * (10.0 + f64::from(k) * 0.2);
            let b = a + pt(random() - 0.5, random() - 0.5) * size;
            lines.add(&[a, b]);
            all.push((a, b));
            let p = pt(random() * 160.0 - 40.0, random() * 160.0 - 40.0);
            let off = |p: Point| {
                all.iter()
                    .map(|e| polyline::point_segment_distance(p, e.0, e.1))
                    .fold(f64::INFINITY, f64::min)
            };
            let want = off(p);
            assert!((lines.distance(p) - want).abs() < 1e-9, "{p:?}: {} against {want}", lines.distance(p));
            let reach = 8.0 * random();
            let within = lines.distance_within(p, reach);
            assert!(if want < reach { (within - want).abs() < 1e-9 } else { within.is_infinite() }, "{p:?}");
            // a piece comes as near as its nearest point, looked for in small steps
            let q = p + pt(random() - 0.5, random() - 0.5) * 30.0;
            let near = (0..=300).map(|i| off(p.lerp(q, f64::from(i) / 300.0))).fold(f64::INFINITY, f64::min);
            assert!(lines.nearer(p, q, near + 0.11), "{p:?} to {q:?} at {near}");
            assert!(near < 0.2 || !lines.nearer(p, q, near - 0.11), "{p:?} to {q:?} at {near}");
        }
    }

    #[test]
    fn a_point_told_twice_hides_no_line() {
        let mut lines = Lines::default();
        lines.add(&[pt(0.0, 0.0), pt(0.0, 0.0), pt(10.0, 0.0)]);
        let (at, along) = lines.nearest(pt(-1.0, 0.0)).expect("a line 1 mm away");
        assert!(at.norm() < 1e-9 && along.dist(pt(1.0, 0.0)) < 1e-9, "{at:?}, {along:?}");
    }

    #[test]
    fn the_nearest_line_answers() {
        let mut lines = Lines::default();
        assert!(lines.distance(pt(0.0, 0.0)).is_infinite(), "no line yet");
        lines.add(&[pt(0.0, 0.0), pt(10.0, 0.0)]);
        lines.add(&[pt(0.0, 3.0), pt(10.0, 3.0)]);
        assert!((lines.distance(pt(5.0, 2.0)) - 1.0).abs() < 1e-12, "the upper one");
        assert!((lines.distance(pt(13.0, -4.0)) - 5.0).abs() < 1e-12, "the end of the lower one");
        assert!(lines.nearer(pt(2.0, 1.0), pt(3.0, 4.0), 0.1), "through the upper one");
        assert!(lines.nearer(pt(2.0, 1.0), pt(3.0, 2.95), 0.1), "nearly up to it");
        assert!(!lines.nearer(pt(2.0, 1.0), pt(12.0, 2.0), 0.9), "between the two");
        assert!(!lines.nearer(pt(11.0, -1.0), pt(11.0, 4.0), 0.9), "past their ends");
    }
}
