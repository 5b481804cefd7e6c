//! Laying along boundaries: lines that follow the edge of an area, closed where tow can
//! be led past every corner, by swinging wide where a corner is too tight.

use super::room::{HAIR_MM, Room, within};
use crate::geom::nearest::Lines;
use crate::geom::{Area, Path, Point, bend, polyline, smooth, swing};

/// How far outside a way past a corner may lie, as shares of the deviation: as far as the
/// fitted lines on which it begins and ends, so that it keeps to the corner however coarsely
/// that is drawn; or less, so that fewer ways past solid corners are found, which bulge into
/// the place of courses beside them.
pub(super) const SWING_SHARES: [f64; 2] = [0.55, 0.3];

/// The path of a fit that is closed in one piece.
fn closed(fit: &bend::Fit) -> Option<&Path> {
    match fit.pieces.as_slice() {
        [path] if path.closed => Some(path),
        _ => None,
    }
}

impl Room<'_> {
    /// Lays a closed line, swinging past its corners, as far as there is room.
    pub(super) fn lay_loop(&mut self, ring: &[Point]) -> f64 {
        self.lay_pieces(self.led_round(ring), polyline::ring_length(ring))
    }

    /// Tow can be led all along the outer boundary of an area, swinging past its corners.
    pub(super) fn can_follow(&self, area: &Area) -> bool {
        area.polygons().first().is_some_and(|part| closed(&self.led_round(part.outer())).is_some())
    }

    fn led_round(&self, ring: &[Point]) -> bend::Fit {
        let o = self.order;
        let free = |path: &Path| self.has_swing(self.walls(), path);
        [0.5 * o.fit(), o.fit()]
            .into_iter()
            .map(|deviation| bend::fit(ring, true, o.radius, deviation))
            .find(|fit| fit.kinks.is_empty())
            .unwrap_or_else(|| swing::eased(ring, true, o.fit(), o.corners(&free)))
    }

    /// A closed path along a ring, swinging past its corners within an area; `None`
    /// where none can be bent so.
    pub(super) fn loop_along(&self, ring: &[Point], area: &Area) -> Option<Path> {
        let o = self.order;
        let boundary = Lines::boundary(area);
        let free = |path: &Path| self.has_swing(&boundary, path);
        let legal = |path: &Path| o.course(path.clone(), o.radius, o.least(path.closed)).is_ok();
        let whole = |fit: &bend::Fit| matches!(fit.pieces.as_slice(), [path] if path.closed && free(path) && legal(path));
        let fit = [0.12, 0.06, 0.25]
            .into_iter()
            .map(|share| bend::fit(ring, true, o.radius, share * o.deviation))
            .find(whole)
            .unwrap_or_else(|| swing::eased(ring, true, o.fit(), o.corners(&free)));
        match fit.pieces.as_slice() {
            [path] if path.closed => Some(path.clone()),
            _ => None,
        }
    }

    /// Lays one course along the boundary of an area that may be larger than the room: its
    /// hole, if it has one, or its outer ring. Gives the whole closed path, of which what
    /// has room is laid; `None` where no closed path follows it.
    pub(super) fn lay_edge(&mut self, edge: &Area) -> Option<Path> {
        let o = self.order;
        let hole = edge.polygons().first()?.holes().first();
        let path = self.along_edge(edge).or_else(|| {
            let round = smooth::rounded_up(hole?, o.radius);
            let fit = bend::fit(round.polygons().first()?.outer(), true, o.radius, o.fit());
            closed(&fit).cloned()
        })?;
        let told = self.told();
        self.lay_path(&path);
        self.forget_since(told);
        Some(path)
    }

    /// The same, where tow can follow the boundary as it is and all of it has room.
    pub(super) fn lay_whole(&mut self, edge: &Area) -> Option<Path> {
        let path = self.along_edge(edge).filter(|path| self.inside(path) && self.clear(path))?;
        self.accept(path.clone());
        Some(path)
    }

    /// The closed path along the hole of an area, if it has one, or its outer ring.
    fn along_edge(&self, edge: &Area) -> Option<Path> {
        let o = self.order;
        let boundary = Lines::boundary(edge);
        let free = |path: &Path| self.has_swing(&boundary, path);
        let part = edge.polygons().first()?;
        let ring = part.holes().first().map_or(part.outer(), Vec::as_slice);
        closed(&swing::eased_tightly(ring, true, o.fit(), o.corners(&free))).cloned()
    }

    /// Lays along the boundary of an area, swinging past its corners, the longest
    /// pieces first. Nothing is said of what finds no room. Gives the length laid.
    pub(super) fn lay_along(&mut self, area: &Area) -> f64 {
        let o = self.order;
        let boundary = Lines::boundary(area);
        let free = |path: &Path| self.has_swing(&boundary, path);
        let mut pieces: Vec<Path> = Vec::new();
        for part in area.polygons() {
            for (i, ring) in part.rings().enumerate() {
                if polyline::ring_length(ring) < (0.5 * o.shortest).min(o.shortest_loop) && i == 0 {
                    continue;
                }
                let eased = if o.tight { swing::eased_tightly } else { swing::eased };
                let mut fit = eased(ring, true, o.fit(), o.corners(&free));
                if o.closes && closed(&fit).is_none() {
                    fit = swing::eased_again(fit, true, o.corners(&free));
                }
                let closed = closed(&fit).is_some();
                if i > 0 && !closed {
                    // round a hole that no tow can follow: a loop that encloses it
                    let round = smooth::rounded_up(ring, o.radius);
                    if let Some(outer) = round.polygons().first().map(|p| p.outer())
                        && let [path] = bend::fit(outer, true, o.radius, o.fit()).pieces.as_slice()
                        && path.closed
                        && free(path)
                    {
                        pieces.push(path.clone());
                        continue;
                    }
                }
                pieces.extend(fit.pieces);
            }
        }
        pieces.retain(|p| p.length() >= self.least(p));
        pieces.sort_by(|a, b| b.length().total_cmp(&a.length()));
        let told = self.told();
        let laid = pieces.iter().map(|p| self.lay_path(p)).sum();
        self.forget_since(told);
        laid
    }

    /// A way past a corner lies in the area with this boundary: no further outside than it
    /// begins and ends, which is on fitted lines, and a little less than is looked at when it
    /// is laid.
    fn has_swing(&self, boundary: &Lines, path: &Path) -> bool {
        let outside = |p: Point| if boundary.enclose(p) { 0.0 } else { boundary.distance(p) };
        let ends = [path.start(), path.end()].into_iter().flatten().map(outside).fold(0.0, f64::max);
        let both = 2.0 * self.order.fit();
        let (least, most) = (SWING_SHARES[1] * both, self.order.swing * both);
        within(boundary, path, (ends + HAIR_MM).clamp(least, most))
    }
}
