//! What is checked, and what was found.

use serde_json::{Value, json};
use std::fmt::Write as _;

/// Findings kept of each check; more are counted.
const KEPT: usize = 5;

/// How a check's figure is judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Sense {
    /// The figure must not exceed its limit.
    Most,
    /// It must not stay below it.
    Least,
    /// There is no figure: faults are counted.
    Count,
}

macro_rules! checks {
    ($($(#[$doc:meta])* $variant:ident, $name:literal, $sense:ident, $unit:literal, $text:literal, $advice:literal, [$($key:literal),*];)*) => {
        /// One check. The table in this file names, sorts and explains them.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Check { $(#[doc = $text] $variant,)* }

        struct Rule { check: Check, name: &'static str, sense: Sense, unit: &'static str, text: &'static str, advice: &'static str, keys: &'static [&'static str] }

        static RULES: &[Rule] = &[$(Rule {
            check: Check::$variant, name: $name, sense: Sense::$sense, unit: $unit, text: $text, advice: $advice,
            keys: &[$($key),*],
        },)*];
    };
}

checks! {
    Text, "text", Count, "", "lines that can be read",
        "Export the program again as plain text in UTF-8 or ASCII; a line that cannot be read is not run in the check, and its effect on the machine is unknown.",
        ["controller.comment"];
    Controller, "controller", Count, "", "words that the printer's controller knows",
        "What the controller knows stands in the profile's `[controller]` and in its `[blocks]`: correct the profile if the machine does know the word, else the program.",
        ["controller", "blocks"];
    Arc, "arc", Most, "mm", "an arc's radius at its end against its start",
        "The limit is what controllers commonly accept between an arc's two radii. Write its centre to more decimals, or as chords.",
        [];
    Frames, "frames", Count, "", "layers, courses and purges in their frames",
        "Comments such as `layer N z Z` and `course ID` are read to tell what a move belongs to. Put back the comment that is missing, doubled or out of place.",
        ["controller.comment"];
    Head, "head", Count, "", "moves and feeds by a head that is selected",
        "A `T` line has to stand before the first move or feed, with the number that the profile's `[tools]` gives the head.",
        ["tools", "controller.tool_change_m6"];
    Ending, "ending", Count, "", "the end of the program, heaters off",
        "The profile's block `end` is meant to switch every heater off; without it a machine that nobody watches stays hot.",
        ["blocks.end"];
    Blocks, "blocks", Count, "", "the profile's start and end blocks, and those behind a change of heads",
        "Something in them is missing, changed or in another order. Take the blocks from the profile as they are, or correct the profile.",
        ["blocks.start", "blocks.to_matrix", "blocks.to_fibre", "blocks.end"];
    Reach, "reach", Most, "mm", "a nozzle beyond the reach of its head",
        "The limit is `[reach_mm]` of the head that moves, offsets counted. Move or turn the part, lay fewer copies, or correct the reach if it was measured wrongly.",
        ["reach_mm", "offsets_mm", "bed_mm", "purge", "head_change"];
    Speed, "speed", Most, "x", "speed over its limit",
        "The figure is a share of the limit in the profile's `[limits.speed_mm_s]`, of the axis or of what is being laid. Lower `F` there.",
        ["limits.speed_mm_s"];
    Acceleration, "acceleration", Most, "x", "acceleration over its limit",
        "The figure is a share of the limit in the profile's `[limits.acceleration_mm_s2]`. Lower what the program asks of the controller.",
        ["limits.acceleration_mm_s2"];
    MeltRate, "melt-rate", Most, "mm/s", "feed of filament or tow",
        "The limit is `max_feed_mm_s` of the profile's head, or what `max_flow_mm3_s` of the matrix makes of it where that is less: more is not molten, or tears the tow. Lower `F`, the layer's height or the bead's width.",
        ["heads.matrix.max_feed_mm_s", "heads.fibre.max_feed_mm_s", "feedstock_diameter_mm", "controller.extrusion"];
    Temperature, "temperature", Most, "K", "a head that feeds, off the temperature it waited for",
        "A head that feeds has to have waited for its material's temperature, and none is set hotter. Heat it and wait before the first feed after a change of heads.",
        ["blocks.heat", "blocks.heat_wait", "blocks.start", "heads.matrix.standby_drop_k", "heads.fibre.standby_drop_k"];
    Hottest, "hottest", Most, "K", "a heater above what it stands",
        "The limit is `max_temperature_c` of the head, the bed or the chamber in the profile. Lower it: hotter than that, the machine comes to harm.",
        ["heads.matrix.max_temperature_c", "heads.fibre.max_temperature_c", "max_bed_temperature_c", "max_chamber_temperature_c"];
    Standby, "standby", Most, "s", "a parked head left hot",
        "A head that is parked so long without cooling down degrades what it holds, and oozes. Set it to its standby temperature at the change of heads.",
        ["heads.matrix.standby_drop_k", "heads.fibre.standby_drop_k", "blocks.heat"];
    Standstill, "standstill", Most, "s", "a dwell of a hot head over the part",
        "Matrix that stays hot degrades, and the nozzle melts what it stands on. The limit is the profile's `head_change_s`, or `cut_s` where that is longer. Lift the head away first, or shorten the dwell; `P` counts what `dwell_unit` says.",
        ["times.head_change_s", "times.cut_s", "controller.dwell_unit"];
    AtRest, "at-rest", Most, "mm3", "matrix fed or drawn back by a nozzle at rest",
        "What is fed on one spot makes a lump that the next travel strikes; what is drawn back and not given again is missing in the next bead. Correct `E`, or the `G92` before it.",
        ["controller.extrusion", "heads.matrix.feed_scale"];
    Strike, "strike", Most, "mm", "a nozzle deeper than what is laid",
        "The nozzle would plough through what is laid. Raise the travel, or lay the lower layer first; do not run the program before that. Nor are the axes homed with something on the bed but by the profile's own blocks.",
        ["clearance.travel_lift_mm", "purge.matrix_at_mm", "blocks.end"];
    IdleStrike, "idle-strike", Most, "mm", "the idle nozzle deeper than what is laid",
        "The head that does not work hangs lower than what is laid beneath it. Measure `idle_lift_mm` under `[clearance]` and the z offsets again; do not run the program before that.",
        ["clearance.idle_lift_mm", "offsets_mm"];
    PurgePlace, "purge-place", Most, "mm", "what is purged, off the profile's place for it",
        "A head is cleared along the profile's purge line, away from the parts, where a tray stands. Lay it there, or correct `[purge]`.",
        ["purge"];
    Drag, "drag", Count, "", "travels that pass over tow of their layer",
        "A nozzle at the height of the layer drags tow along that is still soft. Lift the travel by `travel_lift_mm` of the profile's `[clearance]`.",
        ["clearance.travel_lift_mm"];
    LayerHeight, "layer-height", Most, "mm", "a nozzle that lays, off the top of its layer",
        "The nozzle stands on the top of the layer that it lays. Correct z, or the z of the layer's comment.",
        ["offsets_mm", "controller.offsets_applied_by"];
    Bend, "bend", Least, "mm", "bend radius of a course",
        "The limit is the tow's `min_bend_radius_mm`, less what rounding explains; tighter, tow folds or leaves its line. Lead the course wider, or leave it out.",
        ["controller.chord_mm"];
    Joint, "joint", Most, "deg", "kink of a course beyond what its chords explain",
        "Tow follows no corner. Join the two moves by an arc of the least radius or more.",
        ["controller.chord_mm"];
    Piece, "piece", Least, "mm", "length of a course",
        "The limit is `cutter_to_nozzle_mm` and `anchor_mm` of the profile: a shorter piece is cut before it holds. Make the course longer, or leave it out.",
        ["cutter_to_nozzle_mm", "anchor_mm"];
    Threading, "threading", Most, "mm", "tow fed to the nozzle against cutter to nozzle",
        "Before a course the tow is fed from the cutter to the nozzle, without a move. Correct that `E`, or `cutter_to_nozzle_mm` in the profile.",
        ["cutter_to_nozzle_mm", "controller.extrusion", "heads.fibre.feed_scale"];
    CutBlock, "cut-block", Count, "", "one cut a course, by the profile's block",
        "Each course holds the profile's block `cut` once. Put it back as the profile has it, after the comment `cut`.",
        ["blocks.cut"];
    CutPlace, "cut-place", Most, "mm", "cut to end of a course against cutter to nozzle",
        "The tail behind the cutter is laid by the rest of the path: cut later and tow hangs out, earlier and the course is short. Move the cut along the path.",
        ["cutter_to_nozzle_mm"];
    Feed, "feed", Most, "mm", "tow fed along a move against its path",
        "Tow is fed as far as the nozzle goes: less pulls it off the bend, more buckles it. Correct `E` of the move.",
        ["controller.extrusion", "controller.chord_mm", "heads.fibre.feed_scale"];
    Balance, "balance", Most, "mm", "tow fed against tow laid in a course",
        "What is fed and what is laid in a course are the same length. Correct `E` of its moves or of its threading.",
        ["controller.extrusion", "cutter_to_nozzle_mm", "heads.fibre.feed_scale"];
    UncutTravel, "uncut-travel", Most, "mm", "travel with tow that is not cut",
        "Tow that is not cut is pulled off the part by a travel. Cut it before the course ends.",
        ["blocks.cut", "cutter_to_nozzle_mm"];
    Apart, "apart", Least, "mm", "courses of a layer, centre to centre",
        "The limit is the tow's width, less a tolerance: closer, one course lies on the other. Move or leave out one of the two.",
        ["controller.chord_mm"];
    OverTow, "over-tow", Most, "%", "beads on tow, of a layer's tow",
        "Matrix over tow makes the layer too high there, and the nozzle strikes it. Take out or move the beads named.",
        ["controller.chord_mm"];
    HeaderFibre, "header-fibre", Most, "mm", "fibre length told against laid",
        "The header's length was not made from these courses. Do not order tow by it; plan again.",
        ["controller.chord_mm"];
    HeaderTime, "header-time", Most, "%", "build time told against the program's",
        "The header's time was not made from these moves and this profile. Do not quote by it; plan again, or name the printer that the program was made for.",
        ["times", "limits", "heads", "bed_heating", "chamber_heating", "blocks.start", "blocks.heat_wait"];
    Header, "header", Count, "", "what the header tells: layers, copies, hashes, length, time",
        "What the header tells is not what the program does. It may have been made from other files or for another printer; plan again.",
        [];
    PlanPrinter, "plan-printer", Count, "", "the plan's printer against the profile",
        "The plan was made for a printer whose figures differ. Name that printer, or plan again with this one.",
        [];
    PlanCourse, "plan-course", Most, "mm", "a nozzle off the plan's course",
        "Program and plan do not belong together, or the program was changed. Plan again.",
        ["controller.chord_mm", "offsets_mm"];
    PlanFigures, "plan-figures", Count, "", "what the plan tells of its courses, against their lines and arcs",
        "Length, place of the cut, tightest bend or closing of a course are not those of its segments. The plan is at fault, or was changed; plan again.",
        ["cutter_to_nozzle_mm"];
    PlanBead, "plan-bead", Most, "mm", "a bead off the plan's beads",
        "Program and plan do not belong together, or the program was changed. Plan again.",
        ["offsets_mm"];
    PlanFlow, "plan-flow", Most, "%", "a bead's flow against the plan's",
        "More or less filament is fed along a bead than its cross-section needs. Correct `E`, or the profile's `feedstock_diameter_mm`.",
        ["feedstock_diameter_mm", "controller.extrusion", "heads.matrix.feed_scale"];
    PlanComplete, "plan-complete", Count, "", "everything planned laid once, nothing else",
        "A course or bead is missing, doubled or not of the plan. Do not print the part: it is not the one that was planned.",
        [];
    Outline, "outline", Most, "mm", "a course's strip outside the outline",
        "A course's full width lies inside the part. Move it, or leave it out.",
        ["controller.chord_mm"];
    Perimeters, "perimeters", Most, "mm", "a course's strip within a perimeter bead",
        "Perimeter beads close the part's surface, and tow keeps off them. Move the course, or ask for fewer `perimeters`.",
        ["controller.chord_mm"];
    Volume, "volume", Most, "%", "matrix volume of a layer against its area",
        "The beads of a layer do not make the volume of its matrix area at its height: the layer comes out too high or with pores. Look at feed and bead widths.",
        ["feedstock_diameter_mm", "controller.extrusion", "heads.matrix.feed_scale"];
    Areas, "areas", Most, "%", "areas of a layer that add up, of its outline",
        "Tow, matrix, what is left open and what no bead fits are the outline's area together. The plan is at fault; plan again.",
        [];
    Bare, "bare", Most, "%", "bare area beyond what is told, of a layer's outline",
        "More of the layer is bare than the plan tells: beads are missing or too narrow. Pressing has to close what is bare.",
        [];
    Estimate, "estimate", Most, "%", "an estimate against the program",
        "The plan's length, counts or masses were not made from this program. Do not quote by it; plan again.",
        ["feedstock_diameter_mm", "controller.extrusion", "blocks.cut"];
    EstimateTime, "estimate-time", Most, "%", "time estimated against the program's, of the total",
        "The plan's times were not made from this program and this profile. Do not quote by it; plan again.",
        ["times", "limits", "heads", "bed_heating", "chamber_heating", "blocks.start", "blocks.heat_wait"];
}

impl Check {
    /// Every check, in the order of the table.
    pub fn all() -> impl Iterator<Item = Self> {
        RULES.iter().map(|r| r.check)
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        self.rule().name
    }

    /// The keys of a printer profile, or its tables, that it depends on.
    pub fn keys(self) -> &'static [&'static str] {
        self.rule().keys
    }

    /// The same as a next step.
    pub fn keys_told(self) -> String {
        format!("keys of the profile that it depends on: `{}`", self.keys().join("`, `"))
    }

    /// What it looks at and how its figure is read, in sentences.
    pub fn explained(self) -> String {
        let rule = self.rule();
        let figure = match rule.sense {
            Sense::Most => format!("The figure, in {}, must not exceed its limit.", rule.unit),
            Sense::Least => format!("The figure, in {}, must not stay below its limit.", rule.unit),
            Sense::Count => "It has no figure: every finding is a fault.".to_owned(),
        };
        format!(
            "A check that `towpath verify` makes of a program, and `towpath plan` of what it has just written: {}. {figure} The table gives the worst figure and where it is; each fault is told below with its line, layer and place. {}{}",
            rule.text,
            rule.advice,
            if rule.keys.is_empty() { String::new() } else { format!(" {}.", capital(&self.keys_told())) }
        )
    }

    fn rule(self) -> &'static Rule {
        &RULES[self as usize]
    }
}

/// Where something was found.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Place {
    /// Line of the program, from 1; 0 for none.
    pub line: u64,
    /// Layer number; 0 for none.
    pub layer: u64,
    /// Machine coordinates of the nozzle, mm.
    pub at_mm: Option<[f64; 2]>,
}

/// One thing that is wrong.
#[derive(Clone, Debug)]
pub struct Finding {
    /// Where.
    pub place: Place,
    /// What.
    pub text: String,
}

#[derive(Clone, Debug, Default)]
struct Row {
    /// Worst figure so far: excess over the limit, figure, limit, place.
    worst: Option<(f64, f64, f64, Place)>,
    looked: bool,
    faults: u64,
    warned: bool,
    kept: Vec<Finding>,
}

impl Row {
    /// What came of a check, in a word.
    fn verdict(&self) -> &'static str {
        match (self.looked, self.faults) {
            (false, _) => "not looked at",
            (true, 0) if self.warned => "warning",
            (true, 0) => "ok",
            _ => "fault",
        }
    }

    /// Its faults were said without a figure, and the worst figure is none of them.
    fn said(&self) -> bool {
        self.faults > 0 && self.worst.is_some_and(|w| w.0 <= 0.0)
    }

    /// Where to look first: at the worst figure, or at what was said where that is no fault.
    fn place(&self) -> Option<Place> {
        match self.worst {
            Some((.., place)) if !self.said() => Some(place),
            _ => self.kept.first().map(|f| f.place),
        }
    }
}

/// All checks with their worst figures and their findings.
#[derive(Clone, Debug)]
pub struct Ledger {
    rows: Vec<Row>,
}

impl Default for Ledger {
    fn default() -> Self {
        Self { rows: vec![Row::default(); RULES.len()] }
    }
}

impl Ledger {
    /// A figure that must not exceed a limit. Not-a-number is a fault.
    pub fn most(
        &mut self,
        check: Check,
        value: f64,
        limit: f64,
        place: Place,
        text: impl FnOnce() -> String,
    ) {
        self.judge(check, value - limit, value, limit, place, text);
    }

    /// A figure that must not stay below a limit.
    pub fn least(
        &mut self,
        check: Check,
        value: f64,
        limit: f64,
        place: Place,
        text: impl FnOnce() -> String,
    ) {
        self.judge(check, limit - value, value, limit, place, text);
    }

    fn judge(
        &mut self,
        check: Check,
        excess: f64,
        value: f64,
        limit: f64,
        place: Place,
        text: impl FnOnce() -> String,
    ) {
        let row = &mut self.rows[check as usize];
        row.looked = true;
        if row.worst.is_none_or(|w| excess > w.0 || excess.is_nan()) {
            row.worst = Some((excess, value, limit, place));
        }
        if excess > 0.0 || excess.is_nan() {
            row.faults += 1;
            if row.kept.len() < KEPT {
                let unit = check.rule().unit;
                let text = format!("{}: {value:.4} {unit}, limit {limit:.4}", text());
                row.kept.push(Finding { place, text });
            }
        }
    }

    /// A fault without a figure.
    pub fn say(&mut self, check: Check, place: Place, text: impl Into<String>) {
        let row = &mut self.rows[check as usize];
        row.looked = true;
        row.faults += 1;
        if row.kept.len() < KEPT {
            row.kept.push(Finding { place, text: text.into() });
        }
    }

    /// Something worth a look that is no fault.
    pub fn warn(&mut self, check: Check, place: Place, text: impl Into<String>) {
        let row = &mut self.rows[check as usize];
        row.looked = true;
        row.warned = true;
        if row.kept.len() < KEPT {
            row.kept.push(Finding { place, text: text.into() });
        }
    }

    /// A check without a figure was made.
    pub fn look(&mut self, check: Check) {
        self.rows[check as usize].looked = true;
    }

    /// Number of faults of a check.
    pub fn faults_of(&self, check: Check) -> u64 {
        self.rows[check as usize].faults
    }

    /// Number of faults of all checks.
    pub fn faults(&self) -> u64 {
        self.rows.iter().map(|r| r.faults).sum()
    }

    /// The first finding of a check that found faults.
    pub fn first_of(&self, check: Check) -> Option<&Finding> {
        let row = &self.rows[check as usize];
        row.kept.first().filter(|_| row.faults > 0)
    }

    /// The first finding of all, for a message of one line.
    pub fn first(&self) -> Option<(Check, &Finding)> {
        Check::all()
            .filter(|c| self.faults_of(*c) > 0)
            .find_map(|c| self.rows[c as usize].kept.first().map(|f| (c, f)))
    }

    /// A table for people, faults below it.
    pub fn table(&self) -> String {
        let mut out =
            format!("{:<15}{:>14}{:>14}  {:<14}{}\n", "check", "worst", "limit", "verdict", "where");
        for rule in RULES {
            let row = &self.rows[rule.check as usize];
            // to be seen among the others
            let verdict =
                if row.faults > 0 { row.verdict().to_uppercase() } else { row.verdict().to_owned() };
            let (value, limit) = match row.worst {
                Some((_, v, l, _)) if !row.said() => (figure(v, rule.unit), figure(l, rule.unit)),
                _ if row.looked => (format!("{} faults", row.faults), "0".to_owned()),
                _ => (String::new(), String::new()),
            };
            let place = row.place().map_or_else(String::new, |p| shown(&p));
            let line = format!("{:<15}{value:>14}{limit:>14}  {verdict:<14}{place}", rule.name);
            out.push_str(line.trim_end());
            out.push('\n');
        }
        if self.rows.iter().any(|r| !r.looked) {
            out.push_str(
                "\nnot looked at: nothing of the kind in the program, or only a plan (--plan) tells it\n",
            );
        }
        for rule in RULES {
            let row = &self.rows[rule.check as usize];
            if row.faults > 0 || row.warned {
                let s = if row.faults == 1 { "" } else { "s" };
                let _ = writeln!(out, "\n{}: {}, {} fault{s}", rule.name, rule.text, row.faults);
                for f in &row.kept {
                    let place = shown(&f.place);
                    let _ = writeln!(out, "  {place}{}{}", if place.is_empty() { "" } else { ": " }, f.text);
                }
                let more = row.faults.saturating_sub(row.kept.len() as u64);
                if more > 0 {
                    let _ = writeln!(out, "  and {more} more");
                }
                if row.faults > 0 && !rule.keys.is_empty() {
                    let _ = writeln!(out, "  {}", rule.check.keys_told());
                }
            }
        }
        out
    }

    /// The same for machines.
    pub fn json(&self) -> Value {
        let place = |p: &Place| json!({"line": (p.line > 0).then_some(p.line), "layer": (p.layer > 0).then_some(p.layer), "at_mm": p.at_mm});
        let rows = RULES.iter().map(|rule| {
            let row = &self.rows[rule.check as usize];
            json!({
                "check": rule.name,
                "text": rule.text,
                "verdict": row.verdict(),
                "keys": rule.keys,
                "unit": rule.unit,
                "sense": match rule.sense { Sense::Most => "at most", Sense::Least => "at least", Sense::Count => "none" },
                "worst": row.worst.filter(|_| !row.said()).map(|w| w.1),
                "limit": row.worst.filter(|_| !row.said()).map(|w| w.2),
                "place": row.place().map(|p| place(&p)),
                "faults": row.faults,
                "findings": row.kept.iter().map(|f| json!({"place": place(&f.place), "text": f.text})).collect::<Vec<_>>(),
            })
        });
        Value::Array(rows.collect())
    }
}

/// With a capital letter, as a sentence begins.
fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}

fn figure(v: f64, unit: &str) -> String {
    if v.is_infinite() { "none".to_owned() } else { format!("{v:.4} {unit}") }
}

/// A place in words, nothing for none.
pub fn shown(p: &Place) -> String {
    let mut out = String::new();
    if p.line > 0 {
        let _ = write!(out, "line {}", p.line);
    }
    if p.layer > 0 {
        let _ = write!(out, "{}layer {}", if out.is_empty() { "" } else { ", " }, p.layer);
    }
    if let Some([x, y]) = p.at_mm {
        let _ = write!(out, "{}x {x:.3} y {y:.3}", if out.is_empty() { "" } else { ", " });
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_the_checks() {
        for (k, check) in Check::all().enumerate() {
            assert_eq!(check as usize, k, "{}", check.name());
        }
    }

    #[test]
    fn every_key_that_a_check_names_is_a_key_of_profiles() {
        use crate::job::printer::PRINTER;
        use crate::job::table::Kind;
        let mut named = 0;
        for check in Check::all() {
            for path in check.keys() {
                let mut table = &PRINTER;
                let mut words = path.split('.').peekable();
                while let Some(word) = words.next() {
                    let key = table.key(word).unwrap_or_else(|| panic!("{}: no key {path}", check.name()));
                    match &key.kind {
                        Kind::Table(inner) => table = inner,
                        _ => assert!(words.peek().is_none(), "{path}"),
                    }
                }
                named += 1;
            }
        }
        assert!(named > 50, "{named} keys");
    }

    #[test]
    fn table_and_json_tell_a_verdict_in_the_same_word() {
        let mut l = Ledger::default();
        l.look(Check::Text);
        l.warn(Check::Bare, Place::default(), "some");
        l.say(Check::Ending, Place::default(), "cut off");
        let (table, json) = (l.table(), l.json());
        for (check, word) in [
            (Check::Text, "ok"),
            (Check::Bare, "warning"),
            (Check::Ending, "fault"),
            (Check::Strike, "not looked at"),
        ] {
            assert_eq!(json[check as usize]["verdict"], word);
            let row = table.lines().find(|t| t.split(' ').next() == Some(check.name())).expect("a row");
            assert!(row.to_lowercase().ends_with(word), "{row}");
        }
    }

    #[test]
    fn a_fault_without_a_figure_is_shown_where_it_is() {
        let mut l = Ledger::default();
        let place = |line| Place { line, ..Place::default() };
        l.most(Check::Temperature, 0.2, 0.5, place(7), String::new);
        let shown = |l: &Ledger| {
            let row = l.json()[Check::Temperature as usize].clone();
            let table = l.table();
            let line = table.lines().find(|t| t.starts_with("temperature ")).expect("a row").to_owned();
            (row["place"]["line"].as_u64(), line)
        };
        assert_eq!(shown(&l).0, Some(7));
        l.say(Check::Temperature, place(9), "nothing waited");
        let (line, row) = shown(&l);
        assert!(line == Some(9) && row.ends_with("line 9") && row.contains("1 faults"), "{row}");
        assert!(l.json()[Check::Temperature as usize]["worst"].is_null(), "the figure is of another place");
        l.most(Check::Temperature, 2.0, 0.5, place(11), String::new);
        let (line, row) = shown(&l);
        assert!(line == Some(11) && row.ends_with("line 11") && row.contains("2.0000 K"), "{row}");
    }

    #[test]
    fn the_worst_place_is_kept_and_not_a_number_is_a_fault() {
        let mut l = Ledger::default();
        let place = |line| Place { line, ..Place::default() };
        for (line, v) in [(1, 5.0), (2, 3.0), (3, 4.0)] {
            l.least(Check::Bend, v, 2.0, place(line), String::new);
        }
        assert_eq!(l.faults(), 0);
        assert_eq!(l.rows[Check::Bend as usize].worst.map(|w| (w.1, w.3.line)), Some((3.0, 2)));
        l.most(Check::Reach, f64::NAN, 1.0, place(4), String::new);
        assert_eq!((l.faults(), l.first().map(|f| f.0)), (1, Some(Check::Reach)));
    }
}
