//! One line per move.

use super::number::{push, rounded};
use super::{Facts, Text, header, names};
use crate::count::f64_of;
use crate::diagnostic::Outcome;
use crate::geom::{Arc, Point, Segment, pt};
use crate::job::block::{Block, BlockValues};
use crate::job::printer::Controller;
use crate::job::{Head, Job};
use crate::sequence::{Move, Program};

/// Decimals of a coordinate.
const XY: u32 = 3;
/// Decimals of an arc's centre. It is found again from the ends as written and
/// rounded to where both radii agree best, well within the standard's 0.002 mm.
const IJ: u32 = 3;
/// Decimals of a feed length.
const E: u32 = 5;

/// An arc whose chords would stay this near is written as a line, mm: half the
/// last digit of a coordinate.
const FLAT_MM: f64 = 0.0005;

/// Arcs of a greater radius are written in lines, mm: of a centre so far away a
/// controller that reckons in single precision keeps too few decimals.
const GREAT_MM: f64 = 5_000.0;

/// E counts from zero again at the next travel once it is beyond this, mm: likewise, short
/// beads would else be fed in steps of what single precision keeps.
const GREAT_FEED_MM: f64 = 250.0;

/// How near those lines stay, mm.
const GREAT_CHORD_MM: f64 = 0.002;

struct Writer<'a> {
    job: &'a Job,
    out: String,
    head: Option<Head>,
    /// Nozzle, machine coordinates as written.
    at: Point,
    z: f64,
    /// mm/min as last written.
    feed: i64,
    /// What the present head has fed since the last restart, mm, exact.
    fed: f64,
    /// The same as written.
    fed_written: f64,
    names: BlockValues,
    cut: Vec<String>,
}

pub(super) fn write(job: &Job, program: &Program, facts: &Facts) -> Outcome<Text> {
    let names = names(job, facts);
    let cut: Vec<String> = job.printer.blocks.cut.render(&names)?.lines().map(str::to_string).collect();
    let mut w = Writer {
        job,
        out: String::with_capacity(program.moves.len() * 32),
        head: None,
        at: pt(f64::NAN, f64::NAN),
        z: f64::NAN,
        feed: 0,
        fed: 0.0,
        fed_written: 0.0,
        names,
        cut,
    };
    for line in header::lines(job, facts) {
        w.comment(&line);
    }
    w.block(&job.printer.blocks.start.clone())?;
    w.line("G21");
    w.line("G90");
    for m in &program.moves {
        w.write_move(m)?;
    }
    w.block(&job.printer.blocks.end.clone())?;
    Ok(Text { program: w.out, cut: w.cut })
}

impl Writer<'_> {
    fn line(&mut self, text: &str) {
        self.out.push_str(text);
        self.out.push('\n');
    }

    fn comment(&mut self, text: &str) {
        let line = if self.job.printer.controller.parenthesis_comments {
            format!("({text})")
        } else {
            format!("; {text}")
        };
        self.line(&line);
    }

    fn block(&mut self, block: &Block) -> Outcome<()> {
        let names = self.names.clone();
        self.filled(block, &names)
    }

    fn filled(&mut self, block: &Block, names: &BlockValues) -> Outcome<()> {
        for line in block.written(names, &self.job.printer)?.lines().filter(|l| !l.trim().is_empty()) {
            self.line(line.trim_end());
        }
        Ok(())
    }

    fn write_move(&mut self, m: &Move) -> Outcome<()> {
        match m {
            Move::Layer { number, z_mm } => {
                let mut z = String::new();
                push(&mut z, *z_mm, XY);
                self.comment(&format!("layer {number} z {z}"));
            }
            Move::Select(head) => self.select(*head)?,
            Move::Heat { head, temperature_c } => self.heat(*head, *temperature_c, false)?,
            Move::HeatWait { head, temperature_c } => self.heat(*head, *temperature_c, true)?,
            Move::Z(z) => self.height(*z),
            Move::Travel(to) => self.travel(*to),
            Move::Extrude { to, volume_mm3 } => self.extrude(*to, *volume_mm3),
            Move::CourseStart(id) => self.comment(&format!("course {id}")),
            Move::Thread(mm) => self.thread(*mm),
            Move::Lay { segment, fed } => self.lay(segment, *fed),
            Move::Cut => {
                self.comment("cut");
                for line in self.cut.clone() {
                    self.line(&line);
                }
            }
            Move::CourseEnd(id) => self.comment(&format!("end course {id}")),
            Move::Bead { .. } => {}
            Move::PurgeStart => self.comment("purge"),
            Move::PurgeEnd => self.comment("end purge"),
            Move::Dwell(seconds) => {
                let mut s = String::from("G4 P");
                if self.job.printer.controller.dwell_milliseconds {
                    push(&mut s, seconds * 1000.0, 0);
                } else {
                    push(&mut s, *seconds, 3);
                }
                self.line(&s);
            }
        }
        Ok(())
    }

    fn select(&mut self, head: Head) -> Outcome<()> {
        let p = &self.job.printer;
        let tool = p.head(head).tool;
        let line = if p.controller.tool_change_m6 { format!("T{tool} M6") } else { format!("T{tool}") };
        self.line(&line);
        let block = match head {
            Head::Matrix => p.blocks.to_matrix.clone(),
            Head::Fibre => p.blocks.to_fibre.clone(),
        };
        self.head = Some(head);
        self.block(&block)?;
        // the carriage and its offsets are new: every word is written again
        self.at = pt(f64::NAN, f64::NAN);
        self.z = f64::NAN;
        self.feed = 0;
        self.restart_feed();
        Ok(())
    }

    /// E counts from zero again, where the controller counts.
    fn restart_feed(&mut self) {
        if self.job.printer.controller.absolute_extrusion {
            self.line("G92 E0");
        }
        self.fed = 0.0;
        self.fed_written = 0.0;
    }

    fn heat(&mut self, head: Head, temperature_c: f64, wait: bool) -> Outcome<()> {
        let p = &self.job.printer;
        let block = if wait { p.blocks.heat_wait.clone() } else { p.blocks.heat.clone() };
        let tool = f64::from(p.head(head).tool);
        let names = self.names.clone().number("tool", tool).number("temperature_c", temperature_c);
        debug_assert!(
            temperature_c <= self.job.temperature_c(head) + 1e-9,
            "hotter than the material asks for"
        );
        self.filled(&block, &names)
    }

    /// Nozzle position -> the numbers that are written.
    fn commanded(&self, p: Point) -> Point {
        let c = &self.job.printer.controller;
        match self.head {
            Some(h) if c.program_applies_offsets => {
                let o = self.job.printer.head(h).offset_mm;
                pt(p.x - o[0], p.y - o[1])
            }
            _ => p,
        }
    }

    fn on_paper(&self, p: Point) -> Point {
        let c = self.commanded(p);
        pt(rounded(c.x, XY), rounded(c.y, XY))
    }

    fn feed_word(&mut self, line: &mut String, mm_s: f64) {
        let f = mm_min(mm_s);
        if f != self.feed {
            line.push_str(" F");
            line.push_str(itoa::Buffer::new().format(f));
            self.feed = f;
        }
    }

    /// The E word for what has been fed so far; nothing where it would be zero.
    fn feed_length(&mut self, line: &mut String) {
        let scale = self.head.map_or(1.0, |h| self.job.printer.head(h).feed_scale);
        let total = rounded(self.fed * scale, E);
        let absolute = self.job.printer.controller.absolute_extrusion;
        let step = rounded(total - self.fed_written, E);
        if step == 0.0 {
            return;
        }
        line.push_str(" E");
        push(line, if absolute { total } else { step }, E);
        self.fed_written = total;
    }

    fn xy(&self, line: &mut String, to: Point) {
        line.push_str(" X");
        push(line, to.x, XY);
        line.push_str(" Y");
        push(line, to.y, XY);
    }

    fn height(&mut self, z: f64) {
        let c = &self.job.printer.controller;
        let offset = match self.head {
            Some(h) if c.program_applies_offsets => self.job.printer.head(h).offset_mm[2],
            _ => 0.0,
        };
        let mut line = String::from("G0 Z");
        push(&mut line, z - offset, XY);
        self.feed_word(&mut line, self.job.printer.limits.axis_speed_mm_s[2]);
        self.line(&line);
        self.z = z;
    }

    fn travel(&mut self, to: Point) {
        let to = self.on_paper(to);
        if to == self.at {
            return;
        }
        // tow is counted anew at each course
        if self.head == Some(Head::Matrix)
            && self.fed > GREAT_FEED_MM
            && self.job.printer.controller.absolute_extrusion
        {
            self.restart_feed();
        }
        let mut line = String::from("G0");
        self.xy(&mut line, to);
        self.feed_word(&mut line, self.job.printer.limits.travel_mm_s);
        self.line(&line);
        self.at = to;
    }

    fn extrude(&mut self, to: Point, volume_mm3: f64) {
        let d = self.job.printer.feedstock_diameter_mm;
        let feedstock = std::f64::consts::PI * 0.25 * d * d;
        let to = self.on_paper(to);
        self.fed += volume_mm3 / feedstock;
        let length = self.at.dist(to);
        if length <= 0.0 {
            // too short to be written: its flow goes with the next line
            return;
        }
        let mut line = String::from("G1");
        self.xy(&mut line, to);
        self.feed_length(&mut line);
        let speed = self.job.bead_speed_mm_s(volume_mm3 / length);
        self.feed_word(&mut line, speed);
        self.line(&line);
        self.at = to;
    }

    fn thread(&mut self, mm: f64) {
        self.restart_feed();
        self.fed += mm;
        let mut line = String::from("G1");
        self.feed_length(&mut line);
        self.feed_word(&mut line, self.job.course_speed_mm_s());
        self.line(&line);
    }

    fn lay(&mut self, segment: &Segment, fed: bool) {
        match segment {
            Segment::Line { to, .. } => self.lay_line(*to, segment.length(), fed),
            Segment::Arc(a) => match chords(&self.job.printer.controller, a) {
                Some(points) => self.lay_chords(&points, a.length(), fed),
                None => halves(a).iter().for_each(|a| self.lay_arc(a, fed)),
            },
        }
    }

    fn lay_line(&mut self, to: Point, length: f64, fed: bool) {
        let to = self.on_paper(to);
        if fed {
            self.fed += length;
        }
        if to == self.at {
            return;
        }
        let mut line = String::from("G1");
        self.xy(&mut line, to);
        if fed {
            self.feed_length(&mut line);
        }
        self.feed_word(&mut line, self.job.course_speed_mm_s());
        self.line(&line);
        self.at = to;
    }

    fn lay_chords(&mut self, points: &[Point], length: f64, fed: bool) {
        let each = length / f64_of(points.len());
        for p in points {
            self.lay_line(*p, each, fed);
        }
    }

    /// A G2 or G3 line.
    fn lay_arc(&mut self, a: &Arc, fed: bool) {
        let (r, sweep) = (a.radius(), a.sweep());
        let to = self.on_paper(a.to);
        let chord = to - self.at;
        let c = chord.norm();
        let nearly_line = sweep < 1.0 && c * c / (8.0 * r) < FLAT_MM;
        let Some(along) = chord.normalised().filter(|_| !nearly_line && c > 0.01) else {
            return self.lay_line(a.to, a.length(), fed);
        };
        // the centre that is equally far from both ends as written, nearest to the
        // exact one: of a half circle its radius would say nothing about it
        let exact = self.commanded(a.centre) - self.at;
        let centre = chord * 0.5 + along.left() * exact.dot(along.left());
        let centre = written_centre(centre, chord);
        if fed {
            self.fed += a.length();
        }
        let mut line = String::from(if a.ccw { "G3" } else { "G2" });
        self.xy(&mut line, to);
        line.push_str(" I");
        push(&mut line, centre.x, IJ);
        line.push_str(" J");
        push(&mut line, centre.y, IJ);
        if fed {
            self.feed_length(&mut line);
        }
        self.feed_word(&mut line, self.job.course_speed_mm_s());
        self.line(&line);
        self.at = to;
    }
}

/// A speed in whole mm/min, at least 1. Rounded down: a limit is a limit.
pub(super) fn mm_min(mm_s: f64) -> i64 {
    #[expect(clippy::cast_possible_truncation, reason = "a feed in mm/min")]
    let f = (mm_s * 60.0 + 1e-6).floor() as i64;
    f.max(1)
}

/// A piece of a course as lines of the program say it, one after the other.
pub(super) fn lines_of(controller: &Controller, segment: &Segment) -> Vec<Segment> {
    let Segment::Arc(a) = segment else { return vec![*segment] };
    match chords(controller, a) {
        Some(points) => {
            let from = std::iter::once(a.from).chain(points.iter().copied());
            from.zip(&points).map(|(from, to)| Segment::Line { from, to: *to }).collect()
        }
        None => halves(a).into_iter().map(Segment::Arc).collect(),
    }
}

/// Ends of the chords of an arc that is written in lines; `None` where it is
/// written as an arc.
fn chords(controller: &Controller, a: &Arc) -> Option<Vec<Point>> {
    let chord_mm = if !controller.arcs {
        // some of the allowance goes to rounding
        (controller.chord_mm - 2.0 * FLAT_MM).max(0.5 * controller.chord_mm)
    } else if a.radius() > GREAT_MM {
        GREAT_CHORD_MM
    } else {
        return None;
    };
    let mut points = Vec::new();
    a.flatten_into(chord_mm, &mut points);
    Some(points)
}

/// An arc, or its halves: one of more than half a turn says less and less about its centre as
/// its ends come together.
fn halves(a: &Arc) -> Vec<Arc> {
    if a.sweep() <= HALF_TURN {
        return vec![*a];
    }
    let middle = a.point_at(0.5 * a.length());
    [Arc { to: middle, ..*a }, Arc { from: middle, ..*a }].iter().flat_map(halves).collect()
}

/// A little more than half a turn: a half circle stays one line.
const HALF_TURN: f64 = std::f64::consts::PI * 1.01;

/// The centre as written, seen from the start: of the places near the exact one
/// that the decimals can say, the one whose radii to both ends agree best. A step
/// away from the exact centre counts a quarter of a disagreement: it moves the arc.
fn written_centre(exact: Point, chord: Point) -> Point {
    // one unit of the last decimal
    let step = 1e-3;
    let near = pt(rounded(exact.x, IJ), rounded(exact.y, IJ));
    let fault = |c: Point| (c.norm() - c.dist(chord)).abs() + 0.25 * c.dist(exact);
    let mut best = near;
    for i in [-1.0, 0.0, 1.0] {
        for j in [-1.0, 0.0, 1.0] {
            let c = pt(rounded(near.x + i * step, IJ), rounded(near.y + j * step, IJ));
            if fault(c) < fault(best) {
                best = c;
            }
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Notes;
    use crate::files::Input;

    fn job() -> Job {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        crate::job::read(&mut Notes::default(), &path).expect("the example's job")
    }

    fn text(job: &Job, moves: Vec<Move>) -> String {
        let facts = Facts {
            inputs: vec![Input::of("job", "a.toml", b"a")],
            layers: 1,
            fibre_length_mm: 0.0,
            seconds: 1.0,
        };
        let program = Program { moves, ..Program::default() };
        write(job, &program, &facts).expect("it can be written").program
    }

    #[test]
    fn feed_stays_small_enough_for_single_precision() {
        let mut job = job();
        let d = job.printer.feedstock_diameter_mm;
        let area = std::f64::consts::PI * 0.25 * d * d;
        let mut all = vec![Move::Select(Head::Matrix), Move::Z(0.2)];
        for k in 0..200 {
            let y = f64::from(k);
            all.push(Move::Travel(pt(0.0, y)));
            // 20 mm of filament, then a line that takes 0.004 mm
            all.push(Move::Extrude { to: pt(100.0, y), volume_mm3: 20.0 * area });
            all.push(Move::Extrude { to: pt(100.1, y), volume_mm3: 0.004 * area });
        }
        let written = text(&job, all.clone());
        let e = |line: &str| line.split(' ').find_map(|w| w.strip_prefix('E')?.parse::<f32>().ok());
        let (mut was, mut fed, mut steps) = (0.0_f32, 0.0_f64, 0);
        for line in written.lines() {
            let Some(now) = e(line) else { continue };
            if !line.starts_with("G92") {
                let step = now - was;
                fed += f64::from(step);
                if step < 1.0 {
                    steps += 1;
                    assert!((step / 0.004 - 1.0).abs() < 0.01, "a step of {step} mm in `{line}`");
                }
            }
            was = now;
        }
        assert_eq!(steps, 200);
        assert!((fed - 200.0 * 20.004).abs() < 0.01, "{fed} mm");
        counts(&mut job, false);
        assert!(!text(&job, all).contains("G92"), "steps are small by themselves");
    }

    /// E counts from its restart, or from move to move: in the profile and in its start block.
    fn counts(job: &mut Job, absolute: bool) {
        job.printer.controller.absolute_extrusion = absolute;
        let start = &mut job.printer.blocks.start.text;
        *start = start.replace(if absolute { "M83" } else { "M82" }, if absolute { "M82" } else { "M83" });
    }

    /// Words of the lines that move, in order.
    fn moves(text: &str) -> Vec<Vec<(char, f64)>> {
        text.lines()
            .filter(|l| ["G0 ", "G1 ", "G2 ", "G3 "].iter().any(|g| l.starts_with(g)))
            .map(|l| {
                l.split(' ').map(|w| (w.as_bytes()[0] as char, w[1..].parse().expect("a number"))).collect()
            })
            .collect()
    }

    fn word(row: &[(char, f64)], letter: char) -> Option<f64> {
        row.iter().find(|(l, _)| *l == letter).map(|(_, n)| *n)
    }

    /// A course of 300 small odd arcs and its moves; the length of the arcs.
    fn wriggle() -> (Vec<Move>, f64, Point) {
        let mut at = pt(60.001_3, 50.000_7);
        let mut out = vec![Move::Select(Head::Fibre), Move::Z(0.2), Move::Travel(at), Move::Thread(15.0)];
        let mut direction = 0.3;
        let mut length = 0.0;
        for k in 0..300 {
            let (r, sweep) = (5.0 + 0.37 * f64::from(k % 11), 0.21 + 0.013 * f64::from(k % 7));
            let ccw = k % 2 == 0;
            let sign = if ccw { 1.0 } else { -1.0 };
            let centre = at + Point::unit(direction).left() * (sign * r);
            let mut a = Arc { from: at, to: at, centre, ccw };
            a.to = a.point_at(r * sweep);
            direction += sign * sweep;
            length += r * sweep;
            at = a.to;
            out.push(Move::Lay { segment: Segment::Arc(a), fed: true });
        }
        (out, length, at)
    }

    #[test]
    fn feed_adds_up_absolute_and_relative_in_arcs_and_chords() {
        let (course, length, end) = wriggle();
        for (absolute, arcs) in [(true, true), (true, false), (false, true), (false, false)] {
            let mut job = job();
            counts(&mut job, absolute);
            job.printer.controller.arcs = arcs;
            job.printer.controller.program_applies_offsets = false;
            let rows = moves(&text(&job, course.clone()));
            let fed: Vec<f64> = rows.iter().filter_map(|r| word(r, 'E')).collect();
            let total = if absolute { fed[fed.len() - 1] } else { fed.iter().sum() };
            assert!((total - 15.0 - length).abs() < 2e-5, "{absolute} {arcs}: {total} against {length} mm");
            let last = rows.last().expect("a move");
            assert!((word(last, 'X').expect("x") - end.x).abs() <= 0.0005 + 1e-9, "ends where it should");
        }
    }

    #[test]
    fn chords_stay_near_their_arc_and_arcs_keep_one_radius() {
        let (course, _, _) = wriggle();
        let arcs: Vec<Arc> = course
            .iter()
            .filter_map(|m| if let Move::Lay { segment: Segment::Arc(a), .. } = m { Some(*a) } else { None })
            .collect();
        let mut job = job();
        job.printer.controller.program_applies_offsets = false;
        job.printer.controller.arcs = false;
        let rows = moves(&text(&job, course.clone()));
        let points: Vec<Point> = rows.iter().filter_map(|r| Some(pt(word(r, 'X')?, word(r, 'Y')?))).collect();
        for w in points.windows(2) {
            for share in [0.0, 0.25, 0.5, 0.75] {
                let p = w[0].lerp(w[1], share);
                let off = arcs.iter().map(|a| (p.dist(a.centre) - a.radius()).abs()).fold(f64::MAX, f64::min);
                assert!(off <= job.printer.controller.chord_mm, "{off} mm off the course");
            }
        }
        job.printer.controller.arcs = true;
        let mut at = pt(f64::NAN, f64::NAN);
        for r in moves(&text(&job, course)) {
            let to = pt(word(&r, 'X').unwrap_or(at.x), word(&r, 'Y').unwrap_or(at.y));
            if let (Some(i), Some(j)) = (word(&r, 'I'), word(&r, 'J')) {
                let centre = at + pt(i, j);
                let (r0, r1) = (at.dist(centre), to.dist(centre));
                assert!((r0 - r1).abs() < 0.001, "radii {r0} and {r1} mm");
            }
            at = to;
        }
    }

    /// The moves of a course that is one arc, coordinates as they are.
    fn arc_rows(a: Arc) -> Vec<Vec<(char, f64)>> {
        let mut job = job();
        job.printer.controller.program_applies_offsets = false;
        let course = vec![
            Move::Select(Head::Fibre),
            Move::Z(0.2),
            Move::Travel(a.from),
            Move::Thread(15.0),
            Move::Lay { segment: Segment::Arc(a), fed: true },
        ];
        moves(&text(&job, course))
    }

    #[test]
    fn a_half_circle_keeps_its_centre() {
        for k in 0..400 {
            // a little less and a little more than half a turn, from odd places
            let sweep = std::f64::consts::PI + 0.0002 * f64::from(k % 7 - 3);
            let centre = pt(100.0 + 0.001_37 * f64::from(k), 100.0 - 0.000_71 * f64::from(k));
            let mut a = Arc {
                from: centre + Point::unit(0.37 * f64::from(k)) * 15.513,
                to: centre,
                centre,
                ccw: true,
            };
            a.to = a.point_at(a.radius() * sweep);
            let rows = arc_rows(a);
            let last = rows.last().expect("the arc");
            let before = rows.iter().rev().skip(1);
            let from =
                before.filter_map(|r| Some(pt(word(r, 'X')?, word(r, 'Y')?))).next().expect("a travel");
            let at = from + pt(word(last, 'I').expect("i"), word(last, 'J').expect("j"));
            assert!(at.dist(centre) < 0.002, "{k}: {at:?} against {centre:?}");
        }
    }

    #[test]
    fn an_arc_of_great_radius_is_written_in_lines_near_it() {
        for (radius, in_lines) in [(4_000.0, false), (6_000.0, true), (324_000.0, true)] {
            let centre = pt(100.0, 100.0 - radius);
            let mut a = Arc { from: pt(100.0, 100.0), to: centre, centre, ccw: true };
            a.to = a.point_at(80.0);
            let rows = arc_rows(a);
            let ends: Vec<Point> =
                rows.iter().filter_map(|r| Some(pt(word(r, 'X')?, word(r, 'Y')?))).collect();
            assert_eq!(rows.iter().all(|r| word(r, 'I').is_none()), in_lines, "{radius}");
            if in_lines {
                for pair in ends.windows(2) {
                    let off = (pair[0].lerp(pair[1], 0.5).dist(centre) - radius).abs();
                    assert!(off < GREAT_CHORD_MM + 0.001, "{radius}: {off}");
                }
            }
            let fed: f64 = rows.last().and_then(|r| word(r, 'E')).expect("fed");
            assert!((fed - 95.0).abs() < 1e-4, "{radius}: {fed} fed for 15 and 80 mm");
        }
    }

    #[test]
    fn an_arc_that_nearly_closes_is_no_straight() {
        let a =
            Arc { from: pt(110.0, 100.0), to: pt(109.999_99, 100.01), centre: pt(100.0, 100.0), ccw: false };
        let a = Arc { ccw: true, from: a.to, to: a.from, ..a };
        assert!(a.sweep() > 6.0, "nearly a whole turn");
        let rows = arc_rows(a);
        assert_eq!(rows.iter().filter(|r| word(r, 'I').is_some()).count(), 2, "two halves");
    }

    #[test]
    fn offsets_are_taken_off_where_the_program_applies_them() {
        let mut job = job();
        job.printer.controller.program_applies_offsets = true;
        job.printer.fibre.offset_mm = [38.0, -1.5, 0.25];
        let steps = vec![Move::Select(Head::Fibre), Move::Z(1.0), Move::Travel(pt(100.0, 50.0))];
        let rows = moves(&text(&job, steps.clone()));
        assert_eq!(word(&rows[0], 'Z'), Some(0.75), "a nozzle that hangs higher goes down further");
        assert_eq!((word(&rows[1], 'X'), word(&rows[1], 'Y')), (Some(62.0), Some(51.5)), "x and y");
        job.printer.controller.program_applies_offsets = false;
        let rows = moves(&text(&job, steps));
        assert_eq!((word(&rows[1], 'X'), word(&rows[1], 'Y')), (Some(100.0), Some(50.0)), "as they are");
    }
}
