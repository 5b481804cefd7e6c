//! Heads cool while they wait and are hot again when their turn comes.
//!
//! Turn by turn, with both heads' temperatures kept along: the head that is put
//! aside goes to standby when the other one is selected, so that it cools while
//! that one is waited for, too. It is heated again at the last place in the other
//! head's work from which it is hot when it has to lay. A head that has no turn for long,
//! or none any more, is off.

use super::build::AWAY_MM;
use super::{Move, Program};
use crate::job::printer::{HeadChange, ROOM_C};
use crate::job::{Head, Job};

/// How much sooner than the clock asks for a head is heated again, s: moves and
/// heaters are not as exact as their model, and a wait costs more than this.
const MARGIN_S: f64 = 5.0;

/// A head that could cool by less than this before it is heated again stays
/// hot, K: it would not ooze any less.
const SMALLEST_DROP_K: f64 = 10.0;

/// A head that would be hot sooner than this before its turn, because a long course
/// leaves no later place to heat it, is heated behind that course and waited for, s.
const LONGEST_EARLY_S: f64 = 50.0;

/// A head whose first turn is further off than this is off until it is heated for it, s:
/// at standby what is in it ages.
const LONG_IDLE_S: f64 = 900.0;

/// A heater's target when it is off, degC.
const OFF_C: f64 = 0.0;

/// A head is waited for above the part at most this long, s: a hot nozzle scorches what lies
/// below it. For longer it goes well clear first.
const LONGEST_ABOVE_S: f64 = 5.0;

/// A head on its way to a temperature.
#[derive(Clone, Copy)]
struct Warmth {
    at_c: f64,
    target_c: f64,
    since: f64,
}

struct Heads<'a> {
    job: &'a Job,
    warmth: [Warmth; 2],
}

impl Heads<'_> {
    /// What a head has at work, and while it waits, degC.
    fn targets(&self, head: Head) -> (f64, f64) {
        let working = self.job.temperature_c(head);
        (working, self.job.printer.head(head).standby_temperature_c)
    }

    fn at(&self, head: Head, now: f64) -> f64 {
        let w = self.warmth[head.index()];
        self.job.printer.head(head).heater.after(w.at_c, w.target_c, now - w.since)
    }

    fn aim(&mut self, head: Head, now: f64, target_c: f64) {
        self.warmth[head.index()] = Warmth { at_c: self.at(head, now), target_c, since: now };
    }

    /// How cold a head gets that is put aside and has to be hot again by then: cooling and
    /// heating fill the time, or standby is reached first. Before its first turn it has
    /// not been hot yet. `None` where it would cool too little to be worth it.
    fn lowest(&self, idle: Head, aside: f64, hot_by: f64, first: bool) -> Option<f64> {
        let (working, standby) = self.targets(idle);
        if first {
            return Some(self.at(idle, hot_by).min(working));
        }
        let heater = self.job.printer.head(idle).heater;
        let whole = heater.seconds(self.at(idle, aside), standby) + heater.seconds(standby, working);
        let drop = heater.drop_within(working, hot_by - aside);
        if drop < SMALLEST_DROP_K {
            return None;
        }
        Some(if whole <= hot_by - aside { standby } else { (working - drop).max(standby) })
    }

    /// Seconds until a head is hot, and it is.
    fn wait(&mut self, head: Head, now: f64) -> f64 {
        let (working, _) = self.targets(head);
        let s = self.job.printer.head(head).heater.seconds(self.at(head, now), working);
        // a machine that never gets there is refused with its profile
        let s = if s.is_finite() { s } else { 0.0 };
        self.warmth[head.index()] = Warmth { at_c: working, target_c: working, since: now + s };
        s
    }
}

/// Puts heating commands into a program whose moves take `seconds` each: a head
/// that is put aside goes to standby, and is heated again so early that it is hot
/// when it is to lay. A turn of the other head that is too short for that leaves it
/// hot. What the moves wait for heat in `seconds` is found anew.
pub fn preheat(job: &Job, program: Program, seconds: &[f64]) -> Program {
    let moves = &program.moves;
    let takes = |i: usize| match moves.get(i) {
        None | Some(Move::HeatWait { .. }) => 0.0,
        Some(_) => seconds.get(i).copied().unwrap_or(0.0),
    };
    let breaks = breaks(moves);
    let selections: Vec<(usize, Head)> = moves
        .iter()
        .enumerate()
        .filter_map(|(i, m)| if let Move::Select(h) = m { Some((i, *h)) } else { None })
        .collect();
    let p = &job.printer;
    let cold = Warmth { at_c: ROOM_C, target_c: ROOM_C, since: 0.0 };
    let mut heads = Heads { job, warmth: [cold; 2] };
    for head in [Head::Matrix, Head::Fibre] {
        heads.aim(head, 0.0, p.start_heads_c[head.index()]);
    }
    let mut now = p.times.start_s + p.start_wait_s(p.bed_temperature_c, p.chamber_temperature_c);
    let mut inserts: Vec<(usize, Move)> = Vec::new();
    for (k, &(i, head)) in selections.iter().enumerate() {
        let idle = match head {
            Head::Matrix => Head::Fibre,
            Head::Fibre => Head::Matrix,
        };
        let (working, standby) = heads.targets(idle);
        now += takes(i);
        let aside = now;
        let waits = heads.wait(head, now);
        now += waits;
        if k > 0 && waits > LONGEST_ABOVE_S {
            inserts.extend(away(job, moves, i, [idle, head]).map(|z| (i, Move::Z(z))));
        }
        let next = selections.get(k + 1).map(|s| s.0);
        // time at which each move of this turn begins: behind the wait for this head
        let end = next.unwrap_or(moves.len());
        let begin = (i + 2).min(end);
        let mut clock = Vec::with_capacity(end - begin + 1);
        for m in begin..end {
            clock.push(now);
            now += takes(m);
        }
        clock.push(now);
        let set = |temperature_c: f64| Move::Heat { head: idle, temperature_c };
        let Some(next) = next else {
            inserts.push((i + 1, set(OFF_C)));
            continue;
        };
        // the other head lays once it is in its place
        let hot_by = now + takes(next) - MARGIN_S;
        let first = k == 0;
        let heated = |heads: &Heads<'_>| {
            let lowest = heads.lowest(idle, aside, hot_by, first)?;
            let due = hot_by - job.printer.head(idle).heater.seconds(lowest, working);
            // before its first turn it is cold already, and may be heated along with the other
            let along = first.then_some((i + 1, aside));
            let places = (begin..=end).filter(|&m| breaks[m] || m == end).map(|m| (m, clock[m - begin]));
            heated_at(along.into_iter().chain(places), due, !first && lowest > standby)
        };
        // off until its first turn, where heating from room temperature leaves it off for long
        let standing_by = heads.warmth[idle.index()];
        let mut off = None;
        if first {
            heads.aim(idle, aside, ROOM_C);
            off = heated(&heads).filter(|(_, then)| then - aside > LONG_IDLE_S);
        }
        if off.is_none() {
            heads.warmth[idle.index()] = standing_by;
        }
        let Some((at, then)) = off.or_else(|| heated(&heads)) else { continue };
        let (down, down_c) = if off.is_some() { (OFF_C, ROOM_C) } else { (standby, standby) };
        inserts.push((i + 1, set(down)));
        inserts.push((at, set(working)));
        heads.aim(idle, aside, down_c);
        heads.aim(idle, then, working);
    }
    let moves = inserted(moves, inserts);
    Program { moves, ..program }
}

/// How high the nozzle that is put aside by a change goes so that neither is near the part,
/// mm; `None` where heads wait off the bed anyway.
fn away(job: &Job, moves: &[Move], change: usize, [old, new]: [Head; 2]) -> Option<f64> {
    let p = &job.printer;
    if !matches!(p.head_change, HeadChange::Lift) {
        return None;
    }
    let z = moves[..change].iter().rev().find_map(|m| if let Move::Z(z) = m { Some(*z) } else { None })?;
    let (old, new) = (p.head(old), p.head(new));
    // both hang at one carriage
    let highest = old.reach_mm[2][1].min(new.reach_mm[2][1] + old.offset_mm[2] - new.offset_mm[2]);
    Some((z + AWAY_MM).min(highest)).filter(|up| *up > z)
}

/// Moves with others put in before those of the given numbers, which are in order.
fn inserted(moves: &[Move], inserts: Vec<(usize, Move)>) -> Vec<Move> {
    let mut out = Vec::with_capacity(moves.len() + inserts.len());
    let mut pending = inserts.into_iter().peekable();
    for (i, m) in moves.iter().enumerate() {
        while let Some((_, put_in)) = pending.next_if(|(at, _)| *at == i) {
            out.push(put_in);
        }
        out.push(m.clone());
    }
    out.extend(pending.map(|(_, m)| m));
    out
}

/// Before which move, and when, a head is heated again: of the places in the other head's
/// work, in order, the last one by which it is due, or the first behind it where that would
/// be much too early. `None` where it stays hot: on its way down there is no place by then.
fn heated_at(
    places: impl Iterator<Item = (usize, f64)>,
    due: f64,
    on_the_way_down: bool,
) -> Option<(usize, f64)> {
    let (mut early, mut late) = (None, None);
    for place in places {
        if place.1 <= due {
            early = Some(place);
        } else {
            late = late.or(Some(place));
        }
    }
    match (early, late) {
        (Some(early), None) => Some(early),
        (Some(early), _) if due - early.1 <= LONGEST_EARLY_S => Some(early),
        (None, _) if on_the_way_down => None,
        (_, late) => late,
    }
}

/// Moves before which a command may stand without breaking into a course, a bead
/// or a purge.
fn breaks(moves: &[Move]) -> Vec<bool> {
    let mut inside = false;
    moves
        .iter()
        .map(|m| match m {
            Move::CourseStart(_) | Move::PurgeStart => {
                inside = true;
                true
            }
            Move::CourseEnd(_) | Move::PurgeEnd => {
                inside = false;
                false
            }
            Move::Layer { .. } | Move::Z(_) | Move::Travel(_) | Move::Select(_) => !inside,
            _ => false,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnostic::Notes;
    use crate::geom::pt;
    use crate::job::printer::Heater;

    fn job() -> Job {
        let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/link/job.toml");
        let mut job = crate::job::read(&mut Notes::default(), &path).expect("the example's job");
        for head in [&mut job.printer.matrix, &mut job.printer.fibre] {
            head.heater = Heater::of_a_head(2.0, 1.0, None, 400.0);
            head.standby_temperature_c = 150.0;
        }
        job.printer.start_heads_c = [150.0; 2];
        (job.matrix.process_temperature_c, job.tow.process_temperature_c) = (250.0, 250.0);
        job
    }

    /// Turns of the heads, each of some moves that take 10 s, all courses for the
    /// fibre head. Gives moves and seconds.
    fn turns(lengths: &[usize]) -> (Vec<Move>, Vec<f64>) {
        let (mut moves, mut seconds) = (Vec::new(), Vec::new());
        let mut push = |m: Move, s: f64| {
            moves.push(m);
            seconds.push(s);
        };
        for (k, &n) in lengths.iter().enumerate() {
            let head = if k % 2 == 0 { Head::Matrix } else { Head::Fibre };
            push(Move::Select(head), 5.0);
            push(Move::HeatWait { head, temperature_c: 250.0 }, 0.0);
            for _ in 0..n {
                if head == Head::Fibre {
                    push(Move::CourseStart("L1.1".to_owned()), 0.0);
                    push(Move::Travel(pt(0.0, 0.0)), 3.0);
                    push(Move::Thread(15.0), 4.0);
                    push(Move::Cut, 3.0);
                    push(Move::CourseEnd("L1.1".to_owned()), 0.0);
                } else {
                    push(Move::Travel(pt(0.0, 0.0)), 2.0);
                    push(Move::Extrude { to: pt(9.0, 0.0), volume_mm3: 1.0 }, 8.0);
                }
            }
        }
        (moves, seconds)
    }

    /// Those to the matrix head: when, and degC.
    fn matrix_commands(program: &Program, moves: &[Move], seconds: &[f64]) -> Vec<(f64, i64)> {
        let all = commands(program, moves, seconds).into_iter();
        all.filter(|c| c.1 == Head::Matrix).map(|(t, _, c)| (t, c)).collect()
    }

    /// Commands without waiting: second at which they stand, head, whole degrees.
    fn commands(program: &Program, before: &[Move], seconds: &[f64]) -> Vec<(f64, Head, i64)> {
        let (mut now, mut k) = (0.0, 0);
        let mut out = Vec::new();
        for m in &program.moves {
            if let Move::Heat { head, temperature_c } = m {
                #[expect(clippy::cast_possible_truncation, reason = "whole degrees here")]
                out.push((now, *head, temperature_c.round() as i64));
            } else {
                assert_eq!(Some(m), before.get(k), "the other moves stay as they were");
                now += seconds[k];
                k += 1;
            }
        }
        out
    }

    #[test]
    fn a_head_is_hot_again_when_its_turn_comes() {
        let (moves, seconds) = turns(&[20, 20, 20]);
        let program = preheat(&job(), Program { moves: moves.clone(), ..Program::default() }, &seconds);
        let found = commands(&program, &moves, &seconds);
        // heads are selected at 0, 205 and 410 s and in place 5 s later; 100 K take 50 s to heat
        let fibre: Vec<&(f64, Head, i64)> = found.iter().filter(|c| c.1 == Head::Fibre).collect();
        assert_eq!(fibre[0].2, 150, "standby first");
        assert_eq!(fibre[1].2, 250, "then heated");
        assert!((140.0..=155.0).contains(&fibre[1].0), "50 s and some margin before 210 s: {}", fibre[1].0);
        assert_eq!(fibre[2].2, 0, "off after its last turn");
        let matrix: Vec<&(f64, Head, i64)> = found.iter().filter(|c| c.1 == Head::Matrix).collect();
        assert!(
            (matrix[0].0 - 210.0).abs() < 1e-9 && matrix[0].2 == 150,
            "put aside when the fibre head is selected"
        );
        assert!((345.0..=360.0).contains(&matrix[1].0), "50 s and some margin before 415 s: {}", matrix[1].0);
    }

    #[test]
    fn the_head_put_aside_cools_while_the_other_is_waited_for() {
        let mut job = job();
        // 100 K take 250 s to heat and 50 s to cool: the first turn, 20 s, is too short for that
        for head in [&mut job.printer.matrix, &mut job.printer.fibre] {
            head.heater = Heater::of_a_head(0.4, 2.0, None, 400.0);
        }
        let (moves, seconds) = turns(&[2, 40, 2]);
        let program = preheat(&job, Program { moves: moves.clone(), ..Program::default() }, &seconds);
        let matrix = matrix_commands(&program, &moves, &seconds);
        // seconds of the moves alone, without the wait that follows the first
        assert_eq!(matrix[0], (30.0, 150), "put aside before the wait");
        assert_eq!(matrix[1].1, 250, "heated again");
        assert!((165.0..=180.0).contains(&matrix[1].0), "250 s before 435 s: {}", matrix[1].0);
    }

    #[test]
    fn a_head_whose_first_turn_is_far_off_is_off_until_then() {
        let (moves, seconds) = turns(&[300, 4]);
        let program = preheat(&job(), Program { moves: moves.clone(), ..Program::default() }, &seconds);
        let all = commands(&program, &moves, &seconds);
        let fibre: Vec<(f64, i64)> = all.iter().filter(|c| c.1 == Head::Fibre).map(|c| (c.0, c.2)).collect();
        assert_eq!(fibre[0], (5.0, 0), "off, whatever the start block does");
        // from room temperature at 2 K/s
        let (at, to) = fibre[1];
        assert!(to == 250 && (2870.0..=2890.0).contains(&at), "heated for its turn at 3010 s: {fibre:?}");
        let matrix = matrix_commands(&program, &moves, &seconds);
        assert_eq!(matrix.last().map(|c| c.1), Some(0), "off once it has no turn left: {matrix:?}");
    }

    #[test]
    fn a_long_wait_for_heat_is_not_spent_above_the_part() {
        let mut job = job();
        for head in [&mut job.printer.matrix, &mut job.printer.fibre] {
            head.heater = Heater::of_a_head(0.2, 2.0, None, 400.0);
        }
        let (mut moves, mut seconds) = turns(&[2, 40, 2]);
        let change = moves.iter().position(|m| *m == Move::Select(Head::Fibre)).expect("a change");
        moves.insert(change, Move::Z(1.0));
        seconds.insert(change, 0.1);
        let lifts = |job: &Job| {
            let program = preheat(job, Program { moves: moves.clone(), ..Program::default() }, &seconds);
            let at = program.moves.iter().position(|m| *m == Move::Select(Head::Fibre)).expect("a change");
            program.moves[at - 1].clone()
        };
        assert_eq!(lifts(&job), Move::Z(1.0 + AWAY_MM));
        job.printer.fibre.reach_mm[2][1] = 12.0;
        job.printer.fibre.offset_mm[2] = job.printer.matrix.offset_mm[2];
        assert_eq!(lifts(&job), Move::Z(12.0), "as high as both reach");
        job.printer.head_change = HeadChange::Park([[0.0; 2]; 2]);
        assert_eq!(lifts(&job), Move::Z(1.0), "off the bed");
    }

    #[test]
    fn a_course_too_long_to_heat_before_it_is_heated_behind() {
        let (moves, mut seconds) = turns(&[20, 1, 20]);
        let thread = moves.iter().position(|m| matches!(m, Move::Thread(_))).expect("a course");
        seconds[thread] = 400.0;
        let program = preheat(&job(), Program { moves: moves.clone(), ..Program::default() }, &seconds);
        let matrix = matrix_commands(&program, &moves, &seconds);
        assert_eq!((matrix[0].1, matrix[1].1), (150, 250), "aside, then heated: {matrix:?}");
        assert!(matrix[1].0 - matrix[0].0 > 400.0, "it does not stand hot for the whole course: {matrix:?}");
    }

    #[test]
    fn commands_never_stand_inside_a_course() {
        let (moves, seconds) = turns(&[7, 9, 8, 30, 2]);
        let program = preheat(&job(), Program { moves, ..Program::default() }, &seconds);
        let (mut inside, mut heats) = (false, 0);
        for m in &program.moves {
            match m {
                Move::CourseStart(_) => inside = true,
                Move::CourseEnd(_) => inside = false,
                Move::Heat { .. } => {
                    assert!(!inside, "a course is laid without interruption");
                    heats += 1;
                }
                _ => {}
            }
        }
        assert!(heats > 0, "long turns let the other head cool");
    }

    #[test]
    fn a_short_turn_leaves_the_other_head_hot_or_cools_it_a_little() {
        let (moves, seconds) = turns(&[20, 1, 20, 6, 20]);
        let program = preheat(&job(), Program { moves: moves.clone(), ..Program::default() }, &seconds);
        let matrix = matrix_commands(&program, &moves, &seconds);
        // the fibre head's turn of 10 s changes nothing, its turn of 60 s cools by 2/3 of 55 K
        assert_eq!(matrix.len(), 2, "one turn long enough: {matrix:?}");
        let (aside, heated) = (matrix[0].0, matrix[1].0);
        assert!(heated > aside, "cooled and heated again");
        let cooled = heated - aside;
        assert!(cooled * 1.0 / 2.0 <= 60.0 - cooled, "hot again in the time that is left");
    }
}
