//! Heads cool while they wait and are hot again when their turn comes.

use super::{Move, Program};
use crate::job::{Head, Job};

/// Puts heating commands into a program whose moves take `seconds` each: a head
/// that is put aside goes to standby, and is heated again so early that it is hot
/// when it is selected. A wait too short for that leaves it hot.
pub fn preheat(job: &Job, program: Program, seconds: &[f64]) -> Program {
    let moves = &program.moves;
    // time at which each move begins
    let mut clock = Vec::with_capacity(moves.len());
    let mut now = 0.0;
    for (i, _) in moves.iter().enumerate() {
        clock.push(now);
        now += seconds.get(i).copied().unwrap_or(0.0);
    }
    let mut inserts: Vec<(usize, Move)> = Vec::new();
    let working = |head: Head| match head {
        Head::Matrix => job.matrix.process_temperature_c,
        Head::Fibre => job.tow.process_temperature_c,
    };
    let selections: Vec<(usize, Head)> = moves
        .iter()
        .enumerate()
        .filter_map(|(i, m)| if let Move::Select(h) = m { Some((i, *h)) } else { None })
        .collect();
    for (k, &(i, head)) in selections.iter().enumerate() {
        let idle = match head {
            Head::Matrix => Head::Fibre,
            Head::Fibre => Head::Matrix,
        };
        let profile = job.printer.head(idle);
        let warm_up = (working(idle) - profile.standby_temperature_c).max(0.0) / profile.heating_k_s;
        let cool_down = (working(idle) - profile.standby_temperature_c).max(0.0) / profile.cooling_k_s;
        let standby = Move::Heat { head: idle, temperature_c: profile.standby_temperature_c };
        let Some(&(next, _)) = selections.get(k + 1) else {
            if k > 0 {
                inserts.push((i + 1, standby));
            }
            continue;
        };
        // the first time the idle head is cold, not at its working temperature
        let first = k == 0;
        let available = clock[next] - clock[i];
        if first || available > warm_up + cool_down.min(warm_up) {
            inserts.push((i + 1, standby));
        } else {
            continue;
        }
        let begin = clock[next] - warm_up;
        // the last move that begins no later than that, and still this head's own
        let at = (i + 2..=next).rev().find(|&m| clock[m] <= begin).unwrap_or(i + 2).min(next);
        inserts.push((at, Move::Heat { head: idle, temperature_c: working(idle) }));
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
