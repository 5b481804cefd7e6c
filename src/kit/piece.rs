//! A small piece, layer by layer, and its program.

use crate::count::f64_of;
use crate::diagnostic::{Diagnostic, Outcome};
use crate::estimate::{self, TimeSplit};
use crate::fibre::{Course, LayerCourses};
use crate::geom::{Arc, Area, Path, Point, Segment, combine, offset, pt};
use crate::job::{Job, Rule};
use crate::matrix::{self, Bead, BeadKind, LayerBeads, rectangle_mm2};
use crate::outline::{Layer, Outline};
use crate::sequence::{self, Move, Program};
use crate::{gcode, plan_file};

/// What a piece comes to.
#[derive(Clone, Debug)]
pub(super) struct Written {
    pub(super) program: String,
    pub(super) plan: String,
    pub(super) time_s: TimeSplit,
    pub(super) fibre_length_mm: f64,
    /// Matrix laid, purge and all, mm3.
    pub(super) matrix_volume_mm3: f64,
    /// Each course by its name, and where it begins.
    pub(super) begins: Vec<(String, Point)>,
}

/// Layers from the bed up.
pub(super) struct Piece<'a> {
    job: &'a Job,
    layers: Vec<Layer>,
    courses: Vec<LayerCourses>,
    beads: Vec<LayerBeads>,
}

/// How far the polygons of strips may leave their courses, mm.
const CHORD_MM: f64 = 0.01;

impl<'a> Piece<'a> {
    pub(super) fn new(job: &'a Job) -> Self {
        Self { job, layers: Vec::new(), courses: Vec::new(), beads: Vec::new() }
    }

    /// A layer of courses with matrix in all that they leave.
    pub(super) fn filled(&mut self, outline: &Area, courses: Vec<Course>) {
        let width = self.job.tow.width_mm;
        let strips: Vec<Area> = courses
            .iter()
            .map(|c| offset::strip(&c.path().flatten(CHORD_MM), width, c.path().closed, CHORD_MM))
            .collect();
        let strips = combine::union_all(&strips);
        let beads =
            matrix::fill(outline, &strips, &self.job.beads, self.layers.len(), self.job.layer_height_mm);
        self.push(outline, LayerCourses { courses, strips, ..LayerCourses::default() }, beads);
    }

    /// A layer of courses and lines of matrix, the rest open.
    pub(super) fn open(&mut self, outline: &Area, courses: Vec<Course>, lines: &[[Point; 2]]) {
        let width = self.job.beads.bead_width_mm;
        let beads = lines
            .iter()
            .map(|ends| Bead {
                kind: BeadKind::Fill,
                width_mm: width,
                area_mm2: rectangle_mm2(width, self.job.layer_height_mm),
                closed: false,
                points: ends.to_vec(),
            })
            .collect();
        let beads = LayerBeads { beads, ..LayerBeads::default() };
        self.push(outline, LayerCourses { courses, ..LayerCourses::default() }, beads);
    }

    fn push(&mut self, outline: &Area, courses: LayerCourses, beads: LayerBeads) {
        let height_mm = self.job.layer_height_mm;
        let below = self.layers.len();
        let z_bottom_mm = f64_of(below) * height_mm;
        self.layers.push(Layer { number: below + 1, z_bottom_mm, height_mm, outline: outline.clone() });
        self.courses.push(courses);
        self.beads.push(beads);
    }

    /// Orders the work and writes it.
    ///
    /// Errors: `bed-full`, `out-of-reach`, faults of the profile's blocks.
    pub(super) fn write(self) -> Outcome<Written> {
        let outline = Outline { layers: self.layers, ..Outline::default() };
        let program = sequence::order(self.job, &outline, &self.courses, &self.beads)?;
        let (program, split, _) = estimate::heated(self.job, program);
        let laid = program.courses.iter().flatten();
        let begins =
            laid.map(|l| (l.course.region.clone(), l.course.path().start().unwrap_or_default())).collect();
        let e = estimate::of(self.job, &outline, &program, &self.beads, 0, split);
        let facts = facts(self.job, outline.layers.len(), e.fibre_length_mm, e.time_s.total);
        let text = gcode::write(self.job, &program, &facts)?;
        let plan = plan_file::json(self.job, &outline, &program, &self.courses, &self.beads, &e, &text.cut);
        Ok(Written {
            program: text.program,
            plan,
            time_s: e.time_s,
            fibre_length_mm: e.fibre_length_mm,
            matrix_volume_mm3: e.matrix_volume_mm3 + e.purge_volume_mm3,
            begins,
        })
    }
}

fn facts(job: &Job, layers: usize, fibre_length_mm: f64, seconds: f64) -> gcode::Facts {
    gcode::Facts { inputs: job.inputs.clone(), layers, fibre_length_mm, seconds }
}

/// Writes moves in the air, which lay nothing.
///
/// Errors: faults of the profile's blocks.
pub(super) fn in_the_air(job: &Job, moves: Vec<Move>) -> Outcome<Written> {
    let program = Program { moves, ..Program::default() };
    let (time_s, _) = estimate::time(job, &program);
    let text = gcode::write(job, &program, &facts(job, 0, 0.0, time_s.total))?;
    Ok(Written {
        program: text.program,
        plan: String::new(),
        time_s,
        fibre_length_mm: 0.0,
        matrix_volume_mm3: 0.0,
        begins: Vec::new(),
    })
}

/// The place where trials may lie: the size of what both heads reach of the bed, mm.
pub(super) fn room(job: &Job) -> Point {
    let [x0, y0, x1, y1] = sequence::usable(job);
    pt(x1 - x0, y1 - y0)
}

/// A rectangle from the origin.
pub(super) fn plate(size: Point) -> Area {
    combine::ring_area(&[pt(0.0, 0.0), pt(size.x, 0.0), pt(size.x, size.y), pt(0.0, size.y)])
}

/// A straight course.
///
/// Errors: `trial-impossible` where the machine cannot lay it.
pub(super) fn straight(job: &Job, name: &str, from: Point, to: Point) -> Outcome<Course> {
    course(job, name, vec![Segment::Line { from, to }], f64::INFINITY)
}

/// Two legs along x and half a turn to the left between them; starts at `from`.
///
/// Errors: as [`straight`].
pub(super) fn hairpin(job: &Job, name: &str, from: Point, leg_mm: f64, radius_mm: f64) -> Outcome<Course> {
    let (a, b) = (from + pt(leg_mm, 0.0), from + pt(leg_mm, 2.0 * radius_mm));
    let turn = Arc { from: a, to: b, centre: a + pt(0.0, radius_mm), ccw: true };
    let back = from + pt(0.0, 2.0 * radius_mm);
    let segments =
        vec![Segment::Line { from, to: a }, Segment::Arc(turn), Segment::Line { from: b, to: back }];
    course(job, name, segments, radius_mm)
}

fn course(job: &Job, name: &str, segments: Vec<Segment>, radius_mm: f64) -> Outcome<Course> {
    let least = if radius_mm.is_finite() { radius_mm * (1.0 - 1e-9) } else { job.tow.min_bend_radius_mm };
    let path = Path::new(segments, false);
    let shortest = job.printer.shortest_course_mm();
    Course::new(name.to_owned(), Rule::Unidirectional, 0, path, least, shortest).map_err(|fault| {
        Diagnostic::error(
            "trial-impossible",
            format!("`{name}` cannot be laid by `{}`: {fault}", job.printer.name),
        )
        .help("the profile's `cutter_to_nozzle_mm` and `anchor_mm` say how short a course may be")
        .into()
    })
}
