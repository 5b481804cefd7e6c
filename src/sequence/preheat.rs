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
        let (up, down) = (profile.heating_k_s, profile.cooling_k_s);
        // cooling and heating again fill the turn, or reach standby first
        let drop = (working - standby).min(turn * up * down / (up + down));
        let first = k == 0;
        if !first && drop < SMALLEST_DROP_K {
            continue;
        }
        inserts.push((i + 1, set(standby)));
        // before its first turn a head comes from standby, however short the turn
        let rise = if first { working - standby } else { drop };
        let due = clock[next] - MARGIN_S - rise / up;
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
