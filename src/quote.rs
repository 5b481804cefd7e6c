//! One job quoted: its estimate, and the series of a few quantities a year.

use crate::count::f64_of;
use crate::diagnostic::{Diagnostic, Notes, Outcome};
use crate::estimate::series::{BreakEven, PerPart, Quote, Reckoning};
use crate::estimate::{self, Estimate};
use crate::job::Job;
use crate::job::series::{Insert, Rate};
use crate::outline::Outline;
use crate::{plan, sequence};
use serde::Serialize;
use std::collections::BTreeMap;
use std::path::Path;

/// What is asked for.
#[derive(Clone, Debug, Default)]
pub struct Question {
    /// Good parts a year, each above 0; may be empty.
    pub quantities: Vec<u32>,
    /// Estimate from areas and lengths.
    pub quick: bool,
}

/// A job, estimated and quoted.
#[derive(Clone, Debug)]
pub struct Quoted {
    /// The job as it was resolved.
    pub job: Job,
    /// Figures of the whole program.
    pub estimate: Estimate,
    /// Places where tow that the map asks for is not laid; `None`: nobody looked.
    pub left_out: Option<usize>,
    /// The series, where quantities were asked for.
    pub series: Option<SeriesQuoted>,
}

/// The series of a job.
#[derive(Clone, Debug, Serialize)]
pub struct SeriesQuoted {
    /// The word behind sums of money.
    pub currency: Option<String>,
    /// The rates as typed, by table and key.
    pub rates: BTreeMap<String, f64>,
    /// What goes into each part.
    pub inserts: Vec<InsertTold>,
    /// One part, as the program says.
    pub part: PerPart,
    /// For each quantity.
    pub quantities: Vec<Quote>,
    /// Several numbers of parts on one bed.
    pub beds: Vec<Bed>,
    /// The most parts that fit on one bed.
    pub most_on_a_bed: usize,
    /// As many would fit if the outline and its map were turned by a quarter.
    pub most_turned: usize,
    /// Mass against the machined part.
    pub mass: Mass,
    /// Where it breaks even against the machined part.
    pub break_even: Option<BreakEven>,
    /// What would have been needed and is not given.
    pub missing: Vec<String>,
}

/// An insert, echoed.
#[derive(Clone, Debug, Serialize)]
pub struct InsertTold {
    /// Name.
    pub name: String,
    /// Pieces in a part.
    pub count: f64,
    /// Price of a piece, if typed.
    pub price_each: Option<f64>,
    /// Mass of a piece, g, if typed.
    pub mass_g: Option<f64>,
}

/// So many parts on one bed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Bed {
    /// Parts on it.
    pub copies: usize,
    /// Hours of the whole program.
    pub program_h: f64,
    /// Its share of one part, h; with the bed change where that is given.
    pub printer_h_per_part: f64,
    /// Cost of a part at the first quantity asked for.
    pub total_per_part: Option<f64>,
}

/// Mass against the machined part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Mass {
    /// This part with its inserts, g; `None`: an insert's mass is not given.
    pub part_g: Option<f64>,
    /// As printed, g.
    pub printed_g: f64,
    /// Its inserts, g.
    pub inserts_g: Option<f64>,
    /// The machined part without inserts, g.
    pub machined_g: Option<f64>,
    /// The first over the second.
    pub ratio: Option<f64>,
    /// Where the machined part's mass comes from.
    pub machined_from: Option<String>,
}

/// Beds up to this many parts are put in order to be timed; with more, hours
/// change by less than the clock is good for.
pub const MOST_TIMED: usize = 12;

/// Estimates a job, and quotes the quantities asked for.
///
/// Errors: whatever is wrong with the job and the files that it names.
pub fn quote(notes: &mut Notes, path: &Path, question: &Question) -> Outcome<Quoted> {
    if question.quick {
        let (job, outline, tasks) = plan::placed_within(notes, path, estimate::ROUGH_MM)?;
        let of = |copies: usize| {
            let job = Job { copies, ..job.clone() };
            Ok(estimate::quick(&job, &outline, &tasks))
        };
        let estimate = of(job.copies)?;
        let series = series(notes, &job, &outline, &estimate, question, &of)?;
        return Ok(Quoted { estimate, left_out: None, series, job });
    }
    let laid = plan::lay(notes, path)?;
    let of = |copies: usize| laid.in_order(copies).map(|(_, _, estimate)| estimate);
    let estimate = of(laid.job.copies)?;
    let series = series(notes, &laid.job, &laid.outline, &estimate, question, &of)?;
    Ok(Quoted { estimate, left_out: Some(laid.left_out.len()), series, job: laid.job })
}

fn series(
    notes: &mut Notes,
    job: &Job,
    outline: &Outline,
    estimate: &Estimate,
    question: &Question,
    of: &dyn Fn(usize) -> Outcome<Estimate>,
) -> Outcome<Option<SeriesQuoted>> {
    let Some(&first) = question.quantities.first() else { return Ok(None) };
    let rates = &job.series;
    let part = per_part(job, estimate, job.copies);
    let mut reckoning = Reckoning::new(part, rates);
    let quantities = question.quantities.iter().map(|q| reckoning.quote(f64::from(*q))).collect();
    let break_even = reckoning.break_even();
    let mut missing = reckoning.missing();
    let most_on_a_bed = sequence::most_copies(job, outline);
    let mut counts = vec![1, job.copies, most_on_a_bed.min(MOST_TIMED)];
    counts.retain(|n| (1..=most_on_a_bed).contains(n));
    counts.sort_unstable();
    counts.dedup();
    let most_turned = sequence::most_turned(job, outline);
    let mut beds = Vec::new();
    for copies in counts {
        let of_bed = if copies == job.copies { estimate.clone() } else { of(copies)? };
        let mut reckoning = Reckoning::new(per_part(job, &of_bed, copies), rates);
        beds.push(Bed {
            copies,
            program_h: of_bed.time_s.total / 3600.0,
            printer_h_per_part: reckoning.printer_h_per_part(),
            total_per_part: reckoning.cost(f64::from(first)).total(),
        });
    }
    let mass = mass(job, outline, estimate, &mut missing);
    tell_missing(notes, job, &missing);
    let told = |i: &Insert| InsertTold {
        name: i.name.clone(),
        count: i.count,
        price_each: i.price_each,
        mass_g: i.mass_g,
    };
    Ok(Some(SeriesQuoted {
        currency: rates.currency.clone(),
        rates: rates.rates.iter().map(|(r, v)| (r.path(), *v)).collect(),
        inserts: rates.inserts.iter().map(told).collect(),
        part,
        quantities,
        beds,
        most_on_a_bed,
        most_turned,
        mass,
        break_even,
        missing,
    }))
}

/// One part of a program of so many copies.
fn per_part(job: &Job, e: &Estimate, copies: usize) -> PerPart {
    let copies = f64_of(copies);
    let purge_g = e.purge_volume_mm3 * job.matrix.density_g_cm3 * 1e-3;
    PerPart {
        printer_h: e.time_s.total / 3600.0 / copies,
        copies,
        tow_m: e.fibre_length_mm / 1000.0 / copies,
        tow_g: e.tow_mass_g / copies,
        matrix_g: (e.matrix_mass_g + purge_g) / copies,
    }
}

fn mass(job: &Job, outline: &Outline, estimate: &Estimate, missing: &mut Vec<String>) -> Mass {
    let printed_g = estimate.part_mass_g;
    let mut inserts_g = Some(0.0);
    for insert in &job.series.inserts {
        if insert.mass_g.is_none() {
            missing.push(format!("insert.mass_g of `{}`", insert.name));
        }
        inserts_g = inserts_g.zip(insert.mass_g).map(|(sum, g)| sum + g * insert.count);
    }
    let part_g = inserts_g.map(|g| printed_g + g);
    let own = Mass { part_g, printed_g, inserts_g, machined_g: None, ratio: None, machined_from: None };
    let Some(machined) = &job.series.machined else {
        return own;
    };
    let metal = match machined.alloy {
        Some(a) if !machined.own_density => format!(", {} by MIL-HDBK-5J table {}", a.name, a.table),
        _ => " as typed".to_owned(),
    };
    let (machined_g, from) = match (machined.mass_g, machined.density_g_cm3) {
        (Some(g), _) => (Some(g), "as typed".to_owned()),
        (None, Some(density)) => {
            let outlined: f64 = outline.layers.iter().map(|l| l.outline.area() * l.height_mm).sum();
            let (volume, whose) = match machined.volume_mm3 {
                Some(v) => (v, "its volume as typed"),
                None => (outlined, "the volume of this part's outline"),
            };
            (Some(volume * density * 1e-3), format!("{whose} at {density:.3} g/cm3{metal}"))
        }
        (None, None) => {
            missing.push("machined.alloy".to_owned());
            (None, "unknown".to_owned())
        }
    };
    let ratio = part_g.zip(machined_g).map(|(p, m)| p / m);
    Mass { machined_g, ratio, machined_from: Some(from), ..own }
}

/// One warning for all that is not given.
fn tell_missing(notes: &mut Notes, job: &Job, missing: &[String]) {
    if missing.is_empty() {
        return;
    }
    // a key, and behind some whose it is
    let quoted = |m: &String| match m.split_once(' ') {
        Some((key, whose)) => format!("`{key}` {whose}"),
        None => format!("`{m}`"),
    };
    let listed: Vec<String> = missing.iter().map(quoted).collect();
    let message =
        format!("part of the quote for `{}` is unknown; not given: {}", job.name, listed.join(", "));
    let mut d = Diagnostic::warning("rate-missing", message)
        .help("rates are yours: type them into the job's tables; none is made up");
    let known = |r: Rate| job.series.get(r).is_some();
    if !known(Rate::RejectFraction) {
        d = d.help("without `cost.reject_fraction` the hours are those of the good parts alone");
    }
    if !known(Rate::BedChangeMin) {
        d = d.help("without `cost.bed_change_min` the hours are told without changing beds");
    }
    if !known(Rate::SetupH) {
        d = d.help("without `cost.setup_h` the hours are told without setting up");
    } else if !known(Rate::BatchesPerYear) {
        d = d.help("without `cost.batches_per_year` the hours are told without setting up");
    }
    notes.push(d);
}
