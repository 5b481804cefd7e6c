//! Corners that bend too tightly, passed all the same: a bend inside the corner, or a
//! swing wide round it.
//!
//! [`super::bend::fit`] stops at such places; [`eased`] joins what lies before and after
//! by the shortest legal way that the caller finds free.

use super::bend::{Fit, Near, RADIUS_MARGIN_MM, SHARES, fit, fit_near, path_of};
use super::biarc::Ends;
use super::{Arc, Path, Point, Segment, trig};
use crate::count::f64_of;

/// How far from a corner a bend that swings past it may begin, in radii: a right
/// angle cut inside needs one, a turn by 150 degrees four.
const SWINGS: [f64; 24] = [
    0.03, 0.06, 0.1, 0.14, 0.18, 0.22, 0.27, 0.32, 0.38, 0.45, 0.52, 0.6, 0.7, 0.8, 0.9, 1.05, 1.2, 1.35,
    1.5, 1.7, 1.9, 2.4, 3.0, 4.0,
];

/// How much further out than touching the corner a wide swing may begin, in radii.
const WIDER: [f64; 9] = [0.002, 0.01, 0.03, 0.06, 0.1, 0.2, 0.35, 0.6, 1.0];

/// Room beside a leg, in radii, below which a place is narrow.
const NARROW: f64 = 2.0;

/// A place is broader than another one from so many times its room on.
const BROADER: f64 = 1.2;

/// Steps in which that room is looked for.
const ROOM_STEPS: u32 = 20;

/// How far from the corner such a swing may begin on the leg with little room, in radii.
const LEANING: [f64; 5] = [0.0, 0.05, 0.1, 0.2, 0.35];

/// How corners are to be passed.
#[derive(Clone, Copy)]
pub struct Corners<'a> {
    /// Least bend radius, mm.
    pub radius: f64,
    /// A swing wide round a corner between a narrow place and a broader one lies in the broader
    /// one: what passes the narrow one then has all of it. It leaves more bare beside the corner.
    pub lean: bool,
    /// A way past a corner has room.
    pub free: &'a dyn Fn(&Path) -> bool,
}

/// As [`fit`], but where the points bend too tightly the path swings past the
/// place instead of stopping, by the shortest of these that joins what lies
/// before and after, bends no tighter than the radius and is free: a bend
/// inside the corner, or a swing wide round it (out, round, and in again). There
/// it may lie any distance from the points. A closed run whose corners all can be
/// passed gives one closed path; the kinks that could not be passed stay.
pub fn eased(points: &[Point], closed: bool, deviation: f64, corners: Corners<'_>) -> Fit {
    corners.passed(fit(points, closed, corners.radius, deviation), closed)
}

/// As [`eased`], but no further off the points than is needed for as few kinks as
/// `deviation` leaves: lines that keep near their points lie side by side without gaps
/// and without coming too near to one another.
pub fn eased_tightly(points: &[Point], closed: bool, deviation: f64, corners: Corners<'_>) -> Fit {
    let min_radius = corners.radius;
    let at = |share: f64| fit(points, closed, min_radius, share * deviation);
    let no_worse = |f: &Fit, than: &Fit| !f.pieces.is_empty() && f.kinks.len() <= than.kinks.len();
    let mut found = at(TIGHT);
    if !found.kinks.is_empty() || found.pieces.is_empty() {
        let loose = at(1.0);
        if !no_worse(&found, &loose) {
            // loosely where that passes what is nearly too tight, and only there
            let asked = Near::but_at(TIGHT * deviation, deviation, &found.kinks, min_radius);
            let mixed = fit_near(points, closed, min_radius, asked);
            found = if no_worse(&mixed, &loose) { mixed } else { loose };
        }
    }
    corners.passed(found, closed)
}

/// Share of the deviation allowed that is kept to where it can be.
const TIGHT: f64 = 0.2;

/// What [`eased`] gave, with the corners that it left tried once more: a leg that was too short
/// for a corner may have been joined to the next.
///
/// The first of two corners has the leg between them: where one is left they are passed in the
/// other sense, too, so that mirror images are alike.
pub fn eased_again(found: Fit, closed: bool, corners: Corners<'_>) -> Fit {
    let back = turned_round(found.clone());
    let one = corners.passed(found, closed);
    if one.kinks.is_empty() {
        return one;
    }
    let other = corners.passed(back, closed);
    let tow = |fit: &Fit| fit.pieces.iter().map(Path::length).sum::<f64>();
    let passed = f64_of(one.kinks.len().saturating_sub(other.kinks.len()));
    let fewer = passed > 0.0 && tow(&one) - tow(&other) < passed * GIVEN_UP * corners.radius;
    let longer = other.kinks.len() == one.kinks.len() && tow(&other) > tow(&one) + SAME_MM;
    if fewer || longer { turned_round(other) } else { one }
}

/// What of the line passing one corner more may give up, in radii: a bend inside a turn of 130
/// degrees does. A way across the root of a tooth gives up more, and does not follow it.
const GIVEN_UP: f64 = 2.0;

/// Lines that differ by no more are as long as one another, mm.
const SAME_MM: f64 = 1e-6;

/// The same lines in the other sense.
fn turned_round(fit: Fit) -> Fit {
    Fit {
        pieces: fit.pieces.iter().rev().map(Path::reversed).collect(),
        kinks: fit.kinks.into_iter().rev().collect(),
    }
}

impl Corners<'_> {
    /// Corners passed one after the other, as the lines run.
    fn passed(self, found: Fit, closed: bool) -> Fit {
        if found.kinks.is_empty() || found.pieces.is_empty() {
            return found;
        }
        let corners = found.pieces.len().saturating_sub(1);
        let mut pieces = found.pieces;
        if closed {
            // begun with the longest: where it is opened no corner is
            let longest =
                (0..pieces.len()).max_by(|&a, &b| pieces[a].length().total_cmp(&pieces[b].length()));
            pieces.rotate_left(longest.unwrap_or(0));
        }
        // where a piece ends that is not joined to the next, a kink stays
        let kink_at = |end: Option<Point>| {
            let end = end?;
            found.kinks.iter().copied().min_by(|a, b| a.dist(end).total_cmp(&b.dist(end)))
        };
        let mut out = Fit::default();
        for piece in pieces {
            let Some(last) = out.pieces.last_mut() else {
                out.pieces.push(piece);
                continue;
            };
            if let Some(path) = self.joined(last, &piece) {
                *last = path;
            } else {
                out.kinks.extend(kink_at(last.end()));
                out.pieces.push(piece);
            }
        }
        match out.pieces.as_slice() {
            [one] if closed => match self.closed_up(one) {
                Some(path) => return Fit { pieces: vec![path], kinks: Vec::new() },
                None => out.kinks.extend(kink_at(one.end())),
            },
            [first, .., last] if closed => match self.joined(last, first) {
                Some(path) => {
                    out.pieces.pop();
                    out.pieces[0] = path;
                }
                None => out.kinks.extend(kink_at(last.end())),
            },
            // before its first point or behind its last one
            [_] if corners == 0 => out.kinks = found.kinks,
            _ => {}
        }
        out
    }

    /// A curve from a place near the end of `a` to one near the start of `b`:
    /// lengths cut off each, and the curve.
    fn swing(self, a: &Path, b: &Path) -> Option<(f64, f64, Path)> {
        let (end, start) = (a.end()?, b.start()?);
        // pieces that do not nearly meet have no corner between them
        if end.dist(start) > 2.5 * self.radius {
            return None;
        }
        let (la, lb) = (a.length(), b.length());
        let least = self.radius + RADIUS_MARGIN_MM;
        for s in SWINGS {
            for (u, v) in [(s, s), (s, 0.5 * s), (0.5 * s, s)] {
                let (u, v) = (u * self.radius, v * self.radius);
                if u > 0.8 * la || v > 0.8 * lb {
                    continue;
                }
                let (u, v) = (la - a.cut_at(la - u), b.cut_at(v));
                let (p, t) = (a.point_at(la - u)?, a.tangent_at(la - u)?);
                let (q, w) = (b.point_at(v)?, b.tangent_at(v)?);
                let inside = Ends::new((p, t), (q, w))
                    .and_then(|ends| SHARES.iter().find_map(|&share| ends.joined(share, least)))
                    .map(|c| path_of(&[c], false));
                if let Some(path) = inside.filter(|c| (self.free)(c)) {
                    return Some((u, v, path));
                }
            }
        }
        // wide: where the legs are straight the middle circle touches the corner
        // when the outer ones leave them R (sqrt(4 - (1 + cos a)^2) + sin a) before
        // it, a half the turn; further out it keeps clear of the corner
        let tau = a.tangent_at(la)?.turn_to(b.tangent_at(0.0)?);
        let (sin, cos) = trig::sin_cos(0.5 * tau.abs());
        let touching = least * ((4.0 - (1.0 + cos) * (1.0 + cos)).max(0.0).sqrt() + sin);
        let short = if cos > 0.05 { 0.5 * end.dist(start) / cos } else { 0.0 };
        if self.lean
            && let Some(found) = self.leaning(a, b, tau, short)
        {
            return Some(found);
        }
        for more in WIDER {
            let s = touching - short + more * least;
            if s <= 0.0 || s > 0.8 * la || s > 0.8 * lb {
                continue;
            }
            let (u, v) = (la - a.cut_at(la - s), b.cut_at(s));
            let (p, t) = (a.point_at(la - u)?, a.tangent_at(la - u)?);
            let (q, w) = (b.point_at(v)?, b.tangent_at(v)?);
            if let Some(path) = wide(p, t, q, w, least, tau.signum()).filter(|c| (self.free)(c)) {
                return Some((u, v, path));
            }
        }
        None
    }

    /// A swing wide round a corner between a leg with little room and one with more, all of it
    /// on the side of that one: in a neck it would stand in the way of what passes there.
    fn leaning(self, a: &Path, b: &Path, tau: f64, short: f64) -> Option<(f64, f64, Path)> {
        let least = self.radius + RADIUS_MARGIN_MM;
        let (la, lb) = (a.length(), b.length());
        let side = -tau.signum();
        let before = self.room_beside(a.point_at((la - least).max(0.0))?, a.tangent_at(la)?.left() * side);
        let behind = self.room_beside(b.point_at(least.min(lb))?, b.tangent_at(0.0)?.left() * side);
        if before.min(behind) >= NARROW {
            return None;
        }
        let onto_b = match () {
            () if behind > BROADER * before => true,
            () if before > BROADER * behind => false,
            () => return None,
        };
        // where the middle arc begins at the corner, the last one ends R (sin a + sqrt(sin^2 a +
        // 2 (1 - cos a))) behind it, a the turn
        let (sin, cos) = trig::sin_cos(tau.abs());
        let far = least * (sin + (sin * sin + 2.0 * (1.0 - cos)).sqrt()) - short;
        for near in LEANING {
            for more in WIDER {
                let (near, far) = (near * least, far + more * least);
                let (u, v) = if onto_b { (near, far) } else { (far, near) };
                if u > 0.8 * la || v > 0.8 * lb {
                    continue;
                }
                let (u, v) = (la - a.cut_at(la - u), b.cut_at(v));
                let (p, t) = (a.point_at(la - u)?, a.tangent_at(la - u)?);
                let (q, w) = (b.point_at(v)?, b.tangent_at(v)?);
                if let Some(path) = wide(p, t, q, w, least, tau.signum()).filter(|c| (self.free)(c)) {
                    return Some((u, v, path));
                }
            }
        }
        None
    }

    /// How far a line may go from a place to one side, in radii, up to where that is not narrow.
    fn room_beside(self, from: Point, to: Point) -> f64 {
        let has_room = |far: &f64| {
            let line = Segment::Line { from, to: from + to * (far * self.radius) };
            (self.free)(&Path::new(vec![line], false))
        };
        (1..=ROOM_STEPS)
            .map(|k| NARROW * f64::from(k) / f64::from(ROOM_STEPS))
            .take_while(has_room)
            .last()
            .unwrap_or(0.0)
    }

    fn joined(self, a: &Path, b: &Path) -> Option<Path> {
        let (u, v, curve) = self.swing(a, b)?;
        let mut path = a.split(a.length() - u).0;
        path.segments.extend(curve.segments);
        path.segments.extend(b.split(v).1.segments);
        sound(path, self.radius)
    }

    fn closed_up(self, a: &Path) -> Option<Path> {
        let (u, v, curve) = self.swing(a, a)?;
        let mut path = a.between(v, a.length() - u);
        path.segments.extend(curve.segments);
        path.closed = true;
        sound(path, self.radius)
    }
}

/// Three arcs of one radius from `p` along `t` to `q` along `w`: first against the
/// turn's sense, then with it, then against it again: a swing wide round a corner.
/// Dubins, *On curves of minimal length with a constraint on average curvature*,
/// Amer. J. Math. 79 (1957) 497-516 (from memory), family CCC; differs in that the
/// middle arc is the short one. `sense` is +1 for a turn to the left.
fn wide(p: Point, t: Point, q: Point, w: Point, radius: f64, sense: f64) -> Option<Path> {
    let (c1, c3) = (p - t.left() * (sense * radius), q - w.left() * (sense * radius));
    let half = (c3 - c1) * 0.5;
    let (d, along) = (half.norm(), half.normalised()?);
    if d >= 2.0 * radius || d < 1e-6 {
        return None;
    }
    // of the two middle circles the one whose short side faces the outer two
    let c2 = c1 + half + along.left() * (sense * (4.0 * radius * radius - d * d).sqrt());
    let (m1, m2) = (c1.lerp(c2, 0.5), c3.lerp(c2, 0.5));
    let arc = |from: Point, to: Point, centre: Point, ccw: bool| Arc { from, to, centre, ccw };
    let arcs = [arc(p, m1, c1, sense < 0.0), arc(m1, m2, c2, sense > 0.0), arc(m2, q, c3, sense < 0.0)];
    // the run-ins are short; the middle turns by the corner and both of them
    if arcs[0].sweep() > 1.6 || arcs[1].sweep() > 3.3 || arcs[2].sweep() > 1.6 {
        return None;
    }
    let segments: Vec<Segment> = arcs.into_iter().filter(|a| a.length() > 1e-6).map(Segment::Arc).collect();
    Some(Path::new(segments, false))
}

/// What does not meet exactly is not joined.
fn sound(path: Path, radius: f64) -> Option<Path> {
    let n = path.segments.len();
    let joints = if path.closed { n } else { n.checked_sub(1)? };
    let met = (0..joints).all(|i| path.segments[i].to().dist(path.segments[(i + 1) % n].from()) < 1e-6);
    (met && path.min_radius() >= radius && path.worst_joint() < 1.5e-3).then_some(path)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::pt;

    const DEVIATION: f64 = 0.02;

    fn corners(radius: f64, free: &dyn Fn(&Path) -> bool) -> Corners<'_> {
        Corners { radius, lean: false, free }
    }

    fn assert_legal(path: &Path, radius: f64) {
        assert!(path.min_radius() >= radius, "radius {} below {radius}", path.min_radius());
        assert!(path.worst_joint() < 1e-3, "a joint turns by {} rad", path.worst_joint());
        for (a, b) in path.segments.iter().zip(path.segments.iter().skip(1)) {
            assert!(a.to().dist(b.from()) < 1e-9, "the path is torn");
        }
    }

    #[test]
    fn a_corner_is_passed_in_a_bend_of_the_radius() {
        // three sides of a square; closed form: each right angle cuts R to 2 R off
        // both sides
        let points = [pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 40.0), pt(0.0, 40.0)];
        let open = eased(&points, false, DEVIATION, corners(5.0, &|_| true));
        assert_eq!(open.pieces.len(), 1, "{open:?}");
        assert_legal(&open.pieces[0], 5.0);
        let least = 120.0 - 2.0 * (2.0 - std::f64::consts::FRAC_PI_2) * 8.1;
        assert!(open.pieces[0].length() > least, "{}", open.pieces[0].length());
        let ring = eased(&points, true, DEVIATION, corners(5.0, &|_| true));
        assert_eq!(ring.pieces.len(), 1, "{ring:?}");
        assert!(ring.pieces[0].closed, "round all four corners");
        assert_legal(&ring.pieces[0], 5.0);
    }

    #[test]
    fn the_kink_told_is_the_corner_that_was_not_passed() {
        let points = [pt(0.0, 0.0), pt(40.0, 0.0), pt(40.0, 40.0), pt(0.0, 40.0)];
        for blocked in points {
            // the widest bend inside a right angle keeps 4 R (sqrt 2 - 1) = 8.3 mm from it
            let clear = |p: &Path| p.flatten(0.01).iter().all(|q| q.dist(blocked) > 12.0);
            for closed in [false, true] {
                let passed = !closed && (blocked == points[0] || blocked == points[3]);
                let fit = eased(&points, closed, DEVIATION, corners(5.0, &clear));
                assert_eq!(fit.pieces.len(), if passed || closed { 1 } else { 2 }, "{blocked:?}: {fit:?}");
                assert_eq!(fit.kinks.len(), usize::from(!passed), "{blocked:?}: {fit:?}");
                assert!(fit.kinks.iter().all(|k| k.dist(blocked) < 2.0), "{blocked:?}: {:?}", fit.kinks);
            }
        }
    }

    #[test]
    fn a_swing_that_leans_leaves_a_neck_free_and_keeps_to_the_corner() {
        // out of a neck 4 mm wide round a square corner into the open, and the other way
        let points = [pt(-40.0, 0.0), pt(0.0, 0.0), pt(0.0, 40.0)];
        let back = [points[2], points[1], points[0]];
        let room = |p: Point| (p.x < 0.0 && p.y < 0.01 && p.y > -4.0) || (p.x > -0.01 && p.y < 40.1);
        let free = |path: &Path| path.flatten(0.002).iter().all(|p| room(*p));
        let dip = |path: &Path| {
            let line = path.flatten(0.002);
            line.iter().filter(|p| p.x < -1e-3).map(|p| -p.y).fold(0.0, f64::max)
        };
        for points in [points, back] {
            let [straight, leaning] = [false, true].map(|lean| {
                let fit = eased(&points, false, DEVIATION, Corners { lean, ..corners(4.0, &free) });
                assert!(fit.kinks.is_empty(), "{lean}: {:?}", fit.kinks);
                assert_legal(&fit.pieces[0], 4.0);
                fit.pieces[0].clone()
            });
            assert!(dip(&straight) > 0.8, "{} mm into the neck", dip(&straight));
            assert!(dip(&leaning) < 0.05, "{} mm into the neck", dip(&leaning));
            // closed form: R (1 + sqrt 3) behind the corner it is back on its leg
            let line = leaning.flatten(0.002);
            let off = line.iter().filter(|p| p.x > 1e-3).map(|p| p.y).fold(0.0, f64::max);
            assert!((off - 4.0 * (1.0 + 3f64.sqrt())).abs() < 0.3, "{off} mm behind the corner");
        }
        // where both legs have room it stays as it was
        let open = |p: &Path| p.flatten(0.002).iter().all(|p| p.x > -0.01 || p.y < 0.01);
        let both = [false, true].map(|lean| {
            eased(&points, false, DEVIATION, Corners { lean, ..corners(4.0, &open) }).pieces[0].length()
        });
        assert!((both[0] - both[1]).abs() < 1e-9, "{both:?}");
    }

    #[test]
    fn corners_at_both_ends_of_a_short_leg_are_passed_whichever_comes_first() {
        // a foot whose upright edges are shorter than a bend: on one side the square corner
        // comes after the blunt one, on the other before it
        let foot = [pt(0.0, 0.0), pt(70.0, 0.0), pt(70.0, 5.0), pt(62.0, 50.0), pt(8.0, 50.0), pt(0.0, 5.0)];
        let found = eased(&foot, true, DEVIATION, corners(8.0, &|_| true));
        let again = eased_again(found.clone(), true, corners(8.0, &|_| true));
        assert!(again.kinks.is_empty(), "{:?} after {:?}", again.kinks, found.kinks);
        let [ring] = again.pieces.as_slice() else { panic!("{} pieces", again.pieces.len()) };
        assert!(ring.closed, "round all corners");
        assert_legal(ring, 8.0);
        assert_eq!(found.kinks.len(), 1, "the first time one is met with too short a leg: {:?}", found.kinks);
    }

    #[test]
    fn a_corner_is_passed_though_a_joint_lies_hardly_beside_where_it_begins() {
        let line = |from, to| Segment::Line { from, to };
        let corner = pt(40.0, 0.0);
        let b = Path::new(vec![line(corner, pt(40.0, 40.0))], false);
        let free = |_: &Path| true;
        let past = corners(5.0, &free);
        let plain = past.joined(&Path::new(vec![line(pt(0.0, 0.0), corner)], false), &b).expect("passed");
        for off in [-5e-4, 0.0, 5e-4] {
            let joint = pt(plain.segments[0].to().x + off, 0.0);
            let a = Path::new(vec![line(pt(0.0, 0.0), joint), line(joint, corner)], false);
            let found = past.joined(&a, &b).expect("passed, too");
            assert_legal(&found, 5.0);
            assert!((found.length() - plain.length()).abs() < 5e-3, "{off}: {} mm", found.length());
        }
    }

    #[test]
    fn a_solid_corner_is_passed_wide() {
        // the solid lies inside the corner: x > 0, y > 0 from (0, 0) on
        let points = [pt(0.0, 40.0), pt(0.0, 0.0), pt(40.0, 0.0)];
        let outside = |p: &Path| p.flatten(0.01).iter().all(|p| p.x < 1e-3 || p.y < 1e-3);
        let fit = eased(&points, false, DEVIATION, corners(5.0, &outside));
        assert_eq!(fit.pieces.len(), 1, "{fit:?}");
        assert_legal(&fit.pieces[0], 5.0);
        // closed form: the middle circle touches the corner, its centre R / sqrt 2
        // inside both legs, the outer ones R outside: they leave the legs
        // R (sqrt(4 - (1 + 1 / sqrt 2)^2) - 1 / sqrt 2) = 0.335 R before it
        let line = fit.pieces[0].flatten(0.001);
        let depth = line.iter().map(|p| (-p.x).max(-p.y)).fold(0.0, f64::max);
        assert!(depth > 0.2 && depth < 5.0, "swings out by {depth}");
    }
}
