//! Moves, layer by layer.

use super::route::{Stop, tour};
use super::{Laid, Move, Program};
use crate::diagnostic::Outcome;
use crate::fibre::LayerCourses;
use crate::geom::nearest::Lines;
use crate::geom::{Point, Segment};
use crate::job::{Head, Job};
use crate::matrix::{Bead, BeadKind, LayerBeads};
use crate::outline::Outline;

/// Turns courses and beads into the moves of the whole program.
///
/// In each layer the head that ended the layer below begins: so a stack of
/// layers needs one head change a layer. All copies are served before a change.
///
/// Errors: `bed-full`, `out-of-reach`.
pub fn order(
    job: &Job,
    outline: &Outline,
    courses: &[LayerCourses],
    beads: &[LayerBeads],
) -> Outcome<Program> {
    let placements = super::bed::placements(job, outline)?;
    let mut b = Builder {
        job,
        program: Program { placements, ..Program::default() },
        at: Point::default(),
        at_z: 0.0,
        top: f64::NAN,
        head: None,
    };
    let work: Vec<Vec<Head>> = courses.iter().zip(beads).map(|(c, b)| work(c, b)).collect();
    let turns = in_turn(&work);
    for (i, layer) in outline.layers.iter().enumerate() {
        let (Some(courses), Some(beads), Some(turns)) = (courses.get(i), beads.get(i), turns.get(i)) else {
            break;
        };
        b.z_top(layer.number, layer.z_top_mm());
        b.program.courses.push(Vec::new());
        for head in turns {
            match head {
                Head::Matrix => {
                    let laid = (turns[0] == Head::Fibre).then_some(courses);
                    b.matrix(beads, laid);
                }
                Head::Fibre => b.fibre(layer.number, courses),
            }
        }
    }
    if b.head.is_some() {
        // the end block finds the nozzle clear of the part: a hot nozzle that stands
        // just above it scorches it
        b.lift_away();
    }
    super::reach::check(job, &b.program)?;
    Ok(b.program)
}

/// The heads that a layer needs, the matrix head first.
fn work(courses: &LayerCourses, beads: &LayerBeads) -> Vec<Head> {
    let mut heads = Vec::new();
    if !beads.beads.is_empty() {
        heads.push(Head::Matrix);
    }
    if !courses.courses.is_empty() {
        heads.push(Head::Fibre);
    }
    heads
}

/// The heads of each layer in turn, of those that have work there: the one at work goes on,
/// which never costs a change that another order would save. The stack begins with the head
/// with which the fewest changes follow: the matrix head, unless the fibre head saves one.
pub fn in_turn(work: &[Vec<Head>]) -> Vec<Vec<Head>> {
    let from = |first: Head| -> Vec<Vec<Head>> {
        let layers = work.iter().scan(first, |at_work, heads| {
            let mut heads = heads.clone();
            if heads.last() == Some(at_work) {
                heads.reverse();
            }
            *at_work = heads.last().copied().unwrap_or(*at_work);
            Some(heads)
        });
        layers.collect()
    };
    let changes = |turns: &[Vec<Head>]| {
        let all: Vec<Head> = turns.iter().flatten().copied().collect();
        all.windows(2).filter(|w| w[0] != w[1]).count()
    };
    let [matrix, fibre] = [Head::Matrix, Head::Fibre].map(from);
    if changes(&fibre) < changes(&matrix) { fibre } else { matrix }
}

struct Builder<'a> {
    job: &'a Job,
    program: Program,
    /// Where the working nozzle is, xy.
    at: Point,
    /// Height now.
    at_z: f64,
    /// Top of the present layer.
    top: f64,
    head: Option<Head>,
}

/// The matrix head hops without a lift at most this far, in widths of the job's beads:
/// from row to row and round their ends, where it meets nothing but its own beads.
const LONGEST_HOP: f64 = 3.0;

/// How deep a hop may reach over the edge of laid tow, mm: from one bead that
/// laps onto it to the next. The nozzle is wider than that while it lays them.
const LAP_MM: f64 = 0.05;

/// How far the lines that stand for courses may leave them, mm.
const CHORD_MM: f64 = 0.01;

/// Height above the last layer at which the end block finds the nozzle, mm.
pub(super) const AWAY_MM: f64 = 30.0;

/// Tow that lies in the present layer.
struct Tow {
    lines: Lines,
    half_width_mm: f64,
}

impl Tow {
    /// Of a layer's courses, and of the same as they were put in order: tow that trails
    /// lies elsewhere when it is laid from its other end.
    fn of(courses: &LayerCourses, ordered: &[Laid], width_mm: f64) -> Self {
        let mut lines = Lines::default();
        for c in courses.courses.iter().filter(|c| c.trail.is_none()) {
            lines.add(&c.path().flatten(CHORD_MM));
        }
        for trail in ordered.iter().filter_map(|l| l.course.trail.as_ref()) {
            lines.add(&trail.laid);
        }
        Self { lines, half_width_mm: 0.5 * width_mm }
    }

    /// A short straight way meets no tow.
    fn clear(&self, from: Point, to: Point) -> bool {
        !self.lines.nearer(from, to, self.half_width_mm - LAP_MM)
    }
}

/// Travels shorter than this are no travels, mm.
const SAME_PLACE_MM: f64 = 1e-4;

impl Builder<'_> {
    fn push(&mut self, m: Move) {
        self.program.moves.push(m);
    }

    fn z_top(&mut self, number: usize, z_mm: f64) {
        self.top = z_mm;
        self.push(Move::Layer { number, z_mm });
    }

    /// The nozzle is at a height; false where its height is not known.
    fn is_at(&self, z: f64) -> bool {
        (self.at_z - z).abs() <= 1e-9
    }

    fn lift(&mut self) {
        let up = self.top + self.job.printer.clearance.travel_lift_mm;
        if !self.is_at(up) {
            self.push(Move::Z(up));
            self.at_z = up;
        }
    }

    /// Lifts well clear of the part, as far as the head reaches.
    fn lift_away(&mut self) {
        self.lift();
        let Some(head) = self.head else { return };
        let up = self.job.printer.head(head).reach_mm[2][1].min(self.top + AWAY_MM);
        if up > self.at_z {
            self.push(Move::Z(up));
            self.at_z = up;
        }
    }

    /// Lifts so far that the other nozzle, at the same carriage height, clears
    /// the part too.
    fn lift_for_change(&mut self, old: Head, new: Head) {
        self.lift();
        let offset = |h: Head| self.job.printer.head(h).offset_mm[2];
        let lower = offset(old) - offset(new);
        // whoever applies offsets: the carriage stays where it is, and the other nozzle works
        if lower > 0.0 {
            self.at_z += lower;
            self.push(Move::Z(self.at_z));
        }
    }

    fn lower(&mut self) {
        if !self.is_at(self.top) {
            self.push(Move::Z(self.top));
            self.at_z = self.top;
        }
    }

    /// Goes to a place above what is laid, and down there.
    fn travel(&mut self, to: Point) {
        self.lift();
        self.push(Move::Travel(to));
        self.at = to;
        self.lower();
    }

    fn select(&mut self, head: Head) {
        if self.head == Some(head) {
            return;
        }
        if let Some(old) = self.head {
            self.lift_for_change(old, head);
        }
        self.push(Move::Select(head));
        let temperature_c = self.job.temperature_c(head);
        self.push(Move::HeatWait { head, temperature_c });
        // where the nozzle of the other head is, nobody has said yet
        self.at = Point::new(f64::NAN, f64::NAN);
        self.at_z = f64::NAN;
        self.head = Some(head);
        if head == Head::Matrix && self.job.printer.purge.matrix_volume_mm3 > 0.0 {
            self.purge();
        }
    }

    fn purge(&mut self) {
        let p = self.job.printer.purge.clone();
        let from = Point::new(p.matrix_at_mm[0], p.matrix_at_mm[1]);
        let to = from + Point::new(p.matrix_line_mm, 0.0);
        self.push(Move::PurgeStart);
        self.travel(from);
        self.push(Move::Extrude { to, volume_mm3: p.matrix_volume_mm3 });
        self.at = to;
        self.lift();
        self.push(Move::PurgeEnd);
    }

    fn matrix(&mut self, beads: &LayerBeads, courses: Option<&LayerCourses>) {
        self.select(Head::Matrix);
        // tow that is laid later in this layer is not in the way
        let ordered = self.program.courses.last().map_or(&[][..], |laid| laid);
        let tow = courses.map(|c| Tow::of(c, ordered, self.job.tow.width_mm));
        for copy in 0..self.program.placements.len() {
            let origin = self.program.placements[copy];
            for kind in [BeadKind::Perimeter, BeadKind::Fill] {
                let chains = chains(&beads.beads, kind);
                let stops: Vec<Stop> = chains.iter().map(|c| stop(&beads.beads, c, origin)).collect();
                let start = if self.at.is_finite() { self.at } else { origin };
                for visit in tour(&stops, start) {
                    let mut chain = chains[visit.stop].clone();
                    if visit.reversed {
                        chain.reverse();
                    }
                    for i in chain {
                        let closed = beads.beads[i].closed;
                        // a closed bead is walked one way, from the point that is nearest
                        let (reversed, start) = if closed { (false, visit.at) } else { (visit.reversed, 0) };
                        let mark = Move::Bead { index: i, copy, reversed, start };
                        self.bead(&beads.beads[i], mark, origin, tow.as_ref());
                    }
                }
            }
        }
    }

    /// Lays a bead, walked as its mark says.
    fn bead(&mut self, bead: &Bead, mark: Move, origin: Point, tow: Option<&Tow>) {
        let Move::Bead { reversed, start, .. } = mark else { return };
        let mut points: Vec<Point> = bead.points.clone();
        if bead.closed {
            points.rotate_left(start);
            points.push(points[0]);
        } else if reversed {
            points.reverse();
        }
        let Some(&first) = points.first() else { return };
        let from = first + origin;
        let hop = if self.at.is_finite() { self.at.dist(from) } else { f64::INFINITY };
        if hop > SAME_PLACE_MM {
            // a short hop that stays clear of tow needs no lift
            let short = hop < LONGEST_HOP * self.job.beads.bead_width_mm && self.is_at(self.top);
            if short && tow.is_none_or(|t| t.clear(self.at - origin, from - origin)) {
                self.push(Move::Travel(from));
                self.at = from;
            } else {
                self.travel(from);
            }
        } else {
            self.lower();
        }
        self.push(mark);
        for p in points.iter().skip(1) {
            let to = *p + origin;
            let volume_mm3 = self.at.dist(to) * bead.area_mm2;
            self.push(Move::Extrude { to, volume_mm3 });
            self.at = to;
        }
    }

    fn fibre(&mut self, layer: usize, courses: &LayerCourses) {
        self.select(Head::Fibre);
        for copy in 0..self.program.placements.len() {
            let origin = self.program.placements[copy];
            if copy == 0 {
                self.order_courses(layer, courses, origin);
            }
            let laid = self.program.courses.last().cloned().unwrap_or_default();
            for l in &laid {
                let id = if copy == 0 { l.id.clone() } else { format!("{}@{}", l.id, copy + 1) };
                self.course(l, id, origin);
            }
        }
    }

    /// Fixes the order and the sense of a layer's courses. Closed courses keep
    /// the start that staggering gave them.
    fn order_courses(&mut self, layer: usize, courses: &LayerCourses, origin: Point) {
        let stops: Vec<Stop> = courses
            .courses
            .iter()
            .map(|c| {
                let path = c.path();
                let (a, b) = (path.start().unwrap_or_default(), path.end().unwrap_or_default());
                match (a + origin, b + origin) {
                    (a, b) if path.closed || a.dist(b) < SAME_PLACE_MM => Stop::Closed(vec![a]),
                    // tow that trails may not lie right from its other end
                    (a, b) if c.one_way() => Stop::OneWay(a, b),
                    (a, b) => Stop::Open(a, b),
                }
            })
            .collect();
        let start = if self.at.is_finite() { self.at } else { origin };
        let tail = self.job.printer.cutter_to_nozzle_mm;
        let laid: Vec<Laid> = tour(&stops, start)
            .into_iter()
            .enumerate()
            .map(|(k, v)| {
                let course = &courses.courses[v.stop];
                let back = (v.reversed && !course.path().closed).then(|| course.reversed()).flatten();
                let course = back.unwrap_or_else(|| course.clone());
                let cut_at_mm = course.length_mm() - tail;
                Laid { id: format!("L{layer}.{}", k + 1), course, cut_at_mm }
            })
            .collect();
        if let Some(last) = self.program.courses.last_mut() {
            *last = laid;
        }
    }

    fn course(&mut self, laid: &Laid, id: String, origin: Point) {
        let path = laid.course.path();
        let Some(start) = path.start() else { return };
        self.push(Move::CourseStart(id.clone()));
        self.travel(start + origin);
        self.push(Move::Thread(self.job.printer.cutter_to_nozzle_mm));
        let (fed, tail) = path.split(laid.cut_at_mm);
        for segment in fed.segments {
            self.push(Move::Lay { segment: placed(&segment, origin), fed: true });
        }
        self.push(Move::Cut);
        for segment in tail.segments {
            self.push(Move::Lay { segment: placed(&segment, origin), fed: false });
        }
        self.push(Move::CourseEnd(id));
        self.at = path.end().unwrap_or(start) + origin;
        self.at_z = self.top;
    }
}

fn placed(segment: &Segment, by: Point) -> Segment {
    match *segment {
        Segment::Line { from, to } => Segment::Line { from: from + by, to: to + by },
        Segment::Arc(a) => Segment::Arc(crate::geom::Arc {
            from: a.from + by,
            to: a.to + by,
            centre: a.centre + by,
            ccw: a.ccw,
        }),
    }
}

/// Runs of beads of one kind that start where the one before ends.
fn chains(beads: &[Bead], kind: BeadKind) -> Vec<Vec<usize>> {
    let mut out: Vec<Vec<usize>> = Vec::new();
    for (i, b) in beads.iter().enumerate().filter(|(_, b)| b.kind == kind && b.points.len() > 1) {
        let follows = out.last().and_then(|c| c.last()).is_some_and(|&k| {
            let a = &beads[k];
            !a.closed && !b.closed && a.points[a.points.len() - 1].dist(b.points[0]) < SAME_PLACE_MM
        });
        match out.last_mut() {
            Some(chain) if follows => chain.push(i),
            _ => out.push(vec![i]),
        }
    }
    out
}

fn stop(beads: &[Bead], chain: &[usize], origin: Point) -> Stop {
    let (first, last) = (&beads[chain[0]], &beads[chain[chain.len() - 1]]);
    if first.closed {
        return Stop::Closed(first.points.iter().map(|p| *p + origin).collect());
    }
    Stop::Open(first.points[0] + origin, last.points[last.points.len() - 1] + origin)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stack_begins_with_the_head_that_saves_a_change() {
        let (m, f) = (Head::Matrix, Head::Fibre);
        let both = || vec![m, f];
        let first = |work: &[Vec<Head>]| in_turn(work).into_iter().flatten().next();
        assert_eq!(first(&[both(), both(), both()]), Some(m), "no difference: matrix holds to the bed");
        assert_eq!(first(&[both(), vec![m]]), Some(f), "the matrix head ends the first layer and goes on");
        assert_eq!(first(&[both(), vec![f]]), Some(m), "the fibre head ends the first layer and goes on");
        assert_eq!(first(&[vec![], vec![m], both()]), Some(m), "there is only one to begin with");
        assert_eq!(first(&[]), None, "nothing to do");
        assert_eq!(in_turn(&[both(), both()]), [vec![m, f], vec![f, m]], "the head at work goes on");
        assert_eq!(in_turn(&[vec![m], vec![], vec![m]]), [vec![m], vec![], vec![m]], "nor does it rest");
    }
}
