//! Learns from timed prints: head change, block time and accelerations.
//!
//! Least squares over the times of several programs, by Gauss-Newton steps on
//! parameters that are counted in plausible changes, so that the singular values
//! of the sensitivities say which of them the times can tell apart (singular value
//! decomposition; Golub & Van Loan, *Matrix Computations*, 4th ed. 2013, 5.5,
//! from memory). Parameters that share a direction along which a plausible change moves no
//! time by more than a watch's error are not learned at all, and stay as the profile has
//! them: how to split a change among them nothing tells. Where the others then do not
//! make the programs take their times, nothing is fitted.

use super::edit;
use crate::diagnostic::{Diagnostic, Faults, Outcome, Source};
use crate::gcode::clock;
use crate::geom::trig;
use crate::job::{Printer, printer};
use crate::verify::timeline::Timeline;
use nalgebra::{DMatrix, DVector};
use std::sync::Arc;

/// A program and how long it took.
#[derive(Clone, Debug)]
pub struct Timed {
    /// Its name, for messages.
    pub name: String,
    /// Its text.
    pub text: String,
    /// From its first line to its last, s.
    pub took_s: f64,
}

/// What a fit gives.
#[derive(Clone, Debug)]
pub struct Fitted {
    /// The profile's text with the new values.
    pub text: String,
    /// Each parameter.
    pub parameters: Vec<Learned>,
    /// Each program: name, seconds it took, modelled before and after.
    pub programs: Vec<(String, f64, f64, f64)>,
    /// Directions that the times tell apart.
    pub rank: usize,
    /// Largest over smallest singular value of what was learned; infinite where one is zero.
    pub condition: f64,
    /// What the times cannot tell, one line each. The parameters named stay as they were.
    pub untold: Vec<String>,
}

/// One parameter.
#[derive(Clone, Debug)]
pub struct Learned {
    /// Its path in the profile.
    pub key: String,
    /// Before.
    pub before: f64,
    /// After.
    pub after: f64,
}

/// What can be learned.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Parameter {
    HeadChange,
    BlockTime,
    Work,
    Travel,
}

impl Parameter {
    const ALL: [Self; 4] = [Self::HeadChange, Self::BlockTime, Self::Work, Self::Travel];

    /// Table and key.
    fn place(self) -> (&'static [&'static str], &'static str) {
        match self {
            Self::HeadChange => (&["times"], "head_change_s"),
            Self::BlockTime => (&["controller"], "block_time_s"),
            Self::Work => (&["limits", "acceleration_mm_s2"], "work"),
            Self::Travel => (&["limits", "acceleration_mm_s2"], "travel"),
        }
    }

    fn key(self) -> String {
        let (table, key) = self.place();
        format!("{}.{key}", table.join("."))
    }

    fn of(self, p: &Printer) -> f64 {
        match self {
            Self::HeadChange => p.times.head_change_s,
            Self::BlockTime => p.controller.block_time_s,
            Self::Work => p.limits.work_mm_s2,
            Self::Travel => p.limits.travel_mm_s2,
        }
    }

    fn set(self, p: &mut Printer, value: f64) {
        match self {
            Self::HeadChange => p.times.head_change_s = value,
            Self::BlockTime => p.controller.block_time_s = value,
            Self::Work => p.limits.work_mm_s2 = value,
            Self::Travel => p.limits.travel_mm_s2 = value,
        }
    }

    /// Whether its plausible change is a factor of two.
    fn is_a_factor(self) -> bool {
        matches!(self, Self::Work | Self::Travel)
    }

    /// The value `x` plausible changes away from the profile's: some seconds for a
    /// head change, some milliseconds for a line, a factor for an acceleration.
    fn moved(self, prior: f64, x: f64) -> f64 {
        match self {
            Self::HeadChange => (prior + x * HEAD_CHANGE_S).clamp(0.0, 60.0),
            Self::BlockTime => (prior + x * BLOCK_TIME_S).clamp(0.0, 0.5),
            Self::Work | Self::Travel => (prior * trig::exp(x * std::f64::consts::LN_2)).clamp(1.0, 50_000.0),
        }
    }
}

/// A plausible change of the time of a head change, s.
const HEAD_CHANGE_S: f64 = 3.0;

/// A plausible change of the time for a line, s.
const BLOCK_TIME_S: f64 = 0.003;

/// What a watch and a start by hand are good for, s.
const WATCH_S: f64 = 1.0;

/// What the model is good for at best, a share of the time.
const MODEL: f64 = 0.001;

/// A direction is learned where a plausible change moves the times by so many
/// times their error.
const TOLD: f64 = 3.0;

/// Most that a fitted program may be off its time, a share of it: the clock of a profile
/// whose values are right is right to two hundredths for parts that were not timed.
const MOST_OFF: f64 = 0.03;

/// Plausible changes beyond which a fitted factor is doubted: eight times more or less than
/// the controller is set to is no acceleration that somebody set by mistake.
const FAR: f64 = 3.0;

/// Step of the differences, in plausible changes.
const STEP: f64 = 0.05;

/// Gauss-Newton steps; it settles in five to ten.
const STEPS: usize = 30;

/// Times for a line from which the search begins besides the profile's own, s:
/// below the least that slows anything the times do not change with it.
const BEGIN_S: [f64; 4] = [0.001, 0.003, 0.008, 0.02];

/// Fits a printer's profile to timed programs. With `hot`, bed and chamber were hot when
/// each program began, so that nothing waited for them.
///
/// Errors: `program-unread`; `fit-off` where no plausible values make a program take its time;
/// `fit-profile` where the profile's text has no place for a value.
pub fn fit(source: &Arc<Source>, profile: &Printer, timed: &[Timed], hot: bool) -> Outcome<Fitted> {
    let mut machine = profile.clone();
    if hot {
        (machine.bed_heating, machine.chamber_heating) = (None, None);
    }
    let mut data = Vec::new();
    for t in timed {
        data.push((Timeline::of(&machine, &t.name, t.text.as_bytes())?, t.took_s));
    }
    let problem = Problem { printer: machine, data };
    let begin = problem.residuals(&[0.0; 4]);
    // what the times hardly depend on, or cannot tell from something else, stays as it is, and
    // the others are sought again
    let mut free = [true; 4];
    let mut untold: Vec<String> = Vec::new();
    let of_the_profile = problem.sensitivities(&[0.0; 4], &free);
    let (x, rank, condition) = loop {
        let x = problem.search(&free);
        let sensitivities = problem.sensitivities(&x, &free);
        // neither as the profile has it nor as found: a value that ran away moves nothing more
        let moves = |k: usize| of_the_profile.column(k).norm().max(sensitivities.column(k).norm());
        let weak: Vec<usize> = (0..4).filter(|k| free[*k] && moves(*k) < TOLD).collect();
        if !weak.is_empty() {
            for k in weak {
                free[k] = false;
                untold.push(format!("these times hardly depend on {}: it stays as it was", name(k)));
            }
            continue;
        }
        let told = told(&sensitivities, &free);
        let Some(alike) = told.alike else { break (x, told.rank, told.condition) };
        let names: Vec<String> = alike.iter().map(|k| name(*k)).collect();
        untold.push(match names.as_slice() {
            [one] => format!("these times cannot tell {one} from the others: it stays as it was"),
            _ => format!("these times cannot tell {} apart: they stay as they were", names.join(" and ")),
        });
        alike.into_iter().for_each(|k| free[k] = false);
    };
    let left = problem.residuals(&x);
    let off: Vec<Diagnostic> = timed
        .iter()
        .zip(left.iter())
        .filter_map(|(t, r)| too_far(t, r * error(t.took_s), hot, &untold))
        .collect();
    if !off.is_empty() {
        return Err(Faults(off));
    }
    for (t, r) in timed.iter().zip(left.iter()).filter(|(_, r)| r.abs() > TOLD) {
        untold.push(format!(
            "no plausible values make `{}` take its time to the second, {:.0} times a watch's error is left: is it the program that was timed, for this printer, bed and chamber as told?",
            t.name,
            r.abs()
        ));
    }
    for (k, doublings) in
        x.iter().enumerate().filter(|(k, x)| Parameter::ALL[*k].is_a_factor() && x.abs() > FAR)
    {
        let (word, times) = if *doublings > 0.0 { ("more", *doublings) } else { ("less", -*doublings) };
        untold.push(format!(
            "{} comes out {:.0} times {word} than the profile's: look at the times again, {}",
            name(k),
            trig::exp(times * std::f64::consts::LN_2),
            if hot { "was the bed hot from the beginning" } else { "was the bed cold at the beginning" }
        ));
    }
    let fitted = problem.at(&x);
    let mut text = source.text.clone();
    let mut parameters = Vec::new();
    for p in Parameter::ALL {
        let (before, after) = (p.of(profile), p.of(&fitted));
        let moved = (after - before).abs() > 1e-6 * before.abs().max(1e-3);
        if moved {
            let (table, key) = p.place();
            text = edit::set(&text, table, key, after).ok_or_else(|| no_place(source, p, after))?;
        }
        parameters.push(Learned { key: p.key(), before, after: if moved { after } else { before } });
    }
    // what is written must be what is meant
    let written = printer::read(&Arc::new(Source { name: source.name.clone(), text: text.clone() }))?;
    for p in Parameter::ALL {
        let (meant, is) = (p.of(&fitted), p.of(&written));
        if (meant - is).abs() > 1e-3 * meant.abs().max(1e-3) {
            return Err(no_place(source, p, meant).into());
        }
    }
    let programs = timed
        .iter()
        .enumerate()
        .map(|(i, t)| {
            let scale = error(t.took_s);
            (t.name.clone(), t.took_s, t.took_s + begin[i] * scale, t.took_s + left[i] * scale)
        })
        .collect();
    Ok(Fitted { text, parameters, programs, rank, condition, untold })
}

fn no_place(source: &Source, p: Parameter, value: f64) -> Diagnostic {
    Diagnostic::error(
        "fit-profile",
        format!("`{}` has no line where `{}` could be written", source.name, p.key()),
    )
    .in_file(source.name.clone())
    .help(format!("write it yourself: {} = {}", p.key(), edit::number(value)))
}

/// How far a time may be off, s.
fn error(took_s: f64) -> f64 {
    trig::hypot(WATCH_S, MODEL * took_s)
}

struct Problem {
    printer: Printer,
    data: Vec<(Timeline, f64)>,
}

impl Problem {
    /// The printer some plausible changes away.
    fn at(&self, x: &[f64; 4]) -> Printer {
        let mut p = self.printer.clone();
        for (parameter, x) in Parameter::ALL.into_iter().zip(x) {
            let value = parameter.moved(parameter.of(&self.printer), *x);
            parameter.set(&mut p, value);
        }
        p
    }

    /// Modelled less timed, in errors of the time.
    fn residuals(&self, x: &[f64; 4]) -> DVector<f64> {
        let p = self.at(x);
        DVector::from_iterator(
            self.data.len(),
            self.data.iter().map(|(program, took)| (program.seconds(&p) - took) / error(*took)),
        )
    }

    /// How the residuals change with each parameter that is free to move. Padded with rows of zeros, so
    /// that there are as many rows as parameters.
    fn sensitivities(&self, x: &[f64; 4], free: &[bool; 4]) -> DMatrix<f64> {
        let mut j = DMatrix::zeros(self.data.len().max(4), 4);
        for k in (0..4).filter(|k| free[*k]) {
            let (mut up, mut down) = (*x, *x);
            up[k] += STEP;
            down[k] -= STEP;
            let d = (self.residuals(&up) - self.residuals(&down)) / (2.0 * STEP);
            j.view_mut((0, k), (self.data.len(), 1)).copy_from(&d);
        }
        j
    }

    /// The best of what several places lead to.
    fn search(&self, free: &[bool; 4]) -> [f64; 4] {
        let (mut x, mut best) = self.descend([0.0; 4], free);
        for s in BEGIN_S.into_iter().filter(|_| free[1]) {
            let mut from = [0.0; 4];
            from[1] = (s - self.printer.controller.block_time_s) / BLOCK_TIME_S;
            let (other, cost) = self.descend(from, free);
            // another way to the same times is no reason to leave the profile's own
            if cost < 0.5 * best - 1.0 {
                (x, best) = (other, cost);
            }
        }
        x
    }

    /// Gauss-Newton from a place; where it ends, and its sum of squares.
    fn descend(&self, mut x: [f64; 4], free: &[bool; 4]) -> ([f64; 4], f64) {
        let mut r = self.residuals(&x);
        let mut cost = r.norm_squared();
        for _ in 0..STEPS {
            let j = self.sensitivities(&x, free);
            let svd = j.svd(true, true);
            let (Some(u), Some(vt)) = (&svd.u, &svd.v_t) else { break };
            let mut step = [0.0; 4];
            for (i, s) in svd.singular_values.iter().enumerate() {
                if *s < TOLD {
                    continue;
                }
                let along: f64 = (0..r.len()).map(|row| u[(row, i)] * r[row]).sum();
                for (k, part) in step.iter_mut().enumerate() {
                    *part -= vt[(i, k)] * along / s;
                }
            }
            let size = step.iter().fold(0.0, |m: f64, s| m.max(s.abs()));
            if size < 1e-6 {
                break;
            }
            // halved until it helps; far steps are cut short, the model bends
            let mut share = (2.0 / size).min(1.0);
            let mut helped = false;
            for _ in 0..12 {
                let mut next = x;
                for (k, part) in step.iter().enumerate() {
                    next[k] += share * part;
                }
                let there = self.residuals(&next);
                if there.norm_squared() < cost {
                    (x, cost, r, helped) = (next, there.norm_squared(), there, true);
                    break;
                }
                share *= 0.5;
            }
            if !helped {
                break;
            }
        }
        (x, cost)
    }
}

/// What the times tell of the parameters that are free to move.
struct Told {
    rank: usize,
    /// Largest over smallest singular value; infinite where one is zero, or nothing is free.
    condition: f64,
    /// Parameters that share the direction told least, where it is not told at all.
    alike: Option<Vec<usize>>,
}

fn told(sensitivities: &DMatrix<f64>, free: &[bool; 4]) -> Told {
    let moved: Vec<usize> = (0..4).filter(|k| free[*k]).collect();
    if moved.is_empty() {
        return Told { rank: 0, condition: f64::INFINITY, alike: None };
    }
    let svd = sensitivities.select_columns(&moved).svd(false, true);
    let (largest, smallest) = (svd.singular_values.max(), svd.singular_values.min());
    let condition = if smallest > 0.0 { largest / smallest } else { f64::INFINITY };
    let rank = svd.singular_values.iter().filter(|s| **s >= TOLD).count();
    let least = (0..moved.len()).min_by(|a, b| svd.singular_values[*a].total_cmp(&svd.singular_values[*b]));
    let untold = least.filter(|i| svd.singular_values[*i] < TOLD).zip(svd.v_t.as_ref());
    let alike = untold.map(|(i, vt)| {
        moved.iter().enumerate().filter(|(at, _)| vt[(i, *at)].abs() > NAMED).map(|(_, k)| *k).collect()
    });
    Told { rank, condition, alike }
}

/// A parameter, for messages.
fn name(k: usize) -> String {
    format!("`{}`", Parameter::ALL[k].key())
}

/// A program that is further off its time than watch and model explain.
fn too_far(t: &Timed, off_s: f64, hot: bool, untold: &[String]) -> Option<Diagnostic> {
    if off_s.abs() <= (MOST_OFF * t.took_s).max(TOLD * WATCH_S) {
        return None;
    }
    let message = format!(
        "`{}` took {}, at best the profile makes it {}, {:+.1} % off: at most {:.0} % are the model's",
        t.name,
        clock(t.took_s),
        clock(t.took_s + off_s),
        100.0 * off_s / t.took_s,
        100.0 * MOST_OFF
    );
    let heat = if hot {
        "bed and chamber hot from the beginning"
    } else {
        "or say `--hot`: bed and chamber were hot"
    };
    let d = Diagnostic::error("fit-off", message).in_file(t.name.clone()).help(format!(
        "is it the program that was timed, on this printer, and the time from its first line to its last? {heat}"
    ));
    let d = untold.iter().fold(d, |d, line| d.help(line.clone()));
    Some(if untold.is_empty() {
        d
    } else {
        d.help("`towpath printer trial` writes programs that tell them all apart; a part that was timed helps, too")
    })
}

/// A parameter shares a direction of which it is at least this part.
const NAMED: f64 = 0.25;
