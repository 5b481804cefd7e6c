//! How well a region is served in a layer: cover, gaps, overlap, directions,
//! bends, ends.

use super::Course;
use crate::geom::nearest::Lines;
use crate::geom::{Area, Point, Segment, combine, hatch, offset, trig};
use std::f64::consts::FRAC_PI_2;

/// Figures of one region in one layer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RegionQuality {
    /// Name of the region.
    pub region: String,
    /// Layer number.
    pub layer: usize,
    /// Where strips of this region may lie, mm2: its shape inside the perimeters, as
    /// deep as the courses asked for go, less what regions before it took.
    pub layable_mm2: f64,
    /// Of that, under this region's strips, mm2.
    pub covered_mm2: f64,
    /// Of that, what some strip that the rule allows can touch at all, mm2: the
    /// area opened by half the width, less islands whose middle line is too
    /// short for one piece; of rows in one direction also less what no row long
    /// enough for a piece, and no turn of the bend radius between two rows, passes.
    pub reachable_mm2: f64,
    /// Strips over strips, of this region and of those before it, mm2.
    pub overlap_mm2: f64,
    /// Bare places at least as large as a square of the tow's width, the
    /// largest first, at most [`MOST_GAPS`].
    pub gaps: Vec<Gap>,
    /// All bare places of that size: how many.
    pub gap_count: usize,
    /// Angle between tow and the direction asked for; `None` where none is.
    pub angle: Option<AngleDeviation>,
    /// Radii of the bends; `None` where all courses are straight.
    pub bends: Option<Bends>,
    /// Courses: as many cuts, twice as many ends.
    pub courses: usize,
    /// Of these, closed ones.
    pub closed: usize,
    /// And such as were wound from closed ones.
    pub spirals: usize,
    /// Tow laid, mm.
    pub length_mm: f64,
    /// Longest course, mm.
    pub longest_mm: f64,
    /// Shortest course, mm.
    pub shortest_mm: f64,
    /// Tow asked for and not laid, mm.
    pub given_up_mm: f64,
    /// Strain at the tow's edge in its tightest bend, width / (2 radius).
    pub edge_strain: f64,
    /// How far trailing tow lies off the line wanted at most, its ends counted, mm; 0
    /// where it does not trail.
    pub trail_off_mm: f64,
}

/// A bare place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Where it is broadest, or nearly, mm.
    pub at_mm: [f64; 2],
    /// Its size, mm2.
    pub area_mm2: f64,
    /// Its mean width, 2 area / perimeter, mm.
    pub width_mm: f64,
}

/// Length-weighted angle between tow and the direction asked for, degrees, 0 to 90.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct AngleDeviation {
    /// Mean.
    pub mean_deg: f64,
    /// Of 95 % of the tow it is at most this.
    pub p95_deg: f64,
    /// Largest.
    pub worst_deg: f64,
    /// Where it is largest, mm.
    pub worst_at_mm: [f64; 2],
}

/// Bend radii by length of tow, mm. Straights count as infinite, and so do bends of more than
/// 10 m. Of tow that trails its nozzle all but the tightest are those of the line that it is
/// wanted on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bends {
    /// Tightest, as the tow comes to lie.
    pub least_mm: f64,
    /// Of the bent tow one tenth is bent at least as tightly.
    pub p10_mm: f64,
    /// Half of the bent tow.
    pub median_mm: f64,
    /// Share of the tow that is bent.
    pub bent_share: f64,
}

/// Gaps told by place; more would not be read.
pub const MOST_GAPS: usize = 5;

/// What a region was given and what it laid.
pub(super) struct Served<'a> {
    pub(super) region: &'a str,
    pub(super) layable: &'a Area,
    pub(super) strips: &'a [Area],
    pub(super) courses: &'a [Course],
    pub(super) width: f64,
    pub(super) spacing: f64,
    /// What the rule can reach of it at most.
    pub(super) reachable: &'a Area,
    pub(super) given_up_mm: f64,
}

/// About the place of an area that is furthest from its edge: of the middles of what lines
/// across have inside it.
fn deepest(area: &Area) -> Option<Point> {
    const LINES: f64 = 24.0;
    let edge = Lines::boundary(area);
    let size = area.bounds()?.size();
    let across = if size.y >= size.x { 0.0 } else { FRAC_PI_2 };
    let pitch = size.x.max(size.y) / LINES;
    let lines = hatch::rows_amid(area, across, pitch);
    let middles = lines
        .iter()
        .flat_map(|l| l.spans.iter().map(|(a, b)| hatch::to_plane(0.5 * (a + b), l.offset, across)));
    let depth = |p: &Point| edge.distance(*p);
    let found = middles.max_by(|p, q| depth(p).total_cmp(&depth(q)));
    found.or_else(|| area.polygons().first()?.outer().first().copied())
}

/// Measures a region by itself; gives also what its strips cover. `direction` gives
/// the angle asked for at a point, radians.
pub(super) fn measure(
    served: &Served<'_>,
    direction: Option<&dyn Fn(Point) -> f64>,
) -> (RegionQuality, Area) {
    let s = served;
    let lengths = || s.courses.iter().map(Course::length_mm);
    let length_mm: f64 = lengths().sum::<f64>() + 0.0;
    let mine = combine::union_all(s.strips);
    let each: f64 = s.strips.iter().map(Area::area).sum();
    let bare = combine::difference(s.layable, &mine);
    let layable_mm2 = s.layable.area();
    let covered_mm2 = layable_mm2 - bare.area();
    // what is covered was reached, whatever bound rows looked at one by one give: out of
    // reach is what is bare and outside the bound
    let out_of_reach_mm2 = combine::difference(&bare, s.reachable).area();
    // what stays between rows laid apart on purpose is no gap
    let closed = if s.spacing > 1.02 * s.width {
        offset::opened(&bare, 0.5 * (s.spacing - s.width) + 0.05 * s.width, 0.02)
    } else {
        bare
    };
    let mut bare: Vec<(f64, Area)> = closed.split().map(|a| (a.area(), a)).collect();
    bare.retain(|(area, _)| *area >= s.width * s.width);
    let gap_count = bare.len();
    // of equals the one further left
    let left = |a: &Area| a.bounds().map_or(0.0, |b| b.lo.x);
    bare.sort_by(|(s, a), (t, b)| t.total_cmp(s).then(left(a).total_cmp(&left(b))));
    bare.truncate(MOST_GAPS);
    let gap = |(area_mm2, a): &(f64, Area)| {
        let at = deepest(a)?;
        Some(Gap {
            at_mm: [at.x, at.y],
            area_mm2: *area_mm2,
            width_mm: 2.0 * area_mm2 / a.perimeter().max(1e-9),
        })
    };
    let gaps: Vec<Gap> = bare.iter().filter_map(gap).collect();
    let tightest = s.courses.iter().map(Course::least_radius_mm).fold(f64::INFINITY, f64::min);
    let quality = RegionQuality {
        region: s.region.to_string(),
        layer: 0,
        layable_mm2,
        covered_mm2,
        reachable_mm2: layable_mm2 - out_of_reach_mm2,
        overlap_mm2: (each - mine.area()).max(0.0),
        gaps,
        gap_count,
        angle: direction.and_then(|d| deviation(s.courses, d)),
        bends: bends(s.courses).map(|b| {
            let least = if tightest.is_finite() { tightest } else { b.least_mm };
            Bends { least_mm: least, p10_mm: b.p10_mm.max(least), median_mm: b.median_mm.max(least), ..b }
        }),
        courses: s.courses.len(),
        closed: s.courses.iter().filter(|c| c.wanted().closed).count(),
        spirals: s.courses.iter().filter(|c| c.is_spiral()).count(),
        length_mm,
        longest_mm: lengths().fold(0.0, f64::max),
        shortest_mm: if s.courses.is_empty() { 0.0 } else { lengths().fold(f64::INFINITY, f64::min) },
        given_up_mm: s.given_up_mm,
        trail_off_mm: s
            .courses
            .iter()
            .filter_map(|c| c.trail.as_ref())
            .map(super::Trail::off_anywhere_mm)
            .fold(0.0, f64::max),
        edge_strain: if tightest.is_finite() { 0.5 * s.width / tightest } else { 0.0 },
    };
    (quality, mine)
}

/// Joins what the regions of a layer cover, in the order in which they were laid, and
/// counts for each what it shares with those before it.
pub(super) fn joined(covered: &[Area], quality: &mut [RegionQuality]) -> Area {
    let all = combine::union_all(covered);
    // areas of a union and its parts: what lies in more than one, as a rule nothing
    let shared = covered.iter().map(Area::area).sum::<f64>() - all.area();
    if shared > SHARED_MM2 {
        let mut before = Area::empty();
        for (mine, quality) in covered.iter().zip(quality) {
            let both = combine::union(&before, mine);
            quality.overlap_mm2 += (before.area() + mine.area() - both.area()).max(0.0);
            before = both;
        }
    }
    all
}

/// Overlap in a whole layer that is nothing but rounding, mm2.
const SHARED_MM2: f64 = 1e-3;

/// Step at which bent tow is looked at, mm.
const STEP_MM: f64 = 0.5;

fn deviation(courses: &[Course], direction: &dyn Fn(Point) -> f64) -> Option<AngleDeviation> {
    let mut samples: Vec<(f64, f64)> = Vec::new();
    let mut worst = (-1.0, Point::default());
    for segment in courses.iter().flat_map(|c| &c.wanted().segments) {
        let length = segment.length();
        let n = (length / STEP_MM).ceil().max(1.0);
        let mut k = 0.5;
        while k < n {
            let s = length * k / n;
            let (p, t) = (segment.point_at(s), segment.tangent_at(s));
            let off = (trig::atan2(t.y, t.x) - direction(p)).rem_euclid(std::f64::consts::PI);
            let off = off.min(std::f64::consts::PI - off).to_degrees();
            samples.push((off, length / n));
            if off > worst.0 + 1e-9 {
                worst = (off, p);
            }
            k += 1.0;
        }
    }
    let total: f64 = samples.iter().map(|s| s.1).sum();
    if total <= 0.0 {
        return None;
    }
    samples.sort_by(|a, b| a.0.total_cmp(&b.0));
    Some(AngleDeviation {
        mean_deg: samples.iter().map(|(a, l)| a * l).sum::<f64>() / total,
        p95_deg: at_share(&samples, 0.95),
        worst_deg: worst.0,
        worst_at_mm: [worst.1.x, worst.1.y],
    })
}

/// The value below which a share of the weight lies; values in order.
fn at_share(sorted: &[(f64, f64)], share: f64) -> f64 {
    let total: f64 = sorted.iter().map(|s| s.1).sum();
    let mut sum = 0.0;
    for (value, weight) in sorted {
        sum += weight;
        if sum >= share * total {
            return *value;
        }
    }
    sorted.last().map_or(0.0, |s| s.0)
}

/// Radius from which on tow is as good as straight, mm: over 50 mm it is 0.03 mm off the line
/// between its ends, and its edges are strained by a ten-thousandth at most. Arcs that only
/// stand for a straight side have such radii.
const STRAIGHT_MM: f64 = 10_000.0;

fn bends(courses: &[Course]) -> Option<Bends> {
    let mut bent: Vec<(f64, f64)> = courses
        .iter()
        .flat_map(|c| &c.wanted().segments)
        .filter(|s| s.radius() < STRAIGHT_MM)
        .map(|s| (s.radius(), s.length()))
        .collect();
    bent.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = courses.iter().flat_map(|c| &c.wanted().segments).map(Segment::length).sum();
    let share: f64 = bent.iter().map(|b| b.1).sum();
    Some(Bends {
        least_mm: bent.first()?.0,
        p10_mm: at_share(&bent, 0.1),
        median_mm: at_share(&bent, 0.5),
        bent_share: share / total.max(1e-9),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Arc, Path, pt, smooth};
    use crate::job::Rule;

    #[test]
    fn arcs_that_stand_for_straight_sides_are_no_bends() {
        // 80 mm along a side, once as an arc of a kilometre, then a bend of 20 mm
        let arc = |from: Point, along: Point, radius: f64, length: f64| {
            let centre = from + along.left() * radius;
            let to = centre + (from - centre).turned(length / radius);
            Segment::Arc(Arc { from, to, centre, ccw: true })
        };
        let gentle = arc(Point::default(), pt(1.0, 0.0), 1e6, 80.0);
        let bend = arc(gentle.to(), gentle.tangent_at(80.0), 20.0, 20.0);
        let course = |segments: Vec<Segment>| {
            let path = Path::new(segments, false);
            Course::new("side".into(), Rule::Contour, 0, path, 5.0, 20.0).expect("a course")
        };
        assert_eq!(bends(&[course(vec![gentle])]), None, "straight");
        let told = bends(&[course(vec![gentle, bend])]).expect("a bend");
        assert!((told.bent_share - 0.2).abs() < 1e-6, "{told:?}");
        for radius in [told.least_mm, told.p10_mm, told.median_mm] {
            assert!((radius - 20.0).abs() < 1e-6, "{told:?}");
        }
    }

    #[test]
    fn a_gap_is_told_where_it_is_broad() {
        // a disc near the end of a long seam, either way
        for along in [0.0, FRAC_PI_2] {
            let seam = offset::strip(&[Point::default(), Point::unit(along) * 80.0], 0.05, false, 0.01);
            let disc = smooth::disc(Point::unit(along) * 70.0, 3.0, 0.01);
            let at = deepest(&combine::union_all(&[seam, disc])).expect("a place");
            assert!(at.dist(Point::unit(along) * 70.0) < 2.0, "{at:?}");
        }
    }
}
