//! Heads cool while they wait and are hot again when their turn comes.

use super::{Move, Program};
use crate::job::{Head, Job};

/// How much sooner than the clock asks for a head is heated again, s: moves and
/// heaters are not as exact as their model, and a wait costs more than this.
const MARGIN_S: f64 = 5.0;

/// A head that could cool by less than this before it is heated again stays
/// hot, K: it would not ooze any less.
const SMALLEST_DROP_K: f64 = 10.0;

/// Puts heating commands into a program whose moves take `seconds` each: a head
/// that is put aside goes to standby, and is heated again so early that it is hot
/// when it is selected. A turn of the other head that is too short for that
/// leaves it hot.
pub fn preheat(job: &Job, program: Program, seconds: &[f64]) -> Program {
    let moves = &program.moves;
    // time at which each move begins
    let mut clock = Vec::with_capacity(moves.len() + 1);
    let mut now = 0.0;
    for (i, _) in moves.iter().enumerate() {
        clock.push(now);
        now += seconds.get(i).copied().unwrap_or(0.0);
    }
    clock.push(now);
    let breaks = breaks(moves);
    let selections: Vec<(usize, Head)> = moves
        .iter()
        .enumerate()
        .filter_map(|(i, m)| if let Move::Select(h) = m { Some((i, *h)) } else { None })
        .collect();
    let mut inserts: Vec<(usize, Move)> = Vec::new();
    for (k, &(i, head)) in selections.iter().enumerate() {
        let idle = match head {
            Head::Matrix => Head::Fibre,
            Head::Fibre => Head::Matrix,
        };
        let profile = job.printer.head(idle);
        let working = match idle {
            Head::Matrix => job.matrix.process_temperature_c,
            Head::Fibre => job.tow.process_temperature_c,
        };
        // a material that is laid cooler than the head stands by at never gets hotter
        let standby = profile.standby_temperature_c.min(working);
        let set = |temperature_c: f64| Move::Heat { head: idle, temperature_c };
        let Some(&(next, _)) = selections.get(k + 1) else {
            inserts.push((i + 1, set(standby)));
            continue;
        };
        // the turn begins when this head is hot: behind the wait that follows it
        let begin = (i + 2).min(next);
        let turn = clock[next] - clock[begin] - MARGIN_S;
        let heater = &profile.heater;
        // cooling and heating again fill the turn, or reach standby first
        let drop = heater.drop_within(working, turn).min(working - standby);
        let first = k == 0;
        if !first && drop < SMALLEST_DROP_K {
            continue;
        }
        inserts.push((i + 1, set(standby)));
        // before its first turn a head comes from standby, however short the turn
        let rise = if first { working - standby } else { drop };
        let due = clock[next] - MARGIN_S - heater.seconds(working - rise, working);
        let at = (begin..next).rev().find(|&m| breaks[m] && clock[m] <= due).unwrap_or(begin);
        inserts.push((at, set(working)));
    }
    let mut out = Vec::with_capacity(moves.len() + inserts.len());
    let mut pending = inserts.into_iter().peekable();
    for (i, m) in program.moves.iter().enumerate() {
        while pending.peek().is_some_and(|(at, _)| *at == i) {
            out.extend(pending.next().map(|(_, m)| m));
        }
        out.push(m.clone());
    }
    out.extend(pending.map(|(_, m)| m));
    Program { moves: out, ..program }
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
        // turns begin at 0, 205 and 410 s; 100 K take 50 s to heat
        let fibre: Vec<&(f64, Head, i64)> = found.iter().filter(|c| c.1 == Head::Fibre).collect();
        assert_eq!(fibre[0].2, 150, "standby first");
        assert_eq!(fibre[1].2, 250, "then heated");
        assert!((135.0..=150.0).contains(&fibre[1].0), "50 s and some margin before 205 s: {}", fibre[1].0);
        assert_eq!(fibre[2].2, 150, "standby after its last turn");
        let matrix: Vec<&(f64, Head, i64)> = found.iter().filter(|c| c.1 == Head::Matrix).collect();
        assert!(
            (matrix[0].0 - 210.0).abs() < 1e-9 && matrix[0].2 == 150,
            "put aside when the fibre head is selected"
        );
        assert!((340.0..=355.0).contains(&matrix[1].0), "50 s and some margin before 410 s: {}", matrix[1].0);
    }

    #[test]
    fn commands_never_stand_inside_a_course() {
        let (moves, seconds) = turns(&[7, 9, 8, 30, 2]);
        let program = preheat(&job(), Program { moves, ..Program::default() }, &seconds);
        let mut inside = false;
        for m in &program.moves {
            match m {
                Move::CourseStart(_) => inside = true,
                Move::CourseEnd(_) => inside = false,
                Move::Heat { .. } => assert!(!inside, "a course is laid without interruption"),
                _ => {}
            }
        }
    }

    #[test]
    fn a_short_turn_leaves_the_other_head_hot_or_cools_it_a_little() {
        let (moves, seconds) = turns(&[20, 1, 20, 6, 20]);
        let program = preheat(&job(), Program { moves: moves.clone(), ..Program::default() }, &seconds);
        let matrix: Vec<(f64, i64)> = commands(&program, &moves, &seconds)
            .into_iter()
            .filter(|c| c.1 == Head::Matrix)
            .map(|(t, _, c)| (t, c))
            .collect();
        // the fibre head's turn of 10 s changes nothing, its turn of 60 s cools by 2/3 of 55 K
        assert_eq!(matrix.len(), 2, "one turn long enough: {matrix:?}");
        let (aside, heated) = (matrix[0].0, matrix[1].0);
        assert!(heated > aside, "cooled and heated again");
        let cooled = heated - aside;
        assert!(cooled * 1.0 / 2.0 <= 60.0 - cooled, "hot again in the time that is left");
    }
}
