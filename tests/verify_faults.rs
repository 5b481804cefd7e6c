//! Faults planted in good programs: each is caught by its own check, and no good
//! program is flagged. The cases are data, `verify/faults.toml`.
#![allow(clippy::expect_used, reason = "a test that cannot go on says why and stops")]

use serde::Deserialize;
use serde_json::Value;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use towpath::diagnostic::{Notes, Source};
use towpath::job::{self, Printer, builtin, printer};
use towpath::plan::plan;
use towpath::verify::findings::Check;
use towpath::verify::{Verdict, verify};

#[derive(Deserialize)]
struct Cases {
    fault: Vec<Fault>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Fault {
    name: String,
    #[serde(default)]
    base: Option<String>,
    check: String,
    #[serde(default)]
    edit: Vec<Edit>,
    #[serde(default)]
    plan: Vec<PlanEdit>,
    #[serde(default)]
    profile: Vec<[String; 2]>,
}

#[derive(Default, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct Edit {
    line: String,
    within: Option<String>,
    course: Option<String>,
    nth: Option<usize>,
    delete: bool,
    end: bool,
    replace: Option<[String; 2]>,
    before: Option<String>,
    after: Option<String>,
    append: Option<String>,
    strip: Option<String>,
    add: BTreeMap<String, f64>,
    scale: BTreeMap<String, f64>,
    set: BTreeMap<String, f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PlanEdit {
    at: String,
    set: Option<Value>,
    add: Option<f64>,
    scale: Option<f64>,
}

struct Good {
    profile: String,
    program: String,
    plan: String,
    cut_lines: usize,
}

fn good(base: &'static str) -> Good {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/verify").join(format!("{base}.toml"));
    let planned = plan(&mut Notes::default(), &path).expect("the good part is planned");
    let name = planned.job.printer.name.clone();
    let profile = builtin::PRINTERS.iter().find(|p| p.name == name).expect("it is built in").text.to_owned();
    let value: Value = serde_json::from_str(&planned.plan).expect("the plan is JSON");
    let cut_lines = value["printer"]["cut"].as_array().map_or(0, Vec::len);
    Good { profile, program: planned.program, plan: planned.plan, cut_lines }
}

fn read_profile(text: String) -> Printer {
    printer::read(&Arc::new(Source { name: "p.toml".to_owned(), text })).expect("the profile reads")
}

fn checked(program: &str, printer: &Printer, plan: Option<&str>) -> Verdict {
    verify("p.gcode", program.as_bytes(), printer, plan.map(|p| ("p.plan.json", p.as_bytes())))
        .expect("plan and profile are readable")
}

/// Where each line stands, and in which course.
fn places(good: &Good) -> Vec<(&'static str, String)> {
    let (mut place, mut course, mut layer, mut cut) = ("header", String::new(), false, 0);
    good.program
        .lines()
        .map(|line| {
            let comment = line.trim_start_matches(['(', ';']).trim_start().trim_end_matches(')');
            let commented = line.starts_with(['(', ';']);
            if line.starts_with('T') {
                place = "free";
            }
            layer |= commented && comment.starts_with("layer ");
            if commented {
                if comment == "purge" {
                    place = "purge";
                } else if let Some(id) = comment.strip_prefix("course ") {
                    (place, course) = ("course", id.to_owned());
                } else if comment == "cut" {
                    (place, cut) = ("cut", good.cut_lines + 1);
                }
            }
            if place == "cut" {
                if cut == 0 {
                    place = "tail";
                } else {
                    cut -= 1;
                }
            }
            let now = (place, course.clone());
            if commented && comment.starts_with("end ") {
                place = "free";
                course = String::new();
            }
            let feeds = layer && now.0 == "free" && line.starts_with("G1") && line.contains(" E");
            if feeds { ("bead", now.1) } else { now }
        })
        .collect()
}

/// A line with the number of one word changed.
fn word(line: &str, letter: &str, change: impl Fn(f64) -> f64) -> String {
    line.split(' ')
        .map(|w| match w.strip_prefix(letter).and_then(|n| n.parse::<f64>().ok()) {
            Some(n) => format!("{letter}{}", (change(n) * 1e5).round() / 1e5),
            None => w.to_owned(),
        })
        .collect::<Vec<_>>()
        .join(" ")
}

fn edited(good: &Good, edits: &[Edit]) -> (String, usize) {
    let places = places(good);
    let mut out: Vec<Option<String>> = good.program.lines().map(|l| Some(l.to_owned())).collect();
    let mut end = None;
    let mut hits = 0;
    for e in edits {
        let mut n = 0;
        for (i, (place, course)) in places.iter().enumerate() {
            let Some(line) = out[i].clone() else { continue };
            let fits = line.starts_with(&e.line)
                && e.within.as_ref().is_none_or(|w| w == place)
                && e.course.as_ref().is_none_or(|c| c == course);
            if !fits {
                continue;
            }
            n += 1;
            if e.nth != Some(0) && n != e.nth.unwrap_or(1) {
                continue;
            }
            hits += 1;
            let mut line = line;
            for (letter, by) in &e.add {
                line = word(&line, letter, |v| v + by);
            }
            for (letter, by) in &e.scale {
                line = word(&line, letter, |v| v * by);
            }
            for (letter, to) in &e.set {
                line = word(&line, letter, |_| *to);
            }
            if let Some([from, to]) = &e.replace {
                line = line.replace(from, to);
            }
            if let Some(letter) = &e.strip {
                line =
                    line.split(' ').filter(|w| !w.starts_with(letter.as_str())).collect::<Vec<_>>().join(" ");
            }
            if let Some(text) = &e.append {
                line.push_str(text);
            }
            if let Some(text) = &e.before {
                line = format!("{text}\n{line}");
            }
            if let Some(text) = &e.after {
                line = format!("{line}\n{text}");
            }
            if e.end {
                end = Some(i);
                line.truncate(line.len() / 2);
            }
            out[i] = (!e.delete).then_some(line);
        }
    }
    if let Some(i) = end {
        out.truncate(i + 1);
        return (out.into_iter().flatten().collect::<Vec<_>>().join("\n"), hits);
    }
    (out.into_iter().flatten().map(|l| l + "\n").collect(), hits)
}

fn edited_plan(plan: &str, edits: &[PlanEdit]) -> String {
    let mut value: Value = serde_json::from_str(plan).expect("the plan is JSON");
    for e in edits {
        let at = value.pointer_mut(&e.at).unwrap_or_else(|| panic!("{} is not in the plan", e.at));
        if let Some(set) = &e.set {
            *at = set.clone();
        }
        let number = at.as_f64().unwrap_or(0.0);
        if let Some(by) = e.add {
            *at = if at.is_u64() {
                serde_json::json!(at.as_i64().unwrap_or(0) + if by < 0.0 { -1 } else { 1 })
            } else {
                serde_json::json!(number + by)
            };
        }
        if let Some(by) = e.scale {
            *at = serde_json::json!(number * by);
        }
    }
    value.to_string()
}

#[test]
fn good_programs_have_no_faults_and_planted_faults_are_caught() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/verify/faults.toml");
    let text = std::fs::read_to_string(path).expect("the cases are there");
    let cases: Cases = toml::from_str(&text).expect("the cases read");
    assert!(cases.fault.len() >= 40, "{} cases", cases.fault.len());
    let mut missed = Vec::new();
    let mut used: Vec<Check> = Vec::new();
    for base in ["arcs", "chords"] {
        let good = good(base);
        let printer = read_profile(good.profile.clone());
        for plan in [None, Some(good.plan.as_str())] {
            let v = checked(&good.program, &printer, plan);
            assert_eq!(v.ledger.faults(), 0, "{base}, plan {}:\n{}", plan.is_some(), v.ledger.table());
        }
        for fault in cases.fault.iter().filter(|f| f.base.as_deref().unwrap_or(base) == base) {
            let check = Check::all().find(|c| c.name() == fault.check);
            let check =
                check.unwrap_or_else(|| panic!("{}: there is no check `{}`", fault.name, fault.check));
            let mut profile = good.profile.clone();
            for [from, to] in &fault.profile {
                profile = profile.replace(from, to);
            }
            let source = Arc::new(Source { name: "p.toml".to_owned(), text: profile });
            let Ok(printer) = printer::read(&source) else {
                missed.push(format!("{base}: `{}` makes no profile", fault.name));
                continue;
            };
            let (program, hits) = edited(&good, &fault.edit);
            if !fault.edit.is_empty() && hits == 0 {
                missed.push(format!("{base}: `{}` edits nothing", fault.name));
                continue;
            }
            let plan = edited_plan(&good.plan, &fault.plan);
            let v = checked(&program, &printer, Some(&plan));
            if v.ledger.faults_of(check) == 0 {
                let found: Vec<&str> =
                    Check::all().filter(|c| v.ledger.faults_of(*c) > 0).map(Check::name).collect();
                missed.push(format!(
                    "{base}: `{}` is not caught by `{}`, found: {found:?}",
                    fault.name, fault.check
                ));
            } else {
                used.push(check);
            }
        }
    }
    assert!(missed.is_empty(), "{} missed:\n{}", missed.len(), missed.join("\n"));
    let unused: Vec<&str> = Check::all().filter(|c| !used.contains(c)).map(Check::name).collect();
    assert!(unused.is_empty(), "checks that no fault tries: {unused:?}");
}

/// What people and posts write without harm is no fault.
#[test]
fn sane_variations_of_a_program_are_no_faults() {
    let good = good("arcs");
    let printer = read_profile(good.profile.clone());
    let numbered =
        |l: (usize, &str)| if l.1.starts_with('(') { l.1.to_owned() } else { format!("N{} {}", l.0, l.1) };
    let aside = "G0 Z40\nG0 X30 Y30 F6000\nG4 P60\n";
    for (what, text) in [
        (
            "line numbers",
            good.program.lines().enumerate().map(numbered).collect::<Vec<_>>().join("\n") + "\n",
        ),
        ("T ahead of its M6", good.program.replacen("T2 M6", "T2\nM6", 1)),
        ("air that is off already", good.program.replacen("(layer 2", "M107\n(layer 2", 1)),
        ("words in another order", good.program.replace("G21 G17", "G17 G21")),
        ("a tape", format!("%\n{}%\n", good.program)),
        ("centres of another plane that are nothing", good.program.replacen(" J", " K0 J", 1)),
        (
            "a layer left to cool beside the part",
            good.program.replacen("(layer 3", &format!("{aside}(layer 3"), 1),
        ),
    ] {
        assert_ne!(text, good.program, "{what}: there is something to write otherwise");
        let v = checked(&text, &printer, None);
        let of = |c: &Check| v.ledger.faults_of(*c) > 0 && !matches!(c, Check::HeaderTime);
        let found: Vec<&str> = Check::all().filter(of).map(Check::name).collect();
        assert_eq!(found, [""; 0], "{what}:\n{}", v.ledger.table());
    }
}

#[test]
fn the_examples_pass_with_and_without_their_plans() {
    for example in ["link", "bracket", "guide"] {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(example).join("job.toml");
        let planned = plan(&mut Notes::default(), &path).expect("the example is planned");
        let (_, printer) = job::printer_named(&planned.job.printer.name).expect("it is built in");
        for plan in [None, Some(planned.plan.as_str())] {
            let v = checked(&planned.program, &printer, plan);
            assert_eq!(v.ledger.faults(), 0, "{example}:\n{}", v.ledger.table());
        }
    }
}

#[test]
fn a_program_for_another_printer_is_told_as_such() {
    let good = good("arcs");
    let (_, other) = job::printer_named("reed-35").expect("it is built in");
    let v = checked(&good.program, &other, None);
    for check in [Check::Controller, Check::Head] {
        assert!(v.ledger.faults_of(check) > 0, "{}:\n{}", check.name(), v.ledger.table());
    }
}

/// Strips are in the way as wide as they are, beads too.
#[test]
fn a_travel_beside_the_middle_of_a_strip_is_found() {
    let good = good("arcs");
    let printer = read_profile(good.profile.clone());
    let width = serde_json::from_str::<Value>(&good.plan).expect("JSON")["tow"]["width_mm"].as_f64();
    let width = width.expect("a width");
    let lines: Vec<&str> = good.program.lines().collect();
    let layer = lines.iter().position(|l| l.starts_with("(layer 3 ")).expect("layer 3");
    let end = layer + lines[layer..].iter().position(|l| l.starts_with("(layer 4 ")).expect("layer 4");
    let places = places(&good);
    let [a, b] = (layer..end)
        .filter(|&i| lines[i].starts_with("G1 ") && places[i].0 == "tail")
        .filter_map(|i| Some([back(&lines, i)?, xy(lines[i])?]))
        .find(|[a, b]| libm::hypot(a[0] - b[0], a[1] - b[1]) > 5.0)
        .expect("a straight tail");
    let l = libm::hypot(b[0] - a[0], b[1] - a[1]);
    let last = (layer..end).rev().find(|&i| lines[i].starts_with("(end course")).expect("a course");
    for share in [-0.35, -0.2, 0.0, 0.2, 0.35] {
        let (x, y) = (-(b[1] - a[1]) / l * share * width, (b[0] - a[0]) / l * share * width);
        let along = format!(
            "G0 Z9 F600\nG0 X{:.3} Y{:.3} F6000\nG0 Z0.59 F600\nG0 X{:.3} Y{:.3} F6000\nG0 Z9 F600",
            a[0] + x,
            a[1] + y,
            b[0] + x,
            b[1] + y
        );
        let mut ploughed: Vec<&str> = lines.clone();
        ploughed.insert(last + 1, &along);
        let v = checked(&(ploughed.join("\n") + "\n"), &printer, None);
        assert!(v.ledger.faults_of(Check::Strike) > 0, "{share} widths aside:\n{}", v.ledger.table());
    }
}

/// Where the last line before one that has both X and Y goes to.
fn back(lines: &[&str], before: usize) -> Option<[f64; 2]> {
    lines[..before].iter().rev().find_map(|l| xy(l))
}

/// A hole that lies between the edges of a strip, wherever in it.
#[test]
fn a_hole_within_a_strip_is_found() {
    let good = good("arcs");
    let printer = read_profile(good.profile.clone());
    let mut plan: Value = serde_json::from_str(&good.plan).expect("JSON");
    let courses = plan["layers"][2]["courses"].as_array().expect("courses");
    let lines = courses.iter().flat_map(|c| c["segments"].as_array().expect("segments"));
    let line: Vec<f64> = lines
        .filter_map(|s| serde_json::from_value(s["line"].clone()).ok())
        .find(|l: &Vec<f64>| libm::hypot(l[2] - l[0], l[3] - l[1]) > 20.0)
        .expect("a long straight piece");
    let (x, y) = (0.5 * (line[0] + line[2]), 0.5 * (line[1] + line[3]));
    let hole = |r: f64| serde_json::json!([[x - r, y], [x, y + r], [x + r, y], [x, y - r]]);
    plan["layers"][2]["outline"].as_array_mut().expect("rings").push(hole(0.3));
    let v = checked(&good.program, &printer, Some(&plan.to_string()));
    assert!(v.ledger.faults_of(Check::Outline) > 0, "{}", v.ledger.table());
}

/// Standby told before a change of heads is standby: the temperature at work is another one.
#[test]
fn a_head_set_to_standby_before_it_is_parked_is_not_left_hot() {
    let good = good("arcs");
    let printer = read_profile(good.profile.clone());
    let mut lines: Vec<&str> = good.program.lines().collect();
    let taken = lines.iter().position(|l| *l == "T2 M6").expect("the fibre head's turn");
    let standby = taken + lines[taken..].iter().position(|l| l.starts_with("M104 T1 ")).expect("a standby");
    let line = lines.remove(standby);
    lines.insert(taken, line);
    for plan in [None, Some(good.plan.as_str())] {
        let v = checked(&(lines.join("\n") + "\n"), &printer, plan);
        assert_eq!(v.ledger.faults_of(Check::Standby), 0, "{}", v.ledger.table());
    }
}

/// X and Y of a line that has both.
fn xy(line: &str) -> Option<[f64; 2]> {
    let word = |letter: char| line.split(' ').find_map(|w| w.strip_prefix(letter)?.parse::<f64>().ok());
    Some([word('X')?, word('Y')?])
}

#[test]
fn a_bead_turned_about_its_middle_is_off_the_plan() {
    let good = good("arcs");
    let printer = read_profile(good.profile.clone());
    let lines: Vec<&str> = good.program.lines().collect();
    let places = places(&good);
    let bead = |i: usize| places.get(i).is_some_and(|p| p.0 == "bead");
    let row = (1..lines.len())
        .find(|&i| {
            let ends = [lines[i - 1], lines[i]].map(xy);
            let [Some(a), Some(b)] = ends else { return false };
            bead(i) && !bead(i - 1) && !bead(i + 1) && (a[0] - b[0]).abs() > 8.0
        })
        .expect("a long row of its own");
    for (aside, caught) in [(0.0, false), (0.15, true)] {
        let mut turned: Vec<String> = lines.iter().map(|l| (*l).to_owned()).collect();
        turned[row - 1] = word(&turned[row - 1], "Y", |y| y + aside);
        turned[row] = word(&turned[row], "Y", |y| y - aside);
        let v = checked(&(turned.join("\n") + "\n"), &printer, Some(&good.plan));
        assert_eq!(v.ledger.faults_of(Check::PlanBead) > 0, caught, "{}", v.ledger.table());
    }
}

#[test]
fn one_bead_that_is_dry_or_laid_twice_is_found() {
    let good = good("arcs");
    let printer = read_profile(good.profile.clone());
    let lines: Vec<&str> = good.program.lines().collect();
    let places = places(&good);
    let bead = |i: usize| places.get(i).is_some_and(|p| p.0 == "bead");
    // a short one of its own: of all beads it is too little to be missed
    let length = |i: usize| {
        let ends = [lines[i - 1], lines[i]].map(xy);
        let [Some(a), Some(b)] = ends else { return 0.0 };
        libm::hypot(a[0] - b[0], a[1] - b[1])
    };
    let alone = |i: &usize| bead(*i) && !bead(i - 1) && !bead(i + 1) && (2.5..12.0).contains(&length(*i));
    let row = (1..lines.len()).find(alone).expect("a short row of its own");
    let changed = |with: &dyn Fn(&mut Vec<String>)| {
        let mut program: Vec<String> = lines.iter().map(|l| (*l).to_owned()).collect();
        with(&mut program);
        let v = checked(&(program.join("\n") + "\n"), &printer, Some(&good.plan));
        let first = v.ledger.first_of(Check::PlanComplete).map(|f| f.text.clone()).unwrap_or_default();
        (v.ledger.faults_of(Check::PlanComplete), first)
    };
    assert_eq!(changed(&|_| ()).0, 0, "as it is");
    // E counts on from what was fed: it is set again where feeding is left out or doubled
    let e = |i: usize| lines[i].split(' ').find_map(|w| w.strip_prefix('E')?.parse::<f64>().ok());
    let before = (0..row).rev().find_map(e).unwrap_or(0.0);
    let after = e(row).expect("it feeds");
    let dry = changed(&|p| {
        p[row] = p[row].split(' ').filter(|w| !w.starts_with('E')).collect::<Vec<_>>().join(" ");
        p.insert(row + 1, format!("G92 E{after}"));
    });
    assert!(dry.0 > 0 && dry.1.contains("0.0 mm are laid"), "{dry:?}");
    let twice = changed(&|p| {
        let again = [p[row - 1].clone(), format!("G92 E{before}"), p[row].clone()];
        p.splice(row + 1..row + 1, again);
    });
    assert!(twice.0 > 0 && twice.1.contains("are laid"), "{twice:?}");
}

#[test]
fn ground_left_bare_under_the_second_copy_alone_is_found() {
    let good = good("chords");
    let printer = read_profile(good.profile.clone());
    let plan: Value = serde_json::from_str(&good.plan).expect("JSON");
    let placed = plan["placement_mm"].as_array().expect("copies");
    let number = |v: &Value, k: usize| v[k].as_f64().expect("mm");
    let along = usize::from((number(&placed[0], 0) - number(&placed[1], 0)).abs() < 1.0);
    let middle = {
        let points = plan["layers"][0]["outline"][0].as_array().expect("a ring");
        let all: Vec<f64> = points.iter().map(|p| number(p, along)).collect();
        let (low, high) = all.iter().fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
        0.5 * (low + high) + 0.5 * (number(&placed[0], along) + number(&placed[1], along))
    };
    let side = number(&placed[1], along) > number(&placed[0], along);
    let places = places(&good);
    let mut left_out = 0;
    let kept: String = good
        .program
        .lines()
        .zip(&places)
        .filter(|(line, place)| {
            let there = place.0 == "bead" && xy(line).is_some_and(|p| (p[along] > middle) == side);
            left_out += usize::from(there && left_out < 200);
            !there || left_out >= 200
        })
        .map(|(line, _)| line.to_owned() + "\n")
        .collect();
    assert!(left_out > 20, "{left_out} beads of the second copy");
    let v = checked(&kept, &printer, Some(&good.plan));
    assert!(v.ledger.faults_of(Check::Bare) > 0, "{}", v.ledger.table());
}

#[test]
fn a_course_laid_twice_is_named() {
    let good = good("arcs");
    let printer = read_profile(good.profile.clone());
    let of_course = |line: &str| line.trim_matches(['(', ')', ';', ' ']).ends_with("course L2.2");
    let lines: Vec<&str> = good.program.lines().collect();
    let at: Vec<usize> = (0..lines.len()).filter(|&i| of_course(lines[i])).collect();
    let [begin, end] = at[..] else { panic!("the course is told to begin and to end: {at:?}") };
    let twice: Vec<&str> = lines[..=end].iter().chain(&lines[begin..]).copied().collect();
    let v = checked(&(twice.join("\n") + "\n"), &printer, Some(&good.plan));
    let found = v.ledger.first_of(Check::PlanComplete).expect("a finding");
    assert!(found.text.contains("course L2.2 is laid once more"), "{}", found.text);
}

#[test]
fn trailing_tow_is_held_where_it_comes_to_lie() {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("trailing");
    std::fs::create_dir_all(&folder).expect("a scratch folder");
    let tow = builtin::TOWS.iter().find(|t| t.name == "carbon-1k-pa12").expect("it is built in");
    for (file, text) in [
        ("tow.toml", tow.text.replace("\nwidth_mm", "\ntrail_mm = 1.0\nwidth_mm")),
        ("ring.svg", RING.to_owned()),
        ("map.toml", HOOPS.to_owned()),
        ("job.toml", TRAILING.to_owned()),
    ] {
        std::fs::write(folder.join(file), text).expect("a scratch file");
    }
    let planned = plan(&mut Notes::default(), &folder.join("job.toml")).expect("it is planned");
    let (_, printer) = job::printer_named("shuttle-15").expect("it is built in");
    let v = checked(&planned.program, &printer, Some(&planned.plan));
    assert_eq!(v.ledger.faults(), 0, "{}", v.ledger.table());
    // without a word of the trail the strips would lie where the nozzle goes: under beads
    let at = |pointer: &str, set: f64| PlanEdit {
        at: pointer.to_owned(),
        set: Some(serde_json::json!(set)),
        add: None,
        scale: None,
    };
    let untold = edited_plan(&planned.plan, &[at("/tow/trail_mm", 0.0)]);
    let v = checked(&planned.program, &printer, Some(&untold));
    assert!(v.ledger.faults_of(Check::OverTow) > 0, "{}", v.ledger.table());
}

/// A ring with two hoops round its hole, laid with tow that trails the nozzle.
const RING: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="24mm" height="24mm" viewBox="0 0 24 24">
<circle cx="12" cy="12" r="11"/><circle cx="12" cy="12" r="5"/></svg>"#;
const HOOPS: &str = r#"
[[region]]
name = "ring"
shape = { hole_at_mm = [12, 12] }
layers = "2"
rule = "hoop"
courses = 2
"#;
const TRAILING: &str = r#"
[part]
name = "ring"
outline = "ring.svg"
thickness_mm = 0.6
[build]
printer = "shuttle-15"
matrix = "pa12"
tow = "tow.toml"
layer_height_mm = 0.2
[matrix]
perimeters = 1
bead_width_mm = 0.6
fill = "contour"
[reinforcement]
map = "map.toml"
"#;
