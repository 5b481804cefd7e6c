//! What a series costs and how the shop works: the tables `[cost]`, `[press]`,
//! `[machined]` and `[[insert]]`.
//!
//! Every rate is the user's. None has a default: what is left out stays unknown
//! and is named where a result would need it.

use super::document::Values;
use super::table::{Key, Kind, Need, Table, Words, above_zero, between};
use crate::diagnostic::Diagnostic;
use std::collections::BTreeMap;

/// Largest sum of money, in whatever currency: a plausible factory in a weak one.
const MOST_MONEY: f64 = 1e12;

/// A number of the user's that a series is reckoned with.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Rate {
    /// A printer's hour, without people.
    PrinterPerH,
    /// A press's hour, without people.
    PressPerH,
    /// An hour of work.
    LabourPerH,
    /// Tow, a kilogram.
    TowPerKg,
    /// Matrix, a kilogram.
    MatrixPerKg,
    /// A press tool.
    ToolEach,
    /// Parts that a tool makes before it is worn.
    ToolLifeParts,
    /// Years over which a tool is written off at the latest.
    ToolYears,
    /// Share of the tow drawn that gets into no part.
    TowScrapFraction,
    /// Share of the matrix drawn that gets into no part.
    MatrixScrapFraction,
    /// Share of the parts begun that are rejected.
    RejectFraction,
    /// Share of a printer's hours that somebody attends to it.
    AttendedFraction,
    /// Work on one part: to the press, out of it, trimming, a look.
    HandlingMin,
    /// One bed: clear it, prepare it, begin again. Somebody works and the printer stands.
    BedChangeMin,
    /// Set-up of one batch: a printer stands still and somebody works.
    SetupH,
    /// Batches in which a year's quantity is made.
    BatchesPerYear,
    /// Tow on a spool.
    TowSpoolM,
    /// Hours of a shift.
    ShiftH,
    /// Shifts of a day.
    ShiftsPerDay,
    /// Days on which work is done.
    DaysPerYear,
    /// Share of the shift in which a machine is fit for work.
    AvailabilityFraction,
    /// Press cycle: in, heat, hold, cool, out.
    CycleS,
    /// Parts pressed in one cycle.
    PartsPerCycle,
    /// What the machined part costs.
    MachinedEach,
    /// What the machined series costs each year before its first part.
    MachinedSetupPerYear,
}

/// Every rate with its table and key, in the order of the tables.
const RATES: &[(Rate, &str, &str)] = &[
    (Rate::PrinterPerH, "cost", "printer_per_h"),
    (Rate::PressPerH, "cost", "press_per_h"),
    (Rate::LabourPerH, "cost", "labour_per_h"),
    (Rate::TowPerKg, "cost", "tow_per_kg"),
    (Rate::MatrixPerKg, "cost", "matrix_per_kg"),
    (Rate::ToolEach, "cost", "tool_each"),
    (Rate::ToolLifeParts, "cost", "tool_life_parts"),
    (Rate::ToolYears, "cost", "tool_years"),
    (Rate::TowScrapFraction, "cost", "tow_scrap_fraction"),
    (Rate::MatrixScrapFraction, "cost", "matrix_scrap_fraction"),
    (Rate::RejectFraction, "cost", "reject_fraction"),
    (Rate::AttendedFraction, "cost", "attended_fraction"),
    (Rate::HandlingMin, "cost", "handling_min"),
    (Rate::BedChangeMin, "cost", "bed_change_min"),
    (Rate::SetupH, "cost", "setup_h"),
    (Rate::BatchesPerYear, "cost", "batches_per_year"),
    (Rate::TowSpoolM, "cost", "tow_spool_m"),
    (Rate::ShiftH, "cost", "shift_h"),
    (Rate::ShiftsPerDay, "cost", "shifts_per_day"),
    (Rate::DaysPerYear, "cost", "days_per_year"),
    (Rate::AvailabilityFraction, "cost", "availability_fraction"),
    (Rate::CycleS, "press", "cycle_s"),
    (Rate::PartsPerCycle, "press", "parts_per_cycle"),
    (Rate::MachinedEach, "machined", "price_each"),
    (Rate::MachinedSetupPerYear, "machined", "setup_per_year"),
];

impl Rate {
    /// All of them, in the order of the tables.
    pub fn all() -> impl Iterator<Item = Rate> {
        RATES.iter().map(|r| r.0)
    }

    /// Table and key as typed, as `cost.tow_per_kg`.
    pub fn path(self) -> String {
        RATES.iter().find(|r| r.0 == self).map(|(_, table, key)| format!("{table}.{key}")).unwrap_or_default()
    }

    /// Whether it is money.
    pub fn is_money(self) -> bool {
        matches!(
            self,
            Self::PrinterPerH
                | Self::PressPerH
                | Self::LabourPerH
                | Self::TowPerKg
                | Self::MatrixPerKg
                | Self::ToolEach
                | Self::MachinedEach
                | Self::MachinedSetupPerYear
        )
    }
}

/// What the user says of a series. Nothing here is made up.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Series {
    /// The word behind sums of money; never converted.
    pub currency: Option<String>,
    /// The rates that were typed.
    pub rates: BTreeMap<Rate, f64>,
    /// Pieces that go into each part.
    pub inserts: Vec<Insert>,
    /// The machined part that this one replaces.
    pub machined: Option<Machined>,
}

impl Series {
    /// A rate, if it was typed.
    pub fn get(&self, rate: Rate) -> Option<f64> {
        self.rates.get(&rate).copied()
    }
}

/// Pieces of one kind that go into each part.
#[derive(Clone, Debug, PartialEq)]
pub struct Insert {
    /// Name.
    pub name: String,
    /// Pieces in a part.
    pub count: f64,
    /// Price of a piece, if typed.
    pub price_each: Option<f64>,
    /// Mass of a piece, g, if typed.
    pub mass_g: Option<f64>,
}

/// The machined part that this one replaces.
#[derive(Clone, Debug, PartialEq)]
pub struct Machined {
    /// The handbook alloy, if one was named.
    pub alloy: Option<&'static Alloy>,
    /// Density, g/cm3: as typed, else the alloy's.
    pub density_g_cm3: Option<f64>,
    /// The density is as typed.
    pub own_density: bool,
    /// Mass, g, if typed.
    pub mass_g: Option<f64>,
    /// Volume, mm3, if typed.
    pub volume_mm3: Option<f64>,
}

/// A metal of a handbook.
#[derive(Debug, PartialEq)]
pub struct Alloy {
    /// As typed.
    pub name: &'static str,
    /// Density, lb/in3, as printed.
    pub density_lb_in3: f64,
    /// Table of the handbook.
    pub table: &'static str,
}

/// Densities of MIL-HDBK-5J, *Metallic Materials and Elements for Aerospace
/// Vehicle Structures*, 31 January 2003.
pub static ALLOYS: &[Alloy] = &[
    Alloy { name: "steel-1025", density_lb_in3: 0.284, table: "2.2.1.0(b)" },
    Alloy { name: "steel-4130", density_lb_in3: 0.283, table: "2.3.1.0(c1)" },
    Alloy { name: "aluminium-7075", density_lb_in3: 0.101, table: "3.7.6.0(d)" },
    Alloy { name: "titanium-6al-4v", density_lb_in3: 0.160, table: "5.4.1.0(e)" },
];

const ALLOY_NAMES: &[&str] = &["steel-1025", "steel-4130", "aluminium-7075", "titanium-6al-4v"];

impl Alloy {
    /// Density, g/cm3. 1 lb = 453.59237 g and 1 in = 25.4 mm, both exact.
    pub fn density_g_cm3(&self) -> f64 {
        self.density_lb_in3 * 453.592_37 / (2.54 * 2.54 * 2.54)
    }
}

const fn rate(name: &'static str, kind: Kind, text: &'static str) -> Key {
    Key { name, kind, need: Need::Optional, text }
}

const fn money() -> Kind {
    Kind::Number(between(0.0, MOST_MONEY))
}

/// A share that may not be all: what is left makes the parts, after a tenth more of it is lost
/// too.
const LOST: Kind = Kind::Number(between(0.0, 0.9));

/// `[cost]`.
pub(super) static COST: Table = Table {
    text: "What a series costs and how the shop works. Every rate is yours; one that is left out is named where a result needs it, never made up.",
    keys: &[
        Key {
            name: "currency",
            kind: Kind::Text,
            need: Need::Required,
            text: "the word behind sums of money, as EUR; never converted",
        },
        rate("printer_per_h", money(), "a printer's hour: write-off, room, energy, upkeep; without people"),
        rate("press_per_h", money(), "a press's hour, without people"),
        rate("labour_per_h", money(), "an hour of work"),
        rate("tow_per_kg", money(), "price of the tow"),
        rate("matrix_per_kg", money(), "price of the matrix"),
        rate("tool_each", money(), "price of a press tool; 0 where there is none"),
        rate("tool_life_parts", Kind::Number(between(1.0, 1e9)), "parts that a tool makes before it is worn"),
        rate(
            "tool_years",
            Kind::Number(above_zero(100.0)),
            "a tool is written off over so many years of the quantity, or its life, whichever ends first",
        ),
        rate("tow_scrap_fraction", LOST, "share of the tow drawn that gets into no part"),
        rate(
            "matrix_scrap_fraction",
            LOST,
            "share of the matrix drawn that gets into no part, without purges, which are counted",
        ),
        rate("reject_fraction", LOST, "share of the parts begun that are rejected after pressing"),
        rate(
            "attended_fraction",
            Kind::Number(between(0.0, 1.0)),
            "share of a printer's hours that somebody attends to it",
        ),
        rate(
            "handling_min",
            Kind::Number(between(0.0, 10_000.0)),
            "work on one part: into the press and out, trimming, inspection",
        ),
        rate(
            "bed_change_min",
            Kind::Number(between(0.0, 10_000.0)),
            "one bed: clear it, prepare it, begin again; somebody works and the printer stands",
        ),
        rate(
            "setup_h",
            Kind::Number(between(0.0, 10_000.0)),
            "set-up of one batch: a printer stands still and somebody works",
        ),
        rate(
            "batches_per_year",
            Kind::Number(between(1.0, 10_000.0)),
            "batches in which a year's quantity is made; none is reckoned with less than a bed of parts",
        ),
        rate("tow_spool_m", Kind::Number(above_zero(1e7)), "tow on a spool"),
        rate("shift_h", Kind::Number(above_zero(24.0)), "hours of a shift"),
        rate("shifts_per_day", Kind::Number(above_zero(24.0)), "shifts of a day"),
        rate("days_per_year", Kind::Number(above_zero(366.0)), "days on which work is done"),
        rate(
            "availability_fraction",
            Kind::Number(above_zero(1.0)),
            "share of the shift in which a machine is fit for work",
        ),
    ],
};

/// `[press]`.
pub(super) static PRESS: Table = Table {
    text: "How the preform is pressed.",
    keys: &[
        rate("cycle_s", Kind::Number(above_zero(1e6)), "press cycle: in, heat, hold, cool, out"),
        rate("parts_per_cycle", Kind::Number(between(1.0, 1000.0)), "parts pressed in one cycle"),
    ],
};

/// `[machined]`.
pub(super) static MACHINED: Table = Table {
    text: "The machined metal part that this one replaces.",
    keys: &[
        rate(
            "alloy",
            Kind::Word(Words { now: ALLOY_NAMES, later: &[] }),
            "its metal, for the density (MIL-HDBK-5J)",
        ),
        rate("density_g_cm3", Kind::Number(between(0.5, 25.0)), "density of its metal, in place of `alloy`"),
        rate("mass_g", Kind::Number(above_zero(1e7)), "its mass as weighed, in place of volume and density"),
        rate(
            "volume_mm3",
            Kind::Number(above_zero(1e12)),
            "its volume; left out: that of this part's outline",
        ),
        rate("price_each", money(), "what one costs, made or bought"),
        rate("setup_per_year", money(), "what its series costs each year before the first part"),
    ],
};

/// `[[insert]]`.
pub(super) static INSERT: Table = Table {
    text: "Pieces of one kind that go into each part, as bushes.",
    keys: &[
        Key { name: "name", kind: Kind::Text, need: Need::Required, text: "what it is" },
        Key { name: "count", kind: Kind::Integer(1, 1000), need: Need::Integer(1), text: "pieces in a part" },
        rate("price_each", money(), "price of a piece"),
        rate("mass_g", Kind::Number(between(0.0, 1e6)), "mass of a piece"),
    ],
};

/// The series of a job's values. What is at fault has been told by the reader.
pub(super) fn of(values: &Values) -> Series {
    let mut series = Series {
        currency: values.table("cost").and_then(|c| c.text("currency")).map(str::to_owned),
        ..Series::default()
    };
    for (rate, table, key) in RATES {
        if let Some(v) = values.table(table).and_then(|t| t.number(key)) {
            series.rates.insert(*rate, v);
        }
    }
    for insert in values.tables("insert").unwrap_or_default() {
        let Some(name) = insert.text("name") else { continue };
        let count = insert.count("count").and_then(|n| u32::try_from(n).ok()).unwrap_or(1);
        series.inserts.push(Insert {
            name: name.to_owned(),
            count: f64::from(count),
            price_each: insert.number("price_each"),
            mass_g: insert.number("mass_g"),
        });
    }
    series.machined = values.table("machined").map(|m| {
        let alloy = m.text("alloy").and_then(|name| ALLOYS.iter().find(|a| a.name == name));
        Machined {
            alloy,
            density_g_cm3: m.number("density_g_cm3").or(alloy.map(Alloy::density_g_cm3)),
            own_density: m.number("density_g_cm3").is_some(),
            mass_g: m.number("mass_g"),
            volume_mm3: m.number("volume_mm3"),
        }
    });
    series
}

/// Keys of `[machined]` that have no effect beside others: the key, and which one holds.
pub(super) fn unused(machined: &Values) -> Vec<(&'static str, &'static str)> {
    let typed = |key: &str| machined.typed(key).is_some();
    let mut unused = Vec::new();
    if typed("alloy") && typed("density_g_cm3") {
        unused.push(("alloy", "density_g_cm3"));
    }
    if typed("mass_g") {
        let beside = ["alloy", "volume_mm3", "density_g_cm3"].into_iter();
        unused = beside.filter(|k| typed(k)).map(|k| (k, "mass_g")).collect();
    }
    unused
}

/// Hours of a day.
const DAY_H: f64 = 24.0;

/// A day with more hours than there are: the fault, without its place, which is that of
/// `shift_h`.
pub(super) fn long_day(cost: &Values) -> Option<Diagnostic> {
    let (shift, shifts) = (cost.number("shift_h")?, cost.number("shifts_per_day")?);
    let day = shift * shifts;
    // thirds and sixths of a day come with few decimals
    if day <= DAY_H + 0.01 {
        return None;
    }
    let message = format!(
        "`cost.shift_h` x `cost.shifts_per_day` is {shift} x {shifts} = {day} h, a day has {DAY_H} h"
    );
    Some(Diagnostic::error("out-of-range", message).help(format!(
        "{shifts} shifts a day: `shift_h` at most {:.2}; what more machines do is reckoned, not typed",
        DAY_H / shifts
    )))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rates_and_keys_are_the_same() {
        for (table, spec) in [("cost", &COST), ("press", &PRESS)] {
            let keys: Vec<&str> = spec.names().into_iter().filter(|k| *k != "currency").collect();
            let rates: Vec<&str> = RATES.iter().filter(|r| r.1 == table).map(|r| r.2).collect();
            assert_eq!(keys, rates, "[{table}]");
        }
        for (_, table, key) in RATES.iter().filter(|r| r.1 == "machined") {
            assert!(MACHINED.key(key).is_some(), "{table}.{key}");
        }
        assert_eq!(ALLOY_NAMES, ALLOYS.iter().map(|a| a.name).collect::<Vec<_>>().as_slice());
    }

    /// MIL-HDBK-5J gives lb/in3; kg/m3 by 1 lb/in3 = 27679.9 kg/m3.
    #[test]
    fn densities_of_the_handbook() {
        for (name, kg_m3) in [
            ("steel-4130", 7833.0),
            ("aluminium-7075", 2796.0),
            ("titanium-6al-4v", 4429.0),
            ("steel-1025", 7861.0),
        ] {
            let alloy = ALLOYS.iter().find(|a| a.name == name).expect("an alloy");
            assert!(
                (alloy.density_g_cm3() * 1000.0 - kg_m3).abs() < 0.6,
                "{name}: {}",
                alloy.density_g_cm3()
            );
        }
    }
}
