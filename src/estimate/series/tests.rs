use super::*;
use crate::job::series::{Insert, Machined};

/// Round figures, so that every line can be reckoned by hand.
fn by_hand() -> (PerPart, Series) {
    let mut series = Series { currency: Some("EUR".to_owned()), ..Series::default() };
    for (rate, value) in [
        (Rate::PrinterPerH, 20.0),
        (Rate::PressPerH, 30.0),
        (Rate::LabourPerH, 60.0),
        (Rate::TowPerKg, 200.0),
        (Rate::MatrixPerKg, 80.0),
        (Rate::ToolEach, 6000.0),
        (Rate::ToolLifeParts, 2000.0),
        (Rate::ToolYears, 4.0),
        (Rate::TowScrapFraction, 0.1),
        (Rate::MatrixScrapFraction, 0.2),
        (Rate::RejectFraction, 0.2),
        (Rate::AttendedFraction, 0.1),
        (Rate::HandlingMin, 6.0),
        (Rate::BedChangeMin, 8.0),
        (Rate::SetupH, 5.0),
        (Rate::BatchesPerYear, 4.0),
        (Rate::TowSpoolM, 1000.0),
        (Rate::ShiftH, 8.0),
        (Rate::ShiftsPerDay, 2.0),
        (Rate::DaysPerYear, 250.0),
        (Rate::AvailabilityFraction, 0.5),
        (Rate::CycleS, 1800.0),
        (Rate::PartsPerCycle, 3.0),
        (Rate::MachinedEach, 90.0),
        (Rate::MachinedSetupPerYear, 1000.0),
    ] {
        series.rates.insert(rate, value);
    }
    series.inserts = vec![Insert { name: "bush".into(), count: 2.0, price_each: Some(1.6), mass_g: None }];
    series.machined = Some(Machined {
        alloy: None,
        density_g_cm3: None,
        own_density: false,
        mass_g: None,
        volume_mm3: None,
    });
    (PerPart { printer_h: 2.0, copies: 4.0, tow_m: 36.0, tow_g: 9.0, matrix_g: 10.0 }, series)
}

fn near(what: &str, is: f64, want: f64) {
    assert!((is - want).abs() < 1e-9 * want.abs().max(1.0), "{what}: {is}, by hand {want}");
}

#[test]
fn a_series_reckoned_by_hand() {
    let (part, series) = by_hand();
    let mut r = Reckoning::new(part, &series);
    let q = r.quote(100.0);
    near("parts begun", q.parts_begun, 125.0);
    assert_eq!(q.batches, Some(4.0), "a bed of 4 parts is filled 25 times");
    // 125 parts of 2 h, a change of 8 min for each 4 of them, 4 set-ups of 5 h
    let hours = 125.0 * 2.0 + 125.0 / 4.0 * 8.0 / 60.0 + 20.0;
    near("printer hours, bed changes and set-up and all", q.printer_h, hours);
    assert_eq!(q.printers, Some(1.0), "274 h of 2000");
    near("busy", q.printers_busy_fraction.expect("known"), hours / 2000.0);
    near("press cycles", q.press_cycles.expect("known"), 125.0 / 3.0);
    near("press hours", q.press_h.expect("known"), 125.0 / 6.0);
    assert_eq!(q.presses, Some(1.0));
    assert_eq!(q.tools, Some(1.0), "500 parts in the tool's years");
    near("tow, m", q.tow_m.expect("known"), 36.0 / 0.9 * 125.0);
    assert_eq!(q.tow_spools, Some(5.0), "5000 m, whole");
    near("tow, kg", q.tow_kg.expect("known"), 1.25);
    near("matrix, kg", q.matrix_kg.expect("known"), 10e-3 / 0.8 * 125.0);
    near("labour", q.labour_h.expect("known"), (0.1 + 8.0 / 240.0 + 0.2) * 125.0 + 20.0);
    let c = q.cost_per_part;
    for (name, is, want) in [
        ("tow", c.tow, 9e-3 * 200.0 / 0.9 / 0.8),
        ("matrix", c.matrix, 10e-3 * 80.0 / 0.8 / 0.8),
        // 20 an hour: 2 h, and 2 min of the change of a bed of 4
        ("printer", c.printer, 20.0 * (2.0 + 2.0 / 60.0) / 0.8),
        ("press", c.press, 30.0 * 0.5 / 3.0 / 0.8),
        // 6000 over 4 years of 125 parts begun, 1.25 of them a good part
        ("tool", c.tool, 15.0),
        ("inserts", c.inserts, 4.0),
        ("labour", c.labour, (6.0 + 2.0 + 12.0) / 0.8),
        ("setup", c.setup, 4.0 * 5.0 * 80.0 / 100.0),
    ] {
        near(name, is.expect("every rate is given"), want);
    }
    let standing = 20.0 * 2.0 / 60.0 / 0.8;
    let total = 2.5 + 1.25 + 50.0 + standing + 6.25 + 15.0 + 4.0 + 25.0 + 16.0;
    near("total", q.total_per_part.expect("known"), total);
    near("a year", q.total_per_year.expect("known"), 100.0 * total);
    near("machined", q.machined_per_part.expect("known"), 100.0);
    near("ratio", q.cost_ratio.expect("known"), total / 100.0);
    assert!(r.missing().is_empty(), "{:?}", r.missing());
}

/// The project's formula test: 0.5 kg at 80 a kilogram and 20 % scrap are 50.00.
#[test]
fn material_with_scrap() {
    let (part, mut series) = by_hand();
    series.rates.insert(Rate::RejectFraction, 0.0);
    let part = PerPart { matrix_g: 500.0, ..part };
    near("matrix", Reckoning::new(part, &series).cost(10.0).matrix.expect("known"), 50.0);
}

#[test]
fn more_never_costs_more_a_part() {
    let (part, series) = by_hand();
    let mut r = Reckoning::new(part, &series);
    let mut last = f64::INFINITY;
    let mut fixed = f64::INFINITY;
    for q in 1..6000 {
        let c = r.cost(f64::from(q));
        let (total, bound) = (c.total().expect("known"), c.tool.expect("known") + c.setup.expect("known"));
        assert!(total <= last + 1e-9 && bound <= fixed + 1e-9, "{q}: {total} after {last}");
        (last, fixed) = (total, bound);
    }
    // worn tools and nothing else: 6000 / 2000 parts / 0.8
    near("in the long run", r.cost(1e9).tool.expect("known"), 3.75);
}

/// One part a year: one batch, one press cycle, whatever is asked for.
#[test]
fn a_small_series_by_hand() {
    let (part, mut series) = by_hand();
    series.rates.insert(Rate::BatchesPerYear, 5000.0);
    let mut r = Reckoning::new(part, &series);
    let q = r.quote(1.0);
    assert_eq!((q.batches, q.press_cycles, q.press_h), (Some(1.0), Some(1.0), Some(0.5)));
    near("set-up", q.cost_per_part.setup.expect("known"), 5.0 * 80.0);
    near("press", q.cost_per_part.press.expect("known"), 0.5 * 30.0);
    near("work", q.labour_h.expect("known"), 1.25 * (0.1 + 8.0 / 240.0 + 0.2) + 5.0);
    // beds of 4: 25 of them at 100 parts a year
    let q = r.quote(100.0);
    assert_eq!(q.batches, Some(25.0));
    near("set-up", q.cost_per_part.setup.expect("known"), 25.0 * 5.0 * 80.0 / 100.0);
    // there are all that were asked for from 20 000 parts on
    assert_eq!(r.quote(30_000.0).batches, Some(5000.0));
}

#[test]
fn money_scales_with_its_unit_and_hours_do_not() {
    let (part, series) = by_hand();
    let mut cents = series.clone();
    for (rate, value) in &mut cents.rates {
        if rate.is_money() {
            *value *= 100.0;
        }
    }
    cents.inserts[0].price_each = Some(160.0);
    let (a, b) = (Reckoning::new(part, &series).quote(700.0), Reckoning::new(part, &cents).quote(700.0));
    near("total", b.total_per_part.expect("known"), 100.0 * a.total_per_part.expect("known"));
    near("ratio", b.cost_ratio.expect("known"), a.cost_ratio.expect("known"));
    assert_eq!((a.printer_h, a.printers, a.tow_kg), (b.printer_h, b.printers, b.tow_kg));
    assert_eq!(Reckoning::new(part, &series).break_even(), Reckoning::new(part, &cents).break_even());
}

#[test]
fn what_is_not_given_is_named_and_leaves_its_line_out() {
    let (part, series) = by_hand();
    for rate in Rate::all() {
        let mut less = series.clone();
        less.rates.remove(&rate);
        let mut r = Reckoning::new(part, &less);
        let q = r.quote(500.0);
        assert_eq!(r.missing(), [rate.path()], "one is missing");
        let machine = [
            Rate::TowSpoolM,
            Rate::ShiftH,
            Rate::ShiftsPerDay,
            Rate::DaysPerYear,
            Rate::AvailabilityFraction,
            Rate::MachinedEach,
            Rate::MachinedSetupPerYear,
        ];
        assert_eq!(q.total_per_part.is_some(), machine.contains(&rate), "{}", rate.path());
    }
    let nothing = Series::default();
    let mut r = Reckoning::new(part, &nothing);
    let q = r.quote(500.0);
    near("hours without any rate", q.printer_h, 1000.0);
    assert_eq!(q.batches, None);
    assert_eq!((q.tow_kg, q.tow_m, q.matrix_kg), (None, None, None), "scrap is not known to be none");
    assert_eq!(q.cost_per_part, CostLines::default(), "no line is known without the share of rejects");
    assert_eq!(r.missing().len(), Rate::all().count() - 2, "all but those of a machined part");
}

/// The closed form against trying every quantity.
#[test]
fn break_even_is_where_trying_finds_it() {
    let (part, series) = by_hand();
    let mut seen = BTreeSet::new();
    for each in [30.0, 85.0, 88.0, 90.5, 95.0, 104.0, 300.0] {
        for setup in [0.0, 1000.0, 1590.0, 2200.0, 40_000.0] {
            let mut series = series.clone();
            series.rates.insert(Rate::MachinedEach, each);
            series.rates.insert(Rate::MachinedSetupPerYear, setup);
            let mut r = Reckoning::new(part, &series);
            let told = r.break_even().expect("every rate is given");
            let pays = |r: &mut Reckoning<'_>, q: f64| {
                let c = r.cost(q).total().expect("known");
                c <= each + setup / q + 1e-9
            };
            const MOST: u32 = 40_000;
            let tried: Vec<u32> = (1..=MOST).filter(|q| pays(&mut r, f64::from(*q))).collect();
            let what = format!("{each} each, {setup} set-up: {told:?}");
            let upper = told.from_per_year.map(|from| [from, told.to_per_year.unwrap_or(f64::INFINITY)]);
            let lower = told.also_from_per_year.zip(told.also_to_per_year).map(|(from, to)| [from, to]);
            let ranges: Vec<[f64; 2]> = lower.into_iter().chain(upper).collect();
            let within = |q: f64| ranges.iter().any(|r| (r[0]..=r[1]).contains(&q));
            let of_told: Vec<u32> = (1..=MOST).filter(|q| within(f64::from(*q))).collect();
            assert!(tried == of_told, "{what}: by trying {:?} to {:?}", tried.first(), tried.last());
            assert_eq!(told.pays, !ranges.is_empty(), "{what}");
            seen.insert(match (tried.last(), lower) {
                (None, _) => "never",
                (Some(_), Some(_)) => "few and many, but not between",
                (Some(&MOST), None) => "from some on",
                (Some(_), None) => "up to some",
            });
        }
    }
    assert_eq!(seen.len(), 4, "every kind of answer was met: {seen:?}");
}

#[test]
fn the_strongest_inputs_first() {
    let (part, series) = by_hand();
    let q = Reckoning::new(part, &series).quote(100.0);
    let names: Vec<&str> = q.sensitivity.iter().map(|i| i.input.as_str()).collect();
    let standing = 20.0 * 2.0 / 60.0 / 0.8;
    let total = 120.0 + standing;
    // a tenth more time: a tenth of 50 and of the 15 that attending costs
    assert_eq!(names[0], "the program's time", "{:?}", q.sensitivity);
    near("its share", q.sensitivity[0].change_fraction, 6.5 / total);
    assert_eq!(names[1], "cost.printer_per_h");
    // 50 a part, what it stands for a bed change and 4 of the 16 of set-up
    near("the printer's share", q.sensitivity[1].change_fraction, (5.4 + 0.1 * standing) / total);
    assert_eq!(q.sensitivity.len(), 3);
}
