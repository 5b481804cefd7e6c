//! A course: lines and arcs joined tangentially, none tighter than the minimum
//! radius, long enough to be cut and laid.

use crate::geom::leading::Led;
use crate::geom::tractrix;
use crate::geom::{Path, Point};
use crate::job::Rule;
use crate::reinforcement::Reason;

/// One uncut run of tow. Made only by [`Course::new`], which refuses a bend
/// below the minimum radius, a joint that is not tangential, and a piece too
/// short to cut: later stages never ask again. The way along which one is drawn
/// whose tow trails has been through it too, or is its own.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    /// Name of the region that it belongs to.
    pub region: String,
    /// The rule that laid it.
    pub rule: Rule,
    /// Place of its region among the map's by priority, 0 first.
    pub rank: usize,
    path: Path,
    /// Where the tow comes to lie, where that is not where the nozzle goes.
    pub trail: Option<Trail>,
    /// The same course from its other end, where its tow trails and comes to lie on
    /// the line wanted that way too: not by the same way of the nozzle.
    pub(super) back: Option<Box<Course>>,
}

/// What becomes of a course whose tow trails the nozzle.
#[derive(Clone, Debug, PartialEq)]
pub struct Trail {
    /// How far it trails, mm.
    pub distance_mm: f64,
    /// The centre line that is wanted of the tow.
    pub wanted: Path,
    /// The centre line that follows from the nozzle's way.
    pub laid: Vec<Point>,
    /// Largest distance between the two up to the last stretch, mm.
    pub off_mm: f64,
    /// Largest distance of the last stretch, mm, which lies straight.
    pub end_off_mm: f64,
    /// Where the larger of the two is, mm.
    pub at_mm: [f64; 2],
    /// The tightest bend that the tow comes to lie in, mm; infinite where it lies straight.
    pub least_radius_mm: f64,
}

/// Why a path is no course.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CourseFault {
    /// No segments.
    Empty,
    /// Shorter than the printer can cut and lay.
    TooShort {
        /// Its length, mm.
        length_mm: f64,
        /// The shortest that can be laid, mm.
        shortest_mm: f64,
    },
    /// Bends tighter than allowed.
    TooTight {
        /// Its tightest radius, mm.
        radius_mm: f64,
        /// The least allowed, mm.
        least_mm: f64,
    },
    /// Two pieces do not meet, or meet at an angle.
    Joint {
        /// Where, mm.
        at: Point,
        /// Gap between the pieces, mm.
        gap_mm: f64,
        /// Angle between them, degrees.
        angle_deg: f64,
    },
}

impl std::fmt::Display for CourseFault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Empty => f.write_str("it has no length"),
            Self::TooShort { length_mm, shortest_mm } => {
                write!(
                    f,
                    "it is {length_mm:.1} mm long, the shortest that can be laid is {shortest_mm:.1} mm"
                )
            }
            Self::TooTight { radius_mm, least_mm } => {
                write!(f, "it bends with {radius_mm:.3} mm radius, the least is {least_mm:.3} mm")
            }
            Self::Joint { at, gap_mm, angle_deg } => write!(
                f,
                "at x {:.3} y {:.3} mm its pieces are {gap_mm:.4} mm apart and meet at {angle_deg:.3} degrees",
                at.x, at.y
            ),
        }
    }
}

/// Largest angle at a joint that counts as tangential, radians (0.1 degrees). An
/// arc flatter than 10 nm is written as a line and turns by less than this.
const JOINT_RAD: f64 = 1.8e-3;

/// Turns from which on an open course is a spiral: less goes round like a loop that is cut open.
const WOUND: f64 = 1.1;

/// Largest gap between two pieces, mm: rounding in the last digits only.
const GAP_MM: f64 = 1e-6;

impl Course {
    /// Checks a path and makes it a course.
    ///
    /// Errors: see [`CourseFault`].
    pub fn new(
        region: String,
        rule: Rule,
        rank: usize,
        path: Path,
        least_radius_mm: f64,
        shortest_mm: f64,
    ) -> Result<Self, CourseFault> {
        if path.segments.is_empty() {
            return Err(CourseFault::Empty);
        }
        let length_mm = path.length();
        if length_mm < shortest_mm {
            return Err(CourseFault::TooShort { length_mm, shortest_mm });
        }
        let radius_mm = path.min_radius();
        if radius_mm < least_radius_mm {
            return Err(CourseFault::TooTight { radius_mm, least_mm: least_radius_mm });
        }
        let n = path.segments.len();
        for i in 0..if path.closed { n } else { n - 1 } {
            let (a, b) = (&path.segments[i], &path.segments[(i + 1) % n]);
            let gap_mm = a.to().dist(b.from());
            let (t, u) = (a.tangent_at(a.length()), b.tangent_at(0.0));
            let angle = t.turn_to(u).abs();
            if gap_mm > GAP_MM || angle > JOINT_RAD {
                return Err(CourseFault::Joint { at: a.to(), gap_mm, angle_deg: angle.to_degrees() });
            }
        }
        Ok(Self { region, rule, rank, path, trail: None, back: None })
    }

    /// A course of the same region along another path, checked like any. How this one's tow
    /// trails is not taken over.
    ///
    /// Errors: see [`CourseFault`].
    pub(super) fn relaid(
        &self,
        path: Path,
        least_radius_mm: f64,
        shortest_mm: f64,
    ) -> Result<Self, CourseFault> {
        Self::new(self.region.clone(), self.rule, self.rank, path, least_radius_mm, shortest_mm)
    }

    /// The centre line wanted of the tow: the nozzle's way, unless the tow trails.
    pub fn wanted(&self) -> &Path {
        self.trail.as_ref().map_or(&self.path, |t| &t.wanted)
    }

    /// The nozzle's way: the centre line of a tow that does not trail. Round a closed
    /// course one that does is led from its start back to there by an open way.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Closed courses that were wound into one: it goes round more than once.
    pub fn is_spiral(&self) -> bool {
        let wanted = self.wanted();
        self.rule.closes() && !wanted.closed && wanted.turned().abs() >= WOUND * std::f64::consts::TAU
    }

    /// Length, mm.
    pub fn length_mm(&self) -> f64 {
        self.path.length()
    }

    /// The same course laid from its other end; `None` where its tow, which trails,
    /// would then lie elsewhere.
    pub fn reversed(&self) -> Option<Self> {
        if self.trail.is_none() {
            return Some(Self { path: self.path.reversed(), ..self.clone() });
        }
        self.back.as_deref().cloned()
    }

    /// The tightest bend of the tow as it lies, mm; infinite where it lies straight.
    pub fn least_radius_mm(&self) -> f64 {
        self.trail.as_ref().map_or_else(|| self.path.min_radius(), |t| t.least_radius_mm)
    }

    /// It has to be laid from its start: see [`Course::reversed`].
    pub fn one_way(&self) -> bool {
        self.trail.is_some() && self.back.is_none()
    }

    /// A closed course begun elsewhere along itself; an open one stays as it is, and so
    /// does one whose tow trails: it is begun first and led then.
    pub(super) fn restarted(&self, at_mm: f64) -> Self {
        Self { path: self.path.restarted(at_mm), ..self.clone() }
    }

    /// The same course drawn along another way, its own line the one wanted.
    pub(super) fn drawn(&self, distance_mm: f64, led: Led) -> Self {
        let Led { path, laid, off_mm, worst, end_off_mm, end_worst, .. } = led;
        let at = if end_off_mm > off_mm { end_worst } else { worst };
        let trail = Trail {
            distance_mm,
            wanted: self.wanted().clone(),
            laid,
            off_mm,
            end_off_mm,
            at_mm: [at.x, at.y],
            least_radius_mm: tractrix::tightest_bend(&path, distance_mm),
        };
        Self { path, trail: Some(trail), ..self.clone() }
    }
}

impl Trail {
    /// Largest distance of the tow from the line wanted, its last stretch counted, mm.
    pub fn off_anywhere_mm(&self) -> f64 {
        self.off_mm.max(self.end_off_mm)
    }

    /// Why a course is not laid, where its tow would lie further off than this, mm.
    pub(super) fn astray(&self, most_mm: f64) -> Option<Reason> {
        let off_mm = self.off_anywhere_mm();
        (off_mm > most_mm).then_some(Reason::Astray { off_mm })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Arc, Point, Segment, pt};

    fn course(segments: Vec<Segment>, closed: bool) -> Result<Course, CourseFault> {
        Course::new("test".into(), Rule::Contour, 0, Path::new(segments, closed), 5.0, 20.0)
    }

    #[test]
    fn planted_faults_are_refused() {
        let line = |x0: f64, x1: f64| Segment::Line { from: pt(x0, 0.0), to: pt(x1, 0.0) };
        assert!(course(vec![line(0.0, 25.0)], false).is_ok(), "a plain straight");
        assert!(matches!(course(vec![], false), Err(CourseFault::Empty)), "nothing");
        assert!(matches!(course(vec![line(0.0, 19.9)], false), Err(CourseFault::TooShort { .. })), "short");
        let bend =
            Segment::Arc(Arc { from: pt(25.0, 0.0), to: pt(29.9, 4.9), centre: pt(25.0, 4.9), ccw: true });
        assert!(
            matches!(course(vec![line(0.0, 25.0), bend], false), Err(CourseFault::TooTight { .. })),
            "tight"
        );
        let corner = Segment::Line { from: pt(25.0, 0.0), to: pt(25.0, 9.0) };
        assert!(
            matches!(course(vec![line(0.0, 25.0), corner], false), Err(CourseFault::Joint { .. })),
            "corner"
        );
        assert!(
            matches!(course(vec![line(0.0, 25.0), line(25.1, 40.0)], false), Err(CourseFault::Joint { .. })),
            "torn"
        );
        assert!(
            matches!(course(vec![line(0.0, 25.0)], true), Err(CourseFault::Joint { .. })),
            "a closed course ends where it began"
        );
    }

    #[test]
    fn what_an_end_leaves_counts_as_much_as_what_the_way_there_does() {
        // 3 mm of bend at the end of a straight: what lies last lies on its chord
        let (sin, cos) = crate::geom::trig::sin_cos(3.0 / 5.0);
        let (bend, end) = (pt(30.0, 0.0), pt(30.0 + 5.0 * sin, 5.0 - 5.0 * cos));
        let arc = Segment::Arc(Arc { from: bend, to: end, centre: pt(30.0, 5.0), ccw: true });
        let straight = Segment::Line { from: pt(0.0, 0.0), to: bend };
        let plain = course(vec![straight, arc], false).expect("legal");
        let led = crate::geom::leading::judged(plain.path(), plain.path().clone(), 3.0);
        let trail = plain.drawn(3.0, led).trail.expect("it trails");
        // drawn along in small steps; then the last 3 mm lie straight
        let mut tail = pt(0.0, 0.0);
        for k in 0..=33_000 {
            let nozzle = plain.path().point_at(1e-3 * f64::from(k)).expect("on the way");
            if nozzle.dist(tail) > 3.0 {
                tail = nozzle + (tail - nozzle) * (3.0 / nozzle.dist(tail));
            }
        }
        let off = |p: Point| if p.x < 30.0 { p.y.abs() } else { (p.dist(pt(30.0, 5.0)) - 5.0).abs() };
        let last = (0..=100).map(|k| off(tail.lerp(end, f64::from(k) / 100.0))).fold(0.0, f64::max);
        assert!((trail.end_off_mm - last).abs() < 0.02, "{} against {last}", trail.end_off_mm);
        assert!(trail.off_mm < 0.9 * trail.end_off_mm, "{} until then", trail.off_mm);
        assert!(trail.off_anywhere_mm() >= trail.end_off_mm);
        let between = 0.5 * (trail.off_mm + trail.end_off_mm);
        assert!(trail.astray(between).is_some(), "left out for its end");
        assert!(trail.astray(1.01 * trail.end_off_mm).is_none(), "laid where that much is borne");
    }
}
