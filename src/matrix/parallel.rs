//! Rows of parallel beads. Where the boundary crosses a row steeply the row ends
//! square, a little beyond the middle of the wedge, over the bead along the edge;
//! where it runs nearly along the row the bead tapers with it.

use super::run::{self, Piece};
use super::{Bead, BeadKind};
use crate::geom::combine::FillRule;
use crate::geom::{Area, Bounds, Point, combine, polyline};

/// Change of height over one step of a taper, as a share of the width.
const STEP: f64 = 0.34;

/// Shortest bead of a taper, as a share of the width.
const TAPER: f64 = 0.5;

/// From this share of its pitch on a row has its full width.
const FULL: f64 = 0.9;

/// A square end stands where the row's ground has narrowed to this share of the
/// pitch: of a wedge an eighth stays bare, two fifths lie on the bead beside it.
const END: f64 = 0.35;

/// Wedges up to this long, in widths, get a square end; longer ones a taper.
const STEEP: f64 = 1.5;

/// Part of a row between two vertical lines, in the turned frame.
#[derive(Clone, Copy, Debug)]
struct Slab {
    from: f64,
    to: f64,
    /// Lower and upper side at `from`.
    at_from: (f64, f64),
    /// Lower and upper side at `to`.
    at_to: (f64, f64),
}

/// Lays rows at `angle` over each polygon; the rows share out its extent evenly.
pub(super) fn rows(area: &Area, width: f64, angle: f64, height_mm: f64, beads: &mut Vec<Bead>) {
    for polygon in area.polygons() {
        let flat = combine::turned_rings(polygon.rings(), -angle);
        let Some(bounds) = flat.bounds() else { continue };
        let extent = bounds.hi.y - bounds.lo.y;
        let count = (extent / width).round().max(1.0);
        let pitch = extent / count;
        for parity in [0.0, 1.0] {
            let mut bands = Vec::new();
            let mut i = parity;
            while i < count {
                let y = bounds.lo.y + i * pitch;
                let (left, right) = (bounds.lo.x - 1.0, bounds.hi.x + 1.0);
                bands.push(vec![
                    Point::new(left, y),
                    Point::new(right, y),
                    Point::new(right, y + pitch),
                    Point::new(left, y + pitch),
                ]);
                i += 2.0;
            }
            let bands = combine::enclosed(bands.iter().map(Vec::as_slice), FillRule::Positive);
            for cell in combine::intersection(&flat, &bands).polygons() {
                let Some(box_) = Bounds::of(cell.outer().iter().copied()) else { continue };
                let number = ((box_.centre().y - bounds.lo.y) / pitch).floor();
                let row =
                    Row { middle: bounds.lo.y + (number + 0.5) * pitch, pitch, angle, width, height_mm };
                let rings: Vec<&[Point]> = cell.rings().collect();
                for chain in chains(&rings) {
                    row.lay(&chain, beads);
                }
            }
        }
    }
}

impl Slab {
    fn length(&self) -> f64 {
        self.to - self.from
    }

    /// Heights at both ends.
    fn heights(&self) -> (f64, f64) {
        (self.at_from.1 - self.at_from.0, self.at_to.1 - self.at_to.0)
    }

    fn area(&self) -> f64 {
        let (a, b) = self.heights();
        (a + b) * 0.5 * self.length()
    }

    fn middle_height(&self) -> f64 {
        let (a, b) = self.heights();
        (a + b) * 0.5
    }

    /// The parts before and after the place where the height is `h`, if it is
    /// reached between the ends.
    fn parted(&self, h: f64) -> Vec<Self> {
        let (a, b) = self.heights();
        let t = (h - a) / (b - a);
        if !(t > 1e-6 && t < 1.0 - 1e-6) {
            return vec![*self];
        }
        let mix = |p: f64, q: f64| p + (q - p) * t;
        let x = mix(self.from, self.to);
        let sides = (mix(self.at_from.0, self.at_to.0), mix(self.at_from.1, self.at_to.1));
        vec![Self { to: x, at_to: sides, ..*self }, Self { from: x, at_from: sides, ..*self }]
    }
}

/// What the beads of one row share.
struct Row {
    /// Ordinate of the row's middle in the turned frame.
    middle: f64,
    pitch: f64,
    angle: f64,
    width: f64,
    height_mm: f64,
}

/// A stretch of a row.
struct Stretch {
    slabs: Vec<Slab>,
    full: bool,
}

impl Stretch {
    fn length(&self) -> f64 {
        self.slabs.iter().map(Slab::length).sum()
    }
}

impl Row {
    fn lay(&self, chain: &[Slab], beads: &mut Vec<Bead>) {
        let stretches = self.stretches(chain);
        let steep = |s: &Stretch| !s.full && s.length() <= STEEP * self.width;
        let mut i = 0;
        while i < stretches.len() {
            if !stretches[i].full {
                // a steep wedge beside a full stretch becomes that stretch's end
                if !(i == 0 && stretches.len() > 1 && steep(&stretches[0])) {
                    let pieces = pieces(&stretches[i].slabs, self.width, self.angle);
                    run::lay(&pieces, TAPER * self.width, self.width, self.height_mm, beads);
                }
                i += 1;
                continue;
            }
            let mut last = i;
            while last + 2 < stretches.len() && steep(&stretches[last + 1]) {
                last += 2;
            }
            let open_before = i == 1 && steep(&stretches[0]);
            let open_after = last + 2 == stretches.len() && steep(&stretches[last + 1]);
            let first = if open_before { 0 } else { i };
            let end = if open_after { last + 1 } else { last };
            let slabs: Vec<Slab> = stretches[first..=end].iter().flat_map(|s| s.slabs.clone()).collect();
            self.straight(&slabs, beads);
            i = end + 1;
        }
    }

    /// Stretches of full and of lesser height in turn.
    fn stretches(&self, chain: &[Slab]) -> Vec<Stretch> {
        let mut out: Vec<Stretch> = Vec::new();
        let parts = chain.iter().flat_map(|s| s.parted(FULL * self.pitch));
        for s in parts.flat_map(|s| s.parted(END * self.pitch)) {
            let full = s.middle_height() >= FULL * self.pitch;
            match out.last_mut() {
                Some(last) if last.full == full => last.slabs.push(s),
                _ => out.push(Stretch { slabs: vec![s], full }),
            }
        }
        out
    }

    /// One bead of the row's width over all the slabs, its ends square where the
    /// ground has narrowed to [`END`]; it carries the whole area.
    fn straight(&self, slabs: &[Slab], beads: &mut Vec<Bead>) {
        let area: f64 = slabs.iter().map(Slab::area).sum();
        let mut wide = slabs.iter().filter(|s| s.middle_height() >= END * self.pitch);
        let Some(first) = wide.next() else { return };
        let last = wide.next_back().unwrap_or(first);
        let (from, to) = (first.from, last.to);
        let length = to - from;
        if length < run::SHORTEST_MM.min(self.width) {
            return;
        }
        let at = |x: f64| Point::new(x, self.middle).turned(self.angle);
        beads.push(Bead {
            kind: BeadKind::Fill,
            width_mm: self.pitch,
            area_mm2: super::rectangle_mm2(area / length, self.height_mm),
            closed: false,
            points: vec![at(from), at(to)],
        });
    }
}

/// Trapezoids of a cell between the abscissae of its corners, linked where one
/// follows one.
fn chains(rings: &[&[Point]]) -> Vec<Vec<Slab>> {
    let mut xs: Vec<f64> = rings.iter().flat_map(|r| r.iter().map(|p| p.x)).collect();
    xs.sort_by(f64::total_cmp);
    xs.dedup_by(|a, b| (*a - *b).abs() < 1e-5);
    let edges: Vec<(Point, Point)> = rings
        .iter()
        .flat_map(|r| polyline::ring_edges(r))
        .map(|(a, b)| if a.x <= b.x { (a, b) } else { (b, a) })
        .collect();
    let mut done = Vec::new();
    let mut live: Vec<Vec<Slab>> = Vec::new();
    for w in xs.windows(2) {
        let (from, to) = (w[0], w[1]);
        let mid = (from + to) * 0.5;
        let at = |e: &(Point, Point), x: f64| {
            let t = ((x - e.0.x) / (e.1.x - e.0.x)).clamp(0.0, 1.0);
            e.0.y + (e.1.y - e.0.y) * t
        };
        let mut cut: Vec<&(Point, Point)> = edges.iter().filter(|e| e.0.x <= mid && mid < e.1.x).collect();
        cut.sort_by(|a, b| at(a, mid).total_cmp(&at(b, mid)));
        let slabs: Vec<Slab> = cut
            .chunks_exact(2)
            .map(|c| Slab {
                from,
                to,
                at_from: (at(c[0], from), at(c[1], from)),
                at_to: (at(c[0], to), at(c[1], to)),
            })
            .collect();
        let meets = |a: &Slab, b: &Slab| a.at_to.1.min(b.at_from.1) - a.at_to.0.max(b.at_from.0) > 1e-4;
        let mut next: Vec<Vec<Slab>> = Vec::new();
        let ends: Vec<Slab> = live.iter().filter_map(|c| c.last().copied()).collect();
        let mut taken = vec![false; live.len()];
        for s in slabs {
            let before: Vec<usize> = (0..ends.len()).filter(|i| meets(&ends[*i], &s)).collect();
            if let [one] = before[..]
                && !taken[one]
            {
                taken[one] = true;
                let mut chain = std::mem::take(&mut live[one]);
                chain.push(s);
                next.push(chain);
                continue;
            }
            next.push(vec![s]);
        }
        done.extend(live.into_iter().filter(|c| !c.is_empty()));
        live = next;
    }
    done.extend(live);
    done
}

/// The middle line of a chain, cut where its height changes.
fn pieces(chain: &[Slab], width: f64, angle: f64) -> Vec<Piece> {
    let mut out: Vec<Piece> = Vec::new();
    for s in chain {
        let (h0, h1) = (s.at_from.1 - s.at_from.0, s.at_to.1 - s.at_to.0);
        let n = ((h1 - h0).abs() / (STEP * width)).ceil().clamp(1.0, 8.0);
        let mut i = 0.0;
        while i < n {
            let (t0, t1) = (i / n, (i + 1.0) / n);
            let point = |t: f64| {
                let low = s.at_from.0 + (s.at_to.0 - s.at_from.0) * t;
                let high = s.at_from.1 + (s.at_to.1 - s.at_from.1) * t;
                Point::new(s.from + (s.to - s.from) * t, (low + high) * 0.5)
            };
            let height = h0 + (h1 - h0) * (t0 + t1) * 0.5;
            let area = height * (s.to - s.from) / n;
            // a step in the boundary moves the middle: the line follows at once
            let from = out.last().map_or(point(t0), |p| p.to);
            out.push(Piece { from, to: point(t1), area });
            i += 1.0;
        }
    }
    // a tip lies in a corner of the cell: its bead runs along the row all the same
    if let Some(first) = out.first_mut() {
        first.from.y = (first.from.y + first.to.y) * 0.5;
    }
    if let Some(last) = out.last_mut() {
        last.to.y = (last.from.y + last.to.y) * 0.5;
    }
    for p in &mut out {
        p.from = p.from.turned(angle);
        p.to = p.to.turned(angle);
    }
    out
}
