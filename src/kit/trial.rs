//! Machine trials: programs whose results are measured and go back into the
//! profile, the tow file or the controller.

use super::piece::{Piece, Written, hairpin, in_the_air, plate, room, straight};
use super::{materials, sheet};
use crate::diagnostic::{Diagnostic, Outcome};
use crate::geom::{Point, pt};
use crate::job::{Head, Job, Matrix, Printer, Tow};
use crate::sequence::Move;

/// The trials of a printer: programs and the sheet that goes with them.
#[derive(Clone, Debug)]
pub struct Trials {
    /// File names and contents, the sheet first.
    pub files: Vec<(String, String)>,
}

/// One trial.
pub(super) struct Trial {
    pub(super) name: &'static str,
    pub(super) written: Written,
    /// What its sheet needs to know of it, by name.
    pub(super) facts: Facts,
}

/// Sizes of a trial that its sheet speaks of.
pub(super) enum Facts {
    /// Length of each course, mm.
    CutDistance { length_mm: f64 },
    /// Radii in the order in which they lie, mm.
    BendComb { radii_mm: Vec<f64> },
    /// Spacings of the groups, mm.
    Spacing { spacings_mm: Vec<f64> },
    /// Pitch of the matrix lines and of the courses, mm.
    HeadOffset { beads_mm: f64, courses_mm: f64 },
    /// Tow in each course, mm.
    FeedTow { length_mm: f64 },
    /// Filament that goes in, mm.
    FeedMatrix { length_mm: f64 },
    /// Only timed.
    Timed,
}

/// Room round everything, mm.
const EDGE_MM: f64 = 5.0;

/// Room between groups, mm: a caliper's jaw goes in.
const GAP_MM: f64 = 6.0;

/// Radii of the comb, in the tow's own smallest radius.
const COMB: [f64; 8] = [0.5, 0.6, 0.75, 0.9, 1.0, 1.25, 1.5, 2.0];

/// Spacings, in the tow's width.
const SPACINGS: [f64; 5] = [0.9, 1.0, 1.1, 1.2, 1.4];

/// By how much the courses' pitch exceeds the beads': what the offset is read to, mm.
const VERNIER_MM: f64 = 0.1;

/// Lines to either side of the middle one.
const VERNIER_LINES: i32 = 6;

/// Writes the trials of a printer for two materials; where none are given, the
/// built-in ones that fit it.
///
/// Errors: `trial-impossible` and `bed-full` where the machine has no room for a
/// trial; `temperature-limit`; faults of the profile's blocks.
pub fn write(printer: &Printer, matrix: Option<Matrix>, tow: Option<Tow>) -> Outcome<Trials> {
    let (own_matrix, own_tow) = materials::that_fit(printer);
    let (matrix, tow) = (matrix.unwrap_or(own_matrix), tow.unwrap_or(own_tow));
    hot_enough(printer, &matrix, &tow)?;
    let job = |name: &str| materials::job(name, printer, &matrix, &tow);
    let trials = [
        cut_distance(&job("cut-distance"))?,
        bend_comb(&job("bend-comb"))?,
        spacing(&job("tow-spacing"))?,
        head_offset(&job("head-offset"))?,
        feed_tow(&job("feed-tow"))?,
        feed_matrix(&job("feed-matrix"))?,
        time_changes(&job("time-changes"))?,
        time_lines(&job("time-lines"))?,
        time_work(&job("time-work"))?,
        time_travel(&job("time-travel"))?,
    ];
    let mut files = vec![(sheet::FILE.to_owned(), sheet::text(&job("sheet"), &trials))];
    files.extend(trials.into_iter().map(|t| (format!("{}.gcode", t.name), t.written.program)));
    Ok(Trials { files })
}

fn hot_enough(printer: &Printer, matrix: &Matrix, tow: &Tow) -> Outcome<()> {
    for (name, head, wanted, most) in [
        (&matrix.name, "matrix", matrix.process_temperature_c, printer.matrix.max_temperature_c),
        (&tow.name, "fibre", tow.process_temperature_c, printer.fibre.max_temperature_c),
    ] {
        if wanted > most {
            let message = format!(
                "`{name}` is laid at {wanted} degC, the {head} head of `{}` gets at most {most} degC hot",
                printer.name
            );
            let d = Diagnostic::error("temperature-limit", message);
            return Err(d.help("name another material with --matrix or --tow").into());
        }
    }
    Ok(())
}

/// The longest that fits the bed, at most so much.
fn within(job: &Job, wanted: f64) -> f64 {
    wanted.min(room(job).x - 2.0 * EDGE_MM - 1.0).floor()
}

/// The same for the courses of a trial.
///
/// Errors: `trial-impossible` where not even the shortest fits.
fn course_within(job: &Job, trial: &str, wanted: f64) -> Outcome<f64> {
    let length = within(job, wanted);
    if length < job.printer.shortest_course_mm() { Err(no_room(job, trial)) } else { Ok(length) }
}

fn cut_distance(job: &Job) -> Outcome<Trial> {
    const COURSES: u32 = 5;
    let length = course_within(job, "cut-distance", job.printer.shortest_course_mm() + 60.0)?;
    let pitch = job.tow.width_mm + GAP_MM;
    let size = pt(length + 2.0 * EDGE_MM, pitch * f64::from(COURSES) + EDGE_MM);
    let mut piece = Piece::new(job);
    piece.filled(&plate(size), Vec::new());
    let (mut courses, mut marks) = (Vec::new(), Vec::new());
    for k in 0..COURSES {
        let y = EDGE_MM + pitch * f64::from(k);
        let name = format!("course {}", k + 1);
        courses.push(straight(job, &name, pt(EDGE_MM, y), pt(EDGE_MM + length, y))?);
        // short lines beside each course say where it should begin and end
        let (low, high) = (y + 0.25 * pitch, y + 0.75 * pitch);
        marks.extend([EDGE_MM, EDGE_MM + length].map(|x| [pt(x, low), pt(x, high)]));
    }
    piece.open(&plate(size), courses, &marks);
    let facts = Facts::CutDistance { length_mm: length };
    Ok(Trial { name: "cut-distance", written: piece.write()?, facts })
}

fn bend_comb(job: &Job) -> Outcome<Trial> {
    let width = job.tow.width_mm;
    let leg = (job.printer.shortest_course_mm()).max(30.0).ceil();
    let most = room(job);
    let (mut radii, mut rows, mut y) = (Vec::new(), Vec::new(), EDGE_MM);
    for share in COMB {
        let r = (job.tow.min_bend_radius_mm * share * 20.0).round() / 20.0;
        if y + 2.0 * r + EDGE_MM + width > most.y || leg + r + 2.0 * EDGE_MM > most.x {
            break;
        }
        radii.push(r);
        rows.push((y, r));
        y += 2.0 * r + GAP_MM;
    }
    let Some(&largest) = radii.last() else {
        return Err(no_room(job, "bend-comb"));
    };
    let size = pt(leg + largest + 2.0 * EDGE_MM, y);
    let mut piece = Piece::new(job);
    piece.filled(&plate(size), Vec::new());
    let mut courses = Vec::new();
    for (y, r) in rows {
        courses.push(hairpin(job, &format!("radius {r}"), pt(EDGE_MM, y), leg, r)?);
    }
    piece.open(&plate(size), courses, &[]);
    Ok(Trial { name: "bend-comb", written: piece.write()?, facts: Facts::BendComb { radii_mm: radii } })
}

fn no_room(job: &Job, trial: &str) -> crate::diagnostic::Faults {
    let size = room(job);
    let message = format!(
        "the bed of `{}`, {:.1} x {:.1} mm that both heads reach, has no room for the trial `{trial}`: its shortest course is {:.1} mm long",
        job.printer.name,
        size.x,
        size.y,
        job.printer.shortest_course_mm()
    );
    Diagnostic::error("trial-impossible", message)
        .help("`bed_mm` and `reach_mm` say where both heads can work")
        .into()
}

fn spacing(job: &Job) -> Outcome<Trial> {
    const BESIDE: u32 = 5;
    let width = job.tow.width_mm;
    let length = course_within(job, "tow-spacing", job.printer.shortest_course_mm() + 30.0)?;
    let spacings: Vec<f64> = SPACINGS.iter().map(|s| (s * width * 1000.0).round() / 1000.0).collect();
    let mut ys = vec![EDGE_MM];
    let mut y = EDGE_MM + GAP_MM;
    for s in &spacings {
        ys.extend((0..BESIDE).map(|k| y + s * f64::from(k)));
        y += s * f64::from(BESIDE - 1) + GAP_MM;
    }
    let size = pt(length + 2.0 * EDGE_MM, y);
    let mut piece = Piece::new(job);
    piece.filled(&plate(size), Vec::new());
    let mut courses = Vec::new();
    for (k, y) in ys.into_iter().enumerate() {
        courses.push(straight(job, &format!("course {}", k + 1), pt(EDGE_MM, y), pt(EDGE_MM + length, y))?);
    }
    piece.open(&plate(size), courses, &[]);
    Ok(Trial {
        name: "tow-spacing",
        written: piece.write()?,
        facts: Facts::Spacing { spacings_mm: spacings },
    })
}

fn head_offset(job: &Job) -> Outcome<Trial> {
    // beads wide enough apart for a course beside them
    let pitch = (job.tow.width_mm.max(job.beads.bead_width_mm) + 1.0).ceil();
    let courses_pitch = pitch + VERNIER_MM;
    let course = job.printer.shortest_course_mm() + 2.0;
    let (bead, apart) = (12.0, 2.0);
    let half = courses_pitch * f64::from(VERNIER_LINES);
    let mut courses = Vec::new();
    let mut lines = Vec::new();
    let origin = EDGE_MM + half;
    // lines along y tell x; the same turned by a quarter, further up, tell y
    let long = bead + apart + course;
    let second = EDGE_MM + long + GAP_MM;
    for k in -VERNIER_LINES..=VERNIER_LINES {
        let (b, c) = (pitch * f64::from(k), courses_pitch * f64::from(k));
        let x = |offset: f64| origin + offset;
        lines.push([pt(x(b), EDGE_MM), pt(x(b), EDGE_MM + bead)]);
        let from = pt(x(c), EDGE_MM + bead + apart);
        courses.push(straight(job, &format!("x {k}"), from, from + pt(0.0, course))?);
        let y = |offset: f64| second + half + offset;
        lines.push([pt(EDGE_MM, y(b)), pt(EDGE_MM + bead, y(b))]);
        let from = pt(EDGE_MM + bead + apart, y(c));
        courses.push(straight(job, &format!("y {k}"), from, from + pt(course, 0.0))?);
    }
    let size = pt((2.0 * half).max(long) + 2.0 * EDGE_MM, second + 2.0 * half + EDGE_MM);
    let room = room(job);
    if size.x > room.x || size.y > room.y {
        return Err(no_room(job, "head-offset"));
    }
    let mut piece = Piece::new(job);
    piece.filled(&plate(size), Vec::new());
    piece.open(&plate(size), courses, &lines);
    let facts = Facts::HeadOffset { beads_mm: pitch, courses_mm: courses_pitch };
    Ok(Trial { name: "head-offset", written: piece.write()?, facts })
}

fn feed_tow(job: &Job) -> Outcome<Trial> {
    const COURSES: u32 = 3;
    let length = course_within(job, "feed-tow", (job.printer.shortest_course_mm() + 20.0).max(200.0))?;
    let size = pt(length + 2.0 * EDGE_MM, 2.0 * EDGE_MM + GAP_MM * f64::from(COURSES - 1));
    let mut piece = Piece::new(job);
    let mut courses = Vec::new();
    for k in 0..COURSES {
        let y = EDGE_MM + GAP_MM * f64::from(k);
        courses.push(straight(job, &format!("course {}", k + 1), pt(EDGE_MM, y), pt(EDGE_MM + length, y))?);
    }
    piece.filled(&plate(size), Vec::new());
    piece.open(&plate(size), courses, &[]);
    Ok(Trial { name: "feed-tow", written: piece.write()?, facts: Facts::FeedTow { length_mm: length } })
}

fn feed_matrix(job: &Job) -> Outcome<Trial> {
    let side = within(job, 60.0).min(room(job).y - 2.0);
    let mut piece = Piece::new(job);
    piece.filled(&plate(pt(side, side)), Vec::new());
    let written = piece.write()?;
    let d = job.printer.feedstock_diameter_mm;
    let length_mm = written.matrix_volume_mm3 / (std::f64::consts::PI * 0.25 * d * d);
    Ok(Trial { name: "feed-matrix", written, facts: Facts::FeedMatrix { length_mm } })
}

/// Height of moves in the air, mm: above clips and plates.
fn air(job: &Job) -> f64 {
    let top = |h: Head| job.printer.head(h).reach_mm[2][1];
    20.0_f64.min(0.5 * top(Head::Matrix).min(top(Head::Fibre)))
}

/// The middle of the place that both heads reach.
fn middle(job: &Job) -> Point {
    let [x0, y0, x1, y1] = job.printer.bed_mm;
    pt(0.5 * (x0 + x1), 0.5 * (y0 + y1))
}

/// Head changes, and hardly anything else.
fn time_changes(job: &Job) -> Outcome<Trial> {
    let mut moves = Vec::new();
    for k in 0..31 {
        moves.push(Move::Select(if k % 2 == 0 { Head::Matrix } else { Head::Fibre }));
        moves.extend([Move::Z(air(job)), Move::Travel(middle(job))]);
    }
    Ok(Trial { name: "time-changes", written: in_the_air(job, moves)?, facts: Facts::Timed })
}

/// Rings of lines that grow longer and longer: where the controller's reading is
/// the limit, and where it is not.
fn time_lines(job: &Job) -> Outcome<Trial> {
    let room = room(job);
    let radius = (0.5 * room.x.min(room.y) - 2.0).min(25.0);
    let at = |k: u32, of: u32| {
        middle(job) + Point::unit(std::f64::consts::TAU * f64::from(k) / f64::from(of)) * radius
    };
    let mut moves = vec![Move::Select(Head::Matrix), Move::Z(air(job)), Move::Travel(at(0, 1))];
    for lines in [3000, 1500, 750, 300] {
        for _ in 0..4 {
            moves.extend((1..=lines).map(|k| Move::Extrude { to: at(k, lines), volume_mm3: 0.0 }));
        }
    }
    Ok(Trial { name: "time-lines", written: in_the_air(job, moves)?, facts: Facts::Timed })
}

/// Strokes in each program of strokes: the time of one, a few tenths of a second, by as many
/// is told to a hundredth by a watch.
const STROKES: usize = 400;

/// Length of a stroke of travel, mm, and of one of work as a share of it.
const STROKE_MM: f64 = 15.0;
const WORK_STROKE: f64 = 0.2;

/// Short strokes to and fro at the speed of work.
fn time_work(job: &Job) -> Outcome<Trial> {
    let stroke = WORK_STROKE * STROKE_MM.min(0.4 * room(job).x);
    strokes(job, "time-work", stroke, |to| Move::Extrude { to, volume_mm3: 0.0 })
}

/// Strokes to and fro at the speed of travel: by themselves, since in one program with those
/// of work their times could not be told apart.
fn time_travel(job: &Job) -> Outcome<Trial> {
    strokes(job, "time-travel", STROKE_MM.min(0.4 * room(job).x), Move::Travel)
}

fn strokes(job: &Job, name: &'static str, stroke_mm: f64, to: impl Fn(Point) -> Move) -> Outcome<Trial> {
    let (a, b) = (middle(job), middle(job) + pt(stroke_mm, 0.0));
    let mut moves = vec![Move::Select(Head::Matrix), Move::Z(air(job)), Move::Travel(a)];
    for _ in 0..STROKES {
        moves.extend([to(b), to(a)]);
    }
    Ok(Trial { name, written: in_the_air(job, moves)?, facts: Facts::Timed })
}
