//! `estimate`: one job and several, all formats, what is missing, what is wrong.
//! Nothing is ever written.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

struct Ran {
    status: Option<i32>,
    out: String,
    told: String,
}

fn estimate(arguments: &[&str]) -> Ran {
    let output = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .arg("estimate")
        .args(arguments)
        .env("NO_COLOR", "1")
        .output()
        .expect("the built program starts");
    Ran {
        status: output.status.code(),
        out: String::from_utf8(output.stdout).expect("stdout is UTF-8"),
        told: String::from_utf8(output.stderr).expect("stderr is UTF-8"),
    }
}

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(name).join("job.toml")
}

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("estimate").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    folder
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a plain path")
}

/// The link's job in a folder of its own, its text changed.
fn link(name: &str, change: impl Fn(String) -> String) -> PathBuf {
    let folder = scratch(name);
    for file in ["link.svg", "map.toml"] {
        let from = example("link").with_file_name(file);
        std::fs::copy(from, folder.join(file)).expect("a copy");
    }
    let job = std::fs::read_to_string(example("link")).expect("the example's job");
    let path = folder.join("job.toml");
    std::fs::write(&path, change(job)).expect("a scratch file");
    path
}

fn json(text: &str) -> Value {
    serde_json::from_str(text).expect("stdout is JSON")
}

fn number(value: &Value, pointer: &str) -> f64 {
    value
        .pointer(pointer)
        .and_then(Value::as_f64)
        .unwrap_or_else(|| panic!("no number at {pointer}: {value}"))
}

fn near(what: &str, is: f64, want: f64, within: f64) {
    assert!((is - want).abs() <= within, "{what}: {is}, reckoned {want}");
}

/// Every figure of the example's quote, reckoned here from the job's own rates
/// and the plan's figures.
#[test]
fn the_example_reckoned_again() {
    let job = example("link");
    let ran = estimate(&[text(&job), "--quantity", "100,1000,10000", "--json"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    let q = json(&ran.out);
    let rates: Value = toml::from_str(&std::fs::read_to_string(&job).expect("the job")).expect("a TOML file");
    let rate = |at: &str| number(&rates, at);
    let e = &q["estimate"];
    let hours = number(e, "/time_s/total") / 3600.0;
    let gross = 1.0 / (1.0 - rate("/cost/reject_fraction"));
    // PA12 of the built-in material: its mass is that of beads and purges at one density
    let matrix_g = number(e, "/matrix_mass_g")
        * (1.0 + number(e, "/purge_volume_mm3") / number(e, "/matrix_volume_mm3"));
    for (k, n) in [100.0, 1000.0, 10_000.0].into_iter().enumerate() {
        let row = &q["series"]["quantities"][k];
        let cost = |line: &str| number(row, &format!("/cost_per_part/{line}"));
        let begun = n * gross;
        near("parts begun", number(row, "/parts_begun"), begun, 1e-5);
        let setup_h = rate("/cost/setup_h") * rate("/cost/batches_per_year");
        // a printer stands while its bed, of one part here, is changed
        let held_h = hours + 6.0 / 60.0;
        let printer_h = begun * held_h + setup_h;
        near("printer hours", number(row, "/printer_h"), printer_h, 1e-3);
        let capacity = 8.0 * 2.0 * 230.0 * 0.85;
        near("printers", number(row, "/printers"), (printer_h / capacity).ceil(), 0.0);
        let cycles = begun / 4.0;
        near("press cycles", number(row, "/press_cycles"), cycles, 1e-6);
        near("presses", number(row, "/presses"), (cycles * 0.25 / capacity).ceil(), 0.0);
        let tow_m = number(e, "/fibre_length_mm") / 1000.0 / (1.0 - 0.06) * begun;
        near("spools", number(row, "/tow_spools"), (tow_m / 1000.0).ceil(), 0.0);
        near("matrix", number(row, "/matrix_kg"), matrix_g * 1e-3 / 0.92 * begun, 1e-3);
        near("tow", cost("tow"), number(e, "/tow_mass_g") * 1e-3 * 210.0 / 0.94 * gross, 1e-4);
        near("matrix", cost("matrix"), matrix_g * 1e-3 * 32.0 / 0.92 * gross, 1e-4);
        near("printer", cost("printer"), held_h * 6.5 * gross, 1e-4);
        near(
            "busy",
            number(row, "/printers_busy_fraction"),
            printer_h / ((printer_h / capacity).ceil() * capacity),
            1e-6,
        );
        near("press", cost("press"), cycles * 0.25 * 28.0 / n, 1e-4);
        near("tool", cost("tool"), 4800.0 * begun / (5.0 * begun).min(20_000.0) / n, 1e-4);
        near("inserts", cost("inserts"), 2.0 * 0.85 * gross, 1e-4);
        near("work", cost("labour"), (4.0 / 60.0 + 6.0 / 60.0 + 0.05 * hours) * 48.0 * gross, 1e-4);
        near("set-up", cost("setup"), setup_h * (48.0 + 6.5) / n, 1e-4);
        let lines = ["tow", "matrix", "printer", "press", "tool", "inserts", "labour", "setup"];
        near("total", number(row, "/total_per_part"), lines.iter().map(|l| cost(l)).sum(), 1e-5);
        near("machined", number(row, "/machined_per_part"), 41.0 + 1500.0 / n, 1e-6);
        assert_eq!(row["sensitivity"].as_array().map(Vec::len), Some(3), "{row}");
    }
    for (rate, value) in q["series"]["rates"].as_object().expect("rates") {
        let pointer = format!("/{}", rate.replace('.', "/"));
        near(rate, value.as_f64().expect("a number"), number(&rates, &pointer), 0.0);
    }
    // MIL-HDBK-5J, table 3.7.6.0(d): 7075 has 0.101 lb/in3
    let mass = &q["series"]["mass"];
    near("with its bushes", number(mass, "/part_g"), number(e, "/part_mass_g") + 6.2, 1e-5);
    assert!(mass["machined_from"].as_str().is_some_and(|t| t.contains("3.7.6.0(d)")), "{mass}");
    near("mass ratio", number(mass, "/ratio"), number(mass, "/part_g") / number(mass, "/machined_g"), 1e-5);
    // the outline is the drawing's, 4 mm thick
    let volume_mm3 = number(mass, "/machined_g") * 1e3 / 2.795_67;
    assert!((2000.0..30_000.0).contains(&volume_mm3), "{volume_mm3} mm3");
    let folder = job.parent().expect("a folder");
    let files = std::fs::read_dir(folder).expect("the example's folder").count();
    assert_eq!(files, 3, "nothing was written beside the job");
}

#[test]
fn without_a_quantity_it_tells_what_plan_tells() {
    let job = example("guide");
    let out = scratch("as plan");
    let planned = Command::new(env!("CARGO_BIN_EXE_towpath"))
        .args(["plan", text(&job), "--out", text(&out), "--json"])
        .output()
        .expect("the built program starts");
    let planned = json(&String::from_utf8_lossy(&planned.stdout));
    let ran = estimate(&[text(&job), "--format", "json"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    let told = json(&ran.out);
    assert_eq!(told["estimate"], planned["estimate"], "the same program");
    assert_eq!(told["left_out"], planned["left_out"]);
    let table = estimate(&[text(&job)]);
    assert!(table.out.contains("build time") && table.out.contains("yarn guide"), "{}", table.out);
}

#[test]
fn a_rate_that_is_missing_is_named_and_not_made_up() {
    let job = link("missing", |j| {
        j.replace("tow_per_kg = 210.00\n", "").replace("shift_h = 8\n", "").replace("mass_g = 3.1\n", "")
    });
    let ran = estimate(&[text(&job), "--quantity", "500", "--quick", "--json"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    for key in ["`cost.tow_per_kg`", "`cost.shift_h`", "`insert.mass_g` of `bush`"] {
        assert!(ran.told.contains(key) && ran.told.contains("rate-missing"), "{}", ran.told);
    }
    let q = json(&ran.out);
    assert_eq!(q["series"]["missing"].as_array().map(Vec::len), Some(3), "{q}");
    let row = &q["series"]["quantities"][0];
    for unknown in ["/cost_per_part/tow", "/total_per_part", "/printers", "/presses"] {
        assert_eq!(row.pointer(unknown), Some(&Value::Null), "{unknown}: {row}");
    }
    assert!(number(row, "/cost_per_part/printer") > 0.0 && number(row, "/printer_h") > 0.0);
    assert_eq!(q["series"]["mass"]["part_g"], Value::Null);
}

/// Hours without setting up are told as such, whichever of the two rates is not given.
#[test]
fn hours_without_setting_up_say_so() {
    for key in ["setup_h", "batches_per_year"] {
        let job =
            link(key, |j| j.lines().filter(|l| !l.starts_with(key)).map(|l| format!("{l}\n")).collect());
        let ran = estimate(&[text(&job), "--quantity", "100", "--quick"]);
        let help = format!("help: without `cost.{key}` the hours are told without setting up");
        assert!(ran.status == Some(0) && ran.told.contains(&help), "{}", ran.told);
        assert_eq!(ran.told.matches("without setting up").count(), 1, "{}", ran.told);
    }
    let ran = estimate(&[text(&example("link")), "--quantity", "100", "--quick"]);
    assert!(!ran.told.contains("without setting up"), "{}", ran.told);
}

#[test]
fn without_any_rate_hours_are_told_all_the_same() {
    let ran = estimate(&[text(&example("guide")), "--quantity", "10", "--quick"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    assert!(
        ran.out.contains("printer hours") && ran.out.contains("not given, and not made up"),
        "{}",
        ran.out
    );
    assert!(ran.told.contains("`cost.printer_per_h`"), "{}", ran.told);
    assert!(!ran.out.contains("NaN") && !ran.out.contains("inf"), "{}", ran.out);
}

#[test]
fn several_jobs_make_one_table_and_a_fault_stays_in_its_row() {
    let broken =
        link("broken", |j| j.replace("[build]", "[biuld]").replace("perimeters = 2", "perimeters = -2"));
    let (good, other) = (example("link"), example("guide"));
    let arguments = [text(&good), text(&broken), text(&other), "--quick", "--quantity", "100,200"];
    let ran = estimate(&arguments);
    assert_eq!(ran.status, Some(1), "{}", ran.told);
    let lines: Vec<&str> = ran.out.lines().filter(|l| l.contains("job.toml ")).collect();
    assert_eq!(lines.len(), 5, "two, one and two:\n{}", ran.out);
    assert!(lines[2].contains("error[unknown-key]") && lines[2].contains("(and 1 more)"), "{}", ran.out);
    assert!(ran.told.contains("did you mean `build`?"), "{}", ran.told);
    let with = |format: &'static str| {
        let mut all = arguments.to_vec();
        all.extend(["--format", format, "-j", "2"]);
        estimate(&all).out
    };
    let all = json(&with("json"));
    let jobs = all["jobs"].as_array().expect("a list");
    assert_eq!(jobs.len(), 3, "{all}");
    assert!(jobs[1]["errors"][0]["code"].is_string() && jobs[0]["errors"].is_null(), "{all}");
    let csv = with("csv");
    let rows: Vec<Vec<String>> = csv.split("\r\n").filter(|l| !l.is_empty()).map(fields).collect();
    assert_eq!(rows.len(), 6, "{csv}");
    assert!(rows.iter().all(|r| r.len() == rows[0].len()), "{csv}");
    let column =
        |name: &str| rows[0].iter().position(|c| c == name).unwrap_or_else(|| panic!("{name}: {csv}"));
    assert_eq!(rows[2][column("quantity_per_year")], "200.0");
    assert_eq!(rows[1][column("cost.tow_per_kg")], "210.0");
    assert_eq!(rows[1][column("currency")], "EUR");
    assert!(rows[3][column("error")].contains("unknown-key"), "{csv}");
    assert_eq!(rows[1][column("copies")], "1");
    let tow: f64 = rows[1][column("part.tow_g")].parse().expect("a number");
    near("tow of a part", tow, number(&jobs[0], "/series/part/tow_g"), 1e-9);
    let cents: f64 = rows[1][column("total_per_part")].parse().expect("a number");
    near("the same", cents, number(&jobs[0], "/series/quantities/0/total_per_part"), 1e-9);
}

/// A line's fields by RFC 4180.
fn fields(line: &str) -> Vec<String> {
    let (mut out, mut field, mut quoted) = (Vec::new(), String::new(), false);
    let mut chars = line.chars().peekable();
    while let Some(c) = chars.next() {
        match c {
            '"' if quoted && chars.peek() == Some(&'"') => field.extend(chars.next()),
            '"' => quoted = !quoted,
            ',' if !quoted => out.push(std::mem::take(&mut field)),
            c => field.push(c),
        }
    }
    out.push(field);
    out
}

#[test]
fn a_fault_is_json_by_either_way_to_ask_for_it() {
    let job = link("fault as json", |job| job.replace("thickness_mm = 4.0", "thickness_mm = -4.0"));
    let ways = [vec!["--json"], vec!["--format", "json"]].map(|way| {
        let ran = estimate(&[vec![text(&job)], way].concat());
        assert_eq!(ran.status, Some(1), "{}", ran.told);
        json(&ran.out)
    });
    assert_eq!(ways[0], ways[1]);
    assert_eq!(ways[0]["errors"][0]["code"], "out-of-range");
}

#[test]
fn threads_change_no_figure() {
    let (a, b) = (example("link"), example("guide"));
    let with = |n: &str| estimate(&[text(&a), text(&b), "--quantity", "300", "--json", "-j", n]).out;
    assert_eq!(with("1"), with("2"));
}

#[test]
fn wrong_rates_are_told_all_at_once_with_their_places() {
    for (change, says) in [
        (("tow_per_kg", "tow_per_kilo"), "did you mean `tow_per_kg`?"),
        (("tool_life_parts = 20000", "tool_life_parts = 0.5"), "at least 1"),
        (("shift_h = 8\n", "shift_h = 24\n"), "24 x 2 = 48 h, a day has 24 h"),
        (("shift_h = 8\n", "shift_h = 24\n"), "`shift_h` at most 12.00"),
        (("reject_fraction = 0.03", "reject_fraction = 1.0"), "at most 0.9"),
        (("printer_per_h = 6.50", "printer_per_h = -1"), "at least 0"),
        (("printer_per_h = 6.50", "printer_per_h = \"6.50\""), "write the number without quotes"),
        (("currency = \"EUR\"\n", ""), "currency"),
        (("\"aluminium-7075\"", "\"aluminium-7057\""), "did you mean `aluminium-7075`?"),
        (("parts_per_cycle = 4", "parts_per_cycle = 0"), "at least 1"),
        (("count = 2", "count = 2.5"), "a whole number"),
        (("[machined]", "[machine]"), "did you mean `machined`?"),
        (("cycle_s = 900", "cycle_min = 15"), "did you mean `cycle_s`?"),
        (("availability_fraction = 0.85", "availability_fraction = 85"), "at most 1"),
    ] {
        let job = link("wrong", |j| {
            assert!(j.contains(change.0), "nothing to replace: {}", change.0);
            j.replace(change.0, change.1)
        });
        let ran = estimate(&[text(&job), "--quantity", "5", "--quick"]);
        assert_eq!((ran.status, ran.out.as_str()), (Some(1), ""), "{change:?}: {}", ran.told);
        assert!(ran.told.contains(says) && ran.told.contains("job.toml:"), "{change:?}: {}", ran.told);
    }
    let job = link("three", |j| {
        j.replace("tow_per_kg", "tow_kg")
            .replace("shift_h = 8", "shift_h = 25")
            .replace("cycle_s = 900", "cycle_s = true")
    });
    let ran = estimate(&[text(&job)]);
    assert_eq!(ran.told.matches("error[").count(), 3, "{}", ran.told);
}

#[test]
fn what_has_no_effect_is_told() {
    let job = link("unused", |j| {
        j.replace(
            "alloy = \"aluminium-7075\"",
            "alloy = \"aluminium-7075\"\nmass_g = 60.0\nvolume_mm3 = 9000",
        )
    });
    let ran = estimate(&[text(&job), "--quantity", "5", "--quick", "--json"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    assert!(
        ran.told.contains("warning[key-unused]") && ran.told.contains("machined.volume_mm3"),
        "{}",
        ran.told
    );
    near("as weighed", number(&json(&ran.out), "/series/mass/machined_g"), 60.0, 0.0);
}

/// One part a year takes one set-up and one press cycle, and the cost says so.
#[test]
fn a_series_of_one_has_one_of_everything() {
    let job = link("one", |j| j.replace("batches_per_year = 6", "batches_per_year = 5000"));
    let ran = estimate(&[text(&job), "--quantity", "1,100,10000", "--quick", "--json"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    let q = json(&ran.out);
    let hours = number(&q, "/estimate/time_s/total") / 3600.0;
    for (k, n, batches) in [(0, 1.0, 1.0), (1, 100.0, 100.0), (2, 10_000.0, 5000.0)] {
        let row = &q["series"]["quantities"][k];
        near("batches", number(row, "/batches"), batches, 0.0);
        let setup_h = 2.5 * batches;
        near("set-up", number(row, "/cost_per_part/setup"), setup_h * (48.0 + 6.5) / n, 1e-5);
        let held_h = n / 0.97 * (hours + 0.1);
        near("printer hours", number(row, "/printer_h"), held_h + setup_h, 1e-3);
        let cycles = (n / 0.97 / 4.0).max(1.0);
        near("press cycles", number(row, "/press_cycles"), cycles, 1e-5);
        near("press hours", number(row, "/press_h"), cycles * 0.25, 1e-5);
        // what the table shows is what is paid
        near("press", number(row, "/cost_per_part/press"), number(row, "/press_h") * 28.0 / n, 1e-5);
    }
    let table = estimate(&[text(&job), "--quantity", "1,100,10000", "--quick"]).out;
    assert!(table.contains("fewer than the 5000 of `batches_per_year` at 1, 100 a year"), "{table}");
    let enough = estimate(&[text(&example("link")), "--quantity", "100", "--quick"]).out;
    assert!(!enough.contains("fewer than the"), "{enough}");
}

/// What the sums of a quote are about stands beside them.
#[test]
fn a_quote_says_what_its_figures_hold() {
    let job = link("says", |j| {
        j.replace("alloy = \"aluminium-7075\"", "alloy = \"aluminium-7075\"\ndensity_g_cm3 = 2.8")
            .replace("price_each = 0.85\n", "")
    });
    let ran = estimate(&[text(&job), "--quantity", "250,1000", "--quick"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    let line = |name: &str| {
        let found = ran.out.lines().find(|l| l.starts_with(name));
        found.unwrap_or_else(|| panic!("no `{name}`: {}", ran.out))
    };
    let mass = line("mass of a part");
    assert!(mass.contains("6.20 g of inserts") && mass.contains(" g machined, without inserts"), "{mass}");
    assert!(mass.contains("at 2.800 g/cm3 as typed") && !mass.contains("MIL"), "the user's density: {mass}");
    assert!(ran.told.contains("`machined.alloy` has no effect"), "{}", ran.told);
    assert!(ran.out.contains("insert 2 x bush, no price given"), "{}", ran.out);
    // 110 x 34 mm, 8 mm apart, on 340 x 250 mm less what only one head reaches
    let most = line("most on a bed");
    assert!(most.contains("12") && most.contains("; 16 if you turn the outline"), "{most}");
    let priced = estimate(&[text(&example("link")), "--quantity", "250,1000", "--quick"]).out;
    assert!(priced.contains("courses and cuts are rough: plans had 0.6 to 2.5 times as many"), "{priced}");
    assert!(priced.contains(" a part at 250 a year"), "which quantity: {priced}");
    let unknown = link("no alloy", |j| j.replace("alloy = \"aluminium-7075\"\n", ""));
    let ran = estimate(&[text(&unknown), "--quantity", "1000000000", "--quick"]);
    let mass = ran.out.lines().find(|l| l.starts_with("mass of a part")).expect("its line");
    assert!(mass.ends_with("6.20 g of inserts; that of the machined part is unknown"), "{mass}");
    let ran = estimate(&[text(&example("link")), "--quantity", "1000000000", "--quick"]);
    assert!(ran.out.contains("moves the cost at 1000000000  "), "a long name keeps off: {}", ran.out);
    let few = estimate(&[text(&example("link")), "--quantity", "3", "--quick"]).out;
    assert!(few.contains("more than a year needs"), "12 on a bed for 3 a year: {few}");
}

/// As many fit turned as the message says, and no more: the drawing is turned here.
#[test]
fn a_turned_outline_fits_as_often_as_it_is_told() {
    let q = json(&estimate(&[text(&example("link")), "--quantity", "10", "--quick", "--json"]).out);
    let turned = number(&q, "/series/most_turned");
    let job = link("turned", |j| j.replace("map = \"map.toml\"", ""));
    let drawing = job.with_file_name("link.svg");
    let svg = std::fs::read_to_string(&drawing).expect("the drawing");
    let begin = svg.find('>').expect("the first element's end") + 1;
    let end = svg.rfind("</svg>").expect("the last element");
    let inner = &svg[begin..end];
    std::fs::write(
        &drawing,
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"34mm\" height=\"110mm\" viewBox=\"0 0 34 110\"><g transform=\"translate(34 0) rotate(90)\">{inner}</g></svg>"
        ),
    )
    .expect("a drawing");
    let ran = estimate(&[text(&job), "--quantity", "10", "--quick", "--json"]);
    assert_eq!(ran.status, Some(0), "{}", ran.told);
    let now = json(&ran.out);
    near("turned", number(&now, "/series/most_on_a_bed"), turned, 0.0);
    near("turned back", number(&now, "/series/most_turned"), number(&q, "/series/most_on_a_bed"), 0.0);
}

#[test]
fn quantities_that_make_no_sense_could_not_run() {
    let job = example("link");
    for quantity in ["0", "-5", "1.5", "many", "100,,200"] {
        let ran = estimate(&[text(&job), &format!("--quantity={quantity}")]);
        assert_eq!((ran.status, ran.out.as_str()), (Some(2), ""), "{quantity}: {}", ran.told);
        assert!(ran.told.contains("whole numbers of parts a year"), "{quantity}: {}", ran.told);
    }
    // as two words, too
    let ran = estimate(&[text(&job), "--quantity", "-5"]);
    assert!(ran.status == Some(2) && ran.told.contains("whole numbers of parts a year"), "{}", ran.told);
    for threads in ["0", "two"] {
        let ran = estimate(&[text(&job), "-j", threads]);
        assert_eq!((ran.status, ran.out.as_str()), (Some(2), ""), "{threads}: {}", ran.told);
        assert!(ran.told.contains("whole number of threads, 1 or more"), "{threads}: {}", ran.told);
    }
}

#[test]
fn more_copies_share_what_a_bed_costs() {
    let job = link("copies", |j| j.replace("layer_height_mm = 0.2", "layer_height_mm = 0.2\ncopies = 3"));
    let q = json(&estimate(&[text(&job), "--quantity", "100", "--json", "--quick"]).out);
    let beds = q["series"]["beds"].as_array().expect("a list");
    assert!(beds.len() >= 2 && beds[0]["copies"] == 1 && beds.iter().any(|b| b["copies"] == 3), "{q}");
    for pair in beds.windows(2) {
        let (a, b) = (number(&pair[0], "/printer_h_per_part"), number(&pair[1], "/printer_h_per_part"));
        assert!(b < a, "{q}");
        assert!(number(&pair[1], "/total_per_part") < number(&pair[0], "/total_per_part"), "{q}");
    }
    let (one, both) = (example("link"), ["--quick", "--format", "csv"]);
    let csv = estimate(&[&[text(&one), text(&job)], &both[..]].concat()).out;
    let rows: Vec<Vec<String>> = csv.split("\r\n").filter(|l| !l.is_empty()).map(fields).collect();
    let column = rows[0].iter().position(|c| c == "copies").expect("what a bed's figures are of");
    assert_eq!([&rows[1][column], &rows[2][column]], ["1", "3"], "{csv}");
    let table = estimate(&[text(&one), text(&job), "--quick"]).out;
    assert!(table.lines().next().is_some_and(|head| head.contains("  copies  build time")), "{table}");
    let most = number(&q, "/series/most_on_a_bed");
    let over = link("over", |j| {
        j.replace("layer_height_mm = 0.2", &format!("layer_height_mm = 0.2\ncopies = {:.0}", most + 1.0))
    });
    let ran = estimate(&[text(&over)]);
    assert_eq!(ran.status, Some(1), "{}", ran.told);
    assert!(ran.told.contains(&format!("at most {most:.0} do")), "{}", ran.told);
    assert!(ran.told.contains("16 fit if you turn the outline and its map by 90 degrees"), "{}", ran.told);
}
