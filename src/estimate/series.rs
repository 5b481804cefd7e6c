//! A year's series of a part: machine hours, machines, material, cost, and where
//! it breaks even with the machined part.
//!
//! With q good parts a year and the share r of rejects, n = q / (1 - r) parts are
//! begun. Each line of the cost of a good part:
//!
//! ```text
//! material   mass x price / (1 - scrap) / (1 - r)
//! printer    (hours + bed change / copies) x printer_per_h / (1 - r)
//! press      max(n / parts_per_cycle, 1) x cycle x press_per_h / q
//! inserts    sum of count x price / (1 - r)
//! labour     (handling + bed change / copies + attended x hours) x labour_per_h / (1 - r)
//! tool       price x n / min(life, years x n) / q
//! set-up     min(batches, max(q / copies, 1)) x setup_h x (labour_per_h + printer_per_h) / q
//! ```
//!
//! A printer stands while its bed is changed. No batch makes less than a bed of good
//! parts, but one is made. Press cycles are those of an average year: what does not
//! fill the last one waits for the next batch, but one is run. A tool is written off
//! by the parts that it makes, or by its years where those end first. So no line
//! rises with the quantity. A rate that was not typed leaves its line, and the total,
//! unknown.

use crate::job::series::{Rate, Series};
use serde::Serialize;
use std::collections::BTreeSet;

/// What the program says of one part.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PerPart {
    /// Printer time, h: the program's share of one part.
    pub printer_h: f64,
    /// Parts on one bed.
    pub copies: f64,
    /// Tow laid, m.
    pub tow_m: f64,
    /// Tow laid, g.
    pub tow_g: f64,
    /// Matrix laid and purged, g.
    pub matrix_g: f64,
}

/// The cost of one good part, line by line, in the user's currency. `None`: a
/// rate that it needs is not given.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize)]
pub struct CostLines {
    /// Tow.
    pub tow: Option<f64>,
    /// Matrix, purges included.
    pub matrix: Option<f64>,
    /// Printer hours.
    pub printer: Option<f64>,
    /// Press hours.
    pub press: Option<f64>,
    /// Write-off of press tools.
    pub tool: Option<f64>,
    /// Inserts.
    pub inserts: Option<f64>,
    /// Work.
    pub labour: Option<f64>,
    /// Set-up of batches.
    pub setup: Option<f64>,
}

impl CostLines {
    /// The lines with their names, in the order of the work.
    pub fn lines(&self) -> [(&'static str, Option<f64>); 8] {
        [
            ("tow", self.tow),
            ("matrix", self.matrix),
            ("printer", self.printer),
            ("press", self.press),
            ("tool", self.tool),
            ("inserts", self.inserts),
            ("labour", self.labour),
            ("setup", self.setup),
        ]
    }

    /// The sum, where every line is known.
    pub fn total(&self) -> Option<f64> {
        self.lines().into_iter().map(|(_, v)| v).sum()
    }
}

/// One quantity of a series. What a rate is missing for is unknown; but counts of
/// parts begun and hours are told without rejects where their share is not given.
/// The missing rates are named beside it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Quote {
    /// Good parts a year.
    pub quantity_per_year: f64,
    /// Parts begun, for so many good ones.
    pub parts_begun: f64,
    /// Batches that the quantity is made in: those asked for, but none with less than
    /// a bed of parts.
    pub batches: Option<f64>,
    /// Printer hours a year: printing, and standing for bed changes and set-up where
    /// those are given.
    pub printer_h: f64,
    /// Printers that this takes.
    pub printers: Option<f64>,
    /// Share of their hours in which those printers are busy.
    pub printers_busy_fraction: Option<f64>,
    /// Press cycles of an average year, at least one.
    pub press_cycles: Option<f64>,
    /// Press hours a year.
    pub press_h: Option<f64>,
    /// Presses that this takes.
    pub presses: Option<f64>,
    /// Press tools that wear out or are written off within the tool's years.
    pub tools: Option<f64>,
    /// Tow drawn, kg.
    pub tow_kg: Option<f64>,
    /// Tow drawn, m.
    pub tow_m: Option<f64>,
    /// Spools of tow, whole ones.
    pub tow_spools: Option<f64>,
    /// Matrix drawn, kg.
    pub matrix_kg: Option<f64>,
    /// Work, h.
    pub labour_h: Option<f64>,
    /// The cost of one good part.
    pub cost_per_part: CostLines,
    /// Its sum.
    pub total_per_part: Option<f64>,
    /// Of the year's series.
    pub total_per_year: Option<f64>,
    /// One machined part, its series' set-up included.
    pub machined_per_part: Option<f64>,
    /// Cost of this part over that of the machined one.
    pub cost_ratio: Option<f64>,
    /// The inputs that move the cost most, strongest first.
    pub sensitivity: Vec<Influence>,
}

/// What a tenth more of one input does to the cost of a part.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Influence {
    /// The input: a rate as typed, or a figure of the program.
    pub input: String,
    /// Change of the cost of a part, as a share of it.
    pub change_fraction: f64,
}

/// A step of an input for its influence.
const STEP: f64 = 0.1;

/// Inputs that are told.
const TOLD: usize = 3;

/// What is reckoned with: one part and the user's rates, and which of them were
/// asked for and are missing.
#[derive(Clone, Debug)]
pub struct Reckoning<'a> {
    part: PerPart,
    series: &'a Series,
    missing: BTreeSet<String>,
}

impl<'a> Reckoning<'a> {
    /// From what a program says of a part, and the user's rates.
    pub fn new(part: PerPart, series: &'a Series) -> Self {
        Self { part, series, missing: BTreeSet::new() }
    }

    /// The rates that a result needed and that are not given, as typed.
    pub fn missing(&self) -> Vec<String> {
        // in the order of the tables, what is no rate last
        let mut rates: Vec<String> =
            Rate::all().map(Rate::path).filter(|p| self.missing.contains(p)).collect();
        let others: Vec<String> = self.missing.iter().filter(|m| !rates.contains(m)).cloned().collect();
        rates.extend(others);
        rates
    }

    fn get(&mut self, rate: Rate) -> Option<f64> {
        let value = self.series.get(rate);
        if value.is_none() {
            self.missing.insert(rate.path());
        }
        value
    }

    /// 1 over what is left after a loss.
    fn gross(&mut self, rate: Rate) -> Option<f64> {
        self.get(rate).map(|lost| 1.0 / (1.0 - lost))
    }

    /// Hours of a machine in a year.
    fn hours_per_machine(&mut self) -> Option<f64> {
        let hours = [Rate::ShiftH, Rate::ShiftsPerDay, Rate::DaysPerYear, Rate::AvailabilityFraction]
            .map(|r| self.get(r));
        hours.into_iter().product()
    }

    /// Batches of a yearly quantity: none makes less than a bed of good parts.
    fn batches(&mut self, quantity: f64) -> Option<f64> {
        let most = (quantity / self.part.copies).max(1.0);
        self.get(Rate::BatchesPerYear).map(|asked| asked.min(most))
    }

    fn setup_h_per_year(&mut self, quantity: f64) -> Option<f64> {
        let (batches, each) = (self.batches(quantity), self.get(Rate::SetupH));
        Some(batches? * each?)
    }

    /// What a bed change takes of one part, h.
    fn bed_change_h(&mut self) -> Option<f64> {
        let copies = self.part.copies;
        self.get(Rate::BedChangeMin).map(|min| min / 60.0 / copies)
    }

    /// Hours for which a part holds up a printer: printing it, and standing while its
    /// bed is changed where that is given.
    pub fn printer_h_per_part(&mut self) -> f64 {
        self.part.printer_h + self.bed_change_h().unwrap_or(0.0)
    }

    /// Press cycles of an average year.
    fn press_cycles(&mut self, begun: f64) -> Option<f64> {
        self.get(Rate::PartsPerCycle).map(|n| (begun / n).max(1.0))
    }

    fn labour_h(&mut self) -> Option<f64> {
        let part = self.part;
        let (handling, bed, attended) =
            (self.get(Rate::HandlingMin), self.bed_change_h(), self.get(Rate::AttendedFraction));
        Some(handling? / 60.0 + bed? + attended? * part.printer_h)
    }

    fn inserts(&mut self) -> Option<f64> {
        let mut sum = Some(0.0);
        for insert in &self.series.inserts {
            if insert.price_each.is_none() {
                self.missing.insert(format!("insert.price_each of `{}`", insert.name));
            }
            sum = sum.zip(insert.price_each).map(|(s, p)| s + p * insert.count);
        }
        sum
    }

    /// The cost of a good part at a yearly quantity above 0.
    pub fn cost(&mut self, quantity: f64) -> CostLines {
        let part = self.part;
        let begun = self.gross(Rate::RejectFraction);
        let times = |a: Option<f64>, b: Option<f64>| Some(a? * b?);
        let material = |mass_g: f64, price: Option<f64>, gross: Option<f64>| {
            Some(mass_g * 1e-3 * price? * gross? * begun?)
        };
        let (tow_price, tow_gross) = (self.get(Rate::TowPerKg), self.gross(Rate::TowScrapFraction));
        let (matrix_price, matrix_gross) =
            (self.get(Rate::MatrixPerKg), self.gross(Rate::MatrixScrapFraction));
        let (printer, labour) = (self.get(Rate::PrinterPerH), self.get(Rate::LabourPerH));
        let (press, cycle) = (self.get(Rate::PressPerH), self.get(Rate::CycleS));
        let cycles = self.press_cycles(begun.unwrap_or(1.0) * quantity);
        let tool = (self.get(Rate::ToolEach), self.get(Rate::ToolLifeParts), self.get(Rate::ToolYears));
        let work = self.labour_h();
        let bed = self.bed_change_h();
        let inserts = self.inserts();
        let setup = self.setup_h_per_year(quantity);
        CostLines {
            tow: material(part.tow_g, tow_price, tow_gross),
            matrix: material(part.matrix_g, matrix_price, matrix_gross),
            printer: times(times(printer, bed.map(|h| part.printer_h + h)), begun),
            press: times(times(press, cycle), cycles)
                .filter(|_| begun.is_some())
                .map(|year| year / 3600.0 / quantity),
            tool: begun.and_then(|begun| {
                let n = quantity * begun;
                Some(tool.0? * n / tool.1?.min(tool.2? * n) / quantity)
            }),
            inserts: times(inserts, begun),
            labour: times(times(work, labour), begun),
            setup: setup.zip(labour.zip(printer)).map(|(h, (l, p))| h * (l + p) / quantity),
        }
    }

    /// Everything at a yearly quantity above 0.
    pub fn quote(&mut self, quantity: f64) -> Quote {
        let part = self.part;
        let rejects = self.gross(Rate::RejectFraction);
        let begun = rejects.unwrap_or(1.0) * quantity;
        let setup_h = self.setup_h_per_year(quantity).unwrap_or(0.0);
        let printer_h = begun * self.printer_h_per_part() + setup_h;
        let capacity_h = self.hours_per_machine();
        let printers = capacity_h.map(|c| whole_up(printer_h / c));
        let press_cycles = self.press_cycles(begun);
        let press_h = press_cycles.zip(self.get(Rate::CycleS)).map(|(n, s)| n * s / 3600.0);
        let tools = self
            .get(Rate::ToolLifeParts)
            .zip(self.get(Rate::ToolYears))
            .map(|(life, years)| whole_up(begun * years / life));
        let drawn = |gross: Option<f64>| gross.zip(rejects).map(|(g, _)| g * begun);
        let tow_gross = drawn(self.gross(Rate::TowScrapFraction));
        let matrix_gross = drawn(self.gross(Rate::MatrixScrapFraction));
        let tow_m = tow_gross.map(|g| part.tow_m * g);
        let cost_per_part = self.cost(quantity);
        let total_per_part = cost_per_part.total();
        let machined_per_part = self.machined(quantity);
        Quote {
            quantity_per_year: quantity,
            parts_begun: begun,
            batches: self.batches(quantity),
            printer_h,
            printers,
            printers_busy_fraction: printers
                .zip(capacity_h)
                .map(|(n, c)| if n > 0.0 { printer_h / (n * c) } else { 0.0 }),
            press_cycles,
            press_h,
            presses: press_h.zip(capacity_h).map(|(h, c)| whole_up(h / c)),
            tools,
            tow_kg: tow_gross.map(|g| part.tow_g * 1e-3 * g),
            tow_m,
            tow_spools: tow_m.zip(self.get(Rate::TowSpoolM)).map(|(drawn, spool)| whole_up(drawn / spool)),
            matrix_kg: matrix_gross.map(|g| part.matrix_g * 1e-3 * g),
            labour_h: self.labour_h().map(|h| h * begun + setup_h),
            cost_per_part,
            total_per_part,
            total_per_year: total_per_part.map(|t| t * quantity),
            machined_per_part,
            cost_ratio: total_per_part.zip(machined_per_part).and_then(|(p, m)| (m > 0.0).then_some(p / m)),
            sensitivity: self.sensitivity(quantity),
        }
    }

    /// One machined part at a yearly quantity.
    fn machined(&mut self, quantity: f64) -> Option<f64> {
        self.series.machined.as_ref()?;
        let (each, setup) = (self.get(Rate::MachinedEach), self.get(Rate::MachinedSetupPerYear));
        Some(each? + setup? / quantity)
    }

    /// Change of the total when one input grows by a tenth: the strongest three.
    fn sensitivity(&self, quantity: f64) -> Vec<Influence> {
        let total = |part: PerPart, series: &Series| Reckoning::new(part, series).cost(quantity).total();
        let Some(now) = total(self.part, self.series).filter(|t| *t > 0.0) else { return Vec::new() };
        let mut all: Vec<Influence> = Vec::new();
        let mut push = |input: String, then: Option<f64>| {
            if let Some(then) = then {
                all.push(Influence { input, change_fraction: then / now - 1.0 });
            }
        };
        for (&rate, &value) in &self.series.rates {
            let mut series = self.series.clone();
            series.rates.insert(rate, value * (1.0 + STEP));
            push(rate.path(), total(self.part, &series));
        }
        if !self.series.inserts.is_empty() {
            let mut series = self.series.clone();
            for insert in &mut series.inserts {
                insert.price_each = insert.price_each.map(|p| p * (1.0 + STEP));
            }
            push("insert.price_each".to_owned(), total(self.part, &series));
        }
        let p = self.part;
        for (name, part) in [
            ("the program's time", PerPart { printer_h: p.printer_h * (1.0 + STEP), ..p }),
            (
                "the program's tow",
                PerPart { tow_g: p.tow_g * (1.0 + STEP), tow_m: p.tow_m * (1.0 + STEP), ..p },
            ),
            ("the program's matrix", PerPart { matrix_g: p.matrix_g * (1.0 + STEP), ..p }),
            ("parts on one bed", PerPart { copies: p.copies * (1.0 + STEP), ..p }),
        ] {
            push(name.to_owned(), total(part, self.series));
        }
        all.retain(|i| i.change_fraction.abs() > 1e-9);
        all.sort_by(|a, b| {
            b.change_fraction.abs().total_cmp(&a.change_fraction.abs()).then_with(|| a.input.cmp(&b.input))
        });
        all.truncate(TOLD);
        all
    }

    /// Where the series costs as much as the machined one.
    pub fn break_even(&mut self) -> Option<BreakEven> {
        self.series.machined.as_ref()?;
        let (each, machined_setup) = (self.get(Rate::MachinedEach), self.get(Rate::MachinedSetupPerYear));
        let (each, machined_setup) = (each?, machined_setup?);
        let begun = self.gross(Rate::RejectFraction)?;
        let (life, years) = (self.get(Rate::ToolLifeParts)?, self.get(Rate::ToolYears)?);
        let (pressed, batches) = (self.get(Rate::PartsPerCycle)?, self.get(Rate::BatchesPerYear)?);
        let copies = self.part.copies;
        // each year's cost is a straight line between these quantities: from here on
        // tools wear out, a press cycle is full, there is more than one batch, and there
        // are all that are asked for
        let mut bends = [life / (years * begun), pressed / begun, copies, batches.max(1.0) * copies];
        bends.sort_by(f64::total_cmp);
        let mut more = |quantity: f64| -> Option<f64> {
            Some((self.cost(quantity).total()? - each) * quantity - machined_setup)
        };
        let mut lines = Vec::new();
        let mut from = 0.0;
        for to in bends.into_iter().chain([f64::INFINITY]) {
            if to > from {
                // two places within, well apart
                let (a, b) = if to.is_finite() {
                    (from + 0.25 * (to - from), from + 0.75 * (to - from))
                } else {
                    (1.5 * from + 1.0, 3.0 * from + 3.0)
                };
                let (at_a, at_b) = (more(a)?, more(b)?);
                let slope = (at_b - at_a) / (b - a);
                lines.push((Line { fixed: at_a - slope * a, slope }, from, to));
                from = to;
            }
        }
        Some(BreakEven::of(&lines))
    }
}

/// Yearly cost more than the machined series: fixed + slope x quantity.
struct Line {
    fixed: f64,
    slope: f64,
}

impl Line {
    /// Where it is not above 0 within a range: from, to.
    fn not_above(&self, from: f64, to: f64) -> Option<(f64, f64)> {
        let (mut lo, mut hi) = (from, to);
        if self.slope.abs() < FLAT {
            return (self.fixed <= FLAT).then_some((lo, hi));
        }
        let zero = -self.fixed / self.slope;
        if self.slope > 0.0 {
            hi = hi.min(zero);
        } else {
            lo = lo.max(zero);
        }
        (lo <= hi).then_some((lo, hi))
    }
}

/// Money that is none: what differences leave.
const FLAT: f64 = 1e-9;

/// The yearly quantities at which the series costs no more than the machined one.
///
/// They may be two ranges: while every bed is a batch of its own each part bears a
/// set-up, and once there are all batches that were asked for the next one does not.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct BreakEven {
    /// It pays at some quantity.
    pub pays: bool,
    /// From so many parts a year on, whole: in the upper range where there are two.
    pub from_per_year: Option<f64>,
    /// Up to so many parts a year; `None`: without end.
    pub to_per_year: Option<f64>,
    /// The lower range, where there are two, begins here.
    pub also_from_per_year: Option<f64>,
    /// And ends here.
    pub also_to_per_year: Option<f64>,
}

impl BreakEven {
    const NEVER: Self = Self {
        pays: false,
        from_per_year: None,
        to_per_year: None,
        also_from_per_year: None,
        also_to_per_year: None,
    };

    /// From the lines between quantities, upwards.
    fn of(lines: &[(Line, f64, f64)]) -> Self {
        let mut ranges: Vec<(f64, f64)> = Vec::new();
        for (line, from, to) in lines {
            let Some((lo, hi)) = line.not_above(*from, *to) else { continue };
            let (lo, hi) = (whole_up(lo).max(1.0), (hi + WHOLE).floor());
            if lo > hi {
                continue;
            }
            match ranges.last_mut() {
                Some(below) if lo <= below.1 + 1.0 => below.1 = below.1.max(hi),
                _ => ranges.push((lo, hi)),
            }
        }
        let Some(&(from, to)) = ranges.last() else { return Self::NEVER };
        let lower = ranges.len().checked_sub(2).map(|k| ranges[k]);
        Self {
            pays: true,
            from_per_year: Some(from),
            to_per_year: to.is_finite().then_some(to),
            also_from_per_year: lower.map(|r| r.0),
            also_to_per_year: lower.map(|r| r.1),
        }
    }
}

/// A quotient this little above a whole number is that number: what division leaves.
const WHOLE: f64 = 1e-9;

/// The next whole number, as printers and spools come.
fn whole_up(v: f64) -> f64 {
    (v - WHOLE * v.abs().max(1.0)).ceil().max(0.0)
}

#[cfg(test)]
mod tests;
