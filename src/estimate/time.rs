//! The clock of a planned program.

use super::TimeSplit;
use super::clock::{Clock, Pace, Spent, Start};
use crate::gcode;
use crate::geom::Segment;
use crate::job::Job;
use crate::motion;
use crate::sequence::{self, Move, Program};

/// The time split of a program, and the seconds of each of its moves.
pub fn time(job: &Job, program: &Program) -> (TimeSplit, Vec<f64>) {
    let p = &job.printer;
    let start =
        Start { bed_c: p.bed_temperature_c, chamber_c: p.chamber_temperature_c, heads_c: p.start_heads_c };
    let mut clock = Clock::start(p, &start);
    let mut purging = false;
    for m in &program.moves {
        step(&mut clock, job, m, &mut purging);
    }
    clock.finish()
}

/// A program with its heads heated in time, its time split, and the seconds of each of
/// its moves. Heating follows the clock, and the clock the moves: it is timed twice.
pub fn heated(job: &Job, program: Program) -> (Program, TimeSplit, Vec<f64>) {
    let (_, seconds) = time(job, &program);
    let program = sequence::preheat(job, program, &seconds);
    let (split, seconds) = time(job, &program);
    (program, split, seconds)
}

fn step(clock: &mut Clock<'_>, job: &Job, m: &Move, purging: &mut bool) {
    let p = &job.printer;
    let work = |speed_mm_s: f64| Pace { speed_mm_s, acceleration_mm_s2: p.limits.work_mm_s2 };
    match m {
        Move::Travel(to) => {
            let path = Segment::Line { from: clock.at, to: *to };
            let pace = Pace { speed_mm_s: p.limits.travel_mm_s, acceleration_mm_s2: p.limits.travel_mm_s2 };
            clock.leg(path, 0.0, pace, Spent::Travel);
        }
        Move::Z(z) => {
            let path = Segment::Line { from: clock.at, to: clock.at };
            let pace = Pace { speed_mm_s: p.limits.axis_speed_mm_s[2], acceleration_mm_s2: p.limits.z_mm_s2 };
            clock.leg(path, z - clock.z, pace, Spent::Travel);
        }
        Move::Extrude { to, volume_mm3 } => {
            let path = Segment::Line { from: clock.at, to: *to };
            let length = path.length();
            let area = if length > 0.0 { volume_mm3 / length } else { 0.0 };
            let what = if *purging { Spent::Other } else { Spent::Matrix };
            clock.leg(path, 0.0, work(job.bead_speed_mm_s(area)), what);
        }
        Move::Lay { segment, .. } => {
            // the machine sees what is written: chords meet at corners
            let lines = gcode::lines_of(&p.controller, segment);
            clock.legs(&lines, work(job.course_speed_mm_s()), Spent::Fibre);
        }
        Move::Thread(mm) => {
            let speed = gcode::written_speed_mm_s(job.course_speed_mm_s());
            clock.wait(Spent::Fibre, motion::alone(*mm, speed, p.limits.work_mm_s2, p.limits.jerk_mm_s3));
        }
        Move::Cut => clock.wait(Spent::Cutting, p.times.cut_s),
        Move::Dwell(s) => clock.wait(Spent::Other, *s),
        Move::Select(head) => clock.select(*head),
        Move::Heat { head, temperature_c } => clock.heat(*head, *temperature_c),
        Move::HeatWait { head, temperature_c } => clock.heat_wait(*head, *temperature_c),
        Move::PurgeStart | Move::PurgeEnd => {
            *purging = matches!(m, Move::PurgeStart);
            clock.mark();
        }
        Move::Layer { .. } | Move::Bead { .. } | Move::CourseStart(_) | Move::CourseEnd(_) => clock.mark(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::count::f64_of;
    use crate::diagnostic::Notes;
    use crate::geom::pt;
    use crate::job::Head;
    use crate::job::printer::{HeadChange, Heater};

    #[test]
    fn seconds_fall_where_they_are_spent() {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let mut job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        for head in [&mut job.printer.matrix, &mut job.printer.fibre] {
            (head.offset_mm, head.heater) = ([0.0; 3], Heater::of_a_head(2.0, 1.0, None, 400.0));
            head.speed_mm_s = 10.0;
        }
        job.printer.start_heads_c = [120.0; 2];
        (job.matrix.process_temperature_c, job.tow.process_temperature_c) = (220.0, 200.0);
        (job.printer.bed_heating, job.printer.chamber_heating) = (None, None);
        job.printer.limits.work_mm_s2 = 1e9;
        job.printer.limits.travel_mm_s2 = 1e9;
        (job.printer.limits.travel_mm_s, job.printer.limits.axis_speed_mm_s) = (100.0, [100.0; 3]);
        let times = &mut job.printer.times;
        (times.start_s, times.end_s, times.head_change_s, times.cut_s) = (100.0, 6.0, 4.0, 0.5);
        let line = |x: f64, y: f64| Segment::Line { from: pt(0.0, 0.0), to: pt(x, y) };
        let moves = vec![
            Move::Select(Head::Matrix),
            Move::HeatWait { head: Head::Matrix, temperature_c: 220.0 },
            Move::PurgeStart,
            Move::Extrude { to: pt(50.0, 0.0), volume_mm3: 1.0 },
            Move::PurgeEnd,
            Move::Travel(pt(0.0, 0.0)),
            Move::Extrude { to: pt(30.0, 0.0), volume_mm3: 1.0 },
            Move::Heat { head: Head::Fibre, temperature_c: 200.0 },
            Move::Extrude { to: pt(0.0, 0.0), volume_mm3: 1.0 },
            Move::Select(Head::Fibre),
            Move::HeatWait { head: Head::Fibre, temperature_c: 200.0 },
            Move::Thread(15.0),
            Move::Lay { segment: line(40.0, 0.0), fed: true },
            Move::Cut,
            Move::Lay { segment: line(0.0, 15.0), fed: false },
        ];
        let (t, seconds) = time(&job, &Program { moves, ..Program::default() });
        assert_eq!(seconds.len(), 15, "one for each move");
        let near =
            |what: &str, is: f64, want: f64| assert!((is - want).abs() < 1e-3, "{what}: {is} s, {want} s");
        near("matrix", t.matrix, 6.0);
        near("fibre", t.fibre, 1.5 + 4.0 + 1.5);
        near("travel", t.travel, 0.5);
        near("head change", t.head_change, 4.0);
        near("cutting", t.cutting, 0.5);
        near("other", t.other, 100.0 + 6.0 + 4.0 + 5.0);
        // 100 K from standby for the matrix head; the fibre head's 80 K take 40 s,
        // of which the last bead and the change cover 7
        near("heating", t.heating, 50.0 + 33.0);
        near("total", t.total, t.matrix + t.fibre + t.travel + 4.0 + 0.5 + t.other + t.heating);
    }

    /// An example's job on a machine that does everything at once but change heads.
    fn quick() -> Job {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let mut job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        let limits = &mut job.printer.limits;
        (limits.travel_mm_s, limits.travel_mm_s2, limits.axis_speed_mm_s) = (100.0, 1e9, [1e3; 3]);
        (job.printer.bed_heating, job.printer.chamber_heating) = (None, None);
        let times = &mut job.printer.times;
        (times.start_s, times.end_s, times.head_change_s, times.cut_s) = (0.0, 0.0, 4.0, 0.0);
        (job.printer.matrix.offset_mm, job.printer.fibre.offset_mm) = ([0.0; 3], [30.0, 0.0, 0.0]);
        job
    }

    #[test]
    fn heads_that_park_or_dock_take_their_ways() {
        let places = [[0.0, 0.0], [230.0, 0.0]];
        let moves = vec![
            Move::Select(Head::Matrix),
            Move::Travel(pt(100.0, 0.0)),
            Move::Select(Head::Fibre),
            Move::Travel(pt(130.0, 0.0)),
        ];
        // at the place first; 1 s away from it, then the change
        for (change, extra, last) in [
            (HeadChange::Lift, 0.0, 0.0),
            (HeadChange::Park(places), 1.0, 1.0),
            // the empty carriage goes from x 0 to x 200
            (HeadChange::Dock(places), 3.0, 1.0),
        ] {
            let mut job = quick();
            job.printer.head_change = change;
            let (t, s) = time(&job, &Program { moves: moves.clone(), ..Program::default() });
            assert!((t.head_change - 4.0 - extra).abs() < 1e-3, "{change:?}: {} s", t.head_change);
            assert!((s[3] - last).abs() < 1e-3, "{change:?}: then {} s", s[3]);
        }
    }

    #[test]
    fn a_cold_bed_is_waited_for_and_heads_heat_meanwhile() {
        let mut job = quick();
        (job.printer.bed_temperature_c, job.printer.chamber_temperature_c) = (120.0, 60.0);
        job.printer.bed_heating = Some(Heater::that_only_heats(0.5, None));
        job.printer.chamber_heating = Some(Heater::that_only_heats(0.1, None));
        job.printer.times.start_s = 50.0;
        job.printer.matrix.heater = Heater::of_a_head(1.0, 1.0, None, 400.0);
        (job.printer.start_heads_c[0], job.matrix.process_temperature_c) = (190.0, 240.0);
        let moves =
            vec![Move::Select(Head::Matrix), Move::HeatWait { head: Head::Matrix, temperature_c: 240.0 }];
        let (t, s) = time(&job, &Program { moves, ..Program::default() });
        // the chamber takes longest, 400 s, of which the machine homes for 50; the head
        // is at standby by then
        assert!((s[1] - 50.0).abs() < 1e-9 && (t.heating - 350.0 - 50.0).abs() < 1e-9, "{t:?}");
    }

    #[test]
    fn a_slow_controller_slows_chords_and_not_arcs() {
        let arc = crate::geom::Arc { from: pt(5.0, 0.0), to: pt(-5.0, 0.0), centre: pt(0.0, 0.0), ccw: true };
        let mut seconds = Vec::new();
        for (arcs, block_time_s) in [(true, 0.0), (true, 0.1), (false, 0.0), (false, 0.1)] {
            let mut job = quick();
            (job.printer.controller.arcs, job.printer.controller.block_time_s) = (arcs, block_time_s);
            let moves = vec![
                Move::Select(Head::Fibre),
                Move::Travel(pt(5.0, 0.0)),
                Move::Lay { segment: Segment::Arc(arc), fed: true },
            ];
            seconds.push(time(&job, &Program { moves, ..Program::default() }).1[2]);
        }
        assert!((seconds[0] - seconds[1]).abs() < 1e-9, "an arc is one line: {seconds:?}");
        let chords = gcode::lines_of(&arcless(&quick()), &Segment::Arc(arc)).len();
        let want = 0.1 * f64_of(chords);
        assert!((seconds[3] / want - 1.0).abs() < 0.01, "{chords} chords in {} s", seconds[3]);
    }

    #[test]
    fn chords_meet_at_corners_that_a_machine_slows_down_for() {
        // a turn of 5 mm radius in chords of 0.01 mm sagitta: 25 of them turn by 7.2 degrees each
        let arc = crate::geom::Arc { from: pt(5.0, 0.0), to: pt(-5.0, 0.0), centre: pt(0.0, 0.0), ccw: true };
        let mut job = quick();
        let limits = &mut job.printer.limits;
        (limits.work_mm_s2, limits.corner_deviation_mm, limits.jerk_mm_s3) = (50.0, 1e-4, f64::INFINITY);
        job.printer.fibre.speed_mm_s = 50.0;
        let mut time_of = |arcs: bool| {
            job.printer.controller.arcs = arcs;
            let moves = vec![
                Move::Select(Head::Fibre),
                Move::Travel(pt(5.0, 0.0)),
                Move::Lay { segment: Segment::Arc(arc), fed: true },
            ];
            let (split, seconds) = time(&job, &Program { moves, ..Program::default() });
            assert!((split.fibre - seconds[2]).abs() < 1e-9, "all of it is in one move's time");
            seconds[2]
        };
        let (smooth, chorded) = (time_of(true), time_of(false));
        // closed form: from corner to corner at v = sqrt(a dev s / (1 - s)) at both, up and
        // down between them
        let lines = gcode::lines_of(&arcless(&quick()), &Segment::Arc(arc));
        let (n, chord) = (f64_of(lines.len()), lines[1].length());
        let turn = std::f64::consts::PI / n;
        let s = crate::geom::trig::cos(0.5 * turn);
        let corner = (50.0 * 1e-4 * s / (1.0 - s)).sqrt();
        let between = 2.0 * ((corner * corner + 50.0 * chord).sqrt() - corner) / 50.0;
        let first = 2.0 * ((0.5 * corner * corner + 50.0 * chord).sqrt() - 0.5 * corner) / 50.0;
        let want = (n - 2.0) * between + 2.0 * first;
        assert!((chorded / want - 1.0).abs() < 0.02, "{chorded} s, {want} s");
        assert!(chorded > 1.2 * smooth, "{chorded} s in chords, {smooth} s along the arc");
    }

    fn arcless(job: &Job) -> crate::job::printer::Controller {
        crate::job::printer::Controller { arcs: false, ..job.printer.controller.clone() }
    }
}
