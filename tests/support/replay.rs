//! Replays a program as the machine would run it and compares it with the plan.

use super::curve::{Line, distance, steps, sweep};
use super::near::{Near, Rings, stretches};
use super::plan_file::{Course, Layer, Plan, Reach};
use super::words::{self, Row};
use super::{Findings, NOWHERE};
use std::collections::{BTreeMap, BTreeSet};
use std::f64::consts::PI;

/// Half a unit of the third decimal at both ends of a move, with room for the
/// sum of a course's own rounding, mm.
const WRITTEN_MM: f64 = 0.003;

/// Where the cut may lie off its place, mm.
const CUT_MM: f64 = 0.01;

/// What an arc's radii may differ by, as written, mm.
const ARC_MM: f64 = 0.002;

/// Height error of a nozzle, mm.
const HEIGHT_MM: f64 = 0.0015;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Head {
    Matrix,
    Fibre,
}

/// One move of the nozzle in machine coordinates.
#[derive(Clone, Copy, Debug)]
struct Move {
    from: [f64; 3],
    to: [f64; 3],
    /// Centre and sense (counter-clockwise) of an arc.
    arc: Option<([f64; 2], bool)>,
    /// What the head feeds, mm.
    feed: f64,
    /// mm/s; `None` for a rapid without its own.
    speed: Option<f64>,
    row: usize,
}

impl Move {
    fn plane(&self) -> f64 {
        match self.arc {
            None => distance([self.from[0], self.from[1]], [self.to[0], self.to[1]]),
            Some((centre, ccw)) => {
                let from = [self.from[0], self.from[1]];
                distance(from, centre) * sweep(from, [self.to[0], self.to[1]], centre, ccw).abs()
            }
        }
    }

    fn length(&self) -> f64 {
        libm::hypot(self.plane(), self.to[2] - self.from[2])
    }

    fn at(&self, share: f64) -> [f64; 3] {
        let z = self.from[2] + (self.to[2] - self.from[2]) * share;
        match self.arc {
            None => {
                let x = self.from[0] + (self.to[0] - self.from[0]) * share;
                let y = self.from[1] + (self.to[1] - self.from[1]) * share;
                [x, y, z]
            }
            Some((centre, ccw)) => {
                let from = [self.from[0], self.from[1]];
                let turn = sweep(from, [self.to[0], self.to[1]], centre, ccw) * share;
                let r = distance(from, centre);
                let start = libm::atan2(from[1] - centre[1], from[0] - centre[0]);
                let (sin, cos) = libm::sincos(start + turn);
                [centre[0] + r * cos, centre[1] + r * sin, z]
            }
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// Not fed to the nozzle yet.
    Before,
    /// The tow is down and whole.
    Fed,
    Cut,
}

/// A course being laid.
struct Run<'a> {
    course: &'a Course,
    /// Layer and index in it.
    place: (usize, usize),
    line: Line,
    copy: usize,
    name: String,
    stage: Stage,
    /// Fed to the nozzle, mm.
    thread: f64,
    /// Fed along the path, mm.
    fed: f64,
    /// How far along the plan's line the nozzle is, mm.
    s: f64,
}

enum Frame<'a> {
    None,
    Course(Run<'a>),
    Purge,
}

/// A layer of the plan, made ready for questions.
struct Ground<'a> {
    layer: &'a Layer,
    rings: Rings,
    beads: Near,
    courses: Near,
    /// Per copy and course.
    laid: Vec<Vec<bool>>,
    volume: f64,
    bead_length: f64,
}

struct Temperature {
    target: f64,
    waited: bool,
}

struct Machine<'a, 'f> {
    findings: &'f mut Findings,
    plan: &'a Plan,
    ground: Vec<Ground<'a>>,
    index: BTreeMap<String, (usize, usize, usize)>,
    motion: Option<u8>,
    absolute: bool,
    absolute_feed: bool,
    position: [Option<f64>; 3],
    e: f64,
    speed: Option<f64>,
    head: Option<Head>,
    changes: u64,
    cuts: u64,
    layer: Option<usize>,
    layers_opened: usize,
    frame: Frame<'a>,
    opened: BTreeSet<String>,
    temperatures: BTreeMap<i64, Temperature>,
    fibre_mm: f64,
    purged: f64,
    /// Time at constant speed: fibre, matrix, everything, s.
    least_s: [f64; 3],
}

pub(crate) fn check(findings: &mut Findings, plan: &Plan, text: &str) {
    let rows = words::read(findings, text, plan.printer.comment == "semicolon");
    words::cross_check(findings, text, &rows);
    header(findings, plan, &rows);

    let copies = plan.placement_mm.len();
    let mut index = BTreeMap::new();
    let mut ground = Vec::new();
    for (i, layer) in plan.layers.iter().enumerate() {
        let mut beads = Vec::new();
        for (owner, bead) in layer.beads.iter().enumerate() {
            beads.extend(stretches(&bead.line(), owner));
        }
        let mut courses = Vec::new();
        for (owner, course) in layer.courses.iter().enumerate() {
            courses.extend(stretches(&Line::new(&course.segments).chords(0.01), owner));
            for copy in 0..copies {
                let id = course.name();
                let id = if copy == 0 { id } else { format!("{id}@{}", copy + 1) };
                index.insert(id, (i, owner, copy));
            }
        }
        ground.push(Ground {
            layer,
            rings: Rings::new(&layer.outline),
            beads: Near::new(beads, 1.0),
            courses: Near::new(courses, 1.0),
            laid: vec![vec![false; layer.courses.len()]; copies],
            volume: 0.0,
            bead_length: 0.0,
        });
    }
    let mut machine = Machine {
        findings,
        plan,
        ground,
        index,
        motion: None,
        absolute: true,
        absolute_feed: plan.printer.extrusion == "absolute",
        position: [None; 3],
        e: 0.0,
        speed: None,
        head: None,
        changes: 0,
        cuts: 0,
        layer: None,
        layers_opened: 0,
        frame: Frame::None,
        opened: BTreeSet::new(),
        temperatures: BTreeMap::new(),
        fibre_mm: 0.0,
        purged: 0.0,
        least_s: [0.0; 3],
    };
    let mut i = 0;
    while i < rows.len() {
        i += machine.row(&rows, i);
    }
    machine.end();
}

/// The comments before the first layer.
fn header(findings: &mut Findings, plan: &Plan, rows: &[Row]) {
    const WHAT: &str = "header";
    let comments: Vec<&str> = rows
        .iter()
        .take_while(|r| !r.comments.iter().any(|c| c.starts_with("layer ")))
        .flat_map(|r| r.comments.iter().map(String::as_str))
        .collect();
    let all = comments.join("\n");
    if !all.contains(&plan.tool.version) {
        findings.say(WHAT, None, format!("the tool's version {} is not told", plan.tool.version));
    }
    for input in &plan.inputs {
        if !input.sha256.get(..12).is_some_and(|hash| all.contains(hash)) {
            findings.say(WHAT, None, format!("the hash of {} `{}` is not told", input.role, input.file));
        }
    }
    let numbers = |line: &str| -> Vec<f64> {
        line.split(|c: char| !(c.is_ascii_digit() || c == '.')).filter_map(|w| w.parse().ok()).collect()
    };
    let length = plan.estimate.fibre_length_mm;
    let told = comments
        .iter()
        .filter(|c| c.to_lowercase().contains("fibre"))
        .flat_map(|c| numbers(c))
        .any(|x| (x - length).abs() <= 1.0);
    if !told {
        findings.say(WHAT, None, format!("the fibre length {length:.1} mm is not told"));
    }
    let time = |word: &str| -> Option<f64> {
        let parts: Vec<&str> = word.split(':').collect();
        if parts.len() != 3 || parts[1].len() != 2 || parts[2].len() != 2 {
            return None;
        }
        let n: Vec<f64> = parts.iter().filter_map(|p| p.parse().ok()).collect();
        (n.len() == 3).then(|| n[0] * 3600.0 + n[1] * 60.0 + n[2])
    };
    let total = plan.estimate.time_s.total;
    let told = comments
        .iter()
        .flat_map(|c| c.split(|c: char| !(c.is_ascii_digit() || c == ':')))
        .filter_map(time)
        .any(|t| (t - total).abs() <= 1.0);
    if !told {
        findings.say(WHAT, None, format!("the build time {total:.0} s is not told as h:mm:ss"));
    }
}

impl<'a> Machine<'a, '_> {
    fn number(&self) -> Option<u64> {
        self.layer.map(|i| self.ground[i].layer.number)
    }

    fn say(&mut self, what: &'static str, row: usize, text: &str) {
        let layer = self.number();
        self.findings.say(what, layer, format!("line {row}: {text}"));
    }

    fn offset(&self) -> [f64; 3] {
        let printer = &self.plan.printer;
        if printer.offsets_applied_by != "program" {
            return [0.0; 3];
        }
        match self.head {
            Some(Head::Matrix) => printer.offsets_mm.matrix,
            Some(Head::Fibre) => printer.offsets_mm.fibre,
            None => [0.0; 3],
        }
    }

    fn tool(&self, head: Head) -> i64 {
        match head {
            Head::Matrix => self.plan.printer.tools.matrix,
            Head::Fibre => self.plan.printer.tools.fibre,
        }
    }

    fn placement(&self, copy: usize) -> [f64; 2] {
        let p = &self.plan.placement_mm[copy];
        [p[0], p[1]]
    }

    /// Runs a row, or a row and its cut block; how many rows that took.
    fn row(&mut self, rows: &[Row], i: usize) -> usize {
        let row = &rows[i];
        for comment in &row.comments {
            self.comment(comment, row.number);
            if comment == "cut" {
                if !row.words.is_empty() {
                    self.say("cut block", row.number, "`cut` does not stand on a line of its own");
                }
                return 1 + self.cut(rows, i + 1);
            }
        }
        self.run(row);
        1
    }

    fn cut(&mut self, rows: &[Row], first: usize) -> usize {
        self.cuts += 1;
        let wanted = &self.plan.printer.cut;
        for (k, want) in wanted.iter().enumerate() {
            let found = rows.get(first + k).map_or("", |r| r.text.as_str());
            if found.trim_end() != want.trim_end() {
                self.say(
                    "cut block",
                    first + k + 1,
                    &format!("`{found}` where the plan's cut block has `{want}`"),
                );
                return k;
            }
            if rows[first + k].words.iter().any(|w| "XYZE".contains(w.0))
                && rows[first + k].word('M').is_none()
            {
                self.say("cut block", first + k + 1, "an axis moves during the cut");
            }
        }
        let row = first;
        match &mut self.frame {
            Frame::Course(run) => {
                let (s, at, name) = (run.s, run.course.cut_at_mm, run.name.clone());
                let fed = run.fed;
                let stage = std::mem::replace(&mut run.stage, Stage::Cut);
                let place = Some(run.line.at(s).0);
                if stage != Stage::Fed {
                    self.say("cut block", row, &format!("course {name} is cut without tow at the nozzle"));
                }
                let layer = self.number();
                self.findings.same(
                    "cut place",
                    (layer, place),
                    s,
                    at,
                    CUT_MM,
                    &format!("course {name}: cut at, mm along it"),
                );
                let within = 0.01 + 1e-3 * at.abs();
                self.findings.same(
                    "fed",
                    (layer, place),
                    fed,
                    at,
                    within,
                    &format!("course {name}: fed up to the cut"),
                );
            }
            Frame::Purge => {}
            Frame::None => self.say("cut block", row, "a cut outside every course"),
        }
        wanted.len()
    }

    fn comment(&mut self, text: &str, row: usize) {
        let mut words = text.split_whitespace();
        match words.next() {
            Some("layer") => self.open_layer(text, row),
            Some("course") => {
                let id = text["course".len()..].trim().to_owned();
                if !matches!(self.frame, Frame::None) {
                    self.say("frame", row, &format!("course {id} opens inside another frame"));
                }
                let Some(&(layer, owner, copy)) = self.index.get(&id) else {
                    self.say("frame", row, &format!("course {id} is not in the plan"));
                    return;
                };
                if self.layer != Some(layer) {
                    self.say("frame", row, &format!("course {id} belongs to another layer"));
                }
                if self.head != Some(Head::Fibre) {
                    self.say("head", row, &format!("course {id} without the fibre head"));
                }
                if !self.opened.insert(id.clone()) {
                    self.say("frame", row, &format!("course {id} is laid twice"));
                }
                let course = &self.plan.layers[layer].courses[owner];
                self.frame = Frame::Course(Run {
                    course,
                    place: (layer, owner),
                    line: Line::new(&course.segments),
                    copy,
                    name: id,
                    stage: Stage::Before,
                    thread: 0.0,
                    fed: 0.0,
                    s: 0.0,
                });
            }
            Some("end") if text.starts_with("end course ") => {
                let id = text["end course".len()..].trim();
                match std::mem::replace(&mut self.frame, Frame::None) {
                    Frame::Course(run) if run.name == id => self.end_course(&run, row),
                    _ => self.say("frame", row, &format!("course {id} ends and is not open")),
                }
            }
            Some("purge") if text == "purge" => {
                if !matches!(self.frame, Frame::None) {
                    self.say("frame", row, "a purge inside another frame");
                }
                self.frame = Frame::Purge;
            }
            Some("end") if text == "end purge" => {
                if !matches!(self.frame, Frame::Purge) {
                    self.say("frame", row, "a purge ends and is not open");
                }
                self.frame = Frame::None;
            }
            _ => {}
        }
    }

    fn open_layer(&mut self, text: &str, row: usize) {
        let words: Vec<&str> = text.split_whitespace().collect();
        if !matches!(self.frame, Frame::None) {
            self.say("frame", row, "a layer opens inside a frame");
        }
        let number = words.get(1).and_then(|w| w.parse::<u64>().ok());
        let z = words.get(3).and_then(|w| w.parse::<f64>().ok());
        let (Some(number), Some(z), Some(&"z"), 4) = (number, z, words.get(2), words.len()) else {
            self.say("layer", row, &format!("`{text}` where `layer N z Z` was due"));
            return;
        };
        let next = self.layers_opened;
        match self.plan.layers.get(next) {
            Some(layer) if layer.number == number => {
                let top = layer.z_top_mm();
                self.findings.same(
                    "layer",
                    (Some(number), None),
                    z,
                    top,
                    HEIGHT_MM,
                    "z of the layer's comment",
                );
                self.layer = Some(next);
            }
            _ => self.say("layer", row, &format!("layer {number} opens as number {}", next + 1)),
        }
        self.layers_opened += 1;
    }

    fn end_course(&mut self, run: &Run<'_>, row: usize) {
        let length = run.line.length();
        let place = (self.number(), Some(run.line.at(run.s).0));
        if run.stage != Stage::Cut {
            self.say("cut block", row, &format!("course {} ends uncut", run.name));
        }
        let text = format!("course {}: laid up to, mm", run.name);
        self.findings.same("path", place, run.s, length, 0.005 + WRITTEN_MM, &text);
        let text = format!("course {}: tow fed against tow laid", run.name);
        let within = 0.01 + 1e-3 * length;
        self.findings.same("fed", place, run.thread + run.fed, length, within, &text);
        self.fibre_mm += length;
        // from now on it is in the way
        self.ground[run.place.0].laid[run.copy][run.place.1] = true;
    }

    fn run(&mut self, row: &Row) {
        if row.words.is_empty() {
            return;
        }
        if let Some(t) = row.word('T') {
            if row.words.iter().any(|w| !matches!(w.0, 'T' | 'N'))
                && !(row.has('M', 6.0) && row.words.len() == 2)
                && row.word('M').is_none_or(|m| !(100.0..=199.0).contains(&m))
            {
                self.say("head", row.number, "the T word does not stand on a line of its own");
            }
            // heater words carry a T too
            if row.word('M').is_none_or(|m| (m - 6.0).abs() < 1e-9) {
                self.select(t, row.number);
                return;
            }
        }
        for &(letter, value) in &row.words {
            match letter {
                'G' => self.general(value, row),
                'M' => self.miscellaneous(value, row),
                'F' => {
                    if value <= 0.0 {
                        self.say("speed", row.number, "a feed of nothing");
                    }
                    self.speed = Some(value / 60.0);
                }
                _ => {}
            }
        }
        let other = row
            .words
            .iter()
            .any(|w| w.0 == 'M' || (w.0 == 'G' && [4.0, 10.0, 28.0, 30.0, 92.0].contains(&w.1)));
        if other || !row.words.iter().any(|w| "XYZE".contains(w.0)) {
            return;
        }
        self.travel(row);
    }

    fn select(&mut self, t: f64, row: usize) {
        let head = if (t - self.plan.printer.tools.matrix as f64).abs() < 1e-9 {
            Head::Matrix
        } else if (t - self.plan.printer.tools.fibre as f64).abs() < 1e-9 {
            Head::Fibre
        } else {
            self.say("head", row, &format!("T{t} is no head"));
            return;
        };
        if matches!(self.frame, Frame::Course(_)) {
            self.say("head", row, "a head change within a course");
        }
        if self.head.is_some_and(|h| h != head) {
            self.changes += 1;
        }
        self.head = Some(head);
    }

    fn general(&mut self, code: f64, row: &Row) {
        let is = |n: f64| (code - n).abs() < 1e-9;
        if is(0.0) {
            self.motion = Some(0);
        } else if is(1.0) {
            self.motion = Some(1);
        } else if is(2.0) {
            self.motion = Some(2);
        } else if is(3.0) {
            self.motion = Some(3);
        } else if is(90.0) {
            self.absolute = true;
        } else if is(91.0) {
            self.absolute = false;
        } else if is(92.0) {
            if row.words.iter().any(|w| "XYZ".contains(w.0)) {
                self.say("machine", row.number, "G92 moves the coordinates");
            }
            if let Some(e) = row.word('E') {
                if e.abs() > 1e-9 {
                    self.say("machine", row.number, "E restarts elsewhere than at 0");
                }
                self.e = e;
            }
        } else if is(28.0) || is(30.0) {
            self.position = [None; 3];
        } else if is(4.0) {
            let wait = row.word('P').or_else(|| row.word('S'));
            if !wait.is_some_and(|p| p >= 0.0) {
                self.say("machine", row.number, "a dwell without its time");
            }
        } else if is(20.0) || is(93.0) || is(95.0) || is(18.0) || is(19.0) {
            self.say("machine", row.number, &format!("G{code} changes units or plane"));
        }
    }

    fn miscellaneous(&mut self, code: f64, row: &Row) {
        let is = |n: f64| (code - n).abs() < 1e-9;
        if is(82.0) {
            self.absolute_feed = true;
        } else if is(83.0) {
            self.absolute_feed = false;
        } else if is(104.0) || is(109.0) {
            let Some(target) = row.word('S').or_else(|| row.word('R')) else {
                self.say("temperature", row.number, "a heater word without its temperature");
                return;
            };
            let address = row.word('T').or_else(|| row.word('P'));
            let tools = [self.tool(Head::Matrix), self.tool(Head::Fibre)];
            let tool = match address {
                Some(t) => tools.into_iter().find(|&n| (n as f64 - t).abs() < 1e-9),
                None => self.head.map(|h| self.tool(h)),
            };
            let Some(tool) = tool else {
                self.say("temperature", row.number, "a heater word without its head");
                return;
            };
            let old = self.temperatures.get(&tool);
            // lowering the target leaves a hot head hot enough
            let waited = is(109.0) || old.is_some_and(|o| o.waited && target <= o.target + 1e-9);
            self.temperatures.insert(tool, Temperature { target, waited });
        }
    }

    /// A move as written.
    fn travel(&mut self, row: &Row) {
        let Some(motion) = self.motion else {
            self.say("machine", row.number, "a move before G0 or G1");
            return;
        };
        let Some(head) = self.head else {
            self.say("head", row.number, "a move before a head is selected");
            return;
        };
        let mut to = self.position;
        for (axis, letter) in "XYZ".chars().enumerate() {
            if let Some(value) = row.word(letter) {
                to[axis] = if self.absolute { Some(value) } else { self.position[axis].map(|p| p + value) };
            }
        }
        let feed = match row.word('E') {
            None => 0.0,
            Some(e) if self.absolute_feed => {
                let feed = e - self.e;
                self.e = e;
                feed
            }
            Some(e) => {
                self.e += e;
                e
            }
        };
        if row.word('E').is_some() && self.absolute_feed != (self.plan.printer.extrusion == "absolute") {
            self.say("machine", row.number, &format!("E is not {} here", self.plan.printer.extrusion));
        }
        let from = std::mem::replace(&mut self.position, to);
        self.reach(head, row.number);
        // the first moves after homing come from nowhere known
        let (Some(x), Some(y), Some(z), true) = (to[0], to[1], to[2], from.iter().all(Option::is_some))
        else {
            if feed.abs() > 1e-9 && !matches!(self.frame, Frame::Purge) {
                self.say("machine", row.number, "the head feeds at an unknown place");
            }
            return;
        };
        let o = self.offset();
        let to = [x + o[0], y + o[1], z + o[2]];
        let from: Vec<f64> = (0..3).map(|k| from[k].map_or(to[k], |p| p + o[k])).collect();
        let from = [from[0], from[1], from[2]];
        let mut arc = None;
        if motion >= 2 {
            let (Some(i), Some(j)) = (row.word('I'), row.word('J')) else {
                self.say("arc written", row.number, "an arc without I and J");
                return;
            };
            let centre = [from[0] + i, from[1] + j];
            let (r0, r1) = (distance([from[0], from[1]], centre), distance([to[0], to[1]], centre));
            let text = format!("line {}: an arc's radius at its end against its start", row.number);
            // the reader's own sums are exact to about 1e-12
            self.findings.same("arc written", (self.number(), None), r1, r0, ARC_MM + 1e-9, &text);
            arc = Some((centre, motion == 3));
        }
        let speed = if motion == 0 && row.word('F').is_none() { None } else { self.speed };
        if motion != 0 && speed.is_none() {
            self.say("speed", row.number, "a move without a feed");
        }
        let m = Move { from, to, arc, feed, speed, row: row.number };
        if feed > 1e-9 {
            self.hot(head, row.number);
        }
        if let (Some(_), Some(speed)) = (m.arc, speed) {
            // an arc uses both axes fully somewhere
            self.axis_speed(&m, speed, [1.0, 1.0, 0.0]);
        } else if let Some(speed) = speed {
            let length = m.length().max(1e-9);
            let share: Vec<f64> = (0..3).map(|k| (m.to[k] - m.from[k]).abs() / length).collect();
            self.axis_speed(&m, speed, [share[0], share[1], share[2]]);
        }
        if let Some(speed) = speed {
            self.least_s[2] += m.length() / speed.max(1e-9);
        }
        self.place(head, &m);
    }

    fn reach(&mut self, head: Head, row: usize) {
        let o = self.offset();
        let reach: Reach = match head {
            Head::Matrix => self.plan.printer.reach_mm.matrix,
            Head::Fibre => self.plan.printer.reach_mm.fibre,
        };
        for (k, [lo, hi]) in [reach.x, reach.y, reach.z].into_iter().enumerate() {
            if let Some(p) = self.position[k] {
                let p = p + o[k];
                if p < lo - 1e-3 || p > hi + 1e-3 {
                    let axis = ["x", "y", "z"][k];
                    self.say("reach", row, &format!("{axis} {p:.3} is out of the head's reach {lo} to {hi}"));
                }
            }
        }
    }

    fn axis_speed(&mut self, m: &Move, speed: f64, share: [f64; 3]) {
        let limits = self.plan.printer.limits.speed_mm_s;
        for (k, limit) in [limits.x, limits.y, limits.z].into_iter().enumerate() {
            if speed * share[k] > limit * 1.001 && m.length() > 1e-6 {
                let axis = ["x", "y", "z"][k];
                let text = format!("{axis} at {:.2} mm/s, limit {limit}", speed * share[k]);
                self.say("speed", m.row, &text);
            }
        }
    }

    fn most_speed(&mut self, m: &Move, limit: f64, what: &str) {
        if let Some(speed) = m.speed
            && speed > limit * 1.001
        {
            self.say("speed", m.row, &format!("{what} at {speed:.2} mm/s, limit {limit}"));
        }
    }

    fn hot(&mut self, head: Head, row: usize) {
        let (tool, wanted) = match head {
            Head::Matrix => (self.plan.printer.tools.matrix, self.plan.printer.temperature_c.matrix),
            Head::Fibre => (self.plan.printer.tools.fibre, self.plan.printer.temperature_c.fibre),
        };
        let hot = self.temperatures.get(&tool).is_some_and(|t| t.waited && (t.target - wanted).abs() <= 0.5);
        if !hot {
            let state = self.temperatures.get(&tool).map_or("never heated".to_owned(), |t| {
                format!("set to {}, waited for: {}", t.target, t.waited)
            });
            self.say("temperature", row, &format!("{head:?} feeds and is not at {wanted} degC: {state}"));
            // once is enough
            self.temperatures.insert(tool, Temperature { target: wanted, waited: true });
        }
    }

    /// What a move does, by head and frame.
    fn place(&mut self, head: Head, m: &Move) {
        let frame = std::mem::replace(&mut self.frame, Frame::None);
        self.frame = match frame {
            Frame::Course(mut run) => {
                self.course_move(&mut run, m);
                Frame::Course(run)
            }
            Frame::Purge => {
                self.purge_move(head, m);
                Frame::Purge
            }
            Frame::None => {
                if m.feed.abs() <= 1e-9 {
                    self.free_move(m);
                } else if head == Head::Fibre {
                    self.say("frame", m.row, "the fibre head feeds outside every course");
                } else {
                    self.bead_move(m);
                }
                Frame::None
            }
        };
    }

    fn course_move(&mut self, run: &mut Run<'_>, m: &Move) {
        let layer = self.number();
        let offset = self.placement(run.copy);
        let part = |p: [f64; 3]| [p[0] - offset[0], p[1] - offset[1]];
        let flat = m.plane() > 1e-9;
        let feeds = m.feed.abs() > 1e-9;
        let name = run.name.clone();
        let length = run.line.length();
        match run.stage {
            Stage::Before if !feeds => self.free_move(m),
            Stage::Before | Stage::Fed if !flat && feeds => {
                if run.stage == Stage::Fed {
                    self.say("threading", m.row, &format!("course {name}: tow fed on the spot once more"));
                }
                run.thread += m.feed;
                let at = (layer, Some(part(m.to)));
                let gap = distance(part(m.to), run.line.at(0.0).0);
                self.findings.most(
                    "threading",
                    at,
                    gap,
                    WRITTEN_MM,
                    &format!("course {name}: tow fed away from its start by, mm"),
                );
                let wanted = self.plan.printer.cutter_to_nozzle_mm;
                self.findings.same(
                    "threading",
                    at,
                    run.thread,
                    wanted,
                    0.002,
                    &format!("course {name}: fed to the nozzle"),
                );
                run.stage = Stage::Fed;
            }
            Stage::Before => {
                self.say(
                    "threading",
                    m.row,
                    &format!("course {name}: laid before its tow is fed to the nozzle"),
                );
                run.stage = Stage::Fed;
                self.follow(run, m, part);
            }
            Stage::Fed if !feeds => {
                self.say(
                    "uncut travel",
                    m.row,
                    &format!("course {name}: the head moves without feed before the cut"),
                );
                self.follow(run, m, part);
            }
            Stage::Fed => {
                let before = run.s;
                self.follow(run, m, part);
                run.fed += m.feed;
                let moved = run.s - before;
                let within = 0.003 + 2e-3 * moved;
                let text = format!("course {name}, line {}: feed of a move against its path", m.row);
                self.findings.same("feed", (layer, Some(part(m.to))), m.feed, moved, within, &text);
            }
            Stage::Cut => {
                if feeds {
                    self.say("feed", m.row, &format!("course {name}: feed after the cut"));
                }
                if run.s < length - 0.005 - WRITTEN_MM {
                    self.follow(run, m, part);
                } else {
                    self.free_move(m);
                }
            }
        }
        if run.stage != Stage::Before && flat {
            self.most_speed(m, self.plan.printer.limits.speed_mm_s.fibre, "a course");
            if let Some(speed) = m.speed {
                self.least_s[0] += m.plane() / speed.max(1e-9);
            }
        }
    }

    /// Steps a course on by a move that lays it.
    fn follow(&mut self, run: &mut Run<'_>, m: &Move, part: impl Fn([f64; 3]) -> [f64; 2]) {
        let layer = self.number();
        if let Some(i) = self.layer {
            let top = self.ground[i].layer.z_top_mm();
            let text = format!("course {}, line {}: nozzle height", run.name, m.row);
            for z in [m.from[2], m.to[2]] {
                self.findings.same("height", (layer, Some(part(m.to))), z, top, HEIGHT_MM, &text);
            }
        }
        let chord = self.plan.printer.chord_mm;
        let text = format!("course {}, line {}: nozzle off the course by, mm", run.name, m.row);
        let before = run.s;
        let gap = distance(part(m.from), run.line.at(before).0);
        self.findings.most("path", (layer, Some(part(m.from))), gap, chord + WRITTEN_MM, &text);
        let moved = m.plane();
        let (s, off) = run.line.nearest(part(m.to), before + 0.5 * moved, before + 1.1 * moved + 0.05);
        self.findings.most("path", (layer, Some(part(m.to))), off, chord + WRITTEN_MM, &text);
        run.s = s;
        let n = steps(moved / 1.0).clamp(4, 64);
        for k in 1..n {
            let share = k as f64 / n as f64;
            let here = part(m.at(share));
            let there = run.line.at(before + (s - before) * share).0;
            let off = distance(here, there);
            if off > chord + WRITTEN_MM {
                self.findings.most("path", (layer, Some(here)), off, chord + WRITTEN_MM, &text);
                return;
            }
        }
    }

    fn bead_move(&mut self, m: &Move) {
        let section =
            PI * 0.25 * self.plan.printer.feedstock_diameter_mm * self.plan.printer.feedstock_diameter_mm;
        let number = self.number();
        let Some(i) = self.layer else {
            self.say("frame", m.row, "matrix is laid before the first layer and outside a purge");
            return;
        };
        self.ground[i].volume += m.feed * section;
        let length = m.plane();
        if length <= 1e-9 {
            return;
        }
        if m.feed < 0.0 {
            self.say("bead", m.row, "the matrix head draws back while it moves");
            return;
        }
        self.ground[i].bead_length += length;
        let top = self.ground[i].layer.z_top_mm();
        let text = format!("line {}: nozzle height over a bead", m.row);
        for z in [m.from[2], m.to[2]] {
            self.findings.same("height", (number, None), z, top, HEIGHT_MM, &text);
        }
        self.most_speed(m, self.plan.printer.limits.speed_mm_s.matrix, "a bead");
        if let Some(speed) = m.speed {
            self.least_s[1] += length / speed.max(1e-9);
        }
        let middle = m.at(0.5);
        let flow = m.feed * section / length;
        let within = 0.003 * section / length;
        let mut best = f64::INFINITY;
        let mut fits = false;
        for copy in 0..self.plan.placement_mm.len() {
            let o = self.placement(copy);
            let p = [middle[0] - o[0], middle[1] - o[1]];
            let ground = &self.ground[i];
            // beads may cross here, and any of them may be the one: all are asked
            ground.beads.nearest(p, 0.5, |s, _| {
                let (area, off) =
                    (ground.layer.beads[s.owner].area_mm2, super::curve::to_stretch(p, s.a, s.b).0);
                fits |= off <= 0.02 && (flow - area).abs() <= 0.03 * area + within;
                best = best.min(off);
                false
            });
        }
        let o = self.placement(0);
        let at = (number, Some([middle[0] - o[0], middle[1] - o[1]]));
        let limit = 0.02_f64.max(self.plan.printer.chord_mm + WRITTEN_MM);
        if best > limit {
            self.findings.most(
                "bead",
                at,
                best,
                limit,
                &format!("line {}: matrix laid off the plan's beads by, mm", m.row),
            );
        } else if !fits {
            let text = format!("line {}: flow {flow:.4} mm2 is not that of the plan's bead here", m.row);
            self.findings.say("flow", number, text);
        }
    }

    fn purge_move(&mut self, head: Head, m: &Move) {
        if head == Head::Matrix {
            let d = self.plan.printer.feedstock_diameter_mm;
            self.purged += m.feed * PI * 0.25 * d * d;
        }
        if m.feed <= 1e-9 {
            self.free_move(m);
            return;
        }
        for copy in 0..self.plan.placement_mm.len() {
            let o = self.placement(copy);
            for k in 0..=4 {
                let p = m.at(f64::from(k) / 4.0);
                let p = [p[0] - o[0], p[1] - o[1]];
                if self.ground.iter().any(|g| g.rings.area > 0.0 && g.rings.outside(p, 2.0) < 1.0) {
                    self.say("purge", m.row, &format!("a purge at the part, x {:.3} y {:.3}", p[0], p[1]));
                    return;
                }
            }
        }
    }

    /// A move that lays nothing: it must clear what lies.
    fn free_move(&mut self, m: &Move) {
        let flat = m.plane();
        let limits = self.plan.printer.limits.speed_mm_s;
        if flat <= 1e-9 {
            if (m.to[2] - m.from[2]).abs() > 1e-9 {
                self.most_speed(m, limits.z, "a lift");
            }
            return;
        }
        self.most_speed(m, limits.travel, "a travel");
        let Some(i) = self.layer else {
            return;
        };
        let n = steps(flat / 0.5);
        let half = 0.5 * self.plan.tow.width_mm - 0.1;
        for copy in 0..self.plan.placement_mm.len() {
            let o = self.placement(copy);
            for k in 0..=n {
                let p = m.at(k as f64 / n as f64);
                let (q, z) = ([p[0] - o[0], p[1] - o[1]], p[2]);
                let ground = &self.ground[i];
                let number = ground.layer.number;
                let top = ground.layer.z_top_mm();
                if z >= top + 0.02 {
                    continue;
                }
                let below =
                    self.ground[..i].iter().rev().find(|g| g.rings.contains(q)).map(|g| g.layer.z_top_mm());
                if let Some(below) = below
                    && z < below - HEIGHT_MM
                {
                    let text = format!("line {}: nozzle height over a laid layer", m.row);
                    self.findings.least("struck", (Some(number), Some(q)), z, below, &text);
                    return;
                }
                let over = ground.courses.nearest(q, half, |s, _| ground.laid[copy][s.owner]);
                if over.is_some() {
                    let text = format!("line {}: a travel drags over laid tow: nozzle height", m.row);
                    self.findings.least("struck", (Some(number), Some(q)), z, top + 0.02, &text);
                    return;
                }
            }
        }
    }

    /// Sums at the end.
    fn end(mut self) {
        if !matches!(self.frame, Frame::None) {
            self.say("frame", 0, "the program ends inside a frame");
        }
        let plan = self.plan;
        let copies = plan.placement_mm.len() as f64;
        for i in 0..self.ground.len() {
            let ground = &self.ground[i];
            let at = (Some(ground.layer.number), None);
            for (copy, laid) in ground.laid.iter().enumerate() {
                for (k, laid) in laid.iter().enumerate() {
                    if !laid {
                        let name = ground.layer.courses[k].name();
                        self.findings.say(
                            "frame",
                            at.0,
                            format!("course {name} of copy {} is never laid", copy + 1),
                        );
                    }
                }
            }
            let wanted = ground.layer.areas_mm2.matrix * ground.layer.height_mm * copies;
            let text = "matrix volume fed in a layer, mm3";
            self.findings.same("matrix volume", at, ground.volume, wanted, 0.01 * wanted + 0.02, text);
            let length = ground.layer.beads.iter().map(super::plan_file::Bead::length).sum::<f64>() * copies;
            self.findings.same(
                "bead",
                at,
                ground.bead_length,
                length,
                0.005 * length + 0.05,
                "length of beads laid, mm",
            );
        }
        if self.layers_opened != plan.layers.len() {
            let text = format!("{} layers opened, {} in the plan", self.layers_opened, plan.layers.len());
            self.findings.say("layer", None, text);
        }
        let e = &plan.estimate;
        if self.changes != e.head_changes {
            let text = format!("{} head changes in the program, {} told", self.changes, e.head_changes);
            self.findings.say("counts", None, text);
        }
        if self.cuts != e.cuts {
            self.findings.say("counts", None, format!("{} cuts in the program, {} told", self.cuts, e.cuts));
        }
        let fibre = self.fibre_mm;
        self.findings.same(
            "counts",
            NOWHERE,
            e.fibre_length_mm,
            fibre,
            0.01 + 1e-4 * fibre,
            "fibre_length_mm against laid",
        );
        let purged = self.purged;
        let text = "purge_volume_mm3 against purged";
        self.findings.same("counts", NOWHERE, e.purge_volume_mm3, purged, 0.01 * purged + 0.05, text);
        let [fibre, matrix, all] = self.least_s;
        let text = "time_s fibre against the program at constant speed";
        self.findings.least("estimate time", NOWHERE, e.time_s.fibre, 0.995 * fibre - 0.1, text);
        let text = "time_s matrix against the program at constant speed";
        self.findings.least("estimate time", NOWHERE, e.time_s.matrix, 0.995 * matrix - 0.1, text);
        let text = "time_s total against the program at constant speed";
        self.findings.least("estimate time", NOWHERE, e.time_s.total, 0.995 * all - 0.1, text);
    }
}
